package checks

import (
	"slices"
	"time"

	"duskline/internal/daylog"
)

var waitMin = Limit{Name: "edge-early.wait_min", Label: "Wait from rolling to edge treatment", Default: 240, Unit: "min", Source: practice}

var edgeEarly = &Check{
	ID:       "edge-early",
	Title:    "Edge treated too early",
	Why:      "Solvent trapped under a fresh bead loosens the splice before it has gained strength.",
	Settle:   "Strike the treatment and treat again once the wait is over, as the manufacturer's written instructions ask; or correct the time.",
	Source:   practice,
	Severity: Stop,
	When:     Live,
	Limits:   []Limit{waitMin},
	Run:      runEdgeEarly,
}

// early is a spot that was treated before its wait was over.
type early struct {
	verdict
	spot   *daylog.Spot
	waited time.Duration
}

func runEdgeEarly(s *Situation, report func(Finding)) {
	bySeam := map[string][]early{}
	var order []string
	for i := range s.Roof.Spots {
		e, ok := s.earlyAt(&s.Roof.Spots[i])
		if !ok {
			continue
		}
		seam := seamOf(e.spot.Place)
		if bySeam[seam] == nil {
			order = append(order, seam)
		}
		bySeam[seam] = append(bySeam[seam], e)
	}
	for _, seam := range order {
		// What is sure is said first; a question left over comes after it.
		worst := slices.MaxFunc(bySeam[seam], func(a, b early) int { return int(a.verdict) - int(b.verdict) }).verdict
		same := slices.DeleteFunc(bySeam[seam], func(e early) bool { return e.verdict != worst })
		report(s.sayEarly(seam, same))
	}
}

func (s *Situation) earlyAt(p *daylog.Spot) (early, bool) {
	e := early{spot: p}
	if p.Treated.IsZero() {
		return e, false
	}
	if p.Rolled.IsZero() {
		// Treated, so it was rolled; nobody wrote when. What was finished on an
		// earlier day may be gone over without asking.
		day, done := s.Roof.Finished[p.Key()]
		e.verdict = asked
		return e, !(done && day < s.Day.Date) && !s.stands().stood(seamOf(p.Place))
	}
	e.verdict, e.waited = waited(p.Rolled, p.Treated, s.wait())
	return e, e.verdict != kept
}

func (s *Situation) sayEarly(seam string, all []early) Finding {
	worst := slices.MinFunc(all, func(a, b early) int { return int(a.waited - b.waited) })
	p := worst.spot
	f := Finding{
		Key:    "edge-early " + seam,
		Place:  onRun(seam),
		Seen:   duration(worst.waited) + " after rolling",
		Limit:  duration(s.wait()),
		Source: waitMin.Source,
		Since:  p.Treated.At,
		Asks:   worst.verdict == asked,
		Entry:  []string{p.Treater},
	}
	var places []daylog.Place
	for _, e := range all {
		places = append(places, e.spot.Place)
		f.places = append(f.places, where{name: e.spot.Key()})
	}
	if p.Roller != "" {
		f.Entry = append(f.Entry, p.Roller)
	}
	if !f.Asks {
		f.Says = upper(sayPlaces(seam, places)) + " treated " + duration(worst.waited) + " after rolling"
		f.Answer = correct(s.line(p.Treater), "Correct")
		return f
	}
	be := "were"
	if len(places) == 1 {
		be = "was"
	}
	treated := "treated " + s.when(p.Treated)
	if p.Rolled.IsZero() || p.Rolled.About > 0 {
		f.Says = "When " + be + " the " + sayPlaces(seam, places) + " rolled?"
		f.Settle = "Say when it was rolled: the wait runs from there."
	} else {
		f.Says = "When " + be + " the " + sayPlaces(seam, places) + " treated?"
		f.Settle = "Say when it was treated."
		f.Answer = correct(s.line(p.Treater), "When?")
	}
	if p.Rolled.IsZero() {
		f.Seen = "not written; " + treated
		f.Answer = Answer{Label: "When?", Kind: "covers", Fields: map[string]any{"places": places}}
		f.absence = true
		return f
	}
	f.Seen = "rolled " + s.when(p.Rolled) + ", " + treated + ", " + duration(worst.waited) + " later"
	if f.Answer.Kind == "" {
		f.Answer = correct(s.line(p.Roller), "When?")
	}
	return f
}
