package checks

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
)

// worked are the three worked days.
const worked = "../daylog/script/testdata"

// example is a day in the script form.
type example struct {
	name string // of its file, below testdata
	rule string // whose folder it is in; "" for a worked day
	read []int  // lines of the text, by those of the whole days; nil: the same
	*script.Script
}

func readExample(t testing.TB, path string) example {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	e := example{name: strings.TrimPrefix(filepath.ToSlash(path), "testdata/")}
	if folder := filepath.Base(filepath.Dir(path)); folder != "testdata" {
		e.rule = folder
	}
	whole := string(text)
	if e.rule != "" {
		whole, e.read = wholeDays(whole)
	}
	s, err := script.Parse(e.name, whole)
	if err != nil {
		t.Fatal(err)
	}
	e.Script = complete(s)
	return e
}

// What every day has, for examples that say nothing of it: they speak of
// their own rule.
var everyDay = []struct{ has, line string }{
	{"fall protection", "%s fall protection guardrail, holes covered, competent person ada"},
	{"seal check", "%s seal check, dry"},
	{"lot of", "%s lot of tape T-1"},
	{"lot of", "%s lot of primer P-1"},
	{"lot of", "%s lot of adhesive A-1"},
	{"lot of", "%s lot of sealant S-1"},
	{"weather air", "%s weather air 70, humidity 40, sheet 95"},
	{"drains", "%s drains clear"},
	{"crew hours", "%s crew hours 8, of ada"},
	{"none today", "%s none today of deliveries, equipment and tests"},
}

var (
	starts  = regexp.MustCompile(`(?m)^(\d\d:\d\d) start\b`)
	glued   = regexp.MustCompile(`^(?:about )?(\d\d):\d\d(?:-\d\d:\d\d)? (?:priming|tape laid|covers?) `)
	inPlace = regexp.MustCompile(`^(\d\d:\d\d) panel (\w+) in position`)
)

// wholeDays adds to each day of an example what every day has and the text
// does not say: a reading in each hour that wants one, a night seal of each sheet as it comes, and a signature before
// the next day. read gives the line of the example for one of the result.
func wholeDays(text string) (whole string, read []int) {
	var out []string
	add := func(no int, line string) { out, read = append(out, line), append(read, no) }
	base, changes, _ := strings.Cut(text, "\nvariant ")
	begun, hour := false, "" // in which the weather was last read
	for i, line := range strings.Split(base, "\n") {
		no := i + 1
		if m := glued.FindStringSubmatch(line); m != nil && !strings.Contains(base, "weather air") && m[1] != hour {
			hour = m[1]
			add(no, hour+":00 weather air 70, humidity 40, sheet 95")
		}
		if line == "next day" {
			hour = ""
		}
		if line == "next day" && begun && !strings.Contains(base, " signed") {
			add(no, "23:30 signed")
		}
		add(no, line)
		if m := starts.FindStringSubmatch(line); m != nil {
			begun = true
			for _, x := range everyDay {
				if !strings.Contains(text, x.has) {
					add(no, fmt.Sprintf(x.line, m[1]))
				}
			}
		}
		if m := inPlace.FindStringSubmatch(line); m != nil && !strings.Contains(base, "night seal") {
			add(no, fmt.Sprintf("%s night seal, leading edge of %s, turn-up tops, with sealant, way for water", m[1], m[2]))
		}
	}
	if changes != "" {
		for i, line := range strings.Split("variant "+changes, "\n") {
			add(strings.Count(base, "\n")+2+i, line)
		}
	}
	return strings.Join(out, "\n"), read
}

// line gives the example's line for one of the whole days.
func (e example) line(no int) int {
	if no < 1 || no > len(e.read) {
		return no
	}
	return e.read[no-1]
}

func complete(s *script.Script) *script.Script {
	s.Complete = func(e *daylog.Entry, held func() []daylog.Entry) error {
		return Complete(e, held(), s.Zone())
	}
	return s
}

// examples reads all of them: the rules' and the worked days.
func examples(t testing.TB) []example {
	t.Helper()
	var out []example
	for _, pattern := range []string{"testdata/*/*.day", worked + "/*.day"} {
		paths, err := filepath.Glob(pattern)
		if err != nil || len(paths) == 0 {
			t.Fatalf("no days in %s: %v", pattern, err)
		}
		for _, path := range paths {
			out = append(out, readExample(t, path))
		}
	}
	return out
}

