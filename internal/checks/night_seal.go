package checks

import (
	"slices"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

var nightSealLeft = &Check{
	ID:       "night-seal",
	Title:    "Not sealed for the night",
	Why:      "Rain and wind go in at an open edge, under every sheet that is laid.",
	Settle:   "Seal every open edge, leave water a way to a drain, and say with what. No asphalt on the sheet.",
	Source:   Source{Where: "UFC 3-330-02A 6-3.b; Canadian Roofing Reference Manual 7.2.8", Status: Published},
	Severity: Stop,
	When:     ToolsDown | Overnight,
	Absence:  true,
	Run:      runNightSeal,
}

func runNightSeal(s *Situation, report func(Finding)) {
	f := Finding{
		Key:    "night-seal",
		Place:  "night seal",
		Since:  s.toolsDown(),
		Answer: Answer{Label: "Night seal", Kind: "nightseal"},
	}
	open, old := s.unsealed(&f)
	if len(open) > 0 {
		if old && s.At&ToolsDown == 0 {
			f.Since = s.Now
			f.Says = "Left open overnight: " + daylog.List(open)
		} else {
			f.Says = "Not sealed for the night: " + daylog.List(open)
		}
		f.Seen, f.Limit = "no seal noted", "0 ft open"
		if h, unsure := s.unheardAfter(s.evening()); unsure {
			s.hold(h, "night seal") // a seal is written once for all of the roof
		} else {
			report(f)
		}
	}
	if !s.left(s.Day.Date) {
		return
	}
	for l, b := range daylog.Each[*daylog.NightSeal](s.Day) {
		f := Finding{
			Place: "night seal", Since: l.End(), Entry: []string{l.Root}, Seen: "noted " + s.when(l.Began()),
			Key: "night-seal asphalt", Answer: correct(l, "With?"),
		}
		switch {
		case b.Material == "asphalt":
			f.Says = "Asphalt was used for the night seal: it harms the sheet"
			f.Limit = "no asphalt on the sheet"
			f.Settle = "Take it off, cut out what it touched, and seal with something else. The manufacturer says what may stay."
			f.Asks = l.About > 0
			if f.Asks {
				f.Says = "Was asphalt used for the night seal? It harms the sheet"
			}
		case b.Material == "" && !s.sealedWith():
			f.Says, f.Limit, f.Asks = "What is the night seal made with?", "no asphalt on the sheet", true
			f.Settle = "Say with what: no asphalt on the sheet."
		case !s.Roof.Seal.Way && s.Roof.Seal.Entry == l.Root && len(b.Panels) > 0:
			f.Key = "night-seal way"
			f.Says, f.Limit, f.Asks = "Does water have a way to a drain past the night seal?", "a way for water", true
			f.Settle = "See that water can leave, and tick it."
		default:
			continue
		}
		report(f)
		return // one question about the seal at a time
	}
}

// sealedWith reports whether anybody said today what the seal is made with.
func (s *Situation) sealedWith() bool {
	for _, b := range daylog.Each[*daylog.NightSeal](s.Day) {
		if b.Material != "" {
			return true
		}
	}
	return false
}

// unsealed lists what is open to rain and wind, and whether some of it was left
// so on an earlier day. Penetrations are detail-open's, and what of a seam is
// neither made nor held short is run-open's.
func (s *Situation) unsealed(f *Finding) (open []string, old bool) {
	var edges, tops, panels []string
	var last daylog.Date // worked before today
	for _, d := range s.Job.Past() {
		if d.Date < s.Day.Date {
			last = d.Date
		}
	}
	for i := range s.Roof.Panels {
		p := &s.Roof.Panels[i]
		placed, ok := s.Roof.Layout().Panel(p.Name)
		cut := s.cutOff(p.Name)
		if !ok || p.Cut {
			continue
		}
		if p.Sealed == "" && s.leads(p.Name) && s.leadsOpenly(p, cut) {
			edges = append(edges, p.Name)
			panels = append(panels, p.Name)
			old = old || p.Day < s.Day.Date && !cut
			f.places = append(f.places, where{name: p.Name})
		}
		if p.Tops == "" && (p.Day == s.Day.Date && s.left(p.Day) || p.Day == last && last != "") && s.turnsUp(placed) {
			tops = append(tops, p.Name)
			old = old || p.Day < s.Day.Date
			if !slices.Contains(panels, p.Name) {
				f.places = append(f.places, where{name: p.Name})
			}
		}
	}
	if len(edges) > 0 {
		open = append(open, "leading edge of panel "+daylog.List(edges))
	}
	if len(tops) > 0 {
		open = append(open, "turn-up tops of panel "+daylog.List(tops))
	}
	for _, m := range s.stands().order {
		for _, held := range m.Held {
			for _, p := range without(held, slices.Concat(m.Sealed, m.closed)) {
				if p.Length() >= sliver && s.left(s.Day.Date) {
					open = append(open, "run "+m.Name+", "+feet(p))
					f.places = append(f.places, where{name: m.Name, part: p})
				}
			}
		}
	}
	for l, b := range daylog.Each[*daylog.TieIn](s.Day) {
		if !b.Sealed && s.left(s.Day.Date) && !s.tiedInAfter(l) {
			open = append(open, "tie-in to the old roof"+after(b.Where))
			f.Entry = append(f.Entry, l.Root)
		}
	}
	f.Answer.Fields = map[string]any{}
	if edges != nil {
		f.Answer.Fields["panels"] = edges
	}
	if tops != nil {
		f.Answer.Fields["tops"] = true
	}
	return open, old
}

func after(where string) string {
	if where == "" {
		return ""
	}
	return ", " + where
}

// leadsOpenly reports whether a panel's leading edge, which has no seal, counts
// as left open: one of today once people leave, an older one at once unless its
// seal was cut off today for the next sheet. What stood before the record and
// has no strip nobody knows.
func (s *Situation) leadsOpenly(p *daylog.Panel, cut bool) bool {
	switch {
	case p.Day == "" && p.Strip == nil && !cut:
		return false
	case p.Day == s.Day.Date || cut:
		return s.left(s.Day.Date)
	}
	return true
}

func (s *Situation) cutOff(panel string) bool {
	for _, a := range s.stands().acts[panel] {
		if a.Kind == "cutoff" {
			return true
		}
	}
	return false
}

// turnsUp reports whether a panel has a turn-up whose top edge nobody closed.
func (s *Situation) turnsUp(placed roofplan.Panel) bool {
	for _, b := range placed.Borders {
		e := s.Roof.Edge(b.Name)
		if b.Length > 0 && e.Flashed == "" && e.Terminated == "" && e.Sealed == "" && s.rises(b.Edge) {
			return true
		}
	}
	return false
}

// rises reports whether sheets turn up at a side of the roof.
func (s *Situation) rises(edge string) bool {
	for _, e := range s.Day.Setup.Plan.Edges {
		if e.Name == edge {
			return e.TurnUp > 0
		}
	}
	// Sides that bear the compass's names all turn up alike or are open.
	return slices.ContainsFunc(s.Day.Setup.Plan.Edges, func(e roofplan.Edge) bool { return e.Name == "" && e.TurnUp > 0 })
}

func (s *Situation) tiedInAfter(line *daylog.Line) bool {
	for l, b := range daylog.Each[*daylog.TieIn](s.Day) {
		if b.Sealed && !l.At.Before(line.At) {
			return true
		}
	}
	return false
}

// without gives what of p lies in none of the parts.
func without(p daylog.Part, parts []daylog.Part) []daylog.Part {
	return daylog.Seam{Made: parts}.Open(p)
}
