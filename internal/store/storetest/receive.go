package storetest

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"duskline/internal/daylog"
	"duskline/internal/store"

	"pgregory.net/rapid"
)

func testKeptByteForByte(t *testing.T, open Storage) {
	log := open()
	start := daylog.ChainStart("job", "newer")
	first := []byte(`{ "id":"x", "v":3,"kind":"hologram",  "job":"job","device":"newer","seq":1,"tick":1,"prev":"` + start.Prev() +
		`","day":"2026-10-05","at":"2026-10-05T12:00:00Z","made":"2026-10-05T12:00:00Z","body":{"b":1.50,"a":"` + "\\u00e9é\u2028" + `"},"more":[ ] }` + "\t\r")
	second := []byte(`{"kind":"note","v":9,"job":"job","device":"newer","seq":2,"tick":2,"prev":"` + start.Next(first).Prev() +
		`","id":"y","day":"2026-10-05","at":"2026-10-05T12:00:00Z","made":"2026-10-05T12:00:00Z","body":{"text":5}}`)
	third := []byte(`{"kind":"note","job":"job","device":"newer","seq":3,"tick":3,"prev":"` + start.Next(first).Next(second).Prev() +
		`","id":"z","body":null}`)
	all := [][]byte{first, second, third}
	receive(t, log, "job", all...)
	for range 2 {
		check(t, log, "job", all)
		for _, e := range must[[]daylog.Entry](t)(log.Entries(t.Context(), "job", "")) {
			if !e.Newer() {
				t.Errorf("%s was taken for one of this version", e.Raw())
			}
		}
		log = open()
	}
	// What a newer version wrote can be written on here as a draft.
	e := must[daylog.Entry](t)(daylog.Decode(first))
	e.ID = "copy"
	kept := write(t, log, "job", e)
	if kept[0].Kind != "hologram" || !bytes.Contains(kept[0].Raw(), []byte(`"b":1.50`)) {
		t.Errorf("written as %s", kept[0].Raw())
	}
	check(t, log, "job", append(all, kept[0].Raw()))
}

var oddWords = []string{
	"a b", "Œuvre", "日本", "🙂", "\ufffd", "\ufeffbom", "a%b_c", "'; DROP TABLE entry; --", `"quoted"`, `back\slash`,
	"new\nline", "tab\t", "\x00nul", "nul\x00inside", "\u2028", "<b>&amp;", "a/../b", "?#&=", "~", "a,b", "[1]", "\U0010ffff", "\ue000", strings.Repeat("long ", 300),
	"e\u0301", "é", "A", "a",
}

func testOddCharacters(t *testing.T, open Storage) {
	log := open()
	held := map[string][][]byte{}
	for i, job := range oddWords {
		ids := []daylog.Entry{note(job, d1, job), note("form", d1, oddWords[len(oddWords)-1-i])}
		held[job] = rawsOf(write(t, log, job, ids...))
	}
	// All words as ids and, where a device may have them, as devices of one job.
	const job = "one"
	var all [][]byte
	for i, word := range oddWords {
		all = append(all, rawsOf(write(t, log, job, note(word, d1, word)))...)
		if strings.Contains(word, "~") {
			continue
		}
		raws, l := newLine(job, word).writes(t, 2, d1)
		// A day that is none is no reason to refuse what came in.
		raw, _ := l.write(t, 3, note(fmt.Sprint("day", i), daylog.Date(word), word))
		all = append(all, raws[1], raw)
		receive(t, log, job, raws[1], raw)
		all = append(all, raws[0])
		receive(t, log, job, raws[0])
	}
	for range 2 {
		for job, raws := range held {
			check(t, log, job, raws)
			if e := write(t, log, job, note(job, d1, "again")); string(e[0].Raw()) != string(raws[0]) {
				t.Errorf("job %q: an odd id was not known again", job)
			}
		}
		check(t, log, job, all)
		for _, from := range oddWords {
			want := 0
			for _, raw := range all {
				if e := must[daylog.Entry](t)(daylog.Decode(raw)); e.Day >= daylog.Date(from) {
					want++
				}
			}
			if got := must[[]daylog.Entry](t)(log.Entries(t.Context(), job, daylog.Date(from))); len(got) != want {
				t.Errorf("from %q: %d entries, want %d", from, len(got), want)
			}
		}
		want := slices.Sorted(slices.Values(append(slices.Clone(oddWords), job)))
		if got := must[[]string](t)(log.Jobs(t.Context())); !slices.Equal(got, want) {
			t.Errorf("jobs\n got %q\nwant %q", got, want)
		}
		log = open()
	}
}

