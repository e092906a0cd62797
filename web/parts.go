// Package web is the site of one job: its pages, its forms, and the parts they
// are put together from.
package web

import "fmt"

// Action is one thing a tap does: a link, or, with Post set, a form of its own
// that is sent to URL with Hidden.
type Action struct {
	Label  string
	Note   string // a second, smaller line; may be empty
	About  string // what the label refers to, spoken but not shown: "Run 6|7, 38 to 100 ft"
	URL    string
	Post   bool
	Hidden []Hidden
}

// Hidden is a name and value sent along with a form.
type Hidden struct{ Name, Value string }

// Heading opens a page. It carries the page's only h1.
type Heading struct {
	Title string
	Lead  string // one sentence under the title; may be empty
}

// Fact is one row of a list of terms and what holds for them.
type Fact struct{ Term, Value string }

// WarningKind is the severity a warning card shows, by shape, edge and word.
type WarningKind string

const (
	Stop   WarningKind = "stop"   // octagon, red edge: do not go on with this step
	Today  WarningKind = "today"  // flag, black edge: before tools down
	Asked  WarningKind = "asked"  // question mark, dashed frame
	People WarningKind = "people" // black bar: do it now, answered by name
	Note   WarningKind = "note"   // no frame: recorded and printed
)

// Warning is one card: what, where, what was seen against which limit, on whose
// word, what settles it, and the one button that does.
type Warning struct {
	Kind     WarningKind
	Where    string // "Run 6|7, 38 to 100 ft"; may be empty
	What     string // "no finger test since priming"
	Say      string // what happened and what settles it, in a sentence or two
	Seen     string // "2 h 35 min"; empty when there is nothing to measure
	Limit    string // "4 h"
	Source   string // "common practice"
	Answers  string // for People: who answers, in a sentence
	Do       Action // the button; none when its label is empty
	SetAside Action // the link; none when its label is empty
}

// Headline is where and what, in one line.
func (w Warning) Headline() string {
	if w.Where == "" {
		return w.What
	}
	return w.Where + ": " + w.What
}

// Clock is one running wait. Instants are Unix milliseconds. The page shows the
// face at Now; clocks.js keeps it going from there.
type Clock struct {
	What     string // "Treatable"
	Of       string // "covers, run 4|5"
	From     int64  // when it began
	Until    int64  // when it is over, or usually is; 0 for no end
	Now      int64
	CountsUp bool   // shows the time since From, not the time to Until
	Unit     string // under the time: "to go", "since"
	OverUnit string // under the time once Until has passed: "ready since"
	OverSaid string // spoken once when Until passes: "Run 4|5: covers can be treated"
	Side     string // "at 13:05"
	Action   Action // what tapping the row does; nothing when its URL is empty
}

// Over reports whether the wait has run out.
func (c Clock) Over() bool { return c.Until != 0 && !c.CountsUp && c.Now >= c.Until }

// Face is the time shown, as hours and minutes: to go (rounded up, so that it
// reads 0:00 only when the wait is over), since the beginning, or since the end.
func (c Clock) Face() string {
	const minute = 60_000
	var minutes int64
	switch {
	case c.CountsUp || c.Until == 0:
		minutes = (c.Now - c.From) / minute
	case c.Over():
		minutes = (c.Now - c.Until) / minute
	default:
		minutes = (c.Until - c.Now + minute - 1) / minute
	}
	minutes = max(minutes, 0)
	return fmt.Sprintf("%d:%02d", minutes/60, minutes%60)
}

// FaceUnit is the word under the face.
func (c Clock) FaceUnit() string {
	if c.Over() && c.OverUnit != "" {
		return c.OverUnit
	}
	return c.Unit
}

// Filled is how much of the bar is black, as an SVG width.
func (c Clock) Filled() string {
	if c.Until <= c.From {
		return "0%"
	}
	part := float64(c.Now-c.From) / float64(c.Until-c.From)
	return fmt.Sprintf("%.1f%%", 100*min(max(part, 0), 1))
}

