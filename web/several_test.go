package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"duskline/internal/daylog"
)

// stepOf finds the step of a set's form that writes a kind.
func stepOf(form url.Values, kind string) string {
	for i, step := range form["step"] {
		if name, _, _ := strings.Cut(step, " "); name == kind {
			return fmt.Sprintf("s%d", i)
		}
	}
	return "none"
}

// What the crew wrote on one morning is offered on the next: one tick each, and
// it is said where it comes from.
func TestAsYesterday(t *testing.T) {
	s := newSite(t)
	s.write(&daylog.Person{Person: "bo", Name: "Bo Invented", Role: "crew"}, &daylog.Person{Person: "cy", Name: "Cy Invented", Role: "crew"},
		&daylog.Person{Person: "max", Name: "Max Invented", Role: "manager"})
	form := s.formOn("/job/hall/several/morning")
	if got := form["s0.crew"]; !slices.Equal(got, []string{"ada", "bo", "cy"}) {
		t.Errorf("on the first morning %q are offered as the crew", got)
	}
	form["s0.crew"] = []string{"ada", "bo"}
	fall, briefing, lot := stepOf(form, "fall"), stepOf(form, "briefing"), stepOf(form, "lot")
	form.Set("did."+fall, "on")
	form[fall+".means"] = []string{"guardrail", "monitor"}
	form.Set("did."+briefing, "on")
	form.Set(briefing+".topic", "hoisting")
	form.Set("did."+lot, "on")
	form.Set(lot+".lot", "T-120")
	form.Set(lot+".until", "2027-06-30")
	before := s.count()
	if w := s.post("/job/hall/several/morning", form); w.Code != http.StatusSeeOther || s.count() != before+4 {
		t.Fatalf("%d, %d written\n%s", w.Code, s.count()-before, text(w.Body.String()))
	}
	s.at("15:00")
	evening := s.formOn("/job/hall/several/evening")
	gear := stepOf(evening, "equipment")
	evening.Set("did."+gear, "on")
	evening[gear+".items"] = []string{"conveyor"}
	evening.Set(gear+".hours", "2.5")
	if w := s.post("/job/hall/several/evening", evening); w.Code != http.StatusSeeOther {
		t.Fatal(w.Code, text(w.Body.String()))
	}

	s.now = s.now.AddDate(0, 0, 1)
	s.now = s.now.Add(-8 * 60 * 60 * 1e9)
	page := s.get("/job/hall/several/morning").Body.String()
	form = formIn(page)
	for name, want := range map[string][]string{
		"s0.crew": {"ada", "bo"}, stepOf(form, "fall") + ".means": {"guardrail", "monitor"}, stepOf(form, "fall") + ".competent": {"ada"},
		stepOf(form, "briefing") + ".led": {"ada"}, stepOf(form, "briefing") + ".topic": {""},
	} {
		if !slices.Equal(form[name], want) {
			t.Errorf("the next morning offers %s = %q, want %q", name, form[name], want)
		}
	}
	if !strings.Contains(text(page), "Fall protection and holes as on Tuesday 6 October") {
		t.Error("nothing says where it comes from")
	}
	if slices.ContainsFunc(form["step"], func(step string) bool { return strings.Contains(step, `"tape"`) }) {
		t.Error("the tape's lot is asked again: it carries forward until the next is opened")
	}
	if form.Get("did."+stepOf(form, "fall")) != "" || form.Get("did.s0") == "" {
		t.Error("only the start is ticked before anybody looked")
	}
	form.Set("did."+stepOf(form, "fall"), "on")
	before = s.count()
	if w := s.post("/job/hall/several/morning", form); w.Code != http.StatusSeeOther || s.count() != before+2 {
		t.Fatalf("%d, %d written\n%s", w.Code, s.count()-before, text(w.Body.String()))
	}
	if got := formIn(s.get("/job/hall/write/equipment").Body.String()); got.Get("hours") != "2.5" || got.Get("items") != "conveyor" {
		t.Errorf("equipment is offered as %v", got)
	}
}

