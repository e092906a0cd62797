package web

import (
	"context"
	"encoding/json"
	"fmt"
	"html"
	"maps"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// count is how many entries the log holds.
func (s *tried) count() int {
	s.t.Helper()
	entries, err := s.log.Entries(context.Background(), "hall", "")
	if err != nil {
		s.t.Fatal(err)
	}
	return len(entries)
}

// raws are the bytes of all that is kept; again makes a log of them alone.
func (s *tried) raws() [][]byte {
	s.t.Helper()
	entries, err := s.log.Entries(context.Background(), "hall", "")
	if err != nil {
		s.t.Fatal(err)
	}
	raws := make([][]byte, len(entries))
	for i := range entries {
		raws[i] = entries[i].Raw()
	}
	return raws
}

func (s *tried) again(raws [][]byte) {
	s.t.Helper()
	s.log = store.NewMemory()
	if _, err := s.log.Receive(context.Background(), "hall", raws...); err != nil {
		s.t.Fatal(err)
	}
	s.open()
}

// last is the entry written last.
func (s *tried) last() *daylog.Entry {
	s.t.Helper()
	entries, err := s.log.Entries(context.Background(), "hall", "")
	if err != nil || len(entries) == 0 {
		s.t.Fatal("no entries", err)
	}
	last := slices.MaxFunc(entries, func(a, b daylog.Entry) int { return int(a.Seq - b.Seq) })
	return &last
}

// today is the day as it stands in the log.
func (s *tried) today() *daylog.Day {
	s.t.Helper()
	job, err := store.Fold(context.Background(), s.log, "hall", "")
	if err != nil {
		s.t.Fatal(err)
	}
	return job.On(triedDay)
}

// midMorning is a site in the middle of a day's work: every kind of form has
// something to be about.
func midMorning(t testing.TB) *tried {
	s := newSite(t)
	s.write(&daylog.Person{Person: "bo", Name: "Bo Invented", Role: "crew", Trade: "roofer"})
	s.fill("/job/hall/write/start", url.Values{"leaving": {"15:30"}})
	s.morning()
	s.at("08:00")
	s.fill("/job/hall/write/panel", url.Values{"panel": {"3"}})
	s.at("08:35")
	s.fill("/job/hall/write/priming", url.Values{"seam": {"2|3"}, "from": {"0"}, "to": {"60"}})
	s.at("09:10")
	s.fill("/job/hall/write/closed", url.Values{"seam": {"2|3"}, "from": {"0"}, "to": {"60"}, "laps.0.at": {"41"}, "splices": {"south"}})
	s.at("09:20")
	s.fill("/job/hall/write/covers", url.Values{"places": {`{"on":"2|3","at":492}`}})
	s.at("10:12")
	return s
}

// goodForm is what a foreman would send of a kind, ticks and rows included.
func (s *tried) goodForm(kind string) url.Values {
	form := s.formOn("/job/hall/write/" + kind)
	for name, value := range map[string]string{
		"panel": "3", "seam": "2|3", "from": "60", "to": "80", "text": "dry at nine", "sky": "clear", "air": "52", "rh": "60",
		"sheet": "60", "wind": "5", "gust": "8", "leaving": "16:30", "packup": "20", "forecast": "dry", "decided": "Ada", "width": "4", "lb": "1200", "size": "12",
		"panels.3.less": "4", "panels.3.from": "10", "panels.3.to": "90", "laps.0.at": "71", "laps.0.lap": "1 1/2",
	} {
		if form.Has(name) {
			form.Set(name, value)
		}
	}
	k, _ := daylog.FindKind(kind)
	for _, f := range (&sheet{kind: k}).fields(s.today()) {
		switch f.Type {
		case daylog.Many:
			form[f.Name] = []string{"this", "that"}
			for _, o := range f.Options {
				form[f.Name] = []string{o.Value}
			}
		case daylog.PanelName:
			form.Set(f.Name, "3")
		case daylog.SeamName:
			form.Set(f.Name, "2|3")
		case daylog.PanelNames, daylog.PanelParts:
			form[f.Name] = []string{"3"}
		case daylog.SeamNames:
			form[f.Name] = []string{"2|3"}
		case daylog.Places:
			form[f.Name] = []string{`{"on":"2|3","at":492}`, `{"on":"2|3@south"}`}
		case daylog.SeamEnds:
			form[f.Name] = []string{"south"}
		case daylog.Persons:
			form[f.Name] = []string{"ada", "bo"}
		case daylog.Choice:
			for _, o := range f.Options {
				form.Set(f.Name, o.Value)
			}
		case daylog.Tick:
			if strings.HasPrefix(f.Name, "un") || strings.HasPrefix(f.Name, "not") || f.Name == "no go" {
				form.Set(f.Name, "on")
			}
		}
	}
	return form
}

// writable are the kinds that the form of all kinds writes.
func writable() []*daylog.Kind {
	return slices.DeleteFunc(slices.Clone(daylog.Kinds()), func(k *daylog.Kind) bool { return !plainKind(k) })
}

// badTexts are what can stand in a field that should not.
var badTexts = []string{
	"", "   ", "-5", "-0", "0", "1e400", "1e3", "9999999999999999999", "abc", "5 kg", "12,5", "1/0", "NaN", "-Inf", "0x10",
	"62 ft 13 in", "½", "٣", "<script>alert(1)</script>", `"><img src=x onerror=alert(1)>`, "\x00\x07\x1b[31mred", "tab\tand\r\nline", "\u202edlrow",
	"\xff\xfe", strings.Repeat("x", 3000), strings.Repeat("7", 3000), "{}", "null", `{"on":5}`, `{"on":"2|3","at":-1}`, `{"on":"2|3","at":1e300}`, "2|3|", "|", "@",
}

// control are the inputs of a form that a declared field is asked with.
func controls(f daylog.Field) []string {
	switch f.Type {
	case daylog.PanelName, daylog.SeamName, daylog.PanelNames, daylog.SeamNames, daylog.Places, daylog.Many:
		return []string{f.Name, f.Name + "-other"}
	case daylog.Laps:
		return []string{f.Name + ".0.at", f.Name + ".0.lap", f.Name + ".1.at", f.Name + ".1.lap"}
	case daylog.Stretches:
		return []string{f.Name, f.Name + "-other"}
	case daylog.PanelParts:
		return []string{f.Name, f.Name + "-other", f.Name + ".3.less", f.Name + ".3.from", f.Name + ".3.to"}
	}
	return []string{f.Name}
}

// Whatever stands in whichever field of whichever form: it is saved, or it comes
// back with all that was typed, a sentence, and nothing written; and what came
// back only because it is odd is saved by "Keep as written", asked once.
func TestBadInput(t *testing.T) {
	s := midMorning(t)
	n, start, tried := 0, s.raws(), map[daylog.FieldType]bool{}
	for _, k := range writable() {
		path := "/job/hall/write/" + k.Name
		good := s.goodForm(k.Name)
		for _, f := range (&sheet{kind: k}).fields(s.today()) {
			for _, name := range controls(f) {
				// All of it for the first field of its type, a part in turn for
				// the others.
				texts := badTexts
				if rest := f.Type + daylog.FieldType(strings.TrimPrefix(name, f.Name)); tried[rest] {
					texts = []string{"", badTexts[n%len(badTexts)], badTexts[(n+7)%len(badTexts)], badTexts[(n+19)%len(badTexts)]}
				} else {
					tried[rest] = true
				}
				for _, text := range texts {
					form := maps.Clone(good)
					form["form"] = []string{newID(n)}
					form[name] = []string{text}
					n++
					if s.tryBad(path, name, form, f.Required); s.count() > len(start) {
						s.again(start)
					}
				}
			}
		}
		for _, when := range []string{"", "later", "-3", "0", "99999", "=", "=~", "=soon~0", "=1066-10-14T09:00:00Z~0", "=9999-12-31T23:59:59Z~15", "=2026-10-06T14:00:00Z~-5", "=2026-10-06T14:00:00Z~999999", "24:00"} {
			form := maps.Clone(good)
			form["form"], form["at"] = []string{newID(n)}, []string{when}
			n++
			if s.tryBad(path, "at", form, true) {
				t.Errorf("%s: %q was taken for a time", k.Name, when)
			}
		}
		for i := range 4 {
			text := badTexts[(n+5*i)%len(badTexts)]
			form := maps.Clone(good)
			form["form"], form["at"], form["at-other"] = []string{newID(n)}, []string{TimeOther}, []string{text}
			n++
			if s.tryBad(path, "at-other", form, true) {
				t.Errorf("%s: %q was taken for a time of day", k.Name, text)
			}
		}
	}
	t.Logf("%d forms", n)
}

// newID is a form's number.
func newID(n int) string {
	const digits = "abcdefghijklmnopqrstuvwxyz234567"
	id := []byte("aaaaaaaaaaaaaaaa")
	for i := 15; n > 0; i, n = i-1, n/32 {
		id[i] = digits[n%32]
	}
	return string(id)
}

// tryBad sends a form with something bad in it and reports whether it was saved
// at once.
func (s *tried) tryBad(path, name string, form url.Values, required bool) bool {
	s.t.Helper()
	say := fmt.Sprintf("%s, %s = %.60q", path, name, form[name])
	before := s.count()
	w := s.post(path, form)
	switch w.Code {
	case http.StatusSeeOther:
		if s.count() != before+1 {
			s.t.Fatalf("%s: saved %d entries", say, s.count()-before)
		}
		return true
	case http.StatusUnprocessableEntity:
	default:
		s.t.Fatalf("%s: %d\n%s", say, w.Code, w.Body)
	}
	page := w.Body.String()
	if s.count() != before {
		s.t.Fatalf("%s: refused, and yet something was written", say)
	}
	if !strings.Contains(page, "<title>Not saved: ") {
		s.t.Errorf("%s: the page's title does not say that it was not saved", say)
	}
	if !strings.Contains(page, `class="error"`) {
		s.t.Errorf("%s: no sentence at a field\n%s", say, page)
	}
	back := formIn(page)
	for field, texts := range form {
		want := slices.DeleteFunc(slices.Clone(texts), func(text string) bool { return text == "" })
		for i := range want {
			want[i] = strings.ToValidUTF8(want[i], "\uFFFD")
		}
		got := slices.DeleteFunc(slices.Clone(back[field]), func(text string) bool { return text == "" })
		switch {
		case field == "at" && len(got) == 1 && strings.HasPrefix(got[0], "="): // stays the time it was
			continue
		case isPlace(want):
			continue
		case form.Get(field+"-other") != "" && field != "at": // what was typed counts, not the tile
			continue
		case slices.Equal(got, []string{"on"}): // a tick, whatever came for it
			continue
		}
		slices.Sort(want)
		slices.Sort(got)
		if !slices.Equal(got, want) && !(field == name && len(got) == 0 && onlyOffered(field, form)) {
			s.t.Errorf("%s: %s came back as %.80q, typed %.80q", say, field, got, want)
		}
	}
	if required && !strings.Contains(page, `id="asked"`) || strings.Contains(page, `id="faults"`) {
		return false
	}
	back.Set("keep", "as written")
	if w := s.post(path, back); w.Code != http.StatusSeeOther || s.count() != before+1 {
		s.t.Errorf("%s: kept as written: %d, %d written\n%s", say, w.Code, s.count()-before, w.Body)
	}
	return false
}

// isPlace reports whether these are tiles of places, which come back in the
// plan's own spelling.
func isPlace(texts []string) bool {
	return slices.ContainsFunc(texts, func(text string) bool {
		var p daylog.Place
		return json.Unmarshal([]byte(text), &p) == nil && p.On != ""
	})
}

// onlyOffered reports whether a control sends only what its page offered, so
// that nobody can have typed what came.
func onlyOffered(field string, form url.Values) bool {
	return field == "at" || field == "places" || field == "back" || field == "seams"
}

var (
	inputTag    = regexp.MustCompile(`(?s)<input[^>]*>`)
	textareaTag = regexp.MustCompile(`(?s)<textarea[^>]* name="([^"]*)"[^>]*>(.*?)</textarea>`)
	attr        = regexp.MustCompile(`([a-z-]+)(?:="([^"]*)")?`)
)

// formIn gives what the form on a page would send as it stands.
func formIn(page string) url.Values {
	form := url.Values{}
	for _, tag := range inputTag.FindAllString(page, -1) {
		a := map[string]string{}
		checked := false
		for _, m := range attr.FindAllStringSubmatch(strings.TrimSuffix(strings.TrimPrefix(tag, "<input"), ">"), -1) {
			a[m[1]] = html.UnescapeString(m[2])
			checked = checked || m[1] == "checked"
		}
		if t := a["type"]; (t == "radio" || t == "checkbox") && !checked {
			continue
		}
		form.Add(a["name"], a["value"])
	}
	for _, m := range textareaTag.FindAllStringSubmatch(page, -1) {
		form.Add(html.UnescapeString(m[1]), html.UnescapeString(m[2]))
	}
	return form
}

// What is said about what was typed, and what is kept of it.
func TestAskedOnceThenKeptAsWritten(t *testing.T) {
	for _, x := range []struct {
		kind, field, text string
		says              string // at the field; empty: it is saved at once
		odd               string // kept as written under the field's name
		body              string // in the bytes of the body
	}{
		{kind: "weather", field: "air", text: "52 F", body: `"air":52,`},
		{kind: "weather", field: "air", text: "52°f", body: `"air":52,`},
		{kind: "weather", field: "air", text: "900", says: "outside of what is usual, -40 F to 130 F", body: `"air":900,`},
		{kind: "weather", field: "air", text: "11 C", says: `"11 C" is not a number. Write it in F`, odd: "11 C"},
		{kind: "weather", field: "air", text: "12,5", says: "is not a number", odd: "12,5"},
		{kind: "weather", field: "gust", text: "3", says: "Are the two swapped?", body: `"gust":3`},
		{kind: "stone", field: "lb", text: "37,992 lb", body: `"lb":37992`},
		{kind: "stone", field: "lb", text: "-5", says: "outside of what is usual", body: `"lb":-5`},
		{kind: "stone", field: "lb", text: "19.5", says: "counted in whole lb", odd: "19.5"},
		{kind: "priming", field: "to", text: "62 kg", says: "62 kg", odd: "62 kg"},
		{kind: "priming", field: "to", text: "3000", says: "Seam 2|3 is 100 ft long", body: `"to":36000`},
		{kind: "priming", field: "to", text: "18.6 m", body: `"to":732.28125`},
		{kind: "panel", field: "panel-other", text: "77", says: "Panel 77 is not on the plan", body: `"panel":"77"`},
		{kind: "closed", field: "laps.1.lap", text: "2", says: "End lap 2: say where along the seam it is", odd: "0 at 71; 0 lap 1 1/2; 1 lap 2"},
		{kind: "stone", field: "panels", text: "", says: `Panel "3" has feet beside it but is not ticked`, odd: "3 from 10; 3 less 4; 3 to 90"},
		{kind: "covers", field: "places-other", text: "2|3 south splice; 9|10 at 4 ft", says: "9|10 4 ft is not on the plan", body: `{"on":"9|10","at":48}`},
		{kind: "start", field: "leaving", text: "half past four", says: `"half past four" is not a time of day`, odd: "half past four"},
		{kind: "start", field: "leaving", text: "09:00", says: "09:00 has passed already", body: `"leaving":"2026-10-06T14:00:00Z"`},
		{kind: "start", field: "leaving", text: "4:30 pm", body: `"leaving":"2026-10-06T21:30:00Z"`},
		{kind: "note", field: "text", text: "<b>wet</b> \u202eat\x07 nine\r\nthen dry", body: `"text":"\u003cb\u003ewet\u003c/b\u003e at nine\nthen dry"`},
		{kind: "note", field: "text", text: strings.Repeat("n", 2001), says: "This is 2,001 characters long", odd: strings.Repeat("n", 2001)},
		{kind: "note", field: "text", text: "", says: "The note is empty", body: `"text":""`},
	} {
		s := midMorning(t)
		form := s.goodForm(x.kind)
		form[x.field] = []string{x.text}
		path := "/job/hall/write/" + x.kind
		before := s.count()
		w := s.post(path, form)
		say := fmt.Sprintf("%s, %s = %.40q", x.kind, x.field, x.text)
		if x.says != "" {
			page := w.Body.String()
			if w.Code != http.StatusUnprocessableEntity || s.count() != before {
				t.Fatalf("%s: %d, %d written", say, w.Code, s.count()-before)
			}
			if n := strings.Count(html.UnescapeString(page), x.says); n < 2 {
				t.Errorf("%s: %q is said %d times, want it on top and at the field\n%s", say, x.says, n, page)
			}
			form = formIn(page)
			// Saving again without a word asks again; only the button keeps.
			if w := s.post(path, form); w.Code != http.StatusUnprocessableEntity {
				t.Errorf("%s: saved without an answer: %d", say, w.Code)
			}
			form.Set("keep", "as written")
			w = s.post(path, form)
		}
		if w.Code != http.StatusSeeOther || s.count() != before+1 {
			t.Errorf("%s: %d, %d written\n%s", say, w.Code, s.count()-before, w.Body)
			continue
		}
		e := s.last()
		if got := strings.Join(slices.Collect(maps.Values(e.Odd)), ""); got != x.odd {
			t.Errorf("%s: kept as written %.80q, want %.80q", say, got, x.odd)
		}
		if !strings.Contains(string(e.Raw()), x.body) {
			t.Errorf("%s: the entry has no %s: %s", say, x.body, e.Raw())
		}
	}
}

// An answer is for what was asked about. Something else that is odd is asked
// about again, though the button is the same.
func TestAnotherOddValueIsAskedAbout(t *testing.T) {
	s := midMorning(t)
	form := s.goodForm("weather")
	form.Set("air", "900")
	form = formIn(s.post("/job/hall/write/weather", form).Body.String())
	form.Set("air", "901")
	form.Set("keep", "as written")
	w := s.post("/job/hall/write/weather", form)
	if w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "Air of 901 F") {
		t.Errorf("another odd value was kept unasked: %d", w.Code)
	}
	if strings.Contains(w.Body.String(), "Air of 900 F is outside") && strings.Contains(w.Body.String(), `<li><a href="#f-air">Air of 900`) {
		t.Error("the value that is gone is still asked about")
	}
}

