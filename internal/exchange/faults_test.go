package exchange

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

var errCut = errors.New("connection reset")

// partOf checks that a log holds nothing but what another holds.
func partOf(t testing.TB, job string, part, whole store.Log) {
	t.Helper()
	all := map[string]bool{}
	for _, raw := range raws(t, whole, job) {
		all[raw] = true
	}
	for _, raw := range raws(t, part, job) {
		if !all[raw] {
			t.Fatalf("an entry nobody wrote: %s", raw)
		}
	}
}

func TestAnswerCut(t *testing.T) {
	server := store.NewMemory()
	write(t, server, job, 30)
	office := newOffice(t, server)
	for lost, length := 1, 2; lost <= length; lost++ {
		log := store.NewMemory()
		tab := newTablet(t, log, office)
		end := errCut
		if lost%2 == 0 {
			end = nil // some ways end as if that were all
		}
		tab.wire.answer = func(_ *http.Response, body []byte) ([]byte, error) {
			length = len(body)
			return body[:max(0, length-lost)], end
		}
		if _, err := tab.Take(t.Context(), job, nil); !errors.Is(err, ErrNoAnswer) {
			t.Fatalf("without the last %d of %d bytes: %v", lost, length, err)
		}
		partOf(t, job, log, server)
		tab.wire.answer = nil
		must[Report](t)(tab.Take(t.Context(), job, nil))
		same(t, job, server, log)
		if t.Failed() {
			t.Fatalf("without the last %d bytes", lost)
		}
	}
}

// An answer is stored in parts of about a thousand entries.
func TestStoredInParts(t *testing.T) {
	server := store.NewMemory()
	write(t, server, job, 5000)
	var parts []int
	log := &faulty{Log: store.NewMemory(), before: func(raws [][]byte) error {
		parts = append(parts, len(raws))
		return nil
	}}
	tab := newTablet(t, log, newOffice(t, server))
	r := must[Report](t)(tab.Take(t.Context(), job, nil))
	if r.Calls != 1 || len(parts) != 5 || slices.Max(parts) > storeAtOnce+groupEntries {
		t.Errorf("%d calls, stored as %v", r.Calls, parts)
	}
}

// What came whole is kept, so that every attempt gets further.
func TestCutAnswersGetOn(t *testing.T) {
	server := store.NewMemory()
	write(t, server, job, 3000)
	log := store.NewMemory()
	tab := newTablet(t, log, newOffice(t, server))
	tab.wire.answer = func(_ *http.Response, body []byte) ([]byte, error) { return body[:min(9000, len(body))], errCut }
	held := 0
	for n := 0; ; n++ {
		_, err := tab.Take(t.Context(), job, nil)
		now := len(raws(t, log, job))
		if now <= held && err != nil {
			t.Fatalf("attempt %d: still %d entries: %v", n, held, err)
		}
		if held = now; held == 3000 {
			t.Logf("%d attempts", n+1)
			break
		}
	}
	same(t, job, server, log)
}

// A push whose answer is cut is not acknowledged, and nothing is there twice.
func TestAcknowledgementCut(t *testing.T) {
	log, server := store.NewMemory(), store.NewMemory()
	office := newOffice(t, server)
	tab := newTablet(t, log, office)
	write(t, log, job, 3)
	tab.exchange(t)
	for cut := 0; ; cut++ {
		write(t, log, job, 2)
		whole := false
		tab.wire.answer = func(_ *http.Response, body []byte) ([]byte, error) {
			whole = cut >= len(body)
			return body[:min(cut, len(body))], errCut
		}
		r, err := tab.Exchange(t.Context())
		if whole && err == nil {
			break // all of it came before the cut
		}
		if err == nil {
			t.Fatalf("a cut at %d was taken for an answer", cut)
		}
		if r.Unsent != 2 || r.Sent != 0 {
			t.Fatalf("cut at %d: %d unsent, %d sent", cut, r.Unsent, r.Sent)
		}
		same(t, job, log, server)
		tab.wire.answer = nil
		if r = tab.exchange(t); r.Unsent != 0 {
			t.Fatalf("healed after a cut at %d: %+v", cut, r)
		}
		same(t, job, log, server)
	}
}

