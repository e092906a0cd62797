package daylog

import (
	"cmp"
	"iter"
	"slices"
	"time"

	"duskline/internal/roofplan"
)

// Job is what a set of entries comes to.
type Job struct {
	ID   string
	Days []*Day // every day that has an entry, in order

	first   *Setup // in force before the first of Days
	opening *Roof  // the roof before the first of Days
	past    []SignedDay
}

// SignedDay is a day before the ones that were folded, as an opening keeps it.
type SignedDay struct {
	Date   Date `json:"date"`
	Signed bool `json:"signed,omitempty"`
}

// Setup is what the office has said of the job, as in force on one day.
type Setup struct {
	Name       string             `json:"name,omitempty"`
	Zone       string             `json:"zone,omitempty"`  // IANA name
	Start      string             `json:"start,omitempty"` // usual start, "07:00" job time
	Leaving    string             `json:"leaving,omitempty"`
	Packup     int                `json:"packup,omitzero"`    // min before leaving that tools go down
	Invented   bool               `json:"invented,omitempty"` // demo data
	Break      string             `json:"break,omitempty"`    // usual break and lunch, where not as usual
	Lunch      string             `json:"lunch,omitempty"`
	Contractor string             `json:"contractor,omitempty"`
	Plan       roofplan.Plan      `json:"plan,omitzero"`
	Limits     map[string]float64 `json:"limits,omitempty"`  // by name, where not the default
	Reasons    map[string]Reason  `json:"reasons,omitempty"` // of Limits
	Persons    []Person           `json:"persons,omitempty"`
	Scope      Scope              `json:"scope,omitzero"`
	Details    []Penetration      `json:"details,omitempty"` // pipes, drains, curbs on the plan
	Stones     []ApprovedStone    `json:"stones,omitempty"`

	Place     string       `json:"place,omitempty"`
	Lat       float64      `json:"lat,omitempty"` // degrees north; with Lon 0: not set
	Lon       float64      `json:"lon,omitempty"` // degrees east
	Week      []WeekHours  `json:"week,omitempty"`
	DaysOff   []DayOff     `json:"days off,omitempty"` // by date
	Zones     BallastZones `json:"zones,omitzero"`
	Materials []Approved   `json:"materials,omitempty"`
	Lots      []JobLot     `json:"lots,omitempty"`

	layout *roofplan.Layout
	flaw   error // why the plan could not be laid
}

// PlanFlaw says why the plan in force cannot be laid; nil if it can.
func (s *Setup) PlanFlaw() error { return s.flaw }

// Title names the job, also where nobody has named it yet.
func (s *Setup) Title() string { return cmp.Or(s.Name, "Job without a name") }

// Person gives the person with an id.
func (s *Setup) Person(id string) (Person, bool) {
	for _, p := range s.Persons {
		if p.Person == id {
			return p, true
		}
	}
	return Person{}, false
}

// Name gives a person's name, or the id where the set-up has none.
func (s *Setup) PersonName(id string) string {
	if p, ok := s.Person(id); ok {
		return p.Name
	}
	return id
}

// Day is one day of work, from the roof it opened with.
type Day struct {
	Date    Date
	Setup   *Setup
	Opening *Roof
	Roof    *Roof   // after the day's entries
	Lines   []*Line // in order; set-up that holds from this day too

	Crew       []string             // on the roof, as the start names them
	Started    When                 // zero: nobody started it
	Packup     int                  // min
	Leaves     map[string]time.Time // person ("" everybody else) -> off the roof
	Weather    []WeatherLine
	Fall       []FallLine
	Cold       []ColdLine    // the last one counts
	Stops      []WeatherStop // in the order of their beginning
	Drains     []DrainLine
	Torn       float64 // sq ft torn off
	Insulated  float64 // sq ft of insulation laid
	ClosedIn   float64 // sq ft closed by something other than a panel
	Reviews    []ReviewLine
	Asides     []AsideLine
	Answers    []AnsweredLine
	Asked      []AskedLine // off the record
	Acts       []Act       // what was done where, in order
	Signatures []Signature
	Newer      int // lines by a newer version: rules of absence hold back
}

// Line is an entry together with its corrections and strikes.
type Line struct {
	*Entry          // the member that counts; for a struck line the one that counted before
	Struck *Entry   // the strike, if the heaviest member is one
	Past   []*Entry // the other members, lightest first
	Root   string   // id of the first entry
	After  bool     // not covered by the day's first signature, or changed since
}

// WeatherLine is one reading.
type WeatherLine struct {
	When
	*WeatherReading
	Entry string
}

// FallLine is fall protection as noted.
type FallLine struct {
	When
	*FallProtection
	Entry string
}

// ColdLine is a plan for the cold.
type ColdLine struct {
	When
	*ColdPlan
	Entry string
}

// DrainLine is one look at the drains. Clear empty: all that are not Blocked.
type DrainLine struct {
	When
	Clear, Blocked []string
	Entry          string
}

