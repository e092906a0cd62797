package web

import (
	"context"
	"crypto/rand"
	"fmt"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
	"duskline/internal/store"
)

// office is a site over an invented job, driven as a browser drives it.
type tried struct {
	t     testing.TB
	log   *store.Memory
	now   time.Time
	site  http.Handler
	zone  *time.Location
	wrote int // straight into the log
	// For a browser: the files of the build, and how far the site's clock, which
	// then runs, is from this machine's.
	files http.Handler
	skew  time.Duration
	who   func(*http.Request, *daylog.Setup) Who // nil: the first foreman
}

const triedDay = "2026-10-06"

func newSite(t testing.TB) *tried {
	t.Helper()
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	s := &tried{t: t, log: store.NewMemory(), zone: zone}
	s.at("07:15")
	s.open()
	row := roofplan.Row{Corner: roofplan.Point{X: -18, Y: -18}, Length: roofplan.Feet(100), Lap: 5}
	for i := range 4 {
		row.Sheets = append(row.Sheets, roofplan.Sheet{Name: fmt.Sprint(i + 1), Width: roofplan.Feet(50)})
	}
	east, north := roofplan.Feet(195.75), roofplan.Feet(97)
	var edges []roofplan.Edge
	for _, name := range []string{"south", "east", "north", "west"} {
		edges = append(edges, roofplan.Edge{Name: name, Kind: roofplan.Parapet, TurnUp: 18})
	}
	s.write(
		&daylog.JobSetup{Name: "Invented hall", Zone: "America/Chicago", Leaving: "15:30", Packup: 20, Invented: true},
		&daylog.PlanSetup{Plan: roofplan.Plan{Outline: []roofplan.Point{{}, {X: east}, {X: east, Y: north}, {Y: north}}, Edges: edges, Rows: []roofplan.Row{row}}},
		&daylog.Person{Person: "ada", Name: "Ada Invented", Role: "foreman"},
		&daylog.Standing{Panels: []string{"1", "2"}, Strip: "2", StripWidth: 48, Weighted: true},
	)
	return s
}

// morning writes what each day begins with, so that only what a test is about
// is warned of.
func (s *tried) morning() {
	s.t.Helper()
	air, humidity, sheet := 70.0, 40.0, 95.0
	s.write(&daylog.FallProtection{Means: []string{"guardrail"}, Holes: true, Competent: []string{"ada"}}, &daylog.SealCheck{Dry: true},
		&daylog.WeatherReading{Air: &air, Humidity: &humidity, Sheet: &sheet})
}

// open makes the site over the log.
func (s *tried) open() {
	c := Config{
		Log: s.log, Now: func() time.Time { return s.now }, Rand: rand.Reader, Who: FirstForeman,
		State: func(_ context.Context, _ string, d *daylog.Day, zone *time.Location) string {
			return SavedWords("Saved", d, zone)
		},
		Logf:   func(format string, args ...any) { s.t.Errorf("site: "+format, args...) },
		Static: s.files,
	}
	if s.who != nil {
		c.Who = s.who
	}
	if s.skew != 0 {
		c.Now, c.Skew = time.Now, func() int { return int(s.skew.Seconds()) }
	}
	s.site = New(c)
}

// at sets the clock to a time of the tried day.
func (s *tried) at(clock string) {
	t, err := time.ParseInLocation("2006-01-02 15:04", triedDay+" "+clock, s.zone)
	if err != nil {
		s.t.Fatal(err)
	}
	s.now = t
}

// write writes bodies straight into the log.
func (s *tried) write(bodies ...daylog.Body) {
	s.t.Helper()
	var drafts []daylog.Entry
	for _, b := range bodies {
		s.wrote++
		drafts = append(drafts, daylog.Entry{ID: fmt.Sprintf("setup%d", s.wrote), Day: triedDay, At: s.now.UTC(), Made: s.now.UTC(), Body: b})
	}
	if _, err := s.log.Write(context.Background(), "hall", drafts...); err != nil {
		s.t.Fatal(err)
	}
}

func (s *tried) get(path string) *httptest.ResponseRecorder {
	s.t.Helper()
	w := httptest.NewRecorder()
	s.site.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
	return w
}

