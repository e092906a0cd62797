//go:build !tablet

package daylog

import (
	"slices"
	"strings"
)

// What the office asks in the forms of the set-up, and what is odd about the
// answers. No tablet shows these forms: its program is built without them.

var jobScript = []string{"job {name} in {zone}; start {start}; leaving {leaving}; break {break}; lunch {lunch}; pack-up {packup}; invented {invented}; contractor {contractor}; place {place}; latitude {lat}; longitude {lon}"}

func jobFields(d *Day) []Field {
	return []Field{
		{Name: "name", Label: "Name of the job", Type: Text},
		{Name: "contractor", Label: "Contractor", Type: Text, Help: "As the contract names the firm that makes this record: it is printed on day summaries."},
		{Name: "zone", Label: "Time zone", Type: Text, Help: "As in America/Chicago. The day belongs to the roof's time, not the tablet's."},
		{Name: "place", Label: "Where the roof is", Type: Text},
		{Name: "lat", Label: "Latitude", Type: Number, Unit: "N", Min: -90, Max: 90, Help: "Degrees north, as in 41.6. Sunset and dusk are reckoned from it."},
		{Name: "lon", Label: "Longitude", Type: Number, Unit: "E", Min: -180, Max: 180, Help: "Degrees east. West of Greenwich it has a minus: -93.6."},
		{Name: "start", Label: "Usual start", Type: Text, Help: "As in 07:00."},
		{Name: "leaving", Label: "Usual leaving", Type: Text, Help: "As in 16:30: people off the roof."},
		{Name: "packup", Label: "Packing up", Type: Whole, Unit: "min", Default: 20, Max: 120, Help: "Tools go down this long before leaving."},
		{Name: "break", Label: "Usual break", Type: Text, Help: "As in " + usualBreak + ". What may not be written down is asked about then, and at lunch."},
		{Name: "lunch", Label: "Usual lunch", Type: Text, Help: "As in " + usualLunch + "."},
		{Name: "invented", Label: "Invented data, for trying out", Type: Tick},
	}
}

var limitScript = []string{"limit {limit:word} {value}"}

func limitFields(d *Day) []Field {
	return []Field{
		{Name: "limit", Label: "Limit", Type: Text},
		{Name: "value", Label: "Value", Type: Number},
	}
}

var personScript = []string{"person {person:word} {name}; foreman {role=foreman}; crew {role=crew}; manager {role=manager}; trade {trade}; leaving {leaving}; gone {gone}"}

func personFields(d *Day) []Field {
	return []Field{
		{Name: "name", Label: "Name", Type: Text},
		{Name: "trade", Label: "Trade", Type: Text},
		{Name: "role", Label: "Role", Type: Choice, Options: []Option{{"foreman", "Foreman"}, {"crew", "Crew"}, {"manager", "Manager"}}},
		{Name: "leaving", Label: "Leaves at, if not with the others", Type: Text, Help: "As in 15:00."},
		{Name: "person", Label: "Short name", Type: Text, Help: "One word for the record. Empty: made from the name."},
		{Name: "gone", Label: "No longer on the job", Type: Tick},
	}
}

var standingScript = []string{"standing {panels}; strip of {strip width} on {strip}; weighted {weighted}"}

func standingFields(d *Day) []Field {
	return []Field{
		{Name: "panels", Label: "Panels that stand finished", Type: PanelNames},
		{Name: "strip", Label: "Leading strip on panel", Type: PanelName},
		{Name: "strip width", Label: "Strip width", Type: Length, Unit: "ft", Default: 48},
		{Name: "weighted", Label: "Temporary ballast lies on the strip", Type: Tick},
	}
}

var scopeScript = []string{"job includes; tear-off {tear-off}; insulation {insulation}; mat {mat}; pavers {pavers}; crushed stone {crushed stone}; " +
	"reinforced sheet {reinforced}; bare cut edges {bare edges}; covers at factory seams {factory seams}; release before stone {hold point}; " +
	"test squares {test squares}; flammables indoors {stored indoors}"}

