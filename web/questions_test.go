package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// answered is what a question's button sends.
func (s *tried) answered(words, say string) (sent url.Values, found bool) {
	s.t.Helper()
	for _, part := range strings.Split(s.get("/job/hall/").Body.String(), `<article class="warning asked">`)[1:] {
		card, _, _ := strings.Cut(part, "</article>")
		_, form, asks := strings.Cut(card, `action="/job/hall/asked"`)
		if asks && strings.Contains(text(card), words) {
			sent = formIn(form)
			sent.Set("say", say)
			return sent, true
		}
	}
	return nil, false
}

// At the break Now asks for what is probably missing; a yes leads to the filled
// form, a no and a later outlive the program that took them, and neither is a
// line of the day.
func TestQuestionsOnNow(t *testing.T) {
	s := newSite(t)
	s.fill("/job/hall/write/start", nil)
	const panel = "Is panel 3 in position by now?"
	s.at("09:00")
	if _, asked := s.answered(panel, "no"); asked {
		t.Error("asked before the break")
	}
	s.at("09:32")
	later, asked := s.answered(panel, "later")
	if !asked {
		t.Fatalf("not asked: %s", s.read("/job/hall/"))
	}
	if page := s.get("/job/hall/").Body.String(); !strings.Contains(page, "/job/hall/write/panel?with=") {
		t.Error("yes does not lead to the filled form")
	}
	lines, before := len(s.today().Lines), s.count()
	for range 2 {
		if w := s.post("/job/hall/asked", later); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/job/hall/" || s.count() != before+1 {
			t.Fatalf("%d, %d written\n%s", w.Code, s.count()-before, w.Body)
		}
	}
	s.open() // the worker was stopped
	if _, asked := s.answered(panel, "no"); asked || len(s.today().Lines) != lines || strings.Contains(s.read("/job/hall/entries"), "question") {
		t.Errorf("later, and asked again: %v; %d lines more", asked, len(s.today().Lines)-lines)
	}
	s.at("12:31")
	no, asked := s.answered(panel, "no")
	if !asked {
		t.Fatal("not asked again at lunch")
	}
	s.post("/job/hall/asked", no)
	s.open()
	if _, asked := s.answered(panel, "no"); asked {
		t.Error("no, and asked again")
	}
	before = s.count()
	for _, bad := range []url.Values{{}, {"say": {"perhaps"}}, {"key": {""}}, {"key": {strings.Repeat("x", 300)}}, {"form": {"x"}}} {
		form := url.Values{"form": {newID(7)}, "day": {triedDay}, "key": {"x"}, "say": {"no"}}
		for name, texts := range bad {
			form[name] = texts
		}
		if len(bad) == 0 {
			form = bad
		}
		if w := s.post("/job/hall/asked", form); w.Code != http.StatusBadRequest || s.count() != before {
			t.Errorf("%v: %d", bad, w.Code)
		}
	}
}

// A yes that needs no more is saved by its tap, and can be undone.
func TestYesInOneTap(t *testing.T) {
	s := midMorning(t)
	s.at("14:55")
	yes, found := s.buttons("/job/hall/")["Yes"]
	for !found { // what needs more is asked first
		no, asked := s.answered("?", "no")
		if !asked {
			t.Fatal("nothing more is asked")
		}
		s.post("/job/hall/asked", no)
		yes, found = s.buttons("/job/hall/")["Yes"]
	}
	before := s.count()
	w := s.post(yes.to, yes.sent)
	if w.Code != http.StatusSeeOther || s.count() != before+1 || s.undoForm(w.Header().Get("Location")) == nil {
		t.Fatalf("%s %v: %d, %d written", yes.to, yes.sent, w.Code, s.count()-before)
	}
}
