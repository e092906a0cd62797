package weather

import (
	"math"
	"testing"
)

func TestVelocityPressure(t *testing.T) {
	// mph, psf: ASCE 7: published, 2nd hand.
	for _, c := range [][2]float64{
		{0, 0}, {10, 0.256}, {15, 0.576}, {20, 1.024}, {25, 1.6}, {30, 2.304}, {40, 4.096}, {90, 20.736}, {100, 25.6}, {120, 36.864},
	} {
		if got, ok := VelocityPressure(c[0]); !ok || got != c[1] {
			t.Errorf("%v mph: %v psf, want %v", c[0], got, c[1])
		}
	}
	// It equals the sheet's own weight at, to 0.1 mph: computed. Sheet mass:
	// published, from memory.
	for _, c := range []struct{ psf, mph float64 }{{0.29, 10.6}, {0.40, 12.5}} {
		under, _ := VelocityPressure(c.mph - 0.05)
		over, _ := VelocityPressure(c.mph + 0.05)
		if under > c.psf || over < c.psf {
			t.Errorf("%v psf is not reached at %v mph: %v to %v psf", c.psf, c.mph, under, over)
		}
	}
}

func TestBeaufort(t *testing.T) {
	// Upper bounds of forces 0 to 11 in mph: US National Weather Service:
	// published.
	for force, upper := range []float64{0.99, 3, 7, 12, 18, 24, 31, 38, 46, 54, 63, 73} {
		if got, ok := Beaufort(upper); !ok || got != force {
			t.Errorf("%v mph is force %d, want %d", upper, got, force)
		}
		if got, ok := Beaufort(math.Floor(upper) + 1); !ok || got != force+1 {
			t.Errorf("%v mph is force %d, want %d", math.Floor(upper)+1, got, force+1)
		}
	}
	for mph, force := range map[float64]int{0: 0, 3.4: 1, 3.5: 2, 300: 12} {
		if got, ok := Beaufort(mph); !ok || got != force {
			t.Errorf("%v mph is force %d, want %d", mph, got, force)
		}
	}
}

func TestWindOutOfRange(t *testing.T) {
	for _, mph := range []float64{-0.1, 300.1, math.NaN(), math.Inf(1), math.Inf(-1)} {
		if psf, ok := VelocityPressure(mph); ok || psf != 0 {
			t.Errorf("%v mph: %v psf", mph, psf)
		}
		if force, ok := Beaufort(mph); ok || force != 0 {
			t.Errorf("%v mph: force %v", mph, force)
		}
	}
}
