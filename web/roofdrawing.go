package web

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// RoofDrawing is a day's work on the roof plan: what was done that day in ink,
// what was there before in gray, what is planned in dashes. Its units are those
// of its viewBox, and text and marks are as large as they should be where it is
// shown about 1000 units to the width of a page.
type RoofDrawing struct {
	ID            string // tells several on one page apart
	Width, Height float64
	Outline       string // points
	Areas         []DrawnArea
	Lines         []DrawnLine
	Marks         []DrawnMark
	Labels        []DrawnLabel
	Details       []DrawnLabel
	Across, Up    DrawnMeasure
	Key           []DrawnKey
	Mark          float64  // how large marks are
	Said          []string // in words, for those who do not see it
}

// DrawnArea is a rectangle of the plan. Its class is what lies there: planned,
// laid, resting, stone, strip; new where it came that day.
type DrawnArea struct {
	Class      string
	X, Y, W, H float64
}

// DrawnLine is a part of a seam: made, new (made that day) or open.
type DrawnLine struct {
	Class          string
	X1, Y1, X2, Y2 float64
}

// DrawnMark is a mark of the trade around its middle.
type DrawnMark struct {
	Kind MarkKind
	Held bool
	X, Y float64
}

// DrawnLabel is a number or name with a word under it, around its middle.
type DrawnLabel struct {
	X, Y       float64
	Text, Word string
	Small      bool
	New        bool
	Turned     bool // reads upward
	Width      float64
}

// DrawnMeasure is a line with its length.
type DrawnMeasure struct {
	From, To, At float64
	Text         string
}

// DrawnKey explains a pattern or line of the drawing by its class, or a mark.
type DrawnKey struct {
	Class string
	Mark  MarkKind
	Held  bool
	Words string
}

// Sizes in units of the drawing.
const (
	drawnWide   = 1000.0
	drawnHigh   = 470.0 // of the roof itself, at most
	drawnLeft   = 18.0
	drawnRight  = 74.0
	drawnTop    = 26.0
	drawnBottom = 58.0
	drawnMark   = 24.0 // at most; less on a roof of many small panels
	leastMark   = 13.0
	drawnNumber = 23.0
	drawnWord   = 15.5
)

// DrawRoof draws the roof as a day left it. owed are covers that nobody rolled
// yet. It is false where there is no plan to draw.
func DrawRoof(id string, d *daylog.Day, owed []daylog.Place) (RoofDrawing, bool) {
	layout := d.Roof.Layout()
	corners := d.Setup.Plan.Outline
	if len(layout.Panels) == 0 || len(corners) == 0 {
		return RoofDrawing{}, false
	}
	dr := drawer{day: d, layout: layout, out: RoofDrawing{ID: id}, used: map[string]bool{}, laid: map[string]daylog.Panel{}}
	for _, p := range d.Roof.Panels {
		dr.laid[p.Name] = p
	}
	dr.fit(corners)
	dr.panels()
	dr.seams()
	dr.spots(owed)
	for _, p := range d.Setup.Details {
		x, y := dr.at(roofplan.Point{X: p.X, Y: p.Y})
		dr.out.Details = append(dr.out.Details, DrawnLabel{X: x, Y: y, Text: p.Name})
	}
	dr.keys()
	return dr.out, true
}

type drawer struct {
	day    *daylog.Day
	layout *roofplan.Layout
	out    RoofDrawing
	scale  float64 // units to the inch
	box    roofplan.Rect
	used   map[string]bool // classes and marks that the key explains
	laid   map[string]daylog.Panel
}

