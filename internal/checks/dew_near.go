package checks

import (
	"strings"
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
	var stale *daylog.Act // the first without a reading that holds
	for i := range s.Day.Acts {
		a := &s.Day.Acts[i]
		doing, ok := map[string]string{"priming": "priming run ", "tape": "taping run ", "covers": "setting covers on run "}[a.Kind]
		if !ok {
			continue
		}
		v, r, margin := s.dew(a.Began)
		if v == kept {
			if stale == nil && !s.fresh(a.Began) {
				stale = a
			}
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
	if stale != nil && !s.Day.Started.IsZero() { // else another tablet has the morning
		s.sayStale(stale, report)
	}
}

// sayStale notes work without a reading that holds.
func (s *Situation) sayStale(a *daylog.Act, report func(Finding)) {
	if h, unsure := s.unheardAfter(a.Line.Made); unsure {
		s.hold(h, "dew point")
		return
	}
	on, _, _ := strings.Cut(a.Place, " ")
	seam := seamOf(daylog.Place{On: on})
	f := Finding{
		Key:    "dew-near reading",
		Grade:  Notice,
		Place:  "run " + seam,
		Says:   "No fresh reading of air, humidity and sheet when work on run " + seam + " began " + s.when(a.Began),
		Seen:   "nothing read before",
		Limit:  "read within 2 h; 4 h where the sheet is 15 F above the dew point and warming",
		Settle: "Read air, humidity and the sheet in the lap now.",
		Since:  a.Began.At,
		Asks:   !certain(a.Began),
		Entry:  []string{a.Line.Root},
		Answer: Answer{Label: "Weather", Kind: "weather"},
		places: []where{{name: a.Place, part: a.Part}},
	}
	if r, _, _ := s.reading(a.Began.At, 0); r != nil {
		f.Seen = "last read " + s.when(r.When)
		f.Entry = append(f.Entry, r.Entry)
	}
	if f.Asks {
		f.Says = "What did air, humidity and sheet read when work on run " + seam + " began " + s.when(a.Began) + "?"
		f.Settle = "Enter what was read then; if nothing was, read now."
	}
	report(f)
}

// soonRead is how soon after work a reading still tells how it was then.
const soonRead = 30 * time.Minute

// fresh reports whether a reading holds for a moment of work: good for 4 h at
// 15 F over the dew point and warming, for 2 h below that, taken again after
// rain and in the last 2 h of sun; or taken soon after.
func (s *Situation) fresh(w daylog.When) bool {
	for i := range s.Day.Weather {
		r := &s.Day.Weather[i]
		if _, ok := s.marginOf(i); ok && r.At.After(w.At) && r.At.Sub(w.At) <= soonRead {
			return true
		}
	}
	r, margin, _ := s.reading(w.At, 0)
	if r == nil {
		return false
	}
	good := 2 * time.Hour
	if margin >= 15 && s.warming(r, w.At) {
		good = 4 * time.Hour
	}
	if w.At.Sub(r.At) > good {
		return false
	}
	for i := range s.Day.Stops {
		stop := &s.Day.Stops[i]
		over := stop.Ended.At
		if over.IsZero() || over.After(w.At) {
			over = stop.Began.At
		}
		if (stop.With == "rain" || stop.With == "snow") && !over.After(w.At) && r.At.Before(over) {
			return false
		}
	}
	if sun, ok := s.sun(); ok {
		if set, ok := sun.Sunset(); ok && !w.At.Before(set.Add(-2*time.Hour)) && r.At.Before(set.Add(-2*time.Hour)) {
			return false
		}
	}
	return true
}

// warming reports whether the sheet is likely to have warmed from a reading to
// a later moment: it did up to the reading, and it is not yet two hours past
// the sun's highest, or 14:00 where the job's place is not set.
func (s *Situation) warming(r *daylog.WeatherLine, at time.Time) bool {
	for i := range s.Day.Weather {
		b := &s.Day.Weather[i]
		if b.Sheet != nil && b.At.Before(r.At) && r.At.Sub(b.At) <= 6*time.Hour && *b.Sheet > *r.Sheet {
			return false
		}
	}
	if sun, ok := s.sun(); ok {
		return at.Before(sun.Transit.Add(2 * time.Hour))
	}
	return s.Clock(at) < "14:00"
}

// sun gives the day's sun at the job's place, reckoned once; false where that is
// not set.
func (s *Situation) sun() (weather.Sun, bool) {
	set := s.Day.Setup
	if set.Lat == 0 && set.Lon == 0 {
		return weather.Sun{}, false
	}
	if s.daylight == nil {
		noon, err := time.ParseInLocation("2006-01-02 15:04", string(s.Day.Date)+" 12:00", s.Zone)
		if err != nil {
			return weather.Sun{}, false
		}
		sun, err := weather.Place{Latitude: set.Lat, Longitude: set.Lon}.Sun(noon)
		if err != nil {
			return weather.Sun{}, false
		}
		s.daylight = &sun
	}
	return *s.daylight, true
}

// margin is by how much the sheet was above the dew point; not ok where it was
// not read.
type margin struct {
	f  float64
	ok bool
}

// marginOf gives the margin of the day's i-th reading, reckoned once.
func (s *Situation) marginOf(i int) (float64, bool) {
	if s.margins == nil {
		s.margins = make([]margin, len(s.Day.Weather))
		for i := range s.Day.Weather {
			if w := &s.Day.Weather[i]; w.Air != nil && w.Humidity != nil && w.Sheet != nil {
				s.margins[i].f, s.margins[i].ok = weather.Margin(*w.Sheet, *w.Air, *w.Humidity)
			}
		}
	}
	return s.margins[i].f, s.margins[i].ok
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
		taken := w.At.Add(time.Duration(late*float64(w.About)) * time.Minute)
		if m, fine := s.marginOf(i); fine && !taken.After(at) && !taken.Before(read) {
			r, margin, ok, read = w, m, true, taken
		}
	}
	good := 2 * time.Hour
	if margin >= 15 {
		good = 4 * time.Hour
	}
	return r, margin, ok && at.Sub(read) <= good
}
