package checks

import (
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
)

// A limit is looser only on its own side of what is published.
func TestLooser(t *testing.T) {
	for _, c := range []struct {
		limit  Limit
		value  float64
		looser bool
	}{
		{coverSize, 12, false}, {coverSize, 9, false}, {coverSize, 8.5, true},
		{gustAny, 40, false}, {gustAny, 35, false}, {gustAny, 41, true},
		{lapFloor, 3.5, true}, {lapFloor, 5, false},
		{waitMin, 10, false}, // nobody published it
		{bareArea, 500, false},
	} {
		if got := c.limit.Looser(c.value); got != c.looser {
			t.Errorf("%s at %v: looser %v, want %v", c.limit.Name, c.value, got, c.looser)
		}
	}
}

func TestEveryLimitIsWhole(t *testing.T) {
	rules, names := map[string]bool{"tools-down": true}, map[string]bool{}
	for _, c := range All() {
		rules[c.ID] = true
	}
	for _, l := range Limits() {
		rule, quantity, _ := strings.Cut(l.Name, ".")
		if !rules[rule] || quantity == "" || names[l.Name] || l.Label == "" || l.Unit == "" || l.Source.Status == "" || l.Default < 0 {
			t.Errorf("%+v lacks something", l)
		}
		names[l.Name] = true
	}
}

// What is looser than published is a line with its reason, until it is not.
func TestLooserLimits(t *testing.T) {
	at := time.Date(2026, 10, 5, 12, 0, 0, 0, time.UTC)
	limit := func(seq int64, day daylog.Date, name string, value float64) daylog.Entry {
		return daylog.Entry{Job: "job", Device: "a", Stream: "a", Seq: seq, Tick: seq, ID: daylog.FormID("x", int(seq)), Day: day, At: at, Made: at, Author: "max",
			Why: "invented letter of the engineer", Body: &daylog.LimitSetup{Limit: name, Value: value}}
	}
	job := daylog.Fold("job", []daylog.Entry{
		limit(1, "2026-10-05", coverSize.Name, 8), limit(2, "2026-10-05", waitMin.Name, 60), limit(3, "2026-10-07", coverSize.Name, 10),
	})
	got := LooserLimits(job.On("2026-10-06").Setup)
	want := "Cover over a joint or end lap: 8 in, looser than the published 9 in (UFGS-07530: published). Reason: invented letter of the engineer"
	if len(got) != 1 || got[0].String() != want || got[0].Reason.Author != "max" || got[0].Reason.From != "2026-10-05" {
		t.Errorf("got %v, want %q", got, want)
	}
	if got := LooserLimits(job.On("2026-10-07").Setup); len(got) > 0 {
		t.Errorf("within what is published: %v", got)
	}
}
