package storetest

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

func testNumbering(t *testing.T, open Storage) {
	log := open()
	head := daylog.ChainStart("job", log.Device())
	var all []daylog.Entry
	for round, n := range []int{1, 3, 5, 1} {
		for _, e := range write(t, log, "job", form(fmt.Sprint("form", round), n, d1)...) {
			want := int64(len(all) + 1)
			if e.Job != "job" || e.Device != log.Device() || e.Stream != log.Device() || e.Seq != want || e.Tick != want || e.Prev != head.Prev() {
				t.Errorf("entry %d: %s", want, e.Raw())
			}
			read, err := daylog.Decode(e.Raw())
			if err != nil || read.ID != e.ID || read.Seq != want || read.Kind != "note" {
				t.Errorf("the bytes of entry %d: %v, %s", want, err, e.Raw())
			}
			head = head.Next(e.Raw())
			all = append(all, e)
		}
	}
	check(t, log, "job", rawsOf(all))
	if e := write(t, log, "another", note("form0", d1, "one id on two jobs"))[0]; e.Seq != 1 || e.Tick != 1 {
		t.Errorf("the first entry of another job is %s", e.Raw())
	}
	check(t, log, "job", rawsOf(all))
}

func testTicks(t *testing.T, open Storage) {
	log := open()
	write(t, log, "job", form("a", 2, d1)...)
	far := newLine("job", "second")
	raw1, far := far.write(t, 50, note("far1", d1, "invented"))
	raw2, _ := far.write(t, 90, note("far2", d1, "invented"))
	receive(t, log, "job", raw1)
	if e := write(t, log, "job", form("b", 2, d1)...); e[0].Tick != 51 || e[1].Tick != 52 {
		t.Errorf("after tick 50: %d and %d", e[0].Tick, e[1].Tick)
	}
	low, _ := newLine("job", "third").write(t, 7, note("low", d1, "invented"))
	receive(t, log, "job", low)
	if e := write(t, log, "job", note("c", d1, "")); e[0].Tick != 53 {
		t.Errorf("after an older entry came in: %d, want 53", e[0].Tick)
	}
	receive(t, log, "job", raw2)
	log = open()
	if e := write(t, log, "job", note("d", d1, "")); e[0].Tick != 91 {
		t.Errorf("opened again after tick 90: %d", e[0].Tick)
	}
	_, fourth := newLine("job", "fourth").write(t, 92, note("missing", d1, ""))
	waits, _ := fourth.write(t, 200, note("waits", d1, ""))
	receive(t, log, "job", waits)
	if e := write(t, log, "job", note("e", d1, "")); e[0].Tick != 201 {
		t.Errorf("with tick 200 waiting: %d", e[0].Tick)
	}
}

func testReplay(t *testing.T, open Storage) {
	log := open()
	first := write(t, log, "job", form("a", 3, d1)...)
	check(t, log, "job", rawsOf(first))
	log = open()
	again := write(t, log, "job", form("a", 3, d2)...)
	for i := range first {
		if string(again[i].Raw()) != string(first[i].Raw()) || again[i].Stream != log.Device() {
			t.Errorf("written again: %s, not %s", again[i].Raw(), first[i].Raw())
		}
	}
	check(t, log, "job", rawsOf(first))

	// A form of which a part is held: the rest is written, in its order.
	mixed := write(t, log, "job", slices.Concat(form("b", 1, d1), form("a", 2, d1), form("b", 2, d1))...)
	ids := make([]string, len(mixed))
	for i, e := range mixed {
		ids[i] = fmt.Sprint(e.ID, " ", e.Seq)
	}
	if got, want := strings.Join(ids, ", "), "b 4, a 1, a.1 2, b 4, b.1 5"; got != want {
		t.Errorf("a mixed form gave %s, want %s", got, want)
	}
	check(t, log, "job", rawsOf(append(slices.Clone(first), mixed[0], mixed[4])))

	// A form that came in from elsewhere is known as well.
	raw, _ := newLine("job", "second").write(t, 9, note("far", d1, "invented"))
	receive(t, log, "job", raw)
	if e := write(t, log, "job", note("far", d1, "typed here")); string(e[0].Raw()) != string(raw) {
		t.Errorf("a form held from elsewhere gave %s", e[0].Raw())
	}
	// Ids that only begin alike are others.
	if e := write(t, log, "job", note("a.10", d1, ""), note("a.", d1, ""), note("A", d1, ""), note("a.1.1", d1, "")); e[3].Seq != 9 {
		t.Errorf("four new ids ended at seq %d, want 9", e[3].Seq)
	}
}