// A form of several comes back whole: what is wrong stands at its field, the
// steps that were asked stay those that were asked, and nothing is half written.
func TestSeveralComeBackWhole(t *testing.T) {
	s := midMorning(t)
	form := s.formOn("/job/hall/several/work")
	flat, weather := stepOf(form, "flat"), stepOf(form, "weather")
	form.Set("did."+flat, "on")
	form.Set("did."+weather, "on")
	form.Set(weather+".air", "warm")
	form.Set(flat+".at", TimeOther)
	form.Set(flat+".at-other", "half nine")
	before := s.count()
	s.write(&daylog.LapFlat{Panel: "3"}) // from another page: the day lacks it no more
	w := s.post("/job/hall/several/work", form)
	back := formIn(w.Body.String())
	if w.Code != http.StatusUnprocessableEntity || s.count() != before+1 {
		t.Fatalf("%d, %d written", w.Code, s.count()-before)
	}
	for _, name := range []string{"did." + flat, weather + ".air", flat + ".at-other", "form"} {
		if back.Get(name) != form.Get(name) {
			t.Errorf("%s came back as %q, typed %q", name, back.Get(name), form.Get(name))
		}
	}
	if !slices.Equal(back["step"], form["step"]) {
		t.Errorf("the steps came back as %q", back["step"])
	}
	for _, want := range []string{`"half nine" is not a time of day`, `"warm" is not a number`} {
		if !strings.Contains(text(w.Body.String()), strings.NewReplacer(`"`, `&#34;`).Replace(want)) && !strings.Contains(text(w.Body.String()), want) {
			t.Errorf("it does not say %s", want)
		}
	}
	back.Set(flat+".at-other", "09:30")
	back.Set("keep", "as written")
	if w := s.post("/job/hall/several/work", back); w.Code != http.StatusSeeOther || s.count() != before+3 {
		t.Fatalf("put right: %d, %d written\n%s", w.Code, s.count()-before, text(w.Body.String()))
	}
	if e := s.last(); e.Odd["air"] != "warm" || e.About != aboutPicked {
		t.Errorf("kept as written: %s", e.Raw())
	}
	if w := s.post("/job/hall/several/work", back); w.Code != http.StatusSeeOther || s.count() != before+3 {
		t.Errorf("sent again: %d, %d written", w.Code, s.count()-before)
	}
	for _, steps := range [][]string{nil, {"nothing"}, {"sign"}, {`flat {"panel":`}, slices.Repeat([]string{"note"}, mostSteps+1)} {
		form["step"] = steps
		if w := s.post("/job/hall/several/work", form); w.Code != http.StatusUnprocessableEntity && w.Code != http.StatusBadRequest {
			t.Errorf("%.40q: %d", steps, w.Code)
		}
	}
	if w := s.get("/job/hall/several/night"); w.Code != http.StatusNotFound {
		t.Errorf("a set that is none: %d", w.Code)
	}
}

// "Photo taken" keeps the place and the time of what the photo is of.
func TestPhotoTaken(t *testing.T) {
	s := midMorning(t)
	form := s.goodForm("covers")
	form.Set("photo", "on")
	before := s.count()
	if w := s.post("/job/hall/write/covers", form); w.Code != http.StatusSeeOther || s.count() != before+2 {
		t.Fatalf("%d, %d written", w.Code, s.count()-before)
	}
	e := s.last()
	p, ok := e.Body.(*daylog.Photo)
	if !ok || p.Seam != "2|3" || !e.At.Equal(s.now) || e.About != 0 || !strings.Contains(p.Text, "covers") || e.ID != form.Get("form")+".1" {
		t.Errorf("wrote %s", e.Raw())
	}
	if w := s.post("/job/hall/write/covers", form); w.Code != http.StatusSeeOther || s.count() != before+2 {
		t.Errorf("sent again: %d, %d written", w.Code, s.count()-before)
	}
}

// Who did it is written and read, offered to whoever does the like next, and
// stays when the line is corrected.
func TestWhoDidIt(t *testing.T) {
	s := midMorning(t)
	s.fill("/job/hall/write/priming", url.Values{"seam": {"2|3"}, "from": {"60"}, "to": {"80"}, "by": {"bo", "nobody"}})
	first := s.last()
	if !slices.Equal(first.By, []string{"bo"}) {
		t.Errorf("by %q", first.By)
	}
	if got := s.row("Priming 2|3, 60 to 80 ft"); !strings.Contains(got, "by Bo Invented") {
		t.Errorf("Entries reads %q", got)
	}
	if got := s.formOn("/job/hall/write/priming")["by"]; !slices.Equal(got, []string{"bo"}) {
		t.Errorf("offered next: %q", got)
	}
	s.fill("/job/hall/entry/"+first.ID+"/correct", url.Values{"to": {"70"}, "why": {"short"}})
	if e := s.last(); !slices.Equal(e.By, []string{"bo"}) || e.Of != first.ID {
		t.Errorf("corrected: %s", e.Raw())
	}
	if s.formOn("/job/hall/write/weather").Has("by") {
		t.Error("the weather has nobody who did it")
	}
}

// "At lunch" is when the crew had its lunch, once that is written.
func TestAtLunch(t *testing.T) {
	s := midMorning(t)
	s.at("13:00")
	if page := s.read("/job/hall/write/note"); !strings.Contains(page, "Break 09:30 Lunch 12:30 Other") {
		t.Errorf("the times offered: %s", page)
	}
	s.fill("/job/hall/write/break", url.Values{"lunch": {"on"}, "at": {TimeOther}, "at-other": {"12:40"}, "begun": {TimeOther}, "begun-other": {"12:10"}})
	if page := s.read("/job/hall/write/note"); !strings.Contains(page, "Break 09:30 Lunch 12:10 Other") {
		t.Errorf("after lunch was written: %s", page)
	}
	s.fill("/job/hall/write/note", url.Values{"text": {"dry"}, "at": {"12:10"}})
	if e := s.last(); e.At.In(s.zone).Format("15:04") != "12:10" || e.About != aboutPicked {
		t.Errorf("at lunch: %s", e.Raw())
	}
}
