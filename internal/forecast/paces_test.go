package forecast

import (
	"testing"
	"time"

	"duskline/internal/roofplan"
)

// The worked last calls of a 50 x 100 ft sheet with a run of 100 ft and three
// covers: common practice, no source.
func TestWorkedLastCalls(t *testing.T) {
	const width, length = roofplan.Length(50 * 12), roofplan.Length(100 * 12)
	day := func(clock string) time.Time {
		at, err := time.Parse("15:04", clock)
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	for _, c := range []struct {
		name                          string
		paces                         Paces
		down                          string
		rest                          time.Duration
		cover, closed, primed, unroll string
	}{
		{"usual, leaving 16:30", Usual(), "16:10", 30 * time.Minute, "11:50", "11:30", "10:23", "09:23"},
		{"cautious, leaving 16:30", Cautious(), "16:10", 40 * time.Minute, "11:50", "11:20", "09:40", "08:05"},
		{"usual, no pack-up", Usual(), "16:30", 30 * time.Minute, "12:10", "11:50", "10:43", "09:43"},
		{"usual, leaving 15:30", Usual(), "15:10", 30 * time.Minute, "10:50", "10:30", "09:23", "08:23"},
	} {
		last := LastCover(day(c.down), 20*time.Minute, 4*time.Hour)
		for _, x := range []struct {
			what string
			at   time.Time
			want string
		}{
			{"last cover", last, c.cover},
			{"run closed", last.Add(-c.paces.Takes(Run{Covers: 3})), c.closed},
			{"priming", last.Add(-c.paces.Takes(Run{Length: length, Covers: 3})), c.primed},
			{"unrolling", last.Add(-c.paces.Takes(Run{Rest: c.rest, Length: length, Covers: 3}) - c.paces.Unroll(width)), c.unroll},
		} {
			if got := x.at.Format("15:04"); got != x.want {
				t.Errorf("%s: %s %s, want %s", c.name, x.what, got, x.want)
			}
		}
	}
}

// Asked at 10:12 whether to unroll now: covers done about 12:39.
func TestUnrollNow(t *testing.T) {
	p := Usual()
	from := time.Date(2026, 10, 6, 10, 12, 0, 0, time.UTC)
	done := from.Add(p.Unroll(roofplan.Feet(50)) + p.Takes(Run{Rest: 30 * time.Minute, Length: roofplan.Feet(100), Covers: 3}))
	if got := done.Format("15:04"); got != "12:39" {
		t.Errorf("covers done %s, want 12:39", got)
	}
}

func TestUnrollByWidth(t *testing.T) {
	for feet, want := range map[float64][2]time.Duration{50: {30 * time.Minute, 55 * time.Minute}, 20: {25 * time.Minute, 40 * time.Minute}, 10: {17 * time.Minute, 30 * time.Minute}} {
		if got := [2]time.Duration{Usual().Unroll(roofplan.Feet(feet)), Cautious().Unroll(roofplan.Feet(feet))}; got != want {
			t.Errorf("%v ft wide: %v, want %v", feet, got, want)
		}
	}
}
