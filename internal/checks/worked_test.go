package checks

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
	"duskline/internal/roofplan"
)

// stood is what a rule is to say on a worked day: from one clock time to
// another, that one left out. Words are in all that it says.
type stood struct {
	date     daylog.Date
	rule     string
	from, to string
	words    string
}

// must is what the three worked days have to raise, worked out by hand, and
// what one mistake on one of them does. What is not in it must not be said.
var must = []struct {
	day, variant string
	says         []stood
}{
	{"day1", "", nil},
	{"day1", "covers of 5|6 treated too early", []stood{{"2026-03-04", "edge-early", "16:40", "24:00", "3 h 50 min"}}},
	{"day1", "the pass at 10:16 left out", []stood{{"2026-03-04", "flash-unproved", "10:28", "24:00", "4|5, 0 to 50 ft"}}},
	{"day1", "panel 5 in position at 09:05", []stood{{"2026-03-04", "relax-cold", "09:50", "24:00", "45 min"}}},
	{"day1", "no cold-weather plan", []stood{{"2026-03-04", "cold-day", "08:30", "24:00", "26 F"}}},
	{"day2", "", []stood{
		{"2026-04-22", "prime-wet", "10:48", "13:04", "1|2, 60 to 100 ft"},
		{"2026-04-22", "edge-wont-make-it", "11:50", "12:10", "Folded cover north on run 1|2"},
		{"2026-04-22", "edge-wont-make-it", "12:10", "12:20", "2 covers on run 1|2"},
		{"2026-04-22", "dew-near", "12:15", "12:16", "3.3 F"},
	}},
	{"day3", "", []stood{
		{"2026-10-06", "edge-wont-make-it", "10:36", "10:40", "Run 2|3 would not be treated"},
		{"2026-10-06", "edge-wont-make-it", "11:45", "15:05", "Cover at 41 ft on run 2|3"},
		{"2026-10-06", "edge-early", "15:05", "15:06", "2 h 35 min"},
		{"2026-10-06", "edge-wont-make-it", "15:06", "15:08", "Cover at 41 ft on run 2|3"},
		{"2026-10-07", "edge-open", "00:00", "07:35", "Cover at 41 ft on run 2|3"},
	}},
	{"day3", "the early treatment never struck", []stood{
		{"2026-10-06", "edge-wont-make-it", "10:36", "10:40", "Run 2|3 would not be treated"},
		{"2026-10-06", "edge-wont-make-it", "11:45", "15:05", "Cover at 41 ft on run 2|3"},
		{"2026-10-06", "edge-early", "15:05", "24:00", "2 h 35 min"},
	}},
	{"no-mat", "", nil}, {"pavers", "", nil}, {"re-entrant", "", nil}, {"reinforced", "", nil}, {"two-tablets", "", nil},
}

// TestWorkedDays looks at every minute of the worked days as they are written
// live, and right after each batch in the other ways of writing them: there
// what accuses live may at most be asked, and nothing else is said. Only what
// weighs no written times says the same in all of them.
func TestWorkedDays(t *testing.T) {
	for _, w := range must {
		t.Run(w.day+" "+w.variant, func(t *testing.T) {
			s := readExample(t, filepath.Join(worked, w.day+".day")).Script
			if w.variant != "" {
				v, err := s.Variant(w.variant)
				if err != nil {
					t.Fatal(err)
				}
				s = complete(v)
			}
			for _, mode := range []script.Mode{script.Live, script.Batches, script.AllAtOnce} {
				g, err := s.Log(mode)
				if err != nil {
					t.Fatal(err)
				}
				for _, date := range s.Dates() {
					if mode == script.Live {
						everyMinute(t, s, g, date, w.says)
					} else {
						afterEachBatch(t, s, g, date, w.says)
					}
				}
			}
		})
	}
}

func everyMinute(t *testing.T, s *script.Script, g *script.Log, date daylog.Date, says []stood) {
	t.Helper()
	midnight, err := time.ParseInLocation(time.DateOnly, string(date), s.Zone())
	if err != nil {
		t.Fatal(err)
	}
	end := lastWritten(g, date)
	var job *daylog.Job
	held := -1
	for at := midnight; !at.After(end); at = at.Add(time.Minute) {
		if have := g.Held("a", at); len(have) != held {
			job, held = daylog.Fold(s.Job, have), len(have)
		}
		sit := Look(job, date, at, s.Zone(), "a", false)
		clock := sit.Clock(at)
		var want, got []string
		for _, x := range says {
			if x.date == date && x.from <= clock && clock < x.to {
				want = append(want, x.rule)
			}
		}
		for _, f := range Run(sit) {
			if f.Aside != nil {
				continue
			}
			got = append(got, f.Check.ID)
			if f.Asks {
				t.Errorf("live, %s %s: %s asks: %s", date, clock, f.Key, f.Says)
			}
			for _, x := range says {
				if x.rule == f.Check.ID && x.date == date && x.from <= clock && clock < x.to && !strings.Contains(f.Says, x.words) {
					t.Errorf("live, %s %s: %q lacks %q", date, clock, f.Says, x.words)
				}
			}
		}
		slices.Sort(want)
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Fatalf("live, %s %s: %v stand, want %v", date, clock, got, want)
		}
	}
}

