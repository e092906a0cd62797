package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"duskline/internal/browser"
	"duskline/internal/signin"
	"duskline/internal/store"
	"duskline/internal/store/sqlite"
	"duskline/static"
)

// What a person's hand costs, in seconds: pointing and clicking, and a key.
const (
	perClick = 1.5
	perKey   = 0.4
)

// hand is a person at a page, whose clicks and keys are counted.
type hand struct {
	*browser.Page
	clicks, keys int
}

func (h *hand) click(css string) {
	h.clicks++
	h.Tap(css)
}

// follow clicks what leads to another page.
func (h *hand) follow(css string) {
	h.clicks++
	h.TapThrough(css)
}

// write clicks into a field and types; what stood in it is marked first.
func (h *hand) write(name, text string) {
	css := fmt.Sprintf("[name=%q]", name)
	h.clicks++
	h.keys += len(text)
	if browser.Eval[string](h.Page, fmt.Sprintf(`document.querySelector(%q).value`, css)) != "" {
		h.keys += 2
	}
	h.Fill(css, text)
}

func (h *hand) choose(name, value string) {
	h.click(fmt.Sprintf("label:has([name=%q][value=%q])", name, value))
}

func (h *hand) save() { h.follow("form.form .submit button.first") }

// link is the address of the first link whose words contain some.
func (h *hand) link(words string) string {
	h.Page.Wait(fmt.Sprintf(`[...document.querySelectorAll("main a")].some(a => a.textContent.includes(%q))`, words))
	return browser.Eval[string](h.Page, fmt.Sprintf(`(() => {
		const a = [...document.querySelectorAll("main a")].find(a => a.textContent.includes(%q));
		a.id = a.id || "link" + Math.random().toString(36).slice(2);
		return "#" + a.id;
	})()`, words))
}

