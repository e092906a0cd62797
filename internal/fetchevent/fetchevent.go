//go:build js && wasm

package fetchevent

import (
	"bytes"
	"errors"
	"io"
	"log"
	"net/http"
	"net/url"
	"runtime/debug"
	"strings"
	"syscall/js"
)

// Host answers fetch events with a handler.
type Host struct {
	Handler http.Handler

	// Log receives what goes wrong while answering: panics with their stack,
	// requests that cannot be read. Nil means the log package's own logger,
	// which writes to the worker's console.
	Log *log.Logger
}

// Serve hands the worker the function that answers its fetch events and blocks
// for good: when it would return, the program would end.
//
// A request is marked with the header Sec-Fetch-Site, which is what
// http.CrossOriginProtection judges: same-origin if it comes from one of our
// pages or was typed in (none); cross-site if a page of any other origin
// navigated here, and also if a form without a referrer did. Pages whose forms
// post here must therefore not set the referrer policy no-referrer.
func (h *Host) Serve() {
	js.Global().Call("serveFetchEvents", h.function())
	select {}
}

// function returns the JavaScript function from a Request to a promise of a
// Response.
func (h *Host) function() js.Func {
	return js.FuncOf(func(_ js.Value, args []js.Value) any {
		request := args[0]
		settle := js.FuncOf(func(_ js.Value, args []js.Value) any {
			resolve := args[0]
			// Waiting for a promise inside a callback would stop the whole
			// program, so the work is the goroutine's.
			go func() { resolve.Invoke(h.respond(request)) }()
			return nil
		})
		defer settle.Release() // the promise has called it by then
		return js.Global().Get("Promise").New(settle)
	})
}

// respond turns a Request into a Response, whatever happens on the way.
func (h *Host) respond(request js.Value) (response js.Value) {
	defer func() {
		// What is left to fail here is the browser refusing what we made of
		// the handler's answer.
		if v := recover(); v != nil {
			h.logf("answering %s: %v\n%s", request.Get("url"), v, debug.Stack())
			response = failure().response()
		}
	}()
	r, err := read(request)
	if err != nil {
		h.logf("reading a request for %s: %v", request.Get("url"), err)
		return failure().response()
	}
	w := h.handle(r)
	w.finish(r)
	return w.response()
}

// handle runs the handler. A panic puts a plain page in place of its answer.
func (h *Host) handle(r *http.Request) (w *answer) {
	w = &answer{header: http.Header{}}
	defer func() {
		if v := recover(); v != nil {
			h.logf("panic answering %s %s: %v\n%s", r.Method, r.URL.Path, v, debug.Stack())
			w = failure()
		}
	}()
	h.Handler.ServeHTTP(w, r)
	return w
}

func (h *Host) logf(format string, args ...any) {
	if h.Log != nil {
		h.Log.Printf(format, args...)
		return
	}
	log.Printf(format, args...)
}

// read turns a Request into what a handler of a server would see.
func read(request js.Value) (*http.Request, error) {
	method := request.Get("method").String()
	body := io.Reader(http.NoBody)
	if method != http.MethodGet && method != http.MethodHead {
		b, err := bytesOf(request)
		if err != nil {
			return nil, err
		}
		if len(b) > 0 {
			body = bytes.NewReader(b)
		}
	}
	r, err := http.NewRequest(method, request.Get("url").String(), body)
	if err != nil {
		return nil, err
	}
	r.URL.Fragment, r.URL.RawFragment = "", ""
	r.RequestURI = r.URL.RequestURI()

	each := js.FuncOf(func(_ js.Value, args []js.Value) any {
		r.Header.Add(args[1].String(), latin1ToBytes(args[0].String()))
		return nil
	})
	defer each.Release()
	request.Get("headers").Call("forEach", each)

	if referrer := request.Get("referrer").String(); strings.HasPrefix(referrer, "http") {
		r.Header.Set("Referer", referrer)
	}
	r.Header.Set("Sec-Fetch-Site", site(r, request.Get("mode").String()))
	return r, nil
}

// site says where a request comes from, in the words of Sec-Fetch-Site.
func site(r *http.Request, mode string) string {
	if mode != "navigate" {
		return "same-origin" // a worker sees requests of its own pages only
	}
	from, err := url.Parse(r.Header.Get("Referer"))
	switch {
	case err == nil && from.Scheme == r.URL.Scheme && from.Host == r.URL.Host:
		return "same-origin"
	case r.Header.Get("Referer") == "" && r.Method == http.MethodGet:
		return "none"
	}
	return "cross-site"
}

