package office

import (
	"fmt"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/go-chi/chi/v5"

	"duskline/internal/browser"
	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
	"duskline/internal/store"
	"duskline/static"
)

const scripts = "../../internal/daylog/script/testdata/"

// worked is an office that holds the worked days, each as a job of its own.
func worked(t testing.TB) http.Handler {
	t.Helper()
	log := store.NewMemory()
	for _, name := range []string{"day1", "day2", "day3"} {
		receive(t, log, name, scriptText(t, name))
	}
	full, err := os.ReadFile("testdata/full.day")
	if err != nil {
		t.Fatal(err)
	}
	receive(t, log, fullJob, string(full))
	g, err := script.Big(2, 200, 1)
	if err != nil {
		t.Fatal(err)
	}
	for i := range g.Entries {
		if _, err := log.Receive(t.Context(), script.BigJob, g.Entries[i].Raw()); err != nil {
			t.Fatal(err)
		}
	}
	return officeOf(t, log, time.Date(2026, 10, 9, 15, 0, 0, 0, time.UTC))
}

func scriptText(t testing.TB, name string) string {
	t.Helper()
	text, err := os.ReadFile(scripts + name + ".day")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// receive writes the entries of a script as a job of that name.
func receive(t testing.TB, log *store.Memory, job, text string) {
	t.Helper()
	s, err := script.Parse(job, text)
	if err != nil {
		t.Fatal(err)
	}
	s.Job = job
	s.Complete = func(e *daylog.Entry, held func() []daylog.Entry) error { return checks.Complete(e, held(), s.Zone()) }
	written, err := s.Entries(script.Live)
	if err != nil {
		t.Fatal(err)
	}
	var raws [][]byte
	for i := range written {
		raws = append(raws, written[i].Raw())
	}
	if _, err := log.Receive(t.Context(), job, raws...); err != nil {
		t.Fatal(err)
	}
}

func officeOf(t testing.TB, log *store.Memory, now time.Time) http.Handler {
	t.Helper()
	files, err := static.New(static.Files)
	if err != nil {
		t.Fatal(err)
	}
	r := chi.NewRouter()
	r.Handle("/static/*", files)
	Routes(Config{Log: log, Now: func() time.Time { return now }, Logf: t.Errorf})(r)
	return r
}

// reckoning is what a day's script comes to, counted from its lines by hand as
// somebody with a pencil would: nothing of it comes from the entries.
type reckoning struct {
	panels               []string
	area                 float64
	feet                 float64
	covers, splices      int
	coversTreated        int
	splicesTreated       int
	edges                string
	stoneArea            float64
	pounds, loads, heavy int // heavy: lb delivered
	insulation           int
	people               int
	hours                float64
	readings             int
	lots                 []string
	asides               []string
}

var (
	numbers  = regexp.MustCompile(`\d[\d,]*(?:\.\d+)?`)
	closing  = regexp.MustCompile(`^run (\S+) (?:([\d.]+) to ([\d.]+) ft )?closed`)
	atFeet   = regexp.MustCompile(`\bat \d+ ft\b`)
	overFeet = regexp.MustCompile(`over (\d+ ft(?: \d+ in)?)`)
	quoted   = regexp.MustCompile(`because "([^"]*)"`)
)

func amount(text string) float64 {
	n, _ := strconv.ParseFloat(strings.ReplaceAll(numbers.FindString(text), ",", ""), 64)
	return n
}

// reckon counts one day of a script. Inner panels of the rows are a width less a
// lap of 5 in, over 97 ft between the parapets.
func reckon(text, date string) reckoning {
	var r reckoning
	wide := amount(text[strings.Index(text, "row of panels")+len("row of panels 1 to 10 of"):])
	if strings.Contains(text, "panels 1 to 4 of 50 ft, 100") {
		wide = 50
	}
	net := (wide - 5.0/12) * 97
	strip := 4.0 * 97
	_, day, _ := strings.Cut(text, "day "+date)
	for _, end := range []string{"\nnext day", "\nday ", "\nvariant "} {
		day, _, _ = strings.Cut(day, end)
	}
	var lines []string
	for _, line := range strings.Split(day, "\n") {
		clock, said, timed := strings.Cut(strings.TrimSpace(line), " ")
		if timed && len(clock) >= 5 && clock[2] == ':' {
			lines = append(lines, clock+" "+said)
		}
	}
	// What was struck does not count.
	for _, line := range slices.Clone(lines) {
		if _, struck, is := strings.Cut(line, " strike "); is {
			struck, _, _ = strings.Cut(struck, ",")
			lines = slices.DeleteFunc(lines, func(l string) bool { return strings.HasPrefix(l, struck) })
		}
	}
	type part struct{ from, to float64 }
	made := map[string][]part{}
	count := func(places string) (covers, splices int) {
		places, of, _ := strings.Cut(places, "splice")
		for i, where := range []string{places, of} {
			n := len(atFeet.FindAllString(where, -1)) + strings.Count(where, "south") + strings.Count(where, "north")
			if i == 0 {
				covers = n
			} else {
				splices = n
			}
		}
		return
	}
	for _, line := range lines {
		_, said, _ := strings.Cut(line, " ")
		switch {
		case strings.HasPrefix(said, "panel ") && strings.Contains(said, "in position"):
			r.panels = append(r.panels, numbers.FindString(said))
			r.area += net
		case closing.MatchString(said):
			m := closing.FindStringSubmatch(said)
			p := part{0, 100}
			if m[2] != "" {
				p = part{amount(m[2]), amount(m[3])}
			}
			made[m[1]] = append(made[m[1]], p)
			if _, after, is := strings.Cut(said, "vertical splice"); is {
				r.splices += strings.Count(after, "south") + strings.Count(after, "north")
			}
		case strings.HasPrefix(said, "covers rolled"), strings.HasPrefix(said, "cover rolled"):
			covers, _ := count(said)
			r.covers += covers
		case strings.HasPrefix(said, "treated"):
			covers, splices := count(said)
			r.coversTreated += covers
			r.splicesTreated += splices
		case strings.HasPrefix(said, "edges "):
			if m := overFeet.FindStringSubmatch(said); m != nil {
				r.edges = m[1] // the same length each time in these days
			}
		case strings.HasPrefix(said, "stone on"):
			before, _, _ := strings.Cut(said, " lb")
			r.pounds += int(amount(before[strings.LastIndex(before, " ")+1:]))
			for _, where := range strings.Split(strings.ReplaceAll(before, " and ", ", "), ", ") {
				switch {
				case strings.Contains(where, "old strip"):
					r.stoneArea += strip
				case strings.Contains(where, "panel"):
					r.stoneArea += net
					if strings.Contains(where, "less 4 ft strip") {
						r.stoneArea -= strip
					}
				}
			}
		case strings.HasPrefix(said, "ticket"):
			loads := 1
			if _, after, is := strings.Cut(said, "loads "); is {
				loads = int(amount(after))
			}
			r.loads += loads
			r.heavy += loads * int(amount(said)*2000)
		case strings.HasPrefix(said, "insulation"):
			r.insulation += int(amount(said))
		case strings.HasPrefix(said, "weather air"):
			r.readings++
		case strings.HasPrefix(said, "crew hours"):
			names := strings.Split(strings.ReplaceAll(said[strings.Index(said, "of "):], " and ", ", "), ", ")
			r.people = len(names)
			r.hours += amount(said) * float64(len(names))
		case strings.HasPrefix(said, "lot of"):
			r.lots = append(r.lots, strings.TrimSuffix(strings.Fields(said)[3], ","))
		case strings.HasPrefix(said, "set aside"):
			r.asides = append(r.asides, quoted.FindStringSubmatch(said)[1])
		}
	}
	for _, parts := range made {
		slices.SortFunc(parts, func(a, b part) int { return int(a.from - b.from) })
		at := 0.0
		for _, p := range parts {
			if p.to > at {
				r.feet += p.to - max(p.from, at)
				at = p.to
			}
		}
	}
	return r
}

// rows are what the printed summary must say of a reckoning, each in one line.
func (r reckoning) rows() []string {
	sq := fixed(r.area/100, 1)
	rows := []string{
		fmt.Sprintf("Sheet laid, %s %s %s squares, %s sq ft", map[bool]string{true: "panel", false: "panels"}[len(r.panels) == 1], daylog.List(r.panels), sq, fixed(r.area, 1)),
		fmt.Sprintf("Seam made %s ft", figure(r.feet)),
		fmt.Sprintf("Covers %d rolled, %d treated %d waiting", r.covers, r.coversTreated, r.covers-r.coversTreated),
		fmt.Sprintf("Vertical splices %d rolled, %d treated %d waiting", r.splices, r.splicesTreated, r.splices-r.splicesTreated),
		fmt.Sprintf("Insulation laid %s sq ft", figure(float64(r.insulation))),
		fmt.Sprintf("Stone spread %s lb, %s short tons", figure(float64(r.pounds)), fixed(float64(r.pounds)/2000, 2)),
		fmt.Sprintf("Stone delivered, %s %s lb", daylog.Count(r.loads, "load", "loads"), figure(float64(r.heavy))),
		fmt.Sprintf("%s %s %s 10 psf", fixed(r.stoneArea, 1), figure(float64(r.pounds)), fixed(float64(r.pounds)/r.stoneArea, 1)),
		fmt.Sprintf("All %d %s", r.people, figure(r.hours)),
	}
	if len(r.panels) == 1 {
		rows = append(rows, r.edges)
	}
	return append(rows, r.lots...)
}

var paperDays = []struct {
	job, date string
	reckoned  bool
	most      int // pages
}{
	{"day1", "2026-03-04", true, 4},
	{"day2", "2026-04-22", true, 4},
	{"day3", "2026-10-06", true, 4},
	{fullJob, fullDay, false, 4},
	{script.BigJob, "2026-03-03", false, 8}, // 200 entries: no usual day
}

// The summary printed by the browser on both papers reads back as the scripts
// were reckoned, on 1 to 4 pages, with no table cut off and no heading left alone.
func TestSummaryOnPaper(t *testing.T) {
	s := browser.Serve(t, worked(t))
	p := browser.Start(t).Open(browser.Desk)
	for _, day := range paperDays {
		if status := p.Go(s.URL + "/job/" + day.job + "/day/" + day.date + "/summary"); status != 200 {
			t.Fatalf("%s: %d", day.job, status)
		}
		headings := browser.Eval[[]string](p, `[...document.querySelectorAll(".sheet h2")].map((e) => e.textContent.trim().replace(/\s+/g, " "))`)
		heads := browser.Eval[[]string](p, `[...document.querySelectorAll(".sheet thead tr")].map((e) => [...e.children].map((c) => c.textContent.trim()).join(" "))`)
		cells := browser.Eval[[][]string](p, `[...document.querySelectorAll(".sheet tbody tr")].map((e) => [...e.children].map((c) => c.textContent.trim().replace(/\s+/g, " ")))`)
		code := browser.Eval[string](p, `document.querySelector(".check-code").textContent`)
		for _, paper := range []browser.Paper{browser.Letter, browser.A4} {
			name := day.job + " on " + paper.Name
			pages := p.ReadPDF(p.Print(paper, "summary-"+day.job))
			if len(pages) < 1 || len(pages) > day.most {
				t.Errorf("%s: %d pages", name, len(pages))
			}
			for i, page := range pages {
				onPage(t, fmt.Sprintf("%s, page %d", name, i+1), page, headings, heads)
				foot := page.Lines[len(page.Lines)-1]
				for _, want := range []string{fmt.Sprintf("page %d of %d", i+1, len(pages)), code, "Invented job", "revision 1"} {
					if !strings.Contains(foot, want) {
						t.Errorf("%s, page %d: its foot is %q, without %q", name, i+1, foot, want)
					}
				}
			}
			for _, row := range cells {
				if !onOnePage(pages, row) {
					t.Errorf("%s: the row %q is not whole on one page", name, row)
				}
			}
			if day.reckoned {
				reads(t, name, pages, reckon(scriptText(t, day.job), day.date))
			}
		}
	}
}

// reads holds what was printed against a reckoning.
func reads(t *testing.T, name string, pages []browser.Printed, want reckoning) {
	t.Helper()
	if len(want.panels) == 0 || want.feet == 0 || want.covers == 0 || want.pounds == 0 || want.people == 0 || len(want.lots) != 4 {
		t.Fatalf("%s was not reckoned: %+v", name, want)
	}
	var all []string
	for _, page := range pages {
		all = append(all, page.Lines...)
	}
	text := strings.Join(all, " ")
	for _, row := range want.rows() {
		if !strings.Contains(text, row) {
			t.Errorf("%s does not say %q", name, row)
		}
	}
	for _, reason := range want.asides { // over several lines of its column
		if !onOnePage(pages, []string{reason}) {
			t.Errorf("%s does not give the reason %q", name, reason)
		}
	}
}

// onPage looks at one printed page: nothing beyond its margins, no heading and no
// head of a table as the last thing on it, and what goes on from the page before
// has its head again.
func onPage(t *testing.T, name string, page browser.Printed, headings, heads []string) {
	t.Helper()
	const margin, top, foot = 12 / 25.4 * 72, 10 / 25.4 * 72, 4 / 25.4 * 72
	for _, w := range page.Words {
		if w.Left < margin || w.Right > page.Width-margin || w.Top < top || w.Bottom > page.Height-foot {
			t.Errorf("%s: %q lies beyond the margins, at %v to %v across", name, w.Text, w.Left, w.Right)
		}
	}
	if len(page.Lines) < 3 {
		t.Errorf("%s has %d lines", name, len(page.Lines))
		return
	}
	last := page.Lines[len(page.Lines)-2] // before the foot
	if slices.Contains(headings, last) || slices.Contains(heads, last) {
		t.Errorf("%s ends with %q alone", name, last)
	}
	first := page.Lines[0]
	starts := strings.HasPrefix(first, "Day summary") || strings.HasPrefix(first, "Revision")
	for _, h := range slices.Concat(headings, heads) {
		starts = starts || first == h || strings.HasPrefix(first, h+" ")
	}
	if !starts {
		t.Errorf("%s begins with %q: neither a heading nor the head of its table", name, first)
	}
}

// onOnePage reports whether all words of a table's row are together on a page.
func onOnePage(pages []browser.Printed, cells []string) bool {
	for _, page := range pages {
		have := map[string]int{}
		for _, w := range page.Words {
			have[w.Text]++
		}
		whole := true
		for _, cell := range cells {
			for _, word := range strings.Fields(cell) {
				have[word]--
				whole = whole && have[word] >= 0
			}
		}
		if whole {
			return true
		}
	}
	return false
}

// The reckoning itself, against what a pencil came to.
func TestReckoning(t *testing.T) {
	r := reckon(scriptText(t, "day2"), "2026-04-22")
	if r.feet != 100 || r.covers != 3 || r.splices != 2 || r.coversTreated != 3 || r.pounds != 48096 || fixed(r.stoneArea, 1) != "4,809.6" || r.hours != 54 {
		t.Errorf("the second day reckons to %+v", r)
	}
}
