package roofplan

import "sort"

// Beyond gives the parts of r that lie neither on the roof nor on a turn-up, as
// rectangles that do not overlap. It judges outlines whose sides run along the
// axes, and gives nothing for others.
func (l *Layout) Beyond(r Rect) []Rect {
	o := l.outline
	inside, upright := o.boxes()
	if !upright {
		return nil
	}
	left := []box{boxOf(r)}
	for _, b := range append(inside, o.bands()...) {
		var rest []box
		for _, part := range left {
			rest = part.less(b, rest)
		}
		left = rest
	}
	var out []Rect
	for _, b := range left {
		if !b.empty() {
			out = append(out, b.rect())
		}
	}
	return out
}

// boxes cuts an outline along all its sides into boxes; false where a side runs
// aslant.
func (o outline) boxes() ([]box, bool) {
	var xs, ys []int64
	for i, c := range o.corners {
		if p, q := o.side(i); p.x != q.x && p.y != q.y {
			return nil, false
		}
		xs, ys = append(xs, c.x), append(ys, c.y)
	}
	sort.Slice(xs, func(a, b int) bool { return xs[a] < xs[b] })
	sort.Slice(ys, func(a, b int) bool { return ys[a] < ys[b] })
	var in []box
	for i := range len(xs) - 1 {
		for j := range len(ys) - 1 {
			if b := (box{xs[i], ys[j], xs[i+1], ys[j+1]}); !b.empty() && o.within(b) > 0 {
				in = append(in, b)
			}
		}
	}
	return in, true
}

// bands are the turn-ups laid flat. At a corner that sticks out they run on as
// far as the turn-up around it: there the sheet is folded.
func (o outline) bands() []box {
	n := len(o.corners)
	var all []box
	for i := range n {
		p, q := o.side(i)
		up := o.turnUps[i]
		before, after := int64(0), int64(0)
		if r, _ := o.side((i + n - 1) % n); cross(r, p, q) > 0 {
			before = o.turnUps[(i+n-1)%n]
		}
		if _, s := o.side((i + 1) % n); cross(p, q, s) > 0 {
			after = o.turnUps[(i+1)%n]
		}
		switch {
		case q.x > p.x: // faces south
			all = append(all, box{p.x - before, p.y - up, q.x + after, p.y})
		case q.x < p.x:
			all = append(all, box{q.x - after, p.y, p.x + before, p.y + up})
		case q.y > p.y: // faces east
			all = append(all, box{p.x, p.y - before, p.x + up, q.y + after})
		default:
			all = append(all, box{p.x - up, q.y - after, p.x, p.y + before})
		}
	}
	return all
}

// Holds reports whether r, which may be a point, lies on the roof.
func (l *Layout) Holds(r Rect) bool {
	b := boxOf(r)
	if b.x0 > b.x1 || b.y0 > b.y1 {
		return false
	}
	b.x1, b.y1 = max(b.x1, b.x0+1), max(b.y1, b.y0+1)
	return l.outline.within(b) >= float64((b.x1-b.x0)*(b.y1-b.y0))
}

// PanelAt gives the lowest-numbered panel that lies at a point; false where none
// does.
func (l *Layout) PanelAt(at Point) (Panel, bool) {
	for _, p := range l.Panels {
		if p.Rect.Min.X <= at.X && at.X <= p.Rect.Max.X && p.Rect.Min.Y <= at.Y && at.Y <= p.Rect.Max.Y {
			return p, true
		}
	}
	return Panel{}, false
}