// fit finds the scale, and draws the outline with its measures.
func (dr *drawer) fit(corners []roofplan.Point) {
	lo, hi := corners[0], corners[0]
	for _, c := range corners {
		lo.X, lo.Y, hi.X, hi.Y = min(lo.X, c.X), min(lo.Y, c.Y), max(hi.X, c.X), max(hi.Y, c.Y)
	}
	dr.box = roofplan.Rect{Min: lo, Max: hi}
	w, h := float64(hi.X-lo.X), float64(hi.Y-lo.Y)
	if w <= 0 || h <= 0 {
		w, h = max(w, 1), max(h, 1)
	}
	dr.scale = min((drawnWide-drawnLeft-drawnRight)/w, drawnHigh/h)
	o := &dr.out
	var widths []roofplan.Length // a narrow sheet at the end of a row makes nothing small
	for _, p := range dr.layout.Panels {
		widths = append(widths, min(p.Width, p.Length))
	}
	slices.Sort(widths)
	o.Mark = max(leastMark, min(drawnMark, float64(widths[len(widths)/2])*dr.scale*0.4))
	o.Width = dr.scale*w + drawnLeft + drawnRight
	o.Height = dr.scale*h + drawnTop + drawnBottom
	var points []string
	for _, c := range corners {
		x, y := dr.at(c)
		points = append(points, units(x)+","+units(y))
	}
	o.Outline = strings.Join(points, " ")
	left, top := dr.at(roofplan.Point{X: lo.X, Y: hi.Y})
	right, bottom := dr.at(roofplan.Point{X: hi.X, Y: lo.Y})
	o.Across = DrawnMeasure{left, right, bottom + 34, (hi.X - lo.X).String()}
	o.Up = DrawnMeasure{top, bottom, right + 24, (hi.Y - lo.Y).String()}
}

// at is where a point of the plan is drawn.
func (dr *drawer) at(p roofplan.Point) (x, y float64) {
	return drawnLeft + float64(p.X-dr.box.Min.X)*dr.scale, drawnTop + float64(dr.box.Max.Y-p.Y)*dr.scale
}

func (dr *drawer) area(class string, r roofplan.Rect) {
	x, y := dr.at(roofplan.Point{X: r.Min.X, Y: r.Max.Y})
	a := DrawnArea{class, x, y, float64(r.Max.X-r.Min.X) * dr.scale, float64(r.Max.Y-r.Min.Y) * dr.scale}
	if a.W > 0 && a.H > 0 {
		dr.out.Areas = append(dr.out.Areas, a)
		dr.used[class] = true
	}
}

// partOf is the part of a panel between two lengths along it; to 0 is all of it.
func partOf(p roofplan.Panel, from, to roofplan.Length) roofplan.Rect {
	r := p.Rect
	if to == 0 {
		return r
	}
	if p.Axis == roofplan.North {
		r.Min.Y, r.Max.Y = r.Min.Y+from, min(r.Min.Y+to, r.Max.Y)
	} else {
		r.Min.X, r.Max.X = r.Min.X+from, min(r.Min.X+to, r.Max.X)
	}
	return r
}

// stripOf is the leading strip of a panel.
func (dr *drawer) stripOf(p roofplan.Panel, width roofplan.Length) roofplan.Rect {
	r := p.Rect
	switch side, _ := dr.layout.LeadingSide(p.Name); side {
	case roofplan.West:
		r.Max.X = r.Min.X + width
	case roofplan.East:
		r.Min.X = r.Max.X - width
	case roofplan.South:
		r.Max.Y = r.Min.Y + width
	case roofplan.North:
		r.Min.Y = r.Max.Y - width
	}
	return r
}

func (dr *drawer) panels() {
	// Laid sheets go over what is planned, the newest on top of the ones it laps.
	for _, placed := range dr.layout.Panels {
		if _, laid := dr.laid[placed.Name]; !laid {
			dr.area("planned", placed.Rect)
			dr.label(placed, "planned", false)
		}
	}
	for _, placed := range dr.layout.Panels {
		if p, laid := dr.laid[placed.Name]; laid {
			dr.panel(placed, p)
		}
	}
}

func (dr *drawer) panel(placed roofplan.Panel, p daylog.Panel) {
	today := p.Day == dr.day.Date
	before, was := dr.day.Opening.Panel(p.Name)
	dr.area("laid", placed.Rect)
	word, stone, stoned := "laid", false, false
	switch {
	case p.Day == "": // finished before the record begins
		dr.area("stone", placed.Rect)
		stone = true
	default:
		for i, s := range p.Stone {
			class := "stone"
			if !was || i >= len(before.Stone) {
				class, stoned = "stone new", true
			}
			dr.area(class, partOf(placed, s.From, s.To))
			stone = true
		}
	}
	if s := p.Strip; s != nil {
		r := dr.stripOf(placed, s.Width)
		switch {
		case !s.Filled:
			dr.area("laid", r)
			if s.Temp {
				dr.area("strip", r)
			}
		case was && before.Strip != nil && !before.Strip.Filled:
			dr.area("laid", r)
			dr.area("stone new", r)
			stoned = true
		default:
			dr.area("stone", r)
		}
	}
	if p.Temp && !stone {
		dr.area("strip", placed.Rect)
	}
	switch {
	case today && stoned:
		word = "laid, stone"
	case today:
		word = "laid"
	case stoned && len(p.Stone) > len(before.Stone):
		word = "stone"
	case stone:
		word = "before"
	}
	dr.label(placed, word, today)
	said := "Panel " + p.Name + ": "
	switch {
	case today && stoned:
		said += "laid and covered with stone this day"
	case today:
		said += "laid this day"
	case stoned:
		said += "stone this day"
	default:
		return
	}
	dr.out.Said = append(dr.out.Said, said)
}

