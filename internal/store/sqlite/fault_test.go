package sqlite

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"testing"

	sqlite "modernc.org/sqlite"

	"duskline/internal/daylog"
)

// fault fails the k-th call to the database, before it is made or after it was
// made and its answer got lost.
type fault struct {
	mu    sync.Mutex
	k     int // 0: none
	after bool
	calls int
	hit   string
}

var errFault = errors.New("the disk is gone")

func (f *fault) arm(k int, after bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.k, f.after, f.calls, f.hit = k, after, 0, ""
}

// next counts a call and tells how it fails.
func (f *fault) next(what string) (before, after error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.calls++
	if f.k == 0 || f.calls != f.k {
		return nil, nil
	}
	f.hit = what
	if f.after {
		return nil, errFault
	}
	return errFault, nil
}

func call[T any](f *fault, what string, do func() (T, error), undo func(T)) (T, error) {
	var none T
	before, after := f.next(what)
	if before != nil {
		return none, before
	}
	v, err := do()
	if err == nil && after != nil {
		if undo != nil {
			undo(v)
		}
		return none, after
	}
	return v, err
}

// connect opens databases whose calls all go by the fault.
func (f *fault) connect(dsn string) (*sql.DB, error) {
	c, err := sqlite.NewConnector(dsn)
	if err != nil {
		return nil, err
	}
	return sql.OpenDB(faultyConnector{c, f}), nil
}

type faultyConnector struct {
	driver.Connector
	f *fault
}

func (c faultyConnector) Connect(ctx context.Context) (driver.Conn, error) {
	return call(c.f, "connect", func() (driver.Conn, error) {
		conn, err := c.Connector.Connect(ctx)
		if err != nil {
			return nil, err
		}
		return &faultyConn{conn.(fullConn), c.f}, nil
	}, func(c driver.Conn) { c.Close() })
}

type fullConn interface {
	driver.Conn
	driver.ConnPrepareContext
	driver.ConnBeginTx
	driver.ExecerContext
	driver.QueryerContext
}

type faultyConn struct {
	fullConn
	f *fault
}

func (c *faultyConn) PrepareContext(ctx context.Context, text string) (driver.Stmt, error) {
	return call(c.f, "prepare "+text, func() (driver.Stmt, error) {
		s, err := c.fullConn.PrepareContext(ctx, text)
		if err != nil {
			return nil, err
		}
		return &faultyStmt{s.(fullStmt), c.f, text}, nil
	}, func(s driver.Stmt) { s.Close() })
}

func (c *faultyConn) ExecContext(ctx context.Context, text string, args []driver.NamedValue) (driver.Result, error) {
	return call(c.f, text, func() (driver.Result, error) { return c.fullConn.ExecContext(ctx, text, args) }, nil)
}

func (c *faultyConn) QueryContext(ctx context.Context, text string, args []driver.NamedValue) (driver.Rows, error) {
	return call(c.f, text, func() (driver.Rows, error) { return c.fullConn.QueryContext(ctx, text, args) }, func(r driver.Rows) { r.Close() })
}

func (c *faultyConn) BeginTx(ctx context.Context, options driver.TxOptions) (driver.Tx, error) {
	return call(c.f, "begin", func() (driver.Tx, error) {
		tx, err := c.fullConn.BeginTx(ctx, options)
		return &faultyTx{tx, c.f}, err
	}, func(tx driver.Tx) { tx.(*faultyTx).Tx.Rollback() })
}

type faultyTx struct {
	driver.Tx
	f *fault
}

func (tx *faultyTx) Commit() error {
	before, after := tx.f.next("commit")
	if before != nil {
		// As the driver does when a commit fails.
		tx.Tx.Rollback()
		return before
	}
	return errors.Join(tx.Tx.Commit(), after)
}

type fullStmt interface {
	driver.Stmt
	driver.StmtExecContext
	driver.StmtQueryContext
}

type faultyStmt struct {
	fullStmt
	f    *fault
	text string
}

func (s *faultyStmt) ExecContext(ctx context.Context, args []driver.NamedValue) (driver.Result, error) {
	return call(s.f, s.text, func() (driver.Result, error) { return s.fullStmt.ExecContext(ctx, args) }, nil)
}

func (s *faultyStmt) QueryContext(ctx context.Context, args []driver.NamedValue) (driver.Rows, error) {
	return call(s.f, s.text, func() (driver.Rows, error) { return s.fullStmt.QueryContext(ctx, args) }, func(r driver.Rows) { r.Close() })
}

