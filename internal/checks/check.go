// Package checks holds the warnings the tool owes its users: one file and one
// folder of example days for each rule, and the list of what is owed.
//
// Four ideas stand above every rule. Owed is not wrong: work in its normal
// course is a line of Owed, and becomes a warning when its last call passes.
// Exact and about: written times that keep a limit are silent, broken by the
// written times but kept by a favourable reading the rule asks, broken by
// every reading it accuses. A tablet knows only its half: rules of absence
// stay quiet where another tablet may know better. A warning never blocks
// saving.
package checks

import (
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
	"duskline/internal/weather"
)

// Check is one rule. To add one, write its file and its testdata folder, and
// name it in All.
type Check struct {
	ID       string // as in "edge-early": never changed, limits and set-asides hang on it
	Title    string // what is wrong, in a few words
	Why      string // why it matters, one sentence
	Settle   string // what settles it
	Source   Source
	Severity Severity
	When     Moment // at which moments of the day it is judged
	Absence  bool   // speaks of something missing: holds back where a tablet was not heard
	Plain    bool   // weighs no written times, so it never asks
	Limits   []Limit
	Run      func(s *Situation, report func(Finding))
}

// Severity says what a warning wants done, and when.
type Severity string

const (
	People  Severity = "people" // do it now; answered by the competent person, never set aside
	Stop    Severity = "stop"   // do not go on with this step
	Today   Severity = "today"  // before tools down
	Notice  Severity = "note"   // recorded and printed
	Managed Severity = "office" // for the manager only
)

// Moment is a set of times of the day at which a rule is judged.
type Moment int

const (
	Live      Moment = 1 << iota // as soon as it is written
	ToolsDown                    // from tools down, or once Leaving is open, until signed
	Overnight                    // the night and the next morning
	Planned                      // when the plan or set-up changes
)

// Source is where a rule or limit comes from, and how far it was seen.
type Source struct {
	Where  string // the document; empty for common practice
	Status Status
}

// Status says how far a source was seen.
type Status string

const (
	Published  Status = "published"
	SecondHand Status = "published, 2nd hand"
	FromMemory Status = "published, from memory"
	Practice   Status = "common practice, no source"
	Computed   Status = "computed"
)

func (s Source) String() string {
	if s.Where == "" {
		return string(s.Status)
	}
	return s.Where + ": " + string(s.Status)
}

var practice = Source{Status: Practice}

// Limit is a value that a job may set differently. Its name is the rule's id,
// a dot, and the quantity with its unit.
type Limit struct {
	Name    string // "edge-early.wait_min"
	Label   string
	Default float64
	Unit    string // "min", "in", "sq ft", "psf"
	Source  Source
	Most    bool // the value is the most that may be, so a greater one is looser; else it is the least
	// Floor is a published value that the default keeps well within; zero where
	// the default is itself what is published, or nothing is.
	Floor Floor
}

// Floor is a published value of a limit.
type Floor struct {
	Value  float64
	Source Source
}

// Published gives the published value of the limit; false where there is none.
func (l Limit) Published() (Floor, bool) {
	if l.Floor.Source.Where == "" {
		return Floor{l.Default, l.Source}, l.Source.Where != ""
	}
	return l.Floor, true
}

// Looser reports whether a job with this value allows what is published as not
// allowed.
func (l Limit) Looser(value float64) bool {
	floor, published := l.Published()
	return published && value != floor.Value && (value > floor.Value) == l.Most
}

// Loosened is a limit of a job that is looser than what is published.
type Loosened struct {
	Limit
	Value  float64
	Floor  Floor
	Reason daylog.Reason
}

// String is a line of a summary.
func (l Loosened) String() string {
	return l.Label + ": " + number(l.Value) + " " + l.Unit + ", looser than the published " + number(l.Floor.Value) + " " + l.Unit + " (" + l.Floor.Source.String() + "). Reason: " + l.Reason.Why
}

// LooserLimits gives the limits of a job that are looser than what is published,
// in the order of Limits: they print on every summary.
func LooserLimits(s *daylog.Setup) []Loosened {
	var all []Loosened
	for _, l := range Limits() {
		if value, set := s.Limits[l.Name]; set && l.Looser(value) {
			floor, _ := l.Published()
			all = append(all, Loosened{l, value, floor, s.Reasons[l.Name]})
		}
	}
	return all
}

