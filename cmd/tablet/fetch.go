//go:build js && wasm

package main

import (
	"errors"
	"io"
	"net/http"
	"syscall/js"
)

// fetch sends a request by the browser's own fetch. http.DefaultTransport would
// too, but brings along a whole client with TLS: 0.4 MB that no tablet uses.
// The request's context ends the call; its body is sent whole, the answer's is
// read as it comes.
func fetch(r *http.Request) (*http.Response, error) {
	headers := js.Global().Get("Headers").New()
	for name, values := range r.Header {
		for _, value := range values {
			headers.Call("append", name, value)
		}
	}
	abort := js.Global().Get("AbortController").New()
	options := map[string]any{"method": r.Method, "headers": headers, "signal": abort.Get("signal"), "cache": "no-store", "redirect": "error"}
	if r.Body != nil {
		body, err := io.ReadAll(r.Body)
		r.Body.Close()
		if err != nil {
			return nil, err
		}
		bytes := js.Global().Get("Uint8Array").New(len(body))
		js.CopyBytesToJS(bytes, body)
		options["body"] = bytes
	}
	answer, err := await(r, abort, js.Global().Call("fetch", r.URL.String(), options))
	if err != nil {
		return nil, err
	}
	out := &http.Response{
		StatusCode: answer.Get("status").Int(), Status: answer.Get("statusText").String(), Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1,
		Header: http.Header{}, Body: http.NoBody, ContentLength: -1, Request: r,
	}
	each := js.FuncOf(func(_ js.Value, args []js.Value) any {
		out.Header.Add(args[1].String(), args[0].String())
		return nil
	})
	defer each.Release()
	answer.Get("headers").Call("forEach", each)
	if stream := answer.Get("body"); stream.Truthy() {
		out.Body = &body{request: r, abort: abort, reader: stream.Call("getReader")}
	}
	return out, nil
}

// body is an answer's, as the browser gives it.
type body struct {
	request       *http.Request
	abort, reader js.Value
	left          []byte // come and not yet read
}

func (b *body) Read(p []byte) (int, error) {
	for len(b.left) == 0 {
		next, err := await(b.request, b.abort, b.reader.Call("read"))
		if err != nil {
			return 0, err
		}
		if next.Get("done").Bool() {
			return 0, io.EOF
		}
		v := next.Get("value")
		b.left = make([]byte, v.Length())
		js.CopyBytesToGo(b.left, v)
	}
	n := copy(p, b.left)
	b.left = b.left[n:]
	return n, nil
}

func (b *body) Close() error {
	b.abort.Call("abort")
	return nil
}

// await waits for a promise, or ends the call with the request's context.
func await(r *http.Request, abort, promise js.Value) (js.Value, error) {
	type settled struct {
		value js.Value
		err   error
	}
	done := make(chan settled, 1)
	yes := js.FuncOf(func(_ js.Value, args []js.Value) any {
		done <- settled{value: args[0]}
		return nil
	})
	no := js.FuncOf(func(_ js.Value, args []js.Value) any {
		done <- settled{err: errors.New(js.Global().Get("String").Invoke(args[0]).String())}
		return nil
	})
	defer yes.Release()
	defer no.Release()
	promise.Call("then", yes, no)
	select {
	case s := <-done:
		return s.value, s.err
	case <-r.Context().Done():
		abort.Call("abort")
		<-done // so that the functions above are not called after their release
		return js.Undefined(), r.Context().Err()
	}
}
