package office

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"duskline/internal/checks"
	"duskline/internal/daylog"
)

// whole are forms of the set-up that can be saved; each of their fields is then
// spoiled.
var whole = map[string][]string{
	"job":         {"name", "Invented hall", "zone", "America/Chicago"},
	"week":        {"days", "friday", "leaving", "14:30"},
	"dayoff":      {"date", "2026-11-26", "name", "Invented feast"},
	"scope":       {"mat", "on"},
	"penetration": {"name", "D1", "sort", "drain"},
	"zones":       {"height", "20", "width", "8' 6\""},
	"approved":    {"stone", "No. 4", "psf", "10"},
	"material":    {"material", "tape", "kind", "T, invented"},
	"joblot":      {"material", "tape", "lot", "T-1"},
	"person":      {"name", "Ada Example", "role", "foreman"},
	"standing":    {"panels", "1"},
}

var unseen = regexp.MustCompile(`[^a-zA-Z0-9.-]`)

// idOf is the id of the sentence at a field.
func idOf(field string) string {
	return "f-" + unseen.ReplaceAllStringFunc(field, func(s string) string { return fmt.Sprintf("_%x", s[0]) }) + "-error"
}

// Every field of every form of the set-up, wrong in the usual ways: the answer
// stands at the field, what was typed is kept, and nothing is written.
func TestEveryFieldWrong(t *testing.T) {
	d := newDesk(t)
	at := d.newJob()
	id := strings.Split(at, "/")[2]
	d.saved(at+"/plan", planned()...)
	entries, err := d.log.Entries(t.Context(), id, "")
	if err != nil {
		t.Fatal(err)
	}
	day, had, tried := daylog.Fold(id, entries).On("2026-10-05"), len(entries), 0
	long := strings.Repeat("long ", 500)
	usual := map[daylog.FieldType][]string{
		daylog.Text:       {long, "broken \xff"},
		daylog.Number:     {"a few", "1,2,3", "1e400", "9999999"},
		daylog.Whole:      {"half", "1.5", "-7", "9999999"},
		daylog.Temp:       {"cold", "900"},
		daylog.Length:     {"long", "-4", "5'-13\"", "99999 ft", "4 cubits"},
		daylog.Calendar:   {"Tuesday", "2026-02-30"},
		daylog.Choice:     {"none of these"},
		daylog.PanelName:  {strings.Repeat("9", 60)},
		daylog.PanelNames: {strings.Repeat("9", 60)},
		daylog.Many:       {"someday"},
	}
	clocks := []string{"half past four", "25:00", "12:61"}
	for _, k := range daylog.Kinds() {
		if !formKind(k) {
			continue
		}
		base, ok := whole[k.Name]
		if !ok {
			t.Errorf("no form of %s is tried", k.Name)
			continue
		}
		for _, f := range k.Fields(day) {
			ways := usual[f.Type]
			if f.Type == daylog.Text && (f.Name == "start" || f.Name == "leaving" || f.Name == "break" || f.Name == "lunch") {
				ways = append(clocks[:len(clocks):len(clocks)], ways...)
			}
			if f.Type == daylog.Tick {
				continue // ticked or not, it can be read
			}
			if len(ways) == 0 {
				t.Errorf("%s: nothing wrong is known for a %s", k.Name, f.Type)
			}
			for _, typed := range ways {
				form := url.Values{"day": {"2026-10-05"}}
				for i := 0; i < len(base); i += 2 {
					form.Set(base[i], base[i+1])
				}
				name := f.Name
				if f.Type == daylog.PanelName || f.Type == daylog.PanelNames {
					form.Del(name)
					name += "-other"
				}
				form.Set(name, typed)
				var pairs []string
				for name := range form {
					pairs = append(pairs, name, form.Get(name))
				}
				w := d.send("POST", at+"/"+k.Name, pairs...)
				page := w.Body.String()
				tried++
				if w.Code != http.StatusUnprocessableEntity || !strings.Contains(page, `id="`+idOf(f.Name)+`"`) {
					t.Errorf("%s, %s as %.40q: %d, and no sentence at the field", k.Name, f.Name, typed, w.Code)
				}
				kept := strings.NewReplacer("&#34;", `"`, "&#39;", "'").Replace(page)
				if !strings.Contains(kept, strings.TrimSpace(typed)) && !strings.Contains(typed, "\xff") {
					t.Errorf("%s, %s as %.40q: what was typed is gone", k.Name, f.Name, typed)
				}
			}
		}
	}
	if entries, err := d.log.Entries(t.Context(), id, ""); err != nil || len(entries) != had {
		t.Errorf("%d entries, had %d, %v", len(entries), had, err)
	}
	t.Logf("%d wrong answers", tried)
}

