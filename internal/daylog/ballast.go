package daylog

import (
	"duskline/internal/roofplan"
)

// StoneSpread is final stone on panels.
type StoneSpread struct {
	Panels []PanelPart `json:"panels,omitempty"`
	Strips []string    `json:"strips,omitempty"` // earlier leading strips filled now
	Pounds int         `json:"lb,omitzero"`      // all of it together
	// Back lists the places that stone was kept from.
	Back []Place `json:"back,omitempty"`
	// Material is "" for rounded stone, "crushed", "pavers" or "interlocking".
	Material string `json:"material,omitempty"`
	Stone    string `json:"stone,omitempty"` // as its ticket calls it
	Means    string `json:"means,omitempty"` // of moving it: "carts", "buggies", "conveyor"
	Done     bool   `json:"done,omitempty"`  // nothing more comes there
	Zone     string `json:"zone,omitempty"`  // where stones differ by zone: "field", "perimeter", "corner"
	Unwashed bool   `json:"unwashed,omitempty"`
}

// PanelPart is a length of a panel along its long side; To 0 says all of it.
// Less is the width of the leading strip that stays open.
type PanelPart struct {
	Panel string `json:"panel"`
	Part
	Less roofplan.Length `json:"less,omitzero"`
}

var stoneKind = Kind{
	Name: "stone", Title: "Stone spread", Group: Stone, Writes: Crew, Live: true, Lasts: true,
	Script: []string{"stone on; panel/panels {panels}; old strip/strips of {strips}; {lb} lb; held back at {back}; " +
		"crushed {material=crushed}; pavers {material=pavers}; interlocking pavers {material=interlocking}; stone {stone}; moved by {means}; nothing more comes {done}; in the {zone:word}; not washed {unwashed}"},
	New: func() Body { return new(StoneSpread) },
	Fields: func(d *Day) []Field {
		fields := []Field{
			{Name: "panels", Label: "On panels", Type: PanelParts},
			{Name: "strips", Label: "Earlier leading strips filled", Type: PanelNames, Default: d.Roof.oldStrips()},
			{Name: "lb", Label: "Stone", Type: Whole, Unit: "lb", Max: 1e6},
			{Name: "back", Label: "Stone kept back from", Type: Places},
			{Name: "done", Label: "Nothing more comes there", Type: Tick},
			{Name: "means", Label: "Moved by", Type: Choice, Again: true, Options: options("carts", "buggies", "conveyor")},
			{Name: "material", Label: "Ballast", Type: Choice, Options: d.ballasts()},
			{Name: "stone", Label: "Stone", Type: Text, Default: d.approved()},
			{Name: "unwashed", Label: "Not washed: dirt, sand or fines in it", Type: Tick},
		}
		if d.byZone() {
			fields = append(fields, Field{Name: "zone", Label: "Zone", Type: Choice, Options: options("field", "perimeter", "corner")})
		}
		return fields
	},
	Check: func(d *Day, b Body) []Problem {
		s := b.(*StoneSpread)
		if len(s.Panels) == 0 && len(s.Strips) == 0 {
			return []Problem{{Field: "panels", Says: "Say where the stone went.", Refuses: true}}
		}
		for _, p := range s.Panels {
			if odd := checkPanel(d, p.Panel, "panels"); odd != nil {
				return odd
			}
		}
		for _, p := range s.Back {
			if !d.Roof.onPlan(p) {
				return []Problem{{Field: "back", Says: p.Key() + " is not on the plan. Is it named right?"}}
			}
		}
		return nil
	},
	Say: func(_ *Day, b Body) string {
		s := b.(*StoneSpread)
		var names []string
		for _, p := range s.Panels {
			names = append(names, "panel "+p.Panel)
		}
		for _, p := range s.Strips {
			names = append(names, "strip of panel "+p)
		}
		out := "stone on " + List(names)
		if s.Pounds > 0 {
			out += ", " + Count(s.Pounds, "lb", "lb")
		}
		return say(out, map[string]string{"crushed": "crushed stone", "pavers": "pavers", "interlocking": "interlocking pavers"}[s.Material],
			s.Stone, after("in the", s.Zone), when(s.Unwashed, "not washed"), after("by", s.Means), when(s.Done, "nothing more comes there"))
	},
	Places: func(b Body) []string {
		var names []string
		for _, p := range b.(*StoneSpread).Panels {
			names = append(names, p.Panel)
		}
		return append(names, b.(*StoneSpread).Strips...)
	},
}

// oldStrips gives the panels of earlier days whose leading strip is still
// open: today's stone fills it, and is hauled over what lies behind it.
func (r *Roof) oldStrips() any {
	if r == nil {
		return nil
	}
	var names []string
	for _, p := range r.Panels {
		if p.Strip != nil && !p.Strip.Filled && p.Day != r.day {
			names = append(names, p.Name)
		}
	}
	if names == nil {
		return nil
	}
	return names
}

func (*StoneSpread) kind() *Kind { return &stoneKind }

