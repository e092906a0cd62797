package weather

import (
	"math"
	"time"
)

// Whole rounds to a whole number, as heat index and wind chill are printed.
func Whole(x float64) float64 { return round(x, 1) }

// Tenth rounds to 0.1, as dew point and margin are printed.
func Tenth(x float64) float64 { return round(x, 10) }

// Thousandth rounds to 0.001, as velocity pressure is printed.
func Thousandth(x float64) float64 { return round(x, 1000) }

// Minute rounds to the nearest minute, as times of the sun are printed.
func Minute(t time.Time) time.Time { return t.Round(time.Minute) }

// round rounds x to a multiple of 1/per, halves away from zero. It rounds to a
// millionth of that first: readings are decimals, so values that lie exactly
// half way are common, and last bits must not choose their side.
func round(x, per float64) float64 {
	return math.Round(math.Round(x*per*1e6)/1e6)/per + 0 // + 0: never a negative zero
}

func within(x, low, high float64) bool { return low <= x && x <= high }
