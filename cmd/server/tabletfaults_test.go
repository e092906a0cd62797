package main

import (
	"bytes"
	"context"
	"encoding/base64"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"duskline/internal/browser"
	"duskline/internal/daylog"
	"duskline/internal/exchange"
	"duskline/internal/store"
)

// journal is what a tablet was told, kept outside the program: each text that was
// typed and saved, and whether the page said that it was.
type journal struct {
	*roofEdge
	saved []string
}

const noteForm = `form.form textarea, form.form input[type=text]:not([name=at-other])`

// typeNote opens the form of a note and types.
func (j *journal) typeNote(text string) {
	j.t.Helper()
	j.page.Go(j.server.URL + "/job/hall/write/note")
	j.page.Fill(noteForm, text)
}

// save taps Save and expects to be told so.
func (j *journal) save(text string) {
	j.t.Helper()
	j.page.TapThrough("form.form .submit button.first")
	j.page.WaitText(".saved", "Saved")
	j.saved = append(j.saved, text)
}

// check holds a log against the journal: each text that was saved once, and no
// other, on streams without a gap.
func (j *journal) check(log store.Log) {
	j.t.Helper()
	ctx := context.Background()
	entries, err := log.Entries(ctx, "hall", j.today)
	if err != nil {
		j.t.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		if n, ok := e.Body.(*daylog.Note); ok {
			got = append(got, n.Text)
		}
	}
	slices.Sort(got)
	want := slices.Sorted(slices.Values(j.saved))
	if !slices.Equal(got, want) {
		j.t.Errorf("the office holds\n     %q\nthe tablet said saved\n     %q", got, want)
	}
	heads, err := log.Heads(ctx, "hall")
	if err != nil {
		j.t.Fatal(err)
	}
	n := 0
	for _, reach := range heads {
		n += int(reach.Seq)
	}
	if all, err := log.Entries(ctx, "hall", ""); err != nil || len(all) != n {
		j.t.Errorf("the streams reach %d entries, the log holds %d (%v)", n, len(all), err)
	}
}

// send has the tablet exchange now and expects that the office has it all.
func (j *journal) send() {
	j.t.Helper()
	j.page.Go(j.server.URL + "/tablet")
	j.page.TapThrough(`form[action="/tablet/send"] button`)
	j.page.WaitText("main", "The office has all that this tablet has.")
}

// A worker that is stopped while a form is being saved costs nothing that was
// typed: it is in the list, or back in the form, and sent again it is written
// once.
func TestWorkerStoppedWhileSaving(t *testing.T) {
	j := &journal{roofEdge: takeHallAboard(t)}
	j.server.Stop()
	again := 0
	for after := 20; after <= 230; after += 30 {
		text := fmt.Sprintf("walked the north edge, stopped after %d", after)
		j.typeNote(text)
		j.page.Tap("form.form .submit button.first")
		time.Sleep(time.Duration(after) * time.Millisecond)
		j.b.StopWorkers(j.page)
		time.Sleep(700 * time.Millisecond) // a page that came, or the browser's own for one that did not
		if strings.Contains(j.page.Stands(), "saved=") {
			j.saved = append(j.saved, text)
			continue
		}
		again++
		j.page.Go(j.server.URL + "/job/hall/write/note")
		j.page.WaitText(".draft", "did not save it")
		j.page.Tap(".draft button")
		if got := browser.Eval[string](j.page, fmt.Sprintf(`document.querySelector(%q).value`, noteForm)); got != text {
			t.Fatalf("stopped %d ms after the tap, the form holds %q, not what was typed", after, got)
		}
		j.save(text)
	}
	t.Logf("%d of 8 had to be saved again", again)

	j.typeNote("left in the middle")
	time.Sleep(300 * time.Millisecond) // of typing nothing
	j.page.Go(j.server.URL + "/job/hall/entries")
	j.page.Back()
	j.page.Wait(fmt.Sprintf(`document.querySelector(%q)?.value === "left in the middle"`, noteForm))
	j.server.Again()
	j.send()
	j.check(j.log)
}

