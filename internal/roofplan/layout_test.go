package roofplan

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// rectangle is an outline of w by h, with turn-ups of up on all four sides.
func rectangle(w, h, up Length) Plan {
	p := Plan{Outline: []Point{{0, 0}, {w, 0}, {w, h}, {0, h}}}
	for _, name := range []string{"south", "east", "north", "west"} {
		kind := Parapet
		if up == 0 {
			kind = Open
		}
		p.Edges = append(p.Edges, Edge{Name: name, Kind: kind, TurnUp: up})
	}
	return p
}

// The roof of the three worked days, invented and reckoned by hand: 97 ft by
// 195 ft 9 in between parapets, sheets turned up 18 in, laps of 5 in.
func workedRoof(widths ...Length) Plan {
	p := rectangle(Feet(195.75), Feet(97), Inches(18))
	row := Row{Corner: Point{-18, -18}, Toward: East, Length: Feet(100), Lap: 5}
	for i, w := range widths {
		row.Sheets = append(row.Sheets, Sheet{fmt.Sprint(i + 1), w})
	}
	p.Rows = []Row{row}
	return p
}

func fourOfFifty() Plan { return workedRoof(Feet(50), Feet(50), Feet(50), Feet(50)) }

func tenOfTwenty() Plan {
	widths := make([]Length, 10)
	for i := range widths {
		widths[i] = Feet(20)
	}
	return workedRoof(append(widths, Inches(35))...)
}

func lay(t testing.TB, p Plan) *Layout {
	t.Helper()
	l, err := p.Lay()
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func equal(t *testing.T, what string, got, want any) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s:\n got %v\nwant %v", what, got, want)
	}
}

func ft(f float64) Length { return Feet(f) }

func TestWorkedRoof(t *testing.T) {
	for _, c := range []struct {
		plan   Plan
		inner  string
		net    float64 // sq ft
		rest   float64 // less a leading strip of 4 ft
		edge   Length  // of one angle change
		panels int
	}{
		{fourOfFifty(), "2", 4809.6, 4421.6, Feet(50) - 5, 4},
		{tenOfTwenty(), "5", 1899.6, 1511.6, Feet(20) - 5, 11},
	} {
		l := lay(t, c.plan)
		p, ok := l.Panel(c.inner)
		if !ok || len(l.Panels) != c.panels || len(l.Seams) != c.panels-1 || len(l.Joints) != 0 {
			t.Fatalf("%d panels, %d seams, %d joints", len(l.Panels), len(l.Seams), len(l.Joints))
		}
		last := l.Panels[c.panels-1].Rect
		equal(t, "unfolded width", last.Max.X-l.Panels[0].Rect.Min.X, Feet(198.75))
		equal(t, "net of panel "+c.inner, p.Net, c.net)
		equal(t, "the same along its whole length", l.Net(c.inner, 0, p.Length), c.net)
		equal(t, "leading strip", l.Strip(c.inner, Feet(4)), 388.0)
		strip := Rect{Point{p.Rect.Min.X, p.Rect.Min.Y}, Point{p.Rect.Max.X - Feet(4), p.Rect.Max.Y}}
		equal(t, "less the strip", l.NetIn(c.inner, strip), c.rest)
		equal(t, "borders", p.Borders, []Border{
			{c.inner + "@south", "south", c.edge}, {c.inner + "@north", "north", c.edge},
		})
		equal(t, "roof", l.Area, 18987.8) // 97 x 195.75 = 18,987.75
		equal(t, "covered", l.Covered, l.Area)
	}
}

// "A seam between two panels is 100 ft unfolded, its angles at 1.5 and 98.5 ft."
func TestWorkedSeam(t *testing.T) {
	l := lay(t, tenOfTwenty())
	s, ok := l.Seam("4|5")
	if !ok {
		t.Fatal("no seam 4|5")
	}
	equal(t, "length", s.Length, Feet(100))
	equal(t, "spans", s.Spans, []Span{{0, Feet(100)}})
	equal(t, "angles", s.Angles, []Angle{{Feet(1.5), "south"}, {Feet(98.5), "north"}})
	equal(t, "ends", s.Ends(), []End{{"4|5@south", 0, "south"}, {"4|5@north", Feet(100), "north"}})
	// Panel 5 begins at 4 x (20 ft - 5 in) - 18 in = 922 in; the lap's middle
	// is 2 1/2 in further.
	equal(t, "place of 52 ft", s.Point(Feet(52)), Point{924.5, Feet(50.5)})
	if _, e, ok := l.End("4|5@north"); !ok || e.At != Feet(100) {
		t.Errorf("4|5@north is at %v, %v", e.At, ok)
	}
	for _, name := range []string{"5|4", "4|6", "4|5@east", "", "@north"} {
		_, seam := l.Seam(name)
		_, _, end := l.End(name)
		_, joint := l.Joint(name)
		if seam || end || joint {
			t.Errorf("%q is on the plan", name)
		}
	}
}

