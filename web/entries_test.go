package web

import (
	"context"
	"fmt"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
)

// text is a page's text as it is read, blanks put together.
func text(page string) string {
	page = regexp.MustCompile(`(?s)<(head|svg)\b.*?</(head|svg)>|<[^>]*>`).ReplaceAllString(page, " ")
	return strings.Join(strings.Fields(html.UnescapeString(page)), " ")
}

// rows are the acts on Entries, each as one text.
func (s *tried) rows(path string) []string {
	s.t.Helper()
	w := s.get(path)
	if w.Code != http.StatusOK {
		s.t.Fatalf("GET %s: %d\n%s", path, w.Code, w.Body)
	}
	list := regexp.MustCompile(`(?s)<ol class="entries">(.*)</ol>`).FindString(w.Body.String())
	var rows []string
	for _, row := range strings.Split(list, "<li")[1:] {
		rows = append(rows, text("<li"+row))
	}
	return rows
}

// row is the one act that holds some words.
func (s *tried) row(words string) string {
	s.t.Helper()
	found := ""
	for _, row := range s.rows("/job/hall/entries") {
		if strings.Contains(row, words) {
			if found != "" {
				s.t.Errorf("%q is in two rows: %q and %q", words, found, row)
			}
			found = row
		}
	}
	return found
}

// action is the address of a line's link.
func (s *tried) action(words, label string) string {
	s.t.Helper()
	page := s.get("/job/hall/entries").Body.String()
	for _, part := range strings.Split(page, `<div class="line`)[1:] {
		if strings.Contains(text("<div"+part), words) {
			if m := regexp.MustCompile(`href="([^"]*/` + label + `[^"]*)"`).FindStringSubmatch(part); m != nil {
				return html.UnescapeString(m[1])
			}
		}
	}
	s.t.Fatalf("no line %q with %s\n%s", words, label, page)
	return ""
}

// A day reads in the order in which it happened, each line with what there is to
// know about it and no more.
func TestEntries(t *testing.T) {
	s := midMorning(t)
	s.at("10:40")
	form := s.goodForm("covers")
	form.Set("begun", TimeOther)
	form.Set("begun-other", "10:20")
	s.post("/job/hall/write/covers", form)
	s.fill("/job/hall/write/weather", url.Values{"air": {"52"}, "at": {"45"}})
	s.fill("/job/hall/write/note", url.Values{"text": {"dry"}, "at": {TimeOther}, "at-other": {"09:00"}})
	for words, want := range map[string]string{
		"Start":            "07:15 Start, leaving 15:30 Ada Invented Correct : Start, leaving 15:30 Strike : Start, leaving 15:30",
		"Panel 3":          "08:00 Panel 3 in position, edges weighted",
		"Weather: air 52":  "about 09:55 Weather: air 52 F Ada Invented written 10:40",
		"Note: dry":        "about 09:00 Note: dry Ada Invented written 10:40",
		"1 vertical splic": "about 10:20 to 10:40 1 cover and 1 vertical",
		"Set-up":           "07:15 Set-up Job: Invented hall Roof plan",
	} {
		if words == "1 vertical splic" {
			words, want = "2 covers", "10:20 to 10:40 2 covers"
		}
		if got := s.row(words); !strings.HasPrefix(got, want) {
			t.Errorf("%q reads %q, want it to begin %q", words, got, want)
		}
	}
	if got := s.row("Panel 3 in position"); strings.Contains(got, "about") || strings.Contains(got, "written") {
		t.Errorf("a tapped line says more than it must: %q", got)
	}
	if got := s.row("Set-up"); strings.Contains(got, "Correct") || strings.Contains(got, "Strike") {
		t.Errorf("the crew may change set-up: %q", got)
	}
	rows := s.rows("/job/hall/entries")
	last := ""
	for _, row := range rows {
		at := regexp.MustCompile(`\d\d:\d\d`).FindString(row)
		if at < last {
			t.Errorf("%q stands after %s", row, last)
		}
		last = at
	}
}

