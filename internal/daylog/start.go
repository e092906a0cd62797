package daylog

import "time"

// Start opens the day.
type Start struct {
	Leaving  time.Time `json:"leaving,omitzero"` // off the roof
	Packup   int       `json:"packup,omitzero"`  // min
	NoGo     bool      `json:"no go,omitempty"`
	Forecast string    `json:"forecast,omitempty"`
	Decided  string    `json:"decided,omitempty"`
	Crew     []string  `json:"crew,omitempty"` // persons on the roof today
}

var startKind = Kind{
	Name: "start", Title: "Start of the day", Group: Beginning, Writes: Crew,
	Script: []string{"start; no-go {no go}; leaving {leaving}; pack-up {packup}; forecast {forecast}; decided by {decided}; crew {crew}"},
	New:    func() Body { return new(Start) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "leaving", Label: "Leaving: people off the roof", Type: Clock, Default: d.Usual().Leaving},
			{Name: "packup", Label: "Packing up", Type: Whole, Unit: "min", Default: d.Packup, Max: 120, Help: "Tools go down this long before leaving."},
			{Name: "no go", Label: "No-go: nothing is opened today", Type: Tick},
			{Name: "forecast", Label: "Forecast", Type: Text},
			{Name: "decided", Label: "Who decided", Type: Text, Again: true},
			{Name: "crew", Label: "Crew on the roof", Type: Persons, Again: true, Default: d.crew()},
		}
	},
	Say: func(_ *Day, b Body) string {
		if b.(*Start).NoGo {
			return "no-go: nothing is opened today"
		}
		return "start"
	},
}

// crew is who is on the roof as the start says; before it, everybody of the
// job but its managers.
func (d *Day) crew() any {
	var all []string
	for _, s := range Each[*Start](d) {
		all = s.Crew
	}
	if len(all) > 0 {
		return all
	}
	for _, p := range d.Setup.Persons {
		if !p.Gone && p.Role != "manager" {
			all = append(all, p.Person)
		}
	}
	if all == nil {
		return nil
	}
	return all
}

func (*Start) kind() *Kind { return &startKind }

func (b *Start) apply(d *Day, l *Line) {
	d.Started, d.Crew = l.Began(), b.Crew
	if b.Packup > 0 {
		d.Packup = b.Packup
	}
	if !b.Leaving.IsZero() {
		if _, said := d.Leaves[""]; !said {
			d.Leaves[""] = b.Leaving
		}
	}
}

// LeavingChanged moves the hour of leaving, for all or for some.
type LeavingChanged struct {
	Leaving time.Time `json:"leaving,omitzero"`
	Persons []string  `json:"persons,omitempty"` // empty: everybody
}

var leavingKind = Kind{
	Name: "leaving", Title: "Leaving changed", Group: Beginning, Writes: Crew,
	Script: []string{"leaving changed to {leaving} [for {persons}]"},
	New:    func() Body { return new(LeavingChanged) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "leaving", Label: "Leaving now at", Type: Clock},
			{Name: "persons", Label: "Who", Type: Persons, Help: "Nobody ticked: everybody."},
		}
	},
	Say: func(d *Day, b Body) string {
		who := b.(*LeavingChanged).Persons
		if len(who) == 0 {
			return "leaving changed"
		}
		names := make([]string, len(who))
		for i, id := range who {
			names[i] = d.Setup.PersonName(id)
		}
		return "leaving changed for " + List(names)
	},
}

func (*LeavingChanged) kind() *Kind { return &leavingKind }

func (b *LeavingChanged) apply(d *Day, l *Line) {
	if b.Leaving.IsZero() {
		return
	}
	if len(b.Persons) == 0 {
		clear(d.Leaves)
		d.Leaves[""] = b.Leaving
	}
	for _, id := range b.Persons {
		d.Leaves[id] = b.Leaving
	}
}
