package office

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
	"duskline/web"
)

// planRows is how many rows of panels the form of a plan has.
const planRows = 6

// mostSheets is more than a row of panels holds.
const mostSheets = 200

// PlannerView is a form of the set-up beside what it comes to, which is drawn
// anew while it is typed.
type PlannerView struct {
	Frame web.Frame
	Form  web.Form
	Drawn Drawn
	More  []web.Action
}

// Drawn is what a form comes to.
type Drawn struct {
	Picture *PlanDrawing // nil while nothing can be drawn
	Facts   []web.Fact
	Says    []string // what is wrong, or against a rule
	Notes   []string
}

// PlanDrawing is a layout as a picture, in feet, north up.
type PlanDrawing struct {
	Box    string // the picture's own box
	Sides  []DrawnSide
	Sheets []DrawnSheet
	Seams  []DrawnLine
	Things []DrawnThing
	Says   string
}

// DrawnSide is a side of the outline; Width is that of its line, in pixels.
type DrawnSide struct {
	DrawnLine
	Width string
}

// DrawnSheet is a panel: its corner and size, and its number: where it stands
// and how large.
type DrawnSheet struct{ Name, X, Y, Width, Height, TextX, TextY, Size string }

// DrawnLine is a line, such as the middle of a seam.
type DrawnLine struct{ X1, Y1, X2, Y2 string }

// DrawnThing is a curb as a rectangle, or a pipe or drain as a point.
type DrawnThing struct{ Name, X, Y, Width, Height, R, TextX, TextY, Size string }

var sides = []struct{ key, label string }{{"north", "North"}, {"east", "East"}, {"south", "South"}, {"west", "West"}}

// planTyped is what the form of a plan shows first: the plan in force as far as
// it was made of what this form asks.
func planTyped(p roofplan.Plan) url.Values {
	t := url.Values{"shape": {"rectangle"}, "corner": {"north-east"}, "row 1 lap": {"5"}, "row 1 toward": {"east"}}
	for _, s := range sides {
		t.Set(s.key, string(roofplan.Parapet))
		t.Set(s.key+" turn-up", "18 in")
	}
	var far roofplan.Point
	for _, c := range p.Outline {
		far.X, far.Y = max(far.X, c.X), max(far.Y, c.Y)
	}
	if len(p.Outline) > 0 {
		t.Set("wide", far.X.String())
		t.Set("deep", far.Y.String())
	}
	if len(p.Outline) == 6 {
		t.Set("shape", "l")
		for i, c := range p.Outline { // the inner corner lies on no far side
			if c.X != 0 && c.X != far.X && c.Y != 0 && c.Y != far.Y {
				before, after := p.Outline[(i+5)%6], p.Outline[(i+1)%6]
				ns, ew := "south", "west"
				if before.Y == far.Y || after.Y == far.Y {
					ns = "north"
				}
				if before.X == far.X || after.X == far.X {
					ew = "east"
				}
				t.Set("corner", ns+"-"+ew)
				t.Set("less wide", map[bool]roofplan.Length{true: far.X - c.X, false: c.X}[ew == "east"].String())
				t.Set("less deep", map[bool]roofplan.Length{true: far.Y - c.Y, false: c.Y}[ns == "north"].String())
			}
		}
	}
	for i, e := range p.Edges {
		if side := facing(p.Outline, i); side != "" {
			t.Set(side, string(cmp.Or(e.Kind, roofplan.Open)))
			t.Set(side+" turn-up", e.TurnUp.String())
		}
	}
	for i, r := range p.Rows {
		if i == planRows || len(r.Sheets) == 0 {
			break
		}
		set := func(name, value string) { t.Set(fmt.Sprintf("row %d %s", i+1, name), value) }
		set("first", r.Sheets[0].Name)
		set("count", strconv.Itoa(len(r.Sheets)))
		set("width", r.Sheets[0].Width.String())
		if last := r.Sheets[len(r.Sheets)-1].Width; last != r.Sheets[0].Width {
			set("last", last.String())
		}
		set("length", r.Length.String())
		set("lap", r.Lap.String())
		set("west", r.Corner.X.String())
		set("south", r.Corner.Y.String())
		set("toward", string(cmp.Or(r.Toward, roofplan.East)))
	}
	return t
}

