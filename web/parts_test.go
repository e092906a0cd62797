package web

import (
	"encoding/xml"
	"io"
	"reflect"
	"strings"
	"testing"

	"github.com/a-h/templ"
)

// element is a start tag of a page with its attributes.
type element struct {
	name string
	attr map[string]string
	in   []string // names of the elements around it, outermost first
}

// elements are the start tags of a page, in order.
func elements(t *testing.T, html string) []element {
	t.Helper()
	dec := xml.NewDecoder(strings.NewReader(html))
	dec.Strict, dec.AutoClose, dec.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	var all []element
	var in []string
	for {
		token, err := dec.Token()
		if err == io.EOF {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		switch e := token.(type) {
		case xml.StartElement:
			x := element{name: e.Name.Local, attr: map[string]string{}, in: append([]string(nil), in...)}
			for _, a := range e.Attr {
				x.attr[a.Name.Local] = a.Value
			}
			all = append(all, x)
			in = append(in, e.Name.Local)
		case xml.EndElement:
			in = in[:len(in)-1]
		}
	}
}

// A strict content policy allows neither inline style nor inline script.
func TestNothingInline(t *testing.T) {
	for name, c := range galleryPages() {
		for _, e := range elements(t, rendered(t, c)) {
			for a, value := range e.attr {
				if a == "style" || strings.HasPrefix(a, "on") {
					t.Errorf("%s: <%s %s=%q>", name, e.name, a, value)
				}
			}
			if e.name == "style" || e.name == "script" && e.attr["src"] == "" {
				t.Errorf("%s: inline <%s>", name, e.name)
			}
		}
	}
}

// Every control has a label, every id is given once and every reference leads
// somewhere on the page; one h1 a page, and no level of heading is skipped.
func TestPagesHoldTogether(t *testing.T) {
	pages := map[string]string{}
	for name, c := range galleryPages() {
		pages[name] = rendered(t, c)
	}
	holdTogether(t, pages)
}

func holdTogether(t *testing.T, pages map[string]string) {
	t.Helper()
	for name, page := range pages {
		all := elements(t, page)
		ids, labels := map[string]bool{}, map[string]bool{}
		for _, e := range all {
			if id := e.attr["id"]; id != "" {
				if ids[id] {
					t.Errorf("%s: id %q twice", name, id)
				}
				ids[id] = true
			}
			if e.name == "label" {
				labels[e.attr["for"]] = true
			}
		}
		h1, level := 0, 0
		for _, e := range all {
			switch e.name {
			case "input", "textarea", "select":
				if e.attr["type"] != "hidden" && !labels[e.attr["id"]] {
					t.Errorf("%s: no label for %v", name, e.attr)
				}
			case "a":
				if to, ok := strings.CutPrefix(e.attr["href"], "#"); ok && !ids[to] {
					t.Errorf("%s: a link leads to %q, which is not there", name, to)
				}
				if e.attr["href"] == "" {
					t.Errorf("%s: a link leads nowhere", name)
				}
			case "svg":
				if e.attr["aria-hidden"] == "" && !inside(e, "svg") {
					t.Errorf("%s: a drawing is read aloud: %v", name, e.attr)
				}
			case "h1", "h2", "h3", "h4":
				now := int(e.name[1] - '0')
				if now == 1 {
					h1++
				}
				if now > level+1 && level > 0 {
					t.Errorf("%s: h%d follows h%d", name, now, level)
				}
				level = now
			}
			for _, a := range []string{"aria-describedby", "aria-labelledby"} {
				for _, id := range strings.Fields(e.attr[a]) {
					if !ids[id] {
						t.Errorf("%s: %s names %q, which is not there", name, a, id)
					}
				}
			}
		}
		if h1 != 1 {
			t.Errorf("%s: %d h1, want one", name, h1)
		}
	}
}

func inside(e element, name string) bool {
	for _, in := range e.in {
		if in == name {
			return true
		}
	}
	return false
}

const markup = `<i>&"'</i>`

// fill puts markup into every string of a view, one element into every slice of
// views, and leaves kinds as they are. It returns how many strings it filled.
// Views that may hold their own kind are filled a few levels deep.
func fill(v reflect.Value, levels int) int {
	if levels == 0 {
		return 0
	}
	switch v.Kind() {
	case reflect.String:
		if v.Type() == reflect.TypeFor[string]() && v.String() == "" {
			v.SetString(markup)
			return 1
		}
	case reflect.Pointer:
		if !v.IsNil() {
			return fill(v.Elem(), levels)
		}
	case reflect.Struct:
		n := 0
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				n += fill(v.Field(i), levels)
			}
		}
		return n
	case reflect.Slice:
		if v.Len() == 0 {
			v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		}
		n := 0
		for i := range v.Len() {
			n += fill(v.Index(i), levels-1)
		}
		return n
	}
	return 0
}

func filled[T any](v T) T {
	fill(reflect.ValueOf(&v).Elem(), 6)
	return v
}

