package daylog

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"duskline/internal/roofplan"
)

// pen writes entries of invented jobs the way a log does: one stream a device.
type pen struct {
	t     testing.TB
	job   string
	heads map[string]Head
	seqs  map[string]int64
	tick  int64
	n     int
	all   []Entry
}

func newPen(t testing.TB) *pen {
	return &pen{t: t, job: "job", heads: map[string]Head{}, seqs: map[string]int64{}}
}

func (p *pen) write(device string, day Date, at string, body Body, change ...func(*Entry)) Entry {
	p.t.Helper()
	when, err := time.Parse("2006-01-02 15:04", string(day)+" "+at)
	if err != nil {
		p.t.Fatal(err)
	}
	p.tick++
	p.n++
	e := Entry{ID: fmt.Sprintf("e%d", p.n), Day: day, At: when, Made: when, Author: "ada", Body: body}
	for _, c := range change {
		c(&e)
	}
	head, ok := p.heads[device]
	if !ok {
		head = ChainStart(p.job, device)
	}
	p.seqs[device]++
	e.Job, e.Device, e.Seq, e.Tick, e.Prev = p.job, device, p.seqs[device], p.tick, head.Prev()
	raw, err := Encode(&e)
	if err != nil {
		p.t.Fatal(err)
	}
	p.heads[device] = head.Next(raw)
	p.all = append(p.all, e)
	return e
}

func of(id, why string) func(*Entry) { return func(e *Entry) { e.Of, e.Why = id, why } }

func (p *pen) raws() [][]byte {
	raws := make([][]byte, len(p.all))
	for i := range p.all {
		raws[i] = p.all[i].Raw()
	}
	return raws
}

// fold passes the entries through bytes and folds them.
func (p *pen) fold() *Job {
	p.t.Helper()
	threads, err := Thread(p.job, p.raws())
	if err != nil {
		p.t.Fatal(err)
	}
	if len(threads.Waiting) > 0 {
		p.t.Fatalf("%d entries wait", len(threads.Waiting))
	}
	return Fold(p.job, threads.Entries)
}

// squarePlan is a row of 50 x 100 ft panels between parapets, as in the worked days.
func squarePlan(panels int) *PlanSetup {
	east := roofplan.Feet(float64(panels)*50 - float64(panels-1)*5.0/12 - 3)
	row := roofplan.Row{Corner: roofplan.Point{X: -18, Y: -18}, Length: roofplan.Feet(100), Lap: 5}
	for i := range panels {
		row.Sheets = append(row.Sheets, roofplan.Sheet{Name: fmt.Sprint(i + 1), Width: roofplan.Feet(50)})
	}
	corner := func(x, y roofplan.Length) roofplan.Point { return roofplan.Point{X: x, Y: y} }
	north := roofplan.Feet(97)
	edge := func(name string) roofplan.Edge {
		return roofplan.Edge{Name: name, Kind: roofplan.Parapet, TurnUp: 18}
	}
	return &PlanSetup{Plan: roofplan.Plan{
		Outline: []roofplan.Point{corner(0, 0), corner(east, 0), corner(east, north), corner(0, north)},
		Edges:   []roofplan.Edge{edge("south"), edge("east"), edge("north"), edge("west")},
		Rows:    []roofplan.Row{row},
	}}
}

func on(seam string, from, to float64) OnSeam {
	return OnSeam{seam, Part{roofplan.Feet(from), roofplan.Feet(to)}}
}

const d1, d2, d3 = Date("2026-10-05"), Date("2026-10-06"), Date("2026-10-07")

func (p *pen) setUp() {
	p.write("office", d1, "05:00", &JobSetup{Name: "Invented hall", Zone: "America/Chicago", Leaving: "16:30", Packup: 20})
	p.write("office", d1, "05:01", squarePlan(4))
	p.write("office", d1, "05:02", &Standing{Panels: []string{"1", "2"}, Strip: "2", StripWidth: 48, Weighted: true})
}

