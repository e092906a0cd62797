package daylog

import (
	"cmp"
	"slices"
	"strings"

	"duskline/internal/roofplan"
)

// Roof is what stands: every panel and seam that work has touched, and every
// spot that is not finished. It holds values only and its slices are replaced,
// not written into, once a day is over; so an older roof stays what it was.
type Roof struct {
	Panels []Panel `json:"panels,omitempty"` // in the order of being laid
	Seams  []Seam  `json:"seams,omitempty"`
	Spots  []Spot  `json:"spots,omitempty"` // not finished before today
	// Finished holds by place the day on which a spot was first treated. It is
	// shared by the roofs of a job; a roof knows only what is before its own day.
	Finished map[string]Date `json:"finished,omitempty"`
	Lost     []Place         `json:"lost,omitempty"` // logged places that no longer fit the plan

	Edges   []Edge    `json:"edges,omitempty"`   // that work has touched
	Details []Detail  `json:"details,omitempty"` // that work has touched
	Back    []Held    `json:"back,omitempty"`    // places that stone is kept from
	Items   []Item    `json:"items,omitempty"`   // to be put right, or put right today
	Lots    []OpenLot `json:"lots,omitempty"`    // in use, one for each material
	Piles   []Pile    `json:"piles,omitempty"`
	Stones  Stones    `json:"stones,omitzero"` // on the job so far
	Lane    *Lane     `json:"lane,omitempty"`
	Seal    *Seal     `json:"seal,omitempty"` // the newest night seal, until it is cut off

	day    Date // the day this roof is of
	layout *roofplan.Layout
}

// Panel is a sheet on the roof.
type Panel struct {
	Name     string `json:"name"`
	Day      Date   `json:"day,omitempty"` // laid; "" stood before the record begins
	Position When   `json:"position,omitzero"`
	Weighted bool   `json:"weighted,omitempty"`
	Flat     When   `json:"flat,omitzero"` // lap area seen flat
	// Stone is the parts along the panel with final stone. All says that
	// nothing but strip and held-back places is without it.
	Stone  []StonePart `json:"stone,omitempty"`
	Strip  *Strip      `json:"strip,omitempty"`
	Temp   bool        `json:"temp,omitempty"`   // all of it under temporary ballast
	Finish Date        `json:"finish,omitempty"` // the day its last stone came

	Lot      string      `json:"lot,omitempty"`     // of the sheet
	Of       string      `json:"of,omitempty"`      // the panel it was cut from
	Cut      bool        `json:"cut,omitempty"`     // into pieces: it is no more
	Swept    Date        `json:"swept,omitempty"`   // broomed off
	Mat      []StonePart `json:"mat,omitempty"`     // with mat or an extra layer
	Released When        `json:"released,omitzero"` // for stone
	Sealed   Date        `json:"sealed,omitempty"`  // its leading edge, for the night
	Tops     Date        `json:"tops,omitempty"`    // the top edges of its turn-ups, for the night
}

// StonePart is stone on a part of a panel.
type StonePart struct {
	Part
	Area float64 `json:"sqft"` // covered by it, sq ft to 0.1
}

// Strip is a leading strip: left without final stone so that the next sheet
// can be lapped.
type Strip struct {
	Width  roofplan.Length `json:"width"`
	Temp   bool            `json:"temp,omitempty"`   // under temporary ballast
	Filled bool            `json:"filled,omitempty"` // final stone came
	Since  Date            `json:"since"`
}

// Seam is what has been made of a seam.
type Seam struct {
	Name string `json:"name"`
	// Made is what was closed before today, merged.
	Made []Part `json:"made,omitempty"`
	// Runs are the stretches of today and those not closed yet.
	Runs    []Stretch `json:"runs,omitempty"`
	Laps    []Lap     `json:"laps,omitempty"` // tape end laps
	Held    []Part    `json:"held,omitempty"` // stopped short on purpose
	Temp    []Part    `json:"temp,omitempty"` // under temporary ballast
	Checked []Part    `json:"checked,omitempty"`
	Sealed  []Part    `json:"sealed,omitempty"` // for the night, where it is held short
	// Ends are where tape was cut out and old tape ends: new tape laid against
	// it makes an end lap.
	Ends []roofplan.Length `json:"ends,omitempty"`
}

