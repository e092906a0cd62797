//go:build !js

package web

import (
	"net/url"
	"testing"

	"duskline/internal/browser"
)

// Leaving, what it asks and Now with its questions are for people who do not
// see, do not point, or read at 400 %.
func TestLeavingFitsEverybody(t *testing.T) {
	s := windy(t)
	s.at("14:55")
	s.fill("/job/hall/write/note", url.Values{"text": {"gate locked"}})
	note := s.last().ID
	open := s.served()
	ready := midMorning(t)
	ready.at("15:12")
	ready.letStand("rolled late; weighted, first thing tomorrow")
	closed := ready.served()
	p := browser.Start(t).Open(browser.Tablet)
	for name, at := range map[string]string{
		"now with questions": open.URL + "/job/hall/?saved=" + note,
		"leaving":            open.URL + "/job/hall/leaving",
		"leaving to sign":    closed.URL + "/job/hall/leaving",
	} {
		p.Go(at)
		p.Fits(name)
		for _, size := range []browser.Size{browser.TabletUpright, browser.Phone} {
			p.Resize(size)
			if bad := browser.Eval[string](p, faultsSeen); bad != "" {
				t.Errorf("%s at %d by %d: %s", name, size.Width, size.Height, bad)
			}
		}
		p.Resize(browser.Tablet)
	}
}
