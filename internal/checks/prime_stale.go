package checks

import (
	"time"

	"duskline/internal/daylog"
	"duskline/internal/forecast"
)

var (
	staleNote  = Limit{Name: "prime-stale.note_min", Label: "Primer that is not taped, noted", Default: 60, Unit: "min", Source: practice, Most: true}
	staleToday = Limit{Name: "prime-stale.wait_min", Label: "Primer that is not taped, to be proved again", Default: 120, Unit: "min", Source: practice, Most: true}
)

var primeStale = &Check{
	ID:       "prime-stale",
	Title:    "Primer left untaped",
	Why:      "Primer that lies open gathers dust and loses its tack, and tape does not hold on it.",
	Settle:   "Clean and tacky: test again. Else prime again.",
	Source:   practice,
	Severity: Today,
	When:     Live,
	Absence:  true,
	Limits:   []Limit{staleNote, staleToday},
	Run:      runPrimeStale,
}

func runPrimeStale(s *Situation, report func(Finding)) {
	if s.At&ToolsDown != 0 {
		return // the run is not made, and run-open speaks of it
	}
	s.eachPart(func(st *daylog.Stretch) string {
		if _, taped := tapedAt(st); taped || st.Primed.IsZero() {
			return ""
		}
		if n := len(st.Tests); n > 0 && !st.Tests[n-1].Pass {
			return "" // flash-failed
		}
		if v, _ := s.wet(st); v != kept {
			return "" // prime-wet
		}
		return st.Primer
	}, func(m *seam, st *daylog.Stretch, p daylog.Part) {
		// A long run at the usual pace is work in its course.
		limit := max(s.Minutes(staleNote), forecast.Usual().Run(p.Length()))
		proved := s.provedAgain(st, limit)
		lay := s.Now.Sub(proved.At).Truncate(time.Minute)
		if p.Length() < near || lay < limit || len(m.Open(p)) == 0 {
			return // a sliver, work in its course, or held short
		}
		run := "run " + m.Name + ", " + feet(p)
		f := Finding{
			Key:    "prime-stale " + m.Name + " " + span(p),
			Grade:  Notice,
			Place:  run,
			Says:   upper(run) + ": primed " + s.when(st.Primed) + " and not taped",
			Seen:   "open since " + s.when(proved),
			Limit:  duration(limit),
			Source: staleNote.Source,
			Since:  proved.At.Add(limit),
			Asks:   !certain(st.Primed, proved),
			Entry:  []string{st.Primer},
			Answer: Answer{Label: "Test", Kind: "test", Fields: testFields(m.Name, p)},
			places: []where{{name: m.Name, part: p}},
		}
		if late := s.Minutes(staleToday); late > limit && lay >= late {
			f.Grade, f.Limit, f.Since = Today, duration(late), proved.At.Add(late)
		}
		if f.Asks {
			f.Says = "When was " + run + " taped?"
			f.Settle = "Say when it was closed; or test again, or prime again."
			f.Answer = Answer{Label: "Run closed", Kind: "closed", Fields: map[string]any{"seam": m.Name, "from": p.From, "to": p.To}}
		}
		report(f)
	})
}

// provedAgain gives from when primer lies open: priming, or a test that it
// passed after it had lain too long.
func (s *Situation) provedAgain(st *daylog.Stretch, limit time.Duration) daylog.When {
	open := st.Primed
	for _, t := range st.Tests {
		if t.Pass && t.At.Sub(open.At) >= limit {
			open = t.When
		}
	}
	return open
}
