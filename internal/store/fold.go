package store

import (
	"context"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"sync"

	"duskline/internal/daylog"
)

// WorthKeeping is how many entries an opening must save reading for Fold to
// keep it.
const WorthKeeping = 200

// Fold makes a job of what a log holds of it, for asking about day and later
// ones: it starts from the latest opening not after day that still holds, or
// from the beginning. Days before that opening are not in the job. Where it
// had to read much, it keeps an opening of the latest day with entries that is
// not after day. A job without entries is fs.ErrNotExist.
func Fold(ctx context.Context, log Log, job string, day daylog.Date) (*daylog.Job, error) {
	f, err := fold(ctx, log, job, day)
	return f.job, err
}

// folded is a job with what it was made from.
type folded struct {
	job    *daylog.Job
	marks  []Mark
	from   daylog.Date // the first day it can be asked about; "" any
	forked bool
}

func fold(ctx context.Context, log Log, job string, day daylog.Date) (folded, error) {
	marks, err := log.Marks(ctx, job)
	if err != nil {
		return folded{}, err
	}
	// Entries may come in between one reading and the next. Marks that are the
	// same afterwards say that none did.
	for range 3 {
		if len(marks) == 0 {
			return folded{}, fmt.Errorf("job %s has no entries: %w", job, fs.ErrNotExist)
		}
		f, err := foldAt(ctx, log, job, day, marks)
		if err != nil {
			return folded{}, err
		}
		again, err := log.Marks(ctx, job)
		if err != nil {
			return folded{}, err
		}
		if slices.Equal(marks, again) {
			keep(ctx, log, f, day)
			return f, nil
		}
		marks = again
	}
	// So busy a log is read in one go. What that saw has no marks.
	entries, err := log.Entries(ctx, job, "")
	if err != nil {
		return folded{}, err
	}
	return folded{job: daylog.Fold(job, entries)}, nil
}

// foldAt folds on top of the latest opening that holds by these marks.
func foldAt(ctx context.Context, log Log, job string, day daylog.Date, marks []Mark) (folded, error) {
	f := folded{marks: marks}
	heads, err := log.Heads(ctx, job)
	if err != nil {
		return f, err
	}
	openings, err := log.Openings(ctx, job)
	if err != nil {
		return f, err
	}
	f.forked = forked(heads)
	if o, found := pick(openings, marks, day); found && !f.forked {
		entries, err := log.Entries(ctx, job, o.Day)
		if err != nil {
			return f, err
		}
		// An opening that cannot be read after all is passed over.
		if f.job, err = daylog.FoldFrom(job, o, entries); err == nil {
			f.from = o.Day
			return f, nil
		}
	}
	entries, err := log.Entries(ctx, job, "")
	if err != nil {
		return f, err
	}
	f.job = daylog.Fold(job, entries)
	return f, nil
}

// pick finds the latest opening not after day that was made by this build from
// the entries that are held now.
func pick(openings []daylog.Opening, marks []Mark, day daylog.Date) (daylog.Opening, bool) {
	for _, o := range slices.Backward(openings) {
		if o.Day <= day && o.Build == daylog.FoldBuild && o.Count == before(marks, o.Day) {
			return o, true
		}
	}
	return daylog.Opening{}, false
}

// before counts the entries of days before that day.
func before(marks []Mark, day daylog.Date) int {
	n := 0
	for _, m := range marks {
		if m.Day < day {
			n += m.Count
		}
	}
	return n
}

// forked reports whether a device has forked. Which line a signature covers
// can then be told from the whole of the device's entries only.
func forked(heads daylog.Heads) bool {
	for stream := range heads {
		if strings.Contains(stream, "~") {
			return true
		}
	}
	return false
}

// keep keeps an opening of the latest folded day not after day if it saves
// enough. It is a saving only, so a log that cannot keep it is not an error.
func keep(ctx context.Context, log Log, f folded, day daylog.Date) {
	var latest daylog.Date
	for _, d := range f.job.Days {
		if d.Date <= day {
			latest = d.Date
		}
	}
	count := before(f.marks, latest)
	if f.forked || count-before(f.marks, f.from) < WorthKeeping {
		return
	}
	if o, err := f.job.Open(latest, count); err == nil {
		log.KeepOpening(ctx, f.job.ID, o)
	}
}

// Memo remembers folded jobs for as long as the log's marks stay what they
// were. It may be dropped at will; its zero value is ready. What it gives is
// shared and must not be changed.
type Memo struct {
	// Jobs is how many jobs it remembers, 8 if 0: those asked for last.
	Jobs int

	mu   sync.Mutex
	kept []*remembered // the one asked for last comes last
}

type remembered struct {
	id   string
	turn chan struct{} // one folding at a time; the others wait for it
	folded
}

// Fold is Fold with a memory.
func (m *Memo) Fold(ctx context.Context, log Log, job string, day daylog.Date) (*daylog.Job, error) {
	marks, err := log.Marks(ctx, job)
	if err != nil {
		return nil, err
	}
	r := m.find(job)
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case r.turn <- struct{}{}:
		defer func() { <-r.turn }()
	}
	if r.job != nil && r.from <= day && slices.Equal(r.marks, marks) {
		return r.job, nil
	}
	f, err := fold(ctx, log, job, day)
	if err != nil {
		return nil, err
	}
	r.folded = f
	return f.job, nil
}

func (m *Memo) find(id string) *remembered {
	m.mu.Lock()
	defer m.mu.Unlock()
	i := slices.IndexFunc(m.kept, func(r *remembered) bool { return r.id == id })
	if i >= 0 {
		r := m.kept[i]
		m.kept = append(slices.Delete(m.kept, i, i+1), r)
		return r
	}
	limit := m.Jobs
	if limit <= 0 {
		limit = 8
	}
	r := &remembered{id: id, turn: make(chan struct{}, 1)}
	m.kept = append(m.kept, r)
	if over := len(m.kept) - limit; over > 0 {
		m.kept = slices.Delete(m.kept, 0, over)
	}
	return r
}

// Forget drops what is remembered.
func (m *Memo) Forget() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.kept = nil
}
