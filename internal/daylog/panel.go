package daylog

// PanelPositioned says that a sheet lies in its place with its laps.
type PanelPositioned struct {
	Panel    string `json:"panel"`
	Weighted bool   `json:"weighted,omitempty"` // its edges
	Lot      string `json:"lot,omitempty"`      // of the sheet
}

var panelKind = Kind{
	Name: "panel", Title: "Panel in position", Group: Panels, Writes: Crew, Live: true,
	Script: []string{"panel {panel} in position; edges weighted {weighted}; lot {lot}"},
	New:    func() Body { return new(PanelPositioned) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "panel", Label: "Panel", Type: PanelName, Required: true},
			{Name: "weighted", Label: "Edges weighted", Type: Tick, Default: true},
			{Name: "lot", Label: "Lot of the sheet", Type: Text},
		}
	},
	Say: func(_ *Day, b Body) string {
		p := b.(*PanelPositioned)
		if p.Weighted {
			return "panel " + p.Panel + " in position, edges weighted"
		}
		return "panel " + p.Panel + " in position"
	},
	Check:  func(d *Day, b Body) []Problem { return checkPanel(d, b.(*PanelPositioned).Panel, "panel") },
	Places: func(b Body) []string { return []string{b.(*PanelPositioned).Panel} },
}

func (*PanelPositioned) kind() *Kind { return &panelKind }

func (b *PanelPositioned) apply(d *Day, l *Line) {
	p := d.Roof.panel(b.Panel)
	p.Position, p.Weighted, p.Day, p.Lot = l.Ended(), b.Weighted, d.Date, b.Lot
	d.act(l, b.Panel, Part{})
}

// LapFlat says that the lap area of a panel lies flat: no wrinkle, crease or
// bridging within about 1 ft of the seam.
type LapFlat struct {
	Panel string `json:"panel"`
}

var flatKind = Kind{
	Name: "flat", Title: "Lap area flat", Group: Panels, Writes: Crew,
	Script: []string{"lap area of panel {panel} flat"},
	Help:   "No wrinkle, crease or bridging within about 1 ft of the seam.",
	New:    func() Body { return new(LapFlat) },
	Fields: func(d *Day) []Field {
		return []Field{{Name: "panel", Label: "Panel", Type: PanelName, Required: true}}
	},
	Say:    func(_ *Day, b Body) string { return "lap area of panel " + b.(*LapFlat).Panel + " flat" },
	Check:  func(d *Day, b Body) []Problem { return checkPanel(d, b.(*LapFlat).Panel, "panel") },
	Places: func(b Body) []string { return []string{b.(*LapFlat).Panel} },
}

func (*LapFlat) kind() *Kind { return &flatKind }

func (b *LapFlat) apply(d *Day, l *Line) {
	d.Roof.panel(b.Panel).Flat = l.Began()
	d.act(l, b.Panel, Part{})
}

// checkPanel says so where a panel is missing or not on the plan.
func checkPanel(d *Day, name, field string) []Problem {
	if name == "" {
		return []Problem{{Field: field, Says: "Say which panel.", Refuses: true}}
	}
	if _, ok := d.Roof.layout.Panel(name); !ok {
		return []Problem{{Field: field, Says: "Panel " + name + " is not on the plan. Is the number right?"}}
	}
	return nil
}
