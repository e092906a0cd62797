package checks

import (
	"slices"

	"duskline/internal/daylog"
)

var lotUnknown = &Check{
	ID:       "lot-unknown",
	Title:    "Lot not known",
	Why:      "Years later somebody asks which lot went under the leak, and nobody can tell.",
	Settle:   "Say which lot is in use: it stands on the roll, can or tube, and holds until the next is opened.",
	Source:   practice,
	Severity: Today,
	When:     ToolsDown,
	Absence:  true,
	Plain:    true,
	Run:      runLotUnknown,
}

func runLotUnknown(s *Situation, report func(Finding)) {
	var missing []string
	f := Finding{Key: "lot-unknown", Place: "materials", Seen: "no lot noted on this job", Limit: "a lot of each", Since: s.toolsDown()}
	for _, material := range []string{"primer", "tape", "adhesive", "sealant"} {
		if _, known := s.Roof.Lot(material); known {
			continue
		}
		a := s.firstWork(func(a *daylog.Act) bool { return slices.Contains(materials[material], a.Kind) })
		if a == nil {
			continue
		}
		missing = append(missing, material)
		f.Entry = append(f.Entry, a.Line.Root)
	}
	if len(missing) == 0 {
		return
	}
	if h, unsure := s.unheardAfter(s.evening()); unsure {
		s.hold(h, "materials")
		return
	}
	f.Says = "Nobody noted the lot of the " + daylog.List(missing) + " that was used today"
	if len(missing) > 1 {
		f.Says = "Nobody noted the lots of the " + daylog.List(missing) + " that were used today"
	}
	f.Answer = Answer{Label: "Lot opened", Kind: "lot", Fields: map[string]any{"material": missing[0]}}
	report(f)
}
