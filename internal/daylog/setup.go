package daylog

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"duskline/internal/roofplan"
)

// JobSetup names the job and its usual hours.
type JobSetup struct {
	Name     string `json:"name"`
	Zone     string `json:"zone"`              // IANA time zone
	Start    string `json:"start,omitempty"`   // usual start, "07:00" job time
	Leaving  string `json:"leaving,omitempty"` // usual leaving, "16:30" job time
	Packup   int    `json:"packup,omitzero"`   // min before leaving that tools go down
	Break    string `json:"break,omitempty"`   // usual break, "09:30" job time
	Lunch    string `json:"lunch,omitempty"`   // usual lunch, "12:30" job time
	Invented bool   `json:"invented,omitempty"`
	// Contractor is the firm that makes the record, as the contract names it.
	Contractor string `json:"contractor,omitempty"`

	Place string  `json:"place,omitempty"` // where the roof is, in words
	Lat   float64 `json:"lat,omitempty"`   // degrees north
	Lon   float64 `json:"lon,omitempty"`   // degrees east
}

var jobKind = Kind{
	Name: "job", Title: "Job", Group: SetUp, Writes: Office,
	Script: jobScript,
	New:    func() Body { return new(JobSetup) },
	Fields: jobFields,
	Say:    func(_ *Day, b Body) string { return b.(*JobSetup).Name },
}

// When a crew usually stops: common practice, no source.
const (
	usualBreak = "09:30"
	usualLunch = "12:30"
)

// BreakAt and LunchAt are when the crew usually stops, job time.
func (s *Setup) BreakAt() string { return cmp.Or(s.Break, usualBreak) }
func (s *Setup) LunchAt() string { return cmp.Or(s.Lunch, usualLunch) }

func (*JobSetup) kind() *Kind { return &jobKind }

func (b *JobSetup) apply(d *Day, l *Line) {
	s := d.Setup
	s.Name, s.Zone, s.Start, s.Leaving, s.Invented, s.Contractor = b.Name, b.Zone, b.Start, b.Leaving, b.Invented, b.Contractor
	s.Break, s.Lunch = b.Break, b.Lunch
	s.Place, s.Lat, s.Lon = b.Place, b.Lat, b.Lon
	if b.Packup > 0 {
		s.Packup = b.Packup
	}
}

// PlanSetup is the roof plan.
type PlanSetup struct {
	roofplan.Plan
}

var planKind = Kind{
	Name: "plan", Title: "Roof plan", Group: SetUp, Writes: Office,
	New:    func() Body { return new(PlanSetup) },
	Fields: func(d *Day) []Field { return nil },
	Say:    func(_ *Day, b Body) string { return "roof plan" },
}

func (*PlanSetup) kind() *Kind { return &planKind }

func (b *PlanSetup) apply(d *Day, l *Line) {
	d.Setup.Plan = b.Plan
	d.Setup.lay()
	d.Roof.refit(d.Setup.layout)
}

// lay derives the layout of the plan in force. A plan that cannot be laid
// leaves an empty layout and says why.
func (s *Setup) lay() {
	if len(s.Plan.Outline) == 0 && len(s.Plan.Rows) == 0 && len(s.Plan.Panels) == 0 {
		s.layout, s.flaw = noLayout, nil
		return
	}
	s.layout, s.flaw = s.Plan.Lay()
	if s.flaw != nil {
		s.layout = noLayout
	}
}

// LimitSetup sets one limit of the job.
type LimitSetup struct {
	Limit string  `json:"limit"` // rule's id, a dot, quantity with unit: "edge-early.wait_min"
	Value float64 `json:"value"`
}

var limitKind = Kind{
	Name: "limit", Title: "Limit", Group: SetUp, Writes: Office,
	Script: limitScript,
	New:    func() Body { return new(LimitSetup) },
	Fields: limitFields,
	Say:    func(_ *Day, b Body) string { return b.(*LimitSetup).Limit + " " + number(b.(*LimitSetup).Value) },
}