// seamDay writes a day that lays a panel and makes its seam to the one before.
func (p *pen) seamDay(device string, day Date, panel, seam string) {
	p.write(device, day, "12:00", &Start{Leaving: clock(day, "20:30")})
	p.write(device, day, "13:00", &PanelPositioned{Panel: panel, Weighted: true})
	p.write(device, day, "13:40", &Priming{OnSeam: on(seam, 0, 100)})
	p.write(device, day, "13:50", &FingerTest{OnSeam: on(seam, 0, 100), Result: "pass"})
	p.write(device, day, "14:00", &TapeLaid{OnSeam: on(seam, 0, 100), Laps: []Lap{{roofplan.Feet(41), 1.5}}})
	p.write(device, day, "14:30", &RunClosed{OnSeam: on(seam, 0, 100), Splices: []string{"south", "north"}})
	p.write(device, day, "14:40", &CoversRolled{Places: []Place{{On: seam, At: roofplan.Feet(41)}, {On: seam + "@south"}, {On: seam + "@north"}}},
		func(e *Entry) { e.To = clock(day, "15:00") })
	p.write(device, day, "15:10", &SeamCheck{})
	p.write(device, day, "15:20", &StoneSpread{Panels: []PanelPart{{Panel: panel, Less: 48}}, Pounds: 44000})
	p.write(device, day, "19:30", &EdgesTreated{Places: []Place{{On: seam, At: roofplan.Feet(41)}, {On: seam + "@south"}, {On: seam + "@north"},
		{On: seam + "@south", What: Splice}, {On: seam + "@north", What: Splice}}})
	p.write(device, day, "19:40", &TempBallast{Strips: []string{panel}})
}

func clock(day Date, at string) time.Time {
	t, err := time.Parse("2006-01-02 15:04", string(day)+" "+at)
	if err != nil {
		panic(err)
	}
	return t
}

// shown is all that a job shows, for comparing copies.
func shown(t testing.TB, j *Job) string {
	t.Helper()
	var out []any
	for _, d := range j.Days {
		var lines []any
		for _, l := range d.Lines {
			row := []any{l.ID, l.Kind, l.At, l.Root, l.Struck != nil, l.After, len(l.Past)}
			lines = append(lines, row)
		}
		out = append(out, d.Date, d.Opening, d.Roof, d.Setup, lines, d.Leaves, d.Packup, d.Acts)
	}
	b, err := json.Marshal(out)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestFoldOneSeam(t *testing.T) {
	p := newPen(t)
	p.setUp()
	p.seamDay("tablet", d1, "3", "2|3")
	d := p.fold().On(d1)
	seam := d.Roof.Seam("2|3")
	if got := seam.Closed(); !reflect.DeepEqual(got, []Part{{0, 1200}}) {
		t.Errorf("closed parts = %v", got)
	}
	if len(seam.Laps) != 1 || seam.Laps[0].At != roofplan.Feet(41) {
		t.Errorf("laps = %v", seam.Laps)
	}
	if len(d.Roof.Spots) != 5 {
		t.Fatalf("spots = %v", d.Roof.Spots)
	}
	for _, s := range d.Roof.Spots {
		want := "15:00" // a batch's wait runs from its end
		if s.What == Splice {
			want = "14:30"
		}
		if s.Rolled.At.Format("15:04") != want || s.Treated.IsZero() {
			t.Errorf("%s rolled %v treated %v", s.Key(), s.Rolled, s.Treated)
		}
	}
	laid, _ := d.Roof.Panel("3")
	if bare := d.Roof.Bare(laid); bare != 0 {
		t.Errorf("bare = %v sq ft", bare)
	}
	// common practice, no source: the strip of the worked days, 4 ft x 97 ft.
	if got := laid.Stone[0].Area; got != tenth(4809.6-388) {
		t.Errorf("stone on panel 3 = %v sq ft", got)
	}
	if got := d.ToolsDown().Format("15:04"); got != "20:10" {
		t.Errorf("tools down = %s", got)
	}
	next := p.fold().On(d2)
	if len(next.Roof.Spots) != 0 || len(next.Roof.Seam("2|3").Made) != 1 {
		t.Errorf("next morning: %+v", next.Roof)
	}
	if _, _, day := next.Roof.Spot(Place{On: "2|3@south"}); day != d1 {
		t.Errorf("finished south = %q", day)
	}
	if _, _, day := d.Opening.Spot(Place{On: "2|3@south"}); day != "" {
		t.Errorf("the opening roof knows of later work: %q", day)
	}
}

func TestFoldAnyOrder(t *testing.T) {
	p := newPen(t)
	p.setUp()
	p.seamDay("tablet", d1, "3", "2|3")
	e := p.write("second", d1, "16:00", &Note{Text: "two tablets"})
	p.write("tablet", d1, "16:05", &Note{Text: "two tablets, corrected"}, of(e.ID, "slip"))
	p.write("second", d1, "16:06", &Note{Text: "two tablets, again"}, of(e.ID, "slip"))
	p.write("second", d1, "16:10", &Strike{}, of("e7", "wrong"))
	p.seamDay("second", d2, "4", "3|4")
	want := shown(t, p.fold())
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 1))
		raws := p.raws()
		raws = append(raws, raws[r.IntN(len(raws))], raws[r.IntN(len(raws))])
		r.Shuffle(len(raws), func(i, j int) { raws[i], raws[j] = raws[j], raws[i] })
		threads, err := Thread(p.job, raws)
		if err != nil {
			t.Fatal(err)
		}
		entries := threads.Entries
		entries = append(entries, entries[r.IntN(len(entries))])
		r.Shuffle(len(entries), func(i, j int) { entries[i], entries[j] = entries[j], entries[i] })
		if got := shown(t, Fold(p.job, entries)); got != want {
			t.Fatalf("seed %d: another job\n got %s\nwant %s", seed, got, want)
		}
	}
}

