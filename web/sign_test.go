package web

import (
	"context"
	"html"
	"maps"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
)

// letStand lets all stand that holds up the signature.
func (s *tried) letStand(reason string) {
	s.t.Helper()
	link := regexp.MustCompile(`/job/hall/aside\?[^"]+`)
	for {
		page := s.get("/job/hall/leaving").Body.String()
		if strings.Contains(page, `name="statement"`) {
			return
		}
		all := link.FindAllString(page, -1)
		if all == nil {
			s.t.Fatalf("nothing to sign, and nothing holds it up: %s", text(page))
		}
		s.fill(html.UnescapeString(all[len(all)-1]), url.Values{"reason": {reason}})
	}
}

// signForm is what the page to sign would send, once nothing holds it up.
func (s *tried) signForm() url.Values {
	s.t.Helper()
	s.letStand("tomorrow")
	page := s.get("/job/hall/leaving").Body.String()
	_, form, _ := strings.Cut(page, `action="/job/hall/sign"`)
	return formIn(form)
}

// sign signs the day as its page stands.
func (s *tried) sign() url.Values {
	s.t.Helper()
	form := s.signForm()
	if w := s.post("/job/hall/sign", form); w.Code != http.StatusSeeOther {
		s.t.Fatalf("signing: %d\n%s", w.Code, w.Body)
	}
	return form
}

// The page shows what the signature freezes, in the same words; the signature
// covers what the page showed, and what comes later is marked.
func TestSigning(t *testing.T) {
	s := midMorning(t)
	s.at("15:15")
	form := s.signForm()
	page := s.get("/job/hall/leaving").Body.String()
	read := text(page)
	for _, want := range []string{"Leaving", "Off the roof 15:30 everybody, tools down 15:10", "Frozen with the signature", "true record of the day's work", "Ada Invented, foreman signs"} {
		if !strings.Contains(read, want) {
			t.Errorf("the page to sign lacks %q: %s", want, read)
		}
	}
	w := s.post("/job/hall/sign", form)
	if w.Code != http.StatusSeeOther {
		t.Fatalf("%d\n%s", w.Code, w.Body)
	}
	d := s.today()
	sig := d.Signatures[0]
	if len(sig.Stood) == 0 {
		t.Fatal("nothing stood: the test proves nothing")
	}
	for _, stood := range sig.Stood {
		if !strings.Contains(read, stood.Words) {
			t.Errorf("the page did not show %q", stood.Words)
		}
	}
	code := daylog.CheckCode("hall", d, sig, nil)
	for _, path := range []string{"/job/hall/", "/job/hall/entries", "/job/hall/leaving"} {
		read := text(s.get(path).Body.String())
		if !strings.Contains(read, "Signed 15:15 by Ada Invented") || !strings.Contains(read, "Check code "+code) {
			t.Errorf("%s does not say who signed, when and over what: %s", path, read)
		}
	}
	if got := s.get("/job/hall/leaving").Body.String(); strings.Contains(got, `name="statement"`) {
		t.Error("a signed day can be signed again")
	}

	// What is written now is marked, and nothing else is.
	s.at("15:20")
	s.fill("/job/hall/write/note", url.Values{"text": {"gate locked"}})
	if got := s.row("gate locked"); !strings.Contains(got, "after signing") {
		t.Errorf("written after signing, it reads %q", got)
	}
	if got := s.row("Panel 3 in position"); strings.Contains(got, "after signing") {
		t.Errorf("written before signing, it reads %q", got)
	}
	s.fill(s.action("Panel 3 in position", "correct"), url.Values{"why": {"late"}})
	if got := s.row("Panel 3 in position"); !strings.Contains(got, "after signing") {
		t.Errorf("corrected after signing, it reads %q", got)
	}
	if read := text(s.get("/job/hall/").Body.String()); !strings.Contains(read, "2 lines written or changed after signing") || !strings.Contains(read, code) {
		t.Errorf("Now reads %s", read)
	}

	// The same form again changes nothing; another signature is refused.
	before := s.count()
	if w := s.post("/job/hall/sign", form); w.Code != http.StatusSeeOther || s.count() != before {
		t.Errorf("sent again: %d", w.Code)
	}
	form.Set("form", newID(9))
	if w := s.post("/job/hall/sign", form); w.Code != http.StatusConflict || s.count() != before {
		t.Errorf("signed twice: %d", w.Code)
	}
}

// What comes in between the page and the signature is not covered by it.
func TestSignatureCoversWhatItsPageShowed(t *testing.T) {
	s := midMorning(t)
	s.at("15:15")
	form := s.signForm()
	s.fill("/job/hall/write/note", url.Values{"text": {"came in between"}})
	if w := s.post("/job/hall/sign", form); w.Code != http.StatusSeeOther {
		t.Fatalf("%d\n%s", w.Code, w.Body)
	}
	if got := s.row("came in between"); !strings.Contains(got, "after signing") {
		t.Errorf("it reads %q", got)
	}
}

