package exchange

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"time"

	"duskline/internal/daylog"
)

// run is one exchange under way.
type run struct {
	*Client
	known    known
	report   Report
	progress func(got, of int)
	of       int // entries that have come and are to come

	jobs   []string
	probe  bool                // the next call is to be one without entries
	probed bool                // such a call has got through
	trails map[string]trails   // the server's, as last told
	asked  map[string][]string // devices whose trails the server needs, by job
	more   bool                // the server has more
	// sent is up to where lines in doubt went out in this run, by job and
	// stream: of those the server's heads cannot tell. If a stream has got
	// another name since, it is the server's own line that has this one now.
	sent map[string]map[string]int64
	// suspect are entries that failed alone in this run, lone counts them since
	// another got through: if others do, they are at fault. tried are entries
	// that are not sent again in this run.
	suspect map[daylog.Head]aside
	tried   map[daylog.Head]bool
	lone    int
}

// plan is what is known before a call.
type plan struct {
	ours  map[string]daylog.Heads
	parts []stretch
	alike bool // nothing to send or to get, as far as is known
}

// settle calls the server until nothing is missing on either side.
func (r *run) settle(ctx context.Context) error {
	r.trails, r.asked, r.more = nil, map[string][]string{}, false
	r.probe = r.known.Failed
	before := ""
	for called := false; ; called = true {
		p, err := r.plan(ctx)
		if err != nil {
			return err
		}
		if called && p.alike {
			return r.stuck()
		}
		now := r.mark(p)
		if now == before {
			if err := r.stuck(); err != nil {
				return err
			}
			r.logf("EXCHANGE STUCK: jobs %q: here %v, at server %s %v", r.jobs, p.ours, r.known.Server, r.known.Jobs)
			return ErrApart
		}
		before = now
		if err := r.call(ctx, p, p.alike); err != nil {
			return err
		}
		// The host may be stopped at any time.
		if err := r.remember(ctx, r.known); err != nil {
			return err
		}
	}
}

// mark stands for all that a call depends on: if it is the same after a call,
// another call would change nothing.
func (r *run) mark(p plan) string {
	text, err := json.Marshal([]any{p.ours, p.alike, r.known.Jobs, r.known.Size, r.trails, r.asked, r.more, r.sent, len(r.suspect), r.probe})
	if err != nil {
		return ""
	}
	sum := sha256.Sum256(text)
	return short(sum[:])
}

// stuck tells of an entry that does not get through, as long as it may be the
// link; nil if there is none.
func (r *run) stuck() error {
	for _, a := range r.suspect {
		return a.stuck()
	}
	for _, job := range r.jobs {
		for _, a := range r.known.Jobs[job].Aside {
			if !a.certain() {
				return a.stuck()
			}
		}
	}
	return nil
}

func (r *run) plan(ctx context.Context) (plan, error) {
	p := plan{ours: map[string]daylog.Heads{}, alike: !r.more && !r.probe}
	for _, job := range r.jobs {
		ours, err := r.Log.Heads(ctx, job)
		if err != nil {
			return p, err
		}
		p.ours[job] = ours
		j := r.known.Jobs[job]
		if j.Build != r.Build {
			// This program may be able to keep what another could not.
			j.Past, j.Bad, j.Build = nil, nil, r.Build
		}
		for stream, seq := range j.Past {
			if ours[stream].Seq >= seq {
				delete(j.Past, stream)
				j.Bad = slices.DeleteFunc(j.Bad, func(b aside) bool { return b.Device == stream })
			}
		}
		if err := r.stillThere(ctx, job, &j); err != nil {
			return p, err
		}
		r.known.Jobs[job] = j
		if j.Shut != "" {
			continue // until an answer says otherwise
		}
		if j.Heads == nil {
			p.alike = false
			continue
		}
		parts, unclear, err := missing(ctx, r.Log, job, ours, other{heads: j.Heads, trails: r.trails[job]})
		if gone(err) {
			p.alike = false
			continue
		}
		if err != nil {
			return p, err
		}
		for _, part := range parts {
			part.after = max(part.after, r.sent[job][part.stream])
			if part.after >= part.last {
				continue
			}
			for _, part := range r.detour(&j, part) {
				p.parts = append(p.parts, r.around(part)...)
			}
		}
		r.known.Jobs[job] = j
		for _, device := range unclear {
			r.ask(job, device)
		}
		if !j.Parked && (len(unclear) > 0 || lacks(ours, j.Heads, j.Past)) {
			p.alike = false
		}
	}
	if len(p.parts) > 0 {
		p.alike = false
	}
	// What was written on this device goes first.
	var others []stretch
	p.parts = slices.DeleteFunc(p.parts, func(part stretch) bool {
		if part.stream == r.Log.Device() {
			return false
		}
		others = append(others, part)
		return true
	})
	p.parts = append(p.parts, others...)
	return p, nil
}

