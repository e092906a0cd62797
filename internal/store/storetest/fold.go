package storetest

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"sync"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
	"duskline/internal/store"
)

func testOpenings(t *testing.T, open Storage) {
	log := open()
	write(t, log, "job", form("a", 3, d1)...)
	write(t, log, "another", note("x", d1, ""))
	opening := func(day daylog.Date, count int) daylog.Opening {
		return daylog.Opening{Day: day, Count: count, Build: "build " + string(day), State: bytes.Repeat([]byte(day+"\x00\xff"), 10000)}
	}
	expect := func(want ...daylog.Opening) {
		t.Helper()
		same := func(a, b daylog.Opening) bool {
			return a.Day == b.Day && a.Count == b.Count && a.Build == b.Build && bytes.Equal(a.State, b.State)
		}
		for range 2 {
			got := must[[]daylog.Opening](t)(log.Openings(t.Context(), "job"))
			if !slices.EqualFunc(got, want, same) {
				days := func(openings []daylog.Opening) (out []string) {
					for _, o := range openings {
						out = append(out, fmt.Sprintf("%s: %d of %q, %d bytes", o.Day, o.Count, o.Build, len(o.State)))
					}
					return out
				}
				t.Fatalf("openings\n got %q\nwant %q", days(got), days(want))
			}
			log = open()
		}
	}
	keep := func(openings ...daylog.Opening) {
		t.Helper()
		if err := log.KeepOpening(t.Context(), "job", openings...); err != nil {
			t.Fatal(err)
		}
	}
	keep()
	expect()
	keep(opening(d3, 3), opening(d2, 3))
	expect(opening(d2, 3), opening(d3, 3))
	keep(opening(d3, 4))
	expect(opening(d2, 3), opening(d3, 4))

	// An entry drops those of later days, whoever wrote it.
	write(t, log, "job", note("b", d2, ""))
	expect(opening(d2, 3))
	keep(opening(d4, 4), opening(d3, 4))
	raws, _ := newLine("job", "second").writes(t, 2, d3)
	receive(t, log, "job", raws[1]) // waits: changes nothing yet
	expect(opening(d2, 3), opening(d3, 4), opening(d4, 4))
	receive(t, log, "job", raws[0])
	expect(opening(d2, 3), opening(d3, 4))
	write(t, log, "job", note("b", d1, "written again")) // known
	write(t, log, "another", note("y", d1, ""))
	expect(opening(d2, 3), opening(d3, 4))

	var many []daylog.Opening
	for i := range store.OpeningsKept + 2 {
		many = append(many, opening(d4.Add(i), 6))
	}
	keep(many...)
	expect(many[2:]...)
}

// feet are lengths of an invented roof.
func feet(v float64) roofplan.Length { return roofplan.Feet(v) }

// season writes an invented job: set-up, and on each day a sheet, its seam and
// enough remarks to make openings worth keeping.
func season(t testing.TB, log store.Log, job string, days int) {
	t.Helper()
	outline := func(x, y float64) roofplan.Point { return roofplan.Point{X: feet(x), Y: feet(y)} }
	row := roofplan.Row{Corner: roofplan.Point{X: -18, Y: -18}, Length: feet(100), Lap: 5}
	for i := range days + 1 {
		row.Sheets = append(row.Sheets, roofplan.Sheet{Name: fmt.Sprint(i + 1), Width: feet(20)})
	}
	east := 20*float64(days+1) - float64(days)*5/12 - 3
	plan := roofplan.Plan{Outline: []roofplan.Point{outline(0, 0), outline(east, 0), outline(east, 97), outline(0, 97)}, Rows: []roofplan.Row{row}}
	for _, name := range []string{"south", "east", "north", "west"} {
		plan.Edges = append(plan.Edges, roofplan.Edge{Name: name, Kind: roofplan.Parapet, TurnUp: 18})
	}
	setUp := []daylog.Entry{note("setup", d1, ""), note("setup.1", d1, ""), note("setup.2", d1, "")}
	setUp[0].Body = &daylog.JobSetup{Name: "Invented hall", Zone: "America/Chicago", Leaving: "16:30", Packup: 20, Invented: true}
	setUp[1].Body = &daylog.PlanSetup{Plan: plan}
	setUp[2].Body = &daylog.Standing{Panels: []string{"1"}}
	write(t, log, job, setUp...)
	for i := range days {
		write(t, log, job, seamDay(job, i)...)
		write(t, log, job, form(fmt.Sprint("remarks", i), store.WorthKeeping+10, d1.Add(i))...)
	}
}