// A struck line stays, crossed through, with who struck it and why; once.
func TestStrike(t *testing.T) {
	s := midMorning(t)
	path := s.action("Priming 2|3", "strike")
	s.at("10:30")
	form := s.formOn(path)
	before := s.count()
	w := s.post(path, form)
	if w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "Say why") || !strings.Contains(w.Body.String(), "<title>Not saved: ") || s.count() != before {
		t.Errorf("struck without a reason: %d\n%s", w.Code, w.Body)
	}
	form.Set("why", "wrong <run>")
	for range 2 {
		if w = s.post(path, form); w.Code != http.StatusSeeOther || s.count() != before+1 {
			t.Fatalf("%d, %d written\n%s", w.Code, s.count()-before, w.Body)
		}
	}
	if got := s.row("Priming 2|3"); !strings.Contains(got, "struck: Priming 2|3, 0 to 60 ft") || !strings.Contains(got, "Struck: wrong <run> Ada Invented, 10:30") {
		t.Errorf("it reads %q", got)
	}
	page := s.get("/job/hall/entries").Body.String()
	if !regexp.MustCompile(`(?s)<s>.*Priming 2\|3.*?</s>`).MatchString(page) || strings.Contains(page, "<run>") {
		t.Error("it is not crossed through, or markup came out")
	}
	form.Set("why", "another reason")
	if w := s.post(path, form); w.Code != http.StatusConflict {
		t.Errorf("the same form with another reason: %d", w.Code)
	}
	if w := s.get(path); w.Code != http.StatusConflict || !strings.Contains(w.Body.String(), "By Ada Invented at 10:30") {
		t.Errorf("struck a second time: %d\n%s", w.Code, w.Body)
	}
	form.Set("form", newID(77))
	if w := s.post(path, form); w.Code != http.StatusConflict || s.count() != before+1 {
		t.Errorf("struck a second time: %d", w.Code)
	}
}

// A corrected line says what it says now, what it said before, who corrected it
// and why. Its time stays unless another is picked.
func TestCorrect(t *testing.T) {
	s := midMorning(t)
	path := s.action("closed", "correct")
	s.at("10:30")
	form := s.formOn(path)
	for name, want := range map[string]string{"seam": "2|3", "from": "0", "to": "60", "laps.0.at": "41", "splices": "south", "at": "=2026-10-06T14:10:00Z~0"} {
		if form.Get(name) != want {
			t.Errorf("%s is filled in with %q, want %q", name, form.Get(name), want)
		}
	}
	form.Set("laps.0.at", "42")
	before := s.count()
	if w := s.post(path, form); w.Code != http.StatusUnprocessableEntity || s.count() != before || formIn(w.Body.String()).Get("laps.0.at") != "42" {
		t.Errorf("corrected without a reason: %d", w.Code)
	}
	form.Set("why", "misread")
	for range 2 {
		if w := s.post(path, form); w.Code != http.StatusSeeOther || s.count() != before+1 {
			t.Fatalf("%d, %d written\n%s", w.Code, s.count()-before, w.Body)
		}
	}
	got := s.row("closed")
	for _, want := range []string{"09:10 Run 2|3, 0 to 60 ft closed, end lap at 42 ft", "Corrected: was 09:10 run 2|3, 0 to 60 ft closed, end lap at 41 ft", "by Ada Invented 10:30: misread"} {
		if !strings.Contains(got, want) {
			t.Errorf("it reads %q, without %q", got, want)
		}
	}
	if strings.Contains(got, "about") {
		t.Errorf("a tapped time became an about-time by a correction: %q", got)
	}
	// Struck after all, and corrected again: it counts again.
	s.fill(s.action("closed", "strike"), url.Values{"why": {"not this one"}})
	if got := s.row("closed"); !strings.Contains(got, "Struck: not this one") || !strings.Contains(got, "Corrected:") {
		t.Errorf("it reads %q", got)
	}
	s.at("10:33")
	s.fill(s.action("closed", "correct"), url.Values{"why": {"it was this one"}})
	if got := s.row("closed"); strings.Contains(got, "Struck:") || !strings.Contains(got, "it was this one") {
		t.Errorf("it reads %q", got)
	}
}

// A correction leaves alone what its form does not ask.
func TestCorrectionKeepsTheRest(t *testing.T) {
	s := midMorning(t)
	s.write(&daylog.TempBallast{Panels: []string{"3"}, Seams: []daylog.OnSeam{{Seam: "2|3", Part: daylog.Part{From: 0, To: 48}}}})
	s.fill(s.action("Temporary ballast", "correct"), url.Values{"why": {"strip too"}, "strips": {"3"}})
	if raw := string(s.last().Raw()); !strings.Contains(raw, `"seams":[{"seam":"2|3"`) || !strings.Contains(raw, `"strips":["3"]`) {
		t.Error(raw)
	}
}

