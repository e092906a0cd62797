package main

import (
	"context"
	"testing"
	"time"

	"duskline/internal/checks"
	"duskline/internal/daylog"
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
	job, err := store.Fold(ctx, log, demoJob, "")
	if err != nil {
		t.Fatal(err)
	}
	past := job.Past()
	if len(past) != 3 || !past[0].Signed || !past[1].Signed || past[2].Signed {
		t.Fatalf("days = %v, want two signed and one under way", past)
	}
	for _, day := range past[:2] {
		for _, l := range job.On(day.Date).Lines {
			if l.After {
				t.Errorf("%s: %s at %v counts as written after signing", day.Date, l.Kind, l.At)
			}
		}
		signed := job.On(day.Date).Signatures[0].Line.At
		for _, f := range checks.Run(checks.Look(job, day.Date, signed, zone, log.Device(), true)) {
			t.Errorf("%s as signed: %s", day.Date, f.Says)
		}
	}
	s := checks.Look(job, past[2].Date, now, zone, log.Device(), false)
	if len(checks.OwedNow(s)) == 0 || len(checks.Running(s)) == 0 {
		t.Error("nothing is owed or running")
	}
	second, err := store.Fold(ctx, log, demo2Job, "")
	if err != nil {
		t.Fatal(err)
	}
	if len(second.Past()) != 0 || second.On(past[2].Date).Setup.PlanFlaw() != nil {
		t.Errorf("the second job: days %v, plan %v", second.Past(), second.On(past[2].Date).Setup.PlanFlaw())
	}
}

// At no minute of the hour in which it is looked at does the day under way show
// anything wrong; nor did the days before it, at any minute of theirs.
func TestDemoIsCalm(t *testing.T) {
	for _, day := range []int{7, 9} { // a Wednesday, and a Friday with its own hours
		calmDemo(t, time.Date(2026, 10, day, 16, 44, 0, 0, time.UTC))
	}
}

func calmDemo(t *testing.T, now time.Time) {
	ctx, log := context.Background(), store.NewMemory()
	if err := fillDemo(ctx, log, now); err != nil {
		t.Fatal(err)
	}
	zone, err := forenoon(now)
	if err != nil {
		t.Fatal(err)
	}
	all, err := log.Entries(ctx, demoJob, "")
	if err != nil {
		t.Fatal(err)
	}
	said := map[string]bool{}
	look := func(date daylog.Date, at time.Time) {
		var held []daylog.Entry
		for _, e := range all {
			if !e.Made.After(at) {
				held = append(held, e)
			}
		}
		for _, f := range checks.Run(checks.Look(daylog.Fold(demoJob, held), date, at, zone, "office", false)) {
			if says := string(date) + " " + f.Says; !said[says] {
				said[says] = true
				t.Errorf("at %s: %s (%s)", at.In(zone).Format("15:04"), says, f.Check.ID)
			}
		}
	}
	today := daylog.DateOf(now.In(zone))
	for back := range 3 {
		date := today.Add(-back)
		from, to := 6*60+50, 17*60+4
		if back == 0 {
			from, to = 10*60+45, 11*60+44
		}
		for m := from; m <= to; m += 3 {
			look(date, time.Date(now.Year(), now.Month(), now.Day()-back, m/60, m%60, 30, 0, zone))
		}
	}
}