// Two by two panels of 10 ft 3 in, laps 6 in, on 20 by 20 ft with no turn-up.
// The four meet in one square of 6 in around the middle of the roof.
func TestFourMeet(t *testing.T) {
	p := rectangle(ft(20), ft(20), 0)
	for i, names := range [][2]string{{"1", "2"}, {"3", "4"}} {
		p.Rows = append(p.Rows, Row{Corner: Point{0, Length(117 * i)}, Length: 123, Lap: 6,
			Sheets: []Sheet{{names[0], 123}, {names[1], 123}}})
	}
	l := lay(t, p)
	equal(t, "seams", seams(l), []string{
		"1|2 north 0 ft..10 ft =10 ft 1|2@south:0 ft",
		"1|3 east 0 ft..10 ft =10 ft 1|3@west:0 ft",
		"2|4 east 3 in..10 ft 3 in =10 ft 2|4@east:10 ft 3 in",
		"3|4 north 3 in..10 ft 3 in =10 ft 3|4@north:10 ft 3 in",
	})
	equal(t, "joints", l.Joints, []Joint{{"1|2|3|4", []string{"1", "2", "3", "4"}, Point{120, 120},
		[]OnSeam{{"1|2", 120}, {"1|3", 120}, {"2|4", 3}, {"3|4", 3}}}})
	// 123 x 123, 117 x 123 twice, 117 x 117 sq in.
	equal(t, "nets", nets(l), []float64{105.1, 99.9, 99.9, 95.1})
	one, _ := l.Panel("1")
	equal(t, "neighbours of 1", one.Neighbours, []string{"2", "3"})
}

// The same roof with the north row as 3, 4, 5, staggered.
func staggered() Plan {
	p := rectangle(ft(20), ft(20), 0)
	p.Rows = []Row{
		{Length: 123, Lap: 6, Sheets: []Sheet{{"1", 123}, {"2", 123}}},
		{Corner: Point{0, 117}, Length: 123, Lap: 6, Sheets: []Sheet{{"3", 63}, {"4", 123}, {"5", 66}}},
	}
	return p
}

func TestStaggered(t *testing.T) {
	l := lay(t, staggered())
	equal(t, "seams", seams(l), []string{
		"1|2 north 0 ft..10 ft =10 ft 1|2@south:0 ft",
		"1|3 east 0 ft..5 ft =5 ft 1|3@west:0 ft",
		"1|4 east 3 in..5 ft 3 in =5 ft",
		"2|4 east 3 in..5 ft =4 ft 9 in",
		"2|5 east 3 in..5 ft 6 in =5 ft 3 in 2|5@east:5 ft 6 in",
		"3|4 north 3 in..10 ft 3 in =10 ft 3|4@north:10 ft 3 in",
		"4|5 north 3 in..10 ft 3 in =10 ft 4|5@north:10 ft 3 in",
	})
	equal(t, "joints", l.Joints, []Joint{
		{"1|2|4", []string{"1", "2", "4"}, Point{120, 120}, []OnSeam{{"1|2", 120}, {"1|4", 63}, {"2|4", 3}}},
		{"1|3|4", []string{"1", "3", "4"}, Point{60, 120}, []OnSeam{{"1|3", 60}, {"1|4", 3}, {"3|4", 3}}},
		{"2|4|5", []string{"2", "4", "5"}, Point{177, 120}, []OnSeam{{"2|4", 60}, {"2|5", 3}, {"4|5", 3}}},
	})
}

// An L of 40 by 40 ft with legs 20 ft wide, turn-ups of 1 ft. Panels 1 and 2
// run east in the south leg, 3 stands in the north leg.
func TestLShape(t *testing.T) {
	p := Plan{Outline: []Point{{0, 0}, {ft(40), 0}, {ft(40), ft(20)}, {ft(20), ft(20)}, {ft(20), ft(40)}, {0, ft(40)}}}
	for range p.Outline {
		p.Edges = append(p.Edges, Edge{Kind: Wall, TurnUp: 12})
	}
	p.Rows = []Row{{Corner: Point{-12, -12}, Toward: North, Length: ft(42), Lap: 6, Sheets: []Sheet{{"1", ft(11.25)}, {"2", ft(11.25)}}}}
	p.Panels = []Placed{{Name: "3", Corner: Point{-12, ft(20.5)}, Width: ft(22), Length: ft(20.5)}}
	l := lay(t, p)
	equal(t, "seams", seams(l), []string{
		"1|2 east 0 ft..42 ft =42 ft west/1 ft east/41 ft 1|2@west:0 ft 1|2@east:42 ft",
		"2|3 east 0 ft..22 ft =22 ft west/1 ft east/21 ft 2|3@west:0 ft 2|3@east:22 ft",
	})
	equal(t, "nets", nets(l), []float64{410, 410, 380})
	two, _ := l.Panel("2")
	equal(t, "borders of 2", two.Borders, []Border{
		{"2@east", "east", ft(9.75)}, {"2@north", "north", ft(20)},
		{"2@east 2", "east", ft(1)}, {"2@west", "west", ft(10.75)},
	})
	three, _ := l.Panel("3")
	equal(t, "borders of 3", three.Borders, []Border{
		{"3@east", "east", ft(19)}, {"3@north", "north", ft(20)}, {"3@west", "west", ft(19)},
	})
}

