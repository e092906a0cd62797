package weather

import (
	"math"
	"testing"
)

func TestUnits(t *testing.T) {
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		// NIST SP 811: published.
		{"lb in kg", KilogramsPerPound, 0.45359237},
		{"short ton in kg", KilogramsPerShortTon, 907.18474},
		// Computed from exact factors.
		{"psf in kg/m2", KilogramsPerSquareMetrePerPSF, 4.88242763638305},
		{"mph in m/s", MetresPerSecondPerMPH, 0.44704},
		{"gal in L", LitresPerGallon, 3.785411784},
		{"5,000 sq ft at 12 psf in short tons", 5000 * 12. / PoundsPerShortTon, 30},
		{"-40 F in C", Celsius(-40), -40},
		{"212 F in C", Celsius(212), 100},
		{"37 C in F", Fahrenheit(37), 98.6},
		// The margin of 3 C of ISO 8502-4 guidance, published 2nd hand: 5.4 F.
		{"3 C more, in F", Tenth(Fahrenheit(23) - Fahrenheit(20)), 5.4},
	} {
		if c.got != c.want {
			t.Errorf("%s: %v, want %v", c.name, c.got, c.want)
		}
	}
	// Computed: 47.8802589803358426..., half way between two floating-point numbers.
	if math.Abs(PascalsPerPSF-47.88025898033584) > 1e-14 {
		t.Errorf("psf in Pa: %.17g", PascalsPerPSF)
	}
}
