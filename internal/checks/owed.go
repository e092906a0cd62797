package checks

import (
	"slices"
	"strings"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// Owed is a piece of work in its normal course that is still to be done.
type Owed struct {
	Key    string // stable: kind of work and place
	Work   Work
	Words  string // "Covers on run 6|7"
	Detail string // "end lap at 41 ft, folded north and south"
	Seam   string // or
	Panel  string
	Place  string         // or any other
	Places []daylog.Place // for covers, splices and treatment
	Part   daylog.Part    // for runs
	Ready  time.Time      // not before: treatment after the wait; zero: any time
	Last   time.Time      // last call; zero: tools down
	Left   bool           // over from an earlier day: it comes first
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
	BackWork      Work = "held back"
	DrainWork     Work = "drains"
	OtherWork     Work = "other" // what a rule would ask at tools down
)

// OwedNow lists what is owed on the roof: what is left from an earlier day
// first, then in the order of the day's work.
func OwedNow(s *Situation) []Owed {
	owed := slices.Concat(s.owedRuns(), s.owedCovers(), s.owedCheck(), s.owedStone(), s.owedTreatment(), s.owedStrips(), s.owedBack(), s.owedAhead(), s.owedDrains())
	slices.SortStableFunc(owed, func(a, b Owed) int {
		switch {
		case a.Left == b.Left:
			return 0
		case a.Left:
			return -1
		}
		return 1
	})
	return owed
}

// sliver is how far typed feet may miss the true end of a seam or each other.
const sliver = roofplan.Length(3)

// open is a part of a seam between two laid sheets that is not made.
type open struct {
	daylog.Part
	seam    string
	stretch *daylog.Stretch // what was begun there; nil: nothing
}

// openParts lists what is not made of the seams between laid sheets, along
// each seam, less what is held short since today.
func (s *Situation) openParts() []open {
	st := s.stands()
	var out []open
	for i := range s.Roof.Layout().Seams {
		plan := &s.Roof.Layout().Seams[i]
		if !st.laid(plan.A, plan.B) || st.stood(plan.Name) {
			continue
		}
		m := st.seams[plan.Name]
		for _, span := range plan.Spans {
			p := daylog.Part{From: span.From, To: span.To}
			if m == nil {
				out = append(out, open{Part: p, seam: plan.Name})
				continue
			}
			for _, gap := range m.Open(p) {
				if gap.Length() >= sliver {
					out = append(out, s.byStretch(m, gap)...)
				}
			}
		}
	}
	return out
}

// byStretch parts a gap by what was begun in it.
func (s *Situation) byStretch(m *seam, gap daylog.Part) []open {
	var out []open
	at := gap.From
	add := func(to roofplan.Length, st *daylog.Stretch) {
		if to <= at {
			return
		}
		if n := len(out); n > 0 && st != nil && out[n-1].stretch != nil && out[n-1].stretch.Primer == st.Primer {
			out[n-1].To = to
		} else {
			out = append(out, open{Part: daylog.Part{From: at, To: to}, seam: m.Name, stretch: st})
		}
		at = to
	}
	for i := range m.Runs {
		st := &m.Runs[i]
		if st.To <= gap.From || gap.To <= st.From || !st.Closed.IsZero() {
			continue
		}
		add(max(st.From, gap.From), nil)
		add(min(st.To, gap.To), st)
	}
	add(gap.To, nil)
	return out
}

func (s *Situation) owedRuns() []Owed {
	var out []Owed
	for _, o := range s.openParts() {
		row := Owed{
			Key: "run " + o.seam + " " + span(o.Part), Work: RunWork, Seam: o.seam, Part: o.Part,
			Words: "Run " + o.seam, Detail: feet(o.Part),
		}
		fields := map[string]any{"seam": o.seam, "from": o.From, "to": o.To}
		if o.stretch != nil {
			row.Answer = Answer{Label: "Run closed", Kind: "closed", Fields: fields}
			steps := stepsOf(o.stretch)
			if last := len(steps) - 1; last >= 0 {
				row.Detail += " · " + steps[last].word + " " + s.when(steps[last].When)
			}
		} else {
			row.Answer = Answer{Label: "Priming now", Kind: "priming", Fields: fields}
			row.Ready = s.restedAt(o.seam)
		}
		out = append(out, row)
	}
	return append(out, s.owedEnds()...)
}

// owedEnds lists what was held short on an earlier day: it is made next.
func (s *Situation) owedEnds() []Owed {
	var out []Owed
	for i := range s.Day.Opening.Seams {
		before := &s.Day.Opening.Seams[i]
		if len(before.Held) == 0 {
			continue
		}
		m := s.stands().seams[before.Name]
		if m == nil {
			continue
		}
		for _, was := range before.Held {
			for _, h := range m.Held {
				p := daylog.Part{From: max(was.From, h.From), To: min(was.To, h.To)}
				if p.Length() == 0 {
					continue
				}
				out = append(out, Owed{
					Key: "run " + m.Name + " " + span(p), Work: RunWork, Seam: m.Name, Part: p, Left: true,
					Words: "Run " + m.Name, Detail: feet(p) + " · held short",
					Answer: Answer{Label: "Priming now", Kind: "priming", Fields: map[string]any{"seam": m.Name, "from": p.From, "to": p.To}},
				})
			}
		}
	}
	return out
}

// restedAt gives when the later of a seam's panels will have rested; zero if
// both have lain there since before today.
func (s *Situation) restedAt(seam string) time.Time {
	var at time.Time
	for _, name := range daylog.Joined(seam) {
		if p := s.stands().panels[name]; p != nil && p.Day == s.Day.Date && !p.Position.IsZero() {
			rest := s.rest()
			if air, ok := s.air(p.Position); ok && air <= s.Limit(coldAir) {
				rest = max(rest, s.coldRest())
			}
			if r := p.Position.At.Add(rest); r.After(at) {
				at = r
			}
		}
	}
	return at
}

func (s *Situation) owedCovers() []Owed {
	last := Calls(s).Cover
	var out []Owed
	for _, group := range bySeam(s.stands().duties) {
		seam := group[0].seam
		row := Owed{Key: "cover " + seam, Work: CoverWork, Seam: seam, Last: last, Words: "Vertical splices on run " + seam}
		for _, d := range group {
			row.Places = append(row.Places, d.Place)
			row.Left = row.Left || d.made.IsZero()
			if d.covers() {
				row.Words = "Covers on run " + seam
			}
		}
		row.Detail = strings.Join(sayDuties(group), " · ")
		row.Answer = Answer{Label: "Covers done", Kind: "covers", Fields: map[string]any{"places": row.Places}}
		out = append(out, row)
	}
	return out
}

// sayDuties says what is owed and where, without the seam: "end lap at 41 ft",
// "folded south and north".
func sayDuties(duties []duty) []string {
	var at [upright + 1][]string
	for _, d := range duties {
		_, where, _ := strings.Cut(d.On, "@")
		switch d.why {
		case endLap:
			where = d.At.String()
		case joint:
			where = d.On
		}
		at[d.why] = append(at[d.why], where)
	}
	var out []string
	for why, words := range [...][2]string{
		endLap:  {"end lap at", "end laps at"},
		folded:  {"folded", "folded"},
		joint:   {"T-joint", "T-joints"},
		upright: {"vertical splice", "vertical splices"},
	} {
		switch n := len(at[why]); {
		case n == 1:
			out = append(out, words[0]+" "+at[why][0])
		case n > 1:
			out = append(out, words[1]+" "+daylog.List(at[why]))
		}
	}
	return out
}

// bySeam parts duties, in their order, by seam.
func bySeam(duties []duty) [][]duty {
	var out [][]duty
	for i, d := range duties {
		if i == 0 || d.seam != duties[i-1].seam {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], d)
	}
	return out
}