// facing is the compass side that a side of an upright outline faces.
func facing(outline []roofplan.Point, i int) string {
	if i >= len(outline) {
		return ""
	}
	p, q := outline[i], outline[(i+1)%len(outline)]
	switch {
	case q.X > p.X:
		return "south"
	case q.X < p.X:
		return "north"
	case q.Y > p.Y:
		return "east"
	}
	return "west"
}

// readPlan makes a plan of what was typed. What makes no roof, or panels that
// do not fit, is told by the name of a field.
func readPlan(t url.Values) (roofplan.Plan, *roofplan.Layout, map[string]string) {
	wrong := map[string]string{}
	say := func(name, words string) {
		if wrong[name] == "" {
			wrong[name] = words
		}
	}
	length := func(name string, signed bool) roofplan.Length {
		read := roofplan.ParseLength
		if signed {
			read = roofplan.ParseSigned
		}
		l, err := read(t.Get(name), roofplan.Foot)
		if err != nil {
			say(name, web.UpperFirst(err.Error())+".")
		}
		return l
	}
	size := func(name string) roofplan.Length {
		l := length(name, false)
		if l == 0 {
			say(name, "This is no length. Write it as in 62'-6 1/2\".")
		}
		return l
	}
	var p roofplan.Plan
	w, d := size("wide"), size("deep")
	corners := []roofplan.Point{{}, {X: w}, {X: w, Y: d}, {Y: d}}
	switch t.Get("shape") {
	case "rectangle":
	case "l":
		a, b := size("less wide"), size("less deep")
		if w > 0 && a >= w {
			say("less wide", "This takes away the whole width of "+w.String()+". Make it less.")
		}
		if d > 0 && b >= d {
			say("less deep", "This takes away the whole depth of "+d.String()+". Make it less.")
		}
		switch t.Get("corner") {
		case "north-west":
			corners = []roofplan.Point{{}, {X: w}, {X: w, Y: d}, {X: a, Y: d}, {X: a, Y: d - b}, {Y: d - b}}
		case "south-east":
			corners = []roofplan.Point{{}, {X: w - a}, {X: w - a, Y: b}, {X: w, Y: b}, {X: w, Y: d}, {Y: d}}
		case "south-west":
			corners = []roofplan.Point{{X: a}, {X: w}, {X: w, Y: d}, {Y: d}, {Y: b}, {X: a, Y: b}}
		case "north-east":
			corners = []roofplan.Point{{}, {X: w}, {X: w, Y: d - b}, {X: w - a, Y: d - b}, {X: w - a, Y: d}, {Y: d}}
		default:
			say("corner", "Say which corner is missing.")
		}
	default:
		say("shape", "Say which shape the roof has.")
	}
	p.Outline = corners
	up := map[string]roofplan.Length{}
	for _, s := range sides {
		if t.Get(s.key+" turn-up") != "" {
			l, err := roofplan.ParseLength(t.Get(s.key+" turn-up"), roofplan.Inch)
			if err != nil {
				say(s.key+" turn-up", web.UpperFirst(err.Error())+".")
			}
			up[s.key] = l
		}
	}
	for i := range corners {
		side := facing(corners, i)
		kind := roofplan.EdgeKind(t.Get(side))
		switch kind {
		case roofplan.Parapet, roofplan.Wall, roofplan.Open:
		default:
			say(side, "Say what stands at this side.")
		}
		p.Edges = append(p.Edges, roofplan.Edge{Kind: kind, TurnUp: up[side]})
	}
	next := 1 // number of the panel after those read so far
	for i := range planRows {
		name := func(what string) string { return fmt.Sprintf("row %d %s", i+1, what) }
		number := func(what string, usual, most int, words string) int {
			text := strings.TrimSpace(t.Get(name(what)))
			if text == "" {
				return usual
			}
			n, err := strconv.Atoi(text)
			if err != nil || n < min(usual, 1) || n > most {
				say(name(what), words)
				return 0
			}
			return n
		}
		if t.Get(name("first")) == "" && t.Get(name("count")) == "" && t.Get(name("width")) == "" {
			continue
		}
		row := roofplan.Row{Toward: roofplan.Direction(cmp.Or(t.Get(name("toward")), string(roofplan.East)))}
		along := row.Toward == roofplan.East || row.Toward == roofplan.West // the row runs, so the panels lie across it
		if !along && row.Toward != roofplan.North && row.Toward != roofplan.South {
			say(name("toward"), "Say where the next panel lies.")
		}
		// From turn-up to turn-up, along the row and along its panels.
		reach, length1 := up["west"]+w+up["east"], up["south"]+d+up["north"]
		if !along {
			reach, length1 = length1, reach
		}
		row.Length = length1
		if t.Get(name("length")) != "" {
			row.Length = size(name("length"))
		}
		width := size(name("width"))
		lap, err := roofplan.ParseLength(t.Get(name("lap")), roofplan.Inch)
		if err != nil {
			say(name("lap"), web.UpperFirst(err.Error())+".")
		}
		row.Lap = lap
		stagger := roofplan.Length(0)
		if t.Get(name("stagger")) != "" {
			stagger = length(name("stagger"), true)
		}
		row.Corner = begins(p.Rows, row, w, d, up, stagger)
		for which, at := range map[string]*roofplan.Length{"west": &row.Corner.X, "south": &row.Corner.Y} {
			if t.Get(name(which)) != "" {
				*at = length(name(which), true)
			}
		}
		first := number("first", next, 99_999, "The first panel has a number, as in 1.")
		count := number("count", 0, mostSheets, fmt.Sprintf("A row has 1 to %d panels.", mostSheets))
		last := width
		if t.Get(name("last")) != "" {
			last = size(name("last"))
		}
		if strings.TrimSpace(t.Get(name("count"))) == "" && width > lap && w > 0 && d > 0 && wrong[name("lap")] == "" {
			if count, last = fills(reach-max(0, stagger), width, lap); count > mostSheets {
				say(name("width"), fmt.Sprintf("With this width the row would have %d panels; %d are the most.", count, mostSheets))
				count = 0
			}
		}
		if count > 1 && (lap == 0 || lap >= min(width, last)) && width > 0 && wrong[name("lap")] == "" {
			say(name("lap"), "Panels side by side lap by more than nothing and less than their width.")
		}
		for n := range count {
			s := roofplan.Sheet{Name: strconv.Itoa(first + n), Width: width}
			if n == count-1 {
				s.Width = last
			}
			row.Sheets = append(row.Sheets, s)
		}
		next = first + count
		p.Rows = append(p.Rows, row)
	}
	if len(p.Rows) == 0 {
		say("row 1 width", "Write at least one row of panels.")
	}
	if len(wrong) > 0 {
		return p, nil, wrong
	}
	layout, err := p.Lay()
	if err != nil {
		for _, one := range strings.Split(err.Error(), "\n") {
			wrong[""] = strings.TrimSpace(wrong[""] + " " + web.UpperFirst(one) + ".")
		}
		return p, nil, wrong
	}
	n := 0
	for i := range planRows {
		if n == len(p.Rows) {
			break
		}
		name := func(what string) string { return fmt.Sprintf("row %d %s", i+1, what) }
		if t.Get(name("first")) == "" && t.Get(name("count")) == "" && t.Get(name("width")) == "" {
			continue
		}
		for _, s := range p.Rows[n].Sheets {
			panel, _ := layout.Panel(s.Name)
			if words := misfit(layout, panel, w, d, up); words != "" {
				say(name("width"), words)
			}
		}
		n++
	}
	return p, layout, wrong
}

