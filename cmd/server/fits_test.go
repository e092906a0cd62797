package main

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"duskline/internal/browser"
)

// screens of signing in and of setting up are for people who do not see, do not
// point, or read at 400 %: looked at as they come and with what is wrong on them.
func TestScreensFitEverybody(t *testing.T) {
	o := newTried(t)
	if err := writeDemo(t.Context(), o.log, time.Now()); err != nil {
		t.Fatal(err)
	}
	server := browser.Serve(t, o.site)
	p := browser.Start(t).Open(browser.Desk)
	look := func(name string) {
		t.Helper()
		p.Fits(name)
		if os.Getenv("PICTURES") == "" {
			return
		}
		for size, width := range map[string]browser.Size{"desk": browser.Desk, "tablet": browser.Tablet, "upright": browser.TabletUpright, "phone": browser.Phone, "zoomed": browser.Zoomed} {
			p.Resize(width)
			p.Shot(name + "-" + size)
		}
		p.Resize(browser.Desk)
	}
	open := func(path string) {
		t.Helper()
		if status := p.Go(server.URL + path); status != 200 {
			t.Fatalf("%s: %d", path, status)
		}
		look(strings.Trim(strings.NewReplacer("/", "-", demoJob, "demo", "?", "-", "=", "-").Replace(path), "-"))
	}
	wrong := func(name string) {
		t.Helper()
		p.TapThrough("form.form .submit button.first")
		look(name)
	}
	open("/first")
	wrong("first-wrong")
	o.add("company", people["company"]...)
	o.add("manager", people["manager"]...)
	_, code, err := o.accounts.Invite(t.Context(), "new", "New Invented")
	if err != nil {
		t.Fatal(err)
	}
	open("/sign-in")
	wrong("sign-in-wrong")
	if status := p.Go(server.URL + "/invite/" + code); status != 200 {
		t.Fatalf("the link: %d", status)
	}
	look("invite")
	wrong("invite-wrong")
	// Signing in and a new person, with keys alone.
	tabTo := func(css string) {
		t.Helper()
		for range 60 {
			p.Keys("\t")
			if browser.Eval[bool](p, fmt.Sprintf(`document.activeElement.matches(%q)`, css)) {
				return
			}
		}
		t.Fatalf("the tab key never comes to %s", css)
	}
	p.Go(server.URL + "/sign-in")
	tabTo("[name=login]")
	p.Keys("company\t" + password)
	p.KeysThrough("\r")
	p.Go(server.URL + "/job/hall/setup/person")
	tabTo("[name=name]")
	p.Keys("Keys Invented")
	tabTo("[name=role]")
	p.Keys(" ")
	p.KeysThrough("\r")
	p.WaitText("main", "Keys Invented")
	for _, path := range []string{"/", "/account", "/account/password", "/accounts", "/accounts/new", "/accounts/" + o.ids["manager"], "/accounts/" + o.ids["manager"] + "/part?job=hall"} {
		open(path)
	}
	open("/jobs/new")
	wrong("new-job-wrong")
	at := "/job/" + demoJob + "/setup"
	for _, path := range []string{"", "/plan", "/limits", "/limits/edge-early.wait_min"} {
		open(at + path)
	}
	p.Fill("input[name=value]", "soon")
	wrong("limit-wrong")
	for _, k := range []string{"job", "week", "dayoff", "scope", "penetration", "zones", "ballast", "approved", "material", "joblot", "person", "standing"} {
		open(at + "/" + k)
	}
	// What is against a rule is said while it is typed.
	p.Go(server.URL + at + "/zones")
	p.Fill("input[name=slope]", "3")
	p.WaitText("[data-drawn]", "The roof slopes 3 in 12")
	p.Fill("input[name=slope]", "0.25")
	p.Fill("input[name=width]", "7")
	p.WaitText("[data-drawn]", "zones are 7 ft wide")
	if said := p.Text("[data-drawn]"); strings.Contains(said, "slopes") {
		t.Errorf("the slope was mended, and yet: %s", said)
	}
	look("zones-thin")
	p.Go(server.URL + at + "/person")
	wrong("person-wrong")
	// An L with two rows, walls of every kind, drawn while it is typed.
	p.Go(server.URL + "/job/hall/setup/plan")
	p.Tap("label:has([name=shape][value=l])")
	for _, f := range [][2]string{{"wide", "120"}, {"deep", "80"}, {"less wide", "40"}, {"less deep", "30"}, {"row 1 width", "20"}, {"row 1 length", "51' 6\""}} {
		p.Fill(fmt.Sprintf("input[name=%q]", f[0]), f[1])
	}
	p.Tap("label:has([name=west][value=open])")
	p.Fill(`input[name="west turn-up"]`, "0")
	p.Tap("label:has([name=north][value=wall])")
	p.WaitText("[data-drawn]", "with 7 panels and 6 seams")
	look("plan-l")
	p.TapThrough("form.form .submit button[name=draw]")
	for _, f := range [][2]string{{"row 2 width", "20"}, {"row 2 lap", "5"}, {"row 2 length", "30' 5\""}, {"row 2 stagger", "10"}, {"row 2 count", "4"}, {"row 2 last", "11' 3\""}} {
		p.Fill(fmt.Sprintf("input[name=%q]", f[0]), f[1])
	}
	p.WaitText("[data-drawn]", "with 11 panels")
	look("plan-l-rows")
	p.Go(server.URL + at + "/plan")
	p.Fill("input[name=wide]", "wide")
	wrong("plan-wrong")
}
