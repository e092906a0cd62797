package web

import (
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
)

// runOf is the form of a run with its steps ticked.
func (s *tried) runOf(query string, steps ...string) url.Values {
	form := s.formOn("/job/hall/run?" + query)
	for i, step := range steps {
		form.Set("did."+step, "on")
		form.Set(step+".at", TimeOther)
		form.Set(step+".at-other", []string{"09:31", "09:43", "09:52", "10:06"}[i])
	}
	return form
}

// A whole run on one page is one entry for each step, each at its own time,
// written together.
func TestWholeRun(t *testing.T) {
	s := midMorning(t)
	before := s.count()
	form := s.runOf("seam=2|3&from=60&to=100", "priming", "test", "tape", "closed")
	form.Set("tape.laps.0.at", "71")
	form["closed.splices"] = []string{"north"}
	form.Set("closed.not across", "on")
	w := s.post("/job/hall/run", form)
	if w.Code != http.StatusSeeOther || s.count() != before+4 {
		t.Fatalf("%d, %d written\n%s", w.Code, s.count()-before, w.Body)
	}
	var said []string
	for _, l := range s.today().Lines {
		if l.Form() == form.Get("form") {
			said = append(said, l.ID[len(form.Get("form")):]+" "+l.At.In(s.zone).Format("15:04")+" "+l.Kind+" "+string(l.Raw()[strings.Index(string(l.Raw()), `"body"`):]))
		}
	}
	want := []string{
		` 09:31 priming "body":{"seam":"2|3","from":720,"to":1200}}`,
		`.1 09:43 test "body":{"seam":"2|3","from":720,"to":1200,"result":"pass"}}`,
		`.2 09:52 tape "body":{"seam":"2|3","from":720,"to":1200,"laps":[{"at":852}]}}`,
		`.3 10:06 closed "body":{"seam":"2|3","from":720,"to":1200,"splices":["north"],"not across":true}}`,
	}
	if !slices.Equal(said, want) {
		t.Errorf("written %q,\nwant %q", said, want)
	}
	if page := s.get(w.Header().Get("Location")).Body.String(); strings.Count(page, "finger test 2|3") == 0 || !strings.Contains(page, "<b>Saved.</b>") {
		t.Error("Now does not say what was saved")
	}
	// Again: the same changes nothing; a step more or less changes nothing and says so.
	if w := s.post("/job/hall/run", form); w.Code != http.StatusSeeOther || s.count() != before+4 {
		t.Errorf("sent again: %d, %d written", w.Code, s.count()-before)
	}
	for _, change := range []url.Values{{"did.test": {""}}, {"from": {"61"}}, {"tape.at-other": {"09:55"}}, {"tape.laps.0.at": {"72"}}} {
		other := maps.Clone(form)
		maps.Copy(other, change)
		if w := s.post("/job/hall/run", other); w.Code != http.StatusConflict || s.count() != before+4 {
			t.Errorf("sent again with %v: %d, %d written", change, w.Code, s.count()-before)
		}
	}
}

// The page asks which run first, and never for a step that the log has.
func TestRunKnowsWhatIsLogged(t *testing.T) {
	s := midMorning(t)
	s.fill("/job/hall/write/panel", url.Values{"panel": {"4"}})
	page := s.get("/job/hall/run").Body.String()
	for _, want := range []string{"Which run was made?", "seam=2%7C3", "seam=3%7C4", "Another run"} {
		if !strings.Contains(page, want) {
			t.Errorf("the choice of runs lacks %q", want)
		}
	}
	page = s.get("/job/hall/run?seam=2|3&from=0&to=60").Body.String()
	for _, want := range []string{"08:35, as logged", "09:10, as logged"} {
		if !strings.Contains(page, want) {
			t.Errorf("the run's page lacks %q", want)
		}
	}
	form := formIn(page)
	if !form.Has("test.at-other") || form.Has("priming.at-other") || form.Has("closed.at-other") {
		t.Errorf("asked are %v", slices.Sorted(maps.Keys(form)))
	}
	// Half of it is not all of it.
	form = s.formOn("/job/hall/run?seam=2|3&from=30&to=100")
	if !form.Has("priming.at-other") || !form.Has("closed.at-other") {
		t.Error("a step that is logged for a part is not asked for the rest")
	}
}

