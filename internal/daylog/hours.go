package daylog

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// WeekHours are hours that hold on some weekdays instead of the job's usual ones.
type WeekHours struct {
	Days    []string `json:"days,omitempty"`  // "monday" ...
	Off     bool     `json:"off,omitempty"`   // nobody works on them
	Start   string   `json:"start,omitempty"` // "07:00" job time; empty: as usual
	Leaving string   `json:"leaving,omitempty"`
	Packup  int      `json:"packup,omitzero"` // min
}

var weekdays = []string{"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"}

var weekKind = Kind{
	Name: "week", Title: "Hours by weekday", Group: SetUp, Writes: Office,
	Help:   "Where some weekdays have hours of their own. The last words on a weekday count.",
	Script: weekScript,
	New:    func() Body { return new(WeekHours) },
	Fields: weekFields,
	Check:  weekCheck,
	Say: func(_ *Day, b Body) string {
		w := b.(*WeekHours)
		if w.Off {
			return "nobody works on " + List(w.Days)
		}
		return say(List(w.Days), after("start", w.Start), after("leaving", w.Leaving), when(w.Packup > 0, "pack-up "+number(float64(w.Packup))+" min"))
	},
}

func (*WeekHours) kind() *Kind { return &weekKind }

func (b *WeekHours) apply(d *Day, l *Line) {
	var all []WeekHours
	for _, w := range d.Setup.Week {
		w.Days = slices.DeleteFunc(slices.Clone(w.Days), func(day string) bool { return slices.Contains(b.Days, day) })
		if len(w.Days) > 0 {
			all = append(all, w)
		}
	}
	d.Setup.Week = append(all, *b)
}

// DayOff is a holiday, or another day on which nobody works.
type DayOff struct {
	Date Date   `json:"date,omitempty"`
	Name string `json:"name,omitempty"`
	Gone bool   `json:"gone,omitempty"` // it is worked after all
}

var dayOffKind = Kind{
	Name: "dayoff", Title: "Holiday or day off", Group: SetUp, Writes: Office,
	Script: dayOffScript,
	New:    func() Body { return new(DayOff) },
	Fields: dayOffFields,
	Check:  dayOffCheck,
	Say: func(_ *Day, b Body) string {
		o := b.(*DayOff)
		return say(string(o.Date), o.Name, when(o.Gone, "worked after all"))
	},
}

func (*DayOff) kind() *Kind { return &dayOffKind }

func (b *DayOff) apply(d *Day, l *Line) {
	all := slices.DeleteFunc(slices.Clone(d.Setup.DaysOff), func(o DayOff) bool { return o.Date == b.Date })
	if !b.Gone {
		all = append(all, *b)
		slices.SortFunc(all, func(a, b DayOff) int { return cmp.Compare(a.Date, b.Date) })
	}
	d.Setup.DaysOff = all
}

// Hours are the usual ones of one day.
type Hours struct {
	Start, Leaving string // "07:00" job time; "" not set
	Packup         int    // min before leaving that tools go down
	Off            string // why nobody is expected; "" somebody is
}

// HoursOn gives the usual hours of a date: the job's, its weekday's, and whether
// it is a day off.
func (s *Setup) HoursOn(date Date) Hours {
	h := Hours{Start: s.Start, Leaving: s.Leaving, Packup: s.Packup}
	at, err := time.Parse(time.DateOnly, string(date))
	if err != nil {
		return h
	}
	weekday := at.Weekday().String()
	for _, w := range s.Week {
		if slices.Contains(w.Days, strings.ToLower(weekday)) {
			h.Start, h.Leaving, h.Packup = cmp.Or(w.Start, h.Start), cmp.Or(w.Leaving, h.Leaving), cmp.Or(w.Packup, h.Packup)
			if w.Off {
				h.Off = weekday
			}
		}
	}
	for _, o := range s.DaysOff {
		if o.Date == date {
			h.Off = cmp.Or(o.Name, "day off")
		}
	}
	return h
}

// Usual gives the usual hours of the day.
func (d *Day) Usual() Hours { return d.Setup.HoursOn(d.Date) }
