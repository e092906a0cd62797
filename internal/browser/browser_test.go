package browser_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"duskline/internal/browser"
)

// shop is a page with a form and a service worker that answers /worker.
func shop() http.Handler {
	m := http.NewServeMux()
	m.HandleFunc("GET /", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprint(w, `<title>Front</title><h1>Front</h1>
			<form action=/said><input name=word><button>Say</button></form>
			<script>navigator.serviceWorker.register("/sw.js")</script>`)
	})
	m.HandleFunc("GET /said", func(w http.ResponseWriter, r *http.Request) {
		fmt.Fprintf(w, "said %q", r.FormValue("word"))
	})
	m.HandleFunc("GET /sw.js", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/javascript")
		fmt.Fprint(w, `
			let answered = 0;
			addEventListener("activate", (e) => e.waitUntil(clients.claim()));
			addEventListener("message", (e) => e.ports[0].postMessage({Memory: answered}));
			addEventListener("fetch", (e) => {
				if (new URL(e.request.url).pathname === "/worker") {
					answered++;
					e.respondWith(new Response("worker, " + answered));
				}
			});`)
	})
	return m
}

func TestBrowser(t *testing.T) {
	s := browser.Serve(t, shop())
	b := browser.Start(t)
	p := b.Open(browser.Phone)

	if status := p.Go(s.URL); status != 200 {
		t.Fatalf("status %d, want 200", status)
	}
	if got := browser.Eval[int](p, `innerWidth`); int64(got) != browser.Phone.Width {
		t.Errorf("the page is %d wide, want %d", got, browser.Phone.Width)
	}
	p.Fill("input", "dry edge")
	p.TapThrough("button")
	if got := p.Text("body"); got != `said "dry edge"` {
		t.Errorf("the form said %q", got)
	}
	p.Back()
	if got := p.Text("h1"); got != "Front" {
		t.Errorf("going back showed %q", got)
	}
	p.WaitControlled()
	if path := p.Shot("front"); !strings.HasSuffix(path, "front.png") {
		t.Errorf("the picture went to %s", path)
	}
}

func TestWorkersReallyStop(t *testing.T) {
	s := browser.Serve(t, shop())
	b := browser.Start(t)
	p := b.Open(browser.Tablet)
	p.Go(s.URL)
	p.WaitControlled()

	for i := range 2 {
		p.Go(s.URL + "/worker")
		if want, got := fmt.Sprint("worker, ", i+1), p.Text("body"); got != want {
			t.Fatalf("answer %q, want %q: the worker must still run here", got, want)
		}
	}
	if got := p.ProgramMemory(); got != 2 {
		t.Errorf("the worker answered its message with %d, want 2", got)
	}
	b.StopWorkers(p)
	p.Go(s.URL + "/worker")
	if got := p.Text("body"); got != "worker, 1" {
		t.Errorf("answer %q after a stop, want that of a worker just started", got)
	}
}

func TestAgainKeepsTheProfile(t *testing.T) {
	s := browser.Serve(t, shop())
	b := browser.Start(t)
	p := b.Open(browser.Tablet)
	p.Go(s.URL)
	p.WaitControlled()
	// IndexedDB, committed strictly, is what must outlive a kill.
	browser.Eval[bool](p, `new Promise((resolve, reject) => {
		const open = indexedDB.open("kept", 1);
		open.onerror = () => reject(open.error);
		open.onupgradeneeded = () => open.result.createObjectStore("words");
		open.onsuccess = () => {
			const tx = open.result.transaction("words", "readwrite", {durability: "strict"});
			tx.objectStore("words").put("still here", 1);
			tx.oncomplete = () => resolve(true);
		};
	})`)
	b.Again()
	s.Stop()

	p = b.Open(browser.Tablet)
	p.Go(s.URL + "/worker") // the worker's own page: the server is gone
	got := browser.Eval[string](p, `new Promise((resolve, reject) => {
		const open = indexedDB.open("kept", 1);
		open.onerror = () => reject(open.error);
		open.onsuccess = () => {
			const get = open.result.transaction("words").objectStore("words").get(1);
			get.onsuccess = () => resolve(get.result);
		};
	})`)
	if got != "still here" {
		t.Errorf("after a kill the profile holds %q", got)
	}
}

func TestServerStopsAndComesBack(t *testing.T) {
	s := browser.Serve(t, shop())
	get := func() error {
		answer, err := http.Get(s.URL)
		if err == nil {
			answer.Body.Close()
		}
		return err
	}
	if err := get(); err != nil {
		t.Fatal(err)
	}
	s.Stop()
	if get() == nil {
		t.Fatal("a stopped server answered")
	}
	s.Again()
	if err := get(); err != nil {
		t.Fatal(err)
	}
}

func TestOffline(t *testing.T) {
	s := browser.Serve(t, shop())
	b := browser.Start(t)
	p := b.Open(browser.Tablet)
	p.Go(s.URL)
	reach := fmt.Sprintf(`fetch("%s/said?word=x").then(() => true, () => false)`, s.URL)
	for _, off := range []bool{true, false} {
		p.Offline(off)
		if got := browser.Eval[bool](p, reach); got == off {
			t.Errorf("offline %v: the page reached the server: %v", off, got)
		}
		if got := browser.Eval[bool](p, `navigator.onLine`); got == off {
			t.Errorf("offline %v: the page believes onLine is %v", off, got)
		}
	}
}

// listener is a test that records what it is told, to test the telling.
type listener struct {
	testing.TB
	errors   []string
	cleanups []func()
}

func (l *listener) Errorf(format string, args ...any) {
	l.errors = append(l.errors, fmt.Sprintf(format, args...))
}
func (l *listener) Cleanup(f func()) { l.cleanups = append(l.cleanups, f) }
func (l *listener) end() {
	for len(l.cleanups) > 0 {
		last := len(l.cleanups) - 1
		f := l.cleanups[last]
		l.cleanups = l.cleanups[:last]
		f()
	}
}

func TestAnUncaughtErrorFailsTheTest(t *testing.T) {
	s := browser.Serve(t, shop())
	l := &listener{TB: t}
	defer l.end()
	b := browser.Start(l)
	p := b.Open(browser.Tablet)
	p.Go(s.URL)
	p.WaitControlled()
	browser.Eval[bool](p, `setTimeout(() => { throw new Error("left to fall") }), setTimeout(() => { throw new Error("expected") }), console.warn("careful"), true`)
	b.Allow("expected")
	browser.Eval[bool](p, `new Promise((resolve) => setTimeout(() => resolve(true), 50))`)
	l.end()
	if len(l.errors) != 1 || !strings.Contains(l.errors[0], "left to fall") {
		t.Errorf("the test was told %q, want the one error that nothing expected", l.errors)
	}
	if got := b.Console(); len(got) != 1 || got[0] != "warning: careful" {
		t.Errorf("the console held %q", got)
	}
}
