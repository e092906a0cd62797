package exchange

import (
	"compress/gzip"
	"context"
	"errors"
	"net/http"
	"sync"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// Client exchanges the jobs of a log with a server. Its fields are not changed
// once it is in use but by SetKey; its methods may be called at the same time.
type Client struct {
	Log store.Log
	// Do sends a request: RoundTrip of a transport, or Do of an http.Client.
	Do  func(*http.Request) (*http.Response, error)
	URL string // of the server's POST /exchange
	// Key is sent as the bearer key, if not empty.
	Key    string
	Build  string // of the program
	Now    func() time.Time
	Memory Memory
	// Fold is as the server's. Nil: folds are not compared.
	Fold func(ctx context.Context, job string) (daylog.Head, error)
	// Deadline is how long a call may go without getting on; 15 s if 0.
	Deadline time.Duration
	// Logf notes what went wrong for whoever looks into the device.
	Logf func(format string, args ...any)

	turn sync.Mutex // one exchange at a time
	zip  *gzip.Writer
}

// Report is what an exchange did, and how things stand after it.
type Report struct {
	Sent     int // entries that the server has acknowledged
	Received int // entries that came
	Calls    int
	Forks    []string // streams that came about: two storages have written under one id
	// RolledBack: the server holds more of what this device wrote than its own
	// log did. It was put back to an earlier state, and got its entries back.
	RolledBack bool
	State
}

// ErrNoAnswer is returned where what came back is no answer of the exchange: a
// sign-in page of the network, an answer that was cut off or changed.
var ErrNoAnswer = errors.New("no answer of the exchange")

// ErrApart is returned when the two logs hold different entries and neither has
// anything that the other takes. That is a fault of the program.
var ErrApart = errors.New("the two logs differ, and exchanging does not help")

// ErrSilence is returned where a call did not get on within the deadline.
var ErrSilence = errors.New("the server went silent")

// RetryAfter is how long the server asked to be left alone in an error of
// Exchange; 0 if it did not.
func RetryAfter(err error) time.Duration {
	var no *Refusal
	if errors.As(err, &no) {
		return no.After
	}
	return 0
}

// foldsEvery is how often folds are compared at most.
const foldsEvery = 10 * time.Minute

// Exchange exchanges all jobs on board: afterwards the server and this log hold
// the same entries. With an error the Report tells what was done all the same;
// nothing is lost, and the next exchange goes on from there.
func (c *Client) Exchange(ctx context.Context) (Report, error) {
	c.turn.Lock()
	defer c.turn.Unlock()
	jobs, err := c.Log.Jobs(ctx)
	if err != nil {
		return Report{}, err
	}
	return c.exchange(ctx, jobs, nil)
}

// SetKey has the next calls bear another key.
func (c *Client) SetKey(key string) {
	c.turn.Lock()
	defer c.turn.Unlock()
	c.Key = key
}

// Take takes a job on board, or goes on doing so. progress is told how many
// entries have come and how many there are; it may be nil.
func (c *Client) Take(ctx context.Context, job string, progress func(got, of int)) (Report, error) {
	c.turn.Lock()
	defer c.turn.Unlock()
	return c.exchange(ctx, []string{job}, progress)
}

func (c *Client) exchange(ctx context.Context, jobs []string, progress func(got, of int)) (Report, error) {
	r := &run{Client: c, progress: progress, sent: map[string]map[string]int64{}, suspect: map[daylog.Head]aside{}, tried: map[daylog.Head]bool{}}
	var err error
	if r.known, err = c.recall(ctx); err != nil {
		return Report{}, err
	}
	for len(jobs) > 0 && err == nil {
		n := min(len(jobs), JobsAtOnce)
		r.jobs, jobs = jobs[:n], jobs[n:]
		err = r.settle(ctx)
	}
	if err == nil && r.report.Calls > 0 {
		r.known.Success = c.Now()
	}
	// What was learned is kept even if the host has lost its patience.
	ctx = context.WithoutCancel(ctx)
	if e := c.remember(ctx, r.known); err == nil {
		err = e
	}
	var e error
	if r.report.State, e = c.state(ctx, r.known); err == nil {
		err = e
	}
	return r.report, err
}

func (c *Client) logf(format string, args ...any) {
	if c.Logf != nil {
		c.Logf(format, args...)
	}
}
