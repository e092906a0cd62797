package checks

import (
	"slices"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/forecast"
	"duskline/internal/roofplan"
)

var edgeWontMakeIt = &Check{
	ID:       "edge-wont-make-it",
	Title:    "Will not be treated by tools down",
	Why:      "A cover may be treated only after its wait, and may not be left for tomorrow: what is opened too late stays open overnight.",
	Settle:   "Unroll nothing more; hold the seam short and seal it; or make it in one piece of tape; or leave later; or let two people stay, with fall protection and light, never one alone.",
	Source:   practice,
	Severity: Today,
	When:     Live,
	Absence:  true,
	Run:      runEdgeWontMakeIt,
}

// tapeRoll is what a roll of tape makes, 100 ft: a run of that length is
// reckoned with one end lap. Common practice, no source.
const tapeRoll = roofplan.Length(100 * 12)

// heldBefore is how far a seam is usually held short of an angle change, 3 ft:
// common practice, no source.
const heldBefore = roofplan.Length(36)

// late is a seam that was opened today and whose covers or splices cannot be
// treated by tools down.
type late struct {
	seam    string
	gaps    []open         // of it that are not made
	covers  int            // still to be rolled, those of tape that is not laid yet among them
	splices int            // vertical ones that are made with the gaps
	opened  daylog.When    // the newest of unrolling, priming and closing; zero: not today
	done    time.Time      // when all covers are rolled, at the usual pace
	gone    bool           // not a forecast: last call has passed
	since   time.Time      // when it came to be said
	places  []daylog.Place // covers that are owed by what is made or begun
	rolled  []*daylog.Spot // too late
	about   bool           // it rests on a time that was written afterwards
}

// lates lists the seams whose edges will not be treated by tools down, once
// for a situation: more than one rule asks.
func (s *Situation) lates() []late {
	if s.late != nil {
		return *s.late
	}
	s.late = new([]late)
	last := Calls(s).Cover
	if last.IsZero() || s.At&ToolsDown != 0 { // what is left then has rules of its own
		return nil
	}
	found := map[string]*late{}
	of := func(seam string) *late {
		if found[seam] == nil {
			found[seam] = &late{seam: seam}
		}
		return found[seam]
	}
	for _, o := range s.openParts() {
		l := of(o.seam)
		l.gaps = append(l.gaps, o)
	}
	for _, m := range s.stands().order {
		for i := range m.Runs { // begun though it was held short
			if st := &m.Runs[i]; st.Closed.IsZero() && len(m.Open(st.Part)) == 0 {
				l := of(m.Name)
				l.gaps = append(l.gaps, open{st.Part, m.Name, st})
			}
		}
	}
	for _, d := range s.stands().duties {
		if d.covers() && !d.made.IsZero() {
			of(d.seam)
		}
	}
	for i := range s.Roof.Spots {
		p := &s.Roof.Spots[i]
		if p.Day == s.Day.Date && p.Rolled.At.After(last) && !p.Rolled.At.After(s.Now) && p.Treated.IsZero() && s.dueToday(p.What) && !s.edgeAside(p.Place) {
			l := of(seamOf(p.Place))
			l.rolled = append(l.rolled, p)
		}
	}
	for _, l := range found {
		if s.reckon(l, last) {
			*s.late = append(*s.late, *l)
		}
	}
	slices.SortFunc(*s.late, func(a, b late) int { return compareNames(a.seam, b.seam) })
	return *s.late
}

// dueToday reports whether what is rolled today must be treated today.
func (s *Situation) dueToday(what daylog.What) bool { return s.mayWait(what) < 1 }

// toTreat is how much of what a seam still owes must be treated today.
func (s *Situation) toTreat(l *late) int {
	n := 0
	if s.dueToday(daylog.Cover) {
		n = l.covers
	}
	if s.dueToday(daylog.Splice) {
		n += l.splices
	}
	return n
}

// edgeAside reports whether it was decided that a place stays without
// treatment overnight.
func (s *Situation) edgeAside(p daylog.Place) bool {
	return slices.ContainsFunc(s.Day.Asides, func(a daylog.AsideLine) bool {
		return a.Key == "edge-open "+keyOf(p) || a.Key == "edge-open "+seamOf(p)
	})
}