func TestTwoCorrectionsCountOnce(t *testing.T) {
	p := newPen(t)
	p.setUp()
	e := p.write("a", d1, "13:00", &PanelPositioned{Panel: "3"})
	p.write("b", d1, "13:05", &PanelPositioned{Panel: "3", Weighted: true}, of(e.ID, "time"))
	p.write("a", d1, "13:10", &PanelPositioned{Panel: "3", Weighted: true}, of(e.ID, "time"))
	d := p.fold().On(d1)
	acts := 0
	for _, a := range d.Acts {
		if a.Kind == "panel" {
			acts++
		}
	}
	got, _ := d.Roof.Panel("3")
	if acts != 1 || got.Position.At.Format("15:04") != "13:10" {
		t.Errorf("%d acts, in position %v; want one at 13:10", acts, got.Position.At)
	}
}

func TestStrikeOfAnotherDayChangesNothing(t *testing.T) {
	p := newPen(t)
	p.setUp()
	e := p.write("a", d1, "13:00", &PanelPositioned{Panel: "3"})
	p.write("a", d2, "08:00", &Strike{}, of(e.ID, "wrong day"))
	j := p.fold()
	if _, ok := j.On(d1).Roof.Panel("3"); !ok {
		t.Error("a strike that carries another day struck the panel")
	}
	p.write("a", d1, "13:01", &Strike{}, of(e.ID, "wrong"))
	if _, ok := p.fold().On(d1).Roof.Panel("3"); ok {
		t.Error("the strike of the same day did not")
	}
}

func TestOpening(t *testing.T) {
	p := newPen(t)
	p.setUp()
	p.seamDay("tablet", d1, "3", "2|3")
	p.seamDay("tablet", d2, "4", "3|4")
	p.write("tablet", d3, "12:00", &Start{})
	whole := p.fold()
	for _, date := range []Date{d1, d2, d3} {
		o, err := whole.Open(date, 0)
		if err != nil {
			t.Fatal(err)
		}
		j, err := FoldFrom(p.job, o, p.all)
		if err != nil {
			t.Fatal(err)
		}
		rest := &Job{}
		for _, d := range whole.Days {
			if d.Date >= date {
				rest.Days = append(rest.Days, d)
			}
		}
		if got, want := shown(t, j), shown(t, rest); got != want {
			t.Errorf("from the opening of %s\n got %s\nwant %s", date, got, want)
		}
		if !slices.Equal(j.Past(), whole.Past()) {
			t.Errorf("past days from %s = %v, want %v", date, j.Past(), whole.Past())
		}
		a, _ := whole.Digest(d3)
		if b, _ := j.Digest(d3); a != b {
			t.Errorf("digest of %s differs when folded from %s", d3, date)
		}
	}
	o, _ := whole.Open(d2, 0)
	o.Build = "another"
	if _, err := FoldFrom(p.job, o, p.all); err == nil {
		t.Error("an opening of another build was taken")
	}
}

