package office

import (
	"cmp"
	"fmt"
	"net/http"
	"strings"

	"duskline/internal/daylog"
	"duskline/web"
)

// SummaryView is the record of a day as it is filed: made for paper.
type SummaryView struct {
	Frame    web.Frame
	Margins  string // address of the style that prints what stands in the margins
	Date     string
	Draft    bool // nobody has signed it
	Revision int
	Standing standing
	Facts    []web.Fact
	Numbers  []Number
	Plan     web.RoofDrawing
	HasPlan  bool
	Chart    web.DayChart
	HasChart bool
	Parts    []Part
	None     []web.Fact // parts of the record without rows, with their answers
	Cautions []string
	Changes  []RevisionView

	Statement  string
	Signatures []string
	CheckCode  string
	Newer      int
}

// Part is one table of the summary, or two beside each other.
type Part []Table

// cautions go with every record of this work.
var cautions = []string{
	"This record reminds and records. It decides nothing about safety, structure or wind design, and gives no approval.",
	"Fall protection, flammable primer and adhesive, heat, wind, roof loads and ballast rates are for the manufacturer's written instructions, the job specification, local codes, the competent person on site and the licensed engineer of record.",
}

// summary is GET /job/{job}/day/{date}/summary.
func (p *pages) summary(v *daysVisit) error {
	r := v.rec
	view := SummaryView{
		Frame: v.frame("Day summary, " + dateWords(r.day.Date)), Margins: v.jobURL("day/" + string(r.day.Date) + "/page.css"),
		Date: longDate(r.day.Date), Draft: !r.day.Signed(), Revision: r.revision(), Standing: r.standing(),
		Facts: r.facts(), Numbers: r.numbers(), Cautions: cautions, Changes: r.revisions(), Newer: r.day.Newer,
	}
	view.Plan, view.HasPlan = r.drawing("plan")
	view.Chart, view.HasChart = r.chart("day")
	for _, part := range []Part{
		{r.quantities()}, {r.stone()}, {r.work()}, {r.crew(), r.equipment()}, {r.weather()}, {r.seams()}, {r.tests()}, {r.lots()},
		{r.deviations()}, {r.deficiencies()}, {r.visits()}, {r.instructions()}, {r.trades()}, {r.delays(), r.notes()}, {r.safety()}, {r.open()},
		{r.struckAndCorrected()}, {r.late()},
	} {
		var shown Part
		for _, t := range part {
			if len(t.Rows) > 0 {
				shown = append(shown, t)
			} else {
				view.None = append(view.None, web.Fact{Term: t.Title, Value: t.Words})
			}
		}
		if len(shown) > 0 {
			view.Parts = append(view.Parts, shown)
		}
	}
	for _, s := range r.day.Signatures {
		view.Statement = cmp.Or(view.Statement, s.Statement)
		view.Signatures = append(view.Signatures, "Signed in this log by "+r.person(s.Line.Author)+r.role(s.Line.Author)+", "+r.full(s.Line.Entry))
	}
	for _, l := range r.day.Reviews {
		if l.Accepted != nil {
			view.Signatures = append(view.Signatures, "Accepted in this log by "+r.person(l.Line.Author)+r.role(l.Line.Author)+", "+r.full(l.Line.Entry)+after(": ", l.Text))
		}
	}
	if r.day.Signed() {
		view.CheckCode = daylog.CheckCode(v.id, r.day, r.day.Signatures[0], r.forks)
	}
	return v.show(http.StatusOK, SummaryPage(view))
}

// full is an entry's time with its date and zone.
func (r *record) full(e *daylog.Entry) string {
	return e.At.In(r.zone).Format("15:04 MST on 2 January 2006")
}

func (r *record) role(id string) string {
	p, ok := r.day.Setup.Person(id)
	if !ok {
		p, _ = r.today.Person(id)
	}
	return after(", ", cmp.Or(p.Role, p.Trade))
}

// facts say whose record it is, of what, and when.
func (r *record) facts() []web.Fact {
	s := r.day.Setup
	number := 0
	for _, d := range r.job.Days {
		if d.Date <= r.day.Date && d.Worked() {
			number++
		}
	}
	var where []string
	for _, p := range r.tally.Panels {
		where = append(where, "panel "+p.Name)
	}
	for _, m := range r.tally.Seams {
		where = append(where, "seam "+m.Seam)
	}
	hours := "not started"
	if !r.day.Started.IsZero() {
		hours = r.clock(r.day.Started.At)
		if left := r.day.Leaving(); !left.IsZero() {
			hours += " to " + r.clock(left) + ", tools down " + r.clock(r.day.ToolsDown())
		}
	}
	return []web.Fact{
		{Term: "Contractor", Value: cmp.Or(s.Contractor, "not named in the set-up")},
		{Term: "Job", Value: s.Title()},
		{Term: "Area of work", Value: cmp.Or(daylog.List(where), "no sheet or seam this day")},
		{Term: "Day of the record", Value: fmt.Sprint(number)},
		{Term: "Hours on the roof", Value: hours},
		{Term: "Time zone", Value: r.zone.String()},
	}
}

// pageMargins is GET /job/{job}/day/{date}/page.css: what stands in the margins
// of every printed page, so that a page that got loose says what it is of.
func (p *pages) pageMargins(v *daysVisit) error {
	r := v.rec
	left := r.day.Setup.Title() + " · " + longDate(r.day.Date)
	if r.day.Setup.Invented {
		left = "Invented job · " + left
	}
	right := "not signed: draft"
	if r.day.Signed() {
		left += fmt.Sprintf(" · revision %d", r.revision())
		right = "check code " + daylog.CheckCode(v.id, r.day, r.day.Signatures[0], r.forks)
	}
	v.w.Header().Set("Content-Type", "text/css; charset=utf-8")
	v.w.Header().Set("Cache-Control", "no-store")
	_, err := fmt.Fprintf(v.w, `@page {
@bottom-left { content: %s; }
@bottom-right { content: %s " \0000b7  page " counter(page) " of " counter(pages); }
}
`, cssString(left), cssString(right))
	return err
}

// cssString writes a text as a string of a style sheet, everything but plain
// letters and digits by its number.
func cssString(text string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, c := range text {
		if c == ' ' || c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' {
			b.WriteRune(c)
		} else {
			fmt.Fprintf(&b, `\%06x `, c) // the space ends the number
		}
	}
	b.WriteByte('"')
	return b.String()
}