func scopeFields(d *Day) []Field {
	s := d.Setup.Scope
	return []Field{
		{Name: "tear-off", Label: "Tear-off of an old roof", Type: Tick, Default: s.TearOff},
		{Name: "insulation", Label: "Insulation", Type: Tick, Default: s.Insulation},
		{Name: "mat", Label: "Mat under the ballast", Type: Tick, Default: s.Mat},
		{Name: "pavers", Label: "Pavers", Type: Tick, Default: s.Pavers},
		{Name: "crushed stone", Label: "Crushed stone", Type: Tick, Default: s.Crushed},
		{Name: "reinforced", Label: "Reinforced sheet", Type: Tick, Default: s.Reinforced},
		{Name: "bare edges", Label: "Its cut edges show scrim", Type: Tick, Default: s.Bare},
		{Name: "factory seams", Label: "Covers at factory seams", Type: Tick, Default: s.Factory},
		{Name: "hold point", Label: "Release before stone", Type: Tick, Default: s.HoldPoint},
		{Name: "test squares", Label: "Test squares", Type: Tick, Default: s.TestSquares},
		{Name: "stored indoors", Label: "Flammable liquids stored indoors", Type: Tick, Default: s.Indoors},
	}
}

var weekScript = []string{"hours on {days}; nobody works {off}; start {start}; leaving {leaving}; pack-up {packup}"}

func weekFields(d *Day) []Field {
	return []Field{
		{Name: "days", Label: "On which days", Type: Many, Options: options(weekdays...)},
		{Name: "off", Label: "Nobody works on them", Type: Tick},
		{Name: "start", Label: "Start", Type: Text, Help: "As in 07:00. Empty: as usual."},
		{Name: "leaving", Label: "Leaving", Type: Text, Help: "As in 14:30. Empty: as usual."},
		{Name: "packup", Label: "Packing up", Type: Whole, Unit: "min", Max: 120, Help: "Empty: as usual."},
	}
}

func weekCheck(_ *Day, b Body) []Problem {
	w := b.(*WeekHours)
	if len(w.Days) == 0 {
		return []Problem{{Field: "days", Says: "Say on which days.", Refuses: true}}
	}
	for _, day := range w.Days {
		if !slices.Contains(weekdays, day) {
			return []Problem{{Field: "days", Says: day + " is no day of the week. Tap those that are meant."}}
		}
	}
	return nil
}

var dayOffScript = []string{"day off {date}; for {name}; gone {gone}"}

func dayOffFields(d *Day) []Field {
	return []Field{
		{Name: "date", Label: "Date", Type: Calendar, Required: true},
		{Name: "name", Label: "What it is", Type: Text},
		{Name: "gone", Label: "It is worked after all", Type: Tick},
	}
}

func dayOffCheck(_ *Day, b Body) []Problem {
	if _, err := ParseDate(string(b.(*DayOff).Date)); err != nil {
		return []Problem{{Field: "date", Says: "Say which day, as in 2026-11-26."}}
	}
	return nil
}

var zonesScript = []string{"ballast zones; system {system}; building {height} high; zones {width} wide; slope {slope} in to the foot; " +
	"no loose stone in perimeter and corners {no loose}; rates checked against {checked}"}

func zonesFields(d *Day) []Field {
	return []Field{
		{Name: "height", Label: "Height of the building", Type: Length, Unit: "ft"},
		{Name: "width", Label: "Width of perimeter and corner zones", Type: Length, Unit: "ft"},
		{Name: "slope", Label: "Slope of the roof", Type: Number, Unit: "in 12", Max: 12},
		{Name: "no loose", Label: "No loose stone in perimeter and corners", Type: Tick},
		{Name: "system", Label: "Rates began as those of", Type: Choice, Options: []Option{{"", "The specification"}, {"1", "System 1"}, {"2", "System 2"}, {"3", "System 3"}}},
		{Name: "checked", Label: "Rates checked against", Type: Text, Help: "The standard and its edition, or the engineer's letter with its date."},
	}
}

var materialScript = []string{"approved material {material}; of kind {kind}; good for {months}; not under {coldest}; gone {gone}"}

func materialFields(d *Day) []Field {
	return []Field{
		{Name: "material", Label: "Material", Type: Choice, Required: true, Options: options(slices.Concat(materials, []string{"mat", "insulation"})...)},
		{Name: "kind", Label: "Kind, as its label says", Type: Text, Required: true},
		{Name: "months", Label: "Good for", Type: Whole, Unit: "months", Max: 120, Help: "From when it was made, where no last day is printed."},
		{Name: "coldest", Label: "Not used under", Type: Temp, Unit: "F", Max: 100},
		{Name: "gone", Label: "No longer approved", Type: Tick},
	}
}