func TestAfterSigningIsByVector(t *testing.T) {
	p := newPen(t)
	p.setUp()
	p.seamDay("tablet", d1, "3", "2|3")
	// An entry of another tablet, written before by its clock, unheard of.
	heads := Heads{}
	for device, head := range p.heads {
		heads[device] = Reach{p.seqs[device], head}
	}
	late := p.write("second", d1, "13:00", &Note{Text: "nobody had heard of this"})
	p.write("tablet", d1, "20:00", &Sign{Vector: heads})
	correction := p.write("tablet", d1, "20:10", &Note{Text: "x"}, of("e5", "after"))
	for _, l := range p.fold().On(d1).Lines {
		want := l.ID == late.ID || l.ID == correction.ID
		if l.After != want {
			t.Errorf("%s %s at %v: after signing = %v, want %v", l.ID, l.Kind, l.At, l.After, want)
		}
	}
}

// A device's storage was copied and went on twice: both lines are kept. Which
// of them a signature covers is told by the vector's head, on whichever line
// the signer stood.
func TestForkKeepsBothAndNamesThemAlike(t *testing.T) {
	for _, signer := range []string{"one", "the"} {
		t.Run(signer, func(t *testing.T) { forkSignedOn(t, signer) })
	}
}

func forkSignedOn(t *testing.T, signer string) {
	p := newPen(t)
	p.setUp()
	p.write("tablet", d1, "12:00", &Start{})
	head, seq := p.heads["tablet"], p.seqs["tablet"]
	p.write("tablet", d1, "13:00", &Note{Text: "one line"})
	p.write("tablet", d1, "13:01", &Note{Text: "one line, on"})
	signedOn := Reach{p.seqs["tablet"], p.heads["tablet"]}
	p.heads["tablet"], p.seqs["tablet"] = head, seq
	p.write("tablet", d1, "13:00", &Note{Text: "the other line"})
	p.write("tablet", d1, "13:01", &Note{Text: "the other line, on"})
	if signer == "the" {
		signedOn = Reach{p.seqs["tablet"], p.heads["tablet"]}
	}
	p.write("office", d1, "20:00", &Sign{Vector: Heads{"tablet": signedOn, "office": {p.seqs["office"], p.heads["office"]}}})

	threads, err := Thread(p.job, p.raws())
	if err != nil {
		t.Fatal(err)
	}
	if len(threads.Branches) != 3 || len(threads.Entries) != len(p.all) {
		t.Fatalf("branches = %+v", threads.Branches)
	}
	first := map[string]Head{}
	for _, e := range threads.Entries {
		if e.Device == "tablet" && e.Seq == 2 {
			first[e.Stream] = Hash(e.Raw())
		}
	}
	for stream, hash := range first {
		other := first["tablet"]
		switch {
		case stream == "tablet":
		case stream != BranchName("tablet", hash):
			t.Errorf("branch is named %q", stream)
		case slices.Compare(hash[:], other[:]) < 0:
			t.Error("the branch with the lower hash does not keep the plain name")
		}
	}
	for _, l := range Fold(p.job, threads.Entries).On(d1).Lines {
		note, ok := l.Body.(*Note)
		if ok && l.After != (note.Text[:3] != signer) {
			t.Errorf("%q after signing = %v: the vector's head says on which line the signer stood", note.Text, l.After)
		}
	}
	// With a gap nothing behind it counts.
	gap, err := Thread(p.job, slices.Concat(p.raws()[:3], p.raws()[4:]))
	if err != nil || len(gap.Waiting) != 4 {
		t.Errorf("without the tablet's first entry %d entries wait, want 4 (%v)", len(gap.Waiting), err)
	}
	gap, _ = Thread(p.job, p.raws()[1:])
	if len(gap.Waiting) != 3 {
		t.Errorf("without the office's first entry %d entries wait, want 3", len(gap.Waiting))
	}
}

