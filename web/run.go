package web

import (
	"fmt"
	"io/fs"
	"net/http"
	"net/url"
	"slices"

	"duskline/internal/daylog"
)

// runSteps are the steps of a run in the order of the work, each a kind of
// entry: the form writes one entry for each step that is ticked.
var runSteps = []string{"priming", "test", "tape", "closed"}

// runForm is the form of a whole run, for writing it down in one go.
type runForm struct {
	where *sheet // seam, from, to
	steps []*sheet
	did   map[string]bool
	wrong string
}

func newRunForm(v *visit, typed url.Values) *runForm {
	r := &runForm{did: map[string]bool{}}
	first, _ := daylog.FindKind(runSteps[0])
	where := *first
	where.Fields = func(d *daylog.Day) []daylog.Field {
		return slices.DeleteFunc(first.Fields(d), func(f daylog.Field) bool { return f.Name != "seam" && f.Name != "from" && f.Name != "to" })
	}
	where.Check = nil
	r.where = &sheet{kind: &where, typed: typed, values: values{}}
	for _, name := range runSteps {
		k, _ := daylog.FindKind(name)
		sh := &sheet{kind: k, typed: typed, values: values{}, prefix: name + ".", given: values{"seam": nil, "from": nil, "to": nil}}
		for _, f := range k.Fields(v.day) {
			if f.Default != nil {
				sh.values[f.Name] = f.Default
			}
		}
		r.steps = append(r.steps, sh)
		r.did[name] = typed.Get("did."+name) != ""
	}
	return r
}

// askRun is GET /job/{job}/run?seam=&from=&to=.
func (s *site) askRun(v *visit) error {
	r := newRunForm(v, nil)
	for _, name := range []string{"seam", "from", "to"} {
		if text := v.r.Form.Get(name); text != "" {
			r.where.values[name] = text
		}
	}
	return v.showRun(http.StatusOK, r)
}

// saveRun is POST /job/{job}/run: one entry for each ticked step, in one write.
func (s *site) saveRun(v *visit) error {
	if v.who.Person == "" {
		return fmt.Errorf("writing: %w", fs.ErrPermission)
	}
	r := newRunForm(v, v.r.PostForm)
	form := v.r.PostForm.Get("form")
	if !validForm(form) {
		return badRequest("The form has lost its number. Open it again from Now; what you typed is still in the browser's Back.")
	}
	_, ok := v.readSheet(r.where)
	var drafts []daylog.Entry
	for i, sh := range r.steps {
		if !r.did[sh.kind.Name] {
			continue
		}
		sh.given = r.where.values
		for _, name := range []string{"seam", "from", "to"} {
			if _, there := sh.given[name]; !there {
				sh.given[name] = nil
			}
		}
		e, stepOK := v.readSheet(sh)
		ok = ok && stepOK
		// What is wrong with the place is said once, at the place.
		for _, name := range []string{"seam", "from", "to"} {
			if say, wrong := sh.wrong[name]; wrong {
				r.where.wrong[name] = say
				delete(sh.wrong, name)
			}
		}
		e.ID = daylog.FormID(form, i)
		drafts = append(drafts, e)
	}
	if len(drafts) == 0 {
		ok = false
		r.wrong = "Tick at least one step that was done."
	}
	if !ok {
		return v.showRun(http.StatusUnprocessableEntity, r)
	}
	return v.keep(drafts...)
}

func (v *visit) showRun(status int, r *runForm) error {
	id := r.where.typed.Get("form")
	if !validForm(id) {
		var err error
		if id, err = v.newForm(); err != nil {
			return err
		}
	}
	form := Form{
		Heading: Heading{Title: "Whole run", Lead: "Tick what was done and say when. Each step becomes a line of its own."},
		URL:     v.url("run"),
		Hidden:  []Hidden{{"form", id}, {"day", string(v.day.Date)}},
		Cancel:  Action{Label: "Back to Now", URL: v.url("")},
	}
	for _, name := range r.where.typed["keep"] {
		form.Hidden = append(form.Hidden, Hidden{"keep", name})
	}
	if r.wrong != "" {
		form.Wrong = append(form.Wrong, r.wrong)
	}
	place := FieldGroup{Title: "The run"}
	for _, f := range r.where.fields(v.day) {
		place.Fields = append(place.Fields, v.controls(r.where, f)...)
	}
	form.Groups = append(form.Groups, place)
	form.Odd = r.where.odd
	for _, sh := range r.steps {
		name := sh.kind.Name
		g := FieldGroup{Title: stepTitles[name], Help: sh.kind.Help}
		tick := Field{Name: "did." + name, Kind: FieldTick, Label: "Done"}
		if r.did[name] {
			tick.Value = "on"
		}
		g.Fields = append(g.Fields, tick)
		when := v.timeField(name+".at", "When", timeNow, sh.typed)
		when.Error = sh.wrong[name+".at"]
		g.Fields = append(g.Fields, when)
		for _, f := range sh.fields(v.day) {
			g.Fields = append(g.Fields, v.controls(sh, f)...)
		}
		form.Groups = append(form.Groups, g)
		for _, o := range sh.odd {
			if !slices.ContainsFunc(form.Odd, func(known Odd) bool { return known.Field == o.Field }) {
				form.Odd = append(form.Odd, o)
			}
		}
	}
	return v.show(status, SheetPage(v.frame(form.Heading.Title, ""), form))
}

var stepTitles = map[string]string{"priming": "Primed", "test": "Finger test", "tape": "Tape laid", "closed": "Closed: broomed, rolled across, then along"}
