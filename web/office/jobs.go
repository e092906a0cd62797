package office

import (
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/web"
)

// JobsView is the list of all jobs.
type JobsView struct {
	Frame web.Frame
	Jobs  []JobRow
	Empty web.Empty
	// Notices are what has to be known of the server.
	Notices []string
	New     web.Action // where a job begins; no label: nowhere
}

// JobRow is one job: where it leads, and how its roof stands.
type JobRow struct {
	URL, Name, Today string
	Days             string // its list of days
	Line             *web.DayLine
	Stands           []JobStanding
	Invented         bool
}

// JobStanding is one thing about a roof as it stands.
type JobStanding struct {
	Words string
	Now   bool // somebody has to do something about it
	URL   string
}

// jobs is GET /: every job that whoever asks may read.
func (p *pages) jobs(v *visit) error {
	view := JobsView{Frame: v.frame("Jobs", "/"), Empty: web.Empty{Say: "There is no job in this data folder yet."}}
	if v.mayBegin() == nil {
		view.New = web.Action{Label: "New job", URL: "/jobs/new"}
	}
	if p.Notices != nil && (p.Accounts == nil || v.who.Manages()) {
		view.Notices = p.Notices()
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
		reads := p.Accounts == nil || may.Reads
		row, err := v.jobRow(id, reads)
		if err != nil {
			return err
		}
		view.Jobs = append(view.Jobs, row)
	}
	return v.show(http.StatusOK, JobsPage(view))
}

// jobRow puts a job into a few lines; who may not read all of it learns of
// signed days only.
func (v *visit) jobRow(id string, reads bool) (JobRow, error) {
	job, err := v.Memo.Fold(v.r.Context(), v.Log, id, "")
	if err != nil {
		return JobRow{}, err
	}
	now := v.Now().UTC()
	zone := zoneOf(job.On(daylog.DateOf(now)).Setup)
	d := job.On(daylog.DateOf(now.In(zone)))
	// Work past midnight stays with its day.
	if before := job.Before(d.Date); before != nil && !d.Worked() && !before.Signed() && before.Date == d.Date.Add(-1) && now.In(zone).Hour() < 4 {
		d = before
	}
	at := "/job/" + url.PathEscape(id) + "/"
	row := JobRow{URL: at, Days: at + "days", Name: d.Setup.Title(), Invented: d.Setup.Invented}
	if !reads {
		row.URL, row.Today = row.Days, "signed days"
		return row, nil
	}
	s := checks.Look(job, d.Date, now, zone, v.Log.Device(), false)
	row.Today, row.Line = today(s, zone, id)
	row.Stands = v.stands(job, s, zone, at)
	if v.Accounts == nil || v.who.On(id).Office {
		set := &setupVisit{visit: v, id: id, job: job, day: d}
		if n := len(set.missing()); n > 0 {
			row.Stands = []JobStanding{{Words: daylog.Count(n, "thing is", "things are") + " missing for a first day", Now: true, URL: at + "setup"}}
		}
	}
	return row, nil
}

func zoneOf(s *daylog.Setup) *time.Location {
	if zone, err := time.LoadLocation(s.Zone); err == nil {
		return zone
	}
	return time.UTC
}

// today is the day in a few words, and as a line while it is under way.
func today(s *checks.Situation, zone *time.Location, id string) (string, *web.DayLine) {
	d, calls := s.Day, checks.Calls(s)
	switch off := d.Usual().Off; {
	case d.Signed():
		return "signed today", nil
	case d.Started.IsZero() && off != "":
		return "nobody is expected today: " + off, nil
	case d.Started.IsZero():
		return "not started today", nil
	case calls.Leaving.IsZero():
		return "under way", nil
	}
	begin := d.Started.At.In(zone)
	begin = time.Date(begin.Year(), begin.Month(), begin.Day(), begin.Hour(), 0, 0, 0, zone)
	stamp := func(t time.Time) web.Stamp {
		t = t.In(zone)
		minute := t.Hour()*60 + t.Minute()
		if daylog.DateOf(t) > d.Date {
			minute += 24 * 60
		}
		return web.Stamp{Minute: minute, Text: t.Format("15:04")}
	}
	line := &web.DayLine{ID: id, Start: stamp(begin), Leaving: stamp(calls.Leaving), Now: stamp(s.Now), StartInstant: begin.UnixMilli()}
	for _, c := range []struct {
		name   string
		at     time.Time
		strong bool
	}{{"last cover", calls.Cover, false}, {"tools down", calls.ToolsDown, true}, {"off the roof", calls.Leaving, true}} {
		if c.at.After(begin) {
			line.Calls = append(line.Calls, web.Call{Name: c.name, At: stamp(c.at), Strong: c.strong})
		}
	}
	return "under way since " + s.Clock(d.Started.At), line
}

