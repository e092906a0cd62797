package web

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/go-chi/chi/v5"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// broken is a log of which one operation fails, or panics while once is set.
type broken struct {
	store.Log
	write, heads error
	once         *bool
}

func (b broken) Write(ctx context.Context, job string, drafts ...daylog.Entry) ([]daylog.Entry, error) {
	if b.write != nil {
		return nil, b.write
	}
	return b.Log.Write(ctx, job, drafts...)
}

func (b broken) Heads(ctx context.Context, job string) (daylog.Heads, error) {
	if b.heads != nil && *b.once {
		*b.once = false
		panic(b.heads)
	}
	return b.Log.Heads(ctx, job)
}

// Whatever goes wrong, a page says so in plain words, with the right status.
func TestErrorPages(t *testing.T) {
	s := midMorning(t)
	long := url.Values{"form": {newID(1)}, "text": {strings.Repeat("x", longestForm)}, "at": {"now"}}
	for _, x := range []struct {
		method, path, body string
		want               int
		says               string
	}{
		{"GET", "/job/none/", "", 404, "Nothing is kept under this address"},
		{"GET", "/job/none/entries", "", 404, "Nothing is kept"},
		{"GET", "/nowhere", "", 404, "Nothing is kept"},
		{"GET", "/job/hall/nowhere", "", 404, "Nothing is kept"},
		{"GET", "/job/hall/write/nothing", "", 404, "Nothing is kept"},
		{"GET", "/job/hall/write/job", "", 404, "Nothing is kept"},
		{"GET", "/job/hall/write/plan", "", 404, "Nothing is kept"},
		{"GET", "/job/hall/write/sign", "", 404, "Nothing is kept"},
		{"GET", "/job/hall/write/strike", "", 404, "Nothing is kept"},
		{"POST", "/job/hall/write/job", "name=x&at=now&form=" + newID(1), 404, "Nothing is kept"},
		{"GET", "/job/hall/?day=yesterday", "", 400, "The day in the address cannot be read."},
		{"GET", "/job/hall/?day=0000-00-00", "", 400, "The day in the address cannot be read."},
		{"GET", "/job/hall/?day=9999-12-31", "", 400, "The day in the address cannot be read."},
		{"GET", "/job/hall/?a=%zz", "", 400, "did not arrive whole"},
		{"POST", "/job/hall/write/note", "text=%zz", 400, "did not arrive whole"},
		{"POST", "/job/hall/write/note", "a;b", 400, "did not arrive whole"},
		{"POST", "/job/hall/write/note", long.Encode(), 413, "too much for one form"},
		{"POST", "/job/hall/", "", 405, "cannot be done here"},
		{"PUT", "/job/hall/write/note", "text=x", 405, "cannot be done here"},
		{"DELETE", "/job/hall/entries", "", 405, "cannot be done here"},
		{"BREW", "/job/hall/", "", 405, "cannot be done here"},
	} {
		r := httptest.NewRequest(x.method, x.path, strings.NewReader(x.body))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		w := httptest.NewRecorder()
		before := s.count()
		s.site.ServeHTTP(w, r)
		page := w.Body.String()
		if w.Code != x.want || !strings.Contains(page, x.says) || !strings.Contains(page, "<h1>") || s.count() != before {
			t.Errorf("%s %s: %d, want %d and %q\n%.2000s", x.method, x.path, w.Code, x.want, x.says, page)
		}
		if x.want == 405 && w.Header().Get("Allow") == "" && x.method != "BREW" {
			t.Errorf("%s %s: no Allow", x.method, x.path)
		}
		headers(t, x.method+" "+x.path, w.Result())
	}
}

// headers checks what every page says of itself.
func headers(t *testing.T, what string, r *http.Response) {
	t.Helper()
	for name, want := range map[string]string{
		"Content-Type":            "text/html; charset=utf-8",
		"Cache-Control":           "no-store",
		"X-Content-Type-Options":  "nosniff",
		"Referrer-Policy":         "same-origin",
		"Content-Security-Policy": policy,
	} {
		if got := r.Header.Get(name); got != want {
			t.Errorf("%s: %s is %q, want %q", what, name, got, want)
		}
	}
}

func TestPagesAreFenced(t *testing.T) {
	s := midMorning(t)
	for _, path := range []string{"", "entries", "write", "write/panel", "run?other=1", "leaving"} {
		headers(t, path, s.get("/job/hall/"+path).Result())
	}
	for _, must := range []string{"default-src 'self'", "frame-ancestors 'none'", "form-action 'self'", "base-uri 'none'"} {
		if !strings.Contains(policy, must) {
			t.Errorf("the policy lacks %s", must)
		}
	}
	if strings.Contains(policy, "unsafe") {
		t.Error("the policy allows what is inline")
	}
	// The files of the build keep their own headers: under the pages' policy
	// the worker could not compile its program.
	c := Config{Log: s.log, Now: func() time.Time { return s.now }, Rand: rand.Reader, Who: FirstForeman, Logf: t.Logf, Static: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		fmt.Fprint(w, "file")
	})}
	for _, path := range []string{"/static/site.css", "/sw.js"} {
		w := httptest.NewRecorder()
		New(c).ServeHTTP(w, httptest.NewRequest("GET", path, nil))
		if w.Body.String() != "file" || w.Header().Get("Content-Security-Policy") != "" {
			t.Errorf("%s: %q, policy %q", path, w.Body, w.Header().Get("Content-Security-Policy"))
		}
	}
	c.Office = func(r chi.Router) {
		r.Get("/", func(w http.ResponseWriter, r *http.Request) { fmt.Fprint(w, "office") })
	}
	w := httptest.NewRecorder()
	New(c).ServeHTTP(w, httptest.NewRequest("GET", "/", nil))
	if w.Body.String() != "office" || w.Header().Get("Content-Security-Policy") != policy {
		t.Errorf("the office's page: %q, policy %q", w.Body, w.Header().Get("Content-Security-Policy"))
	}
}

