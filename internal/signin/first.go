package signin

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"database/sql"
	"encoding/base32"
	"net/http"
	"strings"
)

// FirstCode gives the code with which the first account is made, the same as
// long as the program runs; "" once there is an account. It is for whoever
// started the program, and is said nowhere else.
func (a *Accounts) FirstCode(ctx context.Context) (string, error) {
	any, err := a.Any(ctx)
	if any || err != nil {
		return "", err
	}
	a.first.Lock()
	defer a.first.Unlock()
	if a.first.code == "" {
		var b [10]byte // 80 bits
		rand.Read(b[:])
		text := base32.StdEncoding.EncodeToString(b[:])
		a.first.code = text[:4] + "-" + text[4:8] + "-" + text[8:12] + "-" + text[12:]
	}
	return a.first.code, nil
}

// typedCode is a code as it was given out, however it was typed.
func typedCode(s string) string {
	return strings.NewReplacer(" ", "", "-", "", "0", "O", "1", "I", "8", "B").Replace(strings.ToUpper(s))
}

var errFirstMade = Refused{"": "The first account has been made already. Sign in, or ask the one who made it for a link."}

// First makes the first account, a manager of the whole company, and signs it
// in. What will not do is Refused, field by field: code, login, name, password.
func (a *Accounts) First(w http.ResponseWriter, r *http.Request, code, login, name, password string) error {
	ctx := r.Context()
	if err := a.addresses.take(a.address(r), a.Now()); err != nil {
		return err
	}
	wanted, err := a.FirstCode(ctx)
	if err != nil {
		return err
	}
	if wanted == "" {
		return errFirstMade
	}
	x := Account{ID: newID(), Login: loginOf(login), Name: strings.TrimSpace(name), Chosen: true, epoch: 1,
		Parts: []Part{{Job: Company, Role: Manager}}}
	says := nameFaults(x.Login, x.Name)
	if say := passwordFault(password, x.Login, x.Name); say != "" {
		says["password"] = say
	}
	if subtle.ConstantTimeCompare([]byte(typedCode(code)), []byte(typedCode(wanted))) == 0 {
		says["code"] = "This is not the code that the program printed when it was started last."
	}
	if err := says.orNil(); err != nil {
		return err
	}
	x.password = a.passwords.hash(password)
	err = a.Database.Change(ctx, func(tx *sql.Tx) error {
		if any, err := anyAccount(ctx, tx); err != nil {
			return err
		} else if any { // another was faster
			return errFirstMade
		}
		return a.make(ctx, tx, x)
	})
	if err != nil {
		return doing("make the first account", err)
	}
	return a.begin(w, r, x)
}
