package exchange

import (
	"cmp"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// Server answers POST /exchange for a log.
type Server struct {
	Log   store.Log
	Now   func() time.Time
	Build string // of the program
	// Admit tells who is calling, from the request's header. An error turns the
	// call away: a *Refusal as it says, any other as 401. Nil admits everybody.
	Admit func(*http.Request) (Caller, error)
	// Park keeps entries that a parked caller sent, durably, for someone to
	// release with Log.Receive. The same entries may come again.
	Park func(ctx context.Context, by Caller, device, job string, raws [][]byte) error
	// Aside keeps an entry that the log does not take, durably, for someone to
	// look into. The same entry may come again. Nil: they stay on the tablet.
	Aside func(ctx context.Context, by Caller, r Refused) error
	// Fold digests what the entries of a job come to; see FoldOf. Nil: folds are
	// not compared.
	Fold func(ctx context.Context, job string) (daylog.Head, error)
	// AtOnce is how many calls are worked on at the same time; 0: any number.
	// The others wait a moment, and are then asked to come again.
	AtOnce int
	// Heard is told of every call that was answered.
	Heard func(Heard)
	// Happened is told what somebody has to know.
	Happened func(Event)
	// Logf notes what went wrong for whoever runs the server.
	Logf func(format string, args ...any)

	zips  sync.Pool
	once  sync.Once
	turns chan struct{}
}

// Caller is who is calling.
type Caller struct {
	Name string // as the office knows the tablet
	// Device tells whether the caller may speak as the log with that id. Other
	// devices' entries it may carry all the same. Nil: as any.
	Device func(id string) error
	// Job tells whether a job is the caller's to exchange. Nil: any is.
	Job func(id string) error
	// Parked: the caller is no longer trusted. What it sends is parked, and it
	// gets nothing.
	Parked bool
}

// Heard is what a call says about a tablet.
type Heard struct {
	By     Caller
	Device string
	Build  string
	At     time.Time
	Clock  time.Duration // how far its clock is ahead, give or take the way here
	// Unsent is how many entries it holds that the log does not, after the call.
	Unsent int
	Sent   int // entries that came with the call
	Got    int // entries that went with the answer
}

// What an Event can be.
type Happening string

const (
	// Forked: two storages have written under one device id. Both lines are
	// kept; Device names the new one.
	Forked Happening = "forked"
	// RolledBack: others hold more of what this log wrote than the log itself.
	// It was put back to an earlier state and is getting its entries back.
	RolledBack Happening = "rolled back"
	// FoldsDiffer: two copies hold the same entries and make different things
	// of them. A fault of the program.
	FoldsDiffer Happening = "folds differ"
	// SetAside: an entry could not be put into this log, or a tablet's, or not
	// be delivered.
	SetAside Happening = "set aside"
	// PutBy: entries of a caller that is no longer trusted were parked.
	PutBy Happening = "parked"
)

// Event is something that somebody has to know.
type Event struct {
	What   Happening
	By     Caller
	Job    string
	Device string // the stream, or the tablet, that it is about
	Says   string
	Entry  *Refused // of SetAside
}

// Refusal is a call that was turned away.
type Refusal struct {
	Status int
	Reason string
	After  time.Duration // not to come again before; 0: no matter

	ours bool // the server itself says so
}

func (r *Refusal) Error() string {
	return cmp.Or(r.Reason, http.StatusText(r.Status), strconv.Itoa(r.Status))
}

// refusalHeader marks a body that gives a reason in one plain sentence.
const refusalHeader = "Duskline-Refused"

func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	begun, err := s.serve(w, r)
	if err == nil {
		return
	}
	var no *Refusal
	if !errors.As(err, &no) {
		no = &Refusal{Status: http.StatusInternalServerError, Reason: "the server could not keep or read its entries"}
		s.logf("exchange: %v", err)
	}
	if begun {
		// The answer has no end, so it is none.
		return
	}
	if no.After > 0 {
		w.Header().Set("Retry-After", strconv.Itoa(int((no.After+time.Second-1)/time.Second)))
	}
	w.Header().Set(refusalHeader, "1")
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(no.Status)
	io.WriteString(w, no.Error()+"\n")
}

