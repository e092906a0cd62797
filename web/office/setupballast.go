package office

import (
	"cmp"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"

	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/internal/roofplan"
	"duskline/web"
)

// A preset is what one of the published systems asks for.
type preset struct {
	value, label, note string
	zones              daylog.BallastZones
	stones             []daylog.ApprovedStone
}

func stone(name, zone string, psf float64) daylog.ApprovedStone {
	return daylog.ApprovedStone{Stone: name + " stone", Size: name, Shape: "rounded", Washed: true, Zone: zone, Rate: psf}
}

func paver(zone string, psf float64) daylog.ApprovedStone {
	return daylog.ApprovedStone{Stone: "Pavers", Shape: "paver", Zone: zone, Rate: psf}
}

// presets are the systems of ANSI/SPRI RP-4: published, from memory.
var presets = []preset{
	{"1 stone", "System 1, stone", "No. 4 at 10 psf everywhere", daylog.BallastZones{System: "1"}, []daylog.ApprovedStone{stone("No. 4", "", 10)}},
	{"1 pavers", "System 1, pavers", "18 psf everywhere", daylog.BallastZones{System: "1"}, []daylog.ApprovedStone{paver("", 18)}},
	{"1 interlocking", "System 1, interlocking pavers", "10 psf everywhere", daylog.BallastZones{System: "1"},
		[]daylog.ApprovedStone{{Stone: "Interlocking pavers", Shape: "interlocking", Rate: 10}}},
	{"2 stone", "System 2, stone", "field No. 4 at 10 psf; perimeter and corners No. 2 at 13 psf", daylog.BallastZones{System: "2"},
		[]daylog.ApprovedStone{stone("No. 4", "field", 10), stone("No. 2", "perimeter", 13), stone("No. 2", "corner", 13)}},
	{"2 pavers", "System 2, stone and pavers", "field No. 4 at 10 psf; perimeter and corners pavers at 22 psf", daylog.BallastZones{System: "2"},
		[]daylog.ApprovedStone{stone("No. 4", "field", 10), paver("perimeter", 22), paver("corner", 22)}},
	{"3", "System 3", "field No. 2 at 13 psf; no loose stone in perimeter and corners, whose rate the engineer gives", daylog.BallastZones{System: "3", NoLoose: true},
		[]daylog.ApprovedStone{stone("No. 2", "field", 13)}},
}

// presetSource is on whose word the presets are, and how far it was seen.
var presetSource = checks.Source{Where: "ANSI/SPRI RP-4", Status: checks.FromMemory}

const engineer = "This tool designs no wind resistance: rates and zones are the licensed engineer of record's."

// ballastSays is what is against a rule in zones and slope, and what is to be
// known beside it.
func ballastSays(s *daylog.Setup) (against, notes []string) {
	for _, f := range checks.PlannedFindings(s) {
		words := f.Says + ". " + f.Check.Settle + " (" + f.Limit + ", " + f.Source.String() + ")"
		if f.Check.Severity == checks.Notice {
			notes = append(notes, words)
		} else {
			against = append(against, words)
		}
	}
	if doubt := s.Zones.Doubt(); doubt != "" {
		notes = append(notes, "System "+s.Zones.System+": "+doubt+". Say under Ballast zones what they were checked against.")
	}
	return against, notes
}

// zonesDrawn is what the zones come to: what is against a rule, and on a
// rectangular roof how large they are.
func (v *setupVisit) zonesDrawn(z daylog.BallastZones, wrong map[string]string) Drawn {
	var drawn Drawn
	for _, name := range slices.Sorted(maps.Keys(wrong)) {
		drawn.Says = append(drawn.Says, wrong[name])
	}
	setup := *v.day.Setup
	setup.Zones = z
	against, notes := ballastSays(&setup)
	drawn.Says, drawn.Notes = append(drawn.Says, against...), notes
	if outline := setup.Plan.Outline; len(outline) == 4 && z.Height > 0 {
		areas := roofplan.Zones(roofplan.Rect{Min: outline[0], Max: outline[2]}, z.Height)
		drawn.Facts = []web.Fact{
			{Term: "By rule, width", Value: areas.Width.String() + " (40 % of the height, not under 8 ft 6 in; " + presetSource.String() + ")"},
			{Term: "Then corners", Value: squareFeet(areas.Corner)},
			{Term: "Perimeter", Value: squareFeet(areas.Perimeter)},
			{Term: "Field", Value: squareFeet(areas.Field)},
		}
	}
	for _, zone := range []string{"", "field", "perimeter", "corner"} {
		if psf, ok := setup.Required()[zone]; ok {
			drawn.Facts = append(drawn.Facts, web.Fact{Term: "Rate, " + cmp.Or(zone, "everywhere"), Value: plain(psf) + " psf"})
		}
	}
	return drawn
}

