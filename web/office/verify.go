package office

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"duskline/internal/archive"
	"duskline/internal/daylog"
	"duskline/internal/proof"
	"duskline/internal/signin"
	"duskline/web"
)

// Record is the log that the record of jobs is in.
type Record interface {
	proof.Log
	archive.Walker
}

// VerifyView is the answer to a check code, and the form for one.
type VerifyView struct {
	Frame web.Frame
	Form  web.Form
	// Title says what is known of the code, Says what that means.
	Title, Says string
	Amiss       bool // somebody has to look into it
	Facts       []web.Fact
}

func (p *pages) recordRoutes(r chi.Router) {
	r.Get("/verify", p.page(p.verify))
	r.Get("/verify/how", p.page(p.verifyHow))
	r.Get("/record", p.company(p.record))
	r.Post("/record/import", p.bringIn)
	r.Get("/job/{job}/archive", p.page(p.takeArchive))
}

// company makes a handler of a page that is for managers of the company, or for
// everybody where nobody signs in.
func (p *pages) company(do func(v *visit) error) http.HandlerFunc {
	return p.page(func(v *visit) error {
		if err := v.mayBegin(); err != nil {
			return err
		}
		return do(v)
	})
}

// verify is GET /verify?code=CODE: whether the record of a printed code is
// unchanged. It is open to whoever holds the paper. The code cannot be guessed,
// but working one out costs the server something, so tries are counted.
func (p *pages) verify(v *visit) error {
	typed := strings.TrimSpace(v.r.Form.Get("code"))
	view := VerifyView{Frame: v.frame("Check a printed code", "")}
	field := web.Field{Name: "code", Kind: web.FieldText, Label: "Check code", Value: typed, Needed: true, Help: "20 letters and digits in four groups, as they stand on the day summary. Capitals or not, with or without dashes."}
	view.Form = web.Form{URL: "/verify", Submit: "Check it"}
	status := http.StatusOK
	show := func() error {
		view.Form.Groups = []web.FieldGroup{{Fields: []web.Field{field}}}
		return v.show(status, VerifyPage(view))
	}
	if typed == "" {
		return show()
	}
	if proof.Parse(typed) == "" {
		status, field.Error = http.StatusUnprocessableEntity, "This is not a check code. It has 20 letters and digits from 2 to 7; look whether one is missing."
		return show()
	}
	counted := v.Accounts != nil && v.who.ID == ""
	if counted {
		var wait signin.TooMany
		if err := v.Accounts.Try(v.r); errors.As(err, &wait) {
			left := wait.Next.Sub(v.Now())
			v.w.Header().Set("Retry-After", fmt.Sprint(int(left/time.Second)+1))
			status, field.Error = http.StatusTooManyRequests, "There were too many tries. The next one is possible in "+minutes(left)+"."
			return show()
		} else if err != nil {
			return err
		}
	}
	a, err := proof.Ask(v.r.Context(), p.Record, typed)
	if err != nil {
		return err
	}
	if a.Standing != proof.Unknown && counted {
		v.Accounts.GiveBack(v.r)
	}
	field.Value = a.Code
	fact := func(name, text string) { view.Facts = append(view.Facts, web.Fact{Term: name, Value: text}) }
	switch a.Standing {
	case proof.Unchanged:
		view.Title = "Unchanged"
		view.Says = "The record that this code was printed from is held here byte for byte, and nothing later changes it."
	case proof.Superseded:
		view.Title = fmt.Sprintf("Superseded by revision %d", a.Latest)
		view.Says = "The record that this code was printed from is held here byte for byte. Entries were written, corrected or struck since: ask for the later summary."
	case proof.Lost:
		view.Title, view.Amiss = "Not what was written down", true
		view.Says = "A day here had this code, and what is held of it now makes another. The office has to look into it: the check of the whole record names the entry."
	default:
		status = http.StatusNotFound
		view.Title, view.Amiss = "Unknown", true
		view.Says = "No signed day here has this code. Look whether it was typed as it is printed. A paper with a code that is not known was not printed from what is held here."
		return show()
	}
	fact("Job", a.Title)
	if day, err := time.Parse(time.DateOnly, string(a.Day)); err == nil {
		fact("Day", day.Format("Monday, January 2, 2006"))
	}
	if a.Line != nil {
		zone, err := time.LoadLocation(a.Zone)
		if err != nil || a.Zone == "" {
			zone = time.UTC
		}
		fact("Revision", fmt.Sprintf("%d of %d", a.Revision, a.Latest))
		word := "Signed"
		if _, accepted := a.Line.Body.(*daylog.Accepted); accepted {
			word = "Accepted"
		}
		fact(word, a.Line.At.In(zone).Format("January 2, 2006, 15:04 MST"))
	}
	return show()
}

