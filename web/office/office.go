// Package office holds the pages that only the office needs. They are never
// part of a tablet's program.
package office

import (
	"bytes"
	"net/http"
	"time"

	"github.com/go-chi/chi/v5"

	"duskline/internal/daylog"
	"duskline/internal/store"
	"duskline/web"
)

// Config is what the office's host hands to these pages.
type Config struct {
	Log  store.Log
	Now  func() time.Time
	Logf func(format string, args ...any)
}

type pages struct {
	Config
	memo store.Memo
}

// Routes adds the office's pages to a site.
func Routes(c Config) func(chi.Router) {
	p := &pages{Config: c}
	return func(r chi.Router) {
		r.Get("/", p.jobs)
	}
}

// JobsView is the list of all jobs.
type JobsView struct {
	Frame web.Frame
	Jobs  []JobRow
}

// JobRow is one job: where it leads, and today in a line.
type JobRow struct {
	URL, Name, Today string
	Invented         bool
}

// jobs is GET /: every job in the data folder.
func (p *pages) jobs(w http.ResponseWriter, r *http.Request) {
	view := JobsView{Frame: web.Frame{Title: "Jobs", Job: "All jobs", JobURL: "/"}}
	ids, err := p.Log.Jobs(r.Context())
	if err == nil {
		for _, id := range ids {
			row, rowErr := p.row(r, id)
			if rowErr != nil {
				err = rowErr
				break
			}
			view.Jobs = append(view.Jobs, row)
		}
	}
	var page bytes.Buffer
	status := http.StatusOK
	if err == nil {
		err = JobsPage(view).Render(r.Context(), &page)
	}
	if err != nil {
		p.Logf("jobs: %v", err)
		status = http.StatusInternalServerError
		page.Reset()
		web.ErrorPage(view.Frame, web.TroubleFor(status)).Render(r.Context(), &page)
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	w.Write(page.Bytes())
}

func (p *pages) row(r *http.Request, id string) (JobRow, error) {
	today := daylog.DateOf(p.Now().UTC())
	job, err := p.memo.Fold(r.Context(), p.Log, id, today.Add(-1))
	if err != nil {
		return JobRow{}, err
	}
	d := job.On(today)
	row := JobRow{URL: "/job/" + id + "/", Name: d.Setup.Name, Invented: d.Setup.Invented, Today: "not started today"}
	switch {
	case d.Signed():
		row.Today = "signed today"
	case !d.Started.IsZero():
		row.Today = "under way"
	}
	return row, nil
}
