package daylog_test

import (
	"encoding/json"
	"fmt"
	"sync"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
)

var big = func(days, perDay int) func() ([]daylog.Entry, error) {
	return sync.OnceValues(func() ([]daylog.Entry, error) {
		g, err := script.Big(days, perDay, 1)
		if err != nil {
			return nil, err
		}
		var entries []daylog.Entry
		for _, w := range g.Entries {
			entries = append(entries, w.Entry)
		}
		return entries, nil
	})
}

var jobs = []struct {
	name    string
	entries func() ([]daylog.Entry, error)
}{
	{"60x100", big(60, 100)},
	{"60x300", big(60, 300)},
}

// The fold is linear: ns/entry says so across the two jobs.
func BenchmarkFold(b *testing.B) {
	for _, j := range jobs {
		entries, err := j.entries()
		if err != nil {
			b.Fatal(err)
		}
		b.Run(j.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				daylog.Fold(script.BigJob, entries)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(entries)), "ns/entry")
		})
	}
}

// Decoding an entry against json.Unmarshal of the same bytes into a bare struct
// of the kind it is known to be.
func BenchmarkDecode(b *testing.B) {
	entries, err := jobs[0].entries()
	if err != nil {
		b.Fatal(err)
	}
	var decode, bare time.Duration
	for b.Loop() {
		begin := time.Now()
		for i := range entries {
			if _, err := daylog.Decode(entries[i].Raw()); err != nil {
				b.Fatal(err)
			}
		}
		between := time.Now()
		for i := range entries {
			k, _ := daylog.FindKind(entries[i].Kind)
			e := bareEntry{Body: k.New()}
			if err := json.Unmarshal(entries[i].Raw(), &e); err != nil {
				b.Fatal(err)
			}
		}
		decode += between.Sub(begin)
		bare += time.Since(between)
	}
	b.ReportMetric(float64(decode)/float64(bare), "x-bare")
	b.ReportMetric(float64(decode.Nanoseconds())/float64(b.N)/float64(len(entries)), "ns/entry")
}

// bareEntry has the fields of an entry and nothing else.
type bareEntry struct {
	Kind    string            `json:"kind"`
	Version int               `json:"v,omitzero"`
	Job     string            `json:"job"`
	Device  string            `json:"device"`
	Seq     int64             `json:"seq"`
	Tick    int64             `json:"tick"`
	Prev    string            `json:"prev"`
	ID      string            `json:"id"`
	Day     daylog.Date       `json:"day"`
	At      time.Time         `json:"at"`
	To      time.Time         `json:"to,omitzero"`
	About   int               `json:"about,omitzero"`
	Made    time.Time         `json:"made"`
	Skew    int               `json:"skew,omitzero"`
	Author  string            `json:"author,omitempty"`
	By      []string          `json:"by,omitempty"`
	Of      string            `json:"of,omitempty"`
	Why     string            `json:"why,omitempty"`
	Odd     map[string]string `json:"odd,omitempty"`
	Body    any               `json:"body,omitempty"`
}

// The opening of the last day: its size, and what it takes to read it and fold
// that day on top.
func BenchmarkFoldFrom(b *testing.B) {
	entries, err := jobs[1].entries()
	if err != nil {
		b.Fatal(err)
	}
	job := daylog.Fold(script.BigJob, entries)
	last := job.Days[len(job.Days)-1].Date
	o, err := job.Open(last, 0)
	if err != nil {
		b.Fatal(err)
	}
	var today []daylog.Entry
	for _, e := range entries {
		if e.Day >= last {
			today = append(today, e)
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := daylog.FoldFrom(script.BigJob, o, today); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(o.State)), "opening-bytes")
}

// Openings stay small enough for a stopped worker to answer in time.
func TestOpeningStaysSmall(t *testing.T) {
	entries, err := jobs[1].entries()
	if err != nil {
		t.Fatal(err)
	}
	job := daylog.Fold(script.BigJob, entries)
	for _, d := range job.Days {
		o, err := job.Open(d.Date, 0)
		if err != nil {
			t.Fatal(err)
		}
		if len(o.State) > 150_000 {
			t.Fatalf("the opening of %s has %d bytes, over 150,000: %s ...", d.Date, len(o.State), fmt.Sprintf("%.200s", o.State))
		}
	}
}