func TestSetUpHoldsFromItsDay(t *testing.T) {
	p := newPen(t)
	p.setUp()
	p.write("office", d2, "06:00", &LimitSetup{Limit: "edge-early.wait_min", Value: 300})
	p.write("tablet", d1, "12:00", &Start{})
	p.write("tablet", d2, "12:00", &Start{})
	j := p.fold()
	if v, ok := j.On(d1).Setup.Limits["edge-early.wait_min"]; ok {
		t.Errorf("the limit of %s already holds on %s: %v", d2, d1, v)
	}
	p.write("office", d3.Add(7), "06:00", &LimitSetup{Limit: "edge-early.wait_min", Value: 360})
	if v := p.fold().On(d3).Setup.Limits["edge-early.wait_min"]; v != 300 {
		t.Errorf("limit on %s, before the one set from a week later = %v", d3, v)
	}
	if v := j.On(d3).Setup.Limits["edge-early.wait_min"]; v != 300 {
		t.Errorf("limit on %s = %v", d3, v)
	}
}

func TestNewerEntriesAreKept(t *testing.T) {
	raw := []byte(`{"kind":"hologram","v":3,"job":"job","device":"a","seq":1,"tick":1,"prev":"` + ChainStart("job", "a").Prev() + `","id":"x","day":"2026-10-05","at":"2026-10-05T12:00:00Z","made":"2026-10-05T12:00:00Z","body":{"glow":true}}`)
	known := []byte(`{"kind":"note","v":9,"job":"job","device":"a","seq":1,"tick":1,"prev":"` + ChainStart("job", "a").Prev() + `","id":"x","day":"2026-10-05","at":"2026-10-05T12:00:00Z","made":"2026-10-05T12:00:00Z","body":{"text":5}}`)
	for _, raw := range [][]byte{raw, known} {
		e, err := Decode(raw)
		if err != nil || !e.Newer() || string(e.Raw()) != string(raw) {
			t.Fatalf("Decode: %v, newer %v", err, e.Newer())
		}
		if d := Fold("job", []Entry{e}).On(d1); d.Newer != 1 || len(d.Lines) != 1 {
			t.Errorf("newer lines = %d of %d", d.Newer, len(d.Lines))
		}
	}
	for _, bad := range []string{"", "{", "null", `{"kind":"note"}`, `[]`, `{"kind":"note","job":"j","device":"a~b","seq":1,"id":"x"}`} {
		if _, err := Decode([]byte(bad)); err == nil {
			t.Errorf("Decode(%q) took it for an entry", bad)
		}
	}
}

func TestFinishedWithinAFoot(t *testing.T) {
	p := newPen(t)
	p.setUp()
	p.seamDay("tablet", d1, "3", "2|3") // an end lap at 41 ft, covered and treated
	next := p.fold().On(d2).Roof
	for at, want := range map[float64]Date{41: d1, 41.5: d1, 42: d1, 42.1: "", 60: ""} {
		if _, _, day := next.Spot(Place{On: "2|3", At: roofplan.Feet(at)}); day != want {
			t.Errorf("cover at %v ft was finished on %q, want %q", at, day, want)
		}
	}
}

func TestPackupIsALimitToo(t *testing.T) {
	p := newPen(t)
	p.setUp()
	p.write("office", d1, "05:10", &LimitSetup{Limit: "tools-down.packup_min", Value: 35})
	p.write("tablet", d1, "12:00", &Start{Leaving: clock(d1, "20:30")})
	if got := p.fold().On(d1).ToolsDown().Format("15:04"); got != "19:55" {
		t.Errorf("tools down = %s, want 19:55", got)
	}
}

func TestPartsTypedTheWrongWayRound(t *testing.T) {
	got := subtract(Part{0, 100}, []Part{{60, 20}, {40, 50}})
	if want := []Part{{0, 40}, {50, 100}}; !reflect.DeepEqual(got, want) {
		t.Errorf("left %v, want %v", got, want)
	}
}