// stillThere drops what is aside and has come to be on another stream.
func (r *run) stillThere(ctx context.Context, job string, j *knownJob) error {
	var kept []aside
	for _, a := range j.Aside {
		e, err := entryAfter(ctx, r.Log, job, a.Stream, a.Seq-1)
		if err != nil && !gone(err) {
			return err
		}
		if err == nil && daylog.Hash(e.Raw()) == a.Hash {
			kept = append(kept, a)
		}
	}
	j.Aside = kept
	j.settle()
	return nil
}

func (r *run) ask(job, device string) {
	if !slices.Contains(r.asked[job], device) {
		r.asked[job] = append(r.asked[job], device)
	}
}

// detour gives the parts of a stretch where the server lacks an entry that it
// could not take before: what it has not got beyond that, and the entry itself,
// by itself, if it is to be tried again.
func (r *run) detour(j *knownJob, part stretch) []stretch {
	held := j.Heads[part.stream].Seq
	var first *aside
	for i, a := range j.Aside {
		if a.Stream == part.stream && (first == nil || a.Seq < first.Seq) {
			first = &j.Aside[i]
		}
	}
	if first == nil || first.Seq != held+1 {
		// The server was put back to an earlier state.
		j.Aside = slices.DeleteFunc(slices.Clone(j.Aside), func(a aside) bool { return a.Stream == part.stream })
		j.settle()
		return []stretch{part}
	}
	var parts []stretch
	if first.due(r.Now()) && !r.tried[first.Hash] {
		parts = append(parts, stretch{job: part.job, stream: part.stream, after: held, last: first.Seq, alone: true})
	}
	if part.after = j.Beyond[part.stream]; part.after < part.last {
		parts = append(parts, part)
	}
	return parts
}

// around takes the suspects of this run out of a stretch.
func (r *run) around(part stretch) []stretch {
	var seqs []int64
	for _, a := range r.suspect {
		if a.Job == part.job && a.Stream == part.stream && a.Seq > part.after && a.Seq <= part.last {
			seqs = append(seqs, a.Seq)
		}
	}
	slices.Sort(seqs)
	var parts []stretch
	for _, seq := range append(seqs, part.last+1) {
		if before := part; seq-1 > before.after {
			before.last = seq - 1
			parts = append(parts, before)
		}
		part.after = seq
	}
	return parts
}

// item is an entry that goes out with a call.
type item struct {
	job, stream string
	seq         int64
	raw         []byte
	doubt       bool // where it begins to be new to the server was told by trails
}

func (i item) aside(why string) aside {
	a := aside{Refused: refuse(i.job, i.raw, why), Stream: i.stream}
	a.Seq, a.Raw = i.seq, nil
	return a
}

