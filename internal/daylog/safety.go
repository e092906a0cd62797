package daylog

import "duskline/internal/roofplan"

// FallProtection says what keeps people on the roof, and that what they could
// fall through is covered. The tool reminds; the competent person decides.
type FallProtection struct {
	Means        []string        `json:"means,omitempty"`
	Line         roofplan.Length `json:"line,omitzero"` // the warning line's distance from the edge
	Holes        bool            `json:"holes,omitempty"`
	Extinguisher bool            `json:"extinguisher,omitempty"`
	Intakes      bool            `json:"intakes,omitempty"`
	Lighting     bool            `json:"lighting,omitempty"`
	Competent    []string        `json:"competent,omitempty"` // persons who looked and decided
}

var fallKind = Kind{
	Name: "fall", Title: "Fall protection and holes", Group: Beginning, Writes: Crew,
	Help: "The competent person on site decides; this notes what was seen.",
	Script: []string{"fall protection {means}; line {line} from edge; holes covered {holes}; extinguisher at hand {extinguisher}; " +
		"air intakes closed {intakes}; lighting {lighting}; competent person {competent}"},
	New: func() Body { return new(FallProtection) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "means", Label: "Fall protection", Type: Many, Again: true, Options: options("parapet", "guardrail", "warning line", "monitor", "arrest", "net")},
			{Name: "line", Label: "Warning line, from the edge", Type: Length, Unit: "ft", Again: true},
			{Name: "holes", Label: "Holes and skylights covered or guarded", Type: Tick, Default: true},
			{Name: "extinguisher", Label: "Extinguisher at hand", Type: Tick, Default: true},
			{Name: "intakes", Label: "Air intakes seen to", Type: Tick, Default: true},
			{Name: "lighting", Label: "Lighting for work after dusk", Type: Tick},
			{Name: "competent", Label: "Competent person", Type: Persons, Again: true},
		}
	},
	Check: func(d *Day, b Body) []Problem {
		f := b.(*FallProtection)
		if len(f.Means) == 0 {
			return []Problem{{Field: "means", Says: "What keeps people on the roof? Tick at least one."}}
		}
		return nil
	},
	Say: func(_ *Day, b Body) string {
		f := b.(*FallProtection)
		return say("fall protection: "+List(f.Means), after("line from the edge", long(f.Line)), when(f.Holes, "holes covered"),
			when(f.Extinguisher, "extinguisher at hand"), when(f.Intakes, "air intakes seen to"), when(f.Lighting, "lighting"))
	},
}

func (*FallProtection) kind() *Kind { return &fallKind }
func (b *FallProtection) apply(d *Day, l *Line) {
	d.Fall = append(d.Fall, FallLine{l.Began(), b, l.Root})
}

// Briefing says that the crew was told of the day's work and its dangers.
type Briefing struct {
	Topic   string   `json:"topic,omitempty"`
	Led     []string `json:"led,omitempty"`     // persons
	Present []string `json:"present,omitempty"` // persons
	Injury  string   `json:"injury,omitempty"`  // anything that hurt somebody, or nearly
}

var briefingKind = Kind{
	Name: "briefing", Title: "Briefing and safety", Group: Beginning, Writes: Crew,
	Script: []string{"briefing; on {topic}; led by {led}; present {present}; injury or near miss {injury}"},
	New:    func() Body { return new(Briefing) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "topic", Label: "About", Type: Text},
			{Name: "led", Label: "Led by", Type: Persons, Again: true},
			{Name: "present", Label: "Present", Type: Persons, Default: d.crew()},
			{Name: "injury", Label: "Injury or near miss", Type: LongText, Help: "Empty: none."},
		}
	},
	Say: func(d *Day, b Body) string {
		f := b.(*Briefing)
		return say(after("briefing", f.Topic), when(f.Topic == "", "briefing"), after("injury or near miss:", f.Injury))
	},
}

func (*Briefing) kind() *Kind           { return &briefingKind }
func (*Briefing) apply(d *Day, l *Line) {}
