package checks

import (
	"time"

	"duskline/internal/daylog"
)

// Owed is a piece of work in its normal course that is still to be done.
type Owed struct {
	Key    string // stable: kind of work and place
	Work   Work
	Words  string // "Covers on run 6|7"
	Detail string // "end lap at 41 ft, folded north and south"
	Seam   string // or
	Panel  string
	Places []daylog.Place // for covers, splices and treatment
	Part   daylog.Part    // for runs
	Ready  time.Time      // not before: treatment after the wait; zero: any time
	Last   time.Time      // last call; zero: tools down
	Answer Answer         // the form that does it
}

// Work is a kind of owed work, in the order of the day.
type Work string

const (
	RunWork       Work = "run"
	CoverWork     Work = "cover"
	CheckWork     Work = "seam check"
	StoneWork     Work = "stone"
	TreatmentWork Work = "treatment"
	StripWork     Work = "strip"
)

// OwedNow lists what is owed on the roof, in the order of the day's work.
func OwedNow(s *Situation) []Owed { return nil }

// LastCalls are the hours after which the day's work no longer fits before
// tools down; zero where leaving is not known.
type LastCalls struct {
	Cover     time.Time // last cover rolled: tools down less treatment less wait
	Treatment time.Time // last treatment begun
	ToolsDown time.Time
	Leaving   time.Time
}

// Calls gives the day's last calls.
func Calls(s *Situation) LastCalls { return LastCalls{} }

// Clock is a wait that is running.
type Clock struct {
	Key    string
	Words  string // "Resting panel 8", "Flash-off run 5|6, 0 to 50 ft", "Treatable: covers, run 4|5"
	Kind   string // "rest", "flash-off", "wait"
	Since  time.Time
	Until  time.Time // zero: counts up, the finger says when
	Place  string
	Answer Answer
}

// Running lists the waits that are running, the one that ends first on top.
func Running(s *Situation) []Clock { return nil }
