package checks

import (
	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

var tapeLapMin = Limit{Name: "tape-lap-short.lap_in", Label: "Tape end lap", Default: 1, Unit: "in", Source: Source{Where: "UFGS-07530, Tape Seams", Status: Published}}

var tapeLapShort = &Check{
	ID:       "tape-lap-short",
	Title:    "Tape ends lap too little",
	Why:      "Where two ends of tape barely meet, a gap opens under the cover.",
	Settle:   "Lay another piece of tape over it that laps both ends, or correct the measure.",
	Source:   tapeLapMin.Source,
	Severity: Stop,
	When:     Live,
	Plain:    true,
	Limits:   []Limit{tapeLapMin},
	Run:      runTapeLapShort,
}

func runTapeLapShort(s *Situation, report func(Finding)) {
	limit := s.inches(tapeLapMin)
	judge := func(l *daylog.Line, seam string, laps []daylog.Lap) {
		for _, lap := range laps {
			if lap.Lap == 0 || lap.Lap >= limit {
				continue // 0: not measured
			}
			report(Finding{
				Key:    "tape-lap-short " + seam + " " + lap.At.String(),
				Place:  "run " + seam,
				Says:   "Run " + seam + ": the tape end lap at " + lap.At.String() + " is " + lap.Lap.String(),
				Seen:   lap.Lap.String(),
				Limit:  number(s.Limit(tapeLapMin)) + " in",
				Since:  l.At,
				Entry:  []string{l.Root},
				Answer: correct(l, "Lapped again"),
				places: []where{{name: seam, part: daylog.Part{From: lap.At - near, To: lap.At + near}}},
			})
		}
	}
	for l, b := range daylog.Each[*daylog.TapeLaid](s.Day) {
		judge(l, b.Seam, b.Laps)
	}
	for l, b := range daylog.Each[*daylog.RunClosed](s.Day) {
		judge(l, b.Seam, b.Laps)
	}
}

// inches gives a limit in inches as a length.
func (s *Situation) inches(l Limit) roofplan.Length {
	return roofplan.Length(s.Limit(l))
}
