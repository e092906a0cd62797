package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
)

// undoForm is what the button on a page would send.
func (s *tried) undoForm(path string) url.Values {
	s.t.Helper()
	page := s.get(path).Body.String()
	_, part, found := strings.Cut(page, `action="/job/hall/undo"`)
	if !found {
		return nil
	}
	part, _, _ = strings.Cut(part, "</form>")
	return formIn("<form" + part + "</form>")
}

// For a minute what was saved can be undone: a strike for which no reason is
// asked, marked as a slip.
func TestUndo(t *testing.T) {
	s := midMorning(t)
	form := s.goodForm("note")
	form.Set("text", "gate\r\nlocked")
	next := s.post("/job/hall/write/note", form).Header().Get("Location")
	undo := s.undoForm(next)
	if undo == nil {
		t.Fatal("Now does not offer to undo it")
	}
	before := s.count()
	s.now = s.now.Add(59 * time.Second)
	for range 2 { // sent twice, it is written once
		w := s.post("/job/hall/undo", undo)
		if w.Code != http.StatusSeeOther || s.count() != before+1 {
			t.Fatalf("%d, %d written\n%s", w.Code, s.count()-before, w.Body)
		}
		next = w.Header().Get("Location")
	}
	if got, ok := s.last().Body.(*daylog.Strike); !ok || !got.Slip || s.last().Why != "" {
		t.Errorf("wrote %s", s.last().Raw())
	}
	if got := s.read(next); !strings.Contains(got, "Undone. 10:12 gate locked") {
		t.Errorf("Now says %s", got)
	}
	if s.undoForm(next) != nil {
		t.Error("an undoing can be undone")
	}
	if got := s.row("gate"); !strings.Contains(got, "Struck: a slip, undone at once Ada Invented, 10:12") {
		t.Errorf("Entries reads %q", got)
	}
	undo.Set("form", newID(8))
	if w := s.post("/job/hall/undo", undo); w.Code != http.StatusConflict || !strings.Contains(w.Body.String(), "nothing to undo") {
		t.Errorf("undone twice: %d", w.Code)
	}
}

// All that one form wrote is undone together.
func TestUndoIsWhole(t *testing.T) {
	s := midMorning(t)
	form := s.formOn("/job/hall/run?seam=2|3&from=60&to=100")
	for _, step := range []string{"priming", "test", "tape"} {
		form.Set("did."+step, "on")
		form.Set(step+".at", "now")
	}
	w := s.post("/job/hall/run", form)
	before := s.count()
	undo := s.undoForm(w.Header().Get("Location"))
	if undo == nil {
		t.Fatalf("%d, and no way back", w.Code)
	}
	if w := s.post("/job/hall/undo", undo); w.Code != http.StatusSeeOther || s.count() != before+3 {
		t.Fatalf("%d, %d written\n%s", w.Code, s.count()-before, w.Body)
	}
	if got := s.row("10:12"); strings.Count(got, "Struck: a slip") != 3 {
		t.Errorf("Entries reads %q", got)
	}
	if seam := s.today().Roof.Seam("2|3"); len(seam.Open(daylog.Part{From: 720, To: 1200})) != 1 {
		t.Error("the run is not open again")
	}
}

// After the minute it is refused kindly, with the way to the ordinary strike.
func TestUndoTooLate(t *testing.T) {
	s := midMorning(t)
	next := s.post("/job/hall/write/weather", s.goodForm("weather")).Header().Get("Location")
	undo := s.undoForm(next)
	before := s.count()
	s.now = s.now.Add(61 * time.Second)
	if s.undoForm(next) != nil {
		t.Error("Now still offers to undo it")
	}
	w := s.post("/job/hall/undo", undo)
	page := w.Body.String()
	if w.Code != http.StatusConflict || s.count() != before || !strings.Contains(page, "The minute for undoing is over") {
		t.Errorf("%d\n%s", w.Code, page)
	}
	path := "/job/hall/entry/" + undo.Get("of") + "/strike"
	if !strings.Contains(page, `href="`+path+`"`) || s.get(path).Code != http.StatusOK {
		t.Errorf("no way to the strike: %s", page)
	}
	for _, of := range []string{"", "-", newID(3), "<b>"} {
		undo.Set("of", of)
		if w := s.post("/job/hall/undo", undo); w.Code != http.StatusConflict || s.count() != before {
			t.Errorf("undoing %q: %d", of, w.Code)
		}
	}
	undo.Set("form", "x")
	if w := s.post("/job/hall/undo", undo); w.Code != http.StatusBadRequest || s.count() != before {
		t.Errorf("without a number: %d", w.Code)
	}
}

// A correction is undone to what the line said before, a strike to the line as
// it stood; both stay readable.
func TestUndoOfCorrectionAndStrike(t *testing.T) {
	s := midMorning(t)
	s.at("10:30")
	undo := func(next string) {
		t.Helper()
		next, _, _ = strings.Cut(next, "#")
		form := s.undoForm(next)
		if form == nil {
			t.Fatalf("%s offers no way back: %s", next, s.read(next))
		}
		before := s.count()
		for range 2 {
			if w := s.post("/job/hall/undo", form); w.Code != http.StatusSeeOther || s.count() != before+1 {
				t.Fatalf("%d, %d written\n%s", w.Code, s.count()-before, w.Body)
			}
		}
		if got := s.read("/job/hall/?undone=" + form.Get("of")); !strings.Contains(got, "Undone.") {
			t.Errorf("Now says %s", got)
		}
	}
	path := s.action("closed", "correct")
	form := s.formOn(path)
	form.Set("laps.0.at", "42")
	form.Set("why", "misread")
	undo(s.post(path, form).Header().Get("Location"))
	if got := s.row("closed"); !strings.Contains(got, "09:10 Run 2|3, 0 to 60 ft closed, end lap at 41 ft") || !strings.Contains(got, "a slip, undone at once") {
		t.Errorf("it reads %q", got)
	}
	path = s.action("closed", "strike")
	form = s.formOn(path)
	form.Set("why", "wrong run")
	undo(s.post(path, form).Header().Get("Location"))
	if got := s.row("closed"); strings.Contains(got, "Struck:") || !strings.Contains(got, "09:10 Run 2|3, 0 to 60 ft closed, end lap at 41 ft") {
		t.Errorf("it reads %q", got)
	}
	if e := s.last(); e.About != 0 || e.At.In(s.zone).Format("15:04") != "09:10" {
		t.Errorf("its time became %s, about %d", e.At, e.About)
	}
}
