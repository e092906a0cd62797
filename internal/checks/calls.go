package checks

import (
	"slices"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/forecast"
)

// LastCalls are the hours after which the day's work no longer fits before
// tools down; zero where leaving is not known.
type LastCalls struct {
	Cover     time.Time // last cover rolled: tools down less treatment less wait
	Treatment time.Time // last treatment begun
	ToolsDown time.Time
	Leaving   time.Time
}

// Calls gives the day's last calls, from when the last people leave. While
// nobody has said when that is, the job's usual leaving counts.
func Calls(s *Situation) LastCalls {
	down := s.toolsDown()
	if down.IsZero() {
		return LastCalls{}
	}
	c := LastCalls{
		ToolsDown: down,
		Leaving:   down.Add(time.Duration(s.Day.Packup) * time.Minute),
		Treatment: down.Add(-s.Minutes(treatmentMin)),
	}
	c.Cover = forecast.LastCover(down, s.Minutes(treatmentMin), s.wait())
	return c
}

func (s *Situation) toolsDown() time.Time { return toolsDown(s.Day, s.Zone) }

func toolsDown(d *daylog.Day, zone *time.Location) time.Time {
	clock := func(text string) time.Time {
		at, err := time.ParseInLocation("2006-01-02 15:04", string(d.Date)+" "+text, zone)
		if err != nil {
			return time.Time{}
		}
		return at
	}
	last := d.Leaving()
	if last.IsZero() {
		last = clock(d.Usual().Leaving)
	}
	// Who stays longer than the others by the set-up, and has not said otherwise.
	for _, p := range d.Setup.Persons {
		_, said := d.Leaves[p.Person]
		if own := clock(p.Leaving); !said && !last.IsZero() && own.After(last) && slices.Contains(d.Crew, p.Person) {
			last = own
		}
	}
	if last.IsZero() {
		return last
	}
	return last.Add(-time.Duration(d.Packup) * time.Minute)
}

// evening is when the lines of the day's end begin to be written, half an hour
// before tools down, or now if that is earlier. A tablet that was heard since
// has said what it knows of the whole day.
func (s *Situation) evening() time.Time {
	if at := s.toolsDown().Add(-30 * time.Minute); s.At&ToolsDown != 0 && at.Before(s.Now) {
		return at
	}
	return s.Now
}