// Stretch is a part of a seam and what was done to it, each step with its
// entry's id. A step that nobody wrote is zero: a closed stretch implies that
// it was primed, proved and taped.
type Stretch struct {
	Part
	Primed   When     `json:"primed,omitzero"`
	OneFace  bool     `json:"one face,omitempty"`
	Tests    []Test   `json:"tests,omitempty"` // since it was primed
	Taped    When     `json:"taped,omitzero"`
	Closed   When     `json:"closed,omitzero"`
	Dried    When     `json:"dried,omitzero"`   // and cleaned, after it got wet
	Wet      *Wetness `json:"wet,omitempty"`    // while it was open; nil: dry, or made good since
	Day      Date     `json:"day"`              // of its first step
	Primer   string   `json:"primer,omitempty"` // ids of the entries that say so
	Taper    string   `json:"taper,omitempty"`
	Closer   string   `json:"closer,omitempty"`
	Device   string   `json:"device,omitempty"`   // of the last step
	Unrolled []string `json:"unrolled,omitempty"` // of broom, across, along: what was not done
}

// Wetness is water that came on a stretch before it was closed. It is made good
// by drying and cleaning, priming and a test that passes; wet tape is cut out.
type Wetness struct {
	When
	With  string `json:"with,omitempty"` // "rain", "snow", "dew", "frost"
	Tape  bool   `json:"tape,omitempty"` // it lies there still, wet
	Entry string `json:"entry,omitempty"`
}

// wet notes that water came on everything that lies open.
func (r *Roof) wet(l *Line, with string) {
	for i := range r.Seams {
		s := &r.Seams[i]
		for j := range s.Runs {
			st := &s.Runs[j]
			if st.Closed.IsZero() && st.Wet == nil && !(st.Primed.IsZero() && st.Taped.IsZero()) {
				st.Wet = &Wetness{l.Began(), with, !st.Taped.IsZero(), l.Root}
			}
		}
	}
}

// proved ends the wetness of a stretch that was dried and primed after it.
func (st *Stretch) proved() {
	if w := st.Wet; w != nil && !w.Tape && !st.Dried.At.Before(w.At) && !st.Primed.At.Before(st.Dried.At) {
		st.Wet = nil
	}
}

// Test is one finger test.
type Test struct {
	When
	Pass  bool   `json:"pass"`
	Entry string `json:"entry"`
}

// Lap is a tape end lap: where, and by how much the ends overlap.
type Lap struct {
	At  roofplan.Length `json:"at"`
	Lap roofplan.Length `json:"lap,omitzero"` // 0: not measured
}

// Spot is a cover or a vertical splice and how far it has come.
type Spot struct {
	Place
	Rolled   When   `json:"rolled,omitzero"` // zero: nobody wrote it
	Treated  When   `json:"treated,omitzero"`
	Day      Date   `json:"day"`
	Roller   string `json:"roller,omitempty"` // entries that say so
	Treater  string `json:"treater,omitempty"`
	HeldBack bool   `json:"back,omitempty"`  // stone is kept from it
	Buried   When   `json:"buried,omitzero"` // stone closed it
	Burier   string `json:"burier,omitempty"`
}

// Key names the place: equal keys, same place.
func (p Place) Key() string {
	key := p.On
	if p.At != 0 {
		key += " " + p.At.String()
	}
	if p.What != Cover {
		key += " " + string(p.What)
	}
	return key
}

// Layout is the plan in force, never nil.
func (r *Roof) Layout() *roofplan.Layout { return r.layout }

// clone is the roof for another day. Slices are cut to their length, so that
// appending to the copy never writes into the original.
func (r *Roof) clone(day Date) *Roof {
	c := *r
	c.day = day
	c.Panels = slices.Clone(r.Panels)
	c.Seams = slices.Clone(r.Seams)
	c.Spots = slices.Clone(r.Spots)
	c.Lost = slices.Clip(r.Lost)
	c.Edges = slices.Clone(r.Edges)
	c.Details = slices.Clone(r.Details)
	c.Back = slices.Clip(r.Back)
	c.Items = slices.Clone(r.Items)
	c.Lots = slices.Clone(r.Lots)
	return &c
}