// call is what a call says, entries by job in the order they came.
type call struct {
	hello
	ending
	jobs []string
	raws map[string][][]byte
}

// serve answers a call. begun tells whether a part of the answer is out.
func (s *Server) serve(w http.ResponseWriter, r *http.Request) (begun bool, err error) {
	if r.Method != http.MethodPost {
		w.Header().Set("Allow", http.MethodPost)
		return false, &Refusal{Status: http.StatusMethodNotAllowed, Reason: "an exchange is a POST"}
	}
	var by Caller
	if s.Admit != nil {
		if by, err = s.Admit(r); err != nil {
			var no *Refusal
			if !errors.As(err, &no) {
				err = &Refusal{Status: http.StatusUnauthorized, Reason: err.Error()}
			}
			return false, err
		}
	}
	if kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); kind != ContentType {
		return false, &Refusal{Status: http.StatusUnsupportedMediaType, Reason: "not a message of the exchange"}
	}
	c := call{raws: map[string][][]byte{}}
	c.hello, c.ending, err = read(r.Body, callLimits, handler{
		hello: func(h hello) error { return admit(by, h) },
		entries: func(job string, raws [][]byte) error {
			c.raws[job] = append(c.raws[job], raws...)
			return nil
		},
	})
	switch no := (*Refusal)(nil); {
	case errors.As(err, &no):
		return false, err
	case errors.Is(err, errTooLarge):
		return false, &Refusal{Status: http.StatusRequestEntityTooLarge, Reason: err.Error()}
	case err != nil:
		return false, &Refusal{Status: http.StatusBadRequest, Reason: err.Error()}
	}
	for job := range c.raws {
		if !slices.Contains(c.Jobs, job) {
			return false, &Refusal{Status: http.StatusBadRequest, Reason: fmt.Sprintf("entries of job %q, which the call is not about", job)}
		}
	}
	return s.answer(w, r, by, &c)
}

// admit tells whether the caller may say this.
func admit(by Caller, h hello) error {
	switch {
	case h.Device == "" || strings.Contains(h.Device, "~"):
		return &Refusal{Status: http.StatusBadRequest, Reason: "the call does not say from which device"}
	case len(h.Jobs) > JobsAtOnce:
		return &Refusal{Status: http.StatusRequestEntityTooLarge, Reason: fmt.Sprintf("more than %d jobs in one call", JobsAtOnce)}
	}
	if by.Device != nil {
		if err := by.Device(h.Device); err != nil {
			return &Refusal{Status: http.StatusForbidden, Reason: err.Error()}
		}
	}
	return nil
}

func (s *Server) answer(w http.ResponseWriter, r *http.Request, by Caller, c *call) (begun bool, err error) {
	ctx := r.Context()
	leave, err := s.enter(ctx)
	if err != nil {
		return false, err
	}
	defer leave()
	if by.Parked {
		return s.park(ctx, w, by, c)
	}
	e := ending{}
	for _, job := range slices.Compact(slices.Sorted(slices.Values(c.Jobs))) {
		if by.Job != nil {
			if err := by.Job(job); err != nil {
				if e.Shut == nil {
					e.Shut = map[string]string{}
				}
				e.Shut[job] = err.Error()
				continue
			}
		}
		c.jobs = append(c.jobs, job)
	}
	for _, job := range c.jobs {
		if err := s.own(ctx, by, job, c.Heads[job]); err != nil {
			return false, err
		}
		bad, err := s.take(ctx, by, job, c.raws[job])
		if err != nil {
			return false, err
		}
		e.Refused = append(e.Refused, bad...)
	}
	for _, r := range c.Refused {
		s.happened(Event{What: SetAside, By: by, Job: r.Job, Device: r.Device, Says: r.Why, Entry: &r})
	}
	e.Heads = map[string]daylog.Heads{}
	for _, job := range c.jobs {
		if e.Heads[job], err = s.Log.Heads(ctx, job); err != nil {
			return false, err
		}
	}
	h := hello{Device: s.Log.Device(), Build: s.Build, Now: s.Now().UnixMilli()}
	var parts []stretch
	if same := digest(e.Heads); c.Digest == same && len(e.Shut) == 0 {
		h.Digest = same
		if h.Folds, err = s.compare(ctx, by, c, same); err != nil {
			return false, err
		}
		e.Heads = nil
	} else if parts, err = s.lacking(ctx, c, &e); err != nil {
		return false, err
	}
	for _, p := range parts {
		h.Ahead += p.len()
	}
	leave() // what is left goes at the pace of the link
	room := AnswerBytes
	if c.Room > 0 {
		room = min(room, c.Room)
	}
	sent, err := s.send(ctx, w, h, e, parts, room)
	if err != nil {
		return true, err
	}
	if s.Heard != nil {
		heard := Heard{By: by, Device: c.Device, Build: c.Build, At: s.Now(), Sent: c.Count, Got: sent}
		heard.Clock = time.UnixMilli(c.Now).Sub(time.UnixMilli(h.Now))
		for job, heads := range c.Heads {
			for stream, reach := range heads {
				heard.Unsent += int(max(0, reach.Seq-e.Heads[job][stream].Seq))
			}
		}
		s.Heard(heard)
	}
	return true, nil
}