func (s *Situation) owedCheck() []Owed {
	row := Owed{Key: "seam check", Work: CheckWork, Detail: "before stone comes near"}
	var seams []string
	for _, m := range s.unchecked() {
		seams = append(seams, m.Name)
	}
	switch len(seams) {
	case 0:
		return nil
	case 1:
		row.Seam, row.Words = seams[0], "Seam check, run "+seams[0]
	case 2, 3:
		row.Words = "Seam check, runs " + daylog.List(seams)
	default:
		row.Words = "Seam check, " + daylog.Count(len(seams), "run", "runs")
	}
	row.Answer = Answer{Label: "Walked", Kind: "check", Fields: map[string]any{}}
	return []Owed{row}
}

// uncovered reports whether any of p lies in none of the parts, which are
// merged and in order.
func uncovered(p daylog.Part, parts []daylog.Part) bool {
	for _, q := range parts {
		if q.From <= p.From && p.To <= q.To {
			return false
		}
	}
	return true
}

// stoneless gives the area of a laid panel that final stone has not reached,
// whatever weighs it down, less its leading strip; whole sq ft.
func (s *Situation) stoneless(p *daylog.Panel) float64 {
	placed, ok := s.Roof.Layout().Panel(p.Name)
	if !ok || p.Day == "" {
		return 0
	}
	area := placed.Net
	for _, st := range p.Stone {
		area -= st.Area
	}
	if less := s.restOf(p).Less; less > 0 {
		area -= s.Roof.Layout().Strip(p.Name, less)
	}
	return wholeFeet(area)
}

func (s *Situation) owedStone() []Owed {
	var names []string
	var parts []daylog.PanelPart
	var area float64
	row := Owed{Work: StoneWork}
	for i := range s.Roof.Panels {
		p := &s.Roof.Panels[i]
		bare := s.stoneless(p)
		if bare == 0 {
			continue
		}
		area += bare
		names, parts = append(names, p.Name), append(parts, s.restOf(p))
		row.Left = row.Left || p.Day < s.Day.Date
	}
	if len(names) == 0 {
		return nil
	}
	row.Key, row.Panel = "stone "+names[0], names[0]
	row.Words = "Stone on panel " + names[0]
	if len(names) > 1 {
		row.Words = "Stone on panels " + daylog.List(names)
	}
	row.Detail = number(area) + " sq ft without stone"
	row.Answer = Answer{Label: "Stone", Kind: "stone", Fields: map[string]any{"panels": parts}}
	return []Owed{row}
}

