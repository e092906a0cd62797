package daylog

import (
	"slices"

	"duskline/internal/roofplan"
)

// packed is the form of a roof in an opening: the same, with the many small
// parts of finished panels and seams as bare numbers. A tablet reads it each
// time its worker was stopped, so it has to stay small.
type packed struct {
	Panels   []packedPanel     `json:"panels,omitempty"`
	Seams    []packedSeam      `json:"seams,omitempty"`
	Spots    []Spot            `json:"spots,omitempty"`
	Finished map[Date][]string `json:"finished,omitempty"` // places by the day they were finished
	Lost     []Place           `json:"lost,omitempty"`

	Edges   []Edge    `json:"edges,omitempty"`
	Details []Detail  `json:"details,omitempty"`
	Back    []Held    `json:"back,omitempty"`
	Items   []Item    `json:"items,omitempty"`
	Lots    []OpenLot `json:"lots,omitempty"`
	Piles   []Pile    `json:"piles,omitempty"`
	Stones  Stones    `json:"stones,omitzero"`
	Lane    *Lane     `json:"lane,omitempty"`
	Seal    *Seal     `json:"seal,omitempty"`
}

type packedPanel struct {
	Panel
	Stone  []float64 `json:"stone,omitempty"`  // from, to, sq ft; from, to, sq ft ...
	Finish Date      `json:"finish,omitempty"` // where it is not Day
	Same   bool      `json:"same,omitempty"`   // Finish is Day
}

type packedSeam struct {
	Name    string            `json:"name"`
	Made    []roofplan.Length `json:"made,omitempty"` // from, to; from, to ...
	Runs    []Stretch         `json:"runs,omitempty"`
	Laps    []roofplan.Length `json:"laps,omitempty"` // at, lap; at, lap ...
	Held    []roofplan.Length `json:"held,omitempty"`
	Temp    []roofplan.Length `json:"temp,omitempty"`
	Checked []roofplan.Length `json:"checked,omitempty"` // where it is not Made
	Walked  bool              `json:"walked,omitempty"`  // Checked is Made
	Sealed  []roofplan.Length `json:"sealed,omitempty"`
	Ends    []roofplan.Length `json:"ends,omitempty"`
}

func pack(r *Roof, date Date) packed {
	// Spots that are finished on the opening's day or later may be struck yet:
	// they are no part of that morning.
	p := packed{Spots: r.Spots, Lost: r.Lost, Finished: map[Date][]string{}, Edges: r.Edges, Details: r.Details, Back: r.Back,
		Items: r.Items, Lots: r.Lots, Piles: r.Piles, Stones: r.Stones, Lane: r.Lane, Seal: r.Seal}
	for place, day := range r.Finished {
		if day < date {
			p.Finished[day] = append(p.Finished[day], place)
		}
	}
	for _, places := range p.Finished {
		slices.Sort(places)
	}
	for _, panel := range r.Panels {
		pp := packedPanel{Panel: panel, Finish: panel.Finish}
		pp.Panel.Stone, pp.Panel.Finish = nil, ""
		if panel.Finish != "" && panel.Finish == panel.Day {
			pp.Finish, pp.Same = "", true
		}
		for _, s := range panel.Stone {
			pp.Stone = append(pp.Stone, float64(s.From), float64(s.To), s.Area)
		}
		p.Panels = append(p.Panels, pp)
	}
	for _, s := range r.Seams {
		ps := packedSeam{Name: s.Name, Made: ends(s.Made), Runs: s.Runs, Held: ends(s.Held), Temp: ends(s.Temp), Sealed: ends(s.Sealed), Ends: s.Ends}
		if len(s.Made) > 0 && slices.Equal(s.Checked, s.Made) {
			ps.Walked = true
		} else {
			ps.Checked = ends(s.Checked)
		}
		for _, l := range s.Laps {
			ps.Laps = append(ps.Laps, l.At, l.Lap)
		}
		p.Seams = append(p.Seams, ps)
	}
	return p
}

func (p packed) roof() *Roof {
	r := &Roof{Spots: p.Spots, Lost: p.Lost, Finished: map[string]Date{}, Edges: p.Edges, Details: p.Details, Back: p.Back,
		Items: p.Items, Lots: p.Lots, Piles: p.Piles, Stones: p.Stones, Lane: p.Lane, Seal: p.Seal}
	for day, places := range p.Finished {
		for _, place := range places {
			r.Finished[place] = day
		}
	}
	for _, pp := range p.Panels {
		panel := pp.Panel
		panel.Finish = pp.Finish
		if pp.Same {
			panel.Finish = panel.Day
		}
		for s := pp.Stone; len(s) >= 3; s = s[3:] {
			panel.Stone = append(panel.Stone, StonePart{Part{roofplan.Length(s[0]), roofplan.Length(s[1])}, s[2]})
		}
		r.Panels = append(r.Panels, panel)
	}
	for _, ps := range p.Seams {
		s := Seam{Name: ps.Name, Made: parts(ps.Made), Runs: ps.Runs, Held: parts(ps.Held), Temp: parts(ps.Temp), Checked: parts(ps.Checked), Sealed: parts(ps.Sealed), Ends: ps.Ends}
		if ps.Walked {
			s.Checked = slices.Clone(s.Made)
		}
		for l := ps.Laps; len(l) >= 2; l = l[2:] {
			s.Laps = append(s.Laps, Lap{l[0], l[1]})
		}
		r.Seams = append(r.Seams, s)
	}
	return r
}

func ends(all []Part) []roofplan.Length {
	var out []roofplan.Length
	for _, p := range all {
		out = append(out, p.From, p.To)
	}
	return out
}

func parts(ends []roofplan.Length) []Part {
	var out []Part
	for ; len(ends) >= 2; ends = ends[2:] {
		out = append(out, Part{ends[0], ends[1]})
	}
	return out
}