// Only a missing place or time refuses; then there is nothing to keep.
func TestPlaceAndTimeAreNeeded(t *testing.T) {
	for _, x := range []struct{ kind, field, says string }{
		{"panel", "panel", "Say which panel."},
		{"priming", "seam", "Say which seam."},
		{"covers", "places", "Say where: tap at least one place."},
		{"stone", "panels", "Say where the stone went."},
		{"temp", "strips", "Say where the temporary ballast lies."},
		{"weather", "at", "Say when: tap one of the times."},
	} {
		s := midMorning(t)
		form := s.goodForm(x.kind)
		for name := range form { // and all that belongs to it
			if name == x.field || x.kind == "temp" && name == "panels" || x.kind == "stone" && name == "strips" || strings.HasPrefix(name, x.field+".") {
				delete(form, name)
			}
		}
		w := s.post("/job/hall/write/"+x.kind, form)
		page := w.Body.String()
		if w.Code != http.StatusUnprocessableEntity || !strings.Contains(page, x.says) || !strings.Contains(page, `id="faults"`) {
			t.Errorf("%s without %s: %d, want it to say %q\n%s", x.kind, x.field, w.Code, x.says, page)
		}
		if strings.Contains(page, "Keep as written") {
			t.Errorf("%s without %s can be kept as written", x.kind, x.field)
		}
		for _, want := range []string{"<title>Not saved: ", "autofocus", `role="alert"`, "aria-invalid"} {
			if !strings.Contains(page, want) {
				t.Errorf("%s without %s: the page lacks %s", x.kind, x.field, want)
			}
		}
	}
}

