package daylog

import (
	"slices"
	"time"

	"duskline/internal/roofplan"
)

// WeatherStop is a time in which nothing goes on but making safe.
type WeatherStop struct {
	With  string // "rain", "thunder", "wind", "snow"; "" not said
	Began When
	Ended When // zero: it goes on
	Entry string
	End   string    // the entry that ends it
	Heard time.Time // thunder, for the last time; zero: not said
}

// StopBegins says that the weather stops the work.
type StopBegins struct {
	With string `json:"with,omitempty"`
}

var stopKind = Kind{
	Name: "stop", Title: "Weather stop begins", Group: Beginning, Writes: Crew, Section: "delays", Live: true,
	Help:   "Nothing but making safe until it ends.",
	Script: []string{"rain begins {with=rain}", "thunder begins {with=thunder}", "wind stops work {with=wind}", "snow begins {with=snow}", "weather stop begins"},
	New:    func() Body { return new(StopBegins) },
	Fields: func(d *Day) []Field {
		return []Field{{Name: "with", Label: "With", Type: Choice, Default: "rain", Options: options("rain", "thunder", "wind", "snow")}}
	},
	Say: func(_ *Day, b Body) string { return say("weather stop begins", b.(*StopBegins).With) },
}

func (*StopBegins) kind() *Kind { return &stopKind }

func (b *StopBegins) apply(d *Day, l *Line) {
	d.Stops = append(d.Stops, WeatherStop{With: b.With, Began: l.Began(), Entry: l.Root})
	if b.With == "rain" || b.With == "snow" {
		d.Roof.wet(l, b.With)
	}
}

// Thunder is when thunder was last heard, as far as the day knows: what its
// end says, or when thunder last began.
func (s *WeatherStop) Thunder(d *Day) When {
	last := s.Began
	for i := range d.Stops {
		if o := &d.Stops[i]; o.With == "thunder" && o.Began.At.After(last.At) && (s.Ended.IsZero() || !o.Began.At.After(s.Ended.At)) {
			last = o.Began
		}
	}
	if s.Heard.After(last.At) {
		last = When{At: s.Heard, About: s.Ended.About}
	}
	return last
}

// StopEnds says that work goes on.
type StopEnds struct {
	Thunder time.Time `json:"thunder,omitzero"` // last heard
}

var resumeKind = Kind{
	Name: "resume", Title: "Weather stop ends", Group: Beginning, Writes: Crew, Live: true,
	Script: []string{"weather stop ends; last thunder {thunder:clock}"},
	New:    func() Body { return new(StopEnds) },
	Fields: func(d *Day) []Field {
		if stop, on := d.Stopped(); on && stop.With == "thunder" {
			return []Field{{Name: "thunder", Label: "Last thunder heard", Type: Clock}}
		}
		return []Field{}
	},
	Check: func(d *Day, b Body) []Problem {
		if _, on := d.Stopped(); !on {
			return []Problem{{Says: "No weather stop is noted as begun. When did it begin?"}}
		}
		return nil
	},
	Say: func(_ *Day, b Body) string { return "weather stop ends" },
}

func (*StopEnds) kind() *Kind { return &resumeKind }

// It ends every stop that is on: rain and thunder may have come one by one.
func (b *StopEnds) apply(d *Day, l *Line) {
	for i := range d.Stops {
		if s := &d.Stops[i]; s.Ended.IsZero() {
			s.Ended, s.End, s.Heard = l.Began(), l.Root, b.Thunder
		}
	}
}

// Stopped gives the weather stop that goes on, the newest if there are more.
func (d *Day) Stopped() (WeatherStop, bool) {
	for i := len(d.Stops) - 1; i >= 0; i-- {
		if d.Stops[i].Ended.IsZero() {
			return d.Stops[i], true
		}
	}
	return WeatherStop{}, false
}

// MadeSafe says what was done to keep open work dry and down.
type MadeSafe struct {
	What   string   `json:"what,omitempty"`
	Panels []string `json:"panels,omitempty"`
	Seams  []OnSeam `json:"seams,omitempty"`
}

var safeKind = Kind{
	Name: "safe", Title: "Making safe", Group: Beginning, Writes: Crew, Lasts: true,
	Script: []string{"making safe; by {what}; panel/panels {panels}; seam/seams {seams}"},
	New:    func() Body { return new(MadeSafe) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "what", Label: "What was done", Type: Text},
			{Name: "seams", Label: "On parts of runs", Type: Stretches},
			{Name: "panels", Label: "On panels", Type: PanelNames},
		}
	},
	Say: func(_ *Day, b Body) string {
		m := b.(*MadeSafe)
		var where []string
		for _, p := range m.Panels {
			where = append(where, "panel "+p)
		}
		for _, s := range m.Seams {
			where = append(where, s.String())
		}
		return say("making safe", List(where), m.What)
	},
	Places: func(b Body) []string { return append(seamsOf(b.(*MadeSafe).Seams), b.(*MadeSafe).Panels...) },
}

