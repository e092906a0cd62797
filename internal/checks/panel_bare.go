package checks

import (
	"math"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

var (
	bareArea     = Limit{Name: "panel-bare.area_sqft", Label: "Bare sheet at leaving", Default: 0, Unit: "sq ft", Source: practice, Most: true}
	heldBackArea = Limit{Name: "panel-bare.held_back_sqft", Label: "Stone kept back from an open cover until the next morning", Default: 9, Unit: "sq ft", Source: practice, Most: true}
)

var panelBare = &Check{
	ID:       "panel-bare",
	Title:    "Sheet left with nothing on it",
	Why:      "Wind gets under loose sheet: it lifts at speeds a light breeze reaches.",
	Settle:   "Ballast it, or weigh it down and say with what.",
	Source:   practice, // UFC 3-330-02A 6-3.b asks for final stone in place of temporary ballast as soon as possible
	Severity: Stop,
	When:     ToolsDown | Overnight,
	Absence:  true,
	Limits:   []Limit{bareArea, heldBackArea},
	Run:      runPanelBare,
}

func runPanelBare(s *Situation, report func(Finding)) {
	for i := range s.Roof.Panels {
		p := &s.Roof.Panels[i]
		bare := wholeFeet(s.Roof.Bare(*p))
		if bare == 0 || !s.left(p.Day) {
			continue
		}
		bare = wholeFeet(bare - s.Limit(heldBackArea)*float64(s.heldBack(p)))
		if bare == 0 || bare <= s.Limit(bareArea) {
			continue
		}
		f := Finding{
			Key:    "panel-bare " + p.Name,
			Place:  "panel " + p.Name,
			Seen:   number(bare) + " sq ft",
			Limit:  number(s.Limit(bareArea)) + " sq ft at leaving",
			Since:  s.toolsDown(),
			places: []where{{name: p.Name}},
		}
		what := "Panel " + p.Name
		strip := p.Strip != nil && !p.Strip.Temp && !p.Strip.Filled && bare <= wholeFeet(s.Roof.Layout().Strip(p.Name, p.Strip.Width))
		if strip {
			what = "Leading strip of panel " + p.Name
		}
		f.Says = what + ": " + number(bare) + " sq ft with neither stone nor temporary ballast"
		if p.Day < s.Day.Date {
			f.Says += s.sinceDay(p)
			f.Since = p.Position.At
		}
		switch {
		case p.Position.IsZero() && p.Day == s.Day.Date:
			// Named by something else that was done to it.
			f.Says = "Is panel " + p.Name + " laid, and since when?"
			f.Seen = "in position not written; " + number(bare) + " sq ft with neither stone nor temporary ballast"
			f.Settle = "Say when it was in position; if the number is wrong, correct the line that names it."
			f.Asks = true
			f.Answer = Answer{Label: "When?", Kind: "panel", Fields: map[string]any{"panel": p.Name, "weighted": true}}
		case strip:
			f.Answer = Answer{Label: "Weighted", Kind: "temp", Fields: map[string]any{"strips": []string{p.Name}}}
		default:
			f.Answer = Answer{Label: "Stone", Kind: "stone", Fields: map[string]any{"panels": []daylog.PanelPart{s.restOf(p)}}}
		}
		report(f)
	}
}

func (s *Situation) sinceDay(p *daylog.Panel) string {
	if p.Day == "" {
		return " since before the record"
	}
	return " since " + sayDate(p.Day)
}

// wholeFeet rounds a bare area to whole square feet: it is what is left of a
// panel less parts of it, each rounded to a tenth by itself.
func wholeFeet(area float64) float64 { return max(0, math.Round(area)) }

// heldBack counts the open places beside a panel that no stone was logged
// over: so much of the bare sheet is kept free for them.
func (s *Situation) heldBack(p *daylog.Panel) int {
	if len(p.Stone) == 0 {
		return 0 // nothing was kept back
	}
	n := 0
	for _, place := range s.openBeside(p.Name) {
		along, ok := s.along(p.Name, place.seam, place.at)
		if ok && !stoned(p.Stone, along, 0) {
			n++
		}
	}
	return n
}

// openPlace is a cover or splice that is owed or waits for its treatment.
type openPlace struct {
	daylog.Place
	seam string
	at   roofplan.Length
}

// openBeside gives the open places on the seams of a panel.
func (s *Situation) openBeside(panel string) []openPlace {
	var out []openPlace
	layout := s.Roof.Layout()
	placed, ok := layout.Panel(panel)
	if !ok {
		return nil
	}
	st := s.stands()
	for _, n := range placed.Neighbours {
		name := roofplan.SeamName(panel, n)
		plan, _ := layout.Seam(name)
		add := func(on string, at roofplan.Length) {
			for _, p := range st.spots[on] {
				if p.Treated.IsZero() && p.What == daylog.Cover {
					if on == name {
						at = p.At
					}
					out = append(out, openPlace{p.Place, name, at})
				}
			}
		}
		add(name, 0)
		for _, end := range plan.Ends() {
			add(end.Name, daylog.AngleAt(plan, end))
		}
		for _, d := range st.dutiesOn[name] {
			if d.covers() && st.spot(d.Place) == nil {
				out = append(out, openPlace{d.Place, name, d.at})
			}
		}
	}
	return out
}

// along gives where along a panel's length a place on one of its seams lies.
func (s *Situation) along(panel, seam string, at roofplan.Length) (roofplan.Length, bool) {
	layout := s.Roof.Layout()
	placed, ok := layout.Panel(panel)
	plan, also := layout.Seam(seam)
	if !ok || !also {
		return 0, false
	}
	p := plan.Point(at)
	if placed.Axis == roofplan.North {
		return p.Y - placed.Rect.Min.Y, true
	}
	return p.X - placed.Rect.Min.X, true
}

// stoned reports whether stone lies along a panel within a distance of a point.
func stoned(parts []daylog.StonePart, at, within roofplan.Length) bool {
	for _, st := range parts {
		if st.To == 0 || st.From-within <= at && at <= st.To+within {
			return true
		}
	}
	return false
}
