package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// statements are those used all the time, prepared once: the writing ones on
// the connection that writes.
type statements struct {
	who, tick, streams, waiting, span, known, mark               *sql.Stmt // asked before a change
	addEntry, addEntries, addWaiting, setJob, setStream, setMark *sql.Stmt
	entries, entriesFrom, stream, marks                          *sql.Stmt // on the readers
	all                                                          []*sql.Stmt
}

const (
	addEntry = `INSERT INTO entry (job, stream, seq, id, day, tick, hash, head, raw) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`

	// So many go to one statement: each statement has its price.
	manyEntries = 32
	manyIDs     = 32
)

func prepare(ctx context.Context, write, read *sql.DB) (*statements, error) {
	s := new(statements)
	for _, p := range []struct {
		to   **sql.Stmt
		on   *sql.DB
		text string
	}{
		{&s.who, write, `SELECT value FROM storage WHERE name = 'device'`},
		{&s.tick, write, `SELECT tick FROM job WHERE job = ?`},
		{&s.streams, write, `SELECT stream, parent, first, seq, head FROM stream WHERE job = ? AND device = ?`},
		{&s.waiting, write, `SELECT seq, hash, raw FROM waiting WHERE job = ? AND device = ?`},
		{&s.span, write, `SELECT seq, hash, head, raw FROM entry WHERE job = ? AND stream = ? AND seq BETWEEN ? AND ? ORDER BY seq`},
		{&s.known, write, `SELECT stream, seq, tick, id, raw FROM entry WHERE job = ? AND id IN (?` + strings.Repeat(", ?", manyIDs-1) + `)`},
		{&s.mark, write, `SELECT count, sum FROM mark WHERE job = ? AND day = ?`},
		{&s.addEntry, write, addEntry},
		{&s.addEntries, write, addEntry + strings.Repeat(`, (?, ?, ?, ?, ?, ?, ?, ?, ?)`, manyEntries-1)},
		{&s.addWaiting, write, `INSERT INTO waiting (job, device, seq, hash, raw) VALUES (?, ?, ?, ?, ?)`},
		{&s.setJob, write, `INSERT INTO job (job, tick) VALUES (?, ?) ON CONFLICT (job) DO UPDATE SET tick = excluded.tick WHERE excluded.tick > job.tick`},
		{&s.setStream, write, `INSERT INTO stream (job, stream, device, parent, first, seq, head) VALUES (?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT (job, stream) DO UPDATE SET parent = excluded.parent, first = excluded.first, seq = excluded.seq, head = excluded.head`},
		{&s.setMark, write, `INSERT INTO mark (job, day, count, sum) VALUES (?, ?, ?, ?)
			ON CONFLICT (job, day) DO UPDATE SET count = excluded.count, sum = excluded.sum`},
		{&s.entries, read, `SELECT stream, raw FROM entry WHERE job = ?`},
		{&s.entriesFrom, read, `SELECT stream, raw FROM entry WHERE job = ? AND day >= ?`},
		{&s.stream, read, `SELECT raw FROM entry WHERE job = ? AND stream = ? AND seq > ? ORDER BY seq LIMIT ?`},
		{&s.marks, read, `SELECT day, count, sum FROM mark WHERE job = ? ORDER BY day`},
	} {
		statement, err := p.on.PrepareContext(ctx, p.text)
		if err != nil {
			s.close()
			return nil, err
		}
		*p.to = statement
		s.all = append(s.all, statement)
	}
	return s, nil
}

func (s *statements) close() error {
	var errs []error
	for _, statement := range s.all {
		errs = append(errs, statement.Close())
	}
	return errors.Join(errs...)
}

// held is what the log holds of one job, inside a transaction.
type held struct {
	ctx context.Context
	l   *Log
	tx  *sql.Tx
	job string
}

func (h held) exec(s *sql.Stmt, args ...any) error {
	_, err := h.tx.StmtContext(h.ctx, s).ExecContext(h.ctx, args...)
	return err
}

// rows calls do for each row of an answer.
func rows(ctx context.Context, tx *sql.Tx, s *sql.Stmt, do func(*sql.Rows) error, args ...any) error {
	answer, err := tx.StmtContext(ctx, s).QueryContext(ctx, args...)
	if err != nil {
		return err
	}
	return each(answer, do)
}

func each(answer *sql.Rows, do func(*sql.Rows) error) error {
	defer answer.Close()
	for answer.Next() {
		if err := do(answer); err != nil {
			return err
		}
	}
	return answer.Err()
}