// Two wings of a U, 20 ft wide and 20 ft apart, turn-ups of 1 ft: a seam
// through both is parted by the yard, and its ends need ordinals.
func TestSeamParted(t *testing.T) {
	p := Plan{Outline: []Point{{0, 0}, {ft(60), 0}, {ft(60), ft(40)}, {ft(40), ft(40)}, {ft(40), ft(20)}, {ft(20), ft(20)}, {ft(20), ft(40)}, {0, ft(40)}}}
	for range p.Outline {
		p.Edges = append(p.Edges, Edge{TurnUp: 12})
	}
	p.Rows = []Row{{Corner: Point{-12, ft(20.5)}, Toward: North, Length: ft(62), Lap: 6, Sheets: []Sheet{{"5", ft(9.75)}, {"6", ft(11.25)}}}}
	equal(t, "seam", seams(lay(t, p)), []string{
		"5|6 east 0 ft..22 ft 40 ft..62 ft =44 ft west/1 ft east/21 ft west/41 ft east/61 ft " +
			"5|6@west:0 ft 5|6@east:22 ft 5|6@west 2:40 ft 5|6@east 2:62 ft",
	})
}

// Seams that begin or end in the field, or in a T-joint on a turn-up, have no
// end at an edge there. The roof is 40 by 20 ft less its north-west quarter,
// turn-ups 1 ft; panel 3 lies across 1 and 2 in the turn-up of that corner.
func TestEndsOffTheEdge(t *testing.T) {
	p := Plan{Outline: []Point{{0, 0}, {ft(40), 0}, {ft(40), ft(20)}, {ft(20), ft(20)}, {ft(20), ft(10)}, {0, ft(10)}}}
	p.Panels = []Placed{
		{Name: "1", Corner: Point{0, -12}, Width: ft(5.5), Length: ft(12)},
		{Name: "2", Corner: Point{ft(5), -12}, Width: ft(10), Length: ft(12)},
		{Name: "3", Corner: Point{0, ft(10.5)}, Width: ft(9.5), Length: ft(25), Turn: 90},
		{Name: "5", Corner: Point{ft(30), ft(2)}, Width: ft(5.5), Length: ft(4)},
		{Name: "6", Corner: Point{ft(35), -12}, Width: ft(5), Length: ft(5)},
	}
	l := lay(t, p)
	equal(t, "seams", seams(l), []string{
		"1|2 north 0 ft..11 ft 9 in =11 ft 9 in south/1 ft north/11 ft 1|2@south:0 ft",
		"1|3 east 0 ft..5 ft 3 in =5 ft 3 in",
		"2|3 east 3 in..10 ft =9 ft 9 in",
		"5|6 north 0 ft..2 ft =2 ft",
	})
	p.Panels = []Placed{
		{Name: "1", Corner: Point{ft(25), ft(5)}, Width: ft(5.5), Length: ft(16)},
		{Name: "2", Corner: Point{ft(30), ft(5)}, Width: ft(5), Length: ft(16)},
	}
	equal(t, "to the north only", seams(lay(t, p)), []string{"1|2 north 0 ft..16 ft =16 ft north/15 ft 1|2@north:16 ft"})
	p.Panels[0].Corner.Y, p.Panels[1].Corner.Y = -12, -12
	equal(t, "to the south only", seams(lay(t, p)), []string{"1|2 north 0 ft..16 ft =16 ft south/1 ft 1|2@south:0 ft"})
}