// reckon fills in what a seam comes to; false: it makes it.
func (s *Situation) reckon(l *late, last time.Time) bool {
	s.countCovers(l)
	begun := s.openedToday(l)
	for _, p := range l.rolled {
		if !l.gone || p.Rolled.At.Before(l.since) {
			l.since = p.Rolled.At
		}
		l.gone, l.about = true, l.about || p.Rolled.About > 0
	}
	if l.opened.IsZero() || s.toTreat(l) == 0 {
		return l.gone
	}
	l.about = l.about || l.opened.About > 0
	var length roofplan.Length
	for _, o := range l.gaps {
		length += o.Length()
	}
	l.done = begun.Add(forecast.Usual().Takes(forecast.Run{Length: length, Covers: l.covers}))
	tooLong := l.done.After(last)
	passed := len(l.gaps) > 0 && !s.Now.Before(last) || len(l.gaps) == 0 && l.opened.At.After(last)
	switch {
	case l.gone:
	case tooLong:
		l.since = l.opened.At
	default:
		l.since = last
	}
	l.gone = l.gone || passed
	return l.gone || tooLong
}

// openedToday notes when a seam was last opened further today, and gives from
// when what is not made of it is being made.
func (s *Situation) openedToday(l *late) (begun time.Time) {
	open := func(w daylog.When) {
		if !w.At.After(s.Now) && w.At.After(l.opened.At) {
			l.opened = w
		}
	}
	for _, o := range l.gaps {
		if o.stretch == nil || o.stretch.Day != s.Day.Date {
			continue
		}
		if first, ok := firstStep(o.stretch); ok {
			open(first.When)
			if begun.IsZero() || first.At.Before(begun) {
				begun = first.At
			}
		}
	}
	if m := s.stands().seams[l.seam]; m != nil {
		for i := range m.Runs {
			open(m.Runs[i].Closed)
		}
	}
	if len(l.gaps) > 0 {
		for _, name := range daylog.Joined(l.seam) {
			if p := s.stands().panels[name]; p != nil && p.Day == s.Day.Date {
				open(p.Position)
			}
		}
	}
	if begun.IsZero() {
		begun = l.opened.At
		if at := s.restedAt(l.seam); len(l.gaps) > 0 && at.After(begun) {
			begun = at
		}
	}
	return begun
}

// countCovers counts what is still to be rolled on a seam: what is owed by
// what is made, and what making the rest of it will owe.
func (s *Situation) countCovers(l *late) {
	st := s.stands()
	for _, d := range st.dutiesOn[l.seam] {
		if d.covers() && !d.made.IsZero() {
			l.covers++
			l.places = append(l.places, d.Place)
		}
	}
	plan, ok := s.Roof.Layout().Seam(l.seam)
	if !ok || len(l.gaps) == 0 {
		return
	}
	inGap := func(at roofplan.Length) bool {
		return slices.ContainsFunc(l.gaps, func(o open) bool { return o.From <= at && at <= o.To })
	}
	begun := func(at roofplan.Length) bool {
		return slices.ContainsFunc(l.gaps, func(o open) bool { return o.stretch != nil && o.From <= at && at <= o.To })
	}
	expect := func(p daylog.Place, at roofplan.Length) {
		if spot, found, day := s.Roof.Spot(p); day != "" || found && !spot.Rolled.IsZero() {
			return
		}
		l.covers++
		if begun(at) {
			l.places = append(l.places, p)
		}
	}
	for _, end := range plan.Ends() {
		at := daylog.AngleAt(plan, end)
		if passes(plan, end) && inGap(at) {
			expect(daylog.Place{On: end.Name}, at)
		}
		if at != end.At && inGap(end.At) {
			l.splices++
		}
	}
	for i := range s.Roof.Layout().Joints {
		j := &s.Roof.Layout().Joints[i]
		for _, on := range j.On {
			if on.Seam == l.seam && st.laid(j.Panels...) && inGap(on.At) {
				expect(daylog.Place{On: j.Name}, on.At)
			}
		}
	}
	laps, inside := 0, 0
	if m := st.seams[l.seam]; m != nil {
		laps = len(m.Laps)
		for _, lap := range m.Laps {
			if _, made := m.madeAt(lap.At, 0); !made {
				inside++
			}
		}
		for _, at := range m.Ends { // where old tape ends, new tape laps it
			if inGap(at) {
				laps++
				expect(daylog.Place{On: l.seam, At: at}, at)
			}
		}
	}
	if !s.onePiece(l.seam) {
		l.covers += max(0, int(s.toMake(plan)/tapeRoll)-laps)
	}
	if l.covers+l.splices > 0 {
		// An end lap in a run that is not closed may yet be cut out again: by
		// itself it is nothing to speak of.
		l.covers += inside
	}
}

