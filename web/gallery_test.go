package web

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/a-h/templ"
)

// The gallery is every part with invented data, as pages to look at:
//
//	go test ./web -run Gallery -artifacts -outputdir /tmp/gallery
//
// then serve the folder it names and open now.html.

// at is a time of day from its hours and minutes.
func at(hour, minute int) Stamp {
	return Stamp{hour*60 + minute, clockText(hour*60 + minute)}
}

func clockText(m int) string {
	return Clock{CountsUp: true, Now: int64(m) * 60_000}.Face()
}

// instant is a time of day of the invented day as Unix milliseconds.
func instant(hour, minute int) int64 {
	const midnight = 1_791_262_800_000 // 2026-10-06 00:00 in Chicago
	return midnight + int64(hour*60+minute)*60_000
}

func sampleDay() DayLine {
	return DayLine{
		ID: "today", Start: at(7, 0), Leaving: at(16, 30), Now: at(10, 52), StartInstant: instant(7, 0),
		Calls: []Call{
			{Name: "last unrolling", At: at(9, 23)},
			{Name: "last cover", At: at(11, 50)},
			{Name: "start stone", At: at(12, 18)},
			{Name: "tools down", At: at(16, 10), Strong: true},
			{Name: "off the roof", At: at(16, 30), Strong: true},
		},
	}
}

func sampleNav(current string) []NavLink {
	var nav []NavLink
	for _, page := range []string{"Now", "Entries", "Leaving"} {
		nav = append(nav, NavLink{Label: page, URL: strings.ToLower(page) + ".html", Current: page == current})
	}
	return nav
}

func sampleFrame(current string) Frame {
	return Frame{
		Title: current, Job: "Annex roof, north half", JobURL: "now.html", Nav: sampleNav(current),
		Saved: "Saved here 10:51 · 14 not sent, oldest 7:40 · no signal", Writer: "R. Example, foreman", Invented: true,
	}
}

func sampleThumb() []Action {
	return []Action{
		{Label: "Run closed", Note: "6|7, 38 to 100 ft", URL: "form.html", Post: true, Hidden: []Hidden{{"run", "6|7"}}},
		{Label: "Covers done", Note: "3 owed", URL: "form.html"},
		{Label: "Priming", Note: "run 7|8 next", URL: "form.html"},
		{Label: "Panel in position", Note: "panel 9 next", URL: "form.html"},
		{Label: "Rain begins", Note: "or thunder, wind", URL: "form.html"},
		{Label: "Other entry", Note: "everything else", URL: "form.html"},
	}
}

func sampleWarnings() []Warning {
	return []Warning{
		{
			Kind: Stop, Where: "Run 6|7, 38 to 100 ft", What: "no finger test since priming",
			Say:  "Tape went down 10:44. Test it now, or enter the test you made.",
			Seen: "none", Limit: "1 per stretch", Source: "common practice",
			Do: Action{Label: "Test", URL: "form.html"}, SetAside: Action{Label: "Set aside", URL: "form.html"},
		},
		{
			Kind: Today, Where: "Panel 8", What: "would not be finished by 16:10",
			Say:  "Covers done 12:39 at your pace. Hold the ends short, or leave at 17:20.",
			Seen: "treatable 16:39", Limit: "16:10", Source: "job specification",
			Do: Action{Label: "What if", URL: "form.html"}, SetAside: Action{Label: "Set aside", URL: "form.html"},
		},
		{
			Kind: Asked, What: "When was panel 7 in position?",
			Say:  "Logged at the break. Between 8:58 and 9:28 it keeps the rest, later it does not.",
			Seen: "about 9:15", Limit: "30 min before priming",
			Do: Action{Label: "9:15", URL: "form.html", Post: true},
		},
	}
}

