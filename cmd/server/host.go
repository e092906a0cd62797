package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"duskline/internal/daylog"
	"duskline/internal/exchange"
	"duskline/internal/inbox"
	"duskline/internal/signin"
	"duskline/internal/store"
	"duskline/internal/store/sqlite"
	"duskline/static"
	"duskline/web"
	"duskline/web/office"
)

// host is what the server's site stands on.
type host struct {
	log      *sqlite.Log
	memo     *store.Memo // of folded jobs, for pages and exchange alike; nil: each has its own
	build    *static.Build
	logf     func(string, ...any)
	accounts *signin.Accounts // nil: nobody signs in, everything is open
	tablets  signin.Tablets   // where somebody does
	inbox    *inbox.Inbox     // nil: made by routes
	watch    *watch           // how the database is; nil: not looked at
}

// handler is the office's site; routes adds what only the server has.
func (h *host) handler(routes func(chi.Router)) http.Handler {
	who := h.who
	if h.accounts == nil {
		who = anybody
	}
	site := web.New(web.Config{
		Log:  h.log,
		Memo: h.memo,
		Now:  time.Now,
		Rand: rand.Reader,
		Who:  who,
		State: func(_ context.Context, _ string, d *daylog.Day, zone *time.Location) string {
			return web.SavedWords("Saved in the office", d, zone)
		},
		Logf:   h.logf,
		Static: h.build,
		Aboard: h.build.HasProgram(),
		Office: routes,
	})
	if h.accounts == nil {
		return site
	}
	return h.accounts.Guard(site, append(office.Open(), "/sw.js", "/exchange")...)
}

// routes adds the pages that only the office needs, and the exchange.
func (h *host) routes(r chi.Router) {
	if h.inbox == nil {
		h.inbox = &inbox.Inbox{Database: h.log, Log: h.log, Now: time.Now, Logf: h.logf}
	}
	office.Routes(office.Config{
		Log: h.log, Memo: h.memo, Now: time.Now, Logf: h.logf, Accounts: h.accounts,
		Record: h.log, Inbox: h.inbox, Tablets: h.tablets, Notices: h.watch.notices,
	})(r)
	tablets := &exchange.Server{
		Log: h.log, Now: time.Now, Build: h.build.ID(), Fold: exchange.FoldOf(h.log, h.memo), Logf: h.logf,
		Park: h.inbox.Park, Aside: h.inbox.Aside, Heard: h.inbox.Hear, Happened: h.inbox.Happened,
		// One writes at a time: more calls than these would only wait inside, and
		// slow down the office's pages.
		AtOnce: 8,
	}
	if h.accounts != nil {
		tablets.Admit = h.admit
	}
	r.Method(http.MethodPost, "/exchange", tablets)
}

// who tells what the account that is signed in may do on the job of a request,
// and as which of its people.
func (h *host) who(r *http.Request, s *daylog.Setup) web.Who {
	account, _ := signin.Asking(r)
	may := account.On(chi.URLParam(r, "job"))
	who := web.Who{Person: may.Person, Name: account.Name + ", " + string(may.Role), Reads: may.Reads}
	if p, ok := s.Person(may.Person); ok {
		who.Name = p.Name + ", " + string(may.Role)
	}
	if may.Crew {
		who.Writes = append(who.Writes, daylog.Crew)
	}
	if may.Office {
		who.Writes = append(who.Writes, daylog.Office)
	}
	return who
}

// anybody may do everything: as the job's foreman, or as the office while there
// is none.
func anybody(r *http.Request, s *daylog.Setup) web.Who {
	who := web.FirstForeman(r, s)
	if who.Person == "" {
		who.Person, who.Name = "office", "Office"
	}
	who.Writes = append(who.Writes, daylog.Office)
	return who
}

// admit tells who exchanges entries: a tablet by its key, with the jobs it was
// enrolled for; or a browser that has a job on board and no key, by whoever is
// signed in there, with the jobs he may read.
func (h *host) admit(r *http.Request) (exchange.Caller, error) {
	if key, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer "); ok {
		tablet, err := h.tablets.Check(r.Context(), key)
		if errors.Is(err, fs.ErrNotExist) {
			return exchange.Caller{}, errors.New("the office does not know this tablet, or has given it another key since")
		}
		if err != nil {
			h.logf("exchange: %v", err)
			return exchange.Caller{}, &exchange.Refusal{Status: http.StatusInternalServerError, Reason: "the server cannot read its tablets"}
		}
		return exchange.Caller{
			Name:   tablet.Name,
			Parked: !tablet.Revoked.IsZero(),
			Device: func(id string) error {
				if id != tablet.ID {
					return errors.New("this key was given to another tablet")
				}
				return nil
			},
			Job: func(id string) error {
				for _, job := range tablet.Jobs {
					if job == id {
						return nil
					}
				}
				return errors.New("this tablet is not for that job")
			},
		}, nil
	}
	account, ok := signin.Asking(r)
	if !ok {
		return exchange.Caller{}, errors.New("nobody is signed in on this tablet")
	}
	return exchange.Caller{
		Name: account.Name,
		Job: func(id string) error {
			if !account.On(id).Reads {
				return fmt.Errorf("%s is not on that job", account.Name)
			}
			return nil
		},
	}, nil
}