// Panel gives a laid panel.
func (r *Roof) Panel(name string) (Panel, bool) {
	for i := range slices.Backward(r.Panels) { // what is asked for is mostly new
		if r.Panels[i].Name == name {
			return r.Panels[i], true
		}
	}
	return Panel{}, false
}

// Seam gives what has been made of a seam; the zero Seam with its name if
// nothing was.
func (r *Roof) Seam(name string) Seam {
	for i := range slices.Backward(r.Seams) {
		if r.Seams[i].Name == name {
			return r.Seams[i]
		}
	}
	return Seam{Name: name}
}

func (r *Roof) panel(name string) *Panel {
	for i := range slices.Backward(r.Panels) {
		if r.Panels[i].Name == name {
			return &r.Panels[i]
		}
	}
	r.Panels = append(r.Panels, Panel{Name: name, Day: r.day})
	return &r.Panels[len(r.Panels)-1]
}

func (r *Roof) seam(name string) *Seam {
	for i := range slices.Backward(r.Seams) {
		if r.Seams[i].Name == name {
			return &r.Seams[i]
		}
	}
	r.Seams = append(r.Seams, Seam{Name: name})
	return &r.Seams[len(r.Seams)-1]
}

// near is within what two people would call the same place along a seam.
const near = roofplan.Length(12)

// spot finds or makes the spot at a place. End laps are found within 1 ft.
func (r *Roof) spot(p Place) *Spot {
	for i := range r.Spots {
		s := &r.Spots[i]
		if s.On == p.On && s.What == p.What && abs(s.At-p.At) <= near {
			return s
		}
	}
	r.Spots = append(r.Spots, Spot{Place: p, Day: r.day})
	return &r.Spots[len(r.Spots)-1]
}

// Spot gives what has been done at a place: the spot itself while it is open
// or of today, or that it was finished on an earlier day.
func (r *Roof) Spot(p Place) (s Spot, found bool, finished Date) {
	for i := range r.Spots {
		s := r.Spots[i]
		if s.On == p.On && s.What == p.What && abs(s.At-p.At) <= near {
			return s, true, ""
		}
	}
	return Spot{}, false, r.finishedOn(p)
}

// finishedOn gives the earlier day on which a spot was first treated; "" if it
// was not. End laps are found within 1 ft.
func (r *Roof) finishedOn(p Place) Date {
	if day, ok := r.Finished[p.Key()]; ok && day < r.day {
		return day
	}
	if p.At == 0 || p.What != Cover {
		return ""
	}
	first := Date("")
	for key, day := range r.Finished {
		text, onSeam := strings.CutPrefix(key, p.On+" ")
		if !onSeam || day >= r.day || first != "" && day >= first {
			continue
		}
		if at, err := roofplan.ParseLength(text, roofplan.Inch); err == nil && abs(at-p.At) <= near {
			first = day
		}
	}
	return first
}

func abs(l roofplan.Length) roofplan.Length { return max(l, -l) }

// over calls do for the stretches of [p.From, p.To], cutting those that reach
// out of it. Where there is none and fill is set, it makes one.
func (s *Seam) over(p Part, day Date, fill bool, do func(*Stretch)) {
	var out []Stretch
	for _, st := range s.Runs {
		in := Part{max(st.From, p.From), min(st.To, p.To)}
		if in.To <= in.From {
			out = append(out, st)
			continue
		}
		if st.From < in.From {
			left := st
			left.To = in.From
			out = append(out, left)
		}
		mid := st
		mid.Part = in
		mid.Tests = slices.Clip(mid.Tests)
		do(&mid)
		out = append(out, mid)
		if st.To > in.To {
			right := st
			right.From = in.To
			out = append(out, right)
		}
	}
	if fill {
		for _, gap := range s.gaps(p) {
			st := Stretch{Part: gap, Day: day}
			do(&st)
			out = append(out, st)
		}
	}
	slices.SortStableFunc(out, func(a, b Stretch) int { return cmp.Compare(a.From, b.From) })
	s.Runs = out
}

// gaps gives what of p has neither a stretch nor was made before today.
func (s *Seam) gaps(p Part) []Part {
	taken := slices.Clone(s.Made)
	for _, st := range s.Runs {
		taken = append(taken, st.Part)
	}
	return subtract(p, taken)
}