func (b *StoneSpread) apply(d *Day, l *Line) {
	for _, pp := range b.Panels {
		p := d.Roof.panel(pp.Panel)
		if pp.Less > 0 && p.Strip == nil {
			p.Strip = &Strip{Width: pp.Less, Since: d.Date}
		}
		p.Stone = append(p.Stone[:len(p.Stone):len(p.Stone)], StonePart{pp.Part, d.Roof.area(pp)})
		p.Finish = d.Date
		d.act(l, pp.Panel, pp.Part)
	}
	for _, name := range b.Strips {
		if p := d.Roof.panel(name); p.Strip != nil {
			filled := *p.Strip
			filled.Filled = true
			p.Strip = &filled
		}
		d.act(l, name, Part{})
	}
	d.Roof.Stones.Spread += b.Pounds
	for _, place := range b.Back {
		if place, ok := d.Roof.fit(place); ok {
			d.Roof.spot(place).HeldBack = true
			d.Roof.hold(place)
		}
	}
}

// ballasts are the sorts of ballast that the job includes.
func (d *Day) ballasts() []Option {
	all := []Option{{"", "Rounded stone"}}
	if d.Setup.Scope.Crushed {
		all = append(all, Option{"crushed", "Crushed stone"})
	}
	if d.Setup.Scope.Pavers {
		all = append(all, Option{"pavers", "Pavers"}, Option{"interlocking", "Interlocking pavers"})
	}
	return all
}

// LeadingStrip is the width along the newest edge that stays without stone.
type LeadingStrip struct {
	Panel string          `json:"panel"`
	Width roofplan.Length `json:"width"`
}

var stripKind = Kind{
	Name: "strip", Title: "Leading strip", Group: Stone, Writes: Crew,
	Script: []string{"leading strip [of {width}] on panel {panel}"},
	New:    func() Body { return new(LeadingStrip) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "panel", Label: "Panel", Type: PanelName, Required: true},
			{Name: "width", Label: "Width", Type: Length, Unit: "ft", Default: 48, Min: 36, Max: 72},
		}
	},
	Check:  func(d *Day, b Body) []Problem { return checkPanel(d, b.(*LeadingStrip).Panel, "panel") },
	Say:    func(_ *Day, b Body) string { return "leading strip on panel " + b.(*LeadingStrip).Panel },
	Places: func(b Body) []string { return []string{b.(*LeadingStrip).Panel} },
}

func (*LeadingStrip) kind() *Kind { return &stripKind }

func (b *LeadingStrip) apply(d *Day, l *Line) {
	p := d.Roof.panel(b.Panel)
	strip := Strip{Width: b.Width, Since: d.Date}
	if p.Strip != nil {
		strip.Temp = p.Strip.Temp
	}
	p.Strip = &strip
	d.act(l, b.Panel, Part{})
}

// TempBallast is weight laid for the night or until stone comes.
type TempBallast struct {
	Panels []string `json:"panels,omitempty"` // all over
	Strips []string `json:"strips,omitempty"` // on their leading strips
	Seams  []OnSeam `json:"seams,omitempty"`  // on stretches held short or stopped
}

var tempBallastKind = Kind{
	Name: "temp", Title: "Temporary ballast", Group: Stone, Writes: Crew, Lasts: true,
	Script: []string{"temporary ballast on; strip/strips of {strips}; panel/panels {panels}; seam/seams {seams}"},
	New:    func() Body { return new(TempBallast) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "strips", Label: "On leading strips of panels", Type: PanelNames, Default: d.Roof.newest()},
			{Name: "seams", Label: "On parts of runs", Type: Stretches, Default: d.Roof.unweighted()},
			{Name: "panels", Label: "All over panels", Type: PanelNames},
		}
	},
	Check: func(d *Day, b Body) []Problem {
		t := b.(*TempBallast)
		if len(t.Panels)+len(t.Strips)+len(t.Seams) == 0 {
			return []Problem{{Field: "strips", Says: "Say where the temporary ballast lies.", Refuses: true}}
		}
		return nil
	},
	Say: func(_ *Day, b Body) string {
		t := b.(*TempBallast)
		var where []string
		for _, p := range t.Panels {
			where = append(where, "panel "+p)
		}
		for _, p := range t.Strips {
			where = append(where, "strip of panel "+p)
		}
		for _, s := range t.Seams {
			where = append(where, "seam "+s.String())
		}
		return "temporary ballast on " + List(where)
	},
	Places: func(b Body) []string {
		t := b.(*TempBallast)
		names := append(append([]string(nil), t.Panels...), t.Strips...)
		for _, s := range t.Seams {
			names = append(names, s.Seam)
		}
		return names
	},
}

func (*TempBallast) kind() *Kind { return &tempBallastKind }

func (b *TempBallast) apply(d *Day, l *Line) {
	for _, name := range b.Panels {
		d.Roof.panel(name).Temp = true
		d.act(l, name, Part{})
	}
	for _, name := range b.Strips {
		p := d.Roof.panel(name)
		strip := Strip{Width: 48, Since: d.Date}
		if p.Strip != nil {
			strip = *p.Strip
		}
		strip.Temp = true
		p.Strip = &strip
		d.act(l, name, Part{})
	}
	for _, on := range b.Seams {
		s := d.Roof.seam(on.Seam)
		s.Temp = merge(append(s.Temp[:len(s.Temp):len(s.Temp)], on.Part))
		d.act(l, on.Seam, on.Part)
	}
}
