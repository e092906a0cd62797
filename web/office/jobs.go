package office

import (
	"net/http"

	"duskline/web"
)

// JobsView is the list of all jobs.
type JobsView struct {
	Frame web.Frame
	Jobs  []JobRow
	Empty web.Empty
	New   web.Action // where a job begins; no label: nowhere
}

// JobRow is one job: where it leads, and today in a line.
type JobRow struct {
	URL, Name, Today string
	Days             string // its list of days
	Invented         bool
}

// jobs is GET /: every job that whoever asks may read.
func (p *pages) jobs(v *visit) error {
	view := JobsView{Frame: v.frame("Jobs", "/"), Empty: web.Empty{Say: "There is no job in this data folder yet."}}
	if v.mayBegin() == nil {
		view.New = web.Action{Label: "New job", URL: "/jobs/new"}
	}
	ids, err := p.Log.Jobs(v.r.Context())
	if err != nil {
		return err
	}
	for _, id := range ids {
		may := v.who.On(id)
		if p.Accounts != nil && !may.Signed {
			view.Empty.Say = "No job is yours to open. Ask the office to put you on one."
			continue
		}
		row, err := v.jobRow(id)
		if err != nil {
			return err
		}
		if p.Accounts != nil && !may.Reads {
			row.URL, row.Today = row.Days, "signed days"
		}
		view.Jobs = append(view.Jobs, row)
	}
	return v.show(http.StatusOK, JobsPage(view))
}

func (v *visit) jobRow(id string) (JobRow, error) {
	d, err := v.today(id)
	if err != nil {
		return JobRow{}, err
	}
	row := JobRow{URL: "/job/" + id + "/", Days: "/job/" + id + "/days", Name: d.Setup.Title(), Invented: d.Setup.Invented, Today: "not started today"}
	switch {
	case d.Signed():
		row.Today = "signed today"
	case !d.Started.IsZero():
		row.Today = "under way"
	}
	return row, nil
}
