// Package indexeddb keeps the entries of jobs in the browser: the tablet's log.
// It is compiled for js/wasm only.
//
// Entries are kept in batches, one entry a line: single ones took thirty times
// as long to write. What a job comes to as a whole (how far its streams are
// held, where their batches begin, its marks) is one small record beside them.
//
// Each method is one transaction of strict durability and succeeds only when
// the browser says that it is complete. Numbers are given out inside it, so
// that two tabs, or a tab and the worker, never give the same.
package indexeddb
