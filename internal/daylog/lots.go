package daylog

import (
	"time"

	"duskline/internal/roofplan"
)

// OpenLot is the lot of a material in use: it carries forward until the next
// one is opened.
type OpenLot struct {
	LotOpened
	Since Date   `json:"since"`
	Entry string `json:"entry"`
}

// Expires is the last day on which the lot is good: as printed on it, or its
// date made plus its months; "" if neither is known.
func (l LotOpened) Expires() Date {
	if until, err := ParseDate(l.Until); err == nil {
		return until
	}
	made, err := time.Parse(time.DateOnly, l.Made)
	if err != nil || l.Months <= 0 || l.Months > 1200 {
		return ""
	}
	// Made on the 31st, it is good to the end of a shorter month.
	first := time.Date(made.Year(), made.Month()+time.Month(l.Months), 1, 0, 0, 0, 0, time.UTC)
	return DateOf(first.AddDate(0, 0, min(made.Day(), first.AddDate(0, 1, -1).Day())-1))
}

// Lot gives the lot of a material in use.
func (r *Roof) Lot(material string) (OpenLot, bool) {
	for _, l := range r.Lots {
		if l.Material == material {
			return l, true
		}
	}
	return OpenLot{}, false
}

// LotOpened says that a new roll, can or tube was begun.
type LotOpened struct {
	Material string `json:"material,omitempty"` // "tape", "primer", "adhesive", "sealant", ...
	Lot      string `json:"lot,omitempty"`
	Made     string `json:"made,omitempty"`  // date, as in 2026-03-04
	Until    string `json:"until,omitempty"` // date it is good until
	Months   int    `json:"months,omitzero"` // that it is good from Made
}

var lotKind = Kind{
	Name: "lot", Title: "Lot opened", Group: Materials, Writes: Crew,
	Script: []string{
		"lot of tape {material=tape} {lot}; made {made}; good until {until}; good for {months}",
		"lot of primer {material=primer} {lot}; made {made}; good until {until}; good for {months}",
		"lot of adhesive {material=adhesive} {lot}; made {made}; good until {until}; good for {months}",
		"lot of sealant {material=sealant} {lot}; made {made}; good until {until}; good for {months}",
		"lot of cover strip {material=cover strip} {lot}; made {made}; good until {until}; good for {months}",
		"lot of sheet {material=sheet} {lot}; made {made}; good until {until}; good for {months}",
	},
	New: func() Body { return new(LotOpened) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "material", Label: "Material", Type: Choice, Options: options("tape", "primer", "adhesive", "sealant", "cover strip", "sheet")},
			{Name: "lot", Label: "Lot", Type: Text},
			{Name: "until", Label: "Good until", Type: Calendar},
			{Name: "made", Label: "Made", Type: Calendar, Help: "Where no last day is printed."},
			{Name: "months", Label: "Good for", Type: Whole, Unit: "months", Max: 120},
		}
	},
	Check: func(d *Day, b Body) []Problem {
		l := b.(*LotOpened)
		for _, f := range []struct{ name, text string }{{"until", l.Until}, {"made", l.Made}} {
			if _, err := ParseDate(f.text); f.text != "" && err != nil {
				return []Problem{{Field: f.name, Says: "This is not a date like 2027-03-01."}}
			}
		}
		if l.Lot == "" {
			return []Problem{{Field: "lot", Says: "Which lot? It stands on the roll or can."}}
		}
		return nil
	},
	Say: func(_ *Day, b Body) string {
		l := b.(*LotOpened)
		return say("lot of "+l.Material+" "+l.Lot, after("good until", string(l.Expires())))
	},
}

func (*LotOpened) kind() *Kind { return &lotKind }

func (b *LotOpened) apply(d *Day, l *Line) {
	open := OpenLot{d.Setup.dated(*b), d.Date, l.Root}
	for i := range d.Roof.Lots {
		if d.Roof.Lots[i].Material == b.Material {
			d.Roof.Lots[i] = open
			return
		}
	}
	d.Roof.Lots = append(d.Roof.Lots, open)
}

// Received says that material came, and in what state.
type Received struct {
	What      string `json:"what,omitempty"`
	Quantity  string `json:"quantity,omitempty"`
	Lot       string `json:"lot,omitempty"`
	Condition string `json:"condition,omitempty"` // "good", "damaged", "refused"
	Remark    string `json:"remark,omitempty"`
}

var receivedKind = Kind{
	Name: "received", Title: "Materials received", Group: Materials, Writes: Crew, Section: "deliveries",
	Script: []string{"received {what}; quantity {quantity}; lot {lot}; condition {condition}; remark {remark}"},
	New:    func() Body { return new(Received) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "what", Label: "What", Type: Text},
			{Name: "quantity", Label: "How much", Type: Text},
			{Name: "condition", Label: "Condition", Type: Choice, Default: "good", Options: options("good", "damaged", "refused")},
			{Name: "lot", Label: "Lot", Type: Text},
			{Name: "remark", Label: "Remark", Type: Text},
		}
	},
	Say: func(_ *Day, b Body) string {
		r := b.(*Received)
		return say("received "+r.What, r.Quantity, after("lot", r.Lot), after("condition", r.Condition), r.Remark)
	},
}

func (*Received) kind() *Kind           { return &receivedKind }
func (*Received) apply(d *Day, l *Line) {}

// Stored says where material is kept: near an edge, or flammable indoors.
type Stored struct {
	What    string          `json:"what,omitempty"`
	Gallons float64         `json:"gal,omitzero"` // of flammable liquids
	Where   string          `json:"where,omitempty"`
	Edge    roofplan.Length `json:"edge,omitzero"` // distance from an unguarded edge
}

var storedKind = Kind{
	Name: "stored", Title: "Materials stored", Group: Materials, Writes: Crew,
	Script: []string{"stored {what}; flammable {gal}; where {where}; from an edge {edge}"},
	Help:   "Flammable liquids, and anything near an edge.",
	New:    func() Body { return new(Stored) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "what", Label: "What", Type: Text},
			{Name: "where", Label: "Where", Type: Choice, Options: options("roof", "ground", "room", "cabinet")},
			{Name: "gal", Label: "Flammable liquids", Type: Number, Unit: "gal", Max: 1e4},
			{Name: "edge", Label: "From an unguarded edge", Type: Length, Unit: "ft"},
		}
	},
	Say: func(_ *Day, b Body) string {
		s := b.(*Stored)
		return say("stored "+s.What, s.Where, when(s.Gallons != 0, number(s.Gallons)+" gal"), after("from the edge", long(s.Edge)))
	},
}

func (*Stored) kind() *Kind           { return &storedKind }
func (*Stored) apply(d *Day, l *Line) {}
