package weather

import "math"

// Frostbite is the wind chill in F at or under which skin freezes within 30
// minutes, where a job has no limit of its own (NWS chart: published).
const Frostbite = -18

// WindChill gives the wind chill in F, whole, of air at airF in F and a steady
// wind of mph (NWS 2001: published). There is none above 50 F or in a wind of 3
// mph or less; airF is taken from -50, mph up to 120.
func WindChill(airF, mph float64) (f float64, ok bool) {
	if !within(airF, -50, 50) || mph <= 3 || !within(mph, 3, 120) {
		return 0, false
	}
	v := math.Pow(mph, 0.16)
	return Whole(35.74 + float64(0.6215*airF) - float64(35.75*v) + float64(0.4275*airF*v)), true
}
