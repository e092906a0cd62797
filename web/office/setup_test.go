package office

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-chi/chi/v5"

	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/internal/roofplan"
	"duskline/internal/store"
)

// desk is an office where nobody signs in, on a log in memory.
type desk struct {
	testing.TB
	log  *store.Memory
	site http.Handler
	now  time.Time
	last int
}

func newDesk(t testing.TB) *desk {
	d := &desk{TB: t, log: store.NewMemory(), now: time.Date(2026, 10, 5, 15, 0, 0, 0, time.UTC)}
	r := chi.NewRouter()
	Routes(Config{Log: d.log, Now: func() time.Time { return d.now }, Logf: t.Errorf})(r)
	d.site = r
	return d
}

func (d *desk) send(method, path string, pairs ...string) *httptest.ResponseRecorder {
	d.Helper()
	form := url.Values{}
	for i := 0; i < len(pairs); i += 2 {
		form.Add(pairs[i], pairs[i+1])
	}
	if method == "POST" && form.Get("form") == "" {
		d.last++
		form.Set("form", "aaaaaaaaaaaaaa"+string(rune('a'+d.last/26))+string(rune('a'+d.last%26)))
	}
	r := httptest.NewRequest(method, path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	d.site.ServeHTTP(w, r)
	return w
}

// saved sends a form that must be taken, and gives where it leads.
func (d *desk) saved(path string, pairs ...string) string {
	d.Helper()
	w := d.send("POST", path, pairs...)
	if w.Code != http.StatusSeeOther {
		d.Fatalf("POST %s: %d\n%s", path, w.Code, w.Body)
	}
	return w.Header().Get("Location")
}

// refused sends a form that must come back with these words.
func (d *desk) refused(path string, words []string, pairs ...string) {
	d.Helper()
	w := d.send("POST", path, pairs...)
	if w.Code != http.StatusUnprocessableEntity {
		d.Errorf("POST %s: %d, want 422", path, w.Code)
	}
	for _, say := range words {
		if !strings.Contains(w.Body.String(), say) {
			d.Errorf("POST %s %v: does not say %q\n%s", path, pairs, say, w.Body)
		}
	}
}

func (d *desk) page(path string, words ...string) {
	d.Helper()
	w := d.send("GET", path)
	if w.Code != http.StatusOK {
		d.Fatalf("GET %s: %d", path, w.Code)
	}
	for _, say := range words {
		if !strings.Contains(w.Body.String(), say) {
			d.Errorf("GET %s does not say %q\n%s", path, say, w.Body)
		}
	}
}

// newJob makes a job and gives the address of its set-up.
func (d *desk) newJob() string {
	d.Helper()
	return d.saved("/jobs/new", "name", "Invented hall", "zone", "America/Chicago", "start", "07:00", "leaving", "16:30", "packup", "20", "invented", "on", "day", "2026-10-05")
}

// planned is a plan that fits, changed by pairs.
func planned(pairs ...string) []string {
	plan := map[string]string{"shape": "rectangle", "wide": "100", "deep": "60 ft", "north": "parapet", "east": "parapet", "south": "wall", "west": "open",
		"north turn-up": "18", "south turn-up": `1'-6"`, "day": "2026-10-05",
		"row 1 first": "1", "row 1 count": "3", "row 1 width": "35", "row 1 last": `30'-8"`, "row 1 length": "63", "row 1 lap": "4", "row 1 west": "0", "row 1 south": `-1'-6"`, "row 1 toward": "east"}
	for i := 0; i < len(pairs); i += 2 {
		plan[pairs[i]] = pairs[i+1]
	}
	var all []string
	for name, value := range plan {
		all = append(all, name, value)
	}
	return all
}

// root is the id of the last entry of a kind on a job.
func (d *desk) root(at, kind string) string {
	d.Helper()
	entries, err := d.log.Entries(d.Context(), strings.Split(at, "/")[2], "")
	if err != nil {
		d.Fatal(err)
	}
	id := ""
	for _, e := range entries {
		if e.Kind == kind && e.Of == "" {
			id = e.ID
		}
	}
	return id
}

func TestReadyForAFirstDay(t *testing.T) {
	d := newDesk(t)
	d.page("/", "New job")
	d.page("/jobs/new", "Time zone")
	at := d.newJob()
	d.page(at, "2 things are missing", "There is no foreman", "no roof plan")
	d.page("/", "2 things are missing for a first day", `href="`+at+`"`)
	d.saved(at+"/person", "name", "Ada Example", "role", "foreman", "day", "2026-10-05")
	d.page(at, "One thing is missing", "Ada Example")
	d.page(at+"/person?like="+d.root(at, "person"), `value="Ada Example"`)
	d.saved(at+"/plan", planned()...)
	d.page(at, "Ready for a first day", "3 panels, 6,000 sq ft", "From Monday 5 October 2026", "by the office")
	d.saved(at+"/standing", "panels", "1", "strip", "1", "strip width", "4", "weighted", "on", "day", "2026-10-05")
	d.saved(at+"/scope", "mat", "on", "day", "2026-10-05")
	d.page(at, "panels 1 stand", "job includes")
	if w := d.send("GET", at+"/plan"); strings.Contains(w.Body.String(), "says more than is asked") {
		t.Error("a plan made here is not asked in full")
	}
	d.page(at+"/plan", `value="100 ft"`, `value="30 ft 8 in"`, "<svg")
	if w := d.send("GET", "/job/none/setup"); w.Code != http.StatusNotFound {
		t.Errorf("a job that nobody wrote of: %d", w.Code)
	}
}

func TestSetupSentTwice(t *testing.T) {
	d := newDesk(t)
	at := d.newJob()
	one := []string{"form", "bbbbbbbbbbbbbbbb", "name", "Ada Example", "role", "foreman", "day", "2026-10-05"}
	d.saved(at+"/person", append(one, "person", "ada")...)
	d.saved(at+"/person", append(one, "person", "ada")...)
	id := strings.Split(at, "/")[2]
	entries, err := d.log.Entries(t.Context(), id, "")
	if err != nil || len(entries) != 2 {
		t.Errorf("%d entries, %v; want the job and one person", len(entries), err)
	}
	if w := d.send("POST", at+"/person", append(one, "person", "other")...); w.Code != http.StatusConflict {
		t.Errorf("the same form with other words: %d", w.Code)
	}
}

func TestBadSetupComesBack(t *testing.T) {
	d := newDesk(t)
	d.refused("/jobs/new", []string{"There is no time zone of this name", `value="Mars/Olympus"`, "Give the job a name", "People leave after they start"},
		"zone", "Mars/Olympus", "start", "16:30", "leaving", "07:00", "day", "2026-10-05")
	at := d.newJob()
	d.refused(at+"/job", []string{"This is no time of day", `value="half past four"`}, "name", "x", "zone", "UTC", "leaving", "half past four", "day", "2026-10-05")
	d.refused(at+"/job", []string{"not a number", `value="soon"`}, "name", "x", "zone", "UTC", "packup", "soon", "day", "2026-10-05")
	d.refused(at+"/job", []string{"outside of what is usual"}, "name", "x", "zone", "UTC", "packup", "900", "day", "2026-10-05")
	d.refused(at+"/person", []string{"Give the person a name", "Say what the person is", "no day that can be read", `value="Tuesday"`}, "day", "Tuesday")
	d.refused(at+"/standing", []string{"Panel 9 is not on the roof plan"}, "panels-other", "9", "day", "2026-10-05")
	limit := at + "/limits/edge-early.wait_min"
	d.refused(limit, []string{"the reason stands beside the value", "not a number", `value="long"`}, "value", "long", "day", "2026-10-05")
	d.refused(limit, []string{"between 0 and"}, "value", "-1", "why", "because", "day", "2026-10-05")
	if w := d.send("GET", at+"/limits/none"); w.Code != http.StatusNotFound {
		t.Errorf("a limit that does not exist: %d", w.Code)
	}
}

func TestPlansThatDoNotFit(t *testing.T) {
	d := newDesk(t)
	at := d.newJob()
	for _, c := range []struct {
		say   string
		pairs []string
	}{
		{"wide-error", []string{"wide", "a lot"}},
		{"deep-error", []string{"deep", "0"}},
		{"takes away the whole width", []string{"shape", "l", "less wide", "100", "less deep", "20"}},
		{"Panel 1 reaches 3 ft past the north side", []string{"row 1 length", "64 ft 6 in"}},
		{"Panel 3 reaches", []string{"row 1 last", "35"}},
		{"Panel 3 reaches 10 ft by 22 ft into the corner that is missing", []string{"shape", "l", "corner", "north-east", "less wide", "10", "less deep", "22"}},
		{"Say which shape the roof has", []string{"shape", "hexagon"}},
		{"Say which corner is missing", []string{"shape", "l", "corner", "middle", "less wide", "10", "less deep", "10"}},
		{"Say what stands at this side", []string{"west", "hedge"}},
		{"north_20turn-up-error", []string{"north turn-up", "a bit"}},
		{"row_201_20west-error", []string{"row 1 west", "somewhere"}},
		{"row_201_20toward-error", []string{"row 1 toward", "up"}},
		{"row_201_20stagger-error", []string{"row 1 stagger", "x"}},
		{"row_201_20first-error", []string{"row 1 first", "one"}},
		{"row_201_20last-error", []string{"row 1 last", "-3"}},
		{"row_201_20length-error", []string{"row 1 length", "no"}},
		{"width the row would have", []string{"row 1 count", "", "row 1 last", "", "row 1 width", "5 in"}},
		{"Panels side by side lap", []string{"row 1 lap", "0"}},
		{"A row has 1 to 200 panels", []string{"row 1 count", "many"}},
		{"Write at least one row", []string{"row 1 first", "", "row 1 count", "", "row 1 width", ""}},
	} {
		d.refused(at+"/plan", []string{c.say}, planned(c.pairs...)...)
	}
	w := d.send("POST", at+"/plan", planned("draw", "on", "day", "")...)
	if w.Code != http.StatusOK || strings.Count(w.Body.String(), "<rect") != 3 || strings.Count(w.Body.String(), "<line") != 6 {
		t.Errorf("drawn: %d\n%s", w.Code, w.Body)
	}
	d.page(at, "no roof plan")
}

// Every L comes back from its plan as it was typed.
func TestPlanAsTyped(t *testing.T) {
	for _, corner := range []string{"north-east", "north-west", "south-east", "south-west"} {
		form := url.Values{}
		pairs := planned("shape", "l", "corner", corner, "less wide", "10", "less deep", `20'-6 1/2"`, "row 1 south", "21", "row 1 length", "17")
		for i := 0; i < len(pairs); i += 2 {
			form.Set(pairs[i], pairs[i+1])
		}
		p, layout, wrong := readPlan(form)
		if len(wrong) > 0 {
			t.Fatalf("%s: %v", corner, wrong)
		}
		if want := 6000 - 10*(20+6.5/12); layout.Area < want-.1 || layout.Area > want+.1 {
			t.Errorf("%s: %v sq ft, want %v", corner, layout.Area, want)
		}
		again, _, wrong := readPlan(planTyped(p))
		if len(wrong) > 0 || !slices.Equal(again.Outline, p.Outline) || !slices.Equal(again.Edges, p.Edges) || again.Rows[0].Corner != (roofplan.Point{Y: roofplan.Feet(21)}) {
			t.Errorf("%s: %v\n%v\n%v", corner, wrong, p, again)
		}
	}
}

// What is left empty is reckoned: panels on the turn-ups, as many as it takes, the
// next row where the first ends, its joints staggered.
func TestPlanFilledIn(t *testing.T) {
	form := url.Values{}
	pairs := planned("row 1 first", "", "row 1 count", "", "row 1 width", "20", "row 1 last", "", "row 1 length", "32", "row 1 lap", "6", "row 1 west", "", "row 1 south", "", "west", "parapet", "west turn-up", "12",
		"row 2 width", "20", "row 2 lap", "6", "row 2 length", "31'-6\"", "row 2 stagger", "8", "row 2 toward", "east",
		"row 3 width", "8'-6\"", "row 3 lap", "6", "row 3 length", "31'-6\"", "row 3 west", "-1", "row 3 south", "30", "row 3 count", "1", "row 3 toward", "east")
	for i := 0; i < len(pairs); i += 2 {
		form.Set(pairs[i], pairs[i+1])
	}
	p, l, wrong := readPlan(form)
	if len(wrong) > 0 {
		t.Fatal(wrong)
	}
	one, two := p.Rows[0], p.Rows[1]
	if one.Corner != (roofplan.Point{X: -12, Y: -18}) || len(one.Sheets) != 6 || one.Sheets[0].Name != "1" || one.Sheets[5].Width != roofplan.Feet(3.5) {
		t.Errorf("the first row is %+v", one) // 101 ft: 5 of 19 ft 6 in and 3 ft 6 in
	}
	if two.Corner != (roofplan.Point{X: -12 + roofplan.Feet(8), Y: roofplan.Feet(30)}) || two.Sheets[0].Name != "7" {
		t.Errorf("the second row is %+v", two)
	}
	if l.Covered != l.Area {
		t.Errorf("%v of %v sq ft are under sheet", l.Covered, l.Area)
	}
}

// A limit that changes from a day on leaves what stood before as it was.
func TestLimitFromADayOn(t *testing.T) {
	d := newDesk(t)
	at := d.newJob()
	d.saved(at+"/limits/edge-early.wait_min", "value", "300", "why", "invented specification 3.4", "day", "2026-10-07")
	d.now = d.now.AddDate(0, 0, 3)
	d.page(at+"/limits", "From Wednesday 7 October 2026", "Why: invented specification 3.4", "<b>at least 300 min</b>", "240 min", "common practice, no source")
	entries, err := d.log.Entries(t.Context(), strings.Split(at, "/")[2], "")
	if err != nil {
		t.Fatal(err)
	}
	job := daylog.Fold("x", entries)
	if _, set := job.On("2026-10-06").Setup.Limits["edge-early.wait_min"]; set {
		t.Error("the day before has the new limit")
	}
	if got := job.On("2026-10-07").Setup.Limits["edge-early.wait_min"]; got != 300 {
		t.Errorf("from its day on: %v", got)
	}
}

// A lap that was under the limit of its own day stays a finding of that day.
func TestEarlierFindingsStay(t *testing.T) {
	d := newDesk(t)
	at := d.newJob()
	id := strings.Split(at, "/")[2]
	d.saved(at+"/plan", planned()...)
	for i, day := range []daylog.Date{"2026-10-05", "2026-10-07"} {
		when := d.now.AddDate(0, 0, 2*i)
		e := daylog.Entry{ID: "cccccccccccccccc." + string(day), Day: day, At: when, Made: when, Body: &daylog.LapMeasured{Seam: "1|2", Width: roofplan.Inches(4.5)}}
		if _, err := d.log.Write(t.Context(), id, e); err != nil {
			t.Fatal(err)
		}
	}
	found := func(day daylog.Date) (says []string) {
		entries, err := d.log.Entries(t.Context(), id, "")
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range checks.Run(checks.Look(daylog.Fold(id, entries), day, d.now.AddDate(0, 0, 2), time.UTC, d.log.Device(), false)) {
			if f.Check.ID == "lap-narrow" {
				says = append(says, f.Says+" of "+f.Limit)
			}
		}
		return says
	}
	was, next := found("2026-10-05"), found("2026-10-07")
	if len(was) != 1 || len(next) != 1 {
		t.Fatalf("before the change: %v, %v; want one each", was, next)
	}
	d.saved(at+"/limits/lap-narrow.target_in", "value", "4.5", "why", "invented specification 3.2", "day", "2026-10-07")
	if is := found("2026-10-05"); !slices.Equal(is, was) {
		t.Errorf("the day before the change finds %v, found %v", is, was)
	}
	if is := found("2026-10-07"); len(is) != 0 {
		t.Errorf("from the change on: %v", is)
	}
}

func TestSetupCorrected(t *testing.T) {
	d := newDesk(t)
	at := d.newJob()
	d.saved(at+"/person", "form", "bbbbbbbbbbbbbbbb", "person", "ada", "name", "Ada Exampel", "role", "foreman", "day", "2026-10-05")
	correct := at + "/person?of=bbbbbbbbbbbbbbbb"
	d.page(correct, `value="Ada Exampel"`, "Why it is corrected")
	d.refused(correct, []string{"Say why"}, "person", "ada", "name", "Ada Example", "role", "foreman")
	d.saved(correct, "person", "ada", "name", "Ada Example", "role", "foreman", "why", "spelled wrong")
	d.page(at, "Person: Ada Example", "corrected", "spelled wrong", "<s>Person: Ada Exampel, ")
	// What was corrected last counts, though another line came in between.
	d.now = d.now.Add(time.Hour)
	d.saved(at+"/person", "person", "ada", "name", "Ada Example", "role", "crew", "day", "2026-10-05")
	d.page(at, `<span class="next">crew</span>`)
	d.saved(correct, "person", "ada", "name", "Ada Example", "role", "manager", "why", "it was the first line")
	d.page(at, `<span class="next">manager</span>`)
}

func TestSetupCopied(t *testing.T) {
	d := newDesk(t)
	from := d.newJob()
	d.saved(from+"/person", "name", "Ada Example", "role", "foreman", "day", "2026-10-05")
	d.saved(from+"/plan", planned()...)
	d.saved(from+"/scope", "mat", "on", "day", "2026-10-05")
	d.saved(from+"/limits/edge-early.wait_min", "value", "300", "why", "invented specification 3.4", "day", "2026-10-05")
	d.saved(from+"/standing", "panels", "1", "day", "2026-10-05")
	d.saved(from+"/week", "days", "friday", "leaving", "14:30", "day", "2026-10-05")
	d.saved(from+"/dayoff", "date", "2026-11-26", "name", "Invented feast", "day", "2026-10-05")
	d.saved(from+"/material", "material", "tape", "kind", "T-3", "day", "2026-10-05")
	d.saved(from+"/zones", "system", "1", "height", "30", "width", "12", "checked", "invented letter", "day", "2026-10-05")
	d.page("/jobs/new", "Invented hall", "No other job")
	next := []string{"form", "dddddddddddddddd", "name", "Invented annex", "zone", "America/Chicago", "leaving", "16:00", "day", "2026-10-05"}
	d.refused("/jobs/new", []string{"no such job to copy from"}, append(next, "copied", "none")...)
	to := d.saved("/jobs/new", append(next, "copied", strings.Split(from, "/")[2])...)
	d.page(to, "Ready for a first day", "Invented annex", "Ada Example", "leaving 16:00", "job includes", "1 set for this job", "as on Invented hall", "Invented feast", "leaving 14:30", "Tape T-3",
		"rates from memory, verify against the standard")
	if w := d.send("GET", to); strings.Contains(w.Body.String(), "panels 1 stand") {
		t.Error("what stands on the one roof stands on the other")
	}
}

func TestPlanSaysMore(t *testing.T) {
	d := newDesk(t)
	at := d.newJob()
	now := d.now
	p := roofplan.Plan{Outline: []roofplan.Point{{}, {X: 600}, {X: 600, Y: 600}, {Y: 600}}, Panels: []roofplan.Placed{{Name: "1", Width: 600, Length: 600}}}
	if _, err := d.log.Write(t.Context(), strings.Split(at, "/")[2], daylog.Entry{ID: "eeeeeeeeeeeeeeee", Day: "2026-10-05", At: now, Made: now, Body: &daylog.PlanSetup{Plan: p}}); err != nil {
		t.Fatal(err)
	}
	d.page(at+"/plan", "says more than is asked here")
}
