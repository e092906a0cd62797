package daylog

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"duskline/internal/roofplan"
)

// drawLog draws a job of a few days as several devices may have written it,
// with corrections, strikes, signatures and forks.
func drawLog(t *rapid.T) *pen {
	p := newPen(&quiet{T: t})
	p.setUp()
	devices := []string{"a", "b", "office"}
	days := []Date{d1, d2, d3}
	seams := []string{"1|2", "2|3", "3|4"}
	type fork struct {
		head Head
		seq  int64
	}
	past := map[string][]fork{}
	nobody := Fold("", nil).On(d1)
	var drawn []*Kind
	for _, k := range Kinds() {
		if k.Fields != nil && k.Name != "plan" && k.Name != "job" && k.Name != "sign" && k.Name != "accepted" {
			drawn = append(drawn, k)
		}
	}
	var ids []string
	n := rapid.IntRange(5, 60).Draw(t, "entries")
	for range n {
		device := rapid.SampledFrom(devices).Draw(t, "device")
		day := rapid.SampledFrom(days).Draw(t, "day")
		minute := rapid.IntRange(0, 12*60-1).Draw(t, "minute")
		at := fmt.Sprintf("%02d:%02d", 7+minute/60, minute%60)
		seam := rapid.SampledFrom(seams).Draw(t, "seam")
		from := rapid.IntRange(0, 9).Draw(t, "from")
		part := OnSeam{seam, Part{roofplan.Feet(float64(from * 10)), roofplan.Feet(float64(rapid.IntRange(from+1, 10).Draw(t, "to") * 10))}}
		places := []Place{{On: seam + "@north"}, {On: seam, At: roofplan.Feet(float64(from))}, {On: seam + "@south", What: Splice}}
		panel := fmt.Sprint(rapid.IntRange(1, 4).Draw(t, "panel"))
		var body Body
		switch rapid.IntRange(0, 29).Draw(t, "kind") {
		case 0:
			body = &PanelPositioned{Panel: panel, Weighted: true}
		case 1, 2:
			body = &Priming{OnSeam: part}
		case 3, 4:
			body = &FingerTest{OnSeam: part, Result: rapid.SampledFrom([]string{"pass", "strings"}).Draw(t, "result")}
		case 5:
			body = &TapeLaid{OnSeam: part, Laps: []Lap{{part.From + 60, 1}}}
		case 6, 7:
			body = &RunClosed{OnSeam: part, Splices: []string{"north"}}
		case 8:
			body = &HeldShort{OnSeam: part, Sealed: true}
		case 9, 10:
			body = &CoversRolled{Places: places[:rapid.IntRange(1, 3).Draw(t, "places")]}
		case 11, 12:
			body = &EdgesTreated{Places: places[:rapid.IntRange(1, 3).Draw(t, "places")]}
		case 13:
			body = &StoneSpread{Panels: []PanelPart{{Panel: panel, Less: 48}}, Back: places[:1]}
		case 14:
			body = &TempBallast{Strips: []string{panel}}
		case 15:
			body = &LimitSetup{Limit: "edge-early.wait_min", Value: float64(minute)}
		case 16:
			body = &SeamCheck{}
		case 17:
			heads := Heads{}
			for device, head := range p.heads {
				heads[device] = Reach{p.seqs[device], head}
			}
			body = &Sign{Vector: heads}
		default:
			body = drawBody(t, rapid.SampledFrom(drawn).Draw(t, "any kind"), nobody)
		}
		var change []func(*Entry)
		if len(ids) > 0 && rapid.IntRange(0, 4).Draw(t, "names another") == 0 {
			id := rapid.SampledFrom(ids).Draw(t, "of")
			if rapid.Bool().Draw(t, "strike") {
				body = &Strike{}
			}
			change = append(change, of(id, "drawn"))
		}
		if rapid.IntRange(0, 24).Draw(t, "fork") == 0 && len(past[device]) > 0 {
			back := rapid.SampledFrom(past[device]).Draw(t, "back to")
			p.heads[device], p.seqs[device] = back.head, back.seq
		}
		past[device] = append(past[device], fork{p.heads[device], p.seqs[device]})
		if p.seqs[device] == 0 {
			past[device] = nil // nothing to fork from before the first entry
		}
		ids = append(ids, p.write(device, day, at, body, change...).ID)
	}
	return p
}

// quiet lets a pen report to a drawn test.
type quiet struct {
	testing.TB
	T *rapid.T
}

func (q *quiet) Helper()           {}
func (q *quiet) Fatal(args ...any) { q.T.Fatal(args...) }

// What a set of entries comes to does not depend on how it arrived: order,
// repeats, forks, or passing through bytes.
func TestFoldDependsOnTheSetAlone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawLog(t)
		threads, err := Thread(p.job, p.raws())
		if err != nil {
			t.Fatal(err)
		}
		if len(threads.Waiting) > 0 {
			t.Fatalf("%d entries wait though nothing is missing", len(threads.Waiting))
		}
		want := shownDrawn(t, Fold(p.job, threads.Entries))
		seed := rapid.Uint64().Draw(t, "seed")
		for round := range uint64(3) {
			r := rand.New(rand.NewPCG(seed, round))
			raws := p.raws()
			for range 3 {
				raws = append(raws, raws[r.IntN(len(raws))])
			}
			r.Shuffle(len(raws), func(i, j int) { raws[i], raws[j] = raws[j], raws[i] })
			again, err := Thread(p.job, raws)
			if err != nil {
				t.Fatal(err)
			}
			entries := again.Entries
			entries = append(entries, entries[r.IntN(len(entries))])
			r.Shuffle(len(entries), func(i, j int) { entries[i], entries[j] = entries[j], entries[i] })
			if got := shownDrawn(t, Fold(p.job, entries)); got != want {
				t.Fatalf("another job:\n got %s\nwant %s", got, want)
			}
		}
		forked := false
		for _, b := range threads.Branches {
			forked = forked || strings.Contains(b.Name, "~")
		}
		if forked {
			return // such a job is folded from its beginning
		}
		whole := Fold(p.job, threads.Entries)
		for _, date := range []Date{d1, d2, d3} {
			o, err := whole.Open(date, 0)
			if err != nil {
				t.Fatal(err)
			}
			part, err := FoldFrom(p.job, o, threads.Entries)
			if err != nil {
				t.Fatal(err)
			}
			rest := &Job{}
			for _, d := range whole.Days {
				if d.Date >= date {
					rest.Days = append(rest.Days, d)
				}
			}
			if got, want := shownDrawn(t, part), shownDrawn(t, rest); got != want {
				t.Fatalf("from the opening of %s:\n got %s\nwant %s", date, got, want)
			}
		}
	})
}

func shownDrawn(t *rapid.T, j *Job) string { return shown(&quiet{T: t}, j) }
