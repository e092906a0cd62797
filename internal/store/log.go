// Package store keeps the entries of jobs.
//
// Log is what every storage must do; Memory is one that forgets, and the
// packages below it are the server's and the tablet's. What numbering,
// threading and forks come to is decided here, once, by Number and Sort: a
// storage reads what they ask for and keeps the Change they give, all in one
// transaction. Fold makes a job of what a log holds, and Memo remembers it.
package store

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"duskline/internal/daylog"
)

// ErrFull is returned when the storage has no room left. Nothing of the
// operation was kept.
var ErrFull = errors.New("the storage is full")

// Log keeps entries of jobs. Each method is one whole operation: when it
// returns without an error, all of it is durable; with an error, nothing of it
// was kept. All may be called at the same time. A context ends the waiting,
// never half of an operation.
//
// A job is nothing but its entries: one that has none is empty everywhere, and
// comes into being with its first entry.
type Log interface {
	// Device is the id of this storage: the stream that Write writes on. It
	// stays the same while the storage lives, unless the storage finds that
	// another writes under the same id (a copied profile, a restored backup):
	// then the next Write takes a new one.
	Device() string

	// Jobs lists the jobs that have entries, in order.
	Jobs(ctx context.Context) ([]string, error)

	// Write numbers the drafts as the next entries of this device, serialises
	// each once and keeps them. A tick is one more than the highest held of
	// the job. A draft whose id is held already yields the entry held, so
	// writing a form again changes nothing. The entries come in the order of
	// their drafts. A draft needs id, day, moment and body.
	Write(ctx context.Context, job string, drafts ...daylog.Entry) ([]daylog.Entry, error)

	// Receive keeps entries that were written elsewhere, in any order, as the
	// bytes they are. Known ones are passed over. An entry whose forerunner is
	// missing waits and is given out once that has come. Nothing is refused
	// for its meaning; bytes that are no entry on one line are an error
	// (daylog.ErrUnreadable), and so are entries of another job. It returns
	// the names, in order, of the branches that this brought about. The log
	// keeps the bytes: the caller must not change them afterwards.
	Receive(ctx context.Context, job string, raws ...[]byte) (forks []string, err error)

	// Entries gives all entries with a day of from or later, "" for all, in no
	// particular order, with Stream set.
	Entries(ctx context.Context, job string, from daylog.Date) ([]daylog.Entry, error)

	// Marks gives for each day that has entries what they come to, by day.
	Marks(ctx context.Context, job string) ([]Mark, error)

	// Heads says how far each stream is held without a gap.
	Heads(ctx context.Context, job string) (daylog.Heads, error)

	// Stream gives the bytes of a stream's entries with a seq above after, in
	// order, at most limit of them, or all if limit is 0. A stream that is not
	// held is fs.ErrNotExist; it may have had that name before a fork.
	Stream(ctx context.Context, job, stream string, after int64, limit int) ([][]byte, error)

	// Openings gives the openings kept of a job, by day. They may have been
	// made from other entries than are held now: Fold tells.
	Openings(ctx context.Context, job string) ([]daylog.Opening, error)

	// KeepOpening keeps openings, each in the place of an earlier one of the
	// same day. A log keeps the latest OpeningsKept of a job by day, and drops
	// those after the day of an entry that comes in.
	KeepOpening(ctx context.Context, job string, openings ...daylog.Opening) error
}

// OpeningsKept is how many openings a log keeps of a job.
const OpeningsKept = 4

// Mark stands for the entries of one day: equal marks, equal entries, in
// whatever order they came.
type Mark struct {
	Day   daylog.Date `json:"day"`
	Count int         `json:"count"`
	Sum   daylog.Head `json:"sum"` // the entries' hashes, each bit added without carry
}

// And is the mark of the entries of both, which have no entry in common.
func (m Mark) And(o Mark) Mark {
	m.Day = o.Day
	m.Count += o.Count
	for i, b := range o.Sum {
		m.Sum[i] ^= b
	}
	return m
}

// NewDevice makes an id for a storage: 80 random bits in 16 characters.
func NewDevice() string {
	var b [10]byte
	rand.Read(b[:])
	return strings.ToLower(base32.StdEncoding.EncodeToString(b[:]))
}

// checkDraft tells what a draft lacks to be an entry.
func checkDraft(e *daylog.Entry) error {
	_, badDay := daylog.ParseDate(string(e.Day))
	switch {
	case e.ID == "":
		return errors.New("an entry without an id cannot be kept")
	case !utf8.ValidString(e.ID):
		return fmt.Errorf("entry %q: the id is no text", e.ID)
	case badDay != nil:
		return fmt.Errorf("entry %s: the day is missing: %w", e.ID, badDay)
	case e.At.IsZero():
		return fmt.Errorf("entry %s: the time is missing", e.ID)
	case e.Body == nil || e.Newer() && e.Kind == "":
		return fmt.Errorf("entry %s: it says nothing", e.ID)
	}
	return nil
}

// checkJob tells whether a job may have that id.
func checkJob(job string) error {
	if job == "" || !utf8.ValidString(job) {
		return fmt.Errorf("%q cannot be the id of a job", job)
	}
	return nil
}
