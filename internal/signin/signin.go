// Package signin knows who may use the site: accounts with their passwords and
// parts on jobs, the sessions of those who signed in, and the tablets that may
// exchange entries.
//
// None of this is an entry. An account points to a person of each job it writes
// in, and entries name that person.
package signin

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"encoding/base32"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/gorilla/sessions"
)

// Database is where accounts are kept, with the tables of the migrations.
type Database interface {
	// Change runs do in a writing transaction and commits if it gives no error.
	Change(ctx context.Context, do func(*sql.Tx) error) error
	// Read runs do in a transaction that reads one state.
	Read(ctx context.Context, do func(*sql.Tx) error) error
}

// Config is what Accounts are opened with.
type Config struct {
	Database Database
	Folder   string // where the keys of the cookies are kept
	Now      func() time.Time
	Logf     func(format string, args ...any)
	// Proxied says that a proxy stands before the server and is trusted: its
	// X-Forwarded-Proto tells whether the browser speaks HTTPS, the last address
	// in its X-Forwarded-For who is asking. Without it those headers are what
	// anybody may write.
	Proxied bool
	Cost    Cost // of checking a password; zero is the usual cost
}

// Accounts are those of one company. All methods may be called at the same time.
type Accounts struct {
	Config
	passwords passwords
	cookies   *sessions.CookieStore
	accounts  *tries // at signing in, by account
	addresses *tries // at signing in and at codes, by address

	first struct {
		sync.Mutex
		code string
	}
}

// Open opens the accounts. The keys of the cookies are read from the folder,
// or made on the first start; keys that others may read are an error.
func Open(c Config) (*Accounts, error) {
	keys, err := readKeys(c.Folder)
	if err != nil {
		return nil, err
	}
	if c.Cost == (Cost{}) {
		c.Cost = usualCost
	}
	a := &Accounts{Config: c, passwords: newPasswords(c.Cost), cookies: newCookies(keys)}
	a.accounts = &tries{most: triesOfAccount, within: triesWithin}
	a.addresses = &tries{most: triesOfAddress, within: triesWithin}
	return a, nil
}

// Refused says of each field by its name, or of the whole with "", what is
// wrong with it. Nothing was done.
type Refused map[string]string

func (r Refused) Error() string {
	var says []string
	for _, say := range r {
		says = append(says, say)
	}
	slices.Sort(says)
	return strings.Join(says, " ")
}

// orNil is nil when nothing is wrong.
func (r Refused) orNil() error {
	if len(r) == 0 {
		return nil
	}
	return r
}

// code makes a word that nobody guesses: 130 random bits in 26 characters.
func code() string { return rand.Text() }

func hashOf(code string) []byte {
	sum := sha256.Sum256([]byte(code))
	return sum[:]
}

// newID makes the id of an account or a session: 80 random bits in 16
// characters.
func newID() string {
	var b [10]byte
	rand.Read(b[:])
	return strings.ToLower(base32.StdEncoding.EncodeToString(b[:]))
}

// unix is a moment as it is kept; 0 for none.
func unix(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.Unix()
}

func moment(seconds int64) time.Time {
	if seconds == 0 {
		return time.Time{}
	}
	return time.Unix(seconds, 0).UTC()
}

// one tells whether a statement changed a row.
func one(r sql.Result, err error) (bool, error) {
	if err != nil {
		return false, err
	}
	n, err := r.RowsAffected()
	return n > 0, err
}

// each calls scan for each row of an answer.
func each(ctx context.Context, tx *sql.Tx, scan func(*sql.Rows) error, query string, args ...any) error {
	rows, err := tx.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return errors.Join(rows.Err(), rows.Close())
}

// doing names what was being done, for whoever reads the log.
func doing(what string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", what, err)
}
