package daylog

import "duskline/internal/roofplan"

// CoversRolled says that covers, or vertical splices, were set and rolled.
type CoversRolled struct {
	Places []Place         `json:"places"`
	Size   roofplan.Length `json:"size,omitzero"` // 0: the job's
}

var coversKind = Kind{
	Name: "covers", Title: "Covers done", Group: Details, Writes: Crew, Live: true, Lasts: true, AtEnd: true,
	Script: []string{"covers/cover rolled on {places}; size {size}"},
	New:    func() Body { return new(CoversRolled) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "places", Label: "Where", Type: Places, Required: true},
			{Name: "size", Label: "Size, if not the job's", Type: Length, Unit: "in"},
		}
	},
	Check:  func(d *Day, b Body) []Problem { return checkPlaces(d, b.(*CoversRolled).Places) },
	Say:    func(_ *Day, b Body) string { return sayPlaces(b.(*CoversRolled).Places) + " rolled" },
	Places: func(b Body) []string { return namesOf(b.(*CoversRolled).Places) },
}

func (*CoversRolled) kind() *Kind { return &coversKind }

func (b *CoversRolled) apply(d *Day, l *Line) {
	for _, p := range b.Places {
		p, ok := d.Roof.fit(p)
		if ok {
			d.Roof.spot(p).roll(l)
		}
		d.act(l, p.Key(), Part{})
	}
}

// roll notes that a spot was set and rolled. Set again, its wait begins again.
func (s *Spot) roll(l *Line) {
	s.Rolled, s.Roller, s.Day, s.Treated, s.Treater = l.Ended(), l.Root, l.Day, When{}, ""
}

// EdgesTreated says that splice adhesive and lap sealant went on the edges of
// covers and splices.
type EdgesTreated struct {
	Places []Place `json:"places"`
}

var treatmentKind = Kind{
	Name: "treatment", Title: "Edge treatment", Group: Details, Writes: Crew, Live: true, Lasts: true,
	Script: []string{"treated {places}"},
	New:    func() Body { return new(EdgesTreated) },
	Fields: func(d *Day) []Field {
		return []Field{{Name: "places", Label: "Where", Type: Places, Required: true}}
	},
	Check:  func(d *Day, b Body) []Problem { return checkPlaces(d, b.(*EdgesTreated).Places) },
	Say:    func(_ *Day, b Body) string { return sayPlaces(b.(*EdgesTreated).Places) + " treated" },
	Places: func(b Body) []string { return namesOf(b.(*EdgesTreated).Places) },
}

func (*EdgesTreated) kind() *Kind { return &treatmentKind }

func (b *EdgesTreated) apply(d *Day, l *Line) {
	for _, p := range b.Places {
		p, ok := d.Roof.fit(p)
		if ok {
			s := d.Roof.spot(p)
			s.Treated, s.Treater = l.Began(), l.Root
		}
		d.act(l, p.Key(), Part{})
	}
}

func checkPlaces(d *Day, places []Place) []Problem {
	if len(places) == 0 {
		return []Problem{{Field: "places", Says: "Say where: tap at least one place.", Refuses: true}}
	}
	for _, p := range places {
		if !d.Roof.onPlan(p) {
			return []Problem{{Field: "places", Says: p.Key() + " is not on the plan. Is it named right?"}}
		}
	}
	return nil
}

// SayPlace names a place in the crew's words.
func SayPlace(p Place) string {
	switch {
	case p.What == Splice:
		return "vertical splice " + SayName(p.On)
	case p.At != 0:
		return "cover " + SayName(p.On) + " at " + p.At.String()
	}
	return "cover " + SayName(p.On)
}

// CountPlaces says how many covers and splices there are: "3 covers and 2
// vertical splices".
func CountPlaces(places []Place) string {
	covers, splices := 0, 0
	for _, p := range places {
		if p.What == Splice {
			splices++
		} else {
			covers++
		}
	}
	var parts []string
	if covers > 0 {
		parts = append(parts, Count(covers, "cover", "covers"))
	}
	if splices > 0 {
		parts = append(parts, Count(splices, "vertical splice", "vertical splices"))
	}
	return List(parts)
}

func sayPlaces(places []Place) string {
	if len(places) == 1 {
		return SayPlace(places[0])
	}
	keys := make([]string, len(places))
	for i, p := range places {
		keys[i] = SayName(p.On)
		if p.At != 0 {
			keys[i] += " at " + p.At.String()
		}
	}
	return CountPlaces(places) + " (" + List(keys) + ")"
}

func namesOf(places []Place) []string {
	names := make([]string, len(places))
	for i, p := range places {
		names[i] = p.On
	}
	return names
}
