package checks

import (
	"time"

	"duskline/internal/daylog"
)

var panelLoose = &Check{
	ID:       "panel-loose",
	Title:    "Loose sheet in wind, or left alone",
	Why:      "Wind under the edge of a loose sheet throws it, and whoever stands on it or in its lee, off the roof.",
	Settle:   "Weight it now, all hands, and keep people off the lee side; the competent person on site decides.",
	Source:   practice,
	Severity: People,
	When:     Live,
	Absence:  true,
	Run:      runPanelLoose,
}

func runPanelLoose(s *Situation, report func(Finding)) {
	gust := s.gusts(s.Now)
	for i := range s.Roof.Panels {
		p := &s.Roof.Panels[i]
		if !s.loose(p) {
			continue
		}
		_, stop := s.unrollLimits(p.Name)
		f := Finding{
			Key:    "panel-loose " + p.Name,
			Place:  "panel " + p.Name,
			Limit:  "weighted",
			Asks:   !certain(p.Position),
			Answer: Answer{Label: "Weighted", Kind: "temp", Fields: map[string]any{"panels": []string{p.Name}}},
			places: []where{{name: p.Name}},
		}
		if line := s.lineOf("panel", p.Name); line != nil {
			f.Entry = append(f.Entry, line.Root)
		}
		switch pause := s.pauseAfter(p.Position); {
		case gust != nil && *gust.Gust >= s.Limit(stop):
			f.Says = "Panel " + p.Name + " lies loose in gusts of " + number(*gust.Gust) + " mph"
			f.Seen = number(*gust.Gust) + " mph, read " + s.when(gust.When)
			f.Limit = "weighted at " + number(s.Limit(stop)) + " mph"
			f.Since, f.Entry = later(gust.At, p.Position.At), append(f.Entry, gust.Entry)
			f.Asks = f.Asks || gust.About > 0
		case pause != nil:
			f.Says = "Panel " + p.Name + " lay loose when the crew went on break"
			f.Seen = "break from " + s.when(pause.Began())
			f.Limit = "weighted before a break"
			f.Since, f.Entry = pause.At, append(f.Entry, pause.Root)
			f.Asks = f.Asks || pause.About > 0
		default:
			continue
		}
		if f.Asks {
			f.Says = "Are the edges of panel " + p.Name + " weighted?"
			f.Settle = "Say that they are; else weight it now, all hands."
		}
		report(f)
	}
}

// loose reports whether a sheet lies in position with no weight on it.
func (s *Situation) loose(p *daylog.Panel) bool {
	return !p.Position.IsZero() && !p.Position.At.After(s.Now) && !p.Weighted && !p.Temp && !p.Cut && len(p.Stone) == 0
}

// pauseAfter gives the first break that began once a sheet was in position.
func (s *Situation) pauseAfter(laid daylog.When) *daylog.Line {
	for l := range daylog.Each[*daylog.Break](s.Day) {
		if !l.At.Before(laid.At) && !l.At.After(s.Now) {
			return l
		}
	}
	return nil
}

// gusts gives the newest reading of gusts at a moment of the day; nil if none
// was taken.
func (s *Situation) gusts(at time.Time) *daylog.WeatherLine {
	var newest *daylog.WeatherLine
	for i := range s.Day.Weather {
		w := &s.Day.Weather[i]
		if w.Gust != nil && !w.At.After(at) && (newest == nil || !w.At.Before(newest.At)) {
			newest = w
		}
	}
	return newest
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
