//go:build !js

package web

import (
	"fmt"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"duskline/internal/browser"
	"duskline/static"
)

// served is the site with its files, as a browser gets it. Its clock runs.
func (s *tried) served() *browser.Server {
	s.t.Helper()
	build, err := static.New(os.DirFS("../static"))
	if err != nil {
		s.t.Fatal(err)
	}
	s.files, s.skew = build, time.Until(s.now)
	s.open()
	return browser.Serve(s.t, s.site)
}

// Every page and every form at every size: nothing is too wide or too small to
// tap, Save is on the screen, and the policy of the pages stops nothing that is
// ours.
func TestSiteAsDrawn(t *testing.T) {
	s := midMorning(t)
	server := s.served()
	b := browser.Start(t)
	p := b.Open(browser.Tablet)
	paths := []string{"", "entries", "write", "run?seam=2|3&from=60&to=100", "run?seam=2|3&from=60&to=100&did=closed", "leaving", "several/morning", "several/work", "several/stone", "several/evening", "write/closed", "write/stone", "write/weather", "write/start", "write/covers"}
	everyKind := paths
	for _, k := range writable() {
		everyKind = append(everyKind, "write/"+k.Name)
	}
	for _, size := range []browser.Size{browser.Tablet, browser.TabletUpright, browser.Phone} {
		p.Resize(size)
		paths := paths
		if size == browser.Phone || os.Getenv("PICTURES") != "" { // where there is least room
			paths = everyKind
		}
		for _, path := range paths {
			p.Go(server.URL + "/job/hall/" + path)
			if bad := browser.Eval[string](p, faultsSeen); bad != "" {
				t.Errorf("%s at %d by %d: %s", path, size.Width, size.Height, bad)
			}
			if os.Getenv("PICTURES") != "" {
				p.Shot(strings.NewReplacer("/", "-", "?", "-", "|", "-", "&", "-", "=", "-").Replace(fmt.Sprintf("%d-form-%s", size.Width, path)))
			}
			if path == "leaving" { // who signs reads to the end
				continue
			}
			if bad := browser.Eval[string](p, `(() => {
				const save = document.querySelector(".form > .submit .first");
				if (!save) return "";
				const box = save.getBoundingClientRect();
				return box.bottom > innerHeight || box.top < 0 ? "Save is off the screen" : "";
			})()`); bad != "" {
				t.Errorf("%s at %d by %d: %s", path, size.Width, size.Height, bad)
			}
		}
	}
	for _, line := range b.Console() {
		if strings.Contains(line, "Content Security Policy") || strings.HasPrefix(line, "error") {
			t.Error(line)
		}
	}
}

// A live entry in two taps, by touch; what is shown needs no scrolling for it.
func TestTwoTapsByTouch(t *testing.T) {
	p := browser.Start(t).Open(browser.Tablet)
	for _, size := range []browser.Size{browser.Tablet, browser.TabletUpright, browser.Phone} {
		s := midMorning(t)
		server := s.served()
		p.Resize(size)
		for _, label := range []string{"Priming", "Panel in position", "Covers done"} {
			p.Go(server.URL + "/job/hall/")
			before := s.count()
			p.TapThrough(`.thumb a:nth-child(` + nth(p, ".thumb a", label) + `)`)
			if hidden := browser.Eval[string](p, `(() => {
				const bar = document.querySelector(".form > .submit").getBoundingClientRect();
				return [...document.querySelectorAll(".tile:has(:checked), .tile:has([name=at])")]
					.filter((e) => { const b = e.getBoundingClientRect(); return b.bottom > bar.top || b.top < 0; })
					.map((e) => e.textContent.trim()).join("; ");
			})()`); hidden != "" {
				t.Errorf("%s at %d by %d: not on the screen: %s", label, size.Width, size.Height, hidden)
			}
			p.TapThrough(".form > .submit .first")
			if got := p.Text(".saved"); !strings.HasPrefix(got, "Saved.") || s.count() != before+1 {
				t.Errorf("%s: %q, %d written", label, got, s.count()-before)
			}
			if e := s.last(); e.About != 0 || time.Now().Add(s.skew).Sub(e.At) > time.Minute {
				t.Errorf("%s: logged at %s, about %d", label, e.At, e.About)
			}
		}
	}
}

// nth is which element says something, counted from 1.
func nth(p *browser.Page, css, words string) string {
	for i, text := range p.Texts(css) {
		if strings.HasPrefix(text, words) {
			return string(rune('1' + i))
		}
	}
	return "0"
}

// What was typed is there again after Save refused it and after going back, and
// a form sent again from there is written once.
func TestBackAndAgain(t *testing.T) {
	s := midMorning(t)
	server := s.served()
	p := browser.Start(t).Open(browser.Tablet)
	p.Go(server.URL + "/job/hall/write/weather")
	p.Fill("input[name=air]", "900")
	p.Fill("input[name=sky]", "clear <b>")
	p.TapThrough(".form > .submit .first")
	p.Wait(`document.activeElement.id === "asked"`) // the browser moves the focus there
	if got := browser.Eval[string](p, `document.title.slice(0, 10)`); got != "Not saved:" {
		t.Errorf("the title begins %q", got)
	}
	if got := browser.Eval[string](p, `document.querySelector("[name=sky]").value`); got != "clear <b>" {
		t.Errorf("typed text came back as %q", got)
	}
	before := s.count()
	p.TapThrough("button[name=keep]")
	if s.count() != before+1 {
		t.Fatalf("%d written", s.count()-before)
	}
	p.Back()
	p.TapThrough("button[name=keep]")
	if got := p.Text("h1"); s.count() != before+1 {
		t.Errorf("sent again from Back: %d written, %q", s.count()-before, got)
	}
}

