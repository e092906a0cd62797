package checks

import "duskline/internal/daylog"

var seamUnchecked = &Check{
	ID:       "seam-unchecked",
	Title:    "Run not walked and checked",
	Why:      "A fishmouth or a missed cover is found by walking the seam; under stone nobody sees it again.",
	Settle:   "Walk it and look at every foot, cover and splice; one entry does for all of today's runs.",
	Source:   practice,
	Severity: Today,
	When:     ToolsDown,
	Absence:  true,
	Plain:    true,
	Run:      runSeamUnchecked,
}

func runSeamUnchecked(s *Situation, report func(Finding)) {
	f := Finding{Key: "seam-unchecked", Limit: "every run walked", Since: s.toolsDown()}
	var seams []string
	for _, m := range s.unchecked() {
		w := where{name: m.Name}
		if !s.known(w, f.Since, "run "+m.Name) {
			continue
		}
		seams = append(seams, m.Name)
		f.places = append(f.places, w)
	}
	if len(seams) == 0 {
		return
	}
	f.Place = "run " + seams[0]
	f.Says = "Run " + seams[0] + " was not walked and checked"
	if len(seams) > 1 {
		f.Says = "Runs " + daylog.List(seams) + " were not walked and checked"
	}
	f.Seen = daylog.Count(len(seams), "run", "runs") + " not checked"
	f.Answer = Answer{Label: "Walked", Kind: "check", Fields: map[string]any{"seams": seams}}
	report(f)
}

// unchecked lists the seams made by this record of which a part was not walked
// since it was made.
func (s *Situation) unchecked() []*seam {
	var out []*seam
	for _, m := range s.stands().order {
		for _, p := range m.closed {
			if !m.stood && uncovered(p, m.Checked) {
				out = append(out, m)
				break
			}
		}
	}
	return out
}
