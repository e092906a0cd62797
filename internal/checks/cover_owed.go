package checks

import (
	"slices"
	"strings"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

var holdBack = Limit{Name: "cover-owed.hold_back_ft", Label: "Stone kept back from a place that owes a cover", Default: 1, Unit: "ft", Source: practice}

var coverOwed = &Check{
	ID:       "cover-owed",
	Title:    "Cover missing",
	Why:      "Where tape ends, sheets cross or a seam turns an angle, tape alone leaves a channel for water.",
	Settle:   "Set and roll the cover, then treat it once its wait is over.",
	Source:   practice, // of end laps and angles
	Severity: Today,
	When:     Live | ToolsDown,
	Absence:  true,
	Limits:   []Limit{holdBack},
	Run:      runCoverOwed,
}

// pressing is a cover whose time has come.
type pressing struct {
	duty
	since time.Time
	cause string
	asks  bool
}

func runCoverOwed(s *Situation, report func(Finding)) {
	calls := Calls(s)
	for _, group := range bySeam(s.stands().duties) {
		var due []pressing
		for _, d := range group {
			if !d.covers() {
				continue
			}
			p, ok := s.presses(d, calls)
			if ok && s.known(where{name: d.Key(), on: d.seam, at: d.at}, p.since, sayPlaces(d.seam, []daylog.Place{d.Place})) {
				due = append(due, p)
			}
		}
		if len(due) > 0 {
			report(s.sayOwed(due))
		}
	}
}

// presses tells why a cover cannot wait; false while it is merely owed. A
// cover that came to be owed after its last call was lost when its run was
// opened: edge-wont-make-it says so, and here it waits for tools down.
func (s *Situation) presses(d duty, calls LastCalls) (pressing, bool) {
	p := pressing{duty: d, since: d.made.At, asks: d.made.About > 0}
	switch stone, near := s.stoneNear(d); {
	case d.made.IsZero():
		p.cause, p.asks = "owed since an earlier day", false
	case s.At&ToolsDown != 0:
		p.since, p.cause, p.asks = calls.ToolsDown, "tools down "+s.Clock(calls.ToolsDown), false
		if calls.ToolsDown.IsZero() {
			p.cause = "leaving"
		}
	case near:
		p.since, p.cause = stone.Ended.At, "stone came near "+s.when(stone.Ended)
		p.asks = p.asks || stone.Ended.About > 0
		if d.made.At.After(p.since) {
			p.since = d.made.At
		}
	case !calls.Cover.IsZero() && s.Now.After(calls.Cover) && !d.made.At.After(calls.Cover) && s.dueToday(daylog.Cover) && !s.tooLate(d.seam):
		p.since, p.cause = calls.Cover, "last call was "+s.Clock(calls.Cover)
	default:
		return p, false
	}
	return p, true
}

// tooLate reports whether edge-wont-make-it speaks of a seam.
func (s *Situation) tooLate(seam string) bool {
	return slices.ContainsFunc(s.lates(), func(l late) bool { return l.seam == seam })
}

// stoneNear gives the first stone of today that came within the hold-back
// distance of a place and was not kept back from it. Stone that was begun
// before the place came to be owed counts once it has ended.
func (s *Situation) stoneNear(d duty) (*daylog.Act, bool) {
	within := roofplan.Feet(s.Limit(holdBack))
	for _, panel := range daylog.Joined(d.On) {
		for _, a := range s.stands().acts[panel] {
			stone, ok := a.Line.Body.(*daylog.StoneSpread)
			if !ok || slices.ContainsFunc(stone.Back, d.same) || a.Ended.At.After(s.Now) || a.Ended.At.Before(d.made.At) {
				continue
			}
			at, ok := s.along(panel, d.seam, d.at)
			if ok && stoned([]daylog.StonePart{{Part: a.Part}}, at, within) {
				return a, true
			}
		}
	}
	return nil, false
}

// same reports whether a place that was named is this one.
func (d duty) same(p daylog.Place) bool {
	return p.On == d.On && p.What == d.What && apart(p.At, d.At) <= near
}

// jointSource is of the covers at T-joints.
var jointSource = Source{Where: "UFGS-07530", Status: Published}

func (s *Situation) sayOwed(due []pressing) Finding {
	first := slices.MinFunc(due, func(a, b pressing) int { return a.since.Compare(b.since) })
	seam := first.seam
	f := Finding{
		Key:    "cover-owed " + seam,
		Place:  "run " + seam,
		Seen:   daylog.Count(len(due), "cover", "covers") + " missing; " + first.cause,
		Limit:  "none missing",
		Source: jointSource,
		Since:  first.since,
		Asks:   true,
	}
	var places []daylog.Place
	var duties []duty
	for _, d := range due {
		places = append(places, d.Place)
		duties = append(duties, d.duty)
		f.places = append(f.places, where{name: d.Key(), on: seam, at: d.at})
		f.Asks = f.Asks && d.asks
		if d.why != joint {
			f.Source = practice
		}
	}
	what, be := "Cover", "Is"
	if len(due) > 1 {
		what, be = "Covers", "Are"
	}
	at := strings.Join(sayDuties(duties), ", ")
	f.Says = what + " missing on run " + seam + ": " + at
	f.Answer = Answer{Label: "Covers done", Kind: "covers", Fields: map[string]any{"places": places}}
	if f.Asks {
		f.Says = be + " the " + strings.ToLower(what) + " on run " + seam + " done? " + upper(at)
		f.Settle = "Say when, or set and roll them."
		f.Answer.Label = "When?"
	}
	return f
}
