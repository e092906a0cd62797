package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// runSteps are the steps of a run in the order of the work, each a kind of
// entry: the form writes one entry for each step that is ticked.
var runSteps = []struct{ kind, done string }{
	{"priming", "Primed"}, {"test", "Finger test"}, {"tape", "Tape laid"}, {"closed", "Closed: broomed, rolled across, then along"},
}

// runPlace are the fields that all steps share.
var runPlace = []string{"seam", "from", "to"}

// runForm is the form of a whole run, for writing it down in one go.
type runForm struct {
	where *sheet // seam, from, to
	steps []*sheet
	did   map[string]bool
	wrong []string
}

func newRunForm(v *visit, typed url.Values) *runForm {
	r := &runForm{did: map[string]bool{}}
	first, _ := daylog.FindKind(runSteps[0].kind)
	where := *first
	where.Fields = func(d *daylog.Day) []daylog.Field {
		return slices.DeleteFunc(first.Fields(d), func(f daylog.Field) bool { return !slices.Contains(runPlace, f.Name) })
	}
	r.where = &sheet{kind: &where, typed: typed, values: values{}, timeless: true}
	for _, step := range runSteps {
		k, _ := daylog.FindKind(step.kind)
		sh := &sheet{kind: k, typed: typed, values: values{}, prefix: step.kind + ".", given: values{"seam": nil, "from": nil, "to": nil}}
		for _, f := range k.Fields(v.day) {
			if f.Default != nil {
				sh.values[f.Name] = f.Default
			}
		}
		r.steps = append(r.steps, sh)
		r.did[step.kind] = typed.Get("did."+step.kind) != ""
	}
	return r
}

// askRun is GET /job/{job}/run?seam=&from=&to=: the steps of a run on one page.
// Without a seam it asks which run first.
func (s *site) askRun(v *visit) error {
	r := newRunForm(v, nil)
	seam := v.r.Form.Get("seam")
	if seam == "" && !v.r.Form.Has("other") {
		if view := v.openRuns(); len(view.Runs) > 1 {
			return v.show(http.StatusOK, RunsPage(view))
		}
	}
	r.where.values["seam"] = seam
	for _, name := range []string{"from", "to"} {
		if l, err := roofplan.ParseLength(v.r.Form.Get(name), "ft"); err == nil {
			r.where.values[name] = l
		}
	}
	return v.showRun(http.StatusOK, r)
}

// RunsView asks which run is to be written down.
type RunsView struct {
	Frame Frame
	Runs  []Action
}

func (v *visit) openRuns() RunsView {
	view := RunsView{Frame: v.frame("Whole run", "")}
	add := func(label, note string, q url.Values) {
		view.Runs = append(view.Runs, Action{Label: label, Note: note, URL: v.query("run", q)})
	}
	for _, o := range checks.OwedNow(v.situation(false)) {
		if o.Work == checks.RunWork {
			add(o.Words, o.Detail, url.Values{"seam": {o.Seam}, "from": {feet(o.Part.From)}, "to": {feet(o.Part.To)}})
		}
	}
	add("Another run", "or another part of one", url.Values{"other": {"1"}})
	return view
}

// saveRun is POST /job/{job}/run: one entry for each ticked step, in one write.
func (s *site) saveRun(v *visit) error {
	r := newRunForm(v, v.r.PostForm)
	form := v.r.PostForm.Get("form")
	place, ok := v.readSheet(r.where)
	var drafts []draft
	for _, sh := range r.steps {
		if !r.did[sh.kind.Name] {
			continue
		}
		sh.given = values{}
		for _, name := range runPlace {
			sh.given[name] = r.where.values[name]
		}
		d, stepOK := v.readSheet(sh)
		// What is wrong or odd about the place is said once, at the place.
		for _, name := range runPlace {
			delete(sh.wrong, name)
		}
		sh.asks = slices.DeleteFunc(sh.asks, func(q Question) bool { return slices.Contains(runPlace, q.Field) })
		ok = ok && (stepOK || len(sh.wrong)+len(sh.asks) == 0)
		for name, text := range place.Odd {
			d.keepOdd(name, text)
		}
		d.ID = daylog.FormID(form, len(drafts))
		drafts = append(drafts, d)
	}
	if len(drafts) == 0 {
		ok = false
		r.wrong = append(r.wrong, "Tick at least one step that was done.")
	}
	r.wrong = append(r.wrong, v.lost()...)
	if !ok || len(r.wrong) > 0 {
		return v.showRun(http.StatusUnprocessableEntity, r)
	}
	return v.keep(v.url("?saved="+form+v.dayQuery("&")), drafts...)
}

func (v *visit) showRun(status int, r *runForm) error {
	typed := r.where.typed
	form := Form{
		Heading: Heading{Title: "Whole run", Lead: "Tick what was done and say when. Each step becomes a line of its own."},
		URL:     v.url("run"),
		Wrong:   r.wrong,
		Asks:    r.where.asks,
		Cancel:  Action{Label: "Back to Now", URL: v.url(v.dayQuery("?"))},
	}
	var place FieldGroup
	for _, f := range r.where.fields(v.day) {
		place.Fields = append(place.Fields, v.control(r.where, f)...)
	}
	form.Groups = append(form.Groups, place)
	logged := v.logged(r.where.values)
	for i, sh := range r.steps {
		name := sh.kind.Name
		form.Asks = append(form.Asks, sh.asks...)
		if logged[name] != "" && !r.did[name] {
			form.Groups = append(form.Groups, FieldGroup{Title: runSteps[i].done, Done: logged[name]})
			continue
		}
		g := FieldGroup{Help: sh.kind.Help, Step: &Field{Name: "did." + name, Kind: FieldTick, Label: runSteps[i].done}}
		if r.did[name] {
			g.Step.Value = "on"
		}
		g.Fields = append(g.Fields, v.whenField(sh, ""))
		sh.values["seam"] = r.where.values["seam"]
		for _, f := range sh.fields(v.day) {
			g.Fields = append(g.Fields, v.control(sh, f)...)
		}
		form.Groups = append(form.Groups, g)
	}
	var err error
	if form.Hidden, err = v.hidden(); err != nil {
		return err
	}
	form.Hidden = append(form.Hidden, questions(form.Asks, typed)...)
	return v.showForm(status, form)
}

// logged says by step when the log has it for all of a part of a seam.
func (v *visit) logged(where values) map[string]string {
	seam, _ := where["seam"].(string)
	from, _ := asFloat(where["from"])
	to, ok := asFloat(where["to"])
	part := daylog.Part{From: roofplan.Length(from), To: roofplan.Length(to)}
	made := v.day.Roof.Seam(seam)
	all := map[string]string{}
	if !ok || part.Length() == 0 {
		return all
	}
	said := map[string][]string{}
	length := map[string]roofplan.Length{}
	for _, st := range made.Runs {
		over := st.Overlap(part)
		if over == 0 {
			continue
		}
		note := func(step string, at daylog.When, words string) {
			if !at.IsZero() {
				length[step] += over
				if words += v.clock(at.At); !slices.Contains(said[step], words) {
					said[step] = append(said[step], words)
				}
			}
		}
		note("priming", st.Primed, "")
		if proved(st) {
			note("test", st.Tests[len(st.Tests)-1].When, "passed ")
		}
		note("tape", st.Taped, "")
		note("closed", st.Closed, "")
	}
	for step, words := range said {
		if length[step] >= part.Length() {
			all[step] = fmt.Sprintf("%s, as logged", strings.Join(words, " and "))
		}
	}
	return all
}