func (h held) Tick() (int64, error) {
	var tick int64
	err := h.tx.StmtContext(h.ctx, h.l.tick).QueryRowContext(h.ctx, h.job).Scan(&tick)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return tick, err
}

func (h held) Branches(device string) ([]daylog.Branch, error) {
	var branches []daylog.Branch
	err := rows(h.ctx, h.tx, h.l.streams, func(r *sql.Rows) error {
		var b daylog.Branch
		if err := r.Scan(&b.Name, &b.Parent, &b.From, &b.Seq, into(&b.Head)); err != nil {
			return err
		}
		branches = append(branches, b)
		return nil
	}, h.job, device)
	return branches, err
}

func (h held) Waiting(device string) ([]store.Row, error) {
	var waiting []store.Row
	err := rows(h.ctx, h.tx, h.l.waiting, func(r *sql.Rows) error {
		row := store.Row{Stream: device}
		if err := r.Scan(&row.Seq, into(&row.Hash), &row.Raw); err != nil {
			return err
		}
		waiting = append(waiting, row)
		return nil
	}, h.job, device)
	return waiting, err
}

func (h held) Span(stream string, first, last int64) ([]store.Row, error) {
	var span []store.Row
	err := rows(h.ctx, h.tx, h.l.span, func(r *sql.Rows) error {
		row := store.Row{Stream: stream}
		if err := r.Scan(&row.Seq, into(&row.Hash), into(&row.Head), &row.Raw); err != nil {
			return err
		}
		span = append(span, row)
		return nil
	}, h.job, stream, first, last)
	return span, err
}

func (h held) Known(ids []string) (map[string]daylog.Entry, error) {
	first := map[string]store.Row{}
	args := make([]any, 1+manyIDs)
	args[0] = h.job
	for part := range slices.Chunk(ids, manyIDs) {
		for i := range manyIDs {
			args[1+i] = part[min(i, len(part)-1)] // the last fills up
		}
		err := rows(h.ctx, h.tx, h.l.known, func(r *sql.Rows) error {
			var row store.Row
			if err := r.Scan(&row.Stream, &row.Seq, &row.Tick, &row.ID, &row.Raw); err != nil {
				return err
			}
			if known, ok := first[row.ID]; !ok || row.Earlier(&known) {
				first[row.ID] = row
			}
			return nil
		}, args...)
		if err != nil {
			return nil, err
		}
	}
	known := make(map[string]daylog.Entry, len(first))
	for id, row := range first {
		e, err := row.Entry()
		if err != nil {
			return nil, err
		}
		known[id] = e
	}
	return known, nil
}

// keep carries out a change.
func (h held) keep(c *store.Change) error {
	if c.Empty() {
		return nil
	}
	if c.Renewed {
		if _, err := h.tx.ExecContext(h.ctx, `UPDATE storage SET value = ? WHERE name = 'device'`, c.Device); err != nil {
			return err
		}
	}
	if err := h.exec(h.l.setJob, h.job, c.Tick); err != nil {
		return err
	}
	if err := h.rename(c.Renamed); err != nil {
		return err
	}
	for device, branches := range c.Branches {
		for _, b := range branches {
			if err := h.exec(h.l.setStream, h.job, b.Name, device, b.Parent, b.From, b.Seq, b.Head[:]); err != nil {
				return err
			}
		}
	}
	if err := h.add(c.Placed); err != nil {
		return err
	}
	for _, r := range c.Arrived {
		device, _, _ := strings.Cut(r.Stream, "~")
		if _, err := h.tx.ExecContext(h.ctx, `DELETE FROM waiting WHERE job = ? AND device = ? AND hash = ?`, h.job, device, r.Hash[:]); err != nil {
			return err
		}
	}
	for _, r := range c.Waiting {
		if err := h.exec(h.l.addWaiting, h.job, r.Stream, r.Seq, r.Hash[:], r.Raw); err != nil {
			return err
		}
	}
	for _, m := range c.Marks {
		held := store.Mark{Day: m.Day}
		err := h.tx.StmtContext(h.ctx, h.l.mark).QueryRowContext(h.ctx, h.job, string(m.Day)).Scan(&held.Count, into(&held.Sum))
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		m = held.And(m)
		if err := h.exec(h.l.setMark, h.job, string(m.Day), m.Count, m.Sum[:]); err != nil {
			return err
		}
	}
	if first, ok := c.FirstDay(); ok {
		if _, err := h.tx.ExecContext(h.ctx, `DELETE FROM opening WHERE job = ? AND day > ?`, h.job, string(first)); err != nil {
			return err
		}
	}
	return nil
}

