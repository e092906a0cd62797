package checks

import (
	"slices"
	"time"

	"duskline/internal/daylog"
)

var lotExpired = &Check{
	ID:       "lot-expired",
	Title:    "Material past its date",
	Why:      "Old primer, adhesive, sealant and tape lose their hold, and nobody sees it on the day.",
	Settle:   "Open a lot that is good, or correct the date. The manufacturer says whether what was made with it may stay.",
	Source:   practice,
	Severity: Stop,
	When:     Live,
	Plain:    true,
	Run:      runLotExpired,
}

func runLotExpired(s *Situation, report func(Finding)) {
	said := map[string]bool{}
	for _, u := range s.lotsToday() {
		until := u.lot.Expires()
		if until == "" || s.Day.Date <= until {
			continue
		}
		since, used := s.used(u)
		key := "lot-expired " + u.lot.Material + " " + u.lot.Lot
		if !used || said[key] {
			continue
		}
		said[key] = true
		seen := "used " + s.Clock(since) + ", " + sayDate(s.Day.Date)
		if u.from.At.Equal(since) {
			seen = "opened " + s.Clock(since) + ", " + sayDate(s.Day.Date)
		}
		report(Finding{
			Key:    key,
			Place:  u.lot.Material,
			Says:   "Lot " + u.lot.Lot + " of " + u.lot.Material + " was good until " + sayDate(until),
			Seen:   seen,
			Limit:  sayDate(until),
			Since:  since,
			Entry:  []string{u.lot.Entry},
			Answer: Answer{Label: "Lot opened", Kind: "lot", Fields: map[string]any{"material": u.lot.Material}},
		})
	}
}

// inUse is a lot and for how long it was the one in use today.
type inUse struct {
	lot  daylog.OpenLot
	from daylog.When // zero: from an earlier day on
	to   daylog.When // zero: still
}

// lotsToday lists the lots in use today, by material and in their order.
func (s *Situation) lotsToday() []inUse {
	var all []inUse
	for _, lot := range s.Day.Opening.Lots {
		all = append(all, inUse{lot: lot})
	}
	for l, b := range daylog.Each[*daylog.LotOpened](s.Day) {
		for i := range all {
			if u := &all[i]; u.lot.Material == b.Material && u.to.IsZero() {
				u.to = l.Began()
			}
		}
		all = append(all, inUse{lot: daylog.OpenLot{LotOpened: *b, Since: s.Day.Date, Entry: l.Root}, from: l.Began()})
	}
	return all
}

// used gives when a lot was worked with today, or opened and not replaced
// since. Work that may have been done with the lot before or after counts for
// that one.
func (s *Situation) used(u inUse) (time.Time, bool) {
	for i := range s.Day.Acts {
		a := &s.Day.Acts[i]
		if !slices.Contains(materials[u.lot.Material], a.Kind) {
			continue
		}
		if (u.from.IsZero() || !a.Began.Earliest().Before(u.from.Latest())) && (u.to.IsZero() || a.Ended.Latest().Before(u.to.Earliest())) {
			return a.Began.At, true
		}
	}
	return u.from.At, !u.from.IsZero() && u.to.IsZero()
}

// materials tells by what kinds of entry a material goes onto the roof.
var materials = map[string][]string{
	"primer": {"priming"}, "tape": {"tape", "closed"}, "adhesive": {"treatment"}, "sealant": {"treatment"},
	"cover strip": {"covers"}, "sheet": {"panel"},
}
