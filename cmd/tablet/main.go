//go:build js && wasm

// Command tablet is the site of a job inside the tablet's service worker.
package main

import (
	"fmt"
	"net/http"

	"duskline/internal/fetchevent"
)

func main() {
	host := &fetchevent.Host{Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		fmt.Fprintf(w, "<!DOCTYPE html><title>On board</title><h1>This tablet</h1><p>%s</p>", "Nothing is on board yet.")
	})}
	host.Serve()
}
