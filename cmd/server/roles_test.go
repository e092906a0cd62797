package main

import (
	"context"
	"fmt"
	"html"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-chi/chi/v5"

	"duskline/internal/daylog"
	"duskline/internal/signin"
	"duskline/internal/store/sqlite"
	"duskline/static"
)

// quick is what a password costs in these tests.
var quick = signin.Cost{Memory: 64, Passes: 1, Lanes: 1}

const password = "four words of mine"

// tried is a server with two invented jobs and somebody of each role.
type tried struct {
	*host
	t       testing.TB
	folder  string
	routes  chi.Router
	site    http.Handler
	entries map[string]string // of each job, one that can be corrected
	ids     map[string]string // of accounts, by login
}

// jobs are those of the tests; nobody wrote an entry of the last.
var jobs = []string{"hall", "annex", "none"}

func newTried(t testing.TB) *tried {
	t.Helper()
	return newTriedWith(t, jobs[:2]...)
}

// newTriedWith is newTried with other jobs in its log.
func newTriedWith(t testing.TB, jobs ...string) *tried {
	t.Helper()
	o := &tried{t: t, folder: t.TempDir(), entries: map[string]string{}, ids: map[string]string{}}
	log, err := sqlite.Open(t.Context(), filepath.Join(o.folder, "duskline.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { log.Close() })
	logf := func(format string, args ...any) { t.Errorf("site: "+format, args...) }
	accounts, err := signin.Open(signin.Config{Database: log, Folder: o.folder, Now: time.Now, Cost: quick, Logf: func(string, ...any) {}})
	if err != nil {
		t.Fatal(err)
	}
	build, err := static.New(static.Files)
	if err != nil {
		t.Fatal(err)
	}
	o.host = &host{log: log, build: build, logf: logf, accounts: accounts, tablets: signin.Tablets{Database: log, Now: time.Now}}
	o.site = o.handler(func(r chi.Router) {
		o.routes = r
		o.host.routes(r)
	})
	now := time.Now().UTC().Truncate(time.Second)
	for _, job := range jobs {
		var drafts []daylog.Entry
		for i, body := range []daylog.Body{
			&daylog.JobSetup{Name: "Invented " + job, Zone: "UTC", Invented: true},
			&daylog.Person{Person: "ada", Name: "Ada Invented", Role: "foreman"},
			&daylog.Person{Person: "max", Name: "Max Invented", Role: "manager"},
			&daylog.Note{Text: "an invented note"},
		} {
			drafts = append(drafts, daylog.Entry{ID: daylog.FormID("aaaaaaaaaaaaaaaa", i), Day: daylog.DateOf(now), At: now, Made: now, Author: "ada", Body: body})
		}
		kept, err := log.Write(t.Context(), job, drafts...)
		if err != nil {
			t.Fatal(err)
		}
		o.entries[job] = kept[3].ID
		heads, err := log.Heads(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := log.Write(t.Context(), job, daylog.Entry{ID: "signed", Day: daylog.DateOf(now), At: now, Made: now, Author: "ada", Body: &daylog.Sign{Vector: heads}}); err != nil {
			t.Fatal(err)
		}
	}
	return o
}

// people are the roles of the table. A person is asked about every job.
var people = map[string][]signin.Part{
	"company":  {{Job: signin.Company, Role: signin.Manager}},
	"both":     {{Job: signin.Company, Role: signin.Manager}, {Job: "hall", Role: signin.Foreman, Person: "ada"}},
	"manager":  {{Job: "hall", Role: signin.Manager, Person: "max"}},
	"foreman":  {{Job: "hall", Role: signin.Foreman, Person: "ada"}},
	"owner":    {{Job: "hall", Role: signin.Owner}},
	"nojob":    nil,
	"disabled": {{Job: signin.Company, Role: signin.Manager}, {Job: "hall", Role: signin.Foreman, Person: "ada"}},
}

// nobody is whoever is not signed in.
const nobody = ""

func (o *tried) add(login string, parts ...signin.Part) {
	o.t.Helper()
	id, err := o.accounts.Add(o.t.Context(), login, login+" Invented", password, parts...)
	if err != nil {
		o.t.Fatal(err)
	}
	o.ids[login] = id
}

// visitor is a browser with cookies of its own.
type visitor struct {
	o       *tried
	cookies map[string]*http.Cookie
}

func (o *tried) browser() *visitor { return &visitor{o, map[string]*http.Cookie{}} }

// send sends a request as a browser does from a page of the site itself.
func (b *visitor) send(method, path string, form url.Values, change ...func(*http.Request)) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, strings.NewReader(form.Encode()))
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	for _, c := range b.cookies {
		r.AddCookie(c)
	}
	for _, do := range change {
		do(r)
	}
	w := httptest.NewRecorder()
	b.o.site.ServeHTTP(w, r)
	for _, c := range w.Result().Cookies() {
		if b.cookies[c.Name] = c; c.MaxAge < 0 {
			delete(b.cookies, c.Name)
		}
	}
	return w
}

func (b *visitor) signIn(login string) {
	b.o.t.Helper()
	if w := b.send("POST", "/sign-in", url.Values{"login": {login}, "password": {password}}); w.Code != http.StatusSeeOther {
		b.o.t.Fatalf("%s: signing in: %d\n%s", login, w.Code, w.Body)
	}
}

// What a cell of the table can be.
const (
	ok     = "ok" // through to the page, whatever that makes of an empty form
	no     = "403"
	toSign = "sign-in"
)

// row says who may have a page. ok on jobs not named is no.
type row struct {
	everybody bool                // signed in or not
	signedIn  bool                // whoever is
	may       map[string][]string // the jobs on which somebody may, by login
}

var (
	reads = map[string][]string{"company": jobs, "both": jobs, "manager": {"hall"}, "foreman": {"hall"}}
	crew  = map[string][]string{"both": {"hall"}, "foreman": {"hall"}}
	keeps = map[string][]string{"company": jobs, "both": jobs}
	signs = map[string][]string{"company": jobs, "both": jobs, "manager": {"hall"}, "foreman": {"hall"}, "owner": {"hall"}}
	sets  = map[string][]string{"company": jobs, "both": jobs, "manager": {"hall"}}
)

// table is every route of the server. A route that is not in it is an error: who
// may have it is to be decided first.
var table = map[string]row{
	"GET /":                                {signedIn: true},
	"GET /sign-in":                         {everybody: true},
	"POST /sign-in":                        {everybody: true},
	"POST /sign-out":                       {signedIn: true},
	"GET /first":                           {everybody: true},
	"POST /first":                          {everybody: true},
	"GET /invite/{code}":                   {everybody: true},
	"POST /invite/{code}":                  {everybody: true},
	"GET /account":                         {signedIn: true},
	"GET /account/password":                {signedIn: true},
	"POST /account/password":               {signedIn: true},
	"GET /accounts":                        {may: keeps},
	"GET /accounts/new":                    {may: keeps},
	"POST /accounts/new":                   {may: keeps},
	"GET /accounts/{id}":                   {may: keeps},
	"POST /accounts/{id}/link":             {may: keeps},
	"POST /accounts/{id}/disable":          {may: keeps},
	"POST /accounts/{id}/enable":           {may: keeps},
	"GET /accounts/{id}/part":              {may: keeps},
	"POST /accounts/{id}/part":             {may: keeps},
	"POST /exchange":                       {everybody: true}, // by key; see TestExchange
	"GET /tablets":                         {may: keeps},
	"GET /tablets/new":                     {may: keeps},
	"POST /tablets/new":                    {may: keeps},
	"POST /tablets/{id}/revoke":            {may: keeps},
	"POST /tablets/parked":                 {may: keeps},
	"POST /tablets/aside":                  {may: keeps},
	"POST /tablets/seen":                   {may: keeps},
	"POST /tablet/enrol":                   {everybody: true}, // by code; see TestEnrol
	"GET /tablet":                          {everybody: true},
	"GET /verify":                          {everybody: true}, // by a printed code
	"GET /verify/how":                      {everybody: true},
	"GET /record":                          {may: keeps},
	"POST /record/import":                  {may: keeps},
	"GET /job/{job}/archive":               {may: sets},
	"GET /jobs/new":                        {may: keeps},
	"POST /jobs/new":                       {may: keeps},
	"GET /job/{job}/setup":                 {may: sets},
	"GET /job/{job}/setup/limits":          {may: sets},
	"GET /job/{job}/setup/limits/{limit}":  {may: sets},
	"POST /job/{job}/setup/limits/{limit}": {may: sets},
	"GET /job/{job}/setup/plan":            {may: sets},
	"POST /job/{job}/setup/plan":           {may: sets},
	"GET /job/{job}/setup/ballast":         {may: sets},
	"POST /job/{job}/setup/ballast":        {may: sets},
	"GET /job/{job}/setup/{kind}":          {may: sets},
	"POST /job/{job}/setup/{kind}":         {may: sets},
	"GET /job/{job}/days":                  {may: signs},
	"GET /job/{job}/day/{date}":            {may: reads},
	"POST /job/{job}/day/{date}":           {may: sets},
	"GET /job/{job}/day/{date}/summary":    {may: signs},
	"GET /job/{job}/day/{date}/page.css":   {may: signs},
	"GET /job/{job}/":                      {may: reads},
	"GET /job/{job}/entries":               {may: reads},
	"GET /job/{job}/write":                 {may: crew},
	"GET /job/{job}/write/{kind}":          {may: crew},
	"POST /job/{job}/write/{kind}":         {may: crew},
	"GET /job/{job}/run":                   {may: crew},
	"POST /job/{job}/run":                  {may: crew},
	"GET /job/{job}/several/{set}":         {may: crew},
	"POST /job/{job}/several/{set}":        {may: crew},
	"GET /job/{job}/leaving":               {may: reads},
	"GET /job/{job}/aside":                 {may: crew},
	"POST /job/{job}/aside":                {may: crew},
	"GET /job/{job}/sign":                  {may: crew},
	"POST /job/{job}/sign":                 {may: crew},
	"GET /job/{job}/entry/{id}/correct":    {may: crew},
	"POST /job/{job}/entry/{id}/correct":   {may: crew},
	"GET /job/{job}/entry/{id}/strike":     {may: crew},
	"POST /job/{job}/asked":                {may: crew},
	"POST /job/{job}/undo":                 {may: crew},
	"POST /job/{job}/entry/{id}/strike":    {may: crew},
}

func (r row) want(login, job string) string {
	switch {
	case r.everybody:
		return ok
	case login == nobody || login == "disabled":
		return toSign
	case r.signedIn || slices.Contains(r.may[login], job):
		return ok
	}
	return no
}

func TestRoles(t *testing.T) {
	o := newTried(t)
	browsers := map[string]*visitor{nobody: o.browser()}
	for login, parts := range people {
		o.add(login, parts...)
		browsers[login] = o.browser()
		browsers[login].signIn(login)
	}
	if err := o.accounts.Disable(t.Context(), o.ids["disabled"]); err != nil {
		t.Fatal(err)
	}
	seen, cells := map[string]bool{}, map[string]int{}
	err := chi.Walk(o.routes, func(method, pattern string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		if pattern == "/static/*" || pattern == "/sw.js" { // files, tested below
			return nil
		}
		route := method + " " + pattern
		r, drawn := table[route]
		seen[route] = true
		if !drawn {
			t.Errorf("who may have %s is not in the table", route)
			return nil
		}
		about := jobs
		if !strings.Contains(pattern, "{job}") {
			about = jobs[:1]
		}
		for _, login := range slices.Sorted(maps.Keys(browsers)) {
			for _, job := range about {
				// An account that is not there: what may be done is found out,
				// and nothing is.
				path := strings.NewReplacer("{job}", job, "{kind}", "note", "{set}", "evening", "{code}", "none", "{date}", string(daylog.DateOf(time.Now().UTC()))).Replace(pattern)
				if id := o.entries[job]; strings.Contains(path, "{id}") && strings.HasPrefix(path, "/job/") {
					path = strings.ReplaceAll(path, "{id}", id)
				}
				path = strings.ReplaceAll(path, "{id}", "none")
				b := &visitor{o, maps.Clone(browsers[login].cookies)}
				var form url.Values
				if method == "POST" {
					form = url.Values{}
				}
				w := b.send(method, path, form)
				got := ok
				if to := w.Header().Get("Location"); w.Code == http.StatusSeeOther && strings.HasPrefix(to, "/sign-in?next=") {
					got = toSign
				} else if w.Code == http.StatusForbidden {
					got = no
				}
				if want := r.want(login, job); got != want {
					t.Errorf("%s of %s as %q: %d %q, want %s", route, job, login, w.Code, w.Header().Get("Location"), want)
				}
				if w.Code >= 500 {
					t.Errorf("%s of %s as %q: %d", route, job, login, w.Code)
				}
				if got == no && strings.Contains(w.Body.String(), "Invented "+job) && !slices.Contains(reads[login], job) {
					t.Errorf("%s refuses %q and names the job", route, login)
				}
				cells[got]++
				if got != toSign { // which has no page
					checkHeaders(t, route, w)
				}
				if route == "POST /sign-out" && got == ok {
					browsers[login].signIn(login)
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for route := range table {
		if !seen[route] {
			t.Errorf("%s is in the table and nowhere else", route)
		}
	}
	t.Logf("%d routes, cells: %v", len(seen), cells)
}

// checkHeaders looks at what every answer of the server says to browsers.
func checkHeaders(t *testing.T, what string, w *httptest.ResponseRecorder) {
	t.Helper()
	keep := "no-store"
	if w.Code == http.StatusUnprocessableEntity && strings.HasPrefix(what, "POST /job/{job}/") && !strings.Contains(what, "/setup") && !strings.Contains(what, "/day/") {
		// A crew's form that was refused may stay in the browser that sent it, or Back
		// would find nothing of what was typed. Signing out clears it.
		keep = "private, no-cache"
	}
	for name, want := range map[string]string{
		"X-Content-Type-Options": "nosniff",
		"Referrer-Policy":        "same-origin",
		"Cache-Control":          keep,
	} {
		if got := w.Header().Get(name); got != want {
			t.Errorf("%s: %s is %q, want %q", what, name, got, want)
		}
	}
	policy := w.Header().Get("Content-Security-Policy")
	for _, want := range []string{"default-src 'self'", "frame-ancestors 'none'", "form-action 'self'", "base-uri 'none'", "object-src 'none'"} {
		if !strings.Contains(policy, want) {
			t.Errorf("%s: the policy %q lacks %s", what, policy, want)
		}
	}
	if strings.Contains(policy, "unsafe-inline") || strings.Contains(policy, "'unsafe-eval'") {
		t.Errorf("%s: the policy %q lets text run as a script", what, policy)
	}
	for _, c := range w.Result().Cookies() {
		if !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Path != "/" || c.Domain != "" {
			t.Errorf("%s sets the cookie %v", what, c)
		}
	}
}

// Files are the same for everybody, and what is no page is nobody's.
func TestWithoutSigningIn(t *testing.T) {
	o := newTried(t)
	o.add("company", people["company"]...)
	b := o.browser()
	worker := 404 // without the tablets' program there is none
	if o.build.HasProgram() {
		worker = 200
	}
	for path, want := range map[string]int{"/static/site.css": 200, "/sw.js": worker, "/static/none": 404} {
		if w := b.send("GET", path, nil); w.Code != want || w.Header().Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%s: %d, want %d", path, w.Code, want)
		}
	}
	// Ways around by how an address is written.
	for _, path := range []string{
		"/none", "/job/hall", "//job/hall/", "/static/../job/hall/", "/static/%2e%2e/job/hall/", "/static%2f..%2fjob%2fhall/", "/sign-in/../job/hall/",
		"/invite/../job/hall/", "/invite/..%2fjob/hall/", "/j%6fb/hall/", "/job/hall/%2e", "/job/%68all/", "/JOB/hall/", "/job/hall/;/sign-in", "/accounts/", "/accounts/new/",
	} {
		w := b.send("GET", path, nil)
		if strings.Contains(w.Body.String(), "Invented hall") || w.Code == 200 {
			t.Errorf("%s: %d\n%s", path, w.Code, w.Body)
		}
	}
	b.signIn("company")
	if w := b.send("GET", "/none", nil); w.Code != 404 {
		t.Errorf("a page that is not there: %d", w.Code)
	}
}

// Where nobody signs in everything is open, and there is nothing to sign in to.
func TestOpen(t *testing.T) {
	o := newTried(t)
	h := *o.host
	h.accounts = nil
	o.site = h.handler(h.routes)
	b := o.browser()
	for path, want := range map[string]int{"/": 200, "/job/hall/": 200, "/job/annex/write/note": 200, "/job/none/": 404, "/sign-in": 404, "/first": 404, "/accounts": 404} {
		if w := b.send("GET", path, nil); w.Code != want {
			t.Errorf("%s: %d, want %d", path, w.Code, want)
		}
	}
	if page := b.send("GET", "/", nil).Body.String(); !strings.Contains(page, "Invented hall") || !strings.Contains(page, "Invented annex") {
		t.Errorf("not all jobs are there:\n%s", page)
	}
}

// A form that another site sends is refused, with the cookie or without.
func TestOtherSitesForms(t *testing.T) {
	o := newTried(t)
	o.add("both", people["both"]...)
	for _, from := range []func(*http.Request){
		func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") },
		func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "same-site") },
		func(r *http.Request) {
			r.Header.Del("Sec-Fetch-Site")
			r.Header.Set("Origin", "https://elsewhere.example")
		},
	} {
		b := o.browser()
		if w := b.send("POST", "/sign-in", url.Values{"login": {"both"}, "password": {password}}, from); w.Code != 403 || len(b.cookies) > 0 {
			t.Errorf("signed in by another site: %d", w.Code)
		}
		b.signIn("both")
		for route := range table {
			path, post := strings.CutPrefix(route, "POST ")
			if !post {
				continue
			}
			path = strings.NewReplacer("{job}", "hall", "{kind}", "note", "{id}", o.ids["both"], "{code}", "none").Replace(path)
			if w := b.send("POST", path, url.Values{}, from); w.Code != 403 {
				t.Errorf("%s sent by another site: %d", route, w.Code)
			}
		}
	}
	if x, err := o.accounts.Account(t.Context(), o.ids["both"]); err != nil || !x.Disabled.IsZero() || !x.Link.IsZero() {
		t.Errorf("another site changed an account: %+v, %v", x, err)
	}
}

// Whoever loses a part or the account loses it with the next request.
func TestAccessEndsAtOnce(t *testing.T) {
	o := newTried(t)
	o.add("company", people["company"]...)
	o.add("foreman", people["foreman"]...)
	ada, max := o.browser(), o.browser()
	ada.signIn("foreman")
	max.signIn("company")
	open := func() int { return ada.send("GET", "/job/hall/write/note", nil).Code }
	if code := open(); code != 200 {
		t.Fatalf("before: %d", code)
	}
	id := o.ids["foreman"]
	max.post("/accounts/"+id+"/part", url.Values{"job": {"hall"}, "role": {"none"}}, 303)
	if code := open(); code != 403 {
		t.Errorf("off the job: %d", code)
	}
	max.post("/accounts/"+id+"/part", url.Values{"job": {"hall"}, "role": {"foreman"}, "person": {"ada"}}, 303)
	if code := open(); code != 200 {
		t.Errorf("on the job again: %d", code)
	}
	max.post("/accounts/"+id+"/disable", url.Values{}, 303)
	if w := ada.send("GET", "/job/hall/write/note", nil); w.Code != 303 || w.Header().Get("Location") != "/sign-in?next=%2Fjob%2Fhall%2Fwrite%2Fnote" {
		t.Errorf("disabled: %d %s", w.Code, w.Header().Get("Location"))
	}
	w := ada.send("POST", "/job/hall/write/note", url.Values{"text": {"late"}}, func(r *http.Request) { r.Header.Set("Referer", "http://example.com/job/hall/write/note") })
	if to := w.Header().Get("Location"); w.Code != 303 || to != "/sign-in?next=%2Fjob%2Fhall%2Fwrite%2Fnote&unsaved=1" {
		t.Errorf("a form sent while disabled: %d %s", w.Code, to)
	}
	if page := ada.send("GET", w.Header().Get("Location"), nil).Body.String(); !strings.Contains(page, "was not saved") {
		t.Errorf("it is not said that nothing was saved:\n%s", page)
	}
	max.post("/accounts/"+id+"/enable", url.Values{}, 303)
	if code := open(); code != 303 {
		t.Errorf("enabled, the session from before: %d", code)
	}
}

func (b *visitor) post(path string, form url.Values, want int) string {
	b.o.t.Helper()
	w := b.send("POST", path, form)
	if w.Code != want {
		b.o.t.Fatalf("POST %s %v: %d, want %d\n%s", path, form, w.Code, want, w.Body)
	}
	return w.Body.String()
}

// From nothing to a foreman who writes his first line, through the pages alone.
func TestFromNothing(t *testing.T) {
	o := newTried(t)
	code, err := o.accounts.FirstCode(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	max := o.browser()
	for _, step := range [][2]string{{"/", "/sign-in?next=%2F"}, {"/sign-in?next=%2F", "/first"}} {
		if w := max.send("GET", step[0], nil); w.Header().Get("Location") != step[1] {
			t.Fatalf("%s leads to %q, want %q", step[0], w.Header().Get("Location"), step[1])
		}
	}
	form := url.Values{"code": {code}, "name": {"Max Invented"}, "login": {"max"}, "password": {"short"}, "again": {"short"}}
	if page := max.post("/first", form, 422); !strings.Contains(page, "at least 12 characters; this one has 5") || strings.Contains(page, "short\"") {
		t.Errorf("a short password:\n%s", page)
	}
	form.Set("password", password)
	if page := max.post("/first", form, 422); !strings.Contains(page, "twice alike") {
		t.Errorf("two passwords:\n%s", page)
	}
	form.Set("again", password)
	max.post("/first", form, 303)
	if w := o.browser().send("GET", "/first", nil); w.Header().Get("Location") != "/sign-in" {
		t.Errorf("there is a first account, and /first leads to %q", w.Header().Get("Location"))
	}
	form.Set("login", "eve")
	if page := o.browser().post("/first", form, 422); !strings.Contains(page, "has been made already") {
		t.Errorf("the code once more:\n%s", page)
	}

	page := max.post("/accounts/new", url.Values{"name": {"Ada <i>Invented</i>"}, "login": {"ada@example.com"}}, 200)
	link := regexp.MustCompile(`http://example\.com(/invite/[A-Z2-7]+)`).FindStringSubmatch(page)
	if link == nil || strings.Contains(page, "<i>Invented") {
		t.Fatalf("no link, or text that is not escaped:\n%s", page)
	}
	part := html.UnescapeString(regexp.MustCompile(`/accounts/[a-z0-9]+/part\?job=hall`).FindString(page))
	id, _, _ := strings.Cut(strings.TrimPrefix(part, "/accounts/"), "/")
	if again := max.send("GET", "/accounts/"+id, nil).Body.String(); strings.Contains(again, "/invite/") {
		t.Error("the link is shown a second time")
	}
	if page := max.send("GET", part, nil).Body.String(); !strings.Contains(page, "Ada Invented") || !strings.Contains(page, "is added to the people") {
		t.Errorf("the people of the job are not offered:\n%s", page)
	}
	set := url.Values{"job": {"hall"}, "role": {"foreman"}}
	if page := max.post("/accounts/"+id+"/part", set, 422); !strings.Contains(page, "Choose the person") {
		t.Errorf("a foreman without a person:\n%s", page)
	}
	set.Set("person", "nobody")
	max.post("/accounts/"+id+"/part", set, 422)
	set.Set("person", " new")
	max.post("/accounts/"+id+"/part", set, 303)
	max.post("/accounts/"+id+"/part", set, 303) // told twice, written once

	ada := o.browser()
	for range 2 { // looking does not use it up
		if w := ada.send("GET", link[1], nil); w.Code != 200 {
			t.Fatalf("the link: %d", w.Code)
		}
	}
	chosen := url.Values{"password": {password}, "again": {password}}
	ada.post(link[1], chosen, 303)
	if w := o.browser().send("POST", link[1], chosen); w.Code != 404 || !strings.Contains(w.Body.String(), "holds no longer") {
		t.Errorf("the link a second time: %d", w.Code)
	}
	jobsPage := ada.send("GET", "/", nil).Body.String()
	if !strings.Contains(jobsPage, "Invented hall") || strings.Contains(jobsPage, "Invented annex") || strings.Contains(jobsPage, "/accounts\"") {
		t.Errorf("the foreman's jobs:\n%s", jobsPage)
	}
	ada.post("/job/hall/write/note", url.Values{"form": {"bbbbbbbbbbbbbbbb"}, "day": {string(daylog.DateOf(time.Now().UTC()))}, "text": {"the first line"}, "at": {"now"}}, 303)
	entries := ada.send("GET", "/job/hall/entries", nil).Body.String()
	if !strings.Contains(entries, "the first line") || !strings.Contains(entries, "Ada &lt;i&gt;Invented&lt;/i&gt;") {
		t.Errorf("the first line is not there, or not by her:\n%s", entries)
	}

	ada.post("/account/password", url.Values{"old": {"wrong"}, "password": {"other words of mine"}, "again": {"other words of mine"}}, 422)
	ada.post("/account/password", url.Values{"old": {password}, "password": {"other words of mine"}, "again": {"other words of mine"}}, 303)
	if w := ada.send("GET", "/account?changed", nil); w.Code != 200 || !strings.Contains(w.Body.String(), "Invented hall") {
		t.Errorf("the own account: %d\n%s", w.Code, w.Body)
	}
	if w := ada.send("POST", "/sign-out", url.Values{}); w.Code != 303 || w.Header().Get("Clear-Site-Data") != `"cache"` {
		t.Error("signed out, and forms that were refused stay in the browser")
	}
	if w := ada.send("GET", "/account", nil); w.Code != 303 {
		t.Errorf("signed out: %d", w.Code)
	}
	if page := max.post("/accounts/"+max.id()+"/disable", url.Values{}, 422); !strings.Contains(page, "nobody could keep the accounts") {
		t.Errorf("the last who keeps the accounts:\n%s", page)
	}
}

// id is that of the first account, whose login is max.
func (b *visitor) id() string {
	all, err := b.o.accounts.List(b.o.t.Context())
	if err != nil {
		b.o.t.Fatal(err)
	}
	for _, x := range all {
		if x.Login == "max" {
			return x.ID
		}
	}
	return ""
}

// Where signing in leads to is a page of this site.
func TestSignInLeadsHome(t *testing.T) {
	o := newTried(t)
	o.add("foreman", people["foreman"]...)
	for next, want := range map[string]string{
		"/job/hall/entries?day=2026-10-06": "/job/hall/entries?day=2026-10-06",
		"":                                 "/",
		"//elsewhere.example/":             "/",
		"https://elsewhere.example/":       "/",
		"/\\elsewhere.example":             "/",
		"/\t/elsewhere.example":            "/",
		"javascript:alert(1)":              "/",
	} {
		b := o.browser()
		page := b.send("GET", "/sign-in?"+url.Values{"next": {next}}.Encode(), nil).Body.String()
		if !strings.Contains(page, `name="next" value="`+html.EscapeString(want)+`"`) {
			t.Errorf("%q: the page keeps another address", next)
		}
		w := b.send("POST", "/sign-in", url.Values{"login": {"foreman"}, "password": {password}, "next": {next}})
		if to := w.Header().Get("Location"); w.Code != 303 || to != want {
			t.Errorf("%q leads to %q, want %q", next, to, want)
		}
		w = b.send("GET", "/sign-in?"+url.Values{"next": {next}}.Encode(), nil)
		if to := w.Header().Get("Location"); to != want {
			t.Errorf("signed in already, %q leads to %q, want %q", next, to, want)
		}
	}
}

// The page answers alike whether the name is wrong or the password, and says
// when it has been too much.
func TestWrongPassword(t *testing.T) {
	o := newTried(t)
	o.add("foreman", people["foreman"]...)
	o.add("gone", people["foreman"]...)
	if err := o.accounts.Disable(t.Context(), o.ids["gone"]); err != nil {
		t.Fatal(err)
	}
	answer := func(login, password string) string {
		w := o.browser().send("POST", "/sign-in", url.Values{"login": {login}, "password": {password}})
		return fmt.Sprint(w.Code, strings.ReplaceAll(w.Body.String(), login, "LOGIN"), w.Header())
	}
	known := answer("foreman", "a wrong one, sadly")
	if !strings.Contains(known, "do not fit together") || !strings.HasPrefix(known, "422") {
		t.Errorf("a wrong password:\n%s", known)
	}
	if unknown := answer("nobody", "a wrong one, sadly"); unknown != known {
		t.Errorf("a name nobody has is answered otherwise:\n%s\n%s", unknown, known)
	}
	if gone := answer("gone", password); gone != known {
		t.Errorf("a disabled account is answered otherwise:\n%s\n%s", gone, known)
	}
	for range 10 {
		answer("foreman", "a wrong one, sadly")
	}
	w := o.browser().send("POST", "/sign-in", url.Values{"login": {"foreman"}, "password": {password}})
	if w.Code != http.StatusTooManyRequests || !strings.Contains(w.Body.String(), "possible in 15 minutes") || w.Header().Get("Retry-After") == "" {
		t.Errorf("after many tries: %d\n%s", w.Code, w.Body)
	}
}

// Who exchanges entries: a tablet by its key, a browser by who is signed in.
func TestExchange(t *testing.T) {
	o := newTried(t)
	o.add("foreman", people["foreman"]...)
	o.add("owner", people["owner"]...)
	key, err := o.tablets.Enrol(t.Context(), "device1", "Tablet of the annex", "annex")
	if err != nil {
		t.Fatal(err)
	}
	gone, err := o.tablets.Enrol(t.Context(), "device2", "Lost tablet", "hall")
	if err != nil {
		t.Fatal(err)
	}
	if err := o.tablets.Revoke(t.Context(), "device2"); err != nil {
		t.Fatal(err)
	}
	request := func(login, key string) *http.Request {
		r := httptest.NewRequest("POST", "/exchange", nil)
		if login != nobody {
			b := o.browser()
			b.signIn(login)
			for _, c := range b.cookies {
				r.AddCookie(c)
			}
		}
		if key != "" {
			r.Header.Set("Authorization", "Bearer "+key)
		}
		return r
	}
	for _, c := range []struct {
		name, login, key string
		admitted         bool
		jobs             []string
		parked           bool
	}{
		{"nobody", nobody, "", false, nil, false},
		{"a wrong key", nobody, "guessed", false, nil, false},
		{"a wrong key of somebody", "foreman", "guessed", false, nil, false},
		{"a tablet", nobody, key, true, []string{"annex"}, false},
		{"a lost tablet", nobody, gone, true, []string{"hall"}, true},
		{"a foreman", "foreman", "", true, []string{"hall"}, false},
		{"an owner", "owner", "", true, nil, false},
	} {
		w := httptest.NewRecorder()
		o.site.ServeHTTP(w, request(c.login, c.key))
		if admitted := w.Code != http.StatusUnauthorized; admitted != c.admitted || w.Code == http.StatusSeeOther {
			t.Errorf("%s: %d %s", c.name, w.Code, w.Body)
		}
		if !c.admitted {
			continue
		}
		o.accounts.Guard(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
			by, err := o.admit(r)
			if err != nil || by.Parked != c.parked {
				t.Errorf("%s: %+v, %v", c.name, by, err)
			}
			for _, job := range jobs {
				if shut := by.Job(job); (shut == nil) != slices.Contains(c.jobs, job) {
					t.Errorf("%s and job %s: %v", c.name, job, shut)
				}
			}
			if c.key == key && (by.Device("device1") != nil || by.Device("device2") == nil) {
				t.Errorf("%s may speak as another, or not as itself", c.name)
			}
		}), "/exchange").ServeHTTP(httptest.NewRecorder(), request(c.login, c.key))
	}
}

// Whatever is typed into a form of the office, there is an answer to it.
func FuzzOfficeForms(f *testing.F) {
	o := newTried(f)
	o.add("both", people["both"]...)
	b := o.browser()
	b.signIn("both")
	paths := []string{"/sign-in", "/first", "/invite/none", "/account/password", "/accounts/new", "/accounts/" + o.ids["both"] + "/part", "/accounts/none/part", "/accounts/none/link"}
	fields := []string{"login", "password", "again", "old", "code", "name", "job", "role", "person", "next"}
	f.Add(0, "login=a&password=b&next=//x")
	f.Add(4, "name=\x00&login=%ff")
	f.Add(5, "job=hall&role=foreman&person=+new")
	f.Add(5, "job=hall&role=owner;&person=%zz")
	f.Add(2, "")
	f.Fuzz(func(t *testing.T, where int, typed string) {
		path := paths[((where%len(paths))+len(paths))%len(paths)]
		for i, body := range []string{typed, strings.Join(fields, "="+url.QueryEscape(typed)+"&") + "="} {
			r := httptest.NewRequest("POST", path, strings.NewReader(body))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			for _, c := range b.cookies {
				r.AddCookie(c)
			}
			w := httptest.NewRecorder()
			o.site.ServeHTTP(w, r)
			if w.Code >= 500 || w.Code < 200 {
				t.Errorf("%s with %q (%d): %d", path, body, i, w.Code)
			}
		}
	})
}

// The owner's representative reads signed days of the job and nothing else: not
// even that there are others.
func TestOwnerReadsSignedDaysOnly(t *testing.T) {
	o := newTried(t)
	o.add("owner", people["owner"]...)
	b := o.browser()
	b.signIn("owner")
	now := time.Now().UTC().Truncate(time.Second)
	today := daylog.DateOf(now)
	before := now.AddDate(0, 0, -1)
	if _, err := o.log.Write(t.Context(), "hall", daylog.Entry{ID: "unsigned", Day: today.Add(-1), At: before, Made: before, Author: "ada", Body: &daylog.Note{Text: "not for the owner yet"}}); err != nil {
		t.Fatal(err)
	}
	path := func(d daylog.Date) string { return "/job/hall/day/" + string(d) }
	for _, c := range []struct {
		path string
		code int
	}{
		{path(today) + "/summary", http.StatusOK}, {path(today) + "/page.css", http.StatusOK}, {path(today), http.StatusForbidden},
		{path(today.Add(-1)) + "/summary", http.StatusForbidden}, {path(today.Add(-1)) + "/page.css", http.StatusForbidden},
		{path(today.Add(-2)) + "/summary", http.StatusForbidden}, {"/job/hall/", http.StatusForbidden}, {"/job/hall/entries", http.StatusForbidden},
	} {
		if w := b.send("GET", c.path, nil); w.Code != c.code || strings.Contains(w.Body.String(), "not for the owner yet") {
			t.Errorf("%s: %d, want %d\n%s", c.path, w.Code, c.code, w.Body)
		}
	}
	for at, want := range map[string]string{"/": `href="/job/hall/days"`, "/job/hall/days": `href="` + path(today) + `/summary"`} {
		w := b.send("GET", at, nil)
		if page := w.Body.String(); w.Code != http.StatusOK || !strings.Contains(page, want) || strings.Contains(page, string(today.Add(-1))) || strings.Contains(page, `href="/job/hall/"`) || strings.Contains(page, "setup") {
			t.Errorf("%s: %d, want %s and no way to anything else\n%s", at, w.Code, want, page)
		}
	}
}
