package office

import (
	"cmp"
	"crypto/rand"
	"encoding/base32"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/go-chi/chi/v5"

	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/internal/signin"
	"duskline/web"
)

// setupRoutes are the pages that set a job up.
func (p *pages) setupRoutes(r chi.Router) {
	r.Get("/jobs/new", p.page(p.askNewJob))
	r.Post("/jobs/new", p.page(p.newJob))
	r.Get("/job/{job}/setup", p.setup(p.overview))
	r.Get("/job/{job}/setup/limits", p.setup(p.limits))
	r.Get("/job/{job}/setup/limits/{limit}", p.setup(p.askLimit))
	r.Post("/job/{job}/setup/limits/{limit}", p.setup(p.saveLimit))
	r.Get("/job/{job}/setup/plan", p.setup(p.askPlan))
	r.Post("/job/{job}/setup/plan", p.setup(p.savePlan))
	r.Get("/job/{job}/setup/ballast", p.setup(p.askBallast))
	r.Post("/job/{job}/setup/ballast", p.setup(p.saveBallast))
	r.Get("/job/{job}/setup/{kind}", p.setup(p.askSetup))
	r.Post("/job/{job}/setup/{kind}", p.setup(p.saveSetup))
}

// setupVisit is one request to a set-up page of a job.
type setupVisit struct {
	*visit
	id     string
	job    *daylog.Job // all of it
	day    *daylog.Day // today, by the roof's date
	author string
}

// setup makes a handler of a page for those who may write what the office
// writes on the job. Nobody else learns whether there is such a job.
func (p *pages) setup(do func(v *setupVisit) error) http.HandlerFunc {
	return p.page(func(in *visit) error {
		v := &setupVisit{visit: in, id: chi.URLParam(in.r, "job"), author: "office"}
		if p.Accounts != nil {
			may := in.who.On(v.id)
			if !may.Office {
				return fmt.Errorf("set-up of %s: %w", v.id, fs.ErrPermission)
			}
			v.author = may.Person
		}
		var err error
		if v.job, err = v.Memo.Fold(in.r.Context(), v.Log, v.id, ""); err != nil {
			return err
		}
		today, err := v.today(v.id)
		if err != nil {
			return err
		}
		v.day = v.job.On(today.Date)
		return do(v)
	})
}

func (v *setupVisit) url(path string) string {
	return "/job/" + url.PathEscape(v.id) + "/setup" + path
}

func (v *setupVisit) frame(title string) web.Frame {
	f := v.visit.frame(title, "")
	f.Job, f.JobURL, f.Invented = v.day.Setup.Title(), "/job/"+url.PathEscape(v.id)+"/", v.day.Setup.Invented
	f.Nav = append([]web.NavLink{{Label: "Now", URL: f.JobURL}, {Label: "Days", URL: f.JobURL + "days"}, {Label: "Set-up", URL: v.url(""), Current: true}}, f.Nav...)
	return f
}

// lines are all of a kind's entries, those that begin to hold first coming
// first, and of one day those that knew less: the last counts. An empty kind
// stands for all of the set-up.
func (v *setupVisit) lines(kind string) []*daylog.Line {
	var all []*daylog.Line
	for _, d := range v.job.Days {
		for _, l := range d.Lines {
			if k := daylog.KindOf(l.Body); k != nil && k.Group == daylog.SetUp && (kind == "" || k.Name == kind) {
				all = append(all, l)
			}
		}
	}
	slices.SortStableFunc(all, func(a, b *daylog.Line) int { return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Tick, b.Tick)) })
	return all
}

// from is the day from which a new entry holds unless another is typed: until
// work begins the job's first, so that all of the set-up holds together.
func (v *setupVisit) from() daylog.Date {
	for _, d := range v.job.Days {
		if d.Worked() {
			return v.day.Date
		}
	}
	if len(v.job.Days) > 0 {
		return min(v.job.Days[0].Date, v.day.Date)
	}
	return v.day.Date
}

// SetupView is the set-up of a job: what is set, what is missing, and how it
// came about.
type SetupView struct {
	Frame   web.Frame
	Lead    string
	Missing []web.Action
	Groups  []SetupGroup
	History []SetupChange
}

