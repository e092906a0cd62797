package checks

import (
	"strings"

	"duskline/internal/daylog"
)

var stoneWrong = &Check{
	ID:       "stone-wrong",
	Title:    "Stone that is not approved",
	Why:      "Other sizes blow off, and broken or unwashed stone harms the sheet and the drains.",
	Settle:   "Stop, and ask the office; or correct the name of the stone.",
	Source:   practice, // smooth, washed, rounded; No. 4 of ASTM D448: ANSI/SPRI RP-4-2008 2.1, published
	Severity: Stop,
	When:     Live,
	Plain:    true,
	Run:      runStoneWrong,
}

func runStoneWrong(s *Situation, report func(Finding)) {
	if len(s.Day.Setup.Stones) == 0 {
		return // the job names none
	}
	said := map[string]bool{}
	for l, b := range daylog.Each[*daylog.StoneSpread](s.Day) {
		wrong := s.wrong(b)
		name := calledStone(b)
		key := "stone-wrong " + strings.TrimSpace(name+" "+b.Zone)
		if wrong == "" || said[key] {
			continue
		}
		said[key] = true
		taken, be := s.taken(b.Zone), " was spread"
		if b.Material == "pavers" || b.Material == "interlocking" {
			be = " were spread"
		}
		f := Finding{
			Key:    key,
			Says:   upper(name) + be + wrong + "; the job takes " + taken,
			Seen:   name,
			Limit:  taken,
			Since:  l.At,
			Entry:  []string{l.Root},
			Answer: correct(l, "Which stone?"),
		}
		for _, pp := range b.Panels {
			f.places = append(f.places, where{name: pp.Panel, part: pp.Part})
		}
		f.Place = "panel " + daylog.List(append(panelsOf(b), b.Strips...))
		report(f)
	}
}

// wrong says what is wrong with stone that was spread, a space before it; ""
// if it is approved.
func (s *Situation) wrong(b *daylog.StoneSpread) string {
	approved := s.approved(b)
	if len(approved) > 0 && !b.Unwashed {
		return ""
	}
	for _, a := range approved {
		if !a.Washed {
			return ""
		}
	}
	if len(approved) > 0 {
		return " unwashed"
	}
	anywhere := *b
	anywhere.Zone = ""
	if b.Zone != "" && len(s.approved(&anywhere)) > 0 {
		return " in the " + b.Zone
	}
	return " without approval"
}

// calledStone names stone as its line does: "stone No. 4", "crushed stone".
func calledStone(b *daylog.StoneSpread) string {
	what := map[string]string{"": "stone", "crushed": "crushed stone", "pavers": "pavers", "interlocking": "interlocking pavers"}[b.Material]
	return strings.TrimSpace(what + " " + strings.TrimSpace(b.Stone))
}

// taken lists what the job approves for a zone, or anywhere if none is said.
func (s *Situation) taken(zone string) string {
	var out []string
	for _, a := range s.Day.Setup.Stones {
		if zone == "" || a.Zone == "" || a.Zone == zone {
			text := a.Stone
			if a.Shape != "" && !strings.Contains(text, a.Shape) {
				text += " " + a.Shape
			}
			if a.Washed {
				text += " washed"
			}
			if zone == "" && a.Zone != "" {
				text += " in the " + a.Zone
			}
			out = append(out, text)
		}
	}
	if out == nil {
		return "no loose stone there"
	}
	return daylog.List(out)
}

// approved gives the approvals that cover stone that was spread: by its name,
// another name or its size number, its shape, and its zone where one is said.
// Stone without a name goes by its shape.
func (s *Situation) approved(b *daylog.StoneSpread) []daylog.ApprovedStone {
	shape := map[string]string{"": "rounded", "crushed": "crushed", "pavers": "paver", "interlocking": "interlocking"}[b.Material]
	name := strings.TrimSpace(b.Stone)
	var out []daylog.ApprovedStone
	for _, a := range s.Day.Setup.Stones {
		if a.Shape != "" && a.Shape != shape || b.Zone != "" && a.Zone != "" && a.Zone != b.Zone {
			continue
		}
		if name == "" || strings.EqualFold(a.Stone, name) || a.Alias != "" && strings.EqualFold(a.Alias, name) || sameSize(a, name) {
			out = append(out, a)
		}
	}
	return out
}

// sameSize reports whether a stone is called by the size number of an
// approved one.
func sameSize(a daylog.ApprovedStone, name string) bool {
	called := sizeNumber(name)
	return called != "" && (called == sizeNumber(a.Size) || called == sizeNumber(a.Stone))
}

// sizeNumber reads a size number of ASTM D448 off a name: "4" of "No. 4",
// "#4", "size 4", "ASTM D448 no 4" and "4"; "" if there is none.
func sizeNumber(name string) string {
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return strings.ContainsRune(" .,:;()", r) })
	for i, w := range words {
		number, marked := strings.CutPrefix(w, "#")
		if cut, ok := strings.CutPrefix(w, "no"); ok && cut != "" {
			number, marked = cut, true
		}
		if !digitsOnly(number) {
			continue
		}
		if marked || len(words) == 1 || i > 0 && (words[i-1] == "no" || words[i-1] == "size" || words[i-1] == "number" || words[i-1] == "#") {
			return number
		}
	}
	return ""
}

func digitsOnly(text string) bool {
	return text != "" && strings.Trim(text, "0123456789") == ""
}
