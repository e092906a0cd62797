package daylog

// Note is a remark in the crew's words.
type Note struct {
	Text string `json:"text"`
}

var noteKind = Kind{
	Name: "note", Title: "Note", Group: Remarks, Writes: Crew,
	Script: []string{"note {text}"},
	New:    func() Body { return new(Note) },
	Fields: func(d *Day) []Field {
		return []Field{{Name: "text", Label: "Note", Type: LongText}}
	},
	Check: func(d *Day, b Body) []Problem {
		if b.(*Note).Text == "" {
			return []Problem{{Field: "text", Says: "The note is empty."}}
		}
		return nil
	},
	Say: func(_ *Day, b Body) string { return b.(*Note).Text },
}

func (*Note) kind() *Kind           { return &noteKind }
func (*Note) apply(d *Day, l *Line) {}

// SetAside lets a warning stand, with a reason. It hangs on the warning's key
// and words: said in other words, the warning is back.
type SetAside struct {
	Key    string `json:"key"`
	Words  string `json:"words"`
	Reason string `json:"reason"`
}

var asideKind = Kind{
	Name: "aside", Title: "Set aside", Group: Remarks, Writes: Crew,
	Script: []string{"set aside {key:finding}; saying {words}; because {reason}"},
	New:    func() Body { return new(SetAside) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "key", Label: "Warning", Type: Text, Required: true},
			{Name: "words", Label: "Its words", Type: Text},
			{Name: "reason", Label: "Why it may stand", Type: LongText},
		}
	},
	Check: func(d *Day, b Body) []Problem {
		a := b.(*SetAside)
		switch {
		case a.Key == "":
			return []Problem{{Field: "key", Says: "Say which warning.", Refuses: true}}
		case a.Reason == "":
			return []Problem{{Field: "reason", Says: "Say why it may stand: the reason is printed.", Refuses: true}}
		}
		return nil
	},
	Say: func(_ *Day, b Body) string {
		return "set aside: " + b.(*SetAside).Words + " Reason: " + b.(*SetAside).Reason
	},
}

func (*SetAside) kind() *Kind { return &asideKind }

func (b *SetAside) apply(d *Day, l *Line) { d.Asides = append(d.Asides, AsideLine{b, l}) }

// Strike crosses out the entry it names (Of), for a reason (Why).
type Strike struct {
	Slip bool `json:"slip,omitempty"` // taken back just after it was written: no reason was asked
}

var strikeKind = Kind{
	Name: "strike", Title: "Strike", Group: Remarks, Writes: Crew,
	New: func() Body { return new(Strike) },
	Say: func(_ *Day, b Body) string {
		return when(b.(*Strike).Slip, "undone") + when(!b.(*Strike).Slip, "struck")
	},
}

func (*Strike) kind() *Kind           { return &strikeKind }
func (*Strike) apply(d *Day, l *Line) {}

// Sign closes the day: what it covers, and what stood in which words.
type Sign struct {
	Vector    Heads   `json:"vector"`
	Stood     []Stood `json:"stood,omitempty"`
	Statement string  `json:"statement,omitempty"`
}

// Stood is a warning that stood when the day was signed. A later rule set
// never changes it.
type Stood struct {
	Key    string `json:"key"`
	Words  string `json:"words"`
	Asks   bool   `json:"asks,omitempty"`
	Reason string `json:"reason,omitempty"` // set aside for, or what was done
	By     string `json:"by,omitempty"`     // the person who answered for it
}

var signKind = Kind{
	Name: "sign", Title: "Sign the day", Group: Ending, Writes: Crew,
	Script: []string{"signed; statement {statement}"},
	New:    func() Body { return new(Sign) },
	Fields: func(d *Day) []Field {
		return []Field{{Name: "statement", Label: "Statement", Type: LongText,
			Default: "The above is a true record of the day's work, made at or near the time by people who knew of it."}}
	},
	Say: func(_ *Day, b Body) string { return "day signed" },
}

func (*Sign) kind() *Kind { return &signKind }

func (b *Sign) apply(d *Day, l *Line) { d.Signatures = append(d.Signatures, Signature{b, l}) }
