package checks

import "duskline/internal/daylog"

var coldLimit = Limit{Name: "cold-day.air_f", Label: "Air that asks for a cold-weather plan", Default: 40, Unit: "F", Source: practice}

var coldDay = &Check{
	ID:       "cold-day",
	Title:    "Cold and no plan for it",
	Why:      "In the cold sheets rest longer, primer flashes off slowly and liquids thicken: it works only with a plan.",
	Settle:   "Note the cold-weather plan: warm storage, primer at use, rest, flash-off, sheet width.",
	Source:   practice,
	Severity: Today,
	When:     Live,
	Plain:    true,
	Limits:   []Limit{coldLimit},
	Run:      runColdDay,
}

func runColdDay(s *Situation, report func(Finding)) {
	if len(s.Day.Cold) > 0 {
		return
	}
	for i := range s.Day.Acts {
		a := &s.Day.Acts[i]
		doing, ok := map[string]string{"panel": "panel " + a.Place + " was unrolled", "priming": "run " + a.Place + " was primed"}[a.Kind]
		if !ok {
			continue
		}
		air, ok := s.air(a.Began)
		if !ok || air > s.Limit(coldLimit) {
			continue
		}
		report(Finding{
			Key:    "cold-day",
			Says:   "It was " + number(air) + " F when " + doing + ", and there is no cold-weather plan",
			Seen:   number(air) + " F",
			Limit:  number(s.Limit(coldLimit)) + " F",
			Since:  a.Began.At,
			Entry:  []string{a.Line.Root},
			Answer: Answer{Label: "Plan", Kind: "cold", Fields: map[string]any{}},
		})
		return // said once a day
	}
}

// air gives the air, in F, last read before a moment of the day.
func (s *Situation) air(at daylog.When) (f float64, ok bool) {
	var last *daylog.WeatherLine
	for i := range s.Day.Weather {
		w := &s.Day.Weather[i]
		if w.Air != nil && !w.At.After(at.At) && (last == nil || !w.At.Before(last.At)) {
			last = w
		}
	}
	if last == nil {
		return 0, false
	}
	return *last.Air, true
}
