package office

import (
	"bytes"
	"crypto/sha256"
	"encoding/base32"
	"encoding/json"
	"fmt"
	"html"
	"maps"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"duskline/internal/browser"
	"duskline/internal/daylog"
	"duskline/internal/store"
)

const (
	fullJob = "full"
	fullDay = "2026-05-12"
)

// fullDesk is an office with a day on which something of everything was noted.
func fullDesk(t testing.TB) *desk {
	t.Helper()
	text, err := os.ReadFile("testdata/full.day")
	if err != nil {
		t.Fatal(err)
	}
	d := newDesk(t)
	d.now = time.Date(2026, 5, 13, 14, 0, 0, 0, time.UTC)
	receive(t, d.log, fullJob, string(text))
	return d
}

// shown is a page as one reads it: its text without tags, in single spaces.
func shown(page string) string {
	_, page, _ = strings.Cut(page, "<main")
	page = regexp.MustCompile(`<(td|th|dd|dt|li|p|b|small|span|h\d)\b`).ReplaceAllString(page, " <$1")
	return strings.Join(strings.Fields(html.UnescapeString(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(page, ""))), " ")
}

func (d *desk) read(path string) string {
	d.Helper()
	w := d.send("GET", path)
	if w.Code != http.StatusOK {
		d.Fatalf("GET %s: %d\n%s", path, w.Code, w.Body)
	}
	return shown(w.Body.String())
}

// What UFGS-01451A, Contractor Quality Control, asks of a daily record, and where
// it stands on the summary: under which heading, in which words.
var asked = []struct{ item, heading, words string }{
	{"contractor and area of responsibility", "Contractor", "Contractor Invented Roofing"},
	{"area of responsibility", "Area of work", "Area of work panel 2 and seam 1|2"},
	{"operating equipment with hours worked, idle or down for repair", "Equipment", "Crane 0 2"},
	{"equipment hours worked", "Equipment", "Buggy 3"},
	{"work performed, location", "Work by place", "09:10 Panel 2 in position, edges weighted Ada Invented"},
	{"work performed, description and by whom", "Work by place", "10:45 to 11:00 3 covers (1|2 at 50 ft, 1|2 south and 1|2 north) rolled Cy Invented"},
	{"tests performed with results", "Seams and finger tests", "10:02 fail, strings; 10:10 pass"},
	{"tests performed with results and references", "Other tests and checks", "Test square, panel 2 91 lb on 9 sq ft: 10.11 lb/sq ft"},
	{"deficiencies noted, with corrective action", "Deficiencies and corrective action", "Repair: cut in the sheet panel 2, 30 ft this day put right this day 11:30, patched with a strip, rolled"},
	{"conforming and deficient work both", "Deficiencies and corrective action", "Punch item: touch up sealant at the north wall this day open, due 2026-05-20"},
	{"materials received, with statement as to acceptability", "Materials and lots", "Received: sheet, 2 rolls S-77 2 rolls good, no tears"},
	{"materials received with quantity", "Materials and lots", "Stone, No. 4 77 25 short tons received"},
	{"storage of materials", "Materials and lots", "Stored: primer 10 gal flammable cabinet"},
	{"off-site surveillance, inspections and visits", "Visits and inspections", "Vi Invented, the owner remarks asked about the drains"},
	{"job safety evaluations: what was checked, results, instructions", "Safety", "Fall protection: warning line, line from the edge 6 ft, holes covered, extinguisher at hand, air intakes seen to, competent person Ada Invented"},
	{"job safety: injuries", "Safety", "Injuries: none this day"},
	{"instructions given and received, conflicts in plans", "Instructions given and received", "received from the architect hold the east drain open"},
	{"number of personnel by trade", "Crew and hours", "Roofer 2 18 Sheet metal worker 1 8.5 All 3 26.5"},
	{"weather conditions", "Weather", "07:05 60 F 60 % 66 F 46.1 F 19.9 F 6 mph, 11 mph clear"},
	{"delays encountered", "Delays", "12:00 to 12:30 crane crane moved"},
	{"other trades", "Other trades", "plumbers, 2 people north parapet, a vent pipe none seen"},
	{"deviations", "Deviations with reasons", "Limit of this job, Least side lap: 3 in, looser than the published 4 in"},
	{"what is open", "Open at leaving", "Leading strip without stone panel 2, 4 ft, under temporary ballast"},
	{"a signed statement of the contractor", "Statement and signatures", "The above is a true record of the day's work"},
	{"verification and signature", "Statement and signatures", "Signed in this log by Ada Invented, foreman, 16:25 CDT on 12 May 2026"},
	{"corrections are seen", "Struck and corrected", "11:05 Walked all of today's runs struck: one run was missed Ada Invented, 16:08"},
	{"photographs", "Notes and photos", "16:07 Photo of the end lap, 1|2, at 50 ft Ada Invented"},
	{"remarks", "Notes and photos", "16:07 photographs of the seam are in the office"},
}

