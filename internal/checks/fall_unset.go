package checks

import (
	"slices"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// fallRule is where the defaults come from. State rules differ, so each is a
// value of the job.
func fallRule(where string) Source { return Source{Where: where, Status: SecondHand} }

var (
	fallLine    = Limit{Name: "fall-unset.line_ft", Label: "Warning line from the edge, at least", Default: 6, Unit: "ft", Source: fallRule("29 CFR 1926.502(f)(1)")}
	fallBuggy   = Limit{Name: "fall-unset.buggy_ft", Label: "Warning line from an edge that buggies run toward, at least", Default: 10, Unit: "ft", Source: fallRule("29 CFR 1926.502(f)(1)")}
	fallMonitor = Limit{Name: "fall-unset.monitor_ft", Label: "Roof width that a monitor alone may watch, at most", Default: 50, Unit: "ft", Source: fallRule("29 CFR 1926.501(b)(10)"), Most: true}
)

var fallUnset = &Check{
	ID:       "fall-unset",
	Title:    "Fall protection not settled",
	Why:      "A fall from the edge or through a hole kills.",
	Settle:   "Stop, see to edges, holes and skylights, and note it. The competent person on site decides.",
	Source:   fallRule("29 CFR 1926.501(b)(4) and (b)(10)"),
	Severity: People,
	When:     Live,
	Limits:   []Limit{fallLine, fallBuggy, fallMonitor},
	Run:      runFallUnset,
}

func runFallUnset(s *Situation, report func(Finding)) {
	first := s.firstWork(func(a *daylog.Act) bool { return a.Kind != "safe" })
	if first == nil || s.Day.Started.IsZero() {
		return // where nobody started the day, another tablet has its morning
	}
	f := Finding{
		Place:  "roof",
		Since:  first.Began.At,
		Entry:  []string{first.Line.Root},
		Answer: Answer{Label: "Fall protection", Kind: "fall", At: first.Began.At},
	}
	n := len(s.Day.Fall)
	if v := s.fallNoted(first); v != kept {
		if h, unsure := s.unheardAfter(first.Line.Made); unsure {
			s.hold(h, "fall protection")
			return
		}
		f.Key = "fall-unset"
		f.Seen = "first work " + s.when(first.Began) + ", " + first.Place
		f.Limit = "noted before work"
		f.Asks = v == asked
		f.Says = "Work began " + s.when(first.Began) + " and nobody has noted fall protection, holes and skylights"
		if n > 0 {
			f.Says = "Work began " + s.when(first.Began) + ", fall protection and holes were noted only " + s.when(s.Day.Fall[0].When)
		}
		if f.Asks {
			f.Says = "Were fall protection, holes and skylights seen to before work began " + s.when(first.Began) + "?"
			f.Settle = "Note what kept people on the roof, when, and the competent person's name."
		}
		report(f)
	}
	if n == 0 {
		return
	}
	last := &s.Day.Fall[n-1]
	f.Since, f.Entry, f.Answer.At = later(last.At, first.Began.At), []string{last.Entry}, time.Time{}
	f.Asks, f.Settle = last.About > 0, ""
	if !last.Holes {
		f.Key = "fall-unset holes"
		f.Says = "Holes and skylights are not noted as covered or guarded, and work goes on"
		f.Seen, f.Limit, f.Source = "noted "+s.when(last.When), "all covered or guarded", fallRule("29 CFR 1926.501(b)(4)")
		f.Settle = "Cover or guard every hole and skylight, and note it."
		if f.Asks {
			f.Says = "Were holes and skylights covered or guarded?"
		}
		report(f)
	}
	if slices.Contains(last.Means, "parapet") || slices.Contains(last.Means, "guardrail") {
		return // it stands in
	}
	s.fallLine(last, f, report)
	if wide := s.roofWidth(); len(last.Means) == 1 && last.Means[0] == "monitor" && wide > s.Limit(fallMonitor) {
		f.Key = "fall-unset monitor"
		f.Says = "A monitor alone on a roof " + number(wide) + " ft wide"
		f.Seen, f.Limit, f.Source = number(wide)+" ft wide", "up to "+number(s.Limit(fallMonitor))+" ft", fallMonitor.Source
		if f.Asks {
			f.Says = "Was there more than a monitor on a roof " + number(wide) + " ft wide?"
		}
		f.Settle = "Put up a warning line, guardrail, net or arrest with the monitor, and note it. The competent person on site decides."
		report(f)
	}
}

// fallLine judges how far the warning line stands from the edge.
func (s *Situation) fallLine(last *daylog.FallLine, f Finding, report func(Finding)) {
	if last.Line == 0 || !slices.Contains(last.Means, "warning line") {
		return
	}
	limit, toward := fallLine, ""
	if s.buggies() {
		limit, toward = fallBuggy, " where buggies run toward the edge"
	}
	if last.Line >= roofplan.Feet(s.Limit(limit)) {
		return
	}
	f.Key = "fall-unset line"
	f.Says = "The warning line stands " + last.Line.String() + " from the edge: too near" + toward
	f.Seen, f.Limit, f.Source = last.Line.String()+" from the edge", number(s.Limit(limit))+" ft", limit.Source
	if f.Asks {
		f.Says = "Did the warning line stand only " + last.Line.String() + " from the edge?"
	}
	f.Settle = "Move the line back and note it. The competent person on site decides."
	report(f)
}

// fallNoted judges whether fall protection was noted by the first work. A note
// that came late settles it where it names the competent person.
func (s *Situation) fallNoted(first *daylog.Act) verdict {
	v := broken
	if first.Began.About > 0 {
		v = asked // what was written afterwards may have been forgotten
	}
	for i := range s.Day.Fall {
		switch f := &s.Day.Fall[i]; {
		case !f.At.After(first.Began.At), len(f.Competent) > 0:
			return kept
		case !f.Earliest().After(first.Began.Latest()):
			v = asked
		}
	}
	return v
}

// firstWork gives the day's first work of the crew of a sort; nil if none.
func (s *Situation) firstWork(is func(*daylog.Act) bool) *daylog.Act {
	var first *daylog.Act
	for i := range s.Day.Acts {
		a := &s.Day.Acts[i]
		if k, _ := daylog.FindKind(a.Kind); k.Writes == daylog.Crew && is(a) && (first == nil || a.Began.At.Before(first.Began.At)) {
			first = a
		}
	}
	return first
}

// buggies reports whether wheeled equipment ran on the roof today.
func (s *Situation) buggies() bool {
	for _, b := range daylog.Each[*daylog.StoneSpread](s.Day) {
		if b.Means == "buggies" {
			return true
		}
	}
	for _, b := range daylog.Each[*daylog.Equipment](s.Day) {
		if slices.Contains(b.Items, "buggy") {
			return true
		}
	}
	return false
}

// roofWidth is the narrower side of the roof, ft.
func (s *Situation) roofWidth() float64 {
	outline := s.Day.Setup.Plan.Outline
	if len(outline) == 0 {
		return 0
	}
	low, high := outline[0], outline[0]
	for _, p := range outline {
		low.X, low.Y = min(low.X, p.X), min(low.Y, p.Y)
		high.X, high.Y = max(high.X, p.X), max(high.Y, p.Y)
	}
	return min(high.X-low.X, high.Y-low.Y).Feet()
}
