package daylog

// OnSeam is the part of a seam that an entry is about.
type OnSeam struct {
	Seam string `json:"seam"`
	Part
}

func (o OnSeam) String() string {
	return o.Seam + ", " + number(o.From.Feet()) + " to " + number(o.To.Feet()) + " ft"
}

func (o OnSeam) fields(d *Day) []Field {
	return []Field{
		{Name: "seam", Label: "Seam", Type: SeamName, Required: true},
		{Name: "from", Label: "From", Type: Length, Unit: "ft"},
		{Name: "to", Label: "To", Type: Length, Unit: "ft"},
	}
}

func (o OnSeam) check(d *Day) []Problem {
	if o.Seam == "" {
		return []Problem{{Field: "seam", Says: "Say which seam.", Refuses: true}}
	}
	seam, ok := d.Roof.layout.Seam(o.Seam)
	if !ok {
		return []Problem{{Field: "seam", Says: "Seam " + o.Seam + " is not on the plan. Is the number right?"}}
	}
	var odd []Problem
	if o.To <= o.From {
		odd = append(odd, Problem{Field: "to", Says: "The end is not past the beginning. Feet run from the start of panel " + seam.A + "."})
	}
	if reach := seam.Reach(); o.To > reach.To {
		odd = append(odd, Problem{Field: "to", Says: "Seam " + o.Seam + " is " + reach.To.String() + " long with its turn-ups."})
	} else if o.From < reach.From-near {
		odd = append(odd, Problem{Field: "from", Says: "Seam " + o.Seam + " begins at " + reach.From.String() + "."})
	}
	return odd
}

// Priming says that primer is going on.
type Priming struct {
	OnSeam
	OneFace   bool `json:"one face,omitempty"`
	Uncleaned bool `json:"uncleaned,omitempty"`
}

var primingKind = Kind{
	Name: "priming", Title: "Priming now", Group: Seams, Writes: Crew, Live: true,
	Script: []string{"priming {seam} [{from} to {to}]; one face only {one face}; not cleaned {uncleaned}"},
	New:    func() Body { return new(Priming) },
	Fields: func(d *Day) []Field {
		return append(OnSeam{}.fields(d),
			Field{Name: "one face", Label: "Only one face primed", Type: Tick},
			Field{Name: "uncleaned", Label: "Not cleaned first", Type: Tick})
	},
	Check: func(d *Day, b Body) []Problem { return b.(*Priming).check(d) },
	Say: func(_ *Day, b Body) string {
		if b.(*Priming).OneFace {
			return "priming " + b.(*Priming).String() + ", one face only"
		}
		return "priming " + b.(*Priming).String() + ", both faces"
	},
	Places: func(b Body) []string { return []string{b.(*Priming).Seam} },
}

func (*Priming) kind() *Kind { return &primingKind }

func (b *Priming) apply(d *Day, l *Line) {
	s := d.Roof.seam(b.Seam)
	s.over(b.Part, d.Date, true, func(st *Stretch) {
		if !st.Closed.IsZero() {
			return
		}
		// Primed again: what was proved or taped before is undone by it.
		*st = Stretch{Part: st.Part, Day: d.Date, Primed: l.Began(), OneFace: b.OneFace, Primer: l.Root, Device: l.Device, Wet: st.Wet, Dried: st.Dried}
	})
	d.act(l, b.Seam, b.Part)
}

// FingerTest is one proof of the flash-off: a clean dry finger pressed on the
// primer, then pushed forward.
type FingerTest struct {
	OnSeam
	Result string `json:"result"` // "pass", "strings", "wet"
}

var testKind = Kind{
	Name: "test", Title: "Finger test", Group: Seams, Writes: Crew, Section: "tests",
	Script: []string{
		"finger test {seam} [{from} to {to}] passes {result=pass}",
		"finger test {seam} [{from} to {to}] fails, stringy {result=strings}",
		"finger test {seam} [{from} to {to}] fails, wet {result=wet}",
	},
	Help: "Clean dry finger pressed on the primer, then pushed forward: tacky, neither sticks nor strings.",
	New:  func() Body { return new(FingerTest) },
	Fields: func(d *Day) []Field {
		return append(OnSeam{}.fields(d),
			Field{Name: "result", Label: "Finger test", Type: Choice, Default: "pass",
				Options: []Option{{"pass", "Passes: tacky, no strings"}, {"strings", "Fails: strings"}, {"wet", "Fails: sticks to the finger"}}})
	},
	Check: func(d *Day, b Body) []Problem { return b.(*FingerTest).check(d) },
	Say: func(_ *Day, b Body) string {
		t := b.(*FingerTest)
		switch t.Result {
		case "pass":
			return "finger test " + t.String() + ", passes"
		case "strings":
			return "finger test " + t.String() + ", fails: strings"
		}
		return "finger test " + t.String() + ", fails"
	},
	Places: func(b Body) []string { return []string{b.(*FingerTest).Seam} },
}