func TestSummaryHoldsWhatIsAskedOfADailyRecord(t *testing.T) {
	page := fullDesk(t).read("/job/" + fullJob + "/day/" + fullDay + "/summary")
	for _, a := range asked {
		at := strings.Index(page, a.heading+" ")
		if at < 0 {
			t.Errorf("%s: there is no %q", a.item, a.heading)
			continue
		}
		if !strings.Contains(page[at:], a.words) {
			t.Errorf("%s: under %q stands no %q\n%.400s", a.item, a.heading, a.words, page[at:])
		}
	}
	for _, c := range cautions {
		if !strings.Contains(page, c) {
			t.Errorf("the summary does not say %q", c)
		}
	}
}

// A report is due for each 7 days without work: the list of days says where one
// is missing.
func TestDaysWithoutARecord(t *testing.T) {
	d := fullDesk(t)
	at := time.Date(2026, 5, 4, 15, 0, 0, 0, time.UTC)
	if _, err := d.log.Write(t.Context(), fullJob, daylog.Entry{ID: "earlier", Day: "2026-05-04", At: at, Made: at, Author: "ada", Body: &daylog.Note{Text: "no work"}}); err != nil {
		t.Fatal(err)
	}
	page := d.read("/job/" + fullJob + "/days")
	for _, say := range []string{"7 days without a record, 5 May to 11 May 2026", "Tue 12 May 2026 Waits for review 48.1 100 3 3 24.05", "Mon 4 May 2026 Not signed", "One signed day waits for review."} {
		if !strings.Contains(page, say) {
			t.Errorf("the list of days does not say %q:\n%s", say, page)
		}
	}
}

// vector is what the page of a day shows, as its form sends it.
func (d *desk) vector(path string) (vector string) {
	d.Helper()
	w := d.send("GET", path)
	m := regexp.MustCompile(`name="vector" value="([^"]*)"`).FindStringSubmatch(w.Body.String())
	if m == nil {
		d.Fatalf("GET %s: no form\n%s", path, w.Body)
	}
	return html.UnescapeString(m[1])
}

// The office comments, sends back, accepts; what comes later is a new revision
// that says what changed, in lines and in figures.
func TestReview(t *testing.T) {
	d := fullDesk(t)
	path := "/job/" + fullJob + "/day/" + fullDay
	says := func(words ...string) {
		t.Helper()
		page := d.read(path)
		for _, say := range words {
			if !strings.Contains(page, say) {
				t.Errorf("the day does not say %q:\n%s", say, page)
			}
		}
	}
	says("Waits for review Signed 16:25 by Ada Invented.", "48.1 sq", "100 ft", "24.05 tons")
	d.refused(path, []string{"Say what is missing: the crew reads it."}, "do", "sentback", "text", " ")
	d.refused(path, []string{"Write the comment first."}, "do", "comment")
	d.refused(path, []string{"Say whether to comment"}, "text", "kept as typed")
	d.refused(path, []string{"This page had lost what it shows", "kept as typed"}, "do", "accept", "text", "kept as typed")
	stale := d.vector(path)
	d.saved(path, "do", "comment", "text", "Which crane?")
	d.saved(path, "do", "sentback", "text", "Who rolled the splices?")
	says("Sent back", "Comment Which crane?", "Sent back Who rolled the splices?")
	// Comments are no change of the day: what the page showed can be accepted.
	d.saved(path, "do", "accept", "text", "Good.", "vector", stale)
	says("Accepted Signed 16:25 by Ada Invented. Accepted 09:00 on 13 May 2026 by office.", "Accepted Good.")

	// The crew corrects the stone and adds a line.
	job, err := store.Fold(t.Context(), d.log, fullJob, "")
	if err != nil {
		t.Fatal(err)
	}
	var stone *daylog.Line
	for l := range daylog.Each[*daylog.StoneSpread](job.On(fullDay)) {
		stone = l
	}
	less := *stone.Body.(*daylog.StoneSpread)
	less.Pounds = 44000
	now := d.now.Add(time.Hour)
	if _, err := d.log.Write(t.Context(), fullJob,
		daylog.Entry{ID: "corrected", Of: stone.Root, Why: "ticket misread", Day: fullDay, At: stone.At, To: stone.To, Made: now, Author: "ada", Body: &less},
		daylog.Entry{ID: "added", Day: fullDay, At: now, Made: now, Author: "ada", Body: &daylog.Note{Text: "the crane was a rented one"}}); err != nil {
		t.Fatal(err)
	}
	says("Changed Accepted 09:00 on 13 May 2026 by office. The record was changed since. Revision 2.", "Revision 2, nobody has closed it yet",
		"ticket misread", "crane was a rented one written later", "Stone spread 48,096 lb, 24.05 short tons 44,000 lb, 22.00 short tons", "22.00 tons")
	d.refused(path, []string{"The day was changed since you opened this page."}, "do", "accept", "vector", stale)
	d.saved(path, "do", "accept", "vector", d.vector(path))
	says("Revision 2, accepted 09:00 on 13 May 2026 by office")
	summary := d.read(path + "/summary")
	for _, say := range []string{"Revision 2", "ticket misread", "Stone spread 48,096 lb, 24.05 short tons 44,000 lb, 22.00 short tons", "Late entries Line Written By"} {
		if !strings.Contains(summary, say) {
			t.Errorf("the summary does not say %q", say)
		}
	}
}

