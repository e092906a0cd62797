package web

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

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
	// Leave takes a job off this tablet; ErrUnsent while the office lacks
	// something of it.
	Leave func(ctx context.Context, job string) error
	// HandOver writes a file with all that is kept here, for whoever cannot send.
	HandOver func(ctx context.Context, w io.Writer) error
	// Enrol shows the office a code that it gave out, takes the jobs on board that
	// the code is for, and gives what the office calls this tablet. What the
	// office answers to a code that will not do is an EnrolRefused.
	Enrol func(ctx context.Context, code string) (name string, err error)
	// Gone is told that a job was asked for that is not kept here. It was, if the
	// browser has cleared its storage meanwhile.
	Gone func(ctx context.Context) error
	// Writes notes who of a job's people writes on this tablet.
	Writes func(ctx context.Context, job, person string) error
}

// ErrUnsent: the office has not got everything.
var ErrUnsent = errors.New("not everything is sent")

// EnrolRefused is why the office does not take a code, in a sentence.
type EnrolRefused string

func (e EnrolRefused) Error() string { return string(e) }

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
	Name    string // as the office calls it; empty: not enrolled
}

// TabletView is the page of the tablet itself.
type TabletView struct {
	Frame Frame
	Jobs  []JobAboard
	Facts []Fact
	Said  string // what the last tap did
	Wrong string
	Code  string // as typed
	Empty bool   // nothing is not sent
}

// JobAboard is a job kept on the tablet.
type JobAboard struct {
	Open   Action
	Writer Action
	Leave  Action // none where something is not sent
}

// tablet is GET /tablet: the jobs on board and what is not sent yet.
func (s *site) tablet(w http.ResponseWriter, r *http.Request) {
	said := ""
	if name := r.URL.Query().Get("enrolled"); name != "" {
		said = "The office knows this tablet as " + name + "."
	}
	s.showTablet(w, r, http.StatusOK, said, "")
}

