package weather

import (
	"errors"
	"math"
	"time"
)

// Place is a point on the earth in degrees, north and east positive.
type Place struct{ Latitude, Longitude float64 }

// Sun says when the sun rises, crosses and sets on one day at one place.
type Sun struct {
	Transit time.Time // highest, wherever that is

	sunrise, sunset, dawn, dusk time.Time // zero: there is none
}

// Sunrise is when the sun's upper edge comes over the horizon; not ok where it
// does not.
func (s Sun) Sunrise() (at time.Time, ok bool) { return s.sunrise, !s.sunrise.IsZero() }

// Sunset is when the sun's upper edge goes under the horizon; not ok where it
// does not.
func (s Sun) Sunset() (at time.Time, ok bool) { return s.sunset, !s.sunset.IsZero() }

// CivilDawn is when the sun comes to 6 degrees under the horizon; not ok where
// it does not.
func (s Sun) CivilDawn() (at time.Time, ok bool) { return s.dawn, !s.dawn.IsZero() }

// CivilDusk is when the sun goes to 6 degrees under the horizon and work needs
// lighting; not ok where it does not.
func (s Sun) CivilDusk() (at time.Time, ok bool) { return s.dusk, !s.dusk.IsZero() }

// Zeniths in degrees of the sun's center: the horizon with refraction and the
// sun's half width, and civil twilight.
const (
	horizon = 90.833
	civil   = 96
)

// Sun gives the sun's times on the civil day of the instant day, in the zone it
// carries: the job's. They are instants in that zone, to the minute: those
// before and after the transit nearest to the day's 12:00, so a sunset may have
// the next day's date where the zone is far from the place's own, as UTC is in
// America.
//
// The method is the NOAA solar calculator's (published), reckoned at noon and
// once more at the time it gave. It is within a minute or two up to 72 degrees
// of latitude. Latitude is -90 to 90, longitude -180 to 180, the year 1900 to
// 2100; all else is an error.
func (p Place) Sun(day time.Time) (Sun, error) {
	year, month, date := day.Date()
	switch {
	case !within(p.Latitude, -90, 90):
		return Sun{}, errors.New("latitude is not between -90 and 90 degrees")
	case !within(p.Longitude, -180, 180):
		return Sun{}, errors.New("longitude is not between -180 and 180 degrees")
	case year < 1900 || year > 2100:
		return Sun{}, errors.New("daylight is known from 1900 to 2100 only")
	}
	zone := day.Location()

	// Noon by a clock that runs with the place's mean sun, nearest to the civil
	// day's noon.
	const perDay = 24 * 60 * 60
	late := -p.Longitude * perDay / 360 // seconds behind Greenwich
	civilNoon := float64(time.Date(year, month, date, 12, 0, 0, 0, zone).Unix())
	days := math.Round((civilNoon - perDay/2 - late) / perDay)
	noon := time.Unix(int64(days)*perDay+perDay/2, 0).Add(minutes(late / 60))

	transit := noon
	for range 2 {
		_, ahead := solar(transit)
		transit = noon.Add(-minutes(ahead))
	}
	cross := func(zenith, side float64) time.Time {
		at := transit
		for range 2 {
			declination, ahead := solar(at)
			angle, ok := hourAngle(p.Latitude, declination, zenith)
			if !ok {
				return time.Time{}
			}
			at = noon.Add(minutes(float64(side*4*angle) - ahead))
		}
		return Minute(at.In(zone))
	}
	return Sun{
		Transit: Minute(transit.In(zone)),
		sunrise: cross(horizon, -1), sunset: cross(horizon, 1),
		dawn: cross(civil, -1), dusk: cross(civil, 1),
	}, nil
}

func minutes(m float64) time.Duration { return time.Duration(m * float64(time.Minute)) }

// hourAngle is by how many degrees the earth turns between transit and the
// moment at which the sun is at zenith; not ok where it never is.
func hourAngle(latitude, declination, zenith float64) (degrees float64, ok bool) {
	lat, dec := radians(latitude), radians(declination)
	c := math.Cos(radians(zenith))/(math.Cos(lat)*math.Cos(dec)) - float64(math.Tan(lat)*math.Tan(dec))
	if !within(c, -1, 1) {
		return 0, false
	}
	return math.Acos(c) * 180 / math.Pi, true
}

// solar gives the sun's declination in degrees, and by how many minutes it is
// ahead of the mean sun: the equation of time.
func solar(at time.Time) (declination, ahead float64) {
	const j2000 = 946728000 // 2000-01-01 12:00 UTC
	t := float64(at.Unix()-j2000) / (36525 * 24 * 60 * 60)

	longitude := 280.46646 + float64(t*(36000.76983+float64(t*0.0003032)))
	anomaly := radians(357.52911 + float64(t*(35999.05029-float64(0.0001537*t))))
	eccentricity := 0.016708634 - float64(t*(0.000042037+float64(0.0000001267*t)))
	center := float64(math.Sin(anomaly)*(1.914602-float64(t*(0.004817+float64(0.000014*t))))) +
		float64(math.Sin(2*anomaly)*(0.019993-float64(0.000101*t))) +
		float64(math.Sin(3*anomaly)*0.000289)
	node := radians(125.04 - float64(1934.136*t))
	apparent := radians(longitude + center - 0.00569 - float64(0.00478*math.Sin(node)))
	seconds := 21.448 - float64(t*(46.815+float64(t*(0.00059-float64(t*0.001813)))))
	obliquity := radians(23 + (26+seconds/60)/60 + float64(0.00256*math.Cos(node)))

	declination = math.Asin(math.Sin(obliquity)*math.Sin(apparent)) * 180 / math.Pi

	y := math.Tan(obliquity / 2)
	y *= y
	l := radians(longitude)
	equation := float64(y*math.Sin(2*l)) -
		float64(2*eccentricity*math.Sin(anomaly)) +
		float64(4*eccentricity*y*math.Sin(anomaly)*math.Cos(2*l)) -
		float64(y*y*math.Sin(4*l)/2) -
		float64(1.25*eccentricity*eccentricity*math.Sin(2*anomaly))
	return declination, equation * 180 / math.Pi * 4
}

func radians(degrees float64) float64 { return degrees * math.Pi / 180 }