func TestServerKilled(t *testing.T) {
	for _, point := range []string{"before it is read", "before it is kept", "after it is kept", "in the answer"} {
		t.Run(point, func(t *testing.T) {
			log, server := store.NewMemory(), &faulty{Log: store.NewMemory()}
			office := newOffice(t, server)
			tab := newTablet(t, log, office)
			write(t, log, job, 450)
			left := 2 // calls until it dies
			die := func() bool { left--; return left == 0 }
			switch point {
			case "before it is read":
				tab.wire.call = func(body []byte) ([]byte, error) {
					if die() {
						return nil, errCut
					}
					return body, nil
				}
			case "before it is kept":
				left = 1
				server.before = func([][]byte) error {
					if die() {
						runtime.Goexit() // the server is no more
					}
					return nil
				}
			case "after it is kept":
				left = 1
				server.after = func([][]byte) error {
					if die() {
						runtime.Goexit() // the server is no more
					}
					return nil
				}
			case "in the answer":
				tab.wire.answer = func(_ *http.Response, body []byte) ([]byte, error) {
					if die() {
						return body[:len(body)/2], errCut
					}
					return body, nil
				}
			}
			r, err := tab.Exchange(t.Context())
			if err == nil {
				t.Fatal("nobody noticed")
			}
			if held := len(raws(t, server, job)); r.Unsent < 450-held {
				t.Errorf("%d unsent, but the server holds %d of 450", r.Unsent, held)
			}
			if r = tab.exchange(t); r.Unsent != 0 {
				t.Errorf("report %+v", r)
			}
			same(t, job, log, server)
			if len(office.aside) > 0 || len(r.Refused) > 0 {
				t.Error("entries were set aside")
			}
		})
	}
}

// The calls get there, the answers do not come back.
func TestOneWayLoss(t *testing.T) {
	log, server := store.NewMemory(), store.NewMemory()
	tab := newTablet(t, log, newOffice(t, server))
	write(t, log, job, 10)
	tab.exchange(t)
	tab.wire.answer = func(*http.Response, []byte) ([]byte, error) { return nil, errCut }
	for i := range 5 {
		write(t, log, job, 1)
		r, err := tab.Exchange(t.Context())
		if err == nil || r.Unsent != i+1 {
			t.Errorf("unheard: %d unsent, %v", r.Unsent, err)
		}
	}
	tab.wire.answer = nil
	if r := tab.exchange(t); r.Unsent != 0 {
		t.Errorf("report %+v", r)
	}
	same(t, job, log, server)
}

// Calls come twice, hours later and in another order.
func TestDuplicates(t *testing.T) {
	log, server := store.NewMemory(), store.NewMemory()
	office := newOffice(t, server)
	tab := newTablet(t, log, office)
	var old [][]byte
	replay := func(body []byte) {
		again := &wire{to: office}
		request, _ := http.NewRequest(http.MethodPost, tab.URL, bytes.NewReader(body))
		request.Header.Set("Content-Type", ContentType)
		response := must[*http.Response](t)(again.do(request))
		if response.StatusCode != http.StatusOK {
			t.Errorf("a known call was answered with %s", response.Status)
		}
	}
	tab.wire.call = func(body []byte) ([]byte, error) {
		replay(body)
		old = append(old, bytes.Clone(body))
		return body, nil
	}
	for range 5 {
		write(t, log, job, 210)
		tab.exchange(t)
	}
	same(t, job, log, server)
	for _, i := range rand.New(rand.NewPCG(1, 1)).Perm(len(old)) {
		replay(old[i])
	}
	same(t, job, log, server)
	// On a server that knows nothing, the last call first.
	fresh := store.NewMemory()
	office.Log = fresh
	for _, body := range slices.Backward(old) {
		replay(body)
	}
	same(t, job, log, fresh)
}

func TestFlippedBits(t *testing.T) {
	log, server := store.NewMemory(), store.NewMemory()
	write(t, server, job, 4)
	write(t, log, job, 4)
	noise := rand.New(rand.NewPCG(3, 4))
	for n := range 400 {
		tablet, central := copyOf(t, log, "tablet", job), copyOf(t, server, "server", job)
		tab := newTablet(t, tablet, newOffice(t, central))
		tab.Logf, tab.wire.to.(*office).Logf = nil, nil
		flip := func(body []byte) []byte {
			body = bytes.Clone(body)
			if bit := noise.IntN(len(body) * 8); len(body) > 0 {
				body[bit/8] ^= 1 << (bit % 8)
			}
			return body
		}
		if n%2 == 0 {
			tab.wire.call = func(body []byte) ([]byte, error) { return flip(body), nil }
		} else {
			tab.wire.answer = func(_ *http.Response, body []byte) ([]byte, error) { return flip(body), nil }
		}
		for range 3 {
			tab.Exchange(t.Context())
		}
		tab.wire.call, tab.wire.answer = nil, nil
		tab.exchange(t)
		same(t, job, tablet, central)
		if n := len(raws(t, tablet, job)); n != 8 {
			t.Fatalf("%d entries of 8", n)
		}
	}
}

