package exchange

import (
	"bytes"
	"cmp"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"time"

	"duskline/internal/daylog"
)

// pushText is how many bytes of entries a call holds at most, if more than one:
// PushBytes are reached before, unless they say ever the same.
const pushText = 512 << 10

// storeAtOnce is how many entries of an answer are kept in one operation.
const storeAtOnce = 1000

// outgoing is a call as it goes out.
type outgoing struct {
	body  []byte
	items []item
	folds string    // what it says of the folds
	told  []Refused // what it says could not be kept or delivered
}

// compose writes a call. A quiet one has nothing to send.
func (r *run) compose(ctx context.Context, p plan, quiet bool) (c outgoing, err error) {
	h := hello{Device: r.Log.Device(), Build: r.Build, Now: r.Now().UnixMilli(), Jobs: r.jobs}
	e := ending{}
	for _, job := range r.jobs {
		j := r.known.Jobs[job]
		e.Refused = append(e.Refused, j.untold()...)
		quiet = quiet && len(j.Aside) == 0 && len(j.Bad) == 0 && len(j.Past) == 0
		if len(j.Past) > 0 {
			if e.Past == nil {
				e.Past = map[string]map[string]int64{}
			}
			e.Past[job] = j.Past
		}
		if err := addTrails(ctx, r.Log, job, p.ours[job], r.asked[job], &e.Trails); err != nil {
			return c, err
		}
	}
	if quiet {
		h.Digest = digest(p.ours)
		if h.Folds, err = r.folds(ctx, p, h.Digest); err != nil {
			return c, err
		}
	} else {
		e.Heads, h.Room = p.ours, r.known.Room
	}
	c.folds, c.told = h.Folds, e.Refused
	for _, part := range p.parts {
		h.Ahead += part.len()
	}
	if r.zip == nil {
		r.zip = gzip.NewWriter(nil)
	}
	for size := cmp.Or(r.known.Size, PushEntries); ; size = len(c.items) / 2 {
		var buf bytes.Buffer
		out := newWriter(&buf, r.zip)
		out.line(h)
		c.items = nil
		alone := false
		e.More, err = fill(ctx, r.Log, p.parts, func(part stretch, nth int, raw []byte) bool {
			if len(c.items) >= size || len(c.items) > 0 && (alone || part.alone || out.bytes+len(raw) > pushText) {
				return false
			}
			alone = part.alone
			out.entry(part.job, raw)
			c.items = append(c.items, item{part.job, part.stream, part.after + int64(nth) + 1, raw, part.sure > 1})
			return true
		})
		if err == nil {
			err = out.end(e)
		}
		if err != nil {
			return c, err
		}
		if buf.Len() <= PushBytes || len(c.items) <= 1 {
			c.body = buf.Bytes()
			return c, nil
		}
	}
}

// folds is what to say of the folds; nothing, if that was compared already or
// a short while ago.
func (r *run) folds(ctx context.Context, p plan, heads string) (string, error) {
	if r.Fold == nil || r.known.Folds == heads || r.Now().Sub(r.known.Compared).Abs() < foldsEvery {
		return "", nil
	}
	folds, err := foldsOf(ctx, r.Fold, slices.Sorted(slices.Values(r.jobs)))
	if err != nil {
		// Without it the exchange goes on: entries come first.
		r.logf("fold to compare: %v", err)
		return "", nil
	}
	for job, before := range p.ours {
		heads, err := r.Log.Heads(ctx, job)
		if err != nil {
			return "", err
		}
		if !maps.Equal(before, heads) {
			return "", nil // something was written meanwhile
		}
	}
	return folds, nil
}

// answer is what came back.
type answer struct {
	hello
	ending
	asked time.Time
	took  time.Duration // until it began
	whole bool
}

// ownFault is an error on this side: the server is not to blame.
type ownFault struct{ error }

func (f *ownFault) Unwrap() error { return f.error }

