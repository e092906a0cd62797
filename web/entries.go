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
	Saved  Saved
	Signed Signature // zero while the day is not signed
	Acts   []EntryAct
	Empty  Empty
	Newer  int
}

// entries is GET /job/{job}/entries: the day's lines in order, struck ones
// crossed through.
func (s *site) entries(v *visit) error {
	view := EntriesView{Frame: v.frame("Entries", "Entries"), Title: v.dayWords(v.day.Date), Newer: v.day.Newer, Signed: v.signed(),
		Empty: Empty{Say: "Nothing was written on this day.", Do: Action{Label: "To Now", URL: v.url(v.dayQuery("?"))}}}
	for _, past := range v.job.Past() {
		link := Action{Label: v.dayWords(past.Date), URL: v.url("entries?day=" + string(past.Date))}
		if past.Date == v.today {
			link.URL = v.url("entries")
		}
		if past.Date < v.day.Date {
			view.Before = link
		} else if past.Date > v.day.Date && view.After.Label == "" {
			view.After = link
		}
	}
	view.Saved = v.saved()
	view.Frame.Clocks = view.Saved.Undo.Label != ""
	view.Signed.Statement, view.Signed.Stood = "", nil // the line says so
	view.Acts = v.entryActs()
	return v.show(http.StatusOK, EntriesPage(view))
}

// entryActs puts the day's lines together: those of one form at one time, and
// set-up that stands together.
func (v *visit) entryActs() []EntryAct {
	var acts []EntryAct
	var last *daylog.Line
	for _, l := range v.day.Lines {
		n := len(acts) - 1
		if k := daylog.KindOf(l.Body); k != nil && k.Group == daylog.SetUp {
			words := titled(k, v.says(l.Entry))
			if n >= 0 && acts[n].Quiet != nil {
				acts[n].Quiet = append(acts[n].Quiet, words)
			} else {
				acts = append(acts, EntryAct{Time: v.clock(l.At), Quiet: []string{words}})
			}
			continue
		}
		if n < 0 || acts[n].Quiet != nil || l.Form() != last.Form() || !l.At.Equal(last.At) || !l.To.Equal(last.To) || l.About != last.About {
			act := EntryAct{Time: v.clock(l.At), About: l.About > 0}
			if !l.To.IsZero() {
				act.Until = v.clock(l.To)
			}
			acts, n = append(acts, act), n+1
		}
		acts[n].Lines = append(acts[n].Lines, v.entryLine(l))
		last = l
	}
	return acts
}

// longAfter is how much later than the work an entry is written before the
// page says when.
const longAfter = 20 * time.Minute

func (v *visit) entryLine(l *daylog.Line) EntryLine {
	out := EntryLine{ID: l.Root, By: v.person(l.Author), Newer: l.Newer(), After: l.After}
	k := daylog.KindOf(l.Body)
	if k != nil {
		out.What = titled(k, v.says(l.Entry))
	}
	if l.Made.Sub(l.End().Add(time.Duration(l.About)*time.Minute)) > longAfter {
		out.Late = "written " + v.clock(l.Made)
		if day := v.dayOf(l.Made); day != l.Day {
			out.Late += " on " + v.dayWords(day)
		}
	}
	if l.Of != "" && l.Struck != l.Entry {
		out.Corrected = v.was(l) + "by " + v.person(l.Author) + " " + v.clock(l.Made) + ": " + l.Why
	}
	if l.Struck != nil {
		out.Struck = struckFor(l.Struck)
		out.StruckBy = v.person(l.Struck.Author) + ", " + v.clock(l.Struck.Made)
	}
	if !changeable(k) || v.who.Person == "" || !v.who.may(daylog.Crew) {
		return out
	}
	base := v.url("entry/" + url.PathEscape(l.Root))
	out.Actions = append(out.Actions, Action{Label: "Correct", About: out.What, URL: base + "/correct" + v.dayQuery("?")})
	if l.Struck == nil {
		out.Actions = append(out.Actions, Action{Label: "Strike", About: out.What, URL: base + "/strike" + v.dayQuery("?")})
	}
	return out
}

// changeable reports whether lines of a kind may be struck and corrected by the
// crew. A signature stays what it was.
func changeable(k *daylog.Kind) bool {
	return k != nil && k.Writes == daylog.Crew && k.Fields != nil && k.Name != "sign"
}

// titled is what a line says, with its kind before it where the words alone do
// not tell: where they hold none of the title's.
func titled(k *daylog.Kind, words string) string {
	const stem = 4
	said := strings.ToLower(words)
	for _, word := range strings.Fields(strings.ToLower(k.Title)) {
		if len(word) >= stem && strings.Contains(said, word[:stem]) {
			return UpperFirst(words)
		}
	}
	return k.Title + ": " + words
}

