package checks

import (
	"testing"
	"time"

	"duskline/internal/daylog"
	"pgregory.net/rapid"
)

// TestWorkInStopByEveryReading holds the rule against all readings of what was
// written, minute by minute: silent where the written times keep the stop, an
// accusation only where no reading does, a question in between.
func TestWorkInStopByEveryReading(t *testing.T) {
	noon := time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC)
	minute := func(n int) time.Time { return noon.Add(time.Duration(n) * time.Minute) }
	rapid.Check(t, func(t *rapid.T) {
		moment := func(name string, low, high int) (int, int) {
			return rapid.IntRange(low, high).Draw(t, name), rapid.SampledFrom([]int{0, 0, 3, 15}).Draw(t, name+" about")
		}
		began, beganAbout := moment("began", 0, 20)
		ended, endedAbout := moment("ended", began+1, began+60)
		work, workAbout := moment("work", -20, 90)
		s := &Situation{Day: &daylog.Day{Acts: []daylog.Act{{Kind: "stone", Place: "3", Began: daylog.When{At: minute(work), About: workAbout}}}}}
		stop := &daylog.WeatherStop{Began: daylog.When{At: minute(began), About: beganAbout}, Ended: daylog.When{At: minute(ended), About: endedAbout}}

		inside, outside := 0, 0
		for w := work - workAbout; w <= work+workAbout; w++ {
			for b := began - beganAbout; b <= began+beganAbout; b++ {
				for e := ended - endedAbout; e <= ended+endedAbout; e++ {
					if b <= w && w < e {
						inside++
					} else {
						outside++
					}
				}
			}
		}
		want := broken
		switch {
		case work < began || work >= ended:
			want = kept
		case outside > 0:
			want = asked
		}
		if _, got := s.workedInStop(stop); got != want {
			t.Fatalf("work %d±%d in a stop from %d±%d to %d±%d: verdict %d, want %d (%d readings inside, %d outside)",
				work, workAbout, began, beganAbout, ended, endedAbout, got, want, inside, outside)
		}
	})
}
