package main

import (
	"context"
	"testing"
	"time"

	"duskline/internal/checks"
	"duskline/internal/store"
)

// At whatever hour somebody tries the invented job, its day is under way.
func TestDemoIsUnderWay(t *testing.T) {
	for minute := 0; minute < 24*60; minute += 7 {
		now := time.Date(2026, 3, 4, 0, minute, 0, 0, time.UTC)
		zone, err := forenoon(now)
		if err != nil {
			t.Fatal(err)
		}
		if clock := now.In(zone).Format("15:04"); clock < "10:45" || clock >= "11:45" {
			t.Fatalf("at %s UTC the invented roof's clock shows %s", now.Format("15:04"), clock)
		}
	}
	ctx, now := context.Background(), time.Now()
	log := store.NewMemory()
	for range 2 { // the second time it is there already
		if err := fillDemo(ctx, log, now); err != nil {
			t.Fatal(err)
		}
	}
	zone, _ := forenoon(now)
	job, err := store.Fold(ctx, log, "inventedhall", "")
	if err != nil {
		t.Fatal(err)
	}
	past := job.Past()
	if len(past) != 2 || !past[0].Signed || past[1].Signed {
		t.Fatalf("days = %v, want one signed and one under way", past)
	}
	for _, l := range job.On(past[0].Date).Lines {
		if l.After {
			t.Errorf("yesterday's %s at %v counts as written after signing", l.Kind, l.At)
		}
	}
	s := checks.Look(job, past[1].Date, now, zone, log.Device(), false)
	for _, f := range checks.Run(s) {
		t.Errorf("the invented day accuses: %s", f.Says)
	}
	if len(checks.OwedNow(s)) == 0 || len(checks.Running(s)) == 0 {
		t.Error("nothing is owed or running")
	}
}