// A side that a panel touches only from outside is not its border.
func TestBordersFromInside(t *testing.T) {
	stairs := []Point{{0, 0}, {ft(40), 0}, {ft(40), ft(20)}, {ft(20), ft(20)}, {ft(20), ft(40)}, {0, ft(40)}}
	turned := func(quarters int) (p Plan) { // about the origin, counter-clockwise
		p.Outline = append([]Point(nil), stairs...)
		// 1 touches the side above the corner, 2 lies in the leg beyond it.
		p.Panels = []Placed{{Name: "1", Corner: Point{ft(20), ft(9)}, Width: ft(20), Length: ft(12)}, {Name: "2", Corner: Point{ft(9), ft(21)}, Width: ft(11), Length: ft(19)}}
		for range quarters {
			for i, c := range p.Outline {
				p.Outline[i] = Point{-c.Y, c.X}
			}
			for i, s := range p.Panels {
				p.Panels[i].Corner = Point{-s.Corner.Y - s.Length, s.Corner.X}
				p.Panels[i].Width, p.Panels[i].Length = s.Length, s.Width
			}
		}
		return p
	}
	for quarters := range 4 {
		l := lay(t, turned(quarters))
		var got []Length
		for _, p := range l.Panels {
			for _, b := range p.Borders {
				got = append(got, b.Length)
			}
		}
		// 1: east and north of the low leg; 2: east and north of the high one.
		equal(t, fmt.Sprint(quarters, " quarters"), got, []Length{ft(11), ft(20), ft(19), ft(11)})
	}
}

func TestSlantingSide(t *testing.T) {
	p := Plan{Outline: []Point{{0, 0}, {ft(20), 0}, {ft(20), ft(10)}, {ft(10), ft(20)}, {0, ft(20)}}}
	p.Panels = []Placed{{Name: "1", Width: ft(20), Length: ft(10.5)}, {Name: "2", Corner: Point{0, ft(9.5)}, Width: ft(10.5), Length: ft(20), Turn: 90}}
	l := lay(t, p)
	// The south half but for a corner of 0.5 x 0.5 / 2, then what is left of
	// 400 - 50 sq ft.
	equal(t, "nets", nets(l), []float64{209.9, 140.1})
	one, _ := l.Panel("1")
	equal(t, "border", one.Borders[2], Border{"1@northeast", "northeast", Feet(math.Sqrt2 / 2)})
	// At y = 10 ft the side stands at its corner, 20 ft.
	equal(t, "seam", seams(l), []string{"1|2 east 0 ft..20 ft =20 ft 1|2@west:0 ft 1|2@northeast:20 ft"})
}

// Overlaps of nothing are nothing, the least overlap is one.
func TestLeastOverlap(t *testing.T) {
	p := rectangle(ft(20), ft(10), 0)
	for lap, want := range map[Length]int{0: 0, 1.0 / 256: 0, 1.0 / 64: 1} {
		p.Panels = []Placed{{Name: "1", Width: ft(10) + lap, Length: ft(10)}, {Name: "2", Corner: Point{ft(10), 0}, Width: ft(10), Length: ft(10)}}
		if l := lay(t, p); len(l.Seams) != want {
			t.Errorf("a lap of %v makes %d seams", float64(lap), len(l.Seams))
		}
	}
}

func TestRowDirections(t *testing.T) {
	for toward, want := range map[Direction][2]Rect{
		East:  {{Point{0, 0}, Point{60, 120}}, {Point{54, 0}, Point{114, 120}}},
		West:  {{Point{-60, 0}, Point{0, 120}}, {Point{-114, 0}, Point{-54, 120}}},
		North: {{Point{0, 0}, Point{120, 60}}, {Point{0, 54}, Point{120, 114}}},
		South: {{Point{0, -60}, Point{120, 0}}, {Point{0, -114}, Point{120, -54}}},
	} {
		p := Plan{Outline: []Point{{-200, -200}, {200, -200}, {200, 200}, {-200, 200}},
			Rows: []Row{{Toward: toward, Length: 120, Lap: 6, Sheets: []Sheet{{"1", 60}, {"2", 60}}}}}
		l := lay(t, p)
		equal(t, string(toward), [2]Rect{l.Panels[0].Rect, l.Panels[1].Rect}, want)
		for _, name := range []string{"1", "2"} {
			side, _ := l.LeadingSide(name)
			equal(t, "leading side of "+name, side, toward)
		}
		if l.Panels[0].Length != 120 || l.Panels[0].Width != 60 {
			t.Errorf("%s: %v by %v", toward, l.Panels[0].Length, l.Panels[0].Width)
		}
		// The lower number keeps the lap, and 6 in of it lie in its own strip.
		equal(t, "strip of 1", l.Strip("1", 12), 10.0)
		equal(t, "half of 2", l.Net("2", 0, 60), 22.5) // 54 x 60 sq in
	}
	l := lay(t, staggered())
	if got := l.Net("1", Length(math.Inf(-1)), Length(math.Inf(1))); got != l.Panels[0].Net || l.Net("1", Length(math.NaN()), 0) != 0 {
		t.Errorf("net of 1 from end to end: %v", got)
	}
	if bare := lay(t, Plan{Outline: staggered().Outline}); bare.Area != 400 || bare.Covered != 0 {
		t.Errorf("a bare roof of %v has %v covered", bare.Area, bare.Covered)
	}
	if side, ok := l.LeadingSide("9"); ok || l.Net("9", 0, 100) != 0 || l.Strip("9", 12) != 0 {
		t.Errorf("panel 9 is not there, but leads %s", side)
	}
}