// Tape cut out leaves an end of old tape; new tape laid against it is an end
// lap there, and what was noted inside went with the tape.
func TestTapeCutOut(t *testing.T) {
	p := newPen(t)
	p.setUp()
	p.write("a", d1, "09:46", &Priming{OnSeam: on("1|2", 0, 60)})
	p.write("a", d1, "10:24", &RunClosed{OnSeam: on("1|2", 0, 60)})
	p.write("a", d1, "10:25", &Priming{OnSeam: on("1|2", 60, 100)})
	p.write("a", d1, "10:44", &TapeLaid{OnSeam: on("1|2", 60, 80), Laps: []Lap{{At: roofplan.Feet(70)}}})
	p.write("a", d1, "12:10", &TapeCutOut{OnSeam: on("1|2", 60, 80)})
	seam := p.fold().On(d1).Roof.Seam("1|2")
	if len(seam.Laps) != 0 || !slices.Equal(seam.Ends, []roofplan.Length{roofplan.Feet(60)}) {
		t.Errorf("cut out: laps %v, ends %v; want none and one at 60 ft", seam.Laps, seam.Ends)
	}
	for _, st := range seam.Runs {
		if st.From >= roofplan.Feet(60) && (st.Primed.IsZero() || !st.Taped.IsZero()) {
			t.Errorf("stretch %v: primed %v, taped %v", st.Part, st.Primed, st.Taped)
		}
	}
	p.write("a", d1, "13:30", &RunClosed{OnSeam: on("1|2", 58, 100)})
	seam = p.fold().On(d1).Roof.Seam("1|2")
	if len(seam.Laps) != 1 || seam.Laps[0].At != roofplan.Feet(60) || len(seam.Ends) != 0 {
		t.Errorf("made again: laps %v, ends %v", seam.Laps, seam.Ends)
	}
}

// What stays open is carried to the next morning; what is done is not.
func TestCarriedOver(t *testing.T) {
	p := newPen(t)
	p.setUp()
	places := []Place{{On: "2|3@south"}, {On: "2|3@north"}}
	p.write("a", d1, "13:00", &PanelPositioned{Panel: "3", Lot: "S-1"})
	p.write("a", d1, "13:01", &LotOpened{Material: "tape", Lot: "T-1", Made: "2026-01-31", Months: 13})
	p.write("a", d1, "13:02", &EdgeWork{Edges: []string{"3@north"}, Done: "secured"})
	p.write("a", d1, "13:03", &Deficiency{What: "blister", Name: "R1"})
	p.write("a", d1, "13:04", &PunchItem{What: "paint", Name: "P1"})
	p.write("a", d1, "13:05", &StoneTicket{Weight: 22, Unit: "short ton", Loads: 2})
	p.write("a", d1, "13:06", &StoneTicket{Weight: 20})
	p.write("a", d1, "13:10", &StoneSpread{Panels: []PanelPart{{Panel: "3", Less: 48}}, Pounds: 48096, Back: places})
	p.write("a", d1, "13:11", &PileNoted{Where: "ground", Pounds: 39904})
	p.write("a", d1, "14:00", &BackClosed{Places: places[:1]})
	p.write("a", d1, "14:01", &PutRight{Items: []string{"R1"}})
	p.write("a", d1, "15:00", &NightSeal{Panels: []string{"3"}, Tops: true, Way: true})
	j := p.fold()
	today, next := j.On(d1).Roof, j.On(d2).Roof
	if len(today.Items) != 2 || today.Items[0].Done != d1 || len(next.Items) != 1 || next.Items[0].Name != "P1" {
		t.Errorf("items %v, then %v", today.Items, next.Items)
	}
	if len(next.Back) != 1 || next.Back[0].On != "2|3@north" || next.Back[0].Since != d1 {
		t.Errorf("held back: %v", next.Back)
	}
	// computed: 2 x 22.0 short tons are 88,000 lb.
	if want := (Stones{88000, 48096, 1}); next.Stones != want {
		t.Errorf("stone %+v, want %+v", next.Stones, want)
	}
	lot, ok := next.Lot("tape")
	if !ok || lot.Lot != "T-1" || lot.Since != d1 || lot.Expires() != "2027-02-28" {
		t.Errorf("tape lot %+v, good until %s", lot, lot.Expires())
	}
	if e := next.Edge("3@north"); e.Secured != d1 || next.Edge("3@south").Secured != "" {
		t.Errorf("edges %v", next.Edges)
	}
	panel, _ := next.Panel("3")
	if panel.Sealed != d1 || panel.Tops != d1 || panel.Lot != "S-1" || next.Seal == nil || next.Seal.Day != d1 || next.Seal.Checked != "" {
		t.Errorf("panel %+v, seal %+v", panel, next.Seal)
	}
	p.write("a", d2, "07:00", &SealCheck{Dry: true})
	p.write("a", d2, "08:00", &SealCutOff{Trimmed: true})
	p.write("a", d2, "08:10", &PanelCut{Panel: "3"})
	later := p.fold().On(d2)
	if panel, _ := later.Roof.Panel("3"); panel.Sealed != "" || !panel.Cut || later.Roof.Seal != nil {
		t.Errorf("after cutting off: %+v, seal %+v", panel, later.Roof.Seal)
	}
	if piece, ok := later.Roof.Panel("3A"); !ok || piece.Of != "3" || piece.Lot != "S-1" {
		t.Errorf("piece %+v", piece)
	}
}