func (s *site) showTablet(w http.ResponseWriter, r *http.Request, status int, said, wrong string) {
	view := TabletView{
		Frame: Frame{Title: "This tablet", Job: "This tablet", JobURL: "/tablet", Aboard: true},
		Said:  said, Wrong: wrong, Code: r.PostForm.Get("code") + r.URL.Query().Get("code"),
	}
	a, err := s.Tablet.Aboard(r.Context())
	if err != nil {
		s.fail(w, r, view.Frame, err)
		return
	}
	view.Empty = a.Unsent == 0
	now := s.Now()
	for _, id := range a.Jobs {
		yesterday := daylog.DateOf(now.UTC()).Add(-1) // in any zone, or before
		job, err := s.Memo.Fold(r.Context(), s.Log, id, yesterday)
		if err != nil {
			s.fail(w, r, view.Frame, err)
			return
		}
		zone, _ := s.zoneOf(job.On(daylog.DateOf(now.UTC())).Setup.Zone)
		set := job.On(daylog.DateOf(now.In(zone))).Setup
		at := "/job/" + url.PathEscape(id) + "/"
		one := JobAboard{
			Open:   Action{Label: set.Title(), Note: "answers from this tablet", URL: at},
			Writer: Action{Label: "Nobody writes yet", Note: "tap to say who writes", URL: at + "writer"},
		}
		chi.RouteContext(r.Context()).URLParams.Add("job", id)
		if who := s.Who(r, set); who.Person != "" {
			one.Writer.Label, one.Writer.Note = who.Name, "writes on this tablet; tap to change"
		}
		if a.Unsent == 0 {
			one.Leave = Action{Label: "Leave off", About: set.Title(), Note: "the office keeps it", URL: "/tablet/leave", Post: true, Hidden: []Hidden{{"job", id}}}
		}
		view.Jobs = append(view.Jobs, one)
	}
	view.Facts = []Fact{
		{"Not sent yet", unsentWords(a, now)},
		{"Last exchange with the office", agoWords(a.Heard, now)},
		{"This tablet's clock", skewWords(a.Skew)},
		{"The office calls this tablet", cmp.Or(a.Name, "nothing yet: it is not enrolled, and sends while somebody is signed in")},
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

// leave is POST /tablet/leave: takes the job named off this tablet.
func (s *site) leave(w http.ResponseWriter, r *http.Request) {
	r.ParseForm() // what cannot be read names no job
	err := s.Tablet.Leave(r.Context(), r.PostForm.Get("job"))
	switch {
	case errors.Is(err, ErrUnsent):
		s.showTablet(w, r, http.StatusConflict, "", "The job stays on board: the office has not got everything that was written here. Send it first, or hand it over as a file.")
	case err != nil:
		s.fail(w, r, Frame{Title: "This tablet", Job: "This tablet", JobURL: "/tablet"}, err)
	default:
		s.showTablet(w, r, http.StatusOK, "The job is off this tablet. The office keeps it.", "")
	}
}

// handOver is GET /tablet/handover: all that is kept here as a file.
func (s *site) handOver(w http.ResponseWriter, r *http.Request) {
	var file bytes.Buffer
	if err := s.Tablet.HandOver(r.Context(), &file); err != nil {
		s.fail(w, r, Frame{Title: "This tablet", Job: "This tablet", JobURL: "/tablet"}, err)
		return
	}
	w.Header().Set("Content-Type", "application/gzip")
	w.Header().Set("Content-Disposition", `attachment; filename="tablet-`+s.Now().UTC().Format("2006-01-02-1504")+`.entries.gz"`)
	w.Header().Set("Cache-Control", "no-store")
	w.Write(file.Bytes())
}

// unsent is GET /tablet/unsent: how many entries the office has not got. The
// worker asks before it lets anybody sign out.
func (s *site) unsent(w http.ResponseWriter, r *http.Request) {
	a, err := s.Tablet.Aboard(r.Context())
	if err != nil {
		a.Unsent = -1
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	fmt.Fprint(w, a.Unsent)
}

// enrol is POST /tablet/enrol: shows the office the code that it gave out.
func (s *site) enrol(w http.ResponseWriter, r *http.Request) {
	r.ParseForm() // what cannot be read is no code
	code := strings.TrimSpace(r.PostForm.Get("code"))
	if code == "" {
		s.showTablet(w, r, http.StatusUnprocessableEntity, "", "Type the code that the office gave you.")
		return
	}
	name, err := s.Tablet.Enrol(r.Context(), code)
	var no EnrolRefused
	switch {
	case errors.As(err, &no):
		s.showTablet(w, r, http.StatusUnprocessableEntity, "", string(no))
	case err != nil:
		s.Logf("enrol: %v", err)
		s.showTablet(w, r, http.StatusBadGateway, "", "The office did not answer. Nothing has changed; try again where the signal is better.")
	default:
		http.Redirect(w, r, "/tablet?enrolled="+url.QueryEscape(name), http.StatusSeeOther)
	}
}

// WriterView is the page on which somebody says who he is.
type WriterView struct {
	Frame  Frame
	People []Action
}

// askWriter is GET /job/{job}/writer: the job's people, to pick who writes.
func (s *site) askWriter(v *visit) error {
	view := WriterView{Frame: v.frame("Who is writing", "")}
	for _, p := range v.setup.Persons {
		if p.Gone {
			continue
		}
		view.People = append(view.People, Action{Label: p.Name, Note: p.Role, URL: v.url("writer"), Post: true, Hidden: []Hidden{{"person", p.Person}}})
	}
	return v.show(http.StatusOK, WriterPage(view))
}

// saveWriter is POST /job/{job}/writer.
func (s *site) saveWriter(v *visit) error {
	id := v.r.PostForm.Get("person")
	if p, ok := v.setup.Person(id); !ok || p.Gone {
		return badRequest("That is nobody of this job. Go back and pick somebody of the list.")
	}
	if err := s.Tablet.Writes(v.r.Context(), v.id, id); err != nil {
		return err
	}
	return v.leave(v.url(v.dayQuery("?")))
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
