package checks

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// standing is the roof of a situation put under names, once, so that rules
// need not search a large roof for each place.
type standing struct {
	panels   map[string]*daylog.Panel
	seams    map[string]*seam
	order    []*seam // as the roof has them
	spots    map[string][]*daylog.Spot
	acts     map[string][]*daylog.Act // of the day, by place
	duties   []duty
	dutiesOn map[string][]duty // by seam
}

// seam is what has been made of a seam, with its closed parts merged.
type seam struct {
	*daylog.Seam
	closed []daylog.Part
	plan   roofplan.Seam
	onPlan bool
	stood  bool // finished before the record begins
}

// stands gives the roof under names.
func (s *Situation) stands() *standing {
	if s.standing != nil {
		return s.standing
	}
	r, layout := s.Roof, s.Roof.Layout()
	st := &standing{
		panels: make(map[string]*daylog.Panel, len(r.Panels)),
		seams:  make(map[string]*seam, len(r.Seams)),
		spots:  make(map[string][]*daylog.Spot, len(r.Spots)),
		acts:   make(map[string][]*daylog.Act, len(s.Day.Acts)),
	}
	s.standing = st
	for i := range r.Panels {
		st.panels[r.Panels[i].Name] = &r.Panels[i]
	}
	made := make([]seam, len(r.Seams))
	for i := range r.Seams {
		m := &made[i]
		m.Seam = &r.Seams[i]
		m.closed = m.Seam.Closed()
		m.plan, m.onPlan = layout.Seam(m.Name)
		m.stood = st.stood(m.Name)
		st.seams[m.Name] = m
		st.order = append(st.order, m)
	}
	for i := range r.Spots {
		p := &r.Spots[i]
		st.spots[p.On] = append(st.spots[p.On], p)
	}
	for i := range s.Day.Acts {
		a := &s.Day.Acts[i]
		st.acts[a.Place] = append(st.acts[a.Place], a)
	}
	st.duties = s.dutiesOf(st)
	st.dutiesOn = map[string][]duty{}
	for _, d := range st.duties {
		st.dutiesOn[d.seam] = append(st.dutiesOn[d.seam], d)
	}
	return st
}

// stood reports whether a seam was finished before the record begins: all the
// panels it joins were.
func (st *standing) stood(name string) bool {
	for panel := range strings.SplitSeq(name, "|") {
		if p, ok := st.panels[panel]; !ok || p.Day != "" {
			return false
		}
	}
	return true
}

// laid reports whether all these panels are on the roof.
func (st *standing) laid(panels ...string) bool {
	for _, name := range panels {
		if _, ok := st.panels[name]; !ok {
			return false
		}
	}
	return true
}

// spot gives what was noted at a place of the roof as it stands; end laps are
// the same within 1 ft. Nil: nothing, or it was finished on an earlier day.
func (st *standing) spot(p daylog.Place) *daylog.Spot {
	for _, s := range st.spots[p.On] {
		if s.What == p.What && apart(s.At, p.At) <= near {
			return s
		}
	}
	return nil
}

// near is within what two people would call the same place along a seam.
const near = roofplan.Length(12)

// slack is how far the feet typed for neighbouring stretches may miss each
// other, or the end of a seam, and mean the same place.
const slack = roofplan.Length(6)

func apart(a, b roofplan.Length) roofplan.Length { return max(a-b, b-a) }

func inside(parts []daylog.Part, at, within roofplan.Length) bool {
	for _, p := range parts {
		if p.From-within <= at && at <= p.To+within {
			return true
		}
	}
	return false
}

// madeAt gives when the seam was closed at a point. Zero and true: before
// today, or before the record begins.
func (m *seam) madeAt(at, within roofplan.Length) (made daylog.When, ok bool) {
	if m.stood || inside(m.Made, at, within) {
		return daylog.When{}, true
	}
	for _, st := range m.Runs {
		if !st.Closed.IsZero() && st.From-within <= at && at <= st.To+within && (!ok || st.Closed.At.Before(made.At)) {
			made, ok = st.Closed, true
		}
	}
	return made, ok
}

