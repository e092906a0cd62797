package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
	"duskline/internal/exchange"
	"duskline/internal/store"
)

// running is the server as it is built and run.
type running struct {
	url string
	cmd *exec.Cmd
}

func startServer(b *testing.B) *running {
	b.Helper()
	folder := b.TempDir()
	binary := filepath.Join(folder, "server")
	if out, err := exec.Command("go", "build", "-o", binary, ".").CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	p := &running{cmd: exec.Command(binary, "-open", "-addr", "127.0.0.1:0", "-data", filepath.Join(folder, "data"))}
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { p.cmd.Process.Kill(); p.cmd.Wait() })
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		b.Fatal(err)
	}
	p.url = strings.TrimSuffix(line[strings.Index(line, "http://"):], "/\n")
	return p
}

// memory is the most that the program has held, in MB.
func (p *running) memory(b *testing.B) float64 {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.cmd.Process.Pid))
	if err != nil {
		b.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			kb, _ := strconv.ParseFloat(strings.Fields(rest)[0], 64)
			return kb / 1000
		}
	}
	b.Fatal("the system does not say how much memory the program has held")
	return 0
}

// writes has a tablet write the days of a made-up job under a job of its own.
func writes(b *testing.B, tablet *exchange.Client, job string, days, perDay int, seed uint64) *exchange.Client {
	b.Helper()
	g, err := script.Big(days, perDay, seed)
	if err != nil {
		b.Fatal(err)
	}
	var drafts []daylog.Entry
	for i := range g.Entries {
		e := g.Entries[i].Entry
		drafts = append(drafts, daylog.Entry{
			ID: fmt.Sprint(e.ID, seed), Day: e.Day, At: e.At, To: e.To, About: e.About, Made: e.Made,
			Author: e.Author, By: e.By, Why: e.Why, Body: e.Body,
		})
	}
	if _, err := tablet.Log.Write(context.Background(), job, drafts...); err != nil {
		b.Fatal(err)
	}
	return tablet
}

// newTablet is a tablet's side of the exchange with an empty log in memory.
func newTablet(url string, do func(*http.Request) (*http.Response, error)) *exchange.Client {
	return &exchange.Client{Log: store.NewMemory(), Do: do, URL: url + "/exchange", Build: "bench", Now: time.Now, Memory: &remembered{}}
}

type remembered struct {
	mu   sync.Mutex
	held map[string][]byte
}

func (r *remembered) Get(_ context.Context, key string) ([]byte, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.held[key], nil
}

func (r *remembered) Put(_ context.Context, key string, value []byte) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.held == nil {
		r.held = map[string][]byte{}
	}
	r.held[key] = value
	return nil
}

// Fifty tablets send a day of 300 entries each, at once, to the program with
// its database on disk: five tablets to a job.
func BenchmarkFiftyTablets(b *testing.B) {
	p := startServer(b)
	for n := range b.N {
		b.StopTimer()
		var tablets []*exchange.Client
		for i := range 50 {
			tablets = append(tablets, writes(b, newTablet(p.url, http.DefaultTransport.RoundTrip), fmt.Sprintf("load%d-%d", n, i/5), 1, 300, uint64(1000*n+i)))
		}
		b.StartTimer()
		var all sync.WaitGroup
		for _, tablet := range tablets {
			all.Go(func() {
				for {
					if _, err := tablet.Exchange(b.Context()); err == nil {
						return
					} else if exchange.RetryAfter(err) == 0 {
						b.Error(err)
						return
					} else {
						time.Sleep(time.Duration(rand.Float64() * float64(exchange.RetryAfter(err))))
					}
				}
			})
		}
		all.Wait()
	}
	b.ReportMetric(50*300*float64(b.N)/b.Elapsed().Seconds(), "entries/s")
	b.ReportMetric(p.memory(b), "server-MB")
}

// Two hundred tablets come back with a day each in the same second. While they
// drain, the office looks at its jobs.
func BenchmarkTwoHundredTablets(b *testing.B) {
	p := startServer(b)
	for n := range b.N {
		b.StopTimer()
		var mu sync.Mutex
		var admitted, pages []float64
		away := 0
		send := func(r *http.Request) (*http.Response, error) {
			began := time.Now()
			response, err := http.DefaultTransport.RoundTrip(r)
			mu.Lock()
			defer mu.Unlock()
			if err == nil && response.StatusCode == http.StatusOK {
				admitted = append(admitted, time.Since(began).Seconds()*1000)
			} else if err == nil {
				away++
			}
			return response, err
		}
		var tablets []*exchange.Client
		for i := range 200 {
			tablets = append(tablets, writes(b, newTablet(p.url, send), fmt.Sprintf("crowd%d-%d", n, i/4), 1, 300, uint64(1000*n+i)))
		}
		stop := make(chan bool)
		var looking sync.WaitGroup
		b.StartTimer()
		looking.Go(func() {
			for {
				for _, path := range []string{"/", fmt.Sprintf("/job/crowd%d-0/", n)} {
					began := time.Now()
					response, err := http.Get(p.url + path)
					if err != nil {
						b.Error(err)
						return
					}
					io.Copy(io.Discard, response.Body)
					response.Body.Close()
					pages = append(pages, time.Since(began).Seconds()*1000)
				}
				select {
				case <-stop:
					return
				case <-time.After(200 * time.Millisecond):
				}
			}
		})
		var all sync.WaitGroup
		for _, tablet := range tablets {
			all.Go(func() {
				pace := exchange.Pace{}
				for {
					_, err := tablet.Exchange(b.Context())
					if err == nil {
						return
					}
					pace.Done(time.Now(), err)
					time.Sleep(time.Until(pace.Next()))
				}
			})
		}
		all.Wait()
		close(stop)
		looking.Wait()
		slices.Sort(admitted)
		slices.Sort(pages)
		b.ReportMetric(admitted[len(admitted)*99/100], "admitted-p99-ms")
		b.ReportMetric(pages[len(pages)*95/100], "pages-p95-ms")
		b.ReportMetric(float64(away), "sent-away")
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N), "drained-s")
	b.ReportMetric(p.memory(b), "server-MB")
}

