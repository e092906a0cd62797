package web

import (
	"fmt"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/internal/roofplan"
	"duskline/internal/store"
)

// read is a page's text.
func (s *tried) read(path string) string {
	s.t.Helper()
	w := s.get(path)
	if w.Code != http.StatusOK {
		s.t.Fatalf("GET %s: %d\n%s", path, w.Code, w.Body)
	}
	return text(w.Body.String())
}

// thumb are the row of likeliest entries, each with its address.
func (s *tried) thumb() (labels, urls []string) {
	s.t.Helper()
	row := regexp.MustCompile(`(?s)<nav class="thumb".*?</nav>`).FindString(s.get("/job/hall/").Body.String())
	for _, m := range regexp.MustCompile(`(?s)<a[^>]* href="([^"]*)"[^>]*>(.*?)</a>`).FindAllStringSubmatch(row, -1) {
		labels, urls = append(labels, text(m[2])), append(urls, strings.ReplaceAll(m[1], "&amp;", "&"))
	}
	return labels, urls
}

// Times are those of the roof, wherever the tablet is, and every clock runs
// from the instants on the page.
func TestNowInTheJobsTime(t *testing.T) {
	s := midMorning(t)
	read := s.read("/job/hall/")
	for _, want := range []string{"10:12 now", "15:10 tools down", "15:30 off the roof", "10:50 last cover", "at 13:20", "Saved 09:20"} {
		if !strings.Contains(read, want) {
			t.Errorf("Now lacks %q: %s", want, read)
		}
	}
	page := s.get("/job/hall/").Body.String()
	until := fmt.Sprintf(`data-until="%d"`, time.Date(2026, 10, 6, 18, 20, 0, 0, time.UTC).UnixMilli())
	if !strings.Contains(page, until) {
		t.Errorf("no clock runs to %s", until)
	}
}

// From Now to saved are two taps: the thumb, then Save. The form is filled in
// and stands at now.
func TestLiveEntriesTakeTwoTaps(t *testing.T) {
	s := newSite(t)
	for _, step := range []struct{ at, label, kind, body string }{
		{"07:15", "Start the day", "start", `"leaving":"2026-10-06T20:30:00Z","packup":20`},
		{"08:00", "Panel in position", "panel", `"panel":"3","weighted":true`},
		{"08:35", "Priming", "priming", `"seam":"2|3","from":0,"to":1200`},
		{"09:10", "Run closed", "closed", `"seam":"2|3","from":0,"to":1200,"splices":["south","north"]`},
		{"09:30", "Covers done", "covers", `{"on":"2|3@south","x":`},
		{"13:35", "Treatment begun", "treatment", `{"on":"2|3@south","x":`},
	} {
		if step.kind == "closed" { // proved at the clock that runs on Now
			s.at("08:50")
			clock := regexp.MustCompile(`href="([^"]*/write/test[^"]*)"`).FindStringSubmatch(s.get("/job/hall/").Body.String())
			if clock == nil {
				t.Fatal("the clock of the flash-off leads to no test")
			}
			s.fill(html.UnescapeString(clock[1]), nil)
		}
		s.at(step.at)
		labels, urls := s.thumb()
		i := 0
		for i < len(labels) && !strings.HasPrefix(labels[i], step.label) {
			i++
		}
		if i == len(labels) || len(labels) > 6 {
			t.Fatalf("%s: the thumb offers %q, not %q among six", step.at, labels, step.label)
		}
		if i > 0 && step.kind != "panel" {
			t.Errorf("%s: %q comes first, want %q", step.at, labels[0], step.label)
		}
		before := s.count()
		path, _, _ := strings.Cut(urls[i], "?")
		if w := s.post(path, s.formOn(urls[i])); w.Code != http.StatusSeeOther || s.count() != before+1 {
			t.Fatalf("%s: %s: %d\n%s", step.at, step.label, w.Code, w.Body)
		}
		e := s.last()
		if e.Kind != step.kind || e.At.In(s.zone).Format("15:04") != step.at || e.About != 0 || !strings.Contains(string(e.Raw()), step.body) {
			t.Errorf("%s: %s wrote %s", step.at, step.label, e.Raw())
		}
	}
}