// What is missing or odd comes back with all that was typed, and nothing is
// written: not half a run.
func TestRunComesBackWhole(t *testing.T) {
	for _, x := range []struct {
		say    string
		change url.Values
		says   string
		keeps  bool
	}{
		{"no step", url.Values{"did.priming": {""}, "did.closed": {""}}, "Tick at least one thing that was done.", false},
		{"a step without its time", url.Values{"closed.at": {""}}, "Say when: tap one of the times.", false},
		{"a time nobody can read", url.Values{"closed.at-other": {"noon"}}, "is not a time of day", false},
		{"no seam", url.Values{"seam": {""}}, "Say which seam.", false},
		{"a seam that is not there", url.Values{"seam-other": {"8|9"}}, "Seam 8|9 is not on the plan", true},
		{"too far", url.Values{"to": {"300"}}, "Seam 2|3 is 100 ft long", true},
		{"feet nobody can read", url.Values{"from": {"sixty"}}, "sixty", true},
		{"a lap nobody can read", url.Values{"closed.laps.0.at": {"here"}}, "End lap 1: ", true},
		{"still to come", url.Values{"closed.at-other": {"14:00"}}, "14:00 is still to come", true},
		{"its number", url.Values{"form": {"x"}}, "lost its number", false},
	} {
		s := midMorning(t)
		form := s.runOf("seam=2|3&from=60&to=100", "priming", "closed")
		form.Set("priming.one face", "on")
		maps.Copy(form, x.change)
		before := s.count()
		w := s.post("/job/hall/run", form)
		page := w.Body.String()
		if w.Code != http.StatusUnprocessableEntity || s.count() != before || !strings.Contains(page, x.says) || !strings.Contains(page, "<title>Not saved: ") {
			t.Errorf("%s: %d, %d written\n%s", x.say, w.Code, s.count()-before, page)
			continue
		}
		back := formIn(page)
		for name, texts := range form {
			if name == "form" || name == "seam" && form.Get("seam-other") != "" {
				continue
			}
			if back.Get(name) != texts[0] {
				t.Errorf("%s: %s came back as %q, typed %q", x.say, name, back[name], texts)
			}
		}
		if got := strings.Contains(page, "Keep as written"); got != x.keeps {
			t.Errorf("%s: can be kept: %v", x.say, got)
		}
		if x.keeps {
			back.Set("keep", "as written")
			if w := s.post("/job/hall/run", back); w.Code != http.StatusSeeOther || s.count() != before+2 {
				t.Errorf("%s, kept: %d, %d written\n%s", x.say, w.Code, s.count()-before, w.Body)
			}
		}
	}
}

// Feet that could not be read are kept as they were written, once for each
// step.
func TestRunKeepsOddFeet(t *testing.T) {
	s := midMorning(t)
	form := s.runOf("seam=2|3&from=60&to=100", "priming", "closed")
	form.Set("from", "sixty")
	form = formIn(s.post("/job/hall/run", form).Body.String())
	form.Set("keep", "as written")
	s.post("/job/hall/run", form)
	var odd []string
	for _, l := range s.today().Lines {
		if l.Form() == form.Get("form") {
			odd = append(odd, l.Odd["from"])
		}
	}
	if !slices.Equal(odd, []string{"sixty", "sixty"}) {
		t.Errorf("kept as written: %q", odd)
	}
	shown := 0
	for _, row := range s.rows("/job/hall/entries") {
		if strings.Contains(row, "from as written: sixty") {
			shown++
		}
	}
	if shown != 2 {
		t.Errorf("Entries shows it %d times", shown)
	}
}