// Text that people typed comes out as text in every slot there is.
func TestMarkupComesOutAsText(t *testing.T) {
	var kinds []Field
	for _, k := range []FieldKind{FieldText, FieldNumber, FieldLength, FieldClock, FieldLongText, FieldChoice, FieldTick, FieldMany, FieldTime, FieldRows, FieldHidden} {
		kinds = append(kinds, Field{Kind: k, Rows: []FieldRow{{Tick: &Option{}}, {Cells: []Field{{Kind: FieldLength}}}}})
	}
	form := filled(Form{Groups: []FieldGroup{{Step: &Field{Kind: FieldTick}, Fields: kinds}, {Fields: kinds}, {}}})
	form.Groups[0].Done, form.Groups[1].Done = "", "" // else there are no fields
	post := Action{Post: true}
	views := map[string]struct {
		c    templ.Component
		want int // how often the text is there, at least
	}{
		"layout":  {Layout(filled(Frame{Thumb: []Action{{}, post}})), 14},
		"heading": {PageHeading(filled(Heading{})), 2},
		"section": {Section(markup, markup), 2},
		"card":    {WarningCard(filled(Warning{Kind: People, Do: post})), 12},
		"clock":   {Clocks([]Clock{filled(Clock{Until: 1})}), 7},
		"owed":    {OwedRows([]Owed{filled(Owed{})}), 4},
		"entry":   {EntryActs([]EntryAct{filled(EntryAct{})}), 11},
		"facts":   {Facts([]Fact{filled(Fact{})}), 2},
		"sign":    {SignedBlock(filled(Signature{})), 5},
		"aside":   {Asides([]Aside{filled(Aside{})}), 4},
		"nothing": {Nothing(filled(Empty{})), 3},
		"form":    {FormPage(form), 250},
		"trouble": {ErrorPage(filled(Frame{}), filled(Trouble{})), 12},
		"day":     {DayLineFigure(filled(DayLine{Calls: []Call{{}}})), 12},
	}
	for name, v := range views {
		html := rendered(t, v.c)
		if strings.Contains(html, "<i>") {
			t.Errorf("%s: markup came out as markup", name)
		}
		if n := strings.Count(html, "&lt;i&gt;"); n < v.want {
			t.Errorf("%s: the text is there %d times, want at least %d", name, n, v.want)
		}
	}
}

func TestLinksRunNoScript(t *testing.T) {
	bad := Action{Label: "x", URL: "javascript:alert(1)"}
	posted := bad
	posted.Post = true
	for _, c := range []templ.Component{act(bad, ""), act(posted, ""), OwedRows([]Owed{{Action: bad}}), Layout(Frame{JobURL: bad.URL, Nav: []NavLink{{URL: bad.URL}}})} {
		if html := rendered(t, c); strings.Contains(html, "javascript:") {
			t.Errorf("a link runs a script: %s", html)
		}
	}
}

// What was typed stands in the form again, whatever it was.
func TestTypedTextIsKept(t *testing.T) {
	const typed = `41 ft "6" <in>`
	for _, k := range []FieldKind{FieldText, FieldNumber, FieldLength, FieldClock, FieldLongText} {
		html := rendered(t, FieldControl(Field{Name: "n", Kind: k, Value: typed, Error: "Write it as 41 ft 6 in."}))
		if !strings.Contains(html, templ.EscapeString(typed)) {
			t.Errorf("%s: what was typed is gone: %s", k, html)
		}
	}
	for other, kind := range map[string]string{"": "time", "10:37": "time", "23:59": "time", "24:00": "text", "10:4x": "text", "1:5": "text", "ten": "text", "10:60": "text"} {
		html := rendered(t, FieldControl(Field{Name: "at", Kind: FieldTime, Other: other, OtherLabel: "Time of day"}))
		if want := `type="` + kind + `" value="` + other + `"`; !strings.Contains(html, want) {
			t.Errorf("%q: no %s in %s", other, want, html)
		}
	}
}

func TestFaultsLeadToTheirFields(t *testing.T) {
	html := rendered(t, FormFaults(sampleForm()))
	for _, want := range []string{`href="#f-at-other"`, `href="#f-feet"`, "2 things"} {
		if !strings.Contains(html, want) {
			t.Errorf("the summary lacks %s", want)
		}
	}
	if html := rendered(t, FormFaults(Form{})); html != "" {
		t.Errorf("a form without faults says %q", html)
	}
}

// The return key sends a form by its first button: that is Save, also where
// something odd is asked.
func TestReturnKeySaves(t *testing.T) {
	for _, e := range elements(t, rendered(t, FormPage(sampleForm()))) {
		if e.name == "button" {
			if e.attr["name"] != "" {
				t.Errorf("the first button sends %s", e.attr["name"])
			}
			return
		}
	}
	t.Error("no button")
}

func TestClockFace(t *testing.T) {
	const minute = 60_000
	for _, x := range []struct {
		say  string
		c    Clock
		face string
		unit string
		fill string
	}{
		{"to go, rounded up", Clock{From: 0, Until: 240 * minute, Now: 107*minute - 1, Unit: "to go"}, "2:14", "to go", "44.6%"},
		{"the last second", Clock{Until: minute, Now: minute - 1, Unit: "to go", OverUnit: "ready since"}, "0:01", "to go", "100.0%"},
		{"over", Clock{Until: minute, Now: minute, Unit: "to go", OverUnit: "ready since"}, "0:00", "ready since", "100.0%"},
		{"long over", Clock{Until: minute, Now: 7*minute + 1, Unit: "to go", OverUnit: "ready since"}, "0:06", "ready since", "100.0%"},
		{"since", Clock{From: 0, Until: 10 * minute, Now: 7*minute + 59_999, CountsUp: true, Unit: "since"}, "0:07", "since", "80.0%"},
		{"since, past the usual", Clock{From: 0, Until: 10 * minute, Now: 75 * minute, CountsUp: true, Unit: "since", OverUnit: "over"}, "1:15", "since", "100.0%"},
		{"no end", Clock{From: 0, Now: 61 * minute, Unit: "since"}, "1:01", "since", "0%"},
		{"clock put back", Clock{From: 5 * minute, Now: 0, CountsUp: true}, "0:00", "", "0%"},
	} {
		if x.c.Face() != x.face || x.c.FaceUnit() != x.unit || x.c.Filled() != x.fill {
			t.Errorf("%s: %s %q %s, want %s %q %s", x.say, x.c.Face(), x.c.FaceUnit(), x.c.Filled(), x.face, x.unit, x.fill)
		}
	}
}