// SetupGroup is what of the set-up belongs together.
type SetupGroup struct {
	Title string
	Says  []string // what is against a rule, or not checked yet
	Parts []SetupPart
}

// SetupPart is one part of the set-up in a line.
type SetupPart struct {
	URL, Title, Words string
}

// SetupChange is one entry of the set-up.
type SetupChange struct {
	Says, From, Written string
	Why                 string
	Past                []string // what it said before it was corrected
	Struck              bool
	Correct             string // where it is corrected; empty: nowhere
}

// missing is what a first day cannot do without.
func (v *setupVisit) missing() []web.Action {
	s := v.day.Setup
	var all []web.Action
	need := func(lacks bool, label, to string) {
		if lacks {
			all = append(all, web.Action{Label: label, URL: v.url(to)})
		}
	}
	need(s.Name == "", "The job has no name", "/job")
	need(!zoneExists(s.Zone), "The time zone of the roof is not set", "/job")
	need(s.Leaving == "", "The usual leaving time is not set", "/job")
	need(!slices.ContainsFunc(s.Persons, func(p daylog.Person) bool { return p.Role == "foreman" && !p.Gone }), "There is no foreman", "/person")
	switch {
	case s.PlanFlaw() != nil:
		need(true, "The roof plan cannot be laid", "/plan")
	default:
		need(len(v.day.Roof.Layout().Panels) == 0, "There is no roof plan with panels", "/plan")
	}
	return all
}

// overview is GET /job/{job}/setup.
func (p *pages) overview(v *setupVisit) error {
	s := v.day.Setup
	view := SetupView{Frame: v.frame("Set-up"), Missing: v.missing(), Lead: "Ready for a first day."}
	if n := len(view.Missing); n == 1 {
		view.Lead = "One thing is missing for a first day."
	} else if n > 1 {
		view.Lead = fmt.Sprintf("%d things are missing for a first day.", n)
	}
	group := func(title string, says ...string) {
		view.Groups = append(view.Groups, SetupGroup{Title: title, Says: says})
	}
	part := func(to, title, words string) {
		last := &view.Groups[len(view.Groups)-1]
		last.Parts = append(last.Parts, SetupPart{v.url(to), title, cmp.Or(words, "nothing yet")})
	}
	// each lists what there is of a kind, and where one more is added.
	each := func(kind, another string) {
		k, _ := daylog.FindKind(kind)
		for _, l := range v.standing(kind) {
			title, words := partWordsOf(k, v.day, l.Body)
			if l.Day > v.day.Date {
				words += ", from " + dateWords(l.Day)
			}
			part("/"+kind+"?like="+url.QueryEscape(l.Root), title, words)
		}
		part("/"+kind, another, "add")
	}
	group("Job and hours")
	hours := v.day.Usual()
	part("/job", "Place and usual hours", strings.Join(present(s.Place, s.Zone, after("start ", s.Start), after("leaving ", s.Leaving), fmt.Sprintf("pack-up %d min", s.Packup)), ", "))
	if hours.Off != "" {
		view.Groups[0].Says = append(view.Groups[0].Says, "Today nobody is expected: "+hours.Off+".")
	}
	each("week", "Hours of some weekdays")
	each("dayoff", "A holiday or day off")
	group("People")
	each("person", "Another person")
	group("Roof")
	layout, plan := v.day.Roof.Layout(), ""
	if n := len(layout.Panels); n > 0 {
		plan = daylog.Count(n, "panel", "panels") + ", " + squareFeet(layout.Area) + " of roof"
	}
	part("/plan", "Roof plan", plan)
	each("penetration", "A pipe, drain or curb")
	one := func(kind string) {
		k, _ := daylog.FindKind(kind)
		words := ""
		for _, l := range v.lines(kind) {
			if l.Struck == nil {
				words = k.Say(v.day, l.Body)
			}
		}
		part("/"+kind, k.Title, words)
	}
	one("scope")
	one("standing")
	against, notes := ballastSays(s)
	group("Ballast", append(against, notes...)...)
	one("zones")
	part("/ballast", "Rates of a published system", "take as a beginning")
	each("approved", "Approved stone or pavers")
	group("Materials")
	each("material", "An approved material")
	each("joblot", "A lot with its dates")
	group("Limits")
	changed := "all as they come"
	if n := len(s.Limits); n > 0 {
		changed = fmt.Sprintf("%d set for this job", n)
	}
	if n := len(checks.LooserLimits(s)); n > 0 {
		changed += fmt.Sprintf(", %d looser than published", n)
	}
	part("/limits", "Limits", changed)
	for _, l := range slices.Backward(v.lines("")) {
		view.History = append(view.History, v.change(l))
	}
	return v.show(http.StatusOK, SetupPage(view))
}

