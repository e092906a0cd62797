package exchange

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// zipped is a message written by hand; SUM stands for the sum so far.
func zipped(t testing.TB, lines ...string) []byte {
	t.Helper()
	var text, out bytes.Buffer
	for _, line := range lines {
		if strings.Contains(line, "SUM") {
			sum := daylog.Hash(text.Bytes())
			line = strings.ReplaceAll(line, "SUM", short(sum[:]))
		}
		text.WriteString(line + "\n")
	}
	zip := gzip.NewWriter(&out)
	zip.Write(text.Bytes())
	if err := zip.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// post hands a body to a handler.
func post(h http.Handler, body []byte) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, "/exchange", bytes.NewReader(body))
	r.Header.Set("Content-Type", ContentType)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// line is a stream of a device of its own, written by hand.
type line struct {
	job, device string
	reach       daylog.Reach
}

func (l *line) next(t testing.TB, text string) string {
	t.Helper()
	if l.reach.Seq == 0 {
		l.reach.Head = daylog.ChainStart(l.job, l.device)
	}
	e := draft(fmt.Sprint(l.device, l.reach.Seq), day1, text)
	e.Job, e.Device, e.Seq, e.Tick, e.Prev = l.job, l.device, l.reach.Seq+1, l.reach.Seq+1, l.reach.Head.Prev()
	raw := must[[]byte](t)(daylog.Encode(&e))
	l.reach = daylog.Reach{Seq: e.Seq, Head: l.reach.Head.Next(raw)}
	return string(raw)
}

const opening = `{"device":"tablet","now":1791288000123,"jobs":["elm"]}`

// What is no call is turned away with a reason, and changes nothing.
func TestTurnedAway(t *testing.T) {
	one := (&line{job: job, device: "tablet"}).next(t, "one")
	whole := zipped(t, opening, `["job","elm"]`, one, `["end",{"count":1,"sum":"SUM"}]`)
	bomb := func(line string) []byte {
		var out bytes.Buffer
		zip, _ := gzip.NewWriterLevel(&out, gzip.BestCompression)
		io.WriteString(zip, opening+"\n[\"job\",\"elm\"]\n")
		for range 16 {
			io.WriteString(zip, line)
		}
		zip.Close()
		return out.Bytes()
	}
	many := []string{opening, `["job","elm"]`}
	for l := (line{job: job, device: "tablet"}); len(many) < PushEntries+3; {
		many = append(many, l.next(t, "x"))
	}
	many = append(many, `["end",{"count":201,"sum":"SUM"}]`)
	var stored bytes.Buffer
	zip, _ := gzip.NewWriterLevel(&stored, gzip.NoCompression)
	io.WriteString(zip, opening+"\n[\"job\",\"elm\"]\n"+strings.Repeat(strings.Repeat("x", 1<<20)+"\n", 9))
	zip.Close()

	for _, test := range []struct {
		name   string
		body   []byte
		status int
		says   string
	}{
		{"nothing", nil, 400, "not a whole message"},
		{"no gzip", []byte(opening), 400, "not a whole message"},
		{"no text", zipped(t, "\x00\xff"), 400, "not a whole message"},
		{"empty gzip", zipped(t), 400, "not a whole message"},
		{"no end", zipped(t, opening, `["job","elm"]`, one), 400, "not a whole message"},
		{"cut", whole[:len(whole)-9], 400, "not a whole message"},
		{"followed by something", append(bytes.Clone(whole), 'x'), 400, "follows it"},
		{"twice", append(bytes.Clone(whole), whole...), 400, "follows it"},
		{"end in the middle", zipped(t, opening, `["end",{}]`, `["end",{}]`), 400, "follows its end"},
		{"wrong count", zipped(t, opening, `["job","elm"]`, one, `["end",{"count":2,"sum":"SUM"}]`), 400, "changed on the way"},
		{"no sum", zipped(t, opening, `["job","elm"]`, one, `["end",{"count":1}]`), 400, "changed on the way"},
		{"wrong sum", zipped(t, opening, `["job","elm"]`, one, `["end",{"count":1,"sum":"AAAAAAAAAAAAAAAAAAAAAA"}]`), 400, "changed on the way"},
		{"wrong check", zipped(t, opening, `["job","elm"]`, one, `["so far",1,"no"]`, `["end",{"count":1,"sum":"SUM"}]`), 400, "changed on the way"},
		{"entry without a job", zipped(t, opening, one, `["end",{"count":1,"sum":"SUM"}]`), 400, "before its job"},
		{"a job not named", zipped(t, opening, `["job","oak"]`, one, `["end",{"count":1,"sum":"SUM"}]`), 400, "which the call is not about"},
		{"no device", zipped(t, `{"now":1,"jobs":["elm"]}`, `["end",{}]`), 400, "from which device"},
		{"a branch as device", zipped(t, `{"device":"a~b","jobs":["elm"]}`, `["end",{}]`), 400, "from which device"},
		{"odd line", zipped(t, opening, `[]`, `["end",{}]`), 400, "says nothing"},
		{"odd heads", zipped(t, opening, `["end",{"heads":{"elm":{"a":{"seq":1,"head":"short"}}}}]`), 400, "not a chain head"},
		{"too many jobs", zipped(t, `{"device":"tablet","jobs":["`+strings.Repeat(`a","`, JobsAtOnce)+`b"]}`, `["end",{}]`), 413, "jobs in one call"},
		{"too many entries", zipped(t, many...), 413, "more than 200 entries"},
		{"one endless line", bomb(strings.Repeat(" ", 1<<20)), 413, "larger than a message may be"},
		{"many long lines", bomb(strings.Repeat(" ", 1<<20) + "\n"), 413, "larger than a message may be"},
		{"many lines about jobs", bomb(strings.Repeat("[\"job\",\"elm\"]\n", 50_000)), 413, "larger than a message may be"},
		{"long body", stored.Bytes(), 413, "larger than a message may be"},
	} {
		t.Run(test.name, func(t *testing.T) {
			log := store.NewMemory()
			office := newOffice(t, log)
			office.Server.Aside = nil
			w := post(office, test.body)
			if w.Code != test.status || !strings.Contains(w.Body.String(), test.says) || w.Header().Get(refusalHeader) == "" {
				t.Errorf("%d %s, want %d and %q", w.Code, w.Body, test.status, test.says)
			}
			if jobs := must[[]string](t)(log.Jobs(t.Context())); len(jobs) > 0 || len(office.heard) > 0 {
				t.Errorf("it was let in: jobs %q, heard %v", jobs, office.heard)
			}
		})
	}
	if w := post(newOffice(t, store.NewMemory()), whole); w.Code != http.StatusOK {
		t.Errorf("what all these were made from: %d %s", w.Code, w.Body)
	}
}

