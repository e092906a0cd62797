package daylog

import "slices"

// BroomOff says that sheets were swept before mat or stone. None named: all
// that were laid today.
type BroomOff struct {
	Panels []string `json:"panels,omitempty"`
}

var broomKind = Kind{
	Name: "broomoff", Title: "Broom-off", Group: Stone, Writes: Crew, Lasts: true,
	Script: []string{"broom-off; of panel/panels {panels}"},
	New:    func() Body { return new(BroomOff) },
	Fields: func(d *Day) []Field {
		return []Field{{Name: "panels", Label: "Panels", Type: PanelNames, Help: "Nothing ticked: all of today's."}}
	},
	Say:    func(_ *Day, b Body) string { return say("broom-off", lead("panel", b.(*BroomOff).Panels)) },
	Places: func(b Body) []string { return b.(*BroomOff).Panels },
}

func (*BroomOff) kind() *Kind { return &broomKind }

func (b *BroomOff) apply(d *Day, l *Line) {
	for i := range d.Roof.Panels {
		p := &d.Roof.Panels[i]
		if len(b.Panels) == 0 && p.Day == d.Date || slices.Contains(b.Panels, p.Name) {
			p.Swept = d.Date
			d.act(l, p.Name, Part{})
		}
	}
}

// MatLaid is mat, or an extra layer of sheet, laid under what comes on it.
type MatLaid struct {
	Panels []PanelPart `json:"panels,omitempty"`
	Extra  bool        `json:"extra,omitempty"` // a layer of sheet, not mat
}

var matKind = Kind{
	Name: "mat", Title: "Mat laid", Group: Stone, Writes: Crew, Lasts: true,
	Script: []string{"mat on panel/panels {panels}; extra layer of sheet {extra}"},
	Help:   "No mat is left in the sun.",
	New:    func() Body { return new(MatLaid) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "panels", Label: "On panels", Type: PanelParts, Required: true},
			{Name: "extra", Label: "An extra layer of sheet instead", Type: Tick},
		}
	},
	Check: func(d *Day, b Body) []Problem {
		m := b.(*MatLaid)
		if len(m.Panels) == 0 {
			return []Problem{{Field: "panels", Says: "Say where the mat lies.", Refuses: true}}
		}
		for _, p := range m.Panels {
			if odd := checkPanel(d, p.Panel, "panels"); odd != nil {
				return odd
			}
		}
		return nil
	},
	Say: func(_ *Day, b Body) string {
		return say(when(b.(*MatLaid).Extra, "extra layer") + when(!b.(*MatLaid).Extra, "mat") + " on " + List(namesOfParts(b.(*MatLaid).Panels)))
	},
	Places: func(b Body) []string { return panelsOf(b.(*MatLaid).Panels) },
}

func (*MatLaid) kind() *Kind { return &matKind }

func (b *MatLaid) apply(d *Day, l *Line) {
	for _, pp := range b.Panels {
		p := d.Roof.panel(pp.Panel)
		p.Mat = append(p.Mat[:len(p.Mat):len(p.Mat)], StonePart{pp.Part, d.Roof.area(pp)})
		d.act(l, pp.Panel, pp.Part)
	}
}

// area is what a part of a panel comes to, less its strip, sq ft to 0.1.
func (r *Roof) area(pp PanelPart) float64 {
	area := r.layout.Net(pp.Panel, pp.From, pp.To)
	if pp.To == 0 {
		placed, _ := r.layout.Panel(pp.Panel)
		area = placed.Net
	}
	if pp.Less > 0 {
		area -= r.layout.Strip(pp.Panel, pp.Less)
	}
	return tenth(max(0, area))
}

func panelsOf(parts []PanelPart) []string {
	var names []string
	for _, p := range parts {
		names = append(names, p.Panel)
	}
	return names
}

func namesOfParts(parts []PanelPart) []string {
	var names []string
	for _, p := range parts {
		names = append(names, "panel "+p.Panel)
	}
	return names
}

// Lane is the landing pad and the haul lane to it, as last noted.
type Lane struct {
	Pad    bool     `json:"pad,omitempty"`
	Lane   bool     `json:"lane,omitempty"`
	Panels []string `json:"panels,omitempty"` // that it lies on
	Area   float64  `json:"sqft,omitzero"`
	Filled bool     `json:"filled,omitempty"` // with final stone: it is no more
	Day    Date     `json:"day"`
	Entry  string   `json:"entry"`
}

// HaulLane says that landing pad and haul lane are protected, or filled.
type HaulLane struct {
	Pad    bool     `json:"pad,omitempty"`
	Lane   bool     `json:"lane,omitempty"`
	Panels []string `json:"panels,omitempty"`
	Area   float64  `json:"sqft,omitzero"`
	Filled bool     `json:"filled,omitempty"`
}

