package daylog

// Asked is what somebody answered to a question that the program put by itself:
// no, or later. It says nothing of the roof, so it is no part of the day's
// record: it is no line, no page prints it and no check code covers it. It is
// an entry all the same, because the answer must outlive the program that took
// it and hold on every tablet.
type Asked struct {
	Key   string `json:"key"`
	Later bool   `json:"later,omitempty"` // ask again at the next break; else: no
}

// AskedLine is such an answer, and when it was given.
type AskedLine struct {
	*Asked
	When
}

var askedKind = Kind{
	Name: "asked", Title: "Answer to a question", Group: Remarks, Writes: Crew,
	New: func() Body { return new(Asked) },
	Say: func(_ *Day, b Body) string {
		if b.(*Asked).Later {
			return "later"
		}
		return "no"
	},
}

func (*Asked) kind() *Kind { return &askedKind }

func (b *Asked) apply(d *Day, l *Line) { d.Asked = append(d.Asked, AskedLine{b, l.Began()}) }

// offRecord reports whether a line is no part of the day's record.
func offRecord(l *Line) bool {
	_, asked := l.Body.(*Asked)
	return asked
}