func sampleClocks() []Clock {
	now := instant(10, 52)
	return []Clock{
		{What: "Treatable", Of: "covers, run 4|5", From: instant(9, 5), Until: instant(13, 5), Now: now, Unit: "to go", OverUnit: "ready since", OverSaid: "Covers on run 4|5 can be treated", Side: "at 13:05"},
		{What: "Flash-off", Of: "covers, run 5|6", From: instant(10, 45), Until: instant(10, 55), Now: now, CountsUp: true, Unit: "since", Side: "primed 10:45"},
		{What: "Resting", Of: "panel 8, 20 x 100", From: instant(10, 33), Until: instant(11, 3), Now: now, Unit: "to go", OverUnit: "rested since", OverSaid: "Panel 8 has rested", Side: "at 11:03", Action: Action{URL: "form.html"}},
	}
}

func sampleOwed() []Owed {
	return []Owed{
		{Mark: MarkCoverOwed, What: "Covers on run 6|7", Detail: "end lap at 41 ft · folded at both walls", Action: Action{Label: "3 places", Note: "by 11:50", URL: "form.html"}},
		{Mark: MarkWaiting, Held: true, What: "Treatment, run 4|5", Detail: "3 covers, from 13:05 · 2 splices, from 12:40", Action: Action{Label: "5 places", URL: "form.html"}},
		{Mark: MarkOtherOwed, What: "Seam check, run 5|6", Detail: "before stone comes near", Action: Action{Label: "walk it", URL: "form.html"}, Once: Action{Label: "Walked now", URL: "form.html", Post: true}},
		{Mark: MarkOtherOwed, What: "Stone on panels 6 and 7", Detail: "6,710 sq ft bare, weighted · 33.6 short tons", Action: Action{Label: "start 12:18", URL: "form.html"}},
		{Mark: MarkOtherOwed, What: "Panel 6, north and south edge", Detail: "fasten 39 ft", Action: Action{Label: "fasten", URL: "form.html"}},
		{Mark: MarkOtherOwed, What: "Night seal, east edge of panel 8", Detail: "97 ft, start by 15:10"},
	}
}

// sampleSpots puts each row at a place of its own.
func sampleSpots(owed []Owed) []OpenPlace {
	var all []OpenPlace
	for i, o := range owed {
		all = append(all, OpenPlace{Place: []string{"Run 6|7", "Run 4|5", "Panel 6", "The roof"}[i%4], Owed: []Owed{o}})
	}
	return all
}

func sampleEntries() []EntryAct {
	acts := []Action{{Label: "Correct", URL: "form.html", About: "this entry"}, {Label: "Strike", URL: "form.html", About: "this entry"}}
	return []EntryAct{
		{Time: "6:50", Quiet: []string{"Person: R. Example", "Panels 1 to 5 stand", "Limit: edge-early.wait_min 300"}},
		{Time: "7:00", Lines: []EntryLine{{ID: "e1", What: "Start, leaving 16:30", By: "R. Example", Actions: acts}}},
		{Time: "9:15", About: true, Lines: []EntryLine{{ID: "e2", What: "Panel 7 in position, edges weighted", By: "R. Example", Late: "written 9:44", Actions: acts}}},
		{Time: "9:40", Until: "10:05", Lines: []EntryLine{{ID: "e3", What: "3 covers (4|5 at 52 ft, south and north) rolled", By: "T. Example", Corrected: "was 9:40 to 9:55; by R. Example 10:12: one more place", Unsent: true, Actions: acts}}},
		{Time: "10:15", Lines: []EntryLine{
			{ID: "e4", What: "Priming 6|7, 38 to 100 ft", By: "R. Example", Struck: "waited: sheet still damp", StruckBy: "R. Example, 10:16", Unsent: true},
			{ID: "e5", What: "Tape laid 6|7, 38 to 100 ft, end lap at 41 ft of 1 1/2 in", By: "R. Example", After: true, Unsent: true, Actions: acts},
		}},
		{Time: "10:50", Lines: []EntryLine{{ID: "e6", Newer: true, By: "office"}}},
	}
}