// seamDay gives the drafts of one day's work; each has an id of its own:
// "day0", "day0.1" ... in the order of the work.
func seamDay(job string, i int) []daylog.Entry {
	day := d1.Add(i)
	seam := fmt.Sprintf("%d|%d", i+1, i+2)
	run := daylog.OnSeam{Seam: seam, Part: daylog.Part{From: 0, To: feet(100)}}
	places := []daylog.Place{{On: seam + "@south"}, {On: seam + "@north"}}
	bodies := []daylog.Body{
		&daylog.Start{Leaving: dayAt(day, 20)},
		&daylog.PanelPositioned{Panel: fmt.Sprint(i + 2), Weighted: true},
		&daylog.Priming{OnSeam: run},
		&daylog.TapeLaid{OnSeam: run},
		&daylog.RunClosed{OnSeam: run},
		&daylog.CoversRolled{Places: places},
		&daylog.EdgesTreated{Places: places},
	}
	drafts := make([]daylog.Entry, len(bodies))
	for k, body := range bodies {
		drafts[k] = note(daylog.FormID(fmt.Sprint("day", i), k), day, "")
		drafts[k].At = dayAt(day, 12+k)
		drafts[k].Body = body
	}
	return drafts
}

func dayAt(day daylog.Date, hour int) time.Time {
	return morning.AddDate(0, 0, daysFrom(d1, day)).Add(time.Duration(hour-12) * time.Hour)
}

func daysFrom(a, b daylog.Date) int {
	x, _ := time.Parse(time.DateOnly, string(a))
	y, _ := time.Parse(time.DateOnly, string(b))
	return int(y.Sub(x).Hours() / 24)
}

