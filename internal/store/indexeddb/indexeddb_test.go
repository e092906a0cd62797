//go:build js && wasm

package indexeddb

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"syscall/js"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/store"
	"duskline/internal/store/storetest"
)

func TestIndexedDB(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Storage {
		name := fresh(t)
		var log *Log
		return func() store.Log {
			if log != nil {
				log.Close()
			}
			log = opened(t, name)
			return log
		}
	})
}

// fresh gives the name of a database that is deleted with the test.
func fresh(t testing.TB) string {
	name := fmt.Sprint(t.Name(), " ", time.Now().UnixNano())
	t.Cleanup(func() { js.Global().Get("indexedDB").Call("deleteDatabase", name) })
	return name
}

func opened(t testing.TB, name string) *Log {
	t.Helper()
	log, err := Open(t.Context(), name)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { log.Close() })
	return log
}

func notes(form string, n int, day daylog.Date) []daylog.Entry {
	at := time.Date(2026, 10, 5, 12, 0, 0, 0, time.UTC)
	drafts := make([]daylog.Entry, n)
	for i := range drafts {
		drafts[i] = daylog.Entry{ID: daylog.FormID(form, i), Day: day, At: at, Made: at, Body: &daylog.Note{Text: "invented"}}
	}
	return drafts
}

func write(t testing.TB, log *Log, drafts ...daylog.Entry) {
	t.Helper()
	if _, err := log.Write(t.Context(), "job", drafts...); err != nil {
		t.Fatal(err)
	}
}

// holds fails unless so many entries are held, on a chain without a gap.
func holds(t testing.TB, log *Log, want int) {
	t.Helper()
	entries, err := log.Entries(t.Context(), "job", "")
	if err != nil {
		t.Fatal(err)
	}
	raws := make([][]byte, len(entries))
	for i := range entries {
		raws[i] = entries[i].Raw()
	}
	threads, err := daylog.Thread("job", raws)
	if err != nil {
		t.Fatal(err)
	}
	heads, err := log.Heads(t.Context(), "job")
	if err != nil {
		t.Fatal(err)
	}
	if len(entries) != want || fmt.Sprint(heads) != fmt.Sprint(threads.Heads()) {
		t.Fatalf("%d entries are held, want %d; heads %v, want %v", len(entries), want, heads, threads.Heads())
	}
}

// replace puts another function in the place of a method of the browser. It
// gets the object, the arguments and the method that was there.
func replace(t testing.TB, object js.Value, method string, do func(this js.Value, args []js.Value, was js.Value) any) (undo func()) {
	was := object.Get(method)
	f := js.FuncOf(func(this js.Value, args []js.Value) any { return do(this, args, was) })
	object.Set(method, f)
	done := false
	undo = func() {
		if !done {
			done = true
			object.Set(method, was)
			f.Release()
		}
	}
	t.Cleanup(undo)
	return undo
}

func prototype(class string) js.Value { return js.Global().Get(class).Get("prototype") }

// throw makes a function of the browser throw: Go's own cannot.
func throw(name string) js.Value {
	return js.Global().Get("Function").New(fmt.Sprintf("throw new DOMException('on purpose', %q)", name))
}

func apply(was, this js.Value, args []js.Value) js.Value {
	list := make([]any, len(args))
	for i, a := range args {
		list[i] = a
	}
	return was.Call("apply", this, list)
}

func TestStrictDurability(t *testing.T) {
	log := opened(t, fresh(t))
	var asked []string
	replace(t, prototype("IDBDatabase"), "transaction", func(this js.Value, args []js.Value, was js.Value) any {
		asked = append(asked, fmt.Sprint(args[1], " ", args[2].Get("durability")))
		return apply(was, this, args)
	})
	write(t, log, notes("a", 3, "2026-10-05")...)
	if want := []string{"readwrite strict"}; !slices.Equal(asked, want) {
		t.Errorf("writing asked for the transactions %q, want %q", asked, want)
	}
}

// TestSavedOnlyWhenComplete looks on from the browser's side: at the moment
// Write returns, its transaction has said that it is complete.
func TestSavedOnlyWhenComplete(t *testing.T) {
	log := opened(t, fresh(t))
	complete := false
	listen := js.FuncOf(func(js.Value, []js.Value) any { complete = true; return nil })
	defer listen.Release()
	replace(t, prototype("IDBDatabase"), "transaction", func(this js.Value, args []js.Value, was js.Value) any {
		tx := apply(was, this, args)
		tx.Call("addEventListener", "complete", listen)
		return tx
	})
	for i := range 20 {
		complete = false
		write(t, log, notes(fmt.Sprint("f", i), 2, "2026-10-05")...)
		if !complete {
			t.Fatal("Write returned before its transaction was complete")
		}
	}
}