// Times that are hard to believe are asked about, never refused.
func TestOddTimesAreAskedAbout(t *testing.T) {
	for _, x := range []struct{ at, other, says string }{
		{"now", "", ""},
		{"15", "", ""},
		{"09:30", "", ""},
		{"other", "10:16", ""}, // a clock may be a few minutes off
		{"other", "13:05", "13:05 is still to come"},
		{"other", "01:30", "01:30 is still to come"}, // the night after
		{"other", "06:40", "06:40 is before the day was started, at 07:15"},
		{"=2026-10-06T15:00:00Z~15", "", ""},
		{"=2026-10-05T15:00:00Z~0", "", "10:00 on Monday 5 October is not on Tuesday 6 October"},
		{"=1921-10-05T15:00:00Z~0", "", "on Wednesday 5 October 1921 is not on"},
		{"=2100-10-05T15:00:00Z~0", "", "on Tuesday 5 October 2100 is still to come"},
	} {
		s := midMorning(t)
		form := s.goodForm("flat")
		form.Set("at", x.at)
		form.Set("at-other", x.other)
		w := s.post("/job/hall/write/flat", form)
		if x.says == "" {
			if w.Code != http.StatusSeeOther {
				t.Errorf("%s %s: %d\n%s", x.at, x.other, w.Code, w.Body)
			}
			continue
		}
		if w.Code != http.StatusUnprocessableEntity || strings.Count(w.Body.String(), x.says) < 2 {
			t.Errorf("%s %s: %d, want it to say %q\n%s", x.at, x.other, w.Code, x.says, w.Body)
			continue
		}
		form = formIn(w.Body.String())
		form.Set("keep", "as written")
		if w := s.post("/job/hall/write/flat", form); w.Code != http.StatusSeeOther {
			t.Errorf("%s %s, kept as written: %d\n%s", x.at, x.other, w.Code, w.Body)
		}
	}
}

