package checks

import (
	"testing"
	"time"

	"duskline/internal/daylog"
)

// rules that say what a test wants them to.
func saying(id string, severity Severity, says ...Finding) *Check {
	return &Check{ID: id, Severity: severity, When: Live, Source: practice, Run: func(s *Situation, report func(Finding)) {
		for _, f := range says {
			report(f)
		}
	}}
}

func TestRunPutsTheWorstFirst(t *testing.T) {
	early, late := at(t, "2026-06-10T12:00:00Z"), at(t, "2026-06-10T13:00:00Z")
	s := &Situation{At: Live, Day: &daylog.Day{}, Roof: &daylog.Roof{}}
	s.run([]*Check{
		saying("a", Notice, Finding{Key: "a"}),
		saying("b", Stop, Finding{Key: "b 2", Since: late}, Finding{Key: "b 1", Since: late}, Finding{Key: "b 3", Since: early}),
		saying("c", People, Finding{Key: "c", Since: late}),
		saying("d", Today, Finding{Key: "d", Since: early}),
		{ID: "e", Severity: Stop, When: ToolsDown, Run: func(s *Situation, report func(Finding)) { report(Finding{Key: "e"}) }},
	})
	var got []string
	for _, f := range s.judged.findings {
		got = append(got, f.Key)
	}
	want := []string{"c", "b 3", "b 1", "b 2", "d", "a"}
	if len(got) != len(want) {
		t.Fatalf("found %v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("found %v, want %v", got, want)
		}
	}
}

func TestSetAsideHangsOnKeyAndWords(t *testing.T) {
	day := &daylog.Day{Asides: []daylog.AsideLine{
		{SetAside: &daylog.SetAside{Key: "edge-early 2|3", Words: "treated 2 h after rolling", Reason: "first"}},
		{SetAside: &daylog.SetAside{Key: "edge-early 2|3", Words: "treated 2 h after rolling", Reason: "second"}},
	}}
	s := &Situation{At: Live, Day: day, Roof: &daylog.Roof{}}
	for _, c := range []struct {
		severity   Severity
		key, words string
		reason     string // "" not set aside
	}{
		{Stop, "edge-early 2|3", "treated 2 h after rolling", "second"},
		{Stop, "edge-early 2|3", "treated 1 h after rolling", ""},
		{Stop, "edge-early 3|4", "treated 2 h after rolling", ""},
		{People, "edge-early 2|3", "treated 2 h after rolling", ""},
	} {
		s.run([]*Check{saying("edge-early", c.severity, Finding{Key: c.key, Says: c.words})})
		reason := ""
		if a := s.judged.findings[0].Aside; a != nil {
			reason = a.Reason
		}
		if reason != c.reason {
			t.Errorf("%s %s %q is set aside for %q, want %q", c.severity, c.key, c.words, reason, c.reason)
		}
	}
}

func TestHeldBack(t *testing.T) {
	e := readExample(t, "testdata/flash-unproved/two-tablets.day")
	for _, c := range []struct {
		variant, device, at, words, place string
	}{
		{"", "a", "08:35", "not heard since 08:30", "run 2|3, 0 to 50 ft"},
		{"", "b", "08:35", "", ""},
		{"b never tests", "a", "08:59", "not heard since 08:30", "run 2|3, 0 to 50 ft"},
		{"b never tests", "a", "09:00", "", ""},
		{"a line by a newer version", "b", "08:55", "written by a newer version", "run 2|3, 0 to 50 ft"},
	} {
		s := e.Script
		if c.variant != "" {
			var err error
			if s, err = e.Variant(c.variant); err != nil {
				t.Fatal(err)
			}
		}
		g, err := s.Log(0)
		if err != nil {
			t.Fatal(err)
		}
		now, err := time.ParseInLocation("2006-01-02 15:04", "2026-06-10 "+c.at, s.Zone())
		if err != nil {
			t.Fatal(err)
		}
		sit := Look(daylog.Fold(s.Job, g.Held(c.device, now)), "2026-06-10", now, s.Zone(), c.device, false)
		back := sit.HeldBack()
		switch {
		case c.words == "":
			if len(back) > 0 {
				t.Errorf("%q on %s at %s: held back %+v", c.variant, c.device, c.at, back)
			}
		case len(back) != 1 || back[0].Words != c.words || len(back[0].Places) != 1 || back[0].Places[0] != c.place:
			t.Errorf("%q on %s at %s: held back %+v, want %q for %q", c.variant, c.device, c.at, back, c.words, c.place)
		}
	}
}

// Why relax-short keeps its question to itself is said.
func TestHeldBackForAPanelNobodyHereWrote(t *testing.T) {
	e := readExample(t, "testdata/relax-short/two-tablets.day")
	g, err := e.Log(0)
	if err != nil {
		t.Fatal(err)
	}
	for clock, want := range map[string]string{"08:10": "not heard since 07:02", "08:30": ""} {
		now, err := time.ParseInLocation("2006-01-02 15:04", "2026-06-10 "+clock, e.Zone())
		if err != nil {
			t.Fatal(err)
		}
		back := Look(daylog.Fold(e.Job, g.Held("a", now)), "2026-06-10", now, e.Zone(), "a", false).HeldBack()
		if want == "" && len(back) > 0 || want != "" && (len(back) != 1 || back[0].Words != want || len(back[0].Places) != 1 || back[0].Places[0] != "panel 3") {
			t.Errorf("at %s: held back %+v, want %q", clock, back, want)
		}
	}
}