func (*FingerTest) kind() *Kind { return &testKind }

func (b *FingerTest) apply(d *Day, l *Line) {
	d.Roof.seam(b.Seam).over(b.Part, d.Date, false, func(st *Stretch) {
		if st.Closed.IsZero() || st.Day == d.Date {
			st.Tests = append(st.Tests, Test{l.Began(), b.Result == "pass", l.Root})
			if b.Result == "pass" {
				st.proved()
			}
			st.Device = l.Device
		}
	})
	d.act(l, b.Seam, b.Part)
}

// TapeLaid says that tape is down, and where it was started again.
type TapeLaid struct {
	OnSeam
	Laps []Lap `json:"laps,omitempty"`
}

var tapeKind = Kind{
	Name: "tape", Title: "Tape laid", Group: Seams, Writes: Crew,
	Script: []string{"tape laid {seam} [{from} to {to}]; end lap/laps at {laps}"},
	New:    func() Body { return new(TapeLaid) },
	Fields: func(d *Day) []Field {
		return append(OnSeam{}.fields(d),
			Field{Name: "laps", Label: "Tape end laps", Type: Laps, Help: "Where a new roll began or the tape was started again, and by how much the ends overlap."})
	},
	Check: func(d *Day, b Body) []Problem { return b.(*TapeLaid).check(d) },
	Say: func(_ *Day, b Body) string {
		return "tape laid " + b.(*TapeLaid).String() + sayLaps(b.(*TapeLaid).Laps)
	},
	Places: func(b Body) []string { return []string{b.(*TapeLaid).Seam} },
}

func (*TapeLaid) kind() *Kind { return &tapeKind }

func (b *TapeLaid) apply(d *Day, l *Line) {
	s := d.Roof.seam(b.Seam)
	s.over(b.Part, d.Date, true, func(st *Stretch) {
		if st.Taped.IsZero() {
			st.Taped, st.Taper, st.Device = l.Began(), l.Root, l.Device
		}
	})
	s.lap(b.Laps)
	s.join(b.Part)
	d.act(l, b.Seam, b.Part)
}

// lap notes tape end laps; one within 1 ft of a known one is that one.
func (s *Seam) lap(laps []Lap) {
	for _, l := range laps {
		known := false
		for i := range s.Laps {
			known = known || abs(s.Laps[i].At-l.At) <= near
		}
		if !known {
			s.Laps = append(s.Laps[:len(s.Laps):len(s.Laps)], l)
		}
	}
}

func sayLaps(laps []Lap) string {
	var out string
	for _, l := range laps {
		out += ", end lap at " + l.At.String()
		if l.Lap != 0 {
			out += " of " + l.Lap.String()
		}
	}
	return out
}

// RunClosed says that a part of a seam is made: taped, broomed, rolled across
// and then along.
type RunClosed struct {
	OnSeam
	Laps    []Lap    `json:"laps,omitempty"`
	Splices []string `json:"splices,omitempty"` // edges where the vertical splice was rolled too
	// What of the rolling was left out.
	Unbroomed bool `json:"unbroomed,omitempty"`
	NotAcross bool `json:"not across,omitempty"`
	NotAlong  bool `json:"not along,omitempty"`
}

var closedKind = Kind{
	Name: "closed", Title: "Run closed", Group: Seams, Writes: Crew, Live: true,
	Script: []string{"run {seam} [{from} to {to}] closed; end lap/laps at {laps}; vertical splice/splices {splices}; not broomed {unbroomed}; not rolled across {not across}; not rolled along {not along}"},
	New:    func() Body { return new(RunClosed) },
	Fields: func(d *Day) []Field {
		return append(OnSeam{}.fields(d),
			Field{Name: "laps", Label: "Tape end laps", Type: Laps, Help: "Where a new roll began or the tape was started again, and by how much the ends overlap."},
			Field{Name: "splices", Label: "Vertical splices rolled", Type: SeamEnds},
			Field{Name: "unbroomed", Label: "Not broomed", Type: Tick},
			Field{Name: "not across", Label: "Not rolled across", Type: Tick},
			Field{Name: "not along", Label: "Not rolled along", Type: Tick})
	},
	Check: func(d *Day, b Body) []Problem { return b.(*RunClosed).check(d) },
	Say: func(_ *Day, b Body) string {
		c := b.(*RunClosed)
		out := "run " + c.String() + " closed" + sayLaps(c.Laps)
		if len(c.Splices) > 0 {
			out += ", vertical splice " + List(c.Splices)
		}
		return out
	},
	Places: func(b Body) []string { return []string{b.(*RunClosed).Seam} },
}

