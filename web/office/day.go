package office

import (
	"cmp"
	"encoding/json"
	"fmt"
	"io/fs"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/internal/signin"
	"duskline/web"
)

// dayRoutes are the pages of a job's days: for review, and for paper.
func (p *pages) dayRoutes(r chi.Router) {
	reads := func(m signin.May) bool { return m.Reads }
	signed := func(m signin.May) bool { return m.Signed }
	office := func(m signin.May) bool { return m.Office }
	r.Get("/job/{job}/days", p.days(signed, p.dayList))
	r.Get("/job/{job}/day/{date}", p.oneDay(reads, p.dayPage))
	r.Post("/job/{job}/day/{date}", p.oneDay(office, p.review))
	r.Get("/job/{job}/day/{date}/summary", p.oneDay(signed, p.summary))
	r.Get("/job/{job}/day/{date}/page.css", p.oneDay(signed, p.pageMargins))
}

// daysVisit is one request to a page of a job's days.
type daysVisit struct {
	*setupVisit
	may   signin.May
	heads daylog.Heads // that the page covers at least
	zone  *time.Location
	rec   *record // of the day that the page is about
}

// days makes a handler of a page for those who may what it asks. Nobody else
// learns whether there is such a job.
func (p *pages) days(may func(signin.May) bool, do func(v *daysVisit) error) http.HandlerFunc {
	return p.page(func(in *visit) error {
		v := &daysVisit{setupVisit: &setupVisit{visit: in, id: chi.URLParam(in.r, "job"), author: "office"},
			may: signin.May{Reads: true, Crew: true, Office: true, Signed: true}}
		if p.Accounts != nil {
			v.may = in.who.On(v.id)
			v.author = v.may.Person
			if !may(v.may) {
				return fmt.Errorf("days of %s: %w", v.id, fs.ErrPermission)
			}
		}
		// Before the job is read: what comes in between is not covered.
		var err error
		if v.heads, err = v.Log.Heads(in.r.Context(), v.id); err != nil {
			return err
		}
		if v.job, err = v.Memo.Fold(in.r.Context(), v.Log, v.id, ""); err != nil {
			return err
		}
		if v.setupVisit.day, err = v.today(v.id); err != nil {
			return err
		}
		if v.zone, err = time.LoadLocation(v.day.Setup.Zone); err != nil {
			v.zone = time.UTC
		}
		return do(v)
	})
}

// oneDay makes a handler of a page about one day that was worked. Who reads
// signed days only learns of no others.
func (p *pages) oneDay(may func(signin.May) bool, do func(v *daysVisit) error) http.HandlerFunc {
	return p.days(may, func(v *daysVisit) error {
		date, err := daylog.ParseDate(chi.URLParam(v.r, "date"))
		if err != nil {
			return fmt.Errorf("%w: %w", fs.ErrNotExist, err)
		}
		d := v.job.On(date)
		if !v.may.Reads && !d.Signed() {
			return fmt.Errorf("%s of %s: %w", date, v.id, fs.ErrPermission)
		}
		if !d.Worked() {
			return fmt.Errorf("%s of %s: %w", date, v.id, fs.ErrNotExist)
		}
		v.rec = newRecord(v.id, v.job, date, v.Now(), v.zone, web.Forks(v.r.Context(), v.Log, v.id))
		return do(v)
	})
}

func (v *daysVisit) jobURL(path string) string { return "/job/" + url.PathEscape(v.id) + "/" + path }

func (v *daysVisit) dayURL(d daylog.Date) string {
	if !v.may.Reads {
		return v.jobURL("day/" + string(d) + "/summary")
	}
	return v.jobURL("day/" + string(d))
}

// frame is what surrounds a page of the job's days: who reads signed days only
// is shown the way to nothing else.
func (v *daysVisit) frame(title string) web.Frame {
	f := v.visit.frame(title, "")
	s := v.day.Setup
	f.Job, f.JobURL, f.Invented = s.Title(), v.jobURL("days"), s.Invented
	nav := []web.NavLink{{Label: "Days", URL: v.jobURL("days"), Current: true}}
	if v.may.Reads {
		f.JobURL = v.jobURL("")
		nav = []web.NavLink{{Label: "Now", URL: f.JobURL}, nav[0]}
	}
	if v.may.Office {
		nav = append(nav, web.NavLink{Label: "Set-up", URL: v.jobURL("setup")})
	}
	f.Nav = append(nav, f.Nav...)
	return f
}

// standing is where the review of a day stands, in a word and in words.
type standing struct {
	Word  string // "accepted"
	Words string
	Done  bool // nobody has to do anything
}

