package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"duskline/internal/browser"
	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
	"duskline/internal/store"
	"duskline/internal/store/sqlite"
	"duskline/static"
)

// A job of four panels, two of which stand; what follows is logged by hand.
const emptyHall = `job "Invented hall" in America/Chicago, start 07:00, leaving 20:00, pack-up 20 min, invented
person ada "Ada Invented", foreman
roof 97 ft north-south by 195 ft 9 in east-west, parapets, turn-up 18 in
row of panels 1 to 4 of 50 ft, 100 ft long, laps 5 in
standing panels 1 and 2, strip of 4 ft on 2, weighted

day 2026-10-06
07:00 start
07:00 fall protection guardrail, holes covered, competent person ada
07:00 seal check, dry, drains clear
07:00 lot of tape T-1
  07:00 lot of primer P-1
  07:00 lot of adhesive A-1
  07:00 lot of sealant S-1
07:00 weather air 70, humidity 40, sheet 85
10:30 weather air 72, humidity 40, sheet 95
`

// roofEdge is a tablet with the job on board, and the office it came from.
type roofEdge struct {
	t      *testing.T
	log    *sqlite.Log
	server *browser.Server
	b      *browser.Browser
	page   *browser.Page
	zone   *time.Location
	today  daylog.Date
}

func takeHallAboard(t *testing.T) *roofEdge { return takeAboard(t, emptyHall) }

// takeAboard takes a job in the text form on board.
func takeAboard(t *testing.T, hall string) *roofEdge {
	t.Helper()
	return takeAboardOn(t, hall, func(h http.Handler) http.Handler { return h }, "")
}

// takeAboardOn does so on a tablet that gets what the office sends through a
// wrapping, and runs a script before those of each page.
func takeAboardOn(t *testing.T, hall string, wrap func(http.Handler) http.Handler, before string) *roofEdge {
	t.Helper()
	ctx := context.Background()
	e := &roofEdge{t: t}
	var err error
	if e.log, err = sqlite.Open(ctx, filepath.Join(t.TempDir(), "duskline.db")); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { e.log.Close() })
	now := time.Now()
	if e.zone, err = forenoon(now); err != nil {
		t.Fatal(err)
	}
	e.today = daylog.DateOf(now.In(e.zone))
	s, err := script.Parse("hall", hall)
	if err != nil {
		t.Fatal(err)
	}
	if s, err = s.Moved(e.today, e.zone.String()); err != nil {
		t.Fatal(err)
	}
	s.Job = "hall"
	written, err := s.Entries(script.Live)
	if err != nil {
		t.Fatal(err)
	}
	for i := range written {
		if _, err := e.log.Receive(ctx, "hall", written[i].Raw()); err != nil {
			t.Fatal(err)
		}
	}
	build, err := static.New(static.Files)
	if err != nil {
		t.Fatal(err)
	}
	if !build.HasProgram() {
		t.Fatal("the tablets' program is not built: run make tablet first")
	}
	h := &host{log: e.log, build: build, logf: t.Logf}
	e.server = browser.Serve(t, wrap(h.handler(h.routes)))
	e.b = browser.Start(t)
	e.page = e.b.Open(browser.Tablet)
	e.page.Before(before)
	e.page.Go(e.server.URL + "/job/hall/")
	e.page.TapThrough("form[data-take-aboard] button")
	e.page.WaitControlled()
	e.page.WaitText("header .state", "Saved here")
	return e
}

// log fills in a kind's form as the tablet shows it and saves it.
func (e *roofEdge) write(kind string, with map[string]any, at string) {
	e.t.Helper()
	raw, err := json.Marshal(with)
	if err != nil {
		e.t.Fatal(err)
	}
	if status := e.page.Go(e.server.URL + "/job/hall/write/" + kind + "?with=" + url.QueryEscape(string(raw))); status != 200 {
		e.t.Fatalf("the form of %s: %d", kind, status)
	}
	if at != "" {
		browser.Eval[bool](e.page, `(document.querySelector("input[name=at][value=other]").click(), true)`)
		e.page.Set("input[name=at-other]", at)
	}
	e.page.TapThrough("form.form .submit button")
	e.page.WaitText(".saved", "Saved")
}

// What only the office has comes from the office, though the job is on board.
func TestOfficePagesWithTheJobOnBoard(t *testing.T) {
	e := takeHallAboard(t)
	for _, path := range []string{"days", "day/" + string(e.today), "setup"} {
		if status := e.page.Go(e.server.URL + "/job/hall/" + path); status != 200 {
			t.Errorf("%s: %d %s", path, status, e.page.Text("h1"))
		}
	}
	e.server.Stop()
	e.page.Go(e.server.URL + "/job/hall/days")
	if said := e.page.Text("h1"); said != "No signal" {
		t.Errorf("without the office: %s", said)
	}
}

