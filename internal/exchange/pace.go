package exchange

import (
	"math/rand/v2"
	"time"
)

// Pace says when to exchange next: steadily while all goes well, more and more
// rarely while it does not, and never at the same moment as all the others.
// The host asks it and does the waiting. The zero value is due at once.
type Pace struct {
	Every  time.Duration  // while all goes well; 20 s if 0
	Within time.Duration  // at the latest, while nothing goes; 5 min if 0
	Rand   func() float64 // from 0 to 1, without 1; nil: random

	next  time.Time
	until time.Time // the server asked not to come before
	tries int
}

// Next is the moment from which an exchange is due.
func (p *Pace) Next() time.Time {
	if p.until.After(p.next) {
		return p.until
	}
	return p.next
}

// Done notes how an exchange ended at now.
func (p *Pace) Done(now time.Time, err error) {
	every, within := p.Every, p.Within
	if every <= 0 {
		every = 20 * time.Second
	}
	if within <= 0 {
		within = 5 * time.Minute
	}
	p.until = time.Time{}
	if err == nil {
		p.tries = 0
		p.next = now.Add(every*3/4 + p.part(every/2))
		return
	}
	wait := min(within, 2*time.Second<<min(p.tries, 20))
	p.tries++
	p.next = now.Add(wait/2 + p.part(wait/2))
	if after := RetryAfter(err); after > 0 {
		// All that were sent away come back spread over as long again.
		p.until = now.Add(after + p.part(after))
	}
}

// Reset makes an exchange due at once: the network is back, the page is looked
// at, something was saved or tapped. What a server asked for is kept.
func (p *Pace) Reset() { p.next, p.tries = time.Time{}, 0 }

func (p *Pace) part(d time.Duration) time.Duration {
	random := p.Rand
	if random == nil {
		random = rand.Float64
	}
	return time.Duration(random() * float64(d))
}
