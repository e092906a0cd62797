package web

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"duskline/internal/daylog"
)

// Tablet is what the site can ask of the tablet that it runs on. Each function
// is one whole operation.
type Tablet struct {
	// Aboard gives how things stand with the jobs kept here.
	Aboard func(ctx context.Context) (Aboard, error)
	// Take fetches a job and keeps it here.
	Take func(ctx context.Context, job string) error
	// Exchange sends what the office lacks and fetches what is missing here.
	Exchange func(ctx context.Context) error
}

// Aboard is how things stand on a tablet, in facts.
type Aboard struct {
	Device string
	Build  string
	Jobs   []string
	Unsent int
	Oldest time.Time // the oldest unsent entry was written; zero: none
	Heard  time.Time // the last exchange after which nothing was missing; zero: never
	Skew   int       // seconds this tablet's clock is behind the office's
	// Trouble says what somebody has to know, in words.
	Trouble []string
}

// TabletView is the page of the tablet itself.
type TabletView struct {
	Frame Frame
	Jobs  []Action
	Facts []Fact
	Said  string // what the last tap did
	Wrong string
}

// tablet is GET /tablet: the jobs on board and what is not sent yet.
func (s *site) tablet(w http.ResponseWriter, r *http.Request) {
	s.showTablet(w, r, http.StatusOK, "", "")
}

func (s *site) showTablet(w http.ResponseWriter, r *http.Request, status int, said, wrong string) {
	view := TabletView{Frame: Frame{Title: "This tablet", Job: "This tablet", JobURL: "/tablet"}, Said: said, Wrong: wrong}
	a, err := s.Tablet.Aboard(r.Context())
	if err != nil {
		s.fail(w, r, view.Frame, err)
		return
	}
	now := s.Now()
	for _, id := range a.Jobs {
		job, err := s.Memo.Fold(r.Context(), s.Log, id, daylog.DateOf(now.UTC()).Add(-1))
		if err != nil {
			s.fail(w, r, view.Frame, err)
			return
		}
		view.Jobs = append(view.Jobs, Action{Label: job.On(daylog.DateOf(now.UTC())).Setup.Title(), Note: "answers from this tablet", URL: "/job/" + id + "/"})
	}
	view.Facts = []Fact{
		{"Not sent yet", unsentWords(a, now)},
		{"Last exchange with the office", agoWords(a.Heard, now)},
		{"This tablet's clock", skewWords(a.Skew)},
		{"Name of this storage", a.Device},
		{"Program", a.Build},
	}
	for _, words := range a.Trouble {
		view.Facts = append(view.Facts, Fact{"Look into", words})
	}
	v := visit{site: s, w: w, r: r}
	if err := v.show(status, TabletPage(view)); err != nil {
		s.fail(w, r, view.Frame, err)
	}
}

// take is POST /tablet/take: fetches the job named and goes to it.
func (s *site) take(w http.ResponseWriter, r *http.Request) {
	// PostFormValue would read files too, and bring all that into the tablet.
	r.ParseForm() // what cannot be read names no job
	id := r.PostForm.Get("job")
	if id == "" {
		s.showTablet(w, r, http.StatusUnprocessableEntity, "", "No job was named. Open the job and take it on board from there.")
		return
	}
	if err := s.Tablet.Take(r.Context(), id); err != nil {
		s.Logf("take %s on board: %v", id, err)
		s.showTablet(w, r, http.StatusBadGateway, "", "The job could not be fetched. Nothing has changed; try again where the signal is better.")
		return
	}
	http.Redirect(w, r, "/job/"+id+"/", http.StatusSeeOther)
}

// send is POST /tablet/send: exchanges with the office now.
func (s *site) send(w http.ResponseWriter, r *http.Request) {
	if err := s.Tablet.Exchange(r.Context()); err != nil {
		s.Logf("exchange: %v", err)
		s.showTablet(w, r, http.StatusOK, "", "The office did not answer. All that was saved is still on this tablet.")
		return
	}
	s.showTablet(w, r, http.StatusOK, "The office has all that this tablet has.", "")
}

// keepInTouch is POST /job/{job}/exchange: exchanges with the office and answers
// with the page's status line as it is then. A page asks for it by itself.
func (s *site) keepInTouch(v *visit) error {
	status := http.StatusOK
	if err := s.Tablet.Exchange(v.r.Context()); err != nil {
		status = http.StatusServiceUnavailable // no signal is nothing to report
	}
	v.w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	v.w.Header().Set("Cache-Control", "no-store")
	v.w.WriteHeader(status)
	_, err := v.w.Write([]byte(s.State(v.r.Context(), v.id, v.day, v.zone)))
	return err
}

func unsentWords(a Aboard, now time.Time) string {
	switch {
	case a.Unsent == 0:
		return "nothing"
	case a.Oldest.IsZero():
		return fmt.Sprintf("%d entries", a.Unsent)
	}
	return fmt.Sprintf("%d entries, the oldest written %s", a.Unsent, agoWords(a.Oldest, now))
}

// agoWords says how long ago something was, as roughly as it matters.
func agoWords(t, now time.Time) string {
	ago := now.Sub(t)
	switch {
	case t.IsZero():
		return "never"
	case ago < 90*time.Second:
		return "just now"
	case ago < 90*time.Minute:
		return fmt.Sprintf("%d min ago", int(ago.Minutes()+0.5))
	case ago < 36*time.Hour:
		return fmt.Sprintf("%d h ago", int(ago.Hours()+0.5))
	}
	return fmt.Sprintf("%d days ago", int(ago.Hours()/24+0.5))
}

func skewWords(seconds int) string {
	switch {
	case seconds > 1:
		return fmt.Sprintf("%d s behind the office's; entries are corrected for it", seconds)
	case seconds < -1:
		return fmt.Sprintf("%d s ahead of the office's; entries are corrected for it", -seconds)
	}
	return "as the office's"
}

// TabletWords is the status line of a job on a tablet: "Saved here 10:51 · 14
// not sent, oldest 7:40".
func TabletWords(a Aboard, d *daylog.Day, zone *time.Location) string {
	words := SavedWords("Saved here", d, zone)
	if a.Unsent > 0 {
		words += fmt.Sprintf(" · %d not sent", a.Unsent)
		if !a.Oldest.IsZero() {
			words += ", oldest " + a.Oldest.In(zone).Format("15:04")
		}
	}
	if a.Heard.IsZero() {
		return words + " · never sent"
	}
	return words + " · office heard " + a.Heard.In(zone).Format("15:04")
}