func TestCaptivePortal(t *testing.T) {
	page := "<!DOCTYPE html><title>Welcome to the guest network</title>"
	for name, portal := range map[string]http.HandlerFunc{
		"page": func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", "text/html")
			io.WriteString(w, page)
		},
		"page of our type": func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", ContentType)
			io.WriteString(w, page)
		},
		"nothing of our type": func(w http.ResponseWriter, r *http.Request) { w.Header().Set("Content-Type", ContentType) },
		"no content":          func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(http.StatusNoContent) },
		"elsewhere": func(w http.ResponseWriter, r *http.Request) {
			http.Redirect(w, r, "http://guest.example", http.StatusFound)
		},
		"sign-in": func(w http.ResponseWriter, r *http.Request) {
			http.Error(w, page, http.StatusNetworkAuthenticationRequired)
		},
	} {
		t.Run(name, func(t *testing.T) {
			log, server := store.NewMemory(), store.NewMemory()
			office := newOffice(t, server)
			tab := newTablet(t, log, office)
			write(t, log, job, 3)
			tab.exchange(t)
			write(t, log, job, 250)
			tab.wire.to = portal
			for range 4 {
				r, err := tab.Exchange(t.Context())
				if err == nil || r.Sent > 0 || r.Unsent != 250 || len(r.Refused) > 0 {
					t.Fatalf("report %+v, %v", r, err)
				}
			}
			tab.wire.to = office
			if r := tab.exchange(t); r.Sent != 250 {
				t.Errorf("report %+v", r)
			}
			same(t, job, log, server)
		})
	}
}

func TestBusyServer(t *testing.T) {
	for _, status := range []int{http.StatusTooManyRequests, http.StatusServiceUnavailable} {
		log, server := store.NewMemory(), store.NewMemory()
		office := newOffice(t, server)
		tab := newTablet(t, log, office)
		write(t, log, job, 250)
		busy := true
		office.Admit = func(*http.Request) (Caller, error) {
			if busy {
				return Caller{}, &Refusal{Status: status, Reason: "many tablets at once", After: 1500 * time.Millisecond}
			}
			return Caller{}, nil
		}
		r, err := tab.Exchange(t.Context())
		if err == nil || err.Error() != "many tablets at once" || RetryAfter(err) != 2*time.Second || r.Calls != 1 || r.Unsent != 250 {
			t.Errorf("%d: %v, after %v, report %+v", status, err, RetryAfter(err), r)
		}
		busy = false
		if r = tab.exchange(t); r.Sent != 250 {
			t.Errorf("report %+v", r)
		}
		same(t, job, log, server)
	}
}

// A full storage is nobody's fault but its own.
func TestStorageFull(t *testing.T) {
	log, server := store.NewMemory(), &faulty{Log: store.NewMemory()}
	office := newOffice(t, server)
	tab := newTablet(t, log, office)
	write(t, log, job, 250)
	left := 30
	server.before = func(raws [][]byte) error {
		if len(raws) > left {
			return store.ErrFull
		}
		left -= len(raws)
		return nil
	}
	if r, err := tab.Exchange(t.Context()); err == nil || RetryAfter(err) == 0 || len(r.Refused)+len(office.aside) > 0 || r.Unsent != 250 {
		t.Errorf("%v, report %+v", err, r)
	}
	server.before = nil
	tab.exchange(t)
	same(t, job, log, server)

	write(t, server, job, 5)
	tab.Log = &faulty{Log: log, before: func([][]byte) error { return store.ErrFull }}
	write(t, log, job, 2)
	if r, err := tab.Exchange(t.Context()); !errors.Is(err, store.ErrFull) || len(r.Refused) > 0 || r.Sent != 2 || r.Unsent != 0 {
		t.Errorf("%v, report %+v", err, r)
	}
	tab.Log = log
	tab.exchange(t)
	same(t, job, log, server)
}

