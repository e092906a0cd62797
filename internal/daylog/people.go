package daylog

import (
	"slices"
	"time"
)

// Visit is somebody who came to look, with what came of it.
type Visit struct {
	Who    string `json:"who,omitempty"`
	From   string `json:"from,omitempty"`
	Result string `json:"result,omitempty"` // "no remarks", "remarks", "accepted", "rejected"
	Text   string `json:"text,omitempty"`
}

var visitKind = Kind{
	Name: "visit", Title: "Visit or inspection", Group: People, Writes: Crew, Section: "visits", Lasts: true,
	Script: []string{"visit of {who}; from {from}; result {result}; saying {text}"},
	New:    func() Body { return new(Visit) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "who", Label: "Who", Type: Text},
			{Name: "from", Label: "From", Type: Text},
			{Name: "result", Label: "Result", Type: Choice, Options: options("no remarks", "remarks", "accepted", "rejected")},
			{Name: "text", Label: "What was said", Type: LongText},
		}
	},
	Say: func(_ *Day, b Body) string {
		v := b.(*Visit)
		return say("visit of "+v.Who, after("from", v.From), v.Result, v.Text)
	},
}

func (*Visit) kind() *Kind           { return &visitKind }
func (*Visit) apply(d *Day, l *Line) {}

// Instruction is a direction given or received.
type Instruction struct {
	Way  string `json:"way,omitempty"` // "received", "given"
	Who  string `json:"who,omitempty"` // from or to
	Text string `json:"text,omitempty"`
}

var instructionKind = Kind{
	Name: "instruction", Title: "Instruction", Group: People, Writes: Crew, Section: "instructions",
	Script: []string{
		"instruction from {who} {way=received}; saying {text}",
		"instruction to {who} {way=given}; saying {text}",
	},
	New: func() Body { return new(Instruction) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "way", Label: "Was it", Type: Choice, Default: "received", Options: options("received", "given")},
			{Name: "who", Label: "From or to", Type: Text},
			{Name: "text", Label: "What", Type: LongText},
		}
	},
	Say: func(_ *Day, b Body) string {
		i := b.(*Instruction)
		return say("instruction "+when(i.Way == "given", "to ")+when(i.Way != "given", "from ")+i.Who, i.Text)
	},
}

func (*Instruction) kind() *Kind           { return &instructionKind }
func (*Instruction) apply(d *Day, l *Line) {}

// OtherTrades is who else was on the roof.
type OtherTrades struct {
	Who    string `json:"who,omitempty"`
	People int    `json:"people,omitzero"`
	Where  string `json:"where,omitempty"`
	What   string `json:"what,omitempty"`
	Damage string `json:"damage,omitempty"`
}

var tradesKind = Kind{
	Name: "trades", Title: "Other trades", Group: People, Writes: Crew, Section: "other trades", Lasts: true,
	Script: []string{"other trades {who}; people {people}; at {where}; doing {what}; damage {damage}"},
	New:    func() Body { return new(OtherTrades) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "who", Label: "Which trade", Type: Text},
			{Name: "people", Label: "How many", Type: Whole, Max: 500},
			{Name: "where", Label: "Where", Type: Text},
			{Name: "what", Label: "Doing what", Type: Text},
			{Name: "damage", Label: "Damage", Type: Text, Help: "Empty: none seen."},
		}
	},
	Say: func(_ *Day, b Body) string {
		t := b.(*OtherTrades)
		return say("other trades: "+t.Who, when(t.People > 0, Count(t.People, "person", "people")), t.Where, t.What, after("damage:", t.Damage))
	},
}

func (*OtherTrades) kind() *Kind           { return &tradesKind }
func (*OtherTrades) apply(d *Day, l *Line) {}

// Delay is time in which the work stood; from-to says how long.
type Delay struct {
	Cause string `json:"cause,omitempty"`
	Text  string `json:"text,omitempty"`
}

var delayKind = Kind{
	Name: "delay", Title: "Delay", Group: People, Writes: Crew, Section: "delays", Lasts: true,
	Script: []string{"delay by {cause}; saying {text}"},
	New:    func() Body { return new(Delay) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "cause", Label: "By", Type: Choice, Default: d.stoppedBy(), Options: options("weather", "crane", "delivery", "other trades", "instruction", "equipment", "people")},
			{Name: "text", Label: "What happened", Type: Text},
		}
	},
	Say: func(_ *Day, b Body) string {
		return say(after("delay by", b.(*Delay).Cause), when(b.(*Delay).Cause == "", "delay"), b.(*Delay).Text)
	},
}

// stoppedBy is what delayed the day if the weather stopped it.
func (d *Day) stoppedBy() any {
	if len(d.Stops) > 0 {
		return "weather"
	}
	return nil
}

func (*Delay) kind() *Kind           { return &delayKind }
func (*Delay) apply(d *Day, l *Line) {}

// Equipment is what was used, and for how many hours.
type Equipment struct {
	Items []string `json:"items,omitempty"`
	Hours float64  `json:"hours,omitzero"` // each
	Idle  bool     `json:"idle,omitempty"` // it stood by
}