// post makes a call, and keeps what comes as it comes.
func (r *run) post(parent context.Context, body []byte) (answer, error) {
	ctx, cancel := context.WithCancelCause(parent)
	defer cancel(nil)
	deadline := r.Deadline
	if deadline <= 0 {
		deadline = 15 * time.Second
	}
	watch := time.AfterFunc(deadline, func() { cancel(ErrSilence) })
	defer watch.Stop()

	request, err := http.NewRequestWithContext(ctx, http.MethodPost, r.URL, bytes.NewReader(body))
	if err != nil {
		return answer{}, &ownFault{err}
	}
	request.Header.Set("Content-Type", ContentType)
	if r.Key != "" {
		request.Header.Set("Authorization", "Bearer "+r.Key)
	}
	got := answer{asked: r.Now()}
	began := time.Now()
	response, err := r.Do(request)
	if err != nil {
		return got, r.cause(parent, ctx, err)
	}
	defer response.Body.Close()
	watch.Reset(deadline)
	if response.StatusCode != http.StatusOK {
		return got, refusal(response)
	}
	if kind, _, _ := mime.ParseMediaType(response.Header.Get("Content-Type")); kind != ContentType {
		return got, fmt.Errorf("%w: it is %q", ErrNoAnswer, kind)
	}

	pending, waiting := map[string][][]byte{}, 0
	store := func() error {
		for _, job := range slices.Sorted(maps.Keys(pending)) {
			if err := r.keep(parent, job, pending[job]); err != nil {
				return &ownFault{err}
			}
			if r.progress != nil {
				r.progress(r.report.Received, max(r.of, r.report.Received))
			}
		}
		clear(pending)
		waiting = 0
		return nil
	}
	got.hello, got.ending, err = read(response.Body, answerLimits, handler{
		hello: func(h hello) error {
			got.took = time.Since(began)
			r.of = r.report.Received + h.Ahead
			return nil
		},
		entries: func(job string, raws [][]byte) error {
			if !slices.Contains(r.jobs, job) {
				return fmt.Errorf("%w: entries of job %q, which was not asked for", ErrNoAnswer, job)
			}
			pending[job] = append(pending[job], raws...)
			waiting += len(raws)
			if waiting >= storeAtOnce {
				watch.Stop()
				if err := store(); err != nil {
					return err
				}
			}
			watch.Reset(deadline)
			return nil
		},
	})
	got.whole = err == nil
	// What came whole is kept, whatever became of the rest.
	if fault := store(); fault != nil {
		return got, fault
	}
	if err != nil {
		return got, r.cause(parent, ctx, err)
	}
	return got, nil
}

// cause gives the reason for which a call ended.
func (r *run) cause(parent, ctx context.Context, err error) error {
	switch own := (*ownFault)(nil); {
	case parent.Err() != nil:
		return context.Cause(parent)
	case ctx.Err() != nil:
		return context.Cause(ctx)
	case errors.As(err, &own), errors.Is(err, ErrNoAnswer):
		return err
	}
	return fmt.Errorf("%w: %w", ErrNoAnswer, err)
}

// refusal reads why a call was turned away.
func refusal(response *http.Response) error {
	no := &Refusal{Status: response.StatusCode}
	if response.Header.Get(refusalHeader) != "" {
		no.ours = true
		text, _ := io.ReadAll(io.LimitReader(response.Body, 300))
		no.Reason = string(bytes.TrimSpace(text))
	}
	if seconds, err := strconv.Atoi(response.Header.Get("Retry-After")); err == nil && seconds > 0 {
		no.After = min(time.Duration(seconds)*time.Second, time.Hour)
	}
	return no
}

// keep puts what came into the log.
func (r *run) keep(ctx context.Context, job string, raws [][]byte) error {
	forks, bad, err := keep(ctx, r.Log, job, raws)
	if err != nil {
		return err
	}
	r.report.Received += len(raws) - len(bad)
	r.report.Forks = append(r.report.Forks, forks...)
	j := r.known.Jobs[job]
	if len(bad) == 0 && len(j.Past) == 0 {
		return nil
	}
	if j.Past == nil {
		j.Past = map[string]int64{}
	}
	for _, b := range bad {
		if err := r.Memory.Put(ctx, "aside/"+b.Hash.String(), b.Raw); err != nil {
			return err
		}
		b.Kept = true
		if !slices.ContainsFunc(j.Bad, func(o aside) bool { return o.Hash == b.Hash }) {
			b.Raw = nil
			j.Bad = append(j.Bad, aside{Refused: b, Stream: b.Device, Since: r.Now()})
		}
		j.Past[b.Device] = max(j.Past[b.Device], b.Seq)
		r.logf("entry %d of %s, job %s, cannot be kept: %s", b.Seq, b.Device, job, b.Why)
	}
	for _, raw := range raws {
		device, seq, _ := place(raw)
		if _, behind := j.Past[device]; behind {
			j.Past[device] = max(j.Past[device], seq)
		}
	}
	r.known.Jobs[job] = j
	return nil
}

// Aside gives the bytes of an entry of State.Refused that came from the server
// and could not be put into the log; nil if it is not such a one.
func (c *Client) Aside(ctx context.Context, hash daylog.Head) ([]byte, error) {
	return c.Memory.Get(ctx, "aside/"+hash.String())
}
