package checks

var (
	openPart = Limit{Name: "insulation-open.part_percent", Label: "Opened and not closed the same day", Default: 1, Unit: "%", Source: practice, Most: true}
	openArea = Limit{Name: "insulation-open.area_sqft", Label: "Opened and not closed the same day, at least", Default: 10, Unit: "sq ft", Source: practice, Most: true}
)

var insulationOpen = &Check{
	ID:       "insulation-open",
	Title:    "Insulation or deck left open",
	Why:      "One shower soaks what lies open, and wet boards come out again.",
	Settle:   "Close it with a sheet, or cover it and say with what.",
	Source:   practice,
	Severity: Stop,
	When:     ToolsDown,
	Absence:  true,
	Plain:    true,
	Limits:   []Limit{openPart, openArea},
	Run:      runInsulationOpen,
}

func runInsulationOpen(s *Situation, report func(Finding)) {
	open := s.Day.Uncovered()
	// Areas are typed in whole feet: what is under the larger limit is not open.
	limit := max(s.Limit(openArea), tenth(s.Limit(openPart)/100*max(s.Day.Torn, s.Day.Insulated)))
	if open <= limit {
		return
	}
	f := Finding{
		Key:    "insulation-open",
		Says:   number(open) + " sq ft of insulation or deck opened today are not closed",
		Seen:   number(open) + " sq ft",
		Limit:  number(limit) + " sq ft",
		Since:  s.toolsDown(),
		Answer: Answer{Label: "Closed in", Kind: "closedin", Fields: map[string]any{"sqft": open}},
	}
	for i := range s.Day.Acts {
		if a := &s.Day.Acts[i]; a.Kind == "insulation" || a.Kind == "tearoff" {
			f.places = append(f.places, where{name: a.Place})
			f.Entry = append(f.Entry, a.Line.Root)
		}
	}
	report(f)
}
