package daylog

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Date is a civil date of the job, "2026-10-06". Dates compare as strings.
type Date string

// ParseDate reads a date of the form 2026-10-06.
func ParseDate(text string) (Date, error) {
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return "", fmt.Errorf("%q is not a date like 2026-10-06", text)
	}
	return Date(t.Format(time.DateOnly)), nil
}

// DateOf gives the civil date that t shows in its own location.
func DateOf(t time.Time) Date { return Date(t.Format(time.DateOnly)) }

// Add gives the date n days later.
func (d Date) Add(n int) Date {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return d
	}
	return DateOf(t.AddDate(0, 0, n))
}

// Entry is one thing written down. Its JSON form is the record itself: fields
// are added, never renamed, and a new meaning gets a new kind.
//
// A draft is an entry without Job, Device, Seq, Tick and Prev; the log that
// keeps it gives it those.
type Entry struct {
	// Kind comes first in the bytes, so that a reader knows what follows.
	Kind    string `json:"kind"`
	Version int    `json:"v,omitzero"` // of the kind's meaning; 0 is the first

	// Where it stands in the log: the stream of one device on one job.
	Job    string `json:"job"`
	Device string `json:"device"`
	Seq    int64  `json:"seq"`  // 1, 2, 3 ... without gaps
	Tick   int64  `json:"tick"` // logical clock of the job: who knew more
	Prev   string `json:"prev"` // Head.Prev of the stream before this entry

	// ID is the form's id, and for every further entry of that form a dot and
	// its position: "k3v9...", "k3v9....1".
	ID  string    `json:"id"`
	Day Date      `json:"day"`         // the day of work it belongs to; for set-up, the day from which it holds
	At  time.Time `json:"at"`          // when it happened or began
	To  time.Time `json:"to,omitzero"` // when it ended, for work that took a while
	// About is how many minutes At and To may be off either way; 0 says that
	// the moment was tapped as it happened.
	About int       `json:"about,omitzero"`
	Made  time.Time `json:"made"`          // when it was written down
	Skew  int       `json:"skew,omitzero"` // seconds the device added to its own clock

	Author string   `json:"author,omitempty"` // the person who wrote it, an id of the job
	By     []string `json:"by,omitempty"`     // the persons who did it
	Of     string   `json:"of,omitempty"`     // the entry that this one corrects or strikes
	Why    string   `json:"why,omitempty"`    // the reason for doing so
	// Odd keeps, by field, what was typed and could not be read, where the
	// writer chose to keep it as written.
	Odd map[string]string `json:"odd,omitempty"`

	Body Body `json:"body,omitempty"`

	// Stream is where the entry stands among all copies: Device, or after a
	// fork the branch's name. It follows from the set of entries, so it is not
	// part of the bytes.
	Stream string `json:"-"`

	raw []byte
}

// Raw gives the bytes the entry was kept as; nil for a draft.
func (e *Entry) Raw() []byte { return e.raw }

// Form is the id shared by the entries written with one form.
func (e *Entry) Form() string {
	form, _, _ := strings.Cut(e.ID, ".")
	return form
}

// FormID names the n-th entry, from 0, of a form.
func FormID(form string, n int) string {
	if n == 0 {
		return form
	}
	return form + "." + strconv.Itoa(n)
}

// End is when the work was over: To if it took a while, else At.
func (e *Entry) End() time.Time {
	if e.To.IsZero() {
		return e.At
	}
	return e.To
}

// Began and Ended give At and End with how far they may be off.
func (e *Entry) Began() When { return When{e.At, e.About} }
func (e *Entry) Ended() When { return When{e.End(), e.About} }

// Newer reports whether this build does not know what the entry means.
func (e *Entry) Newer() bool {
	_, unknown := e.Body.(*Unknown)
	return unknown
}

// When is a moment as written, and how many minutes it may be off either way.
type When struct {
	At    time.Time `json:"at"`
	About int       `json:"about,omitzero"`
}

func (w When) IsZero() bool        { return w.At.IsZero() }
func (w When) Earliest() time.Time { return w.At.Add(-time.Duration(w.About) * time.Minute) }
func (w When) Latest() time.Time   { return w.At.Add(time.Duration(w.About) * time.Minute) }

