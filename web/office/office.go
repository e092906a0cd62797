// Package office holds the pages that only the office needs. They are never
// part of a tablet's program.
package office

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"time"

	"github.com/a-h/templ"
	"github.com/go-chi/chi/v5"

	"duskline/internal/daylog"
	"duskline/internal/inbox"
	"duskline/internal/signin"
	"duskline/internal/store"
	"duskline/web"
)

// Config is what the office's host hands to these pages.
type Config struct {
	Log  store.Log
	Memo *store.Memo // of folded jobs, for all that the host does with them; nil: one of its own
	Now  func() time.Time
	Logf func(format string, args ...any)
	// Accounts are those of the people who sign in. Nil where nobody does: then
	// everything is open and there are no pages for it.
	Accounts *signin.Accounts
	// Record is Log again, as it proves what is in it. Nil: there are no pages
	// for that.
	Record Record
	// Inbox is what waits for the office, and Tablets who may bring it. Nil:
	// there are no pages for either.
	Inbox   *inbox.Inbox
	Tablets signin.Tablets
	// Notices are what everybody in the office has to know of the server. Nil:
	// nothing.
	Notices func() []string
}

type pages struct {
	Config
}

// Open are the paths of pages for people who are not signed in, as
// signin.Accounts.Guard takes them.
func Open() []string {
	return []string{"/sign-in", "/first", "/invite/", "/verify", "/verify/how", "/tablet", "/tablet/enrol"}
}

// Routes adds the office's pages to a site.
func Routes(c Config) func(chi.Router) {
	p := &pages{Config: c}
	if p.Memo == nil {
		p.Memo = &store.Memo{}
	}
	return func(r chi.Router) {
		r.Get("/", p.page(p.jobs))
		p.setupRoutes(r)
		p.dayRoutes(r)
		if c.Record != nil {
			p.recordRoutes(r)
		}
		if c.Accounts == nil {
			return
		}
		if c.Inbox != nil {
			p.tabletRoutes(r)
		}
		r.Get("/sign-in", p.page(p.askSignIn))
		r.Post("/sign-in", p.page(p.signIn))
		r.Post("/sign-out", p.page(p.signOut))
		r.Get("/first", p.page(p.askFirst))
		r.Post("/first", p.page(p.first))
		r.Get("/invite/{code}", p.page(p.askInvited))
		r.Post("/invite/{code}", p.page(p.invited))
		r.Get("/account", p.page(p.account))
		r.Get("/account/password", p.page(p.askPassword))
		r.Post("/account/password", p.page(p.changePassword))
		r.Get("/accounts", p.keeper(p.accounts))
		r.Get("/accounts/new", p.keeper(p.askInvite))
		r.Post("/accounts/new", p.keeper(p.invite))
		r.Get("/accounts/{id}", p.keeper(p.oneAccount))
		r.Post("/accounts/{id}/link", p.keeper(p.newLink))
		r.Post("/accounts/{id}/disable", p.keeper(p.disable))
		r.Post("/accounts/{id}/enable", p.keeper(p.enable))
		r.Get("/accounts/{id}/part", p.keeper(p.askPart))
		r.Post("/accounts/{id}/part", p.keeper(p.setPart))
	}
}

// visit is one request to a page of the office.
type visit struct {
	*pages
	w   http.ResponseWriter
	r   *http.Request
	who signin.Account // zero where nobody is signed in
}

// longestForm is more than any form of ours holds, typed by anybody.
const longestForm = 64 << 10

// page makes a handler of a page's function. Whatever it returns as an error
// becomes a page too, in one place.
func (p *pages) page(do func(v *visit) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v := &visit{pages: p, w: w, r: r}
		v.who, _ = signin.Asking(r)
		r.Body = http.MaxBytesReader(w, r.Body, longestForm)
		err := r.ParseForm()
		if err != nil {
			err = problem{http.StatusBadRequest, web.Trouble{Title: "This could not be read", Say: "The form did not arrive whole. Go back and send it again."}}
		} else {
			err = do(v)
		}
		if err != nil {
			v.fail(err)
		}
	}
}

// keeper makes a handler of a page that is for those who keep the accounts.
func (p *pages) keeper(do func(v *visit) error) http.HandlerFunc {
	return p.page(func(v *visit) error {
		if !v.who.Manages() {
			return fmt.Errorf("accounts: %w", fs.ErrPermission)
		}
		return do(v)
	})
}

