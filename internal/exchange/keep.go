package exchange

import (
	"context"
	"errors"
	"fmt"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// keep puts entries into a log. Those that the log does not take even alone,
// while it takes others or can say that they are no entries, are given back
// with the reason. If it takes none, that may be the log's fault as well as the
// entries', and is an error.
func keep(ctx context.Context, log store.Log, job string, raws [][]byte) (forks []string, bad []Refused, err error) {
	kept, storage := 0, error(nil)
	var part func(raws [][]byte) error
	part = func(raws [][]byte) error {
		names, err := receive(ctx, log, job, raws)
		switch {
		case err == nil:
			kept += len(raws)
			forks = append(forks, names...)
			return nil
		case errors.Is(err, store.ErrFull) || ctx.Err() != nil:
			return err
		case len(raws) == 1:
			if belongs(job, raws[0]) {
				storage = err
			}
			bad = append(bad, refuse(job, raws[0], err.Error()))
			return nil
		}
		half := len(raws) / 2
		if err := part(raws[:half]); err != nil {
			return err
		}
		// A log that has refused so many and taken none is not well.
		if kept == 0 && storage != nil && half >= 2 {
			return storage
		}
		return part(raws[half:])
	}
	if err := part(raws); err != nil {
		return forks, nil, err
	}
	if kept == 0 && storage != nil {
		return forks, nil, storage
	}
	return forks, bad, nil
}

// belongs reports whether bytes are an entry of a job: if a log refuses those,
// it is not for what they are.
func belongs(job string, raw []byte) bool {
	e, err := daylog.Decode(raw)
	return err == nil && e.Job == job
}

// receive is Receive of the log. A panic in it is an error.
func receive(ctx context.Context, log store.Log, job string, raws [][]byte) (forks []string, err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("panic while keeping %d entries: %v", len(raws), v)
		}
	}()
	return log.Receive(ctx, job, raws...)
}
