// Package forecast reckons how long work takes and what can still be finished
// before tools down.
package forecast

import (
	"time"

	"duskline/internal/roofplan"
)

// Paces say how long work takes. All are common practice, no source: defaults
// until a job knows its own.
type Paces struct {
	Seam   float64       // ft an hour by two people, from priming to rolled
	Covers float64       // covers an hour, in a batch
	Wide   time.Duration // unrolling a sheet wider than 20 ft; six people
	Middle time.Duration // wider than 10 ft; four people
	Narrow time.Duration // three people
	Weight time.Duration // weighting its edges
}

// Usual paces are the median, without factors for cold, end laps or a first
// run; cautious ones the 80th percentile.
func Usual() Paces {
	return Paces{Seam: 90, Covers: 9, Wide: 25 * time.Minute, Middle: 20 * time.Minute, Narrow: 12 * time.Minute, Weight: 5 * time.Minute}
}

// Cautious paces: see Usual.
func Cautious() Paces {
	return Paces{Seam: 60, Covers: 6, Wide: 45 * time.Minute, Middle: 30 * time.Minute, Narrow: 20 * time.Minute, Weight: 10 * time.Minute}
}

// Run is how long a length of seam takes, in whole minutes.
func (p Paces) Run(length roofplan.Length) time.Duration { return hours(length.Feet() / p.Seam) }

// Cover is how long a number of covers takes, in whole minutes.
func (p Paces) Cover(n int) time.Duration { return hours(float64(n) / p.Covers) }

// Unroll is how long a sheet of a width takes until it is in position and its
// edges are weighted.
func (p Paces) Unroll(width roofplan.Length) time.Duration {
	switch {
	case width > roofplan.Feet(20):
		return p.Wide + p.Weight
	case width > roofplan.Feet(10):
		return p.Middle + p.Weight
	}
	return p.Narrow + p.Weight
}

func hours(h float64) time.Duration {
	return time.Duration(h * float64(time.Hour)).Round(time.Minute)
}

// Run is a run that is about to be opened, or is open.
type Run struct {
	Rest   time.Duration   // left until its sheets have rested
	Length roofplan.Length // still to be made
	Covers int             // still to be rolled on it
}

// Takes is how long a run takes until its covers are rolled.
func (p Paces) Takes(r Run) time.Duration { return r.Rest + p.Run(r.Length) + p.Cover(r.Covers) }

// LastCover is when the last cover must be rolled, so that it is treated by
// tools down: less a round of treatment, less the wait.
func LastCover(toolsDown time.Time, treatment, wait time.Duration) time.Time {
	return toolsDown.Add(-treatment - wait)
}
