package weather

import "math"

// The Magnus formula over water (WMO-No. 8, annex 4.B: published, from memory),
// good from -45 to 60 C.
const (
	magnusHPa = 6.112
	magnusA   = 17.62
	magnusB   = 243.12 // C
)

// saturation is the vapour pressure over water, in hPa, at c in C.
func saturation(c float64) float64 {
	return magnusHPa * math.Exp(magnusA*c/(magnusB+c))
}

// dewPoint is the temperature in C at which air of c in C and rh % is saturated
// over water.
func dewPoint(c, rh float64) float64 {
	g := math.Log(saturation(c) * rh / 100 / magnusHPa)
	return magnusB * g / (magnusA - g)
}

// DewPoint gives the dew point in F, to 0.1, of air at airF in F, from -49 to
// 140, and rh % relative humidity, from 1 to 100. Below freezing it is the dew
// point over water still, not the frost point.
func DewPoint(airF, rh float64) (f float64, ok bool) {
	if !within(airF, -49, 140) || !within(rh, 1, 100) {
		return 0, false
	}
	return Tenth(Fahrenheit(dewPoint(Celsius(airF), rh))), true
}

// DewPointC is DewPoint in C, to 0.1, of air from -45 to 60 C.
func DewPointC(airC, rh float64) (c float64, ok bool) {
	if !within(airC, -45, 60) || !within(rh, 1, 100) {
		return 0, false
	}
	return Tenth(dewPoint(airC, rh)), true
}

// Margin gives by how many F, to 0.1, a surface at sheetF in F, from -60 to
// 250, is warmer than the dew point of the air as printed: the three figures
// add up on paper. It is negative where dew forms.
func Margin(sheetF, airF, rh float64) (f float64, ok bool) {
	dew, ok := DewPoint(airF, rh)
	if !ok || !within(sheetF, -60, 250) {
		return 0, false
	}
	return Tenth(Tenth(sheetF) - dew), true
}
