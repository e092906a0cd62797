package exchange

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"slices"
	"sync"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

const (
	job  = "elm"
	day1 = daylog.Date("2026-10-06")
	day2 = daylog.Date("2026-10-07")
)

var start = time.Date(2026, 10, 6, 12, 0, 0, 0, time.UTC)

func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// clock is a clock that goes on by a second each time it is read.
type clock struct {
	mu sync.Mutex
	at time.Time
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = c.at.Add(time.Second)
	return c.at
}

func (c *clock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = c.at.Add(d)
}

// notes is a Memory that lasts as long as the test.
type notes struct {
	mu   sync.Mutex
	held map[string][]byte
}

func (n *notes) Get(_ context.Context, key string) ([]byte, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.held[key], nil
}

func (n *notes) Put(_ context.Context, key string, value []byte) error {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.held == nil {
		n.held = map[string][]byte{}
	}
	n.held[key] = bytes.Clone(value)
	return nil
}

// office is a server with what it was told and what it put by.
type office struct {
	Server
	mu     sync.Mutex
	events []Event
	heard  []Heard
	aside  []Refused
	parked [][]byte
}

func newOffice(t testing.TB, log store.Log) *office {
	o := &office{}
	o.Server = Server{
		Log: log, Now: (&clock{at: start}).now, Build: "s1",
		Heard: func(h Heard) {
			o.mu.Lock()
			defer o.mu.Unlock()
			o.heard = append(o.heard, h)
		},
		Happened: func(e Event) {
			o.mu.Lock()
			defer o.mu.Unlock()
			o.events = append(o.events, e)
		},
		Aside: func(_ context.Context, _ Caller, r Refused) error {
			o.mu.Lock()
			defer o.mu.Unlock()
			o.aside = append(o.aside, r)
			return nil
		},
		Park: func(_ context.Context, _ Caller, _, _ string, raws [][]byte) error {
			o.mu.Lock()
			defer o.mu.Unlock()
			o.parked = append(o.parked, raws...)
			return nil
		},
		Logf: t.Logf,
	}
	return o
}

func (o *office) told(what Happening) (events []Event) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, e := range o.events {
		if e.What == what {
			events = append(events, e)
		}
	}
	return events
}

// wire carries calls to a handler without a network. Its functions, if set, may
// change or lose what it carries.
type wire struct {
	to     http.Handler
	call   func(body []byte) ([]byte, error)
	answer func(*http.Response, []byte) ([]byte, error)

	calls    int
	up, down int // bytes of bodies
}

func (w *wire) do(r *http.Request) (*http.Response, error) {
	w.calls++
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return nil, err
	}
	w.up += len(body)
	if w.call != nil {
		if body, err = w.call(body); err != nil {
			return nil, err
		}
	}
	in := httptest.NewRequestWithContext(r.Context(), r.Method, r.URL.String(), bytes.NewReader(body))
	in.Header = r.Header.Clone()
	rec := httptest.NewRecorder()
	if err := serve(w.to, rec, in); err != nil {
		return nil, err
	}
	response := rec.Result()
	body = rec.Body.Bytes()
	w.down += len(body)
	if w.answer != nil {
		if body, err = w.answer(response, body); body == nil && err != nil {
			return nil, err
		}
	}
	response.Body = io.NopCloser(io.MultiReader(bytes.NewReader(body), failing{err}))
	return response, nil
}

// failing is the end of a body: io.EOF, or what cut it.
type failing struct{ err error }

func (f failing) Read([]byte) (int, error) {
	if f.err == nil {
		return 0, io.EOF
	}
	return 0, f.err
}

// serve answers a call in a goroutine of its own; if that ends before its time,
// the server is gone.
func serve(h http.Handler, w http.ResponseWriter, r *http.Request) error {
	done := make(chan error, 1)
	go func() {
		answered := false
		defer func() {
			if !answered {
				done <- errors.New("connection reset")
			}
		}()
		h.ServeHTTP(w, r)
		answered = true
		done <- nil
	}()
	return <-done
}

// tablet is a client with its wire.
type tablet struct {
	*Client
	wire *wire
	time *clock
}