// post sends a form as a browser does: with line ends of its own.
func (s *tried) post(path string, form url.Values) *httptest.ResponseRecorder {
	s.t.Helper()
	form = maps.Clone(form)
	for name, texts := range form {
		form[name] = slices.Clone(texts)
		for i, text := range texts {
			form[name][i] = lineEnds.Replace(text)
		}
	}
	r := httptest.NewRequest("POST", path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	s.site.ServeHTTP(w, r)
	return w
}

var lineEnds = strings.NewReplacer("\r\n", "\r\n", "\r", "\r\n", "\n", "\r\n")

// formOn gives what the form on a page would send as it stands.
func (s *tried) formOn(path string) url.Values {
	s.t.Helper()
	w := s.get(path)
	if w.Code != http.StatusOK {
		s.t.Fatalf("GET %s: %d\n%s", path, w.Code, w.Body)
	}
	return formIn(w.Body.String())
}

// fill opens a form, changes what is given and sends it; it must be saved.
func (s *tried) fill(path string, change url.Values) {
	s.t.Helper()
	form := s.formOn(path)
	for name, values := range change {
		form[name] = values
	}
	target, _, _ := strings.Cut(path, "?")
	w := s.post(target, form)
	if w.Code != http.StatusSeeOther {
		s.t.Fatalf("POST %s %v: %d\n%s", target, form, w.Code, w.Body)
	}
}

// findings gives the headlines of the warning cards on Now.
func (s *tried) findings() []string {
	s.t.Helper()
	page := s.get("/job/hall/").Body.String()
	var all []string
	for _, m := range regexp.MustCompile(`(?s)<article class="warning (\w+)[^"]*".*?<h3[^>]*>(.*?)</h3>`).FindAllStringSubmatch(page, -1) {
		all = append(all, m[1]+" "+strings.TrimSpace(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(m[2], "")))
	}
	return all
}

// A seam from panel to edge treatment through the pages, as a foreman does it.
func TestSeamThroughTheForms(t *testing.T) {
	s := newSite(t)
	if page := s.get("/job/hall/").Body.String(); !strings.Contains(page, "Start the day") {
		t.Fatal("Now does not offer to start the day")
	}
	s.fill("/job/hall/write/start", url.Values{"leaving": {"15:30"}})
	s.morning()
	s.at("08:00")
	s.fill("/job/hall/write/panel", url.Values{"panel": {"3"}})
	s.at("08:20")
	s.fill("/job/hall/write/priming", url.Values{"seam": {"2|3"}, "from": {"0"}, "to": {"100"}})
	if got := s.findings(); len(got) != 1 || !strings.Contains(got[0], "Panel 3") {
		t.Errorf("primed after 20 minutes of rest: %q", got)
	}
	s.at("08:35")
	s.fill("/job/hall/write/test", url.Values{"seam": {"2|3"}, "from": {"0"}, "to": {"100"}, "result": {"pass"}})
	s.at("09:20")
	s.fill("/job/hall/write/closed", url.Values{"seam": {"2|3"}, "from": {"0"}, "to": {"100"}, "laps.0.at": {"41"}, "laps.0.lap": {"1 1/2"}, "splices": {"south", "north"}})
	page := s.formOn("/job/hall/write/covers")
	if page.Has("places") {
		t.Error("places are ticked before anybody tapped them")
	}
	s.at("09:50")
	s.fill("/job/hall/write/covers", url.Values{"places": {`{"on":"2|3","at":492}`, `{"on":"2|3@south"}`, `{"on":"2|3@north"}`}})
	s.at("12:30")
	s.fill("/job/hall/write/treatment", url.Values{"places": {`{"on":"2|3","at":492}`}})
	early := s.findings()
	if len(early) == 0 || !strings.HasPrefix(early[0], "stop") {
		t.Errorf("treated after 2 h 40 min: %q", early)
	}
	entries := s.get("/job/hall/entries").Body.String()
	for _, want := range []string{"Panel 3 in position, edges weighted", "Priming 2|3, 0 to 100 ft", "Finger test 2|3", "Run 2|3, 0 to 100 ft closed, end lap at 41 ft of 1 1/2 in", "3 covers", "treated"} {
		if !strings.Contains(entries, want) {
			t.Errorf("Entries does not show %q", want)
		}
	}
	strike := regexp.MustCompile(`/job/hall/entry/[a-z0-9]+/strike`).FindAllString(entries, -1)
	s.fill(strike[len(strike)-1], url.Values{"why": {"too early"}})
	if got := s.findings(); fmt.Sprint(got) == fmt.Sprint(early) {
		t.Errorf("struck, and still: %q", got)
	}
}
