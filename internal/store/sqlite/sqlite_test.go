package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/store"
	"duskline/internal/store/storetest"
	"duskline/migrations"
)

var golden = flag.Bool("golden", false, "write the files that results are compared with")

func TestMain(m *testing.M) {
	if path := os.Getenv(writerPath); path != "" {
		writeUntilKilled(path)
		return
	}
	os.Exit(m.Run())
}

func TestSQLite(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Storage {
		path := filepath.Join(t.TempDir(), "a name?with=odd&parts#%20.db")
		var log *Log
		shut := func() {
			if log != nil {
				if err := log.Close(); err != nil {
					t.Error(err)
				}
			}
		}
		t.Cleanup(shut)
		return func() store.Log {
			shut()
			log = opened(t, path)
			return log
		}
	})
}

func opened(t testing.TB, path string) *Log {
	t.Helper()
	log, err := Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	return log
}

// fresh is a log that closes with the test.
func fresh(t testing.TB) *Log {
	t.Helper()
	log := opened(t, filepath.Join(t.TempDir(), "log.db"))
	t.Cleanup(func() {
		if err := log.Close(); err != nil {
			t.Error(err)
		}
	})
	return log
}

func notes(form string, n int, day daylog.Date) []daylog.Entry {
	at := time.Date(2026, 10, 5, 12, 0, 0, 0, time.UTC)
	drafts := make([]daylog.Entry, n)
	for i := range drafts {
		drafts[i] = daylog.Entry{ID: daylog.FormID(form, i), Day: day, At: at, Made: at, Body: &daylog.Note{Text: "invented"}}
	}
	return drafts
}

// TestPragmas asks both kinds of connection how they stand: without these a
// power cut could take an entry that a page called saved.
func TestPragmas(t *testing.T) {
	log := fresh(t)
	for name, db := range map[string]*sql.DB{"writer": log.write, "reader": log.read} {
		for pragma, want := range map[string]string{
			"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1", "busy_timeout": "10000",
			"query_only": map[string]string{"writer": "0", "reader": "1"}[name],
		} {
			var got string
			if err := db.QueryRowContext(t.Context(), "PRAGMA "+pragma).Scan(&got); err != nil || got != want {
				t.Errorf("%s of the %s is %q (%v), want %q", pragma, name, got, err, want)
			}
		}
	}
	if n := log.write.Stats().MaxOpenConnections; n != 1 {
		t.Errorf("%d connections may write, want 1", n)
	}
	err := log.Read(t.Context(), func(tx *sql.Tx) error {
		_, err := tx.Exec(`DELETE FROM storage`)
		return err
	})
	if err == nil {
		t.Error("a reader wrote")
	}
}

