package script

import (
	"errors"
	"fmt"
	"strings"
	"sync"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// The lines of a roof plan. All of those before the days make one plan, and
// all of those of a later day the plan that holds from then on.
var planSentences = sync.OnceValues(func() (map[string]*sentence, error) {
	edge := "; parapet/parapets {kind=parapet}; wall/walls {kind=wall}; open {kind=open}; turn-up {turn:length}"
	all := map[string]*sentence{}
	for name, pattern := range map[string]string{
		"rectangle": "roof {ns:length} north-south by {ew:length} east-west" + edge,
		"outline":   "roof outline {around:sides}" + edge,
		"side":      "side {n:whole number} [named {name:text}]" + edge,
		"row":       "row of panels {sheets:sheets}; {long:length} long; lap/laps {lap:length}; toward {toward:word}; from {x:signed} east and {y:signed} north",
		"placed":    "{name:panel} of {width:length} by {long:length}; from {x:signed} east and {y:signed} north; along east {turn=east}",
	} {
		s, err := compile(nil, pattern, nil)
		if err != nil {
			return nil, err
		}
		all[name] = s
	}
	return all, nil
})

func (p *parser) planLine(r *reader) error {
	all, err := planSentences()
	if err != nil {
		return err
	}
	start := r.at
	for name, s := range all {
		if (r.words[0].text == "placed") != (name == "placed") || !strings.HasPrefix(name, r.words[0].text) && r.words[0].text != "roof" {
			continue
		}
		r.at, r.names = start, nil
		v, ok := r.read(s, nil)
		if !ok {
			continue
		}
		if p.plan == nil {
			p.plan = &planned{day: p.day}
			known, _ := daylog.FindKind("plan")
			p.s.lines = append(p.s.lines, &line{no: p.no, text: "roof plan", day: p.day, device: Office, author: p.manager, kind: "plan", known: known, plan: p.plan})
		}
		return p.plan.add(name, v)
	}
	return r.err()
}

func (pl *planned) add(name string, v values) error {
	plan := &pl.plan
	length := func(name string) roofplan.Length {
		n, _ := v[name].(float64)
		return roofplan.Length(n)
	}
	kind, _ := v["kind"].(string)
	edge := roofplan.Edge{Kind: roofplan.EdgeKind(kind), TurnUp: length("turn")}
	switch name {
	case "rectangle", "outline":
		if len(plan.Outline) > 0 {
			return errors.New("the roof has an outline already")
		}
		pl.turnUp = edge.TurnUp
		if name == "rectangle" {
			x, y := length("ew"), length("ns")
			plan.Outline = []roofplan.Point{{}, {X: x}, {X: x, Y: y}, {Y: y}}
		} else {
			plan.Outline = v["around"].([]roofplan.Point)
		}
		for range plan.Outline {
			plan.Edges = append(plan.Edges, edge)
		}
	case "side":
		n := int(v["n"].(float64))
		if n < 1 || n > len(plan.Edges) {
			return fmt.Errorf("the roof has %d sides, counted from the south-west corner eastward", len(plan.Edges))
		}
		e := &plan.Edges[n-1]
		if said, ok := v["name"].(string); ok {
			e.Name = said
		}
		if edge.Kind != "" {
			e.Kind = edge.Kind
		}
		if _, ok := v["turn"]; ok {
			e.TurnUp = edge.TurnUp
		}
	case "row":
		row := roofplan.Row{Length: length("long"), Lap: length("lap"), Sheets: v["sheets"].([]roofplan.Sheet), Corner: pl.corner(v)}
		toward, _ := v["toward"].(string)
		row.Toward = roofplan.Direction(toward)
		if row.Length == 0 {
			return errors.New("how long are the panels? Add: 100 ft long")
		}
		plan.Rows = append(plan.Rows, row)
	case "placed":
		placed := roofplan.Placed{Name: v["name"].(string), Width: length("width"), Length: length("long"), Corner: pl.corner(v)}
		if v["turn"] != nil {
			placed.Turn = 90
		}
		plan.Panels = append(plan.Panels, placed)
	}
	return nil
}

// corner is where a row or panel begins: as said, else on the turn-ups of the
// south-west corner.
func (pl *planned) corner(v values) roofplan.Point {
	x, ok := v["x"].(float64)
	if !ok {
		return roofplan.Point{X: -pl.turnUp, Y: -pl.turnUp}
	}
	return roofplan.Point{X: roofplan.Length(x), Y: roofplan.Length(v["y"].(float64))}
}

// readSides walks around a roof: east 100 ft, north 50 ft, west 40 ft, ...
// The last side may be left out.
func readSides(r *reader, _ daylog.Field, _ []string) (any, bool) {
	corners := []roofplan.Point{{}}
	ok := r.items(func() bool {
		way, ok := r.next("east, north, west or south")
		if !ok {
			return false
		}
		far, ok := r.length(daylog.Field{})
		if !ok {
			return false
		}
		at, by := corners[len(corners)-1], roofplan.Length(far.(float64))
		switch roofplan.Direction(way) {
		case roofplan.East:
			at.X += by
		case roofplan.North:
			at.Y += by
		case roofplan.West:
			at.X -= by
		case roofplan.South:
			at.Y -= by
		default:
			r.wrong(fmt.Errorf("%s is not east, north, west or south", shown(way)))
			return false
		}
		corners = append(corners, at)
		return len(corners) < 1000
	})
	if last := len(corners) - 1; corners[last] == corners[0] && last > 0 {
		corners = corners[:last]
	}
	return corners, ok
}

// readSheets reads the panels of a row: 1 to 10 of 20 ft and 11 of 2 ft 11 in.
func readSheets(r *reader, _ daylog.Field, _ []string) (any, bool) {
	var out []roofplan.Sheet
	sized := 0 // of out
	ok := r.items(func() bool {
		name, ok := r.panel()
		if !ok {
			return false
		}
		names, ok := r.upTo(name.(string))
		if !ok {
			return false
		}
		for _, name := range names {
			out = append(out, roofplan.Sheet{Name: name})
		}
		if !r.take("of") {
			r.await(shown("of"))
			return r.parting() > 0
		}
		width, ok := r.length(daylog.Field{})
		if !ok {
			return false
		}
		for ; sized < len(out); sized++ {
			out[sized].Width = roofplan.Length(width.(float64))
		}
		return true
	})
	return out, ok && sized == len(out)
}
