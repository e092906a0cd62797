package script

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// Moment is an instant of a day, looked at from one device, and what the
// rules say there.
type Moment struct {
	Line   int // of the script; the first that speaks of it
	Day    daylog.Date
	At     time.Time
	Device string
	// Leaving says that the page of what must be done before leaving is open.
	Leaving bool
	Expect  []Expectation
	// Exact says that nothing stands but what is expected.
	Exact bool
}

// Says is what a rule does at a moment.
type Says string

const (
	Accuses  Says = "accuses"
	Asks     Says = "asks"
	SetAside Says = "set aside"
	Gone     Says = "gone"   // it spoke before, and no longer does
	Silent   Says = "silent" // it does not speak
	// MayAsk is for batches: it may ask, and need not.
	MayAsk Says = "may ask"
)

// Expectation is what one rule says at a moment, at one place or anywhere.
type Expectation struct {
	Line  int
	Says  Says
	Rule  string
	Place string // Place.Key, or the name of a panel or seam; "" for anywhere
	Part  *daylog.Part
	Words string // that are among those of the warning
}

func (e Expectation) String() string {
	out := string(e.Says) + " " + e.Rule
	if e.Place != "" {
		out += " on " + e.Place
	}
	if e.Part != nil {
		out += " " + e.Part.From.String() + " to " + e.Part.To.String()
	}
	if e.Words != "" {
		out += ", saying " + quote(e.Words)
	}
	return out
}

// Found is a warning that rules raised, in the form that Judge reads.
type Found struct {
	Rule   string
	Places []Where // all that it speaks of
	Says   string
	Asks   bool
	Aside  bool // set aside
}

// Where is a place of a warning: Place.Key for a cover or splice, or the name
// of a panel or seam, and of a seam the part if it is not all of it.
type Where struct {
	Name string
	Part daylog.Part
}

func (f Found) verdict() Says {
	switch {
	case f.Aside:
		return SetAside
	case f.Asks:
		return Asks
	}
	return Accuses
}

func (f Found) String() string {
	names := make([]string, len(f.Places))
	for i, w := range f.Places {
		names[i] = w.Name
		if w.Part.To > 0 {
			names[i] += " " + w.Part.From.String() + " to " + w.Part.To.String()
		}
	}
	out := string(f.verdict()) + " " + f.Rule
	if len(names) > 0 {
		out += " on " + join(names)
	}
	return out + ": " + quote(f.Says)
}

// names reports whether the expectation is about a place: that place itself,
// or the seam it is on.
func (e Expectation) names(w Where) bool {
	switch {
	case e.Place == "":
		return true
	case e.Place == w.Name:
		return e.Part == nil || *e.Part == w.Part
	}
	on, edge := strings.CutPrefix(w.Name, e.Place)
	return edge && e.Part == nil && sortOf(e.Place) == aSeam && (on[0] == '@' || on[0] == ' ')
}

func (e Expectation) is(f Found) bool {
	return e.Rule == f.Rule && strings.Contains(f.Says, e.Words) && (e.Place == "" || slices.ContainsFunc(f.Places, e.names))
}

// sort tells panels, seams and spots on them apart by their names.
type sort int

const (
	aPanel sort = iota
	aSeam
	aSpot
)

func sortOf(name string) sort {
	switch {
	case strings.ContainsAny(name, "@ ") || strings.Count(name, "|") > 1:
		return aSpot
	case strings.Contains(name, "|"):
		return aSeam
	}
	return aPanel
}

// Judge compares what was found at the moment with what is expected, and says
// what differs, a sentence each.
func (m Moment) Judge(found []Found) []string {
	var out []string
	complained := make([]bool, len(found))
	for _, e := range m.Expect {
		met, other := false, -1
		for i, f := range found {
			switch v := f.verdict(); {
			case !e.is(f):
			case e.Says == v, v == SetAside && e.Says != Accuses && e.Says != Asks, e.Says == MayAsk && v == Asks:
				met = true
			case other < 0 || complained[other]:
				other = i
			}
		}
		wanted := e.Says == Accuses || e.Says == Asks || e.Says == SetAside
		switch {
		case other >= 0 && !(wanted && met):
			complained[other] = true
			out = append(out, fmt.Sprintf("line %d: %s, but the rules: %s", e.Line, e, found[other]))
		case wanted && !met:
			out = append(out, fmt.Sprintf("line %d: %s, but it does not speak", e.Line, e))
		}
	}
	for i, f := range found {
		if m.Exact && !f.Aside && !complained[i] && !m.accounts(f) {
			what := "nothing more is expected"
			if slices.ContainsFunc(m.Expect, func(e Expectation) bool { return e.is(f) }) {
				what = "of " + f.Rule + " less is expected"
			}
			out = append(out, fmt.Sprintf("line %d: %s, but the rules: %s", m.Line, what, f))
		}
	}
	return out
}

