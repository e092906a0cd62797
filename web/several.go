package web

import (
	"encoding/json"
	"io/fs"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"duskline/internal/daylog"
)

// several is a form that writes several entries in one go: one for each of its
// steps that is ticked.
type several struct {
	heading Heading
	url     string
	typed   url.Values // as it came; nil on the first showing
	where   *sheet     // what all steps share; nil: nothing
	when    bool       // one time for all, which a step may have of its own
	steps   []*sheet
	carry   []Hidden // what the form must know again when it comes back
	wrong   []string
}

// tick ticks the steps that came ticked.
func (r *several) tick() {
	for _, sh := range r.steps {
		if r.typed != nil {
			sh.did = r.typed.Get("did."+strings.TrimSuffix(sh.prefix, ".")) != ""
		}
	}
}

// saveSeveral writes one entry for each ticked step, in one write.
func (v *visit) saveSeveral(r *several) error {
	form := r.typed.Get("form")
	ok := true
	var place draft
	shared := values{}
	if r.where != nil {
		place, ok = v.readSheet(r.where)
		shared = r.where.values
	}
	var drafts []draft
	for _, sh := range r.steps {
		if !sh.did {
			continue
		}
		for name := range sh.given {
			if value, said := shared[name]; said {
				sh.given[name] = value
			}
		}
		d, stepOK := v.readSheet(sh)
		if r.where != nil {
			// What is wrong or odd about the place is said once, at the place.
			for name := range sh.given {
				delete(sh.wrong, name)
			}
			sh.asks = slices.DeleteFunc(sh.asks, func(q Question) bool { _, given := sh.given[q.Field]; return given })
			ok = ok && (stepOK || len(sh.wrong)+len(sh.asks) == 0)
			d.By = v.readBy(r.typed)
		} else {
			ok = ok && stepOK
			for name := range sh.given { // not asked, so not said at it
				if say := sh.wrong[name]; say != "" {
					r.wrong = append(r.wrong, sh.title+": "+say)
				}
			}
		}
		for name, text := range place.Odd {
			d.keepOdd(name, text)
		}
		d.ID = daylog.FormID(form, len(drafts))
		drafts = append(drafts, d)
	}
	for i := range drafts {
		if r.when && len(drafts) > 1 { // written together, so not each as it happened
			drafts[i].About = max(drafts[i].About, aboutPicked)
		}
	}
	if len(drafts) == 0 {
		ok = false
		r.wrong = append(r.wrong, "Tick at least one thing that was done.")
	}
	r.wrong = append(r.wrong, v.lost()...)
	if !ok || len(r.wrong) > 0 {
		return v.showSeveral(http.StatusUnprocessableEntity, r)
	}
	return v.keep(v.savedURL(form), drafts...)
}

func (v *visit) showSeveral(status int, r *several) error {
	form := Form{Heading: r.heading, URL: r.url, Wrong: r.wrong, Cancel: v.back()}
	var top FieldGroup
	logged := map[string]string{}
	if r.where != nil {
		form.Asks = r.where.asks
		for _, f := range r.where.fields(v.day) {
			top.Fields = append(top.Fields, v.control(r.where, f)...)
		}
		first := r.steps[0]
		by := &sheet{typed: r.typed}
		top.Fields = append(top.Fields, v.byField(first.kind, by))
		logged = v.logged(r.where.values)
	}
	if r.when {
		top.Fields = append(top.Fields, v.commonTime(r))
	}
	form.Groups = append(form.Groups, top)
	for _, sh := range r.steps {
		form.Asks = append(form.Asks, sh.asks...)
		name := strings.TrimSuffix(sh.prefix, ".")
		if known := logged[name]; known != "" && !sh.did {
			form.Groups = append(form.Groups, FieldGroup{Title: sh.title, Done: known})
			continue
		}
		g := FieldGroup{Help: sh.kind.Help, Step: &Field{Name: "did." + name, Kind: FieldTick, Label: sh.title, Note: sh.known}}
		if sh.did {
			g.Step.Value = "on"
		}
		if r.where != nil {
			sh.values["seam"] = r.where.values["seam"]
			g.Fields = append(g.Fields, v.whenField(sh, sh.at))
		}
		for _, f := range sh.fields(v.day) {
			g.Fields = append(g.Fields, v.control(sh, f)...)
		}
		if r.where == nil {
			g.Fields = append(g.Fields, v.ownTime(v.whenField(sh, "")))
			if sh.kind.Lasts {
				g.Fields = append(g.Fields, v.begunField(sh))
			}
		}
		form.Groups = append(form.Groups, g)
	}
	var err error
	if form.Hidden, err = v.hidden(); err != nil {
		return err
	}
	form.Hidden = append(append(form.Hidden, r.carry...), questions(form.Asks, r.typed)...)
	return v.showForm(status, form)
}

// commonTime asks when it was, for all steps that do not say so themselves.
func (v *visit) commonTime(r *several) Field {
	f := v.timeField("at", "When", timeNow, r.typed)
	for _, sh := range r.steps {
		if f.Error == "" && f.Asked == "" {
			sh.say(&f)
		}
	}
	return f
}

// ownTime lets a step have been when the form says.
func (v *visit) ownTime(f Field) Field {
	own := slices.ContainsFunc(f.Options, func(o Option) bool { return o.Chosen })
	f.Options = slices.Insert(f.Options, 0, Option{Label: "As above", Chosen: !own})
	return f
}

// sets are what is usually written down together, by the part of the day.
var sets = []struct{ name, title, lead, holds string }{
	{"morning", "Start of the day", "Tick what was done; each becomes a line of its own.", "crew, fall protection, briefing, lots, weather, seal check"},
	{"work", "What was done", "Tick what was done since the last break; each becomes a line of its own.", "insulation, lap areas flat, edges secured, weather"},
	{"stone", "Before stone", "Under stone nobody sees the seams again.", "seam check, broom-off, tickets, haul lane"},
	{"evening", "Closing up", "Tick what was done; each becomes a line of its own.", "night seal, drains, piles, equipment, hours, none today"},
}

