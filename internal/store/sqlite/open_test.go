package sqlite

import (
	"compress/gzip"
	"database/sql"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// TestInUse: one program at a time has a folder, but a command may do its work
// beside it.
func TestInUse(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log.db")
	log := opened(t, path)
	if second, err := Open(t.Context(), path); !errors.Is(err, ErrInUse) {
		t.Errorf("a second one has opened it: %v, %v", second, err)
	}
	beside, err := OpenBeside(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	if beside.Device() != log.Device() {
		t.Errorf("the device is %s beside, and %s", beside.Device(), log.Device())
	}
	if _, err := beside.Write(t.Context(), "job", notes("a", 1, "2026-10-05")...); err != nil {
		t.Error(err)
	}
	if err := beside.Close(); err != nil {
		t.Error(err)
	}
	if heads, err := log.Heads(t.Context(), "job"); err != nil || heads[log.Device()].Seq != 1 {
		t.Errorf("what was written beside is not there: %v, %v", heads, err)
	}
	// A server that is behind must not find the file changed under it.
	if _, err := log.write.Exec(`DELETE FROM migration WHERE number = (SELECT max(number) FROM migration)`); err != nil {
		t.Fatal(err)
	}
	if beside, err := OpenBeside(t.Context(), path); err == nil {
		beside.Close()
		t.Error("opened beside an earlier version")
	}
	log.Close()
}

func TestUnclean(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log.db")
	log := opened(t, path)
	if log.Unclean() {
		t.Error("a new database was not closed")
	}
	log.Close()
	log = opened(t, path)
	if log.Unclean() {
		t.Error("one that was closed was not")
	}
	// As if it had been killed.
	for _, db := range []*sql.DB{log.read, log.write, log.held} {
		db.Close()
	}
	log = opened(t, path)
	defer log.Close()
	if !log.Unclean() {
		t.Error("one that was not closed was")
	}
}

func TestOnlyOurs(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Windows keeps rights elsewhere")
	}
	path := filepath.Join(t.TempDir(), "log.db")
	log := opened(t, path)
	defer log.Close()
	if _, err := log.Write(t.Context(), "job", notes("a", 1, "2026-10-05")...); err != nil {
		t.Fatal(err)
	}
	names, _ := filepath.Glob(path + "*")
	if len(names) < 3 {
		t.Errorf("the files are %q", names)
	}
	for _, name := range names {
		if info, err := os.Stat(name); err != nil || info.Mode().Perm()&0o077 != 0 && info.Size() > 0 {
			t.Errorf("%s is %v (%v)", name, info.Mode(), err)
		}
	}
}

// TestCopy copies a database while it is used, and reads the copy, which stays
// as it is.
func TestCopy(t *testing.T) {
	log := fresh(t)
	if _, err := log.Write(t.Context(), "job", notes("a", 50, "2026-10-05")...); err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "copy.db")
	if err := log.CopyTo(t.Context(), to); err != nil {
		t.Fatal(err)
	}
	if err := log.CopyTo(t.Context(), to); !errors.Is(err, fs.ErrExist) {
		t.Errorf("over a copy: %v", err)
	}
	if _, err := log.Write(t.Context(), "job", notes("b", 5, "2026-10-05")...); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(to)
	if err != nil {
		t.Fatal(err)
	}
	r, err := OpenToRead(t.Context(), to)
	if err != nil {
		t.Fatal(err)
	}
	if err := r.QuickCheck(t.Context()); err != nil {
		t.Error(err)
	}
	n := 0
	err = r.Walk(t.Context(), "job", func(k store.Kept) error {
		if len(k.Branches) != 1 || k.Branches[0].Seq != 50 || len(k.Marks) != 1 || k.Marks[0].Count != 50 {
			t.Errorf("the copy keeps %+v", k)
		}
		return nil
	}, func(row store.Row) error {
		if n++; row.Seq != int64(n) || row.Hash != daylog.Hash(row.Raw) {
			t.Errorf("entry %d is %+v", n, row)
		}
		return nil
	})
	if err != nil || n != 50 {
		t.Errorf("%d entries: %v", n, err)
	}
	if err := r.Walk(t.Context(), "none", nil, nil); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a job that is not there: %v", err)
	}
	if err := r.Close(); err != nil {
		t.Error(err)
	}
	after, _ := os.ReadFile(to)
	if names, _ := filepath.Glob(to + "*"); string(before) != string(after) || len(names) != 1 {
		t.Errorf("reading has changed the copy, or left something beside it: %q", names)
	}
	// Damage from the fifth page on.
	for i := 4 * 4096; i < len(after); i++ {
		after[i] ^= 0xff
	}
	if err := os.WriteFile(to, after, 0o600); err != nil {
		t.Fatal(err)
	}
	if r, err = OpenToRead(t.Context(), to); err == nil {
		defer r.Close()
		err = r.QuickCheck(t.Context())
	}
	if err == nil {
		t.Error("a damaged copy passes")
	}
	if _, err := OpenToRead(t.Context(), filepath.Join(t.TempDir(), "none.db")); err == nil {
		t.Error("a file that is not there was opened")
	}
}

func TestRenew(t *testing.T) {
	log := fresh(t)
	one := log.Device()
	if _, err := log.Write(t.Context(), "job", notes("a", 1, "2026-10-05")...); err != nil {
		t.Fatal(err)
	}
	if err := log.Renew(t.Context()); err != nil {
		t.Fatal(err)
	}
	entries, err := log.Write(t.Context(), "job", notes("b", 1, "2026-10-05")...)
	if err != nil || entries[0].Device == one || entries[0].Device != log.Device() || entries[0].Seq != 1 {
		t.Errorf("after %s it writes as %+v: %v", one, entries, err)
	}
}

// TestReleased opens a database of each version that was given to anybody.
func TestReleased(t *testing.T) {
	for name, want := range map[string]struct {
		device string
		jobs   map[string]int
	}{
		"released-002.db.gz": {"ldrlu3jeubo7nqpy", map[string]int{"inventedhall": 119, "inventedshop": 9}},
	} {
		packed, err := os.Open(filepath.Join("testdata", name))
		if err != nil {
			t.Fatal(err)
		}
		defer packed.Close()
		zip, err := gzip.NewReader(packed)
		if err != nil {
			t.Fatal(err)
		}
		file, err := io.ReadAll(zip)
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "log.db")
		if err := os.WriteFile(path, file, 0o600); err != nil {
			t.Fatal(err)
		}
		log := opened(t, path)
		if log.Device() != want.device {
			t.Errorf("%s: the device is %s", name, log.Device())
		}
		for job, n := range want.jobs {
			entries, err := log.Entries(t.Context(), job, "")
			if err != nil || len(entries) != n {
				t.Errorf("%s: job %s has %d entries (%v), want %d", name, job, len(entries), err, n)
			}
			if _, err := store.Fold(t.Context(), log, job, "2026-12-01"); err != nil {
				t.Errorf("%s: job %s: %v", name, job, err)
			}
			if _, err := log.Write(t.Context(), job, notes("more", 1, "2026-12-01")...); err != nil {
				t.Errorf("%s: job %s: %v", name, job, err)
			}
		}
		if err := log.Close(); err != nil {
			t.Error(err)
		}
	}
}
