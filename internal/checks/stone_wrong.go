package checks

import (
	"strings"

	"duskline/internal/daylog"
)

var stoneWrong = &Check{
	ID:       "stone-wrong",
	Title:    "Stone that is not approved",
	Why:      "Other sizes blow off, and broken or unwashed stone harms the sheet and the drains.",
	Settle:   "Stop, and ask the office; or correct the name of the stone.",
	Source:   practice,
	Severity: Stop,
	When:     Live,
	Plain:    true,
	Run:      runStoneWrong,
}

func runStoneWrong(s *Situation, report func(Finding)) {
	var approved []string
	for _, a := range s.Day.Setup.Stones {
		approved = append(approved, a.Stone)
	}
	if len(approved) == 0 {
		return // the job names none
	}
	said := map[string]bool{}
	for l, b := range daylog.Each[*daylog.StoneSpread](s.Day) {
		name := strings.TrimSpace(b.Stone)
		known := name == "" || said[name]
		for _, a := range s.Day.Setup.Stones {
			known = known || strings.EqualFold(a.Stone, name) || a.Size != "" && strings.EqualFold(a.Size, name)
		}
		if known {
			continue
		}
		said[name] = true
		f := Finding{
			Key:    "stone-wrong " + name,
			Says:   "Stone " + name + " was spread; the job takes " + daylog.List(approved),
			Seen:   name,
			Limit:  daylog.List(approved),
			Since:  l.At,
			Entry:  []string{l.Root},
			Answer: correct(l, "Which stone?"),
		}
		for _, pp := range b.Panels {
			f.places = append(f.places, where{name: pp.Panel, part: pp.Part})
		}
		report(f)
	}
}