// An answer that is folded away, or under a tick, can be reached and typed
// without a script.
func TestFoldedAway(t *testing.T) {
	s := midMorning(t)
	server := s.served()
	p := browser.Start(t).Open(browser.Phone)
	p.Go(server.URL + "/job/hall/write/covers")
	p.Tap(".another summary")
	p.Fill("[name=places-other]", "2|3 north")
	p.Tap(".folded summary")
	p.Tap(`[name=begun][value="15"]`)
	p.TapThrough(".form > .submit .first")
	if e := s.last(); e.To.Sub(e.At).Round(time.Minute) != 15*time.Minute || !strings.Contains(string(e.Raw()), "2|3@north") {
		t.Errorf("%s", e.Raw())
	}
	p.Go(server.URL + "/job/hall/run?" + url.Values{"seam": {"2|3"}, "from": {"60"}, "to": {"100"}}.Encode())
	if got := p.Count(".step .tiles.time .tile"); got == 0 {
		t.Error("no times on the page")
	}
	p.Tap(`[name="did.priming"]`)
	p.Tap(`[name="priming.at"][value="15"]`)
	p.TapThrough(".form > .submit .first")
	if e := s.last(); e.Kind != "priming" {
		t.Errorf("%s", e.Raw())
	}
}

// A tap on "Other" leads into the time of day, so that it can be typed at once;
// keys that pass over the tile stay on it.
func TestOtherLeadsIntoTheTime(t *testing.T) {
	s := midMorning(t)
	server := s.served()
	p := browser.Start(t).Open(browser.Tablet)
	for _, path := range []string{"write/weather", "several/evening"} {
		p.Go(server.URL + "/job/hall/" + path)
		p.Tap(`.tile:has([name=at][value=other])`)
		p.Wait(`document.activeElement.name === "at-other"`)
	}
	p.Go(server.URL + "/job/hall/write/square")
	p.Tap("[name=sqft]")
	p.Keys("16")
	if got := browser.Eval[string](p, `document.querySelector("[name=sqft]").value`); got != "16" {
		t.Errorf("9 sq ft typed over is %q", got)
	}
	p.Go(server.URL + "/job/hall/write/weather")
	browser.Eval[bool](p, `(() => { document.querySelector("[name=at]:checked").focus(); return true })()`)
	p.Keys(kb.ArrowLeft) // from the first tile to the last
	if got := browser.Eval[string](p, `document.activeElement.name`); got != "at" || p.Count("[name=at][value=other]:checked") != 1 {
		t.Errorf("by keys the focus went to %q", got)
	}
}

// The forms that hold the most are for people who do not see, do not point, or
// read at 400 %: as they come, with every step open, and with what is wrong.
func TestFormsFitEverybody(t *testing.T) {
	s := midMorning(t)
	server := s.served()
	p := browser.Start(t).Open(browser.Tablet)
	for _, path := range []string{"several/morning", "several/work", "several/evening", "run?seam=2|3&from=60&to=100&did=closed", "write/stone", "write/nightseal", "write/lot"} {
		name := "form " + strings.NewReplacer("/", " ", "?", " ", "|", "-", "&", " ", "=", " ").Replace(path)
		p.Go(server.URL + "/job/hall/" + path)
		if strings.Contains(path, "several") {
			browser.Eval[bool](p, `document.querySelectorAll(".step > .field input:not(:checked)").forEach((e) => e.click()) || true`)
		}
		p.Fits(name)
		browser.Eval[bool](p, `document.querySelectorAll("input[type=text]:not([name$=other])").forEach((e) => { e.value = "1/0"; }) || true`)
		p.TapThrough(".form > .submit .first")
		if got := browser.Eval[string](p, `document.title.slice(0, 10)`); got != "Not saved:" {
			t.Fatalf("%s: the title begins %q", path, got)
		}
		p.Fits(name + ", refused")
		if bad := browser.Eval[string](p, faultsSeen); bad != "" {
			t.Errorf("%s, refused: %s", path, bad)
		}
		if os.Getenv("PICTURES") != "" {
			p.Shot(name + " refused")
		}
	}
}

// What cannot be read is kept as it was written though a browser has line ends
// of its own, and Entries flags it.
func TestKeptAsWrittenByABrowser(t *testing.T) {
	s := midMorning(t)
	server := s.served()
	p := browser.Start(t).Open(browser.Tablet)
	p.Go(server.URL + "/job/hall/write/note")
	long := strings.Repeat("rain on the north side\n", 100)
	p.Set("textarea[name=text]", long)
	p.TapThrough(".form > .submit .first")
	if got := p.Count("#asked"); got != 1 {
		t.Fatalf("%d questions: %s", got, p.Text("h1"))
	}
	before := s.count()
	p.TapThrough("button[name=keep]")
	if e := s.last(); s.count() != before+1 || e.Odd["text"] != strings.TrimSpace(long) {
		t.Errorf("%d written: %.200s", s.count()-before, e.Raw())
	}
	p.Go(server.URL + "/job/hall/entries")
	if got := p.Text("main"); !strings.Contains(got, "as written: rain on the north side") {
		t.Errorf("Entries: %.300s", got)
	}
}
