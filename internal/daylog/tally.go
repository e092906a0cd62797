package daylog

import (
	"cmp"
	"math"
	"slices"

	"duskline/internal/roofplan"
)

// Tally is a day's work in figures: areas in sq ft to 0.1, weights in whole
// pounds, hours as written. It counts what stands at the end of the day, so
// what was struck is not in it and what was corrected is in it once.
type Tally struct {
	Panels    []PanelLaid // in the order of being laid
	Laid      float64
	Insulated float64
	Torn      float64

	Seams []SeamMade // by name
	Made  roofplan.Length

	Covers  Spots
	Splices Spots

	Edges   []EdgeDone // "secured", "flashed", "terminated": those there are
	Details []string   // flashed today

	Stone    []StoneArea // as it was spread, then held-back places closed
	Stoned   float64
	Pounds   int
	Loads    int // on tickets
	Received int // lb by tickets that name their unit
	Unnamed  int // tickets whose ton is not named

	Squares   []TestSquare
	Tests     int // finger tests
	Failed    int // of them
	Trades    []TradeHours
	People    int // on the roof
	Hours     float64
	Equipment []EquipmentHours
	Bare      float64 // left with neither stone nor temporary ballast
}

// PanelLaid is a sheet laid today.
type PanelLaid struct {
	Name, Lot string
	Area      float64
}

// SeamMade is what was made of a seam today: of what was cut out and made
// again, only what was not made in the morning.
type SeamMade struct {
	Seam  string
	Parts []Part
	Feet  roofplan.Length
	Laps  []Lap // tape end laps in those parts
}

// Spots counts covers, or vertical splices.
type Spots struct {
	Rolled  int // today
	Treated int // today
	Waiting int // rolled by the end of the day and not treated
}

// EdgeDone is how much of the edges was secured, flashed or terminated today.
type EdgeDone struct {
	Done  string
	Edges []string
	Feet  roofplan.Length // as written, else as long as the plan has them
}

// StoneArea is stone put down in one go.
type StoneArea struct {
	Panels []PanelPart
	Strips []string
	Back   []Place // held-back places that were closed; they have no area of their own
	Area   float64
	Pounds int
	Line   *Line
}

// Rate is pounds to the square foot, to 0.1; 0 without an area.
func (s StoneArea) Rate() float64 { return rate(s.Pounds, s.Area) }

// Rate is the day's stone by the area it lies on, to 0.1 lb/sq ft; stone that
// closed held-back places counts with the area around them. 0 without one.
func (t Tally) Rate() float64 { return rate(t.Pounds, t.Stoned) }

func rate(lb int, area float64) float64 {
	if !(area > 0) {
		return 0
	}
	return tenth(float64(lb) / area)
}

// TradeHours is a trade's people and hours.
type TradeHours struct {
	Trade  string
	People int     // on the roof
	Hours  float64 // of all of them together
}

// EquipmentHours is what one sort of equipment ran, and stood by.
type EquipmentHours struct {
	Item  string
	Hours float64
	Idle  float64
}

// Squares of roof: of 100 sq ft, to 0.1.
func Squares(area float64) float64 { return tenth(area / 100) }

// ShortTons are tons of 2,000 lb, to 0.01 (NIST SP 811: published).
func ShortTons(lb int) float64 { return math.Round(float64(lb)/shortTon*100) / 100 }

