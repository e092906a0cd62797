package sqlite

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"duskline/internal/daylog"
)

// writerPath names the variable that makes the test program a writer.
const writerPath = "SQLITE_TEST_WRITES"

// writeUntilKilled writes and receives as fast as it can, several at a time,
// and prints the hash of each entry once the log has said that it is kept.
func writeUntilKilled(path string) {
	ctx := context.Background()
	log, err := Open(ctx, path)
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	fmt.Println("open")
	var mu sync.Mutex
	kept := func(raws ...[]byte) {
		var lines strings.Builder
		for _, raw := range raws {
			fmt.Fprintln(&lines, "kept", daylog.Hash(raw))
		}
		mu.Lock()
		defer mu.Unlock()
		os.Stdout.WriteString(lines.String())
	}
	fail := func(err error) {
		fmt.Println("error", err)
		os.Exit(1)
	}
	for range 2 {
		go func() {
			for {
				n := rand.N(8) + 1
				form := fmt.Sprintf("f%x", rand.Uint64())
				entries, err := log.Write(ctx, "job", notes(form, n, daylog.Date("2026-10-05").Add(rand.N(5)))...)
				if err != nil {
					fail(err)
				}
				for i := range entries {
					kept(entries[i].Raw())
				}
			}
		}()
	}
	device := fmt.Sprintf("far%x", rand.Uint64())
	head := daylog.ChainStart("job", device)
	for seq := int64(1); ; {
		var raws [][]byte
		for range rand.N(20) + 1 {
			e := notes(fmt.Sprint(device, "-", seq), 1, "2026-10-06")[0]
			e.Job, e.Device, e.Seq, e.Tick, e.Prev = "job", device, seq, seq, head.Prev()
			raw, err := daylog.Encode(&e)
			if err != nil {
				fail(err)
			}
			head, seq = head.Next(raw), seq+1
			raws = append(raws, raw)
		}
		if _, err := log.Receive(ctx, "job", raws...); err != nil {
			fail(err)
		}
		kept(raws...)
	}
}

// TestKilled kills a writing program at random moments, each time on the same
// file, and looks for every entry it had called kept.
func TestKilled(t *testing.T) {
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "log.db")
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	acknowledged := map[string]bool{}
	device := ""
	for round := range 50 {
		child := exec.Command(program)
		child.Env = append(os.Environ(), writerPath+"="+path)
		child.Stderr = os.Stderr
		out, err := child.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		timer := time.AfterFunc(time.Minute, func() { child.Process.Kill() })
		for lines.Scan() {
			word, rest, _ := strings.Cut(lines.Text(), " ")
			switch word {
			case "open":
				delay := time.Duration(random.IntN(25_000)) * time.Microsecond
				timer.Stop()
				timer = time.AfterFunc(delay, func() { child.Process.Kill() })
			case "kept":
				acknowledged[rest] = true
			default:
				t.Errorf("round %d: the writer says %s", round, lines.Text())
			}
		}
		timer.Stop()
		child.Wait()

		log := opened(t, path)
		if device == "" {
			device = log.Device()
		}
		if log.Device() != device {
			t.Errorf("round %d: the device is %q, not %q", round, log.Device(), device)
		}
		entries, err := log.Entries(t.Context(), "job", "")
		if err != nil {
			t.Fatal(err)
		}
		raws := make([][]byte, len(entries))
		found := make(map[string]bool, len(entries))
		for i := range entries {
			raws[i] = entries[i].Raw()
			found[daylog.Hash(raws[i]).String()] = true
		}
		for hash := range acknowledged {
			if !found[hash] {
				t.Errorf("round %d: an entry called kept is lost: %s", round, hash)
			}
		}
		threads, err := daylog.Thread("job", raws)
		if err != nil {
			t.Fatal(err)
		}
		heads, err := log.Heads(t.Context(), "job")
		if err != nil {
			t.Fatal(err)
		}
		if want := threads.Heads(); len(threads.Waiting) > 0 || fmt.Sprint(heads) != fmt.Sprint(want) {
			t.Errorf("round %d: %d wait; heads\n%v, want\n%v", round, len(threads.Waiting), heads, want)
		}
		var check string
		if err := log.read.QueryRow(`PRAGMA integrity_check`).Scan(&check); err != nil || check != "ok" {
			t.Errorf("round %d: the file is damaged: %s %v", round, check, err)
		}
		if err := log.Close(); err != nil {
			t.Error(err)
		}
		if t.Failed() {
			return
		}
	}
	if len(acknowledged) < 200 {
		t.Errorf("only %d entries were written before the kills: the test shows nothing", len(acknowledged))
	}
	t.Logf("%d entries acknowledged in 50 lives", len(acknowledged))
}