// was says what a corrected line said first.
func (v *visit) was(l *daylog.Line) string {
	for _, e := range l.Past {
		if k := daylog.KindOf(e.Body); k != nil && k.Fields != nil {
			return "was " + v.clock(e.At) + " " + v.says(e) + "; "
		}
	}
	return ""
}

// line is the line of the address. The page is then about that line's day.
func (v *visit) line() (*daylog.Line, error) {
	id := param(v, "id")
	for _, d := range append([]*daylog.Day{v.day}, v.job.Days...) {
		for _, l := range d.Lines {
			if l.Root == id && changeable(daylog.KindOf(l.Body)) {
				v.day = d
				return l, nil
			}
		}
	}
	return nil, fmt.Errorf("line %q: %w", id, fs.ErrNotExist)
}

// askCorrection is GET /job/{job}/entry/{id}/correct: the line's form, filled in
// with what it says now.
func (s *site) askCorrection(v *visit) error {
	sh, err := v.correction()
	if err != nil {
		return err
	}
	return v.showSheet(http.StatusOK, sh)
}

// saveCorrection is POST /job/{job}/entry/{id}/correct.
func (s *site) saveCorrection(v *visit) error {
	sh, err := v.correction()
	if err != nil {
		return err
	}
	sh.typed = v.r.PostForm
	return v.saveSheet(sh)
}

func (v *visit) correction() (*sheet, error) {
	l, err := v.line()
	if err != nil {
		return nil, err
	}
	sh := &sheet{kind: daylog.KindOf(l.Body), of: l}
	if sh.values, err = valuesOf(l.Body); err != nil {
		return nil, err
	}
	for name, text := range l.Odd {
		sh.values[name] = text
	}
	if sh.kind.Name == "aside" { // it hangs on the warning's own words
		sh.given = values{"key": sh.values["key"], "words": sh.values["words"]}
	}
	return sh, nil
}

// askStrike is GET /job/{job}/entry/{id}/strike: asks for the reason.
func (s *site) askStrike(v *visit) error {
	l, err := v.line()
	if err == nil {
		err = v.struckAlready(l)
	}
	if err != nil {
		return err
	}
	return v.strikeForm(http.StatusOK, l, "")
}

func (v *visit) struckAlready(l *daylog.Line) error {
	if l.Struck == nil {
		return nil
	}
	return problem{http.StatusConflict, "This line is struck already",
		"By " + v.person(l.Struck.Author) + " at " + v.clock(l.Struck.Made) + ": " + struckFor(l.Struck) + "."}
}

// struckFor is why a line was struck.
func struckFor(e *daylog.Entry) string {
	if s, ok := e.Body.(*daylog.Strike); ok && s.Slip {
		return "a slip, undone at once"
	}
	return cmp.Or(e.Why, "no reason given")
}

func (v *visit) strikeForm(status int, l *daylog.Line, wrong string) error {
	form := Form{
		Heading: Heading{Title: "Strike this line", Lead: v.clock(l.At) + " " + v.says(l.Entry) + ". It stays readable, crossed through, with your reason."},
		URL:     v.url("entry/" + url.PathEscape(l.Root) + "/strike"),
		Groups: []FieldGroup{{Fields: []Field{{Name: "why", Kind: FieldText, Label: "Why it is struck", Error: wrong, Needed: true,
			Value: v.r.PostForm.Get("why"), Help: "As in: wrong run, logged twice, waited after all."}}}},
		Submit: "Strike",
		Cancel: Action{Label: "Back to Entries", URL: v.url("entries" + v.dayQuery("?"))},
	}
	if v.r.Method == http.MethodPost {
		form.Wrong = v.lost()
	}
	var err error
	if form.Hidden, err = v.hidden(); err != nil {
		return err
	}
	return v.showForm(status, form)
}

// lineURL leads to a line that a form has just changed.
func (v *visit) lineURL(form, root string) string {
	return v.url("entries?saved="+form+v.dayQuery("&")) + "#" + url.PathEscape(root)
}

// saveStrike is POST /job/{job}/entry/{id}/strike.
func (s *site) saveStrike(v *visit) error {
	l, err := v.line()
	if err != nil {
		return err
	}
	d := v.draft(v.r.PostForm.Get("form"))
	d.Why = clean(strings.TrimSpace(v.r.PostForm.Get("why")))
	d.Of, d.At, d.Body = l.Root, v.now.UTC(), &daylog.Strike{}
	if len(v.written(d.ID)) == 0 {
		if err := v.struckAlready(l); err != nil {
			return err
		}
	}
	wrong := ""
	if d.Why == "" {
		wrong = "Say why: the reason is shown beside the line."
	}
	if wrong != "" || len(v.lost()) > 0 {
		return v.strikeForm(http.StatusUnprocessableEntity, l, wrong)
	}
	return v.keep(v.lineURL(d.ID, l.Root), d)
}
