// Package storetest is what every store.Log must pass.
package storetest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// Storage is a place where a log keeps its entries. Calling it opens a log
// there; calling it again opens the same place anew, as after a restart, the
// log opened before being closed.
type Storage func() store.Log

// Run runs the suite. Each call of fresh makes an empty storage.
func Run(t *testing.T, fresh func(t *testing.T) Storage) {
	for _, test := range []struct {
		name string
		run  func(t *testing.T, open Storage)
	}{
		{"Empty", testEmpty},
		{"Numbering", testNumbering},
		{"Ticks", testTicks},
		{"Replay", testReplay},
		{"ReplayAtOnce", testReplayAtOnce},
		{"WriteAllOrNothing", testWriteAllOrNothing},
		{"ReceiveAllOrNothing", testReceiveAllOrNothing},
		{"Reopened", testReopened},
		{"KeptByteForByte", testKeptByteForByte},
		{"OddCharacters", testOddCharacters},
		{"Jobs", testJobs},
		{"EntriesFromADay", testEntriesFromADay},
		{"StreamInParts", testStreamInParts},
		{"Duplicates", testDuplicates},
		{"Gaps", testGaps},
		{"Fork", testFork},
		{"ForkRenamed", testForkRenamed},
		{"ForkOfAFork", testForkOfAFork},
		{"AsThreaded", testAsThreaded},
		{"CopiedStorage", testCopiedStorage},
		{"MarksInAnyOrder", testMarksInAnyOrder},
		{"Openings", testOpenings},
		{"FoldFromOpenings", testFoldFromOpenings},
		{"FoldAfterALateEntry", testFoldAfterALateEntry},
		{"FoldStaleOpening", testFoldStaleOpening},
		{"FoldWhileWritten", testFoldWhileWritten},
		{"FoldForked", testFoldForked},
		{"Memo", testMemo},
		{"ManyAtOnce", testManyAtOnce},
		{"Cancelled", testCancelled},
		{"ManyDays", testManyDays},
	} {
		t.Run(test.name, func(t *testing.T) { test.run(t, fresh(t)) })
	}
}

// line is the end of a stream as some other device writes it. It is a value:
// two entries after the same line are a fork.
type line struct {
	job, device string
	seq         int64
	head        daylog.Head
}

func newLine(job, device string) line {
	return line{job: job, device: device, head: daylog.ChainStart(job, device)}
}

// write gives the bytes of the line's next entry and the line after it.
func (l line) write(t testing.TB, tick int64, e daylog.Entry) ([]byte, line) {
	t.Helper()
	e.Job, e.Device, e.Seq, e.Tick, e.Prev = l.job, l.device, l.seq+1, tick, l.head.Prev()
	raw, err := daylog.Encode(&e)
	if err != nil {
		t.Fatal(err)
	}
	l.seq, l.head = l.seq+1, l.head.Next(raw)
	return raw, l
}

// writes gives the bytes of n notes and the line after them.
func (l line) writes(t testing.TB, n int, day daylog.Date) ([][]byte, line) {
	t.Helper()
	var raws [][]byte
	for range n {
		var raw []byte
		raw, l = l.write(t, l.seq+1, note(fmt.Sprintf("%s-%d", l.device, l.seq+1), day, "invented"))
		raws = append(raws, raw)
	}
	return raws, l
}

// after is where a log's own entries have come to.
func after(e daylog.Entry, head daylog.Head) line {
	return line{job: e.Job, device: e.Device, seq: e.Seq, head: head}
}

var morning = time.Date(2026, 10, 5, 12, 0, 0, 0, time.UTC)

const d1, d2, d3, d4 = daylog.Date("2026-10-05"), daylog.Date("2026-10-06"), daylog.Date("2026-10-07"), daylog.Date("2026-10-08")

// note is a draft.
func note(id string, day daylog.Date, text string) daylog.Entry {
	return daylog.Entry{ID: id, Day: day, At: morning, Made: morning, Author: "ada", Body: &daylog.Note{Text: text}}
}

func form(id string, n int, day daylog.Date) []daylog.Entry {
	drafts := make([]daylog.Entry, n)
	for i := range drafts {
		drafts[i] = note(daylog.FormID(id, i), day, "invented")
	}
	return drafts
}

func write(t testing.TB, log store.Log, job string, drafts ...daylog.Entry) []daylog.Entry {
	t.Helper()
	entries, err := log.Write(t.Context(), job, drafts...)
	if err != nil {
		t.Fatalf("Write: %v", err)
	}
	if len(entries) != len(drafts) {
		t.Fatalf("Write of %d drafts gave %d entries", len(drafts), len(entries))
	}
	return entries
}

