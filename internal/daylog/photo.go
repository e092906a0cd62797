package daylog

import "duskline/internal/roofplan"

// Photo says that a picture was taken of something. File is its name once it
// is kept with the record: its SHA-256 in hex; empty until then.
type Photo struct {
	Text  string          `json:"text,omitempty"`
	Panel string          `json:"panel,omitempty"`
	Seam  string          `json:"seam,omitempty"`
	At    roofplan.Length `json:"along,omitzero"` // along the seam
	File  string          `json:"file,omitempty"`
}

var photoKind = Kind{
	Name: "photo", Title: "Photo", Group: Remarks, Writes: Crew,
	Script: []string{"photo of {text}; panel {panel}; seam {seam}; at {along}; file {file:word}"},
	New:    func() Body { return new(Photo) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "text", Label: "Of what", Type: Text},
			{Name: "seam", Label: "Seam", Type: SeamName},
			{Name: "along", Label: "At", Type: Length, Unit: "ft"},
			{Name: "panel", Label: "Panel", Type: PanelName},
		}
	},
	Say: func(_ *Day, b Body) string {
		p := b.(*Photo)
		return say("photo of "+p.Text, p.Seam, after("at", long(p.At)), after("panel", p.Panel))
	},
	Places: func(b Body) []string {
		var names []string
		for _, name := range []string{b.(*Photo).Seam, b.(*Photo).Panel} {
			if name != "" {
				names = append(names, name)
			}
		}
		return names
	},
}

func (*Photo) kind() *Kind           { return &photoKind }
func (*Photo) apply(d *Day, l *Line) {}
