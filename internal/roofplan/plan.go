// Package roofplan is the plane geometry of a roof laid with panels of sheet:
// where the panels, seams, T-joints and edges are, what they are called, how
// long and how large they are.
//
// The plan is drawn unfolded: turn-ups lie flat outside the outline, which is
// the angle change. Areas count inside the outline; feet along a seam count
// everywhere. All lengths are whole 64ths of an inch, so that overlaps are
// exact and every machine derives the same names and figures.
package roofplan

// Point is a place on the plan: X east, Y north of the origin, which is the
// south-west corner of the outline.
type Point struct {
	X Length `json:"x"`
	Y Length `json:"y"`
}

// Rect is an upright rectangle from its south-west to its north-east corner.
type Rect struct {
	Min, Max Point
}

// Direction is a direction of the plan's own compass; plan north need not be
// true north.
type Direction string

const (
	North Direction = "north"
	East  Direction = "east"
	South Direction = "south"
	West  Direction = "west"
)

// EdgeKind says what stands at a side of the outline.
type EdgeKind string

const (
	Parapet EdgeKind = "parapet"
	Wall    EdgeKind = "wall"
	Open    EdgeKind = "open"
)

// Plan is a roof as it was set up. Its JSON form is kept inside log entries:
// a key once written keeps its meaning.
type Plan struct {
	// Outline is the angle change, corner by corner, counter-clockwise.
	Outline []Point `json:"outline"`
	// Edges are the sides of the outline: the first runs from the first corner
	// to the second. None at all means open sides named by the compass.
	Edges  []Edge   `json:"edges,omitempty"`
	Rows   []Row    `json:"rows,omitempty"`
	Panels []Placed `json:"panels,omitempty"`
}

// Edge is one side of the outline.
type Edge struct {
	// Name is what the crew calls it; empty stands for the compass direction
	// it faces. Several sides may share a name.
	Name   string   `json:"name,omitempty"`
	Kind   EdgeKind `json:"kind,omitempty"` // empty is Open
	TurnUp Length   `json:"turn_up,omitzero"`
}

// Row is a row of panels laid side by side, each lapping the one before.
type Row struct {
	// Corner is where the row begins. The panels' length runs north from it in
	// a row toward east or west, and east in a row toward north or south.
	Corner Point     `json:"corner"`
	Toward Direction `json:"toward,omitempty"` // where the next panel lies; empty is East
	Length Length    `json:"length"`
	Lap    Length    `json:"lap,omitzero"`
	Sheets []Sheet   `json:"sheets"`
}

// Sheet is one panel of a row.
type Sheet struct {
	Name  string `json:"name"`
	Width Length `json:"width"`
}

// Placed is a single panel placed by hand.
type Placed struct {
	Name string `json:"name"`
	// Corner is the south-west corner of the smallest upright rectangle around
	// the panel, whatever its turn.
	Corner Point  `json:"corner"`
	Width  Length `json:"width"`
	Length Length `json:"length"`
	// Turn is where the length points, in degrees clockwise from north: at 0
	// it runs north, at 90 east. Lay takes only these two so far.
	Turn float64 `json:"turn,omitzero"`
}
