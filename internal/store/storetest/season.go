package storetest

import (
	"fmt"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// Season gives the drafts of an invented job for benchmarks, by day: on each,
// two sheets are laid and their seams made in short runs, perDay entries in
// all. The first day has the set-up before its own.
func Season(days, perDay int) [][]daylog.Entry {
	const first = daylog.Date("2026-05-04")
	row := roofplan.Row{Corner: roofplan.Point{X: -18, Y: -18}, Length: roofplan.Feet(100), Lap: 5}
	for i := range 2*days + 1 {
		row.Sheets = append(row.Sheets, roofplan.Sheet{Name: fmt.Sprint(i + 1), Width: roofplan.Feet(20)})
	}
	east := roofplan.Feet(40*float64(days) + 20 - 3) // less what the laps take
	east -= roofplan.Length(10 * days)
	north := roofplan.Feet(97)
	plan := roofplan.Plan{Outline: []roofplan.Point{{}, {X: east}, {X: east, Y: north}, {Y: north}}, Rows: []roofplan.Row{row}}
	for _, name := range []string{"south", "east", "north", "west"} {
		plan.Edges = append(plan.Edges, roofplan.Edge{Name: name, Kind: roofplan.Parapet, TurnUp: 18})
	}
	out := make([][]daylog.Entry, days)
	for i := range days {
		day := first.Add(i)
		start, _ := time.Parse(time.DateOnly, string(day))
		at := start.Add(12 * time.Hour)
		n := 0
		add := func(body daylog.Body) {
			at = at.Add(90 * time.Second)
			out[i] = append(out[i], daylog.Entry{
				ID: daylog.FormID(fmt.Sprintf("k3v9x2%04d%04d", i, n/6), n%6), Day: day, At: at, Made: at,
				Author: "ada", By: []string{"ada", "ben"}, Body: body,
			})
			n++
		}
		if i == 0 {
			add(&daylog.JobSetup{Name: "Invented hall", Zone: "America/Chicago", Leaving: "16:30", Packup: 20, Invented: true})
			add(&daylog.PlanSetup{Plan: plan})
			add(&daylog.Standing{Panels: []string{"1"}})
			for _, id := range []string{"ada", "ben"} {
				add(&daylog.Person{Person: id, Name: id, Role: "crew"})
			}
			n = 0
			for k := range out[0] {
				out[0][k].ID = daylog.FormID("setup", k)
			}
		}
		add(&daylog.Start{Leaving: start.Add(20*time.Hour + 30*time.Minute)})
		runs := max(1, (perDay-4)/14)
		for half := range 2 {
			panel := 2*i + half + 2
			seam := fmt.Sprintf("%d|%d", panel-1, panel)
			add(&daylog.PanelPositioned{Panel: fmt.Sprint(panel), Weighted: true})
			length := roofplan.Feet(100) / roofplan.Length(runs)
			for r := range runs {
				from := roofplan.Length(r) * length
				on := daylog.OnSeam{Seam: seam, Part: daylog.Part{From: from, To: from + length}}
				place := []daylog.Place{{On: seam, At: from + 12, X: from, Y: from}}
				add(&daylog.Priming{OnSeam: on})
				add(&daylog.FingerTest{OnSeam: on, Result: "pass"})
				add(&daylog.TapeLaid{OnSeam: on, Laps: []daylog.Lap{{At: from + 12, Lap: 1.5}}})
				add(&daylog.RunClosed{OnSeam: on})
				add(&daylog.CoversRolled{Places: place})
				add(&daylog.EdgesTreated{Places: place})
				add(&daylog.Note{Text: "Invented remark about this run, of a usual length."})
			}
		}
		for n < perDay {
			add(&daylog.Note{Text: "Invented remark."})
		}
	}
	return out
}
