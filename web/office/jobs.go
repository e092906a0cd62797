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
		if p.Accounts != nil && !v.who.On(id).Reads {
			view.Empty.Say = "No job is yours to open. Ask the office to put you on one."
			if v.who.On(id).Signed {
				view.Empty.Say = "Nothing is here to read yet. Signed days of your job will be."
			}
			continue
		}
		row, err := v.jobRow(id)
		if err != nil {
			return err
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
	row := JobRow{URL: "/job/" + id + "/", Name: d.Setup.Title(), Invented: d.Setup.Invented, Today: "not started today"}
	switch {
	case d.Signed():
		row.Today = "signed today"
	case !d.Started.IsZero():
		row.Today = "under way"
	}
	return row, nil
}
