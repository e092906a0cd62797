package web

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"github.com/a-h/templ"
	"github.com/go-chi/chi/v5"

	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/internal/store"
)

// Config is what a host hands to its site: the server's, or a tablet's own.
type Config struct {
	Log  store.Log
	Now  func() time.Time
	Rand io.Reader // for the ids of forms
	// Who tells who is asking and which person of the job, as it is set up today,
	// writes.
	Who func(r *http.Request, s *daylog.Setup) Who
	// State says in facts how safe what was written is: "Saved here 10:51 · 14
	// not sent, oldest 7:40".
	State func(ctx context.Context, job string, d *daylog.Day, zone *time.Location) string
	// Skew is the seconds to add to this device's clock, known from the last
	// exchange. Nil: none.
	Skew func() int
	// Memo remembers folded jobs for all that the host does with them; nil: the
	// site has one of its own.
	Memo *store.Memo
	// Zone finds a time zone by its name; nil: time.LoadLocation.
	Zone func(name string) (*time.Location, error)
	// Logf notes what went wrong for whoever runs the host.
	Logf func(format string, args ...any)
	// Static serves the files under /static/ and the service worker; nil where
	// the host answers those itself.
	Static http.Handler
	// Office adds the pages that only the office needs; nil on a tablet.
	Office func(chi.Router)
	// Tablet is the tablet the site runs on; nil on a server.
	Tablet *Tablet
	// Aboard says that a job can be taken on board a tablet from its pages.
	Aboard bool
}

// Who is the person at the screen. The zero value may open nothing of the job.
type Who struct {
	Person string          // id of a person of the job; empty: may read only
	Name   string          // as shown: "Ada Example, foreman"
	Reads  bool            // may open the job's pages
	Writes []daylog.Writer // whose kinds of entries this person may write
}

// may tells whether a page is open to this person: one that only reads, or one
// that writes kinds of the given writers.
func (w Who) may(writes ...daylog.Writer) bool {
	if !w.Reads {
		return false
	}
	for _, one := range writes {
		if !slices.Contains(w.Writes, one) {
			return false
		}
	}
	return true
}

type site struct {
	Config
}

// New makes the site: every page of every job in the host's log.
func New(c Config) http.Handler {
	s := &site{Config: c}
	if s.Zone == nil {
		s.Zone = time.LoadLocation
	}
	if s.Memo == nil {
		s.Memo = &store.Memo{}
	}
	r := chi.NewRouter()
	r.Use(s.recovering, heads)
	if c.Static != nil {
		r.Handle("/static/*", c.Static)
		r.Handle("/sw.js", c.Static)
	}
	if c.Office != nil {
		c.Office(r)
	}
	if c.Tablet != nil {
		r.Get("/tablet", s.tablet)
		r.Post("/tablet/take", s.take)
		r.Post("/tablet/send", s.send)
		r.Post("/tablet/leave", s.leave)
		r.Get("/tablet/handover", s.handOver)
		r.Get("/tablet/unsent", s.unsent)
		r.Post("/tablet/enrol", s.enrol)
		r.Post("/job/{job}/exchange", s.page(s.keepInTouch))
		r.Get("/job/{job}/writer", s.page(s.askWriter))
		r.Post("/job/{job}/writer", s.page(s.saveWriter))
	}
	r.Route("/job/{job}", func(r chi.Router) {
		r.Get("/", s.page(s.now))
		r.Get("/entries", s.page(s.entries))
		r.Get("/write", s.page(s.kinds, daylog.Crew))
		r.Get("/write/{kind}", s.page(s.askEntry, daylog.Crew))
		r.Post("/write/{kind}", s.page(s.saveEntry, daylog.Crew))
		r.Get("/run", s.page(s.askRun, daylog.Crew))
		r.Post("/run", s.page(s.saveRun, daylog.Crew))
		r.Get("/several/{set}", s.page(s.askSeveral, daylog.Crew))
		r.Post("/several/{set}", s.page(s.saveSeveralOf, daylog.Crew))
		r.Get("/leaving", s.page(s.leaving))
		r.Get("/aside", s.page(s.askAside, daylog.Crew))
		r.Post("/aside", s.page(s.saveAside, daylog.Crew))
		r.Get("/sign", s.page(s.askSign, daylog.Crew))
		r.Post("/sign", s.page(s.saveSign, daylog.Crew))
		r.Get("/entry/{id}/correct", s.page(s.askCorrection, daylog.Crew))
		r.Post("/entry/{id}/correct", s.page(s.saveCorrection, daylog.Crew))
		r.Get("/entry/{id}/strike", s.page(s.askStrike, daylog.Crew))
		r.Post("/entry/{id}/strike", s.page(s.saveStrike, daylog.Crew))
		r.Post("/asked", s.page(s.saveAsked, daylog.Crew))
		r.Post("/undo", s.page(s.undo, daylog.Crew))
	})
	r.NotFound(func(w http.ResponseWriter, r *http.Request) { s.fail(w, r, Frame{}, fs.ErrNotExist) })
	r.MethodNotAllowed(s.notAllowed)
	guard := http.NewCrossOriginProtection()
	guard.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.fail(w, r, Frame{}, problem{http.StatusForbidden, "This came from another site",
			"Nothing was saved. What is written here is only taken from the pages of this log: open the job and write it there."})
	}))
	return fenced(guard.Handler(r))
}

