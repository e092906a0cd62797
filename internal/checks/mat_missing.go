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
			p := s.stands().panels[pp.Panel]
			if p == nil || said[pp.Panel] {
				continue
			}
			v, bare := s.matUnder(p, pp, l)
			if v == kept {
				continue
			}
			said[pp.Panel] = true
			f := Finding{
				Key:    "mat-missing " + pp.Panel,
				Place:  "panel " + pp.Panel,
				Says:   "Panel " + pp.Panel + ", " + feet(bare) + ": " + what + " without mat or an extra layer",
				Seen:   what + " from " + s.when(l.Began()),
				Limit:  "mat or extra layer under it",
				Since:  l.At,
				Asks:   v == asked,
				Entry:  []string{l.Root},
				Answer: Answer{Label: "Mat laid", Kind: "mat", Fields: map[string]any{"panels": []daylog.PanelPart{{Panel: pp.Panel, Part: bare, Less: pp.Less}}}, At: l.At},
				places: []where{{name: pp.Panel, part: bare}},
			}
			if f.Asks {
				f.Says = "Does mat lie under the " + what + " on panel " + pp.Panel + "?"
				f.Settle = "Enter the mat, and when it was laid."
			}
			report(f)
		}
	}
}

// matUnder judges whether mat lay on a part of a panel before ballast came, and
// gives the first stretch without.
func (s *Situation) matUnder(p *daylog.Panel, pp daylog.PanelPart, l *daylog.Line) (v verdict, bare daylog.Part) {
	placed, _ := s.Roof.Layout().Panel(p.Name)
	part := pp.Part
	if part.To == 0 {
		part.To = placed.Length
	}
	all := along(p.Mat, placed)
	var today []*daylog.Act
	for _, a := range s.stands().acts[p.Name] {
		if a.Kind == "mat" {
			today = append(today, a)
		}
	}
	before := all[:max(0, len(all)-len(today))] // of earlier days
	for i, a := range today {
		if !a.Began.At.After(l.End()) && i < len(all) {
			before = append(before[:len(before):len(before)], all[len(all)-len(today)+i])
		}
	}
	for _, gap := range part.Less(before) {
		if gap.Length() < near {
			continue
		}
		// Mat that was written for later, or not at all, may have been there.
		if l.About > 0 || len(gap.Less(all)) == 0 && len(today) > 0 && today[len(today)-1].Began.About > 0 {
			return asked, gap
		}
		return broken, gap
	}
	return kept, bare
}