// AsideLine is a warning set aside.
type AsideLine struct {
	*SetAside
	Line *Line
}

// Act is one piece of work at one place, as the rules read it.
type Act struct {
	Kind  string
	Place string // panel, seam, joint or end
	Part         // along a seam or panel; zero: all of it or a point
	Began When
	Ended When
	Line  *Line
}

// Signature is a signing of the day.
type Signature struct {
	*Sign
	Line *Line
}

// Leaving is when the last people leave; zero while nobody has said.
func (d *Day) Leaving() time.Time {
	var last time.Time
	for _, t := range d.Leaves {
		if t.After(last) {
			last = t
		}
	}
	return last
}

// ToolsDown is Leaving less the time to pack up.
func (d *Day) ToolsDown() time.Time {
	last := d.Leaving()
	if last.IsZero() {
		return last
	}
	return last.Add(-time.Duration(d.Packup) * time.Minute)
}

// Signed reports whether the day has been signed.
func (d *Day) Signed() bool { return len(d.Signatures) > 0 }

// Worked reports whether anything but set-up was written.
func (d *Day) Worked() bool {
	for _, l := range d.Lines {
		if k := KindOf(l.Body); k == nil || k.Group != SetUp {
			return true
		}
	}
	return false
}

// act notes work at a place.
func (d *Day) act(l *Line, place string, part Part) {
	d.Acts = append(d.Acts, Act{Kind: l.Kind, Place: place, Part: part, Began: l.Began(), Ended: l.Ended(), Line: l})
}

// Each gives the day's lines that say a B, in order; struck ones are left out.
// It is how rules find what the roof keeps nothing of.
func Each[B Body](d *Day) iter.Seq2[*Line, B] {
	return func(yield func(*Line, B) bool) {
		for _, l := range d.Lines {
			if b, ok := l.Body.(B); ok && l.Struck == nil && !yield(l, b) {
				return
			}
		}
	}
}

// On gives the day of a date: as folded, or an empty one that opens with what
// stood before it. Only dates from the first folded day on can be asked for;
// earlier ones open with what stood at the beginning.
func (j *Job) On(date Date) *Day {
	i, found := slices.BinarySearchFunc(j.Days, date, func(d *Day, date Date) int { return cmp.Compare(d.Date, date) })
	if found {
		return j.Days[i]
	}
	setup, roof := j.first, j.opening
	if i > 0 {
		setup, roof = j.Days[i-1].Setup, j.Days[i-1].closing()
	}
	d := newDay(date, setup, roof)
	d.settleSetup()
	d.Opening = d.Roof
	return d
}

// Before gives the last folded day before a date that was worked; nil if none.
func (j *Job) Before(date Date) *Day {
	for _, d := range slices.Backward(j.Days) {
		if d.Date < date && d.Worked() {
			return d
		}
	}
	return nil
}

// closing is the roof the day leaves to the next one.
func (d *Day) closing() *Roof {
	r := d.Roof.clone(d.Date)
	r.settle()
	return r
}

func newDay(date Date, setup *Setup, roof *Roof) *Day { return dayOn(date, setup, roof.clone(date)) }

// dayOn is a day on a roof of its own.
func dayOn(date Date, setup *Setup, r *Roof) *Day {
	r.day, r.layout = date, setup.layout
	return &Day{Date: date, Setup: setup, Roof: r, Packup: setup.HoursOn(date).Packup, Leaves: map[string]time.Time{}}
}

// Fold makes a job of a set of its entries. Their order and repeats do not
// matter.
func Fold(job string, entries []Entry) *Job {
	return fold(job, entries, &Job{ID: job, first: blank(), opening: &Roof{Finished: map[string]Date{}, layout: noLayout}})
}

var noLayout = &roofplan.Layout{}

func blank() *Setup { return &Setup{Packup: 20, layout: noLayout} }

func fold(job string, entries []Entry, j *Job) *Job {
	held := make([]*Entry, len(entries))
	for i := range entries {
		held[i] = &entries[i]
	}
	lines := group(held)
	forks := forksOf(job, held)
	setup, roof := j.first, j.opening.clone("")
	for len(lines) > 0 {
		date := lines[0].Day
		n := 1
		for n < len(lines) && lines[n].Day == date {
			n++
		}
		d := dayOn(date, setup, roof)
		d.Lines = lines[:n:n]
		lines = lines[n:]
		d.run(forks)
		j.Days = append(j.Days, d)
		setup, roof = d.Setup, d.closing()
	}
	return j
}

