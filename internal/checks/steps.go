package checks

import (
	"encoding/json"

	"duskline/internal/daylog"
)

// step is one thing that was done to a stretch.
type step struct {
	daylog.When
	word  string // "primed", "taped", "closed"
	entry string
	part  daylog.Part
}

// stepsOf gives what was written of a stretch, in the order of the work.
func stepsOf(st *daylog.Stretch) []step {
	var out []step
	for _, s := range []step{
		{st.Primed, "primed", st.Primer, st.Part},
		{st.Taped, "taped", st.Taper, st.Part},
		{st.Closed, "closed", st.Closer, st.Part},
	} {
		if !s.IsZero() {
			out = append(out, s)
		}
	}
	return out
}

// firstStep gives the earliest moment written of a stretch.
func firstStep(st *daylog.Stretch) (first step, ok bool) {
	for _, s := range stepsOf(st) {
		if !ok || s.At.Before(first.At) {
			first, ok = s, true
		}
	}
	return first, ok
}

// tapedAt gives when tape lay on a stretch: a closed one was taped by then.
func tapedAt(st *daylog.Stretch) (taped step, ok bool) {
	for _, s := range stepsOf(st) {
		if s.word != "primed" {
			return s, true
		}
	}
	return step{}, false
}

// certain reports whether all these moments were tapped as they happened.
func certain(moments ...daylog.When) bool {
	for _, w := range moments {
		if w.About > 0 {
			return false
		}
	}
	return true
}

// lineOf gives the day's last line of a kind about a place; nil if none.
func (s *Situation) lineOf(kind, place string) *daylog.Line {
	var last *daylog.Line
	for _, a := range s.stands().acts[place] {
		if a.Kind == kind {
			last = a.Line
		}
	}
	return last
}

// line gives a line of the day by the id of its first entry; nil if none.
func (s *Situation) line(root string) *daylog.Line {
	for _, l := range s.Day.Lines {
		if l.Root == root {
			return l
		}
	}
	return nil
}

// correct is the answer that opens a line for correction.
func correct(l *daylog.Line, label string) Answer {
	if l == nil {
		return Answer{}
	}
	a := Answer{Label: label, Kind: l.Kind, Of: l.Root, At: l.At}
	if raw, err := json.Marshal(l.Body); err == nil {
		// A body that is no object has no fields to fill in.
		_ = json.Unmarshal(raw, &a.Fields)
	}
	return a
}
