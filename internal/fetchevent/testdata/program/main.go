//go:build js && wasm

// A small site of one job, for the tests of what hosts the real one.
package main

import (
	"fmt"
	"html"
	"io"
	"net/http"
	"os"
	"strings"
	"sync"
	"syscall/js"
	"time"

	"duskline/internal/fetchevent"
)

func main() {
	var mu sync.Mutex
	var notes []string
	answered := 0

	m := http.NewServeMux()
	m.HandleFunc("POST /tablet/jobs", func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "/job/"+r.FormValue("job")+"/", http.StatusSeeOther)
	})
	m.HandleFunc("GET /job/7/{$}", func(w http.ResponseWriter, r *http.Request) {
		mu.Lock()
		defer mu.Unlock()
		answered++
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		fmt.Fprintf(w, `<!DOCTYPE html><title>Job 7</title><script type="module" src="/static/aboard.js"></script>
			<h1>The tablet's page %d</h1><p data-aboard></p><p id="build">%s</p><p id="notes">%s</p>
			<button data-new-build hidden>Take the new version</button>
			<form method="post" action="write"><textarea name="note"></textarea><button class="save">Save</button></form>`,
			answered, os.Getenv("BUILD"), html.EscapeString(strings.Join(notes, ", ")))
	})
	m.HandleFunc("POST /job/7/write", func(w http.ResponseWriter, r *http.Request) {
		mu.Lock()
		defer mu.Unlock()
		notes = append(notes, r.FormValue("note"))
		http.Redirect(w, r, "./", http.StatusSeeOther)
	})
	m.HandleFunc("GET /job/7/panic", func(w http.ResponseWriter, r *http.Request) {
		io.WriteString(w, "half a page")
		panic("a seam came open")
	})
	m.HandleFunc("/job/7/end", func(w http.ResponseWriter, r *http.Request) {
		os.Exit(3)
	})
	m.HandleFunc("/job/7/end-once", func(w http.ResponseWriter, r *http.Request) {
		// The worker's globals outlive the program.
		if js.Global().Get("endedOnce").IsUndefined() {
			js.Global().Set("endedOnce", true)
			os.Exit(3)
		}
		fmt.Fprintf(w, "answered after all: %q", r.FormValue("note"))
	})
	m.HandleFunc("GET /job/7/zone", func(w http.ResponseWriter, r *http.Request) {
		zone, err := time.LoadLocation("America/Denver")
		fmt.Fprint(w, time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC).In(zone).Format("15:04 MST"), err)
	})

	js.Global().Call("jobsOnBoard", []any{map[string]any{"id": "7", "name": "Hall <7>, invented"}})
	host := &fetchevent.Host{Handler: http.NewCrossOriginProtection().Handler(m)}
	host.Serve()
}
