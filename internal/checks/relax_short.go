package checks

import (
	"time"

	"duskline/internal/daylog"
)

// UFC 3-330-02A 6-1.b asks for relaxing without a number; UFGS-07550 3.2.5, a
// sister specification, gives 30 min.
var restMin = Limit{Name: "relax-short.rest_min", Label: "Rest of a panel before priming", Default: 30, Unit: "min", Source: practice}

var relaxShort = &Check{
	ID:       "relax-short",
	Title:    "Seamed before the sheet had rested",
	Why:      "A sheet still shrinks and lies in folds after unrolling; a seam made too early pulls and wrinkles.",
	Settle:   "Let it rest until the lap area lies flat, as the manufacturer's written instructions ask; or correct the time.",
	Source:   practice,
	Severity: Stop,
	When:     Live,
	Limits:   []Limit{restMin},
	Run:      runRelaxShort,
}

// short is a panel that was seamed before it had rested.
type short struct {
	verdict
	panel  *daylog.Panel // nil: nobody wrote that it is laid
	name   string
	laid   daylog.When // in position
	seam   *seam
	step   step
	rested time.Duration
}

// worse reports whether a weighs more than b: accused before asked, then the
// shorter rest.
func (a short) worse(b short) bool {
	if a.verdict != b.verdict {
		return a.verdict > b.verdict
	}
	return a.rested < b.rested
}

func runRelaxShort(s *Situation, report func(Finding)) {
	found := map[string]short{}
	var order []string
	for _, m := range s.stands().order {
		for i := range m.Runs {
			step, ok := firstStep(&m.Runs[i])
			if !ok || m.Runs[i].Day != s.Day.Date {
				continue // begun on an earlier day, and said then
			}
			worst, any := s.shortOf(m, step)
			if !any {
				continue
			}
			known, seen := found[worst.name]
			if !seen {
				order = append(order, worst.name)
			}
			if !seen || worst.worse(known) {
				found[worst.name] = worst
			}
		}
	}
	for _, name := range order {
		c := found[name]
		if c.laid.IsZero() {
			// Another tablet may have logged it.
			if h, unsure := s.unheardAfter(c.step.At); unsure {
				s.hold(h, "panel "+name)
				continue
			}
		}
		report(s.sayShort(c))
	}
}

// shortOf gives the panel beside a step that had rested least, if too little.
func (s *Situation) shortOf(m *seam, st step) (worst short, any bool) {
	for _, name := range daylog.Joined(m.Name) {
		c := short{verdict: asked, panel: s.stands().panels[name], name: name, seam: m, step: st, laid: s.positionAt(name, st.At)}
		switch {
		case !c.laid.IsZero():
			c.verdict, c.rested = waited(c.laid, st.When, s.rest())
			if c.rested < 0 {
				continue // out-of-order speaks of it
			}
		case c.panel != nil && c.panel.Day != s.Day.Date:
			continue // it has lain there since an earlier day
		}
		if c.verdict != kept && (!any || c.worse(worst)) {
			worst, any = c, true
		}
	}
	return worst, any
}

func (s *Situation) sayShort(c short) Finding {
	run := "run " + c.seam.Name
	seamed := run + " " + c.step.word + " " + s.when(c.step.When)
	f := Finding{
		Key:    "relax-short " + c.name,
		Place:  "panel " + c.name,
		Seen:   duration(c.rested) + " at rest",
		Limit:  duration(s.rest()),
		Source: restMin.Source,
		Since:  c.step.At,
		Asks:   c.verdict == asked,
		Entry:  []string{c.step.entry},
		places: []where{{name: c.name}, {name: c.seam.Name, part: c.step.part}},
	}
	line := s.lineOf("panel", c.name)
	if line != nil {
		f.Entry = append(f.Entry, line.Root)
		f.Answer = correct(line, "When?")
	} else { // laid on an earlier day, or not written
		f.Answer = correct(s.line(c.step.entry), "When?")
	}
	if !f.Asks {
		f.Says = "Panel " + c.name + " had rested " + duration(c.rested) + " when " + run + " was " + c.step.word
		return f
	}
	f.Says = "When was panel " + c.name + " in position?"
	f.Settle = "Say when it was in position, or when the run was " + c.step.word + "."
	if c.laid.IsZero() {
		f.Seen = "not written; " + seamed
		f.Answer = Answer{Label: "When?", Kind: "panel", Fields: map[string]any{"panel": c.name, "weighted": true}}
		f.absence = true
	} else {
		f.Seen = "written " + s.when(c.laid) + "; " + seamed
	}
	return f
}
