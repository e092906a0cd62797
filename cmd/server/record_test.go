package main

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/binary"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"duskline/internal/daylog"
	"duskline/internal/exchange"
	"duskline/internal/proof"
	"duskline/internal/store"
	"duskline/internal/store/sqlite"
)

// program runs the program with arguments and gives what it printed.
func program(t *testing.T, args ...string) (string, error) {
	t.Helper()
	var out, logs bytes.Buffer
	err := run(t.Context(), args, &out, &logs)
	return out.String(), err
}

// prints runs the program, and wants it to succeed and print something that the
// pattern finds.
func prints(t *testing.T, pattern string, args ...string) string {
	t.Helper()
	out, err := program(t, args...)
	if err != nil || !regexp.MustCompile(pattern).MatchString(out) {
		t.Fatalf("%q printed %q and ended with %v, want %q", args, out, err, pattern)
	}
	return out
}

// fails runs the program, and wants it to fail with a sentence that the pattern
// finds.
func fails(t *testing.T, pattern string, args ...string) {
	t.Helper()
	out, err := program(t, args...)
	if err == nil || !regexp.MustCompile(pattern).MatchString(err.Error()) {
		t.Errorf("%q printed %q and ended with %v, want an error %q", args, out, err, pattern)
	}
}

// inventedFolder is a data folder with the invented jobs and accounts.
func inventedFolder(t *testing.T) string {
	t.Helper()
	folder := filepath.Join(t.TempDir(), "data")
	log, accounts, err := openFolder(t.Context(), sqlite.Open, folder, false, t.Logf)
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	if err := fillDemo(t.Context(), log, time.Now()); err != nil {
		t.Fatal(err)
	}
	if err := addDemoAccounts(t.Context(), accounts); err != nil {
		t.Fatal(err)
	}
	return folder
}

