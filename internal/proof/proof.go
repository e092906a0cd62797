// Package proof tells of a check code whether the record it was printed from is
// still what it was.
package proof

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// Log is where the record is.
type Log interface {
	store.Log
	// Day gives the entries of one day of a job.
	Day(ctx context.Context, job string, day daylog.Date) ([]daylog.Entry, error)
	Change(ctx context.Context, do func(*sql.Tx) error) error
	Read(ctx context.Context, do func(*sql.Tx) error) error
}

// Standing is what has become of a record since its code was printed.
type Standing int

const (
	// Unknown: no signed day that is held has this code, nor ever had as far as
	// is known.
	Unknown Standing = iota
	// Unchanged: the code's record is held byte for byte, and is the latest.
	Unchanged
	// Superseded: the same, and there is a later revision of the day.
	Superseded
	// Lost: a day had this code, and what is held of it now no longer makes it.
	Lost
)

// Answer is what is known of a code.
type Answer struct {
	Code     string // as it is printed; "" if what was typed can be none
	Standing Standing
	Job      string // id
	Title    string // of the job, as it was called on the day
	Day      daylog.Date
	By       string // who signed
	Line     *daylog.Line
	Zone     string // of the job, an IANA name
	// Revision is the one that the code stands for, and Latest the last.
	Revision, Latest int
}

// Parse gives a code as it is printed, however it was typed; "" if that can be
// none.
func Parse(typed string) string {
	code := strings.NewReplacer(" ", "", "-", "", "\t", "", "\n", "", "0", "O", "1", "I", "8", "B").Replace(strings.ToUpper(typed))
	if len(code) != 20 || strings.Trim(code, "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567") != "" {
		return ""
	}
	return code[:5] + "-" + code[5:10] + "-" + code[10:15] + "-" + code[15:]
}

// Ask tells what is known of a code. What it says of the record is worked out
// from the entries, at this moment.
func Ask(ctx context.Context, log Log, typed string) (Answer, error) {
	a := Answer{Code: Parse(typed)}
	if a.Code == "" {
		return a, nil
	}
	if err := Learn(ctx, log); err != nil {
		return a, err
	}
	err := log.Read(ctx, func(tx *sql.Tx) error {
		return tx.QueryRowContext(ctx, `SELECT job, day FROM code WHERE code = ?`, a.Code).Scan(&a.Job, (*string)(&a.Day))
	})
	if errors.Is(err, sql.ErrNoRows) {
		return a, nil
	}
	if err != nil {
		return a, err
	}
	a.Standing = Lost
	d, forks, err := look(ctx, log, a.Job, a.Day)
	if err != nil {
		return a, fmt.Errorf("look at %s of job %s: %w", a.Day, a.Job, err)
	}
	if whole, err := store.Fold(ctx, log, a.Job, a.Day); err == nil {
		s := whole.On(a.Day).Setup
		a.Title, a.Zone = s.Title(), s.Zone
		defer func() {
			if a.Line != nil {
				a.By = s.PersonName(a.Line.Author)
			}
		}()
	}
	revisions := d.Revisions(forks)
	a.Latest = len(revisions)
	for code, line := range codes(a.Job, d, forks) {
		if code != a.Code {
			continue
		}
		a.Line, a.Standing = line, Unchanged
		for _, r := range revisions {
			// The last revision that this signature closes, or began.
			if r.By != nil && r.By.Root == line.Root {
				a.Revision = r.Number
			}
		}
		a.Revision = cmp.Or(a.Revision, 1)
		if a.Latest > a.Revision {
			a.Standing = Superseded
		}
	}
	return a, nil
}

// codes are those of a day, with the signature or acceptance of each.
func codes(job string, d *daylog.Day, forks []daylog.Branch) map[string]*daylog.Line {
	all := map[string]*daylog.Line{}
	add := func(line *daylog.Line, vector daylog.Heads) {
		code := daylog.CheckCode(job, d, daylog.Signature{Sign: &daylog.Sign{Vector: vector}, Line: line}, forks)
		if all[code] == nil {
			all[code] = line
		}
	}
	for _, s := range d.Signatures {
		add(s.Line, s.Vector)
	}
	if len(all) > 0 {
		for _, r := range d.Reviews {
			if r.Accepted != nil {
				add(r.Line, r.Accepted.Vector)
			}
		}
	}
	return all
}

// look folds one day alone, and gives the branches of the job if a device has
// forked.
func look(ctx context.Context, log Log, job string, day daylog.Date) (*daylog.Day, []daylog.Branch, error) {
	entries, err := log.Day(ctx, job, day)
	if err != nil {
		return nil, nil, err
	}
	forks, err := branches(ctx, log, job)
	return daylog.Fold(job, entries).On(day), forks, err
}

func branches(ctx context.Context, log Log, job string) ([]daylog.Branch, error) {
	heads, err := log.Heads(ctx, job)
	if err != nil {
		return nil, err
	}
	forked := false
	for stream := range heads {
		forked = forked || strings.Contains(stream, "~")
	}
	if !forked {
		return nil, nil
	}
	entries, err := log.Entries(ctx, job, "")
	if err != nil {
		return nil, err
	}
	raws := make([][]byte, len(entries))
	for i := range entries {
		raws[i] = entries[i].Raw()
	}
	threads, err := daylog.Thread(job, raws)
	return threads.Branches, err
}

// Learn notes the codes of every day whose entries have become others since it
// was looked at. The first time on a large log takes a while.
func Learn(ctx context.Context, log Log) error {
	type changed struct {
		job string
		store.Mark
		sum []byte
	}
	var days []changed
	err := log.Read(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, `SELECT job, day, count, sum FROM mark WHERE NOT EXISTS
			(SELECT 1 FROM coded WHERE coded.job = mark.job AND coded.day = mark.day AND coded.count = mark.count AND coded.sum = mark.sum) ORDER BY job, day`)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var c changed
			if err := rows.Scan(&c.job, (*string)(&c.Day), &c.Count, &c.sum); err != nil {
				return err
			}
			days = append(days, c)
		}
		return rows.Err()
	})
	if err != nil {
		return fmt.Errorf("look for signed days: %w", err)
	}
	// So many days to a transaction: others write meanwhile.
	const atOnce = 50
	for len(days) > 0 {
		some := days[:min(atOnce, len(days))]
		days = days[len(some):]
		found := map[string]changed{}
		forks, of := []daylog.Branch(nil), ""
		for _, c := range some {
			if c.job != of {
				if forks, err = branches(ctx, log, c.job); err != nil {
					return err
				}
				of = c.job
			}
			entries, err := log.Day(ctx, c.job, c.Day)
			if err != nil {
				return err
			}
			for code := range codes(c.job, daylog.Fold(c.job, entries).On(c.Day), forks) {
				found[code] = c
			}
		}
		err := log.Change(ctx, func(tx *sql.Tx) error {
			for code, c := range found {
				if _, err := tx.ExecContext(ctx, `INSERT INTO code (code, job, day) VALUES (?, ?, ?) ON CONFLICT (code) DO NOTHING`, code, c.job, string(c.Day)); err != nil {
					return err
				}
			}
			for _, c := range some {
				if _, err := tx.ExecContext(ctx, `INSERT INTO coded (job, day, count, sum) VALUES (?, ?, ?, ?)
					ON CONFLICT (job, day) DO UPDATE SET count = excluded.count, sum = excluded.sum`, c.job, string(c.Day), c.Count, c.sum); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return fmt.Errorf("note the codes of signed days: %w", err)
		}
	}
	return nil
}