func (*RunClosed) kind() *Kind { return &closedKind }

func (b *RunClosed) apply(d *Day, l *Line) {
	s := d.Roof.seam(b.Seam)
	var undone []string
	for _, step := range []struct {
		left bool
		name string
	}{{b.Unbroomed, "broom"}, {b.NotAcross, "across"}, {b.NotAlong, "along"}} {
		if step.left {
			undone = append(undone, step.name)
		}
	}
	s.over(b.Part, d.Date, true, func(st *Stretch) {
		if st.Closed.IsZero() {
			st.Closed, st.Closer, st.Device, st.Unrolled = l.Ended(), l.Root, l.Device, undone
		}
	})
	s.lap(b.Laps)
	s.join(b.Part)
	var held []Part
	for _, h := range s.Held {
		held = append(held, subtract(h, []Part{b.Part})...)
	}
	s.Held = held
	for _, edge := range b.Splices {
		splice := Place{On: b.Seam + "@" + edge, What: Splice}
		d.Roof.spot(splice).roll(l)
		d.act(l, splice.Key(), Part{})
	}
	d.act(l, b.Seam, b.Part)
}

// HeldShort says that a seam is stopped on purpose: only Part is to be made
// for now, the rest is sealed and weighted.
type HeldShort struct {
	OnSeam
	OnePiece bool `json:"one piece,omitempty"` // of tape
	Sealed   bool `json:"sealed,omitempty"`
}

var heldKind = Kind{
	Name: "held", Title: "Held short", Group: Seams, Writes: Crew,
	Script: []string{"seam {seam} held short, to be made {from} to {to}; in one piece of tape {one piece}; ends sealed and weighted {sealed}"},
	Help:   "A seam stopped on purpose before a joint or wall: say which part is made, the rest is sealed and weighted.",
	New:    func() Body { return new(HeldShort) },
	Fields: func(d *Day) []Field {
		f := OnSeam{}.fields(d)
		f[1].Label, f[2].Label = "To be made from", "To be made up to"
		return append(f,
			Field{Name: "one piece", Label: "In one piece of tape", Type: Tick},
			Field{Name: "sealed", Label: "The rest is sealed and weighted", Type: Tick})
	},
	Check:  func(d *Day, b Body) []Problem { return b.(*HeldShort).check(d) },
	Say:    func(_ *Day, b Body) string { return "held short: only " + b.(*HeldShort).String() + " will be made" },
	Places: func(b Body) []string { return []string{b.(*HeldShort).Seam} },
}

func (*HeldShort) kind() *Kind { return &heldKind }

func (b *HeldShort) apply(d *Day, l *Line) {
	s := d.Roof.seam(b.Seam)
	all := Part{0, b.To}
	if seam, ok := d.Roof.layout.Seam(b.Seam); ok {
		reach := seam.Reach()
		all = Part{reach.From, max(reach.To, b.To)}
	}
	s.Held = subtract(all, []Part{b.Part})
	if b.Sealed {
		s.Temp = s.Held
		s.Sealed = merge(append(s.Sealed[:len(s.Sealed):len(s.Sealed)], s.Held...))
	}
	d.act(l, b.Seam, b.Part)
}

// SeamCheck says that runs and their covers were walked and looked at. No
// seam named: all of today's.
type SeamCheck struct {
	Seams []string `json:"seams,omitempty"`
}

var checkKind = Kind{
	Name: "check", Title: "Seam check", Group: Seams, Writes: Crew,
	Script: []string{
		"walked all of today's runs",
		"seam check of {seams}",
	},
	New: func() Body { return new(SeamCheck) },
	Fields: func(d *Day) []Field {
		return []Field{{Name: "seams", Label: "Walked", Type: SeamNames, Help: "Nothing ticked: all of today's runs."}}
	},
	Say: func(_ *Day, b Body) string {
		if s := b.(*SeamCheck).Seams; len(s) > 0 {
			return "seam check " + List(s)
		}
		return "walked all of today's runs"
	},
	Places: func(b Body) []string { return b.(*SeamCheck).Seams },
}

func (*SeamCheck) kind() *Kind { return &checkKind }

func (b *SeamCheck) apply(d *Day, l *Line) {
	for i := range d.Roof.Seams {
		s := &d.Roof.Seams[i]
		named := len(b.Seams) == 0 && len(s.Runs) > 0
		for _, name := range b.Seams {
			named = named || name == s.Name
		}
		if named {
			s.Checked = s.Closed()
			d.act(l, s.Name, Part{})
		}
	}
}
