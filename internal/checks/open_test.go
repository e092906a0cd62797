package checks

import (
	"strings"
	"testing"

	"duskline/internal/daylog/script"
)

// onDay is a worked day as its first tablet sees it at a time, live.
func onDay(t *testing.T, e example, clock string, leaving bool) *Situation {
	t.Helper()
	g, err := e.Log(script.Live)
	if err != nil {
		t.Fatal(err)
	}
	at := clockOf(t, e, e.Dates()[0], clock)
	return looked(e.Script, g, script.Moment{Day: e.Dates()[0], At: at, Device: e.Tablets()[0], Leaving: leaving})
}

// What is open stands by its place, each thing once.
func TestByPlace(t *testing.T) {
	e := readExample(t, worked+"/day1.day")
	for _, leaving := range []bool{false, true} {
		s := onDay(t, e, "11:50", leaving)
		found, owed := Run(s), OwedNow(s)
		places, rows, cards := map[string]bool{}, 0, 0
		for _, o := range ByPlace(s, found, owed) {
			if places[o.Place] || o.Place == "" || len(o.Found)+len(o.Owed) == 0 {
				t.Errorf("place %q, %d findings, %d owed", o.Place, len(o.Found), len(o.Owed))
			}
			places[o.Place] = true
			rows, cards = rows+len(o.Owed), cards+len(o.Found)
			for _, row := range o.Owed {
				for _, f := range o.Found {
					if row.Answer.Kind == f.Answer.Kind {
						t.Errorf("%s: %q and %q say the same", o.Place, row.Words, f.Says)
					}
				}
			}
		}
		if cards != len(found) || rows > len(owed) || !leaving && rows != len(owed) {
			t.Errorf("leaving %v: %d of %d findings, %d of %d owed", leaving, cards, len(found), rows, len(owed))
		}
		for _, want := range []string{"Run 5|6", "Panel 5", "Panel 6"} {
			if !places[want] {
				t.Errorf("leaving %v: nothing at %s among %v", leaving, want, places)
			}
		}
	}
}

// What the rules would ask at tools down is owed before.
func TestOwedAhead(t *testing.T) {
	e := readExample(t, worked+"/day1.day")
	words := func(clock string) string {
		var all []string
		for _, o := range OwedNow(onDay(t, e, clock, false)) {
			all = append(all, o.Words)
		}
		return strings.Join(all, "; ")
	}
	for _, x := range []struct {
		clock, words string
		want         bool
	}{
		{"10:30", "Not secured: 5 ", true},
		{"10:41", "Not secured: 5 ", false},
		{"12:49", "Not secured: 6 ", true},
		{"13:10", "Not secured: 6 ", false},
		{"13:10", "Drains", false},
		{"16:00", "Drains", true},
		{"16:53", "Drains", false},
		{"16:40", "Held-back places, run 4|5", true},
		{"15:40", "Held-back places, run 4|5", false},
	} {
		if got := words(x.clock); strings.Contains(got, x.words) != x.want {
			t.Errorf("%s: %q is owed: %v, want %v; %s", x.clock, x.words, !x.want, x.want, got)
		}
	}
}

// What stood at signing and stands still is carried over in its frozen words.
func TestCarry(t *testing.T) {
	e := readExample(t, "testdata/edge-open/overnight.day")
	g, err := e.Log(script.Live)
	if err != nil {
		t.Fatal(err)
	}
	dates := e.Dates()
	for clock, want := range map[string]int{"07:00": 2, "07:20": 1, "07:40": 0} {
		s := looked(e.Script, g, script.Moment{Day: dates[1], At: clockOf(t, e, dates[1], clock), Device: e.Tablets()[0], Leaving: true})
		before := s.Job.Before(dates[1])
		carried := Carry(s, before)
		if len(carried) != want {
			t.Errorf("%s: %d carried over, want %d: %+v", clock, len(carried), want, carried)
		}
		for _, c := range carried {
			if c.Reason != "rolled late, first thing tomorrow" || c.Words == "" || !strings.HasPrefix(c.Now.Key, c.Key) {
				t.Errorf("%s: %+v", clock, c)
			}
		}
	}
	if got := Carry(onDay(t, e, "12:00", true), onDay(t, e, "12:00", true).Day); got != nil {
		t.Errorf("carried over from a day that is not signed: %v", got)
	}
}

// What can hurt people is answered by name: it stands all the same, holds nothing
// up any more, and is frozen with the name.
func TestAnswered(t *testing.T) {
	e := readExample(t, "testdata/gust-work/gusts.day")
	v, err := e.Variant("the competent person answers for it")
	if err != nil {
		t.Fatal(err)
	}
	e.Script = complete(v)
	for clock, answered := range map[string]bool{"07:41": false, "07:42": true} {
		s := onDay(t, e, clock, false)
		for _, f := range Run(s) {
			if f.Check.ID == "gust-work" && (f.Holds() == answered || f.Settled() != answered || f.Aside != nil) {
				t.Errorf("%s: %+v", clock, f)
			}
		}
		stood := Stood(s)
		if len(stood) != 1 || (stood[0].By == "ada" && stood[0].Reason == "buggies stopped, all off the roof edge") != answered {
			t.Errorf("%s: frozen %+v", clock, stood)
		}
	}
}