func TestHead(t *testing.T) {
	s := midMorning(t)
	server := httptest.NewServer(s.site)
	defer server.Close()
	for path, want := range map[string]int{"/job/hall/": 200, "/job/hall/entries": 200, "/job/none/": 404, "/job/hall/write/nothing": 404} {
		r, err := http.Head(server.URL + path)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != want || r.Header.Get("Content-Type") != "text/html; charset=utf-8" {
			t.Errorf("HEAD %s: %d %s", path, r.StatusCode, r.Header.Get("Content-Type"))
		}
	}
}

// A form on another site cannot write here.
func TestFormsOfOtherSites(t *testing.T) {
	s := midMorning(t)
	form := s.goodForm("note")
	before := s.count()
	for name, header := range map[string][2]string{
		"another site":   {"Sec-Fetch-Site", "cross-site"},
		"a sister site":  {"Sec-Fetch-Site", "same-site"},
		"another origin": {"Origin", "https://elsewhere.invalid"},
	} {
		r := httptest.NewRequest("POST", "/job/hall/write/note", strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set(header[0], header[1])
		w := httptest.NewRecorder()
		s.site.ServeHTTP(w, r)
		if w.Code != 403 || s.count() != before || !strings.Contains(w.Body.String(), "This came from another site") {
			t.Errorf("%s: %d\n%s", name, w.Code, w.Body)
		}
		headers(t, name, w.Result())
	}
	r := httptest.NewRequest("POST", "/job/hall/write/note", strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	w := httptest.NewRecorder()
	if s.site.ServeHTTP(w, r); w.Code != http.StatusSeeOther {
		t.Errorf("our own page: %d", w.Code)
	}
}

// What breaks inside says that it broke inside, and the next request is none
// the wiser.
func TestWhatBreaksInside(t *testing.T) {
	for name, x := range map[string]struct {
		log  broken
		want int
		says string
		logs string
	}{
		"the log fails":     {broken{write: errors.New("disk on fire")}, 500, "Something broke in the program", "disk on fire"},
		"the log is full":   {broken{write: fmt.Errorf("page: %w", store.ErrFull)}, 507, "There is no room left", "full"},
		"something panics":  {broken{heads: errors.New("nobody expects this"), once: new(bool)}, 500, "Something broke in the program", "nobody expects this"},
		"no random numbers": {broken{}, 500, "Something broke in the program", "no luck"},
	} {
		s := midMorning(t)
		x.log.Log = s.log
		var logged []string
		c := Config{Log: x.log, Now: func() time.Time { return s.now }, Rand: rand.Reader, Who: FirstForeman, Logf: func(form string, args ...any) {
			logged = append(logged, fmt.Sprintf(form, args...))
		}}
		if name == "no random numbers" {
			c.Rand = unlucky{}
		}
		form := s.goodForm("note")
		s.site = New(c)
		before := s.count()
		w := s.post("/job/hall/write/note", form)
		switch name {
		case "something panics":
			*x.log.once = true
			w = s.get("/job/hall/leaving")
		case "no random numbers":
			w = s.get("/job/hall/write/note")
			before = s.count()
		}
		if x.log.write == nil {
			before = s.count()
		}
		if w.Code != x.want || !strings.Contains(w.Body.String(), x.says) || strings.Contains(w.Body.String(), x.logs) && x.want == 500 || s.count() != before {
			t.Errorf("%s: %d\n%s", name, w.Code, w.Body)
		}
		if len(logged) == 0 || !strings.Contains(logged[0], x.logs) {
			t.Errorf("%s: noted %q", name, logged)
		}
		headers(t, name, w.Result())
		if w := s.get("/job/hall/"); w.Code != 200 {
			t.Errorf("%s, and then: %d", name, w.Code)
		}
	}
}

type unlucky struct{}

func (unlucky) Read([]byte) (int, error) { return 0, errors.New("no luck") }

// A job that nobody may write on can be read, and offers nothing to write.
func TestNobodyToWrite(t *testing.T) {
	s := midMorning(t)
	s.write(&daylog.Person{Person: "ada", Name: "Ada Invented", Role: "foreman", Gone: true})
	before := s.count()
	for _, path := range []string{"", "entries"} {
		page := s.get("/job/hall/" + path).Body.String()
		for _, never := range []string{"/write/", "/strike", "/correct", "/aside", "<form"} {
			if strings.Contains(page, never) {
				t.Errorf("%q offers %s", path, never)
			}
		}
	}
	for _, path := range []string{"write", "write/note", "run", "sign", "aside?key=x"} {
		if w := s.get("/job/hall/" + path); w.Code != http.StatusForbidden {
			t.Errorf("GET %s: %d", path, w.Code)
		}
	}
	for _, path := range []string{"write/note", "run", "sign", "aside"} {
		if w := s.post("/job/hall/"+path, url.Values{"form": {newID(1)}, "at": {"now"}, "text": {"x"}}); w.Code != http.StatusForbidden || s.count() != before {
			t.Errorf("POST %s: %d", path, w.Code)
		}
	}
}
