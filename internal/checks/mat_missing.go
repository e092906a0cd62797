package checks

import "duskline/internal/daylog"

var matMissing = &Check{
	ID:       "mat-missing",
	Title:    "Crushed stone or pavers on bare sheet",
	Why:      "Sharp stone and hard edges work through the sheet under every step.",
	Settle:   "Take it off, lay mat or an extra layer, and put it back; or enter the mat that lies there.",
	Source:   Source{Where: "NRCA guidance on crushed stone; pavers by common practice", Status: SecondHand},
	Severity: Stop,
	When:     Live,
	Absence:  true,
	Plain:    true,
	Run:      runMatMissing,
}

func runMatMissing(s *Situation, report func(Finding)) {
	said := map[string]bool{}
	for l, b := range daylog.Each[*daylog.StoneSpread](s.Day) {
		what := map[string]string{"crushed": "crushed stone", "pavers": "pavers", "interlocking": "interlocking pavers"}[b.Material]
		if what == "" {
			continue
		}
		for _, pp := range b.Panels {
			if p := s.stands().panels[pp.Panel]; said[pp.Panel] || p == nil || len(p.Mat) > 0 {
				continue
			}
			said[pp.Panel] = true
			report(Finding{
				Key:    "mat-missing " + pp.Panel,
				Place:  "panel " + pp.Panel,
				Says:   "Panel " + pp.Panel + ": " + what + " without mat or an extra layer",
				Seen:   what,
				Limit:  "mat or extra layer",
				Since:  l.At,
				Entry:  []string{l.Root},
				Answer: Answer{Label: "Mat laid", Kind: "mat", Fields: map[string]any{"panels": []daylog.PanelPart{pp}}},
				places: []where{{name: pp.Panel}},
			})
		}
	}
}
