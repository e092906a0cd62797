package checks

import (
	"slices"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

var stoneFromEdge = Limit{Name: "perimeter-open.stone_ft", Label: "Stone from an edge that is not secured", Default: 3, Unit: "ft", Source: practice}

var perimeterOpen = &Check{
	ID:       "perimeter-open",
	Title:    "Edge not secured",
	Why:      "A sheet that is loose at its edge shrinks away from it and flutters, and ballast does not hold it there.",
	Settle:   "Secure, flash or terminate it; or seal it for the night.",
	Source:   Source{Where: "Canadian Roofing Reference Manual 7.2.4; UFC 3-330-02A 6-3.a", Status: Published},
	Severity: Today,
	When:     Live | ToolsDown,
	Absence:  true,
	Plain:    true,
	Limits:   []Limit{stoneFromEdge},
	Run:      runPerimeterOpen,
}

func runPerimeterOpen(s *Situation, report func(Finding)) {
	for i := range s.Roof.Panels {
		p := &s.Roof.Panels[i]
		placed, ok := s.Roof.Layout().Panel(p.Name)
		if !ok || p.Day == "" || p.Position.IsZero() && p.Day == s.Day.Date {
			continue
		}
		var edges, details []string
		for _, b := range placed.Borders {
			if b.Length > 0 && !s.heldAt(b.Name) && (p.Of == "" || !s.heldAt(p.Of+"@"+b.Edge)) {
				edges = append(edges, b.Name)
			}
		}
		for _, d := range s.Day.Setup.Details {
			x := s.Roof.Detail(d.Name)
			// What was opened and not closed is detail-open's.
			if d.Panel == p.Name && d.Sort != "drain" && d.Sort != "scupper" && x.Opened == "" && x.Flashed == "" && x.Sealed != s.Day.Date {
				details = append(details, d.Name)
			}
		}
		if len(edges)+len(details) == 0 {
			continue
		}
		all := append(slices.Clone(edges), details...)
		f := Finding{
			Key:    "perimeter-open " + p.Name,
			Place:  "panel " + p.Name,
			Says:   "Not secured: " + daylog.SayNames(all),
			Seen:   daylog.Count(len(all), "place", "places") + " not secured",
			Limit:  "all secured",
			Since:  s.toolsDown(),
			Answer: Answer{Label: "Secured", Kind: "edge", Fields: map[string]any{"edges": edges, "done": "secured"}},
			places: []where{{name: p.Name}},
		}
		if edges == nil {
			f.Answer = Answer{Label: "Flashed", Kind: "detail", Fields: map[string]any{"details": details, "done": "flashed"}}
		}
		for _, name := range all {
			f.places = append(f.places, where{name: name})
		}
		if s.At&ToolsDown == 0 {
			stone := s.stoneAtEdge(p, placed, all)
			if stone == nil {
				continue
			}
			f.Grade, f.Since, f.Entry = Notice, stone.Ended.At, []string{stone.Line.Root}
			f.Says = "Stone came near what is not secured: " + daylog.SayNames(all)
			f.Seen = "stone on panel " + p.Name + " " + s.when(stone.Ended)
			f.Limit, f.Source = number(s.Limit(stoneFromEdge))+" ft", stoneFromEdge.Source
		}
		report(f)
	}
}

// heldAt reports whether an edge is secured, or sealed for this night.
func (s *Situation) heldAt(edge string) bool {
	e := s.Roof.Edge(edge)
	return e.Secured != "" || e.Flashed != "" || e.Terminated != "" || e.Sealed == s.Day.Date
}

// stoneAtEdge gives today's first stone on a panel that came near one of its
// edges or penetrations; nil if none did.
func (s *Situation) stoneAtEdge(laid *daylog.Panel, p roofplan.Panel, open []string) *daylog.Act {
	within := roofplan.Feet(s.Limit(stoneFromEdge))
	for _, a := range s.stands().acts[p.Name] {
		if a.Kind != "stone" || !onSheet(a) || !layBefore(laid, a) || a.Ended.At.After(s.Now) {
			continue
		}
		for _, b := range p.Borders {
			if !slices.Contains(open, b.Name) {
				continue
			}
			at, across := s.endsAt(p, b.Edge)
			if !across || a.Part.To == 0 || stoned([]daylog.StonePart{{Part: a.Part}}, at, within) {
				return a
			}
		}
		for _, d := range s.Day.Setup.Details {
			if !slices.Contains(open, d.Name) || d.Panel != p.Name {
				continue
			}
			at := d.Y - p.Rect.Min.Y
			if p.Axis != roofplan.North {
				at = d.X - p.Rect.Min.X
			}
			// Where it lies may not be on the plan.
			if a.Part.To == 0 || (d.X != 0 || d.Y != 0) && stoned([]daylog.StonePart{{Part: a.Part}}, at, within) {
				return a
			}
		}
	}
	return nil
}

// endsAt gives where along a panel a side of the roof crosses it, by the seams
// that end there; false: the side runs along it, or no seam tells.
func (s *Situation) endsAt(p roofplan.Panel, edge string) (roofplan.Length, bool) {
	for _, n := range p.Neighbours {
		plan, _ := s.Roof.Layout().Seam(roofplan.SeamName(p.Name, n))
		for _, end := range plan.Ends() {
			if end.Edge == edge && plan.Axis == p.Axis {
				return s.along(p.Name, plan.Name, daylog.AngleAt(plan, end))
			}
		}
	}
	return 0, false
}