func TestWeights(t *testing.T) {
	for _, c := range []struct {
		ticket StoneTicket
		want   int
	}{
		{StoneTicket{Weight: 30, Unit: "short ton"}, 60000}, // facts: 30 short tons are 60,000 lb, computed
		{StoneTicket{Weight: 1, Unit: "metric ton"}, 2205},  // 1,000 / 0.45359237 lb, NIST SP 811: published
		{StoneTicket{Weight: 44123, Unit: "lb", Loads: 2}, 88246},
		{StoneTicket{Weight: 22}, 0}, // the unit is not named
		{StoneTicket{Weight: -3, Unit: "lb"}, 0},
		{StoneTicket{Weight: 1e300, Unit: "short ton"}, 0},
	} {
		if got := c.ticket.Pounds(); got != c.want {
			t.Errorf("%+v is %d lb, want %d", c.ticket, got, c.want)
		}
	}
	if got := (TestSquare{Area: 9, Pounds: 90}).Rate(); got != 10 {
		t.Errorf("90 lb on 9 sq ft is %v lb/sq ft", got)
	}
}

func TestWeatherStop(t *testing.T) {
	p := newPen(t)
	p.setUp()
	p.write("a", d1, "10:48", &StopBegins{With: "rain"})
	p.write("a", d1, "11:00", &StopBegins{With: "thunder"})
	if s, on := p.fold().On(d1).Stopped(); !on || s.With != "thunder" {
		t.Errorf("stopped by %+v, %v", s, on)
	}
	p.write("a", d1, "11:35", &StopEnds{})
	d := p.fold().On(d1)
	if _, on := d.Stopped(); on || len(d.Stops) != 2 || d.Stops[0].Ended.At.Format("15:04") != "11:35" {
		t.Errorf("stops %+v", d.Stops)
	}
}

// computed: panel 3 of the worked days covers 4,809.6 sq ft net.
func TestUncovered(t *testing.T) {
	p := newPen(t)
	p.setUp()
	p.write("a", d1, "07:00", &TearOff{Area: 5000})
	p.write("a", d1, "08:00", &Insulation{Area: 4900})
	if got := p.fold().On(d1).Uncovered(); got != 5000 {
		t.Errorf("open %v sq ft, want 5000", got)
	}
	p.write("a", d1, "10:00", &PanelPositioned{Panel: "3"})
	if got := p.fold().On(d1).Uncovered(); got != 190.4 {
		t.Errorf("open %v sq ft, want 190.4", got)
	}
	p.write("a", d1, "15:00", &ClosedIn{Area: 190, With: "night sheet"})
	if got := p.fold().On(d1).Uncovered(); got != 0.4 {
		t.Errorf("open %v sq ft, want 0.4", got)
	}
}
