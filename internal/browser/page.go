package browser

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/serviceworker"
	"github.com/chromedp/cdproto/target"
	"github.com/chromedp/chromedp"
)

// Page is a tab.
type Page struct {
	Browser *Browser
	t       testing.TB
	ctx     context.Context
	size    Size // as it is now
}

// Open opens a tab of the given size, empty as yet.
func (b *Browser) Open(size Size) *Page {
	b.t.Helper()
	ctx, cancel := chromedp.NewContext(b.ctx)
	b.t.Cleanup(cancel)
	p := &Page{Browser: b, t: b.t, ctx: ctx}
	if err := chromedp.Do(ctx); err != nil {
		b.t.Fatalf("opening a tab: %v", err)
	}
	p.run("preparing a tab", func(ctx context.Context) error {
		// The listener lives as long as the tab, the commands as long as the step.
		if err := chromedp.Listen(p.ctx, b.hear); err != nil {
			return err
		}
		// DevTools attached to a worker keeps it alive, and the version before
		// it in office. Detached, workers come and go as they do for a user.
		flat := true
		if _, err := chromedp.Call(ctx, target.SetAutoAttach, target.SetAutoAttachParams{Flatten: &flat}); err != nil {
			return err
		}
		_, err := chromedp.Call(ctx, serviceworker.Enable, cdp.Empty{})
		return err
	})
	p.Resize(size)
	return p
}

// Close closes the tab.
func (p *Page) Close() {
	p.t.Helper()
	if err := chromedp.Cancel(p.ctx); err != nil && !errors.Is(err, context.Canceled) {
		p.t.Fatalf("closing a tab: %v", err)
	}
}

func (p *Page) run(what string, step func(context.Context) error) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	if err := step(ctx); err != nil {
		p.t.Fatalf("%s: %v%s", what, err, p.shown())
	}
}

// shown says what the tab shows, for the message of a failed step.
func (p *Page) shown() string {
	ctx, cancel := context.WithTimeout(p.ctx, time.Second)
	defer cancel()
	text, err := chromedp.Run(ctx, chromedp.Evaluate[string](`location.href + "\n" + (document.body ? document.body.innerText : "")`))
	if err != nil {
		return ""
	}
	if len(text) > 3000 {
		text = text[:3000] + " ..."
	}
	return "\nThe tab shows " + text
}

// Resize gives the tab another size.
func (p *Page) Resize(size Size) {
	p.t.Helper()
	p.size = size
	var options []chromedp.EmulateViewportOption
	if size.Touch {
		options = append(options, chromedp.EmulateTouch)
	}
	p.run("resizing", func(ctx context.Context) error {
		return chromedp.Do(ctx, chromedp.EmulateViewport(size.Width, size.Height, options...))
	})
}

// Go goes to an address, waits until it has loaded, and returns the answer's
// status. An answer from a service worker counts as any other. No answer at
// all ends the test.
func (p *Page) Go(url string) int {
	p.t.Helper()
	var status int
	p.run("going to "+url, func(ctx context.Context) error {
		answer, err := chromedp.Run(ctx, chromedp.NavigateResponse(url))
		if err == nil {
			status = int(answer.Status)
		}
		return err
	})
	return status
}

// Reload loads the page again, past the browser's cache and past the service
// worker if hard.
func (p *Page) Reload(hard bool) {
	p.t.Helper()
	p.through("reloading", func(ctx context.Context) error {
		_, err := chromedp.Call(ctx, page.Reload, page.ReloadParams{IgnoreCache: &hard})
		return err
	})
}

// Back goes to the page before.
func (p *Page) Back() {
	p.t.Helper()
	p.through("going back", func(ctx context.Context) error {
		_, err := chromedp.Run(ctx, chromedp.Evaluate[chromedp.Void](`history.back()`))
		return err
	})
}

// Tap taps the middle of the first element that a CSS selector finds, once it
// is to be seen there and nothing lies over it.
func (p *Page) Tap(css string) {
	p.t.Helper()
	p.run("tapping "+css, p.tap(css))
}

// TapThrough taps an element that leads to another page and waits until that
// page has loaded.
func (p *Page) TapThrough(css string) {
	p.t.Helper()
	p.through("tapping "+css, p.tap(css))
}

