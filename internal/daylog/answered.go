package daylog

// Answered is the competent person's word on a warning of what can hurt people:
// it was seen, and this was done. Like a set-aside it hangs on the warning's key
// and words; unlike one it needs somebody who answers.
type Answered struct {
	Key    string `json:"key"`
	Words  string `json:"words"`
	Person string `json:"person,omitempty"` // who answers
	What   string `json:"what,omitempty"`   // was done
}

// AnsweredLine is a warning answered for.
type AnsweredLine struct {
	*Answered
	Line *Line
}

var answeredKind = Kind{
	Name: "answered", Title: "Answered for", Group: Remarks, Writes: Crew,
	Script: []string{"answered for {key:finding}; saying {words}; by {person}; done {what}"},
	New:    func() Body { return new(Answered) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "key", Label: "Warning", Type: Text, Required: true},
			{Name: "words", Label: "Its words", Type: Text},
			{Name: "person", Label: "Who answers for it", Type: Choice, Options: d.onRoof(), Required: true},
			{Name: "what", Label: "What was done", Type: LongText},
		}
	},
	Check: func(d *Day, b Body) []Problem {
		a := b.(*Answered)
		switch {
		case a.Key == "":
			return []Problem{{Field: "key", Says: "Say which warning.", Refuses: true}}
		case a.Person == "":
			return []Problem{{Field: "person", Says: "Say who answers for it: the competent person on the roof.", Refuses: true}}
		case a.What == "":
			return []Problem{{Field: "what", Says: "Say what was done: it is printed.", Refuses: true}}
		}
		return nil
	},
	Say: func(d *Day, b Body) string {
		a := b.(*Answered)
		return "answered for by " + d.Setup.PersonName(a.Person) + ": " + a.Words + " Done: " + a.What
	},
}

func (*Answered) kind() *Kind { return &answeredKind }

func (b *Answered) apply(d *Day, l *Line) { d.Answers = append(d.Answers, AnsweredLine{b, l}) }

// onRoof are the people who may answer: those of the job, the competent ones as
// noted today first.
func (d *Day) onRoof() []Option {
	var first, rest []Option
	competent := map[string]bool{}
	for _, f := range d.Fall {
		for _, id := range f.Competent {
			competent[id] = true
		}
	}
	for _, p := range d.Setup.Persons {
		switch o := (Option{p.Person, p.Name}); {
		case p.Gone:
		case competent[p.Person]:
			first = append(first, o)
		default:
			rest = append(rest, o)
		}
	}
	return append(first, rest...)
}

// Competent names the competent persons as last noted today.
func (d *Day) Competent() []string {
	for i := len(d.Fall) - 1; i >= 0; i-- {
		if ids := d.Fall[i].Competent; len(ids) > 0 {
			return ids
		}
	}
	return nil
}
