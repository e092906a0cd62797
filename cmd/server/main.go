// Command server is the site of every job on SQLite, for the office and for
// any tablet that has no job on board.
package main

import (
	"context"
	"crypto/rand"
	"errors"
	"flag"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"
	_ "time/tzdata" // a job's time zone must be known wherever this runs

	"github.com/go-chi/chi/v5"

	"duskline/internal/daylog"
	"duskline/internal/exchange"
	"duskline/internal/store"
	"duskline/internal/store/sqlite"
	"duskline/static"
	"duskline/web"
	"duskline/web/office"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := run(ctx, os.Args[1:], os.Stdout, os.Stderr); err != nil {
		if !errors.Is(err, flag.ErrHelp) {
			fmt.Fprintln(os.Stderr, "duskline:", err)
		}
		os.Exit(1)
	}
}

// run serves until ctx ends. It says on out where to look.
func run(ctx context.Context, args []string, out, logs io.Writer) error {
	flags := flag.NewFlagSet("server", flag.ContinueOnError)
	flags.SetOutput(logs)
	addr := flags.String("addr", "127.0.0.1:8080", "where to listen; service workers need localhost or HTTPS")
	data := flags.String("data", "data", "folder that holds everything of one company")
	withDemo := flags.Bool("demo", false, "begin with an invented job if the folder is empty")
	if err := flags.Parse(args); err != nil {
		return err
	}
	if flags.NArg() > 0 {
		return fmt.Errorf("%q is no flag of this program", flags.Arg(0))
	}
	if err := os.MkdirAll(*data, 0o700); err != nil {
		return fmt.Errorf("data folder: %w", err)
	}
	log, err := sqlite.Open(ctx, filepath.Join(*data, "duskline.db"))
	if err != nil {
		return err
	}
	defer log.Close()
	if *withDemo {
		if err := fillDemo(ctx, log, time.Now()); err != nil {
			return fmt.Errorf("invented job: %w", err)
		}
	}
	logf := func(format string, args ...any) {
		fmt.Fprintf(logs, time.Now().UTC().Format(time.RFC3339)+" "+format+"\n", args...)
	}
	build, err := static.New(static.Files)
	if err != nil {
		return err
	}
	if !build.HasProgram() {
		logf("the tablets' program is not built in: tablets can be used with signal only (make tablet builds it)")
	}
	server := &http.Server{
		Handler:           handler(log, build, logf),
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       60 * time.Second,
		WriteTimeout:      60 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    64 << 10,
	}
	listener, err := net.Listen("tcp", *addr)
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "Duskline answers at http://%s/\n", listener.Addr())
	done := make(chan error, 1)
	go func() { done <- server.Serve(listener) }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	return server.Shutdown(last)
}

// handler is the office's site on a log.
func handler(log store.Log, build *static.Build, logf func(string, ...any)) http.Handler {
	memo := &store.Memo{}
	tablets := &exchange.Server{
		Log: log, Now: time.Now, Build: build.ID(), Fold: exchange.FoldOf(log, memo), Logf: logf,
		Happened: func(e exchange.Event) { logf("exchange: %+v", e) },
	}
	pages := office.Routes(office.Config{Log: log, Now: time.Now, Logf: logf})
	return web.New(web.Config{
		Log:  log,
		Now:  time.Now,
		Rand: rand.Reader,
		Who:  web.FirstForeman,
		State: func(_ context.Context, _ string, d *daylog.Day, zone *time.Location) string {
			return web.SavedWords("Saved in the office", d, zone)
		},
		Logf:   logf,
		Static: build,
		Aboard: build.HasProgram(),
		Office: func(r chi.Router) {
			pages(r)
			r.Method(http.MethodPost, "/exchange", tablets)
		},
	})
}
