package checks

import "duskline/internal/daylog"

var (
	lapTarget = Limit{Name: "lap-narrow.target_in", Label: "Side lap aimed at", Default: 5, Unit: "in", Source: practice}
	// The larger of this and the tape with 1/2 in; 3 in tape asks for less.
	lapFloor = Limit{Name: "lap-narrow.floor_in", Label: "Least side lap", Default: 4, Unit: "in", Source: Source{Where: "UFGS-07530, Ballasted Membrane Application", Status: Published}}
)

var lapNarrow = &Check{
	ID:       "lap-narrow",
	Title:    "Side lap narrow",
	Why:      "A narrow lap leaves the tape no room on one of the sheets.",
	Settle:   "Shift the sheet before it is primed and measure again, at the worst place.",
	Source:   practice,
	Severity: Stop,
	When:     Live,
	Plain:    true,
	Limits:   []Limit{lapTarget, lapFloor},
	Run:      runLapNarrow,
}

func runLapNarrow(s *Situation, report func(Finding)) {
	// What was measured again at a place counts there.
	type place struct {
		seam string
		at   int64
	}
	last := map[place]Finding{}
	var order []place
	for l, b := range daylog.Each[*daylog.LapMeasured](s.Day) {
		if b.Width == 0 {
			continue
		}
		at := place{b.Seam, int64(b.At / near)}
		if _, ok := last[at]; !ok {
			order = append(order, at)
		}
		limit, f := lapFloor, Finding{}
		switch {
		case b.Width < s.inches(lapFloor):
		case b.Width < s.inches(lapTarget):
			limit, f.Grade = lapTarget, Notice
		default:
			last[at] = Finding{}
			continue
		}
		f.Key = "lap-narrow " + b.Seam + " " + b.At.String()
		f.Place = "run " + b.Seam
		f.Says = "Side lap " + b.Seam + " measures " + b.Width.String() + " at " + b.At.String()
		f.Seen, f.Limit, f.Source = b.Width.String(), s.inches(limit).String(), limit.Source
		f.Since, f.Entry = l.At, []string{l.Root}
		f.Answer = Answer{Label: "Measured again", Kind: "lap", Fields: map[string]any{"seam": b.Seam, "along": b.At}}
		f.places = []where{{name: b.Seam, part: daylog.Part{From: b.At - near, To: b.At + near}}}
		last[at] = f
	}
	for _, at := range order {
		if f := last[at]; f.Key != "" {
			report(f)
		}
	}
}
