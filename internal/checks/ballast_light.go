package checks

import (
	"math"
	"slices"
	"strings"

	"duskline/internal/daylog"
)

// Measured as ballasting proceeds, kept within 10 % of the load asked for.
var tolerance = Source{Where: "UFC 3-330-02A 6-4.e(4)", Status: Published}

var (
	lightPart = Limit{Name: "ballast-light.under_percent", Label: "Ballast under its rate", Default: 10, Unit: "%", Source: tolerance, Most: true}
	lightArea = Limit{Name: "ballast-light.area_sqft", Label: "Area over which ballast is judged, at least", Default: 500, Unit: "sq ft", Source: practice, Most: true}
)

var ballastLight = &Check{
	ID:       "ballast-light",
	Title:    "Too little ballast",
	Why:      "Ballast is all that holds the sheet down.",
	Settle:   "Bring more, or correct the weight or the area; or take back that it is done.",
	Source:   tolerance,
	Severity: Today,
	When:     Live | ToolsDown,
	Absence:  true,
	Plain:    true,
	Limits:   []Limit{lightPart, lightArea},
	Run:      runBallastLight,
}

// load is the stone of today on panels that were spread together.
type load struct {
	panels []string
	strips []string
	pounds int
	area   float64 // sq ft to 0.1
	back   int     // places that it was kept from
	done   bool    // declared
	loose  bool    // none of it are pavers
	least  float64 // psf asked for, of what was named; 0: the job names none
	most   float64
	lines  []*daylog.Line
	// mixed says that stone of an earlier day lies there too, whose weight
	// nobody can tell apart.
	mixed bool
}

// loads parts the day's stone by the panels that it lies on: entries that share
// a panel weigh together.
func (s *Situation) loads() []*load {
	var out []*load
	for l, b := range daylog.Each[*daylog.StoneSpread](s.Day) {
		into := &load{loose: true}
		kept := []*load{}
		for _, have := range out {
			if have.shares(b) {
				into.join(have)
			} else {
				kept = append(kept, have)
			}
		}
		into.join(&load{panels: panelsOf(b), strips: b.Strips, pounds: b.Pounds, back: len(b.Back), done: b.Done,
			loose: b.Material != "pavers" && b.Material != "interlocking", lines: []*daylog.Line{l}})
		for _, a := range s.approved(b) {
			if a.Rate > 0 {
				if into.least == 0 || a.Rate < into.least {
					into.least = a.Rate
				}
				into.most = max(into.most, a.Rate)
			}
		}
		out = append(kept, into)
	}
	for _, l := range out {
		l.area = s.ballasted(l)
	}
	return out
}

func panelsOf(b *daylog.StoneSpread) []string {
	var names []string
	for _, pp := range b.Panels {
		names = append(names, pp.Panel)
	}
	return names
}

func (l *load) shares(b *daylog.StoneSpread) bool {
	for _, name := range l.panels {
		for _, pp := range b.Panels {
			if pp.Panel == name {
				return true
			}
		}
	}
	return false
}

func (l *load) join(o *load) {
	add := func(to *[]string, names []string) {
		for _, name := range names {
			if !slices.Contains(*to, name) {
				*to = append(*to, name)
			}
		}
	}
	add(&l.panels, o.panels)
	add(&l.strips, o.strips)
	l.pounds, l.back, l.done, l.loose = l.pounds+o.pounds, l.back+o.back, l.done || o.done, l.loose && o.loose
	if l.least == 0 || o.least > 0 && o.least < l.least {
		l.least = o.least
	}
	l.most = max(l.most, o.most)
	l.lines = append(l.lines, o.lines...)
}

// ballasted is the area that stone lies on: what several entries name is
// counted once.
func (s *Situation) ballasted(l *load) float64 {
	layout := s.Roof.Layout()
	area := 0.0
	for _, name := range l.panels {
		var done []daylog.Part
		strip := false // left open by all of them
		less := 0.0
		for _, line := range l.lines {
			for _, pp := range line.Body.(*daylog.StoneSpread).Panels {
				if pp.Panel != name {
					continue
				}
				part := pp.Part
				if placed, ok := layout.Panel(name); ok && part.To == 0 {
					part.To = placed.Length
				}
				if was, ok := s.Day.Opening.Panel(name); ok && len(was.Stone) > 0 {
					placed, _ := layout.Panel(name)
					for _, earlier := range along(was.Stone, placed) {
						l.mixed = l.mixed || part.Overlap(earlier) > near
					}
				}
				for _, gap := range part.Less(done) {
					area += layout.Net(name, gap.From, gap.To)
				}
				done = append(done, part)
				if w := layout.Strip(name, pp.Less); !strip || w < less {
					strip, less = true, w
				}
			}
		}
		area -= less
	}
	for _, name := range l.strips {
		if p := s.stands().panels[name]; p != nil && p.Strip != nil {
			area += layout.Strip(name, p.Strip.Width)
		}
	}
	return tenth(max(0, area))
}

func (l *load) on() string {
	if len(l.panels) == 0 {
		return "the strip of panel " + daylog.List(l.strips)
	}
	if len(l.panels) == 1 {
		return "panel " + l.panels[0]
	}
	return "panels " + daylog.List(l.panels)
}

func (l *load) finding(id string) Finding {
	f := Finding{
		Key:   id + " " + strings.Join(append(l.panels, l.strips...), " "),
		Place: l.on(),
		Since: l.lines[len(l.lines)-1].End(),
		Seen:  number(float64(l.pounds)) + " lb on " + number(l.area) + " sq ft, " + hundredth(float64(l.pounds)/l.area) + " psf",
	}
	for _, line := range l.lines {
		f.Entry = append(f.Entry, line.Root)
	}
	for _, name := range l.panels {
		f.places = append(f.places, where{name: name})
	}
	return f
}

// hundredth prints a rate: "9.87".
func hundredth(v float64) string {
	whole, part := math.Modf(math.Round(v*100) / 100)
	text := number(whole)
	if n := int(math.Round(part * 100)); n > 0 {
		text += "." + string(rune('0'+n/10)) + strings.TrimSuffix(string(rune('0'+n%10)), "0")
	}
	return text
}

func runBallastLight(s *Situation, report func(Finding)) {
	for _, l := range s.loads() {
		if !l.done || l.mixed || l.pounds == 0 || l.least == 0 || l.area < s.Limit(lightArea) {
			continue
		}
		// What was kept back takes no stone. Weights compare in whole pounds.
		area := max(0, l.area-s.Limit(heldBackArea)*float64(l.back))
		least := int(math.Round(area * l.least * (1 - s.Limit(lightPart)/100)))
		if l.pounds >= least {
			continue
		}
		f := l.finding("ballast-light")
		f.Says = upper(l.on()) + ": " + number(float64(l.pounds)) + " lb are too little for " + number(l.area) + " sq ft at " + hundredth(l.least) + " psf"
		f.Limit = number(float64(least)) + " lb, " + number(s.Limit(lightPart)) + " % under the rate"
		f.Source = lightPart.Source
		f.Answer = Answer{Label: "Stone", Kind: "stone", Fields: map[string]any{"panels": l.lines[len(l.lines)-1].Body.(*daylog.StoneSpread).Panels}}
		report(f)
	}
}