// policy lets a page load and send nothing but what is this site's own, and
// nobody put it into a frame.
const policy = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'"

// fenced says so in the headers of every page. The files of the build bring
// their own: the worker compiles the tablet's program.
func fenced(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !strings.HasPrefix(r.URL.Path, "/static/") && r.URL.Path != "/sw.js" {
			h := w.Header()
			h.Set("Content-Security-Policy", policy)
			h.Set("X-Content-Type-Options", "nosniff")
			h.Set("Referrer-Policy", "same-origin")
		}
		next.ServeHTTP(w, r)
	})
}

// heads answers HEAD as GET; the server leaves the body out.
func heads(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodHead {
			chi.RouteContext(r.Context()).RouteMethod = http.MethodGet
		}
		next.ServeHTTP(w, r)
	})
}

// notAllowed answers a method that an address does not have, with those it has.
func (s *site) notAllowed(w http.ResponseWriter, r *http.Request) {
	routes := chi.RouteContext(r.Context()).Routes
	for _, method := range []string{http.MethodGet, http.MethodHead, http.MethodPost} {
		asked := method
		if method == http.MethodHead {
			asked = http.MethodGet
		}
		if routes.Match(chi.NewRouteContext(), asked, r.URL.Path) {
			w.Header().Add("Allow", method)
		}
	}
	s.fail(w, r, Frame{}, problem{http.StatusMethodNotAllowed, "This cannot be done here", "The page is there, but not for this. Open it from Now."})
}

// visit is one request to one day of one job, with all that its page needs.
type visit struct {
	*site
	w   http.ResponseWriter
	r   *http.Request
	id  string // of the job
	job *daylog.Job
	day *daylog.Day
	// today is the day that a page is about if it names none.
	today     daylog.Date
	setup     *daylog.Setup // as in force today
	dayLost   bool          // the form that was sent named no day that can be read
	zone      *time.Location
	zoneKnown bool
	now       time.Time // in zone
	who       Who
	looks     [2]*checks.Situation // as at work, as at leaving
	then      string               // the page that forms lead back to: "" Now, "leaving"
}

// page makes a handler of a page's function. A page that writes says whose
// kinds of entries, and is open only to those who may write them. Whatever the
// function returns as an error becomes a page too, in one place.
func (s *site) page(do func(v *visit) error, writes ...daylog.Writer) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v := &visit{site: s, w: w, r: r, id: chi.URLParam(r, "job")}
		err := v.open(writes)
		if err == nil {
			err = do(v)
		}
		if err != nil {
			s.fail(w, r, v.frame("", ""), err)
		}
	}
}

// longestForm is more than any form of ours holds, typed by anybody.
const longestForm = 1 << 20

