package web

import (
	"context"
	"encoding/xml"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// box is a piece of a drawing of the day line, in em.
type box struct {
	what                     string
	left, right, top, bottom float64
	call                     int // which call it belongs to; -1 for none
}

func (b box) meets(o box) bool {
	const touch = 0.02 // percentages are written with two digits
	return b.left < o.right-touch && o.left < b.right-touch && b.top < o.bottom-touch && o.top < b.bottom-touch
}

// boxes reads texts and poles back from a drawing as it is written into the page,
// laid out for a bar of the given width in em.
func boxes(t fataler, d DayLine, s sketch, width float64) (texts, poles []box) {
	var b strings.Builder
	if err := daySketch(d, s).Render(t.Context(), &b); err != nil {
		t.Fatal(err)
	}
	type frame struct {
		x    float64 // of the nested svg
		call int
	}
	stack := []frame{{0, -1}}
	calls := 0
	dec := xml.NewDecoder(strings.NewReader(b.String()))
	measure := func(of, value string, size float64) float64 {
		if p, ok := strings.CutSuffix(value, "%"); ok {
			return number(t, of, p) / 100 * width
		}
		return number(t, of, strings.TrimSuffix(value, "em")) * size
	}
	var open *box
	var size, anchorAt float64
	var anchorSide string
	var hidden bool
	for {
		token, err := dec.Token()
		if err == io.EOF {
			return texts, poles
		}
		if err != nil {
			t.Fatal(err)
		}
		switch e := token.(type) {
		case xml.StartElement:
			a := map[string]string{}
			for _, x := range e.Attr {
				a[x.Name.Local] = x.Value
			}
			top := stack[len(stack)-1]
			switch e.Name.Local {
			case "g":
				top.call = calls
				calls++
			case "svg":
				if a["class"] == "now" {
					top.x = measure("x", a["x"], 1)
				}
			case "line":
				if a["class"] == "hour" || a["x1"] == "" {
					break
				}
				x := measure("x1", a["x1"], 1)
				poles = append(poles, box{"pole", x, x + 0.05, measure("y1", a["y1"], 1), measure("y2", a["y2"], 1), top.call})
			case "text":
				size = map[string]float64{"name": nameSize, "time": timeSize, "hour": hourSize, "": nowSize}[a["class"]]
				anchorAt, anchorSide, hidden = top.x, a["text-anchor"], a["visibility"] == "hidden"
				for _, at := range []string{"x", "dx"} {
					if a[at] != "" {
						anchorAt += measure(at, a[at], size)
					}
				}
				y := measure("y", a["y"], size)
				open = &box{top: y - 0.72*size, bottom: y + 0.05*size, call: top.call}
			}
			stack = append(stack, top)
		case xml.CharData:
			if open != nil {
				open.what += string(e)
				w := size
				if size == nameSize && open.right > 0 {
					w = timeSize // the time on the name's line
				}
				open.right += w * textWidth(string(e))
			}
		case xml.EndElement:
			stack = stack[:len(stack)-1]
			if e.Name.Local != "text" {
				break
			}
			w := open.right
			open.left = map[string]float64{"start": anchorAt, "middle": anchorAt - w/2, "end": anchorAt - w}[anchorSide]
			open.right = open.left + w
			if !hidden {
				texts = append(texts, *open)
			}
			open = nil
		}
	}
}

// fataler is what testing.T and rapid.T share.
type fataler interface {
	Context() context.Context
	Fatal(...any)
	Fatalf(string, ...any)
}

func number(t fataler, of, s string) float64 {
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatalf("%s: %v", of, err)
	}
	return x
}

// clashes lists what lies over what in a drawing at a width, and what leaves it.
func clashes(t fataler, d DayLine, s sketch, width float64) []string {
	var bad []string
	texts, poles := boxes(t, d, s, width)
	for i, a := range texts {
		for _, b := range texts[i+1:] {
			if a.meets(b) {
				bad = append(bad, fmt.Sprintf("%q lies over %q", a.what, b.what))
			}
		}
		for _, p := range poles {
			if a.meets(p) {
				bad = append(bad, fmt.Sprintf("a pole goes through %q", a.what))
			}
		}
		if a.call >= 0 && (a.left < -0.02 || a.right > width+s.Right+0.02) {
			bad = append(bad, fmt.Sprintf("%q leaves the drawing", a.what))
		}
	}
	return bad
}

