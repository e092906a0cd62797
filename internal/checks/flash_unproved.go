package checks

import (
	"slices"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

var flashUnproved = &Check{
	ID:       "flash-unproved",
	Title:    "Tape on primer that was not proved",
	Why:      "Primer that is still wet or strings traps solvent under the tape, and the seam lets go.",
	Settle:   "Test now what is not taped yet; enter the test you made for what is.",
	Source:   practice,
	Severity: Stop,
	When:     Live,
	Absence:  true,
	Run:      runFlashUnproved,
}

// unproved is what was taped of one priming without a test that passed.
type unproved struct {
	verdict
	primed   daylog.Part // all of the priming
	parts    []daylog.Part
	taped    step
	unprimed bool // nobody wrote the priming
	tested   bool // and yet there is a test that passed
	failed   bool // the last test before taping failed
	late     bool // it passed after taping
}

func runFlashUnproved(s *Situation, report func(Finding)) {
	for _, m := range s.stands().order {
		var order []string
		found := map[string]*unproved{}
		for i := range m.Runs {
			st := &m.Runs[i]
			u, ok := s.proof(m, st)
			if !ok || !s.known(where{name: m.Name, part: st.Part}, u.taped.At, "run "+m.Name+", "+feet(st.Part)) {
				continue
			}
			id := u.id(st)
			known := found[id]
			if known == nil {
				order = append(order, id)
				found[id] = &u
				continue
			}
			known.verdict = max(known.verdict, u.verdict)
			known.failed, known.late = known.failed || u.failed, known.late || u.late
			if u.taped.At.Before(known.taped.At) {
				known.taped = u.taped
			}
			if last := &known.parts[len(known.parts)-1]; last.To == st.From {
				last.To = st.To
			} else {
				known.parts = append(known.parts, st.Part)
			}
		}
		for _, id := range order {
			u := found[id]
			var length roofplan.Length
			for _, p := range u.parts {
				length += p.Length()
			}
			if length < near {
				continue // feet of neighbouring entries that miss each other
			}
			u.primed = u.parts[0]
			for i := range m.Runs {
				if st := &m.Runs[i]; u.id(st) == id {
					u.primed.From, u.primed.To = min(u.primed.From, st.From), max(u.primed.To, st.To)
				}
			}
			report(s.sayUnproved(m.Name, u))
		}
	}
}

// id tells which stretches have their lack from one and the same act: the
// priming, or where nobody wrote it, what was written instead.
func (u *unproved) id(st *daylog.Stretch) string {
	if !u.unprimed {
		return st.Primer
	}
	return "unprimed " + st.Taper + " " + st.Closer
}

// proof judges one stretch; false: not taped, or proved.
func (s *Situation) proof(m *seam, st *daylog.Stretch) (u unproved, ok bool) {
	if u.taped, ok = tapedAt(st); !ok || s.clashes(m.Name, st.Part) {
		return u, false
	}
	u.parts = []daylog.Part{st.Part}
	u.unprimed = st.Primed.IsZero()
	tests := st.Tests
	if u.unprimed {
		tests = s.testsOn(m.Name, st.Part)
	}
	for _, t := range tests {
		switch {
		case t.At.After(u.taped.At):
			u.late = u.late || t.Pass
		case t.Pass:
			u.tested, u.failed = true, false
		default:
			u.tested, u.failed = false, true
		}
	}
	if u.tested && !u.unprimed {
		return u, false
	}
	// What was written afterwards may have been forgotten: ask for it.
	u.verdict = broken
	if u.unprimed || !certain(st.Primed, u.taped.When) || slices.ContainsFunc(tests, func(t daylog.Test) bool { return t.About > 0 }) {
		u.verdict = asked
	}
	return u, true
}

// testsOn gives the day's finger tests over a part whose priming nobody wrote.
func (s *Situation) testsOn(seam string, p daylog.Part) []daylog.Test {
	var tests []daylog.Test
	for _, a := range s.stands().acts[seam] {
		if t, ok := a.Line.Body.(*daylog.FingerTest); ok && 2*a.Part.Overlap(p) >= p.Length() {
			tests = append(tests, daylog.Test{When: a.Began, Pass: t.Result == "pass", Entry: a.Line.Root})
		}
	}
	return tests
}

func (s *Situation) sayUnproved(seam string, u *unproved) Finding {
	run := "run " + seam + ", " + parts(u.parts)
	f := Finding{
		Key:    "flash-unproved " + seam + " " + span(u.primed),
		Place:  run,
		Limit:  "1 passing test before taping",
		Since:  u.taped.At,
		Asks:   u.verdict == asked,
		Entry:  []string{u.taped.entry},
		Answer: Answer{Label: "Test", Kind: "test", Fields: testFields(seam, whole(u.parts)), At: u.taped.At},
	}
	for _, p := range u.parts {
		f.places = append(f.places, where{name: seam, part: p})
	}
	went := "tape went down "
	if u.taped.word == "closed" {
		went = "closed "
	}
	went += s.when(u.taped.When)
	switch {
	case u.unprimed && u.tested:
		f.Says = "When was " + run + " primed?"
		f.Seen = "priming not written; " + went
		f.Settle = "Say when it was primed."
	case u.unprimed:
		f.Says = "When was " + run + " primed, and when did the finger test pass?"
		f.Seen = "neither written; " + went
		f.Settle = "Say when it was primed, then enter the test you made."
	case f.Asks:
		f.Says = "When did the finger test on " + run + " pass?"
		f.Seen = "no test that passed is written; " + went
		f.Settle = "Enter the test you made."
	case u.failed:
		f.Says = upper(run) + ": the last finger test before taping failed"
		f.Seen = went
	case u.late:
		f.Says = upper(run) + ": the finger test passed only after taping"
		f.Seen = went
	default:
		f.Says = upper(run) + ": no finger test since priming"
		f.Seen = went
	}
	if u.unprimed {
		f.Answer = Answer{Label: "When?", Kind: "priming", Fields: map[string]any{"seam": seam, "from": whole(u.parts).From, "to": whole(u.parts).To}, At: u.taped.At}
	}
	return f
}

// whole is from the first part's beginning to the last one's end.
func whole(parts []daylog.Part) daylog.Part {
	return daylog.Part{From: parts[0].From, To: parts[len(parts)-1].To}
}

// parts prints parts of a seam: "0 to 20 and 38 to 100 ft".
func parts(all []daylog.Part) string {
	words := make([]string, len(all))
	for i, p := range all {
		words[i] = number(p.From.Feet()) + " to " + number(p.To.Feet())
	}
	return daylog.List(words) + " ft"
}