// call makes one call and takes note of what it brought. It returns nil where
// another call may help.
func (r *run) call(ctx context.Context, p plan, quiet bool) error {
	if r.probe {
		p.parts = nil
	}
	c, err := r.compose(ctx, p, quiet)
	if err != nil {
		return err
	}
	got, err := r.post(ctx, c.body)
	r.report.Calls++
	var own *ownFault
	if err != nil && !(got.whole && errors.As(err, &own)) {
		return r.failed(ctx, c.items, err)
	}
	// The server has got what was sent even if this log cannot keep what came.
	fault := err
	r.known.Failed, r.probed, r.probe = false, true, false
	if r.known.Room > 0 && got.Count > 0 {
		if r.known.Room *= 2; r.known.Room >= AnswerBytes {
			r.known.Room = 0
		}
	}
	if err := r.learn(got, p, c); err != nil {
		return err
	}
	if err := r.acknowledged(ctx, got, c.items); err != nil {
		return err
	}
	return fault
}

// failed decides what a failed call means for what it carried.
func (r *run) failed(ctx context.Context, items []item, err error) error {
	var own *ownFault
	if errors.As(err, &own) || ctx.Err() != nil {
		return err
	}
	var no *Refusal
	judged := false // the server had the call and failed on it
	if errors.As(err, &no) {
		switch no.Status {
		case http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusInternalServerError:
			judged = true
		case http.StatusBadGateway, http.StatusGatewayTimeout:
			// It may have died of the call.
		case http.StatusForbidden:
			if no.ours {
				return err
			}
			// Something on the way may not like what is in it.
		default:
			return err
		}
	}
	r.known.Failed = true
	if errors.Is(err, ErrSilence) {
		r.known.Room = max(leastRoom, cmp.Or(r.known.Room, AnswerBytes)/4)
	}
	switch {
	case len(items) == 0 || !judged && !r.probed:
		return err // nothing says that it is the entries
	case len(items) > 1:
		r.known.Size = len(items) / 2
		if !judged {
			return err
		}
		return nil
	}
	// An entry that fails alone is left out. If others get through, it is the
	// entry; if the next fails too, it is the server.
	r.lone++
	if r.lone > 1 {
		return err
	}
	only := items[0].aside(err.Error())
	r.suspect[only.Hash], r.tried[only.Hash] = only, true
	return nil
}

// learn takes note of what an answer says about the server.
func (r *run) learn(got answer, p plan, c outgoing) error {
	if got.Device != r.known.Server || got.Build != r.known.Build {
		// It was put back to an earlier state, or may take now what it did not.
		for job, j := range r.known.Jobs {
			j.Aside, j.Beyond = nil, nil
			r.known.Jobs[job] = j
		}
	}
	r.known.Server, r.known.Build = got.Device, got.Build
	r.clock(got)
	r.more = got.More
	r.trails = got.Trails
	if got.Digest != "" {
		if got.Digest != digest(p.ours) {
			return fmt.Errorf("%w: it agrees with what was not said", ErrNoAnswer)
		}
		if c.folds != "" {
			r.known.Folds, r.known.Compared, r.known.Differ = got.Digest, r.Now(), got.Folds != ""
			if got.Folds != "" {
				r.logf("FOLDS DIFFER: jobs %q, heads %s: here %s, at the server %s", r.jobs, got.Digest, c.folds, got.Folds)
			}
		}
	}
	self := r.Log.Device()
	for _, job := range r.jobs {
		j := r.known.Jobs[job]
		heads, told := got.Heads[job]
		switch {
		case got.Digest != "":
			heads = p.ours[job]
		case got.Parked && j.Heads == nil:
			heads = daylog.Heads{}
		case got.Parked:
			heads = j.Heads
		case got.Shut[job] != "":
			heads = j.Heads
			if heads == nil {
				heads = daylog.Heads{}
			}
		case !told:
			return fmt.Errorf("%w: it does not say what it holds of job %s", ErrNoAnswer, job)
		}
		if heads == nil {
			heads = daylog.Heads{}
		}
		if heads[self].Seq > p.ours[job][self].Seq {
			r.report.RolledBack = true
		}
		j.Heads, j.Parked, j.Shut = heads, got.Parked, got.Shut[job]
		j.settle()
		j.told(c.told)
		r.known.Jobs[job] = j
		for stream := range got.Trails[job] {
			r.ask(job, deviceOf(stream))
		}
	}
	return nil
}