// run applies the day's lines: set-up first, since it holds for all of the
// day, by who knew more; then the work in its order.
func (d *Day) run(forks []Branch) {
	var office, work []*Line
	for _, l := range d.Lines {
		switch k := KindOf(l.Body); {
		case k == nil:
			d.Newer++
		case l.Struck != nil:
		case k.Group == SetUp:
			office = append(office, l)
		default:
			work = append(work, l)
		}
	}
	d.Lines = slices.DeleteFunc(d.Lines, offRecord)
	if len(office) > 0 {
		slices.SortStableFunc(office, func(a, b *Line) int { return a.weigh(b.Entry) })
		c := *d.Setup
		d.Setup = &c
		for _, l := range office {
			l.Body.apply(d, l)
		}
	}
	d.settleSetup()
	d.Opening = d.Roof.clone(d.Date)
	if len(work) > 0 { // most lines are work at one or two places
		d.Acts = make([]Act, 0, len(work)+len(work)/2)
	}
	for _, l := range work {
		l.Body.apply(d, l)
	}
	d.markAfter(forks)
}

// settleSetup brings the roof in line with the set-up in force.
func (d *Day) settleSetup() {
	d.Roof.layout = d.Setup.layout
	d.Packup = d.Usual().Packup
}

// markAfter tells lines that the first signature does not cover.
func (d *Day) markAfter(forks []Branch) {
	if len(d.Signatures) == 0 {
		return
	}
	first := d.Signatures[0]
	covered := cover(first.Vector, forks)
	for _, l := range d.Lines {
		if _, sign := l.Body.(*Sign); sign && l.Root == first.Line.Root {
			continue
		}
		l.After = !covered.holds(l.Entry) || l.Struck != nil && !covered.holds(l.Struck)
		for _, p := range l.Past {
			l.After = l.After || !covered.holds(p)
		}
	}
}

// group puts entries into lines, each with its corrections and strikes, in the
// one order. A correction or strike of another day than what it names changes
// nothing there: it stands as a line of its own.
func group(entries []*Entry) []*Line {
	type at struct {
		day Date
		id  string
	}
	byID := make(map[at]*Entry, len(entries))
	unique := make([]*Entry, 0, len(entries))
	type place struct {
		stream string
		seq    int64
	}
	seen := make(map[place]bool, len(entries))
	follow := 0
	for _, e := range entries {
		p := place{e.Stream, e.Seq}
		if seen[p] {
			continue
		}
		seen[p] = true
		unique = append(unique, e)
		if e.Of == "" {
			byID[at{e.Day, e.ID}] = e
			continue
		}
		follow++
		if known, ok := byID[at{e.Day, e.ID}]; !ok || known.Of != "" && e.weigh(known) < 0 {
			byID[at{e.Day, e.ID}] = e
		}
	}
	root := func(e *Entry) string {
		id := e.ID
		for hops := 0; e.Of != "" && hops <= follow; hops++ {
			id = e.Of
			named, ok := byID[at{e.Day, id}]
			if !ok || named == e {
				break
			}
			e = named
		}
		return id
	}
	// Most entries are alone in their line; only the others need the map.
	members := make(map[at][]*Entry, 2*follow)
	for _, e := range unique {
		if e.Of != "" {
			members[at{e.Day, root(e)}] = nil
		}
	}
	lines := make([]*Line, 0, len(unique))
	store := make([]Line, len(unique))
	add := func(l Line) {
		store[len(lines)] = l
		lines = append(lines, &store[len(lines)])
	}
	twice := make(map[at]*Line)
	for _, e := range unique {
		key := at{e.Day, e.ID}
		if e.Of != "" {
			key.id = root(e)
		}
		if m, many := members[key]; many {
			members[key] = append(m, e)
		} else if known := byID[key]; known != e && known != nil {
			// One id with different bytes: a fork wrote it twice.
			members[key] = []*Entry{e}
			twice[key] = nil
		} else {
			add(Line{Entry: e, Root: e.ID})
		}
	}
	if len(twice) > 0 { // rare: gather what was already put alone
		kept := lines[:0]
		for _, l := range lines {
			key := at{l.Day, l.Root}
			if _, many := twice[key]; many {
				members[key] = append(members[key], l.Entry)
			} else {
				kept = append(kept, l)
			}
		}
		lines = kept
	}
	var more []*Line
	for key, m := range members {
		more = append(more, lineOf(key.id, m))
	}
	lines = append(lines, more...)
	slices.SortFunc(lines, func(a, b *Line) int {
		switch {
		case a.Entry.before(b.Entry):
			return -1
		case b.Entry.before(a.Entry):
			return 1
		}
		return 0
	})
	return lines
}

// lineOf makes a line of the members of a group: the heaviest counts.
func lineOf(root string, members []*Entry) *Line {
	slices.SortFunc(members, func(a, b *Entry) int { return a.weigh(b) })
	l := &Line{Root: root}
	last := len(members) - 1
	l.Entry, l.Past = members[last], members[:last:last]
	if !isStrike(l.Entry) {
		return l
	}
	l.Struck = l.Entry
	for i := last - 1; i >= 0; i-- {
		if !isStrike(members[i]) {
			l.Entry = members[i]
			l.Past = slices.Delete(slices.Clone(members[:last]), i, i+1)
			return l
		}
	}
	return l // what it strikes is not here: the strike stands alone
}

func isStrike(e *Entry) bool {
	_, is := e.Body.(*Strike)
	return is
}
