package daylog

import (
	"duskline/internal/roofplan"
)

// Body is what one kind of entry says. Each kind is one file: its struct, its
// Kind value and how it changes the day.
type Body interface {
	// apply changes the day by a line that says this. Lines come in order;
	// anything may be missing before them, and nothing here may fail.
	apply(d *Day, l *Line)
}

// Kind describes one kind of entry. To add one, write its file and name it in
// Kinds.
type Kind struct {
	Name    string // as in the bytes: never changed
	Version int    // of the meaning
	Title   string // what the crew calls it, as a heading: "Panel in position"
	Help    string // one sentence for the form, if the title leaves a question
	Group   Group
	Section string // of those that may be answered with "none today"; empty: none
	Writes  Writer
	Live    bool // tapped as it happens: a clock hangs on it
	Lasts   bool // may have an end: from-to
	AtEnd   bool // the wait that hangs on it runs from its end
	New     func() Body
	// Fields are what the form asks besides place in time and persons, in the
	// order of the work. Names are those of the JSON form.
	Fields func(d *Day) []Field
	// Check gives what is odd about a body that could be read. Nil: nothing is.
	Check func(d *Day, b Body) []Problem
	// Say puts what the entry says into a few words, without place in time.
	Say func(d *Day, b Body) string
	// Places names the places it is about: panels, seams, joints, ends.
	Places func(b Body) []string
	// Script is how a line of the text form of a day says it: one or more
	// sentences with slots for fields, in the notation of package script. None:
	// the line says "other", the kind's name and its fields by name.
	Script []string
}

// Group is where a kind stands among the others on a page of all kinds.
type Group string

const (
	SetUp     Group = "Set-up"
	Beginning Group = "Beginning and weather"
	Materials Group = "Materials"
	Opened    Group = "Tear-off and insulation"
	Panels    Group = "Panels"
	Seams     Group = "Seams"
	Details   Group = "Covers and edges"
	Stone     Group = "Stone"
	Ending    Group = "Leaving"
	Repairs   Group = "Repairs and punch list"
	People    Group = "People, visits and delays"
	Remarks   Group = "Notes"
	Review    Group = "Office"
)

// Writer is who may write a kind.
type Writer string

const (
	Crew   Writer = "crew"   // foreman, or the office on the crew's word
	Office Writer = "office" // the project manager: set-up, reviews
)

// FieldType says how a field is typed, shown and read.
type FieldType string

const (
	Text       FieldType = "text"
	LongText   FieldType = "long text"
	Number     FieldType = "number"
	Whole      FieldType = "whole number"
	Length     FieldType = "length" // JSON: inches, whole 64ths
	Tick       FieldType = "tick"
	Choice     FieldType = "choice"
	Clock      FieldType = "clock"      // JSON: an instant; typed as the job's local time
	Calendar   FieldType = "date"       // JSON: string, as in 2026-10-06
	Temp       FieldType = "degrees F"  // JSON: number
	PanelName  FieldType = "panel"      // JSON: string
	PanelNames FieldType = "panels"     // JSON: list of strings
	SeamName   FieldType = "seam"       // JSON: string
	SeamNames  FieldType = "seams"      // JSON: list of strings
	Persons    FieldType = "persons"    // JSON: list of person ids
	Places     FieldType = "places"     // JSON: list of Place
	Laps       FieldType = "laps"       // JSON: list of Lap
	SeamEnds   FieldType = "seam ends"  // JSON: list of edge names
	PanelParts FieldType = "panel part" // JSON: list of PanelPart
	Stretches  FieldType = "stretches"  // JSON: list of OnSeam
	Structure  FieldType = "structure"  // JSON object, edited on a page of its own
	// Many is some of Options, and others that are typed. JSON: list of strings.
	Many FieldType = "several"
)

// Field is one thing a form asks.
type Field struct {
	Name     string // in the JSON form of the body
	Label    string
	Help     string
	Type     FieldType
	Unit     string // as printed: "F", "%", "mph", "lb", "min"
	Options  []Option
	Default  any     // a value as it stands in the JSON form; nil: empty
	Required bool    // only for what gives the entry its place
	Again    bool    // offered as it was last written: "as yesterday"
	Min, Max float64 // outside of these the form asks; both 0: any
}

// Option is one answer of a Choice.
type Option struct{ Value, Label string }

