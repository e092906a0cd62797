package daylog

import (
	"slices"

	"duskline/internal/roofplan"
)

// Edge is where a laid panel meets a side of the roof: a parapet, a wall or an
// open edge. Each date is the day on which that was done.
type Edge struct {
	Name       string          `json:"name"` // as roofplan.Border: `5@north`
	Secured    Date            `json:"secured,omitempty"`
	Flashed    Date            `json:"flashed,omitempty"`
	Terminated Date            `json:"terminated,omitempty"`
	Sealed     Date            `json:"sealed,omitempty"` // for the night
	Feet       roofplan.Length `json:"feet,omitzero"`    // secured, where the entry says it
}

// Edge gives what was done to an edge; the zero Edge with its name if nothing
// was.
func (r *Roof) Edge(name string) Edge {
	for i := range r.Edges {
		if r.Edges[i].Name == name {
			return r.Edges[i]
		}
	}
	return Edge{Name: name}
}

func (r *Roof) edge(name string) *Edge {
	for i := range r.Edges {
		if r.Edges[i].Name == name {
			return &r.Edges[i]
		}
	}
	r.Edges = append(r.Edges, Edge{Name: name})
	return &r.Edges[len(r.Edges)-1]
}

// openEdges lists the edges of panels laid by this record that nobody secured.
func (r *Roof) openEdges() []string {
	if r == nil {
		return nil
	}
	var names []string
	for _, p := range r.Panels {
		if p.Day == "" {
			continue
		}
		placed, _ := r.layout.Panel(p.Name)
		for _, b := range placed.Borders {
			if r.Edge(b.Name).Secured == "" {
				names = append(names, b.Name)
			}
		}
	}
	return names
}

// EdgeWork says what was done to edges of the sheet.
type EdgeWork struct {
	Edges []string        `json:"edges,omitempty"`
	Done  string          `json:"done,omitempty"` // "secured", "flashed", "terminated"
	Feet  roofplan.Length `json:"feet,omitzero"`
	With  string          `json:"with,omitempty"`
}

var edgeKind = Kind{
	Name: "edge", Title: "Edge secured, flashed or terminated", Group: Details, Writes: Crew, Lasts: true,
	Script: []string{
		"edge/edges {edges} secured {done=secured}; over {feet}; with {with}",
		"edge/edges {edges} flashed {done=flashed}; over {feet}; with {with}",
		"edge/edges {edges} terminated {done=terminated}; over {feet}; with {with}",
	},
	New: func() Body { return new(EdgeWork) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "edges", Label: "Edges", Type: Many, Options: edgeOptions(d.Roof.openEdges()), Required: true},
			{Name: "done", Label: "Done", Type: Choice, Default: "secured", Options: options("secured", "flashed", "terminated")},
			{Name: "feet", Label: "Length", Type: Length, Unit: "ft"},
			{Name: "with", Label: "With", Type: Text},
		}
	},
	Check: func(d *Day, b Body) []Problem {
		e := b.(*EdgeWork)
		if len(e.Edges) == 0 {
			return []Problem{{Field: "edges", Says: "Say which edge.", Refuses: true}}
		}
		for _, name := range e.Edges {
			if !d.Roof.hasEdge(name) {
				return []Problem{{Field: "edges", Says: name + " is no edge of the plan. It is named as in 5@north."}}
			}
		}
		return nil
	},
	Say: func(_ *Day, b Body) string {
		e := b.(*EdgeWork)
		return say(say("edge "+SayNames(e.Edges)+" "+e.Done), long(e.Feet), after("with", e.With))
	},
	Places: func(b Body) []string { return b.(*EdgeWork).Edges },
}

// edgeOptions names edges as one says them: 5@north is panel 5 north.
func edgeOptions(names []string) []Option {
	all := options(names...)
	for i := range all {
		all[i].Label = "Panel " + SayName(names[i])
	}
	return all
}

func (*EdgeWork) kind() *Kind { return &edgeKind }

func (b *EdgeWork) apply(d *Day, l *Line) {
	for _, name := range b.Edges {
		e := d.Roof.edge(name)
		switch b.Done {
		case "flashed":
			e.Flashed = d.Date
		case "terminated":
			e.Terminated = d.Date
		default:
			e.Secured = d.Date
			if len(b.Edges) == 1 {
				e.Feet = b.Feet
			}
		}
		d.act(l, name, Part{})
	}
}

func (r *Roof) hasEdge(name string) bool {
	panel := name
	for i := range name {
		if name[i] == '@' {
			panel = name[:i]
		}
	}
	placed, _ := r.layout.Panel(panel)
	for _, b := range placed.Borders {
		if b.Name == name {
			return true
		}
	}
	return false
}

// Detail is a pipe, drain, curb, scupper or other penetration, and how far it
// has come. Each date is the day on which that was done.
type Detail struct {
	Name    string `json:"name"`
	Opened  Date   `json:"opened,omitempty"` // or cut
	Flashed Date   `json:"flashed,omitempty"`
	Sealed  Date   `json:"sealed,omitempty"` // for the night
}

