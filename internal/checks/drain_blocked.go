package checks

import "slices"

var drainBlocked = &Check{
	ID:       "drain-blocked",
	Title:    "Drain blocked",
	Why:      "Water that cannot leave stands against every open edge.",
	Settle:   "Clear it and look at the drains again.",
	Source:   practice,
	Severity: Today,
	When:     ToolsDown,
	Plain:    true,
	Run:      runDrainBlocked,
}

func runDrainBlocked(s *Situation, report func(Finding)) {
	for i, look := range s.Day.Drains {
		for _, name := range look.Blocked {
			if s.clearedAfter(i, name) {
				continue
			}
			report(Finding{
				Key:    "drain-blocked " + name,
				Place:  name,
				Says:   "Drain " + name + " was found blocked and not seen clear since",
				Seen:   "blocked " + s.when(look.When),
				Limit:  "all clear",
				Since:  s.toolsDown(),
				Entry:  []string{look.Entry},
				Answer: Answer{Label: "Drains clear", Kind: "drains", Fields: map[string]any{}},
			})
		}
	}
}

// clearedAfter reports whether a later look says more of a drain: that it is
// clear, or blocked still, and then that look is the one to speak of.
func (s *Situation) clearedAfter(look int, name string) bool {
	for _, d := range s.Day.Drains[look+1:] {
		if len(d.Clear) == 0 || slices.Contains(d.Clear, name) || slices.Contains(d.Blocked, name) {
			return true
		}
	}
	return false
}