func (*LimitSetup) kind() *Kind { return &limitKind }

func (b *LimitSetup) apply(d *Day, l *Line) {
	limits := maps.Clone(d.Setup.Limits)
	if limits == nil {
		limits = map[string]float64{}
	}
	limits[b.Limit] = b.Value
	d.Setup.Limits = limits
	reasons := maps.Clone(d.Setup.Reasons)
	if reasons == nil {
		reasons = map[string]Reason{}
	}
	reasons[b.Limit] = Reason{From: d.Date, Made: l.Made, Author: l.Author, Why: l.Why}
	d.Setup.Reasons = reasons
	if b.Limit == "tools-down.packup_min" && b.Value >= 0 {
		d.Setup.Packup = int(min(b.Value, 24*60))
	}
}

// Reason is who set a limit, when, from which day on, and why.
type Reason struct {
	From   Date      `json:"from"`
	Made   time.Time `json:"made"`
	Author string    `json:"author,omitempty"`
	Why    string    `json:"why,omitempty"`
}

// Person is somebody of the job. Entries name persons by id.
type Person struct {
	Person string `json:"person"` // id
	Name   string `json:"name"`
	Trade  string `json:"trade,omitempty"`
	Role   string `json:"role,omitempty"` // "foreman", "manager", "crew"
	Gone   bool   `json:"gone,omitempty"` // no longer on the job
	// Leaving is when the person leaves, "15:00" job time, where it is not with
	// the others.
	Leaving string `json:"leaving,omitempty"`
}

var personKind = Kind{
	Name: "person", Title: "Person", Group: SetUp, Writes: Office,
	Script: personScript,
	New:    func() Body { return new(Person) },
	Fields: personFields,
	Say:    func(_ *Day, b Body) string { return b.(*Person).Name },
}

func (*Person) kind() *Kind { return &personKind }

func (b *Person) apply(d *Day, l *Line) {
	persons := slices.Clone(d.Setup.Persons)
	i := slices.IndexFunc(persons, func(p Person) bool { return p.Person == b.Person })
	if i < 0 {
		persons = append(persons, *b)
	} else {
		persons[i] = *b
	}
	d.Setup.Persons = persons
}

// Standing is what was finished before the record begins.
type Standing struct {
	Panels []string `json:"panels"`
	// Strip is the leading strip that waits for the next sheet.
	Strip      string          `json:"strip,omitempty"` // panel
	StripWidth roofplan.Length `json:"strip width,omitzero"`
	Weighted   bool            `json:"weighted,omitempty"` // temporary ballast lies on the strip
}

var standingKind = Kind{
	Name: "standing", Title: "What stands already", Group: SetUp, Writes: Office,
	Script: standingScript,
	Help:   "Panels laid, seamed and ballasted before this record begins.",
	New:    func() Body { return new(Standing) },
	Fields: standingFields,
	Say:    func(_ *Day, b Body) string { return "panels " + List(b.(*Standing).Panels) + " stand" },
	Places: func(b Body) []string { return b.(*Standing).Panels },
}

func (*Standing) kind() *Kind { return &standingKind }

func (b *Standing) apply(d *Day, l *Line) {
	for _, name := range b.Panels {
		p := d.Roof.panel(name)
		p.Day, p.Finish = "", d.Date
		if name == b.Strip {
			p.Strip = &Strip{Width: b.StripWidth, Temp: b.Weighted, Since: d.Date}
			// Its open edge was sealed the night before.
			p.Sealed = d.Date
			d.Roof.Seal = &Seal{Panels: []string{name}}
		}
	}
}

// Stood reports whether a seam was finished before the record begins: both its
// panels were.
func (r *Roof) Stood(seam string) bool {
	names := Joined(seam)
	for _, name := range names {
		if p, ok := r.Panel(name); !ok || p.Day != "" {
			return false
		}
	}
	return len(names) > 1
}