// A form that comes back keeps the moment of its first tap, however long the
// question stood.
func TestTheTapStaysTheTap(t *testing.T) {
	s := midMorning(t)
	form := s.goodForm("weather")
	form.Set("air", "900")
	form = formIn(s.post("/job/hall/write/weather", form).Body.String())
	s.at("10:19")
	form.Set("keep", "as written")
	if w := s.post("/job/hall/write/weather", form); w.Code != http.StatusSeeOther {
		t.Fatal(w.Code)
	}
	e := s.last()
	if got := e.At.In(s.zone).Format("15:04"); got != "10:12" || e.About != 0 {
		t.Errorf("logged at %s, about %d; want the tap at 10:12", got, e.About)
	}
	if got := e.Made.In(s.zone).Format("15:04"); got != "10:19" {
		t.Errorf("made %s, want 10:19", got)
	}
}

// Work that took a while.
func TestFromTo(t *testing.T) {
	s := midMorning(t)
	form := s.goodForm("covers")
	form.Set("begun", TimeOther)
	form.Set("begun-other", "09:50")
	if w := s.post("/job/hall/write/covers", form); w.Code != http.StatusSeeOther {
		t.Fatal(w.Code, w.Body)
	}
	e := s.last()
	if from, to := e.At.In(s.zone).Format("15:04"), e.To.In(s.zone).Format("15:04"); from != "09:50" || to != "10:12" || e.About != 0 {
		t.Errorf("from %s to %s, about %d: the wait runs from its end, which is sure", from, to, e.About)
	}
	form = s.goodForm("treatment")
	form["begun"], form["begun-other"] = []string{TimeOther}, []string{"09:50"}
	if w := s.post("/job/hall/write/treatment", form); w.Code != http.StatusSeeOther || s.last().About != aboutPicked {
		t.Errorf("what counts from its beginning: about %d", s.last().About)
	}
	form = s.goodForm("covers")
	form.Set("begun", TimeOther)
	form.Set("begun-other", "10:14")
	if w := s.post("/job/hall/write/covers", form); !strings.Contains(w.Body.String(), "Are the two swapped?") {
		t.Errorf("begun after it was done: %d", w.Code)
	}
	form.Set("begun-other", "ten")
	w := s.post("/job/hall/write/covers", form)
	form = formIn(w.Body.String())
	form.Set("keep", "as written")
	if w := s.post("/job/hall/write/covers", form); w.Code != http.StatusSeeOther || s.last().Odd["begun"] != "ten" {
		t.Errorf("an unreadable beginning: %d, kept %v", w.Code, s.last().Odd)
	}
}

