package signin

import (
	"context"
	"database/sql"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Role is what an account is on a job.
type Role string

const (
	// Manager reads everything and writes what the office writes. A manager of
	// the whole company keeps the accounts too.
	Manager Role = "manager"
	// Foreman reads everything and writes what a crew writes.
	Foreman Role = "foreman"
	// Owner is the owner's representative, who is to read signed days and
	// nothing else.
	Owner Role = "owner"
)

// roles are all there are.
var roles = []Role{Manager, Foreman, Owner}

// Company stands for a job where a part is one in the whole company. Only a
// manager can have that.
const Company = ""

// Part is what an account is on one job, and as which of its persons it writes.
type Part struct {
	Job    string // or Company
	Role   Role
	Person string // id; a foreman has one
}

// Account is somebody who may sign in.
type Account struct {
	ID       string
	Login    string // typed to sign in; lower case
	Name     string
	Parts    []Part    // by job
	Disabled time.Time // since when; zero for not
	Seen     time.Time // last signed in; zero for never
	Chosen   bool      // has chosen a password
	Link     time.Time // until when a link that was handed over holds; zero for none

	password string
	epoch    int64
}

// May is what an account may do on a job.
type May struct {
	Role   Role   // the nearest: that of the job before that of the company
	Person string // of the job, in whose name it writes
	Reads  bool   // the job's pages
	Crew   bool   // write what a crew writes
	Office bool   // write what the office writes
	Signed bool   // read signed days
}

// On gives what the account may do on a job. Who manages the company and is a
// foreman on the job may do both. Who has no person there writes as one with
// the account's own id, which the job is to be told of first.
func (a Account) On(job string) May {
	var m May
	if !a.Disabled.IsZero() {
		return m
	}
	for _, p := range a.Parts { // Company comes first
		if p.Job != job && p.Job != Company {
			continue
		}
		m.Role = p.Role
		switch p.Role {
		case Manager:
			m.Reads, m.Office, m.Signed = true, true, true
		case Foreman:
			m.Reads, m.Crew, m.Signed = true, true, true
		case Owner:
			m.Signed = true
		}
		if p.Person != "" {
			m.Person = p.Person
		}
	}
	if m.Person == "" && (m.Crew || m.Office) {
		m.Person = a.ID
	}
	return m
}

// Manages tells whether the account keeps the accounts: it manages the company.
func (a Account) Manages() bool { return a.On(Company).Office }

const readAccount = `SELECT account, login, name, password, epoch, disabled, seen,
	coalesce((SELECT until FROM link WHERE link.account = account.account), 0) FROM account`

// account reads the one account that a condition names; fs.ErrNotExist if none.
func (a *Accounts) account(ctx context.Context, tx *sql.Tx, where string, args ...any) (Account, error) {
	all, err := a.read(ctx, tx, where, args...)
	if err != nil {
		return Account{}, err
	}
	if len(all) == 0 {
		return Account{}, fmt.Errorf("account: %w", fs.ErrNotExist)
	}
	return all[0], nil
}

func (a *Accounts) read(ctx context.Context, tx *sql.Tx, where string, args ...any) ([]Account, error) {
	var all []Account
	err := each(ctx, tx, func(rows *sql.Rows) error {
		var x Account
		var disabled, seen, link int64
		if err := rows.Scan(&x.ID, &x.Login, &x.Name, &x.password, &x.epoch, &disabled, &seen, &link); err != nil {
			return err
		}
		x.Disabled, x.Seen, x.Chosen = moment(disabled), moment(seen), x.password != ""
		if until := moment(link); until.After(a.Now()) {
			x.Link = until
		}
		all = append(all, x)
		return nil
	}, readAccount+" "+where, args...)
	if err != nil {
		return nil, err
	}
	for i := range all {
		err := each(ctx, tx, func(rows *sql.Rows) error {
			var p Part
			err := rows.Scan(&p.Job, &p.Role, &p.Person)
			all[i].Parts = append(all[i].Parts, p)
			return err
		}, `SELECT job, role, person FROM part WHERE account = ? ORDER BY job`, all[i].ID)
		if err != nil {
			return nil, err
		}
	}
	return all, nil
}

// List gives all accounts, by name.
func (a *Accounts) List(ctx context.Context) (all []Account, err error) {
	err = a.Database.Read(ctx, func(tx *sql.Tx) error {
		all, err = a.read(ctx, tx, `ORDER BY name, login`)
		return err
	})
	return all, doing("list accounts", err)
}

// Account gives one account; fs.ErrNotExist if there is none with that id.
func (a *Accounts) Account(ctx context.Context, id string) (x Account, err error) {
	err = a.Database.Read(ctx, func(tx *sql.Tx) error {
		x, err = a.account(ctx, tx, `WHERE account = ?`, id)
		return err
	})
	return x, doing("read an account", err)
}

// Any tells whether there is an account at all.
func (a *Accounts) Any(ctx context.Context) (any bool, err error) {
	err = a.Database.Read(ctx, func(tx *sql.Tx) error {
		any, err = anyAccount(ctx, tx)
		return err
	})
	return any, doing("count accounts", err)
}

func anyAccount(ctx context.Context, tx *sql.Tx) (any bool, err error) {
	err = tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM account)`).Scan(&any)
	return any, err
}

// loginOf is a sign-in name as it is kept, however it was typed.
func loginOf(typed string) string { return strings.ToLower(strings.TrimSpace(typed)) }

// nameFaults says what is wrong with a new account's names.
func nameFaults(login, name string) Refused {
	says := Refused{}
	allowed := func(r rune) bool { return r >= 'a' && r <= 'z' || r >= '0' && r <= '9' }
	switch {
	case login == "":
		says["login"] = "Give the name to sign in with."
	case len(login) < 2 || len(login) > 64:
		says["login"] = "A sign-in name has 2 to 64 characters."
	case !allowed(rune(login[0])) || strings.ContainsFunc(login, func(r rune) bool { return !allowed(r) && !strings.ContainsRune(".-_@+", r) }):
		says["login"] = "A sign-in name is made of the letters a to z, digits and . - _ @ +, and begins with a letter or digit. An e-mail address will do."
	}
	if say := textFault(name, 80); name == "" {
		says["name"] = "Give the person's name."
	} else if say != "" {
		says["name"] = say
	}
	return says
}

// textFault says what is wrong with a short text; "" if nothing is.
func textFault(s string, most int) string {
	switch {
	case !utf8.ValidString(s) || strings.ContainsFunc(s, unicode.IsControl):
		return "This holds characters that cannot be shown."
	case utf8.RuneCountInString(s) > most:
		return fmt.Sprintf("This is longer than %d characters.", most)
	}
	return ""
}

func (p Part) fault() string {
	switch {
	case !slices.Contains(roles, p.Role):
		return "Choose what this account is on the job."
	case p.Job == Company && p.Role != Manager:
		return "Only a manager is one in the whole company. Choose a job."
	case p.Job == Company && p.Person != "":
		return "People belong to a job: choose the job as well."
	case textFault(p.Job, 200) != "" || textFault(p.Person, 200) != "":
		return "The job or the person cannot be read."
	case p.Role == Foreman && p.Person == "":
		return "Choose the person of the job in whose name this account writes."
	}
	return ""
}

// Add makes an account that has a password already. Invite is how people come
// in; this is for who sets up many, or invented ones. What will not do is Refused,
// field by field.
func (a *Accounts) Add(ctx context.Context, login, name, password string, parts ...Part) (id string, err error) {
	x := Account{ID: newID(), Login: loginOf(login), Name: strings.TrimSpace(name), Parts: parts}
	says := faults(x)
	if say := passwordFault(password, x.Login, x.Name); say != "" {
		says["password"] = say
	}
	if err := says.orNil(); err != nil {
		return "", err
	}
	x.password = a.passwords.hash(password)
	return x.ID, doing("add an account", a.Database.Change(ctx, func(tx *sql.Tx) error { return a.make(ctx, tx, x) }))
}

// faults says what is wrong with a new account, its password aside.
func faults(x Account) Refused {
	says := nameFaults(x.Login, x.Name)
	for _, p := range x.Parts {
		if say := p.fault(); say != "" {
			says[""] = say
		}
	}
	return says
}

// make writes a new account.
func (a *Accounts) make(ctx context.Context, tx *sql.Tx, x Account) error {
	var taken bool
	if err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM account WHERE login = ?)`, x.Login).Scan(&taken); err != nil {
		return err
	}
	if taken {
		return Refused{"login": "There is an account with this sign-in name already."}
	}
	if _, err := tx.ExecContext(ctx, `INSERT INTO account (account, login, name, password, epoch, disabled, seen) VALUES (?, ?, ?, ?, 1, 0, 0)`, x.ID, x.Login, x.Name, x.password); err != nil {
		return err
	}
	for _, p := range x.Parts {
		if err := setPart(ctx, tx, x.ID, p); err != nil {
			return err
		}
	}
	return nil
}

