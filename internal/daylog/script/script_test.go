package script

import (
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

var (
	workedDays = []string{"day1.day", "day2.day", "day3.day", "no-mat.day", "pavers.day", "re-entrant.day", "reinforced.day", "two-tablets.day"}
	modes      = []Mode{Live, Batches, AllAtOnce}
)

func mustParse(t testing.TB, name, text string) *Script {
	t.Helper()
	s, err := Parse(name, text)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// read parses a script of testdata.
func read(t testing.TB, name string) *Script {
	t.Helper()
	text, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return mustParse(t, name, string(text))
}

const hall = `job "Invented hall" in America/Chicago, leaving 16:30, pack-up 20 min, invented
person ada "Ada Invented", foreman
person bo "Bo Invented", crew
roof 97 ft north-south by 195 ft 9 in east-west, parapets, turn-up 18 in
row of panels 1 to 4 of 50 ft, 100 ft long, laps 5 in
standing panels 1 and 2, strip of 4 ft on 2, weighted

day 2026-06-10, Wednesday
07:00 start
`

func inHall(t testing.TB, lines ...string) *Script {
	t.Helper()
	return mustParse(t, "hall", hall+strings.Join(lines, "\n"))
}

func tell(t testing.TB, s *Script, mode Mode) *Log {
	t.Helper()
	g, err := s.Log(mode)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func (g *Log) fold(job string) *daylog.Job {
	entries := make([]daylog.Entry, len(g.Entries))
	for i, w := range g.Entries {
		entries[i] = w.Entry
	}
	return daylog.Fold(job, entries)
}

// at gives the entry of a line, by its first words.
func (g *Log) at(t testing.TB, text string) Written {
	t.Helper()
	for _, w := range g.Entries {
		if strings.HasPrefix(w.Text, text) {
			return w
		}
	}
	t.Fatalf("no line begins with %q", text)
	return Written{}
}

func clockIn(s *Script, at time.Time) string { return at.In(s.Zone()).Format("15:04") }

// TestDay1 holds the folded roof against the figures of the worked day.
func TestDay1(t *testing.T) {
	s := read(t, "day1.day")
	d := tell(t, s, Live).fold(s.Job).On("2026-03-04")
	covers, splices := 0, 0
	for _, spot := range d.Roof.Spots {
		if spot.Rolled.IsZero() || spot.Treated.IsZero() {
			t.Errorf("%s: rolled %v, treated %v", spot.Key(), spot.Rolled, spot.Treated)
		}
		if spot.What == daylog.Splice {
			splices++
		} else {
			covers++
		}
	}
	if covers != 6 || splices != 4 {
		t.Errorf("%d covers and %d splices, want 6 and 4", covers, splices)
	}
	var stone float64
	for _, p := range d.Roof.Panels {
		for _, part := range p.Stone {
			stone += part.Area
		}
		if p.Strip != nil && p.Strip.Filled {
			stone += d.Roof.Layout().Strip(p.Name, p.Strip.Width)
		}
		if bare := d.Roof.Bare(p); bare != 0 {
			t.Errorf("panel %s is bare on %v sq ft", p.Name, bare)
		}
	}
	if got := fmt.Sprintf("%.1f", stone); got != "3799.2" {
		t.Errorf("stone on %s sq ft, want 3799.2", got)
	}
	for _, name := range []string{"4|5", "5|6"} {
		if got := d.Roof.Seam(name).Closed(); !reflect.DeepEqual(got, []daylog.Part{{To: roofplan.Feet(100)}}) {
			t.Errorf("run %s closed on %v", name, got)
		}
	}
	if got := clockIn(s, d.ToolsDown()); got != "16:55" {
		t.Errorf("tools down %s, want 16:55", got)
	}
}

func TestDay2(t *testing.T) {
	s := read(t, "day2.day")
	d := tell(t, s, Live).fold(s.Job).On("2026-04-22")
	for who, want := range map[string]string{"bo": "16:30", "fay": "18:45", "ada": "18:45"} {
		if got := clockIn(s, d.Leaves[who]); got != want {
			t.Errorf("%s leaves at %s, want %s", who, got, want)
		}
	}
	if got := clockIn(s, d.ToolsDown()); got != "18:25" {
		t.Errorf("tools down %s, want 18:25", got)
	}
	seam := d.Roof.Seam("1|2")
	if got := seam.Closed(); !reflect.DeepEqual(got, []daylog.Part{{To: roofplan.Feet(100)}}) {
		t.Errorf("run 1|2 closed on %v", got)
	}
	struck := 0
	for _, l := range d.Lines {
		if l.Struck != nil {
			struck++
			if clockIn(s, l.At) != "12:15" || l.Struck.Why != "waited" {
				t.Errorf("struck: %s at %s, %s", l.Kind, clockIn(s, l.At), l.Struck.Why)
			}
		}
	}
	if struck != 1 {
		t.Errorf("%d lines are struck, want 1", struck)
	}
}

func TestDay3(t *testing.T) {
	s := read(t, "day3.day")
	job := tell(t, s, Live).fold(s.Job)
	cover := daylog.Place{On: "2|3", At: roofplan.Feet(41)}
	if spot, ok, _ := job.On("2026-10-06").Roof.Spot(cover); !ok || spot.Rolled.IsZero() || !spot.Treated.IsZero() {
		t.Errorf("in the evening the cover at 41 ft is %+v", spot)
	}
	if spot, ok, _ := job.On("2026-10-07").Roof.Spot(cover); !ok || clockIn(s, spot.Treated.At) != "07:35" {
		t.Errorf("in the morning the cover at 41 ft is %+v", spot)
	}
	if open := job.On("2026-10-07").Roof.Seam("2|3").Open(daylog.Part{To: roofplan.Feet(100)}); len(open) != 0 {
		t.Errorf("run 2|3 is open on %v", open)
	}
}

// TestWorkedDaysHoldTogether: on the worked days nothing is left bare,
// unsecured, open or unaccounted for.
func TestWorkedDaysHoldTogether(t *testing.T) {
	for _, name := range workedDays {
		s := read(t, name)
		d := tell(t, s, Live).fold(s.Job).On(s.Dates()[0])
		laid := 0
		for _, p := range d.Roof.Panels {
			if bare := d.Roof.Bare(p); bare != 0 {
				t.Errorf("%s: panel %s is bare on %v sq ft", name, p.Name, bare)
			}
			if p.Day != d.Date {
				continue
			}
			laid++
			placed, _ := d.Roof.Layout().Panel(p.Name)
			for _, b := range placed.Borders {
				if d.Roof.Edge(b.Name).Secured != d.Date {
					t.Errorf("%s: edge %s is not secured", name, b.Name)
				}
			}
			if p.Swept != d.Date || p.Tops != d.Date {
				t.Errorf("%s: panel %s: swept %q, turn-ups sealed %q", name, p.Name, p.Swept, p.Tops)
			}
		}
		if laid == 0 || d.Roof.Seal == nil || d.Roof.Seal.Day != d.Date || !d.Roof.Seal.Way {
			t.Errorf("%s: %d panels laid, night seal %+v", name, laid, d.Roof.Seal)
		}
		if open := d.Uncovered(); open > 10 {
			t.Errorf("%s: %v sq ft of insulation open", name, open)
		}
		for _, x := range d.Roof.Details {
			if x.Flashed == "" {
				t.Errorf("%s: %s is left open", name, x.Name)
			}
		}
		left := d.Roof.Stones.Delivered - d.Roof.Stones.Spread
		for _, p := range d.Roof.Piles {
			left -= p.Pounds
		}
		if d.Roof.Stones.Delivered > 0 && left != 0 || d.Roof.Stones.Spread == 0 || d.Roof.Stones.Unnamed > 0 {
			t.Errorf("%s: stone %+v, piles %+v: %d lb unaccounted for", name, d.Roof.Stones, d.Roof.Piles, left)
		}
		if len(d.Fall) == 0 || len(d.Drains) == 0 || len(d.Roof.Lots) < 4 || len(d.Roof.Back) == 0 || d.Roof.Lane == nil {
			t.Errorf("%s: %d fall, %d drains, %d lots, %d held back, lane %v", name, len(d.Fall), len(d.Drains), len(d.Roof.Lots), len(d.Roof.Back), d.Roof.Lane)
		}
	}
}

// came is where and how much, without when.
func came(d *daylog.Day) string {
	type seam struct {
		Name                        string
		Closed, Held, Temp, Checked []daylog.Part
		Laps                        []daylog.Lap
	}
	type spot struct {
		daylog.Place
		Rolled, Treated, Back bool
	}
	var out struct {
		Panels []daylog.Panel
		Seams  []seam
		Spots  []spot
		Lost   []daylog.Place
		Leaves map[string]time.Time
		Asides int
	}
	out.Leaves, out.Lost, out.Asides = d.Leaves, d.Roof.Lost, len(d.Asides)
	for _, p := range d.Roof.Panels {
		p.Position, p.Flat = daylog.When{}, daylog.When{}
		out.Panels = append(out.Panels, p)
	}
	for _, s := range d.Roof.Seams {
		out.Seams = append(out.Seams, seam{s.Name, s.Closed(), s.Held, s.Temp, s.Checked, s.Laps})
	}
	for _, s := range d.Roof.Spots {
		out.Spots = append(out.Spots, spot{s.Place, !s.Rolled.IsZero(), !s.Treated.IsZero(), s.HeldBack})
	}
	b, err := json.Marshal(out)
	if err != nil {
		panic(err)
	}
	return string(b)
}

// TestModesComeToTheSame: however a day is written, the same things are at the
// same places, by the same ids.
func TestModesComeToTheSame(t *testing.T) {
	for _, name := range workedDays {
		s := read(t, name)
		all := []*Script{s}
		for _, v := range s.Variants() {
			changed, err := s.Variant(v)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, changed)
		}
		for _, s := range all {
			var ids map[string]string
			var roofs []string
			for _, mode := range modes {
				g := tell(t, s, mode)
				byID := map[string]string{}
				for _, w := range g.Entries {
					body := w.Body
					if _, sign := body.(*daylog.Sign); sign {
						body = nil // the vector holds heads
					}
					raw, _ := json.Marshal(body)
					byID[w.ID] = fmt.Sprint(w.Kind, w.Day, w.At, w.To, w.Of, w.By, string(raw))
				}
				var roof []string
				for _, date := range s.Dates() {
					roof = append(roof, came(g.fold(s.Job).On(date)))
				}
				if ids == nil {
					ids, roofs = byID, roof
					continue
				}
				if !maps.Equal(byID, ids) {
					t.Errorf("%s %s: other entries than live", s.Name, mode)
				}
				if !slices.Equal(roof, roofs) {
					t.Errorf("%s %s: another roof\n got %s\nwant %s", s.Name, mode, roof, roofs)
				}
			}
		}
	}
}

func TestWhenItIsWritten(t *testing.T) {
	s := inHall(t,
		"07:30 panel 3 in position, edges weighted",
		"08:10 priming 2|3 0 to 50 ft",
		"09:20-09:45 covers rolled on 2|3 south",
		"about 10:00 note a picked time",
		"10:10 note a wide one, within 30 min",
		"10:20 note typed later, written 10:40",
		"10:25 note typed later but known, written 10:40, to the minute",
		"11:00 note late already, written 13:00",
		"16:00 note after quitting time",
	)
	type want struct {
		made  string
		about int
	}
	for mode, lines := range map[Mode]map[string]want{
		Live: {
			"07:30":       {"07:30", 0},
			"09:20":       {"09:45", 0},
			"about 10:00": {"10:00", 15},
			"10:10":       {"10:10", 30},
			"10:20":       {"10:40", 15},
			"10:25":       {"10:40", 0},
			"11:00":       {"13:00", 15},
			"16:00":       {"16:00", 0},
		},
		Batches: {
			"07:30":       {"09:30", 15},
			"08:10":       {"09:30", 15},
			"09:20":       {"12:30", 15},
			"about 10:00": {"12:30", 15},
			"10:10":       {"12:30", 30},
			"10:25":       {"12:30", 15},
			"11:00":       {"15:50", 15},
			"16:00":       {"16:00", 0},
		},
		AllAtOnce: {
			"07:30":       {"15:50", 15},
			"09:20":       {"15:50", 15},
			"about 10:00": {"15:50", 15},
			"16:00":       {"16:00", 0},
		},
	} {
		g := tell(t, s, mode)
		for text, want := range lines {
			w := g.at(t, text)
			if got := clockIn(s, w.Made); got != want.made || w.About != want.about {
				t.Errorf("%s: %q written %s about %d, want %s about %d", mode, w.Text, got, w.About, want.made, want.about)
			}
		}
		if w := g.at(t, "standing"); clockIn(s, w.Made) != "05:00" || w.About != 0 || w.Device != Office {
			t.Errorf("%s: set-up written %s on %s", mode, clockIn(s, w.Made), w.Device)
		}
	}
	other := mustParse(t, "other batches", "batches at 10:00 and 13:00\n"+hall+"09:40 note x\n12:40 note y")
	g := tell(t, other, Batches)
	if a, b := clockIn(s, g.at(t, "09:40").Made), clockIn(s, g.at(t, "12:40").Made); a != "10:00" || b != "13:00" {
		t.Errorf("written at %s and %s, want 10:00 and 13:00", a, b)
	}
}

// TestLikeALog: numbers without gaps, chained, ticks above what was held.
func TestLikeALog(t *testing.T) {
	s := inHall(t,
		"07:30 panel 3 in position",
		"07:40 note on b, on tablet b",
		"08:00 a and b hear each other",
		"08:10 note on a",
		"08:20 note on b again, on tablet b",
		"08:30 b and office hear each other",
		"09:00 signed",
	)
	for _, mode := range modes {
		g := tell(t, s, mode)
		var raws [][]byte
		for _, w := range g.Entries {
			raws = append(raws, w.Raw())
		}
		threads, err := daylog.Thread(s.Job, raws)
		if err != nil || len(threads.Waiting) > 0 || len(threads.Branches) != 3 {
			t.Errorf("%s: %d wait, %d branches, %v", mode, len(threads.Waiting), len(threads.Branches), err)
		}
	}
	g := tell(t, s, Live)
	if a, b := g.at(t, "08:10").Tick, g.at(t, "07:40").Tick; a <= b {
		t.Errorf("tick %d was written knowing of %d", a, b)
	}
	if a, b := g.at(t, "08:20").Tick, g.at(t, "08:10").Tick; a > b+1 {
		t.Errorf("tick %d was written without knowing of %d", a, b)
	}
	held := func(device, at string) string {
		var words []string
		for _, e := range g.Held(device, instant(t, s, at)) {
			if n, ok := e.Body.(*daylog.Note); ok {
				words = append(words, n.Text)
			}
		}
		return strings.Join(words, "; ")
	}
	for _, c := range []struct{ device, at, want string }{
		{"a", "07:59", ""},
		{"a", "08:00", "on b"},
		{"b", "07:40", "on b"},
		{"a", "08:40", "on b; on a"},
		{"office", "08:29", ""},
		{"office", "08:30", "on b; on b again"},
	} {
		if got := held(c.device, c.at); got != c.want {
			t.Errorf("at %s %s holds %q, want %q", c.at, c.device, got, c.want)
		}
	}
	if got := len(g.Held("b", time.Time{})); got != 5 {
		t.Errorf("at first b holds %d entries, want the set-up of 5", got)
	}
	signed := g.at(t, "09:00").Body.(*daylog.Sign).Vector
	if len(signed) != 3 || signed["b"].Seq != 1 || signed["a"].Seq != 3 {
		t.Errorf("the signature covers %v", signed)
	}
	for _, l := range g.fold(s.Job).On("2026-06-10").Lines {
		if want := l.Body != nil && strings.Contains(daylog.KindOf(l.Body).Say(nil, l.Body), "again"); l.After != want {
			t.Errorf("%s %s after signing: %v", l.Kind, l.ID, l.After)
		}
	}
}

func instant(t testing.TB, s *Script, at string) time.Time {
	t.Helper()
	c, ok := parseClock(at)
	if !ok {
		t.Fatal(at)
	}
	when, err := s.instant(0, c)
	if err != nil {
		t.Fatal(err)
	}
	return when
}

func TestFormsStrikesAndCorrections(t *testing.T) {
	s := inHall(t,
		"08:10 priming 2|3",
		"09:00 run 2|3 closed",
		"  08:22 finger test 2|3 passes",
		"  08:30 tape laid 2|3, to the minute",
		"09:10 correct 08:10 priming to read 08:05 priming 2|3 0 to 60 ft, because slip",
		"09:12 correct 08:05 priming to read 08:05 priming 2|3 0 to 80 ft, because again",
		"09:15 strike 09:00 run, because not yet",
		"next day",
		"07:00 start",
		"07:10 strike 2026-06-10 08:30 tape, because yesterday",
	)
	g := tell(t, s, Live)
	priming, run, test, tape := g.at(t, "08:10"), g.at(t, "09:00"), g.at(t, "08:22"), g.at(t, "08:30")
	if test.Form() != run.ID || tape.ID != daylog.FormID(run.ID, 2) || clockIn(s, test.Made) != "09:00" {
		t.Errorf("one form: %s, %s, %s, written %s", run.ID, test.ID, tape.ID, clockIn(s, test.Made))
	}
	if test.About != 15 || tape.About != 0 {
		t.Errorf("written with the run: about %d and %d, want 15 and 0", test.About, tape.About)
	}
	first, second, strike := g.at(t, "09:10"), g.at(t, "09:12"), g.at(t, "09:15")
	if first.Of != priming.ID || first.Why != "slip" || clockIn(s, first.At) != "08:05" || clockIn(s, first.Made) != "09:10" || first.About != 15 {
		t.Errorf("correction: %+v", first.Entry)
	}
	if second.Of != first.ID || second.About != 15 {
		t.Errorf("correction of the correction: of %s about %d", second.Of, second.About)
	}
	if strike.Of != run.ID || strike.Kind != "strike" || strike.Why != "not yet" {
		t.Errorf("strike: %+v", strike.Entry)
	}
	if late := g.at(t, "07:10"); late.Of != tape.ID || late.Day != "2026-06-10" {
		t.Errorf("next day's strike: of %s, day %s", late.Of, late.Day)
	}
	d := g.fold(s.Job).On("2026-06-10")
	if runs := d.Roof.Seam("2|3").Runs; len(runs) == 0 || runs[0].To != roofplan.Feet(80) {
		t.Errorf("stretches: %+v", runs)
	}
}

func TestWhatIsLeftOut(t *testing.T) {
	s := inHall(t, "08:10 priming 2|3", "08:20 start, leaving 17:00", "10:00 leading strip on panel 3", "16:00 signed")
	g := tell(t, s, Live)
	if got := g.at(t, "08:10").Body.(*daylog.Priming).OnSeam; got != (daylog.OnSeam{Seam: "2|3", Part: daylog.Part{To: roofplan.Feet(100)}}) {
		t.Errorf("a seam alone is %v", got)
	}
	for line, want := range map[string]string{"07:00": "16:30", "08:20": "17:00"} {
		if got := clockIn(s, g.at(t, line).Body.(*daylog.Start).Leaving); got != want {
			t.Errorf("%s start: leaving %s, want %s", line, got, want)
		}
	}
	if got := g.at(t, "10:00").Body.(*daylog.LeadingStrip).Width; got != roofplan.Feet(4) {
		t.Errorf("strip is %v wide", got)
	}
	if got := g.at(t, "16:00").Body.(*daylog.Sign).Statement; got == "" {
		t.Error("signed without the form's statement")
	}
}

func TestPlaces(t *testing.T) {
	for text, want := range map[string]string{
		"2|3 at 41 ft":                                 "2|3 41 ft",
		"2|3 south, north and at 41 ft":                "2|3@south, 2|3@north, 2|3 41 ft",
		"1|2 south, 2|3 at 1 ft 6 in":                  "1|2@south, 2|3 1 ft 6 in",
		"cover 2|3 south, splices 2|3 south and north": "2|3@south, 2|3@south splice, 2|3@north splice",
		"splice 2|3 south and cover 2|3 north":         "2|3@south splice, 2|3@north",
		"2|3@south and vertical splice 1|2@north":      "2|3@south, 1|2@north splice",
		"2|3 south, by ada and bo":                     "2|3@south",
	} {
		s := inHall(t, "09:00 treated "+text)
		var got []string
		for _, p := range tell(t, s, Live).at(t, "09:00").Body.(*daylog.EdgesTreated).Places {
			got = append(got, p.Key())
			if p.X == 0 && p.Y == 0 {
				t.Errorf("%s is nowhere on the plan", p.Key())
			}
		}
		if strings.Join(got, ", ") != want {
			t.Errorf("%s = %s, want %s", text, got, want)
		}
	}
}

func TestPlanLines(t *testing.T) {
	s := mustParse(t, "plan", `job "Invented hall" in UTC
roof outline east 100 ft, north 60 ft, west 40 ft, north 37 ft, west 60 ft, parapets, turn-up 12 in
side 3 named "high wall", wall, turn-up 24 in
row of panels 1 to 4 of 20 ft and 5 of 22 ft, 62 ft long, laps 5 in
row of panels 6 and 7 of 31 ft, 40 ft long, lap 5 in, toward east, from -12 in east and 60 ft north
placed 8 of 4 ft by 30 ft, from 50 ft east and 2 ft north, along east
day 2026-10-06
07:00 panel 1 in position
next day
roof 10 ft north-south by 20 ft east-west
row of panels 1 and 2 of 10 ft 3 in, 10 ft long, lap 6 in
`)
	job := tell(t, s, Live).fold(s.Job)
	plan := job.On("2026-10-06").Setup.Plan
	ft := roofplan.Feet
	if want := []roofplan.Point{{}, {X: ft(100)}, {X: ft(100), Y: ft(60)}, {X: ft(60), Y: ft(60)}, {X: ft(60), Y: ft(97)}, {Y: ft(97)}}; !reflect.DeepEqual(plan.Outline, want) {
		t.Errorf("outline %v", plan.Outline)
	}
	if e := plan.Edges[2]; e != (roofplan.Edge{Name: "high wall", Kind: roofplan.Wall, TurnUp: 24}) || plan.Edges[0].TurnUp != 12 {
		t.Errorf("edges %v", plan.Edges)
	}
	if r := plan.Rows[0]; len(r.Sheets) != 5 || r.Sheets[4] != (roofplan.Sheet{Name: "5", Width: ft(22)}) || r.Corner != (roofplan.Point{X: -12, Y: -12}) || r.Lap != 5 {
		t.Errorf("first row %+v", r)
	}
	if r := plan.Rows[1]; r.Corner != (roofplan.Point{X: -12, Y: ft(60)}) || r.Toward != roofplan.East {
		t.Errorf("second row %+v", r)
	}
	if p := plan.Panels[0]; p != (roofplan.Placed{Name: "8", Corner: roofplan.Point{X: ft(50), Y: ft(2)}, Width: ft(4), Length: ft(30), Turn: 90}) {
		t.Errorf("placed %+v", p)
	}
	if got := len(job.On("2026-10-07").Setup.Plan.Outline); got != 4 {
		t.Errorf("the next day's plan has %d corners", got)
	}
}

// TestErrors: each names the line and says what was expected.
func TestErrors(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"08:10 primming 2|3", "no line begins with “primming 2|3”"},
		{"08:10 priming 2|3 4.5 up 50", "after “08:10 priming 2|3 4.5” “to” was expected"},
		{"08:10 finger test 2|3", "fails"},
		{"08:10 finger test 2|3 passes well", "the end of the line was expected"},
		{"08:10 priming 2|9", "seam 2|9 is not on the plan"},
		{"08:10 covers rolled on 2|3 west", "place 2|3@west is not on the plan"},
		{"08:10 panel 9 in position", "panel 9 is not on the plan"},
		{"08:10 priming 2|3, by cy", "no person “cy” is on the job"},
		{"08:10", "nothing that happened"},
		{"25:10 note x", "is not a time"},
		{"09:00-08:00 treated 2|3 south", "08:00 is not after 09:00"},
		{"09:00-09:10 panel 3 in position", "said of one moment"},
		{"09:00 note x, written 08:00", "before it happened"},
		{"note without a time", "when was this?"},
		{"strike 07:00 start", "no line begins with"},
		{"  08:10 note x\n07:50 note y\n  08:00 note z", "before it happened"},
		{"15:06 strike 15:05 treated", "no line of the day is"},
		{"09:00 note x\n09:00 note x y\n09:01 strike 09:00 note", "both begin with"},
		{"09:00 note x\n09:01 correct 09:00 note to read 09:00 start", "a correction reads like the line it corrects"},
		{"09:00 note x, on tablet ~", "letters and figures"},
		{"09:00 b and c hear each other", "nothing is written on tablet"},
		{"09:00 other test, result", "a text was expected"},
		{"09:00 other glow as {", "not the JSON"},
		{"09:00 other priming as {\"gloss\": 1}", "cannot say this"},
		{`09:00 note "never closed`, "never closed"},
		{"09:00 note \x07", "no keyboard types"},
		{"limit edge-early.wait_min five", "a number was expected"},
		{"roof 10 ft north-south by 10 ft east-west\nroof 10 ft north-south by 20 ft east-west", "outline already"},
		{"row of panels 8 to 9 of 10 ft, 10 ft long", "the plan of 2026-06-10"},
		{"@09:00 gone edge-early", "never spoke before"},
		{"@09:00 shouts edge-early", "accuses, asks, gone, nothing, set aside or silent was expected"},
		{"@9 nothing", "is not a moment"},
		{"@09:00 silent edge-early, among others", "among others is said of"},
		{"@09:00 tablet z nothing", "nothing is written on tablet"},
		{"day 2026-06-10", "is not after 2026-06-10"},
		{"day 2026-06-11, Friday", "2026-06-11 is a Thursday"},
		{"variant \"x\"\ndrop 09:00 note", "no line of the day is"},
		{"variant \"x\"\n09:00 note", "drop, move, change or add"},
		{"variant \"x\"\nvariant \"x\"", "two variants are called"},
		{"variant \"x\"\nmove 07:00 start to noon", "is not a time"},
	} {
		text := hall + c.text
		_, err := Parse("hall", text)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v; want %q", c.text, err, c.want)
		} else if !strings.HasPrefix(err.Error(), "hall:") {
			t.Errorf("%q: %v names no line", c.text, err)
		}
	}
	for text, want := range map[string]string{
		"":                       "no line says which job",
		"job x in Moon/Crater":   "is not a time zone",
		"job x in UTC":           "has no day",
		"day 2026-06-10":         "say which job",
		"job x in UTC\n@1 x":     "moments belong to a day",
		"08:00 note x":           "timed lines belong to a day",
		"variant x":              "stands behind the days",
		"job x in UTC\nnext day": "no day comes before",
		"job x in America/Chicago\nday 2026-03-08\n02:30-05:00 treated 1|2 south\n": "is not after",
		"job x in America/Chicago\nday 2026-03-07\n02:30 note x\n":                  "there is no 02:30",
	} {
		if _, err := Parse("x", text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v; want %q", text, err, want)
		}
	}
	if _, err := Parse("x", hall+"08:10 priming 2|9 0 to 50 ft, as written"); err != nil {
		t.Errorf("as written: %v", err)
	}
}

