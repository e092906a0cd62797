package signin

import (
	"crypto/sha256"
	"sync"
	"time"
)

// How often somebody may try. A person who has mixed up passwords needs a few
// tries; a whole office may be behind one address. Common practice, no source.
const (
	triesOfAccount = 10
	triesOfAddress = 40
	triesWithin    = 15 * time.Minute
)

// TooMany says that there were too many tries; the next may be made at Next.
type TooMany struct{ Next time.Time }

func (t TooMany) Error() string {
	return "too many tries, the next at " + t.Next.UTC().Format(time.RFC3339)
}

// tries counts by key. A try is counted before it is made, so that any number
// of tries at the same time are no more than in a row. It forgets with the
// program: whoever can end that needs to guess nothing.
type tries struct {
	most   int
	within time.Duration

	mu    sync.Mutex
	made  map[[32]byte][]time.Time // of each key at most most, oldest first
	sweep int                      // size at which to look for old ones
}

// take counts a try, or says TooMany.
func (t *tries) take(key string, now time.Time) error {
	k := sha256.Sum256([]byte(key)) // whatever its length
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.made == nil {
		t.made, t.sweep = map[[32]byte][]time.Time{}, 1000
	}
	if len(t.made) >= t.sweep {
		for other := range t.made {
			t.keep(other, now)
		}
		t.sweep = max(1000, 2*len(t.made))
	}
	made := t.keep(k, now)
	if len(made) >= t.most {
		return TooMany{Next: made[0].Add(t.within)}
	}
	t.made[k] = append(made, now)
	return nil
}

// keep drops what is too long ago to count, and gives what is left.
func (t *tries) keep(k [32]byte, now time.Time) []time.Time {
	made := t.made[k]
	for len(made) > 0 && now.Sub(made[0]) >= t.within {
		made = made[1:]
	}
	if len(made) == 0 {
		delete(t.made, k)
	} else {
		t.made[k] = made
	}
	return made
}

// giveBack takes the latest try back, when it was none.
func (t *tries) giveBack(key string) {
	k := sha256.Sum256([]byte(key))
	t.mu.Lock()
	defer t.mu.Unlock()
	if made := t.made[k]; len(made) > 1 {
		t.made[k] = made[:len(made)-1]
	} else {
		delete(t.made, k)
	}
}

// forget lets a key begin anew.
func (t *tries) forget(key string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.made, sha256.Sum256([]byte(key)))
}
