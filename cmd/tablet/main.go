//go:build js && wasm

// Command tablet is the site of the jobs on board, inside the tablet's service
// worker: the same pages as the server's, on the tablet's own log.
package main

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"log"
	"net/http"
	"os"
	"runtime/debug"
	"syscall/js"
	"time"

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
	build    string // the worker's, as it says
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
	return t, t.tellAboard(ctx)
}

// namesNote is where the names of the jobs on board are noted, so that a worker
// that was stopped need not read the jobs before it can answer.
const namesNote = "names"

// tellAboard tells the worker for which jobs it may answer.
func (t *tablet) tellAboard(ctx context.Context) error {
	ids, err := t.log.Jobs(ctx)
	if err != nil {
		return err
	}
	names, err := t.names(ctx)
	if err != nil {
		return err
	}
	jobs := []any{}
	for _, id := range ids {
		jobs = append(jobs, map[string]any{"id": id, "name": names[id]})
	}
	js.Global().Call("jobsOnBoard", jobs)
	return nil
}

func (t *tablet) names(ctx context.Context) (map[string]string, error) {
	names := map[string]string{}
	text, err := t.log.Get(ctx, namesNote)
	if err == nil && text != nil && json.Unmarshal(text, &names) != nil {
		names = map[string]string{} // the next taking on board notes them again
	}
	return names, err
}

// noteName notes what a job is called today.
func (t *tablet) noteName(ctx context.Context, id string) error {
	today := daylog.DateOf(time.Now().UTC())
	job, err := t.memo.Fold(ctx, t.log, id, today.Add(-1))
	if err != nil {
		return err
	}
	names, err := t.names(ctx)
	if err != nil {
		return err
	}
	names[id] = job.On(today).Setup.Name
	text, err := json.Marshal(names)
	if err != nil {
		return err
	}
	return t.log.Put(ctx, namesNote, text)
}

func (t *tablet) site() http.Handler {
	return web.New(web.Config{
		Log: t.log, Memo: &t.memo, Now: time.Now, Rand: rand.Reader, Who: web.FirstForeman, Logf: log.Printf, Zone: (&zones{}).Load,
		State: func(ctx context.Context, _ string, d *daylog.Day, zone *time.Location) string {
			a, err := t.aboard(ctx)
			if err != nil {
				return "Not known whether anything is saved: " + err.Error()
			}
			return web.TabletWords(a, d, zone)
		},
		Tablet: &web.Tablet{Aboard: t.aboard, Take: t.take, Exchange: t.run},
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
	a := web.Aboard{Device: t.log.Device(), Build: t.build, Jobs: jobs, Unsent: s.Unsent, Oldest: s.Oldest, Heard: s.Success, Skew: s.Skew}
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
	if _, err := t.exchange.Take(ctx, job, nil); err != nil {
		return err
	}
	if err := t.noteName(ctx, job); err != nil {
		return err
	}
	return t.tellAboard(ctx)
}

func (t *tablet) run(ctx context.Context) error {
	_, err := t.exchange.Exchange(ctx)
	return err
}