func TestMethodAndType(t *testing.T) {
	office := newOffice(t, store.NewMemory())
	w := httptest.NewRecorder()
	office.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/exchange", nil))
	if w.Code != http.StatusMethodNotAllowed {
		t.Errorf("GET: %d", w.Code)
	}
	w = httptest.NewRecorder()
	r := httptest.NewRequest(http.MethodPost, "/exchange", strings.NewReader("a=b"))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	office.ServeHTTP(w, r)
	if w.Code != http.StatusUnsupportedMediaType {
		t.Errorf("a form: %d", w.Code)
	}
}

// Entries of another job, and what is no entry, do not get into a job; those
// beside them do.
func TestWrongEntries(t *testing.T) {
	log := store.NewMemory()
	office := newOffice(t, log)
	good, other := &line{job: job, device: "tablet"}, &line{job: "oak", device: "tablet"}
	w := post(office, zipped(t, opening, `["job","elm"]`, good.next(t, "one"), other.next(t, "of oak"), `{"what":"is this"}`, "plain text", good.next(t, "two"),
		`["a word of a newer version",1]`, `["end",{"count":5,"sum":"SUM","heads":{"elm":{}}}]`))
	if w.Code != http.StatusOK {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	_, end, err := read(w.Body, answerLimits, handler{hello: func(hello) error { return nil }, entries: func(string, [][]byte) error { return nil }})
	if err != nil || len(end.Refused) != 3 || len(office.aside) != 3 {
		t.Errorf("%v, refused %v", err, end.Refused)
	}
	if jobs := must[[]string](t)(log.Jobs(t.Context())); len(jobs) != 1 || len(raws(t, log, job)) != 2 {
		t.Errorf("jobs %q, %d entries of elm", jobs, len(raws(t, log, job)))
	}
	// Nor if there is nothing else.
	w = post(office, zipped(t, opening, `["job","elm"]`, other.next(t, "of oak"), "plain text", `["end",{"count":2,"sum":"SUM","heads":{"elm":{}}}]`))
	if w.Code != http.StatusOK || len(office.aside) != 5 {
		t.Errorf("%d %s, %d aside", w.Code, w.Body, len(office.aside))
	}
}

func TestAdmission(t *testing.T) {
	server, log := store.NewMemory(), newNamed("mine")
	office := newOffice(t, server)
	write(t, server, "secret", 3)
	office.Admit = func(r *http.Request) (Caller, error) {
		if r.Header.Get("Authorization") != "Bearer key of mine" {
			return Caller{}, errors.New("the tablet is not known here")
		}
		return Caller{
			Name: "Tablet 1",
			Device: func(id string) error {
				if id != "mine" {
					return errors.New("the key belongs to another tablet")
				}
				return nil
			},
			Job: func(id string) error {
				if id != job {
					return errors.New("the job is closed")
				}
				return nil
			},
		}, nil
	}
	tab := newTablet(t, log, office)
	write(t, log, job, 3)
	write(t, log, "secret", 2)
	var no *Refusal
	r, err := tab.Exchange(t.Context())
	if !errors.As(err, &no) || no.Status != http.StatusUnauthorized || no.Reason != "the tablet is not known here" || r.Unsent != 5 || r.Calls != 1 {
		t.Errorf("without the key: %v, %+v", err, r)
	}
	tab.Key = "key of mine"
	for range 2 {
		r = tab.exchange(t)
		if r.Unsent != 2 || r.Shut["secret"] != "the job is closed" || r.Received != 0 {
			t.Errorf("report %+v", r)
		}
	}
	same(t, job, log, server)
	if n := len(raws(t, server, "secret")); n != 3 {
		t.Errorf("%d entries of a job that was not its to write", n)
	}
	log.name = "other"
	if _, err = tab.Exchange(t.Context()); !errors.As(err, &no) || no.Status != http.StatusForbidden {
		t.Errorf("as another device: %v", err)
	}
	log.name = "mine"
	// A job that is closed while entries are on their way.
	write(t, log, job, 3)
	admit := office.Admit
	office.Admit = func(r *http.Request) (Caller, error) {
		by, err := admit(r)
		by.Job = func(string) error { return errors.New("closed") }
		return by, err
	}
	if r = tab.exchange(t); r.Sent != 0 || r.Unsent != 5 || r.Shut[job] != "closed" {
		t.Errorf("report %+v", r)
	}
	// All are opened.
	office.Admit = nil
	for range 2 {
		r = tab.exchange(t)
	}
	if r.Unsent != 0 || len(r.Shut) != 0 {
		t.Errorf("report %+v", r)
	}
	same(t, "secret", log, server)
	if h := office.heard[len(office.heard)-1]; h.Device != "mine" || h.Build != "c1" || h.Unsent != 0 || h.Clock.Abs() > time.Hour {
		t.Errorf("heard %+v", h)
	}
}

// A tablet that is no longer trusted: what it sends waits for someone, and it
// gets nothing.
func TestParked(t *testing.T) {
	server, log := store.NewMemory(), store.NewMemory()
	office := newOffice(t, server)
	write(t, server, job, 5)
	tab := newTablet(t, log, office)
	write(t, log, job, 10)
	tab.exchange(t)
	write(t, server, job, 5)
	write(t, log, job, 250)
	parked := true
	office.Admit = func(*http.Request) (Caller, error) { return Caller{Name: "Tablet 1", Parked: parked}, nil }
	r := tab.exchange(t)
	if r.Sent != 250 || r.Received != 0 || !r.Parked || r.Unsent != 0 || len(office.parked) != 250 || len(office.told(PutBy)) == 0 {
		t.Errorf("report %+v, %d parked", r, len(office.parked))
	}
	if n := len(raws(t, server, job)); n != 20 {
		t.Errorf("%d entries in the log", n)
	}
	write(t, log, job, 2)
	for _, sent := range []int{2, 0} {
		if r = tab.exchange(t); r.Sent != sent || r.Calls != 1 {
			t.Errorf("report %+v", r)
		}
	}
	// They are released, and the tablet is trusted again.
	must[[]string](t)(server.Receive(t.Context(), job, office.parked...))
	parked = false
	if r = tab.exchange(t); r.Received != 5 || r.Sent != 0 || r.Parked {
		t.Errorf("report %+v", r)
	}
	same(t, job, log, server)

	// What cannot be parked is not acknowledged.
	parked = true
	write(t, log, job, 1)
	office.Server.Park = func(context.Context, Caller, string, string, [][]byte) error { return errors.New("disk gone") }
	if r, err := tab.Exchange(t.Context()); err == nil || r.Unsent != 1 {
		t.Errorf("%v, %+v", err, r)
	}
}

// Copies that hold the same entries and make different things of them.
func TestFoldsDiffer(t *testing.T) {
	server, log := store.NewMemory(), store.NewMemory()
	office := newOffice(t, server)
	tab := newTablet(t, log, office)
	office.Fold, tab.Fold = FoldOf(server, nil), FoldOf(log, nil)
	must[[]daylog.Entry](t)(log.Write(t.Context(), job, workedDay(t, 100)...))
	for range 2 {
		if r := tab.exchange(t); r.FoldsDiffer {
			t.Error("equal folds differ")
		}
	}
	compared := 0
	wrong := func(context.Context, string) (daylog.Head, error) {
		compared++
		return daylog.Head{1}, nil
	}
	office.Fold = wrong
	tab.time.pass(foldsEvery)
	write(t, log, job, 1)
	tab.exchange(t)
	for range 3 {
		if r := tab.exchange(t); !r.FoldsDiffer {
			t.Error("different folds are the same")
		}
	}
	if told := office.told(FoldsDiffer); len(told) != 1 || compared != 1 {
		t.Errorf("the office was told %v, folds compared %d times", told, compared)
	}
	office.Fold = FoldOf(server, nil)
	tab.time.pass(foldsEvery)
	write(t, log, job, 1)
	tab.exchange(t)
	if r := tab.exchange(t); r.FoldsDiffer {
		t.Error("equal folds still differ")
	}
	// What is written while folds are made explains a difference.
	tab.time.pass(foldsEvery)
	tab.Fold = func(ctx context.Context, id string) (daylog.Head, error) {
		must[[]daylog.Entry](t)(log.Write(ctx, id, draft("meanwhile", day1, "")))
		return FoldOf(log, nil)(ctx, id)
	}
	if r := tab.exchange(t); r.FoldsDiffer {
		t.Error("folds of different entries were compared")
	}
	// A fold that fails holds nothing up.
	tab.Fold = func(context.Context, string) (daylog.Head, error) { return daylog.Head{}, errors.New("no room") }
	tab.time.pass(foldsEvery)
	write(t, log, job, 1)
	tab.exchange(t)
	tab.exchange(t)
	tab.Fold = FoldOf(log, nil)
	office.Fold = func(context.Context, string) (daylog.Head, error) { return daylog.Head{}, errors.New("no room") }
	tab.exchange(t)
	same(t, job, log, server)
}

// An answer that brings what was not asked for, or says too little, is none.
func TestAnswersThatAreNone(t *testing.T) {
	foreign := (&line{job: "oak", device: "other"}).next(t, "one")
	huge := (&line{job: job, device: "other"}).next(t, strings.Repeat("x", EntryBytes))
	for name, body := range map[string][]byte{
		"entries of another job": zipped(t, `{"device":"office"}`, `["job","oak"]`, foreign, `["end",{"count":1,"sum":"SUM","heads":{"elm":{}}}]`),
		"an entry too long":      zipped(t, `{"device":"office"}`, `["job","elm"]`, huge, `["end",{"count":1,"sum":"SUM","heads":{"elm":{}}}]`),
		"no heads":               zipped(t, `{"device":"office"}`, `["end",{}]`),
		"another digest":         zipped(t, `{"device":"office","digest":"AAAAAAAAAAAAAAAAAAAAAA"}`, `["end",{}]`),
	} {
		t.Run(name, func(t *testing.T) {
			log := store.NewMemory()
			office := newOffice(t, store.NewMemory())
			tab := newTablet(t, log, office)
			write(t, log, job, 2)
			tab.exchange(t)
			tab.wire.answer = func(*http.Response, []byte) ([]byte, error) { return body, nil }
			write(t, log, job, 2)
			r, err := tab.Exchange(t.Context())
			if !errors.Is(err, ErrNoAnswer) || r.Unsent != 2 || r.Received != 0 {
				t.Errorf("%v, %+v", err, r)
			}
			if jobs := must[[]string](t)(log.Jobs(t.Context())); len(jobs) != 1 {
				t.Errorf("jobs %q", jobs)
			}
		})
	}
}

// A server that takes entries and shows them nowhere is not asked for ever.
func TestApart(t *testing.T) {
	log := store.NewMemory()
	tab := newTablet(t, log, newOffice(t, &forgetful{store.NewMemory()}))
	write(t, log, job, 2)
	r, err := tab.Exchange(t.Context())
	if !errors.Is(err, ErrApart) || r.Calls > 4 || r.Unsent != 2 {
		t.Errorf("%v, %+v", err, r)
	}
}

type forgetful struct{ store.Log }

func (f *forgetful) Receive(context.Context, string, ...[]byte) ([]string, error) { return nil, nil }

// Whatever differs in heads, their digests differ.
func TestDigest(t *testing.T) {
	one, two := daylog.Head{1}, daylog.Head{2}
	seen := map[string]int{}
	for i, heads := range []map[string]daylog.Heads{
		{},
		{"a": {}},
		{"a": {}, "b": {}},
		{"a": {"s": {Seq: 1, Head: one}}},
		{"a": {"s": {Seq: 2, Head: one}}},
		{"a": {"s": {Seq: 1, Head: two}}},
		{"a": {"t": {Seq: 1, Head: one}}},
		{"b": {"s": {Seq: 1, Head: one}}},
		{"a": {"s": {Seq: 1, Head: one}}, "b": {}},
		{"a": {"s": {Seq: 1, Head: one}, "t": {Seq: 1, Head: one}}},
		{"a": {"s": {Seq: 1, Head: one}}, "b": {"t": {Seq: 1, Head: one}}},
	} {
		d := digest(heads)
		if j, ok := seen[d]; ok || len(d) != 22 {
			t.Errorf("%d and %d have the digest %s", i, j, d)
		}
		seen[d] = i
	}
}

func TestSkew(t *testing.T) {
	for _, test := range []struct {
		off, slow time.Duration
		want      int
	}{
		{0, 0, 0},
		{900 * time.Millisecond, 0, 0},
		{5 * time.Hour, 0, 18000},
		{-90 * time.Second, 200 * time.Millisecond, -90},
		{4 * time.Second, 12 * time.Second, 0},   // may be the way
		{40 * time.Second, 12 * time.Second, 0},  // too slow to say
		{2 * time.Hour, 12 * time.Second, 7200},  // but that much is clear
		{-2 * time.Hour, 3 * time.Second, -7200}, // either way
	} {
		server := newOffice(t, store.NewMemory())
		tab := newTablet(t, store.NewMemory(), server)
		r := run{Client: tab.Client}
		r.clock(answer{hello: hello{Now: start.Add(test.off + test.slow/2).UnixMilli()}, asked: start, took: test.slow})
		if r.known.Skew != test.want {
			t.Errorf("%v off, %v slow: %d s, want %d", test.off, test.slow, r.known.Skew, test.want)
		}
	}
}

func TestPace(t *testing.T) {
	now := start
	p := Pace{Rand: func() float64 { return 0.5 }}
	if !p.Next().Before(now) {
		t.Error("a new pace is not due")
	}
	p.Done(now, nil)
	if d := p.Next().Sub(now); d != 20*time.Second {
		t.Errorf("after a success %v", d)
	}
	var waits []time.Duration
	for range 10 {
		p.Done(now, ErrNoAnswer)
		waits = append(waits, p.Next().Sub(now))
	}
	for i, want := range []time.Duration{1500 * time.Millisecond, 3 * time.Second, 6 * time.Second} {
		if waits[i] != want {
			t.Errorf("after failure %d: %v, want %v", i+1, waits[i], want)
		}
	}
	if last := waits[9]; last != 225*time.Second {
		t.Errorf("after ten failures %v", last)
	}
	p.Reset()
	if !p.Next().Before(now) {
		t.Error("not due after a tap")
	}
	p.Done(now, ErrNoAnswer)
	if d := p.Next().Sub(now); d != 1500*time.Millisecond {
		t.Errorf("after a tap and a failure %v", d)
	}
	// What a busy server asks for is kept, whoever taps.
	p.Done(now, fmt.Errorf("busy: %w", &Refusal{Status: 503, After: 30 * time.Second}))
	p.Reset()
	if d := p.Next().Sub(now); d != 45*time.Second {
		t.Errorf("asked to wait for 30 s: %v", d)
	}
	for _, part := range []float64{0, 0.999} {
		p := Pace{Rand: func() float64 { return part }}
		p.Done(now, nil)
		if d := p.Next().Sub(now); d < 15*time.Second || d > 30*time.Second {
			t.Errorf("after a success %v", d)
		}
	}
}

// Those who find the server busy are asked to come again, and nothing is lost.
func TestManyWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		server := &faulty{Log: store.NewMemory(), before: func([][]byte) error {
			time.Sleep(400 * time.Millisecond)
			return nil
		}}
		office := newOffice(t, server)
		office.AtOnce = 1
		later := make(chan error, 5)
		for range cap(later) {
			log := store.NewMemory()
			tab := newTablet(t, log, office)
			write(t, log, job, 1)
			go func() {
				_, err := tab.Exchange(t.Context())
				for RetryAfter(err) > 0 {
					time.Sleep(RetryAfter(err))
					_, again := tab.Exchange(t.Context())
					later <- err
					err = again
				}
				later <- err
			}()
		}
		done, turned := 0, 0
		for done < cap(later) {
			if err := <-later; err == nil {
				done++
			} else if turned++; RetryAfter(err) == 0 {
				t.Fatal(err)
			}
		}
		if turned == 0 || len(raws(t, server, job)) != 5 {
			t.Errorf("%d turned away, %d entries", turned, len(raws(t, server, job)))
		}
	})
}