// Detail gives what was done to a detail; the zero Detail with its name if
// nothing was.
func (r *Roof) Detail(name string) Detail {
	for i := range r.Details {
		if r.Details[i].Name == name {
			return r.Details[i]
		}
	}
	return Detail{Name: name}
}

func (r *Roof) detail(name string) *Detail {
	for i := range r.Details {
		if r.Details[i].Name == name {
			return &r.Details[i]
		}
	}
	r.Details = append(r.Details, Detail{Name: name})
	return &r.Details[len(r.Details)-1]
}

// openDetails lists the details that were opened and are not flashed.
func (r *Roof) openDetails() []string {
	if r == nil {
		return nil
	}
	var names []string
	for _, x := range r.Details {
		if x.Opened != "" && x.Flashed == "" {
			names = append(names, x.Name)
		}
	}
	return names
}

// DetailWork says what was done to pipes, drains, curbs and the like.
type DetailWork struct {
	Details []string `json:"details,omitempty"`
	Done    string   `json:"done,omitempty"` // "opened", "flashed", "sealed"
	With    string   `json:"with,omitempty"`
}

var detailKind = Kind{
	Name: "detail", Title: "Pipe, drain, curb opened or flashed", Group: Details, Writes: Crew, Lasts: true,
	Script: []string{
		"detail/details {details} flashed {done=flashed}; with {with}",
		"detail/details {details} opened {done=opened}; with {with}",
		"detail/details {details} sealed {done=sealed}; with {with}",
	},
	New: func() Body { return new(DetailWork) },
	Fields: func(d *Day) []Field {
		names := d.Roof.openDetails()
		for _, p := range d.Setup.Details {
			if !slices.Contains(names, p.Name) {
				names = append(names, p.Name)
			}
		}
		return []Field{
			{Name: "details", Label: "Which", Type: Many, Options: options(names...), Required: true},
			{Name: "done", Label: "Done", Type: Choice, Default: "flashed",
				Options: []Option{{"flashed", "Flashed"}, {"opened", "Opened or cut"}, {"sealed", "Sealed for the night"}}},
			{Name: "with", Label: "With", Type: Text},
		}
	},
	Check: func(d *Day, b Body) []Problem {
		if len(b.(*DetailWork).Details) == 0 {
			return []Problem{{Field: "details", Says: "Say which pipe, drain or curb.", Refuses: true}}
		}
		return nil
	},
	Say: func(_ *Day, b Body) string {
		x := b.(*DetailWork)
		return say(List(x.Details)+" "+x.Done, after("with", x.With))
	},
	Places: func(b Body) []string { return b.(*DetailWork).Details },
}

func (*DetailWork) kind() *Kind { return &detailKind }

func (b *DetailWork) apply(d *Day, l *Line) {
	for _, name := range b.Details {
		x := d.Roof.detail(name)
		switch b.Done {
		case "opened":
			x.Opened, x.Flashed, x.Sealed = d.Date, "", ""
		case "sealed":
			x.Sealed = d.Date
		default:
			x.Flashed = d.Date
		}
		d.act(l, name, Part{})
	}
}

// Penetration is a pipe, drain, curb or the like as the office names it.
type Penetration struct {
	Name  string          `json:"name"`
	Sort  string          `json:"sort,omitempty"`
	Panel string          `json:"panel,omitempty"` // it comes through
	X     roofplan.Length `json:"x,omitzero"`      // east of the plan's origin
	Y     roofplan.Length `json:"y,omitzero"`      // north of it
	Gone  bool            `json:"gone,omitempty"`
	// Wide and Deep make it a rectangle that begins at X and Y: its size to the
	// east and to the north.
	Wide roofplan.Length `json:"wide,omitzero"`
	Deep roofplan.Length `json:"deep,omitzero"`
}

// Rect is where it stands on the plan; a point has no size.
func (p Penetration) Rect() roofplan.Rect {
	at := roofplan.Point{X: p.X, Y: p.Y}
	return roofplan.Rect{Min: at, Max: roofplan.Point{X: p.X + p.Wide, Y: p.Y + p.Deep}}
}

var penetrationKind = Kind{
	Name: "penetration", Title: "Pipe, drain, curb on the plan", Group: SetUp, Writes: Office,
	Script: penetrationScript,
	New:    func() Body { return new(Penetration) },
	Fields: penetrationFields,
	Check:  penetrationCheck,
	Say: func(_ *Day, b Body) string {
		p := b.(*Penetration)
		return say(after(p.Sort, p.Name), when(p.Sort == "", p.Name), after("panel", p.Panel), when(p.Gone, "gone"))
	},
	Places: func(b Body) []string { return []string{b.(*Penetration).Name} },
}

func (*Penetration) kind() *Kind { return &penetrationKind }

func (b *Penetration) apply(d *Day, l *Line) {
	var all []Penetration
	for _, p := range d.Setup.Details {
		if p.Name != b.Name {
			all = append(all, p)
		}
	}
	if !b.Gone {
		all = append(all, *b)
	}
	d.Setup.Details = all
}
