package web

import (
	"net/http"
	"net/url"
	"strings"
	"time"

	"duskline/internal/daylog"
)

// Saved says what a form has just written, or what was just undone.
type Saved struct {
	Done  string // "Saved."
	Words string // empty: nothing was
	Undo  Action // takes it back; none when its label is empty
	Until int64  // Unix milliseconds: when the button goes away
}

// mayUndo is how long after it was written something is taken back without a
// reason.
const mayUndo = time.Minute

// saved reads ?saved= and ?undone= of the address, each the id of a form.
func (v *visit) saved() Saved {
	id := v.r.Form.Get("undone")
	if validForm(id) {
		return Saved{Done: "Undone.", Words: v.savedWords(id)}
	}
	if id = v.r.Form.Get("saved"); !validForm(id) {
		return Saved{}
	}
	s := Saved{Done: "Saved.", Words: v.savedWords(id)}
	lines := v.linesOf(id)
	if len(lines) == 0 || v.now.Sub(madeBy(lines[0])) > mayUndo || v.who.Person == "" || !v.who.may(daylog.Crew) {
		return s
	}
	hidden, err := v.hidden()
	if err != nil { // it can still be struck
		return s
	}
	s.Undo = Action{Label: "Undo", About: s.Words, URL: v.url("undo"), Post: true, Hidden: append(hidden, Hidden{"of", id})}
	s.Until = madeBy(lines[0]).Add(mayUndo).UnixMilli()
	return s
}

// wrote is what a form wrote of a line; nil if nothing.
func wrote(l *daylog.Line, form string) *daylog.Entry {
	for _, e := range l.Members() {
		if e.Form() == form {
			return e
		}
	}
	return nil
}

// savedWords says what the form with this id wrote.
func (v *visit) savedWords(form string) string {
	var words []string
	for _, l := range v.day.Lines {
		e := wrote(l, form)
		switch {
		case e == nil:
		case e == l.Struck:
			words = append(words, "struck: "+v.clock(l.At)+" "+v.says(l.Entry))
		case l.Struck != nil && !v.r.Form.Has("undone"):
			words = append(words, v.clock(e.At)+" "+v.says(e)+" (struck since)")
		default:
			words = append(words, v.clock(e.At)+" "+v.says(e))
		}
	}
	return strings.Join(words, "; ")
}

// linesOf gives the lines that stand as a form wrote, corrected or struck them.
func (v *visit) linesOf(form string) []*daylog.Line {
	var all []*daylog.Line
	for _, l := range v.day.Lines {
		e := wrote(l, form)
		if e != nil && (e == l.Struck || e == l.Entry && l.Struck == nil) && changeable(daylog.KindOf(l.Body)) {
			all = append(all, l)
		}
	}
	return all
}

// madeBy is when a line came to stand as it does.
func madeBy(l *daylog.Line) time.Time {
	if l.Struck != nil {
		return l.Struck.Made
	}
	return l.Made
}

// takenBack is the entry that undoes the last thing done to a line: a strike of
// what is new, and what it said before of what was corrected or struck.
func (v *visit) takenBack(l *daylog.Line, id string) draft {
	d := v.draft(id)
	d.Of, d.named = l.Root, true
	before := l.Entry
	if l.Struck == nil && l.Of != "" {
		before = l.Past[len(l.Past)-1]
	}
	if _, struck := before.Body.(*daylog.Strike); struck || l.Struck == nil && l.Of == "" {
		d.At, d.named, d.Why, d.Body = v.now.UTC(), false, "", &daylog.Strike{Slip: true}
		if struck {
			d.Why, d.Body = before.Why, before.Body
		}
		return d
	}
	d.At, d.To, d.About, d.By, d.Odd = before.At, before.To, before.About, before.By, before.Odd
	d.Why, d.Body = "a slip, undone at once", before.Body
	return d
}

// undo is POST /job/{job}/undo: takes back all that the form "of" wrote less than
// a minute ago.
func (s *site) undo(v *visit) error {
	form, of := v.r.PostForm.Get("form"), v.r.PostForm.Get("of")
	next := v.url(v.then + "?undone=" + url.QueryEscape(of) + v.dayQuery("&"))
	if validForm(form) && len(v.written(form)) > 0 {
		return v.leave(next)
	}
	lines := v.linesOf(of)
	entries := Action{Label: "To Entries", URL: v.url("entries" + v.dayQuery("?"))}
	switch {
	case len(v.lost()) > 0:
		return badRequest("Nothing was undone: the form did not arrive whole. Strike the line on Entries.")
	case len(lines) == 0:
		return leading{problem{http.StatusConflict, "There is nothing to undo", "It was struck or corrected since. Entries shows how it stands."}, entries}
	case v.now.Sub(madeBy(lines[0])) > mayUndo:
		root := url.PathEscape(lines[0].Root)
		if entries.URL += "#" + root; len(lines) == 1 && lines[0].Struck == nil {
			entries = Action{Label: "Strike it", URL: v.url("entry/" + root + "/strike" + v.dayQuery("?"))}
		}
		return leading{problem{http.StatusConflict, "The minute for undoing is over",
			v.savedWords(of) + ": it stands. It can still be struck, with the reason beside it."}, entries}
	}
	var drafts []draft
	for i, l := range lines {
		drafts = append(drafts, v.takenBack(l, daylog.FormID(form, i)))
	}
	return v.keep(next, drafts...)
}
