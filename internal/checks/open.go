package checks

import (
	"cmp"
	"slices"
	"strings"

	"duskline/internal/daylog"
)

// Open is what is open at one place: what is wrong or asked there, and what is
// owed without being wrong yet.
type Open struct {
	Place string // "Run 2|3", "Panel 5", "Drain D1"; "The roof" for what is of no place
	Found []Finding
	Owed  []Owed
}

// ByPlace puts findings and owed work together by where they are, the places of
// the gravest findings first. Owed work that a finding speaks of already is left
// to it: one cause is one line.
func ByPlace(s *Situation, found []Finding, owed []Owed) []Open {
	var all []Open
	at := func(place string) *Open {
		i := slices.IndexFunc(all, func(o Open) bool { return o.Place == place })
		if i < 0 {
			i, all = len(all), append(all, Open{Place: place})
		}
		return &all[i]
	}
	for _, f := range found {
		o := at(s.placeWords(f.where()))
		o.Found = append(o.Found, f)
	}
	for _, row := range owed {
		o := at(s.placeWords(cmp.Or(row.Seam, row.Panel, row.Place)))
		if !slices.ContainsFunc(o.Found, row.said) {
			o.Owed = append(o.Owed, row)
		}
	}
	return slices.DeleteFunc(all, func(o Open) bool { return len(o.Found)+len(o.Owed) == 0 })
}

// where names the place that a finding is at: the first, if it has several.
func (f Finding) where() string {
	if len(f.places) > 0 {
		return f.places[0].name
	}
	return f.Place
}

// said reports whether a finding asks for the same work at the same place.
func (o Owed) said(f Finding) bool {
	return o.Answer.Kind == f.Answer.Kind || o.Work == RunWork && f.Check.ID == runOpen.ID
}

// placeWords heads what is open at a place: a seam, a panel, or a spot or edge
// that belongs to one.
func (s *Situation) placeWords(name string) string {
	for _, lead := range []string{"run ", "panel "} {
		name = strings.TrimPrefix(name, lead)
	}
	stem, _, _ := strings.Cut(name, "@")
	stem, _, _ = strings.Cut(strings.ReplaceAll(stem, ",", " "), " ")
	_, laid := s.stands().panels[stem]
	if _, planned := s.Roof.Layout().Panel(stem); laid || planned {
		return "Panel " + stem
	}
	switch joined := len(daylog.Joined(stem)); {
	case name == "":
		return "The roof"
	case joined > 2:
		return "T-joint " + stem
	case joined == 2:
		return "Run " + stem
	}
	return upper(name)
}
