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
	if got := browser.Eval[string](j.page, fmt.Sprintf(`document.querySelector(%q).value`, noteForm)); got != "left in the middle" {
		t.Errorf("after Back the form holds %q", got)
	}
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