func TestLayRefuses(t *testing.T) {
	roof := func(change func(*Plan)) Plan {
		p := fourOfFifty()
		change(&p)
		return p
	}
	sheets := func(change func(*Row)) Plan { return roof(func(p *Plan) { change(&p.Rows[0]) }) }
	outline := func(corners ...Point) Plan { return Plan{Outline: corners} }
	hand := func(s Placed) Plan { return roof(func(p *Plan) { p.Panels = []Placed{s} }) }
	for _, c := range []struct {
		plan Plan
		says string
	}{
		{Plan{}, "the outline has 0 corners; a roof has at least 3"},
		{outline(Point{0, 0}, Point{100, 0}), "the outline has 2 corners"},
		{outline(make([]Point, 500)...), "400 are the most"},
		{outline(Point{0, 0}, Point{100, 0}, Point{100, 0}, Point{0, 100}), "corners 2 and 3 of the outline are the same place"},
		{outline(Point{0, 0}, Point{100, 0}, Point{0, 100}, Point{0, 0}), "corners 4 and 1 of the outline are the same place"},
		{outline(Point{0, 0}, Point{100, 100}, Point{100, 0}, Point{0, 100}), "the outline crosses itself: the side from corner 1 meets the side from corner 3"},
		{outline(Point{0, 0}, Point{100, 0}, Point{50, 0}), "crosses itself"},
		{outline(Point{0, 0}, Point{100, 0}, Point{200, 0}, Point{100, 0}, Point{50, 50}), "crosses itself"},
		{outline(Point{0, 0}, Point{0, 100}, Point{100, 0}), "runs clockwise"},
		{outline(Point{0, 0}, Point{2e6, 0}, Point{0, 100}), "corner 2 of the outline is more than 10,000 ft away"},
		{outline(Point{Length(math.NaN()), 0}, Point{100, 0}, Point{0, 100}), "corner 1 of the outline"},
		{roof(func(p *Plan) { p.Edges = p.Edges[:3] }), "4 sides, but 3 edges are named"},
		{roof(func(p *Plan) { p.Edges[1].Kind = "fence" }), "edge east is neither parapet nor wall nor open"},
		{roof(func(p *Plan) { p.Edges[1].Name = "wall 2" }), "number as the last word"},
		{roof(func(p *Plan) { p.Edges[1].Name = "a@b" }), "edge 2 has “@” in its name"},
		{roof(func(p *Plan) { p.Edges[1].Name = "a  b" }), "a space too many"},
		{roof(func(p *Plan) { p.Edges[0].TurnUp = -1 }), "edge south has a turn-up that cannot be"},
		{sheets(func(r *Row) { r.Sheets[2].Name = "1" }), "there are two panels 1"},
		{sheets(func(r *Row) { r.Sheets[2].Name = "7A"; r.Sheets[3].Name = "7a" }), "there are two panels 7a"},
		{sheets(func(r *Row) { r.Sheets[2].Name = "" }), "has no name"},
		{sheets(func(r *Row) { r.Sheets[2].Name = "7|8" }), "panel “7|8” has “|” in its name"},
		{sheets(func(r *Row) { r.Sheets[2].Name = "7 8" }), "in its name"},
		{sheets(func(r *Row) { r.Sheets[2].Name = strings.Repeat("7", 17) }), "more than 16 characters"},
		{sheets(func(r *Row) { r.Sheets[2].Width = 0 }), "panel “3” has a width of 0 ft"},
		{sheets(func(r *Row) { r.Sheets[2].Width = -600 }), "panel “3” has a width of -50 ft"},
		{sheets(func(r *Row) { r.Sheets[2].Width = Length(math.NaN()) }), "panel “3” has a width of no length"},
		{sheets(func(r *Row) { r.Sheets[2].Width = 5 }), "panel “3”: a lap of 5 in is as wide as a panel"},
		{sheets(func(r *Row) { r.Lap = 0 }), "row 1 has a lap of 0 ft; its panels must overlap"},
		{sheets(func(r *Row) { r.Length = 0 }), "row 1 has panels of a length of 0 ft"},
		{sheets(func(r *Row) { r.Sheets = nil }), "row 1 has no panels"},
		{sheets(func(r *Row) { r.Toward = "up" }), "row 1 runs toward “up”"},
		{sheets(func(r *Row) { r.Corner.X = Feet(1000) }), "panel 1 lies outside the roof"},
		{sheets(func(r *Row) { r.Corner.X = Feet(10_000) }), "panel 1 reaches more than 10,000 ft away"},
		{hand(Placed{Name: "9", Width: 60, Length: 60, Turn: 30}), "panel “9” is turned by 30 degrees; only 0 and 90"},
		{hand(Placed{Name: "9", Width: 60, Length: -60}), "panel “9” has a length of -5 ft"},
		{hand(Placed{Name: "9", Width: 60, Length: 60, Corner: Point{Length(math.Inf(-1)), 0}}), "panel “9” lies more than 10,000 ft away"},
	} {
		l, err := c.plan.Lay()
		if l != nil || err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("got %v; want an error with %q", err, c.says)
		}
	}

	pile := rectangle(ft(20), ft(20), 0)
	for i := range mostPanels + 1 {
		pile.Panels = append(pile.Panels, Placed{Name: fmt.Sprint(i), Width: 60, Length: 60})
	}
	for _, c := range []struct {
		n    int
		says string
	}{{mostPanels + 1, "2000 are the most"}, {mostPanels, "overlaps more than 120 others"}, {100, "too many panels lie on one another"}} {
		p := pile
		p.Panels = p.Panels[:c.n]
		if _, err := p.Lay(); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("a pile of %d: %v; want %q", c.n, err, c.says)
		}
	}
}