var laneKind = Kind{
	Name: "lane", Title: "Landing pad and haul lane", Group: Stone, Writes: Crew,
	Script: []string{
		"landing pad {pad} and haul lane {lane}; on panel/panels {panels}; over {sqft}; filled {filled}",
		"landing pad {pad} only; on panel/panels {panels}; over {sqft}; filled {filled}",
		"haul lane {lane}; on panel/panels {panels}; over {sqft}; filled {filled}",
	},
	Help: "Protected before anything is hauled, filled last.",
	New:  func() Body { return new(HaulLane) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "pad", Label: "Landing pad protected", Type: Tick, Default: true},
			{Name: "lane", Label: "Haul lane protected", Type: Tick, Default: true},
			{Name: "filled", Label: "Filled with stone now", Type: Tick},
			{Name: "panels", Label: "On panels", Type: PanelNames, Again: true, Default: d.Roof.oldStrips()},
			{Name: "sqft", Label: "Area", Type: Number, Unit: "sq ft", Max: 1e5, Again: true},
		}
	},
	Say: func(_ *Day, b Body) string {
		h := b.(*HaulLane)
		var what []string
		if h.Pad {
			what = append(what, "landing pad")
		}
		if h.Lane || !h.Pad {
			what = append(what, "haul lane")
		}
		return say(List(what)+when(!h.Filled, " protected")+when(h.Filled, " filled"), lead("panel", h.Panels), squareFeet(h.Area))
	},
	Places: func(b Body) []string { return b.(*HaulLane).Panels },
}

func (*HaulLane) kind() *Kind { return &laneKind }

func (b *HaulLane) apply(d *Day, l *Line) {
	d.Roof.Lane = &Lane{b.Pad, b.Lane, b.Panels, b.Area, b.Filled, d.Date, l.Root}
	for _, name := range b.Panels {
		d.act(l, name, Part{})
	}
}

// Held is a place that stone is kept from.
type Held struct {
	Place
	Since Date `json:"since"`
}

// hold notes that stone is kept from a place.
func (r *Roof) hold(p Place) {
	for i := range r.Back {
		if r.Back[i].same(p) {
			return
		}
	}
	r.Back = append(r.Back, Held{p, r.day})
}

// same reports whether two names mean one place: end laps within 1 ft.
func (p Place) same(q Place) bool { return p.On == q.On && p.What == q.What && abs(p.At-q.At) <= near }

// BackClosed says that places that stone was kept from got their stone.
type BackClosed struct {
	Places []Place `json:"places"`
	Pounds int     `json:"lb,omitzero"`
}

var backClosedKind = Kind{
	Name: "backclosed", Title: "Held-back places closed", Group: Stone, Writes: Crew, Lasts: true,
	Script: []string{"held-back places/place closed at {places}; {lb} lb"},
	Help:   "Only where the cover is treated and the bead has set.",
	New:    func() Body { return new(BackClosed) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "places", Label: "Where", Type: Places, Required: true},
			{Name: "lb", Label: "Stone", Type: Whole, Unit: "lb", Max: 1e5},
		}
	},
	Check: func(d *Day, b Body) []Problem { return checkPlaces(d, b.(*BackClosed).Places) },
	Say: func(_ *Day, b Body) string {
		c := b.(*BackClosed)
		keys := make([]string, len(c.Places))
		for i, p := range c.Places {
			keys[i] = p.Key()
		}
		return say("held-back places closed: "+List(keys), when(c.Pounds > 0, Count(c.Pounds, "lb", "lb")))
	},
	Places: func(b Body) []string { return namesOf(b.(*BackClosed).Places) },
}

func (*BackClosed) kind() *Kind { return &backClosedKind }

func (b *BackClosed) apply(d *Day, l *Line) {
	r := d.Roof
	r.Stones.Spread += b.Pounds
	for _, p := range b.Places {
		p, _ := r.fit(p)
		for i := range r.Back {
			if r.Back[i].same(p) {
				r.Back = append(r.Back[:i:i], r.Back[i+1:]...)
				break
			}
		}
		for i := range r.Spots {
			if s := &r.Spots[i]; s.Place.same(p) {
				s.HeldBack, s.Buried, s.Burier = false, l.Began(), l.Root
			}
		}
		d.act(l, p.Key(), Part{})
	}
}

// Released says that an area may be covered with stone: the office passes on
// whose word. No panel named: all that is laid.
type Released struct {
	Panels []string `json:"panels,omitempty"`
	Who    string   `json:"who,omitempty"`
}

var releaseKind = Kind{
	Name: "release", Title: "Released before stone", Group: Review, Writes: Office,
	Script: []string{"released before stone; panel/panels {panels}; on the word of {who}"},
	Help:   "Under stone nobody sees the seams again.",
	New:    func() Body { return new(Released) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "panels", Label: "Panels", Type: PanelNames, Help: "Nothing ticked: all that is laid."},
			{Name: "who", Label: "On whose word", Type: Text},
		}
	},
	Say: func(_ *Day, b Body) string {
		return say("released before stone", lead("panel", b.(*Released).Panels), after("on the word of", b.(*Released).Who))
	},
	Places: func(b Body) []string { return b.(*Released).Panels },
}

func (*Released) kind() *Kind { return &releaseKind }

func (b *Released) apply(d *Day, l *Line) {
	for i := range d.Roof.Panels {
		p := &d.Roof.Panels[i]
		if len(b.Panels) == 0 || slices.Contains(b.Panels, p.Name) {
			p.Released = l.Began()
			d.act(l, p.Name, Part{})
		}
	}
}
