package checks

import "duskline/internal/daylog"

var primeOneFace = &Check{
	ID:       "prime-one-face",
	Title:    "Primer on one face only",
	Why:      "Tape holds only on primed rubber: the bare face lets go.",
	Settle:   "Prime the other face, then test again; a closed part is cut out and made again.",
	Source:   Source{Where: "UFGS-07530, both mating faces", Status: Published},
	Severity: Stop,
	When:     Live,
	Plain:    true,
	Run:      runPrimeOneFace,
}

func runPrimeOneFace(s *Situation, report func(Finding)) {
	s.eachPart(func(st *daylog.Stretch) string {
		if st.OneFace {
			return st.Primer
		}
		return ""
	}, func(m *seam, st *daylog.Stretch, p daylog.Part) {
		run := "run " + m.Name + ", " + feet(p)
		report(Finding{
			Key:    "prime-one-face " + m.Name + " " + span(p),
			Place:  run,
			Says:   upper(run) + ": primer is on one face only",
			Seen:   "one face",
			Limit:  "both faces",
			Since:  st.Primed.At,
			Entry:  []string{st.Primer},
			Answer: Answer{Label: "Prime again", Kind: "priming", Fields: map[string]any{"seam": m.Name, "from": p.From, "to": p.To}},
			places: []where{{name: m.Name, part: p}},
		})
	})
}

// eachPart calls do for the parts of today's stretches for which id names a
// cause, neighbours with the same cause as one.
func (s *Situation) eachPart(id func(*daylog.Stretch) string, do func(m *seam, first *daylog.Stretch, p daylog.Part)) {
	for _, m := range s.stands().order {
		for i := 0; i < len(m.Runs); i++ {
			first := &m.Runs[i]
			cause := id(first)
			if cause == "" || first.Day != s.Day.Date {
				continue
			}
			p := first.Part
			for i+1 < len(m.Runs) && m.Runs[i+1].From == p.To && id(&m.Runs[i+1]) == cause {
				i++
				p.To = m.Runs[i].To
			}
			do(m, first, p)
		}
	}
}