// strike strikes the last line of a kind on Entries.
func (e *roofEdge) strike(title, why string) {
	e.t.Helper()
	e.page.Go(e.server.URL + "/job/hall/entries")
	link := browser.Eval[string](e.page, fmt.Sprintf(`[...document.querySelectorAll("a[href*='/strike']")]
		.filter((a) => a.closest("li, tr, article, section").innerText.includes(%q)).pop().href`, title))
	e.page.Go(link)
	e.page.Fill("input[name=why]", why)
	e.page.TapThrough("form.form .submit button")
}

// clock is a time of day some minutes ago.
func (e *roofEdge) clock(ago int) string {
	return time.Now().In(e.zone).Add(-time.Duration(ago) * time.Minute).Format("15:04")
}

// cards gives kind and headline of each warning on Now.
func (e *roofEdge) cards() []string {
	e.t.Helper()
	e.page.Go(e.server.URL + "/job/hall/")
	return browser.Eval[[]string](e.page, `[...document.querySelectorAll(".warning")].map((w) =>
		["stop", "today", "asked", "people", "note"].find((k) => w.classList.contains(k)) + " " + w.querySelector("h3").innerText)`)
}

func (e *roofEdge) expect(what string, parts ...string) {
	e.t.Helper()
	got := e.cards()
	for _, part := range parts {
		kind, words, _ := strings.Cut(part, " ")
		if !slices.ContainsFunc(got, func(card string) bool { return strings.HasPrefix(card, kind) && strings.Contains(card, words) }) {
			e.t.Errorf("%s: no card %q in %q", what, part, got)
		}
	}
	if len(got) != len(parts) {
		e.t.Errorf("%s: %d cards, want %d: %q", what, len(got), len(parts), got)
	}
}

// From panel to edge treatment on the tablet, with the server stopped: warnings
// ask, accuse and go; nothing is lost when worker and browser end; and once the
// server is back both hold the same and say the same.
func TestSeamWithoutServer(t *testing.T) {
	e := takeHallAboard(t)
	e.server.Stop()

	e.write("panel", map[string]any{"panel": "3", "weighted": true}, e.clock(100))
	all := map[string]any{"seam": "2|3", "from": 0, "to": 1200}
	e.write("priming", all, e.clock(80))
	e.expect("primed about 20 min after about in position", "asked anel 3", "asked 2|3")
	e.write("tape", all, e.clock(60))
	e.expect("taped, no test written", "asked anel 3", "asked 2|3")
	e.write("test", with(all, "result", "pass"), e.clock(70))
	e.expect("the test entered later, for an earlier moment", "asked anel 3")

	e.write("panel", map[string]any{"panel": "4", "weighted": true}, "")
	next := map[string]any{"seam": "3|4", "from": 0, "to": 1200}
	e.write("priming", next, "")
	e.expect("primed right after the panel came", "asked anel 3", "stop anel 4")
	e.write("tape", next, "")
	e.expect("taped without a finger test", "asked anel 3", "stop anel 4", "stop 3|4")
	e.b.StopWorkers(e.page)
	e.strike("Tape laid", "not laid yet")
	e.expect("the tape struck", "asked anel 3", "stop anel 4")

	e.write("closed", with(all, "splices", []string{"south", "north"}), "")
	places := []map[string]any{{"on": "2|3@south"}, {"on": "2|3@north"}}
	e.write("covers", map[string]any{"places": places}, "")
	e.write("treatment", map[string]any{"places": places[:1]}, "")
	e.expect("treated minutes after rolling", "asked anel 3", "stop anel 4", "stop 2|3")
	before := e.cards()

	e.b.Kill()
	e.b.Again()
	e.page = e.b.Open(browser.Tablet)
	if after := e.cards(); !slices.Equal(after, before) {
		t.Errorf("after the browser was killed\n got %q\nwant %q", after, before)
	}
	// Without signal the page goes on trying, and says so in facts.
	e.page.WaitText("header .state", "11 not sent")
	e.page.Go(e.server.URL + "/tablet")
	if page := e.page.Text("main"); !strings.Contains(page, "11 entries") {
		t.Errorf("This tablet does not say that 11 entries are not sent:\n%s", page)
	}

	e.server.Again()
	e.page.TapThrough(`form[action="/tablet/send"] button`)
	e.page.WaitText("main", "The office has all that this tablet has.")
	ctx := context.Background()
	job, err := store.Fold(ctx, e.log, "hall", "")
	if err != nil {
		t.Fatal(err)
	}
	var office []string
	for _, f := range checks.Run(checks.Look(job, e.today, time.Now(), e.zone, e.log.Device(), false)) {
		kind := string(f.Check.Severity)
		if f.Asks {
			kind = "asked"
		}
		office = append(office, kind+" "+f.Says)
	}
	if !slices.Equal(office, before) {
		t.Errorf("the office says\n     %q\nthe tablet %q", office, before)
	}
	if os.Getenv("DUSKLINE_PICTURES") != "" {
		fmt.Println(e.page.Shot("tablet"))
	}
}

func with(fields map[string]any, name string, value any) map[string]any {
	more := map[string]any{name: value}
	for n, v := range fields {
		more[n] = v
	}
	return more
}
