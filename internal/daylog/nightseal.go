package daylog

import (
	"slices"

	"duskline/internal/roofplan"
)

// Seal is the night seal that closes the roof, until it is cut off.
type Seal struct {
	Day     Date     `json:"day,omitempty"` // "" was there before the record begins
	Panels  []string `json:"panels,omitempty"`
	Way     bool     `json:"way,omitempty"`     // for water, to a drain
	Checked Date     `json:"checked,omitempty"` // the morning it was last looked at
	Entry   string   `json:"entry,omitempty"`
}

// NightSeal says that open edges are sealed for the night.
type NightSeal struct {
	Panels   []string        `json:"panels,omitempty"`  // along their leading edge
	Tops     bool            `json:"tops,omitempty"`    // the top edges of today's turn-ups
	Edges    []string        `json:"edges,omitempty"`   // others, such as `5@east`
	Details  []string        `json:"details,omitempty"` // pipes, drains, curbs
	Seams    []OnSeam        `json:"seams,omitempty"`   // stretches held short
	Feet     roofplan.Length `json:"feet,omitzero"`     // all of it together
	Material string          `json:"material,omitempty"`
	Way      bool            `json:"way,omitempty"` // for water, to a drain
}

var nightSealKind = Kind{
	Name: "nightseal", Title: "Night seal", Group: Ending, Writes: Crew, Lasts: true,
	Script: []string{"night seal; leading edge/edges of {panels}; turn-up tops {tops}; edge/edges {edges}; detail/details {details}; " +
		"seam/seams {seams}; over {feet}; with {material}; way for water {way}"},
	Help: "Every open edge, with a way for water to a drain. No asphalt on the sheet.",
	New:  func() Body { return new(NightSeal) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "panels", Label: "Leading edge of panels", Type: PanelNames, Default: d.Roof.newest()},
			{Name: "tops", Label: "Top edges of today's turn-ups", Type: Tick, Default: true},
			{Name: "details", Label: "Open pipes, drains, curbs", Type: Many, Options: options(d.Roof.openDetails()...)},
			{Name: "edges", Label: "Other edges", Type: Many, Options: edgeOptions(d.Roof.openEdges())},
			{Name: "material", Label: "With", Type: Choice, Again: true, Options: options("sealant", "tape strip", "foam", "asphalt")},
			{Name: "seams", Label: "Parts of runs held short", Type: Stretches, Default: d.Roof.unsealed()},
			{Name: "way", Label: "Water has a way to a drain", Type: Tick},
			{Name: "feet", Label: "All of it", Type: Length, Unit: "ft"},
		}
	},
	Check: func(d *Day, b Body) []Problem {
		n := b.(*NightSeal)
		switch {
		case len(n.Panels)+len(n.Edges)+len(n.Details)+len(n.Seams) == 0 && !n.Tops:
			return []Problem{{Field: "panels", Says: "Say what is sealed.", Refuses: true}}
		case n.Material == "asphalt":
			return []Problem{{Field: "material", Says: "Asphalt harms the sheet. Was it something else?"}}
		}
		return nil
	},
	Say: func(_ *Day, b Body) string {
		n := b.(*NightSeal)
		return say("night seal", lead("leading edge of", n.Panels), when(n.Tops, "turn-up tops"), SayNames(n.Edges), List(n.Details),
			lead("seam", seamsOf(n.Seams)), long(n.Feet), after("with", n.Material), when(n.Way, "water has a way to a drain"))
	},
	Places: func(b Body) []string { return append(seamsOf(b.(*NightSeal).Seams), b.(*NightSeal).Panels...) },
}

func (*NightSeal) kind() *Kind { return &nightSealKind }

