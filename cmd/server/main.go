// Command server is the site of every job on SQLite, for the office and for
// any tablet that has no job on board.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"
	_ "time/tzdata" // a job's time zone must be known wherever this runs

	"duskline/internal/inbox"
	"duskline/internal/signin"
	"duskline/internal/store"
	"duskline/internal/store/sqlite"
	"duskline/static"
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

// run does what the arguments say: it serves, or carries out a command.
func run(ctx context.Context, args []string, out, logs io.Writer) error {
	for _, c := range commands() {
		words := strings.Fields(c.name)
		if len(args) >= len(words) && slices.Equal(args[:len(words)], words) {
			return c.do(ctx, args[len(words):], out, logs)
		}
	}
	return serve(ctx, args, out, logs)
}

// serve serves until ctx ends. It says on out where to look, and how to sign in
// where nobody could know.
func serve(ctx context.Context, args []string, out, logs io.Writer) error {
	flags := flag.NewFlagSet("server", flag.ContinueOnError)
	flags.SetOutput(logs)
	addr := flags.String("addr", "127.0.0.1:8080", "where to listen; service workers need localhost or HTTPS")
	data := dataFlag(flags)
	withDemo := flags.Bool("demo", false, "begin with two invented jobs and three invented accounts if the folder is empty; without it an empty folder stays empty")
	open := flags.Bool("open", false, "nobody signs in and everybody may do everything: for trying out on one machine")
	backupTo := flags.String("backup-to", "", "folder for backups made while the server runs; none without it")
	backupEvery := flags.Duration("backup-every", 24*time.Hour, "time from one of these backups to the next")
	backupKeep := flags.Int("backup-keep", 14, "how many of these backups are kept, the latest")
	proxied := flags.Bool("proxied", false, "a proxy stands before this and is trusted: its X-Forwarded-Proto tells whether the browser speaks HTTPS, its X-Forwarded-For who is asking")
	cert := flags.String("cert", "", "file with the certificate for HTTPS, and with those between it and its authority")
	key := flags.String("key", "", "file with the certificate's key")
	acme := flags.String("acme", "", "names, separated by commas, for which the server gets certificates itself by ACME; it must then be reached under them at port 443, and by this the terms of the authority are accepted")
	flags.Usage = func() {
		fmt.Fprintln(logs, "server [flags] serves. Flags:")
		flags.PrintDefaults()
		fmt.Fprintln(logs, "Commands, each with -data and -h:")
		for _, c := range commands() {
			fmt.Fprintf(logs, "  server %s %s\n    \t%s\n", c.name, c.takes, c.says)
		}
	}
	if err := flags.Parse(args); err != nil {
		return err
	}
	if flags.NArg() > 0 {
		var names []string
		for _, c := range commands() {
			names = append(names, c.name)
		}
		return fmt.Errorf("%q is no flag of this program, and its commands are: %s", flags.Arg(0), strings.Join(names, ", "))
	}
	logf := func(format string, args ...any) {
		fmt.Fprintf(logs, time.Now().UTC().Format(time.RFC3339)+" "+format+"\n", args...)
	}
	https, err := secure(*cert, *key, *acme, *data, logf)
	if err != nil {
		return fmt.Errorf("HTTPS: %w", err)
	}
	// The program for tablets is unpacked while the database is opened.
	var build *static.Build
	unpacked := make(chan error, 1)
	go func() {
		var err error
		build, err = static.New(static.Files)
		unpacked <- err
	}()
	log, accounts, err := openFolder(ctx, sqlite.Open, *data, *proxied, logf)
	if err != nil {
		return err
	}
	defer log.Close()
	demo := ""
	if *withDemo {
		if err := fillDemo(ctx, log, time.Now()); err != nil {
			return fmt.Errorf("invented job: %w", err)
		}
		if err := addDemoAccounts(ctx, accounts); err != nil {
			return fmt.Errorf("invented accounts: %w", err)
		}
		demo = demoSaid
	}
	if err := <-unpacked; err != nil {
		return err
	}
	if !build.HasProgram() {
		logf("the tablets' program is not built in: tablets can be used with signal only (make tablet builds it)")
	}
	listener, err := net.Listen("tcp", *addr)
	if err != nil {
		return err
	}
	defer listener.Close()
	h := &host{log: log, memo: &store.Memo{}, build: build, logf: logf, watch: &watch{log: log, logf: logf}}
	h.inbox = &inbox.Inbox{Database: log, Log: log, Now: time.Now, Logf: logf}
	if *backupTo != "" {
		if *backupEvery < time.Minute || *backupKeep < 1 {
			return errors.New("-backup-every is a minute or more, and -backup-keep one or more")
		}
		h.watch.backups = &schedule{data: *data, to: *backupTo, every: *backupEvery, keep: *backupKeep, now: time.Now, logf: logf}
	}
	url := "http://" + listener.Addr().String() + "/"
	if https != nil {
		url = "https://" + listener.Addr().String() + "/"
	}
	if at, ok := listener.Addr().(*net.TCPAddr); *open && (!ok || !at.IP.IsLoopback()) {
		return fmt.Errorf("-open lets everybody do everything, and %s can be reached from other machines", listener.Addr())
	}
	fmt.Fprintf(out, "Duskline answers at %s\n%s", url, demo)
	if !*open {
		h.accounts, h.tablets = accounts, signin.Tablets{Database: log, Now: time.Now}
		if err := sayHowToSignIn(ctx, out, accounts, url); err != nil {
			return err
		}
	}
	server := &http.Server{
		Handler:           h.handler(h.routes),
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       60 * time.Second,
		WriteTimeout:      60 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    64 << 10,
	}
	beside, end := context.WithCancel(ctx)
	var besides sync.WaitGroup
	besides.Go(func() { h.watch.run(beside) })
	besides.Go(func() { h.keepHeard(beside) })
	defer besides.Wait()
	defer end()
	done := make(chan error, 1)
	go func() {
		if https == nil {
			done <- server.Serve(listener)
			return
		}
		server.TLSConfig, server.Handler = https, lasting(server.Handler)
		done <- server.ServeTLS(listener, "", "")
	}()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	return server.Shutdown(last)
}

func dataFlag(flags *flag.FlagSet) *string {
	return flags.String("data", "data", "folder that holds everything of one company")
}

// openFolder opens what a company's folder holds, or makes it. open is
// sqlite.Open, or OpenBeside for a command.
func openFolder(ctx context.Context, open func(context.Context, string) (*sqlite.Log, error), folder string, proxied bool, logf func(string, ...any)) (*sqlite.Log, *signin.Accounts, error) {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, nil, fmt.Errorf("data folder: %w", err)
	}
	log, err := open(ctx, filepath.Join(folder, databaseName))
	if err != nil {
		return nil, nil, err
	}
	accounts, err := signin.Open(signin.Config{Database: log, Folder: folder, Now: time.Now, Logf: logf, Proxied: proxied})
	if err != nil {
		log.Close()
		return nil, nil, err
	}
	return log, accounts, nil
}