// enter waits for a turn. leave ends it, once.
func (s *Server) enter(ctx context.Context) (leave func(), err error) {
	if s.AtOnce <= 0 {
		return func() {}, nil
	}
	s.once.Do(func() { s.turns = make(chan struct{}, s.AtOnce) })
	patience := time.NewTimer(500 * time.Millisecond)
	defer patience.Stop()
	select {
	case s.turns <- struct{}{}:
		return sync.OnceFunc(func() { <-s.turns }), nil
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-patience.C:
		after := time.Duration(1+rand.IntN(3)) * time.Second
		return nil, &Refusal{Status: http.StatusServiceUnavailable, Reason: "many tablets at once", After: after}
	}
}

// own looks whether the caller holds more of what this log wrote than it does
// itself.
func (s *Server) own(ctx context.Context, by Caller, job string, theirs daylog.Heads) error {
	self := s.Log.Device()
	reach, held := theirs[self]
	if !held {
		return nil
	}
	ours, err := s.Log.Heads(ctx, job)
	if err == nil && reach.Seq > ours[self].Seq {
		s.happened(Event{What: RolledBack, By: by, Job: job, Device: self,
			Says: fmt.Sprintf("a tablet holds entries of this server up to %d, the server itself up to %d: it was restored from an older state and is getting them back", reach.Seq, ours[self].Seq)})
	}
	return err
}

// take keeps what came of a job, and gives what the log did not take.
func (s *Server) take(ctx context.Context, by Caller, job string, raws [][]byte) ([]Refused, error) {
	if len(raws) == 0 {
		return nil, nil
	}
	forks, bad, err := keep(ctx, s.Log, job, raws)
	if errors.Is(err, store.ErrFull) {
		s.logf("exchange: %v", err)
		return nil, &Refusal{Status: http.StatusServiceUnavailable, Reason: "the server's storage is full", After: time.Minute}
	}
	if err != nil {
		return nil, err
	}
	for _, fork := range forks {
		s.happened(Event{What: Forked, By: by, Job: job, Device: fork, Says: "two storages have written under one id; both lines are kept"})
	}
	for i := range bad {
		if s.Aside != nil {
			// Where not even this can be kept, the storage is at fault and not
			// the entry.
			if err := s.Aside(ctx, by, bad[i]); err != nil {
				return nil, fmt.Errorf("%s; keep it aside: %w", bad[i].Why, err)
			}
			bad[i].Kept = true
		}
		s.happened(Event{What: SetAside, By: by, Job: job, Device: bad[i].Device, Says: bad[i].Why, Entry: &bad[i]})
	}
	return bad, nil
}

// park puts by what an untrusted caller sent.
func (s *Server) park(ctx context.Context, w http.ResponseWriter, by Caller, c *call) (begun bool, err error) {
	if s.Park == nil {
		return false, &Refusal{Status: http.StatusForbidden, Reason: "this tablet is not admitted"}
	}
	for job, raws := range c.raws {
		if err := s.Park(ctx, by, c.Device, job, raws); err != nil {
			return false, err
		}
		s.happened(Event{What: PutBy, By: by, Job: job, Device: c.Device, Says: fmt.Sprintf("%d entries wait to be released", len(raws))})
	}
	_, err = s.send(ctx, w, hello{Device: s.Log.Device(), Build: s.Build, Now: s.Now().UnixMilli()}, ending{Parked: true}, nil, 0)
	return true, err
}

