package main

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"duskline/internal/browser"
	"duskline/internal/daylog"
)

// clockAhead makes the clock of a page or a worker so many milliseconds ahead,
// until a message tells it otherwise.
const clockAhead = `{
	const Real = globalThis.RealDate ??= Date;
	let ahead = %d;
	globalThis.Date = class extends Real {
		constructor(...parts) { if (parts.length) super(...parts); else super(Real.now() + ahead); }
		static now() { return Real.now() + ahead; }
	};
	addEventListener("message", (e) => { if (typeof e.data?.ahead === "number") ahead = e.data.ahead; });
}
`

// withClock sends the tablet a worker whose clock is ahead.
func withClock(ahead time.Duration) func(http.Handler) http.Handler {
	return func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if r.URL.Path != "/sw.js" {
				next.ServeHTTP(w, r)
				return
			}
			r.Header.Del("Accept-Encoding")
			worker := httptest.NewRecorder()
			next.ServeHTTP(worker, r)
			w.Header().Set("Content-Type", worker.Header().Get("Content-Type"))
			fmt.Fprintf(w, clockAhead, ahead.Milliseconds())
			w.Write(worker.Body.Bytes())
		})
	}
}

// A tablet whose clock is hours off, and jumps, writes down the time that it is:
// each exchange tells it how far it is off.
func TestClockOff(t *testing.T) {
	ahead := 5 * time.Hour
	j := &journal{roofEdge: takeAboardOn(t, emptyHall, withClock(ahead), fmt.Sprintf(clockAhead, ahead.Milliseconds()))}
	said := func(text string) daylog.Entry {
		entries, err := j.log.Entries(context.Background(), "hall", "")
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			if n, ok := e.Body.(*daylog.Note); ok && n.Text == text {
				return e
			}
		}
		t.Fatalf("the office does not have %q", text)
		return daylog.Entry{}
	}
	right := func(text string, ahead time.Duration) {
		t.Helper()
		e := said(text)
		for what, at := range map[string]time.Time{"at": e.At, "written down at": e.Made} {
			if off := time.Since(at).Abs(); off > 2*time.Minute {
				t.Errorf("%s: %s %v, %v off", text, what, at, off)
			}
		}
		if off := time.Duration(e.Skew)*time.Second + ahead; off.Abs() > 5*time.Second || e.Day != j.today {
			t.Errorf("%s: on %s, corrected by %d s with a clock %v ahead", text, e.Day, e.Skew, ahead)
		}
	}
	j.typeNote("the first thing written here")
	j.save("the first thing written here")
	j.send()
	right("the first thing written here", ahead)
	if page := j.page.Text("main"); !strings.Contains(page, "ahead of the office's; entries are corrected for it") {
		t.Errorf("This tablet does not say that its clock is off:\n%s", page)
	}

	// It jumps, with signal: the next exchange tells.
	ahead = -3 * time.Hour
	j.page.Before(fmt.Sprintf(clockAhead, ahead.Milliseconds()))
	browser.Eval[bool](j.page, fmt.Sprintf(`(navigator.serviceWorker.controller.postMessage({ahead: %d}), true)`, ahead.Milliseconds()))
	j.send()
	j.server.Stop()
	j.typeNote("after the clock jumped")
	j.save("after the clock jumped")
	j.server.Again()
	j.send()
	right("after the clock jumped", ahead)
	j.check(j.log)
}

// A browser that clears what it keeps while a page is open never lets the page
// pretend: nothing is called saved that is not, and the job can be taken on board
// again.
func TestStorageCleared(t *testing.T) {
	j := &journal{roofEdge: takeHallAboard(t)}
	aboard := func() {
		t.Helper()
		j.page.Go(j.server.URL + "/job/hall/")
		j.page.TapThrough("form[data-take-aboard] button")
		j.page.WaitControlled()
		j.page.WaitText("header .state", "Saved here")
	}
	j.typeNote("before it was cleared")
	j.save("before it was cleared")
	j.send()

	text := "typed when the log was cleared"
	j.server.Stop()
	j.typeNote(text)
	j.page.Clear(j.server.URL, "indexeddb")
	time.Sleep(time.Second) // the page opens its drafts again
	j.page.TapThrough("form.form .submit button.first")
	if said := j.page.Text("body"); !strings.Contains(said, "not saved") && !strings.Contains(said, "Not saved") {
		t.Errorf("with the log cleared the page says\n%s", said)
	}
	j.page.Shot("cleared")
	j.server.Again()
	aboard()
	j.page.Go(j.server.URL + "/job/hall/write/note")
	j.page.WaitText(".draft", "did not save it")
	j.page.Tap(".draft button")
	if got := browser.Eval[string](j.page, fmt.Sprintf(`document.querySelector(%q).value`, noteForm)); got != text {
		t.Fatalf("what was typed came back as %q", got)
	}
	j.save(text)
	j.send()
	j.check(j.log)

	// All of it, the worker too: then the office answers, and the page says so.
	text = "typed when all was cleared"
	j.typeNote(text)
	j.page.Clear(j.server.URL, "all")
	j.save(text)
	if said := j.page.Text("body"); !strings.Contains(said, "Saved in the office") || strings.Contains(said, "Saved here") {
		t.Errorf("with all cleared the page says\n%s", said)
	}
	aboard()
	j.typeNote("on board again")
	j.save("on board again")
	j.send()
	j.check(j.log)
	entries, err := j.log.Entries(context.Background(), "hall", j.today)
	if err != nil {
		t.Fatal(err)
	}
	devices := map[string]string{}
	for _, e := range entries {
		if n, ok := e.Body.(*daylog.Note); ok {
			devices[e.Device] += n.Text + "; "
		}
	}
	if len(devices) != 4 {
		t.Errorf("each new storage is a device of its own, and the office one: %q", devices)
	}
}

// Where there is no room left a form says that it is not saved and keeps what was
// typed; once there is room it is saved, once.
func TestStorageFull(t *testing.T) {
	j := &journal{roofEdge: takeHallAboard(t)}
	j.server.Stop()
	j.typeNote("while there was room")
	j.save("while there was room")
	// A browser that runs remembers for a while that there was room.
	j.b.Again()
	j.page = j.b.Open(browser.Tablet)
	j.page.Room(j.server.URL, 1)
	text := "typed when there was no room"
	j.typeNote(text)
	j.page.TapThrough("form.form .submit button.first")
	if said := j.page.Text("main"); !strings.Contains(said, "There is no room left") || !strings.Contains(said, "Nothing of this was saved") {
		t.Errorf("with the storage full the page says\n%s", said)
	}
	j.page.Shot("full")
	j.page.Back()
	time.Sleep(500 * time.Millisecond) // an older draft may be offered; it must not take the place of this
	if got := browser.Eval[string](j.page, fmt.Sprintf(`document.querySelector(%q).value`, noteForm)); got != text {
		t.Fatalf("what was typed came back as %q", got)
	}
	j.page.Room(j.server.URL, -1)
	j.save(text)
	j.server.Again()
	j.send()
	j.check(j.log)
}
