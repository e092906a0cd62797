package checks

import (
	"testing"
	"time"

	"duskline/internal/daylog"
)

// Worked last calls, by common practice: leaving 16:30, pack-up 20, a round of
// treatment 20 min, a wait of 4 h.
func TestCalls(t *testing.T) {
	chicago, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	day := func(packup int, leaves map[string]time.Time, limits map[string]float64) *Situation {
		d := &daylog.Day{Date: "2026-04-22", Setup: &daylog.Setup{Leaving: "16:30", Limits: limits}, Packup: packup, Leaves: leaves}
		return &Situation{Zone: chicago, Day: d}
	}
	local := func(clock string) time.Time {
		when, err := time.ParseInLocation("2006-01-02 15:04", "2026-04-22 "+clock, chicago)
		if err != nil {
			t.Fatal(err)
		}
		return when
	}
	for name, c := range map[string]struct {
		s                              *Situation
		cover, treatment, down, leaves string
	}{
		"as usual":       {day(20, nil, nil), "11:50", "15:50", "16:10", "16:30"},
		"no pack-up":     {day(0, nil, nil), "12:10", "16:10", "16:30", "16:30"},
		"said":           {day(20, map[string]time.Time{"": local("15:30")}, nil), "10:50", "14:50", "15:10", "15:30"},
		"last ones stay": {day(20, map[string]time.Time{"": local("16:30"), "ada": local("18:45")}, nil), "14:05", "18:05", "18:25", "18:45"},
		"longer wait":    {day(20, nil, map[string]float64{"edge-early.wait_min": 300, "edge-open.treatment_min": 30}), "10:40", "15:40", "16:10", "16:30"},
	} {
		got := Calls(c.s)
		for _, x := range []struct {
			what string
			at   time.Time
			want string
		}{{"last cover", got.Cover, c.cover}, {"treatment", got.Treatment, c.treatment}, {"tools down", got.ToolsDown, c.down}, {"leaving", got.Leaving, c.leaves}} {
			if c.s.Clock(x.at) != x.want {
				t.Errorf("%s: %s %s, want %s", name, x.what, c.s.Clock(x.at), x.want)
			}
		}
	}
	// Who stays longer by the set-up counts on the days on which he is there, until
	// it is said otherwise.
	stays := func(own string, crew []string, leaves map[string]time.Time) string {
		s := day(20, leaves, nil)
		s.Day.Crew, s.Day.Setup.Persons = crew, []daylog.Person{{Person: "ada", Leaving: own}, {Person: "bo"}}
		return s.Clock(Calls(s).Leaving)
	}
	for _, c := range []struct{ got, want string }{
		{stays("17:30", []string{"ada", "bo"}, nil), "17:30"},
		{stays("17:30", []string{"bo"}, nil), "16:30"},
		{stays("14:00", []string{"ada"}, nil), "16:30"},
		{stays("17:30", []string{"ada"}, map[string]time.Time{"": local("15:30"), "ada": local("15:00")}), "15:30"},
		{stays("17:30", []string{"ada"}, map[string]time.Time{"": local("15:30")}), "17:30"},
		{stays("late", []string{"ada"}, nil), "16:30"},
	} {
		if c.got != c.want {
			t.Errorf("with leaving times of their own the last leave at %s, want %s", c.got, c.want)
		}
	}
	unknown := day(20, nil, nil)
	unknown.Day.Setup.Leaving = ""
	if got := Calls(unknown); got != (LastCalls{}) {
		t.Errorf("leaving is not known, and yet %+v", got)
	}
}