func (*MadeSafe) kind() *Kind { return &safeKind }

func (b *MadeSafe) apply(d *Day, l *Line) {
	for _, name := range b.Panels {
		d.act(l, name, Part{})
	}
	for _, on := range b.Seams {
		d.act(l, on.Seam, on.Part)
	}
}

func seamsOf(all []OnSeam) []string {
	var names []string
	for _, s := range all {
		names = append(names, s.Seam)
	}
	return names
}

// Dried says that a stretch that got wet is dry again.
type Dried struct {
	OnSeam
	Cleaned bool `json:"cleaned,omitempty"`
}

var driedKind = Kind{
	Name: "dried", Title: "Dried and cleaned", Group: Seams, Writes: Crew, Lasts: true,
	Script: []string{"dried {seam} [{from} to {to}]; cleaned {cleaned}"},
	New:    func() Body { return new(Dried) },
	Fields: func(d *Day) []Field {
		return append(OnSeam{}.fields(d), Field{Name: "cleaned", Label: "Cleaned too", Type: Tick, Default: true})
	},
	Check: func(d *Day, b Body) []Problem { return b.(*Dried).check(d) },
	Say: func(_ *Day, b Body) string {
		return say("dried "+b.(*Dried).String(), when(b.(*Dried).Cleaned, "cleaned"))
	},
	Places: func(b Body) []string { return []string{b.(*Dried).Seam} },
}

func (*Dried) kind() *Kind { return &driedKind }

func (b *Dried) apply(d *Day, l *Line) {
	d.Roof.seam(b.Seam).over(b.Part, d.Date, false, func(st *Stretch) {
		if st.Closed.IsZero() {
			st.Device = l.Device
			if b.Cleaned {
				st.Dried = l.Ended()
			}
		}
	})
	d.act(l, b.Seam, b.Part)
}

// TapeCutOut says that tape was taken out of a stretch, which is to be made
// again. Where tape stays beside it, the new tape makes an end lap.
type TapeCutOut struct {
	OnSeam
}

var cutOutKind = Kind{
	Name: "cutout", Title: "Tape cut out", Group: Seams, Writes: Crew, Lasts: true,
	Script: []string{"tape cut out {seam} [{from} to {to}]"},
	Help:   "Wet or wandered tape that was cut out: the new tape owes an end lap and a cover where the old one stays.",
	New:    func() Body { return new(TapeCutOut) },
	Fields: func(d *Day) []Field { return OnSeam{}.fields(d) },
	Check:  func(d *Day, b Body) []Problem { return b.(*TapeCutOut).check(d) },
	Say:    func(_ *Day, b Body) string { return "tape cut out " + b.(*TapeCutOut).String() },
	Places: func(b Body) []string { return []string{b.(*TapeCutOut).Seam} },
}

func (*TapeCutOut) kind() *Kind { return &cutOutKind }

func (b *TapeCutOut) apply(d *Day, l *Line) {
	s := d.Roof.seam(b.Seam)
	var laps []Lap
	for _, lap := range s.Laps { // what lay inside went with the tape
		if lap.At <= b.From || lap.At >= b.To {
			laps = append(laps, lap)
		}
	}
	s.Laps = laps
	ends := slices.DeleteFunc(slices.Clone(s.Ends), func(at roofplan.Length) bool { return b.From <= at && at <= b.To })
	if s.tapedAt(b.From, -Step) {
		ends = append(ends, b.From)
	}
	if s.tapedAt(b.To, Step) {
		ends = append(ends, b.To)
	}
	s.Ends = ends
	var made []Part
	for _, p := range s.Made {
		made = append(made, subtract(p, []Part{b.Part})...)
	}
	s.Made = made
	s.over(b.Part, d.Date, false, func(st *Stretch) {
		st.Taped, st.Taper, st.Closed, st.Closer, st.Unrolled, st.Device = When{}, "", When{}, "", nil, l.Device
		if st.Wet != nil && st.Wet.Tape {
			dry := *st.Wet
			dry.Tape = false
			st.Wet = &dry
		}
	})
	d.act(l, b.Seam, b.Part)
}

// join makes end laps of the ends of old tape that new tape was laid against.
func (s *Seam) join(p Part) {
	if len(s.Ends) == 0 {
		return
	}
	var left []roofplan.Length
	for _, at := range s.Ends {
		if p.From-near <= at && at <= p.To+near {
			s.lap([]Lap{{At: at}})
		} else {
			left = append(left, at)
		}
	}
	s.Ends = left
}

// tapedAt reports whether tape lies just beside a point of the seam.
func (s *Seam) tapedAt(at, beside roofplan.Length) bool {
	at += beside
	if s.MadeAt(at) {
		return true
	}
	for _, st := range s.Runs {
		if !st.Taped.IsZero() && st.From <= at && at <= st.To {
			return true
		}
	}
	return false
}