func testDuplicates(t *testing.T, open Storage) {
	log := open()
	own := rawsOf(write(t, log, "job", form("a", 3, d1)...))
	raws, _ := newLine("job", "second").writes(t, 6, d1)
	all := slices.Concat(own, raws)
	receive(t, log, "job", raws[0], raws[0], raws[1])
	receive(t, log, "job", raws[0], raws[1], raws[2], raws[2])
	receive(t, log, "job", raws[5]) // waits
	receive(t, log, "job", raws[5], raws[5])
	receive(t, log, "job", raws...)
	check(t, log, "job", all)
	log = open()
	if forks := receive(t, log, "job", all...); len(forks) > 0 {
		t.Errorf("known entries forked %q", forks)
	}
	check(t, log, "job", all)
}

func testGaps(t *testing.T, open Storage) {
	log := open()
	raws, _ := newLine("job", "second").writes(t, 9, d1)
	var held [][]byte
	for _, i := range []int{8, 3, 4, 1, 0, 6, 2, 5, 7} {
		if forks := receive(t, log, "job", raws[i]); len(forks) > 0 {
			t.Errorf("a gap forked %q", forks)
		}
		held = append(held, raws[i])
		check(t, log, "job", held)
		log = open()
	}
	heads := must[daylog.Heads](t)(log.Heads(t.Context(), "job"))
	if heads["second"].Seq != 9 {
		t.Errorf("with all gaps closed the stream is held up to %d, want 9", heads["second"].Seq)
	}
}

func testFork(t *testing.T, open Storage) {
	log := open()
	common, l := newLine("job", "second").writes(t, 2, d1)
	one, on := l.write(t, 3, note("one", d1, "one line"))
	oneOn, _ := on.write(t, 4, note("one on", d1, "one line, on"))
	two, on := l.write(t, 3, note("two", d2, "the other line"))
	twoOn, _ := on.write(t, 4, note("two on", d2, "the other line, on"))
	all := slices.Concat(common, [][]byte{one, oneOn})
	if forks := receive(t, log, "job", all...); len(forks) > 0 {
		t.Errorf("one line forked %q", forks)
	}
	all = append(all, twoOn)
	if forks := receive(t, log, "job", twoOn); len(forks) > 0 {
		t.Errorf("an entry that waits forked %q", forks)
	}
	check(t, log, "job", all)
	all = append(all, two)
	later := slices.MaxFunc([][]byte{one, two}, func(a, b []byte) int {
		x, y := daylog.Hash(a), daylog.Hash(b)
		return bytes.Compare(x[:], y[:])
	})
	want := []string{daylog.BranchName("second", daylog.Hash(later))}
	if forks := receive(t, log, "job", two); !slices.Equal(forks, want) {
		t.Errorf("forks = %q, want %q", forks, want)
	}
	check(t, log, "job", all)
	log = open()
	check(t, log, "job", all)
	if forks := receive(t, log, "job", all...); len(forks) > 0 {
		t.Errorf("a known fork forked %q", forks)
	}
	// Both lines go on.
	three, _ := on.write(t, 4, note("three", d3, "a third line"))
	all = append(all, three)
	if forks := receive(t, log, "job", three); len(forks) != 1 {
		t.Errorf("a fork of a branch forked %q, want one", forks)
	}
	check(t, log, "job", all)
}