func setPart(ctx context.Context, tx *sql.Tx, id string, p Part) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO part (account, job, role, person) VALUES (?, ?, ?, ?)
		ON CONFLICT (account, job) DO UPDATE SET role = excluded.role, person = excluded.person`, id, p.Job, p.Role, p.Person)
	return err
}

// SetPart gives an account a part on a job, in the place of the one it has
// there. It holds from the account's next request.
func (a *Accounts) SetPart(ctx context.Context, id string, p Part) error {
	if say := p.fault(); say != "" {
		return Refused{"": say}
	}
	return doing("set a part", a.change(ctx, id, func(tx *sql.Tx) error { return setPart(ctx, tx, id, p) }))
}

// RemovePart takes an account off a job, or out of managing the company.
func (a *Accounts) RemovePart(ctx context.Context, id, job string) error {
	return doing("remove a part", a.change(ctx, id, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM part WHERE account = ? AND job = ?`, id, job)
		return err
	}))
}

// Disable ends an account's access at once, with all its sessions and links.
func (a *Accounts) Disable(ctx context.Context, id string) error {
	return doing("disable an account", a.change(ctx, id, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE account SET disabled = ?, epoch = epoch + 1 WHERE account = ? AND disabled = 0`, unix(a.Now()), id)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `DELETE FROM link WHERE account = ?`, id)
		return err
	}))
}

// Enable lets a disabled account sign in again, with the password it had.
func (a *Accounts) Enable(ctx context.Context, id string) error {
	return doing("enable an account", a.change(ctx, id, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE account SET disabled = 0 WHERE account = ?`, id)
		return err
	}))
}

// change changes an account, unless that leaves nobody who keeps the accounts.
// It is fs.ErrNotExist if there is no such account.
func (a *Accounts) change(ctx context.Context, id string, do func(*sql.Tx) error) error {
	return a.Database.Change(ctx, func(tx *sql.Tx) error {
		if _, err := a.account(ctx, tx, `WHERE account = ?`, id); err != nil {
			return err
		}
		before, err := a.keepers(ctx, tx)
		if err != nil {
			return err
		}
		if err := do(tx); err != nil {
			return err
		}
		after, err := a.keepers(ctx, tx)
		if err == nil && before > 0 && after == 0 {
			err = Refused{"": "Then nobody could keep the accounts any more. Give that to somebody else first: a manager of the whole company who has signed in."}
		}
		return err
	})
}

// keepers counts the accounts that can sign in and keep the accounts.
func (a *Accounts) keepers(ctx context.Context, tx *sql.Tx) (n int, err error) {
	err = tx.QueryRowContext(ctx, `SELECT count(*) FROM account JOIN part USING (account)
		WHERE job = ? AND role = ? AND disabled = 0 AND password <> ''`, Company, Manager).Scan(&n)
	return n, err
}
