package daylog

import (
	"math"
	"slices"
	"strings"

	"duskline/internal/roofplan"
)

// onPlan reports whether the plan in force knows the place by its name.
func (r *Roof) onPlan(p Place) bool {
	_, ok := r.Point(p)
	return ok
}

// Point finds a place on the plan in force by its name.
func (r *Roof) Point(p Place) (roofplan.Point, bool) {
	seam, _, atEdge := strings.Cut(p.On, "@")
	if len(Joined(seam)) > 2 {
		if j, ok := r.layout.Joint(p.On); ok {
			return j.Point, true
		}
		return roofplan.Point{}, false
	}
	s, ok := r.layout.Seam(seam)
	if !ok {
		return roofplan.Point{}, false
	}
	if !atEdge {
		return s.Point(p.At), true
	}
	for _, end := range s.Ends() {
		if end.Name == p.On {
			return s.Point(AngleAt(s, end)), true
		}
	}
	return roofplan.Point{}, false
}

// AngleAt is where along a seam its end passes over the angle change: where a
// folded cover is owed. A seam that stops at the side itself ends there.
func AngleAt(s roofplan.Seam, end roofplan.End) roofplan.Length {
	at, best := end.At, roofplan.Length(math.Inf(1))
	for _, a := range s.Angles {
		if d := abs(a.At - end.At); a.Edge == end.Edge && d < best {
			at, best = a.At, d
		}
	}
	return at
}

// Joined gives the panels that a place's name joins: `7|8@north` joins 7 and 8.
func Joined(place string) []string {
	place, _, _ = strings.Cut(place, "@")
	place, _, _ = strings.Cut(place, " ")
	if place == "" {
		return nil
	}
	return strings.Split(place, "|")
}

// Locate fills in the plan's inches of a place that is about to be logged.
func (r *Roof) Locate(p Place) Place {
	if pt, ok := r.Point(p); ok {
		p.X, p.Y = pt.X, pt.Y
	}
	return p
}

// fit finds a logged place on the plan in force: by its name, else by where it
// lay, within 1 ft; else it is listed as lost. Without a plan every name fits.
func (r *Roof) fit(p Place) (Place, bool) {
	if len(r.layout.Panels) == 0 || r.onPlan(p) {
		return p, true
	}
	if p.X != 0 || p.Y != 0 {
		if q, ok := r.nearest(p); ok {
			return q, true
		}
	}
	if !slices.Contains(r.Lost, p) {
		r.Lost = append(r.Lost[:len(r.Lost):len(r.Lost)], p)
	}
	return p, false
}

func (r *Roof) nearest(p Place) (Place, bool) {
	best, found := near+Step, false
	var out Place
	try := func(q Place, pt roofplan.Point) {
		if d := max(abs(pt.X-p.X), abs(pt.Y-p.Y)); d < best {
			best, found, out = d, true, q
			out.What, out.X, out.Y = p.What, pt.X, pt.Y
		}
	}
	_, _, wasEdge := strings.Cut(p.On, "@")
	switch {
	case len(Joined(p.On)) > 2:
		for _, j := range r.layout.Joints {
			try(Place{On: j.Name}, j.Point)
		}
	case wasEdge:
		for i := range r.layout.Seams {
			s := &r.layout.Seams[i]
			for _, end := range s.Ends() {
				try(Place{On: end.Name}, s.Point(AngleAt(*s, end)))
			}
		}
	default:
		for i := range r.layout.Seams {
			s := &r.layout.Seams[i]
			try(Place{On: s.Name, At: p.At}, s.Point(p.At))
		}
	}
	return out, found
}

// Step is one 64th of an inch: the smallest length that counts.
const Step = roofplan.Length(1.0 / 64)

// refit brings open spots in line with a new plan.
func (r *Roof) refit(layout *roofplan.Layout) {
	r.layout = layout
	spots := r.Spots[:0:0]
	for _, s := range r.Spots {
		if p, ok := r.fit(s.Place); ok {
			s.Place = p
			spots = append(spots, s)
		}
	}
	r.Spots = spots
}
