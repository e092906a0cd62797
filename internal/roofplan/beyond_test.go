package roofplan

import "testing"

// An L of 100 by 60 ft less 40 by 20 ft in the north-east, turned up 18 in.
func TestBeyond(t *testing.T) {
	p := Plan{
		Outline: []Point{{}, {X: ft(100)}, {X: ft(100), Y: ft(40)}, {X: ft(60), Y: ft(40)}, {X: ft(60), Y: ft(60)}, {Y: ft(60)}},
		Rows:    []Row{{Length: ft(40), Lap: 5, Sheets: []Sheet{{"1", ft(20)}, {"2", ft(20)}}}},
	}
	for range p.Outline {
		p.Edges = append(p.Edges, Edge{Kind: Parapet, TurnUp: 18})
	}
	l := lay(t, p)
	for _, c := range []struct {
		name                   string
		x0, y0, x1, y1, beyond float64 // ft; sq ft
	}{
		{"inside", 10, 10, 20, 20, 0},
		{"on the turn-ups of an outer corner", -1.5, -1.5, 20, 20, 0},
		{"six inches past the south turn-up", 10, -2, 20, 20, 5},
		{"on the turn-ups of the inner corner", 50, 30, 61.5, 50, 0},
		{"on both of the inner corner's", 50, 30, 61.5, 61.5, 0},
		{"in the corner that is missing", 60, 30, 70, 50, 8.5 * 8.5},
		{"all of the roof and more", -10, -10, 110, 70, 120*80 - (103*63 - 40*20)},
	} {
		var got float64
		for _, r := range l.Beyond(Rect{Point{ft(c.x0), ft(c.y0)}, Point{ft(c.x1), ft(c.y1)}}) {
			got += (r.Max.X - r.Min.X).Feet() * (r.Max.Y - r.Min.Y).Feet()
		}
		if d := got - c.beyond; d > .01 || d < -.01 {
			t.Errorf("%s: %v sq ft are beyond, want %v", c.name, got, c.beyond)
		}
	}
	if p, ok := l.PanelAt(Point{ft(30), ft(5)}); !ok || p.Name != "2" {
		t.Errorf("at 30 ft lies %q", p.Name)
	}
	if _, ok := l.PanelAt(Point{ft(80), ft(5)}); ok {
		t.Error("a panel where none lies")
	}
}