// A storage that takes nothing sets nothing aside, even if it could.
func TestStorageDown(t *testing.T) {
	for _, n := range []int{1, 2, 3, 250} {
		log, server := store.NewMemory(), &faulty{Log: store.NewMemory()}
		office := newOffice(t, server)
		tab := newTablet(t, log, office)
		write(t, log, job, n)
		server.before = func([][]byte) error { return errors.New("disk gone") }
		for range 4 {
			r, err := tab.Exchange(t.Context())
			if err == nil || len(r.Refused)+len(office.aside) > 0 || r.Unsent != n || r.Sent != 0 || r.Calls > 12 {
				t.Fatalf("%d entries: %v, report %+v, %d aside", n, err, r, len(office.aside))
			}
		}
		server.before = nil
		if r := tab.exchange(t); r.Unsent != 0 || len(r.Refused) > 0 {
			t.Errorf("report %+v", r)
		}
		same(t, job, log, server)
	}
}

// An entry that the server's log cannot take is kept aside there, and the
// others go on.
func TestPoisonAtTheServer(t *testing.T) {
	log, server := store.NewMemory(), &faulty{Log: store.NewMemory()}
	office := newOffice(t, server)
	tab := newTablet(t, log, office)
	say(t, log, "one", "two", "arsenic", "three", "four", "lead", "five")
	write(t, log, "oak", 3)
	server.before = refusing("arsenic", "lead")
	r := tab.exchange(t)
	if len(r.Refused) != 2 || r.Refused[0].Seq != 3 || r.Refused[1].Seq != 6 || !r.Refused[0].Kept || r.Unsent != 0 || r.Sent != 8 {
		t.Errorf("report %+v", r)
	}
	if len(office.aside) != 2 || !bytes.Contains(office.aside[0].Raw, []byte("arsenic")) || len(office.told(SetAside)) != 2 {
		t.Errorf("set aside: %v", office.aside)
	}
	same(t, "oak", log, server)
	if n := len(raws(t, server, job)); n != 2 {
		t.Errorf("%d entries on the line, want those before", n)
	}
	// What comes later goes once, and once only.
	say(t, log, "six")
	for _, sent := range []int{1, 0, 0} {
		if r = tab.exchange(t); r.Sent != sent || r.Unsent != 0 || len(r.Refused) != 2 {
			t.Errorf("report %+v, want %d sent", r, sent)
		}
	}
	if n := len(office.aside); n != 2 {
		t.Errorf("%d set aside", n)
	}
	// A server that has learned to keep it puts all in its place.
	server.before, office.Build = nil, "s2"
	for range 2 {
		r = tab.exchange(t)
	}
	if len(r.Refused) != 0 || r.Unsent != 0 {
		t.Errorf("report %+v", r)
	}
	same(t, job, log, server)
}

// The same by time, without another program; and the poison is last of all.
func TestPoisonTriedAgain(t *testing.T) {
	log, server := store.NewMemory(), &faulty{Log: store.NewMemory()}
	office := newOffice(t, server)
	tab := newTablet(t, log, office)
	say(t, log, "one", "arsenic")
	server.before = refusing("arsenic")
	if r := tab.exchange(t); len(r.Refused) != 1 || r.Unsent != 0 {
		t.Errorf("report %+v", r)
	}
	server.before = nil
	if tab.exchange(t); len(raws(t, server, job)) != 1 {
		t.Error("it was tried again at once")
	}
	tab.time.pass(asideAgain)
	if r := tab.exchange(t); len(r.Refused) != 0 || r.Unsent != 0 {
		t.Errorf("report %+v", r)
	}
	same(t, job, log, server)
}