// clock takes the server's time for the clock offset, unless the answer was so
// slow that it says little.
func (r *run) clock(got answer) {
	within := got.took / 2
	off := time.UnixMilli(got.Now).Sub(got.asked.Add(within))
	switch {
	case off.Abs() <= within+time.Second:
		r.known.Skew = 0
	case within <= 5*time.Second || off.Abs() > time.Minute:
		r.known.Skew = int(off.Round(time.Second) / time.Second)
	}
}

// acknowledged takes note of what the server has got.
func (r *run) acknowledged(ctx context.Context, got answer, items []item) error {
	items = slices.DeleteFunc(items, func(i item) bool { return got.Shut[i.job] != "" })
	if len(items) == 0 {
		return nil
	}
	last := map[string]map[string]int64{} // by job and stream
	for _, i := range items {
		if last[i.job] == nil {
			last[i.job] = map[string]int64{}
		}
		last[i.job][i.stream] = max(last[i.job][i.stream], i.seq)
		if i.doubt {
			if r.sent[i.job] == nil {
				r.sent[i.job] = map[string]int64{}
			}
			r.sent[i.job][i.stream] = i.seq
		}
	}
	var faulty []aside
	if len(got.Refused) > 0 {
		why := map[daylog.Head]Refused{}
		for _, no := range got.Refused {
			why[no.Hash] = no
		}
		for _, i := range items {
			if no, ok := why[daylog.Hash(i.raw)]; ok {
				a := i.aside(no.Why)
				a.Kept, a.Tries, a.Told = no.Kept, triesAlone, true
				faulty = append(faulty, a)
				r.tried[a.Hash] = true
			}
		}
	}
	r.report.Sent += len(items) - len(faulty)
	// What failed alone while others get through may be at fault.
	faulty = slices.AppendSeq(faulty, maps.Values(r.suspect))
	switch {
	case len(r.suspect) > 0:
		r.known.Size = 0
	case r.known.Size > 0:
		if r.known.Size = max(r.known.Size, len(items)) * 2; r.known.Size >= PushEntries {
			r.known.Size = 0
		}
	}
	clear(r.suspect)
	r.lone = 0
	for _, a := range faulty {
		a.Since = r.Now()
		a.Tries = max(a.Tries, 1)
		j := r.known.Jobs[a.Job]
		j.Aside = slices.Clone(j.Aside)
		if i := slices.IndexFunc(j.Aside, func(o aside) bool { return o.Hash == a.Hash }); i >= 0 {
			a.Tries = max(a.Tries, j.Aside[i].Tries+1)
			a.Kept = a.Kept || j.Aside[i].Kept
			j.Aside[i] = a
		} else {
			j.Aside = append(j.Aside, a)
		}
		r.known.Jobs[a.Job] = j
		if last[a.Job] == nil {
			last[a.Job] = map[string]int64{}
		}
		last[a.Job][a.Stream] = max(last[a.Job][a.Stream], a.Seq)
	}
	for job, streams := range last {
		j := r.known.Jobs[job]
		for stream, seq := range streams {
			if slices.ContainsFunc(j.Aside, func(a aside) bool { return a.Stream == stream }) {
				j.Beyond = maps.Clone(j.Beyond)
				if j.Beyond == nil {
					j.Beyond = map[string]int64{}
				}
				j.Beyond[stream] = max(j.Beyond[stream], seq)
			}
			if j.Parked {
				reach, err := reachAt(ctx, r.Log, job, stream, seq)
				if err != nil {
					return err
				}
				j.Heads = maps.Clone(j.Heads)
				j.Heads[stream] = reach
			}
		}
		r.known.Jobs[job] = j
	}
	return nil
}
