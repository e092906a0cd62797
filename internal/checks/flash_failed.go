package checks

import "duskline/internal/daylog"

var failedWait = Limit{Name: "flash-failed.wait_min", Label: "After a failed finger test", Default: 60, Unit: "min", Source: practice, Most: true}

var flashFailed = &Check{
	ID:       "flash-failed",
	Title:    "Finger test failed and nothing after it",
	Why:      "Primer that failed and was left gathers dust, and is taped over unproved later.",
	Settle:   "Test again, or prime again.",
	Source:   practice,
	Severity: Today,
	When:     Live | ToolsDown,
	Absence:  true,
	Limits:   []Limit{failedWait},
	Run:      runFlashFailed,
}

func runFlashFailed(s *Situation, report func(Finding)) {
	failed := func(st *daylog.Stretch) (daylog.Test, bool) {
		n := len(st.Tests)
		if n == 0 || st.Tests[n-1].Pass || st.Primed.IsZero() {
			return daylog.Test{}, false
		}
		_, taped := tapedAt(st) // flash-unproved speaks of it
		return st.Tests[n-1], !taped
	}
	s.eachPart(func(st *daylog.Stretch) string {
		if t, ok := failed(st); ok {
			return t.Entry
		}
		return ""
	}, func(m *seam, st *daylog.Stretch, p daylog.Part) {
		t, _ := failed(st)
		since := s.Now.Sub(t.At)
		if p.Length() < near || since < s.Minutes(failedWait) && s.At&ToolsDown == 0 {
			return
		}
		run := "run " + m.Name + ", " + feet(p)
		f := Finding{
			Key:    "flash-failed " + m.Name + " " + span(p),
			Place:  run,
			Says:   upper(run) + ": the finger test failed and nothing is written since",
			Seen:   "failed " + s.when(t.When),
			Limit:  duration(s.Minutes(failedWait)),
			Since:  t.At,
			Asks:   !certain(t.When),
			Entry:  []string{t.Entry},
			Answer: Answer{Label: "Test", Kind: "test", Fields: testFields(m.Name, p)},
			places: []where{{name: m.Name, part: p}},
		}
		if f.Asks {
			f.Says = "Was " + run + " tested or primed again after the finger test failed?"
			f.Settle = "Enter the test you made, or prime again."
		}
		report(f)
	})
}
