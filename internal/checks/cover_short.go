package checks

import (
	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

var coverSize = Limit{Name: "cover-short.size_in", Label: "Cover over a joint or end lap", Default: 12, Unit: "in", Source: practice,
	Floor: Floor{9, Source{Where: "UFGS-07530", Status: Published}}}

var coverShort = &Check{
	ID:       "cover-short",
	Title:    "Cover too small",
	Why:      "A small cover ends too near the joint it is to keep dry.",
	Settle:   "Set one of the job's size over it; from 9 in on it may stand for a reason.",
	Source:   practice,
	Severity: Stop,
	When:     Live,
	Plain:    true,
	Limits:   []Limit{coverSize},
	Run:      runCoverShort,
}

func runCoverShort(s *Situation, report func(Finding)) {
	limit := s.inches(coverSize)
	for l, b := range daylog.Each[*daylog.CoversRolled](s.Day) {
		if b.Size == 0 || b.Size >= limit {
			continue // 0: the job's size
		}
		bySeam := map[string][]daylog.Place{}
		var order []string
		for _, p := range b.Places {
			if p.What != daylog.Cover {
				continue
			}
			if spot := s.stands().spot(p); spot == nil || spot.Roller != l.Root {
				continue // set again since
			}
			seam := seamOf(p)
			if bySeam[seam] == nil {
				order = append(order, seam)
			}
			bySeam[seam] = append(bySeam[seam], p)
		}
		for _, seam := range order {
			places := bySeam[seam]
			f := Finding{
				Key:    "cover-short " + keyOf(places[0]),
				Place:  onRun(seam),
				Says:   upper(sayPlaces(seam, places)) + ", only " + b.Size.String(),
				Seen:   b.Size.String(),
				Limit:  number(s.Limit(coverSize)) + " in",
				Settle: "Set one of the job's size over it; or set this aside with the reason for which it may stand.",
				Since:  l.At,
				Entry:  []string{l.Root},
				Answer: Answer{Label: "Set again", Kind: "covers", Fields: map[string]any{"places": places}},
			}
			// Nothing under what is published stands for a reason.
			if floor := coverSize.Floor; b.Size < roofplan.Inches(floor.Value) {
				f.Limit, f.Source, f.Settle = number(floor.Value)+" in", floor.Source, "Set one of the job's size over it."
			}
			for _, p := range places {
				f.places = append(f.places, where{name: keyOf(p)})
			}
			report(f)
		}
	}
}