// present are the texts that say something.
func present(all ...string) []string {
	return slices.DeleteFunc(all, func(text string) bool { return text == "" })
}

// standing are the lines of a kind that hold or will: of one thing the last, and
// none of what is gone.
func (v *setupVisit) standing(kind string) []*daylog.Line {
	var keys []string
	last := map[string]*daylog.Line{}
	for _, l := range v.lines(kind) {
		if l.Struck != nil {
			continue
		}
		key, gone := thing(l.Body)
		if last[key] == nil {
			keys = append(keys, key)
		}
		if last[key] = l; gone {
			delete(last, key)
			keys = slices.DeleteFunc(keys, func(k string) bool { return k == key })
		}
	}
	var all []*daylog.Line
	for _, key := range keys {
		all = append(all, last[key])
	}
	return all
}

// thing is what an entry of the set-up is about, and whether it is no more.
func thing(b daylog.Body) (key string, gone bool) {
	switch b := b.(type) {
	case *daylog.Person:
		return b.Person, b.Gone
	case *daylog.Penetration:
		return b.Name, b.Gone
	case *daylog.ApprovedStone:
		return b.Stone + "\n" + b.Zone, b.Gone
	case *daylog.Approved:
		return b.Material + "\n" + strings.ToLower(b.Kind), b.Gone
	case *daylog.JobLot:
		return b.Material + "\n" + b.Lot, b.Gone
	case *daylog.DayOff:
		return string(b.Date), b.Gone
	case *daylog.WeekHours:
		return strings.Join(slices.Sorted(slices.Values(b.Days)), " "), false
	}
	return "", false
}

// partWordsOf are the name of a thing and the rest of what is said of it.
func partWordsOf(k *daylog.Kind, d *daylog.Day, b daylog.Body) (title, words string) {
	if p, ok := b.(*daylog.Person); ok {
		return p.Name, strings.Join(present(p.Role, p.Trade, after("leaves at ", p.Leaving)), ", ")
	}
	title, words, _ = strings.Cut(k.Say(d, b), ", ")
	return web.UpperFirst(title), cmp.Or(words, "change")
}

// change puts an entry of the set-up into words.
func (v *setupVisit) change(l *daylog.Line) SetupChange {
	k := daylog.KindOf(l.Body)
	c := SetupChange{Says: v.says(k, l.Body), From: dateWords(l.Day), Written: v.written(l.Entry), Why: l.Why, Struck: l.Struck != nil}
	for _, e := range l.Past {
		if k := daylog.KindOf(e.Body); k != nil && k.Group == daylog.SetUp {
			c.Past = append(c.Past, v.says(k, e.Body)+", "+v.written(e))
		}
	}
	if to := "/" + k.Name; !c.Struck {
		if b, ok := l.Body.(*daylog.LimitSetup); ok {
			to = "/limits/" + url.PathEscape(b.Limit)
		}
		c.Correct = v.url(to + "?of=" + url.QueryEscape(l.Root))
	}
	return c
}

// says puts what an entry of the set-up says into words, limits by their labels.
func (v *setupVisit) says(k *daylog.Kind, b daylog.Body) string {
	switch b := b.(type) {
	case *daylog.PlanSetup:
		n := len(b.Panels)
		for _, r := range b.Rows {
			n += len(r.Sheets)
		}
		return fmt.Sprintf("%s: %d panels", k.Title, n)
	case *daylog.LimitSetup:
		for _, l := range checks.Limits() {
			if l.Name == b.Limit {
				return k.Title + ": " + l.Label + " " + plain(b.Value) + " " + l.Unit
			}
		}
	}
	return k.Title + ": " + k.Say(v.day, b)
}

