//go:build js && wasm

// Command tablet is the site of the jobs on board, inside the tablet's service
// worker: the same pages as the server's, on the tablet's own log.
package main

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log"
	"maps"
	"net/http"
	"net/url"
	"os"
	"runtime/debug"
	"strings"
	"sync"
	"syscall/js"
	"time"

	"github.com/go-chi/chi/v5"

	"duskline/internal/daylog"
	"duskline/internal/exchange"
	"duskline/internal/fetchevent"
	"duskline/internal/store"
	"duskline/internal/store/indexeddb"
	"duskline/web"
)

func main() {
	// WebAssembly's memory never shrinks, and a tablet has other things to do
	// with it: collect early, so that reading a long job leaves no peak behind.
	debug.SetGCPercent(50)
	debug.SetMemoryLimit(72 << 20)
	t, err := open(context.Background())
	if err != nil {
		// The worker then goes to the network, or says what is safe.
		log.Fatal(err)
	}
	host := &fetchevent.Host{Handler: t.site()}
	host.Serve()
}

// tablet is what the program holds: nothing that must be right is in memory
// alone, since the worker may be stopped at any time.
type tablet struct {
	log      *indexeddb.Log
	exchange *exchange.Client
	memo     store.Memo
	zones    zones
	build    string // the worker's, as it says

	mu   sync.Mutex
	kept kept
}

// kept is what the tablet remembers beside the log.
type kept struct {
	Names   map[string]string `json:"names"`   // of the jobs, so that a worker that was stopped need not read them
	Writers map[string]string `json:"writers"` // by job: the person who writes on this tablet
	Name    string            `json:"name"`    // what the office calls this tablet
	Key     string            `json:"key"`     // given when it was enrolled
	Skew    int               `json:"skew"`    // seconds to add to its clock
}

func open(ctx context.Context) (*tablet, error) {
	l, err := indexeddb.Open(ctx, "duskline")
	if err != nil {
		return nil, err
	}
	t := &tablet{log: l, build: os.Getenv("BUILD")}
	t.exchange = &exchange.Client{
		Log: l, Do: fetch, URL: js.Global().Get("location").Get("origin").String() + "/exchange",
		Build: t.build, Now: time.Now, Memory: l, Logf: log.Printf, Fold: exchange.FoldOf(l, &t.memo),
	}
	text, err := l.Get(ctx, keptNote)
	if err != nil {
		return nil, err
	}
	if text == nil || json.Unmarshal(text, &t.kept) != nil {
		t.kept = kept{} // names come again with the job, who writes is asked
	}
	t.exchange.Key = t.kept.Key
	return t, t.tellAboard(ctx)
}

// keptNote is where kept is kept.
const keptNote = "kept"

// keep changes what is remembered, durably.
func (t *tablet) keep(ctx context.Context, change func(k *kept)) error {
	t.mu.Lock()
	k := t.kept
	k.Names, k.Writers = maps.Clone(k.Names), maps.Clone(k.Writers)
	if k.Names == nil {
		k.Names = map[string]string{}
	}
	if k.Writers == nil {
		k.Writers = map[string]string{}
	}
	change(&k)
	t.kept = k
	t.mu.Unlock()
	text, err := json.Marshal(k)
	if err != nil {
		return err
	}
	return t.log.Put(ctx, keptNote, text)
}

func (t *tablet) remembered() kept {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.kept
}

// tellAboard tells the worker for which jobs it may answer.
func (t *tablet) tellAboard(ctx context.Context) error {
	ids, err := t.log.Jobs(ctx)
	if err != nil {
		return err
	}
	names := t.remembered().Names
	jobs := []any{}
	for _, id := range ids {
		jobs = append(jobs, map[string]any{"id": id, "name": names[id]})
	}
	js.Global().Call("jobsOnBoard", jobs)
	return nil
}

// noteName notes what a job is called on the day that its clocks show.
func (t *tablet) noteName(ctx context.Context, id string) error {
	now := time.Now().UTC()
	today := daylog.DateOf(now)
	job, err := t.memo.Fold(ctx, t.log, id, today.Add(-1))
	if err != nil {
		return err
	}
	if zone, err := t.zones.Load(job.On(today).Setup.Zone); err == nil {
		today = daylog.DateOf(now.In(zone))
	}
	name := job.On(today).Setup.Name
	return t.keep(ctx, func(k *kept) { k.Names[id] = name })
}

// who is whoever was picked as writing on the job, or its first foreman.
func (t *tablet) who(r *http.Request, s *daylog.Setup) web.Who {
	if p, ok := s.Person(t.remembered().Writers[chi.URLParam(r, "job")]); ok && !p.Gone {
		return web.Writing(p)
	}
	return web.FirstForeman(r, s)
}

