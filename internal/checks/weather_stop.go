package checks

import "duskline/internal/daylog"

var thunderPause = Limit{Name: "weather-stop.thunder_min", Label: "Pause after the last thunder", Default: 30, Unit: "min", Source: Source{Where: "US National Weather Service", Status: FromMemory}}

var weatherStop = &Check{
	ID:       "weather-stop",
	Title:    "Work in a weather stop",
	Why:      "Lightning finds whoever stands on a roof, and wet or wind-blown sheet throws people.",
	Settle:   "Get off the roof, or make safe and nothing else. If the stop was over, say when it ended.",
	Source:   practice,
	Severity: People,
	When:     Live,
	Limits:   []Limit{thunderPause},
	Run:      runWeatherStop,
}

func runWeatherStop(s *Situation, report func(Finding)) {
	for i := range s.Day.Stops {
		stop := &s.Day.Stops[i]
		if a, v := s.workedInStop(stop); v != kept {
			f := s.sayStop(stop, a, v)
			f.Says = "Work at " + a.Place + " in the weather stop: " + f.Says
			f.Seen = "work " + s.when(a.Began) + ", stop from " + s.when(stop.Began)
			f.Limit = "making safe only"
			if f.Asks {
				f.Says = "Was the work at " + a.Place + " outside the weather stop?"
				f.Settle = "Say when the work was done, or when the stop began and ended."
			}
			report(f)
			continue // the pause is the same cause
		}
		if stop.With != "thunder" || stop.Ended.IsZero() {
			continue
		}
		last := stop.Thunder(s.Day)
		v, rested := waited(last, stop.Ended, s.Minutes(thunderPause))
		over := last.At.Add(s.Minutes(thunderPause))
		a := s.firstWork(func(a *daylog.Act) bool {
			return working(a.Kind) && !a.Began.At.Before(stop.Ended.At) && a.Began.At.Before(over)
		})
		if v == kept || a == nil && !s.Now.Before(over) {
			continue // nobody went back before it was over
		}
		f := s.sayStop(stop, a, v)
		f.Says = "Back to work " + duration(rested) + " after the last thunder"
		f.Seen, f.Limit, f.Source = duration(rested)+", last heard "+s.when(last), duration(s.Minutes(thunderPause)), thunderPause.Source
		f.Settle = "Stay off the roof until " + s.Clock(over) + ". The competent person on site decides."
		if f.Asks {
			f.Says = "When was the last thunder, and when did work go on?"
			f.Settle = "Correct when the stop ended."
		}
		report(f)
	}
}

func (s *Situation) sayStop(stop *daylog.WeatherStop, a *daylog.Act, v verdict) Finding {
	f := Finding{
		Key:    "weather-stop " + s.Clock(stop.Began.At) + " " + stop.Entry,
		Place:  "roof",
		Since:  stop.Ended.At,
		Asks:   v == asked,
		Entry:  []string{stop.Entry},
		Answer: Answer{Label: "Stop ended", Kind: "resume", Fields: map[string]any{}},
	}
	if stop.End != "" {
		f.Answer = correct(s.line(stop.End), "When?")
	}
	if a != nil {
		f.Since, f.Place = a.Began.At, a.Place
		f.Entry = append(f.Entry, a.Line.Root)
		f.places = []where{{name: a.Place, part: a.Part}}
	}
	f.Says = "no work in " + stop.With
	if stop.With == "" {
		f.Says = "nothing but making safe"
	}
	return f
}

// workedInStop gives the first work that began inside a stop.
func (s *Situation) workedInStop(stop *daylog.WeatherStop) (*daylog.Act, verdict) {
	var first *daylog.Act
	v := kept
	for i := range s.Day.Acts {
		a := &s.Day.Acts[i]
		if !working(a.Kind) || a.Began.At.Before(stop.Began.At) || !stop.Ended.IsZero() && !a.Began.At.Before(stop.Ended.At) {
			continue
		}
		here := broken
		if a.Began.Earliest().Before(stop.Began.Latest()) && !certain(a.Began, stop.Began) ||
			!stop.Ended.IsZero() && !a.Began.Latest().Before(stop.Ended.Earliest()) ||
			stop.Ended.IsZero() && a.Began.About > 0 { // the end may not be written yet
			here = asked
		}
		if here > v || here == v && first != nil && a.Began.At.Before(first.Began.At) {
			first, v = a, here
		}
	}
	return first, v
}

// working tells kinds of work from making safe and looking. A run that is
// closed while rain begins is made safe by it; prime-wet asks about it.
func working(kind string) bool {
	switch kind {
	case "panel", "moved", "cut", "insulation", "tearoff", "cutoff", "priming", "test", "tape", "covers", "treatment",
		"edge", "broomoff", "mat", "lane", "stone", "backclosed":
		return true
	}
	return false
}