func testReplayAtOnce(t *testing.T, open Storage) {
	log := open()
	answers := make([][]daylog.Entry, 8)
	errs := make([]error, len(answers))
	var group sync.WaitGroup
	for i := range answers {
		group.Go(func() { answers[i], errs[i] = log.Write(t.Context(), "job", form("a", 5, d1)...) })
	}
	group.Wait()
	for i := range answers {
		if errs[i] != nil {
			t.Fatal(errs[i])
		}
		for k := range answers[i] {
			if string(answers[i][k].Raw()) != string(answers[0][k].Raw()) {
				t.Errorf("the same form at once gave %s and %s", answers[i][k].Raw(), answers[0][k].Raw())
			}
		}
	}
	check(t, log, "job", rawsOf(answers[0]))
}

func testWriteAllOrNothing(t *testing.T, open Storage) {
	log := open()
	held := write(t, log, "job", form("a", 2, d1)...)
	bad := map[string]func(*daylog.Entry){
		"a value that JSON cannot say": func(e *daylog.Entry) { nan := math.NaN(); e.Body = &daylog.WeatherReading{Air: &nan} },
		"a year that JSON cannot say":  func(e *daylog.Entry) { e.At = time.Date(20000, 1, 1, 0, 0, 0, 0, time.UTC) },
		"no id":                        func(e *daylog.Entry) { e.ID = "" },
		"an id that is no text":        func(e *daylog.Entry) { e.ID = "a\xff" },
		"no day":                       func(e *daylog.Entry) { e.Day = "" },
		"no such day":                  func(e *daylog.Entry) { e.Day = "2026-02-30" },
		"no time":                      func(e *daylog.Entry) { e.At = time.Time{} },
		"no body":                      func(e *daylog.Entry) { e.Body = nil },
		"an unknown body without kind": func(e *daylog.Entry) { e.Body = new(daylog.Unknown) },
	}
	for name, spoil := range bad {
		drafts := form("b", 5, d1)
		spoil(&drafts[2])
		if entries, err := log.Write(t.Context(), "job", drafts...); err == nil || entries != nil {
			t.Errorf("with %s: %d entries, error %v", name, len(entries), err)
		}
		check(t, log, "job", rawsOf(held))
	}
	for _, job := range []string{"", "a\xff"} {
		if _, err := log.Write(t.Context(), job, note("x", d1, "")); err == nil {
			t.Errorf("the job %q was taken", job)
		}
	}
	log = open()
	check(t, log, "job", rawsOf(held))
	held = append(held, write(t, log, "job", form("b", 5, d1)...)...)
	check(t, log, "job", rawsOf(held))
}

func testReceiveAllOrNothing(t *testing.T, open Storage) {
	log := open()
	held := rawsOf(write(t, log, "job", form("a", 2, d1)...))
	good, _ := newLine("job", "second").writes(t, 5, d1)
	other, _ := newLine("another", "second").writes(t, 1, d1)
	for _, bad := range []string{
		"", "{", "null", "[]", `{"kind":"note"}`, "\x00\x01", string(other[0]),
		strings.Replace(string(good[2]), ",", ",\n", 1), string(good[2]) + "\n",
		`{"kind":"note","job":"job","device":"a~b","seq":1,"id":"x"}`,
		`{"kind":"note","job":"job","device":"a","seq":0,"id":"x"}`,
	} {
		_, err := log.Receive(t.Context(), "job", good[0], good[1], []byte(bad), good[3])
		if err == nil {
			t.Errorf("%q was taken for an entry of the job", bad)
		} else if !strings.Contains(bad, "another") && !errors.Is(err, daylog.ErrUnreadable) {
			t.Errorf("%q: %v, want daylog.ErrUnreadable", bad, err)
		}
		check(t, log, "job", held)
	}
	log = open()
	check(t, log, "job", held)
	receive(t, log, "job", good...)
	check(t, log, "job", append(held, good...))
}

