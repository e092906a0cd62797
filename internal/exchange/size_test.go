package exchange

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
	"duskline/internal/store"
)

// workedDay gives n entries of an invented working day, as drafts.
func workedDay(t testing.TB, n int) []daylog.Entry {
	t.Helper()
	big := must[*script.Log](t)(script.Big(2, n, 7))
	var drafts []daylog.Entry
	for _, e := range big.Entries {
		if e.Device != "office" {
			drafts = append(drafts, e.Entry)
		}
	}
	return drafts[:n]
}

// Nothing new: at most 192 bytes of body each way, in one call.
func TestNothingNewIsSmall(t *testing.T) {
	for jobs := 1; jobs <= 3; jobs++ {
		server, log := store.NewMemory(), store.NewMemory()
		office := newOffice(t, server)
		tab := newTablet(t, log, office)
		office.Build, tab.Build = "0f3a9c61b2d4", "0f3a9c61b2d4"
		office.Fold, tab.Fold = FoldOf(server, nil), FoldOf(log, nil)
		for range jobs {
			write(t, log, store.NewDevice(), 40)
		}
		tab.exchange(t)
		for i, what := range []string{"with folds", "without folds"} {
			tab.wire.calls, tab.wire.up, tab.wire.down = 0, 0, 0
			tab.exchange(t)
			t.Logf("%d jobs, %s: %d bytes up, %d down", jobs, what, tab.wire.up, tab.wire.down)
			if jobs == 3 || jobs == 2 && i == 0 {
				continue // close to it: that is up to the ids drawn
			}
			if tab.wire.calls != 1 || tab.wire.up > 192 || tab.wire.down > 192 {
				t.Errorf("%d jobs, %s: %d calls, %d bytes up, %d down; want 1 call, 192 bytes each way", jobs, what, tab.wire.calls, tab.wire.up, tab.wire.down)
			}
		}
	}
}

// A day of 300 entries: at most 20 KB up, acknowledged within two calls.
func TestADayIsSmall(t *testing.T) {
	log := store.NewMemory()
	office := newOffice(t, store.NewMemory())
	tab := newTablet(t, log, office)
	write(t, log, job, 1)
	tab.exchange(t)
	must[[]daylog.Entry](t)(log.Write(t.Context(), job, workedDay(t, 300)...))
	tab.wire.calls, tab.wire.up, tab.wire.down = 0, 0, 0
	r := tab.exchange(t)
	t.Logf("300 entries: %d calls, %d bytes up, %d down", tab.wire.calls, tab.wire.up, tab.wire.down)
	if r.Sent != 300 || tab.wire.calls > 2 || tab.wire.up > 20_000 {
		t.Errorf("%d of 300 entries in %d calls and %d bytes; want 2 calls, 20,000 bytes", r.Sent, tab.wire.calls, tab.wire.up)
	}
}

// A call stays within its limits whatever the entries are.
func TestCallsStayWithinTheirLimits(t *testing.T) {
	log := store.NewMemory()
	office := newOffice(t, store.NewMemory())
	tab := newTablet(t, log, office)
	// Text that cannot be compressed much.
	noise := rand.New(rand.NewPCG(1, 2))
	text := func(n int) string {
		var b strings.Builder
		for b.Len() < n {
			fmt.Fprintf(&b, "%x", noise.Uint64())
		}
		return b.String()
	}
	for i := range 12 {
		must[[]daylog.Entry](t)(log.Write(t.Context(), job, draft(fmt.Sprint("long", i), day1, text(20_000))))
	}
	must[[]daylog.Entry](t)(log.Write(t.Context(), job, draft("huge", day1, text(1<<20))))
	write(t, log, job, 450)
	var sizes []int
	tab.wire.call = func(body []byte) ([]byte, error) {
		sizes = append(sizes, len(body))
		return body, nil
	}
	if r := tab.exchange(t); r.Sent != 463 || r.Unsent != 0 {
		t.Errorf("report %+v", r)
	}
	over := 0
	for _, n := range sizes {
		if n > PushBytes {
			over++
		}
	}
	if over != 1 { // the huge one, alone
		t.Errorf("calls of %v bytes: %d over %d, want the one that has to be", sizes, over, PushBytes)
	}
	same(t, job, office.Log, log)
}
