package checks

import (
	"testing"
	"time"

	"duskline/internal/daylog"
)

func at(t testing.TB, text string) time.Time {
	t.Helper()
	when, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatal(err)
	}
	return when
}

func TestWaited(t *testing.T) {
	from := at(t, "2026-10-06T12:30:00Z")
	for _, c := range []struct {
		after       time.Duration
		about, more int // of the first and the second moment
		want        verdict
		seen        string
	}{
		{4 * time.Hour, 0, 0, kept, "4 h"},
		{4*time.Hour - time.Minute, 0, 0, broken, "3 h 59 min"},
		{4*time.Hour - 30*time.Second, 0, 0, kept, "4 h"}, // rounded to what is printed
		{4*time.Hour - 31*time.Second, 0, 0, broken, "3 h 59 min"},
		{4*time.Hour - 15*time.Minute, 15, 0, asked, "3 h 45 min"},
		{4*time.Hour - 16*time.Minute, 15, 0, broken, "3 h 44 min"},
		{4*time.Hour - 30*time.Minute, 15, 15, asked, "3 h 30 min"},
		{4*time.Hour - 31*time.Minute, 15, 15, broken, "3 h 29 min"},
		{4 * time.Hour, 15, 15, kept, "4 h"}, // kept as written: no question either
		{-time.Hour, 0, 0, broken, "-1 h"},
	} {
		got, seen := waited(daylog.When{At: from, About: c.about}, daylog.When{At: from.Add(c.after), About: c.more}, 4*time.Hour)
		if got != c.want || duration(seen) != c.seen {
			t.Errorf("%v, give or take %d and %d min: verdict %d, %s; want %d, %s", c.after, c.about, c.more, got, duration(seen), c.want, c.seen)
		}
	}
}

func TestNumbers(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 9: "9", 4809.6: "4,809.6", 1234567: "1,234,567", -0.04: "0", -1500.25: "-1,500.3", 98.5: "98.5"} {
		if got := number(v); got != want {
			t.Errorf("number(%v) = %q, want %q", v, got, want)
		}
	}
}
