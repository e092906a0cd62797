//go:build js && wasm

package indexeddb

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"syscall/js"
	"time"

	"duskline/internal/store"
)

// domError is an exception or error of the browser.
type domError struct{ name, message string }

func (e domError) Error() string { return e.name + ": " + e.message }

func errorOf(v js.Value) error {
	if !v.Truthy() {
		// An abort that names no cause: the connection went away.
		return domError{"AbortError", "the browser broke off"}
	}
	return domError{v.Get("name").String(), v.Get("message").String()}
}

// try calls the browser and gives what it throws as an error.
func try(call func() js.Value) (v js.Value, err error) {
	defer func() {
		switch thrown := recover().(type) {
		case nil:
		case js.Error:
			err = errorOf(thrown.Value)
		default:
			panic(thrown)
		}
	}()
	return call(), nil
}

// lost reports whether an error says that the handle or the connection is of
// no use any more. Safari in the field drops them; a fresh one mostly works.
func lost(err error) bool {
	if errors.Is(err, errSlow) {
		return true
	}
	var e domError
	return errors.As(err, &e) && slices.Contains([]string{
		"InvalidStateError", "AbortError", "UnknownError", "TransactionInactiveError", "TimeoutError",
	}, e.name)
}

// said gives the errors that callers tell apart the names they know.
func said(err error) error {
	if e := (domError{}); errors.As(err, &e) && e.name == "QuotaExceededError" {
		return fmt.Errorf("%w: %w", store.ErrFull, err)
	}
	return err
}

// tries is how often the database is opened anew before the log gives up.
const tries = 3

// transact runs do in a transaction over some object stores and returns once
// the browser says that it is complete. Where the handle was lost it does so
// again on a fresh one, so do may run several times: each begins at nothing.
func (l *Log) transact(ctx context.Context, mode string, stores []string, do func(*transaction) error) error {
	var err error
	for opened := 0; opened < tries; {
		if err := ctx.Err(); err != nil {
			return err
		}
		db, fresh, failed := l.handle(ctx)
		if fresh {
			opened++
		}
		if err = failed; err == nil {
			err = l.once(ctx, db, mode, stores, do)
		}
		if !lost(err) {
			return said(err)
		}
		if db.Truthy() {
			l.drop(db)
			try(func() js.Value { return db.Call("close") })
		}
	}
	return fmt.Errorf("the tablet's storage is lost and did not come back in %d tries: %w", tries, err)
}

// transaction is one that is under way. It closes by itself as soon as nothing
// is asked of it: between two requests nothing else may be waited for.
type transaction struct {
	ctx context.Context
	js  js.Value
}

func (l *Log) once(ctx context.Context, db js.Value, mode string, stores []string, do func(*transaction) error) error {
	names := make([]any, len(stores))
	for i, name := range stores {
		names[i] = name
	}
	t, err := try(func() js.Value {
		return db.Call("transaction", names, mode, map[string]any{"durability": "strict"})
	})
	if err != nil {
		return err
	}
	ended := make(chan error, 1)
	var completed, aborted js.Func
	release := func() {
		t.Set("oncomplete", js.Null())
		t.Set("onabort", js.Null())
		completed.Release()
		aborted.Release()
	}
	completed = js.FuncOf(func(js.Value, []js.Value) any {
		release()
		ended <- nil
		return nil
	})
	aborted = js.FuncOf(func(_ js.Value, args []js.Value) any {
		release()
		ended <- errorOf(t.Get("error"))
		return nil
	})
	t.Set("oncomplete", completed)
	t.Set("onabort", aborted)

	abort := func() { try(func() js.Value { return t.Call("abort") }) } // unless it has ended already
	finished := false
	defer func() {
		if !finished { // do panics: what it asked for so far must not be kept
			abort()
		}
	}()
	wrong := do(&transaction{ctx, t})
	finished = true
	if wrong != nil {
		abort()
	} else {
		// All requests are made. Without this the browser would look for more.
		try(func() js.Value { return t.Call("commit") })
	}
	// From here on the outcome is the browser's: whether the context ends
	// meanwhile changes nothing.
	timer := time.NewTimer(10 * l.patience)
	defer timer.Stop()
	select {
	case err = <-ended:
	case <-timer.C:
		err = errors.New("the browser does not say whether it has kept it")
	}
	if wrong != nil {
		// A request fails and the transaction with it: the latter knows why.
		if e := (domError{}); errors.As(err, &e) && e.name == "QuotaExceededError" {
			return err
		}
		return wrong
	}
	return err
}