func (b *NightSeal) apply(d *Day, l *Line) {
	r := d.Roof
	for _, name := range b.Panels {
		r.panel(name).Sealed = d.Date
		d.act(l, name, Part{})
	}
	for i := range r.Panels {
		if p := &r.Panels[i]; b.Tops && p.Day == d.Date {
			p.Tops = d.Date
		}
	}
	for _, name := range b.Edges {
		r.edge(name).Sealed = d.Date
		d.act(l, name, Part{})
	}
	for _, name := range b.Details {
		r.detail(name).Sealed = d.Date
		d.act(l, name, Part{})
	}
	for _, on := range b.Seams {
		s := r.seam(on.Seam)
		s.Sealed = merge(append(s.Sealed[:len(s.Sealed):len(s.Sealed)], on.Part))
		d.act(l, on.Seam, on.Part)
	}
	seal := Seal{Day: d.Date, Way: b.Way, Entry: l.Root}
	if r.Seal != nil && r.Seal.Day == d.Date { // sealed in several goes
		seal.Panels, seal.Way = r.Seal.Panels, b.Way || r.Seal.Way
	}
	seal.Panels = append(seal.Panels[:len(seal.Panels):len(seal.Panels)], b.Panels...)
	r.Seal = &seal
}

// newest gives the panel laid last, as a list.
func (r *Roof) newest() []string {
	if r == nil {
		return nil
	}
	if n := len(r.Panels); n > 0 {
		return []string{r.Panels[n-1].Name}
	}
	return nil
}

// next gives the panel of the plan that is laid next, as a list.
func (r *Roof) next() any {
	if r == nil {
		return nil
	}
	for _, p := range r.layout.Panels {
		if _, laid := r.Panel(p.Name); !laid {
			return []string{p.Name}
		}
	}
	return nil
}

// SealCheck says how last night's seal was found.
type SealCheck struct {
	Dry    bool    `json:"dry,omitempty"` // under the sheet
	Spots  int     `json:"spots,omitzero"`
	Wet    float64 `json:"wet,omitzero"` // boards, sq ft
	Out    bool    `json:"out,omitempty"`
	Drains bool    `json:"drains,omitempty"` // seen clear too
}

var sealCheckKind = Kind{
	Name: "sealcheck", Title: "Seal check", Group: Beginning, Writes: Crew,
	Script: []string{"seal check; dry {dry}; at {spots} places/place; wet boards {wet}; all of them out {out}; drains clear {drains}"},
	Help:   "Last night's seal: dry under the sheet, wet boards out.",
	New:    func() Body { return new(SealCheck) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "dry", Label: "Dry under the sheet", Type: Tick, Default: true},
			{Name: "drains", Label: "Drains clear", Type: Tick, Default: true},
			{Name: "spots", Label: "Places looked at", Type: Whole, Max: 100, Again: true},
			{Name: "wet", Label: "Wet boards", Type: Number, Unit: "sq ft", Max: 1e5},
			{Name: "out", Label: "Wet boards are out", Type: Tick},
		}
	},
	Say: func(_ *Day, b Body) string {
		c := b.(*SealCheck)
		return say("seal check", when(c.Dry, "dry under the sheet"), when(c.Spots > 0, "at "+Count(c.Spots, "place", "places")),
			after("wet boards", squareFeet(c.Wet)), when(c.Out, "wet boards out"), when(c.Drains, "drains clear"))
	},
}

func (*SealCheck) kind() *Kind { return &sealCheckKind }

func (b *SealCheck) apply(d *Day, l *Line) {
	if d.Roof.Seal != nil {
		seal := *d.Roof.Seal
		seal.Checked = d.Date
		d.Roof.Seal = &seal
	}
	if b.Drains {
		d.Drains = append(d.Drains, DrainLine{When: l.Began(), Entry: l.Root})
	}
}

// SealCutOff says that a night seal was cut off, not primed over.
type SealCutOff struct {
	Panels  []string        `json:"panels,omitempty"` // empty: every leading edge
	Feet    roofplan.Length `json:"feet,omitzero"`
	Trimmed bool            `json:"trimmed,omitempty"` // the smeared strip too
}

