package roofplan

import "errors"

// Layout is all that follows from a Plan. Names and figures do not depend on
// the order in which the plan lists its panels. It is not changed after Lay.
type Layout struct {
	Panels []Panel // by name, as CompareNames orders them
	Seams  []Seam  // by their panels
	Joints []Joint // by their panels

	Area    float64 // inside the outline, sq ft to 0.1
	Covered float64 // of it under at least one panel, sq ft to 0.1
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

// Lay derives the layout. Errors are sentences that say which panel, row or
// corner is wrong; several are joined.
func (p Plan) Lay() (*Layout, error) { return nil, errors.New("no panels can be laid yet") }

// Panel gives the panel of that name.
func (l *Layout) Panel(name string) (Panel, bool) { return Panel{}, false }

// Seam gives the seam of that name, lower number first.
func (l *Layout) Seam(name string) (Seam, bool) { return Seam{}, false }

// Joint gives the T-joint of that name.
func (l *Layout) Joint(name string) (Joint, bool) { return Joint{}, false }

// Net is the part of a panel's net area between from and to along its length,
// sq ft to 0.1; 0 for a panel that is not on the plan.
func (l *Layout) Net(panel string, from, to Length) float64 { return 0 }

// NetIn is the part of a panel's net area inside r, sq ft to 0.1.
func (l *Layout) NetIn(panel string, r Rect) float64 { return 0 }

// LeadingSide is the side of a panel where the next one will lap it: that of
// its next higher neighbour along its length, else the one across from its
// next lower neighbour, else east or north.
func (l *Layout) LeadingSide(panel string) (Direction, bool) { return "", false }

// Strip is the net area of a leading strip of that width along the panel's
// leading side, sq ft to 0.1; 0 for a panel that is not on the plan.
func (l *Layout) Strip(panel string, width Length) float64 { return 0 }

// Point is the place on the plan at a distance along the seam, in the middle
// of the lap.
func (s Seam) Point(at Length) Point { return Point{} }

// Ends are the seam's ends at sides of the outline, in order of feet.
func (s Seam) Ends() []End { return nil }

// CompareNames orders panel names as people count: 7, 7A, 8, 10.
func CompareNames(a, b string) int { return 0 }

// SeamName joins the names of two panels, lower number first.
func SeamName(a, b string) string { return "" }

// JointName joins the names of panels that meet, in order.
func JointName(panels ...string) string { return "" }

// ZoneAreas are the ballast zones of a rectangular roof, in sq ft to 0.1.
type ZoneAreas struct {
	Width                    Length
	Corner, Perimeter, Field float64
}

// Zones divides a rectangular roof of a building of the given height.
func Zones(roof Rect, height Length) ZoneAreas { return ZoneAreas{} }
