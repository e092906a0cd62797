package checks

import (
	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

var bareMatStrip = Limit{Name: "mat-bare.strip_ft", Label: "Mat that may lie bare along the leading edge", Default: 3, Unit: "ft", Source: practice, Most: true}

var matBare = &Check{
	ID:       "mat-bare",
	Title:    "Mat left in the sun",
	Why:      "Sunlight eats mat, and wind takes it before it takes stone.",
	Settle:   "Cover it with ballast, or take it up for the night.",
	Source:   practice,
	Severity: Today,
	When:     ToolsDown,
	Absence:  true,
	Plain:    true,
	Limits:   []Limit{bareMatStrip},
	Run:      runMatBare,
}

func runMatBare(s *Situation, report func(Finding)) {
	for i := range s.Roof.Panels {
		p := &s.Roof.Panels[i]
		bare := s.bareMat(p)
		if bare == 0 {
			continue
		}
		report(Finding{
			Key:    "mat-bare " + p.Name,
			Place:  "panel " + p.Name,
			Says:   "Panel " + p.Name + ": " + number(bare) + " sq ft of mat lie bare",
			Seen:   number(bare) + " sq ft",
			Limit:  "none beyond a strip of " + number(s.Limit(bareMatStrip)) + " ft",
			Source: bareMatStrip.Source,
			Since:  s.toolsDown(),
			Answer: Answer{Label: "Stone", Kind: "stone", Fields: map[string]any{"panels": []daylog.PanelPart{s.restOf(p)}}},
			places: []where{{name: p.Name}},
		})
	}
}

// bareMat is the area of mat on a panel that nothing covers, beyond what may
// lie bare on its leading strip; whole sq ft.
func (s *Situation) bareMat(p *daylog.Panel) float64 {
	if len(p.Mat) == 0 {
		return 0
	}
	layout := s.Roof.Layout()
	placed, _ := layout.Panel(p.Name)
	mat, stone := along(p.Mat, placed), along(p.Stone, placed)
	bare := 0.0
	for _, m := range mat {
		for _, gap := range m.Less(stone) {
			bare += layout.Net(p.Name, gap.From, gap.To)
		}
	}
	if strip := p.Strip; strip != nil && !strip.Filled {
		open := layout.Strip(p.Name, strip.Width)
		// Whether the strip is among what was covered, the area tells.
		onStrip := func(parts []daylog.StonePart, lengths []daylog.Part) bool {
			area := open
			for i := range parts {
				area += parts[i].Area - layout.Net(p.Name, lengths[i].From, lengths[i].To)
			}
			return area > 1
		}
		if onStrip(p.Mat, mat) && len(stone) > 0 && !onStrip(p.Stone, stone) {
			bare += open - layout.Strip(p.Name, min(strip.Width, roofplan.Feet(s.Limit(bareMatStrip))))
		}
	}
	return wholeFeet(bare)
}

// along gives the parts of a panel's length that mat or stone lies on.
func along(parts []daylog.StonePart, placed roofplan.Panel) []daylog.Part {
	var out []daylog.Part
	for _, p := range parts {
		part := p.Part
		if part.To == 0 {
			part = daylog.Part{To: placed.Length}
		}
		out = append(out, part)
	}
	return out
}