// Something on the way, or the server itself, breaks on an entry.
func TestPoisonOnTheWay(t *testing.T) {
	for name, breaks := range map[string]func() ([]byte, error){
		"link":   func() ([]byte, error) { return nil, errCut },
		"server": nil,
	} {
		t.Run(name, func(t *testing.T) {
			log, server := store.NewMemory(), store.NewMemory()
			office := newOffice(t, server)
			tab := newTablet(t, log, office)
			write(t, log, job, 3)
			tab.exchange(t)
			write(t, log, job, 100)
			say(t, log, "arsenic")
			poisoned := write(t, log, job, 60)[0].Seq - 1
			on := true
			holds := func(body []byte) (found bool) {
				read(bytes.NewReader(body), callLimits, handler{
					hello: func(hello) error { return nil },
					entries: func(_ string, raws [][]byte) error {
						found = found || slices.ContainsFunc(raws, func(raw []byte) bool { return bytes.Contains(raw, []byte("arsenic")) })
						return nil
					},
				})
				return found && on
			}
			if breaks != nil {
				tab.wire.call = func(body []byte) ([]byte, error) {
					if holds(body) {
						return breaks()
					}
					return body, nil
				}
			} else {
				tab.wire.to = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
					body, _ := io.ReadAll(r.Body)
					if holds(body) {
						http.Error(w, "<h1>500</h1>", http.StatusInternalServerError)
						return
					}
					r.Body = io.NopCloser(bytes.NewReader(body))
					office.ServeHTTP(w, r)
				})
			}
			var r Report
			tries := 0
			for err := errors.New(""); err != nil; tries++ {
				write(t, log, job, 1)
				if r, err = tab.Exchange(t.Context()); tries > 20 {
					t.Fatalf("still %v, %+v", err, r)
				}
			}
			t.Logf("%d exchanges until the others were through", tries)
			if len(r.Refused) != 1 || r.Refused[0].Seq != poisoned || r.Refused[0].Kept || r.Unsent != 1 {
				t.Fatalf("report %+v", r)
			}
			if n := must[daylog.Heads](t)(server.Heads(t.Context(), job))[log.Device()].Seq; n != poisoned-1 {
				t.Errorf("the server's line ends at %d, want %d", n, poisoned-1)
			}
			tab.exchange(t)
			tab.exchange(t)
			if told := office.told(SetAside); len(told) != 1 || told[0].Entry.Seq != poisoned {
				t.Errorf("the office was told %v", told)
			}
			on = false
			tab.time.pass(undeliveredAgain)
			if r = tab.exchange(t); r.Unsent != 0 || len(r.Refused) > 0 {
				t.Errorf("report %+v", r)
			}
			same(t, job, log, server)
		})
	}
}

// An entry that is unlucky once is not poison.
func TestLossIsNotPoison(t *testing.T) {
	log, server := store.NewMemory(), store.NewMemory()
	office := newOffice(t, server)
	tab := newTablet(t, log, office)
	write(t, log, job, 1)
	tab.exchange(t)
	write(t, log, job, 1)
	unlucky := true
	tab.wire.to = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if unlucky {
			unlucky = false
			w.WriteHeader(http.StatusInternalServerError)
			return
		}
		office.ServeHTTP(w, r)
	})
	tab.Log = &growing{log, func() { write(t, log, job, 3) }}
	r, err := tab.Exchange(t.Context())
	if err == nil || r.Sent != 3 || r.Unsent != 1 || len(r.Refused) > 0 {
		t.Errorf("%v, report %+v", err, r)
	}
	tab.Log = log
	if r = tab.exchange(t); r.Unsent != 0 {
		t.Errorf("report %+v", r)
	}
	same(t, job, log, server)
}

// growing is a log that is written on once while it is exchanged.
type growing struct {
	store.Log
	write func()
}

func (g *growing) Heads(ctx context.Context, job string) (daylog.Heads, error) {
	heads, err := g.Log.Heads(ctx, job)
	if g.write != nil {
		g.write()
		g.write = nil
	}
	return heads, err
}

// An entry of the server that the tablet cannot take.
func TestPoisonAtTheTablet(t *testing.T) {
	log, server := &faulty{Log: store.NewMemory()}, store.NewMemory()
	office := newOffice(t, server)
	tab := newTablet(t, log, office)
	say(t, server, "one", "arsenic", "two")
	write(t, store.Log(server), job, 1)
	write(t, log, job, 2)
	log.before = refusing("arsenic")
	r := tab.exchange(t)
	if len(r.Refused) != 1 || r.Refused[0].Seq != 2 || !r.Refused[0].Kept || r.Sent != 2 {
		t.Errorf("report %+v", r)
	}
	if raw := must[[]byte](t)(tab.Aside(t.Context(), r.Refused[0].Hash)); !bytes.Contains(raw, []byte("arsenic")) {
		t.Errorf("its bytes are %q", raw)
	}
	write(t, server, job, 1)
	if r = tab.exchange(t); r.Received != 1 || len(r.Refused) != 1 {
		t.Errorf("report %+v", r)
	}
	if r = tab.exchange(t); r.Received != 0 {
		t.Errorf("sent again: %+v", r)
	}
	if told := office.told(SetAside); len(told) != 1 || told[0].Entry.Seq != 2 {
		t.Errorf("the office was told %v", told)
	}
	log.before, tab.Build = nil, "c2"
	if r = tab.exchange(t); len(r.Refused) != 0 {
		t.Errorf("report %+v", r)
	}
	same(t, job, log, server)
}

