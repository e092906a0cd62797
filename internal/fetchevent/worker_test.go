//go:build !js

package fetchevent_test

import (
	"bytes"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/fstest"
	"time"

	"github.com/andybalholm/brotli"

	"duskline/internal/browser"
	"duskline/static"
)

// program compiles testdata/program as the tablet's program is compiled.
var program = sync.OnceValues(func() ([]byte, error) {
	folder, err := os.MkdirTemp("", "program")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	to := filepath.Join(folder, "program.wasm")
	cmd := exec.Command("go", "build", "-tags", "timetzdata", "-trimpath", "-buildvcs=false", "-ldflags", "-s -w", "-o", to, "./testdata/program")
	cmd.Env = append(os.Environ(), "GOOS=js", "GOARCH=wasm")
	if out, err := cmd.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("%w\n%s", err, out)
	}
	return os.ReadFile(to)
})

// build makes a build of the real worker with the test's program. Another style
// makes another build; changes are put over its files.
func build(t *testing.T, style string, changes map[string]string) *static.Build {
	t.Helper()
	wasm, err := program()
	if err != nil {
		t.Fatal(err)
	}
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		t.Fatal(err)
	}
	glue, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(root)), "lib", "wasm", "wasm_exec.js"))
	if err != nil {
		t.Fatal(err)
	}
	files := map[string]string{
		"site.css":     style,
		"wasm_exec.js": string(glue),
		"tablet.wasm":  string(wasm),
	}
	for _, name := range []string{"sw.js", "aboard.js"} {
		text, err := fs.ReadFile(static.Files, name)
		if err != nil {
			t.Fatal(err)
		}
		files[name] = string(text)
	}
	maps.Copy(files, changes)
	folder := fstest.MapFS{}
	for name, text := range files {
		if name == "tablet.wasm" {
			var small bytes.Buffer
			w := brotli.NewWriterLevel(&small, 1)
			io.WriteString(w, text)
			w.Close()
			name, text = name+".br", small.String()
		}
		folder[name] = &fstest.MapFile{Data: []byte(text)}
	}
	b, err := static.New(folder)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// office is the server's side of a job: the files of a build that may be
// replaced, and pages that say that the office made them.
type office struct {
	build   atomic.Pointer[static.Build]
	instead atomic.Pointer[string] // answered for every file, as a sign-in page of somebody's network is
}

func (o *office) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	switch {
	case strings.HasPrefix(r.URL.Path, "/static/"):
		if text := o.instead.Load(); text != nil {
			io.WriteString(w, *text)
			return
		}
		fallthrough
	case r.URL.Path == "/sw.js":
		o.build.Load().ServeHTTP(w, r)
	default:
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		fmt.Fprintf(w, `<!DOCTYPE html><title>Office</title><script type="module" src="/static/aboard.js"></script>
			<h1>The office's page %s</h1><p data-aboard></p>
			<form method="post" action="/tablet/jobs" data-take-aboard>
				<input type="hidden" name="job" value="7"><button>Take on board</button>
			</form>`, r.URL.Path)
	}
}

// start starts an office with a build, and a browser in it.
func start(t *testing.T, b *static.Build) (*office, *browser.Server, *browser.Page) {
	t.Helper()
	o := &office{}
	o.build.Store(b)
	s := browser.Serve(t, o)
	p := browser.Start(t).Open(browser.Tablet)
	p.Go(s.URL)
	return o, s, p
}

// aboard takes the job on board.
func aboard(t *testing.T, p *browser.Page) {
	t.Helper()
	p.WaitText("[data-aboard]", "office answers")
	p.TapThrough("button")
	p.WaitText("h1", "The tablet's page 1")
}

func shows(t *testing.T, p *browser.Page, heading string) {
	t.Helper()
	if got := p.Text("h1"); got != heading {
		t.Errorf("%s shows %q, want %q\n%s", p.URL(), got, heading, p.Text("body"))
	}
}

