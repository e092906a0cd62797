package daylog

import "duskline/internal/roofplan"

// TearOff says that the old roof was opened.
type TearOff struct {
	Area   float64  `json:"sqft,omitzero"`
	Panels []string `json:"panels,omitempty"` // of the plan, where it was
	Down   string   `json:"down,omitempty"`   // to what: "deck", "old insulation"
}

var tearOffKind = Kind{
	Name: "tearoff", Title: "Tear-off", Group: Opened, Writes: Crew, Lasts: true,
	Script: []string{"tear-off {sqft}; at panel/panels {panels}; down to {down}"},
	Help:   "What is opened today is closed today.",
	New:    func() Body { return new(TearOff) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "sqft", Label: "Opened", Type: Number, Unit: "sq ft", Max: 1e6},
			{Name: "panels", Label: "Where panels will lie", Type: PanelNames},
			{Name: "down", Label: "Down to", Type: Text},
		}
	},
	Say: func(_ *Day, b Body) string {
		t := b.(*TearOff)
		return say("tear-off", squareFeet(t.Area), lead("panel", t.Panels), after("down to", t.Down))
	},
	Places: func(b Body) []string { return b.(*TearOff).Panels },
}

func (*TearOff) kind() *Kind { return &tearOffKind }

func (b *TearOff) apply(d *Day, l *Line) {
	d.Torn += b.Area
	for _, name := range b.Panels {
		d.act(l, name, Part{})
	}
}

// TieIn says that the new roof was joined to the old one for the night.
type TieIn struct {
	Feet   roofplan.Length `json:"feet,omitzero"`
	Where  string          `json:"where,omitempty"`
	Sealed bool            `json:"sealed,omitempty"`
}

var tieInKind = Kind{
	Name: "tiein", Title: "Tie-in to the old roof", Group: Opened, Writes: Crew, Lasts: true,
	Script: []string{"tie-in; over {feet}; at {where}; sealed {sealed}"},
	New:    func() Body { return new(TieIn) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "sealed", Label: "Sealed", Type: Tick, Default: true},
			{Name: "feet", Label: "Length", Type: Length, Unit: "ft"},
			{Name: "where", Label: "Where", Type: Text},
		}
	},
	Say: func(_ *Day, b Body) string {
		t := b.(*TieIn)
		return say("tie-in", long(t.Feet), t.Where, when(t.Sealed, "sealed"))
	},
}

func (*TieIn) kind() *Kind           { return &tieInKind }
func (*TieIn) apply(d *Day, l *Line) {}

// Insulation says that boards were laid: until a sheet lies over them they
// are open.
type Insulation struct {
	Area   float64  `json:"sqft,omitzero"`
	Panels []string `json:"panels,omitempty"` // that will lie over it
	Layers int      `json:"layers,omitzero"`
	Board  bool     `json:"board,omitempty"` // a cover board on top
}

var insulationKind = Kind{
	Name: "insulation", Title: "Insulation laid", Group: Opened, Writes: Crew, Lasts: true,
	Script: []string{"insulation {sqft}; at panel/panels {panels}; layers {layers}; cover board {board}"},
	Help:   "What is opened today is closed today.",
	New:    func() Body { return new(Insulation) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "sqft", Label: "Laid", Type: Number, Unit: "sq ft", Max: 1e6},
			{Name: "panels", Label: "Where panels will lie", Type: PanelNames, Default: d.Roof.next()},
			{Name: "layers", Label: "Layers", Type: Whole, Max: 9},
			{Name: "board", Label: "Cover board on top", Type: Tick},
		}
	},
	Say: func(_ *Day, b Body) string {
		i := b.(*Insulation)
		return say("insulation", squareFeet(i.Area), lead("panel", i.Panels), when(i.Layers > 0, Count(i.Layers, "layer", "layers")), when(i.Board, "cover board"))
	},
	Places: func(b Body) []string { return b.(*Insulation).Panels },
}

func (*Insulation) kind() *Kind { return &insulationKind }

func (b *Insulation) apply(d *Day, l *Line) {
	d.Insulated += b.Area
	for _, name := range b.Panels {
		d.act(l, name, Part{})
	}
}

// ClosedIn says that open insulation or deck was covered by something other
// than a panel in position.
type ClosedIn struct {
	Area float64 `json:"sqft,omitzero"`
	With string  `json:"with,omitempty"`
}

var closedInKind = Kind{
	Name: "closedin", Title: "Opened area closed", Group: Opened, Writes: Crew, Lasts: true,
	Script: []string{"closed in {sqft}; with {with}"},
	Help:   "Only what no panel covers: a panel in position closes what lies under it.",
	New:    func() Body { return new(ClosedIn) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "sqft", Label: "Closed", Type: Number, Unit: "sq ft", Max: 1e6},
			{Name: "with", Label: "With", Type: Text},
		}
	},
	Say: func(_ *Day, b Body) string {
		c := b.(*ClosedIn)
		return say("closed in", squareFeet(c.Area), after("with", c.With))
	},
}

func (*ClosedIn) kind() *Kind             { return &closedInKind }
func (b *ClosedIn) apply(d *Day, l *Line) { d.ClosedIn += b.Area }

// Uncovered is what was torn off or insulated today and neither a panel laid
// today nor anything else covers, in sq ft to 0.1. What is torn off and then
// insulated is one area: the larger counts.
func (d *Day) Uncovered() float64 {
	open := max(d.Torn, d.Insulated) - d.ClosedIn
	for _, p := range d.Roof.Panels {
		if p.Day == d.Date {
			placed, _ := d.Roof.layout.Panel(p.Name)
			open -= placed.Net
		}
	}
	return max(0, tenth(open))
}

// WetBoards says that boards got wet, and whether they were replaced.
type WetBoards struct {
	Boards   int     `json:"boards,omitzero"`
	Area     float64 `json:"sqft,omitzero"`
	Replaced bool    `json:"replaced,omitempty"`
	Where    string  `json:"where,omitempty"`
}

var wetBoardsKind = Kind{
	Name: "wetboards", Title: "Wet boards", Group: Opened, Writes: Crew, Lasts: true,
	Script: []string{"wet boards {boards}; in all {sqft}; replaced {replaced}; at {where}"},
	New:    func() Body { return new(WetBoards) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "boards", Label: "Boards", Type: Whole, Max: 1e4},
			{Name: "sqft", Label: "Area", Type: Number, Unit: "sq ft", Max: 1e5},
			{Name: "replaced", Label: "Replaced", Type: Tick, Default: true},
			{Name: "where", Label: "Where", Type: Text},
		}
	},
	Say: func(_ *Day, b Body) string {
		w := b.(*WetBoards)
		return say(when(w.Boards > 0, Count(w.Boards, "wet board", "wet boards")), when(w.Boards == 0, "wet boards"), squareFeet(w.Area), w.Where, when(w.Replaced, "replaced"))
	},
}

func (*WetBoards) kind() *Kind           { return &wetBoardsKind }
func (*WetBoards) apply(d *Day, l *Line) {}