// planned lists the steps of a set as the day stands: each a kind and, behind a
// blank, what is known of it.
func (v *visit) planned(set string) []string {
	roof, scope := v.day.Roof, v.day.Setup.Scope
	var all []string
	when := func(yes bool, steps ...string) {
		if yes {
			all = append(all, steps...)
		}
	}
	switch set {
	case "morning":
		when(v.day.Started.IsZero(), "start")
		when(true, "fall", "briefing")
		for _, material := range []string{"tape", "primer", "adhesive", "sealant"} {
			_, known := roof.Lot(material)
			when(!known, `lot {"material":"`+material+`"}`)
		}
		when(true, "weather", "cold", "sealcheck", "drains")
	case "work":
		stopped := len(v.day.Stops) > 0
		when(stopped, "safe", "temp", "wetboards")
		for _, s := range roof.Seams {
			for _, st := range s.Runs {
				if st.Primed.IsZero() || st.Day != v.day.Date || !st.Closed.IsZero() {
					continue
				}
				raw, _ := json.Marshal(daylog.OnSeam{Seam: s.Name, Part: st.Part})
				with := " " + string(raw)
				when(!proved(st), "test"+with)
				when(st.Taped.IsZero(), "tape"+with)
				when(stopped, "dried"+with, "cutout"+with)
			}
		}
		when(roof.Seal != nil, "cutoff")
		when(scope.TearOff, "tearoff")
		when(scope.Insulation, "insulation")
		for _, p := range roof.Panels {
			if p.Day != v.day.Date {
				continue
			}
			name, _ := json.Marshal(p.Name)
			when(p.Flat.IsZero(), `flat {"panel":`+string(name)+`}`)
			placed, _ := roof.Layout().Panel(p.Name)
			var open []string
			for _, b := range placed.Borders {
				if roof.Edge(b.Name).Secured == "" {
					open = append(open, b.Name)
				}
			}
			names, _ := json.Marshal(open)
			when(len(open) > 0, `edge {"edges":`+string(names)+`}`)
		}
		when(true, "weather", "delay", "break")
	case "stone":
		when(true, "check", "broomoff")
		when(scope.Mat, "mat")
		when(true, "ticket", "lane", "weather")
	case "evening":
		when(true, "nightseal", "temp", "drains", "tied", "pile", "off", "equipment", "hours", "none")
	}
	return all
}

// several is the address of a set.
func (v *visit) several(set string) string { return v.query("several/"+set, url.Values{}) }

// mostSteps is more than anybody ticks at once: what goes beyond is written on
// forms of its own.
const mostSteps = 60

// severalForm makes the form of a set. The steps it shows come back with it:
// what the day still lacks may have changed since.
func (v *visit) severalForm(typed url.Values) (*several, error) {
	set := param(v, "set")
	r := &several{url: v.url("several/" + set), typed: typed, when: true}
	for _, known := range sets {
		if known.name == set {
			r.heading = Heading{Title: known.title, Lead: known.lead}
		}
	}
	if r.heading.Title == "" {
		return nil, fs.ErrNotExist
	}
	planned := v.planned(set)
	planned = planned[:min(len(planned), mostSteps)]
	if typed != nil {
		if len(typed["step"]) > mostSteps {
			return nil, badRequest("The form did not arrive whole. Go back and save it again.")
		}
		planned = typed["step"]
	}
	for i, step := range planned {
		r.carry = append(r.carry, Hidden{"step", step}) // all of them: their fields go by number
		kind, with, _ := strings.Cut(step, " ")
		k, known := daylog.FindKind(kind)
		if !known || !plainKind(k) {
			continue
		}
		sh := &sheet{kind: k, typed: typed, values: values{}, prefix: "s" + strconv.Itoa(i) + ".", title: k.Title, shared: true, did: kind == "start"}
		given := map[string]json.RawMessage{}
		if with != "" && !jsonInto(with, &given) {
			continue
		}
		if from := v.offer(sh, given); from != "" && from != v.day.Date {
			sh.known = "as on " + v.dayWords(from)
		}
		// What a step is about stands in its title and is not asked.
		sh.given = values{}
		for _, name := range []string{"material", "panel", "seam"} {
			if _, known := given[name]; known {
				sh.given[name] = sh.values[name]
			}
		}
		b := k.New()
		switch {
		case len(given) == 0 || sh.values.into(b) != nil:
		case sh.given["seam"] != nil:
			sh.title += ": " + as[daylog.OnSeam](b).String()
		default:
			sh.title = UpperFirst(strings.TrimSpace(k.Say(v.day, b)))
		}
		r.steps = append(r.steps, sh)
	}
	r.tick()
	return r, nil
}

// rawFields are fields as an address carries them.
func rawFields(with map[string]any) map[string]json.RawMessage {
	raw := map[string]json.RawMessage{}
	for name, value := range with {
		raw[name], _ = json.Marshal(value)
	}
	return raw
}

// askSeveral is GET /job/{job}/several/{set}: what is usually written down
// together, on one page.
func (s *site) askSeveral(v *visit) error {
	r, err := v.severalForm(nil)
	if err != nil {
		return err
	}
	return v.showSeveral(http.StatusOK, r)
}

// saveSeveralOf is POST /job/{job}/several/{set}.
func (s *site) saveSeveralOf(v *visit) error {
	r, err := v.severalForm(v.r.PostForm)
	if err != nil {
		return err
	}
	return v.saveSeveral(r)
}