// Board is the heart of Now: what is wrong or asked, what is running, what is
// owed.
type Board struct {
	Warnings []Warning
	Quiet    string // said when there are no warnings; may be empty
	Left     []Owed // what was left open the day before
	LeftFrom string // heads it
	Asks     []Ask
	Clocks   []Clock
	Owed     []OpenPlace
	OwedNote string // beside the heading: "nothing late yet"
	Aside    []Aside
}

// Aside is a warning that somebody set aside or answered for. It stands, quietly.
type Aside struct {
	Words  string
	Reason string
	Done   string // instead of a reason, where somebody answered for it
	By     string // "R. Example, 15:08"
	Action Action // to its line
}

// crowded reports whether the cards stand so high that what is owed goes beside
// them rather than under what is running, which would leave a hole in the page.
// Heights are those of the stylesheet, in rem.
func (b Board) crowded() bool {
	const card, ask, clock, heading, twoOwed = 8.75, 5.5, 4.75, 3, 8.5
	return card*float64(len(b.Warnings))+ask*float64(len(b.Asks)) > heading+clock*float64(len(b.Clocks))+twoOwed
}

// MarkKind names a mark of the trade. The same marks stand in lists, on the plan
// and on paper.
type MarkKind string

const (
	MarkNone       MarkKind = ""
	MarkCoverOwed  MarkKind = "cover-owed" // a joint in a dashed square
	MarkWaiting    MarkKind = "waiting"    // a square, half dark: covered, waits for treatment
	MarkTreated    MarkKind = "treated"    // a heavy-edged square: edges sealed
	MarkOtherOwed  MarkKind = "other-owed" // a plain bar
	MarkHeldBack   MarkKind = "held-back"  // a dashed ring: stone is held back
	MarkStop       MarkKind = "stop"       // an octagon
	MarkToday      MarkKind = "today"      // a flag
	MarkAsked      MarkKind = "asked"      // a question mark in a dashed square
	MarkPeople     MarkKind = "people"     // head and shoulders
	MarkNoteToRead MarkKind = "note"       // three lines of writing
)

// Owed is one row of the list of what is owed. The whole row can be tapped.
type Owed struct {
	Mark   MarkKind
	Held   bool   // draws the dashed ring of held-back stone around the mark
	What   string // "Covers on run 6|7"
	Detail string // "end lap at 41 ft · folded at both walls"
	Action Action // "3 places"; Note is shown under it: "by 11:50"
	Once   Action // says at once that it is done; none when its label is empty
}

// EntryAct is what was written down with one form for one time, mostly one
// line. Lines of set-up stand in Quiet instead.
type EntryAct struct {
	Time  string // "10:44"
	Until string // end of a batch: "11:05"; may be empty
	About bool   // the time was picked or typed afterwards
	Lines []EntryLine
	Quiet []string
}

// EntryLine is one line of a day as it was written down.
type EntryLine struct {
	ID        string // the line's anchor on the page
	What      string // "Run 6|7, 38 to 100 ft closed"
	By        string // who wrote it
	Struck    string // why it was struck: the line is crossed through; empty while it counts
	StruckBy  string // "R. Example, 10:52"
	Corrected string // "was 10:40; by R. Example 10:52: misread"; may be empty
	Late      string // "written 16:05"; may be empty
	After     bool   // written after the day was signed
	Unsent    bool   // on this tablet only
	Newer     bool   // written by a newer version: cannot be read here
	Actions   []Action
}

// Signature says that a day is signed.
type Signature struct {
	Signed    string   // "Signed 15:20 by R. Example"
	CheckCode string   // the record's check code, in groups of five
	Statement string   // what was signed
	Stood     []string // what stood then, in the words that were frozen
	After     string   // what came later, in words; may be empty
}

// Empty says that a list has nothing to show, and what to do about it.
type Empty struct {
	Say string
	Do  Action
}
