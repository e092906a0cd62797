package weather

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// meanZone is a zone whose clocks run with the mean sun of a longitude.
func meanZone(longitude float64) *time.Location {
	return time.FixedZone("mean", int(longitude*240))
}

func events(s Sun) map[string]func() (time.Time, bool) {
	return map[string]func() (time.Time, bool){"dawn": s.CivilDawn, "sunrise": s.Sunrise, "sunset": s.Sunset, "dusk": s.CivilDusk}
}

func sunOn(t *testing.T, p Place, day time.Time) Sun {
	t.Helper()
	s, err := p.Sun(day)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// near fails unless an event is within a minute of a printed time.
func near(t *testing.T, what string, at time.Time, ok bool, want time.Time) {
	t.Helper()
	if !ok || at.Sub(want).Abs() > time.Minute {
		t.Errorf("%s: %v (%v), want %v", what, at, ok, want)
	}
}

func TestSunOfAYear(t *testing.T) {
	// W121 55' N37 24', UTC-8 without daylight saving: US Naval Observatory:
	// published, +-1 min.
	place := Place{Latitude: 37 + 24./60, Longitude: -(121 + 55./60)}
	west := time.FixedZone("UTC-8", -8*60*60)
	for _, c := range [][3]string{
		{"01-01", "07:22", "17:00"}, {"02-01", "07:11", "17:32"}, {"03-01", "06:38", "18:02"}, {"04-01", "05:52", "18:31"},
		{"05-01", "05:12", "18:58"}, {"07-01", "04:51", "19:32"}, {"08-01", "05:12", "19:15"}, {"09-01", "05:39", "18:36"},
		{"10-01", "06:04", "17:50"}, {"12-01", "07:04", "16:50"},
	} {
		printed := func(clock string) time.Time {
			at, err := time.ParseInLocation("2006-01-02 15:04", "2008-"+c[0]+" "+clock, west)
			if err != nil {
				t.Fatal(err)
			}
			return at
		}
		s := sunOn(t, place, printed("00:00"))
		at, ok := s.Sunrise()
		near(t, c[0]+" sunrise", at, ok, printed(c[1]))
		at, ok = s.Sunset()
		near(t, c[0]+" sunset", at, ok, printed(c[2]))
	}
}

func TestSunsetOnTheNextUTCDay(t *testing.T) {
	// 35 47'N 78 39'W, 2015-07-12, UTC: US Naval Observatory: published. The
	// sunset, 24:32, is on the next UTC day.
	raleigh := Place{Latitude: 35.783333, Longitude: -78.65}
	printed := func(hour, minute int) time.Time { return time.Date(2015, 7, 12, hour, minute, 0, 0, time.UTC) }
	inUTC := sunOn(t, raleigh, printed(0, 0))
	near(t, "transit", inUTC.Transit, true, printed(17, 20))
	want := map[string]time.Time{"dawn": printed(9, 38), "sunrise": printed(10, 8), "sunset": printed(24, 32), "dusk": printed(25, 2)}
	// The same instants on the job's own clock, whatever hour names the day.
	newYork := zone(t, "America/New_York")
	for _, day := range []time.Time{printed(0, 0), printed(23, 59), time.Date(2015, 7, 12, 0, 0, 0, 0, newYork), time.Date(2015, 7, 12, 23, 59, 59, 0, newYork)} {
		s := sunOn(t, raleigh, day)
		if !s.Transit.Equal(inUTC.Transit) || s.Transit.Location() != day.Location() {
			t.Errorf("on %v the transit is %v", day, s.Transit)
		}
		for name, event := range events(s) {
			at, ok := event()
			near(t, name, at, ok, want[name])
			if other, _ := events(inUTC)[name](); !at.Equal(other) {
				t.Errorf("on %v the %s is %v, by UTC %v", day, name, at, other)
			}
		}
	}
}

func TestNoEvent(t *testing.T) {
	// 71.29 N 156.79 W on 2025-12-21: no sunrise: computed, three libraries
	// agree. Twilight there is, and in June the sun stays up: computed.
	north := Place{Latitude: 71.29, Longitude: -156.79}
	alaska := zone(t, "America/Anchorage")
	has := func(day time.Time) (names string) {
		s := sunOn(t, north, day)
		for _, name := range []string{"dawn", "sunrise", "sunset", "dusk"} {
			at, ok := events(s)[name]()
			if ok {
				names += " " + name
			} else if !at.IsZero() {
				t.Errorf("no %s, but it is at %v", name, at)
			}
		}
		return names
	}
	if got := has(time.Date(2025, 12, 21, 12, 0, 0, 0, alaska)); got != " dawn dusk" {
		t.Errorf("in December there is%s", got)
	}
	if got := has(time.Date(2025, 6, 21, 12, 0, 0, 0, alaska)); got != "" {
		t.Errorf("in June there is%s", got)
	}
}

func TestSunOnWorkedDays(t *testing.T) {
	// Three invented days at 41.6 N 93.6 W, worked out by hand: computed.
	place, chicago := Place{41.6, -93.6}, zone(t, "America/Chicago")
	at := func(month time.Month, day, hour, minute int) time.Time {
		return time.Date(2026, month, day, hour, minute, 0, 0, chicago)
	}
	march, april := sunOn(t, place, at(3, 4, 0, 0)), sunOn(t, place, at(4, 22, 0, 0))
	rise, ok := march.Sunrise()
	near(t, "sunrise in March", rise, ok, at(3, 4, 6, 44))
	dusk, ok := march.CivilDusk()
	near(t, "civil dusk in March", dusk, ok, at(3, 4, 18, 36))
	dusk, ok = april.CivilDusk()
	near(t, "civil dusk in April", dusk, ok, at(4, 22, 20, 32))
}

func TestSunHasTheDaysDate(t *testing.T) {
	// Clocks far from the place's own sun, and the days on which clocks change.
	for _, c := range []struct {
		place Place
		zone  string
	}{
		{Place{41.6, -93.6}, "America/Chicago"},
		{Place{1.9, -157.4}, "Pacific/Kiritimati"}, // UTC+14
		{Place{-14.3, -170.7}, "Pacific/Pago_Pago"},
		{Place{39.5, 76}, "Asia/Shanghai"}, // noon at 15 h
		{Place{-44, -176.5}, "Pacific/Chatham"},
	} {
		z := zone(t, c.zone)
		for day := range 365 {
			noon := time.Date(2026, 1, 1+day, 12, 0, 0, 0, z)
			s := sunOn(t, c.place, noon)
			rise, _ := s.Sunrise()
			set, _ := s.Sunset()
			for _, at := range []time.Time{rise, s.Transit, set} {
				if at.Format(time.DateOnly) != noon.Format(time.DateOnly) {
					t.Errorf("%s: on %s the sun is at %v", c.zone, noon.Format(time.DateOnly), at)
				}
			}
		}
	}
}

func TestSunInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		place := Place{rapid.Float64Range(-90, 90).Draw(t, "latitude"), rapid.Float64Range(-180, 180).Draw(t, "longitude")}
		z := time.FixedZone("drawn", rapid.IntRange(-14, 14).Draw(t, "hours")*60*60)
		day := time.Date(rapid.IntRange(1901, 2099).Draw(t, "year"), 1, rapid.IntRange(1, 365).Draw(t, "day"), 12, 0, 0, 0, z)
		s, err := place.Sun(day)
		if err != nil {
			t.Fatal(err)
		}
		if away := s.Transit.Sub(day).Abs(); away > 12*time.Hour+20*time.Minute {
			t.Errorf("transit is %v from noon", away)
		}
		// Where a day or a night lasts no time at all, neighbours may share a minute.
		earlier := func(a, b time.Time) bool { return a.Before(b) }
		if math.Abs(place.Latitude) > 65 {
			earlier = func(a, b time.Time) bool { return !b.Before(a) }
		}
		last := s.Transit.Add(-13 * time.Hour)
		next := func(name string, at time.Time, ok bool) {
			if !ok {
				if math.Abs(place.Latitude) <= 65 && (name == "sunrise" || name == "sunset") {
					t.Errorf("no %s", name)
				}
				return
			}
			if !earlier(last, at) {
				t.Errorf("%s is at %v, what comes before it at %v", name, at, last)
			}
			if !at.Equal(Minute(at)) || at.Location() != z {
				t.Errorf("%s is at %v", name, at)
			}
			last = at
		}
		at, ok := s.CivilDawn()
		next("dawn", at, ok)
		at, ok = s.Sunrise()
		next("sunrise", at, ok)
		next("transit", s.Transit, true)
		at, ok = s.Sunset()
		next("sunset", at, ok)
		at, ok = s.CivilDusk()
		next("dusk", at, ok)
	})
}

func TestSunOutOfRange(t *testing.T) {
	day := time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)
	for _, p := range []Place{{90.1, 0}, {-90.1, 0}, {0, 180.1}, {0, -180.1}, {math.NaN(), 0}, {0, math.NaN()}, {math.Inf(1), 0}} {
		if _, err := p.Sun(day); err == nil {
			t.Errorf("%v is taken for a place", p)
		}
	}
	for _, year := range []int{-5000, 1899, 2101, 30000} {
		if _, err := (Place{41.6, -93.6}).Sun(time.Date(year, 3, 4, 12, 0, 0, 0, time.UTC)); err == nil {
			t.Errorf("daylight of the year %d", year)
		}
	}
	// At the poles the sun neither rises nor sets within a day.
	for _, latitude := range []float64{-90, 90} {
		if at, ok := sunOn(t, Place{latitude, 0}, day).Sunset(); ok {
			t.Errorf("sunset at latitude %v: %v", latitude, at)
		}
	}
}