// May gives the moment with all that was found live at the same instant
// allowed to ask, and nothing else to speak: for holding a day that is written
// in batches against the same day written live.
func (m Moment) May(live []Found) Moment {
	m.Expect = slices.DeleteFunc(slices.Clone(m.Expect), func(e Expectation) bool { return e.Says != Silent && e.Says != Gone })
	m.Exact = true
	for _, f := range live {
		if len(f.Places) == 0 {
			m.Expect = append(m.Expect, Expectation{Line: m.Line, Says: MayAsk, Rule: f.Rule})
		}
		for _, w := range f.Places {
			e := Expectation{Line: m.Line, Says: MayAsk, Rule: f.Rule, Place: w.Name}
			if w.Part != (daylog.Part{}) {
				e.Part = &w.Part
			}
			m.Expect = append(m.Expect, e)
		}
	}
	return m
}

// accounts reports whether what was found is expected with all of its places:
// of panels, seams and spots, all of the sort that is named at all.
func (m Moment) accounts(f Found) bool {
	var about []Expectation
	for _, e := range m.Expect {
		if e.is(f) && (e.Says == f.verdict() || e.Says == MayAsk && f.Asks) {
			about = append(about, e)
		}
	}
	for _, w := range f.Places {
		same := func(e Expectation) bool { return e.Place != "" && sortOf(e.Place) == sortOf(w.Name) }
		named := func(e Expectation) bool { return e.names(w) }
		if slices.ContainsFunc(about, same) && !slices.ContainsFunc(about, named) {
			return false
		}
	}
	return len(about) > 0
}

// stated is a line of a moment as it was read.
type stated struct {
	no       int
	day      int
	from, to clock
	lasts    bool
	allDay   bool
	device   string
	leaving  bool
	says     Says // "" for nothing
	rules    []string
	where    []Expectation
	words    string
	others   bool
}

// moment reads: @15:05 accuses edge-early on 2|3 at 41 ft.
func (p *parser) moment(r *reader) error {
	st := stated{no: p.no, day: p.day}
	if p.day < 0 {
		return errors.New("moments belong to a day; above them write: day 2026-10-06")
	}
	first := r.words[0].text[1:]
	r.at = 1
	if first == "all" && r.take("day") {
		st.allDay = true
	} else {
		var ok bool
		if st.from, st.to, st.lasts, ok = span(first); !ok || st.lasts && st.to.order() <= st.from.order() {
			return fmt.Errorf("%s is not a moment; write @10:12, @10:12-15:00 or @all day", shown(r.words[0].text))
		}
	}
	for more := true; more; {
		switch {
		case r.take("tablet"):
			name, ok := r.next("a tablet's name")
			if !ok {
				return r.err()
			}
			st.device = name
		case r.take(Office):
			st.device = Office
		case r.take("leaving"):
			st.leaving = true
		default:
			more = false
		}
	}
	switch {
	case r.take("nothing"):
	case r.take("accuses"):
		st.says = Accuses
	case r.take("asks"):
		st.says = Asks
	case r.take("set", "aside"):
		st.says = SetAside
	case r.take("gone"):
		st.says = Gone
	case r.take("silent"):
		st.says = Silent
	default:
		for _, verb := range []Says{Accuses, Asks, SetAside, Gone, Silent, "nothing"} {
			r.await(string(verb))
		}
		return r.err()
	}
	r.open = momentClauses
	if st.says != "" {
		rule := func() bool {
			name, ok := r.next("a rule")
			st.rules = append(st.rules, name)
			return ok
		}
		if !r.items(rule) {
			return r.err()
		}
		if len(st.rules) == 1 && r.take("on") {
			var ok bool
			if st.where, ok = r.where(); !ok {
				return r.err()
			}
		}
	}
	v := values{}
	if !r.rest(v) {
		return r.err()
	}
	st.words, _ = v["words"].(string)
	_, st.others = v["others"]
	if st.others && st.says != Accuses && st.says != Asks {
		return errors.New("among others is said of what accuses or asks")
	}
	if p.variant != nil {
		p.variant.moments = append(p.variant.moments, st)
	} else {
		p.s.moments = append(p.s.moments, st)
	}
	return nil
}