// looked is what a moment of a log looks like.
func looked(s *script.Script, g *script.Log, m script.Moment) *Situation {
	now := Look(daylog.Fold(s.Job, g.Held(m.Device, m.At)), m.Day, m.At, s.Zone(), m.Device, m.Leaving)
	now.At |= Planned // an example may have set-up that its rule speaks of
	return now
}

func found(s *Situation) []script.Found {
	var out []script.Found
	for _, f := range Run(s) {
		x := script.Found{Rule: f.Check.ID, Says: f.Says, Asks: f.Asks, Aside: f.Aside != nil}
		for _, w := range f.places {
			x.Places = append(x.Places, script.Where{Name: w.name, Part: w.part})
		}
		out = append(out, x)
	}
	return out
}

// toCome are rules that the worked days name and that are not there yet.
var toCome = []string{
	"dark-work", "ticket-mismatch"}

// TestExamples holds every example against all rules, in every way of writing
// a day, so that each guards against the false warnings of the others.
func TestExamples(t *testing.T) {
	for _, e := range examples(t) {
		t.Run(e.name, func(t *testing.T) {
			judgeExample(t, e, e.Script)
			for _, name := range e.Variants() {
				v, err := e.Variant(name)
				if err != nil {
					t.Fatal(err)
				}
				t.Run(name, func(t *testing.T) { judgeExample(t, e, v) })
			}
		})
	}
}

func judgeExample(t *testing.T, e example, s *script.Script) {
	for _, mode := range []script.Mode{script.Live, script.Batches, script.AllAtOnce} {
		g, err := s.Log(mode)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range g.Moments {
			m.Expect = slices.DeleteFunc(slices.Clone(m.Expect), func(x script.Expectation) bool {
				return slices.Contains(toCome, x.Rule)
			})
			m.Line = e.line(m.Line)
			for i, x := range m.Expect {
				m.Expect[i].Line = e.line(x.Line)
				if mode != script.Live {
					m.Expect[i].Words = "" // a question is put in other words
				}
				if !slices.ContainsFunc(All(), func(c *Check) bool { return c.ID == x.Rule }) {
					t.Fatalf("line %d: no rule is called %s", x.Line, x.Rule)
				}
				if x.Says == script.MayAsk && plain(x.Rule) {
					m.Expect[i].Says = script.Accuses // no time as written changes what it says
				}
			}
			for _, wrong := range m.Judge(found(looked(s, g, m))) {
				t.Errorf("%s, %s %s on %s: %s", mode, m.Day, m.At.In(s.Zone()).Format("15:04"), m.Device, wrong)
			}
		}
	}
}

func plain(rule string) bool {
	return slices.ContainsFunc(All(), func(c *Check) bool { return c.ID == rule && c.Plain })
}

// TestEveryRuleIsWhole guards what a rule must come with.
func TestEveryRuleIsWhole(t *testing.T) {
	all := examples(t)
	seen := map[string]bool{}
	for _, c := range All() {
		if c.ID == "" || seen[c.ID] {
			t.Errorf("rule %q has no id of its own", c.ID)
		}
		seen[c.ID] = true
		for what, text := range map[string]string{"title": c.Title, "reason": c.Why, "way to settle it": c.Settle, "source": string(c.Source.Status)} {
			if text == "" {
				t.Errorf("%s has no %s", c.ID, what)
			}
		}
		if c.When == 0 || c.Run == nil || c.Severity.rank() < 0 {
			t.Errorf("%s is never judged, or as nothing", c.ID)
		}
		for _, l := range c.Limits {
			name, unit, ok := strings.Cut(l.Name, ".")
			if name != c.ID || !ok || !strings.Contains(unit, "_") || l.Label == "" || l.Unit == "" || l.Source.Status == "" {
				t.Errorf("limit %q of %s is not whole", l.Name, c.ID)
			}
		}
		says := map[script.Says]bool{}
		for _, e := range all {
			if e.rule != c.ID {
				continue
			}
			for _, s := range append(variantsOf(t, e.Script), e.Script) {
				g, err := s.Log(script.Live)
				if err != nil {
					t.Fatal(err)
				}
				for _, m := range g.Moments {
					quiet := m.Exact
					for _, x := range m.Expect {
						if x.Rule == c.ID {
							says[x.Says] = true
							quiet = quiet && x.Says != script.Accuses && x.Says != script.Asks
						}
					}
					if quiet {
						says[script.Silent] = true
					}
				}
			}
		}
		for _, want := range []script.Says{script.Accuses, script.Asks, script.Silent} {
			if want == script.Asks && c.Plain {
				if says[want] {
					t.Errorf("%s asks, though it weighs no times", c.ID)
				}
				continue
			}
			if !says[want] {
				t.Errorf("no example of %s where it is expected to be: %s", c.ID, want)
			}
		}
	}
	for _, e := range all {
		if e.rule != "" && !seen[e.rule] {
			t.Errorf("%s: no rule is called %s", e.name, e.rule)
		}
	}
	names := map[string]bool{}
	for _, l := range Limits() {
		if names[l.Name] {
			t.Errorf("two limits are called %s", l.Name)
		}
		names[l.Name] = true
	}
}

