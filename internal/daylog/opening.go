package daylog

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
)

// Opening is a job folded up to the morning of a day, so that the day can be
// read without the ones before it. It is no truth: it may be dropped at will,
// and holds only while the log has exactly the Count entries of earlier days
// that it was made from, and for the build of the fold that made it.
type Opening struct {
	Day   Date
	Count int    // entries of earlier days
	Build string // FoldBuild
	State []byte // what FoldFrom reads
}

// FoldBuild names the rules of this fold. Change it whenever Fold or the form
// of openings changes what it gives for the same entries.
const FoldBuild = "7"

// state is the JSON form of Opening.State.
type state struct {
	Setup *Setup      `json:"setup"`
	Roof  *packed     `json:"roof"`
	Past  []SignedDay `json:"past,omitempty"`
	// Digest stands for everything above: copies that hold the same entries
	// have equal ones.
	Digest Head `json:"digest"`
}

// Open makes the opening of a date from a job that was folded from the
// beginning or from an earlier opening. count is the number of entries of
// earlier days.
func (j *Job) Open(date Date, count int) (Opening, error) {
	i, _ := slices.BinarySearchFunc(j.Days, date, func(d *Day, date Date) int { return cmp.Compare(d.Date, date) })
	s, roof := state{Setup: j.first, Past: slices.Clone(j.past)}, j.opening
	if i > 0 {
		s.Setup, roof = j.Days[i-1].Setup, j.Days[i-1].closing()
	}
	small := pack(roof, date)
	s.Roof = &small
	for _, d := range j.Days[:i] {
		if d.Worked() {
			s.Past = append(s.Past, SignedDay{d.Date, d.Signed()})
		}
	}
	bare, err := json.Marshal(s)
	if err != nil {
		return Opening{}, fmt.Errorf("opening of %s: %w", date, err)
	}
	s.Digest = Hash(bare)
	full, err := json.Marshal(s)
	if err != nil {
		return Opening{}, fmt.Errorf("opening of %s: %w", date, err)
	}
	return Opening{Day: date, Count: count, Build: FoldBuild, State: full}, nil
}

// FoldFrom folds the entries of the opening's day and later on top of it.
// Entries of earlier days are passed over. An opening of another build is an
// error: fold from the beginning then.
func FoldFrom(job string, o Opening, entries []Entry) (*Job, error) {
	if o.Build != FoldBuild {
		return nil, fmt.Errorf("opening of %s was made by build %s, not %s", o.Day, o.Build, FoldBuild)
	}
	var s state
	if err := json.Unmarshal(o.State, &s); err != nil {
		return nil, fmt.Errorf("opening of %s: %w", o.Day, err)
	}
	if s.Setup == nil || s.Roof == nil {
		return nil, fmt.Errorf("opening of %s is empty", o.Day)
	}
	s.Setup.lay()
	roof := s.Roof.roof()
	roof.layout = s.Setup.layout
	later := make([]Entry, 0, len(entries))
	for _, e := range entries {
		if e.Day >= o.Day {
			later = append(later, e)
		}
	}
	return fold(job, later, &Job{ID: job, first: s.Setup, opening: roof, past: s.Past}), nil
}

// Past lists the days that were worked, the folded ones included, oldest first.
func (j *Job) Past() []SignedDay {
	past := slices.Clone(j.past)
	for _, d := range j.Days {
		if d.Worked() {
			past = append(past, SignedDay{d.Date, d.Signed()})
		}
	}
	return past
}

// Digest stands for the roof and the set-up a date opens with: equal entries,
// equal digests, on every machine.
func (j *Job) Digest(date Date) (Head, error) {
	o, err := j.Open(date, 0)
	if err != nil {
		return Head{}, err
	}
	var s state
	err = json.Unmarshal(o.State, &s)
	return s.Digest, err
}