// An unsigned day is a draft on paper and cannot be accepted.
func TestUnsignedDay(t *testing.T) {
	d := fullDesk(t)
	at := time.Date(2026, 5, 13, 13, 0, 0, 0, time.UTC)
	if _, err := d.log.Write(t.Context(), fullJob, daylog.Entry{ID: "unsigned", Day: "2026-05-13", At: at, Made: at, Author: "ada", Body: &daylog.PanelPositioned{Panel: "3"}}); err != nil {
		t.Fatal(err)
	}
	path := "/job/" + fullJob + "/day/2026-05-13"
	if page := d.read(path); !strings.Contains(page, "Not signed Nobody has signed this day yet.") || strings.Contains(page, "Accept the day") || !strings.Contains(page, "What stands now") {
		t.Errorf("an unsigned day says\n%s", page)
	}
	d.refused(path, []string{"This day is not signed."}, "do", "accept", "vector", d.vector(path))
	if page := d.read(path + "/summary"); !strings.Contains(page, "Draft") || !strings.Contains(page, "There is none while nobody has signed.") {
		t.Errorf("its summary says\n%s", page)
	}
	if w := d.send("GET", path+"/page.css"); !strings.Contains(w.Body.String(), "not signed") || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/css") {
		t.Errorf("its margins: %s", w.Body)
	}
	for _, missing := range []string{"2026-05-14", "2026-02-30", "today"} {
		if w := d.send("GET", "/job/"+fullJob+"/day/"+missing); w.Code != http.StatusNotFound {
			t.Errorf("%s: %d", missing, w.Code)
		}
	}
}

// A job's name cannot break out of the style of the margins.
func TestMarginsQuoteWhatTheyPrint(t *testing.T) {
	for text, want := range map[string]string{
		`a"b`:  `"a\000022 b"`,
		"a\\}": `"a\00005c \00007d "`,
		"é\n":  `"\0000e9 \00000a "`,
	} {
		if got := cssString(text); got != want {
			t.Errorf("%q is written %s, want %s", text, got, want)
		}
	}
}

// covered is what a check code stands for, read from the raw entries by what the
// check code's comment says, and by nothing of the program: of each entry of the
// day that the first signature covers, by its place among all, stream, seq and
// hash.
type covered struct {
	job, day string
	reach    map[string]struct{ Seq int64 }
	rows     map[int]string
}

type bare struct {
	Kind, Device, Day string
	Seq               int64
	At                time.Time
	Body              struct {
		Vector map[string]struct{ Seq int64 }
	}
}

func coveredBy(t testing.TB, lines [][]byte, job, day string) covered {
	t.Helper()
	c := covered{job: job, day: day, rows: map[int]string{}}
	var signed time.Time
	for _, line := range lines {
		var e bare
		if err := json.Unmarshal(line, &e); err != nil {
			t.Fatal(err)
		}
		if e.Kind == "sign" && e.Day == day && (c.reach == nil || e.At.Before(signed)) {
			c.reach, signed = e.Body.Vector, e.At
		}
	}
	for i, line := range lines {
		if row := c.row(line); row != "" {
			c.rows[i] = row
		}
	}
	return c
}

