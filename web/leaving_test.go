package web

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
)

// The page lists what is open place by place, says when people leave, and comes
// to the signature once everything is answered.
func TestLeaving(t *testing.T) {
	s := midMorning(t)
	s.at("15:00") // tools down is 15:10
	page := s.get("/job/hall/leaving").Body.String()
	read := text(page)
	for _, want := range []string{"Off the roof 15:30 everybody, tools down 15:10", "Panel 3", "Run 2|3", "with neither stone nor temporary ballast", "Let it stand",
		"The day can be signed once all of this is settled"} {
		if !strings.Contains(read, want) {
			t.Errorf("Leaving lacks %q: %s", want, read)
		}
	}
	if strings.Contains(page, `name="statement"`) {
		t.Error("it can be signed with things open")
	}
	if !strings.Contains(page, `aria-current="page">Leaving`) {
		t.Error("it is not in the menu")
	}
	// All that holds the signature up is let stand with one reason, and the form
	// leads back here.
	form := s.signForm()
	if got := s.read("/job/hall/leaving"); !strings.Contains(got, "Frozen with the signature") || strings.Contains(got, "The day can be signed once") {
		t.Errorf("nothing holds it up: %s", got)
	} else if strings.Contains(got, "Covers on run 2|3") {
		t.Errorf("what was let stand is still owed: %s", got)
	}
	if w := s.post("/job/hall/sign", form); !strings.HasPrefix(w.Header().Get("Location"), "/job/hall/leaving?saved=") {
		t.Errorf("signed, it leads to %q", w.Header().Get("Location"))
	}
	if got := s.read("/job/hall/leaving"); !strings.Contains(got, "Signed 15:00 by Ada Invented") || strings.Contains(got, "Then sign") {
		t.Errorf("signed, it reads %s", got)
	}
}

// A form that was opened from Leaving comes back to it, with what was saved and
// the way to undo it.
func TestLeavingAndBack(t *testing.T) {
	s := midMorning(t)
	s.at("15:00")
	_, page, _ := strings.Cut(s.get("/job/hall/leaving").Body.String(), `href="/job/hall/write/`)
	path, _, _ := strings.Cut(page, `"`)
	path = "/job/hall/write/" + strings.ReplaceAll(path, "&amp;", "&")
	form := s.formOn(path)
	if form.Get("then") != "leaving" || !strings.Contains(s.get(path).Body.String(), "Back to Leaving") {
		t.Fatalf("%s does not know where it came from", path)
	}
	target, _, _ := strings.Cut(path, "?")
	if target == "/job/hall/write/leaving" {
		form.Set("leaving", "16:00")
	}
	next := s.post(target, form).Header().Get("Location")
	if !strings.HasPrefix(next, "/job/hall/leaving?saved=") || !strings.Contains(s.read(next), "Saved.") {
		t.Fatalf("it leads to %q", next)
	}
	undo := s.undoForm(next)
	if next = s.post("/job/hall/undo", undo).Header().Get("Location"); !strings.HasPrefix(next, "/job/hall/leaving?undone=") {
		t.Errorf("undone, it leads to %q", next)
	}
}

// While some leave and others stay nothing is asked of those who go, and the day
// is not signed yet.
func TestSomeLeaveEarlier(t *testing.T) {
	s := midMorning(t)
	s.write(&daylog.Person{Person: "bo", Name: "Bo Invented"})
	form := s.goodForm("leaving")
	form.Set("leaving", "18:45")
	form["persons"] = []string{"bo"}
	if w := s.post("/job/hall/write/leaving", form); w.Code != http.StatusSeeOther {
		t.Fatal(w.Code, w.Body)
	}
	s.at("15:00")
	read := s.read("/job/hall/leaving")
	for _, want := range []string{"Off the roof 15:30 everybody else", "Off the roof 18:45 Bo Invented, tools down 18:25", "asked of those who leave last, at 18:45"} {
		if !strings.Contains(read, want) {
			t.Errorf("Leaving lacks %q: %s", want, read)
		}
	}
	if strings.Contains(read, "neither stone nor temporary ballast") {
		t.Errorf("it asks those who go first for all of it: %s", read)
	}
	s.at("18:00")
	if read := s.read("/job/hall/leaving"); !strings.Contains(read, "neither stone nor temporary ballast") {
		t.Errorf("the last are about to leave: %s", read)
	}
}