// What is missing or does not fit together.
func TestSetupThatDoesNotFit(t *testing.T) {
	d := newDesk(t)
	at := d.newJob()
	d.saved(at+"/plan", planned()...)
	d.saved(at+"/material", "material", "tape", "kind", "T-3", "day", "2026-10-05")
	for _, c := range []struct{ kind, say, pairs string }{
		{"job", "A place has both", "name=x&zone=UTC&lat=41.6"},
		{"job", "outside of what is usual", "name=x&zone=UTC&lat=141.6&lon=9"},
		{"week", "Say on which days", "leaving=14:30"},
		{"week", "Say what is other than usual", "days=friday"},
		{"week", "People leave after they start", "days=friday&leaving=06:30"},
		{"dayoff", "Say which day", "name=feast"},
		{"penetration", "Give it the name", "sort=drain"},
		{"penetration", "not on the roof", "name=D1&x=300&y=20"},
		{"penetration", "A curb has both sizes", "name=C1&x=30&y=20&wide=4"},
		{"penetration", "Panel 77 is not on the roof plan", "name=P1&panel-other=77"},
		{"approved", "Which stone?", "psf=10"},
		{"material", "Which material?", "kind=x"},
		{"material", "Which kind?", "material=tape"},
		{"joblot", "Which lot?", "material=tape"},
		{"joblot", "The job takes T-3", "material=tape&lot=L&kind=T-9"},
		{"joblot", "before it was made", "material=tape&lot=L&made=2026-05-01&until=2026-04-01"},
		{"person", "Say what the person is", "name=Ada"},
		{"person", "A short name is one word", "name=Ada&role=crew&person=a+b"},
		{"person", "People leave after they start", "name=Ada&role=crew&leaving=6:00"},
		{"standing", "Name at least one panel", ""},
		{"standing", "panel 3 is not among them", "panels-other=1&strip-other=3"},
		{"ballast", "Choose one of these", "height=20"},
		{"ballast", "Say how high the building is", "system=3"},
	} {
		form, err := url.ParseQuery(c.pairs + "&day=2026-10-05")
		if err != nil {
			t.Fatal(err)
		}
		var pairs []string
		for name := range form {
			pairs = append(pairs, name, form.Get(name))
		}
		d.refused(at+"/"+c.kind, []string{c.say}, pairs...)
	}
	if w := d.send("POST", at+"/sign", "day", "2026-10-05"); w.Code != http.StatusNotFound {
		t.Errorf("a form that is not the set-up's: %d", w.Code)
	}
}

// A correction of a limit or a plan shows as one, and the first words stay.
func TestLimitAndPlanCorrected(t *testing.T) {
	d := newDesk(t)
	at := d.newJob()
	limit := at + "/limits/cover-short.size_in"
	d.saved(limit, "value", "8", "why", "invented letter", "day", "2026-10-05")
	d.page(at+"/limits", "at least 8 in", "looser than published", "8 in, looser than the published 9 in", "Reason: invented letter")
	d.page(at, "1 looser than published")
	of := "?of=" + d.root(at, "limit")
	d.page(limit+of, "Correct: Limit", `value="8"`)
	d.refused(limit+of, []string{"Say why"}, "value", "9")
	d.saved(limit+of, "value", "9", "why", "misread")
	d.page(at+"/limits", "at least 9 in", "corrected", "misread", "<s>Limit: Cover over a joint or end lap 8 in, ")
	if w := d.send("GET", at+"/limits/lap-narrow.floor_in"+of); w.Code != http.StatusNotFound {
		t.Errorf("another limit's line corrected: %d", w.Code)
	}

	d.saved(at+"/plan", planned()...)
	of = "?of=" + d.root(at, "plan")
	d.page(at+"/plan"+of, "Correct: Roof plan")
	d.saved(at+"/plan"+of, append(planned("row 1 count", "2", "row 1 width", "50", "row 1 last", "50'-4\"", "why", "measured again"), "day", "")...)
	d.page(at, "2 panels, 6,000 sq ft", "corrected", "measured again", "<s>Roof plan: 3 panels, ")
}

