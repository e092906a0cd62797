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
// entry.
var runSteps = []struct{ kind, done string }{
	{"priming", "Primed, both faces"}, {"test", "Finger test"}, {"tape", "Tape laid"}, {"closed", "Closed: broomed, rolled across, then along"},
}

// runPlace are the fields that all steps of a run share.
var runPlace = []string{"seam", "from", "to"}

// runForm is the form of a whole run, for writing it down in one go.
func (v *visit) runForm(typed url.Values) *several {
	r := &several{
		heading: Heading{Title: "Whole run", Lead: "Tick what was done and say when. Each step becomes a line of its own."},
		url:     v.url("run"), typed: typed,
	}
	first, _ := daylog.FindKind(runSteps[0].kind)
	where := *first
	where.Fields = func(d *daylog.Day) []daylog.Field {
		return slices.DeleteFunc(first.Fields(d), func(f daylog.Field) bool { return !slices.Contains(runPlace, f.Name) })
	}
	r.where = &sheet{kind: &where, typed: typed, values: values{}, timeless: true}
	for _, step := range runSteps {
		k, _ := daylog.FindKind(step.kind)
		sh := &sheet{kind: k, typed: typed, values: values{}, prefix: step.kind + ".", title: step.done}
		sh.given = values{"seam": nil, "from": nil, "to": nil}
		v.offer(sh, nil)
		r.steps = append(r.steps, sh)
	}
	r.tick()
	return r
}

// askRun is GET /job/{job}/run?seam=&from=&to=&did=: the steps of a run on one
// page. Without a seam it asks which run first. did=closed is the tap with which
// a run is closed: what must come before it and the log has not is ticked too,
// and asked when.
func (s *site) askRun(v *visit) error {
	r := v.runForm(nil)
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
	if v.r.Form.Get("did") == "closed" {
		v.closing(r)
	}
	return v.showSeveral(http.StatusOK, r)
}

// closing ticks the closing of a run, now, and what is missing before it.
func (v *visit) closing(r *several) {
	r.heading = Heading{Title: "Run closed", Lead: "Say what the log has not yet: when it was primed and proved."}
	logged := v.logged(r.where.values)
	missing := false
	for _, sh := range r.steps {
		name := sh.kind.Name
		sh.did = name == "closed" || name != "tape" && logged[name] == ""
		missing = missing || sh.did && name != "closed"
		if name == "closed" {
			sh.at = timeNow
			if m, ok := readExact(v.r.Form.Get("at")); ok {
				sh.at = exact(m)
			}
			from, _ := asFloat(r.where.values["from"])
			to, _ := asFloat(r.where.values["to"])
			seam, _ := r.where.values["seam"].(string)
			sh.values["splices"] = v.endsWithin(seam, daylog.Part{From: roofplan.Length(from), To: roofplan.Length(to)})
		}
	}
	if !missing {
		r.heading.Lead = ""
	}
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
			add(o.Words, o.Detail, runQuery(o.Seam, o.Part))
		}
	}
	add("Another run", "or another part of one", url.Values{"other": {"1"}})
	return view
}

func runQuery(seam string, p daylog.Part) url.Values {
	return url.Values{"seam": {seam}, "from": {feet(p.From)}, "to": {feet(p.To)}}
}

// saveRun is POST /job/{job}/run: one entry for each ticked step, in one write.
func (s *site) saveRun(v *visit) error { return v.saveSeveral(v.runForm(v.r.PostForm)) }

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