// What another tablet may have done and was not heard is said in so many words.
func TestLeavingSaysWhatWasNotHeard(t *testing.T) {
	s := midMorning(t)
	head := daylog.ChainStart("hall", "other")
	e := daylog.Entry{Job: "hall", Device: "other", Seq: 1, Tick: 900, Prev: head.Prev(), ID: "zz", Day: triedDay, At: s.now.UTC(), Made: s.now.UTC(),
		Body: &daylog.LapFlat{Panel: "3"}}
	raw, err := daylog.Encode(&e)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.log.Receive(context.Background(), "hall", raw); err != nil {
		t.Fatal(err)
	}
	s.at("15:20")
	if read := s.read("/job/hall/leaving"); !strings.Contains(read, "Nothing is said of what may be missing at materials, panel 3, night seal, drains, the day's record: not heard since 10:12.") {
		t.Error(read)
	}
}

// Who may only read sees what is open, and nothing to write.
func TestLeavingForReaders(t *testing.T) {
	s := midMorning(t)
	s.at("15:00")
	s.who = func(*http.Request, *daylog.Setup) Who { return Who{Reads: true} }
	s.open()
	page := s.get("/job/hall/leaving").Body.String()
	if !strings.Contains(page, "The foreman signs the day.") || strings.Contains(page, "/write/") || strings.Contains(page, "<form") || strings.Contains(page, "/aside") {
		t.Error(page)
	}
}

// windy is a morning with gusts over the limit and work all the same.
func windy(t *testing.T) *tried {
	s := midMorning(t)
	s.fill("/job/hall/write/fall", url.Values{"means": {"guardrail"}, "competent": {"ada"}})
	s.fill("/job/hall/write/weather", url.Values{"air": {"60"}, "wind": {"25"}, "gust": {"45"}})
	s.at("10:20")
	s.fill("/job/hall/write/panel", url.Values{"panel": {"4"}})
	return s
}

// What can hurt people is answered by name: it is never set aside, it holds the
// signature up until then, and it is frozen with the name.
func TestAnswerForIt(t *testing.T) {
	s := windy(t)
	page := s.get("/job/hall/").Body.String()
	card := page[strings.Index(page, `<article class="warning people`):]
	card, _, _ = strings.Cut(card, "</article>")
	if !strings.Contains(text(card), "Ada Invented answers for it.") || !strings.Contains(card, "Answer for it") {
		t.Fatalf("the card reads %s", text(card))
	}
	_, link, _ := strings.Cut(card, `href="/job/hall/aside`)
	link, _, _ = strings.Cut(link, `"`)
	path := "/job/hall/aside" + strings.ReplaceAll(link, "&amp;", "&")
	form := s.formOn(path)
	if form.Get("person") != "ada" {
		t.Errorf("it offers %q, not the competent person", form.Get("person"))
	}
	before := s.count()
	for field, value := range map[string]string{"reason": " ", "person": "nobody"} {
		bad := url.Values{"reason": {"sheet\r\nweighted"}}
		for name, texts := range form {
			if name != "reason" {
				bad[name] = texts
			}
		}
		bad.Set(field, value)
		w := s.post("/job/hall/aside", bad)
		if w.Code != http.StatusUnprocessableEntity || s.count() != before || field == "person" && formIn(w.Body.String()).Get("reason") != "sheet\r\nweighted" && formIn(w.Body.String()).Get("reason") != "sheet\nweighted" {
			t.Errorf("%s=%q: %d %q", field, value, w.Code, formIn(w.Body.String()).Get("reason"))
		}
	}
	form.Set("reason", "sheet weighted, all off the lee side")
	for range 2 {
		if w := s.post("/job/hall/aside", form); w.Code != http.StatusSeeOther || s.count() != before+1 {
			t.Fatalf("%d, %d written\n%s", w.Code, s.count()-before, w.Body)
		}
	}
	if got, ok := s.last().Body.(*daylog.Answered); !ok || got.Person != "ada" || got.Words == "" {
		t.Errorf("wrote %s", s.last().Raw())
	}
	page = s.get("/job/hall/").Body.String()
	if strings.Contains(strings.Join(s.findings(), ";"), "people "+form.Get("words")) || !strings.Contains(text(page), "Done: sheet weighted, all off the lee side Ada Invented answers for it, 10:20") {
		t.Errorf("answered, Now reads %s", text(page))
	}
	s.at("15:15")
	s.sign()
	found := false
	for _, stood := range s.today().Signatures[0].Stood {
		found = found || stood.By == "ada" && stood.Reason == "sheet weighted, all off the lee side"
	}
	if read := s.read("/job/hall/leaving"); !found || !strings.Contains(read, "Answered for by Ada Invented: sheet weighted") {
		t.Errorf("frozen: %v; %s", s.today().Signatures[0].Stood, read)
	}
}

