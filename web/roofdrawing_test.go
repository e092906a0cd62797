package web

import (
	"strings"
	"testing"

	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
)

const drawnHall = `job "Invented hall" in America/Chicago, leaving 16:30, pack-up 20 min, invented
person ada "Ada Invented", foreman
roof 97 ft north-south by 195 ft 9 in east-west, parapets, turn-up 18 in
row of panels 1 to 4 of 50 ft, 100 ft long, laps 5 in
standing panels 1 and 2, strip of 4 ft on 2, weighted

day 2026-10-06
07:00 start
08:00 panel 3 in position, edges weighted
09:00 priming 2|3 0 to 60 ft
09:10 finger test 2|3 0 to 60 ft passes
09:40 run 2|3 0 to 60 ft closed, end lap at 30 ft of 2 in, vertical splice south
10:00 covers rolled on 2|3 at 30 ft and south
10:30 stone on old strip of 2, held back at 2|3 at 30 ft
14:20 treated 2|3 south
`

func drawn(t *testing.T) RoofDrawing {
	t.Helper()
	s, err := script.Parse("hall", drawnHall)
	if err != nil {
		t.Fatal(err)
	}
	written, err := s.Entries(script.Live)
	if err != nil {
		t.Fatal(err)
	}
	entries := make([]daylog.Entry, len(written))
	for i := range written {
		entries[i] = written[i].Entry
	}
	d, ok := DrawRoof("plan", daylog.Fold("job", entries).On("2026-10-06"), []daylog.Place{{On: "2|3@north"}})
	if !ok {
		t.Fatal("a roof with a plan is not drawn")
	}
	return d
}

// A day's drawing shows what was done that day apart from what was there before
// and from what is planned, with its marks where they belong.
func TestDrawRoof(t *testing.T) {
	d := drawn(t)
	has := func(class string, x, w float64) bool {
		for _, a := range d.Areas {
			if a.Class == class && a.X-0.5 < x && x < a.X+0.5 && a.W-0.5 < w && w < a.W+0.5 {
				return true
			}
		}
		return false
	}
	scale := (drawnWide - drawnLeft - drawnRight) / (195.75 * 12)
	inch := func(in float64) float64 { return in * scale }
	left := drawnLeft - inch(18) // the sheets go up the parapet
	second := left + inch((50-5.0/12)*12)
	third := second + inch((50-5.0/12)*12)
	strip := second + inch(46*12)
	if !has("planned", left+3*inch((50-5.0/12)*12), inch(600)) || !has("stone", left, inch(600)) || !has("stone new", strip, inch(48)) {
		t.Errorf("areas %+v", d.Areas)
	}
	lines := map[string]float64{}
	for _, l := range d.Lines {
		lines[l.Class] += l.Y1 - l.Y2 + l.X2 - l.X1
	}
	if got := lines["made new"]; got < inch(719) || got > inch(721) {
		t.Errorf("the day's seam is %v long, want 60 ft", got/scale/12)
	}
	if got := lines["open"]; got < inch(479) || got > inch(481) {
		t.Errorf("the open seam is %v long, want 40 ft", got/scale/12)
	}
	if got := lines["made"]; got < inch(2399) || got > inch(2401) { // two lines of the seam before
		t.Errorf("the seam before is %v long, want 100 ft twice", got/scale/12)
	}
	marks := map[MarkKind]int{}
	for _, m := range d.Marks {
		marks[m.Kind]++
		if m.Held != (m.Kind == MarkWaiting) {
			t.Errorf("stone is kept from the cover at 30 ft alone: %+v", m)
		}
		if m.X < third || m.X > third+inch(5) {
			t.Errorf("the mark %+v is not on the seam at %v", m, third)
		}
	}
	if marks[MarkCoverOwed] != 1 || marks[MarkWaiting] != 1 || marks[MarkTreated] != 1 {
		t.Errorf("marks %v", marks)
	}
	var labels []string
	for _, l := range d.Labels {
		labels = append(labels, strings.TrimSpace(l.Text+" "+l.Word))
	}
	if got := strings.Join(labels, "; "); got != "4 planned; 1 before; 2 before; 3 laid; 2|3  60 ft" {
		t.Errorf("labels %q", got)
	}
	for _, words := range []string{"Panel 3: laid this day", "Seam 2|3: 60 ft made this day"} {
		if !strings.Contains(strings.Join(d.Said, "; "), words) {
			t.Errorf("%q is not said: %v", words, d.Said)
		}
	}
	if d.Across.Text != "195 ft 9 in" || d.Up.Text != "97 ft" {
		t.Errorf("it measures %s by %s", d.Across.Text, d.Up.Text)
	}
	if _, ok := DrawRoof("plan", daylog.Fold("none", nil).On("2026-10-06"), nil); ok {
		t.Error("a roof without a plan is drawn")
	}
}

// No text of a lane lies over another or over a bar that is not its own.
func TestLanesAreReadable(t *testing.T) {
	line := DayLine{Start: at(7, 0), Leaving: at(16, 30)}
	lane := Lane{Name: "Seams"}
	for i := range 40 {
		from := 7*60 + i*13%540
		lane.Events = append(lane.Events, Event{At: Stamp{from, clockText(from)}, Until: Stamp{from + i%4*9, clockText(from + i%4*9)}, Text: strings.Repeat("x", 1+i%6), Class: "work"})
	}
	type span struct {
		from, to float64
		of       int
	}
	var bars, texts []span
	placed := 0
	for i, e := range lane.drawn(line) {
		x, w := e.X*chartLeast, e.W*chartLeast
		bars = append(bars, span{x, x + w, i})
		width := laneText * textWidth(e.Label)
		switch {
		case e.Label == "":
			continue
		case e.Inside:
			if width > w {
				t.Errorf("%q does not fit its bar", e.Label)
			}
			continue
		case e.Before:
			texts = append(texts, span{x - width - 0.4, x - 0.4, i})
		default:
			texts = append(texts, span{x + w + 0.4, x + w + width + 0.4, i})
		}
		placed++
	}
	if placed == 0 {
		t.Error("no text was placed beside a bar")
	}
	for i, a := range texts {
		if a.from < 0 || a.to > chartLeast+0.5 {
			t.Errorf("a text reaches from %v to %v", a.from, a.to)
		}
		for _, b := range append(texts[i+1:len(texts):len(texts)], bars...) {
			if a.of != b.of && a.from < b.to && b.from < a.to {
				t.Errorf("%v lies over %v", a, b)
			}
		}
	}
	if said := (Event{At: at(9, 0), Until: at(9, 30), Text: "2|3"}).said(); said != "9:00 to 9:30 2|3" {
		t.Errorf("said %q", said)
	}
}
