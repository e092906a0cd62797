package checks

import "duskline/internal/daylog"

var primeWet = &Check{
	ID:       "prime-wet",
	Title:    "Water on an open seam",
	Why:      "Water on primer or tape stays in the seam: it never bonds there.",
	Settle:   "Dry and clean it, prime and test again; wet tape is cut out, which makes a new end lap and cover.",
	Source:   practice,
	Severity: Stop,
	When:     Live,
	Run:      runPrimeWet,
}

// wet judges a stretch that water came on before it was closed, by what
// somebody saw or, at or under the dew point, by a reading.
func (s *Situation) wet(st *daylog.Stretch) (verdict, *daylog.Wetness) {
	w := st.Wet
	if w == nil {
		w = s.dewOn(st)
	}
	first, ok := firstStep(st)
	if w == nil || !ok {
		return kept, nil
	}
	again := !st.Primed.IsZero() && !st.Primed.At.Before(w.At)
	switch {
	case !st.Closed.IsZero() && !st.Closed.At.After(w.At):
		return kept, nil
	case again && !w.Tape && st.Dried.At.Before(w.At),
		!again && !st.Closed.IsZero() && !st.Closed.Earliest().After(w.Latest()),
		!again && !first.Latest().Before(w.Earliest()),
		!certain(first.When, w.When, st.Closed):
		return asked, w
	}
	return broken, w
}

// dewOn gives the dew or frost that a reading tells of while a stretch lay
// primed and open.
func (s *Situation) dewOn(st *daylog.Stretch) *daylog.Wetness {
	first, ok := firstStep(st)
	for i := range s.Day.Weather {
		r := &s.Day.Weather[i]
		if m, read := s.marginOf(i); !ok || !read || m > 0 || !r.At.After(first.At) || !st.Closed.IsZero() && !r.At.Before(st.Closed.At) {
			continue
		}
		w := &daylog.Wetness{When: r.When, With: "dew", Tape: !st.Taped.IsZero() && st.Taped.At.Before(r.At), Entry: r.Entry}
		if *r.Sheet <= 32 {
			w.With = "frost"
		}
		return w
	}
	return nil
}

// stage tells what a wet stretch still wants: everything, its tape out, drying
// or the test.
func stage(st *daylog.Stretch, w *daylog.Wetness) string {
	switch {
	case st.Primed.At.Before(w.At):
		return ""
	case w.Tape:
		return "tape"
	case st.Dried.At.Before(w.At):
		return "dry"
	}
	return "test"
}

func runPrimeWet(s *Situation, report func(Finding)) {
	s.eachPart(func(st *daylog.Stretch) string {
		if v, w := s.wet(st); v != kept {
			return w.Entry + " " + stage(st, w)
		}
		return ""
	}, func(m *seam, st *daylog.Stretch, p daylog.Part) {
		v, w := s.wet(st)
		if p.Length() < near {
			return
		}
		first, _ := firstStep(st)
		run := "run " + m.Name + ", " + feet(p)
		on := map[string]any{"seam": m.Name, "from": p.From, "to": p.To}
		f := Finding{
			Key:    "prime-wet " + m.Name + " " + span(p),
			Place:  run,
			Says:   upper(run) + ": " + w.With + " before it was closed",
			Seen:   first.word + " " + s.when(first.When) + ", " + w.With + " from " + s.when(w.When),
			Limit:  "dry until closed",
			Since:  w.At,
			Asks:   v == asked,
			Entry:  []string{first.entry, w.Entry},
			Answer: Answer{Label: "Prime again", Kind: "priming", Fields: on},
			places: []where{{name: m.Name, part: p}},
		}
		switch stage(st, w) {
		case "tape":
			f.Says = upper(run) + ": primed again, and the tape that got wet from " + w.With + " is not cut out"
			f.Settle = "Cut the wet tape out, dry, clean and prime again; the new tape makes an end lap and a cover."
			f.Answer.Label, f.Answer.Kind = "Tape cut out", "cutout"
		case "dry":
			f.Says = "Was " + run + " dried and cleaned before it was primed again " + s.when(st.Primed) + "?"
			f.Settle = "Say when it was dried and cleaned; if it was not, do so, prime and test again."
			f.Answer.Label, f.Answer.Kind = "Dried", "dried"
		case "test":
			f.Says = upper(run) + ": primed again after " + w.With + " and not tested yet"
			f.Settle = "Test it before tape goes down."
			f.Answer.Label, f.Answer.Kind, f.Answer.Fields = "Test", "test", testFields(m.Name, p)
		default:
			if f.Asks {
				f.Says = "Was " + run + " closed or covered when " + w.With + " began?"
				f.Settle = "Say when it was closed, or prime and test again."
			}
		}
		report(f)
	})
}
