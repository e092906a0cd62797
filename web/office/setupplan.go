package office

import (
	"cmp"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
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

// PlanView is the form of a roof plan and what it makes.
type PlanView struct {
	Frame   web.Frame
	Form    web.Form
	Drawing *PlanDrawing // nil while nothing can be drawn
	Facts   []web.Fact
}

// PlanDrawing is a layout as a picture, in feet, north up.
type PlanDrawing struct {
	Box     string // the picture's own box
	Outline string
	Sheets  []DrawnSheet
	Seams   []DrawnSeam
	Says    string
	Size    string // of the words
}

// DrawnSheet is a panel: its corner, its size and where its number stands.
type DrawnSheet struct{ Name, X, Y, Width, Height, TextX, TextY string }

// DrawnSeam is the middle of a seam.
type DrawnSeam struct{ X1, Y1, X2, Y2 string }

var sides = []struct{ key, label string }{{"north", "North"}, {"east", "East"}, {"south", "South"}, {"west", "West"}}

// planTyped is what the form of a plan shows first: the plan in force as far as
// it was made of what this form asks.
func planTyped(p roofplan.Plan) url.Values {
	t := url.Values{"shape": {"rectangle"}, "corner": {"north-east"}}
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
	if t.Get("shape") == "l" {
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
		default:
			corners = []roofplan.Point{{}, {X: w}, {X: w, Y: d - b}, {X: w - a, Y: d - b}, {X: w - a, Y: d}, {Y: d}}
		}
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
	for i := range planRows {
		name := func(what string) string { return fmt.Sprintf("row %d %s", i+1, what) }
		if t.Get(name("first")) == "" && t.Get(name("count")) == "" && t.Get(name("width")) == "" {
			continue
		}
		first, err := strconv.Atoi(strings.TrimSpace(t.Get(name("first"))))
		if err != nil || first < 0 || first > 99_999 {
			say(name("first"), "The first panel has a number, as in 1.")
		}
		count, err := strconv.Atoi(strings.TrimSpace(t.Get(name("count"))))
		if err != nil || count < 1 || count > mostSheets {
			say(name("count"), fmt.Sprintf("A row has 1 to %d panels.", mostSheets))
			count = 0
		}
		row := roofplan.Row{Length: size(name("length")), Toward: roofplan.Direction(cmp.Or(t.Get(name("toward")), string(roofplan.East)))}
		width := size(name("width"))
		last := width
		if t.Get(name("last")) != "" {
			last = size(name("last"))
		}
		lap, err := roofplan.ParseLength(t.Get(name("lap")), roofplan.Inch)
		if err != nil {
			say(name("lap"), web.UpperFirst(err.Error())+".")
		} else if count > 1 && (lap == 0 || lap >= min(width, last)) && width > 0 {
			say(name("lap"), "Panels side by side lap by more than nothing and less than their width.")
		}
		row.Lap = lap
		for which, at := range map[string]*roofplan.Length{"west": &row.Corner.X, "south": &row.Corner.Y} {
			if t.Get(name(which)) != "" {
				*at = length(name(which), true)
			}
		}
		for n := range count {
			s := roofplan.Sheet{Name: strconv.Itoa(first + n), Width: width}
			if n == count-1 {
				s.Width = last
			}
			row.Sheets = append(row.Sheets, s)
		}
		p.Rows = append(p.Rows, row)
	}
	if len(p.Rows) == 0 {
		say("row 1 first", "Write at least one row of panels.")
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
		if t.Get(name("first")) == "" {
			continue
		}
		for _, s := range p.Rows[n].Sheets {
			panel, _ := layout.Panel(s.Name)
			r := panel.Rect
			for _, past := range []struct {
				side string
				by   roofplan.Length
			}{{"west", -r.Min.X}, {"south", -r.Min.Y}, {"east", r.Max.X - w}, {"north", r.Max.Y - d}} {
				if past.by > up[past.side] {
					say(name("first"), fmt.Sprintf("Panel %s reaches %s past the %s side, where the sheet turns up by %s.", s.Name, past.by, past.side, up[past.side]))
				}
			}
			if panel.Net == 0 {
				say(name("first"), "Panel "+s.Name+" covers nothing of the roof.")
			}
		}
		n++
	}
	return p, layout, wrong
}

// draw makes the picture of a layout.
func draw(p roofplan.Plan, l *roofplan.Layout) *PlanDrawing {
	var far roofplan.Point
	for _, c := range p.Outline {
		far.X, far.Y = max(far.X, c.X), max(far.Y, c.Y)
	}
	low := roofplan.Point{}
	high := far
	for _, panel := range l.Panels {
		low.X, low.Y = min(low.X, panel.Rect.Min.X), min(low.Y, panel.Rect.Min.Y)
		high.X, high.Y = max(high.X, panel.Rect.Max.X), max(high.Y, panel.Rect.Max.Y)
	}
	at := func(n roofplan.Length) string { return strconv.FormatFloat(n.Feet(), 'f', 2, 64) }
	margin := (high.X - low.X + high.Y - low.Y) / 100
	d := &PlanDrawing{
		Box:  strings.Join([]string{at(low.X - margin), at(-high.Y - margin), at(high.X - low.X + 2*margin), at(high.Y - low.Y + 2*margin)}, " "),
		Size: at((high.X - low.X + high.Y - low.Y) / 45),
		Says: fmt.Sprintf("Roof %s from west to east and %s from south to north, with %d panels and %d seams. North is up.", far.X, far.Y, len(l.Panels), len(l.Seams)),
	}
	var corners []string
	for _, c := range p.Outline {
		corners = append(corners, at(c.X)+","+at(-c.Y))
	}
	d.Outline = strings.Join(corners, " ")
	for _, panel := range l.Panels {
		r := panel.Rect
		d.Sheets = append(d.Sheets, DrawnSheet{panel.Name, at(r.Min.X), at(-r.Max.Y), at(r.Max.X - r.Min.X), at(r.Max.Y - r.Min.Y), at((r.Min.X + r.Max.X) / 2), at(-(r.Min.Y + r.Max.Y) / 2)})
	}
	for _, s := range l.Seams {
		for _, span := range s.Spans {
			a, b := s.Point(span.From), s.Point(span.To)
			d.Seams = append(d.Seams, DrawnSeam{at(a.X), at(-a.Y), at(b.X), at(-b.Y)})
		}
	}
	return d
}

func (v *setupVisit) planForm(t url.Values, wrong map[string]string) (web.Form, error) {
	field := func(name, label, help string, kind web.FieldKind) web.Field {
		return web.Field{Name: name, Kind: kind, Label: label, Help: help, Value: t.Get(name), Error: wrong[name]}
	}
	choice := func(name, label string, options ...string) web.Field {
		f := web.Field{Name: name, Kind: web.FieldChoice, Label: label, Error: wrong[name]}
		for i := 0; i < len(options); i += 2 {
			f.Options = append(f.Options, web.Option{Value: options[i], Label: options[i+1], Chosen: t.Get(name) == options[i]})
		}
		return f
	}
	form := web.Form{
		Heading: web.Heading{Title: "Roof plan", Lead: `Lengths as on the drawing: 62'-6 1/2" or 62 ft 6 1/2 in. Draw it before it is saved.`},
		URL:     v.url("/plan"),
		Submit:  "Save the plan",
		Preview: web.Hidden{Name: "draw", Value: "Draw it"},
		Cancel:  web.Action{Label: "Back to Set-up", URL: v.url("")},
	}
	form.Groups = []web.FieldGroup{{Title: "Outline", Fields: []web.Field{
		choice("shape", "Shape", "rectangle", "Rectangle", "l", "L: a rectangle less a corner"),
		field("wide", "From west to east", "", web.FieldLength),
		field("deep", "From south to north", "", web.FieldLength),
		choice("corner", "Of an L, the corner that is missing", "north-east", "North-east", "north-west", "North-west", "south-east", "South-east", "south-west", "South-west"),
		field("less wide", "Of an L, missing from west to east", "", web.FieldLength),
		field("less deep", "Of an L, missing from south to north", "", web.FieldLength),
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
		if i > 0 && t.Get(fmt.Sprintf("row %d first", i)) == "" && t.Get(name("first")) == "" {
			break // one empty row follows those that are written
		}
		form.Groups = append(form.Groups, web.FieldGroup{Title: fmt.Sprintf("Row %d of panels", i+1), Fields: []web.Field{
			field(name("first"), "Number of the first panel", "", web.FieldNumber),
			field(name("count"), "How many panels", "", web.FieldNumber),
			field(name("width"), "Width", "", web.FieldLength),
			field(name("last"), "Width of the last, if another", "", web.FieldLength),
			field(name("length"), "Length", "", web.FieldLength),
			field(name("lap"), "Lap", "In inches.", web.FieldLength),
			field(name("west"), "Begins east of the west side by", "Minus where it begins on the turn-up: -1'-6\".", web.FieldLength),
			field(name("south"), "Begins north of the south side by", "", web.FieldLength),
			choice(name("toward"), "The next panel lies", "east", "East", "north", "North", "west", "West", "south", "South"),
		}})
	}
	if p := v.day.Setup.Plan; len(p.Outline) > 0 {
		again, _, _ := readPlan(planTyped(p))
		is, err1 := json.Marshal(p)
		asked, err2 := json.Marshal(again)
		if err1 != nil || err2 != nil || string(is) != string(asked) {
			form.Heading.Lead += " The plan in force says more than is asked here: saving puts this in its place."
		}
	}
	return form, v.close(&form, nil, nil, wrong)
}

func (v *setupVisit) showPlan(status int, t url.Values, p roofplan.Plan, l *roofplan.Layout, wrong map[string]string) error {
	form, err := v.planForm(t, wrong)
	if err != nil {
		return err
	}
	view := PlanView{Frame: v.frame("Roof plan"), Form: form}
	if l != nil {
		view.Drawing = draw(p, l)
		view.Facts = []web.Fact{
			{Term: "Roof", Value: fmt.Sprintf("%.1f sq ft", l.Area)},
			{Term: "Under sheet", Value: fmt.Sprintf("%.1f sq ft", l.Covered)},
			{Term: "Panels, seams, T-joints", Value: fmt.Sprintf("%d, %d, %d", len(l.Panels), len(l.Seams), len(l.Joints))},
		}
		if bare := l.Area - l.Covered; bare > 0.05 {
			view.Facts = append(view.Facts, web.Fact{Term: "Under no panel", Value: fmt.Sprintf("%.1f sq ft", bare)})
		}
	}
	return v.show(status, PlanPage(view))
}

// askPlan is GET /job/{job}/setup/plan.
func (p *pages) askPlan(v *setupVisit) error {
	plan := v.day.Setup.Plan
	var layout *roofplan.Layout
	if l := v.day.Roof.Layout(); len(l.Panels) > 0 {
		layout = l
	}
	return v.showPlan(http.StatusOK, planTyped(plan), plan, layout, nil)
}

// savePlan is POST /job/{job}/setup/plan; with draw set the plan is only drawn.
func (p *pages) savePlan(v *setupVisit) error {
	t := v.r.PostForm
	plan, layout, wrong := readPlan(t)
	e, more := v.entry(nil)
	if t.Get("draw") == "" {
		for name, say := range more {
			wrong[name] = say
		}
	}
	switch {
	case len(wrong) > 0:
		return v.showPlan(http.StatusUnprocessableEntity, t, plan, layout, wrong)
	case t.Get("draw") != "":
		return v.showPlan(http.StatusOK, t, plan, layout, nil)
	}
	e.Body = &daylog.PlanSetup{Plan: plan}
	return v.keep(e, v.url(""))
}