func timeOptions(chosen string) []Option {
	all := []Option{
		{Value: "now", Label: "Now", Note: "10:52"}, {Value: "15", Label: "15 min ago", Note: "10:37"},
		{Value: "30", Label: "30 min ago", Note: "10:22"}, {Value: "45", Label: "45 min ago", Note: "10:07"},
		{Value: "break", Label: "Break", Note: "9:30"}, {Value: "lunch", Label: "Lunch", Note: "12:30"},
		{Value: TimeOther, Label: "Other time"},
	}
	for i := range all {
		all[i].Chosen = all[i].Value == chosen
	}
	return all
}

func sampleForm() Form {
	number := func(name, label, unit, value string) Field {
		return Field{Name: name, Kind: FieldNumber, Label: label, Unit: unit, Value: value}
	}
	return Form{
		Heading: Heading{Title: "Covers rolled", Lead: "Run 6|7 between panels 6 and 7"},
		URL:     "form.html",
		Hidden:  []Hidden{{"day", "2026-10-06"}, {"form", "f1"}},
		Facts:   []Fact{{"Primed", "10:31, as logged"}},
		Asks:    []Question{{Field: "size", Say: "A cover of 8 in is under the published floor of 9 in."}, {Field: "at", Say: "10:45 is still to come."}},
		Groups: []FieldGroup{
			{Fields: []Field{
				{Name: "places", Kind: FieldMany, Label: "Which places", Help: "Tick all that were rolled in this batch.", OtherLabel: "Another place", OtherHelp: "As in 2|3 at 41 ft.", Options: []Option{
					{Value: "a", Label: "6|7 at 41 ft", Note: "end lap, owed", Mark: MarkCoverOwed, Chosen: true},
					{Value: "b", Label: "6|7 south", Note: "folded, owed", Mark: MarkCoverOwed, Chosen: true},
					{Value: "c", Label: "6|7 north", Note: "folded, owed", Mark: MarkCoverOwed},
					{Value: "d", Label: "4|5|6", Note: "T-joint, rolled 9:05", Mark: MarkWaiting, Held: true},
					{Value: "e", Label: "4|5 at 52 ft", Note: "end lap, treated", Mark: MarkTreated},
				}},
				{Name: "at", Kind: FieldTime, Label: "When the last one was rolled", Options: timeOptions(TimeOther), Other: "10:4x", OtherLabel: "Time of day", Error: "Write the time as 10:45."},
				{Name: "begun", Kind: FieldTime, Label: "Begun at", Folded: true, Options: timeOptions(""), OtherLabel: "Time of day"},
			}},
			{Title: "How", Help: "Carried forward from the last batch; change what was different.", Fields: []Field{
				{Name: "size", Kind: FieldNumber, Label: "Cover size", Value: "8", Unit: "in", Help: "The smaller side.", Asked: "A cover of 8 in is under the published floor of 9 in."},
				number("air", "Air", "F", "62"), number("rh", "Humidity", "%", "70"), number("wind", "Wind", "mph", ""),
				{Name: "feet", Kind: FieldLength, Label: "Where on the seam", Value: "41 ft 6 inn", Unit: "ft", Error: "Write feet and inches as 41 ft 6 in."},
				{Name: "leaving", Kind: FieldClock, Label: "Leaving", Value: "16:30"},
				{Name: "seam", Kind: FieldChoice, Label: "Seam", Needed: true, OtherLabel: "Another seam", Other: "9|10", Options: []Option{{Value: "6|7", Label: "6|7", Note: "0 to 50 ft open", Chosen: true}, {Value: "5|6", Label: "5|6", Note: "100 ft, made"}}},
				{Name: "one face", Kind: FieldTick, Label: "Only one face primed", Value: "on"},
				{Name: "uncleaned", Kind: FieldTick, Label: "Not cleaned first"},
				{Name: "laps", Kind: FieldRows, Label: "Tape end laps", Rows: []FieldRow{
					{Name: "Lap 1", Cells: []Field{{Name: "laps.0.at", Kind: FieldLength, Label: "At", Unit: "ft", Value: "41"}, {Name: "laps.0.lap", Kind: FieldLength, Label: "Overlaps by", Unit: "in", Value: "1 1/2"}}},
				}},
				{Name: "panels", Kind: FieldRows, Label: "On panels", OtherLabel: "Another panel", Rows: []FieldRow{
					{Tick: &Option{Value: "6", Label: "Panel 6", Note: "1,899.6 sq ft bare", Chosen: true}, Cells: []Field{{Name: "panels.6.less", Kind: FieldLength, Label: "Strip left open", Unit: "ft"}, {Name: "panels.6.from", Kind: FieldLength, Label: "Only from", Unit: "ft"}, {Name: "panels.6.to", Kind: FieldLength, Label: "Only up to", Unit: "ft"}}},
				}},
				{Name: "by", Kind: FieldText, Label: "Rolled by", Value: "T. Example"},
				{Name: "note", Kind: FieldLongText, Label: "Anything else", Value: "South wall was wet until nine."},
				{Name: "seq", Kind: FieldHidden, Value: "12"},
			}},
			{Step: &Field{Name: "did.test", Kind: FieldTick, Label: "Finger test", Value: "on"}, Help: "Tacky, neither sticks nor strings.", Fields: []Field{
				{Name: "result", Kind: FieldChoice, Label: "Finger test", Options: []Option{{Value: "pass", Label: "Passes", Chosen: true}, {Value: "wet", Label: "Fails"}}},
			}},
			{Step: &Field{Name: "did.tape", Kind: FieldTick, Label: "Tape laid"}, Fields: []Field{{Name: "tape.by", Kind: FieldText, Label: "Laid by"}}},
		},
		Cancel: Action{Label: "Back without saving", URL: "now.html"},
	}
}

