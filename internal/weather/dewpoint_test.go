package weather

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestSaturation(t *testing.T) {
	// ASHRAE Fundamentals 2017 ch. 1, table 3: published (as asserted in the
	// psychrolib tests); Magnus agrees within 0.5 %.
	for c, pascals := range map[float64]float64{5: 872.6, 25: 3169.7, 50: 12351.3} {
		if got := saturation(c) * 100; math.Abs(got/pascals-1) > 0.005 {
			t.Errorf("%v C: %.1f Pa, ASHRAE %v Pa", c, got, pascals)
		}
	}
}

func TestDewPointOfCharts(t *testing.T) {
	// Air F, humidity %, dew point F: two printed dew-point charts, published,
	// +-1.1. Their hot cells are off by up to 3.6 F and not here.
	for _, c := range [][3]float64{
		{70, 85, 65}, {70, 65, 57}, {70, 60, 55}, {70, 50, 50}, {60, 80, 54}, {65, 65, 53},
		{50, 80, 44}, {55, 75, 47}, {40, 90, 37}, {75, 55, 58}, {80, 50, 59}, {90, 70, 78},
	} {
		if got, ok := DewPoint(c[0], c[1]); !ok || math.Abs(got-c[2]) > 1.1 {
			t.Errorf("%v F, %v %%: %v F, chart %v F", c[0], c[1], got, c[2])
		}
	}
	// Computed; the charts print 80.
	if got, _ := DewPoint(100, 60); got != 83.6 {
		t.Errorf("100 F, 60 %%: %v F, want 83.6", got)
	}
}

func TestDewPointC(t *testing.T) {
	// ASHRAE Fundamentals 2017 ch. 1, example 1: published (as asserted in the
	// psychrolib tests).
	if got, ok := DewPointC(40, 14); !ok || math.Abs(got-7) > 0.5 {
		t.Errorf("40 C, 14 %%: %v C, ASHRAE 7 C", got)
	}
	// Air C, humidity %, dew point C by Magnus: computed; by psychrolib 1.1.1.
	for _, c := range [][4]float64{
		{20, 50, 9.255, 9.272}, {25, 60, 16.693, 16.701}, {10, 80, 6.706, 6.713},
		{5, 90, 3.495, 3.498}, {24, 35, 7.588, 7.612}, {30, 55, 19.972, 19.976},
	} {
		got := dewPoint(c[0], c[1])
		if math.Abs(got-c[2]) > 0.0005 || math.Abs(got-c[3]) > 0.025 {
			t.Errorf("%v C, %v %%: %.4f C, Magnus %v, psychrolib %v", c[0], c[1], got, c[2], c[3])
		}
		if printed, ok := DewPointC(c[0], c[1]); !ok || printed != Tenth(c[2]) {
			t.Errorf("%v C, %v %% prints %v C", c[0], c[1], printed)
		}
	}
}

func TestMarginOnWorkedDays(t *testing.T) {
	// Three invented days, worked out by hand: computed.
	for _, c := range []struct{ air, rh, sheet, dew, margin float64 }{
		{26, 78, 23, 20.1, 2.9},
		{33, 60, 41, 20.6, 20.4},
		{38, 50, 52, 21.0, 31.0},
		{58, 72, 57, 49.0, 8.0},
		{62, 65, 68, 50.1, 17.9},
		{60, 92, 61, 57.7, 3.3},
		{64, 70, 72, 54.0, 18.0},
		{52, 60, 46, 38.5, 7.5},
	} {
		if got, ok := DewPoint(c.air, c.rh); !ok || got != c.dew {
			t.Errorf("%v F, %v %%: dew point %v F, want %v", c.air, c.rh, got, c.dew)
		}
		if got, ok := Margin(c.sheet, c.air, c.rh); !ok || got != c.margin {
			t.Errorf("sheet %v F, air %v F, %v %%: margin %v F, want %v", c.sheet, c.air, c.rh, got, c.margin)
		}
	}
}

func TestMarginAddsUp(t *testing.T) {
	// 57.65 prints as 57.7, which is the dew point.
	if got, ok := Margin(57.65, 60, 92); !ok || got != 0 {
		t.Errorf("margin %v F, want 0", got)
	}
}

func TestDewPointOutOfRange(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range [][2]float64{{-49.1, 50}, {140.1, 50}, {70, 0}, {70, 0.9}, {70, 100.1}, {nan, 50}, {70, nan}, {inf, 50}, {-inf, 50}, {70, inf}} {
		if got, ok := DewPoint(c[0], c[1]); ok || got != 0 {
			t.Errorf("%v F, %v %%: %v, %v", c[0], c[1], got, ok)
		}
		if got, ok := DewPointC(Celsius(c[0]), c[1]); ok || got != 0 {
			t.Errorf("%v F in C, %v %%: %v, %v", c[0], c[1], got, ok)
		}
		if got, ok := Margin(60, c[0], c[1]); ok || got != 0 {
			t.Errorf("margin in %v F, %v %%: %v, %v", c[0], c[1], got, ok)
		}
	}
	for _, sheet := range []float64{-60.1, 250.1, nan, inf, -inf} {
		if got, ok := Margin(sheet, 60, 50); ok || got != 0 {
			t.Errorf("margin of a sheet at %v F: %v, %v", sheet, got, ok)
		}
	}
}

func TestDewPointRises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		air := rapid.Float64Range(-49, 140).Draw(t, "air")
		rh := rapid.Float64Range(1, 100).Draw(t, "rh")
		wetter := rapid.Float64Range(rh, 100).Draw(t, "wetter")
		dew, ok := DewPoint(air, rh)
		more, okToo := DewPoint(air, wetter)
		if !ok || !okToo {
			t.Fatal("a reading within range has no dew point")
		}
		if dew > Tenth(air) {
			t.Errorf("dew point %v F over the air's %v F", dew, air)
		}
		if more < dew {
			t.Errorf("dew point falls from %v to %v F as humidity rises", dew, more)
		}
		if c, f := dewPoint(Celsius(air), rh), dewPoint(Celsius(air), wetter); wetter > rh+0.001 && c >= f {
			t.Errorf("%v %% gives %v C, %v %% gives %v C", rh, c, wetter, f)
		}
		sheet := Tenth(rapid.Float64Range(-60, 250).Draw(t, "sheet"))
		if margin, ok := Margin(sheet, air, rh); !ok || Tenth(dew+margin) != sheet {
			t.Errorf("dew point %v and margin %v do not make the sheet's %v F", dew, margin, sheet)
		}
	})
}
