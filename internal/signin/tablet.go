package signin

import (
	"context"
	"database/sql"
	"fmt"
	"io/fs"
	"strings"
	"time"
)

// Tablet is a device that may exchange entries with the server.
type Tablet struct {
	ID       string // its device id
	Name     string // as the office calls it
	Jobs     []string
	Enrolled time.Time
	Revoked  time.Time // since when; zero for not
}

// Tablets are the company's. A tablet shows a key that was made when it was
// enrolled; of the key only a hash is kept, which 256 random bits need no salt
// and no cost for.
type Tablets struct {
	Database Database
	Now      func() time.Time
}

// Enrol takes a tablet in for some jobs and gives its key, which is kept
// nowhere. A tablet that was enrolled before gets a new key, the jobs given and
// is no longer revoked; the old key is worth nothing.
func (t Tablets) Enrol(ctx context.Context, id, name string, jobs ...string) (key string, err error) {
	name = strings.TrimSpace(name)
	says := Refused{}
	if id == "" || textFault(id, 64) != "" {
		says["tablet"] = "The tablet did not say who it is. Open the page again on the tablet."
	}
	if say := textFault(name, 80); say != "" {
		says["name"] = say
	} else if name == "" {
		says["name"] = "Give the tablet a name, as it is called in the office."
	}
	if err := says.orNil(); err != nil {
		return "", err
	}
	key = newKey()
	err = t.Database.Change(ctx, func(tx *sql.Tx) error { return t.enrol(ctx, tx, id, name, key, jobs) })
	return key, doing("enrol a tablet", err)
}

// newKey makes a key of 260 random bits.
func newKey() string { return code() + code() }

func (t Tablets) enrol(ctx context.Context, tx *sql.Tx, id, name, key string, jobs []string) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO tablet (tablet, name, key, enrolled, revoked) VALUES (?, ?, ?, ?, 0)
		ON CONFLICT (tablet) DO UPDATE SET name = excluded.name, key = excluded.key, enrolled = excluded.enrolled, revoked = 0`,
		id, name, hashOf(key), unix(t.Now()))
	if err != nil {
		return err
	}
	return setJobs(ctx, tx, id, jobs)
}

func setJobs(ctx context.Context, tx *sql.Tx, id string, jobs []string) error {
	if _, err := tx.ExecContext(ctx, `DELETE FROM tablet_job WHERE tablet = ?`, id); err != nil {
		return err
	}
	for _, job := range jobs {
		if _, err := tx.ExecContext(ctx, `INSERT INTO tablet_job (tablet, job) VALUES (?, ?) ON CONFLICT (tablet, job) DO NOTHING`, id, job); err != nil {
			return err
		}
	}
	return nil
}

// SetJobs says which jobs a tablet may exchange; fs.ErrNotExist if there is no
// such tablet.
func (t Tablets) SetJobs(ctx context.Context, id string, jobs ...string) error {
	return doing("set a tablet's jobs", t.Database.Change(ctx, func(tx *sql.Tx) error {
		if _, err := t.tablet(ctx, tx, `WHERE tablet = ?`, id); err != nil {
			return err
		}
		return setJobs(ctx, tx, id, jobs)
	}))
}

// Revoke notes that a tablet is no longer trusted; fs.ErrNotExist if there is
// none with that id. Its key is still known, so that what it sends can be put
// aside under its name.
func (t Tablets) Revoke(ctx context.Context, id string) error {
	return doing("revoke a tablet", t.Database.Change(ctx, func(tx *sql.Tx) error {
		changed, err := one(tx.ExecContext(ctx, `UPDATE tablet SET revoked = ? WHERE tablet = ?`, unix(t.Now()), id))
		if err == nil && !changed {
			err = fmt.Errorf("tablet: %w", fs.ErrNotExist)
		}
		return err
	}))
}

// Check gives the tablet that a key belongs to; fs.ErrNotExist if the key is
// nobody's. Whether it is revoked and which jobs it may have is for the caller
// to look at.
func (t Tablets) Check(ctx context.Context, key string) (x Tablet, err error) {
	err = t.Database.Read(ctx, func(tx *sql.Tx) error {
		x, err = t.tablet(ctx, tx, `WHERE key = ?`, hashOf(key))
		return err
	})
	return x, doing("check a tablet's key", err)
}

// List gives all tablets, by name.
func (t Tablets) List(ctx context.Context) (all []Tablet, err error) {
	err = t.Database.Read(ctx, func(tx *sql.Tx) error {
		all, err = t.read(ctx, tx, `ORDER BY name, tablet`)
		return err
	})
	return all, doing("list tablets", err)
}

func (t Tablets) tablet(ctx context.Context, tx *sql.Tx, where string, args ...any) (Tablet, error) {
	all, err := t.read(ctx, tx, where, args...)
	if err == nil && len(all) == 0 {
		err = fmt.Errorf("tablet: %w", fs.ErrNotExist)
	}
	if err != nil {
		return Tablet{}, err
	}
	return all[0], nil
}

func (t Tablets) read(ctx context.Context, tx *sql.Tx, where string, args ...any) ([]Tablet, error) {
	var all []Tablet
	err := each(ctx, tx, func(rows *sql.Rows) error {
		var x Tablet
		var enrolled, revoked int64
		err := rows.Scan(&x.ID, &x.Name, &enrolled, &revoked)
		x.Enrolled, x.Revoked = moment(enrolled), moment(revoked)
		all = append(all, x)
		return err
	}, `SELECT tablet, name, enrolled, revoked FROM tablet `+where, args...)
	if err != nil {
		return nil, err
	}
	for i := range all {
		err := each(ctx, tx, func(rows *sql.Rows) error {
			var job string
			err := rows.Scan(&job)
			all[i].Jobs = append(all[i].Jobs, job)
			return err
		}, `SELECT job FROM tablet_job WHERE tablet = ? ORDER BY job`, all[i].ID)
		if err != nil {
			return nil, err
		}
	}
	return all, nil
}
