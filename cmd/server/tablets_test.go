package main

import (
	"bytes"
	"context"
	"encoding/json"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"duskline/internal/archive"
	"duskline/internal/daylog"
	"duskline/internal/exchange"
	"duskline/internal/store"
	"duskline/web/office"
)

// within serves a request without a network.
func (o *tried) within(r *http.Request) (*http.Response, error) {
	w := httptest.NewRecorder()
	r.RequestURI = ""
	o.site.ServeHTTP(w, r)
	return w.Result(), nil
}

// memory is what a tablet remembers.
type memory map[string][]byte

func (m memory) Get(_ context.Context, key string) ([]byte, error) { return m[key], nil }
func (m memory) Put(_ context.Context, key string, value []byte) error {
	m[key] = value
	return nil
}

// TestTabletsPage follows a tablet from its code to what it sent after it was
// lost.
func TestTabletsPage(t *testing.T) {
	o := newTried(t)
	o.host.logf = t.Logf
	o.inbox.Logf = t.Logf
	o.add("company", people["company"]...)
	max := o.browser()
	max.signIn("company")
	max.post("/tablets/new", url.Values{"name": {""}, "jobs": {"hall"}}, 422)
	page := max.post("/tablets/new", url.Values{"name": {"Tablet 7"}, "jobs": {"hall"}}, 200)
	code := regexp.MustCompile(`[A-Z2-7]{4}-[A-Z2-7]{4}`).FindString(page)

	log := store.NewMemory()
	nobody := o.browser()
	if w := nobody.send("POST", "/tablet/enrol", url.Values{"code": {"AAAA-AAAA"}, "device": {log.Device()}}); w.Code != 403 || !strings.Contains(w.Body.String(), "Ask the office") {
		t.Errorf("a wrong code: %d %s", w.Code, w.Body)
	}
	w := nobody.send("POST", "/tablet/enrol", url.Values{"code": {code}, "device": {log.Device()}})
	var key office.Enrolled
	if err := json.Unmarshal(w.Body.Bytes(), &key); err != nil || w.Code != 200 || key.Name != "Tablet 7" || key.Device != log.Device() || len(key.Jobs) != 1 {
		t.Fatalf("enrolled: %d %s", w.Code, w.Body)
	}
	if w := nobody.send("POST", "/tablet/enrol", url.Values{"code": {code}, "device": {"another"}}); w.Code != 403 {
		t.Errorf("the code a second time: %d %s", w.Code, w.Body)
	}

	client := &exchange.Client{Log: log, Do: o.within, URL: "http://example.com/exchange", Key: key.Key, Build: "41", Memory: memory{},
		Now: func() time.Time { return time.Now().Add(-3 * time.Minute) }}
	write := func(id string) {
		t.Helper()
		at := time.Now().UTC().Truncate(time.Second)
		if _, err := log.Write(t.Context(), "hall", daylog.Entry{ID: id, Day: daylog.DateOf(at), At: at, Made: at, Body: &daylog.Note{Text: "of the tablet"}}); err != nil {
			t.Fatal(err)
		}
	}
	see := func(words ...string) string {
		t.Helper()
		page := max.send("GET", "/tablets", nil).Body.String()
		for _, one := range words {
			if !strings.Contains(page, one) {
				t.Errorf("the page does not say %q:\n%s", one, regexp.MustCompile(`(?s)<[^>]*>|\s+`).ReplaceAllString(page, " "))
			}
		}
		return page
	}
	see("Tablet 7", "never heard")
	write("one")
	if _, err := client.Take(t.Context(), "hall", nil); err != nil {
		t.Fatal(err)
	}
	see("Tablet 7", "Invented hall", "heard just now", "everything sent", "program 41", "3 min slow")
	if err := o.inbox.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	see("heard just now", "program 41")

	max.post("/tablets/"+log.Device()+"/revoke", url.Values{}, 303)
	write("two")
	r, err := client.Exchange(t.Context())
	if err != nil || !r.Parked {
		t.Fatalf("after it was revoked: %+v, %v", r, err)
	}
	if heads, _ := o.log.Heads(t.Context(), "hall"); heads[log.Device()].Seq != 1 {
		t.Fatalf("the server holds %+v", heads)
	}
	see("Revoked on", "1 entry of Tablet 7 for Invented hall", "Take them in")
	if page := max.post("/tablets/parked", url.Values{"device": {log.Device()}, "job": {"hall"}, "keep": {"on"}}, 200); !strings.Contains(page, "1 entry was taken in") || strings.Contains(page, "Take them in") {
		t.Errorf("after the release: %s", page)
	}
	if heads, _ := o.log.Heads(t.Context(), "hall"); heads[log.Device()].Seq != 2 {
		t.Errorf("after the release the server holds %+v", heads)
	}
}