// An entry is aside on a stream that a fork gives another name, or not.
func TestPoisonRenamed(t *testing.T) {
	for i := range 6 {
		log, server := newNamed("tablet"), &faulty{Log: store.NewMemory()}
		office := newOffice(t, server)
		tab := newTablet(t, log, office)
		write(t, log, job, 3)
		tab.exchange(t)
		two := copyOf(t, log, "tablet", job)
		say(t, log, "one", "arsenic", "two")
		server.before = refusing("arsenic")
		tab.exchange(t)
		say(t, two, fmt.Sprint("other", i))
		newTablet(t, two, office).exchange(t)
		tab.exchange(t)
		server.before, office.Build = nil, "s2"
		for range 2 {
			if r := tab.exchange(t); r.Unsent != 0 || len(r.Refused) != 0 {
				t.Errorf("report %+v", r)
			}
		}
		same(t, job, log, server)
	}
}

// What is remembered of an entry that is nowhere now holds nothing up.
func TestPoisonGone(t *testing.T) {
	log := store.NewMemory()
	tab := newTablet(t, log, newOffice(t, store.NewMemory()))
	write(t, log, job, 3)
	tab.exchange(t)
	k := must[known](t)(tab.recall(t.Context()))
	j := k.Jobs[job]
	j.Aside = []aside{{Refused: Refused{Job: job, Seq: 9}, Stream: log.Device(), Tries: 1}, {Refused: Refused{Job: job, Seq: 9}, Stream: "gone", Tries: 1}}
	k.Jobs[job] = j
	if err := tab.remember(t.Context(), k); err != nil {
		t.Fatal(err)
	}
	if r := tab.exchange(t); len(r.Refused) > 0 || r.Unsent > 0 {
		t.Errorf("report %+v", r)
	}
}

// A panic over an entry is as good as an error.
func TestPanicOverAnEntry(t *testing.T) {
	log, server := store.NewMemory(), &faulty{Log: store.NewMemory()}
	office := newOffice(t, server)
	tab := newTablet(t, log, office)
	say(t, log, "one", "arsenic", "two")
	server.before = func(raws [][]byte) error {
		if refusing("arsenic")(raws) != nil {
			panic("index out of range")
		}
		return nil
	}
	if r := tab.exchange(t); len(r.Refused) != 1 || !strings.Contains(r.Refused[0].Why, "index out of range") {
		t.Errorf("report %+v", r)
	}
}

func TestRestoredServer(t *testing.T) {
	one, two, three := store.NewMemory(), store.NewMemory(), store.NewMemory()
	server := newNamed("office")
	office := newOffice(t, server)
	a, b, c := newTablet(t, one, office), newTablet(t, two, office), newTablet(t, three, office)
	write(t, server, job, 20)
	write(t, one, job, 30)
	a.exchange(t)
	backup := copyOf(t, server, "office", job)
	write(t, one, job, 250)
	write(t, two, job, 10)
	write(t, three, job, 5)
	write(t, server, job, 7)
	for range 2 {
		for _, tab := range []*tablet{a, b, c} {
			tab.exchange(t)
		}
	}
	same(t, job, server, one, two, three)

	// The backup comes back under a new id. Only the second tablet is there.
	office.Log = copyOf(t, backup, "office2", job)
	write(t, office.Log, job, 2)
	r := b.exchange(t)
	if r.Sent != 272 || r.Received != 2 {
		t.Errorf("report %+v", r)
	}
	same(t, job, office.Log, two)
	write(t, one, job, 1)
	for _, tab := range []*tablet{a, c, b} {
		tab.exchange(t)
	}
	same(t, job, office.Log, one, two, three)

	// And under its old one, as after a disk was put back: it is told.
	office.Log = copyOf(t, backup, "office", job)
	if a.exchange(t); len(office.told(RolledBack)) == 0 {
		t.Error("the server did not notice that others hold more of its own stream")
	}
	same(t, job, office.Log, one, two, three)
}

func TestTabletPutBack(t *testing.T) {
	server, log := store.NewMemory(), newNamed("tablet")
	office := newOffice(t, server)
	tab := newTablet(t, log, office)
	write(t, log, job, 30)
	backup := copyOf(t, log, "tablet", job)
	write(t, log, job, 10)
	tab.exchange(t)
	tab = newTablet(t, backup, office)
	if r := tab.exchange(t); !r.RolledBack || r.Received != 10 {
		t.Errorf("report %+v", r)
	}
	same(t, job, server, backup)
}