// The bytes of a plan lie in log entries: this form may grow, not change.
func TestPlanJSON(t *testing.T) {
	p := rectangle(ft(20), ft(10), 18)
	p.Edges[1] = Edge{Kind: Open}
	p.Rows = []Row{{Corner: Point{-18, -18}, Length: ft(13), Lap: 5, Sheets: []Sheet{{"1", 120.5}, {"2", ft(10)}}}}
	p.Panels = []Placed{{Name: "7A", Corner: Point{36, 0.015625}, Width: 12, Length: 24, Turn: 90}}
	const want = `{"outline":[{"x":0,"y":0},{"x":240,"y":0},{"x":240,"y":120},{"x":0,"y":120}],` +
		`"edges":[{"name":"south","kind":"parapet","turn_up":18},{"kind":"open"},{"name":"north","kind":"parapet","turn_up":18},{"name":"west","kind":"parapet","turn_up":18}],` +
		`"rows":[{"corner":{"x":-18,"y":-18},"length":156,"lap":5,"sheets":[{"name":"1","width":120.5},{"name":"2","width":120}]}],` +
		`"panels":[{"name":"7A","corner":{"x":36,"y":0.015625},"width":12,"length":24,"turn":90}]}`
	raw, err := json.Marshal(p)
	if err != nil || string(raw) != want {
		t.Errorf("%v\n got %s\nwant %s", err, raw, want)
	}
	var back Plan
	if err := json.Unmarshal(raw, &back); err != nil || !reflect.DeepEqual(back, p) {
		t.Errorf("reads back as %v, %v", back, err)
	}
}

// drawPlan places up to twelve panels on a roof of one to three steps, on a
// raster of 8 in: the roof is what lies under a stair.
func drawPlan(t *rapid.T) (p Plan, stair []int) {
	const cells = 40
	stair = make([]int, cells)
	height := cells
	corners := []Point{{0, 0}, {8 * cells, 0}}
	var up []Point
	for x := 0; x < cells; {
		next := x + rapid.IntRange(5, cells).Draw(t, "tread")
		if next > cells-5 {
			next = cells
		}
		up = append(up, Point{Length(8 * x), Length(8 * height)}, Point{Length(8 * next), Length(8 * height)})
		for ; x < next; x++ {
			stair[x] = height
		}
		height = max(height-rapid.IntRange(1, 12).Draw(t, "riser"), 3)
		if height == 3 && next < cells {
			// A level tread twice would give a corner twice.
			for ; x < cells; x++ {
				stair[x] = stair[next-1]
			}
			up[len(up)-1].X = 8 * cells
		}
	}
	for i := len(up) - 1; i >= 0; i-- {
		corners = append(corners, up[i])
	}
	p.Outline = corners
	for i := range rapid.IntRange(1, 12).Draw(t, "panels") {
		s := Placed{
			Name:   fmt.Sprint(i + 1),
			Corner: Point{Length(8 * rapid.IntRange(-4, cells-1).Draw(t, "x")), Length(8 * rapid.IntRange(-4, 2).Draw(t, "y"))},
			Width:  Length(8 * rapid.IntRange(5, 20).Draw(t, "width")),
			Length: Length(8 * rapid.IntRange(5, 40).Draw(t, "length")),
		}
		if rapid.Bool().Draw(t, "turned") {
			s.Turn = 90
		}
		p.Panels = append(p.Panels, s)
	}
	return p, stair
}