// Who writes is picked and kept; a job cannot be left off, nor anybody sign out,
// while something is unsent; what is here can be carried to the office as a file.
func TestTabletPage(t *testing.T) {
	j := &journal{roofEdge: takeAboard(t, strings.Replace(emptyHall, "foreman\n", "foreman\nperson bo \"Bo Invented\", crew\n", 1))}
	writing := func() string { return j.page.Text("header .state p:last-child") }
	if got := writing(); !strings.Contains(got, "Ada Invented") {
		t.Errorf("before anybody is picked: %q", got)
	}
	j.page.TapThrough("header .state a")
	j.page.TapThrough(`form:has(input[value=bo]) button`)
	if got := writing(); !strings.Contains(got, "Bo Invented, crew") {
		t.Errorf("after picking: %q", got)
	}
	j.b.StopWorkers(j.page)
	j.server.Stop()
	j.typeNote("drains clear")
	j.save("drains clear")
	j.page.Go(j.server.URL + "/tablet")
	if n := j.page.Count(`form[action="/tablet/leave"]`); n != 0 {
		t.Error("a job with something unsent can be left off")
	}
	if got := browser.Eval[int](j.page, `fetch("/tablet/leave", {method: "POST", body: new URLSearchParams({job: "hall"})}).then((r) => r.status)`); got != 409 {
		t.Errorf("leaving off with something unsent: %d, want 409", got)
	}
	if got := browser.Eval[string](j.page, `fetch("/sign-out", {method: "POST"}).then((r) => r.text())`); !strings.Contains(got, "1 entries") {
		t.Errorf("signing out with something unsent:\n%s", got)
	}
	text := browser.Eval[string](j.page, `fetch("/tablet/handover").then((r) => r.arrayBuffer()).then((b) => btoa(String.fromCharCode(...new Uint8Array(b))))`)
	file, err := base64.StdEncoding.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	office := store.NewMemory()
	told, err := exchange.ReadHandOver(bytes.NewReader(file), func(job string, raws [][]byte) error {
		_, err := office.Receive(ctx, job, raws...)
		return err
	})
	if err != nil || told.Count == 0 {
		t.Fatalf("the file of %d bytes: %+v, %v", len(file), told, err)
	}
	j.check(office)

	j.server.Again()
	j.send()
	j.check(j.log)
	entries, err := j.log.Entries(ctx, "hall", j.today)
	if err != nil {
		t.Fatal(err)
	}
	if author := entries[len(entries)-1].Author; !slices.ContainsFunc(entries, func(e daylog.Entry) bool { return e.Author == "bo" }) {
		t.Errorf("nothing was written by who was picked; the last by %q", author)
	}
	if os.Getenv("DUSKLINE_PICTURES") != "" {
		for name, size := range map[string]browser.Size{"tablet-wide": browser.Tablet, "tablet-upright": browser.TabletUpright, "tablet-phone": browser.Phone} {
			j.page.Resize(size)
			fmt.Println(j.page.Shot(name))
		}
		j.page.Go(j.server.URL + "/job/hall/writer")
		fmt.Println(j.page.Shot("writer"))
		j.page.Go(j.server.URL + "/tablet")
	}
	j.page.TapThrough(`form[action="/tablet/leave"] button`)
	j.page.WaitText("main", "The job is off this tablet")
	if status := j.page.Go(j.server.URL + "/job/hall/"); status != 200 || j.page.Count("[data-exchange]") > 0 {
		t.Errorf("after leaving off the job's page is answered here still (%d)", status)
	}
}

// A browser killed right after it said saved has kept it; two windows of one
// tablet never number alike.
func TestBrowserFaults(t *testing.T) {
	j := &journal{roofEdge: takeHallAboard(t)}
	j.server.Stop()

	j.typeNote("saved, then the battery was empty")
	j.save("saved, then the battery was empty")
	j.b.Kill()
	j.b.Again()
	j.page = j.b.Open(browser.Tablet)

	other := &journal{roofEdge: &roofEdge{t: t, server: j.server, b: j.b, page: j.b.Open(browser.Tablet)}}
	for i := range 3 {
		one, two := fmt.Sprintf("first window, %d", i), fmt.Sprintf("second window, %d", i)
		j.typeNote(one)
		other.typeNote(two)
		j.page.Tap("form.form .submit button.first")
		other.page.Tap("form.form .submit button.first")
		j.page.WaitText(".saved", "Saved")
		other.page.WaitText(".saved", "Saved")
		j.saved = append(j.saved, one, two)
	}

	j.server.Again()
	j.send()
	j.check(j.log)
}

// Two tablets correct the same line without signal. Once both have exchanged they
// and the office show the same lines, and one of the corrections counts everywhere.
func TestTwoTabletsCorrectOneLine(t *testing.T) {
	j := &journal{roofEdge: takeHallAboard(t)}
	j.typeNote("north drain slow")
	j.save("north drain slow")
	j.send()
	second := &journal{roofEdge: &roofEdge{t: t, server: j.server, b: browser.Start(t)}}
	second.page = second.b.Open(browser.Tablet)
	second.page.Go(j.server.URL + "/job/hall/")
	second.page.TapThrough("form[data-take-aboard] button")
	second.page.WaitControlled()
	second.page.WaitText("header .state", "Saved here")

	j.server.Stop()
	for text, tablet := range map[string]*journal{"north drain blocked": j, "north drain clear": second} {
		tablet.page.Go(j.server.URL + "/job/hall/entries")
		link := browser.Eval[string](tablet.page, `[...document.querySelectorAll("a[href*='/correct']")].filter((a) => a.closest("li, tr, article, section").innerText.includes("north drain")).pop().href`)
		tablet.page.Go(link)
		tablet.page.Fill(noteForm, text)
		tablet.page.Fill("input[name=why]", "looked again")
		tablet.page.TapThrough("form.form .submit button.first")
	}
	j.server.Again()
	for _, tablet := range []*journal{j, second, j} {
		tablet.send()
	}
	lines := func(tablet *journal) string {
		tablet.page.Go(j.server.URL + "/job/hall/entries")
		return tablet.page.Text("main")
	}
	mine, theirs := lines(j), lines(second)
	if mine != theirs {
		t.Errorf("one tablet shows\n%s\nthe other\n%s", mine, theirs)
	}
	if strings.Contains(mine, "north drain blocked") == strings.Contains(mine, "north drain clear") {
		t.Errorf("not one of the two corrections counts:\n%s", mine)
	}
	held, err := j.log.Entries(context.Background(), "hall", j.today)
	if err != nil {
		t.Fatal(err)
	}
	corrections := 0
	for _, e := range held {
		if e.Of != "" {
			corrections++
		}
	}
	if corrections != 2 {
		t.Errorf("the office holds %d corrections, want both", corrections)
	}
	j.page.Go(j.server.URL + "/tablet")
	if page := j.page.Text("main"); strings.Contains(page, "Look into") {
		t.Errorf("after the exchange something is wrong:\n%s", page)
	}
}
