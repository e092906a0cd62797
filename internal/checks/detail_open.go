package checks

var detailOpen = &Check{
	ID:       "detail-open",
	Title:    "Penetration left open",
	Why:      "A cut pipe, drain or curb is a hole in the roof.",
	Settle:   "Flash it, or seal it for the night.",
	Source:   practice,
	Severity: Stop,
	When:     ToolsDown | Overnight,
	Absence:  true,
	Plain:    true,
	Run:      runDetailOpen,
}

func runDetailOpen(s *Situation, report func(Finding)) {
	for _, d := range s.Roof.Details {
		if d.Opened == "" || d.Flashed >= d.Opened || d.Sealed >= d.Opened || !s.left(d.Opened) {
			continue
		}
		f := Finding{
			Key:    "detail-open " + d.Name,
			Place:  d.Name,
			Says:   d.Name + " is opened and neither flashed nor sealed for the night",
			Seen:   "opened " + sayDate(d.Opened),
			Limit:  "none open",
			Since:  s.toolsDown(),
			Answer: Answer{Label: "Flashed", Kind: "detail", Fields: map[string]any{"details": []string{d.Name}, "done": "flashed"}},
			places: []where{{name: d.Name}},
		}
		report(f)
	}
}