// open reads the job and settles which day the page is about: the one it
// names; else the newest day that was started and not signed, until 04:00 of
// the next morning; else today. It is fs.ErrPermission for whoever may not have
// the page, whether there is such a job or not.
func (v *visit) open(writes []daylog.Writer) error {
	v.r.Body = http.MaxBytesReader(v.w, v.r.Body, longestForm)
	if err := v.r.ParseForm(); err != nil {
		var long *http.MaxBytesError
		if errors.As(err, &long) {
			return problem{http.StatusRequestEntityTooLarge, "This is too much for one form", "Nothing was saved. Go back: what you wrote is still there. Shorten it, or write it in several entries."}
		}
		return badRequest("The form did not arrive whole. Go back and save it again.")
	}
	readable(v.r.Form)
	readable(v.r.PostForm)
	if v.r.Form.Get("then") == "leaving" {
		v.then = "leaving"
	}
	now := v.Now().UTC().Truncate(time.Second)
	if v.Skew != nil {
		now = now.Add(time.Duration(v.Skew()) * time.Second)
	}
	named := daylog.Date("")
	if text := v.r.Form.Get("day"); text != "" {
		date, err := daylog.ParseDate(text)
		switch known := err == nil && date >= firstDay && date <= lastDay; {
		case known:
			named = date
		case v.r.Method == http.MethodPost:
			v.dayLost = true // what was typed comes back
		default:
			return badRequest("The day in the address cannot be read.")
		}
	}
	from := named
	if named == "" || named > daylog.DateOf(now).Add(-1) {
		from = daylog.DateOf(now).Add(-1) // in any zone, yesterday or before
	}
	job, err := v.Memo.Fold(v.r.Context(), v.Log, v.id, from)
	if errors.Is(err, fs.ErrNotExist) && v.Tablet != nil {
		if err := v.Tablet.Gone(v.r.Context()); err != nil {
			return err
		}
		return leading{problem{http.StatusGone, "This tablet has lost the job",
			"The browser has cleared what it kept here. What the office has is safe; what was not sent is gone from this tablet. What you typed last is not saved: go back, it should still be in the form. With signal, take the job on board again."},
			Action{Label: "To the job", URL: v.url("")}}
	}
	if errors.Is(err, fs.ErrNotExist) && !v.Who(v.r, new(daylog.Setup)).may(writes...) {
		return fmt.Errorf("job %s: %w", v.id, fs.ErrPermission)
	}
	if err != nil {
		return err
	}
	v.job = job
	d := job.On(daylog.DateOf(now))
	v.zone, v.zoneKnown = v.zoneOf(d.Setup.Zone)
	v.now = now.In(v.zone)
	v.today = daylog.DateOf(v.now)
	if before := v.today.Add(-1); v.now.Hour() < nightEnds && stillOpen(job.On(before)) {
		v.today = before
	}
	if d.Date != v.today {
		d = job.On(v.today)
	}
	v.setup, v.day = d.Setup, d
	if named != "" && named != v.today {
		v.day = job.On(named)
	}
	if v.who = v.Who(v.r, v.setup); !v.who.may(writes...) {
		if !v.who.Reads {
			v.job = nil // the page that says so does not name it
		}
		return fmt.Errorf("job %s: %w", v.id, fs.ErrPermission)
	}
	return nil
}

// readable puts a mark in the place of bytes that are no text.
func readable(form url.Values) {
	for _, texts := range form {
		for i, text := range texts {
			texts[i] = strings.ToValidUTF8(text, "\uFFFD")
		}
	}
}

func stillOpen(d *daylog.Day) bool { return !d.Started.IsZero() && !d.Signed() }

// zoneOf gives the job's time zone; UTC, and false, while none is set that
// exists.
func (s *site) zoneOf(name string) (zone *time.Location, known bool) {
	zone, err := s.Zone(name)
	if err != nil || name == "" {
		return time.UTC, false
	}
	return zone, true
}

// person is somebody's name, as of the page's day or, for who came later, of
// today.
func (v *visit) person(id string) string {
	if p, ok := v.day.Setup.Person(id); ok {
		return p.Name
	}
	return v.setup.PersonName(id)
}

// url is an address within the job.
func (v *visit) url(path string) string { return "/job/" + url.PathEscape(v.id) + "/" + path }

// clock prints an instant as the job's clock shows it.
func (v *visit) clock(t time.Time) string { return t.In(v.zone).Format("15:04") }

