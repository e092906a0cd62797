package main

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/signin"
)

// Whoever sets a job up becomes one of its people with the first line, and a
// copied set-up names who copied it.
func TestSetupByWhoIsSignedIn(t *testing.T) {
	o := newTried(t)
	o.add("company", people["company"]...)
	o.add("manager", people["manager"]...)
	max, local := o.browser(), o.browser()
	max.signIn("company")
	local.signIn("manager")
	day := string(daylog.DateOf(time.Now().UTC()))
	max.post("/job/hall/setup/limits/edge-early.wait_min", url.Values{"form": {"cccccccccccccccc"}, "value": {"300"}, "why": {"invented letter"}, "day": {day}}, 303)
	max.post("/job/hall/setup/scope", url.Values{"form": {"dddddddddddddddd"}, "mat": {"on"}, "day": {day}}, 303)
	page := max.send("GET", "/job/hall/setup", nil).Body.String()
	if n := strings.Count(page, "by company Invented"); n < 3 || !strings.Contains(page, "Person: company Invented") {
		t.Errorf("who wrote two lines and became a person is named %d times:\n%s", n, page)
	}
	entries, err := o.log.Entries(t.Context(), "hall", "")
	if err != nil {
		t.Fatal(err)
	}
	s, persons := daylog.Fold("hall", entries).On(daylog.Date(day)).Setup, 0
	for _, p := range s.Persons {
		if p.Name == "company Invented" && p.Role == "manager" {
			persons++
		}
	}
	if why := s.Reasons["edge-early.wait_min"]; persons != 1 || s.PersonName(why.Author) != "company Invented" || why.Why != "invented letter" {
		t.Errorf("%d persons of that name; the limit's reason is %+v", persons, why)
	}

	form := url.Values{"form": {"eeeeeeeeeeeeeeee"}, "name": {"Invented copy"}, "zone": {"UTC"}, "day": {day}, "copied": {"hall"}}
	w := max.send("POST", "/jobs/new", form)
	to := w.Header().Get("Location")
	if w.Code != 303 || !strings.HasPrefix(to, "/job/") {
		t.Fatalf("copying: %d\n%s", w.Code, w.Body)
	}
	page = max.send("GET", to, nil).Body.String()
	for _, say := range []string{"Invented copy", "Ada Invented", "job includes, mat", "1 set for this job", "as on Invented hall", "by company Invented"} {
		if !strings.Contains(page, say) {
			t.Errorf("the copy does not say %q:\n%s", say, page)
		}
	}
	if again := max.send("POST", "/jobs/new", form).Header().Get("Location"); again != to {
		t.Errorf("sent twice it leads to %q and %q", to, again)
	}
	// A job's manager sets up no other, and copies none.
	if w := local.send("GET", "/jobs/new", nil); w.Code != 403 {
		t.Errorf("a job's manager and a new job: %d", w.Code)
	}
	if w := local.send("GET", to, nil); w.Code != 403 {
		t.Errorf("the copy is open to the other job's manager: %d", w.Code)
	}
}

// Each roof's standing in a line, and from there a way to the summary of a day
// and back again.
func TestFromJobsToASummary(t *testing.T) {
	o := newTried(t)
	if err := writeDemo(t.Context(), o.log, time.Now()); err != nil {
		t.Fatal(err)
	}
	o.add("chief", signin.Part{Job: signin.Company, Role: signin.Manager})
	o.add("ada", signin.Part{Job: demoJob, Role: signin.Foreman, Person: "ada"})
	o.add("olive", signin.Part{Job: demoJob, Role: signin.Owner})
	for login, sees := range map[string][]string{
		"chief": {"Invented hall", "Invented annex", "Annex roof, north half", "Workshop roof", "under way since 06:55", "3,799.2 sq ft bare", "edges untreated", "last word from its tablet", "2 days wait for review", "not started today"},
		"ada":   {"Annex roof, north half", "3,799.2 sq ft bare"},
		"olive": {"Annex roof, north half", "signed days"},
	} {
		b := o.browser()
		b.signIn(login)
		page := b.send("GET", "/", nil).Body.String()
		for _, say := range sees {
			if !strings.Contains(page, say) {
				t.Errorf("%s does not see %q:\n%s", login, say, page)
			}
		}
		if login != "chief" && (strings.Contains(page, "Workshop") || strings.Contains(page, "Invented hall")) {
			t.Errorf("%s sees other jobs", login)
		}
		if login == "olive" && strings.Contains(page, "sq ft") {
			t.Error("the owner's representative sees how a day stands that nobody signed")
		}
		// Along the links: the job's days, a day that is signed, its summary; each
		// page leads on and back to the jobs.
		at := "/"
		for _, next := range []string{`/job/` + demoJob + `/days`, `/job/` + demoJob + `/day/[0-9-]+/summary`} {
			page := b.send("GET", at, nil).Body.String()
			if at = regexp.MustCompile(`href="(` + next + `)"`).FindString(page); at == "" {
				t.Fatalf("%s: nothing leads to %s:\n%s", login, next, page)
			}
			at = strings.TrimSuffix(strings.TrimPrefix(at, `href="`), `"`)
		}
		for _, path := range []string{at, "/job/" + demoJob + "/days"} {
			if page := b.send("GET", path, nil).Body.String(); !strings.Contains(page, `href="/"`) {
				t.Errorf("%s: %s does not lead back to the jobs:\n%s", login, path, page)
			}
		}
		if login == "olive" {
			continue
		}
		for _, path := range []string{"", "entries", "write"} {
			if w := b.send("GET", "/job/"+demoJob+"/"+path, nil); w.Code == 200 && !strings.Contains(w.Body.String(), `href="/"`) {
				t.Errorf("%s: the job's page %q does not lead back to the jobs", login, path)
			}
		}
	}
}
