package web

import (
	"fmt"
	"math"
	"slices"
	"strconv"
)

// Stamp is a time of a day: minutes after its midnight (more than 1440 past the
// next one) and the time as printed.
type Stamp struct {
	Minute int
	Text   string // "11:50"
}

// Call is something that has to be begun or done by its time.
type Call struct {
	Name   string // "last cover"
	At     Stamp
	Strong bool // a heavier tick: tools down, off the roof
}

// DayLine is the day as one ruled bar, from its start to leaving, with its last
// calls and the present moment. The bar grows past Leaving when Now is later.
type DayLine struct {
	ID      string // tells several lines on one page apart
	Start   Stamp
	Leaving Stamp
	Now     Stamp // no red line when its text is empty
	Calls   []Call
	// StartInstant is Start in Unix milliseconds; 0 for a line that stands still.
	StartInstant int64
}

// end is the last minute the bar shows.
func (d DayLine) end() int {
	return max(d.Leaving.Minute, d.gone(), d.Start.Minute+1)
}

// gone is the minute up to which the day has passed.
func (d DayLine) gone() int {
	if d.Now.Text == "" {
		return d.Start.Minute
	}
	return max(d.Now.Minute, d.Start.Minute)
}

// part is where a minute lies on the bar, from 0 to 1.
func (d DayLine) part(minute int) float64 {
	span := float64(d.end() - d.Start.Minute)
	return min(max(float64(minute-d.Start.Minute)/span, 0), 1)
}

// calls are the calls in the order of their times.
func (d DayLine) calls() []Call {
	return slices.SortedStableFunc(slices.Values(d.Calls), func(a, b Call) int { return a.At.Minute - b.At.Minute })
}

// said is the line in words, for those who do not see it.
func (d DayLine) said() []string {
	said := []string{d.Start.Text + " start of the day"}
	for _, c := range d.calls() {
		said = append(said, c.At.Text+" "+c.Name)
	}
	if d.Now.Text != "" {
		said = append(said, d.Now.Text+" now")
	}
	return said
}

// A drawing of the line is made for a least width, in em. Across, places are
// parts of the width and text keeps its size, so a drawing whose labels are clear
// of each other at that width stays so at every greater one: distances between
// poles grow, labels do not. The stylesheet shows the drawing with the greatest
// least width that has room.
type drawing struct {
	Class string
	Least float64 // em, of the bar
	Right float64 // em free beside the bar's right end, for the last label
}

var drawings = [...]drawing{
	{Class: "day-wide", Least: 40, Right: 6.5},
	{Class: "day-phone", Least: 22},
	{Class: "day-least", Least: 17.5},
}

// Sizes in em of the drawing's own text size.
const (
	nameSize   = 0.9375
	timeSize   = 1.125
	nowSize    = 1.25
	hourSize   = 0.875
	flagGap    = 0.4 // between a pole and its label
	clear      = 0.5 // between a label and what is not its own
	barHeight  = 1.75
	aboveBar   = 0.5 // between the lowest label and the bar
	underBar   = 2.1
	mostRows   = 5
	searchStop = 20_000 // steps, after which labels go into a list instead
)

// label is a call's name and time, standing as a flag at its pole.
type label struct {
	Call
	X     float64 // part of the bar
	Row   int     // 0 is next to the bar
	Left  bool    // the label stands left of its pole
	Gone  bool
	width float64 // em, pole gap included
}

// sketch is one drawing with its labels placed.
type sketch struct {
	drawing
	OneLine bool // names and times on one line, else the time under the name
	Rows    int
	Labels  []label
	Listed  bool // no room for flags: the labels stand in a list under the bar
}

func (s sketch) rowHeight() float64 {
	if s.OneLine {
		return 1.5
	}
	return 2.5
}

func (s sketch) barTop() float64 { return float64(s.Rows)*s.rowHeight() + aboveBar }
func (s sketch) height() float64 { return s.barTop() + barHeight + underBar }

