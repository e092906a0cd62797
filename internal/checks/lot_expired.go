package checks

import "duskline/internal/daylog"

var lotExpired = &Check{
	ID:       "lot-expired",
	Title:    "Material past its date",
	Why:      "Old primer, adhesive, sealant and tape lose their hold, and nobody sees it on the day.",
	Settle:   "Open a lot that is good, or correct the date.",
	Source:   practice,
	Severity: Stop,
	When:     Live,
	Plain:    true,
	Run:      runLotExpired,
}

func runLotExpired(s *Situation, report func(Finding)) {
	for _, lot := range s.Roof.Lots {
		until := lot.Expires()
		if until == "" || s.Day.Date <= until {
			continue
		}
		since, used := s.used(lot)
		if !used {
			continue
		}
		report(Finding{
			Key:    "lot-expired " + lot.Material,
			Place:  lot.Material,
			Says:   "Lot " + lot.Lot + " of " + lot.Material + " was good until " + sayDate(until),
			Seen:   sayDate(s.Day.Date),
			Limit:  sayDate(until),
			Since:  since.At,
			Entry:  []string{lot.Entry},
			Answer: Answer{Label: "Lot opened", Kind: "lot", Fields: map[string]any{"material": lot.Material}},
		})
	}
}

// used gives when a lot was opened today or first worked with.
func (s *Situation) used(lot daylog.OpenLot) (daylog.When, bool) {
	if l := s.line(lot.Entry); l != nil {
		return l.Began(), true
	}
	kinds := map[string][]string{
		"primer": {"priming"}, "tape": {"tape", "closed"}, "adhesive": {"treatment"}, "sealant": {"treatment"},
		"cover strip": {"covers"}, "sheet": {"panel"},
	}
	for i := range s.Day.Acts {
		for _, kind := range kinds[lot.Material] {
			if s.Day.Acts[i].Kind == kind {
				return s.Day.Acts[i].Began, true
			}
		}
	}
	return daylog.When{}, false
}