func receive(t testing.TB, log store.Log, job string, raws ...[]byte) []string {
	t.Helper()
	forks, err := log.Receive(t.Context(), job, raws...)
	if err != nil {
		t.Fatalf("Receive: %v", err)
	}
	return forks
}

func rawsOf(entries []daylog.Entry) [][]byte {
	raws := make([][]byte, len(entries))
	for i := range entries {
		raws[i] = entries[i].Raw()
	}
	return raws
}

func must[T any](t testing.TB) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// checker is what both testing and rapid offer to fail with.
type checker interface {
	Helper()
	Fatalf(format string, args ...any)
	Errorf(format string, args ...any)
	Context() context.Context
}

// check fails unless the log gives of a job exactly what daylog.Thread makes
// of these bytes.
func check(t checker, log store.Log, job string, raws [][]byte) {
	t.Helper()
	ctx := t.Context()
	want, err := daylog.Thread(job, raws)
	if err != nil {
		t.Fatalf("Thread: %v", err)
	}
	heads, err := log.Heads(ctx, job)
	if err != nil {
		t.Fatalf("Heads: %v", err)
	}
	if !maps.Equal(heads, want.Heads()) {
		t.Fatalf("heads\n got %v\nwant %v", heads, want.Heads())
	}
	entries, err := log.Entries(ctx, job, "")
	if err != nil {
		t.Fatalf("Entries: %v", err)
	}
	if got, want := shelf(entries), shelf(want.Entries); !maps.Equal(got, want) || len(entries) != len(want) {
		t.Fatalf("%d entries\n got %v\nwant %v", len(entries), got, want)
	}
	byStream := map[string][][]byte{}
	marks := map[daylog.Date]store.Mark{}
	for _, e := range want.Entries {
		byStream[e.Stream] = append(byStream[e.Stream], e.Raw())
		marks[e.Day] = marks[e.Day].And(store.Mark{Day: e.Day, Count: 1, Sum: daylog.Hash(e.Raw())})
	}
	for stream, want := range byStream {
		got, err := log.Stream(ctx, job, stream, 0, 0)
		if err != nil {
			t.Fatalf("Stream %s: %v", stream, err)
		}
		if !slices.EqualFunc(got, want, bytes.Equal) {
			t.Fatalf("stream %s\n got %s\nwant %s", stream, got, want)
		}
	}
	got, err := log.Marks(ctx, job)
	if err != nil {
		t.Fatalf("Marks: %v", err)
	}
	var wantMarks []store.Mark
	for _, day := range slices.Sorted(maps.Keys(marks)) {
		wantMarks = append(wantMarks, marks[day])
	}
	if !slices.Equal(got, wantMarks) {
		t.Fatalf("marks\n got %v\nwant %v", got, wantMarks)
	}
}

type place struct {
	stream string
	seq    int64
}

func shelf(entries []daylog.Entry) map[place]string {
	m := make(map[place]string, len(entries))
	for i := range entries {
		e := &entries[i]
		m[place{e.Stream, e.Seq}] = string(e.Raw())
	}
	return m
}

// checkEmpty fails if the log holds anything of a job.
func checkEmpty(t checker, log store.Log, job string) {
	t.Helper()
	check(t, log, job, nil)
	if jobs, err := log.Jobs(t.Context()); err != nil || slices.Contains(jobs, job) {
		t.Errorf("Jobs = %q, %v: there is nothing of %q", jobs, err, job)
	}
}

func testEmpty(t *testing.T, open Storage) {
	log := open()
	if log.Device() == "" {
		t.Error("the storage has no device id")
	}
	checkEmpty(t, log, "job")
	if _, err := log.Stream(t.Context(), "job", "tablet", 0, 0); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("Stream of nothing: %v, want fs.ErrNotExist", err)
	}
	if openings, err := log.Openings(t.Context(), "job"); err != nil || len(openings) > 0 {
		t.Errorf("Openings of nothing: %v, %v", openings, err)
	}
	if err := log.KeepOpening(t.Context(), "job", daylog.Opening{Day: d1}); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("KeepOpening of nothing: %v, want fs.ErrNotExist", err)
	}
	if _, err := store.Fold(t.Context(), log, "job", d1); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("Fold of nothing: %v, want fs.ErrNotExist", err)
	}
	write(t, log, "job")
	receive(t, log, "job")
	checkEmpty(t, log, "job")
}
