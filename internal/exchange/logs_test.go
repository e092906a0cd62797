package exchange

import (
	"context"
	"errors"
	"slices"
	"strings"
	"sync"
	"testing"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// named is a log that goes by a name given to it, and can be put back to an
// earlier state under the same name.
type named struct {
	*store.Memory
	mu   sync.Mutex
	name string
}

func newNamed(name string) *named { return &named{Memory: store.NewMemory(), name: name} }

func (n *named) Device() string {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.name
}

func (n *named) Write(ctx context.Context, job string, drafts ...daylog.Entry) ([]daylog.Entry, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	heads, err := n.Heads(ctx, job)
	if err != nil {
		return nil, err
	}
	for stream := range heads {
		if strings.HasPrefix(stream, n.name+"~") {
			n.name += "x" // as every log does that finds another under its name
			break
		}
	}
	reach, held := heads[n.name]
	if !held {
		reach.Head = daylog.ChainStart(job, n.name)
	}
	raws := make([][]byte, len(drafts))
	for i := range drafts {
		e := &drafts[i]
		e.Job, e.Device, e.Seq, e.Tick, e.Prev = job, n.name, reach.Seq+1, reach.Seq+1, reach.Head.Prev()
		if raws[i], err = daylog.Encode(e); err != nil {
			return nil, err
		}
		reach = daylog.Reach{Seq: e.Seq, Head: reach.Head.Next(raws[i])}
	}
	_, err = n.Receive(ctx, job, raws...)
	return drafts, err
}

// copyOf is a log with the entries that another holds of some jobs.
func copyOf(t testing.TB, log store.Log, name string, jobs ...string) *named {
	t.Helper()
	c := newNamed(name)
	for _, job := range jobs {
		heads := must[daylog.Heads](t)(log.Heads(t.Context(), job))
		for stream := range heads {
			must[[]string](t)(c.Receive(t.Context(), job, must[[][]byte](t)(log.Stream(t.Context(), job, stream, 0, 0))...))
		}
	}
	return c
}

// faulty is a log that fails where it is told to.
type faulty struct {
	store.Log
	before func(raws [][]byte) error // of Receive; an error or a panic instead of it
	after  func(raws [][]byte) error // it was done, and fails all the same
}

func (f *faulty) Receive(ctx context.Context, job string, raws ...[]byte) ([]string, error) {
	if f.before != nil {
		if err := f.before(raws); err != nil {
			return nil, err
		}
	}
	forks, err := f.Log.Receive(ctx, job, raws...)
	if err == nil && f.after != nil {
		err = f.after(raws)
	}
	return forks, err
}

// refusing is what a log does that cannot take entries with some words in them.
func refusing(words ...string) func(raws [][]byte) error {
	return func(raws [][]byte) error {
		for _, raw := range raws {
			if slices.ContainsFunc(words, func(w string) bool { return strings.Contains(string(raw), w) }) {
				return errors.New("cannot be stored")
			}
		}
		return nil
	}
}

func say(t testing.TB, log store.Log, words ...string) {
	t.Helper()
	for _, w := range words {
		must[[]daylog.Entry](t)(log.Write(t.Context(), job, draft(log.Device()[:1]+w, day1, w)))
	}
}
