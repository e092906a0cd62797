package daylog

import (
	"math"

	"duskline/internal/roofplan"
)

// Stones is the count of stone on the job so far, in whole pounds.
type Stones struct {
	Delivered int `json:"delivered,omitzero"` // by tickets that name their unit
	Spread    int `json:"spread,omitzero"`
	Unnamed   int `json:"unnamed,omitzero"` // tickets whose ton is not named
}

// Pile is stone or pallets that lie somewhere, as last estimated.
type Pile struct {
	Where  string          `json:"where"`           // "ground", "roof"
	Panel  string          `json:"panel,omitempty"` // on the roof
	Pounds int             `json:"lb,omitzero"`
	Edge   roofplan.Length `json:"edge,omitzero"` // distance from an unguarded edge
	Since  Date            `json:"since"`
	Entry  string          `json:"entry"`
}

// Pounds to a short ton: exact. To a metric ton: 1,000 kg by 0.45359237 kg to
// the pound (NIST SP 811: published).
const (
	shortTon  = 2000
	metricTon = 1000 / 0.45359237
)

// StoneTicket is what came on a truck, by its ticket.
type StoneTicket struct {
	Weight float64 `json:"weight,omitzero"` // of one load
	Unit   string  `json:"unit,omitempty"`  // "short ton", "metric ton", "lb"; "": the ticket says only "ton"
	Loads  int     `json:"loads,omitzero"`  // of that weight; 0 is one
	Number string  `json:"number,omitempty"`
	Stone  string  `json:"stone,omitempty"` // as the ticket calls it
}

// Pounds is the weight of all loads in whole pounds; 0 where the unit is not
// named.
func (t StoneTicket) Pounds() int {
	per := map[string]float64{"short ton": shortTon, "metric ton": metricTon, "lb": 1}[t.Unit]
	lb := t.Weight * per * float64(max(t.Loads, 1))
	if !(lb > 0 && lb < 1e9) {
		return 0
	}
	return int(math.Round(lb))
}

var ticketKind = Kind{
	Name: "ticket", Title: "Stone ticket", Group: Materials, Writes: Crew, Section: "deliveries",
	Script: []string{
		"ticket/tickets of {weight} short tons {unit=short ton}; loads {loads}; number {number}; stone {stone}",
		"ticket/tickets of {weight} metric tons {unit=metric ton}; loads {loads}; number {number}; stone {stone}",
		"ticket/tickets of {weight} pounds {unit=lb}; loads {loads}; number {number}; stone {stone}",
		"ticket/tickets of {weight} tons; loads {loads}; number {number}; stone {stone}",
	},
	New: func() Body { return new(StoneTicket) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "weight", Label: "Weight of a load", Type: Number, Max: 1e5},
			{Name: "unit", Label: "Unit", Type: Choice, Help: "A ticket that says only “ton” must be asked about.",
				Options: []Option{{"short ton", "Short tons (2,000 lb)"}, {"metric ton", "Metric tons (2,205 lb)"}, {"lb", "Pounds"}}},
			{Name: "loads", Label: "Loads of that weight", Type: Whole, Max: 50},
			{Name: "number", Label: "Ticket number", Type: Text},
			{Name: "stone", Label: "Stone", Type: Text, Default: d.approved()},
		}
	},
	Check: func(d *Day, b Body) []Problem {
		if b.(*StoneTicket).Unit == "" {
			return []Problem{{Field: "unit", Says: "Which ton does the ticket mean? Ask the driver."}}
		}
		return nil
	},
	Say: func(_ *Day, b Body) string {
		t := b.(*StoneTicket)
		unit := map[string]string{"": "tons, unit not named", "lb": "lb"}[t.Unit]
		if unit == "" {
			unit = t.Unit + "s"
		}
		return say(when(t.Loads > 1, Count(t.Loads, "ticket", "tickets")+" of ")+when(t.Loads < 2, "ticket of ")+number(t.Weight)+" "+unit,
			after("number", t.Number), t.Stone)
	},
}

func (*StoneTicket) kind() *Kind { return &ticketKind }

func (b *StoneTicket) apply(d *Day, l *Line) {
	s := &d.Roof.Stones
	s.Delivered += b.Pounds()
	if b.Unit == "" {
		s.Unnamed++
	}
}

// PileNoted is the estimate of a pile. It takes the place of the one before at
// the same place; 0 lb says that it is gone.
type PileNoted struct {
	Where  string          `json:"where,omitempty"` // "ground", "roof"
	Pounds int             `json:"lb,omitzero"`
	Panel  string          `json:"panel,omitempty"`
	Edge   roofplan.Length `json:"edge,omitzero"`
}

