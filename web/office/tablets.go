package office

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"duskline/internal/daylog"
	"duskline/internal/exchange"
	"duskline/internal/inbox"
	"duskline/internal/signin"
	"duskline/internal/store"
	"duskline/web"
)

// TabletsView is all that the office knows of tablets, and what waits for it to
// decide.
type TabletsView struct {
	Frame   web.Frame
	Done    string // what was just done
	Enrol   web.Action
	News    []TabletNews
	Parked  []TabletNews
	Aside   []TabletNews
	Again   web.Action // no label: nothing is aside that could be tried
	Tablets []TabletRow
	Others  []TabletRow // browsers with a job on board and no key
}

// TabletNews is something that happened, with what can be done about it.
type TabletNews struct {
	Title, Says, When string
	Do                []TabletDo
}

// TabletDo is a button with what it is about.
type TabletDo struct {
	Label, URL string
	Hidden     []web.Hidden
}

// TabletRow is one tablet: what it is, and how it stood when it was heard last.
type TabletRow struct {
	Name, About string // About: its jobs, or who was signed in
	Heard       string
	Facts       []string
	Wrong       string // what somebody should look at
	Do          []TabletDo
}

func (p *pages) tabletRoutes(r chi.Router) {
	r.Get("/tablets", p.keeper(p.tablets))
	r.Get("/tablets/new", p.keeper(p.askTablet))
	r.Post("/tablets/new", p.keeper(p.newTablet))
	r.Post("/tablets/{id}/revoke", p.keeper(p.revokeTablet))
	r.Post("/tablets/parked", p.keeper(p.releaseParked))
	r.Post("/tablets/aside", p.keeper(p.tryAside))
	r.Post("/tablets/seen", p.keeper(p.putAway))
	r.Get("/tablet", p.newTabletPage)
	r.Post("/tablet/enrol", p.enrolTablet)
}

// tablets is GET /tablets.
func (p *pages) tablets(v *visit) error { return v.showTablets("") }

func (v *visit) showTablets(done string) error {
	ctx := v.r.Context()
	view := TabletsView{Frame: v.frame("Tablets", "/tablets"), Done: done, Enrol: web.Action{Label: "Enrol a tablet", URL: "/tablets/new"}}
	news, err1 := v.Inbox.News(ctx)
	parked, err2 := v.Inbox.Parked(ctx)
	aside, err3 := v.Inbox.SetAside(ctx)
	devices, err4 := v.Inbox.Devices(ctx)
	tablets, err5 := v.Tablets.List(ctx)
	if err := errors.Join(err1, err2, err3, err4, err5); err != nil {
		return err
	}
	names := map[string]string{}
	for _, d := range devices {
		names[d.ID] = d.Name
	}
	for _, x := range tablets {
		names[x.ID] = x.Name
	}
	for _, h := range news {
		view.News = append(view.News, v.happened(h, names))
	}
	for _, x := range parked {
		about := []web.Hidden{{Name: "device", Value: x.Device}, {Name: "job", Value: x.Job}}
		view.Parked = append(view.Parked, TabletNews{
			Title: daylog.Count(x.Entries, "entry", "entries") + " of " + nameOf(x.Device, names) + " for " + v.title(x.Job),
			Says:  "They came after the tablet was revoked. If you know who wrote them, take them in; otherwise throw them away, which cannot be undone.",
			When:  "since " + v.momentOf(x.First),
			Do: []TabletDo{
				{"Take them in", "/tablets/parked", append(about, web.Hidden{Name: "keep", Value: "on"})},
				{"Throw them away", "/tablets/parked", about},
			},
		})
	}
	for _, x := range aside {
		n := TabletNews{Title: "An entry for " + v.title(x.Job), When: "from " + nameOf(x.Name, nil) + ", " + v.momentOf(x.Came), Says: "It is kept as it came, and the others go on. Why: " + strings.TrimPrefix(x.Why, "receive for job "+x.Job+": ") + "."}
		if x.Device != "" {
			n.Title = fmt.Sprintf("Entry %d of %s for %s", x.Seq, nameOf(x.Device, names), v.title(x.Job))
		}
		if len(x.Raw) == 0 {
			n.Says = "It is kept on the tablet only, which tries again. Why: " + x.Why + "."
		} else {
			view.Again = web.Action{Label: "Try these once more", URL: "/tablets/aside", Post: true}
		}
		view.Aside = append(view.Aside, n)
	}
	for _, x := range tablets {
		row := TabletRow{Name: x.Name, About: v.jobTitles(x.Jobs), Heard: "never heard"}
		for _, d := range devices {
			if d.ID == x.ID {
				v.heard(&row, d)
			}
		}
		if x.Revoked.IsZero() {
			row.Do = []TabletDo{{Label: "Revoke", URL: "/tablets/" + url.PathEscape(x.ID) + "/revoke"}}
		} else {
			row.Wrong = strings.TrimSpace("Revoked on " + dayOf(x.Revoked) + ": what it sends is put by above, and it gets nothing. " + row.Wrong)
		}
		view.Tablets = append(view.Tablets, row)
	}
	for _, d := range devices {
		known := false
		for _, x := range tablets {
			known = known || x.ID == d.ID
		}
		if !known {
			row := TabletRow{Name: "A browser", About: "where " + nameOf(d.Name, nil) + " is signed in"}
			v.heard(&row, d)
			view.Others = append(view.Others, row)
		}
	}
	return v.show(http.StatusOK, TabletsPage(view))
}

