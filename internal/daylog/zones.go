package daylog

import "duskline/internal/roofplan"

// BallastZones is what the rates of the job hang on. They are minimums that the
// licensed engineer of record gives; nothing here designs for wind.
type BallastZones struct {
	System  string          `json:"system,omitempty"` // "1", "2", "3": the rates began as those of a published system
	Checked string          `json:"checked,omitempty"`
	Height  roofplan.Length `json:"height,omitzero"` // of the building
	Width   roofplan.Length `json:"width,omitzero"`  // of the perimeter and corner zones
	Slope   float64         `json:"slope,omitempty"` // inches in 12
	NoLoose bool            `json:"no loose,omitempty"`
}

var zonesKind = Kind{
	Name: "zones", Title: "Ballast zones", Group: SetUp, Writes: Office,
	Help:   "Rates and zones are for the licensed engineer of record. This tool designs no wind resistance.",
	Script: zonesScript,
	New:    func() Body { return new(BallastZones) },
	Fields: zonesFields,
	Say: func(_ *Day, b Body) string {
		z := b.(*BallastZones)
		return say(when(z.System != "", "System "+z.System), after("building", long(z.Height)), after("zones", long(z.Width)), when(z.Slope != 0, "slope "+number(z.Slope)+" in 12"),
			when(z.NoLoose, "no loose stone in perimeter and corners"), after("rates checked against", z.Checked), z.Doubt())
	},
}

func (*BallastZones) kind() *Kind { return &zonesKind }

func (b *BallastZones) apply(d *Day, l *Line) { d.Setup.Zones = *b }

// Doubt is what stands beside rates that began as those of a published system
// until somebody has checked them; "" where none is needed.
func (z BallastZones) Doubt() string {
	if z.System == "" || z.Checked != "" {
		return ""
	}
	return "rates from memory, verify against the standard"
}