// TestNights: before 04:00 belongs to the night after, and a wait over a
// change of the clocks runs by instants.
func TestNights(t *testing.T) {
	// facts.md, Time: complete 2025-11-02 00:30 EDT, treated from 03:30 EST.
	s := mustParse(t, "night", `job x in America/New_York
day 2025-11-01
18:00 start
23:30-00:30 covers rolled on 1|2 at 40 ft
03:30 treated 1|2 at 40 ft
`)
	g := tell(t, s, Live)
	rolled, treated := g.at(t, "23:30"), g.at(t, "03:30")
	if rolled.Day != "2025-11-01" || !rolled.To.Equal(time.Date(2025, 11, 2, 4, 30, 0, 0, time.UTC)) {
		t.Errorf("rolled until %v on day %s", rolled.To, rolled.Day)
	}
	if wait := treated.At.Sub(rolled.To); wait != 4*time.Hour {
		t.Errorf("the wait is %v, want 4h", wait)
	}
}

func TestVariants(t *testing.T) {
	s := inHall(t,
		"08:10 priming 2|3 0 to 50 ft",
		"08:20 finger test 2|3 0 to 50 ft passes",
		"@all day nothing",
		`variant "all four"`,
		"drop 08:20 finger",
		"move 08:10 priming to 08:05",
		"change 07:00 start to read 07:00 start, leaving 15:00",
		"add 08:30 note rain",
		"add limit edge-early.wait_min 300",
		"@08:30 accuses flash-unproved on 2|3",
		`variant "untouched"`,
	)
	if got := s.Variants(); !slices.Equal(got, []string{"all four", "untouched"}) {
		t.Fatalf("variants %q", got)
	}
	v, err := s.Variant("all four")
	if err != nil {
		t.Fatal(err)
	}
	g := tell(t, v, Live)
	var kinds []string
	for _, w := range g.Entries {
		if w.Device != Office {
			kinds = append(kinds, clockIn(v, w.At)+" "+w.Kind)
		}
	}
	if want := []string{"07:00 start", "08:05 priming", "08:30 note"}; !slices.Equal(kinds, want) {
		t.Errorf("the variant is %q", kinds)
	}
	d := g.fold(v.Job).On("2026-06-10")
	if clockIn(v, d.Leaving()) != "15:00" || d.Setup.Limits["edge-early.wait_min"] != 300 {
		t.Errorf("leaving %s, limits %v", clockIn(v, d.Leaving()), d.Setup.Limits)
	}
	if len(g.Moments) != 1 || g.Moments[0].Expect[0].Says != Accuses {
		t.Errorf("moments %+v", g.Moments)
	}
	if n := len(tell(t, s, Live).Entries); n != 8 {
		t.Errorf("the script itself has %d entries, want 8: a variant changed it", n)
	}
	if _, err := s.Variant("none"); err == nil {
		t.Error("a variant that is not there was found")
	}
}

