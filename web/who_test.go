package web

import (
	"crypto/rand"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
)

// A page that writes is for those who may write its kinds; to whoever may read
// nothing, a job's pages do not so much as name it.
func TestWhoMayHaveAPage(t *testing.T) {
	s := newSite(t)
	s.fill("/job/hall/write/start", url.Values{"leaving": {"15:30"}})
	s.fill("/job/hall/write/panel", url.Values{"panel": {"3"}})
	var who Who
	s.site = New(Config{
		Log: s.log, Now: func() time.Time { return s.now }, Rand: rand.Reader,
		Who:  func(*http.Request, *daylog.Setup) Who { return who },
		Logf: func(format string, args ...any) { t.Errorf("site: "+format, args...) },
	})
	foreman := Who{Person: "ada", Name: "Ada Invented", Reads: true, Writes: []daylog.Writer{daylog.Crew}}
	office := Who{Person: "max", Name: "Max Invented", Reads: true, Writes: []daylog.Writer{daylog.Office}}
	for _, c := range []struct {
		who  Who
		path string
		want int
	}{
		{Who{}, "/job/hall/", 403}, {Who{}, "/job/none/", 403}, {Who{}, "/job/hall/write/panel", 403},
		{Who{Writes: []daylog.Writer{daylog.Crew}}, "/job/hall/write/panel", 403},
		{foreman, "/job/hall/", 200}, {foreman, "/job/hall/write/panel", 200}, {foreman, "/job/hall/write", 200},
		{office, "/job/hall/", 200}, {office, "/job/hall/entries", 200}, {office, "/job/hall/write/panel", 403}, {office, "/job/hall/sign", 403},
	} {
		who = c.who
		w := s.get(c.path)
		if w.Code != c.want {
			t.Errorf("%+v at %s: %d, want %d", c.who, c.path, w.Code, c.want)
		}
		if !c.who.Reads && strings.Contains(w.Body.String(), "Invented hall") {
			t.Errorf("%s names the job to somebody who may not see it", c.path)
		}
	}
	// What cannot be opened is not offered.
	for _, c := range []struct {
		who    Who
		offers bool
	}{{foreman, true}, {office, false}} {
		who = c.who
		for _, path := range []string{"/job/hall/", "/job/hall/entries"} {
			page := s.get(path).Body.String()
			if offers := strings.Contains(page, "/write") || strings.Contains(page, "/strike"); offers != c.offers {
				t.Errorf("%s offers forms to %s: %v, want %v", path, c.who.Name, offers, c.offers)
			}
		}
	}
	who = office
	before, _ := s.log.Heads(t.Context(), "hall")
	if w := s.post("/job/hall/write/note", url.Values{"form": {"aaaaaaaaaaaaaaaa"}, "day": {triedDay}, "text": {"by the office"}, "at": {"now"}}); w.Code != 403 {
		t.Errorf("the office wrote as a crew: %d", w.Code)
	}
	after, _ := s.log.Heads(t.Context(), "hall")
	for stream, head := range after {
		if before[stream] != head {
			t.Error("something was written that was refused")
		}
	}
}