func (v *setupVisit) showZones(status int, form web.Form, z daylog.BallastZones) error {
	form.Heading.Lead = engineer
	form.Preview = web.Hidden{Name: "draw", Value: "Reckon it"}
	wrong := map[string]string{} // said in the form
	return v.show(status, PlannerPage(PlannerView{Frame: v.frame(form.Heading.Title), Form: form, Drawn: v.zonesDrawn(z, wrong),
		More: []web.Action{{Label: "Take the rates of a published system", URL: v.url("/ballast")}, {Label: "Approve a stone or paver", URL: v.url("/approved")}}}))
}

func (v *setupVisit) ballastForm(wrong map[string]string) (web.Form, error) {
	typed := typedOnly(v.r)
	form := web.Form{
		Heading: web.Heading{Title: "Rates of a published system", Lead: "From memory: verify them against the standard before anything is laid. " + engineer},
		URL:     v.url("/ballast"),
		Facts:   []web.Fact{{Term: "Source", Value: presetSource.String()}},
		Submit:  "Take these rates",
		Cancel:  web.Action{Label: "Back to Set-up", URL: v.url("")},
	}
	system := web.Field{Name: "system", Kind: web.FieldChoice, Label: "System", Error: wrong["system"], Help: "They stand instead of what is approved now, and are marked until somebody has checked them."}
	for _, p := range presets {
		system.Options = append(system.Options, web.Option{Value: p.value, Label: p.label, Note: p.note, Chosen: typed.Get("system") == p.value})
	}
	height := web.Field{Name: "height", Kind: web.FieldLength, Label: "Height of the building", Unit: "ft", Value: typed.Get("height"), Error: wrong["height"], Help: "The zones become 40 % of it wide, not under 8 ft 6 in."}
	if z := v.day.Setup.Zones; typed == nil && z.Height > 0 {
		height.Value = strings.TrimSuffix(z.Height.String(), " ft")
	}
	return form, v.close(&form, nil, []web.Field{system, height}, wrong)
}

// askBallast is GET /job/{job}/setup/ballast.
func (p *pages) askBallast(v *setupVisit) error {
	form, err := v.ballastForm(nil)
	if err != nil {
		return err
	}
	return v.showForm(http.StatusOK, form)
}

// saveBallast is POST /job/{job}/setup/ballast: it writes the zones and the
// stones of a system, and takes back what was approved before.
func (p *pages) saveBallast(v *setupVisit) error {
	e, wrong := v.entry(nil)
	typed := v.r.PostForm
	i := slices.IndexFunc(presets, func(p preset) bool { return p.value == typed.Get("system") })
	if i < 0 {
		wrong["system"] = "Choose one of these."
	}
	height, err := roofplan.ParseLength(typed.Get("height"), roofplan.Foot)
	if err != nil || height == 0 {
		wrong["height"] = "Say how high the building is, as in 30 ft."
	}
	if len(wrong) > 0 {
		form, err := v.ballastForm(wrong)
		if err != nil {
			return err
		}
		return v.showForm(http.StatusUnprocessableEntity, form)
	}
	zones := presets[i].zones
	zones.Height, zones.Slope = height, v.day.Setup.Zones.Slope
	zones.Width = roofplan.Zones(roofplan.Rect{}, height).Width
	e.Body = &zones
	var more []daylog.Entry
	add := func(s daylog.ApprovedStone) {
		one := e
		one.ID, one.Body, one.Why = daylog.FormID(e.ID, len(more)+1), &s, fmt.Sprintf("System %s, %s", zones.System, presetSource)
		more = append(more, one)
	}
	for _, s := range v.day.Setup.Stones {
		if !slices.ContainsFunc(presets[i].stones, func(n daylog.ApprovedStone) bool { return n.Stone == s.Stone && n.Zone == s.Zone }) {
			s.Gone = true
			add(s)
		}
	}
	for _, s := range presets[i].stones {
		add(s)
	}
	return v.keep(e, v.url("/zones"), more...)
}
