package checks

import "duskline/internal/daylog"

var primeWet = &Check{
	ID:       "prime-wet",
	Title:    "Rain on an open seam",
	Why:      "Water on primer or tape stays in the seam: it never bonds there.",
	Settle:   "Dry and clean it, prime and test again; wet tape is cut out, which makes a new end lap.",
	Source:   practice,
	Severity: Stop,
	When:     Live,
	Run:      runPrimeWet,
}

// wet judges a stretch that was primed and not closed when rain or snow began.
// What was primed again since is not wet.
func (s *Situation) wet(st *daylog.Stretch) (verdict, *daylog.WeatherStop) {
	for i := range s.Day.Stops {
		stop := &s.Day.Stops[i]
		first, ok := firstStep(st)
		if stop.With != "rain" && stop.With != "snow" || !ok || !first.At.Before(stop.Began.At) {
			continue
		}
		if !st.Primed.IsZero() && !st.Primed.At.Before(stop.Began.At) {
			continue
		}
		switch {
		case !st.Closed.IsZero() && !st.Closed.At.After(stop.Began.At):
			continue
		case !st.Closed.IsZero() && !st.Closed.Earliest().After(stop.Began.Latest()),
			!first.Latest().Before(stop.Began.Earliest()),
			st.Closed.IsZero() && !certain(first.When, stop.Began):
			return asked, stop
		}
		return broken, stop
	}
	return kept, nil
}

func runPrimeWet(s *Situation, report func(Finding)) {
	s.eachPart(func(st *daylog.Stretch) string {
		if v, stop := s.wet(st); v != kept {
			return stop.Entry
		}
		return ""
	}, func(m *seam, st *daylog.Stretch, p daylog.Part) {
		v, stop := s.wet(st)
		if p.Length() < near {
			return
		}
		first, _ := firstStep(st)
		run := "run " + m.Name + ", " + feet(p)
		f := Finding{
			Key:    "prime-wet " + m.Name + " " + span(p),
			Place:  run,
			Says:   upper(run) + ": " + stop.With + " before it was closed",
			Seen:   first.word + " " + s.when(first.When) + ", " + stop.With + " from " + s.when(stop.Began),
			Limit:  "dry until closed",
			Since:  stop.Began.At,
			Asks:   v == asked,
			Entry:  []string{first.entry, stop.Entry},
			Answer: Answer{Label: "Prime again", Kind: "priming", Fields: map[string]any{"seam": m.Name, "from": p.From, "to": p.To}},
			places: []where{{name: m.Name, part: p}},
		}
		if f.Asks {
			f.Says = "Was " + run + " closed or covered when " + stop.With + " began?"
			f.Settle = "Say when it was closed, or prime and test again."
		}
		report(f)
	})
}