var momentClauses = []clause{
	{parts: []part{{words: []string{"saying"}}, {slot: &slot{Field: daylog.Field{Name: "words", Type: daylog.Text}}}}},
	{parts: []part{{words: []string{"among"}}, {words: []string{"others"}}, {slot: &slot{Field: daylog.Field{Name: "others"}, value: true}}}},
}

// where reads where a rule speaks: panel 3, 4|5 0 to 50 ft, 2|3 at 41 ft and
// south.
func (r *reader) where() ([]Expectation, bool) {
	var out []Expectation
	if r.is("panel") || r.take("panels") {
		list, ok := readPanels(r, daylog.Field{}, nil)
		if !ok {
			return nil, false
		}
		for _, name := range list.([]any) {
			out = append(out, Expectation{Place: name.(string)})
		}
		return out, true
	}
	on, what := "", daylog.Cover
	ok := r.items(func() bool {
		start, names := r.at, len(r.names)
		if seam, ok := r.seam(); ok && what == daylog.Cover {
			v := values{}
			if r.between(v) {
				on = seam.(string)
				part := daylog.Part{From: roofplan.Length(v["from"].(float64)), To: roofplan.Length(v["to"].(float64))}
				out = append(out, Expectation{Place: on, Part: &part})
				return true
			}
			if r.done() || r.parting() > 0 {
				on = seam.(string)
				out = append(out, Expectation{Place: on})
				return true
			}
		}
		r.at, r.names = start, r.names[:names]
		place, ok := r.place(&on, &what)
		if !ok {
			return false
		}
		v := place.(values)
		at, _ := v["at"].(float64)
		said, _ := v["what"].(string)
		key := daylog.Place{On: v["on"].(string), At: roofplan.Length(at), What: daylog.What(said)}.Key()
		out = append(out, Expectation{Place: key})
		return true
	})
	return out, ok
}

// lookEvery is how close the moments of a span are to each other, at least.
const lookEvery = 5 * time.Minute

// momentsOf gives the moments of a log, in order of time. Live they are those
// that were stated. In the other modes there is one right after each batch:
// what stands there live, by the last moment stated before it, may ask, and
// nothing else may speak.
func (s *Script) momentsOf(g *Log, batches [][]time.Time) ([]Moment, error) {
	var out []Moment
	home := s.tablets[0]
	if slices.Contains(s.tablets, "a") {
		home = "a"
	}
	spoke := map[string]bool{}
	var others []bool // by moment: a line said "among others"
	type key struct {
		day     int
		at      int64
		device  string
		leaving bool
	}
	seen := map[key]int{}
	order := slices.Clone(s.moments)
	slices.SortStableFunc(order, func(a, b stated) int {
		if a.day != b.day {
			return a.day - b.day
		}
		return s.momentOrder(a) - s.momentOrder(b)
	})
	for _, st := range order {
		if st.device == "" {
			st.device = home
		} else if !slices.Contains(g.devices, st.device) {
			return nil, s.at(st.no, fmt.Errorf("nothing is written on tablet %s", shown(st.device)))
		}
		for _, rule := range st.rules {
			switch st.says {
			case Accuses, Asks:
				spoke[rule] = true
			case Gone:
				if !spoke[rule] {
					return nil, s.at(st.no, fmt.Errorf("%s never spoke before: write silent, or first say at which moment it accuses", rule))
				}
			}
		}
		instants, err := s.lookAt(st, g)
		if err != nil {
			return nil, s.at(st.no, err)
		}
		for _, at := range instants {
			k := key{st.day, at.Unix(), st.device, st.leaving}
			i, known := seen[k]
			if !known {
				i = len(out)
				seen[k] = i
				out = append(out, Moment{Line: st.no, Day: s.dates[st.day], At: at, Device: st.device, Leaving: st.leaving})
				others = append(others, false)
			}
			out[i].state(st)
			others[i] = others[i] || st.others
		}
	}
	for i := range out {
		out[i].Exact = out[i].Exact && !others[i]
	}
	slices.SortStableFunc(out, func(a, b Moment) int { return a.At.Compare(b.At) })
	if g.Mode == Live {
		return out, nil
	}
	return s.afterBatches(g, out, batches), nil
}

