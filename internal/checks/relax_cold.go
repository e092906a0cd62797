package checks

import (
	"time"

	"duskline/internal/daylog"
)

var (
	coldAir  = Limit{Name: "relax-cold.air_f", Label: "Air that asks for a longer rest", Default: 40, Unit: "F", Source: practice}
	coldRest = Limit{Name: "relax-cold.rest_min", Label: "Rest of a panel in the cold", Default: 60, Unit: "min", Source: practice}
)

var relaxCold = &Check{
	ID:       "relax-cold",
	Title:    "Seamed in the cold before the sheet lay flat",
	Why:      "A cold sheet keeps its folds; wrinkles taped into a seam open when it warms.",
	Settle:   "Let it rest until the lap area has no wrinkle, crease or bridging within about 1 ft, and note that it lies flat.",
	Source:   practice,
	Severity: Stop,
	When:     Live,
	Limits:   []Limit{coldAir, coldRest},
	Run:      runRelaxCold,
}

// coldRest is the rest asked for in the cold: the plan's where there is one.
func (s *Situation) coldRest() time.Duration {
	if n := len(s.Day.Cold); n > 0 && s.Day.Cold[n-1].Rest > 0 {
		return time.Duration(s.Day.Cold[n-1].Rest) * time.Minute
	}
	return s.Minutes(coldRest)
}

func runRelaxCold(s *Situation, report func(Finding)) {
	found := map[string]Finding{}
	var order []string
	for _, m := range s.stands().order {
		for i := range m.Runs {
			step, ok := firstStep(&m.Runs[i])
			if !ok || m.Runs[i].Day != s.Day.Date {
				continue
			}
			if air, ok := s.air(step.When); !ok || air > s.Limit(coldAir) {
				continue
			}
			for _, name := range daylog.Joined(m.Name) {
				f, ok := s.coldOf(m, name, step)
				known, seen := found[name]
				if !ok || seen && (!known.Asks || f.Asks) {
					continue
				}
				if !seen {
					order = append(order, name)
				}
				found[name] = f
			}
		}
	}
	for _, name := range order {
		report(found[name])
	}
}

// coldOf judges a panel beside a step in the cold.
func (s *Situation) coldOf(m *seam, name string, st step) (Finding, bool) {
	p := s.stands().panels[name]
	laid := s.positionAt(name, st.At)
	if p == nil || p.Day != s.Day.Date || laid.IsZero() {
		return Finding{}, false // of an earlier day, or relax-short asks for it
	}
	if v, rested := waited(laid, st.When, s.rest()); v != kept || rested < 0 {
		return Finding{}, false // relax-short speaks of it
	}
	run := "run " + m.Name
	f := Finding{
		Key:    "relax-cold " + name,
		Place:  "panel " + name,
		Since:  st.At,
		Entry:  []string{st.entry},
		places: []where{{name: name}, {name: m.Name, part: st.part}},
	}
	v, rested := waited(laid, st.When, s.coldRest())
	switch {
	case v != kept:
		f.Says = "Panel " + name + " had rested " + duration(rested) + " in the cold when " + run + " was " + st.word
		f.Seen, f.Limit, f.Source = duration(rested)+" at rest", duration(s.coldRest()), coldRest.Source
		f.Answer = correct(s.lineOf("panel", name), "When?")
		if v == asked {
			f.Asks = true
			f.Says = "When was panel " + name + " in position?"
			f.Settle = "Say when it was in position, or when the run was " + st.word + "."
		}
	case p.Flat.IsZero() || p.Flat.At.After(st.At):
		f.absence = true
		f.Asks = !certain(st.When, p.Flat)
		f.Says = "Lap area of panel " + name + " was not noted flat when " + run + " was " + st.word + " in the cold"
		if f.Asks {
			f.Says = "Did the lap area of panel " + name + " lie flat when " + run + " was " + st.word + "?"
		}
		f.Seen, f.Limit = "not noted", "flat before it is seamed"
		f.Answer = Answer{Label: "Lap flat", Kind: "flat", Fields: map[string]any{"panel": name}, At: st.At}
	default:
		return f, false
	}
	return f, true
}
