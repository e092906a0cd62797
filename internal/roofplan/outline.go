package roofplan

import (
	"errors"
	"fmt"
	"math"
	"sort"
)

// Everything below works in whole 64ths of an inch. Within Longest products of
// two distances fit both an int64 and the whole numbers of a float64.
type spot struct{ x, y int64 }

type box struct{ x0, y0, x1, y1 int64 }

func boxOf(r Rect) box { return box{units(r.Min.X), units(r.Min.Y), units(r.Max.X), units(r.Max.Y)} }

func (b box) rect() Rect {
	return Rect{Point{fromUnits(b.x0), fromUnits(b.y0)}, Point{fromUnits(b.x1), fromUnits(b.y1)}}
}

func (b box) empty() bool { return b.x0 >= b.x1 || b.y0 >= b.y1 }

func (b box) and(c box) box {
	return box{max(b.x0, c.x0), max(b.y0, c.y0), min(b.x1, c.x1), min(b.y1, c.y1)}
}

func (b box) overlaps(c box) bool {
	return b.x0 < c.x1 && c.x0 < b.x1 && b.y0 < c.y1 && c.y0 < b.y1
}

func (b box) touches(c box) bool {
	return b.x0 <= c.x1 && c.x0 <= b.x1 && b.y0 <= c.y1 && c.y0 <= b.y1
}

func (b box) around(c box) box {
	return box{min(b.x0, c.x0), min(b.y0, c.y0), max(b.x1, c.x1), max(b.y1, c.y1)}
}

// less gives b without c as up to four boxes that do not overlap.
func (b box) less(c box, to []box) []box {
	c = b.and(c)
	if c.empty() {
		return append(to, b)
	}
	for _, p := range [4]box{
		{b.x0, b.y0, c.x0, b.y1},
		{c.x1, b.y0, b.x1, b.y1},
		{c.x0, b.y0, c.x1, c.y0},
		{c.x0, c.y1, c.x1, b.y1},
	} {
		if !p.empty() {
			to = append(to, p)
		}
	}
	return to
}

// squareFeet turns square 64ths into sq ft to 0.1.
func squareFeet(a float64) float64 {
	const per = 12 * 12 * perInch * perInch
	return math.Round(a*10/per) / 10
}

// outline is the angle change: a simple polygon, counter-clockwise.
type outline struct {
	corners []spot
	names   []string // of the side from each corner to the next
	turnUps []int64
}

func (o outline) side(i int) (p, q spot) {
	return o.corners[i], o.corners[(i+1)%len(o.corners)]
}

const mostCorners = 400

func (p Plan) outline() (outline, error) {
	var o outline
	n := len(p.Outline)
	switch {
	case n < 3:
		return o, fmt.Errorf("the outline has %d corners; a roof has at least 3", n)
	case n > mostCorners:
		return o, fmt.Errorf("the outline has %d corners; %d are the most that can be drawn", n, mostCorners)
	case len(p.Edges) != 0 && len(p.Edges) != n:
		return o, fmt.Errorf("the outline has %d sides, but %d edges are named", n, len(p.Edges))
	}
	for i, c := range p.Outline {
		if !near(c.X) || !near(c.Y) {
			return o, fmt.Errorf("corner %d of the outline is more than 10,000 ft away", i+1)
		}
		o.corners = append(o.corners, spot{units(c.X), units(c.Y)})
	}
	if err := o.simple(); err != nil {
		return o, err
	}
	if o.twiceArea() < 0 {
		return o, errors.New("the outline runs clockwise; give its corners counter-clockwise")
	}
	for i := range o.corners {
		var e Edge
		if len(p.Edges) > 0 {
			e = p.Edges[i]
		}
		if e.Name == "" {
			e.Name = o.faces(i)
		}
		if err := checkEdgeName(e.Name); err != nil {
			return o, fmt.Errorf("edge %d %w", i+1, err)
		}
		switch e.Kind {
		case "", Parapet, Wall, Open:
		default:
			return o, fmt.Errorf("edge %s is neither parapet nor wall nor open", e.Name)
		}
		if !near(e.TurnUp) || e.TurnUp < 0 {
			return o, fmt.Errorf("edge %s has a turn-up that cannot be", e.Name)
		}
		o.names = append(o.names, e.Name)
		o.turnUps = append(o.turnUps, units(e.TurnUp))
	}
	return o, nil
}

// near reports whether l is a number within Longest of the origin.
func near(l Length) bool { return math.Abs(float64(l)) <= float64(Longest) }

// faces gives the compass direction that a side looks out to.
func (o outline) faces(i int) string {
	p, q := o.side(i)
	out := spot{q.y - p.y, p.x - q.x}
	ns, ew := North, East
	if out.y < 0 {
		ns = South
	}
	if out.x < 0 {
		ew = West
	}
	switch {
	case out.x == 0:
		return string(ns)
	case out.y == 0:
		return string(ew)
	}
	return string(ns) + string(ew)
}

// simple refuses an outline that crosses or touches itself.
func (o outline) simple() error {
	n := len(o.corners)
	for i := range n {
		if p, q := o.side(i); p == q {
			return fmt.Errorf("corners %d and %d of the outline are the same place", i+1, (i+1)%n+1)
		}
	}
	for i := range n {
		p, q := o.side(i)
		for j := i + 1; j < n; j++ {
			r, s := o.side(j)
			var bad bool
			switch {
			case j == i+1:
				bad = cross(p, q, s) == 0 && dot(q, p, s) > 0
			case i == 0 && j == n-1:
				bad = cross(r, p, q) == 0 && dot(p, r, q) > 0
			default:
				bad = meet(p, q, r, s)
			}
			if bad {
				return fmt.Errorf("the outline crosses itself: the side from corner %d meets the side from corner %d", i+1, j+1)
			}
		}
	}
	return nil
}

