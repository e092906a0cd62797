package weather

import (
	"math"
	"testing"
)

func TestWindChill(t *testing.T) {
	// Air F, wind mph, wind chill F: NWS chart: published.
	for _, c := range [][3]float64{
		{40, 5, 36}, {40, 20, 30}, {30, 10, 21}, {20, 15, 6}, {20, 30, 1}, {10, 35, -14}, {0, 15, -19}, {0, 30, -26}, {-20, 30, -53},
	} {
		got, ok := WindChill(c[0], c[1])
		if !ok || got != c[2] {
			t.Errorf("%v F, %v mph: %v F, want %v", c[0], c[1], got, c[2])
		}
	}
	// Frostbite in 30 min at or under -18 F: NWS chart: published.
	if Frostbite != -18 {
		t.Errorf("frostbite from %v F", Frostbite)
	}
	// There is none above 50 F or at 3 mph: NWS 2001: published.
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range [][2]float64{{50.1, 20}, {40, 3}, {40, 0}, {40, -5}, {-50.1, 20}, {40, 120.1}, {nan, 20}, {40, nan}, {-inf, 20}, {40, inf}} {
		if got, ok := WindChill(c[0], c[1]); ok || got != 0 {
			t.Errorf("%v F, %v mph: %v, %v", c[0], c[1], got, ok)
		}
	}
	if _, ok := WindChill(50, 3.1); !ok {
		t.Error("no wind chill at 50 F and 3.1 mph")
	}
}
