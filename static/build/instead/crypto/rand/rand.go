//go:build js

// Package rand stands in for crypto/rand in the tablet's program: the bytes come
// from the browser's own generator, as there, but not by way of another that is
// seeded from it.
package rand

import (
	"crypto/internal/sysrand"
	"io"
)

type reader struct{}

func (reader) Read(b []byte) (int, error) { return Read(b) }

// Reader reads from the browser's generator.
var Reader io.Reader = reader{}

// Read fills b. It never returns an error.
func Read(b []byte) (int, error) {
	sysrand.Read(b)
	return len(b), nil
}