// label puts a panel's number and word in its middle, as far as they fit.
func (dr *drawer) label(placed roofplan.Panel, word string, today bool) {
	r := placed.Rect
	r.Min.X, r.Min.Y = max(r.Min.X, dr.box.Min.X), max(r.Min.Y, dr.box.Min.Y)
	r.Max.X, r.Max.Y = min(r.Max.X, dr.box.Max.X), min(r.Max.Y, dr.box.Max.Y)
	w, h := float64(r.Max.X-r.Min.X)*dr.scale, float64(r.Max.Y-r.Min.Y)*dr.scale
	x, y := dr.at(roofplan.Point{X: r.Min.X, Y: r.Max.Y})
	l := DrawnLabel{X: x + w/2, Y: y + h*0.45, Text: placed.Name, Word: word, New: today}
	const aside = 26 // seams and marks stand at the sides
	if textWidth(l.Word)*drawnWord+aside > w {
		l.Word, _, _ = strings.Cut(word, ",")
	}
	if textWidth(l.Word)*drawnWord+aside > w || h < drawnNumber+drawnWord+aside {
		l.Word = ""
	}
	l.Width = max(textWidth(l.Text)*drawnNumber, textWidth(l.Word)*drawnWord) + 12
	if l.Width+4 > w {
		l.Small, l.Width = true, textWidth(l.Text)*drawnWord+5
	}
	if l.Width > w+4 || h < drawnWord {
		return
	}
	dr.out.Labels = append(dr.out.Labels, l)
}

func (dr *drawer) seams() {
	for _, s := range dr.layout.Seams {
		a, laidA := dr.laid[s.A]
		b, laidB := dr.laid[s.B]
		if !laidA || !laidB {
			continue
		}
		if a.Day == "" && b.Day == "" { // finished before the record begins
			for _, span := range s.Spans {
				dr.seam("made", s, daylog.Part{From: span.From, To: span.To})
			}
			continue
		}
		before, now := dr.day.Opening.Seam(s.Name).Closed(), dr.day.Roof.Seam(s.Name).Closed()
		var fresh roofplan.Length
		var longest daylog.Part
		for _, span := range s.Spans {
			all := daylog.Part{From: span.From, To: span.To}
			for _, p := range daylog.Less(all, now) {
				dr.seam("open", s, p)
			}
			for _, p := range before {
				dr.seam("made", s, p)
			}
			for _, p := range now {
				for _, p := range daylog.Less(p, before) {
					dr.seam("made new", s, p)
					fresh += p.Length()
					if p.Length() > longest.Length() {
						longest = p
					}
				}
			}
		}
		if fresh > 0 {
			feet := trimNumber(float64(int(fresh.Feet()*10+0.5)) / 10)
			dr.out.Said = append(dr.out.Said, "Seam "+s.Name+": "+feet+" ft made this day")
			x, y := dr.at(s.Point(longest.From + longest.Length()*0.74))
			l := DrawnLabel{X: x, Y: y, Text: s.Name + "  " + feet + " ft", New: true}
			l.Width = textWidth(l.Text) * drawnWord
			if l.Width < float64(longest.Length())*dr.scale*0.5 {
				if s.Axis == roofplan.North {
					l.X, l.Turned = x-13, true
				} else {
					l.Y = y - 13
				}
				l.Small = true
				dr.out.Labels = append(dr.out.Labels, l)
			}
		}
	}
}

func (dr *drawer) seam(class string, s roofplan.Seam, p daylog.Part) {
	x1, y1 := dr.at(s.Point(p.From))
	x2, y2 := dr.at(s.Point(p.To))
	dr.used[class] = true
	if class != "made" {
		dr.out.Lines = append(dr.out.Lines, DrawnLine{class, x1, y1, x2, y2})
		return
	}
	const beside = 2.2
	dx, dy := beside, 0.0
	if s.Axis != roofplan.North {
		dx, dy = 0, beside
	}
	dr.out.Lines = append(dr.out.Lines, DrawnLine{class, x1 - dx, y1 - dy, x2 - dx, y2 - dy}, DrawnLine{class, x1 + dx, y1 + dy, x2 + dx, y2 + dy})
}