func variantsOf(t testing.TB, s *script.Script) []*script.Script {
	t.Helper()
	var out []*script.Script
	for _, name := range s.Variants() {
		v, err := s.Variant(name)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

// Each limit's default, as the facts give it.
func TestLimits(t *testing.T) {
	want := map[string]string{
		"liquid-cold.use_f":            "60 F",
		"late-entry.after_h":           "12 h",
		"fall-unset.line_ft":           "6 ft",
		"fall-unset.buggy_ft":          "10 ft",
		"fall-unset.monitor_ft":        "50 ft",
		"weather-stop.thunder_min":     "30 min",
		"tools-down.packup_min":        "20 min",
		"relax-short.rest_min":         "30 min",
		"gust-unroll.wide_note_mph":    "15 mph",
		"gust-unroll.wide_stop_mph":    "20 mph",
		"gust-unroll.narrow_note_mph":  "20 mph",
		"gust-unroll.narrow_stop_mph":  "25 mph",
		"gust-work.material_mph":       "30 mph",
		"gust-work.any_mph":            "40 mph",
		"insulation-open.part_percent": "1 %",
		"insulation-open.area_sqft":    "10 sq ft",
		"lap-narrow.target_in":         "5 in",
		"flash-failed.wait_min":        "60 min",
		"relax-cold.air_f":             "40 F",
		"relax-cold.rest_min":          "60 min",
		"cold-day.air_f":               "40 F",
		"dew-near.margin_f":            "5 F",
		"lap-narrow.floor_in":          "4 in",
		"tape-lap-short.lap_in":        "1 in",
		"cover-short.size_in":          "12 in",
		"edge-early.wait_min":          "240 min",
		"strip-left.strip_nights":      "1 nights",
		"ballast-light.under_percent":  "10 %",
		"ballast-light.area_sqft":      "500 sq ft",
		"ballast-heavy.over_percent":   "10 %",
		"ballast-heavy.load_psf":       "0 psf",
		"mat-bare.strip_ft":            "3 ft",
		"perimeter-open.stone_ft":      "3 ft",
		"prime-stale.note_min":         "60 min",
		"prime-stale.wait_min":         "120 min",
		"edge-open.treatment_min":      "20 min",
		"edge-open.cover_nights":       "0 nights",
		"edge-open.splice_nights":      "0 nights",
		"panel-bare.area_sqft":         "0 sq ft",
		"panel-bare.held_back_sqft":    "9 sq ft",
		"run-open.length_ft":           "0 ft",
		"cover-owed.hold_back_ft":      "1 ft",
		"zone-thin.floor_ft":           "8.5 ft",
		"zone-thin.height_percent":     "40 %",
		"slope-over.most_in":           "2 in",
		"slope-over.note_percent":      "4 %",
	}
	for _, l := range Limits() {
		if got := fmt.Sprintf("%v %s", l.Default, l.Unit); got != want[l.Name] {
			t.Errorf("%s is %s, want %s", l.Name, got, want[l.Name])
		}
		delete(want, l.Name)
	}
	for name := range want {
		t.Errorf("no limit %s", name)
	}
}