// compare compares what both make of the same entries; it gives what is made
// of them here if that is something else.
func (s *Server) compare(ctx context.Context, by Caller, c *call, heads string) (string, error) {
	if c.Folds == "" || s.Fold == nil || !sameFold(c.Folds) {
		return "", nil
	}
	ours, err := foldsOf(ctx, s.Fold, c.jobs)
	if err != nil {
		s.logf("fold to compare: %v", err)
		return "", nil
	}
	if ours == c.Folds {
		return "", nil
	}
	// What came in meanwhile would explain it.
	again := map[string]daylog.Heads{}
	for _, job := range c.jobs {
		if again[job], err = s.Log.Heads(ctx, job); err != nil {
			return "", err
		}
	}
	if digest(again) != heads {
		return "", nil
	}
	s.logf("FOLDS DIFFER: jobs %q, heads %s: device %s, build %s makes %s of them; this server, build %s, makes %s", c.jobs, heads, c.Device, c.Build, c.Folds, s.Build, ours)
	s.happened(Event{What: FoldsDiffer, By: by, Job: strings.Join(c.jobs, " "), Device: c.Device,
		Says: "a tablet holds the same entries and shows something else: a fault of the program that has to be reported"})
	return ours, nil
}

// lacking tells what to send of the jobs whose heads the call gives, and adds
// to the answer's end what the caller needs to send the right things.
func (s *Server) lacking(ctx context.Context, c *call, e *ending) (parts []stretch, err error) {
	for _, job := range c.jobs {
		heads, given := c.Heads[job]
		if !given {
			continue
		}
		theirs := other{heads: heads, trails: c.Trails[job], past: c.Past[job]}
		some, unclear, err := missing(ctx, s.Log, job, e.Heads[job], theirs)
		if gone(err) {
			continue // a fork comes in at this moment: next time
		}
		if err != nil {
			return nil, err
		}
		parts = append(parts, some...)
		for stream := range c.Trails[job] {
			unclear = append(unclear, deviceOf(stream))
		}
		if err := addTrails(ctx, s.Log, job, e.Heads[job], unclear, &e.Trails); err != nil {
			return nil, err
		}
	}
	return parts, nil
}

// send writes the answer, of about room bytes, and gives the number of its entries.
func (s *Server) send(ctx context.Context, w http.ResponseWriter, h hello, e ending, parts []stretch, room int) (int, error) {
	w.Header().Set("Content-Type", ContentType)
	w.Header().Set("Cache-Control", "no-store, no-transform")
	w.Header().Set("X-Content-Type-Options", "nosniff")
	zip, _ := s.zips.Get().(*gzip.Writer)
	if zip == nil {
		zip = gzip.NewWriter(nil)
	}
	defer s.zips.Put(zip)
	body := &counter{w: w}
	out := newWriter(body, zip)
	out.most = min(out.most, 4*room) // what little may go is not to be one group
	out.line(h)
	control := http.NewResponseController(w)
	more, err := fill(ctx, s.Log, parts, func(p stretch, nth int, raw []byte) bool {
		if nth >= p.sure && body.n >= room {
			return false
		}
		out.entry(p.job, raw)
		if out.full() {
			out.check()
			if out.err == nil {
				control.Flush()
			}
		}
		return out.err == nil
	})
	if err != nil {
		return out.count, err
	}
	e.More = more
	if err := out.end(e); err != nil {
		return out.count, nil // the caller has gone
	}
	return out.count, nil
}

// counter counts what goes through it.
type counter struct {
	w io.Writer
	n int
}

func (c *counter) Write(b []byte) (int, error) {
	n, err := c.w.Write(b)
	c.n += n
	return n, err
}

func (s *Server) logf(format string, args ...any) {
	if s.Logf != nil {
		s.Logf(format, args...)
	}
}

func (s *Server) happened(e Event) {
	if s.Happened != nil {
		s.Happened(e)
	}
}