// Two storages under one id: both lines get everywhere, and not from the
// beginning.
func TestForks(t *testing.T) {
	for _, more := range [][2]int{{1, 1}, {300, 300}, {5, 300}, {300, 5}, {0, 70}, {1000, 3}} {
		t.Run(fmt.Sprint(more), func(t *testing.T) {
			server := store.NewMemory()
			office := newOffice(t, server)
			one := newNamed("tablet")
			write(t, one, job, 1500)
			a := newTablet(t, one, office)
			a.exchange(t)
			two, third := copyOf(t, one, "tablet", job), copyOf(t, one, "third", job)
			b, c := newTablet(t, two, office), newTablet(t, third, office)
			write(t, one, job, more[0])
			write(t, two, job, more[1])
			a.exchange(t)
			b.wire.up, b.wire.down = 0, 0
			r := b.exchange(t)
			t.Logf("%d calls, %d sent, %d received, %d bytes up, %d down", r.Calls, r.Sent, r.Received, b.wire.up, b.wire.down)
			if r.Sent > more[1]+overlap || r.Received > more[0]+overlap || r.Unsent != 0 {
				t.Errorf("report %+v", r)
			}
			same(t, job, server, two)
			forked := more[0] > 0 && more[1] > 0
			if told := office.told(Forked); forked && len(told) != 1 || !forked && len(told) != 0 {
				t.Errorf("the office was told %v", told)
			}
			for _, tab := range []*tablet{a, c, b} {
				tab.exchange(t)
			}
			same(t, job, server, one, two, third)
			// Both go on, under new ids.
			write(t, one, job, 3)
			write(t, two, job, 3)
			for _, tab := range []*tablet{a, b, c, a, b} {
				if r := tab.exchange(t); r.Unsent != 0 {
					t.Errorf("report %+v", r)
				}
			}
			same(t, job, server, one, two, third)
			if r := a.exchange(t); r.Calls != 1 || r.Sent+r.Received > 0 {
				t.Errorf("nothing new: %+v", r)
			}
		})
	}
}

// Lines in doubt get on however little goes at once, whichever of them keeps
// the name.
func TestForksInSmallParts(t *testing.T) {
	noise := rand.New(rand.NewPCG(5, 6))
	long := func() string {
		text := make([]byte, 30_000)
		for i := range text {
			text[i] = "0123456789abcdef"[noise.IntN(16)]
		}
		return string(text)
	}
	common := newNamed("tablet")
	write(t, common, job, overlap)
	// 20 entries between the last point of the trail and the fork, of which
	// some four fit into a call.
	for range 20 {
		say(t, common, long())
	}
	firsts := map[bool]int{}
	for len(firsts) < 2 {
		server, one, two := newNamed("office"), copyOf(t, common, "tablet", job), copyOf(t, common, "tablet", job)
		office := newOffice(t, server)
		for range 50 {
			say(t, one, long())
		}
		newTablet(t, one, office).exchange(t)
		say(t, two, long(), "b", "c", "d")
		r := newTablet(t, two, office).exchange(t)
		same(t, job, server, two)
		if t.Failed() {
			t.Fatalf("report %+v", r)
		}
		heads := must[daylog.Heads](t)(server.Heads(t.Context(), job))
		firsts[heads["tablet"].Seq == overlap+24]++
	}
}

// Answers get on, however little of one fits into an answer.
func TestForksInSmallAnswers(t *testing.T) {
	server, one := newNamed("office"), newNamed("tablet")
	write(t, one, job, overlap+62)
	office := newOffice(t, server)
	newTablet(t, one, office).exchange(t)
	two := copyOf(t, one, "tablet", job)
	write(t, one, job, 120)
	newTablet(t, one, office).exchange(t)
	write(t, two, job, 3)
	b := newTablet(t, two, office)
	if err := b.Memory.Put(t.Context(), memoryKey, []byte(`{"room":1}`)); err != nil {
		t.Fatal(err)
	}
	b.exchange(t)
	same(t, job, server, two)
}