func (p *Page) tap(css string) func(context.Context) error {
	// Elements are found by script, not through chromedp's own tree of nodes,
	// which is lost when a page comes back out of the back-forward cache.
	middle := fmt.Sprintf(`(() => {
		const e = document.querySelector(%s);
		if (!e) return [];
		e.scrollIntoView({block: "center", inline: "center", behavior: "instant"});
		const r = e.getBoundingClientRect(), x = r.x + r.width / 2, y = r.y + r.height / 2;
		const top = document.elementFromPoint(x, y);
		return top && (e.contains(top) || top.contains(e) && top.tagName === "LABEL") ? [x, y] : [];
	})()`, quote(css))
	return func(ctx context.Context) error {
		var at []float64
		err := poll(ctx, func() bool {
			var err error
			at, err = chromedp.Run(ctx, chromedp.Evaluate[[]float64](middle))
			return err == nil && len(at) == 2
		})
		if err != nil {
			return fmt.Errorf("nothing to tap there: %w", err)
		}
		return chromedp.Do(ctx, chromedp.MouseClickXY(at[0], at[1]))
	}
}

// through does what leads to another page and waits until that has loaded. A
// document is known by when it began, so the old one is never taken for the new.
func (p *Page) through(what string, step func(context.Context) error) {
	p.t.Helper()
	p.run(what, func(ctx context.Context) error {
		old, err := chromedp.Run(ctx, chromedp.Evaluate[float64](`performance.timeOrigin`))
		if err != nil {
			return err
		}
		if err := step(ctx); err != nil {
			return err
		}
		return poll(ctx, func() bool {
			began, err := chromedp.Run(ctx, chromedp.Evaluate[float64](`document.readyState === "complete" ? performance.timeOrigin : 0`))
			return err == nil && began != 0 && began != old // between two pages there is nothing to ask
		})
	})
}

// poll asks until it hears yes or the time is over.
func poll(ctx context.Context, ask func() bool) error {
	for !ask() {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(10 * time.Millisecond):
		}
	}
	return nil
}

// pressing presses keys one after another.
func pressing(keys string) func(context.Context) error {
	return func(ctx context.Context) error { return chromedp.Do(ctx, chromedp.KeyEvent(keys)) }
}

// Fill replaces the text of an input or a text area by typing.
func (p *Page) Fill(css, text string) {
	p.t.Helper()
	p.Tap(css)
	Eval[bool](p, fmt.Sprintf(`(document.querySelector(%s).select(), true)`, quote(css)))
	if text == "" {
		text = "\b"
	}
	p.run("filling in "+css, pressing(text))
}

// Set gives a form's element a value without typing, and tells the page: for
// dates, times and choices, which take keys in their own way.
func (p *Page) Set(css, value string) {
	p.t.Helper()
	Eval[bool](p, fmt.Sprintf(`(() => {
		const e = document.querySelector(%s);
		e.value = %s;
		e.dispatchEvent(new Event("input", {bubbles: true}));
		e.dispatchEvent(new Event("change", {bubbles: true}));
		return true;
	})()`, quote(css), quote(value)))
}

// Text returns the text of the first element that a CSS selector finds, as it
// is shown, once there is one.
func (p *Page) Text(css string) string {
	p.t.Helper()
	p.Wait(fmt.Sprintf(`document.querySelector(%s)`, quote(css)))
	return p.Texts(css)[0]
}

// Texts returns the text of every element that a CSS selector finds, as it is
// shown, in the page's order.
func (p *Page) Texts(css string) []string {
	p.t.Helper()
	return Eval[[]string](p, fmt.Sprintf(`[...document.querySelectorAll(%s)].map(e => e.innerText)`, quote(css)))
}

// Count returns how many elements a CSS selector finds.
func (p *Page) Count(css string) int {
	p.t.Helper()
	return Eval[int](p, fmt.Sprintf(`document.querySelectorAll(%s).length`, quote(css)))
}

// HTML returns the page's document as it is now.
func (p *Page) HTML() string {
	p.t.Helper()
	return Eval[string](p, `document.documentElement.outerHTML`)
}

// URL returns the page's address.
func (p *Page) URL() string {
	p.t.Helper()
	return Eval[string](p, `location.href`)
}

// WaitText waits until an element shows a text that contains the given part.
func (p *Page) WaitText(css, part string) {
	p.t.Helper()
	p.Wait(fmt.Sprintf(`[...document.querySelectorAll(%s)].some(e => e.innerText.includes(%s))`, quote(css), quote(part)))
}

// Wait waits until a JavaScript expression, awaited if it is a promise, is
// true. It outlives a change of page.
func (p *Page) Wait(expression string) {
	p.t.Helper()
	p.run("waiting for "+expression, func(ctx context.Context) error {
		return poll(ctx, func() bool {
			yes, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("(async () => Boolean(await ("+expression+")))()", chromedp.EvalAwaitPromise))
			return err == nil && yes
		})
	})
}