// A seam without feet is all of it.
func TestWholeSeam(t *testing.T) {
	s := midMorning(t)
	s.fill("/job/hall/write/priming", url.Values{"seam": {"2|3"}, "from": {""}, "to": {""}})
	if raw := string(s.last().Raw()); !strings.Contains(raw, `"from":0,"to":1200`) {
		t.Error(raw)
	}
	s.fill("/job/hall/write/priming", url.Values{"seam": {"2|3"}, "from": {"60"}, "to": {""}})
	if raw := string(s.last().Raw()); !strings.Contains(raw, `"from":720,"to":1200`) {
		t.Error(raw)
	}
}

// Sent twice, a form is written once and answered alike; sent again with other
// words it changes nothing and says what stands.
func TestFormsAreWrittenOnce(t *testing.T) {
	for _, kind := range []string{"panel", "weather", "covers", "stone", "note"} {
		s := midMorning(t)
		form := s.goodForm(kind)
		before := s.count()
		path := "/job/hall/write/" + kind
		first := s.post(path, form)
		s.at("10:15") // "now" is another now
		again := s.post(path, form)
		if first.Code != http.StatusSeeOther || again.Code != first.Code || again.Header().Get("Location") != first.Header().Get("Location") {
			t.Errorf("%s: answered %d %s, then %d %s", kind, first.Code, first.Header().Get("Location"), again.Code, again.Header().Get("Location"))
		}
		if s.count() != before+1 {
			t.Errorf("%s: sent twice, written %d times", kind, s.count()-before)
		}
		for name, text := range map[string]string{"panel": "4", "air": "53", "places-other": "2|3 north", "lb": "1300", "text": "wet at nine"} {
			if !form.Has(name) {
				continue
			}
			other := maps.Clone(form)
			other[name] = []string{text}
			w := s.post(path, other)
			if w.Code != http.StatusConflict || !strings.Contains(w.Body.String(), "This form was saved before") || !strings.Contains(w.Body.String(), "10:12 ") {
				t.Errorf("%s: %s changed: %d\n%s", kind, name, w.Code, w.Body)
			}
		}
		other := maps.Clone(form)
		other["at"], other["at-other"] = []string{TimeOther}, []string{"10:01"}
		if w := s.post(path, other); w.Code != http.StatusConflict {
			t.Errorf("%s: another time: %d", kind, w.Code)
		}
		other = s.goodForm("flat") // the number of another kind's form
		other.Set("form", form.Get("form"))
		if w := s.post("/job/hall/write/flat", other); w.Code != http.StatusConflict {
			t.Errorf("%s: its number on another form: %d", kind, w.Code)
		}
		if s.count() != before+1 {
			t.Errorf("%s: written %d times in the end", kind, s.count()-before)
		}
	}
}

