package exchange

import (
	"testing"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// A tablet's day of 300 entries, from its log into the server's, both in memory.
func BenchmarkPush300(b *testing.B) {
	day := workedDay(b, 300)
	log := store.NewMemory()
	must[[]daylog.Entry](b)(log.Write(b.Context(), job, day...))
	for b.Loop() {
		tab := newTablet(b, log, newOffice(b, store.NewMemory()))
		if _, err := tab.Exchange(b.Context()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(300*float64(b.N)/b.Elapsed().Seconds(), "entries/s")
}

// What a tablet asks every 20 seconds.
func BenchmarkNothingNew(b *testing.B) {
	log := store.NewMemory()
	write(b, log, job, 300)
	tab := newTablet(b, log, newOffice(b, store.NewMemory()))
	for b.Loop() {
		if _, err := tab.Exchange(b.Context()); err != nil {
			b.Fatal(err)
		}
	}
}

// 6,000 entries taken on board.
func BenchmarkTake6000(b *testing.B) {
	server := store.NewMemory()
	for range 20 {
		write(b, server, job, 300)
	}
	office := newOffice(b, server)
	for b.Loop() {
		tab := newTablet(b, store.NewMemory(), office)
		if _, err := tab.Take(b.Context(), job, nil); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(tab.wire.down), "bytes")
		b.ReportMetric(float64(tab.wire.calls), "calls")
	}
}
