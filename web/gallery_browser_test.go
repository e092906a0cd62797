//go:build !js

package web

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"duskline/internal/browser"

	"github.com/a-h/templ"
)

// gallery serves the pages of the gallery and the files of static/.
func gallery(pages map[string]templ.Component) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /static/", http.StripPrefix("/static/", http.FileServer(http.Dir("../static"))))
	mux.HandleFunc("GET /favicon.ico", func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(http.StatusNoContent) })
	for name, c := range pages {
		mux.Handle("GET /"+name+".html", templ.Handler(c))
	}
	return mux
}

// faultsSeen looks at a page as it is drawn: nothing is wider than the screen, what
// can be tapped is at least 56 pixels high and wide, and no two texts of the day
// line lie over each other.
const faultsSeen = `(async () => {
	await document.fonts.ready;
	const bad = [];
	if (document.documentElement.scrollWidth > innerWidth) bad.push("the page is wider than the screen");
	for (const e of document.querySelectorAll("a, button, summary, .tile, input:not([type=hidden]), textarea")) {
		if (e.closest("details:not([open])") && !e.matches("summary")) continue;
		if (e.closest(".tile") && !e.matches(".tile") || e.matches(".skip, .unseen") || e.getClientRects().length === 0) continue;
		const box = (e.closest(".clocks") ? e.closest("li") : e).getBoundingClientRect();
		if (box.height < 55.9 || box.width < 44) bad.push(e.textContent.trim() + " is " + box.width.toFixed() + " by " + box.height.toFixed());
	}
	const texts = [...document.querySelectorAll(".day text")]
		.filter((e) => e.getAttribute("visibility") !== "hidden" && e.getClientRects().length)
		.map((e) => [e.textContent, e.getBoundingClientRect()]);
	texts.forEach(([a, x], i) => texts.slice(i + 1).forEach(([b, y]) => {
		// Boxes hold room for accents and tails, which may touch.
		if (x.left < y.right && y.left < x.right && x.top + 6 < y.bottom && y.top + 6 < x.bottom) bad.push(a + " lies over " + b);
	}));
	return bad.join("; ");
})()`

func TestGalleryAsDrawn(t *testing.T) {
	pages := galleryPages()
	s := browser.Serve(t, gallery(pages))
	p := browser.Start(t).Open(browser.Tablet)
	for _, size := range []browser.Size{
		browser.Tablet, browser.TabletUpright, browser.Phone,
		{Width: 295, Height: 205, Touch: true}, // the tablet at 400 %
	} {
		p.Resize(size)
		for name := range pages {
			p.Go(s.URL + "/" + name + ".html")
			if bad := browser.Eval[string](p, faultsSeen); bad != "" {
				t.Errorf("%s at %d by %d: %s", name, size.Width, size.Height, bad)
			}
		}
	}
}

// What has the focus is never under the row at the thumb.
func TestFocusIsSeen(t *testing.T) {
	s := browser.Serve(t, gallery(galleryPages()))
	p := browser.Start(t).Open(browser.Phone)
	for _, name := range []string{"now", "form"} {
		for _, size := range []browser.Size{browser.TabletUpright, browser.Phone, {Width: 295, Height: 205}} {
			p.Resize(size)
			p.Go(s.URL + "/" + name + ".html")
			hidden := browser.Eval[string](p, `(async () => {
				await document.fonts.ready;
				const bad = [];
				for (const e of document.querySelectorAll("main a, main button:not(.unseen), main input:not([type=hidden]), main textarea, main summary")) {
					if (e.closest("details:not([open])") && !e.matches("summary")) continue;
					e.focus();
					const box = e.getBoundingClientRect();
					const top = document.elementFromPoint(box.left + box.width / 2, Math.min(box.top + box.height / 2, innerHeight - 1));
					if (!top || !(e.contains(top) || top.contains(e) || e.labels && [...e.labels].some((l) => l.contains(top)))) {
						bad.push(e.id || e.textContent.trim());
					}
				}
				return bad.join("; ");
			})()`)
			if hidden != "" {
				t.Errorf("%s at %d by %d: covered while it has the focus: %s", name, size.Width, size.Height, hidden)
			}
		}
	}
}

// The clocks go on without the page being loaded again, catch up after a sleep,
// say once that a wait is over, and move nothing.
func TestClocksGoOn(t *testing.T) {
	f := sampleFrame("Now")
	f.Clocks = true
	f.SkewMillis = instant(10, 52) - time.Now().UnixMilli()
	s := browser.Serve(t, gallery(map[string]templ.Component{
		"now": page(f, UnseenHeading("Now"), DayLineFigure(sampleDay()), Clocks(sampleClocks())),
	}))
	p := browser.Start(t).Open(browser.Tablet)
	p.Go(s.URL + "/now.html")
	faces := func() string { return strings.Join(p.Texts(".clocks .face"), " ") }
	places := func() string {
		return browser.Eval[string](p, `JSON.stringify([...document.querySelectorAll(".clocks li, .clocks .face, .clocks .side, .day-wide > svg")].map((e) => e.getBoundingClientRect()))`)
	}
	p.Wait(`document.fonts.status === "loaded"`)
	if got, want := strings.Join(strings.Fields(faces()), " "), "2:13 to go 0:07 since 0:11 to go"; got != want {
		t.Fatalf("the clocks show %q, want %q", got, want)
	}
	before := places()

	// The tablet sleeps for 71 minutes.
	browser.Eval[bool](p, `(() => { const real = Date.now; Date.now = () => real() + 71 * 60000; document.dispatchEvent(new Event("visibilitychange")); return true })()`)
	if got, want := strings.Join(strings.Fields(faces()), " "), "1:02 to go 1:18 since 1:00 rested since"; got != want {
		t.Errorf("after the sleep the clocks show %q, want %q", got, want)
	}
	if got := browser.Eval[string](p, `document.querySelector("[data-say]").textContent`); got != "Panel 8 has rested" {
		t.Errorf("said %q at the end of the rest", got)
	}
	if after := places(); after != before {
		t.Errorf("the page moved:\n%s\n%s", before, after)
	}
	if got := browser.Eval[string](p, `document.querySelector(".day-wide .now text").textContent + " " + document.querySelector(".day-wide .now").getAttribute("x") + " " + document.querySelectorAll(".day-wide .past").length`); got != "12:03 53.16% 2" {
		t.Errorf("the day line shows %q, want 12:03, 303 of 570 minutes gone, two calls past", got)
	}
	if bad := browser.Eval[string](p, faultsSeen); bad != "" {
		t.Error(bad)
	}
}
