package faultbench

import (
	"flag"
	"fmt"
	"maps"
	"slices"
	"sync"
	"testing"
)

var (
	runs  = flag.Int("runs", 50, "how many schedules of faults to go through")
	first = flag.Uint64("first", 1, "seed of the first")
	told  = flag.Bool("told", false, "tell every step")
)

// TestFaults goes through schedules of faults, each by a seed of its own.
func TestFaults(t *testing.T) {
	var mu sync.Mutex
	total := map[string]int{}
	t.Run("seed", func(t *testing.T) {
		for n := range *runs {
			seed := *first + uint64(n)
			t.Run(fmt.Sprint(seed), func(t *testing.T) {
				t.Parallel()
				w := newWorld(t, seed, 3)
				for range 2 + w.random.IntN(2) {
					w.add("", nil)
				}
				defer func() {
					w.server.kill()
					mu.Lock()
					defer mu.Unlock()
					for what, n := range w.count {
						total[what] += n
					}
				}()
				for n := range 60 {
					step := w.step()
					w.count["step: "+step]++
					if *told {
						t.Logf("%2d %s", n, step)
					}
				}
				w.heal()
				w.check()
			})
		}
	})
	for _, what := range slices.Sorted(maps.Keys(total)) {
		t.Logf("%8d %s", total[what], what)
	}
	for _, what := range []string{"saved and lost", "sent and lost", "unequal", "stalls"} {
		t.Logf("%8d %s", total[what], what)
	}
	if total["saved"] < 10**runs || total["calls"] < 10**runs {
		t.Error("so little was done that this shows nothing")
	}
}