// Who reads slowly holds up nobody.
func TestSlowReader(t *testing.T) {
	server := store.NewMemory()
	write(t, server, job, 1000)
	office := newOffice(t, server)
	office.AtOnce = 1
	w := &blocked{httptest.NewRecorder(), make(chan struct{}), make(chan struct{})}
	go func() {
		r := httptest.NewRequest(http.MethodPost, "/exchange", bytes.NewReader(zipped(t, opening, `["end",{"heads":{"elm":{}}}]`)))
		r.Header.Set("Content-Type", ContentType)
		office.ServeHTTP(w, r)
		close(w.done)
	}()
	<-w.done // it has begun to write
	must[Report](t)(newTablet(t, store.NewMemory(), office).Take(t.Context(), job, nil))
	close(w.read)
	<-w.done
}

// blocked is someone who does not read before read is closed; done tells when
// there is something to read, and when all is written.
type blocked struct {
	*httptest.ResponseRecorder
	read, done chan struct{}
}

func (b *blocked) Write(p []byte) (int, error) {
	select {
	case <-b.read:
	default:
		b.done <- struct{}{}
		<-b.read
	}
	return b.ResponseRecorder.Write(p)
}

// Several clients of one server at once, over real connections.
func TestManyAtOnce(t *testing.T) {
	server := store.NewMemory()
	office := newOffice(t, server)
	site := httptest.NewServer(office)
	defer site.Close()
	logs := []store.Log{server}
	done := make(chan error)
	var writes sync.WaitGroup
	const tablets = 6
	for range tablets {
		log := store.NewMemory()
		logs = append(logs, log)
		tab := newTablet(t, log, nil)
		tab.URL, tab.Do = site.URL+"/exchange", http.DefaultClient.Do
		write(t, log, job, 100)
		go func() {
			for i := range 5 {
				writes.Go(func() { log.Write(t.Context(), job, draft(fmt.Sprint(log.Device(), i), day1, "meanwhile")) })
				if _, err := tab.Exchange(t.Context()); err != nil {
					done <- err
					return
				}
			}
			done <- nil
		}()
	}
	for range tablets {
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
	writes.Wait()
	for i := range 2 * tablets { // one to bring, one to get
		tab := newTablet(t, logs[1+i%tablets], nil)
		tab.URL, tab.Do = site.URL+"/exchange", http.DefaultClient.Do
		tab.exchange(t)
	}
	same(t, job, logs...)
	if n := len(raws(t, server, job)); n != tablets*105 {
		t.Errorf("%d entries, want %d", n, tablets*105)
	}
}
