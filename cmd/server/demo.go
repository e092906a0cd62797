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

// demoText are the invented jobs in the text form: one with two finished days
// and one under way, one that is set up and not begun.
//
//go:embed demo.day
var demoText string

//go:embed demo2.day
var demo2Text string

const (
	demoJob  = "inventedhall"
	demo2Job = "inventedshop"
)

// demoSaid is what the program prints of the invented jobs.
const demoSaid = `Invented jobs: Annex roof, north half, with two finished days and one under way; Workshop roof, set up and not begun.
`

// fillDemo writes the invented jobs into an empty log.
func fillDemo(ctx context.Context, log store.Log, now time.Time) error {
	jobs, err := log.Jobs(ctx)
	if err != nil || len(jobs) > 0 {
		return err
	}
	return writeDemo(ctx, log, now)
}

// writeDemo writes the invented jobs: the days before today whole, and of today
// what would have been written by now.
func writeDemo(ctx context.Context, log store.Log, now time.Time) error {
	zone, err := forenoon(now)
	if err != nil {
		return err
	}
	first := daylog.DateOf(now.In(zone)).Add(-2)
	for _, job := range []struct{ id, text string }{{demoJob, demoText}, {demo2Job, demo2Text}} {
		s, err := script.Parse(job.id, job.text)
		if err != nil {
			return err
		}
		if s, err = s.Moved(first, zone.String()); err != nil {
			return err
		}
		s.Job = job.id
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
		if _, err = log.Receive(ctx, s.Job, raws...); err != nil {
			return err
		}
	}
	return nil
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