// verifyHow is GET /verify/how: how the record is made, in plain words.
func (p *pages) verifyHow(v *visit) error {
	return v.show(http.StatusOK, HowPage(v.frame("How the record is made", "")))
}

// RecordView is what managers do with the record as a whole.
type RecordView struct {
	Frame   web.Frame
	Notices []string
	Done    string
	Wrong   string
	Jobs    []web.Action
}

// record is GET /record: checking, taking out and bringing in.
func (p *pages) record(v *visit) error { return v.showRecord(http.StatusOK, "", "") }

func (v *visit) showRecord(status int, done, wrong string) error {
	view := RecordView{Frame: v.frame("Record", "/record"), Done: done, Wrong: wrong}
	if v.Notices != nil {
		view.Notices = v.Notices()
	}
	ids, err := v.Log.Jobs(v.r.Context())
	if err != nil {
		return err
	}
	for _, id := range ids {
		view.Jobs = append(view.Jobs, web.Action{Label: v.title(id), URL: "/job/" + url.PathEscape(id) + "/archive"})
	}
	return v.show(status, RecordPage(view))
}

// takeArchive is GET /job/{job}/archive: everything of a job in one file, for
// its managers.
func (p *pages) takeArchive(v *visit) error {
	id := chi.URLParam(v.r, "job")
	if v.Accounts != nil && !v.who.On(id).Office {
		if err := v.mayBegin(); err != nil {
			return err
		}
	}
	return v.sendArchive(id)
}

func (v *visit) sendArchive(job string) error {
	// Into a file first: what goes wrong is said, and not sent as half a file.
	f, err := os.CreateTemp("", "archive")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	defer f.Close()
	if err := archive.Write(v.r.Context(), f, v.Record, job); err != nil {
		return err
	}
	name := archive.FileName(job, v.Now())
	v.w.Header().Set("Content-Type", "application/zip")
	v.w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	v.w.Header().Set("Cache-Control", "no-store")
	http.ServeContent(v.w, v.r, name, time.Time{}, f)
	return nil
}

// bringIn is POST /record/import: takes in the archive of a job, or what a
// tablet handed over as a file. It may be larger and take longer than a form.
func (p *pages) bringIn(w http.ResponseWriter, r *http.Request) {
	v := &visit{pages: p, w: w, r: r}
	v.who, _ = signin.Asking(r)
	err := v.mayBegin()
	if err == nil {
		err = v.bringIn(r.Context())
	}
	if err != nil {
		v.fail(err)
	}
}

func (v *visit) bringIn(ctx context.Context) error {
	slow := http.NewResponseController(v.w)
	slow.SetReadDeadline(time.Now().Add(10 * time.Minute))
	slow.SetWriteDeadline(time.Now().Add(12 * time.Minute))
	v.r.Body = http.MaxBytesReader(v.w, v.r.Body, archive.MostBytes+1<<20)
	no := func(say string) error { return v.showRecord(http.StatusUnprocessableEntity, "", say) }
	parts, err := v.r.MultipartReader()
	if err != nil {
		return no("No file came. Choose one, then bring it in.")
	}
	part, err := parts.NextPart()
	if err != nil || part.FormName() != "file" || part.FileName() == "" {
		return no("No file came. Choose one, then bring it in.")
	}
	f, err := os.CreateTemp("", "import")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	defer f.Close()
	size, err := io.Copy(f, io.LimitReader(part, archive.MostBytes+1))
	if err != nil {
		return no("The file did not arrive whole. Nothing was taken in; send it again.")
	}
	if size > archive.MostBytes {
		return no(fmt.Sprintf("This file is larger than %d MB, more than the record of any job. Nothing was taken in.", archive.MostBytes>>20))
	}
	rep, err := archive.Import(ctx, v.Record, f, size, nil)
	var fault *archive.Fault
	switch {
	case errors.As(err, &fault):
		return no("Nothing was taken in: this file is not what was written down. " + fault.Error() + ".")
	case errors.Is(err, archive.ErrNotOurs) || errors.Is(err, archive.ErrUnusable):
		return no("Nothing was taken in: " + err.Error() + ".")
	case err != nil:
		return err
	}
	done := daylog.Count(rep.Entries, "entry", "entries") + " of " + v.jobTitles(rep.Jobs) + ". "
	switch {
	case rep.New == 0:
		done += "All were here already."
	case rep.New == rep.Entries:
		done += "All are new here."
	default:
		done += daylog.Count(rep.New, "is", "are") + " new here; the others were here already."
	}
	if len(rep.Forks) > 0 {
		done += " A device has gone on separately in the file and here. Both lines are kept."
	}
	return v.showRecord(http.StatusOK, done, "")
}
