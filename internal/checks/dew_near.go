package checks

import (
	"time"

	"duskline/internal/daylog"
	"duskline/internal/weather"
)

var dewMargin = Limit{Name: "dew-near.margin_f", Label: "Sheet above the dew point", Default: 5, Unit: "F", Source: dewGuide}

// It is for paint on steel: for primer on rubber it serves by analogy.
var dewGuide = Source{Where: "ISO 8502-4 guidance, by analogy", Status: SecondHand}

var dewNear = &Check{
	ID:       "dew-near",
	Title:    "Sheet near the dew point",
	Why:      "Near the dew point a film of water forms that nobody sees, and primer and tape do not hold on it.",
	Settle:   "Wait until the sheet is warmer, dry it, and read again before going on.",
	Source:   dewGuide,
	Severity: Stop,
	When:     Live,
	Limits:   []Limit{dewMargin},
	Run:      runDewNear,
}

func runDewNear(s *Situation, report func(Finding)) {
	found := map[string]*Finding{} // by the reading: one cause is one warning
	var order []string
	for i := range s.Day.Acts {
		a := &s.Day.Acts[i]
		doing, ok := map[string]string{"priming": "priming run ", "tape": "taping run ", "covers": "setting covers on run "}[a.Kind]
		if !ok {
			continue
		}
		v, r, margin := s.dew(a.Began)
		if v == kept {
			continue
		}
		f := found[r.Entry]
		if f == nil {
			seam := seamOf(daylog.Place{On: a.Place})
			if line := a.Line; a.Kind == "covers" {
				seam = seamOf(line.Body.(*daylog.CoversRolled).Places[0])
			}
			f = &Finding{
				Key:    "dew-near " + s.Clock(r.At),
				Place:  "run " + seam,
				Says:   "The sheet was " + number(margin) + " F above the dew point when " + doing + seam,
				Seen:   number(margin) + " F, read " + s.when(r.When),
				Limit:  number(s.Limit(dewMargin)) + " F",
				Source: dewMargin.Source,
				Since:  a.Began.At,
				Asks:   v == asked,
				Entry:  []string{a.Line.Root, r.Entry},
				Answer: Answer{Label: "Weather", Kind: "weather"},
			}
			if f.Asks {
				f.Says = "Was the sheet dry and warmer when " + doing + seam + "?"
				f.Settle = "Enter what was read then, or say when the work was done."
			}
			found[r.Entry] = f
			order = append(order, r.Entry)
		}
		f.places = append(f.places, where{name: a.Place, part: a.Part})
	}
	for _, entry := range order {
		report(*found[entry])
	}
}

// dew judges a moment of work by the newest reading before it. A reading is
// good for 4 h at 15 F and for 2 h below; without one nothing is judged.
func (s *Situation) dew(w daylog.When) (verdict, *daylog.WeatherLine, float64) {
	limit := s.Limit(dewMargin)
	r, margin, ok := s.reading(w.At, 0)
	if !ok || margin >= limit {
		return kept, nil, 0
	}
	for _, at := range []time.Time{w.Earliest(), w.Latest()} {
		for _, late := range []float64{-1, 1} {
			if _, m, ok := s.reading(at, late); !ok || m >= limit {
				return asked, r, margin
			}
		}
	}
	return broken, r, margin
}

// reading gives the newest reading that holds at a moment, and its margin;
// late is how far readings are taken to be off, from -1 to 1.
func (s *Situation) reading(at time.Time, late float64) (r *daylog.WeatherLine, margin float64, ok bool) {
	var read time.Time
	for i := range s.Day.Weather {
		w := &s.Day.Weather[i]
		if w.Air == nil || w.Humidity == nil || w.Sheet == nil {
			continue
		}
		taken := w.At.Add(time.Duration(late*float64(w.About)) * time.Minute)
		if m, fine := weather.Margin(*w.Sheet, *w.Air, *w.Humidity); fine && !taken.After(at) && !taken.Before(read) {
			r, margin, ok, read = w, m, true, taken
		}
	}
	good := 2 * time.Hour
	if margin >= 15 {
		good = 4 * time.Hour
	}
	return r, margin, ok && at.Sub(read) <= good
}