// TestVariantsKeepWhatHangsTogether: a strike still strikes the line that was
// moved, and a form stays one.
func TestVariantsKeepWhatHangsTogether(t *testing.T) {
	s := inHall(t,
		"08:10 priming 2|3",
		"09:00 run 2|3 closed",
		"  08:22 finger test 2|3 passes",
		"09:10 strike 08:10 priming, because slip",
		"variant \"moved\"",
		"move 08:10 priming to 08:12",
		"move 09:00 run to 09:05",
		"change 08:12 priming to read 08:11 priming 2|3 0 to 30 ft",
	)
	v, err := s.Variant("moved")
	if err != nil {
		t.Fatal(err)
	}
	g := tell(t, v, Live)
	if got, want := g.at(t, "09:10").Of, g.at(t, "08:11").ID; got != want {
		t.Errorf("the strike is of %s, want %s", got, want)
	}
	if run, test := g.at(t, "09:00"), g.at(t, "08:22"); test.Form() != run.ID || !test.Made.Equal(run.Made) || clockIn(v, run.Made) != "09:05" {
		t.Errorf("run %s written %s, test %s written %s", run.ID, clockIn(v, run.Made), test.ID, clockIn(v, test.Made))
	}
}

func TestMoved(t *testing.T) {
	s := read(t, "day3.day")
	m, err := s.Moved("2027-01-30", "Asia/Kolkata")
	if err != nil {
		t.Fatal(err)
	}
	if got := m.Dates(); !slices.Equal(got, []daylog.Date{"2027-01-30", "2027-01-31"}) {
		t.Fatalf("dates %v", got)
	}
	a, b := tell(t, s, Batches), tell(t, m, Batches)
	for i, w := range b.Entries {
		if was := a.Entries[i]; clockIn(m, w.At) != clockIn(s, was.At) && w.Device != Office || w.ID != was.ID || w.Kind != was.Kind {
			t.Errorf("%s at %s was %s at %s", w.ID, clockIn(m, w.At), was.ID, clockIn(s, was.At))
		}
	}
	d := b.fold(m.Job).On("2027-01-30")
	if clockIn(m, d.Leaving()) != "15:30" || d.Setup.Zone != "Asia/Kolkata" {
		t.Errorf("leaving %s in %s", clockIn(m, d.Leaving()), d.Setup.Zone)
	}
	if s.Dates()[0] != "2026-10-06" || tell(t, s, Live).fold(s.Job).On("2026-10-06").Setup.Zone != "America/Chicago" {
		t.Error("moving changed the script itself")
	}
	if _, err := s.Moved("2027-01-30", "Moon/Crater"); err == nil {
		t.Error("moved to a zone that is not there")
	}
}