// standing tells where the review of the day stands.
func (r *record) standing() standing {
	if !r.day.Signed() {
		return standing{Word: "not signed", Words: "Nobody has signed this day yet."}
	}
	sign := r.day.Signatures[0].Line
	signed := "Signed " + r.moment(sign.At) + " by " + r.person(sign.Author)
	last, reviewed := r.day.Review()
	if !reviewed {
		return standing{Word: "waits for review", Words: signed + "."}
	}
	by := r.moment(last.Line.At) + " by " + r.person(last.Line.Author) + "."
	changed := r.changes[len(r.changes)-1].By == nil
	switch {
	case last.Accepted == nil && changed:
		return standing{Word: "answered", Words: "Sent back " + by + " The record was changed since."}
	case last.Accepted == nil:
		return standing{Word: "sent back", Words: signed + ". Sent back " + by}
	case changed:
		return standing{Word: "changed", Words: "Accepted " + by + " The record was changed since."}
	}
	return standing{Word: "accepted", Words: signed + ". Accepted " + by, Done: true}
}

// revision is the number of the record's newest state; 0 while it is not signed.
func (r *record) revision() int { return len(r.changes) }

// DayListView is every day of a job that has a record.
type DayListView struct {
	Frame web.Frame
	Lead  string
	Days  []DayRow
	Empty string
}

// DayRow is one day in a line, or the days between two without a record.
type DayRow struct {
	URL, Paper string
	Date       string
	Standing   standing
	Revision   string
	Cells      []string // of dayCells
	Gap        string
}

var dayCells = []string{"Squares", "Seam, ft", "Covers", "Treated", "Stone, tons", "Stood"}

// silent is after how many days without work a report is due all the same
// (UFGS-01451A: published).
const silent = 7

// dayList is GET /job/{job}/days: every day that whoever asks may read, the
// newest first.
func (p *pages) dayList(v *daysVisit) error {
	view := DayListView{Frame: v.frame("Days"), Empty: "No day has been written down yet."}
	if !v.may.Reads {
		view.Empty = "No day has been signed yet."
	}
	waiting := 0
	var later time.Time
	for _, d := range slices.Backward(v.job.Days) {
		if !d.Worked() || !v.may.Reads && !d.Signed() {
			continue
		}
		date, err := time.Parse(time.DateOnly, string(d.Date))
		if err != nil {
			continue
		}
		if gap := int(later.Sub(date).Hours()/24) - 1; !later.IsZero() && gap >= silent {
			view.Days = append(view.Days, DayRow{Gap: fmt.Sprintf("%d days without a record, %s to %s. One report is due for each %d days without work.",
				gap, date.AddDate(0, 0, 1).Format("2 January"), later.AddDate(0, 0, -1).Format("2 January 2006"), silent)})
		}
		later = date
		r := &record{id: v.id, job: v.job, day: d, today: v.day.Setup, zone: v.zone, tally: d.Tally(), changes: d.Revisions(nil)}
		row := DayRow{URL: v.dayURL(d.Date), Paper: v.jobURL("day/" + string(d.Date) + "/summary"), Date: date.Format("Mon 2 January 2006"), Standing: r.standing(), Revision: "–"}
		if n := r.revision(); n > 0 {
			row.Revision = fmt.Sprint(n)
		}
		stood := "–"
		if d.Signed() {
			stood = fmt.Sprint(len(d.Signatures[0].Stood))
			if !row.Standing.Done {
				waiting++
			}
		}
		t := r.tally
		row.Cells = []string{fixed(daylog.Squares(t.Laid), 1), figure(float64(int(t.Made.Feet()*10+0.5)) / 10), fmt.Sprint(t.Covers.Rolled),
			fmt.Sprint(t.Covers.Treated), fixed(daylog.ShortTons(t.Pounds), 2), stood}
		view.Days = append(view.Days, row)
	}
	if v.may.Office {
		switch waiting {
		case 0:
			view.Lead = "No signed day waits for review."
		case 1:
			view.Lead = "One signed day waits for review."
		default:
			view.Lead = fmt.Sprintf("%d signed days wait for review.", waiting)
		}
	}
	return v.show(http.StatusOK, DayListPage(view))
}

// DayView is one day for whoever reviews it.
type DayView struct {
	Frame         web.Frame
	Title         string
	Standing      standing
	Revision      int
	Before, After web.Action
	Links         []web.Action
	Numbers       []Number
	Chart         web.DayChart
	HasChart      bool
	Plan          web.RoofDrawing
	HasPlan       bool
	Warnings      []web.Warning // that stand, of a day that is not signed
	Stood         []string      // when it was signed
	Asides        []web.Aside
	Revisions     []RevisionView
	Words         []ReviewWord
	Form          *ReviewForm // nil for who may not review
	Tables        []Table
	Entries       []web.EntryAct
	Count         int // of entries
	CheckCode     string
	Newer         int
}

