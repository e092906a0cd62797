package weather

import "math"

// FullSun is by how many F full sun may add to the heat index, which is for the
// shade and a light wind (NWS: published).
const FullSun = 15

// HeatIndex gives the heat index in F, whole, of air at airF in F, from -40 to
// 130, and rh % relative humidity, from 0 to 100: the Rothfusz regression with
// both its adjustments, and the simple formula where that stays below 80 F (NWS
// Weather Prediction Center: published). NWS charts it from 80 to 110 F; colder
// air has a heat index that says little, hotter air one beyond the data it was
// made from.
func HeatIndex(airF, rh float64) (f float64, ok bool) {
	if !within(airF, -40, 130) || !within(rh, 0, 100) {
		return 0, false
	}
	t, r := airF, rh
	simple := (t + 61 + float64((t-68)*1.2) + float64(r*0.094)) / 2
	if simple < 80 {
		return Whole(simple), true
	}
	index := -42.379 +
		float64(2.04901523*t) +
		float64(10.14333127*r) -
		float64(0.22475541*t*r) -
		float64(0.00683783*t*t) -
		float64(0.05481717*r*r) +
		float64(0.00122874*t*t*r) +
		float64(0.00085282*t*r*r) -
		float64(0.00000199*t*t*r*r)
	switch {
	case r < 13 && within(t, 80, 112):
		index -= float64((13 - r) / 4 * math.Sqrt((17-math.Abs(t-95))/17))
	case r > 85 && within(t, 80, 87):
		index += float64((r - 85) / 10 * ((87 - t) / 5))
	}
	return Whole(index), true
}

// Tier is how much care a heat index asks for.
type Tier int

const (
	Lower Tier = iota
	Moderate
	High
	VeryHigh
)

func (t Tier) String() string {
	return [...]string{"lower", "moderate", "high", "very high"}[t]
}

// TierLimits are the heat indices, in F, between the tiers: Moderate and High
// begin at theirs, VeryHigh above its own.
type TierLimits struct{ Moderate, High, VeryHigh float64 }

// OSHATiers are the limits where a job has none of its own (OSHA heat guidance:
// published).
func OSHATiers() TierLimits { return TierLimits{Moderate: 91, High: 103, VeryHigh: 115} }

// Of gives the tier of a heat index in F.
func (l TierLimits) Of(indexF float64) Tier {
	switch {
	case indexF > l.VeryHigh:
		return VeryHigh
	case indexF >= l.High:
		return High
	case indexF >= l.Moderate:
		return Moderate
	}
	return Lower
}
