package checks

import "duskline/internal/daylog"

var (
	gustMaterial = Limit{Name: "gust-work.material_mph", Label: "Gusts while handling material", Default: 30, Unit: "mph", Source: Source{Where: "OSHA definition of high wind, 29 CFR 1910.269 and 1926.968", Status: SecondHand}, Most: true}
	gustAny      = Limit{Name: "gust-work.any_mph", Label: "Gusts at any work but making safe", Default: 40, Unit: "mph", Source: gustMaterial.Source, Most: true}
)

var gustWork = &Check{
	ID:       "gust-work",
	Title:    "Work in high wind",
	Why:      "Wind takes sheets and boards, and people with them.",
	Settle:   "Make safe and stop; go on when the gusts are under the limit.",
	Source:   gustMaterial.Source, // OSHA sets no fixed limit for roofing
	Severity: People,
	When:     Live,
	Limits:   []Limit{gustMaterial, gustAny},
	Run:      runGustWork,
}

func runGustWork(s *Situation, report func(Finding)) {
	for i := range s.Day.Weather {
		w := &s.Day.Weather[i]
		if w.Gust == nil || *w.Gust <= s.Limit(gustMaterial) {
			continue
		}
		a := s.workedIn(i, *w.Gust > s.Limit(gustAny))
		if a == nil {
			continue
		}
		limit, doing := gustMaterial, "material was handled"
		if *w.Gust > s.Limit(gustAny) {
			limit, doing = gustAny, "work went on"
		}
		f := Finding{
			Key:    "gust-work " + s.Clock(w.At),
			Place:  a.Place,
			Says:   "Gusts of " + number(*w.Gust) + " mph, and " + doing + " at " + a.Place,
			Seen:   number(*w.Gust) + " mph, read " + s.when(w.When),
			Limit:  number(s.Limit(limit)) + " mph",
			Source: limit.Source,
			Since:  a.Began.At,
			Entry:  []string{w.Entry, a.Line.Root},
			Answer: Answer{Label: "Weather", Kind: "weather"},
			places: []where{{name: a.Place, part: a.Part}},
			Asks:   a.Began.Earliest().Before(w.Latest()),
		}
		if f.Asks {
			f.Says = "Gusts of " + number(*w.Gust) + " mph: was that before work at " + a.Place + "?"
			f.Settle = "Say when the work was done, or when the gusts were read."
		}
		report(f)
	}
}

// workedIn gives the first work that began while a reading of gusts was
// the newest: of material, or any.
func (s *Situation) workedIn(reading int, any bool) *daylog.Act {
	from := s.Day.Weather[reading].When
	for i := range s.Day.Acts {
		a := &s.Day.Acts[i]
		switch a.Kind {
		case "panel", "stone", "mat":
		case "priming", "tape", "closed", "covers", "treatment":
			if !any {
				continue
			}
		default:
			continue // making safe, and looking
		}
		if a.Began.At.Before(from.At) {
			continue
		}
		later := false
		for j := range s.Day.Weather {
			w := &s.Day.Weather[j]
			later = later || j != reading && w.Gust != nil && w.At.After(from.At) && !w.At.After(a.Began.At)
		}
		if !later {
			return a
		}
	}
	return nil
}
