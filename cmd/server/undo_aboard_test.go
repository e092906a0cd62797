package main

import (
	"strings"
	"testing"
	"time"

	"duskline/internal/browser"
)

// Without a server the tablet undoes what was just saved, and remembers a no
// though its worker is stopped.
func TestUndoAndQuestionsWithoutServer(t *testing.T) {
	zone, err := forenoon(time.Now())
	if err != nil {
		t.Fatal(err)
	}
	e := takeAboard(t, strings.Replace(emptyHall, "leaving 20:00", "leaving 20:00, break "+time.Now().In(zone).Format("15:04"), 1))
	e.server.Stop()

	e.write("note", map[string]any{"text": "gate locked"}, "")
	e.b.StopWorkers(e.page)
	e.page.TapThrough(".saved button")
	e.page.WaitText(".saved", "Undone. ")
	e.page.Go(e.server.URL + "/job/hall/entries")
	e.page.WaitText("main", "a slip, undone at once")

	const panel = "Is panel 3 in position by now?"
	asked := func() bool {
		e.page.Go(e.server.URL + "/job/hall/")
		return strings.Contains(e.page.Text("main"), panel)
	}
	if !asked() {
		t.Fatalf("not asked at the break:\n%s", e.page.Text("main"))
	}
	e.page.TapThrough(`.answers button[value=no]`)
	e.b.StopWorkers(e.page)
	if asked() {
		t.Error("asked again after a no")
	}
	e.b.Kill()
	e.b.Again()
	e.page = e.b.Open(browser.Tablet)
	if asked() {
		t.Error("asked again once the browser was started anew")
	}
}
