//go:build js && wasm

package indexeddb

import (
	"context"
	"errors"
	"fmt"
	"syscall/js"

	"duskline/internal/daylog"
)

// ErrChanged: something was written or came in meanwhile.
var ErrChanged = errors.New("the job has changed meanwhile")

// Drop takes a job out of the storage, if its streams reach as far as held says
// and no further; else it is ErrChanged and nothing is dropped.
func (l *Log) Drop(ctx context.Context, job string, held daylog.Heads) error {
	err := l.transact(ctx, "readwrite", everything, func(tx *transaction) error {
		s, err := tx.state(job)
		if err != nil {
			return err
		}
		if len(s.Streams) != len(held) {
			return ErrChanged
		}
		for _, t := range s.Streams {
			if held[t.Name] != (daylog.Reach{Seq: t.Seq, Head: t.Head}) {
				return ErrChanged
			}
		}
		for _, name := range []string{batchStore, waitingStore, openingStore} {
			if err := tx.do(func() js.Value { return tx.store(name).Call("delete", under(key(job))) }); err != nil {
				return err
			}
		}
		return tx.do(func() js.Value { return tx.store(jobStore).Call("delete", key(job)) })
	})
	if err != nil {
		return fmt.Errorf("drop job %s: %w", job, err)
	}
	return nil
}

// notePrefix keeps notes apart from what the log itself keeps in its store.
const notePrefix = "note/"

// Get gives what was put last under a key, nil if nothing was. Notes are what
// the host of the log has to remember beside it; they are no entries.
func (l *Log) Get(ctx context.Context, key string) (value []byte, err error) {
	err = l.transact(ctx, "readonly", []string{storageStore}, func(tx *transaction) error {
		value = nil
		v, err := tx.answer(func() js.Value { return tx.store(storageStore).Call("get", notePrefix+key) })
		if err == nil && v.Truthy() {
			value = bytesOf(v)
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read the note %s: %w", key, err)
	}
	return value, nil
}

// Put keeps a value durably under a key.
func (l *Log) Put(ctx context.Context, key string, value []byte) error {
	err := l.transact(ctx, "readwrite", []string{storageStore}, func(tx *transaction) error {
		return tx.do(func() js.Value { return tx.store(storageStore).Call("put", arrayOf(value), notePrefix+key) })
	})
	if err != nil {
		return fmt.Errorf("keep the note %s: %w", key, err)
	}
	return nil
}