// begins is where a row begins unless it is said: the first on the turn-ups, a
// further one where the row before ends, lapped like its panels and staggered.
func begins(before []roofplan.Row, row roofplan.Row, w, d roofplan.Length, up map[string]roofplan.Length, stagger roofplan.Length) roofplan.Point {
	at := roofplan.Point{X: -up["west"], Y: -up["south"]}
	switch row.Toward {
	case roofplan.West:
		at.X = w + up["east"]
	case roofplan.South:
		at.Y = d + up["north"]
	}
	along := row.Toward == roofplan.East || row.Toward == roofplan.West
	if n := len(before); n > 0 && (before[n-1].Toward == roofplan.East || before[n-1].Toward == roofplan.West) == along {
		if last := before[n-1]; along {
			at.Y = last.Corner.Y + last.Length - row.Lap
		} else {
			at.X = last.Corner.X + last.Length - row.Lap
		}
	}
	switch row.Toward {
	case roofplan.West:
		at.X -= stagger
	case roofplan.North:
		at.Y += stagger
	case roofplan.South:
		at.Y -= stagger
	default:
		at.X += stagger
	}
	return at
}

// fills says how many panels reach over a length, and how wide the last is cut.
func fills(reach, width, lap roofplan.Length) (int, roofplan.Length) {
	if reach <= width {
		return 1, max(reach, 0)
	}
	n := int((reach-lap)/(width-lap)) + 1
	last := reach - roofplan.Length(n-1)*(width-lap)
	if last <= lap { // the panel before reaches the end
		n--
		last = width
	}
	return n, last
}

