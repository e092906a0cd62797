package checks

import (
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
	if down := d.ToolsDown(); !down.IsZero() {
		return down
	}
	usual, err := time.ParseInLocation("2006-01-02 15:04", string(d.Date)+" "+d.Setup.Leaving, zone)
	if err != nil {
		return time.Time{}
	}
	return usual.Add(-time.Duration(d.Packup) * time.Minute)
}