// bytesOf reads the whole body of a Request.
func bytesOf(request js.Value) ([]byte, error) {
	type outcome struct {
		value js.Value
		err   error
	}
	done := make(chan outcome, 1)
	kept := js.FuncOf(func(_ js.Value, args []js.Value) any {
		done <- outcome{value: args[0]}
		return nil
	})
	broken := js.FuncOf(func(_ js.Value, args []js.Value) any {
		done <- outcome{err: errors.New(args[0].Call("toString").String())}
		return nil
	})
	defer kept.Release()
	defer broken.Release()
	request.Call("arrayBuffer").Call("then", kept, broken)
	o := <-done
	if o.err != nil {
		return nil, o.err
	}
	array := js.Global().Get("Uint8Array").New(o.value)
	b := make([]byte, array.Length())
	js.CopyBytesToGo(b, array)
	return b, nil
}

// answer gathers what a handler answers. It is an http.ResponseWriter.
type answer struct {
	header http.Header // the handler's own, which it may go on changing
	sent   http.Header // as it was when the status was written
	status int         // 0 until then
	body   bytes.Buffer
}

func (w *answer) Header() http.Header { return w.header }

// WriteHeader settles status and headers. As on a server only the first final
// status counts; what only informs (1xx) is dropped.
func (w *answer) WriteHeader(status int) {
	if status < 100 || status > 999 {
		panic("fetchevent: a status has three digits")
	}
	if w.status == 0 && status >= 200 {
		w.status = status
		w.sent = w.header.Clone()
	}
}

func (w *answer) Write(p []byte) (int, error) {
	w.WriteHeader(http.StatusOK)
	if empty(w.status) {
		return 0, http.ErrBodyNotAllowed
	}
	return w.body.Write(p)
}

func (w *answer) WriteString(s string) (int, error) {
	w.WriteHeader(http.StatusOK)
	if empty(w.status) {
		return 0, http.ErrBodyNotAllowed
	}
	return w.body.WriteString(s)
}

// finish does what a server does once the handler has returned.
func (w *answer) finish(r *http.Request) {
	w.WriteHeader(http.StatusOK)
	if w.body.Len() > 0 && w.sent.Get("Content-Type") == "" {
		w.sent.Set("Content-Type", http.DetectContentType(w.body.Bytes()))
	}
	// A Response made by hand has no address of its own that a relative
	// target could be read against.
	if target := w.sent.Get("Location"); target != "" {
		if u, err := r.URL.Parse(target); err == nil {
			w.sent.Set("Location", u.String())
		}
	}
	if r.Method == http.MethodHead {
		w.body.Reset()
	}
}

// response makes the browser's Response. It panics where the browser refuses.
func (w *answer) response() js.Value {
	headers := js.Global().Get("Headers").New()
	for name, values := range w.sent {
		for _, value := range values {
			headers.Call("append", name, bytesToLatin1(value))
		}
	}
	body := js.Null()
	if !empty(w.status) {
		body = js.Global().Get("Uint8Array").New(w.body.Len())
		js.CopyBytesToJS(body, w.body.Bytes())
	}
	return js.Global().Get("Response").New(body, map[string]any{
		"status":     w.status,
		"statusText": http.StatusText(w.status),
		"headers":    headers,
	})
}

// empty tells whether a status forbids a body. The browser refuses even an
// empty one.
func empty(status int) bool {
	return status == http.StatusNoContent || status == http.StatusResetContent || status == http.StatusNotModified
}

// failure is the answer to a request whose handler broke.
func failure() *answer {
	w := &answer{status: http.StatusInternalServerError, sent: http.Header{}}
	w.sent.Set("Content-Type", "text/html; charset=utf-8")
	w.sent.Set("Cache-Control", "no-store")
	w.body.WriteString(failurePage)
	return w
}

const failurePage = `<!DOCTYPE html>
<html lang="en-US">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>This page went wrong</title>
<body style="font: 1.25rem/1.5 sans-serif; max-width: 34em; margin: 2rem auto; padding: 0 1rem">
<h1>This page went wrong</h1>
<p>What was saved before stays saved on this tablet. If you were saving just now, go back and look
whether it is there; if not, save it again.</p>
`

// lines makes one line of a header's value, as a server does.
var lines = strings.NewReplacer("\n", " ", "\r", " ")

// bytesToLatin1 gives a header's bytes to the browser, which takes each
// character for one byte.
func bytesToLatin1(value string) string {
	runes := make([]rune, len(value))
	for i := range len(value) {
		runes[i] = rune(value[i])
	}
	return lines.Replace(string(runes))
}

// latin1ToBytes undoes [bytesToLatin1].
func latin1ToBytes(value string) string {
	b := make([]byte, 0, len(value))
	for _, r := range value {
		b = append(b, byte(r))
	}
	return string(b)
}
