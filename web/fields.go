package web

import (
	"fmt"
	"strconv"
	"strings"

	"duskline/internal/daylog"
)

// FieldKind is how a field is asked for.
type FieldKind string

const (
	FieldText     FieldKind = "text"
	FieldPassword FieldKind = "password" // not shown as it is typed; give it no Value
	FieldNumber   FieldKind = "number"   // digits, with a unit beside it
	FieldLength   FieldKind = "length"   // feet and inches as written: 41 ft 6 in
	FieldClock    FieldKind = "clock"    // a time of day
	FieldDate     FieldKind = "date"     // a day of the calendar
	FieldLongText FieldKind = "long"
	FieldChoice   FieldKind = "choice" // one of Options, as tiles
	FieldTick     FieldKind = "tick"   // yes or not, one large tile
	FieldMany     FieldKind = "many"   // several of Options, as tiles
	FieldTime     FieldKind = "time"   // one of Options, and a time of day for the option "other"
	FieldRows     FieldKind = "rows"   // Rows of short fields
	FieldHidden   FieldKind = "hidden"
)

// Field is one thing a form asks for, with what was typed so far. Name is the
// field's name in the form that is sent.
type Field struct {
	Name   string
	Kind   FieldKind
	Label  string
	Help   string // a sentence under the label; may be empty
	Error  string // why it cannot be saved like this, in a sentence
	Asked  string // what is odd about it, in a sentence; it may stay as it is
	Value  string // as typed; for FieldTick "on" is ticked
	Unit   string // "lb", "ft"; may be empty
	Auto   string // what a browser may fill in, in the words of HTML: "username"; empty: nothing
	Needed bool   // nothing is saved without it
	Folded bool   // rarely asked: one line until it is tapped
	Note   string // smaller, on the tile of a FieldTick
	// Options are the tiles. Some other answer can be typed where OtherLabel
	// says what; it is sent as Name + "-other".
	Options    []Option
	Other      string // what was typed; for FieldTime a time of day, "10:37"
	OtherLabel string
	OtherHelp  string
	Rows       []FieldRow
}

// FieldRow is one line of a field that has several: its name, or a tile to
// tick, and short fields beside it.
type FieldRow struct {
	Name  string
	Tick  *Option // sent under the field's name
	Cells []Field
}

// Option is one tile.
type Option struct {
	Value  string
	Label  string
	Note   string // smaller: the time of day that "15 min ago" means
	Mark   MarkKind
	Held   bool
	Chosen bool
}

// TimeOther is the value of the option that asks for a typed time.
const TimeOther = "other"

// FieldGroup is a part of a form under a heading of its own.
type FieldGroup struct {
	Title  string // may be empty
	Help   string
	Step   *Field // a tick that opens the group; its fields stand under it
	Done   string // what is known already and not asked; then there are no fields
	Fields []Field
}

// Question asks about something that can be saved but looks wrong.
type Question struct {
	Field string // name of the field that "Correct it" leads to
	Say   string // "62 ft is more than the seam's 50 ft."
}

// Form is a page's form: heading, what is wrong with it, its fields, Save.
type Form struct {
	Heading Heading
	URL     string // where it is sent, by POST
	Hidden  []Hidden
	Facts   []Fact // what is known already and not asked
	Groups  []FieldGroup
	Asks    []Question
	Wrong   []string // what is wrong with the form as a whole
	Failed  string   // heads what is wrong: "Not signed in"; empty: that it is not saved
	Submit  string   // "Save" when empty
	Preview Hidden   // a button before Submit, and the return key's: its name and label; no name: none
	Cancel  Action   // a link beside the button; none when its label is empty
}

// fault is one line of the error summary.
type fault struct{ field, say string }

// each goes through the form's fields in their order.
func (f Form) each(do func(Field)) {
	for _, g := range f.Groups {
		if g.Step != nil {
			do(*g.Step)
		}
		for _, field := range g.Fields {
			do(field)
		}
	}
}