func TestWithoutTheServer(t *testing.T) {
	t.Parallel()
	b := build(t, "p {}", nil)
	_, s, p := start(t, b)
	aboard(t, p)
	p.WaitText("[data-aboard]", "by itself")
	if got := p.Text("#build"); got != b.ID() {
		t.Errorf("the program was told that it is build %q, want %q", got, b.ID())
	}
	if got := p.ProgramMemory(); got < 1<<20 || got > 96<<20 {
		t.Errorf("the program holds %d bytes", got)
	}
	p.Go(s.URL + "/job/7/zone")
	if got := p.Text("body"); got != "06:00 MDT<nil>" {
		t.Errorf("noon UTC in July is %s in Denver, want 06:00 MDT", got)
	}

	s.Stop()
	p.Go(s.URL + "/job/7/")
	shows(t, p, "The tablet's page 2")
	if got := browser.Eval[string](p, `fetch("/static/site.css").then((a) => a.text())`); got != "p {}" {
		t.Errorf("the style is %q", got)
	}

	p.Browser.StopWorkers(p)
	before := time.Now()
	p.Go(s.URL + "/job/7/")
	t.Logf("a stopped worker answered after %v", time.Since(before).Round(time.Millisecond))
	shows(t, p, "The tablet's page 1")

	p.Fill("textarea", "wet seam, ½ in & dried")
	p.TapThrough(".save")
	if got := p.URL(); got != s.URL+"/job/7/" {
		t.Errorf("saving led to %s", got)
	}
	if got := p.Text("#notes"); got != "wet seam, ½ in & dried" {
		t.Errorf("the note is %q", got)
	}

	if status := p.Go(s.URL + "/job/7/panic"); status != http.StatusInternalServerError {
		t.Errorf("a panic is answered with %d", status)
	}
	shows(t, p, "This page went wrong")
	p.Go(s.URL + "/job/7/")
	if got := p.Text("#notes"); got == "" {
		t.Error("after a panic in one request the program had started anew")
	}

	p.Browser.Again()
	p = p.Browser.Open(browser.Tablet)
	p.Go(s.URL + "/job/7/")
	shows(t, p, "The tablet's page 1")
}

func TestWhoAnswersWhat(t *testing.T) {
	t.Parallel()
	_, s, p := start(t, build(t, "p {}", nil))
	aboard(t, p)

	p.Go(s.URL + "/job/7/")
	shows(t, p, "The tablet's page 2") // with signal too
	p.Go(s.URL + "/job/8/")
	shows(t, p, "The office's page /job/8/")
	p.Go(s.URL + "/jobs")
	shows(t, p, "The office's page /jobs")

	s.Stop()
	for _, path := range []string{"/job/8/", "/jobs"} {
		if status := p.Go(s.URL + path); status != http.StatusServiceUnavailable {
			t.Errorf("%s without signal: %d", path, status)
		}
		shows(t, p, "No signal")
	}
	if got := p.Text("li a"); got != "Hall <7>, invented" {
		t.Errorf("the page leads to %q, want the job on board by its name", got)
	}
	p.Browser.StopWorkers(p)
	p.TapThrough("li a")
	shows(t, p, "The tablet's page 1")

	// The note of what is on board is only a note: lost, the program is asked.
	browser.Eval[bool](p, `caches.delete("jobs on board")`)
	p.Browser.StopWorkers(p)
	p.Go(s.URL + "/job/7/")
	shows(t, p, "The tablet's page 1")
}

