package main

import (
	"bufio"
	"context"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/store/sqlite"
)

// startsIn names the folder in which the test program is the server.
const startsIn = "SERVER_TEST_STARTS_IN"

func TestMain(m *testing.M) {
	if folder := os.Getenv(startsIn); folder != "" {
		ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
		defer stop()
		if err := run(ctx, []string{"-data", folder, "-addr", "127.0.0.1:0"}, os.Stdout, os.Stderr); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

// season fills a folder with invented jobs of 100 days of 100 entries.
func season(t testing.TB, folder string, jobs int) {
	t.Helper()
	log, err := sqlite.Open(context.Background(), filepath.Join(folder, databaseName))
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	for j := range jobs {
		job := fmt.Sprintf("job%d", j)
		head := daylog.ChainStart(job, "tablet")
		var raws [][]byte
		for i := range 10_000 {
			at := time.Date(2026, 5, 1+i/100, 12, 0, i%100, 0, time.UTC)
			e := daylog.Entry{ID: fmt.Sprintf("k3v9x2%010d", i), Job: job, Device: "tablet", Seq: int64(i) + 1, Tick: int64(i) + 1, Prev: head.Prev(), Day: daylog.DateOf(at), At: at, Made: at,
				Author: "ada", By: []string{"ada", "ben"}, Body: &daylog.Note{Text: "an invented entry of about the length that most entries have, some 350 bytes with all that stands around it"}}
			raw, err := daylog.Encode(&e)
			if err != nil {
				t.Fatal(err)
			}
			head = head.Next(raw)
			raws = append(raws, raw)
		}
		if _, err := log.Receive(context.Background(), job, raws...); err != nil {
			t.Fatal(err)
		}
	}
}

// started starts the server in a folder and gives how long it took until a page
// was there.
func started(t testing.TB, folder string) (*exec.Cmd, time.Duration) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), startsIn+"="+folder)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	begun := time.Now()
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal(line, err)
	}
	go func() { // what it prints more must not hold it up
		for b := make([]byte, 4096); ; {
			if _, err := out.Read(b); err != nil {
				return
			}
		}
	}()
	site := strings.TrimSpace(strings.TrimPrefix(line, "Duskline answers at "))
	r, err := http.Get(site + "sign-in")
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != 200 {
		t.Fatal(r.Status)
	}
	return cmd, time.Since(begun)
}

// From the start of the program to its first page, with a database of 500,000
// entries: after it was ended properly, and after it was killed while it wrote.
func BenchmarkStart(b *testing.B) {
	folder := b.TempDir()
	season(b, folder, 50)
	b.Run("ended", func(b *testing.B) {
		var took time.Duration
		for range b.N {
			cmd, d := started(b, folder)
			took += d
			cmd.Process.Signal(syscall.SIGTERM)
			cmd.Wait()
		}
		b.ReportMetric(float64(took.Milliseconds())/float64(b.N), "ms/start")
	})
	b.Run("killed", func(b *testing.B) {
		var took time.Duration
		for range b.N {
			cmd, _ := started(b, folder)
			writeBeside(b, folder)
			cmd.Process.Kill()
			cmd.Wait()
			cmd, d := started(b, folder)
			took += d
			cmd.Process.Signal(syscall.SIGTERM)
			cmd.Wait()
		}
		b.ReportMetric(float64(took.Milliseconds())/float64(b.N), "ms/start")
	})
}

// writeBeside writes into a folder in which the server runs, so that its
// write-ahead log is full when it is killed.
func writeBeside(t testing.TB, folder string) {
	t.Helper()
	log, err := sqlite.OpenBeside(context.Background(), filepath.Join(folder, databaseName))
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	form := fmt.Sprint("f", time.Now().UnixNano())
	var drafts []daylog.Entry
	for i := range 2_000 {
		at := time.Date(2026, 9, 1, 12, 0, 0, 0, time.UTC)
		drafts = append(drafts, daylog.Entry{ID: daylog.FormID(form, i), Day: "2026-09-01", At: at, Made: at, Body: &daylog.Note{Text: "invented"}})
	}
	if _, err := log.Write(context.Background(), "job0", drafts...); err != nil {
		t.Fatal(err)
	}
}

// TestKilled: after it was killed the server says that it is checking, and then
// that all is whole.
func TestKilled(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "data")
	if err := os.MkdirAll(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	cmd, _ := started(t, folder)
	cmd.Process.Kill()
	cmd.Wait()
	log, err := sqlite.Open(t.Context(), filepath.Join(folder, databaseName))
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	w := &watch{log: log, logf: t.Logf}
	if says := w.notices(); len(says) != 1 || !strings.HasPrefix(says[0], "Checking") {
		t.Errorf("after it was killed the office reads %q", says)
	}
	w.run(t.Context())
	if says := w.notices(); len(says) != 0 {
		t.Errorf("after the check it reads %q", says)
	}
	w.fault = sqlite.ErrDamaged
	if says := w.notices(); len(says) != 1 || !strings.HasPrefix(says[0], "The database is damaged") {
		t.Errorf("with damage it reads %q", says)
	}
	w.fault, w.backups = nil, &schedule{to: t.TempDir(), every: time.Hour, now: time.Now}
	if err := os.Mkdir(filepath.Join(w.backups.to, "backup-20200101T000000Z"), 0o700); err != nil {
		t.Fatal(err)
	}
	if says := w.notices(); len(says) != 1 || !strings.HasPrefix(says[0], "No backup was made since 1 January") {
		t.Errorf("without a backup it reads %q", says)
	}
}
