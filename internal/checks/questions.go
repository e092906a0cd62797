package checks

import (
	"slices"
	"time"

	"duskline/internal/daylog"
)

// Question asks, in the crew's words, about something that was probably done and
// not written down. It warns of nothing.
type Question struct {
	Key    string // stable: what it is about and where
	Words  string // "Covers on run 4|5: done by now?"
	Answer Answer // the form of a yes
	Once   bool   // a yes needs nothing more than that
}

// mostQuestions is how many are asked at one moment.
const mostQuestions = 3

// A pause is asked about from a little before it, since nobody stops on the
// minute, until work has gone on for a while: common practice, no source.
const (
	beforePause = 5 * time.Minute
	afterPause  = 45 * time.Minute
	quitting    = 20 * time.Minute // before tools down
)

// pause gives since when questions are asked, at the break, at lunch or at
// quitting time; false in between and once the day is signed.
func (s *Situation) pause() (since time.Time, quits, ok bool) {
	if s.Day.Signed() || s.Day.Started.IsZero() {
		return since, false, false
	}
	if down := s.toolsDown(); !down.IsZero() && !s.Now.Before(down.Add(-quitting)) {
		return down.Add(-quitting), true, true
	}
	for _, clock := range []string{s.Day.Setup.BreakAt(), s.Day.Setup.LunchAt()} {
		at, err := time.ParseInLocation("2006-01-02 15:04", string(s.Day.Date)+" "+clock, s.Zone)
		since = at.Add(-beforePause)
		if err == nil && !s.Now.Before(since) && s.Now.Before(at.Add(afterPause)) {
			return since, false, true
		}
	}
	return since, false, false
}

// Questions gives what is asked now, three at most and what hangs on a clock
// first; nothing between the pauses. What was answered with no is not asked
// again that day, with later not before the next pause. What a finding speaks of
// is not asked besides, nor what another tablet may know.
func Questions(s *Situation) []Question {
	since, quits, ok := s.pause()
	if !ok {
		return nil
	}
	var out []Question
	ask := func(place, words string, answer Answer, once bool) {
		q := Question{answer.Kind + " " + place, words, answer, once}
		_, unsure := s.unsure(where{name: place}, s.Now)
		if len(out) < mostQuestions && !unsure && !s.answeredTo(q.Key, since) && !slices.ContainsFunc(Run(s), func(f Finding) bool {
			return f.Answer.Kind == answer.Kind && (place == "" || f.where() == place || seamOf(daylog.Place{On: f.where()}) == place)
		}) {
			out = append(out, q)
		}
	}
	s.askSteps(ask, quits)
	if quits {
		s.askClosing(ask)
	}
	s.askRest(ask, quits)
	return out
}

// answeredTo reports whether a question was answered with no, or with later
// since a moment.
func (s *Situation) answeredTo(key string, since time.Time) bool {
	return slices.ContainsFunc(s.Day.Asked, func(a daylog.AskedLine) bool {
		return a.Key == key && (!a.Later || !a.At.Before(since))
	})
}

type asking func(place, words string, answer Answer, once bool)

// How long after one step the next is usually written, if it was written as it
// happened; after that it was probably forgotten. Twice the usual pace and more:
// common practice, no source.
const (
	usuallyClosed  = 60 * time.Minute // after priming
	usuallyCovered = 60 * time.Minute // after the run was closed
	usuallyTreated = 30 * time.Minute // after the wait
	usuallyBegun   = 60 * time.Minute // after the sheets have rested
	usuallyLaid    = 2 * time.Hour    // after the start of the day
	usuallySecured = 3 * time.Hour    // after a sheet was in position
	usuallyRead    = 4 * time.Hour    // one reading of the weather after another
)

func (s *Situation) longAgo(at time.Time, usual time.Duration) bool {
	return !at.IsZero() && s.Now.Sub(at) > usual
}

