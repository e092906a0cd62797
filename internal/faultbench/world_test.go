package faultbench

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
	"duskline/internal/exchange"
	"duskline/internal/store/sqlite"
)

const job = script.BigJob

// patience is how long a tablet waits for an answer while the link is bad, and
// calm while it is good.
const (
	patience = 150 * time.Millisecond
	calm     = 20 * time.Second
)

// notes is what a tablet's side remembers.
type notes map[string][]byte

func (n notes) Get(_ context.Context, key string) ([]byte, error) { return n[key], nil }
func (n notes) Put(_ context.Context, key string, value []byte) error {
	n[key] = slices.Clone(value)
	return nil
}

// tablet is a device with its log in a file.
type tablet struct {
	name   string
	path   string
	log    *sqlite.Log
	memory notes
	link   *link
	clock  time.Duration // how far its clock is off
	knows  int           // how often the server had been put back when they last agreed
	copies []string
}

func (tab *tablet) client() *exchange.Client {
	deadline := calm
	if tab.link.faults {
		deadline = patience
	}
	return &exchange.Client{
		Log: tab.log, Do: tab.link.do, URL: "http://office.example/exchange", Build: "t1", Memory: tab.memory,
		Now: func() time.Time { return time.Now().Add(tab.clock) }, Fold: exchange.FoldOf(tab.log, nil), Deadline: deadline,
	}
}

// world is one schedule under way.
type world struct {
	t       *testing.T
	random  *rand.Rand
	folder  string
	server  *central
	backups []string
	// restored is how often the server was put back to an earlier state.
	restored int
	tablets  []*tablet
	made     int // tablets, ever
	written  map[string][]daylog.Entry
	poison   int

	mu    sync.Mutex
	saved map[daylog.Head]bool // a log said that it is kept
	sent  map[daylog.Head]bool // a tablet said that the server has it
	count map[string]int
}

// newWorld starts a server that holds the set-up of a made-up job, of whose days
// nothing is written yet.
func newWorld(t *testing.T, seed uint64, days int) *world {
	w := &world{
		t: t, random: rand.New(rand.NewPCG(seed, 7)), folder: t.TempDir(),
		written: map[string][]daylog.Entry{}, saved: map[daylog.Head]bool{}, sent: map[daylog.Head]bool{}, count: map[string]int{},
	}
	w.server = &central{folder: filepath.Join(w.folder, "server"), build: "s1"}
	w.no(os.Mkdir(w.server.folder, 0o700))
	w.no(w.server.start())
	big, err := script.Big(days, 100, seed)
	w.no(err)
	for _, e := range big.Entries {
		w.written[e.Device] = append(w.written[e.Device], e.Entry)
	}
	w.office(len(w.written[script.Office]))
	return w
}

func (w *world) no(err error) {
	w.t.Helper()
	if err != nil {
		w.t.Fatal(err)
	}
}

// add adds a tablet, with a log that another had, if path is not empty.
func (w *world) add(path string, memory notes) *tablet {
	w.made++
	name := fmt.Sprint("tablet", w.made)
	tab := &tablet{name: name, path: filepath.Join(w.folder, name+".db"), memory: notes{}}
	if path != "" {
		copyFile(w.t, path, tab.path)
		tab.memory = maps.Clone(memory)
	}
	var err error
	tab.log, err = sqlite.Open(w.t.Context(), tab.path)
	w.no(err)
	tab.link = &link{
		to: func() string { return w.server.address }, faults: true, key: name,
		random: rand.New(rand.NewPCG(w.random.Uint64(), 1)), count: w.count, mu: &w.mu,
	}
	w.tablets = append(w.tablets, tab)
	return tab
}

