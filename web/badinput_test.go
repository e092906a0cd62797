package web

import (
	"html"
	"net/http"

	"regexp"
	"strings"
	"testing"

	"duskline/internal/daylog"
)

// The usual ways to get a field wrong, by its type: what is typed into which of
// its controls, and what is said at the field.
var usualMistakes = map[daylog.FieldType][]struct{ what, control, text, says string }{
	daylog.Text:     {{"huge", "", strings.Repeat("x", 2001), "2,001 characters long"}, {"no characters", "", "air \xff", "could not be read"}},
	daylog.LongText: {{"huge", "", strings.Repeat("long\n", 500), "characters long"}},
	daylog.Number: {{"letters", "", "abc", `"abc" is not a number`}, {"huge", "", "99999999999", "too large to be meant"}, {"wrong unit", "", "5 kg", `"5 kg" is not a number`},
		{"fraction", "", "1/0", "is not a number"}, {"comma", "", "12,5", "is not a number"}},
	daylog.Temp: {{"letters", "", "cold", `"cold" is not a number. Write it in F`}, {"huge", "", "900", "outside of what is usual"}, {"negative", "", "-99", "outside of what is usual"},
		{"wrong unit", "", "11 C", "Write it in F"}},
	daylog.Whole: {{"letters", "", "few", `"few" is not a number`}, {"huge", "", "99999999999", "too large to be meant"}, {"negative", "", "-5", "outside of what is usual"},
		{"wrong unit", "", "5 kg", "is not a number"}, {"fraction", "", "1.5", "counted in whole"}},
	daylog.Length:   {{"letters", "", "abc", "abc"}, {"huge", "", "99999999 ft", "is more than 10,000 ft"}, {"negative", "", "-5", "-5"}, {"wrong unit", "", "5 kg", "kg"}, {"fraction", "", "1 3/0 in", "3/0"}, {"half a fraction", "", "4 ft 1/", "1/"}},
	daylog.Clock:    {{"letters", "", "half past four", "is not a time of day. Write it as 13:05"}, {"no such hour", "", "25:10", "is not a time of day"}},
	daylog.Calendar: {{"letters", "", "next week", "is not a date. Write it as 3/31/2027"}, {"no such day", "", "2026-02-31", "is not a date"}, {"another order", "", "31/3/2027", "is not a date"}},
	daylog.Choice:   {{"none of the answers", "", "neither", "none of the answers"}},
	daylog.PanelName: {{"unknown place", "-other", "77", "Panel 77 is not on the plan"},
		{"huge", "-other", strings.Repeat("7", 41), "too long for a name"}},
	daylog.SeamName:   {{"unknown place", "-other", "8|9", "Seam 8|9 is not on the plan"}, {"huge", "-other", strings.Repeat("7", 41), "too long for a name"}},
	daylog.PanelNames: {{"huge", "-other", strings.Repeat("7", 41), "too long for a name"}},
	daylog.SeamNames:  {{"huge", "-other", strings.Repeat("7", 41), "too long for a name"}},
	daylog.Many:       {{"huge", "-other", strings.Repeat("x", 201), "too long for one of several"}},
	daylog.Places: {{"unknown place", "-other", "9|10 at 4 ft", "is not on the plan"}, {"letters", "-other", "near the hatch", "is not a place"},
		{"no length", "-other", "2|3 at some feet", "some feet"}, {"fraction", "-other", "2|3 at 1/0 ft", "1/0"}},
	daylog.Stretches: {{"letters", "-other", "by the hatch", "is not a part of a run"}, {"no length", "-other", "2|3 4 to x", "x"},
		{"backwards", "-other", "2|3 9 to 4", "not past the beginning"}},
	daylog.Laps:       {{"letters", ".0.at", "abc", "End lap 1"}, {"fraction", ".0.lap", "1 1/", "End lap 1"}, {"no place", ".1.lap", "2", "End lap 2: say where"}},
	daylog.PanelParts: {{"letters", ".3.from", "abc", "Panel 3"}, {"wrong unit", ".3.less", "4 kg", "Panel 3"}, {"not ticked", ".4.to", "20", "is not ticked"}},
	// What only has tiles cannot be typed wrong.
	daylog.Tick: {}, daylog.Persons: {}, daylog.SeamEnds: {},
}