// heard puts into words how a device stood.
func (v *visit) heard(row *TabletRow, d inbox.Device) {
	row.Heard = "heard " + v.ago(d.At)
	if d.Unsent > 0 {
		row.Wrong = daylog.Count(d.Unsent, "entry was", "entries were") + " not sent then."
	} else {
		row.Facts = append(row.Facts, "everything sent")
	}
	switch off := d.Clock.Round(time.Second); {
	case off.Abs() >= time.Minute:
		row.Wrong = strings.TrimSpace(row.Wrong + " Its clock is " + minutesAndSeconds(off.Abs()) + late(off) + ": set it right. What it writes is put right by that much.")
	case off.Abs() >= 2*time.Second:
		row.Facts = append(row.Facts, "clock "+minutesAndSeconds(off.Abs())+late(off))
	default:
		row.Facts = append(row.Facts, "clock right")
	}
	if d.Build != "" {
		row.Facts = append(row.Facts, "program "+d.Build)
	}
}

func late(off time.Duration) string {
	if off < 0 {
		return " slow"
	}
	return " fast"
}

func minutesAndSeconds(d time.Duration) string {
	switch {
	case d >= time.Hour:
		return fmt.Sprintf("%d h %d min", int(d.Hours()), int(d.Minutes())%60)
	case d >= time.Minute:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	}
	return fmt.Sprintf("%d s", int(d.Seconds()))
}