func TestHandleLost(t *testing.T) {
	for _, times := range []int{0, 1, 2} {
		log := opened(t, fresh(t))
		write(t, log, notes("a", 2, "2026-10-05")...)
		left := times
		opens := 0
		undo := replace(t, log.factory, "open", func(this js.Value, args []js.Value, was js.Value) any {
			opens++
			request := apply(was, this, args)
			if left > 0 { // what is opened is dead at once
				left--
				dead := js.FuncOf(func(js.Value, []js.Value) any { request.Get("result").Call("close"); return nil })
				request.Call("addEventListener", "success", dead)
			}
			return request
		})
		log.db.Call("close")
		write(t, log, notes("b", 2, "2026-10-05")...)
		undo()
		holds(t, log, 4)
		if opens != times+1 {
			t.Errorf("with %d dead handles more it was opened %d times, want %d", times, opens, times+1)
		}
	}

	log := opened(t, fresh(t))
	write(t, log, notes("a", 2, "2026-10-05")...)
	undo := replace(t, log.factory, "open", func(this js.Value, args []js.Value, was js.Value) any {
		request := apply(was, this, args)
		dead := js.FuncOf(func(js.Value, []js.Value) any { request.Get("result").Call("close"); return nil })
		request.Call("addEventListener", "success", dead)
		return request
	})
	log.db.Call("close")
	_, err := log.Write(t.Context(), "job", notes("b", 2, "2026-10-05")...)
	if err == nil || !strings.Contains(err.Error(), "did not come back in 3 tries") {
		t.Errorf("with handles that are always dead: %v", err)
	}
	if _, err := log.Heads(t.Context(), "job"); err == nil {
		t.Error("with handles that are always dead something was read")
	}
	undo()
	holds(t, log, 2)
}

// TestConnectionLost has the transaction fail while it is under way: it is done
// again as a whole.
func TestConnectionLost(t *testing.T) {
	log := opened(t, fresh(t))
	write(t, log, notes("a", 2, "2026-10-05")...)
	for _, method := range []string{"get", "put"} {
		for k := 1; k <= 2; k++ {
			calls := 0
			undo := replace(t, prototype("IDBObjectStore"), method, func(this js.Value, args []js.Value, was js.Value) any {
				request := apply(was, this, args)
				if calls++; calls == k {
					this.Get("transaction").Call("abort")
				}
				return request
			})
			entries, err := log.Write(t.Context(), "job", notes(fmt.Sprint(method, k), 2, "2026-10-05")...)
			undo()
			if err != nil || len(entries) != 2 {
				t.Errorf("broken off at %s number %d: %d entries, %v", method, k, len(entries), err)
			}
		}
	}
	holds(t, log, 10)
}

// TestEachCallFails lets the k-th request of a Write be refused, for every k.
func TestEachCallFails(t *testing.T) {
	log := opened(t, fresh(t))
	write(t, log, notes("a", 2, "2026-10-05")...)
	held, failed := 2, 0
	for _, method := range []string{"get", "getAll", "put", "delete"} {
		for k := 1; ; k++ {
			calls, hit := 0, false
			class := "IDBObjectStore"
			if method == "getAll" {
				class = "IDBIndex"
			}
			undo := replace(t, prototype(class), method, func(this js.Value, args []js.Value, was js.Value) any {
				if calls++; calls == k {
					hit = true
					return js.Null() // no request at all: nothing more can be asked of it
				}
				return apply(was, this, args)
			})
			refuse := prototype(class).Get(method)
			prototype(class).Set(method, js.Global().Get("Function").New("f", `return function(...args) {
				const request = f.apply(this, args);
				if (request === null) throw new DOMException("on purpose", "DataError");
				return request;
			}`).Invoke(refuse))
			form := fmt.Sprint(method, k)
			_, err := log.Write(t.Context(), "job", notes(form, 3, "2026-10-05")...)
			undo()
			if hit == (err == nil) {
				t.Errorf("%s number %d refused (%v): %v", method, k, hit, err)
			}
			if err == nil {
				held += 3
				holds(t, log, held)
				break
			}
			failed++
			holds(t, log, held)
		}
	}
	if failed < 5 {
		t.Errorf("only %d calls were refused: the test shows nothing", failed)
	}
}

func TestFull(t *testing.T) {
	log := opened(t, fresh(t))
	write(t, log, notes("a", 2, "2026-10-05")...)
	was := prototype("IDBObjectStore").Get("put")
	prototype("IDBObjectStore").Set("put", throw("QuotaExceededError"))
	_, err := log.Write(t.Context(), "job", notes("b", 2, "2026-10-05")...)
	prototype("IDBObjectStore").Set("put", was)
	if !errors.Is(err, store.ErrFull) {
		t.Errorf("with no room: %v, want store.ErrFull", err)
	}
	holds(t, log, 2)
	write(t, log, notes("b", 2, "2026-10-05")...)
	holds(t, log, 4)
}

