package signin

import (
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/gorilla/sessions"
)

// sessionHolds is how long somebody stays signed in. From memory: NIST SP
// 800-63B asks for signing in anew at least every 30 days at its lowest level.
const sessionHolds = 30 * 24 * time.Hour

// ErrWrong says that name and password do not fit, and not which of the two is
// wrong, nor whether there is such an account or it is disabled.
var ErrWrong = errors.New("name or password do not fit")

func newCookies(k keys) *sessions.CookieStore {
	s := sessions.NewCookieStore(k.sign, k.hide)
	s.MaxAge(int(sessionHolds / time.Second))
	return s
}

// session is what a cookie carries.
type session struct {
	id      string
	account string
	epoch   int64 // the account's when it signed in
	until   int64 // Unix seconds
}

// cookieName: with the prefix browsers take the cookie only over HTTPS, from
// this host and for all of it, so that no neighbour can plant one.
func (a *Accounts) cookieName(r *http.Request) string {
	if a.secure(r) {
		return "__Host-duskline"
	}
	return "duskline"
}

// cookie is the session a request comes with, if it is one of ours and its time
// is not over.
func (a *Accounts) cookie(r *http.Request) (session, bool) {
	c, err := a.cookies.New(r, a.cookieName(r))
	if err != nil || c.IsNew {
		return session{}, false
	}
	var s session
	s.id, _ = c.Values["session"].(string)
	s.account, _ = c.Values["account"].(string)
	s.epoch, _ = c.Values["epoch"].(int64)
	s.until, _ = c.Values["until"].(int64)
	return s, s.id != "" && s.until > a.Now().Unix()
}

// begin starts a new session for an account; nothing is taken over from one
// that the request came with, which ends.
func (a *Accounts) begin(w http.ResponseWriter, r *http.Request, x Account) error {
	if err := a.end(r); err != nil {
		return err
	}
	c := sessions.NewSession(a.cookies, a.cookieName(r))
	c.Values["session"] = newID()
	c.Values["account"] = x.ID
	c.Values["epoch"] = x.epoch
	c.Values["until"] = a.Now().Add(sessionHolds).Unix()
	return a.send(w, r, c, int(sessionHolds/time.Second))
}

func (a *Accounts) send(w http.ResponseWriter, r *http.Request, c *sessions.Session, age int) error {
	c.Options = &sessions.Options{Path: "/", MaxAge: age, HttpOnly: true, SameSite: http.SameSiteLaxMode, Secure: a.secure(r)}
	return doing("session", a.cookies.Save(r, w, c))
}

// end notes that the session a request comes with is over, so that a copy of
// its cookie is worth nothing either.
func (a *Accounts) end(r *http.Request) error {
	s, ok := a.cookie(r)
	if !ok {
		return nil
	}
	ctx := r.Context()
	return doing("end a session", a.Database.Change(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `DELETE FROM ended WHERE until < ?`, a.Now().Unix()); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO ended (session, until) VALUES (?, ?) ON CONFLICT (session) DO NOTHING`, s.id, s.until)
		return err
	}))
}

// SignIn begins a session for the account with this name and password. It is
// ErrWrong if they do not fit, TooMany if that was tried too often.
//
// A name that nobody has takes the same work as one that somebody has.
func (a *Accounts) SignIn(w http.ResponseWriter, r *http.Request, login, password string) error {
	ctx := r.Context()
	login = loginOf(login)
	address := a.address(r)
	if err := a.addresses.take(address, a.Now()); err != nil {
		a.Logf("sign-in: too many tries from %s", address)
		return err
	}
	if err := a.accounts.take(login, a.Now()); err != nil {
		a.Logf("sign-in: too many tries for one account, now from %s", address)
		return err
	}
	var x Account
	err := a.Database.Read(ctx, func(tx *sql.Tx) (err error) {
		if x, err = a.account(ctx, tx, `WHERE login = ?`, login); errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	})
	if err != nil {
		return doing("sign in", err)
	}
	fits, stale, err := a.passwords.fit(x.password, password)
	if err != nil {
		return doing("sign in "+x.ID, err)
	}
	if !fits || !x.Disabled.IsZero() {
		return ErrWrong
	}
	a.addresses.giveBack(address)
	a.accounts.giveBack(login)
	hash := x.password
	if stale {
		hash = a.passwords.hash(password)
	}
	err = a.Database.Change(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE account SET seen = ?, password = ? WHERE account = ? AND password = ?`, unix(a.Now()), hash, x.ID, x.password)
		return err
	})
	if err != nil {
		return doing("sign in", err)
	}
	return a.begin(w, r, x)
}

