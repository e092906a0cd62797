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
	"os"
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
	Reader
	write   *sql.DB // one connection
	held    *sql.DB // the folder's lock; nil beside the program that has it
	unclean bool
	turn    chan struct{} // held by the one that writes
	device  atomic.Pointer[string]
	*statements
}

// Reader reads what is kept in a file.
type Reader struct {
	path string
	read *sql.DB
}

// pragmas hold for every connection. A reader that meets a checkpoint, or a
// writer that meets another program (a backup), waits up to 10 s.
var pragmas = []string{"busy_timeout(10000)", "journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)"}

// ErrInUse is returned by Open where another program has the database open.
var ErrInUse = errors.New("another program has this folder open: stop it first, or give this one a folder of its own")

// Open opens the database in a file, makes it if there is none, and brings it
// up to date. A database that a later version has brought further is an error,
// and is left as it is. Only one program may have it open: for a second it is
// ErrInUse.
func Open(ctx context.Context, path string) (*Log, error) {
	return open(ctx, path, false, connect)
}

// OpenBeside is Open for a command that has little to do and may do it while
// the server runs. Beside a server of another version it is an error.
func OpenBeside(ctx context.Context, path string) (*Log, error) {
	return open(ctx, path, true, connect)
}

func connect(dsn string) (*sql.DB, error) { return sql.Open("sqlite", dsn) }

// dsn is the address of a database file for the driver.
func dsn(path, mode string, pragmas ...string) (string, error) {
	absolute, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	query := url.Values{"_pragma": pragmas, "_txlock": {"immediate"}}
	if mode != "" {
		query.Set("mode", mode)
	}
	address := url.URL{Scheme: "file", OmitHost: true, Path: filepath.ToSlash(absolute), RawQuery: query.Encode()}
	return address.String(), nil
}

// OpenToRead opens a database that is there and changes nothing, not even its
// version: a backup, or beside the server. Its Walk, Jobs and QuickCheck say
// what is in it.
func OpenToRead(ctx context.Context, path string) (*Reader, error) {
	address, err := dsn(path, "ro", "busy_timeout(10000)", "query_only(1)")
	if err != nil {
		return nil, err
	}
	r := &Reader{path: path}
	if r.read, err = connect(address); err != nil {
		return nil, err
	}
	err = r.Read(ctx, func(tx *sql.Tx) error {
		var one int
		return tx.QueryRowContext(ctx, `SELECT count(*) FROM storage`).Scan(&one)
	})
	if err != nil {
		r.read.Close()
		return nil, fmt.Errorf("open the database %s: %w", path, err)
	}
	return r, nil
}

// Close closes the database.
func (r *Reader) Close() error { return r.read.Close() }

// hold takes the lock of the folder, which ends with the program whatever its
// end: an exclusive transaction on a second, empty database. ErrInUse if
// another has it.
func (l *Log) hold(ctx context.Context) error {
	address, err := dsn(l.path+".lock", "", "busy_timeout(0)", "journal_mode(MEMORY)")
	if err != nil {
		return err
	}
	db, err := connect(address)
	if err != nil {
		return err
	}
	db.SetMaxOpenConns(1)
	if _, err := db.ExecContext(ctx, `BEGIN EXCLUSIVE`); err != nil {
		db.Close()
		if e := (*driver.Error)(nil); errors.As(err, &e) && e.Code()&0xff == codes.SQLITE_BUSY {
			return ErrInUse
		}
		return fmt.Errorf("lock the folder: %w", err)
	}
	l.held = db
	return nil
}

func open(ctx context.Context, path string, beside bool, connect func(dsn string) (*sql.DB, error)) (_ *Log, err error) {
	l := &Log{Reader: Reader{path: path}, turn: make(chan struct{}, 1)}
	defer func() {
		if err != nil {
			l.Close()
			err = fmt.Errorf("open the database %s: %w", path, said(err))
		}
	}()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if err := l.hold(ctx); err != nil && !(beside && errors.Is(err, ErrInUse)) {
		return nil, err
	}
	// SQLite makes files as open as the umask has them, and the files beside
	// it as open as the first.
	made, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if err := made.Close(); err != nil {
		return nil, err
	}
	address, err := dsn(path, "", pragmas...)
	if err != nil {
		return nil, err
	}
	if l.write, err = connect(address); err != nil {
		return nil, err
	}
	l.write.SetMaxOpenConns(1)
	if err := l.migrate(ctx); err != nil {
		return nil, err
	}
	address, err = dsn(path, "", append(pragmas[:len(pragmas):len(pragmas)], "query_only(1)")...)
	if err != nil {
		return nil, err
	}
	if l.read, err = connect(address); err != nil {
		return nil, err
	}
	readers := max(4, runtime.NumCPU())
	l.read.SetMaxOpenConns(readers)
	l.read.SetMaxIdleConns(readers)
	if l.statements, err = prepare(ctx, l.write, l.read); err != nil {
		return nil, err
	}
	return l, l.begin(ctx)
}

// Close waits for what is being written, and closes the database.
func (l *Log) Close() error {
	l.turn <- struct{}{}
	defer func() { <-l.turn }()
	var errs []error
	if l.held != nil && l.statements != nil { // it was open
		_, err := l.write.Exec(`DELETE FROM storage WHERE name = 'open'`)
		errs = append(errs, err)
	}
	if l.statements != nil {
		errs = append(errs, l.statements.close())
	}
	// The readers go first: the last to close folds the write-ahead log into
	// the file.
	for _, db := range []*sql.DB{l.read, l.write, l.held} {
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
func (r *Reader) Read(ctx context.Context, do func(*sql.Tx) error) error {
	return transact(ctx, r.read, &sql.TxOptions{ReadOnly: true}, do)
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
	if l.held == nil && done < len(names) {
		return errors.New("the program that has it open is an earlier version of this one: use the same for both")
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

// begin reads the storage's device id, or makes it on the first start, and
// notes that the database is open until Close.
func (l *Log) begin(ctx context.Context) error {
	return l.Change(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `INSERT INTO storage (name, value) VALUES ('device', ?) ON CONFLICT (name) DO NOTHING`, store.NewDevice()); err != nil {
			return err
		}
		var device string
		if err := tx.QueryRowContext(ctx, `SELECT value FROM storage WHERE name = 'device'`).Scan(&device); err != nil {
			return err
		}
		l.device.Store(&device)
		if l.held == nil {
			return nil
		}
		fresh, err := tx.ExecContext(ctx, `INSERT INTO storage (name, value) VALUES ('open', 'since the last start') ON CONFLICT (name) DO NOTHING`)
		if err != nil {
			return err
		}
		n, err := fresh.RowsAffected()
		l.unclean = n == 0
		return err
	})
}

// Unclean reports whether the program that had the database open last did not
// close it: it was killed, or the machine lost its power.
func (l *Log) Unclean() bool { return l.unclean }

// Device is the id of this storage.
func (l *Log) Device() string { return *l.device.Load() }

// Renew gives the storage another device id: what is written from now on is on
// streams of its own. A copy that goes on beside or after its original needs it.
func (l *Log) Renew(ctx context.Context) error {
	device := store.NewDevice()
	err := l.Change(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE storage SET value = ? WHERE name = 'device'`, device)
		return err
	})
	if err != nil {
		return fmt.Errorf("renew the device id: %w", err)
	}
	l.device.Store(&device)
	return nil
}