// frame is what surrounds a page; current names its place in the navigation.
func (v *visit) frame(title, current string) web.Frame {
	f := web.Frame{Title: title, Job: "Roof log"}
	if v.Accounts != nil && v.who.ID == "" {
		return f
	}
	f.JobURL = "/"
	if v.Accounts == nil {
		return f
	}
	f.Nav = append(f.Nav, web.NavLink{Label: "Jobs", URL: "/"})
	if v.who.Manages() {
		if v.Inbox != nil {
			f.Nav = append(f.Nav, web.NavLink{Label: "Tablets", URL: "/tablets"})
		}
		if v.Record != nil {
			f.Nav = append(f.Nav, web.NavLink{Label: "Record", URL: "/record"})
		}
		f.Nav = append(f.Nav, web.NavLink{Label: "Accounts", URL: "/accounts"})
	}
	f.Nav = append(f.Nav, web.NavLink{Label: v.who.Name, URL: "/account"})
	for i := range f.Nav {
		f.Nav[i].Current = f.Nav[i].URL == current
	}
	return f
}

// show renders a page whole before its first byte is sent.
func (v *visit) show(status int, c templ.Component) error {
	var page bytes.Buffer
	if err := c.Render(v.r.Context(), &page); err != nil {
		return err
	}
	v.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	v.w.Header().Set("Cache-Control", "no-store")
	v.w.WriteHeader(status)
	v.w.Write(page.Bytes())
	return nil
}

// leave sends the browser on.
func (v *visit) leave(to string) error {
	v.w.Header().Set("Cache-Control", "no-store")
	http.Redirect(v.w, v.r, to, http.StatusSeeOther)
	return nil
}

// problem is an error with a page of its own.
type problem struct {
	status int
	web.Trouble
}

func (p problem) Error() string { return p.Title }

// fail answers with the page for an error.
func (v *visit) fail(err error) {
	var p problem
	switch {
	case errors.As(err, &p):
	case errors.Is(err, fs.ErrNotExist):
		p = problem{http.StatusNotFound, web.TroubleFor(http.StatusNotFound)}
	case errors.Is(err, fs.ErrPermission):
		p = problem{http.StatusForbidden, web.TroubleFor(http.StatusForbidden)}
	default:
		v.Logf("%s %s: %v", v.r.Method, v.r.URL.Path, err)
		p = problem{http.StatusInternalServerError, web.TroubleFor(http.StatusInternalServerError)}
	}
	if err := v.show(p.status, web.ErrorPage(v.frame(p.Title, ""), p.Trouble)); err != nil {
		v.Logf("%s %s: error page: %v", v.r.Method, v.r.URL.Path, err)
	}
}

// ask shows a form, with what is wrong at its fields.
func (v *visit) ask(status int, current string, f web.Form, wrong signin.Refused) error {
	said := map[string]bool{}
	for _, g := range f.Groups {
		for i := range g.Fields {
			name := g.Fields[i].Name
			g.Fields[i].Error = wrong[name]
			said[name] = true
		}
	}
	for name, say := range wrong {
		if !said[name] {
			f.Wrong = append(f.Wrong, say)
		}
	}
	return v.show(status, web.SheetPage(v.frame(f.Heading.Title, current), f))
}

// askAgain shows a form again after what the accounts said to it; other errors
// are given back.
func (v *visit) askAgain(err error, current string, f web.Form) error {
	var refused signin.Refused
	var wait signin.TooMany
	switch {
	case errors.As(err, &refused):
		return v.ask(http.StatusUnprocessableEntity, current, f, refused)
	case errors.Is(err, signin.ErrWrong):
		return v.ask(http.StatusUnprocessableEntity, current, f, signin.Refused{"": "Sign-in name and password do not fit together."})
	case errors.As(err, &wait):
		left := wait.Next.Sub(v.Now())
		v.w.Header().Set("Retry-After", fmt.Sprint(int(left/time.Second)+1))
		return v.ask(http.StatusTooManyRequests, current, f, signin.Refused{"": "There were too many tries. The next one is possible in " + minutes(left) + "."})
	}
	return err
}

func minutes(d time.Duration) string {
	if n := int((d + time.Minute - 1) / time.Minute); n > 1 {
		return fmt.Sprintf("%d minutes", n)
	}
	return "a minute"
}

// today folds a job to how it stands today, by the roof's date.
func (v *visit) today(id string) (*daylog.Day, error) {
	now := v.Now().UTC()
	job, err := v.Memo.Fold(v.r.Context(), v.Log, id, daylog.DateOf(now).Add(-1))
	if err != nil {
		return nil, err
	}
	d := job.On(daylog.DateOf(now))
	if zone, err := time.LoadLocation(d.Setup.Zone); err == nil {
		d = job.On(daylog.DateOf(now.In(zone)))
	}
	return d, nil
}
