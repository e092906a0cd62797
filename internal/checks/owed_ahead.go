package checks

import (
	"slices"
	"time"

	"duskline/internal/daylog"
)

// closing are the rules about what is done last: it is owed only from
// closingUp before tools down.
var closing = []string{"night-seal", "drain-blocked", "insulation-open", "mat-bare", "day-incomplete"}

// closingUp is how long before tools down the roof is closed up: common
// practice, no source.
const closingUp = 75 * time.Minute

// listed are the rules whose work OwedNow lists in its own words.
var listed = []string{"run-open", "cover-owed", "edge-open", "panel-bare", "seam-unchecked", "strip-left"}

// owedAhead lists what rules would ask at tools down and nothing else lists: so
// every rule of the end of the day is owed before it is wrong. Once tools are
// down the rules speak for themselves.
func (s *Situation) owedAhead() []Owed {
	if s.At&ToolsDown != 0 || s.Day.Signed() || s.Day.Started.IsZero() {
		return nil
	}
	ahead := *s
	ahead.At, ahead.judged = ToolsDown, nil
	late := s.closes()
	var rules []*Check
	for _, c := range All() {
		if c.When&ToolsDown != 0 && c.Severity.rank() < Notice.rank() && !slices.Contains(listed, c.ID) && (late || !slices.Contains(closing, c.ID)) {
			rules = append(rules, c)
		}
	}
	ahead.run(rules)
	var out []Owed
	for _, f := range ahead.judged.findings {
		said := slices.ContainsFunc(Run(s), func(g Finding) bool { return g.Key == f.Key })
		if !said && !f.Asks && !f.Settled() && f.Answer.Kind != "" && f.Answer.Of == "" {
			out = append(out, Owed{Key: f.Key, Work: OtherWork, Words: f.Says, Detail: f.Seen, Place: f.where(), Answer: f.Answer})
		}
	}
	return out
}

// closes reports whether the roof is being closed up.
func (s *Situation) closes() bool {
	down := s.toolsDown()
	return !down.IsZero() && !s.Now.Before(down.Add(-closingUp))
}

// owedDrains asks for a look at the drains while the roof is closed up.
func (s *Situation) owedDrains() []Owed {
	if !s.closes() || s.Day.Signed() || s.Day.Started.IsZero() {
		return nil
	}
	since := s.toolsDown().Add(-closingUp)
	for _, look := range s.Day.Drains {
		if !look.Latest().Before(since) {
			return nil
		}
	}
	return []Owed{{Key: "drains", Work: DrainWork, Words: "Drains", Detail: "seen clear before leaving",
		Answer: Answer{Label: "All clear", Kind: "drains", Fields: map[string]any{}}}}
}

// owedBack lists the places that stone is still kept from though they are
// treated: those of one seam together.
func (s *Situation) owedBack() []Owed {
	var out []Owed
	for _, h := range s.Roof.Back {
		spot, open, _ := s.Roof.Spot(h.Place)
		// Fresh sealant smears under stone: what was treated today may wait.
		if open && (spot.Treated.IsZero() || !s.closes() && h.Since == s.Day.Date) {
			continue
		}
		seam := seamOf(h.Place)
		i := slices.IndexFunc(out, func(o Owed) bool { return o.Seam == seam })
		if i < 0 {
			i, out = len(out), append(out, Owed{Key: "held back " + seam, Work: BackWork, Seam: seam, Words: "Held-back places, " + onRun(seam)})
		}
		out[i].Places = append(out[i].Places, h.Place)
		out[i].Left = out[i].Left || h.Since < s.Day.Date
	}
	for i := range out {
		o := &out[i]
		o.Detail = daylog.Count(len(o.Places), "place", "places") + " to close with stone by hand"
		o.Answer = Answer{Label: "Closed", Kind: "backclosed", Fields: map[string]any{"places": o.Places}}
	}
	return out
}
