package daylog

import "duskline/internal/roofplan"

// TapeShows is noted by exception: how much tape shows beside the top sheet
// where it is too little or too much, or how far the top sheet was trimmed.
type TapeShows struct {
	Seam    string          `json:"seam"`
	Along   roofplan.Length `json:"along,omitzero"`
	Shows   roofplan.Length `json:"shows,omitzero"`
	Hidden  bool            `json:"hidden,omitempty"` // none shows
	Trimmed roofplan.Length `json:"trimmed,omitzero"`
	Repair  bool            `json:"repair,omitempty"` // it was covered with a strip
}

var showsKind = Kind{
	Name: "shows", Title: "Tape showing, or trimmed", Group: Seams, Writes: Crew,
	Script: []string{"tape of {seam} shows; along {along}; by {shows}; none of it {hidden}; top sheet trimmed {trimmed}; repaired {repair}"},
	Help:   "Only where it is off: 1/4 to 1/2 in of tape shows as a rule.",
	New:    func() Body { return new(TapeShows) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "seam", Label: "Seam", Type: SeamName, Required: true},
			{Name: "along", Label: "At", Type: Length, Unit: "ft"},
			{Name: "shows", Label: "Tape shows", Type: Length, Unit: "in"},
			{Name: "hidden", Label: "No tape shows", Type: Tick},
			{Name: "trimmed", Label: "Top sheet trimmed by", Type: Length, Unit: "in"},
			{Name: "repair", Label: "Repaired with a strip", Type: Tick},
		}
	},
	Check: func(d *Day, b Body) []Problem {
		seam := b.(*TapeShows).Seam
		if seam == "" {
			return []Problem{{Field: "seam", Says: "Say which seam.", Refuses: true}}
		}
		if _, ok := d.Roof.layout.Seam(seam); !ok {
			return []Problem{{Field: "seam", Says: "Seam " + seam + " is not on the plan. Is the number right?"}}
		}
		return nil
	},
	Say: func(_ *Day, b Body) string {
		s := b.(*TapeShows)
		return say("tape of "+s.Seam, after("at", long(s.Along)), after("shows", long(s.Shows)), when(s.Hidden, "does not show"),
			after("top sheet trimmed", long(s.Trimmed)), when(s.Repair, "repaired"))
	},
	Places: func(b Body) []string { return []string{b.(*TapeShows).Seam} },
}

func (*TapeShows) kind() *Kind { return &showsKind }

func (b *TapeShows) apply(d *Day, l *Line) { d.act(l, b.Seam, Part{b.Along, b.Along}) }