func (v *setupVisit) written(e *daylog.Entry) string {
	zone, err := time.LoadLocation(v.day.Setup.Zone)
	if err != nil {
		zone = time.UTC
	}
	words := e.Made.In(zone).Format("2 January 2006, 15:04")
	if e.Author == "" {
		return words
	}
	if name := v.day.Setup.PersonName(e.Author); name != e.Author {
		return words + " by " + name
	}
	if e.Author == "office" {
		return words + " by the office"
	}
	return words + " by " + e.Author
}

func dateWords(d daylog.Date) string {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return string(d)
	}
	return t.Format("Monday 2 January 2006")
}

// formKind reports whether a kind of the set-up is asked on the form made from
// its fields; plan and limits have pages of their own.
func formKind(k *daylog.Kind) bool {
	return k.Group == daylog.SetUp && k.Writes == daylog.Office && k.Name != "plan" && k.Name != "limit"
}

func zoneExists(name string) bool {
	if name == "" || name == "Local" {
		return false
	}
	_, err := time.LoadLocation(name)
	return err == nil
}

// setupForm is the form of a kind, or of the correction of one of its lines.
func (v *setupVisit) setupForm(k *daylog.Kind, of *daylog.Line, body daylog.Body, wrong map[string]string) (web.Form, error) {
	typed := typedOnly(v.r)
	form := web.Form{
		Heading: web.Heading{Title: k.Title, Lead: k.Help},
		URL:     v.url("/" + k.Name),
		Cancel:  web.Action{Label: "Back to Set-up", URL: v.url("")},
	}
	if of != nil {
		form.Heading = v.correcting(k.Title, of)
		form.URL += "?of=" + url.QueryEscape(of.Root)
	}
	fields, err := web.KindFields(k, v.day, body, typed, wrong)
	if err != nil {
		return form, err
	}
	for i := range fields {
		if k.Name == "week" {
			fields[i].OtherLabel = "" // there are no other days
		}
	}
	return form, v.close(&form, of, fields, wrong)
}

// close adds what every form of the set-up asks: from which day it holds, or
// why it is corrected.
func (v *setupVisit) close(form *web.Form, of *daylog.Line, fields []web.Field, wrong map[string]string) error {
	typed := typedOnly(v.r)
	number, err := formNumber(typed.Get("form"))
	if err != nil {
		return err
	}
	form.Hidden = append(form.Hidden, web.Hidden{Name: "form", Value: number})
	if of == nil {
		day := string(v.from())
		if typed.Has("day") {
			day = typed.Get("day")
		}
		fields = append(fields, web.Field{Name: "day", Kind: web.FieldText, Label: "Holds from", Value: day, Error: wrong["day"], Needed: true, Help: "As in 2026-10-06. Days before it stay as they were."})
	} else {
		fields = append(fields, web.Field{Name: "why", Kind: web.FieldText, Label: "Why it is corrected", Value: typed.Get("why"), Error: wrong["why"], Needed: true})
	}
	form.Groups = append(form.Groups, web.FieldGroup{Fields: fields})
	if say := wrong[""]; say != "" {
		form.Wrong = append(form.Wrong, say)
	}
	return nil
}

// typedOnly is what was sent; nil on the first showing.
func typedOnly(r *http.Request) url.Values {
	if r.Method == http.MethodPost {
		return r.PostForm
	}
	return nil
}

// formNumber keeps a form's number, or makes one: 80 random bits.
func formNumber(was string) (string, error) {
	if len(was) == 16 && strings.Trim(was, "abcdefghijklmnopqrstuvwxyz234567") == "" {
		return was, nil
	}
	var b [10]byte
	if _, err := rand.Read(b[:]); err != nil {
		return "", err
	}
	return strings.ToLower(base32.StdEncoding.EncodeToString(b[:])), nil
}

// kindAsked is the kind of the address, and the line that is to be corrected.
func (v *setupVisit) kindAsked() (*daylog.Kind, *daylog.Line, error) {
	k, ok := daylog.FindKind(chi.URLParam(v.r, "kind"))
	if !ok || !formKind(k) {
		return nil, nil, fmt.Errorf("kind of set-up: %w", fs.ErrNotExist)
	}
	of, err := v.lineAsked(k.Name)
	return k, of, err
}