// Tally counts the day's work.
func (d *Day) Tally() Tally {
	t := Tally{Insulated: tenth(d.Insulated), Torn: tenth(d.Torn)}
	for i := range d.Roof.Panels {
		p := &d.Roof.Panels[i]
		t.Bare += d.Roof.Bare(*p)
		if p.Day != d.Date {
			continue
		}
		placed, _ := d.Roof.layout.Panel(p.Name)
		if placed.Net == 0 && (p.Cut || p.Of != "") { // its area is its pieces', or the sheet's it was cut from
			continue
		}
		t.Panels = append(t.Panels, PanelLaid{p.Name, p.Lot, placed.Net})
		t.Laid += placed.Net
	}
	t.Laid, t.Bare = tenth(t.Laid), tenth(t.Bare)
	t.seams(d)
	for i := range d.Roof.Spots {
		s := &d.Roof.Spots[i]
		to := &t.Covers
		if s.What == Splice {
			to = &t.Splices
		}
		if !s.Rolled.IsZero() && s.Day == d.Date {
			to.Rolled++
		}
		switch {
		case !s.Treated.IsZero():
			to.Treated++
		case !s.Rolled.IsZero():
			to.Waiting++
		}
	}
	for i := range d.Roof.Details {
		if x := &d.Roof.Details[i]; x.Flashed == d.Date {
			t.Details = append(t.Details, x.Name)
		}
	}
	t.lines(d)
	t.people(d)
	return t
}

func (t *Tally) seams(d *Day) {
	for i := range d.Roof.Seams {
		s := &d.Roof.Seams[i]
		if len(s.Runs) == 0 { // what is closed today is among them
			continue
		}
		before := d.Opening.Seam(s.Name).Closed()
		made := SeamMade{Seam: s.Name}
		for _, p := range s.Closed() {
			for _, part := range subtract(p, before) {
				made.Parts = append(made.Parts, part)
				made.Feet += part.Length()
			}
		}
		if made.Feet == 0 {
			continue
		}
		for _, lap := range s.Laps {
			if slices.ContainsFunc(made.Parts, func(p Part) bool { return p.From <= lap.At && lap.At <= p.To }) {
				made.Laps = append(made.Laps, lap)
			}
		}
		t.Seams = append(t.Seams, made)
		t.Made += made.Feet
	}
	slices.SortStableFunc(t.Seams, func(a, b SeamMade) int { return compareSeams(a.Seam, b.Seam) })
}

// compareSeams orders seams by their panels as people count.
func compareSeams(a, b string) int {
	x, y := Joined(a), Joined(b)
	for i := range min(len(x), len(y)) {
		if c := roofplan.CompareNames(x[i], y[i]); c != 0 {
			return c
		}
	}
	return cmp.Compare(len(x), len(y))
}

// lines counts what the roof keeps no figures of.
func (t *Tally) lines(d *Day) {
	for _, l := range d.Lines {
		if l.Struck != nil {
			continue
		}
		switch b := l.Body.(type) {
		case *EdgeWork:
			t.edge(d, b)
		case *StoneSpread:
			a := StoneArea{Panels: b.Panels, Strips: b.Strips, Pounds: b.Pounds, Line: l}
			for _, pp := range b.Panels {
				a.Area += d.Roof.area(pp)
			}
			for _, name := range b.Strips {
				if p, ok := d.Roof.Panel(name); ok && p.Strip != nil {
					a.Area += d.Roof.layout.Strip(name, p.Strip.Width)
				}
			}
			a.Area = tenth(a.Area)
			t.Stone = append(t.Stone, a)
			t.Stoned += a.Area
			t.Pounds += b.Pounds
		case *BackClosed:
			t.Stone = append(t.Stone, StoneArea{Back: b.Places, Pounds: b.Pounds, Line: l})
			t.Pounds += b.Pounds
		case *StoneTicket:
			t.Loads += max(b.Loads, 1)
			t.Received += b.Pounds()
			if b.Unit == "" {
				t.Unnamed++
			}
		case *TestSquare:
			t.Squares = append(t.Squares, *b)
		case *FingerTest:
			t.Tests++
			if b.Result != "pass" {
				t.Failed++
			}
		case *Equipment:
			t.equipment(b)
		}
	}
	t.Stoned = tenth(t.Stoned)
}