// Lines of one form at one time read as one act; each can be struck alone.
func TestOneFormReadsAsOneAct(t *testing.T) {
	s := midMorning(t)
	form := s.formOn("/job/hall/run?seam=2|3&from=60&to=100")
	for _, step := range []string{"priming", "test", "tape"} {
		form.Set("did."+step, "on")
		form.Set(step+".at", "now")
	}
	if w := s.post("/job/hall/run", form); w.Code != http.StatusSeeOther {
		t.Fatal(w.Code, w.Body)
	}
	got := s.row("10:12")
	if strings.Count(got, "10:12") != 1 || strings.Count(got, "Strike") != 3 || !strings.Contains(got, "Priming 2|3, 60 to 100 ft") || !strings.Contains(got, "Tape laid 2|3") {
		t.Errorf("one act reads %q", got)
	}
	s.fill(s.action("Tape laid 2|3", "strike"), url.Values{"why": {"not yet"}})
	if got := s.row("10:12"); strings.Count(got, "Struck:") != 1 || strings.Count(got, "Strike") != 2 {
		t.Errorf("with one of its facts struck it reads %q", got)
	}
}

// What the crew may not change, or what is not there, is said plainly.
func TestLinesThatCannotBeChanged(t *testing.T) {
	s := midMorning(t)
	setup := ""
	for _, l := range s.today().Lines {
		if _, ok := l.Body.(*daylog.JobSetup); ok {
			setup = l.Root
		}
	}
	for _, id := range []string{"nothing", setup, "..%2f..", "%00", strings.Repeat("x", 3000)} {
		for _, verb := range []string{"correct", "strike"} {
			path := "/job/hall/entry/" + id + "/" + verb
			if w := s.get(path); w.Code != http.StatusNotFound {
				t.Errorf("GET %.60s: %d", path, w.Code)
			}
			if w := s.post(path, url.Values{"form": {newID(5)}, "why": {"x"}, "at": {"now"}}); w.Code != http.StatusNotFound {
				t.Errorf("POST %.60s: %d", path, w.Code)
			}
		}
	}
	s.sign()
	for _, l := range s.today().Lines {
		if _, ok := l.Body.(*daylog.Sign); ok {
			if w := s.get("/job/hall/entry/" + l.Root + "/strike"); w.Code != http.StatusNotFound {
				t.Errorf("a signature can be struck: %d", w.Code)
			}
		}
	}
}

// A line of an earlier day is found from its link and stays on its day.
func TestCorrectYesterday(t *testing.T) {
	s := midMorning(t)
	path := s.action("Panel 3", "correct")
	s.now = s.now.Add(24 * time.Hour)
	s.fill(path, url.Values{"why": {"cold morning"}, "weighted": nil})
	if e := s.last(); e.Day != triedDay || e.Of == "" {
		t.Errorf("the correction is of %s", e.Day)
	}
	rows := s.rows("/job/hall/entries?day=" + triedDay)
	if got := strings.Join(rows, "\n"); !strings.Contains(got, "cold morning") {
		t.Error(got)
	}
}

// Days lead to each other, and a day without entries says so.
func TestDays(t *testing.T) {
	s := midMorning(t)
	s.now = s.now.Add(48 * time.Hour)
	page := s.get("/job/hall/entries").Body.String()
	if !strings.Contains(page, "Nothing was written on this day.") || !strings.Contains(page, `rel="prev" href="/job/hall/entries?day=2026-10-06"`) {
		t.Error(page)
	}
	s.fill("/job/hall/write/note", url.Values{"text": {"here again"}})
	page = s.get("/job/hall/entries?day=2026-10-06").Body.String()
	if !strings.Contains(page, `rel="next" href="/job/hall/entries"`) || !strings.Contains(text(page), "Tuesday 6 October") {
		t.Error(page)
	}
}

// What a newer version wrote is there, and says that it cannot be read.
func TestNewerEntries(t *testing.T) {
	s := midMorning(t)
	head := daylog.ChainStart("hall", "other")
	raw := fmt.Sprintf(`{"kind":"drone","job":"hall","device":"other","seq":1,"tick":900,"prev":%q,"id":"zz","day":%q,"at":"2026-10-06T14:30:00Z","made":"2026-10-06T14:30:00Z","body":{"x":1}}`, head.Prev(), triedDay)
	if _, err := s.log.Receive(context.Background(), "hall", []byte(raw)); err != nil {
		t.Fatal(err)
	}
	if got := s.row("newer version"); !strings.HasPrefix(got, "09:30 Written by a newer version") || strings.Contains(got, "Strike") {
		t.Errorf("it reads %q", got)
	}
	if page := text(s.get("/job/hall/").Body.String()); !strings.Contains(page, "Written by a newer version") {
		t.Error("Now does not say so")
	}
}