// The rates of a system are doubted until somebody says what they were checked
// against; what is against a rule is shown while it is typed.
func TestBallastOfASystem(t *testing.T) {
	d := newDesk(t)
	at := d.newJob()
	d.saved(at+"/plan", planned()...)
	d.saved(at+"/approved", "stone", "River", "psf", "9", "day", "2026-10-05")
	d.page(at+"/ballast", "From memory: verify them against the standard", "designs no wind resistance", "ANSI/SPRI RP-4: published, from memory")
	d.saved(at+"/ballast", "system", "2 pavers", "height", "30", "day", "2026-10-05")
	d.page(at, "rates from memory, verify against the standard", "Approved stone Pavers")
	d.page(at+"/zones", `value="12"`, "Rate, field", "10 psf", "Rate, corner", "22 psf", "576 sq ft")
	entries, err := d.log.Entries(t.Context(), strings.Split(at, "/")[2], "")
	if err != nil {
		t.Fatal(err)
	}
	s := daylog.Fold("x", entries).On("2026-10-05").Setup
	if got := fmt.Sprint(s.Required()); got != "map[corner:22 field:10 perimeter:22]" {
		t.Errorf("the job asks for %s", got)
	}
	typed := []string{"system", "2", "height", "30", "width", "11", "slope", "2.5", "day", "2026-10-05"}
	w := d.send("POST", at+"/zones", append(typed, "draw", "part")...)
	for _, say := range []string{"zones are 11 ft wide", "slopes 2.5 in 12", "MIL-HDBK-1001/5A"} {
		if w.Code != 200 || !strings.Contains(w.Body.String(), say) {
			t.Errorf("while it is typed: %d, does not say %q\n%s", w.Code, say, w.Body)
		}
	}
	if strings.Contains(w.Body.String(), "<html") {
		t.Error("more than the part is answered")
	}
	w = d.send("POST", at+"/zones", append(typed, "draw", "on")...)
	if w.Code != 200 || !strings.Contains(w.Body.String(), "zones are 11 ft wide") || !strings.Contains(w.Body.String(), `value="2.5"`) {
		t.Errorf("reckoned by the button: %d\n%s", w.Code, w.Body)
	}
	d.page(at+"/zones", `value="12"`)
	d.saved(at+"/zones", "system", "2", "height", "30", "width", "12", "checked", "the invented standard, 2026", "day", "2026-10-05")
	if w := d.send("GET", at); strings.Contains(w.Body.String(), "Say under Ballast zones") {
		t.Error("checked, and still doubted")
	}
	if len(checks.PlannedFindings(s)) != 0 {
		t.Error("a system's zones are against a rule")
	}
}

// While a plan is typed, what is wrong with it is answered in place of a drawing.
func TestPlanDrawnWhileTyped(t *testing.T) {
	d := newDesk(t)
	at := d.newJob()
	d.saved(at+"/penetration", "name", "D1", "sort", "drain", "x", "20", "y", "30", "day", "2026-10-05")
	d.saved(at+"/penetration", "name", "C1", "sort", "curb", "x", "50", "y", "30", "wide", "4", "deep", "6", "day", "2026-10-05")
	w := d.send("POST", at+"/plan", planned("draw", "part")...)
	if page := w.Body.String(); w.Code != 200 || !strings.HasPrefix(strings.TrimSpace(page), "<figure") || strings.Count(page, "<circle") != 1 || strings.Count(page, "<rect") != 4 || !strings.Contains(page, ">D1<") {
		t.Errorf("%d\n%s", w.Code, page)
	}
	w = d.send("POST", at+"/plan", planned("draw", "part", "row 1 length", "70")...)
	if page := w.Body.String(); w.Code != 200 || !strings.Contains(page, "past the north side") {
		t.Errorf("%d\n%s", w.Code, page)
	}
	d.page(at, "no roof plan")
}

// A person leaves at a time of his own, some weekdays have other hours, and on
// days off nobody is expected.
func TestHoursShown(t *testing.T) {
	d := newDesk(t)
	at := d.newJob()
	d.saved(at+"/person", "name", "Ada Example", "role", "foreman", "leaving", "5 pm", "day", "2026-10-05")
	d.saved(at+"/week", "days", "friday", "leaving", "2:30 pm", "day", "2026-10-05")
	d.saved(at+"/dayoff", "date", "2026-10-05", "name", "Invented feast", "day", "2026-10-05")
	d.page(at, "leaves at 17:00", "Friday", "leaving 14:30", "2026-10-05", "Today nobody is expected: Invented feast")
	d.page("/", "nobody is expected today: Invented feast")
	d.page(at+"/week?like="+d.root(at, "week"), `value="14:30"`)
	d.saved(at+"/dayoff", "date", "2026-10-05", "gone", "on", "day", "2026-10-05")
	d.page("/", "not started today")
}

// Times on a form of the office are the roof's.
func TestFormsShowTheRoofsTime(t *testing.T) {
	d := newDesk(t)
	at := d.newJob()
	d.saved(at+"/plan", planned()...)
	e := daylog.Entry{ID: "ffffffffffffffff", Day: "2026-10-05", At: d.now, Made: d.now, Body: &daylog.PanelPositioned{Panel: "1"}}
	if _, err := d.log.Write(t.Context(), strings.Split(at, "/")[2], e); err != nil {
		t.Fatal(err)
	}
	d.page(at+"/penetration", "in position 10:00") // 15:00 UTC in Chicago
}
