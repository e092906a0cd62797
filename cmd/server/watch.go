package main

import (
	"context"
	"sync"
	"time"

	"duskline/internal/inbox"
	"duskline/internal/proof"
	"duskline/internal/store/sqlite"
)

// watch looks after the database while the server runs: is it whole, are the
// check codes known, are there backups.
type watch struct {
	log     *sqlite.Log
	backups *schedule // nil: none
	logf    func(format string, args ...any)

	mu      sync.Mutex
	checked bool
	fault   error
}

// run checks the database once, then learns the codes of signed days; backups
// are made as scheduled until ctx ends.
func (w *watch) run(ctx context.Context) {
	var all sync.WaitGroup
	if w.backups != nil {
		all.Go(func() { w.backups.run(ctx) })
	}
	defer all.Wait()
	began := time.Now()
	err := w.log.QuickCheck(ctx)
	if ctx.Err() != nil {
		return
	}
	w.mu.Lock()
	w.checked, w.fault = true, err
	w.mu.Unlock()
	switch {
	case err != nil:
		w.logf("THE DATABASE IS DAMAGED: %v", err)
	case w.log.Unclean():
		w.logf("the server was not ended properly the last time; the database was checked in %v and is whole", time.Since(began).Round(time.Millisecond))
	}
	if err := proof.Learn(ctx, w.log); err != nil && ctx.Err() == nil {
		w.logf("check codes: %v", err)
	}
}

// notices are what everybody in the office has to know of the server.
func (w *watch) notices() (says []string) {
	if w == nil {
		return nil
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	switch {
	case w.fault != nil:
		says = append(says, "The database is damaged. What is written may be lost. Stop the server and restore a backup into another folder: tablets bring back what was written since.")
	case w.log.Unclean() && !w.checked:
		says = append(says, "Checking: the server was not ended properly the last time, and looks whether its database is whole. Everything works meanwhile.")
	}
	if w.backups != nil {
		last, err := w.backups.last()
		if err == nil && !last.IsZero() && w.backups.now().Sub(last) > 2*w.backups.every {
			says = append(says, "No backup was made since "+last.Format("2 January, 15:04 UTC")+". What the server prints says why.")
		}
	}
	return says
}

// keepHeard keeps what tablets said, every few seconds and at the end.
func (h *host) keepHeard(ctx context.Context) {
	for tick := time.NewTicker(inbox.FlushEvery); ; {
		select {
		case <-ctx.Done():
			tick.Stop()
		case <-tick.C:
		}
		if err := h.inbox.Flush(context.WithoutCancel(ctx)); err != nil {
			h.logf("%v", err)
		}
		if ctx.Err() != nil {
			return
		}
	}
}
