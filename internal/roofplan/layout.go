package roofplan

import "strings"

// Layout is all that follows from a Plan. Names and figures do not depend on
// the order in which the plan lists its panels. It is not changed after Lay.
type Layout struct {
	Panels []Panel // by name, as CompareNames orders them
	Seams  []Seam  // by their panels
	Joints []Joint // by their panels

	Area    float64 // inside the outline, sq ft to 0.1
	Covered float64 // of it under at least one panel, sq ft to 0.1

	outline outline
	pieces  map[string][]box // of each panel: what no lower-numbered one covers, in boxes that do not overlap
	panels  map[string]int
	seams   map[string]int
	joints  map[string]int
}

// Panel is one sheet in its place.
type Panel struct {
	Name   string
	Rect   Rect
	Axis   Direction // North or East: where its length runs, from its start at the south or west end
	Length Length
	Width  Length
	// Net is the area inside the outline that no lower-numbered panel covers,
	// sq ft to 0.1. The nets of all panels add up to the covered roof.
	Net        float64
	Neighbours []string // panels it shares a seam with, in order of names
	Borders    []Border // sides of the outline it reaches, in order of the outline
}

// Border is where a panel meets a side of the outline.
type Border struct {
	Name   string // such as 5@north, with an ordinal if the panel meets the name twice
	Edge   string
	Length Length // along the angle change, less what a lower-numbered panel already covers
}

// Seam is where two panels lap. It ends at the middle of a T-joint, so that no
// foot is counted twice; feet along it run on the lower-numbered panel's
// length from its south or west end, unfolded. A seam across that panel runs
// from its own west or south end.
type Seam struct {
	Name   string // such as 7|8, lower number first
	A, B   string
	Axis   Direction // North or East: where its feet run
	Length Length    // feet to be made: the sum of Spans
	Spans  []Span    // one, unless something parts it
	Angles []Angle   // where it passes over the outline
	ends   []End
	origin int64 // where feet are 0, on the axis
	middle int64 // of the lap, across the axis
}

// Span is a stretch of a seam.
type Span struct{ From, To Length }

// Angle is where a seam passes over an angle change.
type Angle struct {
	At   Length
	Edge string
}

// End is where a seam stops at a side of the outline: on its turn-up, or at
// the side itself.
type End struct {
	Name string // such as 7|8@north, with an ordinal if the seam ends there twice
	At   Length
	Edge string
}

// Joint is a spot where three or more panels overlap: a T-joint.
type Joint struct {
	Name   string   // such as 7|8|12, with an ordinal if the same panels meet twice
	Panels []string // in order of names
	Point  Point    // its middle
	On     []OnSeam // the seams that meet in it
}

// OnSeam is a place on a seam.
type OnSeam struct {
	Seam string
	At   Length
}

// Panel gives the panel of that name.
func (l *Layout) Panel(name string) (Panel, bool) {
	i, ok := l.panels[name]
	if !ok {
		return Panel{}, false
	}
	return l.Panels[i], true
}

// Seam gives the seam of that name, lower number first.
func (l *Layout) Seam(name string) (Seam, bool) {
	i, ok := l.seams[name]
	if !ok {
		return Seam{}, false
	}
	return l.Seams[i], true
}

// Joint gives the T-joint of that name.
func (l *Layout) Joint(name string) (Joint, bool) {
	i, ok := l.joints[name]
	if !ok {
		return Joint{}, false
	}
	return l.Joints[i], true
}

// End gives the seam's end of that name, such as 7|8@north, and its seam.
func (l *Layout) End(name string) (Seam, End, bool) {
	seam, _, _ := strings.Cut(name, "@")
	s, _ := l.Seam(seam)
	for _, e := range s.ends {
		if e.Name == name {
			return s, e, true
		}
	}
	return Seam{}, End{}, false
}

// Net is the part of a panel's net area between from and to along its length,
// sq ft to 0.1; 0 for a panel that is not on the plan.
func (l *Layout) Net(panel string, from, to Length) float64 {
	p, ok := l.Panel(panel)
	if !ok {
		return 0
	}
	r := p.Rect
	if p.Axis == North {
		r.Min.Y, r.Max.Y = r.Min.Y+from, r.Min.Y+to
	} else {
		r.Min.X, r.Max.X = r.Min.X+from, r.Min.X+to
	}
	return l.NetIn(panel, r)
}

// NetIn is the part of a panel's net area inside r, sq ft to 0.1; 0 for a
// panel that is not on the plan.
func (l *Layout) NetIn(panel string, r Rect) float64 {
	var sum float64
	b := boxOf(r)
	for _, p := range l.pieces[panel] {
		sum += l.outline.within(p.and(b))
	}
	return squareFeet(sum)
}

// LeadingSide is the side along a panel's length where the next one laps it:
// that of its next higher neighbour, else the one across from its next lower
// neighbour, else east or north. It is false for a panel not on the plan.
func (l *Layout) LeadingSide(panel string) (Direction, bool) {
	p, ok := l.Panel(panel)
	if !ok {
		return "", false
	}
	first, second := West, East
	if p.Axis == East {
		first, second = South, North
	}
	side := second
	for _, name := range p.Neighbours {
		n := l.Panels[l.panels[name]]
		if s := l.Seams[l.seams[SeamName(panel, name)]]; s.Axis != p.Axis {
			continue
		}
		before := middle(n.Rect, p.Axis) < middle(p.Rect, p.Axis)
		higher := CompareNames(name, panel) > 0
		if before == higher {
			side = first
		} else {
			side = second
		}
		if higher {
			break
		}
	}
	return side, true
}

// middle is twice the middle of r across the axis.
func middle(r Rect, axis Direction) Length {
	if axis == North {
		return r.Min.X + r.Max.X
	}
	return r.Min.Y + r.Max.Y
}

// Strip is the net area of a leading strip of that width along the panel's
// leading side, sq ft to 0.1; 0 for a panel that is not on the plan.
func (l *Layout) Strip(panel string, width Length) float64 {
	p, ok := l.Panel(panel)
	if !ok {
		return 0
	}
	r := p.Rect
	switch side, _ := l.LeadingSide(panel); side {
	case West:
		r.Max.X = min(r.Max.X, r.Min.X+width)
	case East:
		r.Min.X = max(r.Min.X, r.Max.X-width)
	case South:
		r.Max.Y = min(r.Max.Y, r.Min.Y+width)
	case North:
		r.Min.Y = max(r.Min.Y, r.Max.Y-width)
	}
	return l.NetIn(panel, r)
}

// Point is the place on the plan at a distance along the seam, in the middle
// of the lap.
func (s Seam) Point(at Length) Point {
	along, across := fromUnits(s.origin+units(at)), fromUnits(s.middle)
	if s.Axis == North {
		return Point{across, along}
	}
	return Point{along, across}
}

// Reach is from the seam's first foot to its last: behind a T-joint it does
// not begin at 0.
func (s Seam) Reach() Span {
	if len(s.Spans) == 0 {
		return Span{0, s.Length}
	}
	return Span{s.Spans[0].From, s.Spans[len(s.Spans)-1].To}
}

// Ends are the seam's ends at sides of the outline, in order of feet. The
// slice belongs to the layout.
func (s Seam) Ends() []End { return s.ends }
