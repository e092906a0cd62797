package web

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"duskline/internal/daylog"
)

// moment is when something happened, as picked on a form.
type moment struct {
	at    time.Time
	about int  // minutes either way
	named bool // a time as such: the same whenever the form is sent
}

// aboutPicked is how far a time that was not tapped as it happened may be off:
// common practice, no source.
const aboutPicked = 15

const timeNow = "now"

// readClock reads a time of day of the page's day; hours before 04:00 belong
// to the night after it.
func (v *visit) readClock(text string) (time.Time, error) {
	t, ok := clockOn(v.day.Date, text, v.zone)
	if !ok {
		return time.Time{}, unread(fmt.Sprintf("%s is not a time of day. Write it as 13:05.", shown(text)))
	}
	return t, nil
}

// nightEnds is the hour at which what is written belongs to the next day.
const nightEnds = 4

func clockOn(day daylog.Date, text string, zone *time.Location) (time.Time, bool) {
	text = strings.ToUpper(strings.Replace(strings.TrimSpace(text), ".", ":", 1))
	var hm time.Time
	var err error
	for _, form := range []string{"15:04", "3:04 PM", "3:04PM"} {
		if hm, err = time.Parse(form, text); err == nil {
			break
		}
	}
	date, wrong := time.Parse(time.DateOnly, string(day))
	if err != nil || wrong != nil {
		return time.Time{}, false
	}
	days := 0
	if hm.Hour() < nightEnds {
		days = 1
	}
	return time.Date(date.Year(), date.Month(), date.Day()+days, hm.Hour(), hm.Minute(), 0, 0, zone).UTC(), true
}

// dayOf is the day that work at an instant belongs to.
func (v *visit) dayOf(t time.Time) daylog.Date {
	t = t.In(v.zone)
	if t.Hour() < nightEnds {
		return daylog.DateOf(t).Add(-1)
	}
	return daylog.DateOf(t)
}

// readTime reads the time control of a form.
func (v *visit) readTime(name string, form url.Values) (moment, error) {
	picked := form.Get(name)
	switch picked {
	case "":
		return moment{}, unread("Say when: tap one of the times.")
	case timeNow:
		return moment{at: v.now.UTC()}, nil
	case TimeOther:
		text := strings.TrimSpace(form.Get(name + "-other"))
		if text == "" {
			return moment{}, unread("Say when: type the time of day.")
		}
		at, err := v.readClock(text)
		return moment{at, aboutPicked, true}, err
	}
	if m, ok := readExact(picked); ok {
		return m, nil
	}
	if ago, err := strconv.Atoi(picked); err == nil && ago > 0 && ago <= 24*60 {
		return moment{at: v.now.UTC().Add(-time.Duration(ago) * time.Minute), about: aboutPicked}, nil
	}
	if at, ok := clockOn(v.day.Date, picked, v.zone); ok { // at the break, at lunch
		return moment{at, aboutPicked, true}, nil
	}
	return moment{}, unread("Say when: tap one of the times.")
}

// exact is a time as a form keeps it from one sending to the next: "=", the
// instant, "~", how far it may be off.
func exact(m moment) string {
	return "=" + m.at.UTC().Format(time.RFC3339) + "~" + strconv.Itoa(m.about)
}

func readExact(text string) (moment, bool) {
	instant, about, cut := strings.Cut(strings.TrimPrefix(text, "="), "~")
	at, err := time.Parse(time.RFC3339, instant)
	n, wrong := strconv.Atoi(about)
	ok := cut && text[0] == '=' && err == nil && wrong == nil && n >= 0 && n <= 24*60 && at.Year() >= firstYear && at.Year() <= lastYear
	return moment{at.UTC(), n, true}, ok
}

// Days outside of these years are no days of a roof of ours; a time of them
// cannot even be written down.
const (
	firstYear, lastYear             = 1900, 2199
	firstDay, lastDay   daylog.Date = "1900-01-01", "2199-12-31"
)

// timeField is the time control: as a tap, a while ago, at a break, or typed.
// A time of a form that comes back stays the time it was when it was sent.
func (v *visit) timeField(name, label, chosen string, form url.Values) Field {
	f := Field{Name: name, Kind: FieldTime, Label: label, OtherLabel: "Time of day"}
	if v.day.Date == v.today {
		f.Options = append(f.Options, Option{Value: timeNow, Label: "Now", Note: v.clock(v.now)})
		for _, ago := range []int{15, 30, 45} {
			at := v.now.Add(-time.Duration(ago) * time.Minute)
			f.Options = append(f.Options, Option{Value: strconv.Itoa(ago), Label: strconv.Itoa(ago) + " min ago", Note: v.clock(at)})
		}
	}
	for _, stop := range v.stops() {
		if at, ok := clockOn(v.day.Date, stop.Value, v.zone); ok && at.Before(v.now) {
			stop.Note = stop.Value
			f.Options = append(f.Options, stop)
		}
	}
	f.Options = append(f.Options, Option{Value: TimeOther, Label: "Other", Note: "time of day"})
	if chosen == timeNow && v.day.Date != v.today {
		chosen = TimeOther
	}
	words := "As written"
	if form.Has(name) {
		chosen, f.Other = form.Get(name), form.Get(name+"-other")
		if m, err := v.readTime(name, form); err == nil && !m.named {
			chosen, words = exact(m), "As tapped"
		}
	}
	if m, ok := readExact(chosen); ok {
		if f.Options[0].Note == v.clock(m.at) && words == "As tapped" { // this very minute
			f.Options = f.Options[1:]
		}
		f.Options = slices.Insert(f.Options, 0, Option{Value: chosen, Label: words, Note: v.clock(m.at)})
	}
	for i := range f.Options {
		f.Options[i].Chosen = f.Options[i].Value == chosen
	}
	return f
}

// stops are the times of day at which the crew stopped, as it says; else those
// of the job.
func (v *visit) stops() []Option {
	all := []Option{{Value: v.setup.BreakAt(), Label: "Break"}, {Value: v.setup.LunchAt(), Label: "Lunch"}}
	for l, b := range daylog.Each[*daylog.Break](v.day) {
		stop := &all[0]
		if b.Lunch {
			stop = &all[1]
		}
		stop.Value = v.clock(l.At)
	}
	return all
}

// soon is how far ahead of this device's clock a time may lie and still be
// meant as now.
const soon = 5 * time.Minute

// oddTime asks about a time that is hard to believe; nothing when it is not.
func (v *visit) oddTime(k *daylog.Kind, at time.Time) string {
	switch started := v.day.Started; {
	case at.After(v.now.Add(soon)):
		return v.clock(at) + v.onDay(at) + " is still to come. Is the time right?"
	case v.dayOf(at) != v.day.Date:
		return v.clock(at) + v.onDay(at) + " is not on " + v.dayWords(v.day.Date) + ", which this is written for. Is that right?"
	case v.day.Date != v.today:
		return "This is written for " + v.dayWords(v.day.Date) + ", not for today. Is that right?"
	case k.Group != daylog.Beginning && !started.IsZero() && at.Before(started.Earliest().Add(-soon)):
		return v.clock(at) + " is before the day was started, at " + v.clock(started.At) + ". Is the time right?"
	}
	return ""
}

// onDay names the day of a time that is not of today.
func (v *visit) onDay(at time.Time) string {
	if day := v.dayOf(at); day != v.today {
		return " on " + v.dayWords(day)
	}
	return ""
}