func lastWritten(g *script.Log, date daylog.Date) (last time.Time) {
	for _, w := range g.Entries {
		if w.Day == date && w.Device != script.Office && w.Made.After(last) {
			last = w.Made
		}
	}
	return last
}

func afterEachBatch(t *testing.T, s *script.Script, g *script.Log, date daylog.Date, says []stood) {
	t.Helper()
	wrote := map[time.Time]int{}
	for _, w := range g.Entries {
		if w.Day == date && w.Device != script.Office && w.About > 0 {
			wrote[w.Made]++
		}
	}
	if len(wrote) == 0 {
		t.Fatalf("%s, %s: nothing is written in a batch", g.Mode, date)
	}
	for at := range wrote {
		sit := Look(daylog.Fold(s.Job, g.Held("a", at)), date, at, s.Zone(), "a", false)
		clock := sit.Clock(at)
		questions := 0
		for _, f := range Run(sit) {
			named := slices.ContainsFunc(says, func(x stood) bool {
				return x.rule == f.Check.ID && x.date == date && x.from <= clock && clock < x.to
			})
			switch {
			case !named:
				t.Errorf("%s, %s %s: %s: %s", g.Mode, date, clock, f.Key, f.Says)
			case !f.Asks && !f.Check.Plain:
				t.Errorf("%s, %s %s: accuses, where it may only ask: %s: %s", g.Mode, date, clock, f.Key, f.Says)
			}
			if f.Asks {
				questions++
			}
		}
		if questions > 3 {
			t.Errorf("%s, %s %s: %d questions at once", g.Mode, date, clock, questions)
		}
	}
}

// On Leaving the cover that could not be treated is set aside, and with its
// reason is all that stands; it is the first thing next morning.
func TestTheCoverAt41Feet(t *testing.T) {
	s := readExample(t, filepath.Join(worked, "day3.day")).Script
	g, err := s.Log(script.Live)
	if err != nil {
		t.Fatal(err)
	}
	look := func(date daylog.Date, clock string, leaving bool) *Situation {
		at, err := time.ParseInLocation(time.DateOnly+" 15:04", fmt.Sprint(date, " ", clock), s.Zone())
		if err != nil {
			t.Fatal(err)
		}
		return Look(daylog.Fold(s.Job, g.Held("a", at)), date, at, s.Zone(), "a", leaving)
	}
	for _, c := range []struct {
		clock   string
		leaving bool
		aside   bool
	}{{"15:07", true, false}, {"15:08", true, true}, {"15:10", false, true}, {"15:20", true, true}, {"16:30", false, true}} {
		found := Run(look("2026-10-06", c.clock, c.leaving))
		if len(found) != 1 || found[0].Check.ID != "edge-open" || found[0].Place != "run 2|3" || (found[0].Aside != nil) != c.aside {
			t.Errorf("at %s: %+v", c.clock, found)
		}
	}
	signed := look("2026-10-06", "15:20", false).Day.Signatures[0].Stood
	if len(signed) != 1 || !strings.HasPrefix(signed[0].Key, "edge-open 2|3") || !strings.Contains(signed[0].Reason, "restart made a cover after last call") {
		t.Errorf("signed with %+v", signed)
	}
	morning := look("2026-10-07", "07:15", false)
	found, owed := Run(morning), OwedNow(morning)
	if len(found) == 0 || found[0].Check.ID != "edge-open" || found[0].Aside != nil || !strings.Contains(found[0].Says, "since Tue Oct 6") {
		t.Errorf("next morning: %+v", found)
	}
	if len(owed) == 0 || !owed[0].Left {
		t.Errorf("next morning what is left over is not first: %+v", owed)
	}
}

// A seam of which nothing is begun is held short before both angle changes by
// one tap; once it is primed, leaving later is what is offered.
func TestHoldingShortIsOffered(t *testing.T) {
	e := readExample(t, "testdata/edge-wont-make-it/opening.day")
	for _, c := range []struct {
		variant, clock, kind string
	}{
		{"unrolled a minute too late", "09:54", "held"},
		{"laid in time, primed a minute too late", "10:24", "leaving"},
		{"only the north end is begun when last call passes", "11:50", "leaving"},
	} {
		s, err := e.Variant(c.variant)
		if err != nil {
			t.Fatal(err)
		}
		g, err := s.Log(script.Live)
		if err != nil {
			t.Fatal(err)
		}
		at, err := time.ParseInLocation(time.DateOnly+" 15:04", "2026-06-10 "+c.clock, s.Zone())
		if err != nil {
			t.Fatal(err)
		}
		found := Run(Look(daylog.Fold(s.Job, g.Held("a", at)), "2026-06-10", at, s.Zone(), "a", false))
		i := slices.IndexFunc(found, func(f Finding) bool { return f.Check.ID == "edge-wont-make-it" })
		if i < 0 || found[i].Answer.Kind != c.kind {
			t.Errorf("%s: %+v, want the answer %s", c.variant, found, c.kind)
			continue
		}
		if fields := found[i].Answer.Fields; c.kind == "held" && (fields["from"] != roofplan.Feet(4.5) || fields["to"] != roofplan.Feet(95.5) || fields["seam"] != "2|3" || fields["one piece"] != true) {
			t.Errorf("%s: held short with %v", c.variant, fields)
		}
	}
}
