package checks

import (
	"slices"

	"duskline/internal/daylog"
)

var closedOverOpen = &Check{
	ID:       "closed-over-open",
	Title:    "Stone closed over open work",
	Why:      "Under stone nobody treats, covers or sees it again, and fresh sealant smears.",
	Settle:   "Take the stone off, finish and check the place, and close it again; or enter what was done before.",
	Source:   practice,
	Severity: Stop,
	When:     Live,
	Absence:  true,
	Run:      runClosedOverOpen,
}

// buried is a place that stone closed before its work was done.
type buried struct {
	daylog.Place
	closed daylog.When
	entry  string
	lacks  string // "is not treated"
}

func runClosedOverOpen(s *Situation, report func(Finding)) {
	bySeam := map[string][]buried{}
	var order []string
	add := func(b buried) {
		seam := seamOf(b.Place)
		if bySeam[seam] == nil {
			order = append(order, seam)
		}
		bySeam[seam] = append(bySeam[seam], b)
	}
	for i := range s.Roof.Spots {
		p := &s.Roof.Spots[i]
		if p.Buried.IsZero() || p.Buried.At.After(s.Now) {
			continue
		}
		b := buried{Place: p.Place, closed: p.Buried, entry: p.Burier}
		switch {
		case p.Rolled.IsZero() && p.Treated.IsZero():
			b.lacks = "is not set"
		case p.Treated.IsZero():
			b.lacks = "is not treated"
		case s.unwalked(p.Place):
			b.lacks = "was not checked"
		default:
			continue
		}
		add(b)
	}
	for l, c := range daylog.Each[*daylog.BackClosed](s.Day) {
		for _, p := range c.Places {
			if s.stands().spot(p) != nil {
				continue
			}
			owed := slices.ContainsFunc(s.stands().dutiesOn[seamOf(p)], func(d duty) bool { return d.same(p) })
			b := buried{Place: p, closed: l.Began(), entry: l.Root, lacks: "is not set"}
			if !owed {
				if !s.unwalked(p) {
					continue
				}
				b.lacks = "was not checked"
			}
			add(b)
		}
	}
	slices.SortFunc(order, compareNames)
	for _, seam := range order {
		report(s.sayBuried(seam, bySeam[seam]))
	}
}

// unwalked reports whether a place lies on a seam of this record that was not
// checked there.
func (s *Situation) unwalked(p daylog.Place) bool {
	m := s.stands().seams[seamOf(p)]
	if m == nil || m.stood {
		return false
	}
	at := p.At
	for _, end := range m.plan.Ends() {
		if end.Name == p.On {
			at = daylog.AngleAt(m.plan, end)
		}
	}
	return m.MadeAt(at) && !inside(m.Checked, at, slack)
}

func (s *Situation) sayBuried(seam string, all []buried) Finding {
	first := slices.MinFunc(all, func(a, b buried) int { return a.closed.At.Compare(b.closed.At) })
	f := Finding{
		Key:    "closed-over-open " + seam,
		Place:  onRun(seam),
		Limit:  "covered, treated and checked before",
		Seen:   "closed " + s.when(first.closed),
		Since:  first.closed.At,
		Asks:   first.closed.About > 0,
		Answer: Answer{Label: "Treated", Kind: "treatment"},
	}
	var places []daylog.Place
	for _, b := range all {
		places = append(places, b.Place)
		f.places = append(f.places, where{name: b.Key()})
		if !slices.Contains(f.Entry, b.entry) {
			f.Entry = append(f.Entry, b.entry)
		}
	}
	f.Answer.Fields = map[string]any{"places": places}
	switch what := sayPlaces(seam, places); {
	case f.Asks:
		f.Says = "Was the work done before stone closed the " + what + "?"
		f.Settle = "Enter what was done there; else take the stone off."
	case len(all) == 1:
		f.Says = upper(what) + " " + first.lacks + ", and stone closed over it"
	default:
		f.Says = "Stone closed over the " + what + ": the first " + first.lacks
	}
	switch first.lacks {
	case "is not set":
		f.Answer.Label, f.Answer.Kind = "Covers done", "covers"
	case "was not checked":
		f.Answer = Answer{Label: "Walked", Kind: "check", Fields: map[string]any{"seams": []string{seam}}}
	}
	return f
}