// askSteps asks about what clocks hang on: sheets, runs, covers, treatment.
func (s *Situation) askSteps(ask asking, quits bool) {
	if stop, on := s.Day.Stopped(); on && s.longAgo(stop.Began.At, time.Hour) {
		ask("", "Is the weather stop over?", Answer{Kind: "resume", Fields: map[string]any{}}, false)
	}
	laid := false
	for i := range s.Roof.Panels {
		laid = laid || s.Roof.Panels[i].Day == s.Day.Date
	}
	if !laid && !quits && s.longAgo(s.Day.Started.At, usuallyLaid) {
		for _, p := range s.Roof.Layout().Panels {
			if _, known := s.Roof.Panel(p.Name); !known {
				ask(p.Name, "Is panel "+p.Name+" in position by now?", Answer{Kind: "panel", Fields: map[string]any{"panel": p.Name, "weighted": true}}, false)
				break
			}
		}
	}
	for _, o := range s.owedRuns() {
		switch {
		case o.Answer.Kind == "closed" && s.longAgo(s.lastStep(o.Seam, o.Part), usuallyClosed):
			ask(o.Seam, o.Words+", "+feet(o.Part)+": closed by now?", o.Answer, false)
		case o.Answer.Kind == "priming" && s.longAgo(o.Ready, usuallyBegun):
			ask(o.Seam, o.Words+", "+feet(o.Part)+": begun by now?", o.Answer, false)
		}
	}
	for _, o := range s.owedCovers() {
		if s.longAgo(s.lastMade(o.Seam), usuallyCovered) {
			ask(o.Seam, o.Words+": done by now?", o.Answer, false)
		}
	}
	for _, o := range s.owedTreatment() {
		if s.longAgo(o.Ready, usuallyTreated) {
			ask(o.Seam, "Covers and splices on run "+o.Seam+": treated by now?", o.Answer, false)
		}
	}
}

// lastStep is when something was last done to an open part of a seam.
func (s *Situation) lastStep(seam string, p daylog.Part) time.Time {
	var last time.Time
	m := s.stands().seams[seam]
	if m == nil {
		return last
	}
	for i := range m.Runs {
		if m.Runs[i].Overlap(p) == 0 {
			continue
		}
		for _, st := range stepsOf(&m.Runs[i]) {
			if st.At.After(last) {
				last = st.At
			}
		}
	}
	return last
}

// lastMade is when the last of what a seam owes came to be owed.
func (s *Situation) lastMade(seam string) time.Time {
	var last time.Time
	for _, d := range s.stands().dutiesOn[seam] {
		if d.made.At.After(last) {
			last = d.made.At
		}
	}
	return last
}

// askClosing asks about the end of the day.
func (s *Situation) askClosing(ask asking) {
	for i := range s.Roof.Panels {
		p := &s.Roof.Panels[i]
		if p.Day == s.Day.Date && s.stoneless(p) > 0 && !p.Temp {
			ask(p.Name, "Is there stone on panel "+p.Name+"?", Answer{Kind: "stone", Fields: map[string]any{"panels": []daylog.PanelPart{s.restOf(p)}}}, false)
		}
	}
	for _, o := range s.owedCheck() {
		ask(o.Seam, "Did somebody walk all of today's runs and look at them?", o.Answer, true)
	}
	for i := range s.Roof.Panels {
		if p := &s.Roof.Panels[i]; p.Day == s.Day.Date && p.Sealed != s.Day.Date && s.leads(p.Name) {
			ask(p.Name, "Is the night seal on, along panel "+p.Name+"?", Answer{Kind: "nightseal"}, false)
		}
	}
	for _, o := range s.owedDrains() {
		ask("", "Are all drains clear?", o.Answer, true)
	}
	if len(s.Roof.Panels) > 0 && !s.wrote("hours") {
		ask("", "Crew hours for today?", Answer{Kind: "hours"}, false)
	}
}

// askRest asks for what the record holds besides.
func (s *Situation) askRest(ask asking, quits bool) {
	if len(s.Day.Fall) == 0 {
		ask("", "Were fall protection and holes seen to this morning?", Answer{Kind: "fall"}, false)
	}
	for i := range s.Roof.Panels {
		p := &s.Roof.Panels[i]
		placed, _ := s.Roof.Layout().Panel(p.Name)
		var open []string
		for _, b := range placed.Borders {
			if e := s.Roof.Edge(b.Name); b.Length > 0 && e.Secured == "" && e.Flashed == "" && e.Terminated == "" {
				open = append(open, b.Name)
			}
		}
		if p.Day == s.Day.Date && len(open) > 0 && (quits || s.longAgo(p.Position.At, usuallySecured)) {
			ask(p.Name, "Are the edges of panel "+p.Name+" secured?", Answer{Kind: "edge", Fields: map[string]any{"edges": open, "done": "secured"}}, true)
		}
	}
	read := s.Day.Started.At
	for i := range s.Day.Weather {
		read = s.Day.Weather[i].At
	}
	if !quits && s.longAgo(read, usuallyRead) {
		ask("", "What does the weather read? The last reading is of "+s.Clock(read)+".", Answer{Kind: "weather"}, false)
	}
	if s.Day.Setup.Scope.Insulation && s.Day.Insulated == 0 && len(s.Day.Acts) > 0 {
		ask("", "Was insulation laid today?", Answer{Kind: "insulation"}, false)
	}
}

// wrote reports whether the day has a line of a kind that counts.
func (s *Situation) wrote(kind string) bool {
	return slices.ContainsFunc(s.Day.Lines, func(l *daylog.Line) bool { return l.Kind == kind && l.Struck == nil })
}