// RevisionView is what changed since the state of the record before.
type RevisionView struct {
	Title   string
	Rows    [][]string // line, what was done to it, who and when
	Figures [][]string // what, before, now
}

// ReviewWord is one word of the office on the day.
type ReviewWord struct{ What, Text, By string }

// ReviewForm asks the office for its word.
type ReviewForm struct {
	URL    string
	Hidden []web.Hidden
	Text   string
	Wrong  string // at the text
	Failed string // as a whole
	Signed bool   // else there is nothing to accept
}

// dayPage is GET /job/{job}/day/{date}.
func (p *pages) dayPage(v *daysVisit) error { return v.showDay(http.StatusOK, "", "") }

func (v *daysVisit) showDay(status int, wrong, failed string) error {
	r := v.rec
	view := DayView{Frame: v.frame(dateWords(r.day.Date)), Title: longDate(r.day.Date), Standing: r.standing(), Revision: r.revision(), Numbers: r.numbers(), Newer: r.day.Newer}
	for _, d := range v.job.Days {
		if link := (web.Action{Label: dateWords(d.Date), URL: v.dayURL(d.Date)}); !d.Worked() {
			continue
		} else if d.Date < r.day.Date {
			view.Before = link
		} else if d.Date > r.day.Date && view.After.Label == "" {
			view.After = link
		}
	}
	view.Links = []web.Action{{Label: "Summary for paper", URL: v.jobURL("day/" + string(r.day.Date) + "/summary")}}
	view.Chart, view.HasChart = r.chart("day")
	view.Plan, view.HasPlan = r.drawing("plan")
	if r.day.Signed() {
		for _, s := range r.stood() {
			if s.Reason == "" && s.By == "" {
				view.Stood = append(view.Stood, stoodWords(s))
			}
		}
		view.CheckCode = daylog.CheckCode(v.id, r.day, r.day.Signatures[0], r.forks)
	} else {
		for _, f := range checks.Run(r.closing) {
			if f.Aside == nil {
				view.Warnings = append(view.Warnings, warning(f))
			}
		}
	}
	for _, a := range r.day.Asides {
		view.Asides = append(view.Asides, web.Aside{Words: a.Words, Reason: a.Reason, By: r.person(a.Line.Author) + ", " + r.moment(a.Line.At)})
	}
	for _, a := range r.day.Answers {
		view.Asides = append(view.Asides, web.Aside{Words: a.Words, Done: a.What, By: r.person(a.Person) + ", " + r.moment(a.Line.At)})
	}
	view.Revisions = r.revisions()
	view.Words = r.reviews()
	if v.may.Office {
		form, err := v.reviewForm(wrong, failed)
		if err != nil {
			return err
		}
		view.Form = form
	}
	view.Tables = []Table{r.quantities(), r.stone(), r.crew(), r.equipment(), r.weather(), r.lots(), r.late(), r.struckAndCorrected()}
	for _, t := range []Table{r.deficiencies(), r.visits(), r.instructions(), r.trades(), r.delays(), r.notes()} {
		if len(t.Rows) > 0 {
			view.Tables = append(view.Tables, t)
		}
	}
	view.Entries = web.EntriesOf(r.day, v.day.Setup, v.zone)
	for _, l := range r.day.Lines {
		view.Count += len(l.Members())
	}
	return v.show(status, DayPage(view))
}

// longDate is a date as a heading says it.
func longDate(d daylog.Date) string {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return string(d)
	}
	return t.Format("Monday 2 January 2006")
}

func stoodWords(s daylog.Stood) string {
	switch {
	case s.Asks:
		return s.Words + " (asked, not answered)"
	case s.Reason != "":
		return s.Words + " Set aside: " + s.Reason
	}
	return s.Words
}

var warningKinds = map[checks.Severity]web.WarningKind{
	checks.People: web.People, checks.Stop: web.Stop, checks.Today: web.Today, checks.Notice: web.Note, checks.Managed: web.Note,
}

// warning is a finding as a card without buttons: the office settles nothing on
// the roof.
func warning(f checks.Finding) web.Warning {
	w := web.Warning{Kind: warningKinds[f.Check.Severity], What: f.Says, Say: cmp.Or(f.Settle, f.Check.Settle), Seen: f.Seen, Limit: f.Limit, Source: f.Source.String()}
	if f.Asks {
		w.Kind = web.Asked
	}
	return w
}

