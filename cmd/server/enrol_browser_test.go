package main

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"duskline/internal/browser"
)

// A new tablet gets its job with the code that the manager shows, nobody signed in
// on it, and goes on writing when its key is worth nothing any more.
func TestTabletEnrolled(t *testing.T) {
	o := newTried(t)
	o.host.logf = t.Logf
	if o.inbox != nil {
		o.inbox.Logf = t.Logf
	}
	o.add("company", people["company"]...)
	max := o.browser()
	max.signIn("company")
	shown := max.post("/tablets/new", url.Values{"name": {"Tablet 7"}, "jobs": {"hall"}}, 200)
	if !strings.Contains(shown, `<svg class="scan"`) {
		t.Error("the code cannot be scanned")
	}
	code := regexp.MustCompile(`[A-Z2-7]{4}-[A-Z2-7]{4}`).FindString(shown)

	server := browser.Serve(t, o.site)
	b := browser.Start(t)
	p := b.Open(browser.Tablet)
	began := time.Now()
	p.Go(server.URL + "/tablet?code=" + code)
	p.TapThrough("form[data-take-aboard] button")
	p.WaitText("main", "Tablet 7")
	t.Logf("enrolled after %v", time.Since(began).Round(100*time.Millisecond))
	p.Go(server.URL + "/job/hall/")
	p.WaitText("header .state", "office heard")

	tablets, err := o.tablets.List(t.Context())
	if err != nil || len(tablets) != 1 {
		t.Fatal(tablets, err)
	}
	if err := o.tablets.Revoke(t.Context(), tablets[0].ID); err != nil {
		t.Fatal(err)
	}
	p.Go(server.URL + "/job/hall/write/note")
	p.Fill(noteForm, "written after the key was taken back")
	p.TapThrough("form.form .submit button.first")
	p.WaitText(".saved", "Saved")

	p.Go(server.URL + "/tablet")
	p.Fill("#code", "AAAA-AAAA")
	p.TapThrough(`form[action="/tablet/enrol"] button`)
	p.WaitText("main", "Ask the office for another")
	if got := browser.Eval[string](p, `document.querySelector("#code").value`); got != "AAAA-AAAA" {
		t.Errorf("after a wrong code the field holds %q", got)
	}
}
