package checks

import (
	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

var (
	zoneSource = Source{Where: "ANSI/SPRI RP-4", Status: FromMemory}
	zoneFloor  = Limit{Name: "zone-thin.floor_ft", Label: "Least width of perimeter and corner zones", Default: 8.5, Unit: "ft", Source: zoneSource}
	zonePart   = Limit{Name: "zone-thin.height_percent", Label: "Width of perimeter and corner zones, of the building's height", Default: 40, Unit: "%", Source: zoneSource}
)

var zoneThin = &Check{
	ID:       "zone-thin",
	Title:    "Ballast zones too narrow",
	Why:      "Wind lifts most at edges and corners, and the higher the building the farther in.",
	Settle:   "Widen the zones, or ask the licensed engineer of record.",
	Source:   zoneSource,
	Severity: Stop,
	When:     Planned,
	Plain:    true,
	Limits:   []Limit{zoneFloor, zonePart},
	Run:      runZoneThin,
}

func runZoneThin(s *Situation, report func(Finding)) {
	z := s.Day.Setup.Zones
	if z.Width == 0 {
		return
	}
	least := max(roofplan.Feet(s.Limit(zoneFloor)), roofplan.Inches(float64(z.Height)*s.Limit(zonePart)/100))
	if z.Width < least {
		report(Finding{
			Key:    "zone-thin",
			Says:   "Perimeter and corner zones are " + z.Width.String() + " wide; a building " + z.Height.String() + " high asks for " + least.String(),
			Seen:   z.Width.String(),
			Limit:  least.String(),
			Answer: Answer{Label: "Change the zones", Kind: "zones"},
		})
	}
}

// PlannedFindings judges a set-up by the rules that look at nothing else.
func PlannedFindings(setup *daylog.Setup) []Finding {
	return Run(&Situation{At: Planned, Day: &daylog.Day{Setup: setup}})
}
