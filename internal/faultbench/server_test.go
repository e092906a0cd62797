package faultbench

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"database/sql"

	"duskline/internal/daylog"
	"duskline/internal/exchange"
	"duskline/internal/store"
	"duskline/internal/store/sqlite"
)

// serverFolder names the variable that makes the test program a server.
const serverFolder = "FAULTBENCH_SERVER"

func TestMain(m *testing.M) {
	if folder := os.Getenv(serverFolder); folder != "" {
		if err := serve(folder, os.Getenv(serverFolder+"_BUILD")); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

// orders are what is told to a server that is to fail.
type orders struct {
	Die    string        `json:"die,omitempty"` // where it dies the next time it comes by
	After  time.Duration `json:"after,omitempty"`
	Full   *bool         `json:"full,omitempty"`   // its disk has no room left
	Poison *bool         `json:"poison,omitempty"` // it cannot keep entries with "arsenic" in them
	Panic  int           `json:"panic,omitempty"`  // so many of the next keepings
	Refuse *int          `json:"refuse,omitempty"` // the status that all calls get; 0: none
	Parked *string       `json:"parked,omitempty"` // the device that is no longer trusted
	// Write has entries written by the office, Copy makes a backup in a file,
	// Release puts what was parked into the log.
	Write   []json.RawMessage `json:"write,omitempty"`
	Copy    string            `json:"copy,omitempty"`
	Release bool              `json:"release,omitempty"`
}

// The points at which a server dies.
var deaths = []string{"before it is read", "before it is kept", "while it is kept", "after it is kept", "in the answer"}

// failing is the server's log, which fails as it is told.
type failing struct {
	*sqlite.Log
	mu     sync.Mutex
	orders orders
	beside string // the folder for what does not go into the log
}

func (f *failing) at(point string) {
	f.mu.Lock()
	due, after := f.orders.Die == point, f.orders.After
	f.mu.Unlock()
	switch {
	case !due:
	case point == "while it is kept":
		time.AfterFunc(after, die)
	default:
		die()
	}
}

// die ends the program as a power cut would.
func die() { syscall.Kill(os.Getpid(), syscall.SIGKILL) }

func (f *failing) Receive(ctx context.Context, job string, raws ...[]byte) ([]string, error) {
	f.at("before it is kept")
	f.at("while it is kept")
	f.mu.Lock()
	poison, panics := f.orders.Poison != nil && *f.orders.Poison, f.orders.Panic > 0
	if panics {
		f.orders.Panic--
	}
	f.mu.Unlock()
	if panics {
		panic("a fault of the program")
	}
	if poison {
		for _, raw := range raws {
			if strings.Contains(string(raw), "arsenic") {
				return nil, errors.New("cannot be stored")
			}
		}
	}
	forks, err := f.Log.Receive(ctx, job, raws...)
	f.at("after it is kept")
	return forks, err
}

// put keeps lines durably in a file beside the log.
func (f *failing) put(name string, lines ...[]byte) error {
	file, err := os.OpenFile(filepath.Join(f.beside, name), os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer file.Close()
	for _, line := range lines {
		if _, err := file.Write(append(line, '\n')); err != nil {
			return err
		}
	}
	return file.Sync()
}

// given reads what was put by.
func given(folder, name string) (lines [][]byte) {
	text, _ := os.ReadFile(filepath.Join(folder, name))
	for line := range strings.Lines(string(text)) {
		if line = strings.TrimSpace(line); json.Valid([]byte(line)) {
			lines = append(lines, []byte(line))
		}
	}
	return lines
}

// serve is the server: the exchange at /exchange and orders at /orders.
func serve(folder, build string) error {
	ctx := context.Background()
	log, err := sqlite.Open(ctx, filepath.Join(folder, "log.db"))
	if err != nil {
		return err
	}
	f := &failing{Log: log, beside: folder}
	central := &exchange.Server{
		Log: f, Now: time.Now, Build: build, Fold: exchange.FoldOf(log, nil), AtOnce: 2,
		Admit: func(r *http.Request) (exchange.Caller, error) {
			f.at("before it is read")
			f.mu.Lock()
			defer f.mu.Unlock()
			by := exchange.Caller{Name: "tablet"}
			if f.orders.Refuse != nil && *f.orders.Refuse > 0 {
				return by, &exchange.Refusal{Status: *f.orders.Refuse, Reason: "not now", After: time.Second}
			}
			by.Parked = f.orders.Parked != nil && *f.orders.Parked == r.Header.Get("Authorization")
			return by, nil
		},
		Aside: func(_ context.Context, _ exchange.Caller, r exchange.Refused) error { return f.put("aside", r.Raw) },
		Park: func(_ context.Context, _ exchange.Caller, _, _ string, raws [][]byte) error {
			return f.put("parked", raws...)
		},
	}
	mux := http.NewServeMux()
	mux.HandleFunc("/exchange", func(w http.ResponseWriter, r *http.Request) {
		central.ServeHTTP(&cut{ResponseWriter: w, f: f}, r)
	})
	mux.HandleFunc("/orders", func(w http.ResponseWriter, r *http.Request) {
		if err := f.obey(r); err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
		fmt.Fprint(w, log.Device())
	})
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	fmt.Println(listener.Addr())
	return http.Serve(listener, mux)
}

func (f *failing) obey(r *http.Request) error {
	var o orders
	if err := json.NewDecoder(r.Body).Decode(&o); err != nil {
		return err
	}
	f.mu.Lock()
	if o.Die != "" {
		f.orders.Die, f.orders.After = o.Die, o.After
	}
	if o.Poison != nil {
		f.orders.Poison = o.Poison
	}
	if o.Refuse != nil {
		f.orders.Refuse = o.Refuse
	}
	if o.Parked != nil {
		f.orders.Parked = o.Parked
	}
	f.orders.Panic += o.Panic
	f.mu.Unlock()
	switch {
	case o.Full != nil:
		return f.fill(r.Context(), *o.Full)
	case o.Copy != "":
		return f.Log.Read(r.Context(), func(tx *sql.Tx) error {
			_, err := tx.Exec(`VACUUM INTO ?`, o.Copy)
			return err
		})
	case o.Release:
		for _, raw := range given(f.beside, "parked") {
			if _, err := f.Log.Receive(r.Context(), job, raw); err != nil {
				return err
			}
		}
	case len(o.Write) > 0:
		drafts, err := draftsOf(o.Write)
		if err != nil {
			return err
		}
		_, err = f.Log.Write(r.Context(), job, drafts...)
		return err
	}
	return nil
}

// fill leaves the database no room beyond what it has, or gives it back.
func (f *failing) fill(ctx context.Context, full bool) error {
	return f.Log.Change(ctx, func(tx *sql.Tx) error {
		pages := 1 << 30
		if full {
			if err := tx.QueryRow(`PRAGMA page_count`).Scan(&pages); err != nil {
				return err
			}
		}
		_, err := tx.Exec(fmt.Sprintf(`PRAGMA max_page_count = %d`, pages))
		return err
	})
}

// draftsOf makes drafts of entries that were numbered elsewhere.
func draftsOf(raws []json.RawMessage) ([]daylog.Entry, error) {
	drafts := make([]daylog.Entry, len(raws))
	for i, raw := range raws {
		e, err := daylog.Decode(raw)
		if err != nil {
			return nil, err
		}
		drafts[i] = draftOf(e)
	}
	return drafts, nil
}

// draftOf takes from an entry where it stood in a log.
func draftOf(e daylog.Entry) daylog.Entry {
	return daylog.Entry{
		ID: e.ID, Day: e.Day, At: e.At, To: e.To, About: e.About, Made: e.Made,
		Author: e.Author, By: e.By, Of: e.Of, Why: e.Why, Odd: e.Odd, Body: e.Body,
	}
}

// cut is an answer in whose middle the server dies, if it is told to.
type cut struct {
	http.ResponseWriter
	f *failing
}

func (c *cut) Write(p []byte) (int, error) {
	if len(p) > 1 {
		half, err := c.ResponseWriter.Write(p[:len(p)/2])
		if err != nil {
			return half, err
		}
		if flusher, ok := c.ResponseWriter.(http.Flusher); ok {
			flusher.Flush()
		}
		c.f.at("in the answer")
		rest, err := c.ResponseWriter.Write(p[len(p)/2:])
		return half + rest, err
	}
	return c.ResponseWriter.Write(p)
}

func (c *cut) Unwrap() http.ResponseWriter { return c.ResponseWriter }

// central is a server that runs, seen from outside.
type central struct {
	folder, build string
	address       string
	cmd           *exec.Cmd
}

func (c *central) start() error {
	program, err := os.Executable()
	if err != nil {
		return err
	}
	c.cmd = exec.Command(program)
	c.cmd.Env = append(os.Environ(), serverFolder+"="+c.folder, serverFolder+"_BUILD="+c.build)
	c.cmd.Stderr = os.Stderr
	out, err := c.cmd.StdoutPipe()
	if err != nil {
		return err
	}
	if err := c.cmd.Start(); err != nil {
		return err
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		return fmt.Errorf("the server did not start: %w", err)
	}
	c.address = strings.TrimSpace(line)
	return nil
}

func (c *central) kill() {
	c.cmd.Process.Kill()
	c.cmd.Wait()
}

// order gives orders and returns the server's device. A server that is dead
// already is started before.
func (c *central) order(o orders) (string, error) {
	body, err := json.Marshal(o)
	if err != nil {
		return "", err
	}
	for try := 0; ; try++ {
		response, err := http.Post("http://"+c.address+"/orders", "application/json", strings.NewReader(string(body)))
		if err != nil && try == 0 {
			c.kill()
			if err := c.start(); err != nil {
				return "", err
			}
			continue
		}
		if err != nil {
			return "", err
		}
		defer response.Body.Close()
		var text [200]byte
		n, _ := response.Body.Read(text[:])
		if response.StatusCode != http.StatusOK {
			return "", fmt.Errorf("order %s: %s", body, text[:n])
		}
		return string(text[:n]), nil
	}
}

var _ store.Log = (*failing)(nil)
