// Package browser drives Chromium for tests.
//
// A test starts a [Browser] with a profile of its own, opens pages in it, and
// reads and taps them as a person would. What a test needs and an everyday
// browser does not give is here too: service workers really stopped, the
// browser killed and started again on the same profile, and a [Server] that
// really goes away.
//
// Every function ends the test when it fails. A missing Chromium is a failure,
// never a skip.
package browser

import (
	"context"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/cdproto/serviceworker"
	"github.com/chromedp/chromedp"
)

// patience is how long one step may take. It is generous: a machine that also
// compiles is slow, and a step that works returns at once.
const patience = 30 * time.Second

// Size is a screen in CSS pixels.
type Size struct {
	Width, Height int64
	Touch         bool
}

// The screens that pages are made for.
var (
	Tablet        = Size{1180, 820, true}
	TabletUpright = Size{820, 1180, true}
	Phone         = Size{390, 844, true}
	Desk          = Size{1440, 900, false}
)

// Browser is a running Chromium with a profile of its own.
type Browser struct {
	t       testing.TB
	path    string
	profile string

	ctx    context.Context // of the first tab, which owns the process
	cancel context.CancelFunc
	cmd    *exec.Cmd

	mu       sync.Mutex
	running  map[string]bool // workers, by version
	stopped  map[string]bool // those seen to stop since StopWorkers began
	problems []string
	console  []string
	allowed  []string
}

// Start starts Chromium and ends it with the test. The test fails if by then a
// page or a worker threw an error that nothing caught, unless [Browser.Allow]
// named it.
func Start(t testing.TB) *Browser {
	t.Helper()
	path := find()
	if path == "" {
		t.Fatal("Chromium is missing: install the package chromium, or name the program in CHROMIUM.")
	}
	profile, err := os.MkdirTemp("", "duskline-profile-")
	if err != nil {
		t.Fatal(err)
	}
	b := &Browser{t: t, path: path, profile: profile}
	t.Cleanup(func() {
		b.Kill()
		// The browser's children may write for a moment after it has gone.
		for range 20 {
			if os.RemoveAll(profile) == nil {
				break
			}
			time.Sleep(50 * time.Millisecond)
		}
		b.report()
	})
	b.start()
	return b
}

// find returns the path of Chromium, or nothing.
func find() string {
	for _, name := range []string{os.Getenv("CHROMIUM"), "chromium", "chromium-browser"} {
		if path, err := exec.LookPath(name); name != "" && err == nil {
			return path
		}
	}
	return ""
}

func (b *Browser) start() {
	b.t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(b.path),
		chromedp.UserDataDir(b.profile),
		chromedp.NoSandbox,
		chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-component-update", true),
		chromedp.ModifyCmdFunc(func(cmd *exec.Cmd) {
			// Its own process group, so that Kill ends the whole browser.
			cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGKILL}
			b.cmd = cmd
		}),
	)
	allocator, cancelAllocator := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, cancelTab := chromedp.NewContext(allocator)
	b.ctx, b.cancel = ctx, func() { cancelTab(); cancelAllocator() }
	b.running, b.stopped = map[string]bool{}, map[string]bool{}
	if err := chromedp.Do(ctx); err != nil {
		b.t.Fatalf("starting %s: %v", b.path, err)
	}
}

// Kill ends the browser at once, as an empty battery does. Its pages are gone;
// its profile stays for [Browser.Again].
func (b *Browser) Kill() {
	if b.cmd == nil {
		return
	}
	syscall.Kill(-b.cmd.Process.Pid, syscall.SIGKILL)
	b.cancel()
	b.cmd = nil
}

// Again starts the browser again on the profile it had.
func (b *Browser) Again() {
	b.t.Helper()
	b.Kill()
	b.start()
}

// Profile is the folder of the browser's profile.
func (b *Browser) Profile() string { return b.profile }

// Allow names a part of an error's text that a test brings about itself.
func (b *Browser) Allow(part string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.allowed = append(b.allowed, part)
}

// Console returns what pages wrote to the console and workers wrote as errors,
// oldest first, each line with its kind before it.
func (b *Browser) Console() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.console)
}

// StopWorkers stops every service worker, as the browser does half a minute
// after its last work, and returns once each has stopped. The browser may have started
// one again by then: a new version that waited takes over from a stopped one.
func (b *Browser) StopWorkers(p *Page) {
	b.t.Helper()
	b.mu.Lock()
	running := slices.Collect(maps.Keys(b.running))
	clear(b.stopped)
	b.mu.Unlock()
	p.run("stopping the workers", func(ctx context.Context) error {
		if _, err := chromedp.Call(ctx, serviceworker.StopAllWorkers, cdp.Empty{}); err != nil {
			return err
		}
		return poll(ctx, func() bool {
			b.mu.Lock()
			defer b.mu.Unlock()
			return !slices.ContainsFunc(running, func(version string) bool { return !b.stopped[version] })
		})
	})
}

// hear takes in an event of a page. It runs on the goroutine that reads the
// browser's messages, so it only takes notes.
func (b *Browser) hear(event any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := event.(type) {
	case *serviceworker.EventWorkerVersionUpdated:
		for _, v := range e.Versions {
			b.running[v.VersionID] = true
			if v.RunningStatus == serviceworker.VersionRunningStatusStopped || v.Status == serviceworker.VersionStatusRedundant {
				delete(b.running, v.VersionID)
				b.stopped[v.VersionID] = true
			}
		}
	case *serviceworker.EventWorkerErrorReported:
		m := e.ErrorMessage
		// Whatever a worker says as an error comes here, caught or not.
		if strings.HasPrefix(m.ErrorMessage, "Uncaught") {
			b.problems = append(b.problems, fmt.Sprintf("in a worker: %s (%s:%d)", m.ErrorMessage, m.SourceURL, m.LineNumber))
		} else {
			b.console = append(b.console, "error: in a worker: "+m.ErrorMessage)
		}
	case *runtime.EventExceptionThrown:
		d := e.ExceptionDetails
		text := d.Text
		if d.Exception != nil {
			text += " " + d.Exception.Description
		}
		b.problems = append(b.problems, fmt.Sprintf("in a page: %s (%s:%d)", text, d.URL, d.LineNumber+1))
	case *runtime.EventConsoleAPICalled:
		var words []string
		for _, arg := range e.Args {
			if len(arg.Value) > 0 {
				words = append(words, strings.Trim(string(arg.Value), `"`))
			} else {
				words = append(words, arg.Description)
			}
		}
		b.console = append(b.console, string(e.Type)+": "+strings.Join(words, " "))
	}
}

// report fails the test for each error that nothing caught.
func (b *Browser) report() {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, problem := range b.problems {
		if !slices.ContainsFunc(b.allowed, func(part string) bool { return strings.Contains(problem, part) }) {
			b.t.Errorf("nothing caught this error %s", problem)
		}
	}
	if b.t.Failed() && len(b.console) > 0 {
		b.t.Logf("the browser's console:\n%s", strings.Join(b.console, "\n"))
	}
}