// Nets against a count of raster cells, each given to the lowest-numbered
// panel over it.
func TestNetsAgainstCount(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, stair := drawPlan(t)
		l, err := p.Lay()
		if err != nil {
			t.Fatal(err)
		}
		count := make([]int, len(p.Panels))
		var covered, roof int
		for x := range stair {
			for y := range stair[x] {
				roof++
				for i, s := range p.Panels {
					w, h := s.Width, s.Length
					if s.Turn == 90 {
						w, h = h, w
					}
					if cx, cy := Length(8*x), Length(8*y); cx >= s.Corner.X && cx < s.Corner.X+w && cy >= s.Corner.Y && cy < s.Corner.Y+h {
						count[i]++
						covered++
						break
					}
				}
			}
		}
		cell := func(n int) float64 { return math.Round(float64(n)*64*10/144) / 10 }
		if l.Covered != cell(covered) || l.Area != cell(roof) {
			t.Fatalf("covered %v of %v, counted %v of %v", l.Covered, l.Area, cell(covered), cell(roof))
		}
		for i, s := range p.Panels {
			panel, _ := l.Panel(s.Name)
			if panel.Net != cell(count[i]) || l.Net(s.Name, 0, panel.Length) != panel.Net {
				t.Fatalf("net of %s is %v, counted %v", s.Name, panel.Net, cell(count[i]))
			}
			// A panel cut in two anywhere keeps its area.
			at := Length(rapid.IntRange(0, int(panel.Length)).Draw(t, "cut"))
			if a, b := l.Net(s.Name, 0, at), l.Net(s.Name, at, panel.Length); math.Abs(a+b-panel.Net) > 0.11 {
				t.Fatalf("%v and %v make %v", a, b, panel.Net)
			}
		}
	})
}

// The order in which a plan lists its panels changes nothing.
func TestNamesWithoutOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, _ := drawPlan(t)
		want, err := p.Lay()
		if err != nil {
			t.Fatal(err)
		}
		p.Panels = rapid.Permutation(p.Panels).Draw(t, "order")
		got, err := p.Lay()
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Fatalf("%v: the layout depends on the order", err)
		}
		sound(t, got)
	})
}

// drawRows covers a roof with rows of panels that lap 6 in at sides and ends.
func drawRows(t *rapid.T) (p Plan, rows []Row) {
	const lap = 6
	w, y, n := Length(rapid.IntRange(200, 900).Draw(t, "roof")), Length(0), 0
	for range rapid.IntRange(1, 5).Draw(t, "rows") {
		r := Row{Corner: Point{0, y}, Length: Length(rapid.IntRange(60, 300).Draw(t, "length")), Lap: lap}
		for x := Length(0); ; {
			n++
			width := Length(rapid.IntRange(40, 200).Draw(t, "width"))
			if x+width+40 > w {
				width = w - x
			}
			r.Sheets = append(r.Sheets, Sheet{fmt.Sprint(n), width})
			if x += width - lap; x+lap == w {
				break
			}
		}
		rows = append(rows, r)
		y += r.Length - lap
	}
	p = rectangle(w, y+lap, 0)
	p.Rows = rows
	return p, rows
}

// In rows that cover the roof every foot of lap is counted once: end laps make
// one line from wall to wall, side laps run from middle to middle of the end
// laps, and each panel below or above a side lap's end meets there in a joint.
func TestRowsCountedOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, rows := drawRows(t)
		l, err := p.Lay()
		if err != nil {
			t.Fatal(err)
		}
		sound(t, l)
		if l.Covered != l.Area {
			t.Fatalf("covered %v of %v", l.Covered, l.Area)
		}
		var across, along, wantAlong Length
		for _, s := range l.Seams {
			if s.Axis == East {
				across += s.Length
			} else {
				along += s.Length
			}
		}
		for i, r := range rows {
			tall := r.Length
			if i > 0 {
				tall -= r.Lap / 2
			}
			if i < len(rows)-1 {
				tall -= r.Lap / 2
			}
			wantAlong += tall * Length(len(r.Sheets)-1)
		}
		if want := p.Outline[1].X * Length(len(rows)-1); across != want || along != wantAlong {
			t.Fatalf("end laps %v, want %v; side laps %v, want %v", across, want, along, wantAlong)
		}
		for _, j := range l.Joints {
			if len(j.On) < 3 {
				t.Fatalf("joint %s lies on %v", j.Name, j.On)
			}
		}
	})
}

