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
	if len(lines) == 0 || v.now.Sub(lines[0].Made) > mayUndo || v.who.Person == "" || !v.who.may(daylog.Crew) {
		return s
	}
	hidden, err := v.hidden()
	if err != nil { // it can still be struck
		return s
	}
	s.Undo = Action{Label: "Undo", About: s.Words, URL: v.url("undo"), Post: true, Hidden: append(hidden, Hidden{"of", id})}
	s.Until = lines[0].Made.Add(mayUndo).UnixMilli()
	return s
}

// savedWords says what the form with this id wrote.
func (v *visit) savedWords(form string) string {
	var words []string
	for _, l := range v.day.Lines {
		if l.Form() != form {
			continue
		}
		if said := v.clock(l.At) + " " + v.says(l.Entry); l.Struck != nil && !v.r.Form.Has("undone") {
			words = append(words, said+" (struck since)")
		} else {
			words = append(words, said)
		}
	}
	return strings.Join(words, "; ")
}

// linesOf gives the lines that a form wrote and that stand as it wrote them.
func (v *visit) linesOf(form string) []*daylog.Line {
	var all []*daylog.Line
	for _, l := range v.day.Lines {
		if l.Form() == form && l.Of == "" && l.Struck == nil && changeable(daylog.KindOf(l.Body)) {
			all = append(all, l)
		}
	}
	return all
}

// undo is POST /job/{job}/undo: strikes all that the form "of" wrote less than a
// minute ago, as a slip.
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
	case v.now.Sub(lines[0].Made) > mayUndo:
		root := url.PathEscape(lines[0].Root)
		if entries.URL += "#" + root; len(lines) == 1 {
			entries = Action{Label: "Strike it", URL: v.url("entry/" + root + "/strike" + v.dayQuery("?"))}
		}
		return leading{problem{http.StatusConflict, "The minute for undoing is over",
			v.savedWords(of) + ": it stands. It can still be struck, with the reason beside it."}, entries}
	}
	var drafts []draft
	for i, l := range lines {
		d := v.draft(daylog.FormID(form, i))
		d.Of, d.At, d.Body = l.Root, v.now.UTC(), &daylog.Strike{Slip: true}
		drafts = append(drafts, d)
	}
	return v.keep(next, drafts...)
}
