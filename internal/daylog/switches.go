package daylog

// Scope is what the job includes: no rule speaks of work that it does not.
type Scope struct {
	TearOff     bool `json:"tear-off,omitempty"`
	Insulation  bool `json:"insulation,omitempty"`
	Mat         bool `json:"mat,omitempty"`
	Pavers      bool `json:"pavers,omitempty"`
	Crushed     bool `json:"crushed stone,omitempty"`
	Reinforced  bool `json:"reinforced,omitempty"`     // sheet with scrim
	Bare        bool `json:"bare edges,omitempty"`     // reinforced, edges not encapsulated
	Factory     bool `json:"factory seams,omitempty"`  // they owe covers too
	HoldPoint   bool `json:"hold point,omitempty"`     // release before stone
	TestSquares bool `json:"test squares,omitempty"`   // are asked for
	Indoors     bool `json:"stored indoors,omitempty"` // flammable liquids are
}

var scopeKind = Kind{
	Name: "scope", Title: "What the job includes", Group: SetUp, Writes: Office,
	Script: []string{"job includes; tear-off {tear-off}; insulation {insulation}; mat {mat}; pavers {pavers}; crushed stone {crushed stone}; " +
		"reinforced sheet {reinforced}; bare cut edges {bare edges}; covers at factory seams {factory seams}; release before stone {hold point}; " +
		"test squares {test squares}; flammables indoors {stored indoors}"},
	New: func() Body { return new(Scope) },
	Fields: func(d *Day) []Field {
		s := d.Setup.Scope
		return []Field{
			{Name: "tear-off", Label: "Tear-off of an old roof", Type: Tick, Default: s.TearOff},
			{Name: "insulation", Label: "Insulation", Type: Tick, Default: s.Insulation},
			{Name: "mat", Label: "Mat under the ballast", Type: Tick, Default: s.Mat},
			{Name: "pavers", Label: "Pavers", Type: Tick, Default: s.Pavers},
			{Name: "crushed stone", Label: "Crushed stone", Type: Tick, Default: s.Crushed},
			{Name: "reinforced", Label: "Reinforced sheet", Type: Tick, Default: s.Reinforced},
			{Name: "bare edges", Label: "Its cut edges show scrim", Type: Tick, Default: s.Bare},
			{Name: "factory seams", Label: "Covers at factory seams", Type: Tick, Default: s.Factory},
			{Name: "hold point", Label: "Release before stone", Type: Tick, Default: s.HoldPoint},
			{Name: "test squares", Label: "Test squares", Type: Tick, Default: s.TestSquares},
			{Name: "stored indoors", Label: "Flammable liquids stored indoors", Type: Tick, Default: s.Indoors},
		}
	},
	Say: func(_ *Day, b Body) string {
		s := b.(*Scope)
		return say("job includes", when(s.TearOff, "tear-off"), when(s.Insulation, "insulation"), when(s.Mat, "mat"), when(s.Pavers, "pavers"),
			when(s.Crushed, "crushed stone"), when(s.Reinforced, "reinforced sheet"), when(s.Bare, "bare cut edges"), when(s.Factory, "covers at factory seams"),
			when(s.HoldPoint, "release before stone"), when(s.TestSquares, "test squares"), when(s.Indoors, "flammables indoors"))
	},
}

func (*Scope) kind() *Kind { return &scopeKind }

func (b *Scope) apply(d *Day, l *Line) { d.Setup.Scope = *b }