// SignOut ends the session of a request.
func (a *Accounts) SignOut(w http.ResponseWriter, r *http.Request) error {
	if err := a.end(r); err != nil {
		return err
	}
	return a.send(w, r, sessions.NewSession(a.cookies, a.cookieName(r)), -1)
}

// ChangePassword gives the account that asks another password and a new
// session; all its other sessions end. The old password counts as a try:
// ErrWrong, TooMany. A new one that will not do is Refused.
func (a *Accounts) ChangePassword(w http.ResponseWriter, r *http.Request, old, password string) error {
	ctx := r.Context()
	x, ok := Asking(r)
	if !ok {
		return doing("change a password", fs.ErrPermission)
	}
	if say := passwordFault(password, x.Login, x.Name); say != "" {
		return Refused{"password": say}
	}
	if err := a.accounts.take(x.Login, a.Now()); err != nil {
		return err
	}
	fits, _, err := a.passwords.fit(x.password, old)
	if err != nil {
		return doing("change a password", err)
	}
	if !fits {
		return ErrWrong
	}
	a.accounts.giveBack(x.Login)
	hash := a.passwords.hash(password)
	err = a.Database.Change(ctx, func(tx *sql.Tx) error {
		now, err := a.account(ctx, tx, `WHERE account = ?`, x.ID)
		if err != nil {
			return err
		}
		if now.password != x.password || now.epoch != x.epoch { // changed meanwhile, elsewhere
			return ErrWrong
		}
		x.epoch++
		return a.setPassword(ctx, tx, x, hash)
	})
	if err != nil {
		return doing("change a password", err)
	}
	return a.begin(w, r, x)
}

type asking struct{}

// Asking gives the account of whoever asks; false if nobody is signed in. It
// knows only what came through Guard.
func Asking(r *http.Request) (Account, bool) {
	x, ok := r.Context().Value(asking{}).(Account)
	return x, ok
}

// of gives the account of a request's session, if that still holds.
func (a *Accounts) of(r *http.Request) (x Account, ok bool, err error) {
	s, ok := a.cookie(r)
	if !ok {
		return x, false, nil
	}
	ctx := r.Context()
	var over bool
	err = a.Database.Read(ctx, func(tx *sql.Tx) (err error) {
		if x, err = a.account(ctx, tx, `WHERE account = ?`, s.account); errors.Is(err, fs.ErrNotExist) {
			over = true
			return nil
		} else if err != nil {
			return err
		}
		return tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM ended WHERE session = ?)`, s.id).Scan(&over)
	})
	ok = err == nil && !over && x.Disabled.IsZero() && x.epoch == s.epoch
	return x, ok, doing("session", err)
}

// Guard lets requests of people who are signed in through to a site, and sends
// others to /sign-in, from where they come back. Paths in open are for everybody,
// and so is all below one that ends with a slash.
func (a *Accounts) Guard(site http.Handler, open ...string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasPrefix(r.URL.Path, "/static/") { // the same for everybody
			site.ServeHTTP(w, r)
			return
		}
		x, ok, err := a.of(r)
		switch {
		case err != nil:
			a.Logf("%s %s: %v", r.Method, r.URL.Path, err)
			w.Header().Set("Cache-Control", "no-store")
			http.Error(w, "This did not work: the server cannot read its accounts. Try again in a minute.", http.StatusInternalServerError)
		case ok:
			site.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), asking{}, x)))
		case isOpen(r.URL.Path, open):
			site.ServeHTTP(w, r)
		default:
			w.Header().Set("Cache-Control", "no-store")
			http.Redirect(w, r, "/sign-in?"+comeBack(r).Encode(), http.StatusSeeOther)
		}
	})
}

// comeBack is what signing in needs to know to go on where somebody was. A form
// cannot be sent again for him: he comes back to the page it was on, and is told.
func comeBack(r *http.Request) url.Values {
	if r.Method == http.MethodGet || r.Method == http.MethodHead {
		return url.Values{"next": {r.URL.RequestURI()}}
	}
	v := url.Values{"unsaved": {"1"}, "next": {"/"}}
	if from, err := url.Parse(r.Referer()); err == nil && from.Host == r.Host {
		v.Set("next", from.RequestURI())
	}
	return v
}

func isOpen(path string, open []string) bool {
	for _, one := range open {
		if path == one || strings.HasSuffix(one, "/") && strings.HasPrefix(path, one) {
			return true
		}
	}
	return false
}
