package exchange

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// Whatever is written where, whatever is lost, doubled, cut or put back in
// between: once all have exchanged undisturbed, all hold all that was left.
func TestConverge(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) { converge(t, rt) })
}

var bothJobs = []string{"elm", "oak"}

func converge(t *testing.T, rt *rapid.T) {
	ctx := context.Background()
	fail := func(err error) {
		if err != nil {
			rt.Helper()
			rt.Fatal(err)
		}
	}
	hold := func(log store.Log) map[string]bool {
		all := map[string]bool{}
		for _, job := range bothJobs {
			for _, raw := range raws(t, log, job) {
				_, raw, _ := strings.Cut(raw, " ")
				if all[raw] {
					rt.Fatalf("twice: %s", raw)
				}
				all[raw] = true
			}
		}
		return all
	}
	server := newNamed("office")
	office := newOffice(t, server)
	office.Logf = nil
	n := rapid.IntRange(1, 3).Draw(rt, "tablets")
	tablets := make([]*tablet, n)
	logs := make([]*named, n)
	put := func(i int, log *named) {
		logs[i] = log
		tablets[i] = newTablet(t, log, office)
		tablets[i].Logf = nil
	}
	for i := range tablets {
		put(i, newNamed(string(rune('a'+i))))
	}
	snapshots := map[string]*named{}
	serial := 0
	steps := rapid.IntRange(1, 40).Draw(rt, "steps")
	for range steps {
		i := rapid.IntRange(0, n-1).Draw(rt, "tablet")
		switch what := rapid.SampledFrom([]string{
			"write", "write", "write", "office writes", "exchange", "exchange", "exchange", "exchange",
			"keep", "put back", "copy", "keep server", "restore server", "put server back", "forget",
		}).Draw(rt, "what"); what {
		case "write", "office writes":
			log := logs[i]
			if what == "office writes" {
				log = server
			}
			drafts := make([]daylog.Entry, rapid.IntRange(1, 90).Draw(rt, "entries"))
			for k := range drafts {
				serial++
				drafts[k] = draft(fmt.Sprint("id", serial), day1, "x")
			}
			_, err := log.Write(ctx, rapid.SampledFrom(bothJobs).Draw(rt, "job"), drafts...)
			fail(err)
		case "keep":
			snapshots[logs[i].Device()] = copyOf(t, logs[i], logs[i].Device(), bothJobs...)
		case "put back": // a device's storage as it was some time ago
			if log, ok := snapshots[logs[i].Device()]; ok {
				put(i, copyOf(t, log, log.Device(), bothJobs...))
			}
		case "copy": // one tablet's storage on another
			from := logs[rapid.IntRange(0, n-1).Draw(rt, "from")]
			put(i, copyOf(t, from, from.Device(), bothJobs...))
		case "keep server":
			snapshots["office"] = copyOf(t, server, server.Device(), bothJobs...)
		case "restore server", "put server back":
			if log, ok := snapshots["office"]; ok {
				name := log.Device()
				if what == "restore server" {
					serial++
					name = fmt.Sprint("office", serial)
				}
				server = copyOf(t, log, name, bothJobs...)
				office.Log = server
			}
		case "forget":
			tablets[i].Memory = new(notes)
		case "exchange":
			w := tablets[i].wire
			calls := 0
			at := rapid.IntRange(1, 3).Draw(rt, "at")
			due := func() bool { calls++; return calls == at }
			w.call, w.answer = nil, nil
			fault := rapid.SampledFrom([]string{"none", "none", "call lost", "answer lost", "twice", "cut", "portal"}).Draw(rt, "fault")
			switch fault {
			case "call lost":
				w.call = func(body []byte) ([]byte, error) {
					if due() {
						return nil, errCut
					}
					return body, nil
				}
			case "answer lost", "cut", "portal":
				part := rapid.Float64Range(0, 1).Draw(rt, "part")
				w.answer = func(response *http.Response, body []byte) ([]byte, error) {
					switch {
					case !due():
						return body, nil
					case fault == "answer lost":
						return nil, errCut
					case fault == "portal":
						response.Header.Set("Content-Type", "text/html")
					}
					return body[:int(part*float64(len(body)))], errCut
				}
			case "twice":
				w.call = func(body []byte) ([]byte, error) {
					post(office, body)
					return body, nil
				}
			}
			r, err := tablets[i].Exchange(ctx)
			if errors.Is(err, ErrApart) || (fault == "none" || fault == "twice") && err != nil {
				rt.Fatalf("fault %s: %v", fault, err)
			}
			if len(r.Refused) > 0 {
				rt.Fatalf("refused %v", r.Refused)
			}
			if err == nil && r.Unsent > 0 {
				rt.Fatalf("done, and %d unsent", r.Unsent)
			}
			if r.Unsent == 0 {
				// What the tablet shows as sent is at the server.
				there := hold(server)
				for raw := range hold(logs[i]) {
					if !there[raw] && err == nil {
						rt.Fatalf("shown as sent, and is not there: %s", raw)
					}
				}
			}
		}
	}

	want := hold(server)
	for _, log := range logs {
		for raw := range hold(log) {
			want[raw] = true
		}
	}
	for range 2 {
		for i, tab := range tablets {
			tab.wire.call, tab.wire.answer = nil, nil
			for _, job := range bothJobs {
				_, err := tab.Take(ctx, job, nil)
				fail(err)
			}
			r, err := tab.Exchange(ctx)
			fail(err)
			if r.Unsent > 0 {
				rt.Fatalf("tablet %d: %+v", i, r)
			}
		}
	}
	for _, tab := range tablets {
		before := tab.wire.calls
		_, err := tab.Exchange(ctx)
		fail(err)
		if n := tab.wire.calls - before; n > 1 {
			rt.Fatalf("nothing new took %d calls", n)
		}
	}
	all := hold(server)
	for raw := range want {
		if !all[raw] {
			rt.Fatalf("lost: %s", raw)
		}
	}
	for _, log := range logs {
		// What waited for its forerunner somewhere may be there in addition.
		if got := hold(log); !maps.Equal(got, all) {
			rt.Fatalf("%s holds %d entries, the server %d", log.Device(), len(got), len(all))
		}
		for _, job := range bothJobs {
			a, _ := log.Heads(ctx, job)
			b, _ := server.Heads(ctx, job)
			if digest(map[string]daylog.Heads{job: a}) != digest(map[string]daylog.Heads{job: b}) {
				rt.Fatalf("heads %v and %v", a, b)
			}
		}
	}
}
