// Package sqlite keeps the entries of jobs in one SQLite file: the server's
// log.
//
// One connection writes, one transaction at a time, in the order in which they
// ask; others read, each call from one state. A commit has reached the disk
// (write-ahead log, synchronous=FULL). The SQL is kept plain: where it leaves
// the standard, a comment says so.
package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync/atomic"

	driver "modernc.org/sqlite"
	codes "modernc.org/sqlite/lib"

	"duskline/internal/store"
	"duskline/migrations"
)

// Log is a store.Log in a file. The same file holds what else the server
// keeps: see Change and Read.
type Log struct {
	path   string
	write  *sql.DB // one connection
	read   *sql.DB
	turn   chan struct{} // held by the one that writes
	device atomic.Pointer[string]
	*statements
}

// pragmas hold for every connection. A reader that meets a checkpoint, or a
// writer that meets another program (a backup), waits up to 10 s.
var pragmas = []string{"busy_timeout(10000)", "journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)"}

// Open opens the database in a file, makes it if there is none, and brings it
// up to date. A database that a later version has brought further is an error,
// and is left as it is. Only one program may have it open.
func Open(ctx context.Context, path string) (*Log, error) {
	return open(ctx, path, func(dsn string) (*sql.DB, error) { return sql.Open("sqlite", dsn) })
}

func open(ctx context.Context, path string, connect func(dsn string) (*sql.DB, error)) (_ *Log, err error) {
	l := &Log{path: path, turn: make(chan struct{}, 1)}
	defer func() {
		if err != nil {
			l.Close()
			err = fmt.Errorf("open the database %s: %w", path, said(err))
		}
	}()
	absolute, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	address := url.URL{Scheme: "file", OmitHost: true, Path: filepath.ToSlash(absolute)}
	query := url.Values{"_pragma": pragmas, "_txlock": {"immediate"}}
	address.RawQuery = query.Encode()
	if l.write, err = connect(address.String()); err != nil {
		return nil, err
	}
	l.write.SetMaxOpenConns(1)
	if err := l.migrate(ctx); err != nil {
		return nil, err
	}
	query["_pragma"] = append(pragmas[:len(pragmas):len(pragmas)], "query_only(1)")
	address.RawQuery = query.Encode()
	if l.read, err = connect(address.String()); err != nil {
		return nil, err
	}
	readers := max(4, runtime.NumCPU())
	l.read.SetMaxOpenConns(readers)
	l.read.SetMaxIdleConns(readers)
	if l.statements, err = prepare(ctx, l.write, l.read); err != nil {
		return nil, err
	}
	return l, l.findDevice(ctx)
}

// Close waits for what is being written, and closes the database.
func (l *Log) Close() error {
	l.turn <- struct{}{}
	defer func() { <-l.turn }()
	var errs []error
	if l.statements != nil {
		errs = append(errs, l.statements.close())
	}
	// The readers go first: the last to close folds the write-ahead log into
	// the file.
	for _, db := range []*sql.DB{l.read, l.write} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("close the database %s: %w", l.path, err)
	}
	return nil
}

// Change runs do in the one writing transaction, when its turn has come, and
// commits if it gives no error. The context ends the waiting; once begun, the
// transaction is carried through.
func (l *Log) Change(ctx context.Context, do func(*sql.Tx) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	select {
	case <-ctx.Done():
		return ctx.Err()
	case l.turn <- struct{}{}:
		defer func() { <-l.turn }()
	}
	return transact(context.WithoutCancel(ctx), l.write, nil, do)
}

// Read runs do in a reading transaction: all it reads is of one state.
func (l *Log) Read(ctx context.Context, do func(*sql.Tx) error) error {
	return transact(ctx, l.read, &sql.TxOptions{ReadOnly: true}, do)
}

func transact(ctx context.Context, db *sql.DB, options *sql.TxOptions, do func(*sql.Tx) error) error {
	tx, err := db.BeginTx(ctx, options)
	if err != nil {
		return said(err)
	}
	defer tx.Rollback() // after a commit it does nothing
	if err := do(tx); err != nil {
		return said(err)
	}
	return said(tx.Commit())
}

// said gives the errors that callers tell apart the names they know.
func said(err error) error {
	if e := (*driver.Error)(nil); errors.As(err, &e) && e.Code()&0xff == codes.SQLITE_FULL {
		return fmt.Errorf("%w: %w", store.ErrFull, err)
	}
	return err
}

// migrate runs the steps that the database has not seen.
func (l *Log) migrate(ctx context.Context) error {
	if _, err := l.write.ExecContext(ctx, `CREATE TABLE IF NOT EXISTS migration (number INTEGER NOT NULL PRIMARY KEY, name TEXT NOT NULL) STRICT`); err != nil {
		return err
	}
	var done int
	if err := l.write.QueryRowContext(ctx, `SELECT coalesce(max(number), 0) FROM migration`).Scan(&done); err != nil {
		return err
	}
	names, err := fs.Glob(migrations.Files, "*.sql") // in order
	if err != nil {
		return err
	}
	if done > len(names) {
		return fmt.Errorf("a later version of this program has brought it to step %d, this one knows %d", done, len(names))
	}
	for i, name := range names {
		prefix, _, _ := strings.Cut(name, "_")
		if number, err := strconv.Atoi(prefix); err != nil || number != i+1 {
			return fmt.Errorf("the migration %s is not numbered %03d", name, i+1)
		}
		if i < done {
			continue
		}
		script, err := migrations.Files.ReadFile(name)
		if err != nil {
			return err
		}
		err = transact(ctx, l.write, nil, func(tx *sql.Tx) error {
			if _, err := tx.ExecContext(ctx, string(script)); err != nil {
				return err
			}
			_, err := tx.ExecContext(ctx, `INSERT INTO migration (number, name) VALUES (?, ?)`, i+1, name)
			return err
		})
		if err != nil {
			return fmt.Errorf("migration %s: %w", name, err)
		}
	}
	return nil
}

// findDevice reads the storage's device id, or makes it on the first start.
func (l *Log) findDevice(ctx context.Context) error {
	return l.Change(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `INSERT INTO storage (name, value) VALUES ('device', ?) ON CONFLICT (name) DO NOTHING`, store.NewDevice()); err != nil {
			return err
		}
		var device string
		if err := tx.QueryRowContext(ctx, `SELECT value FROM storage WHERE name = 'device'`).Scan(&device); err != nil {
			return err
		}
		l.device.Store(&device)
		return nil
	})
}

// Device is the id of this storage.
func (l *Log) Device() string { return *l.device.Load() }
