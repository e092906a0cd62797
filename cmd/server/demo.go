package main

import (
	"context"
	_ "embed"
	"fmt"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
	"duskline/internal/store"
)

// demoText is an invented job of two days in the text form.
//
//go:embed demo.day
var demoText string

const demoJob = "inventedhall"

// fillDemo writes the invented job into an empty log.
func fillDemo(ctx context.Context, log store.Log, now time.Time) error {
	jobs, err := log.Jobs(ctx)
	if err != nil || len(jobs) > 0 {
		return err
	}
	return writeDemo(ctx, log, now)
}

// writeDemo writes the invented job: yesterday whole, and of today what would
// have been written by now.
func writeDemo(ctx context.Context, log store.Log, now time.Time) error {
	zone, err := forenoon(now)
	if err != nil {
		return err
	}
	today := daylog.DateOf(now.In(zone))
	s, err := script.Parse("demo.day", demoText)
	if err != nil {
		return err
	}
	if s, err = s.Moved(today.Add(-1), zone.String()); err != nil {
		return err
	}
	s.Job = demoJob
	written, err := s.Entries(script.Live)
	if err != nil {
		return err
	}
	var raws [][]byte
	for i := range written {
		if e := &written[i]; !e.Made.After(now) {
			raws = append(raws, e.Raw())
		}
	}
	_, err = log.Receive(ctx, s.Job, raws...)
	return err
}

// forenoon gives a time zone in which it is between 10:45 and 11:45, so that
// whoever tries the invented job finds its day under way.
func forenoon(now time.Time) (*time.Location, error) {
	utc := now.UTC()
	east := (11*60 + 44 - utc.Hour()*60 - utc.Minute() + 48*60) / 60 % 24
	if east > 12 {
		east -= 24
	}
	// The names of these zones count west of Greenwich as positive.
	return time.LoadLocation(fmt.Sprintf("Etc/GMT%+d", -east))
}
