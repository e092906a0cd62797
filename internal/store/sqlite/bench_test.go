package sqlite

import (
	"database/sql"
	"fmt"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/store"
	"duskline/internal/store/storetest"
)

// BenchmarkWrite writes batches of 200 entries, and into another file of the
// same schema and pragmas inserts the same bytes bare, turn by turn. ratio is
// what the whole costs over the bare insert, by the medians.
func BenchmarkWrite(b *testing.B) {
	const batch = 200
	drafts := slices.Concat(storetest.Season(60, 300)...)[5:] // without the set-up
	log, bare := fresh(b), fresh(b)
	insert, err := bare.write.Prepare(`INSERT INTO entry (job, stream, seq, id, day, tick, hash, head, raw) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`)
	if err != nil {
		b.Fatal(err)
	}
	defer insert.Close()
	var whole, inserting []time.Duration
	n := 0
	for b.Loop() {
		b.StopTimer()
		part := make([]daylog.Entry, batch)
		for i := range part {
			part[i] = drafts[n%len(drafts)]
			part[i].ID = fmt.Sprintf("%d-%s", n/len(drafts), part[i].ID)
			n++
		}
		b.StartTimer()
		start := time.Now()
		entries, err := log.Write(b.Context(), "job", part...)
		whole = append(whole, time.Since(start))
		b.StopTimer()
		if err != nil {
			b.Fatal(err)
		}
		hash := daylog.Hash(entries[0].Raw())
		start = time.Now()
		err = transact(b.Context(), bare.write, nil, func(tx *sql.Tx) error {
			insert := tx.Stmt(insert)
			for i := range entries {
				e := &entries[i]
				if _, err := insert.Exec(e.Job, e.Stream, e.Seq, e.ID, string(e.Day), e.Tick, hash[:], hash[:], e.Raw()); err != nil {
					return err
				}
			}
			return nil
		})
		inserting = append(inserting, time.Since(start))
		if err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
	}
	median := func(times []time.Duration) float64 {
		slices.Sort(times)
		return times[len(times)/2].Seconds()
	}
	b.ReportMetric(median(whole)/median(inserting), "ratio")
	b.ReportMetric(batch/median(whole), "entries/s")
	b.ReportMetric(batch/median(inserting), "bare-entries/s")
}

// season gives a log that holds a job of 60 days with 300 entries each.
func season(b *testing.B) *Log {
	b.Helper()
	log := fresh(b)
	for _, day := range storetest.Season(60, 300) {
		if _, err := log.Write(b.Context(), "job", day...); err != nil {
			b.Fatal(err)
		}
	}
	return log
}

func BenchmarkEntries(b *testing.B) {
	log := season(b)
	for _, from := range []struct {
		name string
		day  daylog.Date
	}{{"all", ""}, {"last-day", "2026-07-02"}} {
		b.Run(from.name, func(b *testing.B) {
			var entries []daylog.Entry
			for b.Loop() {
				var err error
				if entries, err = log.Entries(b.Context(), "job", from.day); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(entries)), "entries")
		})
	}
}

// BenchmarkFold folds the last day of the job of 60 x 300: without an opening,
// from one, and out of the memo.
func BenchmarkFold(b *testing.B) {
	const last = daylog.Date("2026-07-02")
	log := season(b)
	b.Run("whole", func(b *testing.B) {
		for b.Loop() {
			if _, err := store.Fold(b.Context(), log, "job", "2026-05-03"); err != nil {
				b.Fatal(err)
			}
		}
	})
	if _, err := store.Fold(b.Context(), log, "job", last); err != nil {
		b.Fatal(err)
	}
	b.Run("from-opening", func(b *testing.B) {
		for b.Loop() {
			if _, err := store.Fold(b.Context(), log, "job", last); err != nil {
				b.Fatal(err)
			}
		}
		openings, err := log.Openings(b.Context(), "job")
		if err != nil || len(openings) == 0 {
			b.Fatal("no opening was kept", err)
		}
		b.ReportMetric(float64(len(openings[len(openings)-1].State)), "opening-bytes")
	})
	b.Run("memo", func(b *testing.B) {
		memo := new(store.Memo)
		for b.Loop() {
			if _, err := memo.Fold(b.Context(), log, "job", last); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkOpen(b *testing.B) {
	path := filepath.Join(b.TempDir(), "log.db")
	opened(b, path).Close()
	for b.Loop() {
		opened(b, path).Close()
	}
}
