package web

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"net/http"
	"strings"

	"duskline/internal/checks"
	"duskline/internal/daylog"
)

// askSign is GET /job/{job}/sign: what the signature will cover and what stands.
func (s *site) askSign(v *visit) error {
	return v.signForm(http.StatusOK, "")
}

func (v *visit) signForm(status int, wrong string) error {
	heads, err := v.Log.Heads(v.r.Context(), v.id)
	if err != nil {
		return err
	}
	vector, err := json.Marshal(heads)
	if err != nil {
		return err
	}
	id, err := v.newForm()
	if err != nil {
		return err
	}
	statement := "The above is a true record of the day's work, made at or near the time by people who knew of it."
	if typed := v.r.PostForm.Get("statement"); typed != "" {
		statement = typed
	}
	view := SignView{
		Frame: v.frame("Sign the day", ""),
		Form: Form{
			Heading: Heading{Title: "Sign " + dateWords(v.day.Date), Lead: "What is written later is marked as written after signing."},
			URL:     v.url("sign"),
			Hidden:  []Hidden{{"form", id}, {"day", string(v.day.Date)}, {"vector", string(vector)}},
			Groups:  []FieldGroup{{Fields: []Field{{Name: "statement", Kind: FieldLongText, Label: "Statement", Value: statement, Error: wrong}}}},
			Submit:  "Sign",
			Cancel:  Action{Label: "Back to Now", URL: v.url("")},
		},
	}
	for _, stood := range v.stands() {
		words := stood.Words
		if stood.Reason != "" {
			words += " Set aside: " + stood.Reason
		}
		view.Open = append(view.Open, words)
	}
	return v.show(status, SignPage(view))
}

// SignView is the page that closes a day.
type SignView struct {
	Frame Frame
	Open  []string // what stands, in the words that are frozen
	Form  Form
}

// stands is what stands now, judged as at leaving.
func (v *visit) stands() []daylog.Stood {
	var out []daylog.Stood
	for _, f := range checks.Run(v.situation(true)) {
		s := daylog.Stood{Key: f.Key, Words: f.Says, Asks: f.Asks}
		if f.Aside != nil {
			s.Reason = f.Aside.Reason
		}
		out = append(out, s)
	}
	return out
}

// saveSign is POST /job/{job}/sign. The vector is the one the page showed: what
// came in since is not covered.
func (s *site) saveSign(v *visit) error {
	if v.who.Person == "" {
		return fmt.Errorf("signing: %w", fs.ErrPermission)
	}
	statement := clean(strings.TrimSpace(v.r.PostForm.Get("statement")))
	if statement == "" {
		return v.signForm(http.StatusUnprocessableEntity, "Say what you sign.")
	}
	b := &daylog.Sign{Statement: statement, Stood: v.stands()}
	if err := json.Unmarshal([]byte(v.r.PostForm.Get("vector")), &b.Vector); err != nil || !validForm(v.r.PostForm.Get("form")) {
		return badRequest("The page to sign has lost what it covers. Open it again.")
	}
	e := v.draft(v.r.PostForm.Get("form"))
	e.At, e.Body = v.now.UTC(), b
	return v.keepAnd(v.url("?saved="+e.ID+v.dayQuery("&")), e)
}