// misfit says why a panel does not lie on this roof; "" where it does. It may
// pass the angle change by the turn-up and no farther.
func misfit(l *roofplan.Layout, panel roofplan.Panel, w, d roofplan.Length, up map[string]roofplan.Length) string {
	r := panel.Rect
	for _, past := range []struct {
		side string
		by   roofplan.Length
	}{{"west", -r.Min.X}, {"south", -r.Min.Y}, {"east", r.Max.X - w}, {"north", r.Max.Y - d}} {
		if past.by > up[past.side] {
			return fmt.Sprintf("Panel %s reaches %s past the %s side, where the sheet turns up by %s.", panel.Name, past.by, past.side, up[past.side])
		}
	}
	for _, b := range l.Beyond(r) {
		return fmt.Sprintf("Panel %s reaches %s by %s into the corner that is missing, past the turn-up there. Make it shorter, or begin another row.", panel.Name, b.Max.X-b.Min.X, b.Max.Y-b.Min.Y)
	}
	if panel.Net == 0 {
		return "Panel " + panel.Name + " covers nothing of the roof."
	}
	return ""
}

// draw makes the picture of a layout and of what comes through it.
func draw(p roofplan.Plan, l *roofplan.Layout, details []daylog.Penetration) *PlanDrawing {
	var far, low, high roofplan.Point
	for _, c := range p.Outline {
		far.X, far.Y = max(far.X, c.X), max(far.Y, c.Y)
	}
	high = far
	for _, panel := range l.Panels {
		low.X, low.Y = min(low.X, panel.Rect.Min.X), min(low.Y, panel.Rect.Min.Y)
		high.X, high.Y = max(high.X, panel.Rect.Max.X), max(high.Y, panel.Rect.Max.Y)
	}
	at := func(ft float64) string { return strconv.FormatFloat(ft, 'f', 2, 64) }
	text := (high.X - low.X + high.Y - low.Y).Feet() / 45 // how high the words are
	margin := 1.6 * text                                  // where the names of narrow panels stand
	d := &PlanDrawing{
		Box:  strings.Join([]string{at(low.X.Feet() - margin), at(-high.Y.Feet() - margin), at((high.X - low.X).Feet() + 2*margin), at((high.Y - low.Y).Feet() + 2*margin)}, " "),
		Says: fmt.Sprintf("Roof %s from west to east and %s from south to north, with %s and %s. North is up.", far.X, far.Y, daylog.Count(len(l.Panels), "panel", "panels"), daylog.Count(len(l.Seams), "seam", "seams")),
	}
	for i, c := range p.Outline {
		to, kind := p.Outline[(i+1)%len(p.Outline)], roofplan.Open
		if i < len(p.Edges) {
			kind = p.Edges[i].Kind
		}
		d.Sides = append(d.Sides, DrawnSide{DrawnLine{at(c.X.Feet()), at(-c.Y.Feet()), at(to.X.Feet()), at(-to.Y.Feet())},
			map[roofplan.EdgeKind]string{roofplan.Wall: "8", roofplan.Parapet: "4"}[kind]})
	}
	for _, panel := range l.Panels {
		r := panel.Rect
		w, h := (r.Max.X - r.Min.X).Feet(), (r.Max.Y - r.Min.Y).Feet()
		s := DrawnSheet{Name: panel.Name, X: at(r.Min.X.Feet()), Y: at(-r.Max.Y.Feet()), Width: at(w), Height: at(h), Size: at(text),
			TextX: at(r.Min.X.Feet() + w/2), TextY: at(-r.Min.Y.Feet() - h/5)}
		switch letters := .62 * text * float64(len(panel.Name)); {
		case w < letters+.8*text: // its name stands before its north end
			s.TextY, s.Size = at(-r.Max.Y.Feet()-.8*text), at(.8*text)
		case h < 1.1*text:
			s.TextX, s.Size = at(r.Max.X.Feet()+.8*text), at(.8*text)
		}
		d.Sheets = append(d.Sheets, s)
	}
	for _, s := range l.Seams {
		for _, span := range s.Spans {
			a, b := s.Point(span.From), s.Point(span.To)
			d.Seams = append(d.Seams, DrawnLine{at(a.X.Feet()), at(-a.Y.Feet()), at(b.X.Feet()), at(-b.Y.Feet())})
		}
	}
	for _, one := range details {
		if one.X == 0 && one.Y == 0 {
			continue // nobody said where
		}
		r := one.Rect()
		t := DrawnThing{Name: one.Name, X: at(r.Min.X.Feet()), Y: at(-r.Max.Y.Feet()), TextX: at(r.Max.X.Feet() + .6*text), TextY: at(-r.Min.Y.Feet()), Size: at(.8 * text)}
		if one.Wide > 0 && one.Deep > 0 {
			t.Width, t.Height = at(one.Wide.Feet()), at(one.Deep.Feet())
		} else {
			t.R = at(.35 * text)
		}
		d.Things = append(d.Things, t)
	}
	return d
}