func TestAProgramThatEnds(t *testing.T) {
	t.Parallel()
	_, s, p := start(t, build(t, "p {}", nil))
	aboard(t, p)
	s.Stop()

	post := `fetch("/job/7/%s", {method: "POST", body: new URLSearchParams({note: "kept"})}).then(async (a) => a.status + " " + await a.text())`
	if got := browser.Eval[string](p, fmt.Sprintf(post, "end-once")); got != `200 answered after all: "kept"` {
		t.Errorf("a program that ended while answering was started again and said %q", got)
	}
	if got := browser.Eval[string](p, fmt.Sprintf(post, "end")); !strings.HasPrefix(got, "503") || !strings.Contains(got, "Perhaps not saved") {
		t.Errorf("a form that ends the program each time got %q", got)
	}
	p.Go(s.URL + "/job/7/")
	shows(t, p, "The tablet's page 1")

	p.Go(s.URL + "/job/7/end")
	shows(t, p, "The log did not start")
	s.Again()
	p.Go(s.URL + "/job/7/end")
	shows(t, p, "The office's page /job/7/end")
	// A form that may have been kept here is not sent there too.
	if got := browser.Eval[string](p, fmt.Sprintf(post, "end")); !strings.Contains(got, "Perhaps not saved") {
		t.Errorf("with signal, a form that ends the program each time got %q", got)
	}
}

func TestForeignForms(t *testing.T) {
	t.Parallel()
	_, s, p := start(t, build(t, "p {}", nil))
	aboard(t, p)
	for _, policy := range []string{"unsafe-url", "no-referrer"} {
		foreign := browser.Serve(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", "text/html")
			w.Header().Set("Referrer-Policy", policy)
			fmt.Fprintf(w, `<form method="post" action="%s/job/7/write"><textarea name="note">planted</textarea><button>Win</button></form>`, s.URL)
		}))
		p.Go(foreign.URL)
		p.TapThrough("button")
		if got := p.Text("body"); !strings.Contains(got, "cross-origin") {
			t.Errorf("a foreign form with the policy %s got %q", policy, got)
		}
	}
	p.Go(s.URL + "/job/7/")
	if got := p.Text("#notes"); got != "" {
		t.Errorf("a foreign form was kept: %q", got)
	}
}

func TestAHardReloadIsClaimed(t *testing.T) {
	t.Parallel()
	_, _, p := start(t, build(t, "p {}", nil))
	aboard(t, p)
	p.Reload(true)
	shows(t, p, "The office's page /job/7/") // past the worker
	p.Wait(`!navigator.serviceWorker.controller`)
	browser.Eval[bool](p, `(document.body.innerHTML = '<p data-aboard></p><form method="post" action="/job/7/write"><textarea name="note">after a hard reload</textarea><button>Save</button></form>', true)`)
	p.TapThrough("button")
	if got := p.Text("#notes"); got != "after a hard reload" {
		t.Errorf("the note is %q", got)
	}
	p.WaitControlled()
}

const update = `navigator.serviceWorker.getRegistration().then((r) => r.update()).then(() => true, () => false)`
const builds = `caches.keys().then((names) => names.filter((n) => n.startsWith("build ")).map((n) => n.slice(6)))`

// takenOver goes to the page again until the build that waits has taken over.
// The browser lets the old worker finish first, which it does when idle.
func takenOver(t *testing.T, p *browser.Page) {
	t.Helper()
	for range 20 {
		p.Reload(false)
		time.Sleep(100 * time.Millisecond) // for the page to ask, and to be heard
		p.Browser.StopWorkers(p)
		if browser.Eval[bool](p, `navigator.serviceWorker.getRegistration().then((r) => !r.waiting)`) {
			p.WaitControlled()
			return
		}
	}
	t.Fatal("the new build does not take over")
}

