package daylog

import "duskline/internal/roofplan"

// ColdPlan is how the crew works near or below freezing that day.
type ColdPlan struct {
	Storage string          `json:"storage,omitempty"` // where liquids and tape are kept warm
	Liquids *float64        `json:"liquids,omitempty"` // F, at use
	Tape    bool            `json:"tape,omitempty"`    // kept warm
	Rest    int             `json:"rest,omitzero"`     // min that a sheet lies before it is primed
	Width   roofplan.Length `json:"width,omitzero"`    // of sheets, at most
	Flash   string          `json:"flash,omitempty"`   // how flash-off is helped
}

var coldKind = Kind{
	Name: "cold", Title: "Cold-weather plan", Group: Beginning, Writes: Crew,
	Script: []string{"cold-weather plan; liquids at {liquids}; tape warm {tape}; rest {rest}; sheets up to {width}; flash-off {flash}; storage {storage}"},
	New:    func() Body { return new(ColdPlan) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "rest", Label: "Rest before priming", Type: Whole, Unit: "min", Default: 60, Again: true, Min: 30, Max: 240},
			{Name: "tape", Label: "Tape kept warm", Type: Tick, Default: true},
			{Name: "liquids", Label: "Liquids at use", Type: Temp, Unit: "F", Again: true, Min: 30, Max: 120},
			{Name: "storage", Label: "Kept warm in", Type: Text, Again: true},
			{Name: "flash", Label: "Flash-off helped by", Type: Text, Again: true},
			{Name: "width", Label: "Sheets no wider than", Type: Length, Unit: "ft"},
		}
	},
	Say: func(_ *Day, b Body) string {
		c := b.(*ColdPlan)
		liquids := ""
		if c.Liquids != nil {
			liquids = "liquids at " + number(*c.Liquids) + " F"
		}
		return say("cold-weather plan", liquids, when(c.Tape, "tape warm"), when(c.Rest > 0, Count(c.Rest, "min", "min")+" rest"),
			after("sheets up to", long(c.Width)), after("flash-off:", c.Flash), after("kept in", c.Storage))
	},
}

func (*ColdPlan) kind() *Kind { return &coldKind }

func (b *ColdPlan) apply(d *Day, l *Line) { d.Cold = append(d.Cold, ColdLine{l.Began(), b, l.Root}) }