// What a form loses on its way it gets anew, and keeps what was typed.
func TestLostHiddenFields(t *testing.T) {
	for _, x := range []struct{ name, value, says string }{
		{"form", "", "lost its number"},
		{"form", "<script>", "lost its number"},
		{"form", strings.Repeat("a", 5000), "lost its number"},
		{"day", "yesterday", "lost its day. It is now for Tuesday 6 October"},
		{"day", "0001-01-01", "lost its day"},
		{"day", "9999-12-31", "lost its day"},
		{"day", "\xff", "lost its day"},
	} {
		s := midMorning(t)
		form := s.goodForm("note")
		form.Set(x.name, x.value)
		form.Set("text", "dry <at> nine")
		before := s.count()
		w := s.post("/job/hall/write/note", form)
		if w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), x.says) || s.count() != before {
			t.Errorf("%s = %.20q: %d\n%s", x.name, x.value, w.Code, w.Body)
		}
		back := formIn(w.Body.String())
		if back.Get("text") != "dry <at> nine" {
			t.Errorf("%s = %.20q: typed text is gone", x.name, x.value)
		}
		if w := s.post("/job/hall/write/note", back); w.Code != http.StatusSeeOther {
			t.Errorf("%s = %.20q, saved again: %d\n%s", x.name, x.value, w.Code, w.Body)
		}
	}
}