func TestOpenHangs(t *testing.T) {
	never := js.Global().Get("Function").New("return {open() { return {} }}").Invoke()
	log := &Log{name: "hangs", factory: never, patience: 20 * time.Millisecond, opening: make(chan struct{}, 1)}
	start := time.Now()
	err := log.start(t.Context())
	if !errors.Is(err, errSlow) || time.Since(start) > 5*time.Second {
		t.Errorf("a storage that never opens: %v after %v", err, time.Since(start))
	}
	log.patience = time.Hour
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	if err := log.start(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("the context ended while it opened: %v", err)
	}

	// One that opens after all is not left open.
	name := fresh(t)
	log = opened(t, name)
	log.db.Call("close")
	late := make(chan js.Value, 10)
	undo := replace(t, log.factory, "open", func(this js.Value, args []js.Value, was js.Value) any {
		request := apply(was, this, args)
		heard := js.FuncOf(func(js.Value, []js.Value) any { late <- request.Get("result"); return nil })
		request.Call("addEventListener", "success", heard)
		return request
	})
	log.patience = 0
	if err := log.start(t.Context()); !errors.Is(err, errSlow) {
		t.Errorf("with no patience at all: %v", err)
	}
	undo()
	for range tries {
		db := <-late
		time.Sleep(10 * time.Millisecond) // the log hears of it after this test
		if _, err := try(func() js.Value { return db.Call("transaction", storageStore) }); err == nil {
			t.Error("a database that opened too late was left open")
		}
	}
	log.patience = 3 * time.Second
	write(t, log, notes("a", 1, "2026-10-05")...)
	holds(t, log, 1)

	if err := (&Log{opening: make(chan struct{}, 1)}).start(t.Context()); err == nil {
		t.Error("without IndexedDB a log was opened")
	}
}

// TestContextEndsMidway ends the context inside a transaction.
func TestContextEndsMidway(t *testing.T) {
	log := opened(t, fresh(t))
	write(t, log, notes("a", 2, "2026-10-05")...)
	for k := 1; k <= 2; k++ {
		ctx, cancel := context.WithCancel(t.Context())
		calls := 0
		undo := replace(t, prototype("IDBObjectStore"), "get", func(this js.Value, args []js.Value, was js.Value) any {
			if calls++; calls == k {
				cancel()
			}
			return apply(was, this, args)
		})
		_, err := log.Write(ctx, "job", notes("b", 2, "2026-10-05")...)
		undo()
		cancel()
		if err != nil && !errors.Is(err, context.Canceled) {
			t.Errorf("ended at request %d: %v", k, err)
		}
		if err == nil { // it had all it needed already
			holds(t, log, 4)
			return
		}
		holds(t, log, 2)
	}
	write(t, log, notes("b", 2, "2026-10-05")...)
	holds(t, log, 4)
}

// TestPanicMidway panics inside a transaction, as a bug might: what was asked
// for before must not stay.
func TestPanicMidway(t *testing.T) {
	log := opened(t, fresh(t))
	write(t, log, notes("a", 2, "2026-10-05")...)
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the panic was swallowed")
			}
		}()
		log.transact(t.Context(), "readwrite", everything, func(tx *transaction) error {
			if err := tx.setDevice("nobody"); err != nil {
				return err
			}
			panic("on purpose")
		})
	}()
	device := log.Device()
	write(t, log, notes("b", 2, "2026-10-05")...)
	if log.Device() != device {
		t.Errorf("half of a transaction was kept: the device is %q", log.Device())
	}
	holds(t, log, 4)
}

