package roofplan

import (
	"testing"

	"pgregory.net/rapid"
)

func TestZones(t *testing.T) {
	for _, c := range []struct {
		ns, ew, height, width    float64 // ft
		corner, perimeter, field float64 // sq ft
		system2                  float64 // lb
	}{
		// 40 % of the height, not under 8.5 ft: ANSI/SPRI RP-4: published, from
		// memory. The areas: computed.
		{100, 200, 30, 12, 576, 6048, 13376, 219872},
		{60, 90, 21.25, 8.5, 289, 1972, 3139, 60783},
		// No wider than twice the zone: no field, nothing negative. Computed.
		{24, 100, 30, 12, 576, 1824, 0, 31200},
		{20, 100, 30, 12, 480, 1520, 0, 26000},
		{20, 20, 30, 12, 400, 0, 0, 5200},
		{100, 200, 0, 8.5, 289, 4522, 15189, 214433},
	} {
		z := Zones(Rect{Max: Point{Feet(c.ew), Feet(c.ns)}}, Feet(c.height))
		if want := (ZoneAreas{Feet(c.width), c.corner, c.perimeter, c.field}); z != want {
			t.Errorf("%v x %v ft, %v ft high: %v, want %v", c.ns, c.ew, c.height, z, want)
		}
		// System 2: 10 psf in the field, 13 psf in perimeter and corners.
		if got := 10*z.Field + 13*(z.Perimeter+z.Corner); got != c.system2 {
			t.Errorf("%v x %v ft: %v lb, want %v", c.ns, c.ew, got, c.system2)
		}
	}
}

func TestZonesAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := func(of string) Length { return Inches(rapid.Float64Range(-10, 3000).Draw(t, of)) }
		w, h := size("east-west"), size("north-south")
		z := Zones(Rect{Max: Point{w, h}}, size("height"))
		all := max(w, 0).Feet() * max(h, 0).Feet()
		if z.Corner < 0 || z.Perimeter < 0 || z.Field < 0 || z.Width < Feet(8.5) {
			t.Fatalf("%+v", z)
		}
		if sum := z.Corner + z.Perimeter + z.Field; sum-all > 0.16 || all-sum > 0.16 {
			t.Fatalf("%+v add up to %v of %v sq ft", z, sum, all)
		}
	})
}
