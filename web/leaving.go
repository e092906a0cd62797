package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"duskline/internal/checks"
	"duskline/internal/daylog"
)

// LeavingView is everything that is open before the crew may go, and last the
// signature.
type LeavingView struct {
	Frame  Frame
	Title  string
	Saved  Saved
	Signed Signature // once the day is signed; then there is nothing else
	Leaves []Fact    // who leaves when
	Change Action
	Stay   string // while some leave and others stay; may be empty
	Held   []string
	Open   []OpenPlace
	Quiet  string // said when nothing is open
	Asides []Aside
	Wait   string   // why there is no signature yet; empty: there is
	Let    Action   // lets all stand that holds the signature up
	Stood  []string // what the signature freezes
	Sign   Form
}

// OpenPlace is what is open at one place.
type OpenPlace struct {
	Place    string
	Warnings []Warning
	Owed     []Owed
}

// leaving is GET /job/{job}/leaving: what is open before the crew may go, each
// with what closes it. While it is looked at, what must be done before leaving
// is judged already.
func (s *site) leaving(v *visit) error { return v.showLeaving(http.StatusOK, "", nil) }

// savedURL is where a form leads once it is saved.
func (v *visit) savedURL(form string) string {
	return v.url(v.then + "?saved=" + form + v.dayQuery("&"))
}

// back is the way back from a form.
func (v *visit) back() Action {
	if v.then != "" {
		return Action{Label: "Back to Leaving", URL: v.url(v.then + v.dayQuery("?"))}
	}
	return Action{Label: "Back to Now", URL: v.url(v.dayQuery("?"))}
}

// showLeaving shows the page; wrong and more say why the day was not signed.
func (v *visit) showLeaving(status int, wrong string, more []string) error {
	v.then = "leaving"
	view := LeavingView{Frame: v.frame("Leaving", "Leaving"), Title: "Leaving", Signed: v.signed()}
	view.Frame.Clocks = true
	view.Saved = v.saved()
	if v.day.Date != v.today {
		view.Title += ", " + v.dayWords(v.day.Date)
	}
	if v.day.Signed() {
		return v.show(status, LeavingPage(view))
	}
	sit := v.situation(true)
	found := checks.Run(sit)
	calls := checks.Calls(sit)
	view.Leaves = v.leaves(calls)
	view.Change = v.crew(Action{Label: "Change", About: "when people leave", URL: v.write("leaving", nil)})
	view.Held = heldWords(sit)
	some := sit.At&checks.ToolsDown == 0
	if some {
		view.Stay = "Some leave now, others stay: what must be done before leaving is asked of those who leave last, at " + v.clock(calls.Leaving) + "."
	}
	view.Open = v.openPlaces(sit, found)
	if len(view.Open) == 0 {
		view.Quiet = "Nothing is open."
	}
	view.Asides = v.asides(sit)
	stood := checks.Stood(sit)
	view.Stood = v.stoodWords(stood)
	n := holding(found)
	switch {
	case v.who.Person == "" || !v.who.may(daylog.Crew):
		view.Wait = "The foreman signs the day."
	case len(more)+len(wrong) > 0: // it was tried: what was typed comes back
	case n > 0:
		view.Wait = "The day can be signed once all of this is settled, or somebody has said why it may stand: " + daylog.Count(n, "thing is", "things are") + " left."
	case some:
		view.Wait = "The day is signed when the last people leave."
	}
	var keys []string
	for _, f := range found {
		if f.Holds() && f.Check.Severity != checks.People {
			keys = append(keys, f.Key)
		}
	}
	if len(keys) > 1 {
		view.Let = v.crew(Action{Label: "Let all of it stand", Note: "with one reason", URL: v.query("aside", url.Values{"key": keys})})
	}
	if view.Wait == "" {
		view.Asides = nil // they are among what is frozen
		var err error
		if view.Sign, err = v.signStep(stood, wrong, more); err != nil {
			return err
		}
		if len(view.Sign.faults()) > 0 {
			view.Frame.Title = "Not saved: " + view.Frame.Title
		}
	}
	return v.show(status, LeavingPage(view))
}

// holding counts what holds up the signature.
func holding(found []checks.Finding) int {
	n := 0
	for _, f := range found {
		if f.Holds() {
			n++
		}
	}
	return n
}

// leaves says who leaves when, those first who leave first.
func (v *visit) leaves(calls checks.LastCalls) []Fact {
	if calls.Leaving.IsZero() {
		return []Fact{{"Off the roof", "nobody has said when"}}
	}
	at := map[time.Time][]string{}
	for id, t := range v.day.Leaves {
		at[t] = append(at[t], id)
	}
	if len(at) == 0 {
		at[calls.Leaving] = []string{""}
	}
	var all []Fact
	for t, ids := range at {
		who := "everybody"
		if len(v.day.Leaves) > 1 {
			var names []string
			for _, id := range ids {
				if id != "" {
					names = append(names, v.person(id))
				}
			}
			slices.Sort(names)
			if slices.Contains(ids, "") {
				names = append(names, "everybody else")
			}
			who = daylog.List(names)
		}
		if t.Equal(calls.Leaving) {
			who += ", tools down " + v.clock(calls.ToolsDown)
		}
		all = append(all, Fact{"Off the roof " + v.clock(t), who})
	}
	for i := range all { // few: a sort of their own would be 5 KB of the program
		for j := i; j > 0 && all[j].Term < all[j-1].Term; j-- {
			all[j], all[j-1] = all[j-1], all[j]
		}
	}
	return all
}

// heldWords says of which places nothing is said, and why.
func heldWords(sit *checks.Situation) []string {
	var all []string
	for _, h := range sit.HeldBack() {
		all = append(all, "Nothing is said of what may be missing at "+strings.Join(h.Places, ", ")+": "+h.Words+".")
	}
	return all
}

// openPlaces puts findings that nobody has settled and what is owed besides into
// the page's words, place by place.
func (v *visit) openPlaces(sit *checks.Situation, found []checks.Finding) []OpenPlace {
	var all []OpenPlace
	for _, o := range checks.ByPlace(sit, found, checks.OwedNow(sit)) {
		// What was let stand is not owed either.
		o.Found = slices.DeleteFunc(o.Found, checks.Finding.Settled)
		if len(o.Found)+len(o.Owed) > 0 {
			all = append(all, v.openPlace(o))
		}
	}
	return all
}

func (v *visit) openPlace(o checks.Open) OpenPlace {
	place := OpenPlace{Place: o.Place}
	for _, f := range o.Found {
		w := v.warning(f)
		if w.SetAside.Label == "Set aside" {
			w.SetAside.Label = "Let it stand"
		}
		place.Warnings = append(place.Warnings, w)
	}
	for _, row := range o.Owed {
		place.Owed = append(place.Owed, v.owed(row))
	}
	return place
}
