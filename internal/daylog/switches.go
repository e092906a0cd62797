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
	Script: scopeScript,
	New:    func() Body { return new(Scope) },
	Fields: scopeFields,
	Say: func(_ *Day, b Body) string {
		s := b.(*Scope)
		return say("job includes", when(s.TearOff, "tear-off"), when(s.Insulation, "insulation"), when(s.Mat, "mat"), when(s.Pavers, "pavers"),
			when(s.Crushed, "crushed stone"), when(s.Reinforced, "reinforced sheet"), when(s.Bare, "bare cut edges"), when(s.Factory, "covers at factory seams"),
			when(s.HoldPoint, "release before stone"), when(s.TestSquares, "test squares"), when(s.Indoors, "flammables indoors"))
	},
}

func (*Scope) kind() *Kind { return &scopeKind }

func (b *Scope) apply(d *Day, l *Line) { d.Setup.Scope = *b }