func anyDay(t *rapid.T) DayLine {
	start := rapid.IntRange(4*60, 11*60).Draw(t, "start")
	d := DayLine{ID: "d", Start: at(0, start), Leaving: at(0, start+rapid.IntRange(30, 16*60).Draw(t, "long"))}
	if rapid.Bool().Draw(t, "under way") {
		d.Now = at(0, rapid.IntRange(start-60, d.Leaving.Minute+180).Draw(t, "now"))
	}
	name := rapid.OneOf(
		rapid.SampledFrom([]string{"last unrolling", "last cover", "start stone", "tools down", "off the roof", "night seal"}),
		rapid.StringMatching(`[a-z0-9|]{1,9}( [a-zW]{1,9})?`),
	)
	for range rapid.IntRange(0, 8).Draw(t, "calls") {
		d.Calls = append(d.Calls, Call{
			Name:   name.Draw(t, "name"),
			At:     at(0, rapid.IntRange(start-30, d.Leaving.Minute).Draw(t, "at")),
			Strong: rapid.Bool().Draw(t, "strong"),
		})
	}
	return d
}

func TestDayLineLabelsNeverCollide(t *testing.T) {
	listed, all := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		d := anyDay(t)
		for i, to := range drawings {
			s := sketchOf(d, to)
			widest := 2 * to.Least
			if i > 0 {
				widest = drawings[i-1].Least + drawings[i-1].Right
			}
			for _, width := range []float64{to.Least, to.Least + 1.7, widest} {
				if bad := clashes(t, d, s, width); len(bad) > 0 {
					t.Fatalf("%s at %.1f em: %s", to.Class, width, strings.Join(bad, "; "))
				}
			}
			all++
			if s.Listed {
				listed++
			}
		}
	})
	t.Logf("%d of %d drawings list their labels instead", listed, all)
}

// The everyday line is low: one row of labels on a tablet, three on a phone.
func TestDayLineIsLow(t *testing.T) {
	for i, rows := range []int{1, 3, 4} {
		s := sketchOf(sampleDay(), drawings[i])
		if s.Listed || s.Rows > rows {
			t.Errorf("%s: %d rows, listed %v; want at most %d rows of labels", s.Class, s.Rows, s.Listed, rows)
		}
	}
}

func TestDayLineTooCrowdedIsListed(t *testing.T) {
	d := sampleDay()
	for range 8 {
		d.Calls = append(d.Calls, Call{Name: "everything at once", At: at(12, 0)})
	}
	s := sketchOf(d, drawings[2])
	if !s.Listed {
		t.Fatal("labels that have no room are not listed")
	}
	html := rendered(t, daySketch(d, s))
	for _, want := range []string{"<b>16:10</b> tools down", "<b>12:00</b> everything at once"} {
		if !strings.Contains(html, want) {
			t.Errorf("the list lacks %q", want)
		}
	}
}

func TestDayLineInWords(t *testing.T) {
	got := sampleDay().said()
	want := []string{
		"7:00 start of the day", "9:23 last unrolling", "11:50 last cover", "12:18 start stone",
		"16:10 tools down", "16:30 off the roof", "10:52 now",
	}
	if !slices.Equal(got, want) {
		t.Errorf("said %q, want %q", got, want)
	}
}

// After leaving the bar goes on to the present moment, and so does the hatch.
func TestDayLinePastLeaving(t *testing.T) {
	d := sampleDay()
	d.Now = at(17, 30)
	if got := d.part(d.Leaving.Minute); got >= 1 {
		t.Errorf("leaving is at %.2f of the bar, want it inside", got)
	}
	if got := d.part(d.gone()); got != 1 {
		t.Errorf("gone up to %.2f of the bar, want all", got)
	}
}