// ErrUnreadable is returned for bytes that are no entry at all. What is an
// entry but of an unknown kind or version is read as one with an Unknown body.
var ErrUnreadable = errors.New("not an entry")

// Decode reads the bytes of one entry and keeps them; the caller must not
// change raw afterwards. Stream is set to Device.
func Decode(raw []byte) (Entry, error) {
	kind, ok := leadingKind(raw)
	if !ok {
		var bare struct {
			Kind string `json:"kind"`
		}
		if err := json.Unmarshal(raw, &bare); err != nil {
			return Entry{}, fmt.Errorf("%w: %v", ErrUnreadable, err)
		}
		kind = bare.Kind
	}
	e := Entry{Body: newBody(kind)}
	err := json.Unmarshal(raw, &e)
	newer := err == nil && e.Version > knownVersion(kind)
	if (err != nil || newer) && !isUnknown(e.Body) {
		// A body that this build cannot read is kept, not refused.
		e = Entry{Body: new(Unknown)}
		err = json.Unmarshal(raw, &e)
	}
	switch {
	case err != nil:
		return Entry{}, fmt.Errorf("%w: %v", ErrUnreadable, err)
	case e.Job == "" || e.Device == "" || e.Seq < 1 || e.ID == "" || e.Kind == "":
		return Entry{}, fmt.Errorf("%w: job, device, seq, id or kind is missing", ErrUnreadable)
	case strings.Contains(e.Device, "~"):
		return Entry{}, fmt.Errorf("%w: a device's name holds no ~", ErrUnreadable)
	}
	if e.Body == nil { // "body": null
		e.Body = new(Unknown)
	}
	e.Stream = e.Device
	e.raw = raw
	return e, nil
}

// leadingKind reads the kind from the front of bytes written by Encode.
func leadingKind(raw []byte) (string, bool) {
	rest, ok := bytes.CutPrefix(raw, []byte(`{"kind":"`))
	if !ok {
		return "", false
	}
	end := bytes.IndexByte(rest, '"')
	if end < 0 || bytes.IndexByte(rest[:end], '\\') >= 0 {
		return "", false
	}
	return string(rest[:end]), true
}

// Encode serialises an entry, once, and keeps the bytes in it. Kind and
// Version are taken from the body.
func Encode(e *Entry) ([]byte, error) {
	if !isUnknown(e.Body) {
		k := KindOf(e.Body)
		e.Kind, e.Version = k.Name, k.Version
	}
	raw, err := json.Marshal(e)
	if err != nil {
		return nil, fmt.Errorf("write down %s: %w", e.Kind, err)
	}
	e.raw = raw
	if e.Stream == "" {
		e.Stream = e.Device
	}
	return raw, nil
}

// Unknown is the body of an entry that a newer version wrote. It is kept,
// passed on and shown as such.
type Unknown struct{ text json.RawMessage }

func (u *Unknown) UnmarshalJSON(b []byte) error {
	u.text = bytes.Clone(b)
	return nil
}

func (u *Unknown) MarshalJSON() ([]byte, error) {
	if u.text == nil {
		return []byte("null"), nil
	}
	return u.text, nil
}

func (*Unknown) apply(*Day, *Line) {}

func isUnknown(b Body) bool {
	_, is := b.(*Unknown)
	return is
}

// before is the one order of entries: by day, by what happened when, and for
// the same moment by who knew more.
func (e *Entry) before(o *Entry) bool {
	if e.Day != o.Day {
		return e.Day < o.Day
	}
	if !e.At.Equal(o.At) {
		return e.At.Before(o.At)
	}
	if c := e.weigh(o); c != 0 {
		return c < 0
	}
	return e.ID < o.ID
}

// weigh compares by (tick, device, seq): the heavier member of a group counts.
// Stream decides between branches of one device.
func (e *Entry) weigh(o *Entry) int {
	switch {
	case e.Tick != o.Tick:
		return sign(e.Tick - o.Tick)
	case e.Device != o.Device:
		return strings.Compare(e.Device, o.Device)
	case e.Seq != o.Seq:
		return sign(e.Seq - o.Seq)
	}
	return strings.Compare(e.Stream, o.Stream)
}

func sign(n int64) int {
	switch {
	case n < 0:
		return -1
	case n > 0:
		return 1
	}
	return 0
}
