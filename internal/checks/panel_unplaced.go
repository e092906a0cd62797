package checks

import "duskline/internal/daylog"

var panelUnplaced = &Check{
	ID:       "panel-unplaced",
	Title:    "Laid panel without a place on the plan",
	Why:      "What has no place on the plan is in no area, no seam and no list of what is owed.",
	Settle:   "Correct the number if it is wrong; else tell the office, which puts it on the plan.",
	Source:   Source{Where: "UFC 3-330-02A 6-4.e(2)", Status: Published}, // each panel's place recorded on a roof plan
	Severity: Today,
	When:     ToolsDown,
	Plain:    true,
	Run:      runPanelUnplaced,
}

func runPanelUnplaced(s *Situation, report func(Finding)) {
	f := Finding{Key: "panel-unplaced", Limit: "every panel placed", Since: s.toolsDown()}
	var names []string
	for i := range s.Roof.Panels {
		p := &s.Roof.Panels[i]
		if _, placed := s.Roof.Layout().Panel(p.Name); placed || p.Cut || p.Name == "" {
			continue
		}
		names = append(names, p.Name)
		f.places = append(f.places, where{name: p.Name})
	}
	if len(names) == 0 {
		return
	}
	f.Place = "panel " + names[0]
	f.Says = "Panel " + names[0] + " has no place on the plan"
	if len(names) > 1 {
		f.Says = "Panels " + daylog.List(names) + " have no place on the plan"
	}
	f.Seen = daylog.Count(len(names), "panel", "panels") + " not placed"
	f.Answer = Answer{Label: "Note", Kind: "note", Fields: map[string]any{"text": f.Says}}
	if line := s.lineOf("panel", names[0]); line != nil {
		f.Answer, f.Entry = correct(line, "Which panel?"), []string{line.Root}
	}
	report(f)
}