// WaitControlled waits until a service worker answers for the page.
func (p *Page) WaitControlled() {
	p.t.Helper()
	p.Wait(`navigator.serviceWorker.controller && navigator.serviceWorker.controller.state === "activated"`)
}

// Eval returns the value of a JavaScript expression, awaited if it is a promise.
func Eval[T any](p *Page, expression string) T {
	p.t.Helper()
	var value T
	p.run("evaluating "+expression, func(ctx context.Context) (err error) {
		value, err = chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
		return err
	})
	return value
}

// Ask sends the page's service worker a message and returns what it answers.
func Ask[T any](p *Page, message string) T {
	p.t.Helper()
	return Eval[T](p, fmt.Sprintf(`new Promise((resolve) => {
		const ends = new MessageChannel();
		ends.port1.onmessage = (e) => resolve(e.data);
		navigator.serviceWorker.controller.postMessage(%s, [ends.port2]);
	})`, quote(message)))
}

// ProgramMemory returns the bytes of memory that the program in the page's
// service worker holds (the length of its WebAssembly memory), 0 while it does
// not run.
func (p *Page) ProgramMemory() int {
	p.t.Helper()
	return Ask[struct{ Memory int }](p, "about").Memory
}

// Offline makes the page believe that there is no network, or that there is
// again, and cuts its own requests and its workers'. Nothing proves that a
// page works without a server but [Server.Stop].
func (p *Page) Offline(off bool) {
	p.t.Helper()
	p.run("changing the network", func(ctx context.Context) error {
		_, err := chromedp.Call(ctx, network.OverrideNetworkState, network.OverrideNetworkStateParams{
			Offline: off, DownloadThroughput: -1, UploadThroughput: -1,
		})
		if err != nil {
			return err
		}
		_, err = chromedp.Call(ctx, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{
			EmulateOfflineServiceWorker: &off,
			MatchedNetworkConditions:    []*network.Conditions{{Offline: off, DownloadThroughput: -1, UploadThroughput: -1}},
		})
		return err
	})
}

// Shot keeps a picture of the whole page as a PNG in the folder that PICTURES
// names, and returns its path. Without PICTURES it goes to the test's own
// folder.
func (p *Page) Shot(name string) string {
	p.t.Helper()
	var png []byte
	p.run("taking a picture", func(ctx context.Context) (err error) {
		png, err = chromedp.Run(ctx, chromedp.FullScreenshot(100))
		return err
	})
	return p.keep(name, png)
}

// keep writes a picture into the folder that PICTURES names, or the test's own.
func (p *Page) keep(name string, png []byte) string {
	p.t.Helper()
	folder := os.Getenv("PICTURES")
	if folder == "" {
		folder = p.t.TempDir()
	}
	path := filepath.Join(folder, strings.ReplaceAll(name, " ", "-")+".png")
	if err := os.MkdirAll(folder, 0o755); err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(path, png, 0o644); err != nil {
		p.t.Fatal(err)
	}
	return path
}

// ShotOf is Shot of what a CSS selector finds first, with a little of what is
// around it; of the screen as it stands, without one.
func (p *Page) ShotOf(css, name string) string {
	p.t.Helper()
	Eval[bool](p, `document.fonts.ready.then(() => true)`)
	var params page.CaptureScreenshotParams
	if css != "" {
		box := Eval[[]float64](p, fmt.Sprintf(`(() => { const b = document.querySelector(%s).getBoundingClientRect(); return [b.x + scrollX, b.y + scrollY, b.width, b.height]; })()`, quote(css)))
		const around = 6
		beyond := true
		params.CaptureBeyondViewport = &beyond
		params.Clip = &page.Viewport{X: max(0, box[0]-around), Y: max(0, box[1]-around), Width: box[2] + 2*around, Height: box[3] + 2*around, Scale: 1}
	}
	var png []byte
	p.run("taking a picture of "+css, func(ctx context.Context) error {
		out, err := chromedp.Call(ctx, page.CaptureScreenshot, params)
		png = out.Data
		return err
	})
	return p.keep(name, png)
}

// quote writes a text as a JavaScript string.
func quote(text string) string {
	b, err := json.Marshal(text)
	if err != nil {
		panic(err) // a string always marshals
	}
	return string(b)
}

// Stands says at which address the tab stands, as the browser's own history has
// it: also where it shows a page of its own for one that did not come.
func (p *Page) Stands() (url string) {
	p.t.Helper()
	p.run("reading the history", func(ctx context.Context) error {
		history, err := chromedp.Call(ctx, page.GetNavigationHistory, cdp.Empty{})
		if err == nil {
			url = history.Entries[history.CurrentIndex].URL
		}
		return err
	})
	return url
}
