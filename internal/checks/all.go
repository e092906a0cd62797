package checks

// All lists every rule, in the order of the day's work.
func All() []*Check { return all }

var all = []*Check{
	fallUnset,
	weatherStop,
	sealChecked,
	panelLoose,
	gustUnroll,
	gustWork,
	lotExpired,
	lotUnknown,
	lapNarrow,
	relaxShort,
	relaxCold,
	coldDay,
	liquidCold,
	dewNear,
	primeOneFace,
	flashUnproved,
	flashFailed,
	primeWet,
	primeStale,
	tapeLapShort,
	rollMissed,
	runOpen,
	seamUnchecked,
	coverOwed,
	coverShort,
	edgeWontMakeIt,
	edgeEarly,
	sweepMissing,
	matMissing,
	matBare,
	stoneWrong,
	ballastLight,
	ballastHeavy,
	closedOverOpen,
	edgeOpen,
	panelBare,
	stripLeft,
	perimeterOpen,
	panelUnplaced,
	insulationOpen,
	detailOpen,
	nightSealLeft,
	drainBlocked,
	repairOpen,
	outOfOrder,
	dayIncomplete,
	lateEntry,
	unsigned,
	changedAfterAccept,
	zoneThin,
	slopeOver,
}

// packupMin belongs to no rule: tools go down this long before leaving.
var packupMin = Limit{Name: "tools-down.packup_min", Label: "Packing up before leaving", Default: 20, Unit: "min", Source: practice}

// Limits lists every limit that a job may set, each once.
func Limits() []Limit {
	limits := []Limit{packupMin}
	for _, c := range All() {
		limits = append(limits, c.Limits...)
	}
	return limits
}
