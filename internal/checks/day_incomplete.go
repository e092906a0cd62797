package checks

import (
	"slices"

	"duskline/internal/daylog"
)

var dayIncomplete = &Check{
	ID:       "day-incomplete",
	Title:    "The day's record has gaps",
	Why:      "A record that leaves things out is worth little when somebody asks years later.",
	Settle:   "Note what is missing; \"none today\" is an answer.",
	Source:   Source{Where: "UFGS-01451A, Contractor Quality Control", Status: Published},
	Severity: Today,
	When:     ToolsDown | Overnight,
	Plain:    true,
	Run:      runDayIncomplete,
}

func runDayIncomplete(s *Situation, report func(Finding)) {
	f := Finding{Key: "day-incomplete", Place: "day", Since: s.toolsDown(), Limit: "all noted"}
	if n := len(s.Day.Signatures); n > 0 {
		last := s.Day.Signatures[n-1]
		if last.Statement != "" {
			return
		}
		f.Says = "The day is signed without a statement"
		f.Seen, f.Since, f.Entry = "signed "+s.Clock(last.Line.At), last.Line.At, []string{last.Line.Root}
		f.Settle = "Sign again with the statement."
		f.Answer = Answer{Label: "Sign", Kind: "sign"}
		report(f)
		return
	}
	if s.At&ToolsDown == 0 {
		return
	}
	gaps := s.gaps()
	if len(gaps) == 0 {
		return
	}
	if h, unsure := s.unheardAfter(s.evening()); unsure {
		s.hold(h, "the day's record")
		return
	}
	names := make([]string, len(gaps))
	for i, g := range gaps {
		names[i] = g.name
	}
	f.Says = "Not noted today: " + daylog.List(names)
	f.Seen = daylog.Count(len(gaps), "part missing", "parts missing")
	f.Answer = Answer{Label: upper(gaps[0].name), Kind: gaps[0].kind}
	report(f)
}

type gap struct{ name, kind string }

// gaps lists what the day's record lacks, with the form that fills it.
func (s *Situation) gaps() []gap {
	var none []string
	headcount, safety, workless := false, len(s.Day.Fall) > 0, false
	noted := map[string]bool{} // sections of the kinds that were written
	for _, l := range s.Day.Lines {
		k := daylog.KindOf(l.Body)
		if k == nil || l.Struck != nil {
			continue
		}
		noted[k.Section] = true
		switch k.Group { // what else was done, or why nothing
		case daylog.Repairs, daylog.Remarks, daylog.Details:
			workless = true
		}
		switch b := l.Body.(type) {
		case *daylog.Start:
			headcount, workless = headcount || len(b.Crew) > 0, workless || b.NoGo
		case *daylog.CrewHours:
			headcount = headcount || len(b.Persons) > 0
		case *daylog.Briefing:
			headcount, safety = headcount || len(b.Present) > 0, true
		case *daylog.Delay, *daylog.DrainsClear, *daylog.TiedDown, *daylog.Visit:
			workless = true
		case *daylog.LotOpened:
			noted["deliveries"] = true
		case *daylog.NoneToday:
			none = append(none, b.Sections...)
		}
	}
	has := func(section string) bool { return noted[section] || slices.Contains(none, section) }
	work := s.firstWork(func(*daylog.Act) bool { return true }) != nil
	seamed := s.firstWork(func(a *daylog.Act) bool { return a.Kind == "priming" || a.Kind == "tape" || a.Kind == "closed" }) != nil
	var out []gap
	for _, g := range []struct {
		missing bool
		gap
	}{
		{len(s.Day.Weather) == 0, gap{"weather", "weather"}},
		{!headcount, gap{"who was on the roof", "hours"}},
		{work && !has("equipment"), gap{"equipment", "equipment"}},
		{!work && !workless, gap{"what was done where", "delay"}},
		{seamed && !has("tests"), gap{"tests", "test"}},
		{work && !has("deliveries"), gap{"materials", "received"}},
		{work && !safety, gap{"safety", "fall"}},
	} {
		if g.missing {
			out = append(out, g.gap)
		}
	}
	return out
}
