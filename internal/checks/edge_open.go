package checks

import (
	"time"

	"duskline/internal/daylog"
)

var (
	treatmentMin = Limit{Name: "edge-open.treatment_min", Label: "One round of edge treatment", Default: 20, Unit: "min", Source: practice}
	coverNights  = Limit{Name: "edge-open.cover_nights", Label: "Nights a cover may wait for edge treatment", Default: 0, Unit: "nights", Source: practice, Most: true}
	spliceNights = Limit{Name: "edge-open.splice_nights", Label: "Nights a vertical splice may wait for edge treatment", Default: 0, Unit: "nights", Source: practice, Most: true}
)

var edgeOpen = &Check{
	ID:       "edge-open",
	Title:    "Edge left without treatment",
	Why:      "Water and dirt creep under an open edge overnight; cleaned or not, it never seals as well again.",
	Settle:   "Treat it before leaving. Where the wait is not over: leave later, or let two people stay, with fall protection and light.",
	Source:   practice,
	Severity: Stop,
	When:     ToolsDown | Overnight,
	Absence:  true,
	Limits:   []Limit{treatmentMin, coverNights, spliceNights},
	Run:      runEdgeOpen,
}

func runEdgeOpen(s *Situation, report func(Finding)) {
	down := s.toolsDown()
	groups := map[string][]daylog.Place{}
	ready := map[string]time.Time{} // the last of them
	var order []string
	for i := range s.Roof.Spots {
		p := &s.Roof.Spots[i]
		if p.Rolled.IsZero() || !p.Treated.IsZero() || !s.left(p.Day) || s.nights(p.Day) <= s.mayWait(p.What) {
			continue
		}
		since := down
		if p.Day < s.Day.Date {
			since = p.Rolled.At
		}
		if !s.known(where{name: p.Key()}, since, sayPlaces(seamOf(p.Place), []daylog.Place{p.Place})) {
			continue
		}
		due := p.Rolled.At.Add(s.wait())
		if p.Day == s.Day.Date && (down.IsZero() || !due.After(down)) {
			seam := seamOf(p.Place)
			if groups[seam] == nil {
				order = append(order, seam)
			}
			groups[seam] = append(groups[seam], p.Place)
			if due.After(ready[seam]) {
				ready[seam] = due
			}
			continue
		}
		// Left over, or not to be treated in time: a decision of its own.
		f := s.sayOpen(seamOf(p.Place), []daylog.Place{p.Place})
		f.Key = "edge-open " + keyOf(p.Place)
		f.Since = since
		f.Seen = "rolled " + s.when(p.Rolled)
		f.Entry = []string{p.Roller}
		if p.Day < s.Day.Date {
			f.Says += " since " + sayDate(p.Day)
		} else {
			f.Seen += ", treatable from " + s.Clock(due)
		}
		report(f)
	}
	for _, seam := range order {
		f := s.sayOpen(seam, groups[seam])
		f.Since = down
		f.Seen = "treatable from " + s.Clock(ready[seam])
		report(f)
	}
	for _, d := range s.stands().duties {
		if d.covers() || !s.left(d.day(s)) || s.nights(d.day(s)) <= s.mayWait(daylog.Splice) {
			continue
		}
		// The run is closed up the turn-up, so its splice is made; whether it
		// was rolled and treated nobody wrote.
		f := s.sayOpen(d.seam, []daylog.Place{d.Place})
		f.Key = "edge-open " + keyOf(d.Place)
		f.Says = "When was the " + sayPlace(d.Place) + " on " + onRun(d.seam) + " rolled and treated?"
		f.Seen = "run closed there, splice not written"
		f.Settle = "Say when it was rolled, and when it was treated."
		f.Answer = Answer{Label: "When?", Kind: "covers", Fields: map[string]any{"places": []daylog.Place{d.Place}}, At: d.made.At}
		f.Since = down
		f.Asks = true
		f.places = []where{{name: d.Key(), on: d.seam, at: d.at}}
		report(f)
	}
}

func (s *Situation) sayOpen(seam string, places []daylog.Place) Finding {
	f := Finding{
		Key:    "edge-open " + seam,
		Place:  onRun(seam),
		Says:   upper(sayPlaces(seam, places)) + ": no edge treatment",
		Limit:  "treated the same day",
		Source: coverNights.Source,
		Answer: Answer{Label: "Treated", Kind: "treatment", Fields: map[string]any{"places": places}},
	}
	for _, p := range places {
		f.places = append(f.places, where{name: p.Key()})
	}
	return f
}

// mayWait is how many nights a place may wait for its treatment.
func (s *Situation) mayWait(what daylog.What) float64 {
	if what == daylog.Splice {
		return s.Limit(spliceNights)
	}
	return s.Limit(coverNights)
}

// nights counts how many a place of a day will have waited, the coming one
// included once the crew leaves.
func (s *Situation) nights(since daylog.Date) float64 {
	from, err1 := time.Parse(time.DateOnly, string(since))
	to, err2 := time.Parse(time.DateOnly, string(s.Day.Date))
	if err1 != nil || err2 != nil {
		return 1
	}
	n := to.Sub(from).Hours() / 24
	if s.At&ToolsDown != 0 || s.Day.Signed() {
		n++
	}
	return n
}

// day is the day a duty is of.
func (d duty) day(s *Situation) daylog.Date {
	if d.made.IsZero() {
		return ""
	}
	return s.Day.Date
}

// sayDate prints a date as the crew says it: "Tue Oct 6".
func sayDate(d daylog.Date) string {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return string(d)
	}
	return t.Format("Mon Jan 2")
}