// add adds entries, many to a statement as long as there are that many.
func (h held) add(rows []store.Row) error {
	args := make([]any, 0, manyEntries*9)
	for len(rows) > 0 {
		n, statement := 1, h.l.addEntry
		if len(rows) >= manyEntries {
			n, statement = manyEntries, h.l.addEntries
		}
		args = args[:0]
		for i := range rows[:n] {
			r := &rows[i]
			args = append(args, h.job, r.Stream, r.Seq, r.ID, string(r.Day), r.Tick, r.Hash[:], r.Head[:], r.Raw)
		}
		if err := h.exec(statement, args...); err != nil {
			return err
		}
		rows = rows[n:]
	}
	return nil
}

// rename puts entries on other streams: on branches that are new, so nothing
// is in their way.
func (h held) rename(renamed []store.Renamed) error {
	for _, r := range renamed {
		_, err := h.tx.ExecContext(h.ctx, `UPDATE entry SET stream = ? WHERE job = ? AND stream = ? AND seq = ?`, r.To, h.job, r.From, r.Seq)
		if err != nil {
			return err
		}
	}
	return nil
}

// hash reads a column of 32 bytes.
type hash struct{ to *daylog.Head }

func into(h *daylog.Head) hash { return hash{h} }

func (h hash) Scan(v any) error {
	b, ok := v.([]byte)
	if !ok || len(b) != len(h.to) {
		return fmt.Errorf("a hash of %d bytes is held, not of %d", len(b), len(h.to))
	}
	copy(h.to[:], b)
	return nil
}

// Write implements store.Log.
func (l *Log) Write(ctx context.Context, job string, drafts ...daylog.Entry) ([]daylog.Entry, error) {
	var entries []daylog.Entry
	var c store.Change
	var device string
	err := l.Change(ctx, func(tx *sql.Tx) error {
		h := held{context.WithoutCancel(ctx), l, tx, job}
		// What stands in the file counts: a commit may have succeeded whose
		// answer got lost.
		if err := tx.StmtContext(h.ctx, l.who).QueryRowContext(h.ctx).Scan(&device); err != nil {
			return err
		}
		l.device.Store(&device)
		var err error
		if entries, c, err = store.Number(h, job, device, drafts); err != nil {
			return err
		}
		return h.keep(&c)
	})
	if err != nil {
		return nil, fmt.Errorf("write on job %s: %w", job, err)
	}
	if c.Renewed {
		l.device.CompareAndSwap(&device, &c.Device) // unless another has written since
	}
	return entries, nil
}

