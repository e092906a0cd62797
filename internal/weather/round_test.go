package weather

import (
	"math"
	"testing"
	"time"
)

func TestRounding(t *testing.T) {
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"half up", Whole(74.5), 75},
		{"half down", Whole(-18.5), -19},
		{"half, a last bit short", Whole(math.Nextafter(74.5, 0)), 75},
		{"half of a tenth, as 49.95 comes out of a sum", Tenth(49.9 + 0.05), 50},
		{"less than half", Whole(74.49999), 74},
		{"tenth", Tenth(20.149), 20.1},
		{"thousandth", Thousandth(0.0364816), 0.036},
	} {
		if c.got != c.want {
			t.Errorf("%s: %v, want %v", c.name, c.got, c.want)
		}
	}
	if math.Signbit(Tenth(-0.04)) {
		t.Error("-0.04 prints as -0")
	}
	at := time.Date(2026, 3, 4, 18, 35, 30, 0, time.UTC)
	if got := Minute(at); got.Minute() != 36 || got.Second() != 0 {
		t.Errorf("%v becomes %v", at, got)
	}
}
