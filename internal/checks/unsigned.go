package checks

import "duskline/internal/daylog"

var unsigned = &Check{
	ID:       "unsigned",
	Title:    "Day not signed",
	Why:      "Until somebody signs, nobody stands behind the day's record.",
	Settle:   "Open that day, go through what is open, and sign it.",
	Source:   Source{Where: "UFGS-01451A, Contractor Quality Control", Status: Published},
	Severity: Today,
	When:     Overnight,
	Plain:    true,
	Run:      runUnsigned,
}

func runUnsigned(s *Situation, report func(Finding)) {
	var days []string
	f := Finding{Key: "unsigned", Place: "day", Since: s.Now, Limit: "signed when people leave", Answer: Answer{Label: "Sign", Kind: "sign"}}
	over := s.Day.Leaving()
	for _, d := range s.Job.Past() {
		switch {
		case d.Signed || d.Date > s.Day.Date:
			continue
		case d.Date == s.Day.Date:
			// Its own night: people are gone and the next day has begun.
			if over.IsZero() && len(s.Day.Lines) > 0 {
				over = s.Day.Lines[len(s.Day.Lines)-1].End()
			}
			if !s.Now.After(over) || daylog.DateOf(s.Now.In(s.Zone)) <= d.Date {
				continue
			}
		}
		if s.mayBeSigned(d.Date) {
			continue
		}
		if days = append(days, sayDate(d.Date)); len(days) == 1 {
			f.Answer.Day = d.Date // the oldest first
		}
	}
	if len(days) == 0 {
		return
	}
	f.Says = daylog.List(days) + " is not signed"
	if len(days) > 1 {
		f.Says = daylog.List(days) + " are not signed"
	}
	f.Seen = daylog.Count(len(days), "day", "days") + " open"
	report(f)
}

// mayBeSigned reports whether another tablet that wrote on a day was not heard
// on a later one: it may have the signature.
func (s *Situation) mayBeSigned(date daylog.Date) bool {
	for _, l := range s.Job.On(date).Lines {
		if l.Day != date || l.Device == s.Self {
			continue
		}
		k := daylog.KindOf(l.Body)
		if at, heard := s.Heard[l.Device]; k != nil && k.Writes == daylog.Crew && (!heard || date == s.Day.Date) {
			s.hold(Held{Words: "not heard since " + s.Clock(later(at, l.Made)), Device: l.Device, Since: later(at, l.Made)}, "the day's signature")
			return true
		}
	}
	return false
}