func (v *setupVisit) planForm(of *daylog.Line, t url.Values, wrong map[string]string) (web.Form, error) {
	field := func(name, label, help string, kind web.FieldKind) web.Field {
		return web.Field{Name: name, Kind: kind, Label: label, Help: help, Value: t.Get(name), Error: wrong[name]}
	}
	choice := func(name, label string, options ...string) web.Field {
		f := web.Field{Name: name, Kind: web.FieldChoice, Label: label, Error: wrong[name]}
		for i := 0; i < len(options); i += 2 {
			f.Options = append(f.Options, web.Option{Value: options[i], Label: options[i+1], Chosen: cmp.Or(t.Get(name), options[0]) == options[i]})
		}
		return f
	}
	form := web.Form{
		Heading: web.Heading{Title: "Roof plan", Lead: `Lengths as on the drawing: 62'-6 1/2" or 62 ft 6 1/2 in. What it comes to is drawn beside it.`},
		URL:     v.url("/plan"),
		Submit:  "Save the plan",
		Preview: web.Hidden{Name: "draw", Value: "Draw it"},
		Cancel:  web.Action{Label: "Back to Set-up", URL: v.url("")},
	}
	form.Groups = []web.FieldGroup{{Title: "Outline", Fields: []web.Field{
		choice("shape", "Shape", "rectangle", "Rectangle", "l", "L"),
		field("wide", "From west to east", "", web.FieldLength),
		field("deep", "From south to north", "", web.FieldLength),
		choice("corner", "The corner that is missing", "north-east", "North-east", "north-west", "North-west", "south-east", "South-east", "south-west", "South-west"),
		field("less wide", "Missing from west to east", "", web.FieldLength),
		field("less deep", "Missing from south to north", "", web.FieldLength),
	}}}
	edges := web.FieldGroup{Title: "Edges", Help: "All sides that face the same way are alike."}
	for _, s := range sides {
		edges.Fields = append(edges.Fields,
			choice(s.key, s.label, string(roofplan.Parapet), "Parapet", string(roofplan.Wall), "Wall", string(roofplan.Open), "Open edge"),
			field(s.key+" turn-up", s.label+", turn-up", "", web.FieldLength))
	}
	form.Groups = append(form.Groups, edges)
	for i := range planRows {
		name := func(what string) string { return fmt.Sprintf("row %d %s", i+1, what) }
		if i > 0 && t.Get(fmt.Sprintf("row %d width", i)) == "" && t.Get(name("width")) == "" {
			break // one empty row follows those that are written
		}
		form.Groups = append(form.Groups, web.FieldGroup{Title: fmt.Sprintf("Row %d of panels", i+1), Fields: []web.Field{
			field(name("width"), "Width of a panel", "", web.FieldLength),
			field(name("lap"), "Lap, in inches", "", web.FieldLength),
			choice(name("toward"), "The next panel lies", "east", "East", "north", "North", "west", "West", "south", "South"),
			field(name("length"), "Length of a panel", "Empty: from turn-up to turn-up.", web.FieldLength),
			field(name("count"), "How many panels", "Empty: as many as it takes.", web.FieldNumber),
			field(name("last"), "Width of the last", "If it is another.", web.FieldLength),
			field(name("first"), "First panel's number", "Empty: the next.", web.FieldNumber),
			field(name("stagger"), "Staggered by", "How far its joints are shifted.", web.FieldLength),
			field(name("west"), "Begins east of the west side by", "Empty: on the turn-up. Minus: -1'-6\".", web.FieldLength),
			field(name("south"), "Begins north of the south side by", "Empty: on the turn-up, or where the row before ends.", web.FieldLength),
		}})
	}
	if p := v.day.Setup.Plan; len(p.Outline) > 0 {
		again, _, _ := readPlan(planTyped(p))
		p.Edges = slices.Clone(p.Edges)
		for i := range p.Edges {
			if p.Edges[i].Name == facing(p.Outline, i) {
				p.Edges[i].Name = "" // which stands for the same
			}
			p.Edges[i].Kind = cmp.Or(p.Edges[i].Kind, roofplan.Open)
		}
		p.Rows = slices.Clone(p.Rows)
		for i := range p.Rows {
			p.Rows[i].Toward = cmp.Or(p.Rows[i].Toward, roofplan.East)
		}
		is, err1 := json.Marshal(p)
		asked, err2 := json.Marshal(again)
		if err1 != nil || err2 != nil || string(is) != string(asked) {
			form.Heading.Lead += " The plan in force says more than is asked here: saving puts this in its place."
		}
	}
	if of != nil {
		form.Heading = v.correcting("Roof plan", of)
		form.URL += "?of=" + url.QueryEscape(of.Root)
	}
	return form, v.close(&form, of, nil, wrong)
}

