//go:build js && wasm

package indexeddb

import (
	"context"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"strings"
	"syscall/js"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// held is what the log holds of one job, inside a transaction.
type held struct {
	*transaction
	*state
}

func (h held) Tick() (int64, error) { return h.state.Tick, nil }

func (h held) Branches(device string) ([]daylog.Branch, error) {
	var branches []daylog.Branch
	for _, s := range h.of(device) {
		branches = append(branches, s.branch())
	}
	return branches, nil
}

func (h held) Waiting(device string) ([]store.Row, error) {
	if h.state.Waiting[device] == 0 {
		return nil, nil
	}
	v, err := h.answer(func() js.Value {
		return h.store(waitingStore).Call("getAll", under(key(h.Job), key(device)))
	})
	if err != nil {
		return nil, err
	}
	rows := make([]store.Row, v.Length())
	for i := range rows {
		w := v.Index(i)
		raw := bytesOf(w.Get("raw"))
		rows[i] = store.Row{Stream: device, Seq: int64(w.Get("seq").Float()), Hash: daylog.Hash(raw), Raw: raw}
	}
	return rows, nil
}

func (h held) Span(name string, first, last int64) ([]store.Row, error) {
	s, ok := h.stream(name)
	if first, last = max(first, 1), min(last, math.MaxInt64-1); !ok || last < first {
		return nil, nil
	}
	// The batch that holds an entry is the last that begins at or before it.
	at, _ := slices.BinarySearch(s.Batches, first+1)
	batches, err := h.batches(h.Job, name, s.Batches[max(at-1, 0)], last)
	if err != nil {
		return nil, err
	}
	var span []store.Row
	for _, b := range batches {
		rows, err := b.rows(name)
		if err != nil {
			return nil, err
		}
		for _, r := range rows {
			if first <= r.Seq && r.Seq <= last {
				span = append(span, r)
			}
		}
	}
	return span, nil
}

func (h held) Known(ids []string) (map[string]daylog.Entry, error) {
	if len(h.Streams) == 0 {
		return nil, nil
	}
	var forms []string
	wanted := make(map[string]bool, len(ids))
	for _, id := range ids {
		wanted[id] = true
		form, _, _ := strings.Cut(id, ".")
		forms = append(forms, form)
	}
	slices.Sort(forms)
	forms = slices.Compact(forms)
	asks := make([]func() js.Value, len(forms))
	for i, form := range forms {
		asks[i] = func() js.Value {
			return h.store(batchStore).Call("index", byForm).Call("getAll", []any{key(h.Job), key(form)})
		}
	}
	answers, err := h.answers(asks)
	if err != nil {
		return nil, err
	}
	names := h.names()
	first := map[string]store.Row{}
	for _, v := range answers {
		for i := range v.Length() {
			name := names[v.Index(i).Get("stream").String()]
			rows, err := readBatch(v.Index(i)).rows(name)
			if err != nil {
				return nil, err
			}
			for _, r := range rows {
				e, err := r.Entry()
				if err != nil {
					return nil, err
				}
				r.ID, r.Tick = e.ID, e.Tick
				if known, ok := first[r.ID]; wanted[r.ID] && (!ok || r.Earlier(&known)) {
					first[r.ID] = r
				}
			}
		}
	}
	known := make(map[string]daylog.Entry, len(first))
	for id, r := range first {
		if known[id], err = r.Entry(); err != nil {
			return nil, err
		}
	}
	return known, nil
}

// names gives the streams' names by their keys.
func (s *state) names() map[string]string {
	names := make(map[string]string, len(s.Streams))
	for _, t := range s.Streams {
		names[key(t.Name)] = t.Name
	}
	return names
}

// keep carries out a change.
func (h held) keep(c *store.Change) error {
	if c.Empty() {
		return nil
	}
	if c.Renewed {
		if err := h.setDevice(c.Device); err != nil {
			return err
		}
	}
	placed := c.Placed
	if len(c.Renamed) > 0 {
		moved, err := h.takeOut(c)
		if err != nil {
			return err
		}
		placed = append(moved, placed...)
		slices.SortStableFunc(placed, func(a, b store.Row) int {
			if a.Stream != b.Stream {
				return strings.Compare(a.Stream, b.Stream)
			}
			return int(a.Seq - b.Seq)
		})
	}
	for _, branches := range c.Branches {
		for _, b := range branches {
			s, ok := h.stream(b.Name)
			if !ok {
				s = &stream{Name: b.Name}
				h.Streams = append(h.Streams, s)
			}
			s.Parent, s.First, s.Seq, s.Head = b.Parent, b.From, b.Seq, b.Head
		}
	}
	for len(placed) > 0 {
		n := 1
		for n < len(placed) && placed[n].Stream == placed[0].Stream {
			n++
		}
		s, _ := h.stream(placed[0].Stream)
		if err := h.add(h.Job, s, placed[:n]); err != nil {
			return err
		}
		placed = placed[n:]
	}
	if err := h.keepWaiting(c); err != nil {
		return err
	}
	for _, m := range c.Marks {
		i, found := slices.BinarySearchFunc(h.Marks, m.Day, func(m store.Mark, day daylog.Date) int { return strings.Compare(string(m.Day), string(day)) })
		if found {
			h.Marks[i] = h.Marks[i].And(m)
		} else {
			h.Marks = slices.Insert(h.Marks, i, m)
		}
	}
	h.state.Tick = max(h.state.Tick, c.Tick)
	if first, ok := c.FirstDay(); ok {
		keys := under(key(h.Job))
		if plain(string(first)) {
			keys = js.Global().Get("IDBKeyRange").Call("bound", []any{key(h.Job), string(first)}, []any{key(h.Job), []any{}}, true)
		}
		if err := h.do(func() js.Value { return h.store(openingStore).Call("delete", keys) }); err != nil {
			return err
		}
	}
	return h.setState(h.state)
}

// takeOut takes the entries of each device that has streams renamed out of
// their batches, and gives them with the streams they belong to now.
func (h held) takeOut(c *store.Change) ([]store.Row, error) {
	to := make(map[daylog.Head]string, len(c.Renamed))
	devices := map[string]bool{}
	for _, r := range c.Renamed {
		to[r.Hash] = r.To
		devices[deviceOf(r.From)] = true
	}
	var rows []store.Row
	for device := range devices {
		for _, s := range h.of(device) {
			span, err := h.Span(s.Name, s.First, s.Seq)
			if err != nil {
				return nil, err
			}
			for _, r := range span {
				e, err := r.Entry()
				if err != nil {
					return nil, err
				}
				r.ID, r.Day, r.Tick = e.ID, e.Day, e.Tick
				if name, ok := to[r.Hash]; ok {
					r.Stream = name
				}
				rows = append(rows, r)
			}
			err = h.do(func() js.Value {
				return h.store(batchStore).Call("delete", under(key(h.Job), key(s.Name)))
			})
			if err != nil {
				return nil, err
			}
		}
		h.Streams = slices.DeleteFunc(h.Streams, func(s *stream) bool { return deviceOf(s.Name) == device })
	}
	return rows, nil
}

func (h held) keepWaiting(c *store.Change) error {
	if h.state.Waiting == nil {
		h.state.Waiting = map[string]int{}
	}
	for _, r := range c.Arrived {
		device := deviceOf(r.Stream)
		err := h.do(func() js.Value {
			return h.store(waitingStore).Call("delete", []any{key(h.Job), key(device), r.Hash.String()})
		})
		if err != nil {
			return err
		}
		if h.state.Waiting[device]--; h.state.Waiting[device] == 0 {
			delete(h.state.Waiting, device)
		}
	}
	for _, r := range c.Waiting {
		v := map[string]any{"job": key(h.Job), "device": key(r.Stream), "hash": r.Hash.String(), "seq": float64(r.Seq), "raw": arrayOf(r.Raw)}
		if err := h.do(func() js.Value { return h.store(waitingStore).Call("put", v) }); err != nil {
			return err
		}
		h.state.Waiting[r.Stream]++
	}
	return nil
}

var everything = []string{storageStore, jobStore, batchStore, waitingStore, openingStore}

// Write implements store.Log.
func (l *Log) Write(ctx context.Context, job string, drafts ...daylog.Entry) ([]daylog.Entry, error) {
	var entries []daylog.Entry
	var device string
	err := l.transact(ctx, "readwrite", everything, func(tx *transaction) error {
		var err error
		// What the storage says counts: another tab may have changed it.
		if device, err = tx.device(); err != nil {
			return err
		}
		s, err := tx.state(job)
		if err != nil {
			return err
		}
		h := held{tx, s}
		var c store.Change
		if entries, c, err = store.Number(h, job, device, drafts); err != nil {
			return err
		}
		device = c.Device
		return h.keep(&c)
	})
	if err != nil {
		return nil, fmt.Errorf("write on job %s: %w", job, err)
	}
	l.setDevice(device)
	return entries, nil
}

// Receive implements store.Log.
func (l *Log) Receive(ctx context.Context, job string, raws ...[]byte) ([]string, error) {
	var c store.Change
	err := l.transact(ctx, "readwrite", everything, func(tx *transaction) error {
		s, err := tx.state(job)
		if err != nil {
			return err
		}
		h := held{tx, s}
		if c, err = store.Sort(h, job, raws); err != nil {
			return err
		}
		return h.keep(&c)
	})
	if err != nil {
		return nil, fmt.Errorf("receive for job %s: %w", job, err)
	}
	return c.Forks, nil
}

// Jobs implements store.Log.
func (l *Log) Jobs(ctx context.Context) ([]string, error) {
	var jobs []string
	err := l.transact(ctx, "readonly", []string{jobStore}, func(tx *transaction) error {
		jobs = nil
		v, err := tx.answer(func() js.Value { return tx.store(jobStore).Call("getAll") })
		if err != nil {
			return err
		}
		for i := range v.Length() {
			s, err := readState("", v.Index(i))
			if err != nil {
				return err
			}
			if len(s.Streams) > 0 {
				jobs = append(jobs, s.Job)
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("list the jobs: %w", err)
	}
	slices.Sort(jobs)
	return jobs, nil
}

// read reads a job's state and whatever else do asks for.
func (l *Log) read(ctx context.Context, what, job string, stores []string, do func(tx *transaction, s *state) error) error {
	err := l.transact(ctx, "readonly", stores, func(tx *transaction) error {
		s, err := tx.state(job)
		if err != nil {
			return err
		}
		return do(tx, s)
	})
	if err != nil {
		return fmt.Errorf("%s of job %s: %w", what, job, err)
	}
	return nil
}

// Entries implements store.Log.
func (l *Log) Entries(ctx context.Context, job string, from daylog.Date) ([]daylog.Entry, error) {
	var names map[string]string
	var streams []string
	var batches []*batch
	err := l.read(ctx, "entries", job, []string{jobStore, batchStore}, func(tx *transaction, s *state) error {
		names, streams, batches = s.names(), nil, nil
		if len(names) == 0 {
			return nil
		}
		v, err := tx.answer(func() js.Value {
			if from == "" || !plain(string(from)) {
				return tx.store(batchStore).Call("getAll", under(key(job)))
			}
			return tx.store(batchStore).Call("index", byDay).Call("getAll", between(
				[]any{key(job), string(from)}, []any{key(job), []any{}}))
		})
		if err != nil {
			return err
		}
		for i := range v.Length() {
			streams = append(streams, v.Index(i).Get("stream").String())
			batches = append(batches, readBatch(v.Index(i)))
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	n := 0
	for _, b := range batches {
		n += b.entries()
	}
	entries := make([]daylog.Entry, 0, n)
	for i, b := range batches {
		name := names[streams[i]]
		for raw := range b.lines() {
			e, err := daylog.Decode(raw)
			if err != nil {
				return nil, fmt.Errorf("entry held on stream %s of job %s: %w", name, job, err)
			}
			if e.Day >= from {
				e.Stream = name
				entries = append(entries, e)
			}
		}
	}
	return entries, nil
}

// Marks implements store.Log.
func (l *Log) Marks(ctx context.Context, job string) ([]store.Mark, error) {
	var marks []store.Mark
	err := l.read(ctx, "marks", job, []string{jobStore}, func(_ *transaction, s *state) error {
		marks = s.Marks
		return nil
	})
	return marks, err
}

// Heads implements store.Log.
func (l *Log) Heads(ctx context.Context, job string) (daylog.Heads, error) {
	var heads daylog.Heads
	err := l.read(ctx, "heads", job, []string{jobStore}, func(_ *transaction, s *state) error {
		heads = daylog.Heads{}
		for _, t := range s.Streams {
			heads[t.Name] = daylog.Reach{Seq: t.Seq, Head: t.Head}
		}
		return nil
	})
	return heads, err
}

// Stream implements store.Log.
func (l *Log) Stream(ctx context.Context, job, name string, after int64, limit int) ([][]byte, error) {
	var raws [][]byte
	err := l.read(ctx, "stream "+name, job, []string{jobStore, batchStore}, func(tx *transaction, s *state) error {
		raws = nil
		t, ok := s.stream(name)
		if !ok {
			return fs.ErrNotExist
		}
		last := t.Seq
		if limit > 0 {
			last = min(last, max(after, t.First-1)+int64(limit))
		}
		span, err := held{tx, s}.Span(name, after+1, last)
		for _, r := range span {
			raws = append(raws, r.Raw)
		}
		return err
	})
	return raws, err
}

// Openings implements store.Log.
func (l *Log) Openings(ctx context.Context, job string) ([]daylog.Opening, error) {
	var openings []daylog.Opening
	err := l.read(ctx, "openings", job, []string{jobStore, openingStore}, func(tx *transaction, s *state) error {
		openings = nil
		v, err := tx.answer(func() js.Value { return tx.store(openingStore).Call("getAll", under(key(job))) })
		if err != nil {
			return err
		}
		for i := range v.Length() {
			o := v.Index(i)
			openings = append(openings, daylog.Opening{
				Day: daylog.Date(o.Get("day").String()), Count: o.Get("count").Int(),
				Build: o.Get("build").String(), State: bytesOf(o.Get("state")),
			})
		}
		return nil
	})
	return openings, err
}

// KeepOpening implements store.Log.
func (l *Log) KeepOpening(ctx context.Context, job string, openings ...daylog.Opening) error {
	err := l.transact(ctx, "readwrite", []string{jobStore, openingStore}, func(tx *transaction) error {
		s, err := tx.state(job)
		if err != nil {
			return err
		}
		if len(s.Streams) == 0 {
			return fs.ErrNotExist
		}
		kept := tx.store(openingStore)
		for _, o := range openings {
			if _, err := daylog.ParseDate(string(o.Day)); err != nil {
				return err
			}
			v := map[string]any{"job": key(job), "day": string(o.Day), "count": o.Count, "build": o.Build, "state": arrayOf(o.State)}
			if err := tx.do(func() js.Value { return kept.Call("put", v) }); err != nil {
				return err
			}
		}
		keys, err := tx.answer(func() js.Value { return kept.Call("getAllKeys", under(key(job))) })
		if err != nil {
			return err
		}
		for i := range keys.Length() - store.OpeningsKept {
			if err := tx.do(func() js.Value { return kept.Call("delete", keys.Index(i)) }); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("keep an opening of job %s: %w", job, err)
	}
	return nil
}
