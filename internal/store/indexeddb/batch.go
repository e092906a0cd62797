//go:build js && wasm

package indexeddb

import (
	"bytes"
	"encoding/json"
	"fmt"
	"iter"
	"slices"
	"strings"
	"syscall/js"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// state is what a job comes to as a whole. Fields are added, never renamed.
type state struct {
	Job     string         `json:"job"`
	Tick    int64          `json:"tick"`
	Streams []*stream      `json:"streams"`
	Marks   []store.Mark   `json:"marks"`             // by day
	Waiting map[string]int `json:"waiting,omitempty"` // by device: how many
}

// stream is how far a stream is held, and where its batches begin.
type stream struct {
	Name    string      `json:"name"`
	Parent  string      `json:"parent,omitempty"`
	First   int64       `json:"first"`
	Seq     int64       `json:"seq"`
	Head    daylog.Head `json:"head"`
	Batches []int64     `json:"batches"` // seq of the first entry of each
	// Loose is how many of the last batches are small and wait to be gathered
	// in one, and LooseDay the latest day in them.
	Loose    int         `json:"loose,omitzero"`
	LooseDay daylog.Date `json:"looseDay,omitempty"`
}

func (s *stream) branch() daylog.Branch {
	return daylog.Branch{Name: s.Name, Parent: s.Parent, From: s.First, Seq: s.Seq, Head: s.Head}
}

func (s *state) stream(name string) (*stream, bool) {
	for _, t := range s.Streams {
		if t.Name == name {
			return t, true
		}
	}
	return nil, false
}

// of gives the streams of a device.
func (s *state) of(device string) []*stream {
	var streams []*stream
	for _, t := range s.Streams {
		if deviceOf(t.Name) == device {
			streams = append(streams, t)
		}
	}
	return streams
}

func deviceOf(stream string) string {
	device, _, _ := strings.Cut(stream, "~")
	return device
}

// state reads a job's state; an empty one if nothing is held of it.
func (tx *transaction) state(job string) (*state, error) {
	v, err := tx.answer(func() js.Value { return tx.store(jobStore).Call("get", key(job)) })
	if err != nil {
		return nil, err
	}
	return readState(job, v)
}

func readState(job string, v js.Value) (*state, error) {
	s := &state{Job: job}
	if v.IsUndefined() {
		return s, nil
	}
	if err := json.Unmarshal(bytesOf(v), s); err != nil {
		return nil, fmt.Errorf("the state of job %s: %w", job, err)
	}
	return s, nil
}

func (tx *transaction) setState(s *state) error {
	text, err := json.Marshal(s)
	if err != nil {
		return err
	}
	return tx.do(func() js.Value { return tx.store(jobStore).Call("put", arrayOf(text), key(s.Job)) })
}

// key writes a text as it stands in keys: ASCII, so that keys sort as the
// texts do in Go, and no character is lost on the way into the browser.
func key(text string) string {
	if plain(text) {
		return text
	}
	var b strings.Builder
	for _, c := range []byte(text) {
		if c < ' ' || c > '~' || c == '%' {
			fmt.Fprintf(&b, "%%%02X", c)
		} else {
			b.WriteByte(c)
		}
	}
	return b.String()
}

func plain(text string) bool {
	for _, c := range []byte(text) {
		if c < ' ' || c > '~' || c == '%' {
			return false
		}
	}
	return true
}

// someDay stands for days that are none: it is after all days.
const someDay = "\uffff"

// batch is a piece of a stream, as an object of the browser:
//
//	job, stream  keys
//	first        seq of its first entry
//	last         the latest day in it, someDay if one of its days is none
//	forms        lists of job and form: the forms of its entries
//	raws         the entries, each on a line
//	heads        the chain head after each, 32 bytes
type batch struct {
	first int64
	last  string
	forms []string // keys
	raws  []byte
	heads []byte
}

// rows gives the entries of a batch with what Span gives of them.
func (b *batch) rows(stream string) ([]store.Row, error) {
	var rows []store.Row
	seq := b.first
	for raw := range b.lines() {
		r := store.Row{Stream: stream, Seq: seq, Raw: raw}
		r.Hash = daylog.Hash(r.Raw)
		at := len(rows) * len(r.Head)
		if at+len(r.Head) > len(b.heads) {
			return nil, fmt.Errorf("stream %s: the batch from %d has more entries than heads", stream, b.first)
		}
		copy(r.Head[:], b.heads[at:])
		rows = append(rows, r)
		seq++
	}
	return rows, nil
}

// lines gives the bytes of each entry.
func (b *batch) lines() iter.Seq[[]byte] {
	return func(yield func([]byte) bool) {
		for line := range bytes.Lines(b.raws) {
			line = line[:len(line)-1]
			if !yield(slices.Clip(line)) {
				return
			}
		}
	}
}

func (b *batch) add(r *store.Row) {
	b.raws = append(append(b.raws, r.Raw...), '\n')
	b.heads = append(b.heads, r.Head[:]...)
	form, _, _ := strings.Cut(r.ID, ".")
	if form = key(form); !slices.Contains(b.forms, form) {
		b.forms = append(b.forms, form)
	}
	day := string(r.Day)
	if !plain(day) {
		day = someDay
	}
	b.last = max(b.last, day)
}

// entries is how many are in it.
func (b *batch) entries() int { return len(b.heads) / len(daylog.Head{}) }

// join adds the batch that follows.
func (b *batch) join(next *batch) {
	b.raws = append(b.raws, next.raws...)
	b.heads = append(b.heads, next.heads...)
	for _, form := range next.forms {
		if !slices.Contains(b.forms, form) {
			b.forms = append(b.forms, form)
		}
	}
	b.last = max(b.last, next.last)
}

func readBatch(v js.Value) *batch {
	b := &batch{
		first: int64(v.Get("first").Float()),
		last:  v.Get("last").String(),
		raws:  bytesOf(v.Get("raws")),
		heads: bytesOf(v.Get("heads")),
	}
	forms := v.Get("forms")
	for i := range forms.Length() {
		b.forms = append(b.forms, forms.Index(i).Index(1).String())
	}
	return b
}

func (tx *transaction) setBatch(job, stream string, b *batch) error {
	forms := make([]any, len(b.forms))
	for i, form := range b.forms {
		forms[i] = []any{key(job), form}
	}
	v := map[string]any{
		"job": key(job), "stream": key(stream), "first": float64(b.first),
		"last": b.last, "forms": forms, "raws": arrayOf(b.raws), "heads": arrayOf(b.heads),
	}
	return tx.do(func() js.Value { return tx.store(batchStore).Call("put", v) })
}

// batches reads the batches of a stream that begin with these.
func (tx *transaction) batches(job, stream string, first, last int64) ([]*batch, error) {
	v, err := tx.answer(func() js.Value {
		return tx.store(batchStore).Call("getAll", between(
			[]any{key(job), key(stream), float64(first)}, []any{key(job), key(stream), float64(last)}))
	})
	if err != nil {
		return nil, err
	}
	batches := make([]*batch, v.Length())
	for i := range batches {
		batches[i] = readBatch(v.Index(i))
	}
	return batches, nil
}

const (
	// small is how many entries a batch may have and still be gathered in.
	small = 100
	// looseBatches and looseEntries are how many small batches, or entries in
	// them, are left to lie at most.
	looseBatches = 32
	looseEntries = 400
	// full is how many entries a batch may have that is written in one go, and
	// dayFull how many if the next one is of a later day.
	full    = 500
	dayFull = 50
)

// add keeps entries that follow those held of a stream.
func (tx *transaction) add(job string, s *stream, rows []store.Row) error {
	for len(rows) > 0 {
		b := &batch{first: rows[0].Seq}
		var day daylog.Date
		n := 0
		for n < len(rows) && n < full && (n < dayFull || rows[n].Day <= day) {
			b.add(&rows[n])
			day = max(day, rows[n].Day)
			n++
		}
		rows = rows[n:]
		// A good moment to gather what is small is the first entry of a later
		// day: the day before then lies together.
		var lies int64
		if s.Loose > 0 {
			lies = b.first - s.Batches[len(s.Batches)-s.Loose]
		}
		if s.Loose > 1 && (day > s.LooseDay || n > small || s.Loose >= looseBatches || lies >= looseEntries) {
			if err := tx.gather(job, s); err != nil {
				return err
			}
		}
		if n > small || s.Loose == 1 && day > s.LooseDay {
			s.Loose, s.LooseDay = 0, ""
		}
		if n <= small {
			s.Loose++
			s.LooseDay = max(s.LooseDay, day)
		}
		s.Batches = append(s.Batches, b.first)
		if err := tx.setBatch(job, s.Name, b); err != nil {
			return err
		}
	}
	return nil
}

// gather makes one batch of the loose ones.
func (tx *transaction) gather(job string, s *stream) error {
	at := len(s.Batches) - s.Loose
	first, last := s.Batches[at], s.Batches[len(s.Batches)-1]
	loose, err := tx.batches(job, s.Name, first, last)
	if err != nil {
		return err
	}
	if len(loose) != s.Loose {
		return fmt.Errorf("stream %s of job %s: %d batches are held from %d on, not %d", s.Name, job, len(loose), first, s.Loose)
	}
	whole := loose[0]
	for _, b := range loose[1:] {
		whole.join(b)
	}
	err = tx.do(func() js.Value {
		return tx.store(batchStore).Call("delete", between(
			[]any{key(job), key(s.Name), float64(first)}, []any{key(job), key(s.Name), float64(last)}))
	})
	if err != nil {
		return err
	}
	s.Batches = s.Batches[:at+1]
	s.Loose, s.LooseDay = 0, ""
	return tx.setBatch(job, s.Name, whole)
}