func (t *tablet) site() http.Handler {
	return web.New(web.Config{
		Log: t.log, Memo: &t.memo, Now: time.Now, Rand: rand.Reader, Who: t.who, Logf: log.Printf, Zone: t.zones.Load,
		Skew: func() int { return t.remembered().Skew },
		State: func(ctx context.Context, _ string, d *daylog.Day, zone *time.Location) string {
			a, err := t.aboard(ctx)
			if err != nil {
				return "Not known whether anything is saved: " + err.Error()
			}
			return web.TabletWords(a, d, zone)
		},
		Tablet: &web.Tablet{
			Aboard: t.aboard, Take: t.take, Exchange: t.run, Leave: t.leave, HandOver: t.handOver, Enrol: t.enrol, Gone: t.tellAboard,
			Writes: func(ctx context.Context, job, person string) error {
				return t.keep(ctx, func(k *kept) { k.Writers[job] = person })
			},
		},
	})
}

// aboard is how things stand, in facts.
func (t *tablet) aboard(ctx context.Context) (web.Aboard, error) {
	jobs, err := t.log.Jobs(ctx)
	if err != nil {
		return web.Aboard{}, err
	}
	s, err := t.exchange.State(ctx)
	if err != nil {
		return web.Aboard{}, err
	}
	a := web.Aboard{Device: t.log.Device(), Build: t.build, Jobs: jobs, Unsent: s.Unsent, Oldest: s.Oldest, Heard: s.Success, Skew: s.Skew, Name: t.remembered().Name}
	for _, r := range s.Refused {
		a.Trouble = append(a.Trouble, fmt.Sprintf("one entry could not be passed on: %s", r.Why))
	}
	for job, why := range s.Shut {
		a.Trouble = append(a.Trouble, fmt.Sprintf("job %s is not exchanged: %s", job, why))
	}
	if s.Parked {
		a.Trouble = append(a.Trouble, "the office has put by what this tablet sent; somebody there has to let it in")
	}
	if s.FoldsDiffer {
		a.Trouble = append(a.Trouble, "the office makes something else of the same entries: report this")
	}
	return a, nil
}

// take fetches a job and lets the worker answer for it.
func (t *tablet) take(ctx context.Context, job string) error {
	report, err := t.exchange.Take(ctx, job, nil)
	if err := t.noteClock(ctx, report); err != nil {
		return err
	}
	if err != nil {
		return err
	}
	if err := t.noteName(ctx, job); err != nil {
		return err
	}
	return t.tellAboard(ctx)
}

func (t *tablet) run(ctx context.Context) error {
	report, err := t.exchange.Exchange(ctx)
	if err := t.noteClock(ctx, report); err != nil {
		return err
	}
	return err
}

// noteClock notes how far this tablet's clock is off, as an exchange has told.
func (t *tablet) noteClock(ctx context.Context, report exchange.Report) error {
	if report.Calls == 0 || report.Skew == t.remembered().Skew {
		return nil
	}
	return t.keep(ctx, func(k *kept) { k.Skew = report.Skew })
}

// leave takes a job off this tablet.
func (t *tablet) leave(ctx context.Context, job string) error {
	unsent, err := t.exchange.Leave(ctx, job, func(held daylog.Heads) error { return t.log.Drop(ctx, job, held) })
	if unsent > 0 || errors.Is(err, indexeddb.ErrChanged) {
		return web.ErrUnsent
	}
	if err != nil {
		return err
	}
	t.memo.Forget()
	return t.tellAboard(ctx)
}

func (t *tablet) handOver(ctx context.Context, w io.Writer) error {
	jobs, err := t.log.Jobs(ctx)
	if err != nil {
		return err
	}
	return exchange.HandOver(ctx, w, t.log, t.build, time.Now(), jobs...)
}

// enrol shows the office a code: POST /tablet/enrol there, with code and device
// as a form's fields, answered in JSON with name, key and jobs, or with error.
func (t *tablet) enrol(ctx context.Context, code string) (string, error) {
	form := url.Values{"code": {code}, "device": {t.log.Device()}}
	at := js.Global().Get("location").Get("origin").String() + "/tablet/enrol"
	ctx, cancel := context.WithTimeout(ctx, 15*time.Second)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, at, strings.NewReader(form.Encode()))
	if err != nil {
		return "", err
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	answer, err := fetch(r)
	if err != nil {
		return "", err
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(io.LimitReader(answer.Body, 1<<16))
	if err != nil {
		return "", err
	}
	var got struct {
		Name, Key, Error string
		Jobs             []string
	}
	switch err := json.Unmarshal(body, &got); {
	case err == nil && got.Error != "":
		return "", web.EnrolRefused(got.Error)
	case err != nil || answer.StatusCode != http.StatusOK || got.Key == "":
		return "", fmt.Errorf("enrol: no answer of the office, status %d", answer.StatusCode)
	}
	if err := t.keep(ctx, func(k *kept) { k.Name, k.Key = got.Name, got.Key }); err != nil {
		return "", err
	}
	t.exchange.SetKey(got.Key)
	for _, job := range got.Jobs {
		if err := t.take(context.WithoutCancel(ctx), job); err != nil {
			return got.Name, fmt.Errorf("take job %s: %w", job, err)
		}
	}
	return got.Name, nil
}
