package checks

import (
	"strings"

	"duskline/internal/daylog"
)

// onRun names a seam in a sentence: "run 2|3"; a T-joint stands for itself.
func onRun(seam string) string {
	if len(daylog.Joined(seam)) > 2 {
		return "T-joint " + seam
	}
	return "run " + seam
}

// sayPlaces names places of one seam in the crew's words: "cover at 41 ft on
// run 2|3", "3 covers and 2 vertical splices on run 5|6".
func sayPlaces(seam string, places []daylog.Place) string {
	if len(daylog.Joined(seam)) > 2 {
		return "cover on " + onRun(seam)
	}
	if len(places) == 1 {
		return sayPlace(places[0]) + " on " + onRun(seam)
	}
	return daylog.CountPlaces(places) + " on " + onRun(seam)
}

// sayPlace names a place without its seam: "cover at 41 ft", "folded cover
// south", "vertical splice south".
func sayPlace(p daylog.Place) string {
	_, edge, atEdge := strings.Cut(p.On, "@")
	switch {
	case p.What == daylog.Splice:
		return "vertical splice " + edge
	case atEdge:
		return "folded cover " + edge
	case len(daylog.Joined(p.On)) > 2:
		return "cover on T-joint " + p.On
	}
	return "cover at " + p.At.String()
}

// keyOf tells a place apart from the seam it begins.
func keyOf(p daylog.Place) string {
	if p.At == 0 && len(daylog.Joined(p.On)) == 2 && !strings.Contains(p.On, "@") {
		return p.Key() + " 0 ft"
	}
	return p.Key()
}