// forms are what each button of a page would send, by its words.
func (s *tried) buttons(path string) map[string]struct {
	to   string
	sent url.Values
} {
	s.t.Helper()
	all := map[string]struct {
		to   string
		sent url.Values
	}{}
	for _, part := range strings.Split(s.get(path).Body.String(), `<form method="post" action="`)[1:] {
		to, rest, _ := strings.Cut(part, `"`)
		form, _, _ := strings.Cut(rest, "</form>")
		_, label, _ := strings.Cut(form, "<button")
		_, label, _ = strings.Cut(label, "<b>")
		label, _, _ = strings.Cut(label, "</b>")
		all[label] = struct {
			to   string
			sent url.Values
		}{to, formIn(form)}
	}
	return all
}

// One tap writes down what one act did, as of now; what is owed goes with it.
func TestOwedInOneTap(t *testing.T) {
	s := midMorning(t)
	for _, x := range []struct{ at, label, kind, body string }{
		{"10:15", "Walked now", "check", ""},
		{"10:16", "Rolled now", "covers", `"places":[{"on":"2|3@south","x":`},
		{"10:17", "Secured now", "edge", `"edges":["3@south","3@north"],"done":"secured"`},
		{"14:20", "Treated now", "treatment", `"places":[{"on":`},
		{"14:21", "All clear now", "drains", ""},
	} {
		s.at(x.at)
		button, ok := s.buttons("/job/hall/")[x.label]
		if !ok {
			t.Errorf("%s: no %q on Now", x.at, x.label)
			continue
		}
		before := s.count()
		for range 2 {
			if w := s.post(button.to, button.sent); w.Code != http.StatusSeeOther || s.count() != before+1 {
				t.Fatalf("%s: %d, %d written\n%s", x.label, w.Code, s.count()-before, w.Body)
			}
		}
		e := s.last()
		if e.Kind != x.kind || e.About != 0 || e.At.In(s.zone).Format("15:04") != x.at || !strings.Contains(string(e.Raw()), x.body) {
			t.Errorf("%s wrote %s", x.label, e.Raw())
		}
		if again, ok := s.buttons("/job/hall/")[x.label]; ok && again.to == button.to && again.sent.Encode() == button.sent.Encode() {
			t.Errorf("%s: it is still owed", x.label)
		}
	}
	// What may not be treated yet has no such button.
	s.at("10:30")
	if _, ok := s.buttons("/job/hall/")["Treated now"]; ok {
		t.Error("a cover can be treated before its wait is over, by one tap")
	}
}

// What stood when the day was signed is on top of the next morning's Now, in the
// words that were frozen, until it is settled; and the roof is as it was left.
func TestLeftFromTheDayBefore(t *testing.T) {
	s := midMorning(t)
	s.at("15:20")
	s.letStand("first thing tomorrow")
	s.sign()
	stood := s.today().Signatures[0].Stood
	s.now = s.now.Add(15 * time.Hour) // 06:20
	read := s.read("/job/hall/")
	if !strings.Contains(read, "Left from Tuesday 6 October") {
		t.Fatalf("Now of the next morning reads %s", read)
	}
	cards := strings.Join(s.findings(), "; ")
	carried := 0
	for _, st := range stood {
		frozen := st.Words + " let stand: first thing tomorrow"
		switch {
		case strings.Contains(read, frozen):
			carried++
		case strings.HasPrefix(st.Key, "edge-open"), strings.HasPrefix(st.Key, "panel-bare"), strings.HasPrefix(st.Key, "cover-owed"):
			if !strings.Contains(cards, "since Tue Oct 6") {
				t.Errorf("%q is not on Now: %s", st.Words, cards)
			}
		}
	}
	if carried == 0 {
		t.Errorf("nothing is carried over in its words: %v\n%s", stood, read)
	}
	if at, board := strings.Index(read, "Left from Tuesday"), strings.Index(read, "Owed "); board < at {
		t.Error("what was left does not come before what is owed")
	}
	const run = "Run 2|3 is not made from 60 to 100 ft"
	if !strings.Contains(read, run) {
		t.Fatalf("the open run is not carried over: %s", read)
	}
	s.fill("/job/hall/write/start", nil)
	form := s.goodForm("closed")
	for name, value := range map[string]string{"seam": "2|3", "from": "60", "to": "100"} {
		form.Set(name, value)
	}
	if w := s.post("/job/hall/write/closed", form); w.Code != http.StatusSeeOther {
		t.Fatal(w.Code, w.Body)
	}
	if read := s.read("/job/hall/"); strings.Contains(read, run) {
		t.Errorf("made, and still left over: %s", read)
	}
}
