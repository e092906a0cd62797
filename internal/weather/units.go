package weather

// Exact by definition of the units (NIST SP 811).
const (
	KilogramsPerPound     = 0.45359237
	PoundsPerShortTon     = 2000
	KilogramsPerShortTon  = PoundsPerShortTon * KilogramsPerPound
	MetresPerFoot         = 0.3048
	MetresPerSecondPerMPH = 5280 * MetresPerFoot / 3600
	LitresPerGallon       = 3.785411784 // US gallon, 231 cu in

	// 1 psf is a pound on a square foot: as a load in kg/m2, as a pressure in Pa.
	KilogramsPerSquareMetrePerPSF = KilogramsPerPound / (MetresPerFoot * MetresPerFoot)
	PascalsPerPSF                 = KilogramsPerSquareMetrePerPSF * 9.80665
)

// Celsius gives a temperature in F in C, unrounded.
func Celsius(f float64) float64 { return (f - 32) * 5 / 9 }

// Fahrenheit gives a temperature in C in F, unrounded.
func Fahrenheit(c float64) float64 { return float64(c*9)/5 + 32 }
