package web

import (
	"cmp"
	"fmt"
	"io/fs"
	"net/http"
	"net/url"
	"strings"
	"time"

	"duskline/internal/daylog"
)

// EntriesView is a day as it was written down.
type EntriesView struct {
	Frame  Frame
	Title  string
	Before Action // the worked day before; none when its label is empty
	After  Action
	Lines  []EntryLine
	Empty  Empty
	Newer  int
}

// entries is GET /job/{job}/entries: the day's lines in order, struck ones
// crossed through.
func (s *site) entries(v *visit) error {
	view := EntriesView{Frame: v.frame("Entries", "Entries"), Title: dateWords(v.day.Date), Newer: v.day.Newer,
		Empty: Empty{Say: "Nothing was written on this day.", Do: Action{Label: "To Now", URL: v.url("")}}}
	for _, past := range v.job.Past() {
		link := Action{Label: dateWords(past.Date), URL: v.url("entries?day=" + string(past.Date))}
		if past.Date < v.day.Date {
			view.Before = link
		} else if past.Date > v.day.Date && view.After.Label == "" {
			view.After = link
		}
	}
	for _, l := range v.day.Lines {
		view.Lines = append(view.Lines, v.entryLine(l))
	}
	return v.show(http.StatusOK, EntriesPage(view))
}

// longAfter is how much later than the work an entry is written before the
// page says when.
const longAfter = 20 * time.Minute

func (v *visit) entryLine(l *daylog.Line) EntryLine {
	out := EntryLine{
		ID: l.Root, Time: v.clock(l.At), About: l.About > 0, By: v.day.Setup.PersonName(l.Author),
		Newer: l.Newer(),
	}
	if !l.To.IsZero() {
		out.Until = v.clock(l.To)
	}
	if k := daylog.KindOf(l.Body); k != nil {
		out.What, out.Detail = k.Title, v.says(l.Entry)
	}
	if l.Made.Sub(l.End()) > longAfter {
		out.Late = "written " + v.clock(l.Made)
		if daylog.DateOf(l.Made.In(v.zone)) != l.Day {
			out.Late += " on " + dateWords(daylog.DateOf(l.Made.In(v.zone)))
		}
	}
	if l.After {
		out.Late = strings.TrimPrefix(out.Late+" · after signing", " · ")
	}
	if l.Of != "" {
		was := v.was(l)
		out.Corrected = was + "by " + v.day.Setup.PersonName(l.Author) + " " + v.clock(l.Made) + ": " + l.Why
	}
	if l.Struck != nil {
		out.Struck = cmp.Or(l.Struck.Why, "no reason given")
		out.StruckBy = v.day.Setup.PersonName(l.Struck.Author) + ", " + v.clock(l.Struck.Made)
	}
	k := daylog.KindOf(l.Body)
	if k == nil || k.Writes != daylog.Crew || k == daylog.KindOf(&daylog.Sign{}) || v.who.Person == "" || !v.who.may(daylog.Crew) {
		return out
	}
	base := v.url("entry/" + url.PathEscape(l.Root))
	day := "?day=" + string(v.day.Date)
	if k.Fields != nil {
		out.Actions = append(out.Actions, Action{Label: "Correct", About: out.Detail, URL: base + "/correct" + day})
	}
	if l.Struck == nil {
		out.Actions = append(out.Actions, Action{Label: "Strike", About: out.Detail, URL: base + "/strike" + day})
	}
	return out
}

// was says what a corrected line said first.
func (v *visit) was(l *daylog.Line) string {
	if len(l.Past) == 0 {
		return ""
	}
	first := l.Past[0]
	return "was " + v.clock(first.At) + " " + v.says(first) + "; "
}

// line is the line of the address.
func (v *visit) line() (*daylog.Line, error) {
	id := param(v, "id")
	for _, l := range v.day.Lines {
		if k := daylog.KindOf(l.Body); l.Root == id && k != nil && k.Writes == daylog.Crew {
			return l, nil
		}
	}
	return nil, fmt.Errorf("line %q: %w", id, fs.ErrNotExist)
}

// askCorrection is GET /job/{job}/entry/{id}/correct: the line's form, filled in
// with what it says now.
func (s *site) askCorrection(v *visit) error {
	l, err := v.line()
	if err != nil {
		return err
	}
	sh, err := correction(l)
	if err != nil {
		return err
	}
	return v.showSheet(http.StatusOK, sh)
}

// saveCorrection is POST /job/{job}/entry/{id}/correct.
func (s *site) saveCorrection(v *visit) error {
	l, err := v.line()
	if err != nil {
		return err
	}
	sh, err := correction(l)
	if err != nil {
		return err
	}
	sh.typed = v.r.PostForm
	return v.saveSheet(sh)
}

func correction(l *daylog.Line) (*sheet, error) {
	k := daylog.KindOf(l.Body)
	if k.Fields == nil || l.Kind == "sign" {
		return nil, fmt.Errorf("correcting %s: %w", k.Name, fs.ErrNotExist)
	}
	values, err := valuesOf(l.Body)
	for name, text := range l.Odd {
		values[name] = text
	}
	return &sheet{kind: k, values: values, of: l}, err
}

// askStrike is GET /job/{job}/entry/{id}/strike: asks for the reason.
func (s *site) askStrike(v *visit) error {
	l, err := v.line()
	if err != nil {
		return err
	}
	return v.strikeForm(http.StatusOK, l, "")
}

func (v *visit) strikeForm(status int, l *daylog.Line, wrong string) error {
	id := v.r.PostForm.Get("form")
	if !validForm(id) {
		var err error
		if id, err = v.newForm(); err != nil {
			return err
		}
	}
	form := Form{
		Heading: Heading{Title: "Strike this line", Lead: v.clock(l.At) + " " + v.says(l.Entry) + ". It stays readable, crossed through, with your reason."},
		URL:     v.url("entry/" + url.PathEscape(l.Root) + "/strike"),
		Hidden:  []Hidden{{"form", id}, {"day", string(v.day.Date)}},
		Groups: []FieldGroup{{Fields: []Field{{Name: "why", Kind: FieldText, Label: "Why it is struck", Error: wrong,
			Value: v.r.PostForm.Get("why"), Help: "As in: wrong run, logged twice, waited after all."}}}},
		Submit: "Strike",
		Cancel: Action{Label: "Back to the entries", URL: v.url("entries")},
	}
	return v.show(status, SheetPage(v.frame(form.Heading.Title, ""), form))
}

// saveStrike is POST /job/{job}/entry/{id}/strike.
func (s *site) saveStrike(v *visit) error {
	l, err := v.line()
	if err != nil {
		return err
	}
	if v.who.Person == "" {
		return fmt.Errorf("striking: %w", fs.ErrPermission)
	}
	e := v.draft(v.r.PostForm.Get("form"))
	e.Why = clean(strings.TrimSpace(v.r.PostForm.Get("why")))
	if e.Why == "" {
		return v.strikeForm(http.StatusUnprocessableEntity, l, "Say why: the reason is shown beside the line.")
	}
	if !validForm(e.ID) {
		return badRequest("The form has lost its number. Open it again from Entries.")
	}
	e.Of, e.At, e.Body = l.Root, v.now.UTC(), &daylog.Strike{}
	return v.keepAnd(v.url("entries?day="+string(v.day.Date)+"#"+url.PathEscape(l.Root)), e)
}