// A server that takes the call and then says nothing.
func TestSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		server := store.NewMemory()
		write(t, server, job, 1000)
		office := newOffice(t, server)
		log := store.NewMemory()
		tab := newTablet(t, log, office)
		do := tab.Do
		tab.Do = func(r *http.Request) (*http.Response, error) {
			<-r.Context().Done()
			return nil, r.Context().Err()
		}
		began := time.Now()
		if _, err := tab.Take(t.Context(), job, nil); !errors.Is(err, ErrSilence) || time.Since(began) != 15*time.Second {
			t.Errorf("%v after %v", err, time.Since(began))
		}
		// An answer that takes its time to begin, and then to go on.
		tab.Do = func(r *http.Request) (*http.Response, error) {
			time.Sleep(10 * time.Second)
			response, err := do(r)
			if err == nil {
				first := make([]byte, 10_000) // past the first line, within the first entries
				n, _ := io.ReadFull(response.Body, first)
				response.Body = io.NopCloser(io.MultiReader(bytes.NewReader(first[:200]), &pause{10 * time.Second, r.Context()}, bytes.NewReader(first[200:n]), response.Body))
			}
			return response, err
		}
		if r, err := newTaker(tab).Take(t.Context(), job, nil); err != nil || r.Received != 1000 {
			t.Errorf("%v, %+v", err, r)
		}
		// A slow answer is let come as long as it comes.
		tab.Do = func(r *http.Request) (*http.Response, error) {
			response, err := do(r)
			if err == nil {
				response.Body = io.NopCloser(&slow{response.Body, r.Context()})
			}
			return response, err
		}
		began = time.Now()
		r, err := tab.Take(t.Context(), job, nil)
		if err != nil || r.Received != 1000 || time.Since(began) < 15*time.Second {
			t.Errorf("%v, %+v after %v", err, r, time.Since(began))
		}
		// Silence in the middle of it.
		write(t, server, job, 1000)
		tab.Do = func(r *http.Request) (*http.Response, error) {
			response, err := do(r)
			if err == nil {
				response.Body = io.NopCloser(io.MultiReader(io.LimitReader(response.Body, 20_000), mute{r.Context()}))
			}
			return response, err
		}
		began = time.Now()
		r, err = tab.Exchange(t.Context())
		if !errors.Is(err, ErrSilence) || r.Received == 0 || time.Since(began) > 31*time.Second {
			t.Errorf("%v, %+v after %v", err, r, time.Since(began))
		}
		// The host loses its patience.
		ctx, cancel := context.WithTimeout(t.Context(), 3*time.Second)
		defer cancel()
		began = time.Now()
		tab.Do = func(r *http.Request) (*http.Response, error) {
			<-r.Context().Done()
			return nil, r.Context().Err()
		}
		if _, err := tab.Exchange(ctx); !errors.Is(err, context.DeadlineExceeded) || time.Since(began) != 3*time.Second {
			t.Errorf("%v after %v", err, time.Since(began))
		}
	})
}

// On a link so slow that a whole answer would not come in time, and through a
// host that only hands on whole answers, less is asked for.
func TestSlowLink(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		server, log := store.NewMemory(), store.NewMemory()
		for range 40 {
			write(t, server, job, 300)
		}
		tab := newTablet(t, log, newOffice(t, server))
		do := tab.Do
		tab.Do = func(r *http.Request) (*http.Response, error) {
			response, err := do(r)
			if err != nil {
				return nil, err
			}
			body, err := io.ReadAll(&slow{response.Body, r.Context()}) // 1,000 bytes a second
			response.Body = io.NopCloser(bytes.NewReader(body))
			return response, err
		}
		var r Report
		tries := 0
		for err := ErrNoAnswer; err != nil; tries++ {
			if r, err = tab.Take(t.Context(), job, nil); tries > 200 {
				t.Fatalf("still %v, %+v, %d entries", err, r, len(raws(t, log, job)))
			}
		}
		t.Logf("%d tries", tries)
		same(t, job, server, log)
	})
}

// newTaker is a tablet with an empty log on the same wire.
func newTaker(tab *tablet) *Client {
	return &Client{Log: store.NewMemory(), Do: tab.Do, URL: tab.URL, Now: tab.Now, Memory: new(notes)}
}

// pause is a part of a body that has nothing in it and takes its time.
type pause struct {
	time.Duration
	ctx context.Context
}

func (p *pause) Read([]byte) (int, error) {
	select {
	case <-time.After(p.Duration):
		return 0, io.EOF
	case <-p.ctx.Done():
		return 0, p.ctx.Err()
	}
}

// slow is a body that takes a second for every 1,000 bytes.
type slow struct {
	io.Reader
	ctx context.Context
}

func (s *slow) Read(b []byte) (int, error) {
	select {
	case <-time.After(time.Second):
	case <-s.ctx.Done():
		return 0, s.ctx.Err()
	}
	return s.Reader.Read(b[:min(len(b), 1000)])
}

// mute is the rest of a body that does not come.
type mute struct{ ctx context.Context }

func (m mute) Read([]byte) (int, error) {
	<-m.ctx.Done()
	return 0, m.ctx.Err()
}