func materialCheck(_ *Day, b Body) []Problem {
	a := b.(*Approved)
	if a.Material == "" {
		return []Problem{{Field: "material", Says: "Which material?", Refuses: true}}
	}
	if a.Kind == "" {
		return []Problem{{Field: "kind", Says: "Which kind? It stands on the label.", Refuses: true}}
	}
	return nil
}

var jobLotScript = []string{"lot for the job {lot}; material {material}; of kind {kind}; made {made}; good until {until}; quantity {quantity}; gone {gone}"}

func jobLotFields(d *Day) []Field {
	return []Field{
		{Name: "material", Label: "Material", Type: Choice, Required: true, Options: options(materials...)},
		{Name: "lot", Label: "Lot", Type: Text, Required: true},
		{Name: "kind", Label: "Kind, as its label says", Type: Text},
		{Name: "until", Label: "Good until", Type: Calendar},
		{Name: "made", Label: "Made", Type: Calendar, Help: "Where no last day is printed."},
		{Name: "quantity", Label: "How much", Type: Text},
		{Name: "gone", Label: "Used up or sent back", Type: Tick},
	}
}

func jobLotCheck(d *Day, b Body) []Problem {
	o := b.(*JobLot)
	switch {
	case o.Material == "":
		return []Problem{{Field: "material", Says: "Of which material?", Refuses: true}}
	case o.Lot == "":
		return []Problem{{Field: "lot", Says: "Which lot? It stands on the roll or can.", Refuses: true}}
	case o.Until != "" && o.Made > o.Until:
		return []Problem{{Field: "until", Says: "This is before it was made."}}
	case o.Kind == "":
		return nil
	}
	var kinds []string
	for _, a := range d.Setup.Materials {
		if a.Material == o.Material {
			kinds = append(kinds, a.Kind)
		}
	}
	if len(kinds) > 0 && !slices.ContainsFunc(kinds, func(k string) bool { return strings.EqualFold(k, o.Kind) }) {
		return []Problem{{Field: "kind", Says: "The job takes " + List(kinds) + ". Approve this kind first, or write one of those."}}
	}
	return nil
}

var penetrationScript = []string{"penetration {name:word}; sort {sort}; in panel {panel}; {x} east and {y} north; {wide} wide and {deep} deep; gone {gone}"}

func penetrationFields(d *Day) []Field {
	return []Field{
		{Name: "name", Label: "Name", Type: Text, Required: true},
		{Name: "sort", Label: "What it is", Type: Choice, Options: options("pipe", "drain", "scupper", "curb", "skylight", "wall", "expansion joint")},
		{Name: "panel", Label: "Panel", Type: PanelName},
		{Name: "x", Label: "East of the roof's south-west corner", Type: Length, Unit: "ft"},
		{Name: "y", Label: "North of it", Type: Length, Unit: "ft"},
		{Name: "wide", Label: "Size to the east", Type: Length, Unit: "ft", Help: "Of a curb. A pipe or drain has none."},
		{Name: "deep", Label: "Size to the north", Type: Length, Unit: "ft"},
		{Name: "gone", Label: "No longer there", Type: Tick},
	}
}

func penetrationCheck(d *Day, b Body) []Problem {
	if b.(*Penetration).Name == "" {
		return []Problem{{Field: "name", Says: "Give it the name the crew calls it by.", Refuses: true}}
	}
	return nil
}

var approvedScript = []string{"approved stone {stone}; also called {alias}; size {size}; shape {shape}; washed {washed}; zone {zone}; at {psf} psf; gone {gone}"}

func approvedFields(d *Day) []Field {
	return []Field{
		{Name: "stone", Label: "Name on tickets", Type: Text, Required: true},
		{Name: "alias", Label: "Also called", Type: Text},
		{Name: "size", Label: "Size number", Type: Text, Help: "Of ASTM D448, as in 4."},
		{Name: "shape", Label: "Shape", Type: Choice, Options: options("rounded", "crushed", "paver", "interlocking")},
		{Name: "washed", Label: "Washed", Type: Tick, Default: true},
		{Name: "zone", Label: "Zone", Type: Choice, Options: append([]Option{{"", "Everywhere"}}, options("field", "perimeter", "corner")...)},
		{Name: "psf", Label: "Rate", Type: Number, Unit: "psf", Max: 100},
		{Name: "gone", Label: "No longer approved", Type: Tick},
	}
}

func approvedCheck(d *Day, b Body) []Problem {
	if b.(*ApprovedStone).Stone == "" {
		return []Problem{{Field: "stone", Says: "Which stone?", Refuses: true}}
	}
	return nil
}
