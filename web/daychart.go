package web

import (
	"cmp"
	"slices"
)

// DayChart is the day line with what happened under it, lane by lane on the
// same scale.
type DayChart struct {
	Line  DayLine
	Lanes []Lane
}

// Lane is one sort of work through the day.
type Lane struct {
	Name   string
	Events []Event
}

// Event is what happened at one time, or from one to another.
type Event struct {
	At, Until Stamp // Until's text is empty for one moment
	Text      string
	Class     string // "work", "stop" for time in which the work stood, "mark" for a moment
}

// minutes are from when to when an event goes.
func (e Event) minutes() (from, to int) {
	if e.Until.Text == "" {
		return e.At.Minute, e.At.Minute
	}
	return e.At.Minute, max(e.Until.Minute, e.At.Minute)
}

// said is the event in words.
func (e Event) said() string {
	if e.Until.Text == "" {
		return e.At.Text + " " + e.Text
	}
	return e.At.Text + " to " + e.Until.Text + " " + e.Text
}

// drawnEvent is an event in its place, with the text beside it where there is
// room for it.
type drawnEvent struct {
	Event
	X, W   float64 // parts of the line
	Label  string
	Inside bool // the text stands on the bar
	Before bool // or left of it
}

// Texts of a lane are placed for the least width at which its names stand beside
// the lanes; where there is more, there is more room between them.
const (
	chartLeast = 46.0
	laneText   = 0.875
)

// drawn places the lane's events: each text on its bar, right of it or left of
// it, where it meets no other; else it is only in the words.
func (l Lane) drawn(d DayLine) []drawnEvent {
	events := slices.SortedStableFunc(slices.Values(l.Events), func(a, b Event) int {
		return cmp.Or(cmp.Compare(a.At.Minute, b.At.Minute), cmp.Compare(a.Until.Minute, b.Until.Minute))
	})
	type taken struct{ from, to float64 }
	var full []taken
	out := make([]drawnEvent, len(events))
	for i, e := range events {
		from, to := e.minutes()
		x := d.part(from)
		out[i] = drawnEvent{Event: e, X: x, W: max(d.part(to)-x, 0)}
		full = append(full, taken{x * chartLeast, max(d.part(to)*chartLeast, x*chartLeast+0.25)})
	}
	free := func(self int, from, to float64) bool {
		if from < 0 || to > chartLeast {
			return false
		}
		for i, t := range full {
			if i != self && from < t.to && t.from < to {
				return false
			}
		}
		return true
	}
	for i := range out {
		e := &out[i]
		width := laneText*textWidth(e.Text) + 0.5
		from, to := full[i].from, full[i].to
		switch {
		case e.Text == "":
		case width < to-from:
			e.Label, e.Inside = e.Text, true
		case free(i, to, to+width+0.3):
			e.Label = e.Text
			full = append(full, taken{to, to + width})
		case free(i, from-width-0.3, from):
			e.Label, e.Before = e.Text, true
			full = append(full, taken{from - width, from})
		}
	}
	return out
}

func (e drawnEvent) textX() string {
	switch {
	case e.Inside:
		return percent(e.X + e.W/2)
	case e.Before:
		return percent(e.X)
	}
	return percent(e.X + e.W)
}

func (e drawnEvent) anchor() string {
	switch {
	case e.Inside:
		return "middle"
	case e.Before:
		return "end"
	}
	return "start"
}

func (e drawnEvent) shift() string {
	switch {
	case e.Inside:
		return "0"
	case e.Before:
		return em(-0.4)
	}
	return em(0.4)
}