// spots draws covers that are owed, wait, or were treated that day, and where
// stone is held back. Vertical splices stand in the tables.
func (dr *drawer) spots(owed []daylog.Place) {
	back := dr.day.Roof.Back
	mark := func(kind MarkKind, p daylog.Place) {
		if p.What != daylog.Cover {
			return
		}
		pt, ok := dr.day.Roof.Point(p)
		if !ok {
			return
		}
		x, y := dr.at(pt)
		held := slices.ContainsFunc(back, func(h daylog.Held) bool { return h.On == p.On && h.What == p.What && h.At == p.At })
		dr.out.Marks = append(dr.out.Marks, DrawnMark{kind, held, x, y})
		dr.used[string(kind)] = true
		dr.used["held"] = dr.used["held"] || held
	}
	for _, p := range owed {
		mark(MarkCoverOwed, p)
	}
	for _, s := range dr.day.Roof.Spots {
		switch {
		case !s.Treated.IsZero():
			mark(MarkTreated, s.Place)
		case !s.Rolled.IsZero():
			mark(MarkWaiting, s.Place)
		}
	}
	for _, h := range back { // kept back from what is nowhere else in the drawing
		pt, ok := dr.day.Roof.Point(h.Place)
		x, y := dr.at(pt)
		if ok && !slices.ContainsFunc(dr.out.Marks, func(m DrawnMark) bool { return m.X == x && m.Y == y }) {
			dr.out.Marks = append(dr.out.Marks, DrawnMark{MarkNone, true, x, y})
			dr.used["held"] = true
		}
	}
}

// keys lists what the drawing uses, in the order of the work.
func (dr *drawer) keys() {
	for _, k := range []DrawnKey{
		{Class: "planned", Words: "planned"},
		{Class: "made new", Words: "seam made this day"},
		{Class: "made", Words: "seam made before"},
		{Class: "open", Words: "seam not made"},
		{Class: "stone new", Words: "stone this day"},
		{Class: "stone", Words: "stone before"},
		{Class: "strip", Words: "temporary ballast"},
		{Mark: MarkCoverOwed, Words: "cover owed"},
		{Mark: MarkWaiting, Words: "cover waits for treatment"},
		{Mark: MarkTreated, Words: "cover treated"},
		{Class: "held", Words: "stone held back"},
	} {
		if dr.used[cmp.Or(k.Class, string(k.Mark))] {
			if k.Class == "held" {
				k = DrawnKey{Mark: MarkHeldBack, Words: k.Words}
			}
			dr.out.Key = append(dr.out.Key, k)
		}
	}
}

// units prints a place in the drawing.
func units(x float64) string { return strconv.FormatFloat(x, 'f', 1, 64) }

func (d RoofDrawing) viewBox() string { return fmt.Sprintf("0 0 %.0f %.0f", d.Width, d.Height) }

// pebbles are rows of dashes with round ends over an area: drawn twice, once
// thick and once thin, they are ballast. A pattern would be drawn as dots of a
// picture when it is printed; these are lines.
func (a DrawnArea) pebbles() string {
	const row, inset = 8.5, 4.5
	var b strings.Builder
	for i, y := 0, a.Y+inset; y <= a.Y+a.H-inset+0.1; i, y = i+1, y+row {
		from, to := a.X+inset+float64(i%3)*4, a.X+a.W-inset
		if from < to {
			fmt.Fprintf(&b, "M%s %sH%s", units(from), units(y), units(to))
		}
	}
	return b.String()
}

// crosses are temporary ballast over an area.
func (a DrawnArea) crosses() string {
	const apart, arm = 17.0, 2.75
	across, down := max(1, math.Floor(a.W/apart)), max(1, math.Floor(a.H/apart))
	var b strings.Builder
	for i := range int(across) {
		for j := range int(down) {
			x, y := a.X+(float64(i)+0.5)*a.W/across, a.Y+(float64(j)+0.5)*a.H/down
			fmt.Fprintf(&b, "M%s %sl5.500 5.500m0-5.500-5.500 5.500", units(x-arm), units(y-arm))
		}
	}
	return b.String()
}

// is reports whether an area is of a sort, new or not.
func (a DrawnArea) is(sort string) bool {
	name, _, _ := strings.Cut(a.Class, " ")
	return name == sort
}