// frame is what surrounds a page of the job; current names its place in the
// navigation.
func (v *visit) frame(title, current string) Frame {
	if v.job == nil {
		return Frame{Title: title}
	}
	set := v.day.Setup
	f := Frame{
		Title: title, Job: set.Title(), JobURL: v.url(v.dayQuery("?")), Invented: set.Invented,
		Nav: []NavLink{
			{Label: "Now", URL: v.url(v.dayQuery("?"))},
			{Label: "Entries", URL: v.url("entries" + v.dayQuery("?"))},
			{Label: "Leaving", URL: v.url("leaving" + v.dayQuery("?"))},
		},
	}
	if v.Office != nil {
		f.Nav = append(f.Nav, NavLink{Label: "Days", URL: "/job/" + url.PathEscape(v.id) + "/days"})
	}
	if v.Office != nil && v.who.may(daylog.Office) {
		f.Nav = append(f.Nav, NavLink{Label: "Set-up", URL: "/job/" + url.PathEscape(v.id) + "/setup"})
	}
	if v.Office != nil {
		f.Nav = append(f.Nav, NavLink{Label: "Jobs", URL: "/"})
	}
	if len(v.who.Writes) > 0 {
		f.Writer = v.who.Name
	}
	if v.State != nil {
		f.Saved = v.State(v.r.Context(), v.id, v.day, v.zone)
	}
	if v.Skew != nil {
		f.SkewMillis = int64(v.Skew()) * 1000
	}
	if v.Tablet != nil {
		f.Nav = append(f.Nav, NavLink{Label: "This tablet", URL: "/tablet"})
		f.Exchange = v.url("exchange")
		f.WriterURL = v.url("writer" + v.dayQuery("?"))
		if f.Writer == "" {
			f.Writer = "nobody yet"
		}
	}
	f.Aboard = v.Aboard || v.Tablet != nil
	if v.Aboard {
		f.TakeAboard = v.id
	}
	for i := range f.Nav {
		f.Nav[i].Current = f.Nav[i].Label == current
	}
	return f
}

// show renders a page whole before its first byte is sent.
func (v *visit) show(status int, c templ.Component) error {
	var page bytes.Buffer
	if err := c.Render(v.r.Context(), &page); err != nil {
		return err
	}
	send(v.w, status, page.Bytes())
	return nil
}

func send(w http.ResponseWriter, status int, page []byte) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	keep := "no-store"
	if status == http.StatusUnprocessableEntity {
		// Back leads to a form that came back only if the browser kept it: it
		// does not send a form again by itself.
		keep = "private, no-cache"
	}
	w.Header().Set("Cache-Control", keep)
	w.WriteHeader(status)
	w.Write(page)
}

// leave sends the browser on after something was saved.
func (v *visit) leave(url string) error {
	v.w.Header().Set("Cache-Control", "no-store")
	http.Redirect(v.w, v.r, url, http.StatusSeeOther)
	return nil
}

// problem is an error that the person at the screen can do something about.
type problem struct {
	status int
	title  string
	say    string
}

func (p problem) Error() string { return p.title + ": " + p.say }

// leading is a problem with a way on.
type leading struct {
	problem
	to Action
}

func (l leading) Unwrap() error { return l.problem }

func badRequest(say string) error {
	return problem{http.StatusBadRequest, "This could not be read", say}
}

// fail answers with the page for an error: the one table from errors to
// statuses.
func (s *site) fail(w http.ResponseWriter, r *http.Request, f Frame, err error) {
	var p problem
	status := http.StatusInternalServerError
	switch {
	case errors.As(err, &p):
		status = p.status
	case errors.Is(err, fs.ErrNotExist):
		status = http.StatusNotFound
	case errors.Is(err, fs.ErrPermission):
		status = http.StatusForbidden
	case errors.Is(err, store.ErrFull):
		status = http.StatusInsufficientStorage
		s.Logf("%s %s: %v", r.Method, r.URL.Path, err)
	default:
		s.Logf("%s %s: %v", r.Method, r.URL.Path, err)
	}
	t := TroubleFor(status)
	if p.say != "" {
		t = Trouble{Title: p.title, Say: p.say}
	}
	if f.JobURL != "" {
		t.Do = Action{Label: "To Now", URL: f.JobURL}
	}
	if l := (leading{}); errors.As(err, &l) {
		t.Do = l.to
	}
	f.Title = t.Title
	var page bytes.Buffer
	if err := ErrorPage(f, t).Render(r.Context(), &page); err != nil {
		s.Logf("%s %s: error page: %v", r.Method, r.URL.Path, err)
	}
	send(w, status, page.Bytes())
}

// recovering turns a panic into a page; the next request is none the wiser.
func (s *site) recovering(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			if p := recover(); p != nil {
				if p == http.ErrAbortHandler {
					panic(p)
				}
				s.fail(w, r, Frame{}, fmt.Errorf("panic: %v\n%s", p, debug.Stack()))
			}
		}()
		next.ServeHTTP(w, r)
	})
}