// Problem is a sentence about one field of a form.
type Problem struct {
	Field string
	Says  string
	// Refuses: without this the entry has no place. Everything else is asked
	// about once and may be kept.
	Refuses bool
}

// Kinds lists every kind this build knows, in the order of a page of all kinds.
func Kinds() []*Kind { return kinds }

var kinds = []*Kind{
	&jobKind,
	&scopeKind,
	&weekKind,
	&dayOffKind,
	&planKind,
	&penetrationKind,
	&zonesKind,
	&approvedKind,
	&materialKind,
	&jobLotKind,
	&limitKind,
	&personKind,
	&standingKind,

	&startKind,
	&fallKind,
	&briefingKind,
	&sealCheckKind,
	&leavingKind,
	&weatherKind,
	&coldKind,
	&stopKind,
	&safeKind,
	&resumeKind,

	&lotKind,
	&receivedKind,
	&storedKind,
	&ticketKind,
	&pileKind,

	&tearOffKind,
	&cutOffKind,
	&insulationKind,
	&wetBoardsKind,
	&closedInKind,
	&tieInKind,

	&panelKind,
	&flatKind,
	&lapKind,
	&cutKind,
	&movedKind,

	&primingKind,
	&testKind,
	&tapeKind,
	&closedKind,
	&heldKind,
	&showsKind,
	&driedKind,
	&cutOutKind,
	&checkKind,

	&coversKind,
	&treatmentKind,
	&edgeKind,
	&detailKind,

	&broomKind,
	&matKind,
	&laneKind,
	&stoneKind,
	&backClosedKind,
	&squareKind,
	&stripKind,
	&tempBallastKind,

	&nightSealKind,
	&drainsKind,
	&tiedKind,
	&noneKind,
	&offKind,
	&signKind,

	&repairKind,
	&punchKind,
	&leakKind,
	&fixedKind,

	&visitKind,
	&instructionKind,
	&tradesKind,
	&delayKind,
	&equipmentKind,
	&hoursKind,
	&breakKind,

	&photoKind,
	&noteKind,
	&asideKind,
	&answeredKind,
	&askedKind,
	&strikeKind,

	&releaseKind,
	&commentKind,
	&sentBackKind,
	&acceptedKind,
}

var kindsByName = func() map[string]*Kind {
	byName := make(map[string]*Kind, len(kinds))
	for _, k := range kinds {
		byName[k.Name] = k
	}
	return byName
}()

// FindKind gives the kind of that name, and whether this build knows it.
func FindKind(name string) (*Kind, bool) {
	k, ok := kindsByName[name]
	return k, ok
}

// Kinded is a body that knows its kind; all but Unknown do.
type kinded interface{ kind() *Kind }

// KindOf gives the kind of a body this build knows; nil for Unknown.
func KindOf(b Body) *Kind {
	if k, ok := b.(kinded); ok {
		return k.kind()
	}
	return nil
}

func newBody(kind string) Body {
	if k, ok := kindsByName[kind]; ok {
		return k.New()
	}
	return new(Unknown)
}

func knownVersion(kind string) int {
	if k, ok := kindsByName[kind]; ok {
		return k.Version
	}
	return 0
}

// What tells apart the things that can be at one place of a seam.
type What string

const (
	Cover  What = ""       // a cover over an end lap, a joint, an angle change
	Splice What = "splice" // the vertical splice of a seam's turned-up end
)

// Place names a spot the way the record keeps it: by what meets there.
type Place struct {
	On   string          `json:"on"`          // `2|3` with At, `2|3@south`, `7|8|12`
	At   roofplan.Length `json:"at,omitzero"` // feet along the seam, for an end lap
	What What            `json:"what,omitempty"`
	// X and Y are the plan's inches when it was written: after a change of the
	// plan the place is found by name, else within 1 ft of this.
	X roofplan.Length `json:"x,omitzero"`
	Y roofplan.Length `json:"y,omitzero"`
}

// Part is a length of a seam or a panel, From to To.
type Part struct {
	From roofplan.Length `json:"from"`
	To   roofplan.Length `json:"to"`
}

func (p Part) Length() roofplan.Length { return max(0, p.To-p.From) }

// Overlap is the length that two parts share.
func (p Part) Overlap(o Part) roofplan.Length {
	return max(0, min(p.To, o.To)-max(p.From, o.From))
}

// Less gives what of the part lies in none of the others, in order.
func (p Part) Less(others []Part) []Part { return subtract(p, others) }