// From an empty data folder: the first account, a job from nothing until it is
// ready for a first day, a foreman who signs in and starts it. It must not take a
// person longer than ten minutes.
func TestFirstDay(t *testing.T) {
	folder := t.TempDir()
	log, err := sqlite.Open(t.Context(), filepath.Join(folder, "duskline.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { log.Close() })
	accounts, err := signin.Open(signin.Config{Database: log, Folder: folder, Now: time.Now, Cost: quick, Logf: t.Logf})
	if err != nil {
		t.Fatal(err)
	}
	build, err := static.New(static.Files)
	if err != nil {
		t.Fatal(err)
	}
	h := &host{log: log, memo: &store.Memo{}, build: build, logf: t.Errorf, accounts: accounts, tablets: signin.Tablets{Database: log, Now: time.Now}}
	server := browser.Serve(t, h.handler(h.routes))
	code, err := accounts.FirstCode(t.Context())
	if err != nil {
		t.Fatal(err)
	}

	type stage struct {
		name         string
		clicks, keys int
	}
	var stages []stage
	max := &hand{Page: browser.Start(t).Open(browser.Desk)}
	hands := []*hand{max}
	done := func(name string) {
		clicks, keys := 0, 0
		for _, one := range hands {
			clicks, keys = clicks+one.clicks, keys+one.keys
		}
		for _, s := range stages {
			clicks, keys = clicks-s.clicks, keys-s.keys
		}
		stages = append(stages, stage{name, clicks, keys})
	}

	max.Go(server.URL)
	if at := max.URL(); at != server.URL+"/first" {
		t.Fatalf("an empty folder leads to %s", at)
	}
	max.write("code", code)
	max.write("name", "Max Example")
	max.write("login", "max")
	max.write("password", "four words of mine")
	max.write("again", "four words of mine")
	max.save()
	done("the first account")

	max.follow(max.link("New job"))
	max.write("name", "Annex roof, north half")
	max.write("zone", "America/Chicago")
	max.write("place", "Invented Street 1")
	max.write("lat", "41.6")
	max.write("lon", "-93.6")
	max.write("start", "7:00")
	max.write("leaving", "4:30 pm")
	max.click("label:has([name=invented])")
	max.save()
	max.WaitText("main", "There is no foreman")
	setup := max.URL()
	job := strings.TrimSuffix(setup, "setup")
	done("the job and its hours")

	for i, name := range []string{"Ada Example", "Bo Example", "Cy Example", "Di Example", "Ed Example", "Flo Example"} {
		role := "crew"
		if i == 0 {
			role = "foreman"
		}
		max.follow(max.link("Another person"))
		max.write("name", name)
		max.write("trade", "roofer")
		max.choose("role", role)
		max.save()
	}
	done("six people")

	max.follow(max.link("There is no roof plan"))
	max.write("wide", `195'-9"`)
	max.write("deep", "97 ft")
	max.write("row 1 width", "20")
	max.Wait(`document.querySelectorAll("[data-drawn] rect").length === 11`) // drawn while it was typed
	max.save()
	max.WaitText("main", "Ready for a first day.")
	done("the roof plan")

	max.follow(max.link("What the job includes"))
	max.click(`label:has([name="insulation"])`)
	max.save()
	for _, drain := range [][]string{{"D1", "30", "48"}, {"D2", "165", "48"}} {
		max.follow(max.link("A pipe, drain or curb"))
		max.write("name", drain[0])
		max.choose("sort", "drain")
		max.write("x", drain[1])
		max.write("y", drain[2])
		max.save()
	}
	max.follow(max.link("Rates of a published system"))
	max.choose("system", "1 stone")
	max.write("height", "20")
	max.save()
	max.WaitText("[data-drawn]", "from memory, verify against the standard")
	max.write("checked", "letter of the engineer, 3 October")
	max.save()
	for _, lot := range [][]string{{"tape", "T-201"}, {"primer", "P-31"}} {
		max.follow(max.link("A lot with its dates"))
		max.choose("material", lot[0])
		max.write("lot", lot[1])
		max.Set("[name=until]", "2099-12-31")
		max.clicks, max.keys = max.clicks+1, max.keys+8
		max.save()
	}
	max.follow(max.link("Limits"))
	max.follow(max.link("Wait from rolling to edge treatment"))
	max.write("value", "300")
	max.write("why", "specification 3.4")
	max.save()
	done("what it includes, drains, ballast, lots, a limit")

	max.follow(`nav a[href="/accounts"]`)
	max.follow(max.link("Invite somebody"))
	max.write("name", "Ada Example")
	max.write("login", "ada")
	max.save()
	invitation := max.Text(".code")
	max.clicks++ // copied
	max.follow(max.link("Annex roof, north half"))
	max.choose("role", "foreman")
	max.choose("person", "ada")
	max.save()
	max.WaitText("main", "Foreman, writes as Ada Example")
	done("the foreman invited")

	ada := &hand{Page: browser.Start(t).Open(browser.Tablet)}
	hands = append(hands, ada)
	ada.Go(invitation)
	ada.write("password", "other words of hers")
	ada.write("again", "other words of hers")
	ada.save()
	ada.follow(ada.link("Annex roof, north half"))
	ada.follow(ada.link("Start the day"))
	ada.save()
	if at := ada.URL(); !strings.HasPrefix(at, job) {
		t.Fatalf("the day is started, and at %s", at)
	}
	ada.WaitText("main", "off the roof")
	done("the foreman signs in and starts the day")

	d, err := store.Fold(t.Context(), log, strings.Split(job, "/")[4], "")
	if err != nil {
		t.Fatal(err)
	}
	last := d.Days[len(d.Days)-1]
	if last.Started.IsZero() || len(last.Roof.Layout().Panels) != 11 || last.Setup.Limits["edge-early.wait_min"] != 300 || last.Setup.Zones.Doubt() != "" || len(last.Setup.Lots) != 2 {
		t.Errorf("what was set up is not what stands: %+v", last.Setup)
	}
	clicks, keys := 0, 0
	for _, s := range stages {
		fmt.Printf("%-50s %3d clicks %4d keys\n", s.name, s.clicks, s.keys)
		clicks, keys = clicks+s.clicks, keys+s.keys
	}
	took := time.Duration((perClick*float64(clicks) + perKey*float64(keys)) * float64(time.Second)).Round(time.Second)
	fmt.Printf("%-50s %3d clicks %4d keys: %s at %v s a click and %v s a key\n", "from nothing to a started day", clicks, keys, took, perClick, perKey)
	if took > 10*time.Minute {
		t.Errorf("it takes a person %s, want 10 minutes at most", took)
	}
}
