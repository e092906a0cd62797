package daylog

import (
	"reflect"
	"testing"

	"duskline/internal/roofplan"
)

// held is the vector of all that is written so far.
func (p *pen) held() Heads {
	heads := Heads{}
	for device, head := range p.heads {
		heads[device] = Reach{p.seqs[device], head}
	}
	return heads
}

// What comes after a signature, an acceptance, and after none yet is a revision
// each; comments and reviews are none, and what is accepted unchanged stays the
// first.
func TestRevisions(t *testing.T) {
	p := newPen(t)
	p.setUp()
	p.seamDay("tablet", d1, "3", "2|3")
	stone := p.all[len(p.all)-3]
	numbers := func() (all []int, changed []int, closed []bool) {
		for _, r := range p.fold().On(d1).Revisions(nil) {
			all, changed, closed = append(all, r.Number), append(changed, len(r.Changed)), append(closed, r.By != nil)
		}
		return
	}
	expect := func(when string, changes []int, last bool) {
		t.Helper()
		n, changed, closed := numbers()
		if !reflect.DeepEqual(changed, changes) || len(n) > 0 && (n[len(n)-1] != len(n) || closed[len(n)-1] != last) {
			t.Errorf("%s: revisions %v with %v changes, closed %v; want changes %v, the last closed: %v", when, n, changed, closed, changes, last)
		}
	}
	expect("not signed", nil, false)
	p.write("tablet", d1, "20:00", &Sign{Vector: p.held()})
	expect("signed", []int{0}, true)
	p.write("office", d1, "20:30", &Comment{Text: "looks right"})
	p.write("office", d1, "20:40", &SentBack{Text: "which stone?"})
	expect("sent back", []int{0}, true)
	p.write("office", d1, "20:45", &Accepted{Vector: p.held()})
	expect("accepted", []int{0}, true)
	signed := p.fold().On(d1).Revisions(nil)[0]
	if _, is := signed.By.Body.(*Accepted); !is {
		t.Errorf("what was accepted unchanged is closed by %s", signed.By.Kind)
	}
	// The stone was less; two lines more; one of them struck again.
	p.write("tablet", d1, "15:20", &StoneSpread{Panels: []PanelPart{{Panel: "3", Less: 48}}, Pounds: 40000}, of(stone.ID, "misread"))
	p.write("tablet", d1, "16:00", &Note{Text: "late"})
	struck := p.write("tablet", d1, "16:01", &RunClosed{OnSeam: OnSeam{"3|4", Part{0, roofplan.Feet(10)}}})
	expect("changed after acceptance", []int{0, 3}, false)
	p.write("office", d1, "21:00", &Accepted{Vector: p.held()})
	expect("accepted again", []int{0, 3}, true)
	p.write("tablet", d1, "21:10", &Strike{}, of(struck.ID, "wrong day"))
	expect("struck after that", []int{0, 3, 1}, false)

	d := p.fold().On(d1)
	revisions := d.Revisions(nil)
	for i, want := range []struct {
		pounds int
		feet   float64
	}{{44000, 100}, {40000, 110}} {
		was := d.As(revisions[i].Vector, nil)
		if got := was.Tally(); got.Pounds != want.pounds || got.Made.Feet() != want.feet {
			t.Errorf("revision %d: %d lb and %v ft, want %d lb and %v ft", i+1, got.Pounds, got.Made.Feet(), want.pounds, want.feet)
		}
	}
	if got := d.Tally(); got.Pounds != 40000 || got.Made.Feet() != 100 {
		t.Errorf("as it stands: %d lb and %v ft", got.Pounds, got.Made.Feet())
	}
	if whole := d.As(p.held(), nil).Tally(); !reflect.DeepEqual(whole, d.Tally()) {
		t.Errorf("by a vector of all that is held the day comes to\n%+v, not\n%+v", whole, d.Tally())
	}
}

// What was struck is not counted, what was corrected is counted once, and work
// on what an earlier day began counts on the day it was done.
func TestTally(t *testing.T) {
	p := newPen(t)
	p.setUp()
	p.seamDay("tablet", d1, "3", "2|3")
	p.write("tablet", d1, "16:00", &RunClosed{OnSeam: on("3|4", 0, 10)}, func(e *Entry) { e.ID = "wrong" })
	p.write("tablet", d1, "16:01", &Strike{}, of("wrong", "wrong seam"))
	p.write("tablet", d1, "16:10", &EdgeWork{Edges: []string{"3@north", "3@south"}, Done: "secured"})
	p.write("tablet", d1, "16:20", &CoversRolled{Places: []Place{{On: "2|3", At: roofplan.Feet(77)}}})
	p.write("tablet", d2, "13:00", &EdgesTreated{Places: []Place{{On: "2|3", At: roofplan.Feet(77)}}})
	job := p.fold()
	got := job.On(d1).Tally()
	if got.Laid != 4809.6 || Squares(got.Laid) != 48.1 || len(got.Panels) != 1 {
		t.Errorf("laid %v sq ft in %v", got.Laid, got.Panels)
	}
	if len(got.Seams) != 1 || got.Seams[0].Seam != "2|3" || got.Made.Feet() != 100 || len(got.Seams[0].Laps) != 1 {
		t.Errorf("seams %+v", got.Seams)
	}
	if want := (Spots{Rolled: 4, Treated: 3, Waiting: 1}); got.Covers != want {
		t.Errorf("covers %+v, want %+v", got.Covers, want)
	}
	if want := (Spots{Rolled: 2, Treated: 2}); got.Splices != want {
		t.Errorf("splices %+v, want %+v", got.Splices, want)
	}
	if len(got.Edges) != 1 || got.Edges[0].Feet.String() != "99 ft 2 in" {
		t.Errorf("edges %+v", got.Edges)
	}
	if got.Stoned != 4421.6 || got.Pounds != 44000 || got.Rate() != 10 {
		t.Errorf("stone %v sq ft, %d lb, %v", got.Stoned, got.Pounds, got.Rate())
	}
	if next := job.On(d2).Tally(); next.Covers != (Spots{Treated: 1}) || next.Laid != 0 || next.Made != 0 {
		t.Errorf("the next day %+v", next)
	}
}
