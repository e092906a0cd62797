// Package weather works out what readings and the calendar mean for the work:
// dew point, heat index, wind chill, wind pressure, daylight.
//
// Every exported value is rounded to the precision it is printed with before
// anyone compares it with a limit: what a person reads is what was judged, and
// it is the same on every device. A value that is not ok is zero, never NaN;
// readings outside the range a function names are not ok.
//
// The rounding must not hang on last bits, so products are converted before
// they are added to: float64(a*b) + c. Without the conversion some processors
// would do both in one step and round once.
package weather
