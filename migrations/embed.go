// Package migrations holds the steps that bring a database up to date. They are
// numbered, go forward only, and are never changed once released.
package migrations

import "embed"

// Files are the steps: NNN_name.sql, each run once, in order, in a transaction
// of its own.
//
//go:embed *.sql
var Files embed.FS
