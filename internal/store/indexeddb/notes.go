//go:build js && wasm

package indexeddb

import (
	"context"
	"fmt"
	"syscall/js"
)

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