func samplePeople() Warning {
	return Warning{
		Kind: People, Where: "Panel 8", What: "weight it now",
		Say:  "Gusts of 27 mph and a sheet with nothing on it. Weight it and clear the lee side.",
		Seen: "27 mph", Limit: "25 mph", Source: "job limit", Answers: "R. Example, competent person,",
		Do: Action{Label: "Weighted", URL: "form.html"},
	}
}

func sampleNote() Warning {
	return Warning{
		Kind: Note, Where: "Run 4|5", What: "lap of 4 3/4 in", Say: "Recorded and printed.",
		Seen: "4 3/4 in", Limit: "5 in", Source: "job specification", SetAside: Action{Label: "Say why", URL: "form.html"},
	}
}

// page puts parts one after the other.
func page(f Frame, parts ...templ.Component) templ.Component {
	return templ.ComponentFunc(func(ctx context.Context, w io.Writer) error {
		return Layout(f).Render(templ.WithChildren(ctx, templ.Join(parts...)), w)
	})
}

func with(outer templ.Component, parts ...templ.Component) templ.Component {
	return templ.ComponentFunc(func(ctx context.Context, w io.Writer) error {
		return outer.Render(templ.WithChildren(ctx, templ.Join(parts...)), w)
	})
}

func sampleAsides() []Aside {
	return []Aside{{Words: "Cover 6|7 at 41 ft is not treated", Reason: "rolled, no stone, weighted, first thing tomorrow", By: "R. Example, 15:08", Action: Action{Label: "Its line", URL: "entries.html"}}}
}

func nowPage(day DayLine, warnings []Warning, clocks []Clock, owed []Owed) templ.Component {
	f := sampleFrame("Now")
	f.Clocks, f.Thumb = true, sampleThumb()
	f.SkewMillis = instant(10, 52) - time.Now().UnixMilli() // so that the clocks run on from there
	return page(f,
		UnseenHeading("Now"),
		DayLineFigure(day),
		NowBoard(Board{Warnings: warnings, Quiet: "Nothing is wrong or asked.", Clocks: clocks, Owed: sampleSpots(owed), OwedNote: "nothing late yet", Aside: sampleAsides()}),
	)
}

