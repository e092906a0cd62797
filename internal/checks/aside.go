package checks

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"duskline/internal/daylog"
)

// aside gives the newest set-aside that holds for a finding: same key, same
// words. What can hurt people is never set aside.
func (s *Situation) aside(f Finding) *daylog.AsideLine {
	if f.Check.Severity == People {
		return nil
	}
	for i := range slices.Backward(s.Day.Asides) {
		if a := &s.Day.Asides[i]; a.Key == f.Key && a.Words == f.Says {
			return a
		}
	}
	return nil
}

// answered gives the newest answer to a finding of what can hurt people: same
// key, same words.
func (s *Situation) answered(f Finding) *daylog.AnsweredLine {
	if f.Check.Severity != People {
		return nil
	}
	for i := range slices.Backward(s.Day.Answers) {
		if a := &s.Day.Answers[i]; a.Key == f.Key && a.Words == f.Says {
			return a
		}
	}
	return nil
}

// Settled reports whether somebody has answered for a finding or set it aside.
func (f Finding) Settled() bool { return f.Aside != nil || f.Answered != nil }

// Holds reports whether a finding holds up the signing of the day: it accuses,
// is more than a note, and nobody has set it aside or answered for it.
func (f Finding) Holds() bool {
	return !f.Settled() && !f.Asks && f.Check.Severity.rank() < Notice.rank()
}

// Stood gives what stands, in the words that a signature freezes.
func Stood(s *Situation) []daylog.Stood {
	var out []daylog.Stood
	for _, f := range Run(s) {
		st := daylog.Stood{Key: f.Key, Words: f.Says, Asks: f.Asks}
		if f.Aside != nil {
			st.Reason = f.Aside.Reason
		}
		if f.Answered != nil {
			st.Reason, st.By = f.Answered.What, f.Answered.Person
		}
		out = append(out, st)
	}
	return out
}

// Carried is a warning that stood when an earlier day was signed, in the words
// that were frozen then, with what stands of it now.
type Carried struct {
	daylog.Stood
	Now Finding
}

// Carry gives what stood when a day was signed and would stand again if its
// roof were left as it is in s, a situation with Leaving open.
func Carry(s *Situation, before *daylog.Day) []Carried {
	var out []Carried
	if !before.Signed() {
		return nil
	}
	for _, st := range before.Signatures[0].Stood {
		for _, f := range Run(s) {
			// What was one warning may be one for each place the next morning.
			if f.Key == st.Key || strings.HasPrefix(f.Key, st.Key+" ") || strings.HasPrefix(f.Key, st.Key+"@") {
				out = append(out, Carried{st, f})
				break
			}
		}
	}
	return out
}

// Complete fills in what only the rules know of an entry that is about to be
// kept: the words of the warning that it sets aside or answers for, if it names
// no more than its key, and what stood at signing. held is what its device
// holds. A warning that does not stand is an error.
func Complete(e *daylog.Entry, held []daylog.Entry, zone *time.Location) error {
	sign, signs := e.Body.(*daylog.Sign)
	var key, words *string
	switch b := e.Body.(type) {
	case *daylog.SetAside:
		key, words = &b.Key, &b.Words
	case *daylog.Answered:
		key, words = &b.Key, &b.Words
	}
	if (key == nil || *words != "") && (!signs || sign.Stood != nil) {
		return nil
	}
	job := ""
	if len(held) > 0 {
		job = held[0].Job
	}
	folded := daylog.Fold(job, held)
	look := func(leaving bool) *Situation { return Look(folded, e.Day, e.Made, zone, e.Device, leaving) }
	if signs {
		sign.Stood = Stood(look(true))
		return nil
	}
	found := append(Run(look(true)), Run(look(false))...) // some speak only while nobody leaves
	i := slices.IndexFunc(found, func(f Finding) bool { return f.Key == *key })
	if i < 0 {
		i = slices.IndexFunc(found, func(f Finding) bool { return strings.HasPrefix(f.Key, *key+" ") })
	}
	if i < 0 {
		return fmt.Errorf("no warning %q stands that could be set aside or answered for", *key)
	}
	*key, *words = found[i].Key, found[i].Says
	return nil
}
