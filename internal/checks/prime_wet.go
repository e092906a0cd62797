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
// What was primed again since is wet until a test passes.
func (s *Situation) wet(st *daylog.Stretch) (verdict, *daylog.WeatherStop) {
	for i := range s.Day.Stops {
		stop := &s.Day.Stops[i]
		first, ok := firstStep(st)
		if stop.With != "rain" && stop.With != "snow" || !ok {
			continue
		}
		if !first.At.Before(stop.Began.At) {
			if before, again := s.primedAgain(st, stop); again {
				return before, stop
			}
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

// primedAgain judges a stretch that was primed once more after rain began and
// neither proved nor taped since.
func (s *Situation) primedAgain(st *daylog.Stretch, stop *daylog.WeatherStop) (verdict, bool) {
	if _, taped := tapedAt(st); taped { // without a test: flash-unproved
		return kept, false
	}
	for _, t := range st.Tests {
		if t.Pass {
			return kept, false
		}
	}
	line := s.line(st.Primer)
	if line == nil {
		return kept, false
	}
	open, closed := kept, kept
	for _, a := range s.stands().acts[line.Body.(*daylog.Priming).Seam] {
		if 2*a.Part.Overlap(st.Part) < st.Length() || !a.Began.At.Before(stop.Began.At) {
			continue
		}
		switch v := broken; a.Kind {
		case "priming", "tape":
			if !certain(a.Began, stop.Began) {
				v = asked
			}
			open = max(open, v)
		case "closed":
			closed = broken
		}
	}
	return open, open != kept && closed == kept
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
		if !first.At.Before(stop.Began.At) {
			f.Seen = stop.With + " from " + s.when(stop.Began) + ", primed again " + s.when(first.When) + ", no test passed since"
			f.Answer = Answer{Label: "Test", Kind: "test", Fields: testFields(m.Name, p)}
		}
		if f.Asks {
			f.Says = "Was " + run + " closed or covered when " + stop.With + " began?"
			f.Settle = "Say when it was closed, or prime and test again."
		}
		report(f)
	})
}