func (t *Tally) edge(d *Day, b *EdgeWork) {
	done := cmp.Or(b.Done, "secured")
	i := slices.IndexFunc(t.Edges, func(e EdgeDone) bool { return e.Done == done })
	if i < 0 {
		i = len(t.Edges)
		t.Edges = append(t.Edges, EdgeDone{Done: done})
	}
	e := &t.Edges[i]
	e.Edges = append(e.Edges, b.Edges...)
	e.Feet += b.Feet
	if b.Feet != 0 {
		return
	}
	for i := range d.Roof.layout.Panels {
		for _, border := range d.Roof.layout.Panels[i].Borders {
			if slices.Contains(b.Edges, border.Name) {
				e.Feet += border.Length
			}
		}
	}
}

func (t *Tally) equipment(b *Equipment) {
	for _, item := range b.Items {
		i := slices.IndexFunc(t.Equipment, func(e EquipmentHours) bool { return e.Item == item })
		if i < 0 {
			i = len(t.Equipment)
			t.Equipment = append(t.Equipment, EquipmentHours{Item: item})
		}
		if b.Idle {
			t.Equipment[i].Idle += b.Hours
		} else {
			t.Equipment[i].Hours += b.Hours
		}
	}
}

// people counts by trade who was on the roof, by the start of the day and by
// the hours, and the hours of each trade.
func (t *Tally) people(d *Day) {
	here := map[string]bool{}
	trade := func(id string) *TradeHours {
		p, _ := d.Setup.Person(id)
		name := cmp.Or(p.Trade, p.Role, "crew")
		i := slices.IndexFunc(t.Trades, func(h TradeHours) bool { return h.Trade == name })
		if i < 0 {
			i = len(t.Trades)
			t.Trades = append(t.Trades, TradeHours{Trade: name})
		}
		if !here[id] {
			here[id] = true
			t.Trades[i].People++
			t.People++
		}
		return &t.Trades[i]
	}
	for _, b := range Each[*Start](d) {
		for _, id := range b.Crew {
			trade(id)
		}
	}
	for _, b := range Each[*CrewHours](d) {
		for _, id := range b.Persons {
			trade(id).Hours += b.Hours
			t.Hours += b.Hours
		}
	}
}

// Required gives what the job asks of stone in lb/sq ft, zone by zone; "" is
// everywhere. Several stones for one zone ask for what the least of them does.
func (s *Setup) Required() map[string]float64 {
	least := map[string]float64{}
	for _, a := range s.Stones {
		if was, ok := least[a.Zone]; a.Rate > 0 && (!ok || a.Rate < was) {
			least[a.Zone] = a.Rate
		}
	}
	return least
}

// SoFar is how far the job has come by the end of a day, with what stood before
// the record begins.
type SoFar struct {
	Laid, Roof  float64         // sheet on the roof, and all of the plan's
	Made, Seams roofplan.Length // seams made, and all of the plan's
	Spread      int             // stone, lb
	Delivered   int
}

// SoFar counts what stands at the end of the day.
func (d *Day) SoFar() SoFar {
	s := SoFar{Spread: d.Roof.Stones.Spread, Delivered: d.Roof.Stones.Delivered}
	for i := range d.Roof.layout.Panels {
		p := &d.Roof.layout.Panels[i]
		s.Roof += p.Net
		if _, laid := d.Roof.Panel(p.Name); laid {
			s.Laid += p.Net
		}
	}
	s.Laid, s.Roof = tenth(s.Laid), tenth(s.Roof)
	made := make(map[string][]Part, len(d.Roof.Seams))
	for i := range d.Roof.Seams {
		made[d.Roof.Seams[i].Name] = d.Roof.Seams[i].Closed()
	}
	for i := range d.Roof.layout.Seams {
		seam := &d.Roof.layout.Seams[i]
		s.Seams += seam.Length
		if d.Roof.Stood(seam.Name) {
			s.Made += seam.Length
			continue
		}
		for _, p := range made[seam.Name] {
			for _, span := range seam.Spans {
				s.Made += max(0, min(p.To, span.To)-max(p.From, span.From))
			}
		}
	}
	return s
}
