package checks

import "duskline/internal/daylog"

var liquidLimit = Limit{Name: "liquid-cold.use_f", Label: "Primer, adhesive and sealant at use, at least", Default: 60, Unit: "F", Source: practice}

var liquidCold = &Check{
	ID:       "liquid-cold",
	Title:    "Liquids too cold",
	Why:      "Cold primer does not flash off through, and cold sealant does not wet the sheet: both hold only until it warms.",
	Settle:   "Warm them up before going on, and note what they read; or note the plan for the cold. The manufacturer's range counts.",
	Source:   practice,
	Severity: Today,
	When:     Live,
	Limits:   []Limit{liquidLimit},
	Run:      runLiquidCold,
}

func runLiquidCold(s *Situation, report func(Finding)) {
	plan := len(s.Day.Cold) - 1
	if plan >= 0 && (s.Day.Cold[plan].Liquids == nil || *s.Day.Cold[plan].Liquids >= s.Limit(liquidLimit)) {
		return
	}
	var best Finding
	for i := range s.Day.Acts {
		a := &s.Day.Acts[i]
		with, ok := map[string]string{"priming": "primer", "treatment": "adhesive and sealant"}[a.Kind]
		if !ok {
			continue
		}
		f := Finding{
			Key:    "liquid-cold",
			Place:  a.Place,
			Limit:  number(s.Limit(liquidLimit)) + " F",
			Since:  a.Began.At,
			Entry:  []string{a.Line.Root},
			Answer: Answer{Label: "Weather", Kind: "weather"},
			places: []where{{name: a.Place, part: a.Part}},
		}
		r := s.liquidsRead(a.Began)
		air := s.airRead(a.Began.At)
		switch {
		case r != nil && *r.Liquids >= s.Limit(liquidLimit):
			continue
		case r != nil:
			f.Asks = !certain(a.Began, r.When)
			f.Seen = number(*r.Liquids) + " F, read " + s.when(r.When)
			f.Says = upper(with) + " at " + number(*r.Liquids) + " F went on at " + a.Place
		case plan >= 0:
			p := s.Day.Cold[plan]
			f.Asks = !certain(a.Began, p.When)
			f.Seen = number(*p.Liquids) + " F by the plan of " + s.when(p.When)
			f.Says = upper(with) + " at " + number(*p.Liquids) + " F, as the plan for the cold says, went on at " + a.Place
		case air == nil || *air.Air >= s.Limit(liquidLimit) || a.Began.At.Sub(air.At) > airHolds || *air.Air <= s.Limit(coldLimit):
			continue // warm, not known, or cold-day asks for the plan that settles both
		default:
			f.Asks = true
			f.Seen = "air " + number(*air.Air) + " F, read " + s.when(air.When)
		}
		if f.Asks {
			f.Says = "Was the " + with + " at " + number(s.Limit(liquidLimit)) + " F or warmer when it went on at " + a.Place + "?"
			f.Settle = "Note with the weather what primer and sealant read at use."
		}
		if best.Key == "" || best.Asks && !f.Asks {
			best = f // said once a day
		}
	}
	if best.Key != "" {
		report(best)
	}
}

// liquidsRead is the reading of the liquids that holds for a moment of work:
// the last before it, or one soon after.
func (s *Situation) liquidsRead(at daylog.When) (last *daylog.WeatherLine) {
	for i := range s.Day.Weather {
		w := &s.Day.Weather[i]
		if w.Liquids != nil && !w.At.After(at.At.Add(soonRead)) && (last == nil || !w.At.Before(last.At)) {
			last = w
		}
	}
	return last
}
