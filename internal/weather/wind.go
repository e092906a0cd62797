package weather

// VelocityPressure gives the pressure in psf, to 0.001, of wind of mph, from 0
// to 300, with every factor 1: 0.00256 V^2 (ASCE 7: published, 2nd hand). It
// explains why a bare sheet cannot wait; it is no design.
func VelocityPressure(mph float64) (psf float64, ok bool) {
	if !within(mph, 0, 300) {
		return 0, false
	}
	return Thousandth(0.00256 * mph * mph), true
}

// Beaufort gives the force, 0 to 12, of wind of mph, from 0 to 300 (US National
// Weather Service: published). The scale is in whole mph; under 1 is calm.
func Beaufort(mph float64) (force int, ok bool) {
	if !within(mph, 0, 300) {
		return 0, false
	}
	if mph < 1 {
		return 0, true
	}
	upper := [...]float64{1: 3, 7, 12, 18, 24, 31, 38, 46, 54, 63, 73}
	for force = 1; force < len(upper) && Whole(mph) > upper[force]; force++ {
	}
	return force, true
}
