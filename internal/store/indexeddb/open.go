//go:build js && wasm

package indexeddb

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"syscall/js"
	"time"
)

// Log is a store.Log in an IndexedDB database. Other tabs and workers of the
// same site may have the same database open.
type Log struct {
	name    string
	factory js.Value // indexedDB
	// patience is how long the browser may take to open a database, and to
	// say what became of a transaction.
	patience time.Duration

	opening chan struct{} // held by the one that opens the database
	mu      sync.Mutex
	db      js.Value // undefined while it is not open
	closed  bool
	device  string
}

// Open opens the database of that name, and makes it if there is none.
func Open(ctx context.Context, name string) (*Log, error) {
	l := &Log{name: name, factory: js.Global().Get("indexedDB"), patience: 3 * time.Second, opening: make(chan struct{}, 1)}
	return l, l.start(ctx)
}

func (l *Log) start(ctx context.Context) error {
	if !l.factory.Truthy() {
		return errors.New("this browser keeps nothing: it has no IndexedDB")
	}
	var device string
	err := l.transact(ctx, "readwrite", []string{storageStore}, func(tx *transaction) (err error) {
		device, err = tx.device()
		return err
	})
	if err != nil {
		return fmt.Errorf("open the tablet's storage: %w", err)
	}
	l.setDevice(device)
	return nil
}

// Close lets go of the database. What is under way is carried through.
func (l *Log) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.closed = true
	if l.db.Truthy() {
		l.db.Call("close")
		l.db = js.Undefined()
	}
	return nil
}

// Device is the id of this storage.
func (l *Log) Device() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.device
}

func (l *Log) setDevice(device string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.device = device
}

// The object stores. What they hold may be added to, never changed: an older
// version of the program must still find its way.
const (
	storageStore = "storage" // "device" -> its id
	jobStore     = "job"     // job -> its state as JSON, in bytes
	batchStore   = "batch"   // job, stream, seq of the first entry -> see batch
	waitingStore = "waiting" // job, device, hash -> an entry that waits
	openingStore = "opening" // job, day -> an opening

	byDay  = "day"  // index of batches by job and latest day
	byForm = "form" // index of batches by job and form, for each form in it
)

const schema = 1

// upgrade makes what a database of an older schema lacks.
func upgrade(db js.Value, from int) {
	keyed := func(path ...any) map[string]any { return map[string]any{"keyPath": path} }
	if from < 1 {
		db.Call("createObjectStore", storageStore)
		db.Call("createObjectStore", jobStore)
		batches := db.Call("createObjectStore", batchStore, keyed("job", "stream", "first"))
		batches.Call("createIndex", byDay, []any{"job", "last"})
		batches.Call("createIndex", byForm, "forms", map[string]any{"multiEntry": true})
		db.Call("createObjectStore", waitingStore, keyed("job", "device", "hash"))
		db.Call("createObjectStore", openingStore, keyed("job", "day"))
	}
}

// errSlow says that the browser does not answer.
var errSlow = errors.New("the browser does not open its storage")

var errClosed = errors.New("the log is closed")

// handle gives the open database. Where it is not open it tries to open it,
// and says so by fresh.
func (l *Log) handle(ctx context.Context) (db js.Value, fresh bool, err error) {
	select {
	case <-ctx.Done():
		return js.Undefined(), false, ctx.Err()
	case l.opening <- struct{}{}:
		defer func() { <-l.opening }()
	}
	l.mu.Lock()
	db, closed := l.db, l.closed
	l.mu.Unlock()
	if closed {
		return db, false, errClosed
	}
	if db.Truthy() {
		return db, false, nil
	}
	db, err = l.open(ctx, schema)
	if e := (domError{}); errors.As(err, &e) && e.name == "VersionError" {
		// A later version of the program has been here and went back.
		db, err = l.open(ctx, 0)
	}
	if err != nil {
		return db, true, err
	}
	// Another tab wants to change the schema or delete the database, or the
	// browser takes the handle away: it is opened again when it is needed.
	let := js.FuncOf(func(js.Value, []js.Value) any {
		db.Call("close")
		l.drop(db)
		return nil
	})
	db.Set("onversionchange", let)
	db.Set("onclose", let)
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		db.Call("close")
		return js.Undefined(), true, errClosed
	}
	l.db = db
	return db, true, nil
}

// drop forgets a handle that is of no use any more.
func (l *Log) drop(db js.Value) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.db.Truthy() && l.db.Equal(db) {
		l.db = js.Undefined()
	}
}

// open opens the database with a schema, 0 for the one it has.
func (l *Log) open(ctx context.Context, version int) (js.Value, error) {
	args := []any{l.name}
	if version > 0 {
		args = append(args, version)
	}
	request, err := try(func() js.Value { return l.factory.Call("open", args...) })
	if err != nil {
		return js.Undefined(), err
	}
	type answer struct {
		db  js.Value
		err error
	}
	var late bool // nobody waits for the answer any more
	answers := make(chan answer, 1)
	var opened, failed, upgrading js.Func
	settle := func(a answer) {
		request.Set("onsuccess", js.Null())
		request.Set("onerror", js.Null())
		request.Set("onupgradeneeded", js.Null())
		opened.Release()
		failed.Release()
		upgrading.Release()
		if late && a.err == nil {
			a.db.Call("close")
		}
		answers <- a
	}
	opened = js.FuncOf(func(js.Value, []js.Value) any {
		settle(answer{db: request.Get("result")})
		return nil
	})
	failed = js.FuncOf(func(_ js.Value, args []js.Value) any {
		args[0].Call("preventDefault")
		settle(answer{err: errorOf(request.Get("error"))})
		return nil
	})
	upgrading = js.FuncOf(func(_ js.Value, args []js.Value) any {
		_, err := try(func() js.Value {
			upgrade(request.Get("result"), args[0].Get("oldVersion").Int())
			return js.Null()
		})
		if err != nil {
			request.Get("transaction").Call("abort") // and so the request fails
		}
		return nil
	})
	request.Set("onsuccess", opened)
	request.Set("onerror", failed)
	request.Set("onupgradeneeded", upgrading)
	timer := time.NewTimer(l.patience)
	defer timer.Stop()
	select {
	case a := <-answers:
		return a.db, a.err
	case <-timer.C:
		err = errSlow
	case <-ctx.Done():
		err = ctx.Err()
	}
	late = true
	select {
	case a := <-answers: // at the same moment
		if a.err == nil {
			a.db.Call("close")
		}
	default:
	}
	return js.Undefined(), err
}