// ago is how long ago something was, in the words of one who asks now.
func (v *visit) ago(t time.Time) string {
	switch d := v.Now().Sub(t); {
	case d < 2*time.Minute:
		return "just now"
	case d < 2*time.Hour:
		return fmt.Sprintf("%d minutes ago", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d hours ago", int(d.Hours()))
	}
	return "on " + dayOf(t)
}

// momentOf is a moment with its date. The office has no time zone of its own.
func (v *visit) momentOf(t time.Time) string { return t.UTC().Format("2 January, 15:04 UTC") }

func nameOf(device string, names map[string]string) string {
	plain, _, branch := strings.Cut(device, "~")
	name := names[plain]
	if name == "" {
		name = device
		if name == "" {
			name = "nobody known"
		}
	} else if branch {
		name += " (its second line)"
	}
	return name
}

// title names a job, also one that has nothing here.
func (v *visit) title(job string) string {
	if d, err := v.today(job); err == nil {
		return d.Setup.Title()
	}
	return "job " + job
}

func (v *visit) jobTitles(jobs []string) string {
	titles := make([]string, len(jobs))
	for i, job := range jobs {
		titles[i] = v.title(job)
	}
	return strings.Join(titles, "; ")
}

// happened tells in plain words what happened and what to do.
func (v *visit) happened(h inbox.Happened, names map[string]string) TabletNews {
	n := TabletNews{Says: h.Says, When: v.momentOf(h.Last)}
	if h.Times > 1 {
		n.When += fmt.Sprintf(", %d times since %s", h.Times, v.momentOf(h.First))
	}
	job := v.title(h.Job)
	switch h.What {
	case exchange.Forked:
		n.Title = "Two devices have written as " + nameOf(strings.SplitN(h.Device, "~", 2)[0], names)
		n.Says = "One of them is a copy: a restored tablet, or a copied browser profile. Nothing is lost: both lines are kept and shown on " + job + ". Look at the entries of both, strike what is there twice, and enrol the copy as a tablet of its own."
	case exchange.RolledBack:
		n.Title = "This server was put back to an earlier state"
		n.Says = "A tablet holds entries for " + job + " that this server wrote and no longer had. It has brought them back. Let every other tablet exchange once, then nothing is missing; what this server writes now is kept apart from it."
	case exchange.FoldsDiffer:
		n.Title = "A tablet shows something else than the office"
		n.Says = "The device " + nameOf(h.Device, names) + " holds the same entries and makes something else of them. That is a fault of the program. Nothing is lost. Report it with the archive of the job, and go by what the office shows."
	default:
		n.Title = string(h.What)
	}
	n.Do = []TabletDo{{"Seen", "/tablets/seen", []web.Hidden{{Name: "what", Value: string(h.What)}, {Name: "job", Value: h.Job}, {Name: "device", Value: h.Device}}}}
	return n
}

func (v *visit) tabletForm() (web.Form, error) {
	typed := v.r.PostForm
	jobs := web.Field{Name: "jobs", Kind: web.FieldMany, Label: "For which jobs", Needed: true}
	ids, err := v.Log.Jobs(v.r.Context())
	if err != nil {
		return web.Form{}, err
	}
	for _, id := range ids {
		chosen := len(ids) == 1 && !typed.Has("name")
		for _, one := range typed["jobs"] {
			chosen = chosen || one == id
		}
		jobs.Options = append(jobs.Options, web.Option{Value: id, Label: v.title(id), Chosen: chosen})
	}
	return web.Form{
		Heading: web.Heading{Title: "Enrol a tablet", Lead: "You get a code to type on the tablet, once, within the hour. From then on it exchanges entries by a key of its own, and nobody signs in on it."},
		URL:     "/tablets/new",
		Groups: []web.FieldGroup{{Fields: []web.Field{
			{Name: "name", Kind: web.FieldText, Label: "Name of the tablet", Value: typed.Get("name"), Needed: true, Help: "As the office calls it, for instance by the number on its back."},
			jobs,
		}}},
		Submit: "Make the code",
		Failed: "No code yet",
		Cancel: web.Action{Label: "Back to the tablets", URL: "/tablets"},
	}, nil
}

// askTablet is GET /tablets/new.
func (p *pages) askTablet(v *visit) error {
	form, err := v.tabletForm()
	if err != nil {
		return err
	}
	return v.ask(http.StatusOK, "/tablets", form, nil)
}

// EnrolView is a code to be typed on a tablet.
type EnrolView struct {
	Frame       web.Frame
	Name, Jobs  string
	Site        string // where the tablet finds the server
	Code, Until string
}

// newTablet is POST /tablets/new.
func (p *pages) newTablet(v *visit) error {
	form, err := v.tabletForm()
	if err != nil {
		return err
	}
	var jobs []string // those there are
	for _, o := range form.Groups[0].Fields[1].Options {
		if o.Chosen {
			jobs = append(jobs, o.Value)
		}
	}
	name := v.r.PostForm.Get("name")
	code, until, err := p.Tablets.Offer(v.r.Context(), name, jobs...)
	if err != nil {
		return v.askAgain(err, "/tablets", form)
	}
	return v.show(http.StatusOK, EnrolPage(EnrolView{
		Frame: v.frame("Enrol "+name, "/tablets"), Name: strings.TrimSpace(name), Jobs: v.jobTitles(jobs), Site: v.Accounts.Origin(v.r),
		Code: code, Until: until.UTC().Format("15:04 UTC"),
	}))
}

// revokeTablet is POST /tablets/{id}/revoke.
func (p *pages) revokeTablet(v *visit) error {
	if err := p.Tablets.Revoke(v.r.Context(), chi.URLParam(v.r, "id")); err != nil {
		return err
	}
	return v.leave("/tablets")
}

// releaseParked is POST /tablets/parked: takes in what a revoked tablet sent for
// a job, or throws it away.
func (p *pages) releaseParked(v *visit) error {
	typed := v.r.PostForm
	n, err := p.Inbox.Release(v.r.Context(), typed.Get("device"), typed.Get("job"), typed.Get("keep") != "")
	if err != nil {
		return err
	}
	if typed.Get("keep") == "" {
		return v.showTablets(daylog.Count(n, "entry was", "entries were") + " thrown away.")
	}
	return v.showTablets(daylog.Count(n, "entry was", "entries were") + " taken in.")
}

// tryAside is POST /tablets/aside: tries once more to put entries into the log.
func (p *pages) tryAside(v *visit) error {
	n, err := p.Inbox.Again(v.r.Context())
	if errors.Is(err, store.ErrFull) {
		return v.showTablets("The storage of the server is full. Nothing is lost.")
	}
	if err != nil {
		return err
	}
	return v.showTablets(daylog.Count(n, "entry was", "entries were") + " taken in. What is still listed here was not.")
}

// putAway is POST /tablets/seen.
func (p *pages) putAway(v *visit) error {
	typed := v.r.PostForm
	if err := p.Inbox.PutAway(v.r.Context(), exchange.Happening(typed.Get("what")), typed.Get("job"), typed.Get("device")); err != nil {
		return err
	}
	return v.leave("/tablets")
}

// Enrolled is what a tablet gets for its code: the key that it shows with every
// exchange, as "Authorization: Bearer", and what the office calls it.
type Enrolled struct {
	Device string   `json:"device"`
	Key    string   `json:"key"`
	Name   string   `json:"name"`
	Jobs   []string `json:"jobs"` // ids
}

// enrolTablet is POST /tablet/enrol with the fields code and device, the id of
// the tablet's log. The answer is JSON: Enrolled, or with another status than
// 200 {"error": a sentence}. Whoever has the code needs nothing else, so tries
// are counted.
func (p *pages) enrolTablet(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, longestForm)
	answer := func(status int, v any) {
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Cache-Control", "no-store")
		w.WriteHeader(status)
		json.NewEncoder(w).Encode(v)
	}
	fail := func(status int, say string) {
		answer(status, struct {
			Error string `json:"error"`
		}{say})
	}
	if err := r.ParseForm(); err != nil {
		fail(http.StatusBadRequest, "This could not be read.")
		return
	}
	if err := p.Accounts.Try(r); err != nil {
		fail(http.StatusTooManyRequests, "There were too many tries. Wait a quarter of an hour.")
		return
	}
	x, key, err := p.Tablets.Redeem(r.Context(), r.PostForm.Get("code"), r.PostForm.Get("device"))
	var refused signin.Refused
	switch {
	case errors.Is(err, fs.ErrNotExist):
		fail(http.StatusForbidden, "This code is not known, was used already, or is older than an hour. Ask the office for another.")
	case errors.As(err, &refused):
		fail(http.StatusUnprocessableEntity, refused.Error())
	case err != nil:
		p.Logf("enrol a tablet: %v", err)
		fail(http.StatusInternalServerError, "The server could not keep this. Try again in a minute.")
	default:
		p.Accounts.GiveBack(r)
		answer(http.StatusOK, Enrolled{x.ID, key, x.Name, x.Jobs})
	}
}