var pileKind = Kind{
	Name: "pile", Title: "Pile or pallet", Group: Materials, Writes: Crew,
	Script: []string{
		"pile on ground {where=ground}; of {lb}",
		"pile on roof {where=roof}; of {lb}; on panel {panel}; from edge {edge}",
	},
	Help: "Where the roof carries it is for the licensed engineer of record.",
	New:  func() Body { return new(PileNoted) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "where", Label: "Where", Type: Choice, Default: "ground", Options: options("ground", "roof")},
			{Name: "lb", Label: "Weight", Type: Whole, Unit: "lb", Max: 1e6},
			{Name: "panel", Label: "On panel", Type: PanelName},
			{Name: "edge", Label: "From an unguarded edge", Type: Length, Unit: "ft"},
		}
	},
	Say: func(_ *Day, b Body) string {
		p := b.(*PileNoted)
		return say("pile on "+p.Where, after("panel", p.Panel), Count(p.Pounds, "lb", "lb"), after("from the edge", long(p.Edge)))
	},
	Places: func(b Body) []string {
		if p := b.(*PileNoted).Panel; p != "" {
			return []string{p}
		}
		return nil
	},
}

func (*PileNoted) kind() *Kind { return &pileKind }

func (b *PileNoted) apply(d *Day, l *Line) {
	var piles []Pile
	for _, p := range d.Roof.Piles {
		if p.Where != b.Where || p.Panel != b.Panel {
			piles = append(piles, p)
		}
	}
	if b.Pounds > 0 {
		piles = append(piles, Pile{b.Where, b.Panel, b.Pounds, b.Edge, d.Date, l.Root})
	}
	d.Roof.Piles = piles
	if b.Panel != "" {
		d.act(l, b.Panel, Part{})
	}
}

// TestSquare is a square of stone that was lifted and weighed.
type TestSquare struct {
	Panel  string  `json:"panel,omitempty"`
	Area   float64 `json:"sqft,omitzero"`
	Pounds int     `json:"lb,omitzero"`
}

// Rate is what was weighed in lb/sq ft to 0.01; 0 without an area.
func (t TestSquare) Rate() float64 {
	if !(t.Area > 0) {
		return 0
	}
	return math.Round(float64(t.Pounds)/t.Area*100) / 100
}

var squareKind = Kind{
	Name: "square", Title: "Test square", Group: Stone, Writes: Crew, Section: "tests",
	Script: []string{"test square weighs {lb}; over {sqft}; on panel {panel}"},
	Help:   "A square of stone, 3 x 3 ft say, lifted into a bucket on a scale.",
	New:    func() Body { return new(TestSquare) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "panel", Label: "Panel", Type: PanelName},
			{Name: "sqft", Label: "Area", Type: Number, Unit: "sq ft", Default: 9, Max: 400},
			{Name: "lb", Label: "Weight", Type: Whole, Unit: "lb", Max: 1e4},
		}
	},
	Say: func(_ *Day, b Body) string {
		t := b.(*TestSquare)
		return say("test square "+squareFeet(t.Area), Count(t.Pounds, "lb", "lb"), when(t.Rate() > 0, number(t.Rate())+" lb/sq ft"), after("panel", t.Panel))
	},
	Places: func(b Body) []string {
		if p := b.(*TestSquare).Panel; p != "" {
			return []string{p}
		}
		return nil
	},
}

func (*TestSquare) kind() *Kind { return &squareKind }

func (b *TestSquare) apply(d *Day, l *Line) {
	if b.Panel != "" {
		d.act(l, b.Panel, Part{})
	}
}

// ApprovedStone is what the job takes for ballast in a zone.
type ApprovedStone struct {
	Stone  string  `json:"stone"`           // as tickets call it
	Alias  string  `json:"alias,omitempty"` // as others call it
	Size   string  `json:"size,omitempty"`
	Shape  string  `json:"shape,omitempty"` // "rounded", "crushed", "paver", "interlocking"
	Washed bool    `json:"washed,omitempty"`
	Zone   string  `json:"zone,omitempty"` // "field", "perimeter", "corner"; "" all
	Rate   float64 `json:"psf,omitzero"`   // lb/sq ft asked for
	Gone   bool    `json:"gone,omitempty"`
}

var approvedKind = Kind{
	Name: "approved", Title: "Approved stone", Group: SetUp, Writes: Office,
	Script: approvedScript,
	Help:   "Ballast rates are for the licensed engineer of record.",
	New:    func() Body { return new(ApprovedStone) },
	Fields: approvedFields,
	Check:  approvedCheck,
	Say: func(_ *Day, b Body) string {
		a := b.(*ApprovedStone)
		return say("approved stone "+a.Stone, a.Size, a.Shape, when(a.Washed, "washed"), after("zone", a.Zone), when(a.Rate != 0, number(a.Rate)+" psf"), when(a.Gone, "no longer approved"))
	},
}

func (*ApprovedStone) kind() *Kind { return &approvedKind }

func (b *ApprovedStone) apply(d *Day, l *Line) {
	var all []ApprovedStone
	for _, a := range d.Setup.Stones {
		if a.Stone != b.Stone || a.Zone != b.Zone {
			all = append(all, a)
		}
	}
	if !b.Gone {
		all = append(all, *b)
	}
	d.Setup.Stones = all
}

// byZone reports whether stones differ by zone.
func (d *Day) byZone() bool {
	for _, a := range d.Setup.Stones {
		if a.Zone != "" {
			return true
		}
	}
	return false
}

// approved gives the approved stone where there is only one.
func (d *Day) approved() any {
	if len(d.Setup.Stones) == 1 {
		return d.Setup.Stones[0].Stone
	}
	return nil
}
