package exchange

import (
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// HandOver writes a file with all that a log holds of some jobs, for whoever
// cannot send it: a message of the exchange, as the package comment describes,
// with any number of entries. Its end says how far the log holds each stream.
func HandOver(ctx context.Context, w io.Writer, log store.Log, build string, now time.Time, jobs ...string) error {
	out := newWriter(w, gzip.NewWriter(nil))
	out.line(hello{Device: log.Device(), Build: build, Now: now.UnixMilli(), Jobs: jobs})
	e := ending{Heads: map[string]daylog.Heads{}}
	var parts []stretch
	for _, job := range jobs {
		heads, err := log.Heads(ctx, job)
		if err != nil {
			return err
		}
		e.Heads[job] = heads
		for _, stream := range slices.Sorted(maps.Keys(heads)) {
			parts = append(parts, stretch{job: job, stream: stream, last: heads[stream].Seq})
		}
	}
	for _, p := range parts {
		// A branch begins in the middle: what there is after 0, up to its head.
		for {
			raws, err := log.Stream(ctx, p.job, p.stream, p.after, groupEntries)
			if err != nil {
				return err
			}
			for _, raw := range raws {
				_, seq, _ := place(raw)
				if p.after = seq; seq > p.last {
					break // came in since
				}
				out.entry(p.job, raw)
				if out.full() {
					out.check()
				}
			}
			if len(raws) < groupEntries || p.after >= p.last || out.err != nil {
				break
			}
		}
	}
	return out.end(e)
}

// HandedOver is what a file of HandOver says of itself.
type HandedOver struct {
	Device string // id of the log that wrote it
	Build  string // of its program
	Made   time.Time
	Jobs   []string
	Count  int // entries
	// Heads is how far the log held each stream of each job.
	Heads map[string]daylog.Heads
}

var handOverLimits = limits{body: 64 << 20, text: 512 << 20, alone: true}

// ReadHandOver reads a file of HandOver and gives its entries to keep, group by
// group as they are. Bytes that are no entry of their job, or a job that the
// file does not name, are an error; so is a file that is cut, changed or larger
// than such a file may be. Then some groups may have been given already: to
// take all or nothing, a file is read twice.
func ReadHandOver(r io.Reader, keep func(job string, raws [][]byte) error) (HandedOver, error) {
	var jobs []string
	h, e, err := read(r, handOverLimits, handler{
		hello: func(h hello) error {
			if h.Device == "" || strings.Contains(h.Device, "~") {
				return fmt.Errorf("%w: it does not say from which device", errBroken)
			}
			jobs = h.Jobs
			return nil
		},
		entries: func(job string, raws [][]byte) error {
			if !slices.Contains(jobs, job) {
				return fmt.Errorf("%w: entries of job %q, which the file is not about", errBroken, job)
			}
			for _, raw := range raws {
				if e, err := daylog.Decode(raw); err != nil {
					return err
				} else if e.Job != job {
					return fmt.Errorf("%w: entry %s is of job %q and stands under %q", errBroken, e.ID, e.Job, job)
				}
			}
			return keep(job, raws)
		},
	})
	if err != nil {
		return HandedOver{}, err
	}
	return HandedOver{h.Device, h.Build, time.UnixMilli(h.Now).UTC(), h.Jobs, e.Count, e.Heads}, nil
}