// lineAsked is the line of a kind that the address wants corrected; nil where it
// wants none.
func (v *setupVisit) lineAsked(kind string) (*daylog.Line, error) {
	root := v.r.URL.Query().Get("of")
	if root == "" {
		return nil, nil
	}
	for _, l := range v.lines(kind) {
		if l.Root == root && l.Struck == nil {
			return l, nil
		}
	}
	return nil, fmt.Errorf("entry: %w", fs.ErrNotExist)
}

// correcting heads the form of a correction.
func (v *setupVisit) correcting(what string, of *daylog.Line) web.Heading {
	return web.Heading{Title: "Correct: " + what, Lead: "It holds from " + dateWords(of.Day) + ". What it says now stays readable."}
}

// inForce is what a form of the kind shows first: a job and its scope are
// changed, of people and the like one more is added.
func (v *setupVisit) inForce(k *daylog.Kind) daylog.Body {
	if k.Name == "job" || k.Name == "zones" {
		// What the last of them says that holds by now.
		var last *daylog.Line
		for _, l := range v.lines(k.Name) {
			if l.Struck == nil && l.Day <= v.day.Date && (last == nil || l.Day > last.Day || l.Tick > last.Tick) {
				last = l
			}
		}
		return bodyOf(last)
	}
	if like := v.r.URL.Query().Get("like"); like != "" {
		for _, l := range v.lines(k.Name) {
			if l.Root == like {
				return l.Body
			}
		}
	}
	return nil
}

// askSetup is GET /job/{job}/setup/{kind}?of=ENTRY&like=ENTRY: the form of one
// kind; with of, the correction of an entry; with like, one more that begins with
// what another says.
func (p *pages) askSetup(v *setupVisit) error {
	k, of, err := v.kindAsked()
	if err != nil {
		return err
	}
	body := v.inForce(k)
	if of != nil {
		body = of.Body
	}
	form, err := v.setupForm(k, of, body, nil)
	if err != nil {
		return err
	}
	if k.Name == "zones" {
		z, _ := body.(*daylog.BallastZones)
		if z == nil {
			z = new(daylog.BallastZones)
		}
		return v.showZones(http.StatusOK, form, *z)
	}
	return v.showForm(http.StatusOK, form)
}

func (v *setupVisit) showForm(status int, form web.Form) error {
	return v.show(status, web.SheetPage(v.frame(form.Heading.Title), form))
}

// saveSetup is POST /job/{job}/setup/{kind}?of=ENTRY.
func (p *pages) saveSetup(v *setupVisit) error {
	k, of, err := v.kindAsked()
	if err != nil {
		return err
	}
	body, wrong := readSetup(k, v.day, v.r.PostForm)
	zones, isZones := body.(*daylog.BallastZones)
	if isZones && v.r.PostForm.Get("draw") == "part" {
		return v.show(http.StatusOK, drawnPart(v.zonesDrawn(*zones, wrong)))
	}
	reckon := isZones && v.r.PostForm.Get("draw") != "" // and nothing is saved
	entry, more := v.entry(of)
	for name, say := range more {
		if !reckon {
			wrong[name] = say
		}
	}
	if len(wrong) > 0 || reckon {
		form, err := v.setupForm(k, of, nil, wrong)
		if err != nil {
			return err
		}
		if isZones {
			status := http.StatusUnprocessableEntity
			if len(wrong) == 0 {
				status = http.StatusOK
			}
			return v.showZones(status, form, *zones)
		}
		return v.showForm(http.StatusUnprocessableEntity, form)
	}
	entry.Body = body
	return v.keep(entry, v.url(""))
}

// entry is one of this form, its body still missing, with what is wrong about
// its day or reason.
func (v *setupVisit) entry(of *daylog.Line) (daylog.Entry, map[string]string) {
	wrong := map[string]string{}
	now := v.Now().UTC().Truncate(time.Second)
	e := daylog.Entry{At: now, Made: now, Author: v.author, ID: v.r.PostForm.Get("form")}
	if number, err := formNumber(e.ID); err != nil || number != e.ID {
		wrong[""] = "This form had lost its number and has a new one. Save it again."
	}
	if of != nil {
		e.Of, e.Day, e.At = of.Root, of.Day, of.At
		if e.Why = strings.TrimSpace(v.r.PostForm.Get("why")); e.Why == "" {
			wrong["why"] = "Say why: the reason is shown beside the correction."
		}
	} else {
		var say string
		if e.Day, say = readDay(v.r.PostForm.Get("day")); say != "" {
			wrong["day"] = say
		}
	}
	return e, wrong
}