func copyFile(t testing.TB, from, to string) {
	t.Helper()
	in, err := os.Open(from)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(out, in); err != nil {
		t.Fatal(err)
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
}

// closed closes a tablet's log for as long as do takes, as when its program is
// stopped.
func (w *world) closed(tab *tablet, do func()) {
	w.no(tab.log.Close())
	do()
	var err error
	tab.log, err = sqlite.Open(w.t.Context(), tab.path)
	w.no(err)
}

// next takes the next entries that a device of the made-up job wrote.
func (w *world) next(device string, n int) []daylog.Entry {
	n = min(n, len(w.written[device]))
	taken := w.written[device][:n]
	w.written[device] = w.written[device][n:]
	return taken
}

// office has the office write on the server's own stream.
func (w *world) office(n int) {
	var raws []json.RawMessage
	for _, e := range w.next(script.Office, n) {
		raws = append(raws, e.Raw())
	}
	if len(raws) == 0 {
		return
	}
	if _, err := w.server.order(orders{Write: raws}); err != nil {
		w.t.Logf("the office could not write: %v", err)
	}
}

// write has a tablet write.
func (w *world) write(i int) {
	tab := w.tablets[i]
	var drafts []daylog.Entry
	for _, e := range w.next([]string{"a", "b", "c"}[i%3], 1+w.random.IntN(25)) {
		drafts = append(drafts, draftOf(e))
	}
	if w.random.IntN(8) == 0 || len(drafts) == 0 {
		w.poison++
		text := "nothing new"
		if w.random.IntN(2) == 0 {
			text = "arsenic in the gravel"
		}
		now := time.Now().Add(tab.clock).UTC()
		drafts = append(drafts, daylog.Entry{ID: fmt.Sprint("said", tab.name, w.poison), Day: "2026-03-03", At: now, Made: now, Body: &daylog.Note{Text: text}})
	}
	kept, err := tab.log.Write(w.t.Context(), job, drafts...)
	w.no(err)
	for i := range kept {
		w.saved[daylog.Hash(kept[i].Raw())] = true
	}
}

// exchange has a tablet exchange, and notes what it calls sent.
func (w *world) exchange(tab *tablet) (exchange.Report, error) {
	ctx, cancel := context.WithTimeout(w.t.Context(), time.Minute)
	defer cancel()
	r, err := tab.client().Take(ctx, job, nil)
	if err == nil {
		tab.knows = w.restored
	}
	w.says(tab, r.State)
	return r, err
}

// says notes what a tablet's page says of its state, whether the exchange went
// well or not. A tablet that has not heard that the server was put back cannot
// know what that lacks now.
func (w *world) says(tab *tablet, s exchange.State) {
	if tab.knows != w.restored || s.Unsent > 0 || s.Success.IsZero() || s.Parked || len(s.Refused)+len(s.Shut) > 0 {
		return
	}
	held := w.hold(tab.log)
	w.mu.Lock()
	defer w.mu.Unlock()
	for hash := range held {
		w.sent[hash] = true
	}
}

// hold gives what a log holds, by hash, and fails if something is there twice.
func (w *world) hold(log *sqlite.Log) map[daylog.Head]string {
	w.t.Helper()
	held := map[daylog.Head]string{}
	heads, err := log.Heads(w.t.Context(), job)
	w.no(err)
	for stream, reach := range heads {
		raws, err := log.Stream(w.t.Context(), job, stream, 0, 0)
		w.no(err)
		if first := firstOf(raws); int64(len(raws)) != reach.Seq-first+1 {
			w.t.Errorf("stream %s has %d entries from %d to %d", stream, len(raws), first, reach.Seq)
		}
		for _, raw := range raws {
			hash := daylog.Hash(raw)
			if _, twice := held[hash]; twice {
				w.t.Errorf("twice: %s", raw)
			}
			held[hash] = stream + " " + string(raw)
		}
	}
	return held
}

// firstOf is the seq a stream begins with: a branch begins where it left.
func firstOf(raws [][]byte) int64 {
	if len(raws) == 0 {
		return 1
	}
	e, err := daylog.Decode(raws[0])
	if err != nil {
		return 0
	}
	return e.Seq
}

// forget drops from the journal what no copy holds any more, and none can: the
// only one that held it was put back to an earlier state.
func (w *world) forget(copies ...map[daylog.Head]string) {
	for _, journal := range []map[daylog.Head]bool{w.saved, w.sent} {
		maps.DeleteFunc(journal, func(hash daylog.Head, _ bool) bool {
			return !slices.ContainsFunc(copies, func(c map[daylog.Head]string) bool { _, ok := c[hash]; return ok })
		})
	}
}

// everywhere is what the tablets hold, and what was put by at the server.
func (w *world) everywhere() []map[daylog.Head]string {
	var copies []map[daylog.Head]string
	for _, tab := range w.tablets {
		copies = append(copies, w.hold(tab.log))
	}
	return copies
}

// restore puts the server back to what a backup holds. As the command does, it
// is then another device; a disk put back by others is not.
func (w *world) restore(renew bool) {
	if len(w.backups) == 0 {
		return
	}
	backup := w.backups[w.random.IntN(len(w.backups))]
	w.server.kill()
	for _, name := range []string{"log.db", "log.db-wal", "log.db-shm"} {
		os.Remove(filepath.Join(w.server.folder, name))
	}
	copyFile(w.t, backup, filepath.Join(w.server.folder, "log.db"))
	log, err := sqlite.Open(w.t.Context(), filepath.Join(w.server.folder, "log.db"))
	w.no(err)
	w.restored++
	there := w.hold(log)
	w.forget(append(w.everywhere(), there)...)
	// What the backup lacks has to be sent again, and until then it is only
	// where it was written.
	maps.DeleteFunc(w.sent, func(hash daylog.Head, _ bool) bool { _, ok := there[hash]; return !ok })
	if renew {
		w.no(log.Renew(w.t.Context()))
	}
	w.no(log.Close())
	w.no(w.server.start())
}

func yes(b bool) *bool { return &b }

// What can happen in a schedule, the usual more often.
var steps = []string{
	"write", "write", "write", "write", "exchange", "exchange", "exchange", "exchange", "exchange", "exchange", "all at once",
	"kill", "killed at a point", "back up", "restore", "put the server back", "copy a tablet", "keep a tablet's state", "put a tablet back",
	"stop a tablet", "clear a tablet", "disk full", "disk has room", "poison", "no poison", "panic", "refuse", "admit",
	"revoke", "trust", "clock", "forget",
}

// step does one thing of the schedule.
func (w *world) step() string {
	i := w.random.IntN(len(w.tablets))
	tab := w.tablets[i]
	order := func(o orders) {
		if _, err := w.server.order(o); err != nil {
			w.t.Logf("order %+v: %v", o, err)
		}
	}
	switch what := steps[w.random.IntN(len(steps))]; what {
	case "write":
		w.write(i)
		return what
	case "exchange":
		w.exchange(tab)
		return what
	case "all at once":
		var all sync.WaitGroup
		for _, tab := range w.tablets {
			all.Go(func() { w.exchange(tab) })
		}
		all.Wait()
		return what
	case "kill":
		var all sync.WaitGroup
		w.write(i)
		all.Go(func() { w.exchange(tab) })
		time.Sleep(time.Duration(w.random.IntN(12_000)) * time.Microsecond)
		w.server.kill()
		all.Wait()
		w.no(w.server.start())
		return what
	case "killed at a point":
		point := deaths[w.random.IntN(len(deaths))]
		order(orders{Die: point, After: time.Duration(w.random.IntN(3000)) * time.Microsecond})
		w.write(i)
		w.exchange(tab)
		w.server.kill()
		w.no(w.server.start())
		return what + ": " + point
	case "back up":
		to := filepath.Join(w.folder, fmt.Sprint("backup", len(w.backups), ".db"))
		if _, err := w.server.order(orders{Copy: to}); err == nil {
			w.backups = append(w.backups, to)
		}
		return what
	case "restore", "put the server back":
		w.restore(what == "restore")
		return what
	case "copy a tablet":
		if len(w.tablets) < 5 {
			w.closed(tab, func() { w.add(tab.path, tab.memory) })
		}
		return what
	case "keep a tablet's state":
		to := fmt.Sprint(tab.path, ".copy", len(tab.copies))
		w.closed(tab, func() { copyFile(w.t, tab.path, to) })
		tab.copies = append(tab.copies, to)
		return what
	case "put a tablet back":
		if len(tab.copies) == 0 {
			return what + ": there is no state"
		}
		held := w.hold(tab.log)
		w.closed(tab, func() { copyFile(w.t, tab.copies[w.random.IntN(len(tab.copies))], tab.path) })
		now := w.hold(tab.log)
		for hash := range held {
			if _, still := now[hash]; !still && !w.sent[hash] {
				delete(w.saved, hash) // it was nowhere else
			}
		}
		return what
	case "stop a tablet":
		w.closed(tab, func() {})
		return what
	case "clear a tablet":
		for hash := range w.hold(tab.log) {
			if !w.sent[hash] {
				return "not cleared: it holds what was not sent"
			}
		}
		w.closed(tab, func() {
			for _, end := range []string{"", "-wal", "-shm"} {
				os.Remove(tab.path + end)
			}
		})
		tab.memory = notes{}
		return what
	case "disk full", "disk has room":
		order(orders{Full: yes(what == "disk full")})
		return what
	case "poison", "no poison":
		order(orders{Poison: yes(what == "poison")})
		return what
	case "panic":
		order(orders{Panic: 1 + w.random.IntN(3)})
		return what
	case "refuse", "admit":
		status := 0
		if what == "refuse" {
			status = []int{401, 403, 429, 500, 503}[w.random.IntN(5)]
		}
		order(orders{Refuse: &status})
		return what
	case "revoke", "trust":
		who := ""
		if what == "revoke" {
			who = tab.name
		}
		order(orders{Parked: &who})
		return what
	case "clock":
		tab.clock = time.Duration(w.random.IntN(600)-300) * time.Minute
		return what
	default:
		tab.memory = notes{}
		return what
	}
}

// heal ends all faults and exchanges until nothing is missing anywhere.
func (w *world) heal() {
	w.server.kill()
	w.server.build = "s2" // which has learned to keep what the first could not
	w.no(w.server.start())
	if _, err := w.server.order(orders{Release: true}); err != nil {
		w.t.Fatalf("releasing what was parked: %v", err)
	}
	for _, tab := range w.tablets {
		tab.link.faults, tab.clock = false, 0
	}
	began := time.Now()
	for round := 0; ; round++ {
		quiet := true
		for _, tab := range w.tablets {
			r, err := w.exchange(tab)
			switch {
			case err != nil:
				quiet = false
				w.t.Logf("round %d, %s: %v", round, tab.name, err)
			case r.Sent+r.Received > 0 || r.Calls > 1 || r.Unsent > 0 || len(r.Refused) > 0 || len(r.Shut) > 0 || r.Parked:
				quiet = false
			case r.FoldsDiffer:
				w.t.Fatalf("%s and the server make different things of the same entries", tab.name)
			}
		}
		if quiet {
			return
		}
		if round > 12 || time.Since(began) > time.Minute {
			w.stalled()
			return
		}
	}
}

func (w *world) stalled() {
	w.count["stalls"]++
	for _, tab := range w.tablets {
		r, err := w.exchange(tab)
		w.t.Errorf("stalled: %s: %+v, %v", tab.name, r, err)
	}
}

// check looks whether all that must hold does.
func (w *world) check() {
	w.server.kill()
	log, err := sqlite.Open(w.t.Context(), filepath.Join(w.server.folder, "log.db"))
	w.no(err)
	defer log.Close()
	there := w.hold(log)
	for hash := range w.saved {
		if _, ok := there[hash]; !ok {
			w.count["saved and lost"]++
			w.t.Errorf("saved, and lost: %s", hash)
		}
	}
	for hash := range w.sent {
		if _, ok := there[hash]; !ok {
			w.count["sent and lost"]++
			w.t.Errorf("called sent, and lost: %s", hash)
		}
	}
	w.count["saved"], w.count["sent"], w.count["entries"] = len(w.saved), len(w.sent), len(there)
	want := w.comesTo(log)
	for _, tab := range w.tablets {
		if held := w.hold(tab.log); !maps.Equal(held, there) {
			w.count["unequal"]++
			w.t.Errorf("%s holds %d entries, the server %d, or others", tab.name, len(held), len(there))
		}
		if got := w.comesTo(tab.log); got != want {
			w.count["unequal"]++
			w.t.Errorf("%s makes of it\n%s\nthe server\n%s", tab.name, got, want)
		}
		w.no(tab.log.Close())
	}
}

// comesTo is what the entries of a log come to: heads, folded roof and days, the
// warnings of each day and its check codes. It fails if a chain has a gap.
func (w *world) comesTo(log *sqlite.Log) string {
	w.t.Helper()
	entries, err := log.Entries(w.t.Context(), job, "")
	w.no(err)
	var raws [][]byte
	for i := range entries {
		raws = append(raws, entries[i].Raw())
	}
	threads, err := daylog.Thread(job, raws)
	w.no(err)
	heads, err := log.Heads(w.t.Context(), job)
	w.no(err)
	if len(threads.Waiting) > 0 || !maps.Equal(threads.Heads(), heads) {
		w.t.Errorf("%d entries wait for their forerunner; heads %v, threaded %v", len(threads.Waiting), heads, threads.Heads())
	}
	folded := daylog.Fold(job, entries)
	var text strings.Builder
	for _, stream := range slices.Sorted(maps.Keys(heads)) {
		fmt.Fprintln(&text, stream, heads[stream].Seq, heads[stream].Head)
	}
	marks, err := log.Marks(w.t.Context(), job)
	w.no(err)
	zone, err := time.LoadLocation("America/Chicago")
	w.no(err)
	for _, m := range marks {
		digest, err := folded.Digest(m.Day)
		w.no(err)
		fmt.Fprintln(&text, m.Day, m.Count, digest)
		evening := time.Date(2026, 3, 6, 18, 0, 0, 0, zone)
		for _, f := range checks.Run(checks.Look(folded, m.Day, evening, zone, "", true)) {
			fmt.Fprintln(&text, "  warns", f.Key, f.Says)
		}
		day := folded.On(m.Day)
		for _, signature := range day.Signatures {
			fmt.Fprintln(&text, "  signed, check code", daylog.CheckCode(job, day, signature, threads.Branches))
		}
	}
	return text.String()
}
