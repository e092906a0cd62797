package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// Walk shows all that is kept of a job, of one state: what stands beside the
// entries to begin, then each entry to row, in the order of stream and seq. A
// job that has nothing is fs.ErrNotExist. An error of either ends it and is
// given back.
func (r *Reader) Walk(ctx context.Context, job string, begin func(store.Kept) error, row func(store.Row) error) error {
	return r.Read(ctx, func(tx *sql.Tx) error {
		var k store.Kept
		ask := func(query string, do func(*sql.Rows) error) error {
			answer, err := tx.QueryContext(ctx, query, job)
			if err != nil {
				return err
			}
			return each(answer, do)
		}
		err := errors.Join(
			ask(`SELECT stream, parent, first, seq, head FROM stream WHERE job = ? ORDER BY stream`, func(r *sql.Rows) error {
				var b daylog.Branch
				err := r.Scan(&b.Name, &b.Parent, &b.From, &b.Seq, into(&b.Head))
				k.Branches = append(k.Branches, b)
				return err
			}),
			ask(`SELECT device, seq, hash, raw FROM waiting WHERE job = ? ORDER BY device, seq, hash`, func(r *sql.Rows) error {
				var w store.Row
				err := r.Scan(&w.Stream, &w.Seq, into(&w.Hash), &w.Raw)
				k.Waiting = append(k.Waiting, w)
				return err
			}),
			ask(`SELECT day, count, sum FROM mark WHERE job = ? ORDER BY day`, func(r *sql.Rows) error {
				var m store.Mark
				err := r.Scan((*string)(&m.Day), &m.Count, into(&m.Sum))
				k.Marks = append(k.Marks, m)
				return err
			}))
		if err != nil {
			return fmt.Errorf("walk job %s: %w", job, err)
		}
		if len(k.Branches)+len(k.Waiting)+len(k.Marks) == 0 {
			return fmt.Errorf("job %s: %w", job, fs.ErrNotExist)
		}
		if err := begin(k); err != nil {
			return err
		}
		return ask(`SELECT stream, seq, id, day, tick, hash, head, raw FROM entry WHERE job = ? ORDER BY stream, seq`, func(r *sql.Rows) error {
			var e store.Row
			if err := r.Scan(&e.Stream, &e.Seq, &e.ID, (*string)(&e.Day), &e.Tick, into(&e.Hash), into(&e.Head), &e.Raw); err != nil {
				return err
			}
			return row(e)
		})
	})
}

// Day gives the entries of one day of a job, in no particular order.
func (l *Log) Day(ctx context.Context, job string, day daylog.Date) ([]daylog.Entry, error) {
	var entries []daylog.Entry
	err := l.Read(ctx, func(tx *sql.Tx) error {
		answer, err := tx.QueryContext(ctx, `SELECT stream, raw FROM entry WHERE job = ? AND day = ?`, job, string(day))
		if err != nil {
			return err
		}
		return each(answer, func(r *sql.Rows) error {
			var row store.Row
			if err := r.Scan(&row.Stream, &row.Raw); err != nil {
				return err
			}
			e, err := row.Entry()
			entries = append(entries, e)
			return err
		})
	})
	if err != nil {
		return nil, fmt.Errorf("%s of job %s: %w", day, job, err)
	}
	return entries, nil
}

// ErrDamaged is returned for a file that is no longer a whole database.
var ErrDamaged = errors.New("the database file is damaged")

// QuickCheck reads the whole file and looks whether it is a database still;
// ErrDamaged if not. It takes about 2 s for a million entries.
func (r *Reader) QuickCheck(ctx context.Context) error {
	return r.check(ctx, `PRAGMA quick_check(1)`)
}

// FullCheck is QuickCheck and also looks whether the indexes are those of the
// rows, which takes ten times as long.
func (r *Reader) FullCheck(ctx context.Context) error {
	return r.check(ctx, `PRAGMA integrity_check(1)`)
}

func (r *Reader) check(ctx context.Context, pragma string) error {
	return r.Read(ctx, func(tx *sql.Tx) error {
		var says string
		if err := tx.QueryRowContext(ctx, pragma).Scan(&says); err != nil {
			return fmt.Errorf("%w: %w", ErrDamaged, err)
		}
		if says != "ok" {
			return fmt.Errorf("%w: %s", ErrDamaged, says)
		}
		return nil
	})
}

// CopyTo writes all of the database as it is at this moment into a file that is
// not there yet, whatever is written meanwhile, and returns once it is on disk.
func (r *Reader) CopyTo(ctx context.Context, path string) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s: %w", path, fs.ErrExist)
	}
	// Of its own: a connection that is told only to read takes this for writing.
	address, err := dsn(r.path, "ro", "busy_timeout(10000)")
	if err != nil {
		return err
	}
	db, err := connect(address)
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := db.ExecContext(ctx, `VACUUM INTO ?`, path); err != nil {
		return fmt.Errorf("copy the database: %w", said(err))
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Chmod(0o600), f.Sync(), f.Close())
}