func (s *Script) momentOrder(st stated) int {
	if st.allDay {
		return -1
	}
	return st.from.order()
}

func (m *Moment) state(st stated) {
	switch st.says {
	case "", Accuses, Asks:
		m.Exact = true
	}
	for _, rule := range st.rules {
		where := st.where
		if len(where) == 0 {
			where = []Expectation{{}}
		}
		for _, e := range where {
			e.Line, e.Says, e.Rule, e.Words = st.no, st.says, rule, st.words
			m.Expect = append(m.Expect, e)
		}
	}
}

// lookAt gives the instants of a stated moment: of a span each at which
// something is written, and not more than 5 min between two.
func (s *Script) lookAt(st stated, g *Log) ([]time.Time, error) {
	if !st.lasts && !st.allDay {
		at, err := s.instant(st.day, st.from)
		return []time.Time{at}, err
	}
	var from, to time.Time
	if st.lasts {
		var err error
		if from, err = s.instant(st.day, st.from); err != nil {
			return nil, err
		}
		if to, err = s.instant(st.day, st.to); err != nil {
			return nil, err
		}
	} else {
		for _, l := range s.lines {
			if l.day != st.day || !l.timed {
				continue
			}
			begun, err := s.instant(l.day, l.from)
			if err != nil {
				return nil, err
			}
			over, err := s.written(l)
			if err != nil {
				return nil, err
			}
			if from.IsZero() || begun.Before(from) {
				from = begun
			}
			if over.After(to) {
				to = over
			}
		}
		if from.IsZero() {
			return nil, errors.New("nothing is written on this day")
		}
	}
	var out []time.Time
	for at := from; at.Before(to); at = at.Add(lookEvery) {
		out = append(out, at)
	}
	out = append(out, to)
	for _, w := range g.Entries {
		if !w.Made.Before(from) && !w.Made.After(to) {
			out = append(out, w.Made)
		}
	}
	slices.SortFunc(out, time.Time.Compare)
	return slices.CompactFunc(out, time.Time.Equal), nil
}

// afterBatches turns the stated moments into those right after each batch.
func (s *Script) afterBatches(g *Log, live []Moment, batches [][]time.Time) []Moment {
	var out []Moment
	for day, date := range s.dates {
		for _, at := range batches[day] {
			for _, device := range s.tablets {
				wrote := slices.ContainsFunc(g.Entries, func(w Written) bool {
					return w.Device == device && w.Day == date && w.Made.Equal(at)
				})
				if m, known := standing(live, date, device, at); wrote && known {
					m.At = at
					out = append(out, m)
				}
			}
		}
	}
	return out
}

// standing gives what stands on a device at an instant by the moments stated
// up to then. It is not known while none of them says what stands.
func standing(live []Moment, date daylog.Date, device string, at time.Time) (Moment, bool) {
	out := Moment{Day: date, Device: device}
	known := false
	for _, m := range live {
		if m.Day != date || m.Device != device || m.Leaving || m.At.After(at) {
			continue
		}
		if m.Exact {
			out.Expect, out.Exact = nil, true
		} else if slices.ContainsFunc(m.Expect, func(e Expectation) bool { return e.Says == Accuses || e.Says == Asks }) {
			out.Exact = false
		}
		known, out.Line = true, m.Line
		for _, e := range m.Expect {
			out.Expect = slices.DeleteFunc(out.Expect, func(o Expectation) bool {
				return o.Rule == e.Rule && (e.Place == "" || o.Place == e.Place)
			})
			switch e.Says {
			case Accuses, Asks, SetAside:
				e.Says, e.Words = MayAsk, "" // a question has other words
			default:
				e.Says = Silent
			}
			out.Expect = append(out.Expect, e)
		}
	}
	return out, known
}
