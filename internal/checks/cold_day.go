package checks

import (
	"time"

	"duskline/internal/daylog"
)

var coldLimit = Limit{Name: "cold-day.air_f", Label: "Air that asks for a cold-weather plan", Default: 40, Unit: "F", Source: practice}

var coldDay = &Check{
	ID:       "cold-day",
	Title:    "Cold and no plan for it",
	Why:      "In the cold sheets rest longer, primer flashes off slowly and liquids thicken: it works only with a plan.",
	Settle:   "Note the cold-weather plan: warm storage, primer at use, rest, flash-off, sheet width.",
	Source:   practice,
	Severity: Today,
	When:     Live,
	Limits:   []Limit{coldLimit},
	Run:      runColdDay,
}

func runColdDay(s *Situation, report func(Finding)) {
	if len(s.Day.Cold) > 0 {
		return
	}
	var best Finding
	for i := range s.Day.Acts {
		a := &s.Day.Acts[i]
		doing, ok := map[string]string{"panel": "panel " + a.Place + " was unrolled", "priming": "run " + a.Place + " was primed"}[a.Kind]
		r := s.airRead(a.Began.At)
		if !ok || r == nil || *r.Air > s.Limit(coldLimit) {
			continue
		}
		f := Finding{
			Key:    "cold-day",
			Place:  a.Place,
			Says:   "It was " + number(*r.Air) + " F when " + doing + ", and there is no cold-weather plan",
			Seen:   number(*r.Air) + " F, read " + s.when(r.When),
			Limit:  number(s.Limit(coldLimit)) + " F",
			Since:  a.Began.At,
			Entry:  []string{a.Line.Root},
			Answer: Answer{Label: "Plan", Kind: "cold", Fields: map[string]any{}},
			// Written afterwards it may have been warmer, and a plan may be unwritten;
			// and the morning's air is not the afternoon's.
			Asks: !certain(a.Began, r.When) || a.Began.At.Sub(r.At) > airHolds,
		}
		if f.Asks {
			f.Says = "Was it still " + number(*r.Air) + " F when " + doing + ", and was there a plan for the cold?"
			f.Settle = "Note the cold-weather plan, or what the air read then."
		}
		if best.Key == "" || best.Asks && !f.Asks {
			best = f // said once a day
		}
	}
	if best.Key != "" {
		report(best)
	}
}

// airHolds is for how long a reading of the air tells how it is: common
// practice, no source.
const airHolds = 4 * time.Hour

// air gives the air, in F, last read before a moment of the day.
func (s *Situation) air(at daylog.When) (f float64, ok bool) {
	if r := s.airRead(at.At); r != nil {
		return *r.Air, true
	}
	return 0, false
}

// airRead is the last reading of the air before a moment of the day.
func (s *Situation) airRead(at time.Time) (last *daylog.WeatherLine) {
	for i := range s.Day.Weather {
		w := &s.Day.Weather[i]
		if w.Air != nil && !w.At.After(at) && (last == nil || !w.At.Before(last.At)) {
			last = w
		}
	}
	return last
}