func TestANewBuild(t *testing.T) {
	t.Parallel()
	first, second, third := build(t, "p {}", nil), build(t, "p { margin: 0 }", nil), build(t, "p { margin: 1px }", nil)
	o, s, p := start(t, first)
	aboard(t, p)

	// It waits until it is tapped.
	o.build.Store(second)
	browser.Eval[bool](p, update)
	p.Wait(`!document.querySelector("[data-new-build]").hidden`)
	p.Fill("textarea", "half written")
	if got := browser.Ask[struct{ Build string }](p, "about").Build; got != first.ID() {
		t.Errorf("before the tap build %s answers, want %s", got, first.ID())
	}
	p.TapThrough("[data-new-build]")
	if got := p.Text("#build"); got != second.ID() {
		t.Errorf("after the tap build %s answers, want %s", got, second.ID())
	}

	// It takes over by itself when a page is opened, if that is the only one.
	o.build.Store(third)
	browser.Eval[bool](p, update)
	p.Wait(`!document.querySelector("[data-new-build]").hidden`)
	other := p.Browser.Open(browser.Tablet)
	other.Go(s.URL + "/job/7/")
	if got := other.Text("#build"); got != second.ID() {
		t.Errorf("with two pages open build %s answers, want %s", got, second.ID())
	}
	other.Close()
	takenOver(t, p)
	s.Stop()
	p.Go(s.URL + "/job/7/")
	if got := p.Text("#build"); got != third.ID() {
		t.Errorf("build %s answers, want %s", got, third.ID())
	}
	if got, want := browser.Eval[[]string](p, builds), []string{second.ID(), third.ID()}; fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("kept are the builds %v, want %v", got, want)
	}

	// A server rolled back takes its tablets back with it.
	s.Again()
	o.build.Store(second)
	browser.Eval[bool](p, update)
	p.Wait(`!document.querySelector("[data-new-build]").hidden`)
	p.TapThrough("[data-new-build]")
	s.Stop()
	p.Go(s.URL + "/job/7/")
	if got := p.Text("#build"); got != second.ID() {
		t.Errorf("rolled back, build %s answers, want %s", got, second.ID())
	}
}

func TestABuildFetchedInPart(t *testing.T) {
	t.Parallel()
	first, second := build(t, "p {}", nil), build(t, "p { margin: 0 }", nil)
	o, s, p := start(t, first)
	aboard(t, p)
	p.Browser.Allow("Failed to fetch") // what the installation fails with
	portal := "<h1>Welcome to the network of the site office</h1>"
	o.instead.Store(&portal)
	o.build.Store(second)
	if browser.Eval[bool](p, update+`.then(() => navigator.serviceWorker.getRegistration()).then(async (r) => {
		while (r.installing) await new Promise((resolve) => setTimeout(resolve, 10));
		return Boolean(r.waiting);
	})`) {
		t.Error("a build of sign-in pages was installed")
	}
	p.Browser.StopWorkers(p)
	s.Stop()
	p.Go(s.URL + "/job/7/")
	if got := p.Text("#build"); got != first.ID() {
		t.Errorf("build %s answers, want %s", got, first.ID())
	}
	if got := browser.Eval[[]string](p, builds); len(got) != 1 || got[0] != first.ID() {
		t.Errorf("kept are the builds %v, want the first alone", got)
	}
}

func TestABrokenProgram(t *testing.T) {
	t.Parallel()
	whole := build(t, "p {}", nil)
	broken := build(t, "p {}", map[string]string{"tablet.wasm": "\x00asm but no more"})
	o, s, p := start(t, broken)
	p.WaitText("[data-aboard]", "office answers")
	p.TapThrough("button")
	shows(t, p, "The office's page /tablet/jobs")
	p.Go(s.URL + "/job/7/")
	shows(t, p, "The office's page /job/7/")

	// A build that is whole is taken over from it, and the other way round.
	o.build.Store(whole)
	browser.Eval[bool](p, update)
	p.Wait(`navigator.serviceWorker.getRegistration().then((r) => Boolean(r.waiting))`)
	takenOver(t, p)
	p.Go(s.URL + "/job/7/")
	shows(t, p, "The tablet's page 1")

	o.build.Store(broken)
	browser.Eval[bool](p, update)
	p.Wait(`!document.querySelector("[data-new-build]").hidden`)
	p.TapThrough("[data-new-build]")
	shows(t, p, "The office's page /job/7/")
	s.Stop()
	if status := p.Go(s.URL + "/job/7/"); status != http.StatusServiceUnavailable {
		t.Errorf("without program and signal: %d", status)
	}
	shows(t, p, "The log did not start")
	if got := p.Text("body"); !strings.Contains(got, "saved on this tablet is still on it") {
		t.Errorf("the page does not say what is safe: %q", got)
	}
}