// A form left open over night asks which day it is for.
func TestFormOfAnotherDay(t *testing.T) {
	s := midMorning(t)
	form := s.goodForm("note")
	s.now = s.now.Add(24 * time.Hour)
	w := s.post("/job/hall/write/note", form)
	if w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "is not on Tuesday 6 October, which this is written for") {
		t.Errorf("a form of yesterday, tapped now: %d\n%s", w.Code, w.Body)
	}
	form = s.formOn("/job/hall/write/note?day=2026-10-06")
	if got := form.Get("at"); got != TimeOther {
		t.Errorf("a form for yesterday offers %q, want a typed time", got)
	}
	form.Set("text", "dry")
	form.Set("at-other", "11:00")
	w = s.post("/job/hall/write/note", form)
	if !strings.Contains(w.Body.String(), "This is written for Tuesday 6 October, not for today") {
		t.Errorf("written late: %d", w.Code)
	}
	form = formIn(w.Body.String())
	form.Set("keep", "as written")
	w = s.post("/job/hall/write/note", form)
	if w.Code != http.StatusSeeOther || s.last().Day != "2026-10-06" || !strings.Contains(w.Header().Get("Location"), "day=2026-10-06") {
		t.Errorf("kept for yesterday: %d %s", w.Code, s.last().Day)
	}
}