// Finding is one warning that a rule raises.
type Finding struct {
	Check  *Check   // set by Run, with the finding's own severity if it has one
	Grade  Severity // where it differs from the rule's
	Key    string   // stable: the rule's id and the place or entry
	Place  string
	Says   string // what is wrong and where, one sentence: "Run 6|7, 38 to 100 ft: no finger test since priming"
	Seen   string // what was seen: "2 h 35 min after rolling"; "" if there is nothing to measure
	Limit  string // the limit it met: "4 h"
	Source Source // of the limit; the rule's own if zero
	Settle string // what settles it here; the rule's own if empty
	Since  time.Time
	Asks   bool     // a favourable reading keeps the limit: ask, do not accuse
	Entry  []string // ids of the lines it speaks of
	Answer Answer   // the one button that settles it
	Aside  *daylog.AsideLine
	// Answered is the competent person's answer, for what can hurt people.
	Answered *daylog.AnsweredLine

	places  []where // where it is; another tablet that was there may know better
	absence bool    // speaks of something missing, though its rule does not
}

// where is a place for asking who else wrote about it.
type where struct {
	name string      // panel, seam, or a spot's key
	part daylog.Part // of a seam; zero: all of it
	// A spot that is only owed lies on a seam: who made the seam there may
	// have made the spot too.
	on string
	at roofplan.Length
}

// Answer is a form that settles something: the kind of entry, and what is
// already known of its fields, as in the kind's JSON form.
type Answer struct {
	Label  string // on the button: "Test"
	Kind   string // "test"; "" for none
	Fields map[string]any
	Of     string // correct this line instead of writing a new one
	// At is when it happened by what else is known; zero: now.
	At  time.Time
	Day daylog.Date // to be signed; "": this one
}

// Situation is all that rules see. Now and Zone come from outside, once.
type Situation struct {
	Now   time.Time
	Zone  *time.Location       // of the job, for printing times
	Self  string               // the device that looks
	Heard map[string]time.Time // newest Made held of each device
	At    Moment               // the moments that Now belongs to
	Job   *daylog.Job
	Day   *daylog.Day
	Roof  *daylog.Roof // the day's, as it stands

	standing *standing // what stands, under names; made when first asked for
	clashed  *[]clash  // times that contradict each other
	late     *[]late   // seams whose edges will not be treated in time
	judged   *judged   // by Run
	margins  []margin  // of the day's readings
	daylight *weather.Sun
}

// Look makes the situation of a date. leavingOpen says that Leaving is being
// looked at, so that what must be done before it is judged already; but not
// while it is the leaving of some and others stay.
func Look(job *daylog.Job, date daylog.Date, now time.Time, zone *time.Location, self string, leavingOpen bool) *Situation {
	d := job.On(date)
	s := &Situation{Now: now, Zone: zone, Self: self, Heard: map[string]time.Time{}, Job: job, Day: d, Roof: d.Roof, At: Live | Overnight}
	for _, l := range d.Lines {
		for _, e := range l.Members() {
			if e.Made.After(s.Heard[e.Device]) {
				s.Heard[e.Device] = e.Made
			}
		}
	}
	if down := s.toolsDown(); !d.Signed() && (leavingOpen && lastToLeave(d, now) || !down.IsZero() && !now.Before(down)) {
		s.At |= ToolsDown
	}
	return s
}

// lastToLeave reports whether those who leave next are the last.
func lastToLeave(d *daylog.Day, now time.Time) bool {
	for _, t := range d.Leaves {
		if !t.Before(now) && t.Before(d.Leaving()) {
			return false
		}
	}
	return true
}

// Limit gives the value of a limit on this day.
func (s *Situation) Limit(l Limit) float64 {
	if v, ok := s.Day.Setup.Limits[l.Name]; ok {
		return v
	}
	return l.Default
}

// Minutes gives a limit in minutes as a duration, of a year at most.
func (s *Situation) Minutes(l Limit) time.Duration {
	return time.Duration(min(max(s.Limit(l), 0), 366*24*60) * float64(time.Minute))
}

// Clock prints an instant as the job's clock shows it: "15:45".
func (s *Situation) Clock(t time.Time) string { return t.In(s.Zone).Format("15:04") }