func (f Form) faults() []fault {
	var all []fault
	for _, say := range f.Wrong {
		all = append(all, fault{say: say})
	}
	f.each(func(field Field) {
		if field.Error != "" {
			all = append(all, fault{field.target(), field.Error})
		}
	})
	return all
}

// title is the document's: what was not saved says so first.
func (f Form) title() string {
	if len(f.Asks) > 0 || len(f.faults()) > 0 {
		return "Not saved: " + f.Heading.Title
	}
	return f.Heading.Title
}

// failed heads the summary of what is wrong.
func (f Form) failed(faults int) string {
	if f.Failed != "" {
		return f.Failed
	}
	if faults == 1 {
		return "Not saved yet: one thing is missing or cannot be read"
	}
	return "Not saved yet: " + strconv.Itoa(faults) + " things are missing or cannot be read"
}

func (f Form) submit() string {
	if f.Submit == "" {
		return "Save"
	}
	return f.Submit
}

// id names the field's element. Names hold blanks and what panels are called;
// an id must not.
func (f Field) id() string {
	var id strings.Builder
	id.WriteString("f-")
	for _, r := range f.Name {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '.' || r == '-' {
			id.WriteRune(r)
		} else {
			fmt.Fprintf(&id, "_%x", r)
		}
	}
	return id.String()
}

// target is the id of the control that a link to the field leads to: the first,
// or what was typed instead of a tile.
func (f Field) target() string {
	switch f.Kind {
	case FieldChoice, FieldMany, FieldTime:
		if len(f.Options) == 0 || f.Other != "" {
			return f.otherID()
		}
		for i, o := range f.Options {
			if o.Chosen && f.Kind == FieldTime && o.Value == TimeOther {
				return f.otherID()
			}
			if o.Chosen && f.Kind != FieldMany {
				return f.optionID(i)
			}
		}
		return f.optionID(0)
	case FieldRows:
		for i, row := range f.Rows {
			if row.Tick != nil {
				return f.optionID(i)
			}
			for _, cell := range row.Cells {
				return cell.id()
			}
		}
	}
	return f.id()
}

func (f Field) optionID(i int) string { return f.id() + "-" + strconv.Itoa(i) }

func (f Field) otherID() string { return f.id() + "-" + TimeOther }

// odd reports whether a sentence stands at the field.
func (f Field) odd() bool { return f.Error != "" || f.Asked != "" }

// filled is what a browser may fill in.
func (f Field) filled() string {
	if f.Auto == "" {
		return "off"
	}
	return f.Auto
}

// describedBy names the elements that explain the field.
func (f Field) describedBy() string {
	var ids []string
	if f.Help != "" {
		ids = append(ids, f.id()+"-help")
	}
	if f.odd() {
		ids = append(ids, f.id()+"-error")
	}
	return strings.Join(ids, " ")
}

// open reports whether a folded field is shown open: something was typed, or is
// said of it. What is chosen stands in its label.
func (f Field) open() bool {
	return f.Other != "" || f.odd()
}

// clockType is the input type for a time of day. A time input drops text that
// it cannot read, so such text stays in a plain one.
func clockType(v string) string {
	if v == "" {
		return "time"
	}
	digit := func(i int) bool { return v[i] >= '0' && v[i] <= '9' }
	if len(v) == 5 && v[2] == ':' && digit(0) && digit(1) && digit(3) && digit(4) && v[:2] < "24" && v[3] < '6' {
		return "time"
	}
	return "text"
}

// dateType is clockType for a date.
func dateType(v string) string {
	if _, err := daylog.ParseDate(v); v != "" && err != nil {
		return "text"
	}
	return "date"
}

// targetOf is the control of the field with this name.
func (f Form) targetOf(name string) string {
	to := ""
	f.each(func(field Field) {
		if field.Name == name && to == "" {
			to = field.target()
		}
	})
	if to == "" {
		return "page"
	}
	return to
}
