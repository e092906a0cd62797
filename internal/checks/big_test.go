package checks

import (
	"runtime"
	"sync"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
)

// bigJob is 60 days of 300 entries on one roof, made up clean: everything was
// laid, seamed, covered, treated and ballasted the same day.
var bigJob = sync.OnceValues(func() (*daylog.Job, error) {
	days := 60
	if runtime.GOOS == "js" {
		days = 10 // writing entries is slow there
	}
	g, err := script.Big(days, 300, 1)
	if err != nil {
		return nil, err
	}
	return daylog.Fold(script.BigJob, entriesOf(g)), nil
})

func bigDay(t testing.TB, back int) (*daylog.Job, *daylog.Day, *time.Location) {
	t.Helper()
	job, err := bigJob()
	if err != nil {
		t.Fatal(err)
	}
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	return job, job.Days[len(job.Days)-1-back], zone
}

// A clean day raises nothing, on a large roof too.
func TestBigJobIsQuiet(t *testing.T) {
	all, _, _ := bigDay(t, 0)
	for back := range all.Days {
		job, d, zone := bigDay(t, back)
		if !d.Worked() {
			continue
		}
		next := d.Date.Add(1)
		for _, s := range []*Situation{
			Look(job, d.Date, d.Leaving(), zone, "a", true),
			Look(job, next, d.Leaving().Add(14*time.Hour), zone, "a", false),
		} {
			for _, f := range Run(s) {
				t.Errorf("%s: %s: %s (%s)", s.Day.Date, f.Key, f.Says, f.Seen)
			}
			for _, h := range s.HeldBack() {
				t.Errorf("%s: held back, %s: %v", s.Day.Date, h.Words, h.Places)
			}
		}
		if t.Failed() {
			break
		}
	}
}

// The look of Now at tools down of the last of 60 days of 300 entries.
func BenchmarkRun(b *testing.B) {
	job, d, zone := bigDay(b, 0)
	b.ReportAllocs()
	for b.Loop() {
		Run(Look(job, d.Date, d.Leaving(), zone, "a", true))
	}
}

func BenchmarkNow(b *testing.B) {
	job, d, zone := bigDay(b, 0)
	noon := d.Leaving().Add(-4 * time.Hour)
	b.ReportAllocs()
	for b.Loop() {
		s := Look(job, d.Date, noon, zone, "a", false)
		Run(s)
		OwedNow(s)
		Running(s)
		Calls(s)
	}
}