// What was just saved is said once, by the form's number; any other number says
// nothing.
func TestSavedIsSaid(t *testing.T) {
	s := midMorning(t)
	form := s.goodForm("note")
	form.Set("text", "gate <locked>")
	next := s.post("/job/hall/write/note", form).Header().Get("Location")
	if got := s.read(next); !strings.Contains(got, "Saved. 10:12 gate <locked>") {
		t.Errorf("%s says %s", next, got)
	}
	for _, id := range []string{"", "nobody", newID(4), "<script>alert(1)</script>", strings.Repeat("a", 4000)} {
		page := s.get("/job/hall/?" + url.Values{"saved": {id}}.Encode()).Body.String()
		if strings.Contains(page, "<b>Saved.</b>") || strings.Contains(page, "<script>alert") {
			t.Errorf("saved=%.30q is said to be saved", id)
		}
	}
	s.fill(s.action("gate <locked>", "strike"), url.Values{"why": {"twice"}})
	if got := s.read(next); !strings.Contains(got, "(struck since)") {
		t.Error("a struck line is said to be saved")
	}
}

// Owed work leads to the form that does it, filled in.
func TestOwedLeadsToItsForm(t *testing.T) {
	s := midMorning(t)
	page := s.get("/job/hall/").Body.String()
	rows := regexp.MustCompile(`(?s)<ul class="owed">.*?</ul>`).FindString(page)
	n := 0
	for _, m := range regexp.MustCompile(`href="([^"]*)"`).FindAllStringSubmatch(rows, -1) {
		n++
		if w := s.get(strings.ReplaceAll(m[1], "&amp;", "&")); w.Code != http.StatusOK {
			t.Errorf("%s: %d", m[1], w.Code)
		}
	}
	if n < 4 {
		t.Errorf("%d rows of owed work: %s", n, text(rows))
	}
}

// From tools down on, the first tap is to sign.
func TestThumbAtTheEnd(t *testing.T) {
	s := midMorning(t)
	s.at("15:12")
	labels, urls := s.thumb()
	if !strings.HasPrefix(labels[0], "Leaving") || urls[0] != "/job/hall/leaving" {
		t.Errorf("after tools down the thumb offers %q", labels)
	}
	s.sign()
	if labels, _ = s.thumb(); len(labels) != 2 || !strings.HasPrefix(labels[0], "Note") {
		t.Errorf("after signing the thumb offers %q", labels)
	}
}

// A day in the past is shown as that day, and all that leads on from it stays on
// it.
func TestNowOfAnotherDay(t *testing.T) {
	s := midMorning(t)
	s.now = s.now.Add(24 * time.Hour)
	page := s.get("/job/hall/?day=2026-10-06").Body.String()
	if !strings.Contains(page, "<h1>Tuesday 6 October</h1>") {
		t.Error("it does not say which day it shows")
	}
	for _, m := range regexp.MustCompile(`href="(/job/hall/[^"]*)"`).FindAllStringSubmatch(page, -1) {
		if !strings.Contains(m[1], "day=2026-10-06") {
			t.Errorf("%s leaves the day", m[1])
		}
	}
	if read := s.read("/job/hall/?day=1999-01-01"); !strings.Contains(read, "Friday 1 January 1999") {
		t.Error(read)
	}
	// Today does not carry its day along; what leads to the day before, which
	// nobody signed, does.
	page = s.get("/job/hall/?day=2026-10-07").Body.String()
	if strings.Contains(page, "day=2026-10-07") {
		t.Error("today's addresses name a day")
	}
	if !strings.Contains(page, `/leaving?day=2026-10-06"`) {
		t.Error("the day that nobody signed is not led to")
	}
}