var cutOffKind = Kind{
	Name: "cutoff", Title: "Night seal cut off", Group: Opened, Writes: Crew, Lasts: true,
	Script: []string{"night seal cut off; of {panels}; over {feet}; strip trimmed {trimmed}"},
	New:    func() Body { return new(SealCutOff) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "feet", Label: "Cut off", Type: Length, Unit: "ft"},
			{Name: "trimmed", Label: "Smeared strip trimmed", Type: Tick, Default: true},
			{Name: "panels", Label: "Of panels, if not all", Type: PanelNames},
		}
	},
	Say: func(_ *Day, b Body) string {
		c := b.(*SealCutOff)
		return say("night seal cut off", lead("panel", c.Panels), long(c.Feet), when(c.Trimmed, "smeared strip trimmed"))
	},
	Places: func(b Body) []string { return b.(*SealCutOff).Panels },
}

func (*SealCutOff) kind() *Kind { return &cutOffKind }

func (b *SealCutOff) apply(d *Day, l *Line) {
	for i := range d.Roof.Panels {
		p := &d.Roof.Panels[i]
		if p.Sealed == "" || len(b.Panels) > 0 && !slices.Contains(b.Panels, p.Name) {
			continue
		}
		p.Sealed = ""
		d.act(l, p.Name, Part{})
	}
	if len(b.Panels) == 0 {
		d.Roof.Seal = nil
	}
}

// DrainsClear says that drains were looked at. None named: all of them.
type DrainsClear struct {
	Drains  []string `json:"drains,omitempty"`
	Blocked []string `json:"blocked,omitempty"`
}

var drainsKind = Kind{
	Name: "drains", Title: "Drains clear", Group: Ending, Writes: Crew,
	Script: []string{"drains clear; only {drains}; blocked {blocked}"},
	New:    func() Body { return new(DrainsClear) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "drains", Label: "Clear", Type: Many, Options: options(d.drains()...), Help: "Nothing ticked: all of them."},
			{Name: "blocked", Label: "Blocked", Type: Many, Options: options(d.drains()...)},
		}
	},
	Say: func(_ *Day, b Body) string {
		c := b.(*DrainsClear)
		return say(say("drains clear"+when(len(c.Drains) > 0, ": "+List(c.Drains))), lead("blocked:", c.Blocked))
	},
	Places: func(b Body) []string { return slices.Concat(b.(*DrainsClear).Drains, b.(*DrainsClear).Blocked) },
}

func (*DrainsClear) kind() *Kind { return &drainsKind }

func (b *DrainsClear) apply(d *Day, l *Line) {
	d.Drains = append(d.Drains, DrainLine{l.Began(), b.Drains, b.Blocked, l.Root})
}

// drains are those that set-up names.
func (d *Day) drains() []string {
	var names []string
	for _, p := range d.Setup.Details {
		if p.Sort == "drain" || p.Sort == "scupper" {
			names = append(names, p.Name)
		}
	}
	return names
}

// TiedDown says that loose material cannot blow away.
type TiedDown struct {
	With string `json:"with,omitempty"`
}

var tiedKind = Kind{
	Name: "tied", Title: "Tied down", Group: Ending, Writes: Crew,
	Script: []string{"loose material tied down; with {with}"},
	New:    func() Body { return new(TiedDown) },
	Fields: func(d *Day) []Field { return []Field{{Name: "with", Label: "With", Type: Text}} },
	Say:    func(_ *Day, b Body) string { return say("loose material tied down", b.(*TiedDown).With) },
}

func (*TiedDown) kind() *Kind           { return &tiedKind }
func (*TiedDown) apply(d *Day, l *Line) {}

// unsealed gives the parts of seams that are held short and not sealed for the
// night; unweighted, those without temporary ballast.
func (r *Roof) unsealed() any   { return r.heldWithout(func(s *Seam) []Part { return s.Sealed }) }
func (r *Roof) unweighted() any { return r.heldWithout(func(s *Seam) []Part { return s.Temp }) }

func (r *Roof) heldWithout(done func(*Seam) []Part) any {
	if r == nil {
		return nil
	}
	var open []OnSeam
	for i := range r.Seams {
		s := &r.Seams[i]
		for _, held := range s.Held {
			for _, p := range subtract(held, done(s)) {
				open = append(open, OnSeam{s.Name, p})
			}
		}
	}
	if open == nil {
		return nil
	}
	return open
}
