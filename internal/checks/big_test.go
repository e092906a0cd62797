package checks

import (
	"runtime"
	"slices"
	"sync"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
)

// bigJob is 60 days of 300 entries on one roof, made up clean: everything was
// laid, seamed, covered, treated and ballasted the same day.
var bigJob = sync.OnceValues(func() (*daylog.Job, error) { return makeBig(60) })

// A test under Node makes do with fewer days: writing entries is slow there.
var lesserJob = sync.OnceValues(func() (*daylog.Job, error) { return makeBig(10) })

func makeBig(days int) (*daylog.Job, error) {
	g, err := script.Big(days, 300, 1)
	if err != nil {
		return nil, err
	}
	return daylog.Fold(script.BigJob, entriesOf(g)), nil
}

func bigDay(t testing.TB, back int) (*daylog.Job, *daylog.Day, *time.Location) {
	t.Helper()
	made := bigJob
	if _, bench := t.(*testing.B); runtime.GOOS == "js" && !bench {
		made = lesserJob
	}
	job, err := made()
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

// Every rule at every moment of the last of 60 days of 300 entries, and of the
// morning after: whenever something is written, with Leaving closed and open,
// from all that is held. The slowest moment is what counts: 20 ms natively, 90
// ms as WebAssembly. It is the best of five looks, so that another program's
// turn is not taken for ours.
func BenchmarkEveryMoment(b *testing.B) {
	job, d, zone := bigDay(b, 0)
	var moments []time.Time
	for _, l := range d.Lines {
		moments = append(moments, l.Made)
	}
	moments = append(moments, d.ToolsDown(), d.Leaving())
	slowest, all, n := 0.0, 0.0, 0
	look := func(date daylog.Date, at time.Time, leaving bool) {
		took := make([]float64, 5)
		for i := range took {
			began := time.Now()
			s := Look(job, date, at, zone, "a", leaving)
			Run(s)
			OwedNow(s)
			took[i] = float64(time.Since(began).Microseconds()) / 1000
		}
		best := slices.Min(took)
		slowest, all, n = max(slowest, best), all+best, n+1
	}
	for b.Loop() {
		slowest, all, n = 0, 0, 0
		for _, at := range moments {
			look(d.Date, at, false)
			look(d.Date, at, true)
		}
		look(d.Date.Add(1), d.Leaving().Add(14*time.Hour), false)
	}
	b.ReportMetric(slowest, "ms-slowest")
	b.ReportMetric(all/float64(n), "ms-mean")
	b.ReportMetric(float64(n), "moments")
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
