package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"

	"duskline/internal/checks"
	"duskline/internal/daylog"
)

// asideURL is where a warning is set aside, or answered for.
func (v *visit) asideURL(f checks.Finding) string {
	return v.query("aside", url.Values{"key": {f.Key}})
}

// findings are the warnings that stand under some keys, now or as at leaving.
// Several are those that may be set aside with one reason.
func (v *visit) findings(keys []string) ([]checks.Finding, error) {
	var all []checks.Finding
	for _, key := range keys {
		var f checks.Finding
		for _, leaving := range []bool{false, true} {
			found := checks.Run(v.situation(leaving))
			if i := slices.IndexFunc(found, func(f checks.Finding) bool { return f.Key == key }); i >= 0 && f.Check == nil {
				f = found[i]
			}
		}
		switch {
		case f.Check == nil:
			all = nil
		case f.Check.Severity == checks.People && len(keys) > 1:
			return nil, problem{http.StatusForbidden, "This is not set aside", f.Says + ". It can hurt people: somebody answers for it by name. " + f.Settle}
		case f.Asks:
			return nil, problem{http.StatusConflict, "This is a question", f.Says + ". Answer it, or let it stand: nothing is held against anybody."}
		default:
			all = append(all, f)
			continue
		}
		break
	}
	if len(all) == 0 {
		return nil, problem{http.StatusConflict, "There is nothing to set aside", "The warning no longer stands. Something that was written since has settled it, or says it in other words."}
	}
	return all, nil
}

// askAside is GET /job/{job}/aside?key=: why a warning, or several, may stand; or
// who answers for what can hurt people.
func (s *site) askAside(v *visit) error {
	found, err := v.findings(v.r.Form["key"])
	if err != nil {
		return err
	}
	return v.asideForm(http.StatusOK, found, nil, nil)
}

// answersFor reports whether the findings are one of what can hurt people.
func answersFor(found []checks.Finding) bool { return found[0].Check.Severity == checks.People }

func (v *visit) asideForm(status int, found []checks.Finding, wrong map[string]string, more []string) error {
	form := Form{
		Heading: Heading{Title: "Let it stand", Lead: "The reason and your name are printed with it. Said in other words, the warning is back."},
		URL:     v.url("aside"),
		Wrong:   more,
		Submit:  "Let it stand",
		Cancel:  v.back(),
	}
	reason := Field{Name: "reason", Kind: FieldLongText, Label: "Why it may stand", Needed: true,
		Help: "What was done instead, and when it will be settled.", Value: v.r.PostForm.Get("reason"), Error: wrong["reason"]}
	var fields []Field
	if answersFor(found) {
		form.Heading = Heading{Title: "Answer for it", Lead: "It can hurt people, so it is not set aside: do what it says, now. The competent person on site decides, and is named with it."}
		form.Submit = "Answer for it"
		who := Field{Name: "person", Kind: FieldChoice, Label: "Who answers for it", Needed: true, Error: wrong["person"]}
		chosen := v.r.PostForm.Get("person")
		if ids := v.day.Competent(); len(ids) > 0 && !v.r.PostForm.Has("person") {
			chosen = ids[0]
		}
		k, _ := daylog.FindKind("answered")
		for _, f := range k.Fields(v.day) {
			for _, o := range f.Options {
				who.Options = append(who.Options, Option{Value: o.Value, Label: o.Label, Chosen: o.Value == chosen})
			}
		}
		reason.Label, reason.Help = "What was done", "As in: sheet weighted, everybody off the lee side."
		fields = append(fields, who)
	}
	form.Groups = []FieldGroup{{Fields: append(fields, reason)}}
	var err error
	if form.Hidden, err = v.hidden(); err != nil {
		return err
	}
	for _, f := range found {
		form.Facts = append(form.Facts, Fact{UpperFirst(string(f.Check.Severity)), f.Says})
		form.Hidden = append(form.Hidden, Hidden{"key", f.Key}, Hidden{"words", f.Says})
	}
	if len(found) == 1 {
		form.Facts = append(form.Facts, Fact{"What settles it", found[0].Settle})
	}
	return v.showForm(status, form)
}

// saveAside is POST /job/{job}/aside. What is set aside is what was read on the
// page, under its key and in its words: one entry for each.
func (s *site) saveAside(v *visit) error {
	typed := v.r.PostForm
	id, keys, words := typed.Get("form"), typed["key"], typed["words"]
	reason := clean(strings.TrimSpace(typed.Get("reason")))
	person := typed.Get("person")
	drafts := func(answered bool) []draft {
		var all []draft
		for i := range min(len(keys), len(words)) {
			d := v.draft(daylog.FormID(id, i))
			d.At, d.Body = v.now.UTC(), &daylog.SetAside{Key: keys[i], Words: words[i], Reason: reason}
			if answered {
				d.Body = &daylog.Answered{Key: keys[i], Words: words[i], Person: person, What: reason}
			}
			all = append(all, d)
		}
		return all
	}
	if validForm(id) && len(words) > 0 && len(v.written(id)) > 0 {
		return v.keep(v.savedURL(id), drafts(person != "")...)
	}
	found, err := v.findings(keys)
	if err != nil {
		return err
	}
	wrong, more := map[string]string{}, v.lost()
	if !slices.EqualFunc(found, words, func(f checks.Finding, said string) bool { return f.Says == said }) {
		more = append(more, "The warning says something else by now. Read it again.")
	}
	if reason == "" {
		wrong["reason"] = "Say why it may stand: the reason is printed."
	}
	if answersFor(found) {
		if reason == "" {
			wrong["reason"] = "Say what was done: it is printed."
		}
		if _, known := v.day.Setup.Person(person); !known {
			wrong["person"] = "Say who answers for it: the competent person on the roof."
		}
	}
	if len(wrong)+len(more) > 0 {
		return v.asideForm(http.StatusUnprocessableEntity, found, wrong, more)
	}
	return v.keep(v.savedURL(id), drafts(answersFor(found))...)
}