// duty is a cover or a vertical splice that a made seam owes and that nobody
// has rolled yet.
type duty struct {
	daylog.Place
	seam string          // of which it is a part; for a T-joint one of today's
	at   roofplan.Length // along that seam
	why  cause
	made daylog.When // when the seam was closed there; zero: on an earlier day
}

// cause is what a cover is owed for.
type cause int

const (
	endLap cause = iota
	folded
	joint
	upright // vertical splice
)

// covers reports whether a cover is owed, not a vertical splice.
func (d duty) covers() bool { return d.why != upright }

// dutiesOf lists what made seams owe, seam by seam and along each.
func (s *Situation) dutiesOf(st *standing) []duty {
	var out []duty
	owe := func(d duty) {
		if spot := st.spot(d.Place); spot != nil && (!spot.Rolled.IsZero() || !spot.Treated.IsZero()) {
			return
		}
		if d.made.IsZero() { // only what an earlier day owed can be finished by then
			if _, _, day := s.Roof.Spot(d.Place); day != "" {
				return
			}
		}
		out = append(out, d)
	}
	for _, m := range st.order {
		if m.stood {
			continue
		}
		for _, lap := range m.Laps {
			if made, ok := m.madeAt(lap.At, 0); ok {
				owe(duty{daylog.Place{On: m.Name, At: lap.At}, m.Name, lap.At, endLap, made})
			}
		}
		for _, end := range m.plan.Ends() {
			at := daylog.AngleAt(m.plan, end)
			if made, ok := m.madeAt(at, 0); ok && passes(m.plan, end) {
				owe(duty{daylog.Place{On: end.Name}, m.Name, at, folded, made})
			}
			if made, ok := m.madeAt(end.At, slack); ok && at != end.At {
				owe(duty{daylog.Place{On: end.Name, What: daylog.Splice}, m.Name, end.At, upright, made})
			}
		}
	}
	for i := range s.Roof.Layout().Joints {
		if d, ok := st.joint(&s.Roof.Layout().Joints[i]); ok {
			owe(d)
		}
	}
	slices.SortStableFunc(out, func(a, b duty) int {
		if c := compareNames(a.seam, b.seam); c != 0 {
			return c
		}
		return cmp.Compare(a.at, b.at)
	})
	return out
}

// passes reports whether a seam runs through the angle change at its end.
func passes(plan roofplan.Seam, end roofplan.End) bool {
	for _, a := range plan.Angles {
		if a.Edge == end.Edge {
			return true
		}
	}
	return false
}

// joint gives the cover that a T-joint owes once every seam that meets in it
// is made there and one of them since the record began.
func (st *standing) joint(j *roofplan.Joint) (duty, bool) {
	d := duty{Place: daylog.Place{On: j.Name}, why: joint}
	if !st.laid(j.Panels...) || len(j.On) == 0 {
		return d, false
	}
	for _, on := range j.On {
		if st.stood(on.Seam) {
			continue
		}
		m := st.seams[on.Seam]
		if m == nil {
			return d, false
		}
		made, ok := m.madeAt(on.At, slack)
		if !ok {
			return d, false
		}
		if d.seam == "" || made.At.After(d.made.At) {
			d.seam, d.at, d.made = on.Seam, on.At, made
		}
	}
	return d, d.seam != ""
}

// compareNames orders seams by their panels as people count.
func compareNames(a, b string) int {
	x, y := daylog.Joined(a), daylog.Joined(b)
	for i := range min(len(x), len(y)) {
		if c := roofplan.CompareNames(x[i], y[i]); c != 0 {
			return c
		}
	}
	if c := len(x) - len(y); c != 0 {
		return c
	}
	return strings.Compare(a, b)
}

// seamOf gives the seam a place belongs to; a T-joint stands for itself.
func seamOf(p daylog.Place) string {
	name, _, _ := strings.Cut(p.On, "@")
	return name
}

// rest is the time a panel must lie before it is primed or taped.
func (s *Situation) rest() time.Duration { return s.Minutes(restMin) }

// wait is the time from rolling to edge treatment.
func (s *Situation) wait() time.Duration { return s.Minutes(waitMin) }