// poleTop is where a label's pole begins.
func (s sketch) poleTop(l label) float64 {
	if s.Listed {
		return s.barTop() - aboveBar
	}
	return float64(s.Rows-1-l.Row)*s.rowHeight() + 0.2
}

// sketchOf places the labels of the line for a drawing, in one line or two,
// whichever is lower; two when equal.
func sketchOf(d DayLine, to drawing) sketch {
	best := sketch{drawing: to, Listed: true}
	for _, oneLine := range []bool{false, true} {
		s := sketch{drawing: to, OneLine: oneLine}
		for _, c := range d.calls() {
			w := nameSize*textWidth(c.Name) + timeSize*textWidth(" "+c.At.Text)
			if !oneLine {
				w = max(nameSize*textWidth(c.Name), timeSize*textWidth(c.At.Text))
			}
			s.Labels = append(s.Labels, label{
				Call:  c,
				X:     d.part(c.At.Minute),
				Gone:  d.Now.Text != "" && c.At.Minute < d.Now.Minute,
				width: w + flagGap,
			})
		}
		if s.place() && (best.Listed || s.height() < best.height()) {
			best = s
		}
		if best.Listed {
			best.Labels = s.Labels
		}
	}
	return best
}

// place finds rows and sides so that no label meets another label or another's
// pole: the fewest rows, then the lowest labels. It reports whether it could.
func (s *sketch) place() bool {
	for rows := min(1, len(s.Labels)); rows <= mostRows; rows++ {
		s.Rows = rows
		search := search{sketch: s, best: math.MaxInt, steps: searchStop}
		search.from(0, 0)
		if search.found != nil {
			s.Labels = search.found
			return true
		}
		if rows >= len(s.Labels) {
			break
		}
	}
	s.Rows = 0
	return false
}

type search struct {
	*sketch
	found []label
	best  int // cost of found
	steps int
}

func (s *search) from(i, cost int) {
	if s.steps--; s.steps < 0 || cost >= s.best {
		return
	}
	if i == len(s.Labels) {
		s.found, s.best = slices.Clone(s.Labels), cost
		return
	}
	l := &s.Labels[i]
	for row := range s.Rows {
		for _, left := range []bool{false, true} {
			l.Row, l.Left = row, left
			if s.fits(i) {
				s.from(i+1, cost+row)
			}
		}
	}
}

// fits reports whether label i lies inside the drawing and is clear of the labels
// before it and of their poles.
func (s *search) fits(i int) bool {
	l := s.Labels[i]
	a, b := s.reach(l)
	if a < 0 || b > s.Least+s.Right {
		return false
	}
	for _, o := range s.Labels[:i] {
		if s.meet(l, o) {
			return false
		}
	}
	return true
}

// reach is how far a label and its pole go across, in em at the least width.
func (s sketch) reach(l label) (from, to float64) {
	x := l.X * s.Least
	if l.Left {
		return x - l.width, x
	}
	return x, x + l.width
}

func (s sketch) meet(l, o label) bool {
	if s.poleThrough(l, o) || s.poleThrough(o, l) {
		return true
	}
	if l.Row != o.Row {
		return false
	}
	a, b := s.reach(l)
	c, d := s.reach(o)
	if l.Left && !o.Left && b <= c || o.Left && !l.Left && d <= a {
		return false // back to back, with their poles between
	}
	return a < d+clear && c < b+clear
}

// poleThrough reports whether the pole of l comes too near the text of o.
func (s sketch) poleThrough(l, o label) bool {
	if l.Row < o.Row {
		return false
	}
	x := l.X * s.Least
	a, b := s.reach(o)
	if o.Left {
		return x > a-clear && x < b
	}
	return x > a && x < b+clear
}

