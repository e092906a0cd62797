package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"duskline/internal/browser"
	"duskline/internal/daylog"
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
