package checks

import "duskline/internal/roofplan"

var stripNights = Limit{Name: "strip-left.strip_nights", Label: "Nights a leading strip may ride on temporary ballast", Default: 1, Unit: "nights", Source: practice, Most: true}

var stripLeft = &Check{
	ID:       "strip-left",
	Title:    "Leading strip left on temporary ballast",
	Why:      "Once the next sheet is lapped and its seam made, nothing keeps stone from the strip, and temporary ballast is no ballast.",
	Settle:   "Fill it with stone and take the temporary ballast off.",
	Source:   Source{Where: "UFC 3-330-02A 6-3.b", Status: Published}, // temporary ballast gives way to final ballast as soon as possible
	Severity: Today,
	When:     ToolsDown,
	Absence:  true,
	Plain:    true,
	Limits:   []Limit{stripNights},
	Run:      runStripLeft,
}

func runStripLeft(s *Situation, report func(Finding)) {
	for i := range s.Roof.Panels {
		p := &s.Roof.Panels[i]
		if p.Strip == nil || p.Strip.Filled || !p.Strip.Temp || !s.lapped(p.Name) {
			continue
		}
		// What stood before the record was there on an earlier night.
		nights, since := s.nights(p.Strip.Since), "since "+sayDate(p.Strip.Since)
		if p.Day == "" && p.Strip.Since == s.Day.Date {
			nights, since = nights+1, "since before today"
		}
		if nights <= s.Limit(stripNights) {
			continue
		}
		f := Finding{
			Key:    "strip-left " + p.Name,
			Place:  "panel " + p.Name,
			Says:   "Leading strip of panel " + p.Name + " still has no stone, though the seam beside it is made",
			Seen:   number(wholeFeet(s.Roof.Layout().Strip(p.Name, p.Strip.Width))) + " sq ft, " + since,
			Limit:  "filled the day its seam is made",
			Since:  s.toolsDown(),
			Answer: Answer{Label: "Stone", Kind: "stone", Fields: map[string]any{"strips": []string{p.Name}}},
			places: []where{{name: p.Name}},
		}
		placed, _ := s.Roof.Layout().Panel(p.Name)
		for _, n := range placed.Neighbours {
			f.places = append(f.places, where{name: roofplan.SeamName(p.Name, n)})
		}
		report(f)
	}
}