var equipmentKind = Kind{
	Name: "equipment", Title: "Equipment", Group: People, Writes: Crew, Section: "equipment",
	Script: []string{"equipment {items}; hours {hours}; standing by {idle}"},
	New:    func() Body { return new(Equipment) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "items", Label: "What", Type: Many, Again: true, Options: options("buggy", "conveyor", "crane", "hoist", "forklift", "heat gun", "generator")},
			{Name: "hours", Label: "Hours each", Type: Number, Unit: "h", Max: 24, Again: true},
			{Name: "idle", Label: "It stood by", Type: Tick},
		}
	},
	Say: func(_ *Day, b Body) string {
		e := b.(*Equipment)
		return say("equipment: "+List(e.Items), when(e.Hours != 0, number(e.Hours)+" h"), when(e.Idle, "standing by"))
	},
}

func (*Equipment) kind() *Kind           { return &equipmentKind }
func (*Equipment) apply(d *Day, l *Line) {}

// CrewHours is how long people worked.
type CrewHours struct {
	Persons []string `json:"persons,omitempty"`
	Hours   float64  `json:"hours,omitzero"` // each
	Work    string   `json:"work,omitempty"`
}

var hoursKind = Kind{
	Name: "hours", Title: "Crew hours", Group: People, Writes: Crew,
	Script: []string{"crew hours {hours}; of {persons}; at work on {work}"},
	New:    func() Body { return new(CrewHours) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "persons", Label: "Who", Type: Persons, Default: d.crew()},
			{Name: "hours", Label: "Hours each", Type: Number, Unit: "h", Max: 24},
			{Name: "work", Label: "On what", Type: Text},
		}
	},
	Say: func(d *Day, b Body) string {
		h := b.(*CrewHours)
		return say("crew hours "+number(h.Hours), when(len(h.Persons) > 0, Count(len(h.Persons), "person", "people")), h.Work)
	},
}

func (*CrewHours) kind() *Kind           { return &hoursKind }
func (*CrewHours) apply(d *Day, l *Line) {}

// Break is time off: from-to, or its beginning.
type Break struct {
	Lunch bool `json:"lunch,omitempty"`
}

var breakKind = Kind{
	Name: "break", Title: "Break or lunch", Group: People, Writes: Crew, Lasts: true,
	Script: []string{"lunch {lunch}", "break"},
	New:    func() Body { return new(Break) },
	Fields: func(d *Day) []Field {
		return []Field{{Name: "lunch", Label: "Lunch", Type: Tick, Default: true}}
	},
	Say: func(_ *Day, b Body) string {
		if b.(*Break).Lunch {
			return "lunch"
		}
		return "break"
	},
}

func (*Break) kind() *Kind           { return &breakKind }
func (*Break) apply(d *Day, l *Line) {}

// OffRoof says that people went off the roof for the day. None named: all.
type OffRoof struct {
	Persons []string `json:"persons,omitempty"`
}

var offKind = Kind{
	Name: "off", Title: "Off the roof", Group: Ending, Writes: Crew,
	Script: []string{"off the roof; for today {persons}"},
	New:    func() Body { return new(OffRoof) },
	Fields: func(d *Day) []Field {
		return []Field{{Name: "persons", Label: "Who", Type: Persons, Default: d.firstOff(), Help: "Nobody ticked: everybody."}}
	},
	Say: func(d *Day, b Body) string {
		o := b.(*OffRoof)
		return say("off the roof", when(len(o.Persons) > 0, Count(len(o.Persons), "person", "people")))
	},
}

// firstOff are those who leave before the others, as long as they have not;
// nil where all leave together.
func (d *Day) firstOff() any {
	first, gone := time.Time{}, map[string]bool{}
	for _, b := range Each[*OffRoof](d) {
		for _, id := range b.Persons {
			gone[id] = true
		}
	}
	var who []string
	for id, at := range d.Leaves {
		switch {
		case id == "" || gone[id] || at.Equal(d.Leaving()):
		case first.IsZero() || at.Before(first):
			first, who = at, []string{id}
		case at.Equal(first):
			who = append(who, id)
		}
	}
	if who == nil {
		return nil
	}
	slices.Sort(who)
	return who
}

func (*OffRoof) kind() *Kind           { return &offKind }
func (*OffRoof) apply(d *Day, l *Line) {}

// NoneToday says that there was nothing to note in parts of the day's record.
type NoneToday struct {
	Sections []string `json:"sections,omitempty"`
}

// Sections are the parts of a day's record that may be answered with "none".
func Sections() []string {
	return []string{"deliveries", "visits", "instructions", "other trades", "delays", "deficiencies", "equipment", "tests", "injuries"}
}

// quiet are the sections that nothing was written for.
func (d *Day) quiet() []string {
	quiet := Sections()
	said := func(section string) {
		if i := slices.Index(quiet, section); i >= 0 {
			quiet = slices.Delete(quiet, i, i+1)
		}
	}
	for _, l := range d.Lines {
		if k := KindOf(l.Body); k != nil && l.Struck == nil {
			said(k.Section)
		}
	}
	for _, b := range Each[*Briefing](d) {
		if b.Injury != "" {
			said("injuries")
		}
	}
	return quiet
}

var noneKind = Kind{
	Name: "none", Title: "None today", Group: Ending, Writes: Crew,
	Script: []string{"none today of {sections}"},
	New:    func() Body { return new(NoneToday) },
	Fields: func(d *Day) []Field {
		return []Field{{Name: "sections", Label: "None today", Type: Many, Options: options(Sections()...), Default: d.quiet()}}
	},
	Say: func(_ *Day, b Body) string { return say("none today: " + List(b.(*NoneToday).Sections)) },
}

func (*NoneToday) kind() *Kind           { return &noneKind }
func (*NoneToday) apply(d *Day, l *Line) {}