// answer waits for a request of the transaction.
func (tx *transaction) answer(ask func() js.Value) (js.Value, error) {
	answers, err := tx.answers([]func() js.Value{ask})
	if err != nil {
		return js.Undefined(), err
	}
	return answers[0], nil
}

// answers makes several requests at once and waits for all.
func (tx *transaction) answers(asks []func() js.Value) ([]js.Value, error) {
	requests := make([]js.Value, 0, len(asks))
	for _, ask := range asks {
		request, err := try(ask)
		if err != nil {
			return nil, err
		}
		requests = append(requests, request)
	}
	type answer struct {
		n   int
		err error
	}
	arrived := make(chan answer, len(requests))
	handlers := make([]js.Func, 0, 2*len(requests))
	defer func() {
		for _, request := range requests {
			request.Set("onsuccess", js.Null())
			request.Set("onerror", js.Null())
		}
		for _, f := range handlers {
			f.Release()
		}
	}()
	for i, request := range requests {
		got := js.FuncOf(func(js.Value, []js.Value) any {
			arrived <- answer{n: i}
			return nil
		})
		failed := js.FuncOf(func(js.Value, []js.Value) any {
			arrived <- answer{i, errorOf(request.Get("error"))}
			return nil
		})
		handlers = append(handlers, got, failed)
		request.Set("onsuccess", got)
		request.Set("onerror", failed)
	}
	values := make([]js.Value, len(requests))
	for range requests {
		select {
		case a := <-arrived:
			if a.err != nil {
				return nil, a.err
			}
			values[a.n] = requests[a.n].Get("result")
		case <-tx.ctx.Done():
			return nil, tx.ctx.Err()
		}
	}
	return values, nil
}

// do makes a request whose answer nobody needs: if it fails, so does the
// transaction.
func (tx *transaction) do(ask func() js.Value) error {
	_, err := try(ask)
	return err
}

func (tx *transaction) store(name string) js.Value { return tx.js.Call("objectStore", name) }

// device reads the storage's id, or makes it: on the first start, and after
// the browser has emptied the storage.
func (tx *transaction) device() (string, error) {
	v, err := tx.answer(func() js.Value { return tx.store(storageStore).Call("get", "device") })
	if err != nil {
		return "", err
	}
	if v.Type() == js.TypeString {
		return v.String(), nil
	}
	device := store.NewDevice()
	return device, tx.setDevice(device)
}

func (tx *transaction) setDevice(device string) error {
	return tx.do(func() js.Value { return tx.store(storageStore).Call("put", device, "device") })
}

// between is a range of keys, both ends in it.
func between(from, to []any) js.Value {
	return js.Global().Get("IDBKeyRange").Call("bound", from, to)
}

// under is the range of all keys that begin with these parts: lists come after
// everything else.
func under(parts ...any) js.Value {
	return between(parts, append(slices.Clip(parts), []any{}))
}

func bytesOf(v js.Value) []byte {
	b := make([]byte, v.Get("byteLength").Int())
	js.CopyBytesToGo(b, v)
	return b
}

func arrayOf(b []byte) js.Value {
	v := js.Global().Get("Uint8Array").New(len(b))
	js.CopyBytesToJS(v, b)
	return v
}