func readDay(text string) (daylog.Date, string) {
	text = strings.TrimSpace(text)
	if text == "" {
		return "", "Say from which day it holds, as in 2026-10-06."
	}
	day, err := daylog.ParseDate(text)
	if err != nil || day < "2000-01-01" || day > "2199-12-31" {
		return "", "This is no day that can be read. Write it as in 2026-10-06."
	}
	return day, ""
}

// readSetup reads a form of the set-up and says what of it cannot be kept.
func readSetup(k *daylog.Kind, d *daylog.Day, typed url.Values) (daylog.Body, map[string]string) {
	for name := range typed {
		for i, text := range typed[name] {
			typed[name][i] = strings.ToValidUTF8(text, string(utf8.RuneError))
		}
	}
	body, wrong := web.ReadKind(k, d, typed)
	say := func(field, words string) {
		if wrong[field] == "" {
			wrong[field] = words
		}
	}
	// hours reads times of day, each as it may be typed; without a start of their
	// own people begin as usual.
	clocks := func(typed map[string]*string) {
		for name, text := range typed {
			if clock, ok := timeOfDay(*text); ok {
				*text = clock
			} else {
				say(name, "This is no time of day. Write it as in 07:00 or 16:30.")
			}
		}
	}
	hours := func(start, leaving *string, usual string) {
		clocks(map[string]*string{"start": start, "leaving": leaving})
		if from := cmp.Or(*start, usual); wrong["start"] == "" && wrong["leaving"] == "" && from != "" && *leaving != "" && *leaving <= from {
			say("leaving", "People leave after they start: the start is "+from+".")
		}
	}
	switch b := body.(type) {
	case *daylog.JobSetup:
		if b.Name == "" {
			say("name", "Give the job a name.")
		}
		switch {
		case b.Zone == "":
			say("zone", "Say in which time zone the roof is, as in America/Chicago.")
		case !zoneExists(b.Zone):
			say("zone", "There is no time zone of this name. Write it as in America/Chicago.")
		}
		hours(&b.Start, &b.Leaving, "")
		clocks(map[string]*string{"break": &b.Break, "lunch": &b.Lunch})
		if (b.Lat == 0) != (b.Lon == 0) {
			say(map[bool]string{true: "lat", false: "lon"}[b.Lat == 0], "A place has both, latitude and longitude.")
		}
	case *daylog.WeekHours:
		hours(&b.Start, &b.Leaving, d.Setup.Start)
		if len(b.Days) > 0 && !b.Off && b.Start == "" && b.Leaving == "" && b.Packup == 0 {
			say("leaving", "Say what is other than usual on these days.")
		}
	case *daylog.Penetration:
		layout, at := d.Roof.Layout(), b.Rect()
		switch {
		case (b.Wide == 0) != (b.Deep == 0):
			say(map[bool]string{true: "wide", false: "deep"}[b.Wide == 0], "A curb has both sizes; a pipe or drain has none.")
		case (b.X != 0 || b.Y != 0) && len(layout.Panels) > 0 && !layout.Holds(at):
			say("x", "This is not on the roof, as its plan stands.")
		}
		if p, ok := layout.PanelAt(at.Min); ok && b.Panel == "" && (b.X != 0 || b.Y != 0) {
			b.Panel = p.Name
		} else if _, ok := layout.Panel(b.Panel); b.Panel != "" && !ok {
			say("panel", "Panel "+b.Panel+" is not on the roof plan.")
		}
	case *daylog.Person:
		if b.Name == "" {
			say("name", "Give the person a name.")
		}
		if b.Role == "" {
			say("role", "Say what the person is on this job.")
		}
		if b.Person == "" {
			b.Person = shortName(b.Name, d.Setup)
		} else if strings.ContainsAny(b.Person, " \t\n") {
			say("person", "A short name is one word.")
		}
		start := ""
		hours(&start, &b.Leaving, d.Setup.Start)
	case *daylog.Standing:
		if len(b.Panels) == 0 {
			say("panels", "Name at least one panel.")
		}
		for _, name := range b.Panels {
			if _, ok := d.Roof.Layout().Panel(name); !ok {
				say("panels", "Panel "+name+" is not on the roof plan.")
			}
		}
		if b.Strip != "" && !slices.Contains(b.Panels, b.Strip) {
			say("strip", "The strip is on a panel that stands: panel "+b.Strip+" is not among them.")
		}
	}
	return body, wrong
}

