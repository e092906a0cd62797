package daylog

// Comment is a remark of the office on a day.
type Comment struct {
	Text string `json:"text,omitempty"`
}

var commentKind = Kind{
	Name: "comment", Title: "Comment", Group: Review, Writes: Office,
	Script: []string{"comment {text}"},
	New:    func() Body { return new(Comment) },
	Fields: func(d *Day) []Field { return []Field{{Name: "text", Label: "Comment", Type: LongText}} },
	Say:    func(_ *Day, b Body) string { return b.(*Comment).Text },
}

func (*Comment) kind() *Kind           { return &commentKind }
func (*Comment) apply(d *Day, l *Line) {}

// SentBack asks the crew for more before the day is accepted.
type SentBack struct {
	Text string `json:"text,omitempty"`
}

var sentBackKind = Kind{
	Name: "sentback", Title: "Sent back", Group: Review, Writes: Office,
	Script: []string{"sent back {text}"},
	New:    func() Body { return new(SentBack) },
	Fields: func(d *Day) []Field { return []Field{{Name: "text", Label: "What is missing", Type: LongText}} },
	Say:    func(_ *Day, b Body) string { return say("sent back", b.(*SentBack).Text) },
}

func (*SentBack) kind() *Kind { return &sentBackKind }

func (b *SentBack) apply(d *Day, l *Line) { d.Reviews = append(d.Reviews, ReviewLine{Line: l}) }

// Accepted closes the review of a day: what it covers, and what stood in which
// words. What comes later makes a new revision.
type Accepted struct {
	Vector Heads   `json:"vector"`
	Stood  []Stood `json:"stood,omitempty"`
	Text   string  `json:"text,omitempty"`
}

var acceptedKind = Kind{
	Name: "accepted", Title: "Accepted", Group: Review, Writes: Office,
	Script: []string{"accepted; saying {text}"},
	New:    func() Body { return new(Accepted) },
	Fields: func(d *Day) []Field { return []Field{{Name: "text", Label: "Remark", Type: LongText}} },
	Say:    func(_ *Day, b Body) string { return say("accepted", b.(*Accepted).Text) },
}

func (*Accepted) kind() *Kind { return &acceptedKind }

func (b *Accepted) apply(d *Day, l *Line) { d.Reviews = append(d.Reviews, ReviewLine{b, l}) }

// ReviewLine is the office's word on a day: accepted, or sent back.
type ReviewLine struct {
	*Accepted // nil: sent back
	Line      *Line
}

// Review gives the office's last word on the day, and whether there is one.
func (d *Day) Review() (ReviewLine, bool) {
	if n := len(d.Reviews); n > 0 {
		return d.Reviews[n-1], true
	}
	return ReviewLine{}, false
}