// A link of 10 Mbit/s and 100 ms there and back: a day of 300 entries on an
// open connection, beside what its bytes take at least; and a second tablet
// that takes 60 days of 100 entries on board, beside one file of as many bytes.
func BenchmarkLink(b *testing.B) {
	p := startServer(b)
	l := newSlowLink(b, p.url)
	transport := &http.Transport{}
	defer transport.CloseIdleConnections()
	down := int64(0)
	do := func(r *http.Request) (*http.Response, error) {
		response, err := transport.RoundTrip(r)
		if err == nil {
			response.Body = counted{response.Body, &down}
		}
		return response, err
	}
	b.Run("day", func(b *testing.B) {
		for n := range b.N {
			b.StopTimer()
			job := fmt.Sprint("day", n)
			tablet := newTablet(l.url, do)
			if _, err := tablet.Take(b.Context(), job, nil); err != nil { // opens the connection
				b.Fatal(err)
			}
			writes(b, tablet, job, 1, 300, uint64(n))
			before := l.up.Load()
			b.StartTimer()
			began := time.Now()
			r, err := tablet.Exchange(b.Context())
			if err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(time.Since(began).Seconds()*1000, "ms")
			b.ReportMetric(float64(l.up.Load()-before)/slowBytes*1000, "floor-ms")
			b.ReportMetric(float64(r.Calls), "calls")
		}
	})
	b.Run("take", func(b *testing.B) {
		if _, err := writes(b, newTablet(p.url, http.DefaultTransport.RoundTrip), "whole", 60, 100, 1).Exchange(b.Context()); err != nil {
			b.Fatal(err)
		}
		for range b.N {
			tablet := newTablet(l.url, do)
			down = 0
			began := time.Now()
			r, err := tablet.Take(b.Context(), "whole", nil)
			if err != nil || r.Received < 6000 {
				b.Fatal(err, r.Received)
			}
			took := time.Since(began)
			file := time.Duration(float64(down)/slowBytes*float64(time.Second)) + slowTrip
			b.ReportMetric(took.Seconds()*1000, "ms")
			b.ReportMetric((2*file+3*slowTrip).Seconds()*1000, "allowed-ms")
			b.ReportMetric(float64(down), "bytes")
		}
	})
}

type counted struct {
	io.ReadCloser
	n *int64
}

func (c counted) Read(p []byte) (int, error) {
	n, err := c.ReadCloser.Read(p)
	*c.n += int64(n)
	return n, err
}

const (
	slowBytes = 10e6 / 8               // a second
	slowTrip  = 100 * time.Millisecond // there and back
)

// slowLink lies before a server: it lets slowBytes a second through each way,
// each after half of slowTrip.
type slowLink struct {
	url string
	up  atomic.Int64 // bytes
}

func newSlowLink(b *testing.B, to string) *slowLink {
	b.Helper()
	address, err := url.Parse(to)
	if err != nil {
		b.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { listener.Close() })
	l := &slowLink{url: "http://" + listener.Addr().String()}
	go func() {
		for {
			near, err := listener.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("tcp", address.Host)
			if err != nil {
				near.Close()
				return
			}
			go carry(far, near, &l.up)
			go carry(near, far, new(atomic.Int64))
		}
	}()
	return l
}

// carry carries one way of a connection until it ends.
func carry(to, from net.Conn, count *atomic.Int64) {
	type part struct {
		at   time.Time
		data []byte
	}
	parts := make(chan part, 4096)
	go func() {
		defer to.Close()
		free := time.Time{} // from when the line can take the next byte
		for p := range parts {
			if free.Before(p.at) {
				free = p.at
			}
			free = free.Add(time.Duration(float64(len(p.data)) / slowBytes * float64(time.Second)))
			time.Sleep(time.Until(free.Add(slowTrip / 2)))
			if _, err := to.Write(p.data); err != nil {
				return
			}
		}
	}()
	defer close(parts)
	for {
		data := make([]byte, 1400)
		n, err := from.Read(data)
		if n > 0 {
			count.Add(int64(n))
			parts <- part{time.Now(), data[:n]}
		}
		if err != nil {
			return
		}
	}
}