// timeOfDay reads 7:00, 07:00, 0700 or 4:30 pm as 24-hour time; nothing stays
// nothing.
func timeOfDay(text string) (string, bool) {
	text = strings.ToUpper(strings.ReplaceAll(strings.TrimSpace(text), ".", ""))
	if text == "" {
		return "", true
	}
	for _, form := range []string{"15:04", "1504", "3:04 PM", "3:04PM", "3 PM", "3PM"} {
		if t, err := time.Parse(form, text); err == nil {
			return t.Format("15:04"), true
		}
	}
	return "", false
}

// shortName makes the id of a person who has none: the first name, counted on
// where it is taken.
func shortName(name string, s *daylog.Setup) string {
	words := strings.Fields(strings.ToLower(name))
	if len(words) == 0 {
		return ""
	}
	id := words[0]
	for n := 2; ; n++ {
		if _, taken := s.Person(id); !taken {
			return id
		}
		id = fmt.Sprintf("%s%d", words[0], n)
	}
}

// keep writes the entry of one form. Sent twice it is written once; sent again
// with other words nothing is written.
func (v *setupVisit) keep(e daylog.Entry, next string, more ...daylog.Entry) error {
	drafts := append([]daylog.Entry{e}, more...)
	_, there := v.day.Setup.Person(v.author)
	there = there || slices.ContainsFunc(more, func(e daylog.Entry) bool {
		p, is := e.Body.(*daylog.Person)
		return is && p.Person == v.author
	})
	if !there && v.Accounts != nil {
		// The id of the entry is the person's: told twice it is written once.
		drafts = append(drafts, daylog.Entry{ID: daylog.FormID(v.author, 0), Day: min(v.from(), e.Day), At: e.Made, Made: e.Made, Author: v.author,
			Body: &daylog.Person{Person: v.author, Name: v.who.Name, Role: "manager"}})
	}
	return v.write(v.id, next, drafts...)
}

func (v *visit) write(job, next string, drafts ...daylog.Entry) error {
	kept, err := v.Log.Write(v.r.Context(), job, drafts...)
	if err != nil {
		return fmt.Errorf("save: %w", err)
	}
	was, err1 := json.Marshal(kept[0].Body)
	is, err2 := json.Marshal(drafts[0].Body)
	if errors.Join(err1, err2) != nil || string(was) != string(is) || kept[0].Day != drafts[0].Day || kept[0].Of != drafts[0].Of || kept[0].Why != drafts[0].Why {
		return problem{http.StatusConflict, web.Trouble{Title: "This form was saved before", Say: "It was saved with other words, and those stand. Open the set-up and change them there."}}
	}
	return v.leave(next)
}

// mayBegin refuses whoever may not set up new jobs.
func (v *visit) mayBegin() error {
	if v.Accounts != nil && !v.who.Manages() {
		return fmt.Errorf("new job: %w", fs.ErrPermission)
	}
	return nil
}

// newJobForm asks what a job cannot begin without.
func (v *visit) newJobForm(wrong map[string]string) (web.Form, *setupVisit, error) {
	s := &setupVisit{visit: v, job: daylog.Fold("new", nil), author: "office"}
	s.day = s.job.On(daylog.DateOf(v.Now().UTC()))
	if v.Accounts != nil {
		s.author = v.who.On(signin.Company).Person
	}
	k, _ := daylog.FindKind("job")
	form, err := s.setupForm(k, nil, nil, wrong)
	form.Heading = web.Heading{Title: "New job", Lead: "The rest of its set-up follows."}
	form.URL, form.Submit = "/jobs/new", "Make the job"
	if err != nil {
		return form, s, err
	}
	sources, err := v.sources()
	if len(sources) > 0 {
		copied := v.r.PostForm.Get("copied")
		f := web.Field{Name: "copied", Kind: web.FieldChoice, Label: "Take the rest of its set-up from", Error: wrong["copied"],
			Help: "Plan, people, hours of weekdays, limits, materials, stone and what the job includes, as they are today. Not what stands already, not lots, not the building's height."}
		f.Options = append(f.Options, web.Option{Label: "No other job", Chosen: copied == ""})
		for _, o := range sources {
			o.Chosen = o.Value == copied
			f.Options = append(f.Options, o)
		}
		form.Groups[0].Fields = append(form.Groups[0].Fields, f)
	}
	form.Cancel = web.Action{Label: "Back to the jobs", URL: "/"}
	return form, s, err
}

