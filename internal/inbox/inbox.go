// Package inbox keeps what came in with the exchange and waits for somebody in
// the office: entries of tablets that are no longer trusted, entries that the
// log does not take, what happened, and what each device said of itself.
package inbox

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/exchange"
	"duskline/internal/store"
)

// Database is where it is kept, with the tables of the migrations.
type Database interface {
	Change(ctx context.Context, do func(*sql.Tx) error) error
	Read(ctx context.Context, do func(*sql.Tx) error) error
}

// Inbox is one company's. All methods may be called at the same time.
type Inbox struct {
	Database Database
	Log      store.Log // that released entries go into
	Now      func() time.Time
	Logf     func(format string, args ...any)

	mu    sync.Mutex
	heard map[string]Device // since the last Flush, by id
}

// Park keeps what a caller sent that is no longer trusted, as
// exchange.Server.Park.
func (b *Inbox) Park(ctx context.Context, by exchange.Caller, device, job string, raws [][]byte) error {
	return b.Database.Change(ctx, func(tx *sql.Tx) error {
		for _, raw := range raws {
			hash := daylog.Hash(raw)
			_, err := tx.ExecContext(ctx, `INSERT INTO parked (job, hash, device, name, came, raw) VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (job, hash) DO NOTHING`,
				job, hash[:], device, by.Name, b.Now().Unix(), raw)
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// Parked is what one device sent for one job while it was not trusted.
type Parked struct {
	Device, Name, Job string
	Entries           int
	First, Last       time.Time // when it came
}

// Parked lists what waits to be released.
func (b *Inbox) Parked(ctx context.Context) (all []Parked, err error) {
	return all, b.each(ctx, func(rows *sql.Rows) error {
		var p Parked
		var first, last int64
		err := rows.Scan(&p.Device, &p.Name, &p.Job, &p.Entries, &first, &last)
		p.First, p.Last = moment(first), moment(last)
		all = append(all, p)
		return err
	}, `SELECT device, max(name), job, count(*), min(came), max(came) FROM parked GROUP BY device, job ORDER BY device, job`)
}

// Release puts what a device sent for a job into the log, or throws it away,
// and gives how many entries that were. Entries that the log does not take are
// kept aside.
func (b *Inbox) Release(ctx context.Context, device, job string, keep bool) (int, error) {
	var raws [][]byte
	err := b.each(ctx, func(rows *sql.Rows) error {
		var raw []byte
		err := rows.Scan(&raw)
		raws = append(raws, raw)
		return err
	}, `SELECT raw FROM parked WHERE device = ? AND job = ?`, device, job)
	if err != nil {
		return 0, err
	}
	if keep {
		for _, raw := range raws {
			if err := b.receive(ctx, job, raw, device); err != nil {
				return 0, err
			}
		}
	}
	return len(raws), b.Database.Change(ctx, func(tx *sql.Tx) error {
		for _, raw := range raws { // not what came since
			hash := daylog.Hash(raw)
			if _, err := tx.ExecContext(ctx, `DELETE FROM parked WHERE job = ? AND hash = ?`, job, hash[:]); err != nil {
				return err
			}
		}
		return nil
	})
}

// receive puts an entry into the log; one that is no entry of the job is kept
// aside.
func (b *Inbox) receive(ctx context.Context, job string, raw []byte, name string) error {
	_, err := b.Log.Receive(ctx, job, raw)
	if err == nil {
		return nil
	}
	if e, bad := daylog.Decode(raw); bad == nil && e.Job == job {
		return err
	}
	return b.Aside(ctx, exchange.Caller{Name: name}, exchange.Refused{Job: job, Hash: daylog.Hash(raw), Why: err.Error(), Raw: raw})
}

// Aside keeps an entry that the log does not take, as exchange.Server.Aside.
func (b *Inbox) Aside(ctx context.Context, by exchange.Caller, r exchange.Refused) error {
	return b.Database.Change(ctx, func(tx *sql.Tx) error { return b.aside(ctx, tx, by, r) })
}

func (b *Inbox) aside(ctx context.Context, tx *sql.Tx, by exchange.Caller, r exchange.Refused) error {
	raw := r.Raw
	if raw == nil {
		raw = []byte{}
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO aside (job, hash, device, seq, id, name, why, came, raw) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT (job, hash) DO UPDATE SET why = excluded.why, raw = CASE WHEN length(excluded.raw) > 0 THEN excluded.raw ELSE aside.raw END`,
		r.Job, r.Hash[:], r.Device, r.Seq, r.ID, by.Name, r.Why, b.Now().Unix(), raw)
	return err
}

// Aside is an entry that could not be put into a log.
type Aside struct {
	Job    string
	Hash   daylog.Head
	Device string // whose entry it is; "" if it cannot be read
	Seq    int64
	Name   string // of the tablet that sent it
	Why    string
	Came   time.Time
	Raw    []byte // empty: it is on the tablet only
}

// SetAside lists the entries that are aside, but for those that the log has by
// now.
func (b *Inbox) SetAside(ctx context.Context) (all []Aside, err error) {
	return all, b.each(ctx, func(rows *sql.Rows) error {
		var a Aside
		var hash []byte
		var came int64
		err := rows.Scan(&a.Job, &hash, &a.Device, &a.Seq, &a.Name, &a.Why, &came, &a.Raw)
		copy(a.Hash[:], hash)
		a.Came = moment(came)
		all = append(all, a)
		return err
	}, `SELECT job, hash, device, seq, name, why, came, raw FROM aside
		WHERE NOT EXISTS (SELECT 1 FROM entry WHERE entry.job = aside.job AND entry.id = aside.id AND entry.hash = aside.hash) ORDER BY came, job, seq`)
}

// Again tries once more to put what is aside into the log, after the program
// was brought up to date, and gives how many entries it took. The others stay.
func (b *Inbox) Again(ctx context.Context) (took int, err error) {
	all, err := b.SetAside(ctx)
	if err != nil {
		return 0, err
	}
	for _, a := range all {
		if len(a.Raw) == 0 {
			continue
		}
		if _, err := b.Log.Receive(ctx, a.Job, a.Raw); errors.Is(err, store.ErrFull) {
			return took, err
		} else if err != nil {
			continue
		}
		took++
		err := b.Database.Change(ctx, func(tx *sql.Tx) error {
			_, err := tx.ExecContext(ctx, `DELETE FROM aside WHERE job = ? AND hash = ?`, a.Job, a.Hash[:])
			return err
		})
		if err != nil {
			return took, err
		}
	}
	return took, nil
}

// Happened keeps what somebody has to know, as exchange.Server.Happened. What
// cannot be kept is at least noted.
func (b *Inbox) Happened(e exchange.Event) {
	ctx := context.Background()
	b.Logf("exchange: %s: %s: job %s, %s: %s", e.By.Name, e.What, e.Job, e.Device, e.Says)
	err := b.Database.Change(ctx, func(tx *sql.Tx) error {
		switch e.What {
		case exchange.PutBy:
			return nil // the list of what is parked says so
		case exchange.SetAside:
			if e.Entry == nil || e.Entry.Kept { // it has its place already
				return nil
			}
			return b.aside(ctx, tx, e.By, *e.Entry)
		}
		now := b.Now().Unix()
		_, err := tx.ExecContext(ctx, `INSERT INTO happened (what, job, device, name, says, first, last, times, seen) VALUES (?, ?, ?, ?, ?, ?, ?, 1, 0)
			ON CONFLICT (what, job, device) DO UPDATE SET name = excluded.name, says = excluded.says, last = excluded.last, times = times + 1, seen = 0`,
			string(e.What), e.Job, e.Device, e.By.Name, e.Says, now, now)
		return err
	})
	if err != nil {
		b.Logf("exchange: what happened could not be kept: %v", err)
	}
}

// Happened is something that somebody has to know.
type Happened struct {
	What              exchange.Happening
	Job, Device, Name string
	Says              string
	First, Last       time.Time
	Times             int
}

// News lists what happened and nobody has put away, the latest first.
func (b *Inbox) News(ctx context.Context) (all []Happened, err error) {
	return all, b.each(ctx, func(rows *sql.Rows) error {
		var h Happened
		var first, last int64
		err := rows.Scan((*string)(&h.What), &h.Job, &h.Device, &h.Name, &h.Says, &first, &last, &h.Times)
		h.First, h.Last = moment(first), moment(last)
		all = append(all, h)
		return err
	}, `SELECT what, job, device, name, says, first, last, times FROM happened WHERE seen = 0 ORDER BY last DESC, what, job, device`)
}

// PutAway notes that somebody has read what happened, until it happens again.
func (b *Inbox) PutAway(ctx context.Context, what exchange.Happening, job, device string) error {
	return b.Database.Change(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE happened SET seen = ? WHERE what = ? AND job = ? AND device = ?`, b.Now().Unix(), string(what), job, device)
		return err
	})
}

// Device is what a device said of itself with its last exchange.
type Device struct {
	ID     string
	Name   string // of the tablet, or of who was signed in
	At     time.Time
	Build  string
	Unsent int           // entries that the log did not hold after it
	Clock  time.Duration // how far its clock was ahead
}

// Hear notes what a device said, as exchange.Server.Heard. It is kept with the
// next Flush: an exchange must not wait for it.
func (b *Inbox) Hear(h exchange.Heard) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.heard == nil {
		b.heard = map[string]Device{}
	}
	b.heard[h.Device] = Device{h.Device, h.By.Name, h.At, h.Build, h.Unsent, h.Clock.Round(time.Millisecond)}
}

// FlushEvery is how often Flush should be called.
const FlushEvery = 5 * time.Second

// Flush keeps what was heard since the last time.
func (b *Inbox) Flush(ctx context.Context) error {
	b.mu.Lock()
	heard := b.heard
	b.heard = nil
	b.mu.Unlock()
	if len(heard) == 0 {
		return nil
	}
	err := b.Database.Change(ctx, func(tx *sql.Tx) error {
		for _, d := range heard {
			_, err := tx.ExecContext(ctx, `INSERT INTO heard (device, name, at, build, unsent, clock) VALUES (?, ?, ?, ?, ?, ?)
				ON CONFLICT (device) DO UPDATE SET name = excluded.name, at = excluded.at, build = excluded.build, unsent = excluded.unsent, clock = excluded.clock`,
				d.ID, d.Name, d.At.Unix(), d.Build, d.Unsent, d.Clock.Milliseconds())
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		b.mu.Lock()
		defer b.mu.Unlock()
		for id, d := range b.heard {
			heard[id] = d
		}
		b.heard = heard
		return fmt.Errorf("keep what tablets said: %w", err)
	}
	return nil
}

// Devices lists every device that ever exchanged, the one heard last first.
func (b *Inbox) Devices(ctx context.Context) (all []Device, err error) {
	err = b.each(ctx, func(rows *sql.Rows) error {
		var d Device
		var at, clock int64
		err := rows.Scan(&d.ID, &d.Name, &at, &d.Build, &d.Unsent, &clock)
		d.At, d.Clock = moment(at), time.Duration(clock)*time.Millisecond
		all = append(all, d)
		return err
	}, `SELECT device, name, at, build, unsent, clock FROM heard`)
	b.mu.Lock()
	defer b.mu.Unlock()
	for id, d := range b.heard {
		all = slices.DeleteFunc(all, func(old Device) bool { return old.ID == id })
		all = append(all, d)
	}
	slices.SortFunc(all, func(x, y Device) int { return y.At.Compare(x.At) })
	return all, err
}

func (b *Inbox) each(ctx context.Context, scan func(*sql.Rows) error, query string, args ...any) error {
	return b.Database.Read(ctx, func(tx *sql.Tx) error {
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
		return rows.Err()
	})
}

func moment(seconds int64) time.Time { return time.Unix(seconds, 0).UTC() }