// cross is positive when c lies left of the line from a to b.
func cross(a, b, c spot) int64 { return (b.x-a.x)*(c.y-a.y) - (b.y-a.y)*(c.x-a.x) }

// dot is positive when b and c lie to the same hand of a.
func dot(a, b, c spot) int64 { return (b.x-a.x)*(c.x-a.x) + (b.y-a.y)*(c.y-a.y) }

// meet reports whether two closed segments have a point in common.
func meet(p, q, r, s spot) bool {
	d1, d2 := sign(cross(r, s, p)), sign(cross(r, s, q))
	d3, d4 := sign(cross(p, q, r)), sign(cross(p, q, s))
	if d1*d2 < 0 && d3*d4 < 0 {
		return true
	}
	return d1 == 0 && dot(p, r, s) <= 0 || d2 == 0 && dot(q, r, s) <= 0 ||
		d3 == 0 && dot(r, p, q) <= 0 || d4 == 0 && dot(s, p, q) <= 0
}

func (o outline) twiceArea() int64 {
	var sum int64
	for i := range o.corners {
		p, q := o.side(i)
		sum += p.x*q.y - q.x*p.y
	}
	return sum
}

// A ring is a polygon on its way through clip.
type ring [][2]float64

// within gives the area of the outline inside b, in square 64ths. It is exact
// where all sides run along the axes. (Sutherland and Hodgman's clipping: an
// outline that falls apart stays one ring, whose joining lines have no area.)
// Conversions keep products and sums from being fused, so that every machine
// gets the same bits.
func (o outline) within(b box) float64 {
	if b.empty() {
		return 0
	}
	var some, more [16][2]float64
	r, spare := ring(some[:0]), ring(more[:0])
	for _, c := range o.corners {
		r = append(r, [2]float64{float64(c.x - b.x0), float64(c.y - b.y0)})
	}
	w, h := float64(b.x1-b.x0), float64(b.y1-b.y0)
	r, spare = r.clip(spare, 0, 0, 1), r
	r, spare = r.clip(spare, 1, 0, 1), r
	r, spare = r.clip(spare, 0, w, -1), r
	r, _ = r.clip(spare, 1, h, -1), r
	var sum float64
	for i := range r {
		p, q := r[i], r[(i+1)%len(r)]
		sum += float64(p[0]*q[1]) - float64(q[0]*p[1])
	}
	return max(sum/2, 0)
}

// clip keeps what lies on the side of the line coordinate k = at to which
// keep (1 or -1) points.
func (r ring) clip(to ring, k int, at, keep float64) ring {
	to = to[:0]
	for i := range r {
		p, q := r[i], r[(i+1)%len(r)]
		in, out := (p[k]-at)*keep >= 0, (q[k]-at)*keep < 0
		if in {
			to = append(to, p)
		}
		if in == out {
			o := 1 - k
			var m [2]float64
			m[k] = at
			m[o] = p[o] + float64((q[o]-p[o])*(at-p[k]))/(q[k]-p[k])
			to = append(to, m)
		}
	}
	return to
}

// A crossing is where a line passes over a side of the outline.
type crossing struct {
	at   int64
	side int
}

// crossings lists where the line in direction axis passes over the outline,
// from west or south: the first enters the roof, the second leaves it, and so
// on. The line lies at half of twice across.
func (o outline) crossings(axis Direction, twice int64) []crossing {
	type exact struct {
		at   float64
		side int
	}
	var found []exact
	for i := range o.corners {
		p, q := o.side(i)
		if axis == North {
			p, q = spot{p.y, p.x}, spot{q.y, q.x}
		}
		if (2*p.y > twice) == (2*q.y > twice) {
			continue
		}
		at := float64(p.x) + float64(q.x-p.x)*float64(twice-2*p.y)/float64(2*(q.y-p.y))
		found = append(found, exact{at, i})
	}
	sort.SliceStable(found, func(i, j int) bool { return found[i].at < found[j].at })
	list := make([]crossing, len(found))
	for i, f := range found {
		list[i] = crossing{int64(math.Round(f.at)), f.side}
	}
	return list
}

// reach gives the stretch of a side that bounds the part of b inside the
// outline, as parts of the side's length from 0 to 1.
func (o outline) reach(i int, b box) (from, to float64, ok bool) {
	p, q := o.side(i)
	// The roof lies left of the side: a box that only touches it from the
	// right does not count.
	switch {
	case p.y == q.y && q.x > p.x && !(b.y0 <= p.y && p.y < b.y1),
		p.y == q.y && q.x < p.x && !(b.y0 < p.y && p.y <= b.y1),
		p.x == q.x && q.y > p.y && !(b.x0 < p.x && p.x <= b.x1),
		p.x == q.x && q.y < p.y && !(b.x0 <= p.x && p.x < b.x1):
		return 0, 0, false
	}
	from, to = 0, 1
	for _, d := range [2]struct{ p, q, lo, hi int64 }{{p.x, q.x, b.x0, b.x1}, {p.y, q.y, b.y0, b.y1}} {
		if d.p == d.q {
			if d.p < d.lo || d.p > d.hi {
				return 0, 0, false
			}
			continue
		}
		lo, hi := float64(d.lo-d.p)/float64(d.q-d.p), float64(d.hi-d.p)/float64(d.q-d.p)
		from, to = max(from, min(lo, hi)), min(to, max(lo, hi))
	}
	return from, to, from < to
}

// length is how long a side is, in 64ths.
func (o outline) length(i int) float64 {
	p, q := o.side(i)
	x, y := float64(q.x-p.x), float64(q.y-p.y)
	return math.Sqrt(float64(x*x) + float64(y*y))
}
