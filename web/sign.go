package web

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"net/http"
	"slices"
	"strings"

	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/internal/store"
)

// askSign is GET /job/{job}/sign: the signature is the last step of Leaving.
func (s *site) askSign(v *visit) error { return v.leave(v.url("leaving" + v.dayQuery("?"))) }

// signStep asks for the signature: the statement, and with it what the page
// covers and shows as standing.
func (v *visit) signStep(stood []daylog.Stood, wrong string, more []string) (Form, error) {
	form := Form{URL: v.url("sign"), Wrong: more, Failed: "Not signed yet", Submit: "Sign"}
	heads, err := v.Log.Heads(v.r.Context(), v.id)
	if err != nil {
		return form, err
	}
	vector, err := json.Marshal(heads)
	if err != nil {
		return form, err
	}
	statement := usualStatement(v.day)
	if typed := v.r.PostForm; typed.Has("statement") {
		statement = typed.Get("statement")
	}
	form.Groups = []FieldGroup{{Fields: []Field{{Name: "statement", Kind: FieldLongText, Label: "Statement", Value: statement, Error: wrong, Needed: true,
		Help: v.who.Name + " signs. What is written later is marked as written after signing."}}}}
	form.Hidden, err = v.hidden()
	form.Hidden = append(form.Hidden, Hidden{"vector", string(vector)}, Hidden{"stood", digest(stood)})
	return form, err
}

func usualStatement(d *daylog.Day) string {
	k, _ := daylog.FindKind("sign")
	for _, f := range k.Fields(d) {
		if text, ok := f.Default.(string); ok && f.Name == "statement" {
			return text
		}
	}
	return ""
}

// stoodWords are the frozen words, each with the reason if it was set aside or
// with who answered for it.
func (v *visit) stoodWords(all []daylog.Stood) []string {
	var words []string
	for _, s := range all {
		say := s.Words
		switch {
		case s.Asks:
			say += " (asked, not answered)"
		case s.By != "":
			say += ". Answered for by " + v.person(s.By) + ": " + s.Reason
		case s.Reason != "":
			say += ". Set aside: " + s.Reason
		}
		words = append(words, say)
	}
	return words
}

// digest stands for what a page showed as standing.
func digest(all []daylog.Stood) string {
	raw, err := json.Marshal(all)
	if err != nil {
		return ""
	}
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:8])
}

// saveSign is POST /job/{job}/sign. The vector is the one the page showed: what
// came in since is not covered. What stands must still be what it showed.
func (s *site) saveSign(v *visit) error {
	typed := v.r.PostForm
	d := v.draft(typed.Get("form"))
	next := v.savedURL(d.ID)
	if v.day.Signed() {
		if slices.ContainsFunc(v.day.Signatures, func(s daylog.Signature) bool { return s.Line.Form() == d.ID }) {
			return v.leave(next)
		}
		return problem{http.StatusConflict, "This day is signed already", v.signed().Signed + ". What is written now is marked as written after signing."}
	}
	sit := v.situation(true)
	b := &daylog.Sign{Statement: clean(strings.TrimSpace(typed.Get("statement"))), Stood: checks.Stood(sit)}
	wrong, more := "", v.lost()
	if b.Statement == "" {
		wrong = "Say what you sign."
	}
	if n := holding(checks.Run(sit)); n > 0 {
		more = append(more, daylog.Count(n, "thing is", "things are")+" open without an answer: settle it, or say why it may stand.")
	}
	switch {
	case json.Unmarshal([]byte(typed.Get("vector")), &b.Vector) != nil || len(b.Vector) == 0:
		more = append(more, "This page had lost what the signature covers. Read it again, then sign.")
	case typed.Get("stood") != digest(b.Stood):
		more = append(more, "What stands has changed since you opened this page. Read it again, then sign.")
	}
	if wrong != "" || len(more) > 0 {
		return v.showLeaving(http.StatusUnprocessableEntity, wrong, more)
	}
	d.At, d.Body = v.now.UTC(), b
	return v.keep(next, d)
}

// signed says who signed the day, when, and over what; zero while nobody has.
func (v *visit) signed() Signature {
	if !v.day.Signed() {
		return Signature{}
	}
	first := v.day.Signatures[0]
	l := first.Line
	s := Signature{
		Signed:    "Signed " + v.clock(l.At) + " by " + v.person(l.Author),
		CheckCode: daylog.CheckCode(v.id, v.day, first, v.forks()),
		Statement: first.Statement,
		Stood:     v.stoodWords(first.Stood),
	}
	if day := v.dayOf(l.At); day != v.day.Date {
		s.Signed += " on " + v.dayWords(day)
	}
	after := 0
	for _, l := range v.day.Lines {
		if l.After {
			after++
		}
	}
	switch after {
	case 0:
	case 1:
		s.After = "1 line written or changed after signing"
	default:
		s.After = trimNumber(float64(after)) + " lines written or changed after signing"
	}
	return s
}

func (v *visit) forks() []daylog.Branch { return Forks(v.r.Context(), v.Log, v.id) }

// Forks are the branches of a job's devices, read only where one has forked:
// which line a signature covers can then be told from all of its entries only.
func Forks(ctx context.Context, log store.Log, job string) []daylog.Branch {
	heads, err := log.Heads(ctx, job)
	if err != nil || !slices.ContainsFunc(sortedKeys(heads), func(stream string) bool { return strings.Contains(stream, "~") }) {
		return nil
	}
	entries, err := log.Entries(ctx, job, "")
	if err != nil {
		return nil
	}
	raws := make([][]byte, len(entries))
	for i := range entries {
		raws[i] = entries[i].Raw()
	}
	threads, err := daylog.Thread(job, raws)
	if err != nil {
		return nil
	}
	return threads.Branches
}
