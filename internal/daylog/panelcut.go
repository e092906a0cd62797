package daylog

import "duskline/internal/roofplan"

// PanelCut says that a sheet was cut: 7 becomes 7A and 7B. The pieces lie as
// the sheet lay and keep its lot; the plan gives them their places.
type PanelCut struct {
	Panel string          `json:"panel"`
	At    roofplan.Length `json:"along,omitzero"` // along its length
	Into  []string        `json:"into,omitempty"` // empty: its name with A and B
}

func (b *PanelCut) pieces() []string {
	if len(b.Into) > 0 {
		return b.Into
	}
	return []string{b.Panel + "A", b.Panel + "B"}
}

var cutKind = Kind{
	Name: "cut", Title: "Panel cut", Group: Panels, Writes: Crew,
	Script: []string{"panel {panel} cut; at {along}; into {into}"},
	Help:   "7 becomes 7A and 7B and keeps its lot. The office puts the pieces on the plan.",
	New:    func() Body { return new(PanelCut) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "panel", Label: "Panel", Type: PanelName, Required: true},
			{Name: "along", Label: "Cut at, along its length", Type: Length, Unit: "ft"},
			{Name: "into", Label: "Pieces", Type: Many, Help: "Empty: its name with A and B."},
		}
	},
	Check: func(d *Day, b Body) []Problem { return checkPanel(d, b.(*PanelCut).Panel, "panel") },
	Say: func(_ *Day, b Body) string {
		c := b.(*PanelCut)
		return say("panel "+c.Panel+" cut into "+List(c.pieces()), after("at", long(c.At)))
	},
	Places: func(b Body) []string { return append([]string{b.(*PanelCut).Panel}, b.(*PanelCut).pieces()...) },
}

func (*PanelCut) kind() *Kind { return &cutKind }

// apply lays the pieces as the sheet lies. The sheet itself stays while the
// plan still shows it: its area is the pieces' until they have places.
func (b *PanelCut) apply(d *Day, l *Line) {
	whole := *d.Roof.panel(b.Panel)
	for _, name := range b.pieces() {
		if _, laid := d.Roof.Panel(name); !laid {
			piece := whole
			piece.Name, piece.Of = name, b.Panel
			d.Roof.Panels = append(d.Roof.Panels, piece)
		}
		d.act(l, name, Part{})
	}
	d.Roof.panel(b.Panel).Cut = true
	d.act(l, b.Panel, Part{})
}

// PanelMoved says that a sheet that was in position was moved: it rests anew.
type PanelMoved struct {
	Panel    string `json:"panel"`
	Weighted bool   `json:"weighted,omitempty"`
}

var movedKind = Kind{
	Name: "moved", Title: "Panel moved", Group: Panels, Writes: Crew, Live: true,
	Script: []string{"panel {panel} moved; edges weighted {weighted}"},
	Help:   "It rests again from now on.",
	New:    func() Body { return new(PanelMoved) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "panel", Label: "Panel", Type: PanelName, Required: true},
			{Name: "weighted", Label: "Edges weighted", Type: Tick, Default: true},
		}
	},
	Check: func(d *Day, b Body) []Problem { return checkPanel(d, b.(*PanelMoved).Panel, "panel") },
	Say: func(_ *Day, b Body) string {
		m := b.(*PanelMoved)
		return say("panel "+m.Panel+" moved", when(m.Weighted, "edges weighted"))
	},
	Places: func(b Body) []string { return []string{b.(*PanelMoved).Panel} },
}

func (*PanelMoved) kind() *Kind { return &movedKind }

func (b *PanelMoved) apply(d *Day, l *Line) {
	p := d.Roof.panel(b.Panel)
	p.Position, p.Weighted, p.Flat = l.Ended(), b.Weighted, When{}
	d.act(l, b.Panel, Part{})
}

// LapMeasured is a side lap, measured at its worst place.
type LapMeasured struct {
	Seam  string          `json:"seam"`
	Width roofplan.Length `json:"width,omitzero"`
	At    roofplan.Length `json:"along,omitzero"` // along the seam
}

var lapKind = Kind{
	Name: "lap", Title: "Side lap measured", Group: Panels, Writes: Crew,
	Script: []string{"side lap {seam} measures {width}; at {along}"},
	Help:   "At its worst place: sheets are never square.",
	New:    func() Body { return new(LapMeasured) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "seam", Label: "Seam", Type: SeamName, Required: true},
			{Name: "width", Label: "Lap at its worst", Type: Length, Unit: "in"},
			{Name: "along", Label: "At", Type: Length, Unit: "ft"},
		}
	},
	Check: func(d *Day, b Body) []Problem {
		m := b.(*LapMeasured)
		if m.Seam == "" {
			return []Problem{{Field: "seam", Says: "Say which seam.", Refuses: true}}
		}
		if _, ok := d.Roof.layout.Seam(m.Seam); !ok {
			return []Problem{{Field: "seam", Says: "Seam " + m.Seam + " is not on the plan. Is the number right?"}}
		}
		if m.Width == 0 {
			return []Problem{{Field: "width", Says: "How wide is the lap?"}}
		}
		return nil
	},
	Say: func(_ *Day, b Body) string {
		m := b.(*LapMeasured)
		return say("side lap "+m.Seam, long(m.Width), after("at", long(m.At)))
	},
	Places: func(b Body) []string { return []string{b.(*LapMeasured).Seam} },
}

func (*LapMeasured) kind() *Kind { return &lapKind }

func (b *LapMeasured) apply(d *Day, l *Line) { d.act(l, b.Seam, Part{b.At, b.At}) }
