package checks

import (
	"duskline/internal/roofplan"
)

var (
	wideFrom   = roofplan.Feet(20) // a sheet wider than this is wide
	wideNote   = Limit{Name: "gust-unroll.wide_note_mph", Label: "Gusts noted while a sheet over 20 ft wide is unrolled", Default: 15, Unit: "mph", Source: practice, Most: true}
	wideStop   = Limit{Name: "gust-unroll.wide_stop_mph", Label: "Gusts at which no sheet over 20 ft wide is unrolled", Default: 20, Unit: "mph", Source: practice, Most: true}
	narrowNote = Limit{Name: "gust-unroll.narrow_note_mph", Label: "Gusts noted while a narrower sheet is unrolled", Default: 20, Unit: "mph", Source: practice, Most: true}
	narrowStop = Limit{Name: "gust-unroll.narrow_stop_mph", Label: "Gusts at which no narrower sheet is unrolled", Default: 25, Unit: "mph", Source: practice, Most: true}
)

var gustUnroll = &Check{
	ID:       "gust-unroll",
	Title:    "Sheets unrolled in gusts",
	Why:      "A sheet half unrolled is a sail that a whole crew cannot hold.",
	Settle:   "Unroll nothing more until the gusts are under the limit, and read them again; the competent person on site decides.",
	Source:   practice,
	Severity: People,
	When:     Live,
	Limits:   []Limit{wideNote, wideStop, narrowNote, narrowStop},
	Run:      runGustUnroll,
}

// unrollLimits gives the gusts that are noted and that stop, for a sheet; what
// is not on the plan is taken for a wide one.
func (s *Situation) unrollLimits(panel string) (note, stop Limit) {
	if placed, ok := s.Roof.Layout().Panel(panel); ok && placed.Width <= wideFrom {
		return narrowNote, narrowStop
	}
	return wideNote, wideStop
}

func runGustUnroll(s *Situation, report func(Finding)) {
	newest := s.gusts(s.Now)
	said := map[string]bool{}
	for i := range s.Day.Acts {
		a := &s.Day.Acts[i]
		if a.Kind != "panel" && a.Kind != "moved" || said[a.Place] {
			continue
		}
		note, stop := s.unrollLimits(a.Place)
		w := s.gusts(a.Began.At)
		if w == nil || *w.Gust < s.Limit(note) || *newest.Gust < s.Limit(note) {
			continue // calm then, or calm again
		}
		if *w.Gust > s.Limit(gustMaterial) {
			continue // gust-work speaks of it
		}
		if p := s.stands().panels[a.Place]; p != nil && s.loose(p) && *newest.Gust >= s.Limit(stop) {
			continue // it is to be weighted, and panel-loose says so
		}
		said[a.Place] = true
		limit, grade := note, Notice
		if *w.Gust >= s.Limit(stop) {
			limit, grade = stop, People
		}
		f := Finding{
			Key:    "gust-unroll " + a.Place,
			Grade:  grade,
			Place:  "panel " + a.Place,
			Says:   "Panel " + a.Place + " was unrolled in gusts of " + number(*w.Gust) + " mph",
			Seen:   number(*w.Gust) + " mph, read " + s.when(w.When),
			Limit:  "under " + number(s.Limit(limit)) + " mph",
			Source: limit.Source,
			Since:  a.Began.At,
			Asks:   a.Began.Earliest().Before(w.Latest()),
			Entry:  []string{w.Entry, a.Line.Root},
			Answer: Answer{Label: "Weather", Kind: "weather", Fields: map[string]any{}},
			places: []where{{name: a.Place}},
		}
		if f.Asks {
			f.Says = "Gusts of " + number(*w.Gust) + " mph: were they read before panel " + a.Place + " was unrolled?"
			f.Settle = "Say when they were read, or when it was unrolled."
		}
		report(f)
	}
}
