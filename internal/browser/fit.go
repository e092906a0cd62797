package browser

import (
	"os"
	"path/filepath"
	"strings"
)

// Zoomed is a desk's screen of 1280 by 1024 at 400 %: WCAG 2.2, 1.4.10 asks
// that pages reflow to 320 px.
var Zoomed = Size{Width: 320, Height: 256}

// Axe gives what axe-core finds against WCAG 2.2 A and AA and its own best
// practices, each in words: the rule, what it asks, and up to three elements.
// axe-core is the npm package that make tools installs.
func (p *Page) Axe() []string {
	p.t.Helper()
	code, err := os.ReadFile(p.module("axe-core/axe.min.js"))
	if err != nil {
		p.t.Fatalf("axe-core is missing, run make tools first: %v", err)
	}
	Eval[bool](p, `window.axe ? true : (() => { `+string(code)+`; return true })()`)
	return Eval[[]string](p, `(async () => {
		await document.fonts.ready;
		const found = await axe.run(document, {
			resultTypes: ["violations"],
			runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
		});
		return found.violations.map((v) => v.id + ": " + v.help + ": " +
			v.nodes.slice(0, 3).map((n) => n.target.join(" ") + " (" + n.failureSummary.split("\n").slice(1).map((s) => s.trim()).join("; ") + ")").join(", ") +
			(v.nodes.length > 3 ? " and " + (v.nodes.length - 3) + " more" : ""));
	})()`)
}

// module is the path of a file of an npm package, wherever in the module's tree
// the test runs.
func (p *Page) module(file string) string {
	p.t.Helper()
	folder, err := os.Getwd()
	if err != nil {
		p.t.Fatal(err)
	}
	for !exists(filepath.Join(folder, "go.mod")) {
		up := filepath.Dir(folder)
		if up == folder {
			p.t.Fatal("the test does not run inside the module")
		}
		folder = up
	}
	return filepath.Join(folder, ".cache/node/node_modules", file)
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// Keys presses keys one after another, as chromedp's kb package names those
// that are no characters. Nothing waits for what they bring about.
func (p *Page) Keys(keys string) {
	p.t.Helper()
	p.run("pressing keys", pressing(keys))
}

// KeysThrough presses keys that lead to another page and waits until that page
// has loaded.
func (p *Page) KeysThrough(keys string) {
	p.t.Helper()
	p.through("pressing keys", pressing(keys))
}

// mostStops is more than any page has places to tab to.
const mostStops = 2000

// Keyboard goes through the page with the tab key alone and gives, in words,
// what cannot be reached, what does not show that it has the focus, and where
// the key does not get on. Of a group of radio buttons one must be reached: the
// arrow keys go on from there.
func (p *Page) Keyboard() []string {
	p.t.Helper()
	stops := Eval[int](p, `(() => {
		// The first tab goes on from the top, wherever the page put the focus.
		document.body.tabIndex = -1;
		document.body.focus();
		document.body.removeAttribute("tabindex");
		window.scrollTo(0, 0);
		const shown = (e) => e.getClientRects().length > 0 && getComputedStyle(e).visibility === "visible";
		const want = [...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex]")]
			.filter((e) => !e.disabled && e.tabIndex >= 0 && shown(e) && !(e.closest("details:not([open])") && !e.matches("summary")));
		window.tabbing = { want, seen: new Set(), bad: [] };
		return want.length;
	})()`)
	for range 4*min(stops, mostStops) + 2 { // a date has three places to stop at
		p.Keys("\t")
		if Eval[bool](p, `(() => {
			const e = document.activeElement, t = window.tabbing;
			if (e && e === t.last) return false;
			if (!e || e === document.body || t.seen.has(e)) return true;
			t.last = e;
			t.seen.add(e);
			// A tile shows the focus of what stands in it.
			const rings = [e, e.closest("label")].filter(Boolean).map((x) => getComputedStyle(x));
			if (!rings.some((s) => s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2)) t.bad.push([e, "does not show that it has the focus"]);
			const box = e.getBoundingClientRect(), x = box.left + box.width / 2, y = box.top + Math.min(box.height, innerHeight) / 2;
			const top = document.elementFromPoint(Math.min(Math.max(x, 0), innerWidth - 1), Math.min(Math.max(y, 0), innerHeight - 1));
			if (!top || !(e.contains(top) || top.contains(e) || e.labels && [...e.labels].some((l) => l.contains(top)))) t.bad.push([e, "is hidden while it has the focus"]);
			return false;
		})()`) {
			break
		}
	}
	return Eval[[]string](p, `(() => {
		const t = window.tabbing;
		const name = (e) => e.outerHTML.slice(0, 120).replace(/\s+/g, " ");
		const group = (e) => e.type === "radio" && [...t.seen].some((s) => s.type === "radio" && s.name === e.name && s.form === e.form);
		const bad = t.bad.map(([e, say]) => name(e) + " " + say);
		for (const e of t.want) if (!t.seen.has(e) && !group(e)) bad.push(name(e) + " is not reached with the tab key");
		return bad;
	})()`)
}

// Reflow shows the page at 400 % and gives, in words, what then has to be
// scrolled both ways or is cut off. A table or a drawing may be wider in a box
// that scrolls by itself, is named, and takes the focus. The tab stays at that
// size.
func (p *Page) Reflow() []string {
	p.t.Helper()
	p.Resize(Zoomed)
	return Eval[[]string](p, `(async () => {
		await document.fonts.ready;
		const bad = [], wide = document.documentElement.clientWidth;
		const name = (e) => "<" + e.tagName.toLowerCase() + (e.className && e.className.baseVal === undefined ? " class=" + e.className : "") + "> " + (e.textContent.trim().slice(0, 40) || e.name || "");
		const free = (e) => e.closest("[tabindex][role=region][aria-label]");
		if (document.documentElement.scrollWidth > wide) bad.push("the page is " + document.documentElement.scrollWidth + " px wide");
		for (const e of document.body.querySelectorAll("*")) {
			const box = e.getBoundingClientRect(), style = getComputedStyle(e);
			if (!e.getClientRects().length || box.width <= 1 || style.visibility !== "visible" || e.closest(".unseen, .skip") || free(e)) continue;
			// A picture's parts are inside of it, or are words that may stick out of it.
			if (e.ownerSVGElement && !e.matches("text")) continue;
			if (box.width > 0 && (box.right > wide + 1 || box.left < -1)) bad.push(name(e) + " reaches to " + box.right.toFixed() + " of " + wide + " px");
			if (e.scrollWidth > e.clientWidth + 1 && style.overflowX !== "visible" && !e.matches("input, textarea")) bad.push(name(e) + " scrolls by itself or is cut off");
		}
		return bad;
	})()`)
}

// Fits holds the page against all three: axe-core, the keyboard, and 400 %. It
// reports each fault as an error of the test and gives the tab its size back.
func (p *Page) Fits(name string) {
	p.t.Helper()
	size := p.size
	for _, c := range []struct {
		what string
		look func() []string
	}{{"axe-core finds", p.Axe}, {"with the keyboard alone", p.Keyboard}, {"at 400 %", p.Reflow}} {
		if faults := c.look(); len(faults) > 0 {
			p.t.Errorf("%s, %s:\n  %s", name, c.what, strings.Join(faults, "\n  "))
		}
	}
	p.Resize(size)
}