// What holds for every layout.
func sound(t interface{ Fatalf(string, ...any) }, l *Layout) {
	var sum float64
	for i, p := range l.Panels {
		sum += p.Net
		if !(p.Net >= 0) || i > 0 && CompareNames(l.Panels[i-1].Name, p.Name) >= 0 {
			t.Fatalf("panel %s with a net of %v", p.Name, p.Net)
		}
	}
	if math.Abs(sum-l.Covered) > 0.051*float64(len(l.Panels)+1) || l.Covered > l.Area {
		t.Fatalf("nets add up to %v, covered %v of %v", sum, l.Covered, l.Area)
	}
	names := make(map[string]bool)
	once := func(name string) {
		if names[name] {
			t.Fatalf("%s twice", name)
		}
		names[name] = true
	}
	for _, s := range l.Seams {
		once(s.Name)
		a, b := l.Panels[l.panels[s.A]].Rect, l.Panels[l.panels[s.B]].Rect
		last, total := s.Spans[0].From-1, Length(0)
		for _, sp := range s.Spans {
			if sp.From <= last || sp.To <= sp.From || sp.From < 0 {
				t.Fatalf("seam %s has spans %v", s.Name, s.Spans)
			}
			last, total = sp.To, total+sp.To-sp.From
			for _, at := range []Length{sp.From, sp.To} {
				if p := s.Point(at); !holds(a, p) || !holds(b, p) {
					t.Fatalf("seam %s at %v lies at %v, off its panels", s.Name, at, p)
				}
			}
		}
		if total != s.Length || CompareNames(s.A, s.B) >= 0 {
			t.Fatalf("seam %s of %v with spans %v", s.Name, s.Length, s.Spans)
		}
		for _, e := range s.Ends() {
			once(e.Name)
		}
	}
	for _, j := range l.Joints {
		once(j.Name)
		for _, on := range j.On {
			s, ok := l.Seam(on.Seam)
			if !ok || !strings.Contains("|"+j.Name+"|", "|"+s.A+"|") || !strings.Contains("|"+strings.Split(j.Name, " ")[0]+"|", "|"+s.B+"|") {
				t.Fatalf("joint %s lies on seam %s", j.Name, on.Seam)
			}
		}
	}
}

func holds(r Rect, p Point) bool {
	return p.X >= r.Min.X && p.X <= r.Max.X && p.Y >= r.Min.Y && p.Y <= r.Max.Y
}

func TestCompareNames(t *testing.T) {
	want := []string{"1", "2", "7", "7-1", "7A", "7B", "7b", "8", "9", "010", "10", "100", "99999999999999999999", "A1", "A2", "A10", "B"}
	for i, a := range want {
		for j, b := range want {
			if got := CompareNames(a, b); got != sign(i-j) {
				t.Errorf("%s and %s: %d", a, b, got)
			}
		}
	}
	equal(t, "seam", SeamName("10", "7A"), "7A|10")
	equal(t, "joint", JointName("12", "8", "7"), "7|8|12")
	seen := make(map[string]int)
	equal(t, "ordinals", []string{numbered("a", seen), numbered("b", seen), numbered("a", seen)}, []string{"a", "b", "a 2"})
}

func FuzzLay(f *testing.F) {
	for _, p := range []Plan{fourOfFifty(), staggered(), {}} {
		raw, err := json.Marshal(p)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(raw)
	}
	f.Add([]byte(`{"outline":[{"x":0,"y":0},{"x":9,"y":1},{"x":3,"y":8}],"panels":[{"name":"1","corner":{"x":1,"y":1},"width":1e9,"length":0.02}]}`))
	f.Fuzz(func(t *testing.T, raw []byte) {
		var p Plan
		if json.Unmarshal(raw, &p) != nil {
			return
		}
		l, err := p.Lay()
		if (l == nil) != (err != nil) {
			t.Fatalf("%v with %v", l, err)
		}
		if err == nil {
			sound(t, l)
		}
	})
}

// Twenty rows of twenty panels, every other row set off by half a panel.
func BenchmarkLay400(b *testing.B) {
	p := rectangle(ft(400), ft(400), 18)
	for r := range 20 {
		row := Row{Corner: Point{-18, ft(20)*Length(r) - 18}, Length: ft(20) + 5, Lap: 5}
		for c := range 20 {
			width := ft(20) + 5
			if r%2 == 1 && (c == 0 || c == 19) {
				width = ft(10) + ft(20)*Length(c/19)
			}
			row.Sheets = append(row.Sheets, Sheet{fmt.Sprint(20*r + c + 1), width})
		}
		p.Rows = append(p.Rows, row)
	}
	var l *Layout
	for b.Loop() {
		l = lay(b, p)
	}
	b.ReportMetric(float64(len(l.Seams)), "seams")
	b.ReportMetric(float64(len(l.Joints)), "joints")
}

// seams writes the seams of a layout, one a line.
func seams(l *Layout) []string {
	var list []string
	for _, s := range l.Seams {
		w := []string{s.Name, string(s.Axis)}
		for _, sp := range s.Spans {
			w = append(w, fmt.Sprintf("%v..%v", sp.From, sp.To))
		}
		w = append(w, fmt.Sprintf("=%v", s.Length))
		for _, a := range s.Angles {
			w = append(w, fmt.Sprintf("%s/%v", a.Edge, a.At))
		}
		for _, e := range s.Ends() {
			w = append(w, fmt.Sprintf("%s:%v", e.Name, e.At))
		}
		list = append(list, strings.Join(w, " "))
	}
	return list
}

func nets(l *Layout) []float64 {
	var list []float64
	for _, p := range l.Panels {
		list = append(list, p.Net)
	}
	return list
}
