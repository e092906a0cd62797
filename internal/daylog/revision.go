package daylog

import "slices"

// Revision is a state of a day's record. The first is what the first signature
// covers. What a later signature or acceptance covers beyond it is the next,
// and what none covers yet is the last.
type Revision struct {
	Number int
	By     *Line // the signature or acceptance; nil: nobody has closed it yet
	Vector Heads // that it covers; nil: all
	// Changed are the lines that differ from the revision before: written,
	// corrected or struck since. The first revision has none.
	Changed []*Line
}

// Revisions gives the states of the day's record, in order; none while it is
// not signed. forks are the branches of the job's devices that have forked.
func (d *Day) Revisions(forks []Branch) []Revision {
	type closing struct {
		line    *Line
		vector  Heads
		covered covering
	}
	var closings []closing
	for _, l := range d.Lines { // in the order of time
		if l.Struck != nil {
			continue
		}
		switch b := l.Body.(type) {
		case *Sign:
			closings = append(closings, closing{l, b.Vector, cover(b.Vector, forks)})
		case *Accepted:
			if len(closings) > 0 { // nothing is accepted that nobody signed
				closings = append(closings, closing{l, b.Vector, cover(b.Vector, forks)})
			}
		}
	}
	if len(closings) == 0 {
		return nil
	}
	changed := make([][]*Line, len(closings)+1)
	for _, l := range d.Lines {
		if closes(l) {
			continue
		}
		for _, e := range l.Members() {
			at := 0
			for at < len(closings) && !closings[at].covered.holds(e) {
				at++
			}
			if at > 0 && !slices.Contains(changed[at], l) {
				changed[at] = append(changed[at], l)
			}
		}
	}
	revisions := []Revision{{Number: 1, By: closings[0].line, Vector: closings[0].vector}}
	for i, lines := range changed {
		if len(lines) == 0 {
			if i > 0 && i < len(closings) { // nothing came in between: it closes the same revision
				last := &revisions[len(revisions)-1]
				last.By, last.Vector = closings[i].line, closings[i].vector
			}
			continue
		}
		r := Revision{Number: len(revisions) + 1, Changed: lines}
		if i < len(closings) {
			r.By, r.Vector = closings[i].line, closings[i].vector
		}
		revisions = append(revisions, r)
	}
	return revisions
}

// closes reports whether a line is about the record and not part of it.
func closes(l *Line) bool {
	switch l.Body.(type) {
	case *Sign, *Accepted, *SentBack, *Comment:
		return true
	}
	return false
}

// As gives the day as a vector covers it: with the lines and members of lines
// that it holds, on the same morning and set-up.
func (d *Day) As(vector Heads, forks []Branch) *Day {
	covered := cover(vector, forks)
	c := dayOn(d.Date, d.Setup, d.Opening.clone(d.Date))
	c.Opening = d.Opening
	for _, l := range d.Lines {
		var members []*Entry
		for _, e := range l.Members() {
			if covered.holds(e) {
				members = append(members, e)
			}
		}
		if len(members) == 0 {
			continue
		}
		held := l
		if len(members) < len(l.Members()) {
			held = lineOf(l.Root, members)
		}
		c.Lines = append(c.Lines, held)
		if k := KindOf(held.Body); k != nil && k.Group != SetUp && held.Struck == nil {
			held.Body.apply(c, held)
		}
	}
	return c
}

// Beyond counts the day's entries that a vector does not cover; those about the
// record itself, such as comments, do not count.
func (d *Day) Beyond(vector Heads, forks []Branch) int {
	covered, n := cover(vector, forks), 0
	for _, l := range d.Lines {
		if closes(l) {
			continue
		}
		for _, e := range l.Members() {
			if !covered.holds(e) {
				n++
			}
		}
	}
	return n
}
