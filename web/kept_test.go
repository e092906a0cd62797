package web

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"html"
)

// Browsers send every line end of a form as CR LF, in hidden fields too. What
// was asked once and is kept as written is saved all the same. Source: HTML
// Living Standard, "constructing the entry list" and form encoding: published,
// from memory.
func TestKeptAsWrittenTheWayBrowsersSendIt(t *testing.T) {
	s := newSite(t)
	form := s.formOn("/job/hall/write/weather")
	form.Set("air", "hot as it gets")
	asked := s.post("/job/hall/write/weather", form)
	if asked.Code != http.StatusUnprocessableEntity {
		t.Fatalf("a reading that is no number: %d", asked.Code)
	}
	again := url.Values{}
	for name, values := range form {
		again[name] = values
	}
	for _, m := range regexp.MustCompile(`<input type="hidden" name="(asked|kept)" value="([^"]*)"`).FindAllStringSubmatch(asked.Body.String(), -1) {
		again.Add(m[1], strings.ReplaceAll(html.UnescapeString(m[2]), "\n", "\r\n"))
	}
	again.Set("keep", "yes")
	if w := s.post("/job/hall/write/weather", again); w.Code != http.StatusSeeOther {
		t.Errorf("kept as written: %d, want it saved\n%v", w.Code, again)
	}
	if page := s.get("/job/hall/entries").Body.String(); !strings.Contains(page, "hot as it gets") {
		t.Error("Entries does not show what was kept as written")
	}
}
