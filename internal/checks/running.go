package checks

import (
	"slices"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// Clock is a wait that is running.
type Clock struct {
	Key    string
	Words  string // "Resting panel 8", "Flash-off run 5|6, 0 to 50 ft", "Treatable covers, run 4|5"
	Kind   string // "rest", "flash-off", "wait"
	Since  time.Time
	Until  time.Time // zero: counts up, the finger says when
	Place  string
	Answer Answer
}

// Running lists the waits that are running: those that the finger ends, then
// the one that ends first on top.
func Running(s *Situation) []Clock {
	clocks := slices.Concat(s.flashing(), s.resting(), s.waiting())
	slices.SortStableFunc(clocks, func(a, b Clock) int {
		if c := a.Until.Compare(b.Until); c != 0 {
			return c
		}
		return a.Since.Compare(b.Since)
	})
	return clocks
}

func (s *Situation) resting() []Clock {
	var out []Clock
	for i := range s.Roof.Panels {
		p := &s.Roof.Panels[i]
		until := p.Position.At.Add(s.rest())
		if p.Position.IsZero() || !until.After(s.Now) || p.Position.At.After(s.Now) {
			continue
		}
		out = append(out, Clock{
			Key: "rest " + p.Name, Kind: "rest", Words: "Resting panel " + p.Name, Place: p.Name,
			Since: p.Position.At, Until: until,
			Answer: Answer{Label: "Lap flat", Kind: "flat", Fields: map[string]any{"panel": p.Name}},
		})
	}
	return out
}

// flashing lists the stretches that were primed and neither proved nor taped.
func (s *Situation) flashing() []Clock {
	var out []Clock
	var last *daylog.Stretch
	for _, m := range s.stands().order {
		for i := range m.Runs {
			st := &m.Runs[i]
			if st.Primed.IsZero() || !st.Taped.IsZero() || !st.Closed.IsZero() || len(st.Tests) > 0 && st.Tests[len(st.Tests)-1].Pass {
				last = nil
				continue
			}
			part := st.Part
			if n := len(out); n > 0 && last != nil && last.Primer == st.Primer && last.To == st.From {
				// One priming, cut by what was done to a part of it.
				part.From = out[n-1].Answer.Fields["from"].(roofplan.Length)
				out = out[:n-1]
			}
			last = st
			out = append(out, Clock{
				Key: "flash-off " + m.Name + " " + number(part.From.Feet()), Kind: "flash-off",
				Words: "Flash-off run " + m.Name + ", " + feet(part), Place: m.Name,
				Since:  st.Primed.At,
				Answer: Answer{Label: "Test", Kind: "test", Fields: testFields(m.Name, part)},
			})
		}
		last = nil
	}
	return out
}

func testFields(seam string, p daylog.Part) map[string]any {
	return map[string]any{"seam": seam, "from": p.From, "to": p.To, "result": "pass"}
}

// waiting lists covers and vertical splices that may not be treated yet, those
// of a run that end together as one.
func (s *Situation) waiting() []Clock {
	type group struct {
		seam  string
		until int64
		what  daylog.What
	}
	at := map[group]int{}
	var out []Clock
	places := map[group][]daylog.Place{}
	for i := range s.Roof.Spots {
		p := &s.Roof.Spots[i]
		until := p.Rolled.At.Add(s.wait())
		if p.Rolled.IsZero() || !p.Treated.IsZero() || !until.After(s.Now) || p.Rolled.At.After(s.Now) {
			continue
		}
		g := group{seamOf(p.Place), until.Unix(), p.What}
		if _, known := at[g]; !known {
			at[g] = len(out)
			out = append(out, Clock{
				Key: "wait " + keyOf(p.Place), Kind: "wait", Place: g.seam,
				Since: p.Rolled.At, Until: until,
			})
		}
		places[g] = append(places[g], p.Place)
	}
	for g, i := range at {
		what := sayPlace(places[g][0])
		switch n := len(places[g]); {
		case n > 1 && g.what == daylog.Splice:
			what = "splices"
		case n > 1:
			what = "covers"
		}
		out[i].Words = "Treatable " + what + ", " + onRun(g.seam)
		out[i].Answer = Answer{Label: "Treated", Kind: "treatment", Fields: map[string]any{"places": places[g]}}
	}
	return out
}