// sources are the jobs whose set-up may be copied by whoever asks.
func (v *visit) sources() ([]web.Option, error) {
	ids, err := v.Log.Jobs(v.r.Context())
	if err != nil {
		return nil, err
	}
	var all []web.Option
	for _, id := range ids {
		if v.Accounts != nil && !v.who.On(id).Office {
			continue
		}
		d, err := v.today(id)
		if err != nil {
			return nil, err
		}
		all = append(all, web.Option{Value: id, Label: d.Setup.Title()})
	}
	return all, nil
}

// copied are entries that say of another job what is in force on this one,
// following e in its form.
func copied(e daylog.Entry, d *daylog.Day) []daylog.Entry {
	var all []daylog.Entry
	add := func(b daylog.Body) {
		c := e
		c.ID, c.Body, c.Why = daylog.FormID(e.ID, len(all)+1), b, "as on "+d.Setup.Title()
		all = append(all, c)
	}
	s := d.Setup
	if s.Scope != (daylog.Scope{}) {
		scope := s.Scope
		add(&scope)
	}
	for i := range s.Week {
		add(&s.Week[i])
	}
	for i := range s.DaysOff {
		add(&s.DaysOff[i])
	}
	for i := range s.Materials {
		add(&s.Materials[i])
	}
	// Height and slope are those of the one building, and its rates were checked
	// for it alone.
	if zones := (daylog.BallastZones{System: s.Zones.System, NoLoose: s.Zones.NoLoose}); zones != (daylog.BallastZones{}) {
		add(&zones)
	}
	if len(s.Plan.Outline) > 0 {
		add(&daylog.PlanSetup{Plan: s.Plan})
	}
	for i := range s.Details {
		detail := s.Details[i]
		add(&detail)
	}
	for i := range s.Stones {
		stone := s.Stones[i]
		add(&stone)
	}
	for _, name := range slices.Sorted(maps.Keys(s.Limits)) {
		add(&daylog.LimitSetup{Limit: name, Value: s.Limits[name]})
	}
	for _, p := range s.Persons {
		if !p.Gone {
			add(&p)
		}
	}
	return all
}

// askNewJob is GET /jobs/new.
func (p *pages) askNewJob(v *visit) error {
	if err := v.mayBegin(); err != nil {
		return err
	}
	form, _, err := v.newJobForm(nil)
	if err != nil {
		return err
	}
	return v.ask(http.StatusOK, "/", form, nil)
}

// newJob is POST /jobs/new: it writes the first entry of a job.
func (p *pages) newJob(v *visit) error {
	if err := v.mayBegin(); err != nil {
		return err
	}
	_, s, err := v.newJobForm(nil)
	if err != nil {
		return err
	}
	k, _ := daylog.FindKind("job")
	body, wrong := readSetup(k, s.day, v.r.PostForm)
	e, more := s.entry(nil)
	for name, say := range more {
		wrong[name] = say
	}
	from := v.r.PostForm.Get("copied")
	sources, err := v.sources()
	if err != nil {
		return err
	}
	if from != "" && !slices.ContainsFunc(sources, func(o web.Option) bool { return o.Value == from }) {
		wrong["copied"] = "There is no such job to copy from. Choose one of these."
	}
	if len(wrong) > 0 {
		form, _, err := v.newJobForm(wrong)
		if err != nil {
			return err
		}
		return v.show(http.StatusUnprocessableEntity, web.SheetPage(v.frame("New job", "/"), form))
	}
	e.Body = body
	s.id = e.ID[:10] // the form's: sent twice it is one job
	var rest []daylog.Entry
	if from != "" {
		d, err := v.today(from)
		if err != nil {
			return err
		}
		rest = copied(e, d)
	}
	return s.keep(e, s.url(""), rest...)
}
