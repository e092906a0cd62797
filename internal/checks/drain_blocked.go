package checks

import (
	"slices"

	"duskline/internal/daylog"
)

var drainBlocked = &Check{
	ID:       "drain-blocked",
	Title:    "Drains not seen clear",
	Why:      "Water that cannot leave stands against every open edge.",
	Settle:   "Clear them, look at every drain and note it.",
	Source:   practice,
	Severity: Today,
	When:     ToolsDown,
	Plain:    true,
	Run:      runDrainBlocked,
}

func runDrainBlocked(s *Situation, report func(Finding)) {
	blocked := map[string]daylog.DrainLine{}
	var names []string // in the order of being found
	seen, all := map[string]bool{}, false
	for _, look := range s.Day.Drains {
		evening := s.line(look.Entry) != nil && s.line(look.Entry).Kind == "drains"
		for name := range blocked {
			if len(look.Clear) == 0 || slices.Contains(look.Clear, name) {
				delete(blocked, name)
			}
		}
		for _, name := range look.Blocked {
			if !slices.Contains(names, name) {
				names = append(names, name)
			}
			blocked[name] = look
		}
		if evening { // the morning's look at the seal is not the one before leaving
			all = all || len(look.Clear) == 0
			for _, name := range slices.Concat(look.Clear, look.Blocked) {
				seen[name] = true
			}
		}
	}
	for _, name := range names {
		look, still := blocked[name]
		if !still {
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
	if all || s.firstWork(func(a *daylog.Act) bool { return working(a.Kind) || a.Kind == "closed" }) == nil {
		return
	}
	var unseen []string
	for _, p := range s.Day.Setup.Details {
		if (p.Sort == "drain" || p.Sort == "scupper") && !seen[p.Name] {
			unseen = append(unseen, p.Name)
		}
	}
	if len(seen) > 0 && len(unseen) == 0 {
		return
	}
	if h, unsure := s.unheardAfter(s.evening()); unsure {
		s.hold(h, "drains")
		return
	}
	f := Finding{
		Key:    "drain-blocked",
		Place:  "drains",
		Says:   "Nobody has looked at the drains since work began",
		Seen:   "not ticked clear",
		Limit:  "all clear",
		Since:  s.toolsDown(),
		Answer: Answer{Label: "Drains clear", Kind: "drains", Fields: map[string]any{}},
	}
	if len(seen) > 0 {
		f.Says = "Not seen clear before leaving: " + daylog.List(unseen)
		f.Answer.Fields = map[string]any{"drains": unseen}
	}
	report(f)
}
