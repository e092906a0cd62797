package signin

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/base32"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"strings"
	"time"
)

// EnrolHolds is how long a code for enrolling a tablet can be used: long enough
// to walk over with it. Common practice, no source.
const EnrolHolds = time.Hour

// Offer makes a code with which one tablet is enrolled, once, under a name and
// for some jobs: 40 random bits in two groups of four, to be typed or shown. It
// is kept nowhere. What will not do is Refused: name, jobs.
func (t Tablets) Offer(ctx context.Context, name string, jobs ...string) (code string, until time.Time, err error) {
	name = strings.TrimSpace(name)
	says := Refused{}
	if say := textFault(name, 80); say != "" {
		says["name"] = say
	} else if name == "" {
		says["name"] = "Give the tablet a name, as it is called in the office."
	}
	if len(jobs) == 0 {
		says["jobs"] = "Choose the jobs that this tablet is for."
	}
	if err := says.orNil(); err != nil {
		return "", until, err
	}
	list, err := json.Marshal(jobs)
	if err != nil {
		return "", until, err
	}
	var b [5]byte
	rand.Read(b[:])
	code = base32.StdEncoding.EncodeToString(b[:])
	code = code[:4] + "-" + code[4:]
	until = t.Now().Add(EnrolHolds)
	err = t.Database.Change(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `DELETE FROM enrolment WHERE until < ?`, unix(t.Now())); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO enrolment (code, name, jobs, until) VALUES (?, ?, ?, ?)`, hashOf(typedCode(code)), name, string(list), unix(until))
		return err
	})
	return code, until, doing("offer to enrol a tablet", err)
}

// Redeem uses a code of Offer up: the tablet with that device id is enrolled,
// and its key given. fs.ErrNotExist if the code was used, has run out, or never
// was.
func (t Tablets) Redeem(ctx context.Context, code, id string) (x Tablet, key string, err error) {
	if id == "" || textFault(id, 64) != "" {
		return x, "", Refused{"device": "The tablet did not say who it is. Open the page again on the tablet."}
	}
	key = newKey()
	err = t.Database.Change(ctx, func(tx *sql.Tx) error {
		var name, list string
		err := tx.QueryRowContext(ctx, `DELETE FROM enrolment WHERE code = ? AND until > ? RETURNING name, jobs`, hashOf(typedCode(code)), unix(t.Now())).Scan(&name, &list)
		if errors.Is(err, sql.ErrNoRows) {
			return fmt.Errorf("code: %w", fs.ErrNotExist)
		}
		if err != nil {
			return err
		}
		var jobs []string
		if err := json.Unmarshal([]byte(list), &jobs); err != nil {
			return err
		}
		if err := t.enrol(ctx, tx, id, name, key, jobs); err != nil {
			return err
		}
		x, err = t.tablet(ctx, tx, `WHERE tablet = ?`, id)
		return err
	})
	return x, key, doing("enrol a tablet", err)
}

// Try counts a try at a code by whoever asks: TooMany after too many.
func (a *Accounts) Try(r *http.Request) error { return a.addresses.take(a.address(r), a.Now()) }

// GiveBack takes the latest try back, when it was right.
func (a *Accounts) GiveBack(r *http.Request) { a.addresses.giveBack(a.address(r)) }