// testForkRenamed lets branches arrive by falling hash of their first entry,
// so that each takes the plain name from the one before.
func testForkRenamed(t *testing.T, open Storage) {
	log := open()
	common, l := newLine("job", "second").writes(t, 3, d1)
	type branch struct{ first, on []byte }
	var branches []branch
	for i := range 6 {
		first, end := l.write(t, 4, note(fmt.Sprint("b", i), d2, "invented"))
		on, _ := end.write(t, 5, note(fmt.Sprint("b", i, "on"), d3, "invented"))
		branches = append(branches, branch{first, on})
	}
	slices.SortFunc(branches, func(a, b branch) int {
		x, y := daylog.Hash(a.first), daylog.Hash(b.first)
		return -bytes.Compare(x[:], y[:])
	})
	all := common
	receive(t, log, "job", common...)
	for i, b := range branches {
		forks := receive(t, log, "job", b.first, b.on)
		if i > 0 {
			want := daylog.BranchName("second", daylog.Hash(branches[i-1].first))
			if !slices.Equal(forks, []string{want}) {
				t.Errorf("forks = %q, want the one that lost the plain name, %s", forks, want)
			}
		}
		all = append(all, b.first, b.on)
		check(t, log, "job", all)
		log = open()
	}
}

func testForkOfAFork(t *testing.T, open Storage) {
	log := open()
	var all [][]byte
	ends := []line{newLine("job", "second")}
	for i := range 12 { // forks at the very first entry too
		for range 2 {
			raw, end := ends[i/2].write(t, int64(i), note(fmt.Sprint("e", len(all)), d1, "invented"))
			ends = append(ends, end)
			all = append(all, raw)
		}
	}
	for i, raw := range all {
		receive(t, log, "job", raw)
		check(t, log, "job", all[:i+1])
	}
	log = open()
	check(t, log, "job", all)
}

// testAsThreaded receives random sets of entries with forks, gaps and repeats
// in random parts and orders, writes in between, and compares every state with
// daylog.Thread.
func testAsThreaded(t *testing.T, open Storage) {
	log := open()
	n := 0
	rapid.Check(t, func(r *rapid.T) {
		n++
		job := fmt.Sprint("job ", n) // an empty one for each set
		ends := []line{newLine(job, "a"), newLine(job, "b")}
		var sent [][]byte
		for i := range rapid.IntRange(1, 30).Draw(r, "entries") {
			at := len(ends) - 1 // mostly one goes on where one was
			if rapid.IntRange(0, 3).Draw(r, "elsewhere") == 0 {
				at = rapid.IntRange(0, len(ends)-1).Draw(r, "at")
			}
			day := d1.Add(rapid.IntRange(0, 3).Draw(r, "day"))
			raw, end := ends[at].write(t, int64(i), note(fmt.Sprint("e", i), day, "invented"))
			ends = append(ends, end)
			sent = append(sent, raw)
		}
		order := rapid.Permutation(sent).Draw(r, "order")
		if drop := rapid.IntRange(0, 4).Draw(r, "drop"); drop < len(order) {
			order = order[drop:]
		}
		var held [][]byte
		names := func() []string {
			threads, err := daylog.Thread(job, held)
			if err != nil {
				r.Fatalf("Thread: %v", err)
			}
			return slices.DeleteFunc(slices.Sorted(maps.Keys(threads.Heads())), func(name string) bool { return !strings.Contains(name, "~") })
		}
		for len(order) > 0 {
			part := rapid.IntRange(1, len(order)).Draw(r, "part")
			batch := slices.Clone(order[:part])
			order = order[part:]
			if len(held) > 0 && rapid.Bool().Draw(r, "repeat") {
				batch = append(batch, held[rapid.IntRange(0, len(held)-1).Draw(r, "repeated")])
			}
			before := names()
			held = append(held, batch...)
			want := slices.DeleteFunc(names(), func(name string) bool { return slices.Contains(before, name) })
			forks, err := log.Receive(t.Context(), job, batch...)
			if err != nil {
				r.Fatalf("Receive: %v", err)
			}
			if !slices.Equal(forks, want) {
				r.Fatalf("forks = %q, want %q", forks, want)
			}
			if rapid.IntRange(0, 2).Draw(r, "write") == 0 {
				entries, err := log.Write(t.Context(), job, note(fmt.Sprint("own", len(held)), d2, "invented"))
				if err != nil {
					r.Fatalf("Write: %v", err)
				}
				held = append(held, entries[0].Raw())
			}
			check(r, log, job, held)
		}
	})
}