// toMake is the length of a seam less what is held short.
func (s *Situation) toMake(plan roofplan.Seam) roofplan.Length {
	length := plan.Length
	if m := s.stands().seams[plan.Name]; m != nil {
		for _, h := range m.Held {
			length -= h.Length()
		}
	}
	return length
}

// onePiece reports whether the newest word on how far a seam is made says that
// its tape is one piece.
func (s *Situation) onePiece(seam string) bool {
	one := false
	for _, b := range daylog.Each[*daylog.HeldShort](s.Day) {
		if b.Seam == seam {
			one = b.OnePiece
		}
	}
	return one
}

func runEdgeWontMakeIt(s *Situation, report func(Finding)) {
	for _, l := range s.lates() {
		report(s.sayLate(l))
	}
}

func (s *Situation) sayLate(l late) Finding {
	calls := Calls(s)
	f := Finding{
		Key:    "edge-wont-make-it " + l.seam,
		Place:  onRun(l.seam),
		Limit:  "last cover rolled by " + s.Clock(calls.Cover),
		Since:  l.since,
		Asks:   l.about,
		Settle: "Leave later; or let two people stay, with fall protection and light, never one alone.",
		Answer: Answer{Label: "Leaving later", Kind: "leaving", Fields: map[string]any{}},
	}
	places := l.places
	for _, d := range s.stands().dutiesOn[l.seam] {
		f.places = append(f.places, where{name: d.Key(), on: d.seam, at: d.at})
	}
	for _, p := range l.rolled {
		places = append(places, p.Place)
		f.places = append(f.places, where{name: p.Key()})
		f.Entry = append(f.Entry, p.Roller)
	}
	for _, o := range l.gaps {
		f.places = append(f.places, where{name: l.seam, part: o.Part})
	}
	if len(l.gaps) > 0 {
		f.Settle = "Hold the rest of the seam short and seal it, in one piece of tape; or leave later; or let two people stay, with fall protection and light, never one alone."
	}
	what, will := onRun(l.seam), " would not be treated by tools down "
	if l.gone {
		will = " cannot be treated by tools down "
		if len(places) > 0 {
			what = sayPlaces(l.seam, places)
		}
	} else if at, ok := s.holdShort(l); ok {
		f.Settle = "" // all that can still be done
		f.Answer = Answer{Label: "Hold short", Kind: "held", Fields: map[string]any{"seam": l.seam, "from": at.From, "to": at.To, "one piece": true}}
	}
	down := s.Clock(calls.ToolsDown)
	f.Says = upper(what) + will + down
	if f.Asks {
		if l.gone && len(places) > 0 {
			what = "the " + what
		}
		f.Says = "Who stays to treat " + what + "? Tools down is " + down
		f.Settle = "Say who leaves later, or that the seam is held short; or correct the time."
	}
	switch n := len(l.rolled); {
	case n > 0:
		newest := slices.MaxFunc(l.rolled, func(a, b *daylog.Spot) int { return a.Rolled.At.Compare(b.Rolled.At) })
		f.Seen = "rolled " + s.when(newest.Rolled) + ", treatable from " + s.Clock(newest.Rolled.At.Add(s.wait()))
	case l.gone:
		f.Seen = daylog.Count(l.covers, "cover", "covers") + " still to be rolled"
	default:
		f.Seen = daylog.Count(l.covers, "cover", "covers") + " rolled about " + s.Clock(l.done) + " at the usual pace"
	}
	return f
}

// holdShort is how a seam of which nothing is begun would usually be held
// short, so that it owes no cover: before its angle changes. False: it is
// begun, or holding it short saves nothing.
func (s *Situation) holdShort(l late) (daylog.Part, bool) {
	if len(l.gaps) != 1 || l.gaps[0].stretch != nil {
		return daylog.Part{}, false
	}
	p := l.gaps[0].Part
	plan, _ := s.Roof.Layout().Seam(l.seam)
	for _, a := range plan.Angles {
		if a.At-p.From < p.To-a.At {
			p.From = max(p.From, a.At+heldBefore)
		} else {
			p.To = min(p.To, a.At-heldBefore)
		}
	}
	return p, p.From < p.To && p != l.gaps[0].Part
}