// Who signs has read what stands: if that changed, or the page lost what it
// covers, it comes back.
func TestSigningAgainstAnotherPage(t *testing.T) {
	for says, change := range map[string]url.Values{
		"What stands has changed since you opened this page": {"stood": {"0011223344556677"}},
		"lost what the signature covers":                     {"vector": {""}},
		"had lost what the signature covers":                 {"vector": {`{"a":5}`}},
		"This page had lost what the signature covers":       {"vector": {`{}`}},
		"Say what you sign.":                                 {"statement": {"  "}},
		"lost its number":                                    {"form": {"-"}},
		"lost its day":                                       {"day": {"soon"}},
	} {
		s := midMorning(t)
		s.at("15:15")
		form := s.signForm()
		form.Set("statement", "All this is true.")
		maps.Copy(form, change)
		before := s.count()
		w := s.post("/job/hall/sign", form)
		page := w.Body.String()
		if w.Code != http.StatusUnprocessableEntity || !strings.Contains(page, says) || !strings.Contains(page, "<title>Not saved: ") || s.count() != before {
			t.Errorf("%v: %d\n%s", change, w.Code, page)
			continue
		}
		_, page, _ = strings.Cut(page, `action="/job/hall/sign"`)
		again := formIn(page)
		if again.Get("statement") != form.Get("statement") {
			t.Errorf("%v: the statement is %q", change, again.Get("statement"))
		}
		again.Set("statement", "All this is true.")
		if w := s.post("/job/hall/sign", again); w.Code != http.StatusSeeOther {
			t.Errorf("%v, read again: %d\n%s", change, w.Code, w.Body)
		}
	}
	s := midMorning(t)
	s.at("15:15")
	form := s.signForm()
	s.fill("/job/hall/write/treatment", url.Values{"places": {`{"on":"2|3","at":492}`}})
	if w := s.post("/job/hall/sign", form); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "What stands has changed") {
		t.Errorf("something was settled in between: %d", w.Code)
	}
}

// A warning is set aside with a reason, under its key and in its words; it stays
// to be read, and counts for leaving too.
func TestSetAside(t *testing.T) {
	s := midMorning(t)
	s.at("12:30")
	s.fill("/job/hall/write/treatment", url.Values{"places": {`{"on":"2|3","at":492}`}})
	early := s.findings()
	if len(early) == 0 {
		t.Fatal("nothing accuses: the test proves nothing")
	}
	link := regexp.MustCompile(`/job/hall/aside\?key=[^"]+`).FindString(s.get("/job/hall/").Body.String())
	form := s.formOn(strings.ReplaceAll(link, "&amp;", "&"))
	page := text(s.get(strings.ReplaceAll(link, "&amp;", "&")).Body.String())
	if !strings.Contains(page, form.Get("words")) || form.Get("key") == "" {
		t.Errorf("the page does not show the warning: %s", page)
	}
	before := s.count()
	if w := s.post("/job/hall/aside", form); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "Say why it may stand") || s.count() != before {
		t.Errorf("without a reason: %d", w.Code)
	}
	form.Set("reason", "sealant <b>held</b> back")
	other := url.Values{}
	for name, texts := range form {
		other[name] = texts
	}
	other.Set("words", "something else")
	if w := s.post("/job/hall/aside", other); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "says something else by now") || formIn(w.Body.String()).Get("reason") != form.Get("reason") {
		t.Errorf("in other words: %d\n%s", w.Code, w.Body)
	}
	for range 2 {
		if w := s.post("/job/hall/aside", form); w.Code != http.StatusSeeOther || s.count() != before+1 {
			t.Fatalf("%d, %d written\n%s", w.Code, s.count()-before, w.Body)
		}
	}
	for _, f := range s.findings() {
		if f == early[0] {
			t.Errorf("it is set aside, and still a card: %q", f)
		}
	}
	read := text(s.get("/job/hall/").Body.String())
	if !strings.Contains(read, "Set aside or answered for "+form.Get("words")) || !strings.Contains(read, "Reason: sealant <b>held</b> back Ada Invented, 12:30") {
		t.Errorf("Now does not show what was set aside, why and by whom: %s", read)
	}
	s.at("15:15")
	s.letStand("tomorrow")
	if read := text(s.get("/job/hall/leaving").Body.String()); !strings.Contains(read, form.Get("words")+". Set aside: sealant <b>held</b> back") {
		t.Errorf("the page to sign does not show it: %s", read)
	}
	// The reason can be corrected; what it hangs on cannot.
	path := s.action("sealant <b>held</b> back", "correct")
	if got := s.formOn(path); got.Has("key") || got.Has("words") {
		t.Errorf("the correction asks %v", got)
	}
	s.fill(path, url.Values{"why": {"more to say"}, "reason": {"weighted, tomorrow"}})
	if got := s.last().Body.(*daylog.SetAside); got.Key != form.Get("key") || got.Words != form.Get("words") || got.Reason != "weighted, tomorrow" {
		t.Errorf("corrected to %+v", got)
	}
}