func TestSchema(t *testing.T) {
	log := fresh(t)
	var dump strings.Builder
	err := log.Read(t.Context(), func(tx *sql.Tx) error {
		answer, err := tx.Query(`SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY type DESC, name`)
		if err != nil {
			return err
		}
		return each(answer, func(r *sql.Rows) error {
			var text string
			err := r.Scan(&text)
			fmt.Fprintf(&dump, "%s;\n\n", text)
			return err
		})
	})
	if err != nil {
		t.Fatal(err)
	}
	const path = "testdata/schema.sql"
	if *golden {
		if err := os.WriteFile(path, []byte(dump.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if dump.String() != string(want) {
		t.Errorf("the schema is not that of %s (run with -golden to take it over):\n%s", path, dump.String())
	}
	// STRICT and not null: a column without a value is a bug somewhere else.
	for _, table := range strings.Split(dump.String(), "CREATE TABLE ")[1:] {
		if !strings.Contains(table, "STRICT") {
			t.Errorf("the table %s is not STRICT", strings.Fields(table)[0])
		}
	}
}

func TestMigrations(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log.db")
	for range 2 { // the second time there is nothing to do
		log := opened(t, path)
		names, _ := fs.Glob(migrations.Files, "*.sql")
		var done int
		if err := log.read.QueryRow(`SELECT count(*) FROM migration`).Scan(&done); err != nil || done != len(names) {
			t.Errorf("%d of %d migrations are done (%v)", done, len(names), err)
		}
		log.Close()
	}
	log := opened(t, path)
	if _, err := log.write.Exec(`INSERT INTO migration (number, name) VALUES (999, '999_later.sql')`); err != nil {
		t.Fatal(err)
	}
	log.Close()
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if log, err := Open(t.Context(), path); err == nil {
		log.Close()
		t.Fatal("a database of a later version was opened")
	} else if !strings.Contains(err.Error(), "later version") || !strings.Contains(err.Error(), path) {
		t.Errorf("the error does not say what is wrong: %v", err)
	}
	if after, _ := os.ReadFile(path); string(after) != string(before) {
		t.Error("a database of a later version was changed")
	}
}

func TestOpenFails(t *testing.T) {
	folder := t.TempDir()
	text := filepath.Join(folder, "text.db")
	if err := os.WriteFile(text, []byte(strings.Repeat("this is no database\n", 200)), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{folder, filepath.Join(folder, "none", "log.db"), text} {
		if log, err := Open(t.Context(), path); err == nil {
			log.Close()
			t.Errorf("%s was opened", path)
		} else if !strings.Contains(err.Error(), path) {
			t.Errorf("the error does not name %s: %v", path, err)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Open(ctx, filepath.Join(folder, "log.db")); !errors.Is(err, context.Canceled) {
		t.Errorf("with an ended context: %v", err)
	}
}

// TestQueue lets a call wait behind a long one: it may give up waiting, and
// then nothing of it is kept.
func TestQueue(t *testing.T) {
	log := fresh(t)
	begun, end := make(chan bool), make(chan bool)
	long := make(chan error)
	go func() {
		long <- log.Change(t.Context(), func(tx *sql.Tx) error {
			begun <- true
			<-end
			return nil
		})
	}()
	<-begun
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	if _, err := log.Write(ctx, "job", notes("a", 1, "2026-10-05")...); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("waiting too long: %v", err)
	}
	if _, err := log.Heads(t.Context(), "job"); err != nil {
		t.Errorf("reading while another writes: %v", err)
	}
	end <- true
	if err := <-long; err != nil {
		t.Error(err)
	}
	if heads, _ := log.Heads(t.Context(), "job"); len(heads) > 0 {
		t.Error("a call that gave up wrote after all")
	}
	// An error undoes what was done.
	var before int
	log.read.QueryRow(`SELECT count(*) FROM storage`).Scan(&before)
	wanted := errors.New("wanted")
	err := log.Change(t.Context(), func(tx *sql.Tx) error {
		if _, err := tx.Exec(`DELETE FROM storage`); err != nil {
			return err
		}
		return wanted
	})
	var left int
	log.read.QueryRow(`SELECT count(*) FROM storage`).Scan(&left)
	if !errors.Is(err, wanted) || left != before || left == 0 {
		t.Errorf("after an error %v there are %d rows, want %d", err, left, before)
	}
}

// TestColumns compares what stands beside the bytes of each entry with the
// bytes, after forks too.
func TestColumns(t *testing.T) {
	log := fresh(t)
	type line struct {
		seq  int64
		head daylog.Head
	}
	lines := []line{{0, daylog.ChainStart("job", "far")}}
	heads := map[daylog.Head]daylog.Head{} // by hash
	for i := range 12 {
		for range 2 {
			at := lines[i/2]
			e := notes(fmt.Sprint("e", len(lines)), 1, daylog.Date("2026-10-05").Add(i))[0]
			e.Job, e.Device, e.Seq, e.Tick, e.Prev = "job", "far", at.seq+1, int64(i), at.head.Prev()
			raw, err := daylog.Encode(&e)
			if err != nil {
				t.Fatal(err)
			}
			end := line{e.Seq, at.head.Next(raw)}
			heads[daylog.Hash(raw)] = end.head
			lines = append(lines, end)
			if _, err := log.Receive(t.Context(), "job", raw); err != nil {
				t.Fatal(err)
			}
		}
	}
	n := 0
	err := log.Read(t.Context(), func(tx *sql.Tx) error {
		answer, err := tx.Query(`SELECT stream, seq, id, day, tick, hash, head, raw FROM entry`)
		if err != nil {
			return err
		}
		return each(answer, func(r *sql.Rows) error {
			var row store.Row
			if err := r.Scan(&row.Stream, &row.Seq, &row.ID, (*string)(&row.Day), &row.Tick, into(&row.Hash), into(&row.Head), &row.Raw); err != nil {
				return err
			}
			n++
			e, err := row.Entry()
			if err != nil {
				return err
			}
			if e.Seq != row.Seq || e.ID != row.ID || e.Day != row.Day || e.Tick != row.Tick || row.Hash != daylog.Hash(row.Raw) || row.Head != heads[row.Hash] {
				t.Errorf("beside the entry %s on %s stands %+v", row.Raw, row.Stream, row)
			}
			return nil
		})
	})
	if err != nil || n != 24 {
		t.Errorf("%d entries read (%v), want 24", n, err)
	}
}

func TestFull(t *testing.T) {
	log := fresh(t)
	if _, err := log.Write(t.Context(), "job", notes("a", 5, "2026-10-05")...); err != nil {
		t.Fatal(err)
	}
	var pages int
	if err := log.write.QueryRow(`PRAGMA page_count`).Scan(&pages); err != nil {
		t.Fatal(err)
	}
	if _, err := log.write.Exec(fmt.Sprintf(`PRAGMA max_page_count = %d`, pages+10)); err != nil {
		t.Fatal(err)
	}
	held := 5
	for i := 0; ; i++ {
		_, err := log.Write(t.Context(), "job", notes(fmt.Sprint("b", i), 40, "2026-10-05")...)
		if err != nil {
			if !errors.Is(err, store.ErrFull) {
				t.Errorf("with no room left: %v, want store.ErrFull", err)
			}
			break
		}
		held += 40
	}
	entries, err := log.Entries(t.Context(), "job", "")
	if err != nil || len(entries) != held {
		t.Errorf("%d entries are held (%v), want %d", len(entries), err, held)
	}
	if _, err := log.write.Exec(`PRAGMA max_page_count = 1000000`); err != nil {
		t.Fatal(err)
	}
	if _, err := log.Write(t.Context(), "job", notes("c", 40, "2026-10-05")...); err != nil {
		t.Errorf("with room again: %v", err)
	}
}

// TestBytesAreNeverUpdated reads the program's own SQL.
func TestBytesAreNeverUpdated(t *testing.T) {
	source, err := os.ReadFile("log.go")
	if err != nil {
		t.Fatal(err)
	}
	updates := 0
	for _, line := range strings.Split(string(source), "\n") {
		if _, rest, ok := strings.Cut(line, "UPDATE entry SET "); ok {
			updates++
			if !strings.HasPrefix(rest, "stream = ? WHERE") {
				t.Errorf("an entry is changed: %s", line)
			}
		}
		if strings.Contains(line, "DELETE FROM entry") || strings.Contains(line, "REPLACE") {
			t.Errorf("an entry is taken out: %s", line)
		}
	}
	if updates != 1 {
		t.Errorf("%d statements change entries, want the one that renames", updates)
	}
}
