package checks

import (
	"cmp"
	"slices"
	"time"

	"duskline/internal/daylog"
)

// judged is what the rules came to.
type judged struct {
	findings []Finding
	back     []Held
}

// Run judges the situation by every rule: what stands, the worst first. What
// was set aside is in the list with Aside set; what is held back is not.
func Run(s *Situation) []Finding { return s.judge().findings }

// Held is one reason for holding back warnings of things missing.
type Held struct {
	Words  string    // "not heard since 06:05"
	Device string    // not heard; "" for lines of a newer version
	Since  time.Time // the newest moment heard of it
	Places []string  // of the findings held back, each once
}

// HeldBack says what the rules keep to themselves, and why: a line that a
// newer version wrote, or another tablet that was there, may settle it.
func (s *Situation) HeldBack() []Held { return s.judge().back }

func (s *Situation) judge() *judged {
	if s.judged == nil {
		s.run(All())
	}
	return s.judged
}

func (s *Situation) run(rules []*Check) {
	s.judged = &judged{}
	var found []Finding
	for _, c := range rules {
		if c.When&s.At == 0 {
			continue
		}
		c.Run(s, func(f Finding) {
			f.Check = c
			if f.Grade != "" && f.Grade != c.Severity {
				graded := *c
				graded.Severity = f.Grade
				f.Check = &graded
			}
			if f.Source == (Source{}) {
				f.Source = c.Source
			}
			if f.Settle == "" {
				f.Settle = c.Settle
			}
			if c.Absence || f.absence {
				for _, w := range f.places {
					if !s.known(w, f.Since, f.Place) {
						return
					}
				}
			}
			f.Aside, f.Answered = s.aside(f), s.answered(f)
			found = append(found, f)
		})
	}
	slices.SortStableFunc(found, func(a, b Finding) int {
		if c := cmp.Compare(a.Check.Severity.rank(), b.Check.Severity.rank()); c != 0 {
			return c
		}
		if a.Asks != b.Asks { // what is sure comes before what is asked
			if b.Asks {
				return -1
			}
			return 1
		}
		if c := a.Since.Compare(b.Since); c != 0 {
			return c
		}
		return cmp.Compare(a.Key, b.Key)
	})
	s.judged.findings = found
}

// known reports whether what seems to be missing at a place since some moment
// may be said. If not, it notes why it is held back. A rule that says several
// places in one breath asks for each.
func (s *Situation) known(w where, since time.Time, place string) bool {
	h, unsure := s.unsure(w, since)
	if unsure {
		s.hold(h, place)
	}
	return !unsure
}

// hold notes that something about a place is held back, and why.
func (s *Situation) hold(h Held, place string) {
	back := &s.judged.back
	i := slices.IndexFunc(*back, func(b Held) bool { return b.Device == h.Device })
	if i < 0 {
		i, *back = len(*back), append(*back, h)
	}
	if !slices.Contains((*back)[i].Places, place) {
		(*back)[i].Places = append((*back)[i].Places, place)
	}
}

// unheardAfter gives another tablet of the crew that was not heard after a
// moment: one that wrote today, or on the last day before. What it wrote since
// nobody here knows.
func (s *Situation) unheardAfter(moment time.Time) (Held, bool) {
	heard := map[string]time.Time{}
	for _, d := range []*daylog.Day{s.Job.Before(s.Day.Date), s.Day} {
		if d == nil {
			continue
		}
		for _, l := range d.Lines {
			if k := daylog.KindOf(l.Body); k != nil && k.Writes == daylog.Crew && l.Device != s.Self && l.Made.After(heard[l.Device]) {
				heard[l.Device] = l.Made
			}
		}
	}
	var oldest Held
	for device, at := range heard {
		at = later(at, s.Heard[device])
		if !at.After(moment) && (oldest.Device == "" || at.Before(oldest.Since) || at.Equal(oldest.Since) && device < oldest.Device) {
			oldest = Held{Words: "not heard since " + s.Clock(at), Device: device, Since: at}
		}
	}
	return oldest, oldest.Device != ""
}

// unsure tells why something may only seem to be missing: a newer version
// wrote a line that this one cannot read, or another tablet logged there today
// and was not heard again since it came to be missing.
func (s *Situation) unsure(w where, since time.Time) (Held, bool) {
	if s.Day.Newer > 0 {
		return Held{Words: "written by a newer version"}, true
	}
	if since.IsZero() || since.After(s.Now) {
		since = s.Now
	}
	for _, a := range s.stands().acts[w.name] {
		if h, ok := s.unheard(a, since); ok && w.meets(a.Part) {
			return h, true
		}
	}
	for _, a := range s.stands().acts[w.on] {
		if h, ok := s.unheard(a, since); ok && a.Part.From <= w.at && w.at <= a.Part.To {
			return h, true
		}
	}
	return Held{}, false
}

// unheard reports whether another tablet wrote of an act and was not heard
// after a moment.
func (s *Situation) unheard(a *daylog.Act, moment time.Time) (Held, bool) {
	for _, e := range a.Line.Members() {
		if heard, ok := s.Heard[e.Device]; ok && e.Device != s.Self && !heard.After(moment) {
			return Held{Words: "not heard since " + s.Clock(heard), Device: e.Device, Since: heard}, true
		}
	}
	return Held{}, false
}

func (w where) meets(p daylog.Part) bool {
	all := daylog.Part{}
	return w.part == all || p == all || w.part.Overlap(p) > 0
}

// rank orders severities, the gravest first.
func (v Severity) rank() int {
	return slices.Index([]Severity{People, Stop, Today, Notice, Managed}, v)
}

// left reports whether what belongs to a day counts as left: it is of an
// earlier day, or the day's tools are down, or its page for leaving is open,
// or the day is signed.
func (s *Situation) left(of daylog.Date) bool {
	return of < s.Day.Date || s.At&ToolsDown != 0 || s.Day.Signed()
}