func leavingPage() templ.Component {
	f := sampleFrame("Leaving")
	return page(f,
		PageHeading(Heading{Title: "Before the crew may go", Lead: "Two things are open. Tools down is 16:10."}),
		with(Section("Frozen with the signature", ""), Stood([]string{"Cover at 41 ft not treated. Set aside: rolled, no stone, weighted, first thing tomorrow"})),
		SignedBlock(Signature{Signed: "Signed 15:20 by R. Example", CheckCode: "7KQ2D-MX4TA-P9RWE-3CZVH", Statement: "The above is a true record.", Stood: []string{"Cover at 41 ft not treated"}, After: "1 line written or changed after signing"}),
		with(Section("Run 6|7", "97 ft flat, 100 ft with turn-ups"), Facts([]Fact{{"0 to 38 ft", "closed 10:31, tested 10:12"}, {"38 to 100 ft", "taped 10:44, not tested"}, {"Tape", "lot 4417, made Aug 2026"}})),
		NewerVersion(3),
		Nothing(Empty{Say: "Nothing is wrong or asked.", Do: Action{Label: "Write an entry", URL: "form.html"}}),
	)
}

func galleryPages() map[string]templ.Component {
	entries := sampleFrame("Entries")
	form := sampleFrame("Covers rolled")
	form.Nav = sampleNav("")
	trouble := sampleFrame("Not found")
	evening := sampleDay()
	evening.Now, evening.StartInstant = at(16, 48), 0
	all := map[string]templ.Component{
		"now": nowPage(sampleDay(), sampleWarnings(), sampleClocks(), sampleOwed()),
		"now-worst": nowPage(evening, append(append([]Warning{samplePeople()}, sampleWarnings()...), sampleNote()),
			sampleClocks(), append(sampleOwed(), Owed{Mark: MarkTreated, What: "End lap at 52 ft, run 4|5"}, Owed{Mark: MarkHeldBack, What: "Held-back places", Detail: "six of 9 sq ft"})),
		"now-calm": nowPage(sampleDay(), nil, sampleClocks()[:2], sampleOwed()[1:5]),
		"now-some": nowPage(sampleDay(), sampleWarnings()[:2], sampleClocks(), sampleOwed()),
		"entries":  page(entries, PageHeading(Heading{Title: "Tuesday 6 October 2026", Lead: "Six entries, four not sent."}), EntryActs(sampleEntries())),
		"form":     page(form, FormPage(sampleForm())),
		"leaving":  leavingPage(),
	}
	for name, status := range map[string]int{"403": 403, "404": 404, "500": 500} {
		t := TroubleFor(status)
		t.Do = Action{Label: "To Now", URL: "now.html"}
		all[name] = ErrorPage(trouble, t)
	}
	return all
}

func rendered(t testing.TB, c templ.Component) string {
	t.Helper()
	var b strings.Builder
	if err := c.Render(t.Context(), &b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestGallery(t *testing.T) {
	dir := t.ArtifactDir()
	for name, c := range galleryPages() {
		keep(t, filepath.Join(dir, name+".html"), []byte(rendered(t, c)))
	}
	for _, name := range []string{"site.css", "clocks.js", "fonts/atkinson-hyperlegible-next-latin-wght-normal.woff2"} {
		b, err := os.ReadFile(filepath.Join("../static", name))
		if err != nil {
			t.Fatal(err)
		}
		keep(t, filepath.Join(dir, "static", name), b)
	}
	t.Log("pages in", dir)
}

func keep(t *testing.T, name string, b []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, b, 0o644); err != nil {
		t.Fatal(err)
	}
}