// planDrawn is what a plan comes to.
func (v *setupVisit) planDrawn(p roofplan.Plan, l *roofplan.Layout, wrong map[string]string) Drawn {
	var drawn Drawn
	for _, name := range slices.Sorted(maps.Keys(wrong)) {
		drawn.Says = append(drawn.Says, wrong[name])
	}
	if l == nil {
		return drawn
	}
	drawn.Picture = draw(p, l, v.day.Setup.Details)
	drawn.Facts = []web.Fact{
		{Term: "Roof", Value: squareFeet(l.Area)},
		{Term: "Under sheet", Value: squareFeet(l.Covered)},
		{Term: "Panels, seams, T-joints", Value: fmt.Sprintf("%d, %d, %d", len(l.Panels), len(l.Seams), len(l.Joints))},
	}
	if bare := l.Area - l.Covered; bare > 0.05 {
		drawn.Facts = append(drawn.Facts, web.Fact{Term: "Under no panel", Value: squareFeet(bare)})
	}
	return drawn
}

func (v *setupVisit) showPlan(status int, of *daylog.Line, t url.Values, drawn Drawn, wrong map[string]string) error {
	form, err := v.planForm(of, t, wrong)
	if err != nil {
		return err
	}
	view := PlannerView{Frame: v.frame("Roof plan"), Form: form, Drawn: drawn}
	view.More = append(view.More, web.Action{Label: "Add a pipe, drain or curb", URL: v.url("/penetration")})
	return v.show(status, PlannerPage(view))
}

// askPlan is GET /job/{job}/setup/plan?of=ENTRY; with an entry, its correction.
func (p *pages) askPlan(v *setupVisit) error {
	of, err := v.lineAsked("plan")
	if err != nil {
		return err
	}
	plan, layout := v.day.Setup.Plan, v.day.Roof.Layout()
	if b, ok := bodyOf(of).(*daylog.PlanSetup); ok {
		plan = b.Plan
		if layout, err = plan.Lay(); err != nil {
			layout = nil
		}
	}
	if layout != nil && len(layout.Panels) == 0 {
		layout = nil
	}
	return v.showPlan(http.StatusOK, of, planTyped(plan), v.planDrawn(plan, layout, nil), nil)
}

// savePlan is POST /job/{job}/setup/plan?of=ENTRY; with draw set the plan is only
// drawn, and if that says part, nothing but the drawing is answered.
func (p *pages) savePlan(v *setupVisit) error {
	of, err := v.lineAsked("plan")
	if err != nil {
		return err
	}
	t := v.r.PostForm
	plan, layout, wrong := readPlan(t)
	drawn := v.planDrawn(plan, layout, wrong)
	if t.Get("draw") == "part" {
		return v.show(http.StatusOK, drawnPart(drawn))
	}
	e, more := v.entry(of)
	if t.Get("draw") == "" {
		for name, say := range more {
			wrong[name] = say
		}
	}
	drawn.Says = nil // said in the form
	switch {
	case len(wrong) > 0:
		return v.showPlan(http.StatusUnprocessableEntity, of, t, drawn, wrong)
	case t.Get("draw") != "":
		return v.showPlan(http.StatusOK, of, t, drawn, nil)
	}
	e.Body = &daylog.PlanSetup{Plan: plan}
	return v.keep(e, v.url(""))
}