// shown is what a job shows of a day and of the morning after it.
func shown(t testing.TB, j *daylog.Job, day daylog.Date) string {
	t.Helper()
	d := j.On(day)
	var lines []any
	for _, l := range d.Lines {
		lines = append(lines, []any{l.ID, l.Kind, l.At, l.Root, l.Struck != nil, l.After, len(l.Past)})
	}
	text, err := json.Marshal([]any{d.Date, d.Opening, d.Roof, d.Setup, lines, d.Leaves, d.Packup, d.Acts, finished(d, d.Opening), finished(d, d.Roof), j.On(day.Add(1)).Opening})
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// finished asks for the places of a season as the rules do.
func finished(d *daylog.Day, roof *daylog.Roof) []any {
	var out []any
	for i := range 6 {
		for _, edge := range []string{"south", "north"} {
			_, found, day := roof.Spot(daylog.Place{On: fmt.Sprintf("%d|%d@%s", i+1, i+2, edge)})
			out = append(out, found, day)
		}
	}
	return out
}

// checkFolds compares, for every day, what Fold makes of the log with what the
// whole set of entries comes to, read without any opening.
func checkFolds(t *testing.T, log store.Log, job string, fold func(daylog.Date) (*daylog.Job, error)) {
	t.Helper()
	for i := range 7 {
		day := d1.Add(i - 1)
		got, err := fold(day)
		if err != nil {
			t.Fatal(err)
		}
		whole := daylog.Fold(job, must[[]daylog.Entry](t)(log.Entries(t.Context(), job, "")))
		if got, want := shown(t, got, day), shown(t, whole, day); got != want {
			t.Fatalf("%s %s", day, difference(got, want))
		}
	}
}

// difference shows where two texts part.
func difference(got, want string) string {
	n := 0
	for n < len(got) && n < len(want) && got[n] == want[n] {
		n++
	}
	part := func(s string) string { return s[max(0, n-80):min(len(s), n+80)] }
	return fmt.Sprintf("shows ... %s ...\n                 want ... %s ...", part(got), part(want))
}

func plainly(ctx context.Context, log store.Log, job string) func(daylog.Date) (*daylog.Job, error) {
	return func(day daylog.Date) (*daylog.Job, error) { return store.Fold(ctx, log, job, day) }
}

func openingDays(t testing.TB, log store.Log, job string) []daylog.Date {
	t.Helper()
	var days []daylog.Date
	for _, o := range must[[]daylog.Opening](t)(log.Openings(t.Context(), job)) {
		days = append(days, o.Day)
	}
	return days
}

func testFoldFromOpenings(t *testing.T, open Storage) {
	log := open()
	season(t, log, "job", 4)
	if j := must[*daylog.Job](t)(store.Fold(t.Context(), log, "job", d3)); len(j.Days) != 4 {
		t.Errorf("without openings %d days were folded, want all 4", len(j.Days))
	}
	if got := openingDays(t, log, "job"); !slices.Equal(got, []daylog.Date{d3}) {
		t.Fatalf("asked for %s, openings of %v were kept", d3, got)
	}
	j := must[*daylog.Job](t)(store.Fold(t.Context(), log, "job", d4.Add(3)))
	if len(j.Days) != 2 || j.Days[0].Date != d3 {
		t.Errorf("%d days were folded, want those from the opening of %s", len(j.Days), d3)
	}
	if got := openingDays(t, log, "job"); !slices.Equal(got, []daylog.Date{d3, d4}) {
		t.Errorf("asked for a day after the last, openings are of %v", got)
	}
	for range 2 {
		checkFolds(t, log, "job", plainly(t.Context(), log, "job"))
		log = open()
	}
	// Little read is nothing to be kept.
	write(t, log, "job", note("next", d4.Add(1), ""))
	before := openingDays(t, log, "small")
	write(t, log, "small", form("x", 10, d1)...)
	write(t, log, "small", form("y", 10, d2)...)
	must[*daylog.Job](t)(store.Fold(t.Context(), log, "small", d2))
	if got := openingDays(t, log, "small"); len(got) != len(before) {
		t.Errorf("of a small job openings of %v were kept", got)
	}
	for _, o := range must[[]daylog.Opening](t)(log.Openings(t.Context(), "job")) {
		if len(o.State) > 150<<10 {
			t.Errorf("the opening of %s has %d bytes", o.Day, len(o.State))
		}
	}
}

func testFoldAfterALateEntry(t *testing.T, open Storage) {
	log := open()
	season(t, log, "job", 4)
	for i := range 4 {
		must[*daylog.Job](t)(store.Fold(t.Context(), log, "job", d1.Add(i)))
	}
	checkFolds(t, log, "job", plainly(t.Context(), log, "job"))

	// The treatment of the second day's edges is struck, from elsewhere and
	// late: from then on they are open.
	strike := note("late", d2, "")
	strike.Body, strike.Of, strike.Why = &daylog.Strike{}, daylog.FormID("day1", 6), "not done"
	raw, l := newLine("job", "second").write(t, 10000, strike)
	receive(t, log, "job", raw)
	for range 2 {
		checkFolds(t, log, "job", plainly(t.Context(), log, "job"))
		log = open()
	}
	if _, open, _ := must[*daylog.Job](t)(store.Fold(t.Context(), log, "job", d4)).On(d4).Roof.Spot(daylog.Place{On: "2|3@south"}); !open {
		t.Error("a struck treatment of an earlier day is still taken for done")
	}

	// A late correction on the first day, set-up that reaches back, and more
	// entries on each day.
	moved := seamDay("job", 0)[1]
	moved.ID, moved.Of, moved.Why = "moved", "day0.1", "wrong sheet"
	moved.Body = &daylog.PanelPositioned{Panel: "5"}
	raw, l = l.write(t, 10001, moved)
	receive(t, log, "job", raw)
	checkFolds(t, log, "job", plainly(t.Context(), log, "job"))
	for i := range 5 {
		limit := note(fmt.Sprint("limit", i), d1.Add(3-i), "")
		limit.Body = &daylog.LimitSetup{Limit: "edge-early.wait_min", Value: float64(300 + i)}
		raw, l = l.write(t, int64(10002+i), limit)
		receive(t, log, "job", raw)
		checkFolds(t, log, "job", plainly(t.Context(), log, "job"))
	}
}

func testFoldStaleOpening(t *testing.T, open Storage) {
	log := open()
	season(t, log, "job", 3)
	keep := func(openings ...daylog.Opening) {
		t.Helper()
		if err := log.KeepOpening(t.Context(), "job", openings...); err != nil {
			t.Fatal(err)
		}
	}
	must[*daylog.Job](t)(store.Fold(t.Context(), log, "job", d3))
	openings := must[[]daylog.Opening](t)(log.Openings(t.Context(), "job"))
	if len(openings) != 1 {
		t.Fatalf("%d openings kept, want 1", len(openings))
	}
	good := openings[0]

	// An opening that was being made while a late entry came in is kept after
	// it: the log cannot have dropped it.
	strike := note("late", d2, "")
	strike.Body, strike.Of, strike.Why = &daylog.Strike{}, daylog.FormID("day1", 6), "not done"
	write(t, log, "job", strike)
	keep(good)
	checkFolds(t, log, "job", plainly(t.Context(), log, "job"))

	// Openings of another build, and such as cannot be read.
	count := good.Count + 1
	for _, bad := range []daylog.Opening{
		{Day: d3, Count: count, Build: "another", State: good.State},
		{Day: d3, Count: count, Build: daylog.FoldBuild, State: nil},
		{Day: d3, Count: count, Build: daylog.FoldBuild, State: []byte("{}")},
		{Day: d3, Count: count, Build: daylog.FoldBuild, State: good.State[:len(good.State)/2]},
		{Day: d3, Count: count - 1, Build: daylog.FoldBuild, State: good.State},
		{Day: d3, Count: count + 1, Build: daylog.FoldBuild, State: good.State},
	} {
		keep(bad)
		for i := range 2 {
			day := d3.Add(i)
			got := must[*daylog.Job](t)(store.Fold(t.Context(), log, "job", day))
			whole := daylog.Fold("job", must[[]daylog.Entry](t)(log.Entries(t.Context(), "job", "")))
			if shown(t, got, day) != shown(t, whole, day) {
				t.Errorf("an opening of build %q, count %d (of %d) and %d bytes was used", bad.Build, bad.Count, count, len(bad.State))
			}
			keep(bad)
		}
	}
}

// meddled is a log on which somebody writes each time entries are read.
type meddled struct {
	store.Log
	before func()
}

func (m *meddled) Entries(ctx context.Context, job string, from daylog.Date) ([]daylog.Entry, error) {
	m.before()
	return m.Log.Entries(ctx, job, from)
}

// testFoldWhileWritten lets late entries come in between the readings of Fold.
func testFoldWhileWritten(t *testing.T, open Storage) {
	log := open()
	season(t, log, "job", 3)
	must[*daylog.Job](t)(store.Fold(t.Context(), log, "job", d3))
	for _, times := range []int{1, 2, 100} {
		n, id := 0, ""
		m := &meddled{log, func() {
			if n++; n <= times {
				id = fmt.Sprintf("meddled%d-%d", times, n)
				write(t, log, "job", note(id, d1, "late"))
			}
		}}
		memo := new(store.Memo)
		j := must[*daylog.Job](t)(memo.Fold(t.Context(), m, "job", d3))
		if j.Days[0].Date != d1 || !slices.ContainsFunc(j.Days[0].Lines, func(l *daylog.Line) bool { return l.ID == id }) {
			t.Errorf("with an entry of an earlier day before each of %d readings, the job lacks %s", times, id)
		}
		m.before = func() {}
		checkFolds(t, log, "job", func(day daylog.Date) (*daylog.Job, error) { return memo.Fold(t.Context(), m, "job", day) })
	}
}

func testFoldForked(t *testing.T, open Storage) {
	log := open()
	season(t, log, "job", 3)
	start := newLine("job", "second")
	one, onOne := start.write(t, 1, note("one", d1, "one line"))
	two, _ := start.write(t, 1, note("two", d3, "the other line"))
	receive(t, log, "job", one)
	must[*daylog.Job](t)(store.Fold(t.Context(), log, "job", d3))
	// A signature that covers one of the lines, given where only later
	// entries would be read.
	heads := must[daylog.Heads](t)(log.Heads(t.Context(), "job"))
	if heads["second"].Head != onOne.head {
		t.Fatalf("heads = %v", heads)
	}
	sign := note("sign", d3, "")
	sign.At, sign.Body = dayAt(d3, 22), &daylog.Sign{Vector: heads}
	write(t, log, "job", sign)
	must[*daylog.Job](t)(store.Fold(t.Context(), log, "job", d3))
	receive(t, log, "job", two)
	for range 2 {
		checkFolds(t, log, "job", plainly(t.Context(), log, "job"))
		log = open()
	}
	for _, l := range must[*daylog.Job](t)(store.Fold(t.Context(), log, "job", d3)).On(d3).Lines {
		if l.ID == "two" && !l.After {
			t.Error("the line that the signer did not see is taken for signed")
		}
	}
}

// counting counts what is read of a log.
type counting struct {
	store.Log
	mu      sync.Mutex
	entries int
}

func (c *counting) Entries(ctx context.Context, job string, from daylog.Date) ([]daylog.Entry, error) {
	c.mu.Lock()
	c.entries++
	c.mu.Unlock()
	return c.Log.Entries(ctx, job, from)
}

func testMemo(t *testing.T, open Storage) {
	log := &counting{Log: open()}
	season(t, log, "job", 2)
	memo := &store.Memo{Jobs: 2}
	fold := func(job string, day daylog.Date) *daylog.Job {
		t.Helper()
		return must[*daylog.Job](t)(memo.Fold(t.Context(), log, job, day))
	}
	reads := func(want int, what string) {
		t.Helper()
		if log.entries != want {
			t.Errorf("%s: entries were read %d times, want %d", what, log.entries, want)
		}
		log.entries = 0
	}
	first := fold("job", d2)
	reads(1, "asked first")
	for range 3 {
		if fold("job", d2) != first || fold("job", d3) != first || fold("job", d1) != first {
			t.Error("the same marks gave another job")
		}
	}
	reads(0, "asked again")
	write(t, log, "job", note("x", d2, ""))
	if got := fold("job", d2); len(got.On(d2).Lines) != len(first.On(d2).Lines)+1 {
		t.Error("an entry more is not in the job")
	}
	reads(1, "after an entry")
	fold("job", d1)
	reads(1, "asked for a day before the one it was folded for")
	fold("job", d2)
	reads(0, "asked for a later day")

	write(t, log, "b", note("x", d1, ""))
	write(t, log, "c", note("x", d1, ""))
	for _, job := range []string{"b", "c", "b", "job"} {
		fold(job, d1)
	}
	reads(3, "two other jobs")
	fold("b", d1)
	reads(0, "the one asked for last but one")
	fold("c", d1)
	reads(1, "the one that fell out")
	memo.Forget()
	fold("c", d1)
	reads(1, "after forgetting")
	if _, err := memo.Fold(t.Context(), log, "nothing", d1); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a job without entries: %v, want fs.ErrNotExist", err)
	}

	// At once, while entries come in: nobody gets less than was there before.
	memo = new(store.Memo)
	var group sync.WaitGroup
	for i := range 4 {
		group.Go(func() {
			for k := range 3 {
				e, err := log.Write(t.Context(), "c", note(fmt.Sprintf("w%d-%d", i, k), d1, ""))
				if err != nil {
					t.Error(err)
					return
				}
				j, err := memo.Fold(t.Context(), log, "c", d1)
				if err != nil {
					t.Error(err)
					return
				}
				if !slices.ContainsFunc(j.On(d1).Lines, func(l *daylog.Line) bool { return l.ID == e[0].ID }) {
					t.Errorf("%s was written before, and is not in the job", e[0].ID)
				}
				j.On(d2) // a day without entries is made while others read
			}
		})
	}
	group.Wait()
	checkFolds(t, log, "job", func(day daylog.Date) (*daylog.Job, error) { return memo.Fold(t.Context(), log, "job", day) })
}