func newTablet(t testing.TB, log store.Log, to http.Handler) *tablet {
	w, c := &wire{to: to}, &clock{at: start}
	return &tablet{&Client{
		Log: log, Do: w.do, URL: "http://office.example/exchange", Key: "secret", Build: "c1",
		Now: c.now, Memory: new(notes), Logf: t.Logf,
	}, w, c}
}

func (tab *tablet) exchange(t testing.TB) Report {
	t.Helper()
	return must[Report](t)(tab.Exchange(t.Context()))
}

// draft is a note.
func draft(id string, day daylog.Date, text string) daylog.Entry {
	return daylog.Entry{ID: id, Day: day, At: start, Made: start, Body: &daylog.Note{Text: text}}
}

// write writes n notes.
func write(t testing.TB, log store.Log, job string, n int) []daylog.Entry {
	t.Helper()
	drafts := make([]daylog.Entry, n)
	for i := range drafts {
		drafts[i] = draft(store.NewDevice(), day1, fmt.Sprint("note ", i))
		drafts[i].Made = start.Add(time.Duration(i) * time.Second)
	}
	return must[[]daylog.Entry](t)(log.Write(t.Context(), job, drafts...))
}

// raws gives all entries of a job by stream and seq, as text.
func raws(t testing.TB, log store.Log, job string) []string {
	t.Helper()
	var all []string
	heads := must[daylog.Heads](t)(log.Heads(t.Context(), job))
	for _, stream := range slices.Sorted(maps.Keys(heads)) {
		for _, raw := range must[[][]byte](t)(log.Stream(t.Context(), job, stream, 0, 0)) {
			all = append(all, stream+" "+string(raw))
		}
	}
	return all
}

// same checks that logs hold the same entries of a job.
func same(t testing.TB, job string, logs ...store.Log) {
	t.Helper()
	want := raws(t, logs[0], job)
	heads := must[daylog.Heads](t)(logs[0].Heads(t.Context(), job))
	for i, log := range logs[1:] {
		if got := raws(t, log, job); !slices.Equal(got, want) {
			t.Errorf("log %d holds %d entries of %s, the first %d, or others", i+1, len(got), job, len(want))
		}
		if got := must[daylog.Heads](t)(log.Heads(t.Context(), job)); !maps.Equal(got, heads) {
			t.Errorf("log %d has heads %v, the first %v", i+1, got, heads)
		}
	}
}

func TestExchange(t *testing.T) {
	server, one, two := store.NewMemory(), store.NewMemory(), store.NewMemory()
	office := newOffice(t, server)
	a, b := newTablet(t, one, office), newTablet(t, two, office)
	if r := a.exchange(t); r.Calls != 0 || !r.Success.IsZero() {
		t.Errorf("without a job on board: %+v", r)
	}
	write(t, server, job, 5)
	first := write(t, one, job, 450)

	s := must[State](t)(a.State(t.Context()))
	if s.Unsent != 450 || !s.Oldest.Equal(first[0].Made) || !s.Success.IsZero() {
		t.Errorf("before: %d unsent, oldest %v, success %v", s.Unsent, s.Oldest, s.Success)
	}
	r := a.exchange(t)
	if r.Sent != 450 || r.Received != 5 || r.Unsent != 0 || !r.Oldest.IsZero() || r.Success.IsZero() {
		t.Errorf("report %+v", r)
	}
	same(t, job, server, one)

	var steps [][2]int
	r = must[Report](t)(b.Take(t.Context(), job, func(got, of int) { steps = append(steps, [2]int{got, of}) }))
	if r.Received != 455 || r.Sent != 0 {
		t.Errorf("taken on board: %+v", r)
	}
	if len(steps) == 0 || steps[len(steps)-1] != [2]int{455, 455} {
		t.Errorf("progress %v", steps)
	}
	same(t, job, server, one, two)

	write(t, two, job, 3)
	if r = b.exchange(t); r.Sent != 3 || r.Calls != 1 {
		t.Errorf("three more: %+v", r)
	}
	if r = a.exchange(t); r.Received != 3 || r.Calls != 2 {
		t.Errorf("three more for the other: %+v", r)
	}
	same(t, job, server, one, two)
	if r = a.exchange(t); r.Sent+r.Received > 0 || r.Calls != 1 {
		t.Errorf("nothing new: %+v", r)
	}
}