// revisions says what each state of the record changed, the newest first.
func (r *record) revisions() []RevisionView {
	var out []RevisionView
	for i, rev := range r.changes {
		if i == 0 {
			continue
		}
		view := RevisionView{Title: fmt.Sprintf("Revision %d", rev.Number)}
		if rev.By != nil {
			word := "accepted "
			if _, sign := rev.By.Body.(*daylog.Sign); sign {
				word = "signed "
			}
			view.Title += ", " + word + r.moment(rev.By.At) + " by " + r.person(rev.By.Author)
		} else {
			view.Title += ", nobody has closed it yet"
		}
		for _, l := range rev.Changed {
			row := r.changed(l)
			if row == nil {
				row = []string{r.clock(l.At) + " " + r.says(l.Entry), "written later", r.person(l.Author) + ", " + r.moment(l.Made)}
			}
			view.Rows = append(view.Rows, row)
		}
		was := &record{day: r.day.As(r.changes[i-1].Vector, r.forks), zone: r.zone}
		is := &record{day: r.day, zone: r.zone}
		if rev.Vector != nil {
			is.day = r.day.As(rev.Vector, r.forks)
		}
		was.tally, is.tally = was.day.Tally(), is.day.Tally()
		before, now := was.quantities().Rows, is.quantities().Rows
		for _, row := range now {
			old := "none"
			if j := slices.IndexFunc(before, func(b []string) bool { return b[0] == row[0] }); j >= 0 {
				old = before[j][1]
			}
			if old != row[1] {
				view.Figures = append(view.Figures, []string{row[0], old, row[1]})
			}
		}
		out = append(out, view)
	}
	slices.Reverse(out)
	return out
}

// reviews are the office's words on the day, in order.
func (r *record) reviews() []ReviewWord {
	var out []ReviewWord
	for _, l := range r.day.Lines {
		if l.Struck != nil {
			continue
		}
		word := ReviewWord{By: r.person(l.Author) + ", " + r.moment(l.At)}
		switch b := l.Body.(type) {
		case *daylog.Comment:
			word.What, word.Text = "Comment", b.Text
		case *daylog.SentBack:
			word.What, word.Text = "Sent back", b.Text
		case *daylog.Accepted:
			word.What, word.Text = "Accepted", b.Text
		default:
			continue
		}
		out = append(out, word)
	}
	return out
}

// reviewForm carries what its page covers, so that nothing is accepted unseen.
func (v *daysVisit) reviewForm(wrong, failed string) (*ReviewForm, error) {
	typed := typedOnly(v.r)
	number, err := formNumber(typed.Get("form"))
	if err != nil {
		return nil, err
	}
	vector, err := json.Marshal(v.heads)
	if err != nil {
		return nil, err
	}
	return &ReviewForm{
		URL: v.jobURL("day/" + string(v.rec.day.Date)), Text: typed.Get("text"), Wrong: wrong, Failed: failed, Signed: v.rec.day.Signed(),
		Hidden: []web.Hidden{{Name: "form", Value: number}, {Name: "vector", Value: string(vector)}},
	}, nil
}

// review is POST /job/{job}/day/{date}: comments on the day, sends it back or
// accepts it.
func (p *pages) review(v *daysVisit) error {
	typed, d := v.r.PostForm, v.rec.day
	text := strings.TrimSpace(strings.ToValidUTF8(typed.Get("text"), "\uFFFD"))
	now := v.Now().UTC().Truncate(time.Second)
	number, err := formNumber(typed.Get("form"))
	if err != nil {
		return err
	}
	e := daylog.Entry{ID: number, Day: d.Date, At: now, Made: now, Author: v.author}
	again := func(wrong, failed string) error { return v.showDay(http.StatusUnprocessableEntity, wrong, failed) }
	switch typed.Get("do") {
	case "comment":
		if text == "" {
			return again("Write the comment first.", "")
		}
		e.Body = &daylog.Comment{Text: text}
	case "sentback":
		if text == "" {
			return again("Say what is missing: the crew reads it.", "")
		}
		e.Body = &daylog.SentBack{Text: text}
	case "accept":
		a := &daylog.Accepted{Text: text}
		if !d.Signed() {
			return again("", "This day is not signed. It can be accepted once the foreman has signed it.")
		}
		if json.Unmarshal([]byte(typed.Get("vector")), &a.Vector) != nil || len(a.Vector) == 0 {
			return again("", "This page had lost what it shows. Read the day again, then accept it.")
		}
		if d.Beyond(a.Vector, v.rec.forks) > 0 && len(v.kept(number)) == 0 {
			return again("", "The day was changed since you opened this page. Read it again, then accept it.")
		}
		a.Stood = v.rec.stood()
		e.Body = a
	default:
		return again("", "Say whether to comment, to send back or to accept.")
	}
	return v.keep(e, v.jobURL("day/"+string(d.Date))+"#review")
}

// kept are the day's lines that this form has written before.
func (v *daysVisit) kept(form string) []*daylog.Line {
	var out []*daylog.Line
	for _, l := range v.rec.day.Lines {
		if l.Form() == form {
			out = append(out, l)
		}
	}
	return out
}