// holds puts all that a log gives of a job into a text.
func holds(t *testing.T, log *Log, job string) string {
	t.Helper()
	heads, err := log.Heads(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	marks, err := log.Marks(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	entries, err := log.Entries(t.Context(), job, "")
	if err != nil {
		t.Fatal(err)
	}
	raws := map[string]string{}
	for i := range entries {
		raws[fmt.Sprint(entries[i].Stream, " ", entries[i].Seq)] = string(entries[i].Raw())
	}
	openings, err := log.Openings(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	var waiting int
	if err := log.read.QueryRow(`SELECT count(*) FROM waiting`).Scan(&waiting); err != nil {
		t.Fatal(err)
	}
	return fmt.Sprint(log.Device(), heads, marks, raws, openings, waiting)
}

// TestEachCallFails does what changes a log with the k-th call to the database
// failing, for every k until nothing fails: each time all of it was done or
// nothing, and doing it again ends where an undisturbed one does.
func TestEachCallFails(t *testing.T) {
	far := func(n int, text string) (raws [][]byte) {
		head := daylog.ChainStart("job", "far")
		for seq := range n {
			e := notes(fmt.Sprint(text, seq), 1, daylog.Date("2026-10-05").Add(seq))[0]
			e.Job, e.Device, e.Seq, e.Tick, e.Prev = "job", "far", int64(seq+1), int64(seq+1), head.Prev()
			raw, err := daylog.Encode(&e)
			if err != nil {
				t.Fatal(err)
			}
			head = head.Next(raw)
			raws = append(raws, raw)
		}
		return raws
	}
	one, two := far(3, "one"), far(3, "two")
	operations := map[string]func(log *Log) error{
		"write": func(log *Log) error {
			_, err := log.Write(t.Context(), "job", notes("a", 3, "2026-10-06")...)
			return err
		},
		"write on a forked stream of its own": func(log *Log) error {
			raw := []byte(fmt.Sprintf(`{"kind":"x","job":"job","device":%q,"seq":9,"id":"x"}`, log.Device()))
			if _, err := log.Receive(t.Context(), "job", raw); err != nil {
				return err
			}
			_, err := log.Write(t.Context(), "job", notes("b", 1, "2026-10-05")...)
			return err
		},
		"receive with a gap": func(log *Log) error {
			if _, err := log.Receive(t.Context(), "job", one[0], one[2]); err != nil {
				return err
			}
			_, err := log.Receive(t.Context(), "job", one[1])
			return err
		},
		"receive a fork": func(log *Log) error {
			if _, err := log.Receive(t.Context(), "job", one...); err != nil {
				return err
			}
			_, err := log.Receive(t.Context(), "job", two...)
			return err
		},
		"keep an opening": func(log *Log) error {
			return log.KeepOpening(t.Context(), "job", daylog.Opening{Day: "2026-10-07", State: []byte("x")}, daylog.Opening{Day: "2026-10-08"})
		},
	}
	for name, operation := range operations {
		t.Run(name, func(t *testing.T) {
			f := new(fault)
			faults := 0
			for k, after := 1, false; ; {
				path := filepath.Join(t.TempDir(), "log.db")
				log, err := open(t.Context(), path, false, f.connect)
				if err != nil {
					t.Fatal(err)
				}
				if _, err := log.Write(t.Context(), "job", notes("base", 2, "2026-10-05")...); err != nil {
					t.Fatal(err)
				}
				before := holds(t, log, "job")
				f.arm(k, after)
				err = operation(log)
				hit := f.hit
				f.arm(0, false)
				during := holds(t, log, "job")
				if hit != "" && err == nil {
					t.Errorf("call %d failed and nobody said so: %s", k, hit)
				}
				if hit != "" && !errors.Is(err, errFault) {
					t.Errorf("call %d failed with another error: %v", k, err)
				}
				if err := operation(log); err != nil {
					t.Errorf("after call %d (%s) failed: %v", k, hit, err)
				}
				done := holds(t, log, "job")
				if err := log.Close(); err != nil {
					t.Error(err)
				}
				log = opened(t, path)
				if again := holds(t, log, "job"); again != done {
					t.Errorf("call %d (%s): opened again the log holds\n%s\nnot\n%s", k, hit, again, done)
				}
				if hit == "" {
					log.Close()
					break
				}
				faults++
				if two := name != "write" && name != "keep an opening"; !two && during != before && during != done {
					t.Errorf("call %d (%s) left half of it:\n%s", k, hit, during)
				}
				log.Close()
				if after {
					k++
				}
				after = !after
			}
			if faults < 6 {
				t.Errorf("only %d calls failed: the test shows nothing", faults)
			}
		})
	}
	t.Run("open", func(t *testing.T) {
		f := new(fault)
		for k := 1; ; k++ {
			path := filepath.Join(t.TempDir(), "log.db")
			f.arm(k, k%2 == 0)
			log, err := open(t.Context(), path, false, f.connect)
			hit := f.hit
			f.arm(0, false)
			if err == nil {
				log.Close()
			}
			if hit != "" && !errors.Is(err, errFault) {
				t.Errorf("call %d failed with %v: %s", k, err, hit)
			}
			log = opened(t, path)
			if _, err := log.Write(t.Context(), "job", notes("a", 1, "2026-10-05")...); err != nil {
				t.Errorf("after call %d failed (%s): %v", k, hit, err)
			}
			log.Close()
			if hit == "" {
				break
			}
		}
	})
}