func testReopened(t *testing.T, open Storage) {
	log := open()
	device := log.Device()
	var all [][]byte
	for i := range 4 {
		all = append(all, rawsOf(write(t, log, "job", form(fmt.Sprint("f", i), 3, d1)...))...)
		log = open()
		if log.Device() != device {
			t.Fatalf("opened again the device is %q, not %q", log.Device(), device)
		}
		check(t, log, "job", all)
	}
}

func testJobs(t *testing.T, open Storage) {
	log := open()
	want := []string{"a", "b", "job 10", "job 9"}
	for _, job := range []string{"job 9", "a", "job 10", "b"} {
		write(t, log, job, note("x", d1, ""))
	}
	// Of a job with nothing but waiting entries nothing is given out.
	raws, _ := newLine("waits", "second").writes(t, 2, d1)
	receive(t, log, "waits", raws[1])
	for range 2 {
		if got := must[[]string](t)(log.Jobs(t.Context())); !slices.Equal(got, want) {
			t.Errorf("Jobs = %q, want %q", got, want)
		}
		log = open()
	}
}

func testEntriesFromADay(t *testing.T, open Storage) {
	log := open()
	days := []daylog.Date{d2, d1, d4, d2, d1, d4, d1}
	for i, day := range days {
		write(t, log, "job", note(fmt.Sprint("e", i), day, ""))
	}
	far, _ := newLine("job", "second").writes(t, 3, d3)
	receive(t, log, "job", far...)
	write(t, log, "another", note("x", d4, ""))
	for range 2 {
		for from, want := range map[daylog.Date]int{"": 10, "0": 10, d1: 10, d2: 7, d3: 5, d4: 2, "2026-10-09": 0, "z": 0} {
			entries := must[[]daylog.Entry](t)(log.Entries(t.Context(), "job", from))
			if len(entries) != want {
				t.Errorf("from %q: %d entries, want %d", from, len(entries), want)
			}
			for _, e := range entries {
				if e.Day < from || e.Job != "job" || e.Stream != e.Device || e.Raw() == nil {
					t.Errorf("from %q: %s on %q", from, e.Raw(), e.Stream)
				}
			}
		}
		log = open()
	}
}

func testStreamInParts(t *testing.T, open Storage) {
	log := open()
	var all []daylog.Entry
	for i := range 13 {
		all = append(all, write(t, log, "job", form(fmt.Sprint("f", i), 3, d1)...)...)
	}
	for _, part := range []struct {
		after int64
		limit int
	}{{0, 0}, {0, 1}, {0, 10}, {5, 10}, {5, 0}, {38, 5}, {39, 5}, {100, 5}, {-3, 2}} {
		raws := must[[][]byte](t)(log.Stream(t.Context(), "job", log.Device(), part.after, part.limit))
		first := min(max(part.after, 0), int64(len(all)))
		want := all[first:]
		if part.limit > 0 {
			want = want[:min(len(want), part.limit)]
		}
		if len(raws) != len(want) {
			t.Fatalf("after %d at most %d: %d entries, want %d", part.after, part.limit, len(raws), len(want))
		}
		for i := range raws {
			if string(raws[i]) != string(want[i].Raw()) {
				t.Errorf("after %d at most %d: %s, want %s", part.after, part.limit, raws[i], want[i].Raw())
			}
		}
	}
	for _, stream := range []string{"nobody", "", log.Device() + "~00000000"} {
		if _, err := log.Stream(t.Context(), "job", stream, 0, 0); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("Stream %q: %v, want fs.ErrNotExist", stream, err)
		}
	}
}