// change changes the database of a folder by hand.
func change(t *testing.T, folder, statement string, args ...any) {
	t.Helper()
	log, err := sqlite.Open(t.Context(), filepath.Join(folder, databaseName))
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	err = log.Change(t.Context(), func(tx *sql.Tx) error {
		r, err := tx.Exec(statement, args...)
		if n, _ := r.RowsAffected(); err == nil && n == 0 {
			t.Errorf("%s changed nothing", statement)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestBackup backs up, restores and verifies as somebody would who types it.
func TestBackup(t *testing.T) {
	data, to := inventedFolder(t), t.TempDir()
	if err := os.MkdirAll(filepath.Join(data, photosName, "ab"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(data, photosName, "ab", "photo"), []byte("a photo"), 0o600); err != nil {
		t.Fatal(err)
	}
	log, err := sqlite.Open(t.Context(), filepath.Join(data, databaseName)) // the server runs
	if err != nil {
		t.Fatal(err)
	}
	prints(t, `Job inventedhall: \d+ entries, all as written`, "verify", "-data", data)
	for _, name := range []string{filepath.Join(to, "monday"), filepath.Join(to, "monday.zip")} {
		prints(t, `holds \d\d+ entries of 2 jobs`, "backup", "-data", data, name)
		fails(t, `is there already`, "backup", "-data", data, name)
		prints(t, `A backup of .*\n.*\n.*\n.*every one is what`, "verify", name)
		place := name + ".restored"
		prints(t, `entries of 2 jobs, as they were on .* Tablets bring back|Start the server there`, "restore", "-data", place, name)
		fails(t, `is not empty`, "restore", "-data", place, name)
		if photo, err := os.ReadFile(filepath.Join(place, photosName, "ab", "photo")); string(photo) != "a photo" {
			t.Errorf("the photo is %q: %v", photo, err)
		}
		restored, err := sqlite.Open(t.Context(), filepath.Join(place, databaseName))
		if err != nil {
			t.Fatal(err)
		}
		if restored.Device() == log.Device() {
			t.Error("the restored server writes under the id of the first")
		}
		for _, job := range []string{"inventedhall", "inventedshop"} {
			a, _ := log.Heads(t.Context(), job)
			b, err := restored.Heads(t.Context(), job)
			if err != nil || len(a) == 0 || len(a) != len(b) {
				t.Errorf("job %s: %v and %v: %v", job, a, b, err)
			}
		}
		restored.Close()
	}
	log.Close()
	names, _ := os.ReadDir(to)
	if len(names) != 4 {
		t.Errorf("left over are %v", names)
	}

	fails(t, `no backup`, "restore", "-data", filepath.Join(to, "x"), to)
	fails(t, `no such file`, "restore", "-data", filepath.Join(to, "x"), filepath.Join(to, "none"))
	fails(t, `there is no record in the folder`, "backup", "-data", filepath.Join(to, "none"), filepath.Join(to, "y"))
	fails(t, `used as: backup`, "backup", "-data", data)

	db := filepath.Join(to, "monday", databaseName)
	text, err := os.ReadFile(db)
	if err != nil {
		t.Fatal(err)
	}
	text[len(text)/2] ^= 1
	if err := os.WriteFile(db, text, 0o600); err != nil {
		t.Fatal(err)
	}
	fails(t, `damaged: duskline.db`, "verify", filepath.Join(to, "monday"))
	fails(t, `nothing was restored.*damaged`, "restore", "-data", filepath.Join(to, "x"), filepath.Join(to, "monday"))
	if _, err := os.Stat(filepath.Join(to, "x")); err == nil {
		t.Error("something was restored all the same")
	}

	change(t, data, `UPDATE entry SET raw = CAST(replace(CAST(raw AS TEXT), '"seq":3,', '"seq":3, ') AS BLOB) WHERE job = 'inventedhall' AND seq = 3`)
	fails(t, `not what was written down. Job inventedhall, entry [34] of device`, "verify", "-data", data)
	fails(t, `no backup was made: the copy does not fit`, "backup", "-data", data, filepath.Join(to, "z"))
}

// TestSchedule makes backups in time, and keeps the latest.
func TestSchedule(t *testing.T) {
	data, to := inventedFolder(t), filepath.Join(t.TempDir(), "backups")
	now := time.Date(2026, 10, 5, 12, 0, 0, 0, time.UTC)
	s := schedule{data: data, to: to, every: time.Hour, keep: 2, now: func() time.Time { return now }, logf: t.Logf}
	for range 4 {
		if err := s.once(t.Context()); err != nil {
			t.Fatal(err)
		}
		now = now.Add(time.Hour)
		if err := os.MkdirAll(filepath.Join(to, "not a backup"), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	all, err := s.all()
	if err != nil || !slices.Equal(all, []string{"backup-20261005T140000Z", "backup-20261005T150000Z"}) {
		t.Errorf("kept are %q: %v", all, err)
	}
	if _, err := os.Stat(filepath.Join(to, "not a backup")); err != nil {
		t.Error("something else was taken away")
	}
	// It comes when the last is old enough; what was begun and not ended goes.
	part := filepath.Join(to, "backup-20261005T160000Z.part1")
	if err := os.Mkdir(part, 0o700); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan bool)
	go func() { s.run(ctx); done <- true }()
	for range 500 {
		if last, _ := s.last(); last.Equal(now) {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	cancel()
	<-done
	if _, err := os.Stat(part); err == nil {
		t.Error("what was begun is still there")
	}
	if last, err := s.last(); err != nil || !last.Equal(now) {
		t.Errorf("the last is of %v: %v", last, err)
	}
}

// TestArchive takes a job from one folder to another.
func TestArchive(t *testing.T) {
	data, to := inventedFolder(t), t.TempDir()
	file, other := filepath.Join(to, "hall.zip"), filepath.Join(to, "other")
	prints(t, `\d+ entries of job inventedhall are in`, "archive", "-data", data, "inventedhall", file)
	fails(t, `is there already`, "archive", "-data", data, "inventedhall", file)
	fails(t, `there is no job oak; there are inventedhall, inventedshop`, "archive", "-data", data, "oak", filepath.Join(to, "oak.zip"))
	prints(t, `entries of job inventedhall: every one`, "verify", file)
	first := prints(t, `(\d+) entries of job inventedhall; \d+ of them are new`, "import", "-data", other, file)
	if n := regexp.MustCompile(`\d+`).FindAllString(first, -1); n[0] != n[1] {
		t.Errorf("not all are new: %s", first)
	}
	prints(t, `; 0 of them are new`, "import", "-data", other, file)
	again := filepath.Join(to, "again.zip")
	prints(t, `entries`, "archive", "-data", other, "inventedhall", again)
	a, _ := os.ReadFile(file)
	if b, err := os.ReadFile(again); err != nil || !bytes.Equal(a, b) {
		t.Errorf("the archive of the other server is another: %v", err)
	}
	a[len(a)/2] ^= 4
	if err := os.WriteFile(file, a, 0o600); err != nil {
		t.Fatal(err)
	}
	fails(t, `.`, "verify", file)
	third := filepath.Join(to, "third")
	fails(t, `nothing was taken in`, "import", "-data", third, file)
	fails(t, `neither the archive`, "import", "-data", third, filepath.Join(data, databaseName))
}

// TestFlipped changes one byte of an entry in the database file itself, with
// what stands beside it, as a failing disk would or somebody with an editor:
// verify names the entry.
func TestFlipped(t *testing.T) {
	folder := t.TempDir()
	name := filepath.Join(folder, databaseName)
	log, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), databaseName))
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	at := time.Date(2026, 10, 5, 12, 0, 0, 0, time.UTC)
	for i := range 40 {
		_, err := log.Write(t.Context(), "oak", daylog.Entry{ID: daylog.FormID("oak", i), Day: daylog.Date("2026-10-05").Add(i / 20), At: at, Made: at, Body: &daylog.Note{Text: strings.Repeat("invented ", i)}})
		if err != nil {
			t.Fatal(err)
		}
	}
	var rows []store.Row
	err = log.Walk(t.Context(), "oak", func(store.Kept) error { return nil }, func(r store.Row) error {
		rows = append(rows, r)
		return nil
	})
	if err != nil || len(rows) != 40 {
		t.Fatalf("%d rows: %v", len(rows), err)
	}
	// All of it is in one file then.
	if err := log.CopyTo(t.Context(), name); err != nil {
		t.Fatal(err)
	}
	prints(t, `Job oak: 40 entries, all as written`, "verify", "-data", folder)

	whole, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	// The pages of a table begin with how many rows they have, at 3, and where
	// these are, from 8: https://www.sqlite.org/fileformat2.html#b_tree_pages. A
	// row that was moved is still in the page where it was, and is no row there.
	size := int(binary.BigEndian.Uint16(whole[16:]))
	isRow := func(at int) bool {
		page := whole[at/size*size:]
		for i := range int(binary.BigEndian.Uint16(page[3:])) {
			if begin := int(binary.BigEndian.Uint16(page[8+2*i:])); begin < at%size && at%size < begin+64 {
				return true
			}
		}
		return false
	}
	// What a row ends with. A tick of 1 takes no byte, one below 128 takes one.
	places, bytesOf := make([]int, len(rows)), make([][]byte, len(rows))
	for i, r := range rows {
		var tick []byte
		if r.Tick > 1 {
			tick = []byte{byte(r.Tick)}
		}
		bytesOf[i] = slices.Concat([]byte(r.ID), []byte(r.Day), tick, r.Hash[:], r.Head[:], r.Raw)
		for at := 0; ; at++ {
			next := bytes.Index(whole[at:], bytesOf[i])
			if next < 0 {
				break
			}
			if at += next; isRow(at) {
				if places[i] != 0 {
					t.Fatalf("entry %d is in the file twice", r.Seq)
				}
				places[i] = at
			}
		}
		if places[i] == 0 {
			t.Fatalf("entry %d is not in the file", r.Seq)
		}
	}
	rapid.Check(t, func(r *rapid.T) {
		i := rapid.IntRange(0, len(rows)-1).Draw(r, "entry")
		at := rapid.IntRange(0, len(bytesOf[i])-1).Draw(r, "byte")
		bits := byte(rapid.IntRange(1, 255).Draw(r, "bits"))
		f, err := os.OpenFile(name, os.O_WRONLY, 0)
		if err != nil {
			r.Fatal(err)
		}
		defer f.Close()
		if _, err := f.WriteAt([]byte{bytesOf[i][at] ^ bits}, int64(places[i]+at)); err != nil {
			r.Fatal(err)
		}
		defer f.WriteAt(bytesOf[i][at:at+1], int64(places[i]+at))
		var out, logs bytes.Buffer
		err = run(t.Context(), []string{"verify", "-data", folder}, &out, &logs)
		if want := fmt.Sprintf("Job oak, entry %d of device %s:", rows[i].Seq, rows[i].Stream); err == nil || !strings.Contains(err.Error(), want) {
			r.Fatalf("verify printed %q and ended with %v, want %s", out.String(), err, want)
		}
	})
	// What a row begins with, its job and stream, is found, but not named.
	begins := fmt.Appendf(nil, "oak%s", rows[9].Stream)
	begin := places[9] - 1 - len(begins) // its seq takes one byte
	if !bytes.Equal(whole[begin:begin+len(begins)], begins) {
		t.Fatalf("a row begins with %q", whole[begin:begin+len(begins)])
	}
	for i := range begins {
		changed := bytes.Clone(whole)
		changed[begin+i] ^= 1
		if err := os.WriteFile(name, changed, 0o600); err != nil {
			t.Fatal(err)
		}
		fails(t, `damaged`, "verify", "-data", folder)
	}
	if err := os.WriteFile(name, whole, 0o600); err != nil {
		t.Fatal(err)
	}
	prints(t, `Job oak: 40 entries, all as written`, "verify", "-data", folder)
	if again, err := os.ReadFile(name); err != nil || !bytes.Equal(again, whole) {
		t.Errorf("verify has written to the file: %v", err)
	}
}

// TestVerifyCode asks for the record of a printed code.
func TestVerifyCode(t *testing.T) {
	data := inventedFolder(t)
	file := filepath.Join(data, databaseName)
	log, err := sqlite.Open(t.Context(), file)
	if err != nil {
		t.Fatal(err)
	}
	entries, err := log.Entries(t.Context(), "inventedhall", "")
	if err != nil {
		t.Fatal(err)
	}
	code, day := "", daylog.Date("")
	for _, d := range daylog.Fold("inventedhall", entries).Days {
		if d.Signed() && code == "" {
			code, day = daylog.CheckCode("inventedhall", d, d.Signatures[0], nil), d.Date
		}
	}
	if code == "" {
		t.Fatal("no day of the invented job is signed")
	}
	fails(t, `unknown: no signed day`, "verify", "-data", data, "AAAAA-BBBBB-CCCCC-DDDDD")
	prints(t, `^Unchanged: `+code+`.*revision 1`, append([]string{"verify", "-data", data}, strings.Split(strings.ToLower(code), "-")...)...)
	at := time.Now().UTC().Truncate(time.Second)
	if _, err := log.Write(t.Context(), "inventedhall", daylog.Entry{ID: "later", Day: day, At: at, Made: at, Body: &daylog.Note{Text: "later"}}); err != nil {
		t.Fatal(err)
	}
	log.Close()
	prints(t, `^Superseded by revision 2`, "verify", "-data", data, code)
	change(t, data, `UPDATE entry SET raw = CAST(replace(CAST(raw AS TEXT), '"kind":"start"', '"kind":"start" ') AS BLOB) WHERE job = 'inventedhall' AND day = ?`, string(day))
	fails(t, `not what was written down: `+code, "verify", "-data", data, code)
	fails(t, `no check code`, "verify", "-data", data, "AAAAA")
	if a, _ := proof.Parse("aaaaa bbbbb-01845 ddddd"), 0; a != "AAAAA-BBBBB-OIB45-DDDDD" {
		t.Errorf("read as %q", a)
	}
}

// TestRestoredServer: after a restore from an older backup a tablet brings
// everything back, the server's own entries and another tablet's included.
func TestRestoredServer(t *testing.T) {
	data, to := inventedFolder(t), t.TempDir()
	const job = "inventedhall"
	backup, place := filepath.Join(to, "old"), filepath.Join(to, "restored")
	prints(t, `fits`, "backup", "-data", data, backup)
	log, err := sqlite.Open(t.Context(), filepath.Join(data, databaseName))
	if err != nil {
		t.Fatal(err)
	}
	at := time.Now().UTC().Truncate(time.Second)
	write := func(l store.Log, id string) {
		t.Helper()
		if _, err := l.Write(t.Context(), job, daylog.Entry{ID: id, Day: daylog.DateOf(at), At: at, Made: at, Body: &daylog.Note{Text: id}}); err != nil {
			t.Fatal(err)
		}
	}
	one, two := store.NewMemory(), store.NewMemory()
	call := func(on store.Log, server *sqlite.Log) exchange.Report {
		t.Helper()
		site := httptest.NewServer(&exchange.Server{Log: server, Now: time.Now})
		defer site.Close()
		c := exchange.Client{Log: on, Do: http.DefaultClient.Do, URL: site.URL, Now: time.Now, Memory: forgetful{}}
		r, err := c.Take(t.Context(), job, nil)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	call(two, log)
	write(two, "of the second tablet")
	write(log, "of the office")
	call(two, log)
	call(one, log)
	want, err := log.Heads(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	device := log.Device()
	log.Close()

	prints(t, `Tablets bring back`, "restore", "-data", place, backup)
	restored, err := sqlite.Open(t.Context(), filepath.Join(place, databaseName))
	if err != nil {
		t.Fatal(err)
	}
	defer restored.Close()
	write(restored, "of the office, after the restore")
	call(one, restored)
	got, err := restored.Heads(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	for stream, reach := range want {
		if got[stream] != reach {
			t.Errorf("stream %s reaches %v, before %v", stream, got[stream], reach)
		}
	}
	if len(got) != len(want)+1 || restored.Device() == device {
		t.Errorf("the restored server writes on a stream of its own: %v", got)
	}
	prints(t, `every one is what`, "verify", "-data", place)
}

// forgetful remembers nothing from one exchange to the next.
type forgetful struct{}

func (forgetful) Get(context.Context, string) ([]byte, error) { return nil, nil }
func (forgetful) Put(context.Context, string, []byte) error   { return nil }

func TestSecondServer(t *testing.T) {
	data := inventedFolder(t)
	log, err := sqlite.Open(t.Context(), filepath.Join(data, databaseName))
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	fails(t, `another program has this folder open`, "-data", data, "-addr", "127.0.0.1:0")
	prints(t, `A link for Ben`, "account", "add", "-data", data, "-login", "ben", "-name", "Ben Example")
}
