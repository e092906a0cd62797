package web

import "strconv"

// FieldKind is how a field is asked for.
type FieldKind string

const (
	FieldText     FieldKind = "text"
	FieldPassword FieldKind = "password" // not shown as it is typed; give it no Value
	FieldNumber   FieldKind = "number"   // digits, with a unit beside it
	FieldLength   FieldKind = "length"   // feet and inches as written: 41 ft 6 in
	FieldLongText FieldKind = "long"
	FieldChoice   FieldKind = "choice" // one of Options, as tiles
	FieldTick     FieldKind = "tick"   // yes or not, one large tile
	FieldPlaces   FieldKind = "places" // several of Options, as tiles with marks
	FieldTime     FieldKind = "time"   // one of Options, and a time of day for the option "other"
	FieldHidden   FieldKind = "hidden"
)

// Field is one thing a form asks for, with what was typed so far. Name is the
// field's name in the form that is sent; FieldTime sends the typed time of day
// as Name + "-other".
type Field struct {
	Name     string
	Kind     FieldKind
	Label    string
	Help     string // a sentence under the label; may be empty
	Error    string // what is wrong, in a sentence; the text typed is kept
	Value    string // as typed; for FieldTick "on" is ticked
	Unit     string // "lb", "ft"; may be empty
	Auto     string // what a browser may fill in, in the words of HTML: "username"; empty: nothing
	Optional bool   // says so beside the label
	Options  []Option
	Other    string // for FieldTime: the time typed, "10:37"
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
	Fields []Field
}

// Odd is a question about something that can be saved but looks wrong. Keeping
// sends Keep as one value of "keep".
type Odd struct {
	Field string // name of the field that "Correct it" leads to
	Say   string // "62 ft is more than the seam's 50 ft."
	Keep  string
}

// Form is a page's form: heading, what is wrong with it, its fields, Save.
type Form struct {
	Heading Heading
	URL     string // where it is sent, by POST
	Hidden  []Hidden
	Groups  []FieldGroup
	Odd     []Odd
	Wrong   []string // what is wrong with the form as a whole
	Failed  string   // what did not come about, "Not saved yet" when empty
	Submit  string   // "Save" when empty
	Cancel  Action   // a link beside the button; none when its label is empty
}

// fault is one line of the error summary.
type fault struct{ field, say string }

func (f Form) faults() []fault {
	var all []fault
	for _, say := range f.Wrong {
		all = append(all, fault{say: say})
	}
	for _, g := range f.Groups {
		for _, field := range g.Fields {
			if field.Error != "" {
				all = append(all, fault{field.target(), field.Error})
			}
		}
	}
	return all
}

// failed heads the summary of what is wrong.
func (f Form) failed(faults int) string {
	said := f.Failed
	if said == "" {
		said = "Not saved yet"
	}
	if faults == 1 {
		return said + ": one thing is missing or cannot be read"
	}
	return said + ": " + strconv.Itoa(faults) + " things are missing or cannot be read"
}

func (f Form) submit() string {
	if f.Submit == "" {
		return "Save"
	}
	return f.Submit
}

func (f Field) id() string { return "f-" + f.Name }

// target is the id of the control that a link to the field leads to: the first,
// or the typed time once that was asked for.
func (f Field) target() string {
	switch f.Kind {
	case FieldChoice, FieldPlaces, FieldTime:
		for _, o := range f.Options {
			if f.Kind == FieldTime && o.Chosen && o.Value == TimeOther {
				return f.otherID()
			}
		}
		if len(f.Options) > 0 {
			return f.optionID(0)
		}
	}
	return f.id()
}

func (f Field) optionID(i int) string { return f.id() + "-" + strconv.Itoa(i) }

func (f Field) otherID() string { return f.id() + "-" + TimeOther }

// filled is what a browser may fill in.
func (f Field) filled() string {
	if f.Auto == "" {
		return "off"
	}
	return f.Auto
}

// describedBy names the elements that explain the field.
func (f Field) describedBy() string {
	var ids string
	if f.Help != "" {
		ids = f.id() + "-help"
	}
	if f.Error != "" {
		if ids != "" {
			ids += " "
		}
		ids += f.id() + "-error"
	}
	return ids
}

// otherType is the input type for a typed time of day. A time input drops text it
// cannot read, so text that is not a time of day stays in a plain one.
func (f Field) otherType() string {
	v := f.Other
	if v == "" {
		return "time"
	}
	digit := func(i int) bool { return v[i] >= '0' && v[i] <= '9' }
	if len(v) == 5 && v[2] == ':' && digit(0) && digit(1) && digit(3) && digit(4) && v[:2] < "24" && v[3] < '6' {
		return "time"
	}
	return "text"
}

// targetOf is the control of the field with this name.
func (f Form) targetOf(name string) string {
	for _, g := range f.Groups {
		for _, field := range g.Fields {
			if field.Name == name {
				return field.target()
			}
		}
	}
	return "f-" + name
}