// A job with nothing but its name, or not even that, is no trouble to any page.
func TestEmptyJob(t *testing.T) {
	for name, bodies := range map[string][]daylog.Body{
		"its name":      {&daylog.JobSetup{Name: "Bare hall", Zone: "America/Chicago"}},
		"no name":       {&daylog.JobSetup{}},
		"a person":      {&daylog.Person{Person: "ada", Name: "Ada Invented", Role: "foreman"}},
		"a lone strike": {&daylog.Strike{}},
		"no outline":    {&daylog.Person{Person: "ada", Role: "foreman"}, &daylog.PlanSetup{Plan: roofplan.Plan{Rows: []roofplan.Row{{Length: 100, Sheets: []roofplan.Sheet{{Name: "1", Width: 10}}}}}}},
	} {
		s := newSite(t)
		s.log = store.NewMemory()
		s.open()
		s.write(bodies...)
		for _, path := range []string{"", "entries", "write", "run", "run?seam=1|2&from=0&to=9", "leaving", "sign", "aside?key=x", "entries?day=2026-10-05", "?saved=" + newID(1)} {
			w := s.get("/job/hall/" + path)
			if w.Code >= 500 || w.Code == 404 || (path == "" || strings.HasPrefix(path, "entries")) && w.Code != http.StatusOK {
				t.Errorf("%s, %s: %d", name, path, w.Code)
			}
		}
		for _, k := range writable() {
			s.get("/job/hall/write/" + k.Name)
			if w := s.post("/job/hall/write/"+k.Name, url.Values{"form": {newID(2)}, "at": {"now"}, "panel-other": {"7"}, "seam-other": {"7|8"}, "places-other": {"7|8 at 4 ft"}}); w.Code >= 500 {
				t.Errorf("%s, writing %s: %d", name, k.Name, w.Code)
			}
		}
		s.get("/job/hall/entries")
		s.get("/job/hall/")
	}
}

// What the office has not set up is said plainly, where it is missed.
func TestNowSaysWhatIsMissing(t *testing.T) {
	plan := roofplan.Plan{Rows: []roofplan.Row{{Length: 1200, Sheets: []roofplan.Sheet{{Name: "1", Width: 240}}}}}
	for _, x := range []struct {
		bodies []daylog.Body
		says   string
	}{
		{[]daylog.Body{&daylog.JobSetup{Name: "x", Zone: "America/Chicago"}}, "The job has no roof plan yet."},
		{[]daylog.Body{&daylog.JobSetup{Name: "x", Zone: "America/Chicago"}, &daylog.PlanSetup{Plan: plan}}, "The roof plan cannot be drawn: "},
		{[]daylog.Body{&daylog.JobSetup{Name: "x", Zone: "Nowhere/Land"}}, "The job's time zone is not set. Times are shown in UTC."},
	} {
		s := newSite(t)
		s.log = store.NewMemory()
		s.open()
		s.write(x.bodies...)
		if got := s.read("/job/hall/"); !strings.Contains(got, x.says) {
			t.Errorf("Now lacks %q: %s", x.says, got)
		}
	}
	if got := midMorning(t).read("/job/hall/"); strings.Contains(got, "roof plan") || strings.Contains(got, "time zone") {
		t.Errorf("Now complains of a job that is set up: %s", got)
	}
}

// What can hurt people is answered for, not set aside, and what is asked neither.
func TestWhatCanBeSetAside(t *testing.T) {
	v := &visit{site: &site{}, id: "hall", day: &daylog.Day{Setup: &daylog.Setup{}}, who: Who{Person: "ada", Reads: true, Writes: []daylog.Writer{daylog.Crew}}}
	for _, x := range []struct {
		f    checks.Finding
		want string
	}{
		{checks.Finding{Key: "k", Says: "s", Check: &checks.Check{Severity: checks.Stop}}, "Set aside"},
		{checks.Finding{Key: "k", Says: "s", Check: &checks.Check{Severity: checks.Today}}, "Set aside"},
		{checks.Finding{Key: "k", Says: "s", Check: &checks.Check{Severity: checks.Stop}, Asks: true}, ""},
		{checks.Finding{Key: "k", Says: "s", Check: &checks.Check{Severity: checks.People}}, "Answer for it"},
	} {
		if got := v.warning(x.f).SetAside.Label; got != x.want {
			t.Errorf("%s, asks %v: its link is %q, want %q", x.f.Check.Severity, x.f.Asks, got, x.want)
		}
	}
}