// row gives the row of an entry, "" for one that is not covered.
func (c covered) row(line []byte) string {
	var e bare
	json.Unmarshal(line, &e)
	// Answers to the tool's own questions are no part of the record.
	if e.Kind == "asked" || e.Day != c.day || e.Seq > c.reach[e.Device].Seq {
		return ""
	}
	return fmt.Sprintf("%s %020d %x\n", e.Device, e.Seq, sha256.Sum256(line))
}

func (c covered) code() string {
	sum := sha256.Sum256([]byte(c.job + "\n" + c.day + "\n" + strings.Join(slices.Sorted(maps.Values(c.rows)), "")))
	text := base32.StdEncoding.EncodeToString(sum[:])
	return text[:5] + "-" + text[5:10] + "-" + text[10:15] + "-" + text[15:20]
}

func TestCheckCode(t *testing.T) {
	d := fullDesk(t)
	entries, err := d.log.Entries(t.Context(), fullJob, "")
	if err != nil {
		t.Fatal(err)
	}
	lines := make([][]byte, len(entries))
	for i := range entries {
		lines[i] = entries[i].Raw()
	}
	c := coveredBy(t, lines, fullJob, fullDay)
	want := c.code()
	for _, path := range []string{"", "/summary"} {
		if page := d.read("/job/" + fullJob + "/day/" + fullDay + path); !strings.Contains(page, want) {
			t.Errorf("%s does not print %s, which the entries come to", path, want)
		}
	}
	// Every byte of every entry that is covered counts: with another one the
	// entry can no longer be read, or the code is the one that the bytes now
	// come to.
	day := daylog.Fold(fullJob, entries).On(fullDay)
	members := map[string]*daylog.Entry{}
	for _, l := range day.Lines {
		for _, e := range l.Members() {
			members[string(e.Raw())] = e
		}
	}
	tried, read := 0, 0
	for i, row := range c.rows {
		e := members[string(lines[i])]
		if e == nil {
			t.Fatalf("entry %s is covered and not on the day", entries[i].ID)
		}
		before := *e
		for at := range lines[i] {
			tried++
			line := bytes.Clone(lines[i])
			line[at] ^= 0x01
			other, err := daylog.Decode(line)
			if err != nil {
				continue
			}
			read++
			*e = other
			got := daylog.CheckCode(fullJob, day, day.Signatures[0], nil)
			if got == want {
				t.Errorf("entry %s with another byte at %d comes to the same code", before.ID, at)
			}
			if c.rows[i] = c.row(line); c.rows[i] != "" && got != c.code() {
				t.Errorf("entry %s with another byte at %d comes to %s, want %s", before.ID, at, got, c.code())
			}
		}
		*e, c.rows[i] = before, row
	}
	if tried < 10_000 || read < tried/4 {
		t.Errorf("only %d bytes were changed, and the entry read in %d", tried, read)
	}
	if got := daylog.CheckCode(fullJob, day, day.Signatures[0], nil); got != want {
		t.Errorf("in the end it is %s, want %s", got, want)
	}
	t.Logf("%d bytes of %d entries, read in %d", tried, len(c.rows), read)
}

// The pages of a day are for people who do not see, do not point, read at 400 %,
// want no motion or read in the dark.
func TestDayPagesFitEverybody(t *testing.T) {
	d := fullDesk(t)
	s := browser.Serve(t, officeOf(t, d.log, d.now))
	p := browser.Start(t).Open(browser.Desk)
	at := s.URL + "/job/" + fullJob
	for name, path := range map[string]string{"days": "/days", "day": "/day/" + fullDay, "summary": "/day/" + fullDay + "/summary"} {
		if status := p.Go(at + path); status != 200 {
			t.Fatalf("%s: %d", path, status)
		}
		p.Fits(name)
		if os.Getenv("PICTURES") != "" {
			for size, screen := range map[string]browser.Size{"desk": browser.Desk, "tablet": browser.Tablet, "upright": browser.TabletUpright, "phone": browser.Phone} {
				p.Resize(screen)
				p.Shot(name + "-" + size)
			}
			p.Resize(browser.Desk)
		}
	}
	// Comment with keys alone.
	p.Go(at + "/day/" + fullDay)
	p.Fill("#text", "seen")
	p.Keys("\t\t\t")
	p.KeysThrough("\r")
	p.WaitText("#review", "seen")
	if p.Count("#review .changes li") != 1 || !strings.Contains(p.Text("#review .changes"), "Comment") {
		t.Errorf("the review says %q", p.Text("#review"))
	}
}
