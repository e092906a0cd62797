package checks

import (
	"fmt"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
	"pgregory.net/rapid"
)

// TestAnyDay runs all rules over drawn days, however odd: nothing panics, and
// what is found, owed and running has words and a key of its own.
func TestAnyDay(t *testing.T) {
	const date = daylog.Date("2026-06-10")
	chicago, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	plan := readExample(t, "testdata/cover-owed/covers.day")
	g, err := plan.Log(0)
	if err != nil {
		t.Fatal(err)
	}
	var setUp []daylog.Entry
	for _, w := range g.Entries {
		if k := daylog.KindOf(w.Body); k.Group == daylog.SetUp {
			setUp = append(setUp, w.Entry)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		panel := rapid.SampledFrom([]string{"1", "2", "3", "4", "9", ""})
		seam := rapid.SampledFrom([]string{"1|2", "2|3", "3|4", "2|9", "|", ""})
		length := rapid.Custom(func(t *rapid.T) roofplan.Length {
			return roofplan.Feet(rapid.SampledFrom([]float64{-5, 0, 1.5, 41, 41.5, 50, 98.5, 100, 100.5, 1e7}).Draw(t, "ft"))
		})
		part := rapid.Custom(func(t *rapid.T) daylog.Part {
			return daylog.Part{From: length.Draw(t, "from"), To: length.Draw(t, "to")}
		})
		on := rapid.Custom(func(t *rapid.T) daylog.OnSeam {
			return daylog.OnSeam{Seam: seam.Draw(t, "seam"), Part: part.Draw(t, "part")}
		})
		place := rapid.Custom(func(t *rapid.T) daylog.Place {
			p := daylog.Place{On: rapid.SampledFrom([]string{"2|3", "2|3@south", "2|3@north", "3|4@south", "2|3|4", "2|3@moon", "@", ""}).Draw(t, "on")}
			if rapid.Bool().Draw(t, "along") {
				p.At = length.Draw(t, "at")
			}
			if rapid.Bool().Draw(t, "splice") {
				p.What = daylog.Splice
			}
			return p
		})
		places := rapid.SliceOfN(place, 0, 4)
		body := rapid.Custom(func(t *rapid.T) daylog.Body {
			switch rapid.IntRange(0, 13).Draw(t, "kind") {
			case 0:
				return &daylog.PanelPositioned{Panel: panel.Draw(t, "panel")}
			case 1:
				return &daylog.Priming{OnSeam: on.Draw(t, "on")}
			case 2:
				return &daylog.FingerTest{OnSeam: on.Draw(t, "on"), Result: rapid.SampledFrom([]string{"pass", "strings", ""}).Draw(t, "result")}
			case 3:
				return &daylog.TapeLaid{OnSeam: on.Draw(t, "on"), Laps: []daylog.Lap{{At: length.Draw(t, "lap")}}}
			case 4, 5:
				return &daylog.RunClosed{OnSeam: on.Draw(t, "on"), Splices: []string{rapid.SampledFrom([]string{"south", "north", "moon"}).Draw(t, "edge")}}
			case 6:
				return &daylog.HeldShort{OnSeam: on.Draw(t, "on")}
			case 7, 8:
				return &daylog.CoversRolled{Places: places.Draw(t, "places")}
			case 9:
				return &daylog.EdgesTreated{Places: places.Draw(t, "places")}
			case 10:
				return &daylog.StoneSpread{Panels: []daylog.PanelPart{{Panel: panel.Draw(t, "panel"), Part: part.Draw(t, "part"), Less: length.Draw(t, "less")}}, Back: places.Draw(t, "back")}
			case 11:
				return &daylog.TempBallast{Strips: []string{panel.Draw(t, "strip")}}
			case 12:
				return &daylog.LimitSetup{Limit: rapid.SampledFrom(Limits()).Draw(t, "limit").Name, Value: rapid.SampledFrom([]float64{-1, 0, 9, 600, 1e300}).Draw(t, "value")}
			default:
				return &daylog.SeamCheck{}
			}
		})
		entries := append([]daylog.Entry(nil), setUp...)
		for i := range rapid.IntRange(0, 25).Draw(t, "entries") {
			b := body.Draw(t, "body")
			at := time.Date(2026, 6, 10, 12, rapid.IntRange(0, 12*60).Draw(t, "minute"), 0, 0, time.UTC)
			day := date
			if rapid.IntRange(0, 4).Draw(t, "yesterday") == 0 {
				day, at = day.Add(-1), at.AddDate(0, 0, -1)
			}
			device := rapid.SampledFrom([]string{"a", "b"}).Draw(t, "device")
			entries = append(entries, daylog.Entry{Kind: daylog.KindOf(b).Name, Job: "job", Device: device, Stream: device, Seq: int64(i + 1), Tick: int64(i + 1),
				ID: fmt.Sprint("e", i), Day: day, At: at, About: rapid.SampledFrom([]int{0, 15, 600}).Draw(t, "about"), Made: at, Body: b})
		}
		now := time.Date(2026, 6, 10, 12, rapid.IntRange(0, 14*60).Draw(t, "now"), 0, 0, time.UTC)
		s := Look(daylog.Fold("job", entries), date, now, chicago, "a", rapid.Bool().Draw(t, "leaving"))
		keys := map[string]bool{}
		own := func(kind, key, words string) {
			if key == "" || words == "" || keys[kind+key] {
				t.Fatalf("%s %q %q: no words, or a key that another has", kind, key, words)
			}
			keys[kind+key] = true
		}
		for _, f := range Run(s) {
			own("finding", f.Key, f.Says)
			if f.Place == "" || f.Settle == "" || f.Source.Status == "" || f.Seen == "" {
				t.Fatalf("%s: %+v lacks something", f.Key, f)
			}
			if _, ok := daylog.FindKind(f.Answer.Kind); !ok || f.Answer.Label == "" {
				t.Fatalf("%s is answered with %+v", f.Key, f.Answer)
			}
		}
		for _, o := range OwedNow(s) {
			own("owed", o.Key, o.Words)
			if _, ok := daylog.FindKind(o.Answer.Kind); !ok {
				t.Fatalf("%s is done with %+v", o.Key, o.Answer)
			}
		}
		for _, c := range Running(s) {
			own("clock", c.Key, c.Words)
		}
	})
}