// What must be done before leaving can be set aside ahead of it, from the page
// that lists it.
func TestSetAsideAheadOfLeaving(t *testing.T) {
	s := midMorning(t)
	s.at("15:00") // tools down is 15:10
	if got := s.findings(); strings.Contains(strings.Join(got, " "), "no edge treatment") {
		t.Fatalf("it stands already: %q", got)
	}
	page := s.get("/job/hall/leaving").Body.String()
	link := regexp.MustCompile(`/job/hall/aside\?key=edge-open[^"]+`).FindString(page)
	if link == "" {
		t.Fatalf("nothing about edges to set aside: %s", text(page))
	}
	s.fill(strings.ReplaceAll(link, "&amp;", "&"), url.Values{"reason": {"first thing tomorrow"}})
}

// Nothing that is not there, that is a question, or that can hurt people is set
// aside.
func TestWhatIsNotSetAside(t *testing.T) {
	s := midMorning(t)
	before := s.count()
	for _, key := range []string{"", "edge-early nowhere", "<script>"} {
		if w := s.get("/job/hall/aside?" + url.Values{"key": {key}}.Encode()); w.Code != http.StatusConflict || !strings.Contains(w.Body.String(), "nothing to set aside") {
			t.Errorf("%q: %d", key, w.Code)
		}
		w := s.post("/job/hall/aside", url.Values{"form": {newID(3)}, "key": {key}, "words": {"x"}, "reason": {"y"}})
		if w.Code != http.StatusConflict || s.count() != before {
			t.Errorf("POST %q: %d", key, w.Code)
		}
	}
}

// Past midnight the day is still the one that was started; what is signed then
// says which night it was.
func TestSigningPastMidnight(t *testing.T) {
	s := midMorning(t)
	s.at("23:30")
	s.now = s.now.Add(90 * time.Minute)
	if read := text(s.get("/job/hall/leaving").Body.String()); !strings.Contains(read, "Then sign") || strings.Contains(read, "Leaving, Tuesday") {
		t.Error(read)
	}
	s.sign()
	// Signed, it is no longer the day that pages are about.
	if read := text(s.get("/job/hall/?day=2026-10-06").Body.String()); !strings.Contains(read, "Signed 01:00 by Ada Invented") {
		t.Error(read)
	}
}

// A copied device writes on under its name; the signature's page still knows
// what it covers.
func TestCheckCodeAfterAFork(t *testing.T) {
	s := midMorning(t)
	s.at("15:15")
	s.sign()
	code := func() string {
		return regexp.MustCompile(`Check code ([A-Z2-7-]{23})`).FindString(text(s.get("/job/hall/").Body.String()))
	}
	before := code()
	raws := s.raws()
	// The same device goes on from the signature twice.
	heads, err := s.log.Heads(context.Background(), "hall")
	if err != nil {
		t.Fatal(err)
	}
	for _, words := range []string{"one", "two"} {
		head := heads[s.log.Device()]
		e := daylog.Entry{Job: "hall", Device: s.log.Device(), Seq: head.Seq + 1, Tick: 1000, Prev: head.Head.Prev(), ID: "fork" + words, Day: triedDay, At: s.now.UTC(), Made: s.now.UTC(), Author: "ada", Body: &daylog.Note{Text: words}}
		raw, err := daylog.Encode(&e)
		if err != nil {
			t.Fatal(err)
		}
		raws = append(raws, raw)
	}
	s.again(raws)
	if got := code(); got != before || got == "" {
		t.Errorf("check code %q, before the fork %q", got, before)
	}
	for _, words := range []string{"Note: one", "Note: two"} {
		if got := s.row(words); !strings.Contains(got, "after signing") {
			t.Errorf("it reads %q", got)
		}
	}
}

// The next morning Now says that nobody signed, and leads to that day's Leaving.
func TestUnsignedNextMorning(t *testing.T) {
	s := midMorning(t)
	s.at("07:10")
	s.now = s.now.AddDate(0, 0, 1)
	s.fill("/job/hall/write/start", url.Values{"leaving": {"15:30"}})
	page := s.get("/job/hall/").Body.String()
	if read := text(page); !strings.Contains(read, "Tue Oct 6 is not signed") {
		t.Fatal(read)
	}
	if !strings.Contains(page, `href="/job/hall/leaving?day=2026-10-06"`) {
		t.Error("no way to that day's Leaving")
	}
	if read := text(s.get("/job/hall/leaving?day=2026-10-06").Body.String()); !strings.Contains(read, "Then sign") {
		t.Error(read)
	}
}