// Forms come filled in with what is known; what is not known is passed over.
func TestPrefilled(t *testing.T) {
	s := midMorning(t)
	form := s.formOn("/job/hall/write/closed?" + url.Values{"with": {`{"seam":"2|3","from":720,"to":1200,"laps":[{"at":852,"lap":1.5}],"splices":["north"],"unbroomed":true,"nonsense":{"a":[1]}}`}}.Encode())
	for name, want := range map[string]string{"seam": "2|3", "from": "60", "to": "100", "laps.0.at": "71", "laps.0.lap": "1 1/2", "splices": "north", "unbroomed": "on", "at": "now", "nonsense": ""} {
		if got := form.Get(name); got != want {
			t.Errorf("%s = %q, want %q", name, got, want)
		}
	}
	form = s.formOn("/job/hall/write/covers?" + url.Values{"with": {`{"places":[{"on":"2|3@north"},{"on":"2|3","at":492}]}`}, "at": {"=2026-10-06T14:44:00Z~15"}}.Encode())
	if got := form["places"]; len(got) != 2 {
		t.Errorf("places ticked: %q", got)
	}
	if got := form.Get("at"); got != "=2026-10-06T14:44:00Z~15" {
		t.Errorf("when: %q", got)
	}
	form = s.formOn("/job/hall/write/stone?" + url.Values{"with": {`{"panels":[{"panel":"3","from":0,"to":0,"less":48}]}`}}.Encode())
	if form.Get("panels") != "3" || form.Get("panels.3.less") != "4" {
		t.Errorf("stone: %v", form)
	}
	for _, bad := range []string{"{", "5", `"x"`, "[]", strings.Repeat("[", 10000), "\x00", "\xff"} {
		if w := s.get("/job/hall/write/closed?" + url.Values{"with": {bad}}.Encode()); w.Code != http.StatusBadRequest || !strings.Contains(w.Body.String(), "<h1>") {
			t.Errorf("with=%.20q: %d, want a plain page", bad, w.Code)
		}
	}
	for _, odd := range []string{"null", "{}", `{"seam":5,"from":"x","to":1e308,"laps":"x","splices":{"a":1},"unbroomed":"<b>"}`, `{"seam":null,"from":-1e-300,"laps":[5,{"at":"x"}]}`} {
		for _, k := range writable() {
			if w := s.get("/job/hall/write/" + k.Name + "?" + url.Values{"with": {odd}}.Encode()); w.Code != http.StatusOK {
				t.Errorf("%s with=%s: %d", k.Name, odd, w.Code)
			}
		}
	}
}

// The crew of yesterday is ticked this morning.
func TestCrewIsCarriedForward(t *testing.T) {
	s := newSite(t)
	s.write(&daylog.Person{Person: "bo", Name: "Bo Invented", Role: "crew"})
	s.fill("/job/hall/write/start", url.Values{"leaving": {"15:30"}, "crew": {"bo"}})
	s.now = s.now.Add(24 * time.Hour)
	if got := s.formOn("/job/hall/write/start")["crew"]; !slices.Equal(got, []string{"bo"}) {
		t.Errorf("ticked: %q", got)
	}
}

// Every control has a name of its own and every label and reference leads to
// it, on every form, as asked and as refused.
func TestFormsHoldTogether(t *testing.T) {
	s := midMorning(t)
	pages := map[string]string{}
	for _, k := range writable() {
		pages[k.Name] = s.get("/job/hall/write/" + k.Name).Body.String()
		pages[k.Name+" refused"] = s.post("/job/hall/write/"+k.Name, url.Values{"at": {"x"}, "air": {"x"}, "from": {"x"}, "laps.0.at": {"x"}, "leaving": {"x"}}).Body.String()
	}
	pages["run"] = s.get("/job/hall/run?seam=2|3&from=60&to=100").Body.String()
	pages["run refused"] = s.post("/job/hall/run", url.Values{"did.test": {"on"}, "did.closed": {"on"}}).Body.String()
	pages["sign"] = s.get("/job/hall/leaving").Body.String()
	pages["now"] = s.get("/job/hall/").Body.String()
	pages["entries"] = s.get("/job/hall/entries").Body.String()
	holdTogether(t, pages)
}