// testCopiedStorage has another storage write under the log's own id.
func testCopiedStorage(t *testing.T, open Storage) {
	log := open()
	device := log.Device()
	own := write(t, log, "job", form("a", 2, d1)...)
	head := daylog.ChainStart("job", device).Next(own[0].Raw()).Next(own[1].Raw())
	all := rawsOf(own)

	// Later entries of its own that a backup did not have: it goes on after them.
	more, l := after(own[1], head).writes(t, 2, d1)
	receive(t, log, "job", more[1])
	receive(t, log, "job", more[0])
	all = append(all, more...)
	next := write(t, log, "job", note("b", d1, ""))[0]
	if next.Device != device || next.Seq != 5 {
		t.Errorf("after its own entries came back, %s is written", next.Raw())
	}
	all = append(all, next.Raw())

	// With a gap before them they say that its numbers are taken.
	_, l = after(next, l.head.Next(next.Raw())).writes(t, 1, d1)
	far, _ := l.writes(t, 1, d1)
	receive(t, log, "job", far...)
	all = append(all, far...)
	renewed := write(t, log, "job", note("c", d1, ""))[0]
	if renewed.Device == device || renewed.Seq != 1 || log.Device() != renewed.Device {
		t.Errorf("with another writing as %s, %s is written and the device is %s", device, renewed.Raw(), log.Device())
	}
	all = append(all, renewed.Raw())
	check(t, log, "job", all)
	log = open()
	if log.Device() != renewed.Device {
		t.Errorf("opened again the device is %q, not %q", log.Device(), renewed.Device)
	}

	// A fork of its own says the same.
	e := write(t, log, "third", form("d", 2, d1)...)
	start := newLine("third", e[0].Device)
	raw, _ := start.write(t, 1, note("other", d1, "a copy wrote this"))
	if forks := receive(t, log, "third", raw); len(forks) != 1 {
		t.Errorf("a copy's entry forked %q", forks)
	}
	last := write(t, log, "third", note("e", d1, ""))[0]
	if last.Device == renewed.Device || last.Device == device || last.Seq != 1 {
		t.Errorf("after a fork of its own, %s is written", last.Raw())
	}
	check(t, log, "third", append(rawsOf(e), raw, last.Raw()))
	check(t, log, "job", all)
}

func testMarksInAnyOrder(t *testing.T, open Storage) {
	log := open()
	one, _ := newLine("job", "a").writes(t, 4, d1)
	two, _ := newLine("job", "b").writes(t, 3, d2)
	all := slices.Concat(one, two)
	receive(t, log, "job", all...)
	want := must[[]store.Mark](t)(log.Marks(t.Context(), "job"))
	if len(want) != 2 || want[0].Day != d1 || want[0].Count != 4 || want[1].Count != 3 {
		t.Errorf("marks = %v", want)
	}
	other := store.NewMemory()
	for _, raw := range slices.Backward(all) {
		receive(t, other, "job", raw)
	}
	if got := must[[]store.Mark](t)(other.Marks(t.Context(), "job")); !slices.Equal(got, want) {
		t.Errorf("received backwards the marks are %v, not %v", got, want)
	}
	write(t, log, "job", note("x", d1, ""))
	if got := must[[]store.Mark](t)(log.Marks(t.Context(), "job")); got[0] == want[0] || got[1] != want[1] {
		t.Errorf("an entry of %s made the marks %v of %v", d1, got, want)
	}
}