// TestTwoTabs has two logs open on one database.
func TestTwoTabs(t *testing.T) {
	name := fresh(t)
	one, two := opened(t, name), opened(t, name)
	if one.Device() != two.Device() {
		t.Fatalf("two tabs are two devices: %s and %s", one.Device(), two.Device())
	}
	done := make(chan error)
	for i, log := range []*Log{one, two} {
		go func() {
			for k := range 20 {
				if _, err := log.Write(t.Context(), "job", notes(fmt.Sprint(i, "-", k), 2, "2026-10-05")...); err != nil {
					done <- err
					return
				}
			}
			done <- nil
		}()
	}
	for range 2 {
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
	holds(t, one, 80)
	heads, _ := two.Heads(t.Context(), "job")
	if len(heads) != 1 {
		t.Errorf("two tabs wrote the streams %v, want one", heads)
	}
	// A tab that changes the schema is let through, and what is open goes on.
	opened := make(chan bool)
	request := js.Global().Get("indexedDB").Call("open", name, schema+1)
	got := js.FuncOf(func(js.Value, []js.Value) any {
		request.Get("result").Call("close")
		opened <- true
		return nil
	})
	defer got.Release()
	request.Set("onsuccess", got)
	select {
	case <-opened:
	case <-time.After(5 * time.Second):
		t.Fatal("an open log blocks a later version's schema")
	}
	write(t, one, notes("after", 1, "2026-10-05")...)
	holds(t, two, 81)
}

// TestEmptied has the browser throw everything away under an open log.
func TestEmptied(t *testing.T) {
	name := fresh(t)
	log := opened(t, name)
	write(t, log, notes("a", 2, "2026-10-05")...)
	device := log.Device()
	gone := make(chan bool)
	request := js.Global().Get("indexedDB").Call("deleteDatabase", name)
	got := js.FuncOf(func(js.Value, []js.Value) any { gone <- true; return nil })
	defer got.Release()
	request.Set("onsuccess", got)
	<-gone
	write(t, log, notes("b", 2, "2026-10-05")...)
	holds(t, log, 2)
	if log.Device() == device {
		t.Error("an emptied storage goes on under its old id: its numbers are taken")
	}
}

func TestClosed(t *testing.T) {
	log := opened(t, fresh(t))
	log.Close()
	if _, err := log.Write(t.Context(), "job", notes("a", 1, "2026-10-05")...); !errors.Is(err, errClosed) {
		t.Errorf("writing to a closed log: %v", err)
	}
}

// count counts the batches held of the job.
func count(t testing.TB, log *Log) (n int) {
	t.Helper()
	err := log.transact(t.Context(), "readonly", []string{batchStore}, func(tx *transaction) error {
		v, err := tx.answer(func() js.Value { return tx.store(batchStore).Call("count") })
		if err == nil {
			n = v.Int()
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// TestBatchesAreGathered writes days of small forms: each day ends as one
// batch, and reading one day does not read the others.
func TestBatchesAreGathered(t *testing.T) {
	log := opened(t, fresh(t))
	n := 0
	for day := range 4 {
		for i := range 20 {
			write(t, log, notes(fmt.Sprintf("f%d-%d", day, i), 3, daylog.Date("2026-10-05").Add(day))...)
			n += 3
		}
		if got, want := count(t, log), day+20; got != want {
			t.Errorf("at the end of day %d there are %d batches, want %d", day, got, want)
		}
	}
	holds(t, log, n)
	read := 0
	undo := replace(t, prototype("IDBIndex"), "getAll", func(this js.Value, args []js.Value, was js.Value) any {
		request := apply(was, this, args)
		heard := js.FuncOf(func(js.Value, []js.Value) any { read += request.Get("result").Length(); return nil })
		request.Call("addEventListener", "success", heard)
		return request
	})
	entries, err := log.Entries(t.Context(), "job", "2026-10-07")
	undo()
	if err != nil || len(entries) != 120 || read != 21 {
		t.Errorf("from the third day: %d entries out of %d batches (%v), want 120 out of 21", len(entries), read, err)
	}
	// A long day is gathered on the way.
	for i := range 100 {
		write(t, log, notes(fmt.Sprint("long", i), 1, "2026-10-08")...)
	}
	if got := count(t, log); got > 3+4+looseBatches+1 {
		t.Errorf("a long day left %d batches", got)
	}
	holds(t, log, n+100)
}

// BenchmarkIndexedDB measures the job of 60 x 300.
func BenchmarkIndexedDB(b *testing.B) {
	const last = daylog.Date("2026-07-02")
	log := opened(b, fresh(b))
	for _, day := range storetest.Season(60, 300) {
		write(b, log, day...)
	}
	b.Run("marks", func(b *testing.B) {
		for b.Loop() {
			if _, err := log.Marks(b.Context(), "job"); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("entries-all", func(b *testing.B) {
		for b.Loop() {
			if _, err := log.Entries(b.Context(), "job", ""); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("entries-last-day", func(b *testing.B) {
		for b.Loop() {
			if _, err := log.Entries(b.Context(), "job", last); err != nil {
				b.Fatal(err)
			}
		}
	})
	if _, err := store.Fold(b.Context(), log, "job", last); err != nil {
		b.Fatal(err)
	}
	b.Run("fold-from-opening", func(b *testing.B) {
		for b.Loop() {
			if _, err := store.Fold(b.Context(), log, "job", last); err != nil {
				b.Fatal(err)
			}
		}
	})
	n := 0
	b.Run("write-form-of-6", func(b *testing.B) {
		for b.Loop() {
			n++
			write(b, log, notes(fmt.Sprint("bench", n), 6, last)...)
		}
	})
}