// TestAsideAndNews: what the log does not take is kept and shown, and so is
// what happened.
func TestAsideAndNews(t *testing.T) {
	o := newTried(t)
	o.host.logf, o.inbox.Logf = t.Logf, t.Logf
	o.add("company", people["company"]...)
	max := o.browser()
	max.signIn("company")
	odd := []byte(`{"kind":"note","job":"hall","device":"far","seq":0}`)
	by := exchange.Caller{Name: "Tablet 7"}
	for range 2 {
		if err := o.inbox.Aside(t.Context(), by, exchange.Refused{Job: "hall", Device: "far", Seq: 3, Hash: daylog.Hash(odd), Why: "a reason", Raw: odd}); err != nil {
			t.Fatal(err)
		}
	}
	for range 2 {
		o.inbox.Happened(exchange.Event{What: exchange.Forked, By: by, Job: "hall", Device: "far~01234567", Says: "x"})
	}
	o.inbox.Happened(exchange.Event{What: exchange.RolledBack, By: by, Job: "hall", Device: o.log.Device(), Says: "x"})
	page := max.send("GET", "/tablets", nil).Body.String()
	for _, want := range []string{"Entry 3 of far for Invented hall", "a reason", "Two devices have written as far", "2 times since", "put back to an earlier state", "Try these once more"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if page := max.post("/tablets/aside", url.Values{}, 200); !strings.Contains(page, "0 entries were taken in") || !strings.Contains(page, "a reason") {
		t.Errorf("tried again: %s", page)
	}
	max.post("/tablets/seen", url.Values{"what": {"forked"}, "job": {"hall"}, "device": {"far~01234567"}}, 303)
	if page := max.send("GET", "/tablets", nil).Body.String(); strings.Contains(page, "Two devices") || !strings.Contains(page, "put back") {
		t.Error("what was seen is still there, or more is gone")
	}
	// It has become an entry: it is no longer aside.
	good := &daylog.Note{Text: "now it fits"}
	at := time.Now().UTC().Truncate(time.Second)
	e := daylog.Entry{ID: "good", Job: "hall", Device: "near", Seq: 1, Tick: 1, Prev: daylog.ChainStart("hall", "near").Prev(), Day: daylog.DateOf(at), At: at, Made: at, Body: good}
	raw, err := daylog.Encode(&e)
	if err != nil {
		t.Fatal(err)
	}
	if err := o.inbox.Aside(t.Context(), by, exchange.Refused{Job: "hall", Device: "near", Seq: 1, ID: "good", Hash: daylog.Hash(raw), Why: "another reason", Raw: raw}); err != nil {
		t.Fatal(err)
	}
	if took, err := o.inbox.Again(t.Context()); err != nil || took != 1 {
		t.Errorf("%d were taken in: %v", took, err)
	}
	if all, err := o.inbox.SetAside(t.Context()); err != nil || len(all) != 1 {
		t.Errorf("aside are %+v: %v", all, err)
	}
}

// upload sends a file as the form of the page does.
func (b *visitor) upload(t *testing.T, name string, file []byte) *httptest.ResponseRecorder {
	t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	part, err := form.CreateFormFile("file", name)
	if err != nil {
		t.Fatal(err)
	}
	part.Write(file)
	form.Close()
	r := httptest.NewRequest("POST", "/record/import", &body)
	r.Header.Set("Content-Type", form.FormDataContentType())
	for _, c := range b.cookies {
		r.AddCookie(c)
	}
	w := httptest.NewRecorder()
	b.o.site.ServeHTTP(w, r)
	return w
}

// TestRecordPages takes a job out of one office and into another by their pages,
// and checks a printed code in both.
func TestRecordPages(t *testing.T) {
	o, other := newTried(t), newTriedWith(t)
	for _, o := range []*tried{o, other} {
		o.inbox.Logf, o.host.logf = t.Logf, t.Logf
		o.add("company", people["company"]...)
	}
	o.add("manager", people["manager"]...)
	max, far := o.browser(), other.browser()
	max.signIn("manager")
	far.signIn("company")
	w := max.send("GET", "/job/hall/archive", nil)
	if w.Code != 200 || !strings.Contains(w.Header().Get("Content-Disposition"), "hall-") {
		t.Fatalf("the archive: %d %v", w.Code, w.Header())
	}
	file := w.Body.Bytes()
	rep, err := archive.Verify(bytes.NewReader(file), int64(len(file)))
	if err != nil || rep.Entries != 5 {
		t.Fatalf("%+v: %v", rep, err)
	}
	for _, want := range []string{"5 entries of Invented hall. All are new here", "All were here already"} {
		if page := far.upload(t, "hall.zip", file).Body.String(); !strings.Contains(page, want) {
			t.Errorf("it does not say %q: %s", want, page)
		}
	}
	broken := bytes.Clone(file)
	broken[len(broken)/2] ^= 1
	for name, bad := range map[string][]byte{"broken": broken, "text": []byte("a letter"), "nothing": nil} {
		if w := far.upload(t, name, bad); w.Code != 422 || !strings.Contains(w.Body.String(), "Nothing was taken in") {
			t.Errorf("%s: %d %s", name, w.Code, w.Body)
		}
	}
	if w := far.send("POST", "/record/import", url.Values{}); w.Code != 422 || !strings.Contains(w.Body.String(), "No file came") {
		t.Errorf("without a file: %d", w.Code)
	}
	var hand bytes.Buffer
	tablet := store.NewMemory()
	at := time.Now().UTC().Truncate(time.Second)
	if _, err := tablet.Write(t.Context(), "hall", daylog.Entry{ID: "t", Day: daylog.DateOf(at), At: at, Made: at, Body: &daylog.Note{Text: "handed over"}}); err != nil {
		t.Fatal(err)
	}
	if err := exchange.HandOver(t.Context(), &hand, tablet, "41", at, "hall"); err != nil {
		t.Fatal(err)
	}
	if page := far.upload(t, "tablet", hand.Bytes()).Body.String(); !strings.Contains(page, "1 entry of Invented hall. All are new here") {
		t.Errorf("handed over: %s", page)
	}
	if w := max.send("GET", "/record", nil); w.Code != 403 {
		t.Errorf("the record for a manager of one job: %d", w.Code)
	}

	entries, err := o.log.Entries(t.Context(), "hall", "")
	if err != nil {
		t.Fatal(err)
	}
	day := daylog.Fold("hall", entries).Days[0]
	code := daylog.CheckCode("hall", day, day.Signatures[0], nil)
	nobody := o.browser()
	for path, want := range map[string]string{
		"/verify": "Check code", "/verify?code=": "Check code", "/verify?code=ABC": "is not a check code", "/verify?code=AAAAA-AAAAA-AAAAA-AAAAA": "No signed day here has this code",
		"/verify?code=" + strings.ToLower(strings.ReplaceAll(code, "-", "+")): "Unchanged", "/verify/how": "Each device keeps a chain",
	} {
		if page := nobody.send("GET", path, nil).Body.String(); !strings.Contains(page, want) {
			t.Errorf("%s does not say %q: %s", path, want, page)
		}
	}
	if page := far.send("GET", "/verify?code="+code, nil).Body.String(); strings.Contains(page, "Unknown") {
		t.Error("the other office does not know the code of what it took in")
	}
	var last *httptest.ResponseRecorder
	for range 60 {
		last = nobody.send("GET", "/verify?code=AAAAA-AAAAA-AAAAA-AAAAA", nil)
	}
	if last.Code != http.StatusTooManyRequests {
		t.Errorf("sixty tries end with %d", last.Code)
	}
}