func TestComplete(t *testing.T) {
	s := inHall(t, "08:10 priming 2|3", "09:00 set aside edge-open on 2|3 at 41 ft, because late", "09:30 note x")
	held := -1
	s.Complete = func(e *daylog.Entry, all func() []daylog.Entry) error {
		if a, ok := e.Body.(*daylog.SetAside); ok {
			if a.Key != "edge-open 2|3 41 ft" || a.Reason != "late" {
				t.Errorf("set aside %+v", a)
			}
			a.Words, held = "said", len(all())
		}
		return nil
	}
	g := tell(t, s, Live)
	if got := g.at(t, "09:00").Body.(*daylog.SetAside).Words; got != "said" || held != 7 {
		t.Errorf("words %q, with %d entries held; want 7", got, held)
	}
}

// A seam that begins in a T-joint does not begin at 0: all of it is from there
// to its end, and its check asks about nothing else.
func TestSeamFromAJoint(t *testing.T) {
	s, err := Parse("joint.day", `job "Invented hall" in America/Chicago, leaving 16:30, pack-up 20 min, invented
roof 100 ft north-south by 60 ft east-west, open
row of panels 1 to 3 of 20 ft 3 1/3 in, 50 ft 2 1/2 in long, laps 5 in, from 0 ft east and 0 ft north
row of panels 4 to 6 of 20 ft 3 1/3 in, 50 ft 2 1/2 in long, laps 5 in, from 0 ft east and 49 ft 9 1/2 in north
day 2026-06-10
07:00 start
08:45 priming 4|5
08:50 run 4|5 closed
`)
	if err != nil {
		t.Fatal(err)
	}
	g, err := s.Log(Live)
	if err != nil {
		t.Fatal(err)
	}
	day := daylog.Fold(s.Job, g.Held("a", g.Entries[len(g.Entries)-1].Made)).On("2026-06-10")
	plan, _ := day.Roof.Layout().Seam("4|5")
	reach := daylog.Part(plan.Reach())
	if reach.From == 0 {
		t.Fatalf("4|5 begins at %s: the plan has no such joint", reach.From)
	}
	if open := day.Roof.Seam("4|5").Open(reach); len(open) > 0 {
		t.Errorf("all of 4|5 is closed, and yet %v is open", open)
	}
	for _, c := range []struct {
		from, to roofplan.Length
		field    string // asked about
	}{
		{reach.From, reach.To, ""},
		{0, reach.To, ""}, // within a foot it is the same place
		{reach.From, reach.To + 12, "to"},
		{reach.From - 18, reach.To, "from"},
	} {
		b := &daylog.Priming{OnSeam: daylog.OnSeam{Seam: "4|5", Part: daylog.Part{From: c.from, To: c.to}}}
		odd := daylog.KindOf(b).Check(day, b)
		if got := len(odd); got > 1 || got == 1 != (c.field != "") || got == 1 && odd[0].Field != c.field {
			t.Errorf("%s to %s: %v, want a question about %q", c.from, c.to, odd, c.field)
		}
	}
}
