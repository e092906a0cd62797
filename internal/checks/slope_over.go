package checks

import "math"

var (
	slopeMost = Limit{Name: "slope-over.most_in", Label: "Steepest slope for loose ballast, in 12", Default: 2, Unit: "in", Most: true,
		Source: Source{Where: "MIL-HDBK-1001/5A", Status: Published}}
	slopeNote = Limit{Name: "slope-over.note_percent", Label: "Slope that is noted", Default: 4, Unit: "%", Most: true,
		Source: Source{Where: "Canadian Roofing Reference Manual", Status: Published}}
)

var slopeOver = &Check{
	ID:       "slope-over",
	Title:    "Roof too steep for ballast",
	Why:      "On a slope loose sheet creeps and stone rolls.",
	Settle:   "Ask the licensed engineer of record before anything is laid; or correct the slope.",
	Source:   slopeMost.Source,
	Severity: Stop,
	When:     Planned,
	Plain:    true,
	Limits:   []Limit{slopeMost, slopeNote},
	Run:      runSlopeOver,
}

func runSlopeOver(s *Situation, report func(Finding)) {
	slope := s.Day.Setup.Zones.Slope
	percent := math.Round(slope/12*1000) / 10
	f := Finding{
		Key:    "slope-over",
		Says:   "The roof slopes " + number(slope) + " in 12",
		Seen:   number(slope) + " in 12",
		Limit:  number(s.Limit(slopeMost)) + " in 12",
		Answer: Answer{Label: "Correct the slope", Kind: "zones"},
	}
	switch {
	case slope > s.Limit(slopeMost):
	case percent > s.Limit(slopeNote):
		f.Grade, f.Source = Notice, slopeNote.Source
		f.Seen, f.Limit = number(percent)+" %", number(s.Limit(slopeNote))+" %"
	default:
		return
	}
	report(f)
}