// Receive implements store.Log.
func (l *Log) Receive(ctx context.Context, job string, raws ...[]byte) ([]string, error) {
	var c store.Change
	err := l.Change(ctx, func(tx *sql.Tx) error {
		h := held{context.WithoutCancel(ctx), l, tx, job}
		var err error
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
func (r *Reader) Jobs(ctx context.Context) ([]string, error) {
	var jobs []string
	err := r.Read(ctx, func(tx *sql.Tx) error {
		answer, err := tx.QueryContext(ctx, `SELECT DISTINCT job FROM stream ORDER BY job`)
		if err != nil {
			return err
		}
		return each(answer, func(row *sql.Rows) error {
			var job string
			err := row.Scan(&job)
			jobs = append(jobs, job)
			return err
		})
	})
	if err != nil {
		return nil, fmt.Errorf("list the jobs: %w", err)
	}
	return jobs, nil
}

// Entries implements store.Log.
func (l *Log) Entries(ctx context.Context, job string, from daylog.Date) ([]daylog.Entry, error) {
	var entries []daylog.Entry
	statement, args := l.entries, []any{job}
	if from != "" {
		statement, args = l.entriesFrom, []any{job, string(from)}
	}
	err := l.Read(ctx, func(tx *sql.Tx) error {
		return rows(ctx, tx, statement, func(r *sql.Rows) error {
			var row store.Row
			if err := r.Scan(&row.Stream, &row.Raw); err != nil {
				return err
			}
			e, err := row.Entry()
			entries = append(entries, e)
			return err
		}, args...)
	})
	if err != nil {
		return nil, fmt.Errorf("entries of job %s: %w", job, err)
	}
	return entries, nil
}

// Marks implements store.Log.
func (l *Log) Marks(ctx context.Context, job string) ([]store.Mark, error) {
	var marks []store.Mark
	err := l.Read(ctx, func(tx *sql.Tx) error {
		return rows(ctx, tx, l.marks, func(r *sql.Rows) error {
			var m store.Mark
			err := r.Scan((*string)(&m.Day), &m.Count, into(&m.Sum))
			marks = append(marks, m)
			return err
		}, job)
	})
	if err != nil {
		return nil, fmt.Errorf("marks of job %s: %w", job, err)
	}
	return marks, nil
}

// Heads implements store.Log.
func (l *Log) Heads(ctx context.Context, job string) (daylog.Heads, error) {
	heads := daylog.Heads{}
	err := l.Read(ctx, func(tx *sql.Tx) error {
		answer, err := tx.QueryContext(ctx, `SELECT stream, seq, head FROM stream WHERE job = ?`, job)
		if err != nil {
			return err
		}
		return each(answer, func(r *sql.Rows) error {
			var name string
			var reach daylog.Reach
			err := r.Scan(&name, &reach.Seq, into(&reach.Head))
			heads[name] = reach
			return err
		})
	})
	if err != nil {
		return nil, fmt.Errorf("heads of job %s: %w", job, err)
	}
	return heads, nil
}

// Stream implements store.Log.
func (l *Log) Stream(ctx context.Context, job, stream string, after int64, limit int) ([][]byte, error) {
	var raws [][]byte
	if limit <= 0 {
		limit = -1 // SQLite's word for all
	}
	err := l.Read(ctx, func(tx *sql.Tx) error {
		var one int
		err := tx.QueryRowContext(ctx, `SELECT 1 FROM stream WHERE job = ? AND stream = ?`, job, stream).Scan(&one)
		if errors.Is(err, sql.ErrNoRows) {
			return fs.ErrNotExist
		}
		if err != nil {
			return err
		}
		return rows(ctx, tx, l.stream, func(r *sql.Rows) error {
			var raw []byte
			err := r.Scan(&raw)
			raws = append(raws, raw)
			return err
		}, job, stream, after, limit)
	})
	if err != nil {
		return nil, fmt.Errorf("stream %s of job %s: %w", stream, job, err)
	}
	return raws, nil
}

// Openings implements store.Log.
func (l *Log) Openings(ctx context.Context, job string) ([]daylog.Opening, error) {
	var openings []daylog.Opening
	err := l.Read(ctx, func(tx *sql.Tx) error {
		answer, err := tx.QueryContext(ctx, `SELECT day, count, build, state FROM opening WHERE job = ? ORDER BY day`, job)
		if err != nil {
			return err
		}
		return each(answer, func(r *sql.Rows) error {
			var o daylog.Opening
			err := r.Scan((*string)(&o.Day), &o.Count, &o.Build, &o.State)
			openings = append(openings, o)
			return err
		})
	})
	if err != nil {
		return nil, fmt.Errorf("openings of job %s: %w", job, err)
	}
	return openings, nil
}

// KeepOpening implements store.Log.
func (l *Log) KeepOpening(ctx context.Context, job string, openings ...daylog.Opening) error {
	err := l.Change(ctx, func(tx *sql.Tx) error {
		ctx := context.WithoutCancel(ctx)
		var one int
		err := tx.QueryRowContext(ctx, `SELECT 1 FROM job WHERE job = ?`, job).Scan(&one)
		if errors.Is(err, sql.ErrNoRows) {
			return fs.ErrNotExist
		}
		if err != nil {
			return err
		}
		for _, o := range openings {
			_, err := tx.ExecContext(ctx, `INSERT INTO opening (job, day, count, build, state) VALUES (?, ?, ?, ?, ?)
				ON CONFLICT (job, day) DO UPDATE SET count = excluded.count, build = excluded.build, state = excluded.state`,
				job, string(o.Day), o.Count, o.Build, append([]byte{}, o.State...))
			if err != nil {
				return err
			}
		}
		_, err = tx.ExecContext(ctx, `DELETE FROM opening WHERE job = ? AND day NOT IN
			(SELECT day FROM opening WHERE job = ? ORDER BY day DESC LIMIT ?)`, job, job, store.OpeningsKept)
		return err
	})
	if err != nil {
		return fmt.Errorf("keep an opening of job %s: %w", job, err)
	}
	return nil
}