func testManyAtOnce(t *testing.T, open Storage) {
	log := open()
	// A log that writes slowly still gets through in a test's time.
	const writers, rounds = 4, 6
	far := make([][][]byte, writers)
	for i := range far {
		far[i], _ = newLine("job", fmt.Sprint("far", i)).writes(t, 3*rounds, d2)
	}
	var mu sync.Mutex
	var all [][]byte
	var group sync.WaitGroup
	fail := func(what string, err error) {
		if err != nil {
			t.Errorf("%s: %v", what, err)
		}
	}
	for i := range writers {
		group.Go(func() {
			for k := range rounds {
				entries, err := log.Write(t.Context(), "job", form(fmt.Sprintf("w%d-%d", i, k), 3, d1)...)
				fail("Write", err)
				mu.Lock()
				all = append(all, rawsOf(entries)...)
				mu.Unlock()
			}
		})
		group.Go(func() {
			for k := range rounds {
				_, err := log.Receive(t.Context(), "job", far[i][3*k:3*k+3]...)
				fail("Receive", err)
			}
		})
		group.Go(func() {
			for range rounds {
				// Every single reading is of one state: heads and bytes of a
				// moment fit, whatever is written meanwhile.
				entries, err := log.Entries(t.Context(), "job", "")
				fail("Entries", err)
				threads, err := daylog.Thread("job", rawsOf(entries))
				if err != nil || len(threads.Waiting) > 0 {
					t.Errorf("entries read while others write: %d wait, %v", len(threads.Waiting), err)
				}
				_, err = log.Marks(t.Context(), "job")
				fail("Marks", err)
				_, err = log.Heads(t.Context(), "job")
				fail("Heads", err)
			}
		})
	}
	group.Wait()
	check(t, log, "job", append(all, slices.Concat(far...)...))
}

func testCancelled(t *testing.T, open Storage) {
	log := open()
	held := write(t, log, "job", form("a", 2, d1)...)
	far, _ := newLine("job", "second").writes(t, 2, d1)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	calls := map[string]func() error{
		"Jobs":        func() error { _, err := log.Jobs(ctx); return err },
		"Write":       func() error { _, err := log.Write(ctx, "job", note("b", d1, "")); return err },
		"Receive":     func() error { _, err := log.Receive(ctx, "job", far...); return err },
		"Entries":     func() error { _, err := log.Entries(ctx, "job", ""); return err },
		"Marks":       func() error { _, err := log.Marks(ctx, "job"); return err },
		"Heads":       func() error { _, err := log.Heads(ctx, "job"); return err },
		"Stream":      func() error { _, err := log.Stream(ctx, "job", log.Device(), 0, 0); return err },
		"Openings":    func() error { _, err := log.Openings(ctx, "job"); return err },
		"KeepOpening": func() error { return log.KeepOpening(ctx, "job", daylog.Opening{Day: d1}) },
		"Fold":        func() error { _, err := store.Fold(ctx, log, "job", d1); return err },
	}
	for name, call := range calls {
		if err := call(); !errors.Is(err, context.Canceled) {
			t.Errorf("%s: %v, want context.Canceled", name, err)
		}
	}
	check(t, log, "job", rawsOf(held))
	if openings := must[[]daylog.Opening](t)(log.Openings(t.Context(), "job")); len(openings) > 0 {
		t.Error("a cancelled KeepOpening kept an opening")
	}
	held = append(held, write(t, log, "job", note("b", d1, ""))...)
	check(t, log, "job", rawsOf(held))
}

// testManyDays writes a season in small forms, so that a log that gathers what
// is small gets to do so.
func testManyDays(t *testing.T, open Storage) {
	log := open()
	var all [][]byte
	for day := range 6 {
		date := d1.Add(day)
		for i := range 40 {
			e := write(t, log, "job", form(fmt.Sprintf("f%d-%d", day, i), 1+i%3, date)...)
			all = append(all, rawsOf(e)...)
			if i == 20 {
				e := write(t, log, "job", form(fmt.Sprintf("late%d", day), 2, date.Add(-2))...)
				all = append(all, rawsOf(e)...)
			}
		}
		far, _ := newLine("job", fmt.Sprint("far", day)).writes(t, 50, date)
		for _, i := range []int{0, 10, 20, 30, 40} {
			receive(t, log, "job", far[i:i+10]...)
		}
		all = append(all, far...)
		check(t, log, "job", all)
		log = open()
	}
	for _, day := range []daylog.Date{d1.Add(-2), d1, d3, d4} {
		want := 0
		for _, raw := range all {
			e, err := daylog.Decode(raw)
			if err != nil {
				t.Fatal(err)
			}
			if e.Day >= day {
				want++
			}
		}
		if got := must[[]daylog.Entry](t)(log.Entries(t.Context(), "job", day)); len(got) != want {
			t.Errorf("from %s: %d entries, want %d", day, len(got), want)
		}
	}
	e := write(t, log, "job", form("f0-2", 3, d4)...)
	if e[2].Seq != 6 {
		t.Errorf("a form of the first day written again got seq %d, want 6", e[2].Seq)
	}
	check(t, log, "job", all)
}
