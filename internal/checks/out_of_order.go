package checks

import (
	"slices"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

var outOfOrder = &Check{
	ID:       "out-of-order",
	Title:    "Times that contradict each other",
	Why:      "A record whose times cannot be true is worth little as evidence, and what waits on them is reckoned wrong.",
	Settle:   "Correct the time that is wrong.",
	Source:   practice,
	Severity: Stop,
	When:     Live,
	Run:      runOutOfOrder,
}

// clash is two acts written in an order in which they cannot have happened.
type clash struct {
	place       string // seam or panel
	part        daylog.Part
	first, then *daylog.Act // as written: first could only follow then
	at, due     daylog.When
	is, before  string // "taped", "primed"
}

func runOutOfOrder(s *Situation, report func(Finding)) {
	for _, c := range s.outOfOrder() {
		f := Finding{
			Key:    "out-of-order " + c.place,
			Place:  "panel " + c.place,
			Seen:   c.is + " " + s.when(c.at) + ", " + c.before + " " + s.when(c.due),
			Since:  c.due.At,
			Asks:   !certain(c.at, c.due),
			Entry:  []string{c.first.Line.Root, c.then.Line.Root},
			Answer: correct(c.then.Line, "When?"),
			places: []where{{name: c.place, part: c.part}},
		}
		if c.first.Place != c.place {
			f.places = append(f.places, where{name: c.first.Place, part: c.first.Part})
		}
		what := "panel " + c.place
		if c.part.Length() > 0 {
			what = "run " + c.place + ", " + feet(c.part)
			f.Key += " " + span(c.part)
			f.Place = what
		}
		switch {
		case f.Asks && c.before == "in position":
			f.Says = "When was panel " + c.place + " in position?"
			f.Settle = "Say when each was done."
		case f.Asks:
			f.Says = "Was " + what + " " + c.is + " before it was " + c.before + "?"
			f.Settle = "Say when each was done."
		default:
			f.Says = upper(what) + ": " + c.is + " before it was " + c.before
		}
		report(f)
	}
}

// outOfOrder lists the day's clashes, one for each line and each stretch.
func (s *Situation) outOfOrder() []clash {
	if s.clashed != nil {
		return *s.clashed
	}
	var out []clash
	type spot struct {
		place string
		part  daylog.Part
	}
	lines, spots := map[*daylog.Line]bool{}, map[spot]bool{}
	add := func(c clash) {
		if at := (spot{c.place, c.part}); !lines[c.first.Line] && !lines[c.then.Line] && !spots[at] {
			lines[c.first.Line], lines[c.then.Line], spots[at] = true, true, true
			out = append(out, c)
		}
	}
	for i := range s.Day.Acts {
		then := &s.Day.Acts[i]
		switch then.Kind {
		case "panel":
			s.beforeSheet(then, add)
		case "priming":
			s.beforeStep(then, "primed", []string{"tape", "closed"}, add)
		case "tape":
			s.beforeStep(then, "taped", []string{"closed"}, add)
		}
	}
	s.clashed = &out
	return out
}

// stepWords puts the kinds of steps into words.
var stepWords = map[string]string{"priming": "primed", "tape": "taped", "closed": "closed", "stone": "ballasted"}

// beforeStep finds what was written earlier of the same stretch, though it can
// only follow then. A step that was done before already was done again.
func (s *Situation) beforeStep(then *daylog.Act, word string, kinds []string, add func(clash)) {
	for _, first := range s.stands().acts[then.Place] {
		if slices.Contains(kinds, first.Kind) && first.Ended.At.Before(then.Began.At) && alike(first.Part, then.Part) && !s.begunBefore(then) {
			add(clash{then.Place, then.Part, first, then, first.Ended, then.Began, stepWords[first.Kind], word})
			return
		}
	}
}

// begunBefore reports whether the stretch had this step, or for tape a priming,
// written earlier already: then it was done again.
func (s *Situation) begunBefore(then *daylog.Act) bool {
	for _, a := range s.stands().acts[then.Place] {
		if a.Line != then.Line && a.Kind == then.Kind && !a.Began.At.After(then.Began.At) && alike(a.Part, then.Part) {
			return true
		}
	}
	for _, st := range s.Day.Opening.Seam(then.Place).Runs {
		if alike(st.Part, then.Part) {
			return true
		}
	}
	return false
}

// alike reports whether two entries are about the same stretch: they share
// more than half of the shorter one.
func alike(a, b daylog.Part) bool {
	return 2*a.Overlap(b) > min(a.Length(), b.Length())
}

// beforeSheet finds what was written of a panel before it was in position for
// the first time.
func (s *Situation) beforeSheet(then *daylog.Act, add func(clash)) {
	st := s.stands()
	if s.lineOf("panel", then.Place) != then.Line {
		return
	}
	if _, stood := s.Day.Opening.Panel(then.Place); stood {
		return
	}
	var earliest *daylog.Act
	consider := func(a *daylog.Act) {
		if a.Began.At.Before(then.Ended.At) && (earliest == nil || a.Began.At.Before(earliest.Began.At)) {
			earliest = a
		}
	}
	for _, a := range st.acts[then.Place] {
		if a.Kind == "panel" && a.Line != then.Line {
			return // lifted and laid again
		}
		if a.Kind == "stone" {
			consider(a)
		}
	}
	if placed, ok := s.Roof.Layout().Panel(then.Place); ok {
		for _, n := range placed.Neighbours {
			for _, a := range st.acts[roofplan.SeamName(then.Place, n)] {
				if stepWords[a.Kind] != "" {
					consider(a)
				}
			}
		}
	}
	if earliest == nil {
		return
	}
	is := stepWords[earliest.Kind]
	if earliest.Place != then.Place {
		is = "run " + earliest.Place + " " + is
	}
	add(clash{place: then.Place, first: earliest, then: then, at: earliest.Began, due: then.Ended, is: is, before: "in position"})
}

// positionAt gives since when a panel lay in position at an instant: by its
// last positioning up to then, else by its first. Zero: not written.
func (s *Situation) positionAt(panel string, at time.Time) daylog.When {
	var since daylog.When
	for _, a := range s.stands().acts[panel] {
		if a.Kind == "panel" && (since.IsZero() || !a.Ended.At.After(at)) {
			since = a.Ended
		}
	}
	if p := s.stands().panels[panel]; since.IsZero() && p != nil {
		since = p.Position
	}
	return since
}

// clashes reports whether times of a stretch contradict each other.
func (s *Situation) clashes(seam string, p daylog.Part) bool {
	for _, c := range s.outOfOrder() {
		if c.place == seam && c.part.Overlap(p) > 0 {
			return true
		}
	}
	return false
}