// hours are the full hours to print under the bar, and the start of the day.
func (s sketch) hours(d DayLine) []hour {
	span := d.end() - d.Start.Minute
	step := 24 * 60
	for _, h := range []int{1, 2, 3, 4, 6, 12} {
		if float64(h*60)/float64(span)*s.Least >= 2.6 {
			step = h * 60
			break
		}
	}
	all := []hour{{X: 0, Text: d.Start.Text}}
	if d.Start.Minute%60 == 0 {
		all[0].Text = strconv.Itoa(d.Start.Minute / 60 % 24)
	}
	for m := (d.Start.Minute/60 + 1) * 60; m <= d.end(); m += 60 {
		h := hour{X: d.part(m)}
		before := all[0].X*s.Least + hourSize*textWidth(all[0].Text)
		if (m-(d.Start.Minute+59)/60*60)%step == 0 && h.X*s.Least-0.6 > before {
			h.Text = strconv.Itoa(m / 60 % 24)
		}
		all = append(all, h)
	}
	return all
}

// hour is a rule under the bar; Text is empty for a rule without a number.
type hour struct {
	X    float64
	Text string
}

// hidden reports whether the printed present moment stands where the hour would.
func (s sketch) hidden(d DayLine, h hour) bool {
	if d.Now.Text == "" {
		return false
	}
	w := nowSize*textWidth(d.Now.Text)/2 + hourSize*textWidth(h.Text)/2 + 0.3
	if h.X == 0 {
		w += hourSize * textWidth(h.Text) / 2
	}
	x := s.nowMiddle(d)
	return math.Abs(h.X*s.Least-x) < w
}

// nowMiddle is the middle of the printed present moment, in em at the least width.
func (s sketch) nowMiddle(d DayLine) float64 {
	half := nowSize * textWidth(d.Now.Text) / 2
	x := d.part(d.gone()) * s.Least
	switch s.nowAnchor(d) {
	case "start":
		return x + half
	case "end":
		return x - half
	}
	return x
}

// nowAnchor keeps the printed present moment beside the ends of the bar inside.
func (s sketch) nowAnchor(d DayLine) string {
	x, half := d.part(d.gone())*s.Least, nowSize*textWidth(d.Now.Text)/2
	switch {
	case x < half:
		return "start"
	case x > s.Least-half:
		return "end"
	}
	return "middle"
}

func anchor(left bool) string {
	if left {
		return "end"
	}
	return "start"
}

// shift moves a flag's text off its pole, for text of the given size.
func (l label) shift(size float64) string {
	if l.Left {
		return em(-flagGap / size)
	}
	return em(flagGap / size)
}

func em(x float64) string      { return strconv.FormatFloat(x, 'f', 3, 64) + "em" }
func percent(x float64) string { return fmt.Sprintf("%.2f%%", 100*x) }

// textWidth is how wide a text may be in the face at weight 700, in em: the
// advances of the face's own glyphs, with a twentieth to spare for the face that
// stands in until it has come.
func textWidth(text string) float64 {
	// Hundredths of an em of the characters from space to tilde, read off the
	// font file in static/fonts.
	const advances = "" +
		"\x1f\x1e\x27\x4d\x3d\x61\x49\x15\x22\x22\x31\x3c\x1b\x25\x1b\x2c" +
		"\x3f\x3f\x3f\x3f\x3f\x3f\x3f\x3f\x3f\x3f\x1b\x1b\x39\x3d\x39\x37" +
		"\x4e\x44\x40\x42\x45\x3c\x39\x48\x46\x2b\x38\x42\x37\x56\x48\x4b" +
		"\x3f\x4c\x41\x3d\x3d\x45\x40\x59\x45\x41\x3e\x22\x2c\x22\x3a\x28" +
		"\x1d\x37\x3c\x33\x3c\x38\x25\x3b\x39\x1e\x1a\x38\x20\x58\x39\x3a" +
		"\x3c\x3c\x26\x33\x26\x39\x35\x4a\x36\x34\x33\x26\x19\x26\x36"
	sum := 0.0
	for _, r := range text {
		if r >= ' ' && r <= '~' {
			sum += float64(advances[r-' ']) / 100
		} else {
			sum++
		}
	}
	return sum * 1.05
}

// id tells the hatch of one drawing apart from the others on the page.
func (s sketch) id(d DayLine) string { return "hatch-" + d.ID + "-" + s.Class }
