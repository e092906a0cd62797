//go:build js && wasm

package indexeddb

import (
	"fmt"
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
	t.Cleanup(func() {
		js.Global().Get("indexedDB").Call("deleteDatabase", name)
	})
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