// stands is what a manager wants to know of a roof: what lies bare, what is not
// treated and what of it will not be today, what is wrong, who was heard when,
// and which days wait for review.
func (v *visit) stands(job *daylog.Job, s *checks.Situation, zone *time.Location, at string) []JobStanding {
	var all []JobStanding
	add := func(now bool, words, to string) { all = append(all, JobStanding{words, now, to}) }

	var bare float64
	for _, p := range s.Roof.Panels {
		bare += s.Roof.Bare(p)
	}
	if bare > 0 {
		add(true, squareFeet(bare)+" bare", "")
	} else {
		add(false, "nothing bare", "")
	}
	open, late := 0, 0
	calls := checks.Calls(s)
	for _, o := range checks.OwedNow(s) {
		if o.Work != checks.TreatmentWork {
			continue
		}
		open += len(o.Places)
		if !calls.Treatment.IsZero() && o.Ready.After(calls.Treatment) {
			late += len(o.Places)
		}
	}
	switch words := daylog.Count(open, "edge", "edges") + " untreated"; {
	case open == 0:
		add(false, "no edge untreated", "")
	case late == 0:
		add(false, words, "")
	default:
		add(true, words+", "+strconv.Itoa(late)+" with a wait too long for today", "")
	}
	wrong, asked := 0, 0
	for _, f := range checks.Run(s) {
		switch {
		case f.Settled():
		case f.Asks:
			asked++
		default:
			wrong++
		}
	}
	if wrong > 0 {
		add(true, daylog.Count(wrong, "warning", "warnings"), at)
	}
	if asked > 0 {
		add(false, daylog.Count(asked, "question", "questions"), at)
	}
	heard := map[string]time.Time{}
	for _, d := range job.Days {
		for _, l := range d.Lines {
			if k := daylog.KindOf(l.Body); k != nil && k.Writes == daylog.Office {
				continue // no tablet wrote it
			}
			for _, e := range l.Members() {
				if e.Device != v.Log.Device() && e.Made.After(heard[e.Device]) {
					heard[e.Device] = e.Made
				}
			}
		}
	}
	const lately = 7 * 24 * time.Hour
	var words []string
	for _, device := range slices.Sorted(maps.Keys(heard)) {
		if last := heard[device].In(zone); s.Now.Sub(last) < lately {
			when := last.Format("15:04")
			if daylog.DateOf(last) != daylog.DateOf(s.Now.In(zone)) {
				when = last.Format("Mon 2 January, 15:04")
			}
			words = append(words, when)
		}
	}
	switch {
	case len(words) == 1:
		add(false, "last word from its tablet "+words[0], "")
	case len(words) > 1:
		add(false, "last word from its tablets "+daylog.List(words), "")
	case len(heard) > 0:
		add(false, "no word from a tablet for 7 days", "")
	}
	waiting, unsigned := 0, 0
	forks := web.Forks(v.r.Context(), v.Log, job.ID)
	for _, d := range job.Days {
		switch _, reviewed := d.Review(); {
		case d.Date == s.Day.Date && !d.Signed(), !d.Worked():
		case !d.Signed():
			unsigned++
		case !reviewed:
			waiting++
		default:
			if changes := d.Revisions(forks); len(changes) > 0 && changes[len(changes)-1].By == nil {
				waiting++
			}
		}
	}
	if waiting > 0 {
		add(true, daylog.Count(waiting, "day waits", "days wait")+" for review", at+"days")
	}
	if unsigned > 0 {
		add(true, daylog.Count(unsigned, "earlier day is", "earlier days are")+" not signed", at+"days")
	}
	return all
}
