package signin

import (
	"context"
	"database/sql"
	"fmt"
	"io/fs"
	"net/http"
	"strings"
	"time"
)

// LinkHolds is how long a link that was handed over can be used. Common
// practice, no source.
const LinkHolds = 7 * 24 * time.Hour

// Invite makes an account that has no password yet, and the code of a link with
// which its person chooses one. The code is kept nowhere: it cannot be shown a
// second time. Names that will not do are Refused.
func (a *Accounts) Invite(ctx context.Context, login, name string, parts ...Part) (id, linkCode string, err error) {
	x := Account{ID: newID(), Login: loginOf(login), Name: strings.TrimSpace(name), Parts: parts}
	if err := faults(x).orNil(); err != nil {
		return "", "", err
	}
	linkCode = code()
	err = a.Database.Change(ctx, func(tx *sql.Tx) error {
		if err := a.make(ctx, tx, x); err != nil {
			return err
		}
		return a.setLink(ctx, tx, x.ID, linkCode)
	})
	return x.ID, linkCode, doing("invite", err)
}

// NewLink makes the code of a new link for an account, in the place of an
// earlier one: for somebody who has forgotten the password, or was too late.
// The old password holds until another is chosen.
func (a *Accounts) NewLink(ctx context.Context, id string) (string, error) {
	c := code()
	err := a.Database.Change(ctx, func(tx *sql.Tx) error {
		x, err := a.account(ctx, tx, `WHERE account = ?`, id)
		if err != nil {
			return err
		}
		if !x.Disabled.IsZero() {
			return Refused{"": "This account is disabled. Enable it first."}
		}
		return a.setLink(ctx, tx, id, c)
	})
	return c, doing("make a link", err)
}

func (a *Accounts) setLink(ctx context.Context, tx *sql.Tx, id, code string) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO link (account, code, until) VALUES (?, ?, ?)
		ON CONFLICT (account) DO UPDATE SET code = excluded.code, until = excluded.until`, id, hashOf(code), unix(a.Now().Add(LinkHolds)))
	return err
}

// Invited gives the account of a link's code; fs.ErrNotExist if the link was
// used, has run out, was replaced, or never was.
func (a *Accounts) Invited(ctx context.Context, code string) (x Account, err error) {
	err = a.Database.Read(ctx, func(tx *sql.Tx) error {
		x, err = a.invited(ctx, tx, code)
		return err
	})
	return x, doing("open a link", err)
}

func (a *Accounts) invited(ctx context.Context, tx *sql.Tx, code string) (Account, error) {
	x, err := a.account(ctx, tx, `WHERE account = (SELECT account FROM link WHERE code = ?)`, hashOf(code))
	if err == nil && (x.Link.IsZero() || !x.Disabled.IsZero()) {
		err = fmt.Errorf("link: %w", fs.ErrNotExist)
	}
	return x, err
}

// Accept uses a link up: the account gets this password, its earlier sessions
// end, and whoever asks is signed in. A password that will not do is Refused
// and leaves the link as it is; a link that does not hold is fs.ErrNotExist.
func (a *Accounts) Accept(w http.ResponseWriter, r *http.Request, code, password string) error {
	ctx := r.Context()
	x, err := a.Invited(ctx, code)
	if err != nil {
		return err
	}
	if say := passwordFault(password, x.Login, x.Name); say != "" {
		return Refused{"password": say}
	}
	hash := a.passwords.hash(password)
	err = a.Database.Change(ctx, func(tx *sql.Tx) error {
		if x, err = a.invited(ctx, tx, code); err != nil { // another may have been faster
			return err
		}
		x.epoch++
		return a.setPassword(ctx, tx, x, hash)
	})
	if err != nil {
		return doing("use a link", err)
	}
	a.accounts.forget(x.Login)
	return a.begin(w, r, x)
}

// setPassword keeps a new password; links made before hold no longer.
func (a *Accounts) setPassword(ctx context.Context, tx *sql.Tx, x Account, hash string) error {
	if _, err := tx.ExecContext(ctx, `UPDATE account SET password = ?, epoch = ?, seen = ? WHERE account = ?`, hash, x.epoch, unix(a.Now()), x.ID); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `DELETE FROM link WHERE account = ?`, x.ID)
	return err
}
