package browser_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"duskline/internal/browser"
)

func served(t *testing.T, html string) *browser.Page {
	t.Helper()
	s := browser.Serve(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprint(w, `<!doctype html><html lang="en"><meta name="viewport" content="width=device-width"><title>Page</title>`+html)
	}))
	p := browser.Start(t).Open(browser.Desk)
	p.Go(s.URL)
	return p
}

// Each fault of the first page is found, and the second has none.
func TestFaultsAreFound(t *testing.T) {
	p := served(t, `<style>.bare:focus { outline: none } .over { position: fixed; inset: 0 0 auto 0; height: 300px; background: white }</style>
		<main><h1>Page</h1>
		<input class="unnamed">
		<a class="bare" href="#">no ring</a>
		<p style="color: #bbb; background: #fff">pale</p>
		<div tabindex="0" onkeydown="event.key === 'Tab' && event.preventDefault()">a trap</div>
		<button class="after">behind the trap</button>
		<p style="width: 500px" class="wide">wide</p>
		<div style="overflow: auto; width: 200px"><p style="width: 400px">scrolls</p></div>
		</main>`)
	all := strings.Join(append(append(p.Axe(), p.Keyboard()...), p.Reflow()...), "\n")
	for _, want := range []string{
		"label:", "color-contrast:", "no ring</a> does not show that it has the focus",
		"behind the trap</button> is not reached with the tab key", "the page is ", "wide reaches to ", "scrolls scrolls by itself",
	} {
		if !strings.Contains(all, want) {
			t.Errorf("not found: %q in\n%s", want, all)
		}
	}
	p = served(t, `<main><h1>Page</h1><form><label>Name <input name="a"></label>
		<fieldset><legend>Which</legend><label><input type="radio" name="r" value="1">one</label><label><input type="radio" name="r" value="2" checked>two</label></fieldset>
		<details><summary>More</summary><button>hidden</button></details><button>Save</button></form>
		<div style="overflow: auto" tabindex="0" role="region" aria-label="Table"><table style="width: 600px"><tr><th scope="col">a<th scope="col">b<tr><td>1<td>2</table></div></main>
		<style>:focus-visible { outline: 3px solid #00f } input, button { min-height: 30px }</style>`)
	p.Fits("a page without fault")
	if width := browser.Eval[int](p, `innerWidth`); int64(width) != browser.Desk.Width {
		t.Errorf("the tab was left %d wide", width)
	}
}
