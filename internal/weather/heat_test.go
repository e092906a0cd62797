package weather

import (
	"math"
	"testing"
)

func TestHeatIndex(t *testing.T) {
	for _, c := range []struct{ air, rh, index float64 }{
		// NWS calculator: published.
		{86, 45, 87}, {96, 60, 116},
		// NWS chart: published. It is the plain regression, so none of its cells
		// above 85 % is here.
		{80, 60, 82}, {88, 60, 95}, {90, 50, 95}, {90, 80, 113}, {92, 60, 105},
		{94, 55, 106}, {96, 65, 121}, {100, 40, 109}, {104, 40, 119}, {110, 40, 136},
		// The simple formula: computed. 2.2 T - 20.6 + 0.094 RH, halved.
		{75, 50, 75}, {60, 50, 58}, {79, 60, 79}, {80, 10, 78},
		// The adjustments: computed. 94.75 - 0.63, 90.18 - 2, 90.77 + 1.8; none in
		// air below 80 F or over 112 F: 82.98, 104.43.
		{100, 10, 94}, {95, 5, 88}, {81, 100, 93}, {79, 90, 83}, {113, 5, 104},
	} {
		if got, ok := HeatIndex(c.air, c.rh); !ok || got != c.index {
			t.Errorf("%v F, %v %%: %v F, want %v", c.air, c.rh, got, c.index)
		}
	}
	for _, c := range [][2]float64{{-40.1, 50}, {130.1, 50}, {90, -0.1}, {90, 100.1}, {math.NaN(), 50}, {90, math.NaN()}, {math.Inf(1), 50}} {
		if got, ok := HeatIndex(c[0], c[1]); ok || got != 0 {
			t.Errorf("%v F, %v %%: %v, %v", c[0], c[1], got, ok)
		}
	}
	if FullSun != 15 { // NWS: published
		t.Error("full sun adds up to 15 F")
	}
}

func TestTiers(t *testing.T) {
	// OSHA heat guidance: published.
	for index, tier := range map[float64]string{
		60: "lower", 90: "lower", 91: "moderate", 102: "moderate", 103: "high", 115: "high", 116: "very high", 200: "very high",
	} {
		if got := OSHATiers().Of(index).String(); got != tier {
			t.Errorf("heat index %v F: %s, want %s", index, got, tier)
		}
	}
	own := TierLimits{Moderate: 80, High: 90, VeryHigh: 100}
	if own.Of(80) != Moderate || own.Of(101) != VeryHigh {
		t.Error("a job's own limits are not heard")
	}
}
