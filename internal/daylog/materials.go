package daylog

import (
	"slices"
	"strings"
)

// materials are what lots are opened of.
var materials = []string{"tape", "primer", "adhesive", "sealant", "cover strip", "sheet"}

// Approved is a kind of material that the job takes.
type Approved struct {
	Material string  `json:"material"`
	Kind     string  `json:"kind"`              // as its label calls it
	Months   int     `json:"months,omitzero"`   // that it is good from when it was made
	Coldest  float64 `json:"coldest,omitempty"` // F at use; 0: as the limit has it
	Gone     bool    `json:"gone,omitempty"`
}

var materialKind = Kind{
	Name: "material", Title: "Approved material", Group: SetUp, Writes: Office,
	Help:   "As the specification and the manufacturer's written instructions have it.",
	Script: materialScript,
	New:    func() Body { return new(Approved) },
	Fields: materialFields,
	Check:  materialCheck,
	Say: func(_ *Day, b Body) string {
		a := b.(*Approved)
		return say(a.Material+" "+a.Kind, when(a.Months > 0, "good for "+Count(a.Months, "month", "months")), when(a.Coldest != 0, "not under "+number(a.Coldest)+" F"), when(a.Gone, "no longer approved"))
	},
}

func (*Approved) kind() *Kind { return &materialKind }

func (b *Approved) apply(d *Day, l *Line) {
	all := slices.DeleteFunc(slices.Clone(d.Setup.Materials), func(a Approved) bool {
		return a.Material == b.Material && strings.EqualFold(a.Kind, b.Kind)
	})
	if !b.Gone {
		all = append(all, *b)
	}
	d.Setup.Materials = all
}

// JobLot is a lot that the office has for the job. Whoever opens it need not
// type its dates.
type JobLot struct {
	Material string `json:"material"`
	Lot      string `json:"lot"`
	Kind     string `json:"kind,omitempty"`
	Made     Date   `json:"made,omitempty"`
	Until    Date   `json:"until,omitempty"`
	Quantity string `json:"quantity,omitempty"`
	Gone     bool   `json:"gone,omitempty"` // used up or sent back
}

var jobLotKind = Kind{
	Name: "joblot", Title: "Lot for the job", Group: SetUp, Writes: Office,
	Help:   "A lot with its dates, so that nobody has to type them on the roof.",
	Script: jobLotScript,
	New:    func() Body { return new(JobLot) },
	Fields: jobLotFields,
	Check:  jobLotCheck,
	Say: func(_ *Day, b Body) string {
		o := b.(*JobLot)
		return say(o.Material+" lot "+o.Lot, o.Kind, after("made", string(o.Made)), after("good until", string(o.Until)), o.Quantity, when(o.Gone, "used up or sent back"))
	},
}

func (*JobLot) kind() *Kind { return &jobLotKind }

func (b *JobLot) apply(d *Day, l *Line) {
	all := slices.DeleteFunc(slices.Clone(d.Setup.Lots), func(o JobLot) bool { return o.Material == b.Material && o.Lot == b.Lot })
	if !b.Gone {
		all = append(all, *b)
	}
	d.Setup.Lots = all
}

// dated gives a lot the dates that the office has for it, where nobody typed any.
func (s *Setup) dated(l LotOpened) LotOpened {
	if l.Until != "" || l.Made != "" {
		return l
	}
	for _, o := range s.Lots {
		if o.Material != l.Material || o.Lot != l.Lot {
			continue
		}
		l.Made, l.Until = string(o.Made), string(o.Until)
		for _, a := range s.Materials {
			if l.Months == 0 && a.Material == o.Material && strings.EqualFold(a.Kind, o.Kind) {
				l.Months = a.Months
			}
		}
	}
	return l
}
