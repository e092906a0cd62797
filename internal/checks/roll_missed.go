package checks

import (
	"strings"

	"duskline/internal/daylog"
)

var rollMissed = &Check{
	ID:       "roll-missed",
	Title:    "Run closed without all its rolling",
	Why:      "Tape bonds by pressure: what was not rolled keeps air and lets water through.",
	Settle:   "Roll it now, first across the seam and then along all of it, and correct the line.",
	Source:   Source{Where: "UFGS-07530", Status: Published},
	Severity: Today,
	When:     ToolsDown,
	Plain:    true,
	Run:      runRollMissed,
}

func runRollMissed(s *Situation, report func(Finding)) {
	s.eachPart(func(st *daylog.Stretch) string {
		if len(st.Unrolled) > 0 {
			return st.Closer
		}
		return ""
	}, func(m *seam, st *daylog.Stretch, p daylog.Part) {
		run := "run " + m.Name + ", " + feet(p)
		var not []string
		for _, step := range st.Unrolled {
			if step == "broom" {
				not = append(not, "not broomed")
			} else {
				not = append(not, "not rolled "+step)
			}
		}
		report(Finding{
			Key:    "roll-missed " + m.Name + " " + span(p),
			Place:  run,
			Says:   upper(run) + ": closed, " + daylog.List(not),
			Seen:   strings.Join(not, ", "),
			Limit:  "broom, across and along",
			Since:  st.Closed.At,
			Entry:  []string{st.Closer},
			Answer: correct(s.line(st.Closer), "Rolled now"),
			places: []where{{name: m.Name, part: p}},
		})
	})
}