// restOf is the stone that a panel still owes: all of it less the leading
// strip, which stays open while a sheet is to be lapped there.
func (s *Situation) restOf(p *daylog.Panel) daylog.PanelPart {
	part := daylog.PanelPart{Panel: p.Name}
	if p.Strip != nil {
		part.Less = p.Strip.Width
	} else if s.leads(p.Name) {
		part.Less = leadingStrip
	}
	return part
}

// leadingStrip is the usual width left open for the next sheet, 4 ft: common
// practice, no source.
const leadingStrip = roofplan.Length(48)

// leads reports whether a sheet is still to be lapped onto a panel.
func (s *Situation) leads(panel string) bool {
	placed, ok := s.Roof.Layout().Panel(panel)
	if !ok {
		return false
	}
	for _, n := range placed.Neighbours {
		if !s.stands().laid(n) {
			return true
		}
	}
	return false
}

func (s *Situation) owedTreatment() []Owed {
	last := Calls(s).Treatment
	groups := map[string][]*daylog.Spot{}
	var order []string
	for i := range s.Roof.Spots {
		p := &s.Roof.Spots[i]
		if p.Rolled.IsZero() || !p.Treated.IsZero() {
			continue
		}
		seam := seamOf(p.Place)
		if groups[seam] == nil {
			order = append(order, seam)
		}
		groups[seam] = append(groups[seam], p)
	}
	slices.SortFunc(order, compareNames)
	var out []Owed
	for _, seam := range order {
		row := Owed{Key: "treatment " + seam, Work: TreatmentWork, Seam: seam, Last: last, Words: "Treatment, " + onRun(seam)}
		var ready []daylog.Place
		for _, p := range groups[seam] {
			row.Places = append(row.Places, p.Place)
			row.Left = row.Left || p.Day < s.Day.Date
			at := p.Rolled.At.Add(s.wait())
			if at.After(row.Ready) {
				row.Ready = at
			}
			if !at.After(s.Now) {
				ready = append(ready, p.Place)
			}
		}
		if ready == nil {
			ready = row.Places
		}
		row.Detail = s.sayReady(groups[seam])
		row.Answer = Answer{Label: "Treated", Kind: "treatment", Fields: map[string]any{"places": ready}}
		out = append(out, row)
	}
	return out
}

// sayReady says what waits until when: "3 covers, from 13:05 · 2 splices,
// from 12:40".
func (s *Situation) sayReady(spots []*daylog.Spot) string {
	type group struct {
		at   time.Time
		what daylog.What
	}
	n := map[group]int{}
	var order []group
	for _, p := range spots {
		g := group{p.Rolled.At.Add(s.wait()), p.What}
		if n[g] == 0 {
			order = append(order, g)
		}
		n[g]++
	}
	slices.SortStableFunc(order, func(a, b group) int { return a.at.Compare(b.at) })
	var parts []string
	for _, g := range order {
		text := daylog.Count(n[g], "cover", "covers")
		if g.what == daylog.Splice {
			text = daylog.Count(n[g], "splice", "splices")
		}
		if g.at.After(s.Now) {
			text += ", from " + s.Clock(g.at)
		} else {
			text += ", now"
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, " · ")
}

func (s *Situation) owedStrips() []Owed {
	var out []Owed
	for i := range s.Roof.Panels {
		p := &s.Roof.Panels[i]
		if p.Strip == nil || p.Strip.Filled {
			continue
		}
		row := Owed{Key: "strip " + p.Name, Work: StripWork, Panel: p.Name, Words: "Leading strip of panel " + p.Name}
		switch {
		case s.lapped(p.Name):
			row.Detail = "the seam beside it is made: stone"
			row.Answer = Answer{Label: "Stone", Kind: "stone", Fields: map[string]any{"strips": []string{p.Name}}}
			row.Left = p.Strip.Since < s.Day.Date
		case !p.Strip.Temp:
			row.Detail = number(wholeFeet(s.Roof.Layout().Strip(p.Name, p.Strip.Width))) + " sq ft, temporary ballast for the night"
			row.Answer = Answer{Label: "Weighted", Kind: "temp", Fields: map[string]any{"strips": []string{p.Name}}}
		default:
			continue
		}
		out = append(out, row)
	}
	return out
}

// lapped reports whether the sheet that a leading strip waited for is laid and
// its seam made or held short all along.
func (s *Situation) lapped(panel string) bool {
	layout := s.Roof.Layout()
	placed, ok := layout.Panel(panel)
	if !ok {
		return false
	}
	higher := false
	for _, n := range placed.Neighbours {
		name := roofplan.SeamName(panel, n)
		plan, _ := layout.Seam(name)
		if plan.A != panel || plan.Axis != placed.Axis {
			continue
		}
		higher = true
		m := s.stands().seams[name]
		if m == nil {
			return false
		}
		for _, span := range plan.Spans {
			if len(m.Open(daylog.Part{From: span.From, To: span.To})) > 0 {
				return false
			}
		}
	}
	return higher
}
