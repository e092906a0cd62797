package faultbench

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"net/http"
	"sync"
	"time"

	"duskline/internal/exchange"
)

// What can happen to a call and its answer on the way.
var faults = []string{
	"none", "none", "none", "call lost", "call cut", "answer lost", "answer cut", "silence", "silence in the answer",
	"twice", "an old call comes again", "late", "call flipped", "answer flipped", "portal", "portal of our type", "slow",
}

var errLink = errors.New("connection reset")

// link carries the calls of one tablet to the server, or does not.
type link struct {
	to     func() string // the server's address
	faults bool
	key    string

	mu     *sync.Mutex // of the world: the count is everybody's
	random *rand.Rand
	old    [][]byte // calls that have been
	count  map[string]int
}

func (l *link) draw() (fault string, part float64, old []byte) {
	l.mu.Lock()
	defer l.mu.Unlock()
	fault, part = "none", l.random.Float64()
	if l.faults {
		fault = faults[l.random.IntN(len(faults))]
		l.count[fault]++
	}
	l.count["calls"]++
	if len(l.old) > 0 {
		old = l.old[l.random.IntN(len(l.old))]
	}
	return fault, part, old
}

func (l *link) keep(call []byte) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.old) < 20 {
		l.old = append(l.old, call)
	}
}

func (l *link) post(ctx context.Context, url string, body []byte) (*http.Response, []byte, error) {
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, url, bytes.NewReader(body))
	if err != nil {
		return nil, nil, err
	}
	request.Header.Set("Content-Type", exchange.ContentType)
	request.Header.Set("Authorization", l.key)
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		return nil, nil, err
	}
	defer response.Body.Close()
	answer, err := io.ReadAll(response.Body)
	return response, answer, err
}

// do is what the tablet's side sends with.
func (l *link) do(r *http.Request) (*http.Response, error) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return nil, err
	}
	url := "http://" + l.to() + "/exchange"
	fault, part, old := l.draw()
	defer l.keep(body)
	call := body
	switch fault {
	case "call lost":
		return nil, errLink
	case "call cut":
		call = body[:int(part*float64(len(body)))]
	case "call flipped":
		call = flip(body, part)
	case "portal", "portal of our type":
		return portal(fault), nil
	case "silence":
		<-r.Context().Done()
		return nil, r.Context().Err()
	case "slow":
		wait(r.Context(), time.Duration(part*float64(30*time.Millisecond)))
	case "twice":
		l.post(r.Context(), url, body)
	case "an old call comes again":
		if old != nil {
			l.post(r.Context(), url, old)
		}
	case "late":
		// The tablet has given up when the server gets it.
		defer l.post(context.WithoutCancel(r.Context()), url, body)
		return nil, errLink
	}
	response, answer, err := l.post(r.Context(), url, call)
	if err != nil && len(answer) == 0 {
		return nil, errLink
	}
	var end error = io.EOF
	if err != nil {
		end = errLink
	}
	switch n := int(part * float64(len(answer))); fault {
	case "answer lost":
		return nil, errLink
	case "answer cut":
		if answer = answer[:n]; n%2 == 0 {
			end = errLink
		}
	case "answer flipped":
		answer = flip(answer, part)
	case "silence in the answer":
		answer, end = answer[:n], nil
	}
	response.Body = io.NopCloser(&rest{Reader: bytes.NewReader(answer), end: end, ctx: r.Context()})
	return response, nil
}

// rest is a body and its end; nil: it goes silent.
type rest struct {
	*bytes.Reader
	end error
	ctx context.Context
}

func (b *rest) Read(p []byte) (int, error) {
	n, err := b.Reader.Read(p)
	if err != io.EOF {
		return n, err
	}
	if b.end == nil {
		<-b.ctx.Done()
		return n, b.ctx.Err()
	}
	return n, b.end
}

func wait(ctx context.Context, d time.Duration) {
	select {
	case <-time.After(d):
	case <-ctx.Done():
	}
}

// flip changes one bit.
func flip(body []byte, part float64) []byte {
	body = bytes.Clone(body)
	if bit := int(part * float64(len(body)*8)); len(body) > 0 {
		body[bit/8] ^= 1 << (bit % 8)
	}
	return body
}

// portal is what the network of a house says to those who have not signed in.
func portal(fault string) *http.Response {
	r := &http.Response{StatusCode: http.StatusOK, Header: http.Header{"Content-Type": {"text/html"}}, Body: io.NopCloser(bytes.NewReader([]byte("<title>Welcome to the guest network</title>")))}
	if fault != "portal" {
		r.Header.Set("Content-Type", exchange.ContentType)
	}
	return r
}