// Closed gives the parts of the seam that are made, merged and in order.
func (s Seam) Closed() []Part {
	parts := slices.Clone(s.Made)
	for _, st := range s.Runs {
		if !st.Closed.IsZero() {
			parts = append(parts, st.Part)
		}
	}
	return merge(parts)
}

// Open gives what of p is neither made nor held short.
func (s Seam) Open(p Part) []Part {
	return subtract(p, append(s.Closed(), s.Held...))
}

// Covers reports whether the seam is made at a point along it.
func (s Seam) MadeAt(at roofplan.Length) bool {
	for _, p := range s.Closed() {
		if p.From <= at && at <= p.To {
			return true
		}
	}
	return false
}

// merge joins parts that touch or overlap, in order.
func merge(parts []Part) []Part {
	// What was typed the wrong way round is no part at all.
	parts = slices.DeleteFunc(slices.Clone(parts), func(p Part) bool { return !(p.From < p.To) })
	slices.SortFunc(parts, func(a, b Part) int { return cmp.Compare(a.From, b.From) })
	var out []Part
	for _, p := range parts {
		if n := len(out); n > 0 && p.From <= out[n-1].To {
			out[n-1].To = max(out[n-1].To, p.To)
		} else {
			out = append(out, p)
		}
	}
	return out
}

// Less gives what of p lies in none of the parts.
func Less(p Part, parts []Part) []Part { return subtract(p, parts) }

func subtract(p Part, parts []Part) []Part {
	var out []Part
	at := p.From
	for _, q := range merge(parts) {
		if q.From >= p.To {
			break
		}
		if q.From > at {
			out = append(out, Part{at, q.From})
		}
		at = max(at, q.To)
	}
	if at < p.To {
		out = append(out, Part{at, p.To})
	}
	return out
}

// settle turns the day's finished work into what the next day needs of it.
func (r *Roof) settle() {
	for i := range r.Seams {
		s := &r.Seams[i]
		if len(s.Runs) == 0 {
			continue
		}
		made := s.Closed()
		var open []Stretch
		for _, st := range s.Runs {
			if st.Closed.IsZero() {
				open = append(open, st)
			}
		}
		s.Made, s.Runs = made, open
	}
	open := r.Spots[:0:0]
	for _, s := range r.Spots {
		if s.Treated.IsZero() {
			open = append(open, s)
		} else {
			// Once folded, nothing is written here any more: days may be
			// closed again while others read.
			if _, known := r.Finished[s.Place.Key()]; !known {
				r.Finished[s.Place.Key()] = r.day
			}
		}
	}
	r.Spots = open
	for i := range r.Panels {
		// A sheet that was ballasted before today rested long ago.
		if p := &r.Panels[i]; p.Day < r.day && p.Finish != "" && p.Finish < r.day && p.fresh() && r.Bare(*p) == 0 {
			p.Position, p.Flat, p.Weighted = When{}, When{}, false
			if p.Strip == nil || p.Strip.Filled {
				p.Swept, p.Mat, p.Released, p.Tops = "", nil, When{}, ""
			}
		}
	}
	var items []Item
	for _, i := range r.Items {
		if i.Done == "" {
			items = append(items, i)
		}
	}
	r.Items = items
}

// fresh reports whether anything is noted of a panel that its day's work needs.
func (p *Panel) fresh() bool {
	return !p.Position.IsZero() || !p.Flat.IsZero() || p.Weighted || p.Swept != "" || p.Mat != nil || !p.Released.IsZero() || p.Tops != ""
}

// Bare is the area of a laid panel with neither stone nor temporary ballast,
// in sq ft to 0.1. An open leading strip counts while nothing lies on it;
// places held back around open spots do not: stone was spread up to them.
func (r *Roof) Bare(p Panel) float64 {
	if p.Temp || p.Day == "" && p.Strip == nil || r.layout == nil {
		return 0
	}
	placed, ok := r.layout.Panel(p.Name)
	if !ok {
		return 0
	}
	bare := placed.Net
	for _, s := range p.Stone {
		bare -= s.Area
	}
	if p.Day == "" { // stood finished before the record, but for its strip
		bare = r.layout.Strip(p.Name, p.Strip.Width)
	}
	if s := p.Strip; s != nil && (s.Temp || s.Filled) {
		bare -= r.layout.Strip(p.Name, s.Width)
	}
	return max(0, tenth(bare))
}
