package checks

import (
	"duskline/internal/daylog"
)

var openLength = Limit{Name: "run-open.length_ft", Label: "Seam between laid sheets that is not made at leaving", Default: 0, Unit: "ft", Source: practice, Most: true}

var runOpen = &Check{
	ID:       "run-open",
	Title:    "Seam not made",
	Why:      "Two laid sheets without a seam are a hole in the roof: rain runs in, wind gets under.",
	Settle:   "Make it, or hold it short on purpose: sealed, weighted, and said.",
	Source:   practice,
	Severity: Today,
	When:     ToolsDown,
	Absence:  true,
	Limits:   []Limit{openLength},
	Run:      runRunOpen,
}

func runRunOpen(s *Situation, report func(Finding)) {
	all := s.openParts()
	for from := 0; from < len(all); {
		to := from + 1
		for to < len(all) && all[to].seam == all[from].seam {
			to++
		}
		if f, ok := s.sayRunOpen(all[from:to]); ok {
			report(f)
		}
		from = to
	}
}

// sayRunOpen judges the open parts of one seam.
func (s *Situation) sayRunOpen(gaps []open) (Finding, bool) {
	seam := gaps[0].seam
	f := Finding{Key: "run-open " + seam, Place: "run " + seam, Since: s.toolsDown(), Asks: true}
	length := 0.0
	var said []daylog.Part
	for _, o := range gaps {
		if !s.known(where{name: seam, part: o.Part}, f.Since, "run "+seam+", "+feet(o.Part)) {
			continue
		}
		length += o.Length().Feet()
		if n := len(said); n > 0 && said[n-1].To == o.From {
			said[n-1].To = o.To
		} else {
			said = append(said, o.Part)
		}
		f.places = append(f.places, where{name: seam, part: o.Part})
		f.Asks = f.Asks && s.seemsMade(o)
	}
	length = tenth(length)
	limit := s.Limit(openLength)
	if length == 0 || length <= limit {
		return f, false
	}
	f.Seen = number(length) + " ft not made"
	f.Limit = number(limit) + " ft"
	f.Says = "Run " + seam + " is not made from " + parts(said)
	f.Answer = Answer{Label: "Run closed", Kind: "closed", Fields: map[string]any{"seam": seam, "from": said[0].From, "to": said[0].To}}
	if f.Asks {
		f.Says = "When was run " + seam + ", " + parts(said) + " closed?"
		f.Seen = "closing not written, though covers are"
		f.Settle = "Say when it was closed."
		f.Answer.Label = "When?"
	}
	return f, true
}

// seemsMade reports whether something is written that follows only on a closed
// run: a cover or vertical splice rolled on that part.
func (s *Situation) seemsMade(o open) bool {
	if o.stretch == nil {
		return false
	}
	st := s.stands()
	rolled := func(on string, at func(*daylog.Spot) bool) bool {
		for _, p := range st.spots[on] {
			if !p.Rolled.IsZero() && at(p) {
				return true
			}
		}
		return false
	}
	if rolled(o.seam, func(p *daylog.Spot) bool { return o.From <= p.At && p.At <= o.To }) {
		return true
	}
	plan, _ := s.Roof.Layout().Seam(o.seam)
	for _, end := range plan.Ends() {
		angle := daylog.AngleAt(plan, end)
		if o.From <= angle && angle <= o.To && rolled(end.Name, func(*daylog.Spot) bool { return true }) {
			return true
		}
	}
	return false
}
