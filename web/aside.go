package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"

	"duskline/internal/checks"
	"duskline/internal/daylog"
)

// asideURL is where a warning is set aside.
func (v *visit) asideURL(f checks.Finding) string {
	return v.query("aside", url.Values{"key": {f.Key}})
}

// finding is the warning that stands under a key, now or as at leaving.
func (v *visit) finding(key string) (checks.Finding, error) {
	for _, leaving := range []bool{false, true} {
		found := checks.Run(v.situation(leaving))
		i := slices.IndexFunc(found, func(f checks.Finding) bool { return f.Key == key })
		switch {
		case i < 0:
		case found[i].Check.Severity == checks.People:
			return found[i], problem{http.StatusForbidden, "This is not set aside", found[i].Says + ". It can hurt people: do what it says. " + found[i].Settle}
		case found[i].Asks:
			return found[i], problem{http.StatusConflict, "This is a question", found[i].Says + ". Answer it, or let it stand: nothing is held against anybody."}
		default:
			return found[i], nil
		}
	}
	return checks.Finding{}, problem{http.StatusConflict, "There is nothing to set aside", "The warning no longer stands. Something that was written since has settled it, or says it in other words."}
}

// askAside is GET /job/{job}/aside?key=: why a warning may stand.
func (s *site) askAside(v *visit) error {
	f, err := v.finding(v.r.Form.Get("key"))
	if err != nil {
		return err
	}
	return v.asideForm(http.StatusOK, f, "", nil)
}

func (v *visit) asideForm(status int, f checks.Finding, wrong string, more []string) error {
	form := Form{
		Heading: Heading{Title: "Set aside", Lead: "The reason and your name are printed with it. Said in other words, the warning is back."},
		URL:     v.url("aside"),
		Wrong:   more,
		Facts:   []Fact{{"The warning", f.Says}, {"What settles it", f.Settle}},
		Groups: []FieldGroup{{Fields: []Field{{
			Name: "reason", Kind: FieldLongText, Label: "Why it may stand", Needed: true,
			Help:  "What was done instead, and when it will be settled.",
			Value: v.r.PostForm.Get("reason"), Error: wrong,
		}}}},
		Submit: "Set aside",
		Cancel: Action{Label: "Back to Now", URL: v.url(v.dayQuery("?"))},
	}
	var err error
	if form.Hidden, err = v.hidden(); err != nil {
		return err
	}
	form.Hidden = append(form.Hidden, Hidden{"key", f.Key}, Hidden{"words", f.Says})
	return v.showForm(status, form)
}

// saveAside is POST /job/{job}/aside. What is set aside is what was read on the
// page, under its key and in its words.
func (s *site) saveAside(v *visit) error {
	typed := v.r.PostForm
	d := v.draft(typed.Get("form"))
	d.At = v.now.UTC()
	d.Body = &daylog.SetAside{Key: typed.Get("key"), Words: typed.Get("words"), Reason: clean(strings.TrimSpace(typed.Get("reason")))}
	next := v.url("?saved=" + d.ID + v.dayQuery("&"))
	if validForm(d.ID) && len(v.written(d.ID)) > 0 {
		return v.keep(next, d)
	}
	f, err := v.finding(typed.Get("key"))
	if err != nil {
		return err
	}
	wrong, more := "", v.lost()
	if f.Says != typed.Get("words") {
		more = append(more, "The warning says something else by now. Read it again.")
	}
	if d.Body.(*daylog.SetAside).Reason == "" {
		wrong = "Say why it may stand: the reason is printed."
	}
	if wrong != "" || len(more) > 0 {
		return v.asideForm(http.StatusUnprocessableEntity, f, wrong, more)
	}
	return v.keep(next, d)
}