// Each kind's form is tried with the usual mistakes in each of its fields, sent
// as a browser does. Nothing is written; the sentence stands at the field, tied
// to its control; what was typed is kept.
func TestUsualMistakes(t *testing.T) {
	s := midMorning(t)
	n, before := 0, s.count()
	at := func(k *daylog.Kind, field, control, what, text, says string) {
		form := s.goodForm(k.Name)
		form["form"] = []string{newID(n)}
		n++
		form.Set(field+control, text)
		if field == "at" {
			form.Set("at", TimeOther)
		}
		w := s.post("/job/hall/write/"+k.Name, form)
		page := w.Body.String()
		if w.Code != http.StatusUnprocessableEntity || s.count() != before {
			t.Fatalf("%s, %s, %s %.40q: %d, %d written", k.Name, field, what, text, w.Code, s.count()-before)
		}
		id := (Field{Name: field}).id() + "-error"
		said := regexp.MustCompile(`id="` + regexp.QuoteMeta(id) + `"><b>(.*?)</b>`).FindStringSubmatch(page)
		if said == nil || !strings.Contains(html.UnescapeString(said[1]), says) {
			t.Errorf("%s, %s, %s %.40q: at the field stands %q, want %q", k.Name, field, what, text, said, says)
		}
		if !regexp.MustCompile(`aria-describedby="[^"]*` + regexp.QuoteMeta(id)).MatchString(page) {
			t.Errorf("%s, %s: no control is described by what is wrong with it", k.Name, field)
		}
		want := strings.ToValidUTF8(text, "\uFFFD")
		if got := formIn(page); control == "" && field != "at" && f(k, field) != daylog.Choice && lineEnds.Replace(got.Get(field)) != lineEnds.Replace(want) || control != "" && got.Get(field+control) != want {
			t.Errorf("%s, %s, %s: typed %.40q came back as %.40q", k.Name, field, what, text, got[field+control])
		}
	}
	for _, k := range writable() {
		tried := 0
		for _, field := range (&sheet{kind: k}).fields(s.today()) {
			mistakes, known := usualMistakes[field.Type]
			if !known {
				t.Errorf("%s, %s: no mistakes are listed for fields of type %q", k.Name, field.Name, field.Type)
			}
			for _, m := range mistakes {
				if m.what == "negative" && field.Min < 0 && field.Max == 0 || m.says == "outside of what is usual" && field.Min == 0 && field.Max == 0 {
					continue
				}
				if strings.Contains(m.says, "not on the plan") && !placed(k) {
					continue
				}
				if field.Type == daylog.Choice && s.get("/job/hall/write/"+k.Name).Body.String() != "" && !s.formHas(k, field.Name) {
					continue
				}
				at(k, field.Name, m.control, m.what, m.text, m.says)
				tried++
			}
		}
		at(k, "at", "-other", "no such hour", "25:61", "is not a time of day")
		if tried == 0 {
			t.Logf("%s has only tiles and its time", k.Name)
		}
	}
	t.Logf("%d forms", n)
}

// f is the type of a kind's field.
func f(k *daylog.Kind, name string) daylog.FieldType {
	for _, f := range (&sheet{kind: k}).fields(daylog.Fold("", nil).On(triedDay)) {
		if f.Name == name {
			return f.Type
		}
	}
	return ""
}

// placed reports whether a kind's place must be on the plan: others only name it.
func placed(k *daylog.Kind) bool {
	return k.Check != nil && k.Name != "photo" && k.Name != "pile" && k.Name != "square"
}

// formHas reports whether a form asks for a field.
func (s *tried) formHas(k *daylog.Kind, name string) bool {
	return strings.Contains(s.get("/job/hall/write/"+k.Name).Body.String(), `name="`+name+`"`)
}
