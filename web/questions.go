package web

import (
	"net/http"

	"duskline/internal/checks"
	"duskline/internal/daylog"
)

// Ask is something that was probably done and not written down, with the three
// answers to it.
type Ask struct {
	Words  string
	Yes    Action
	URL    string // where no and later are sent
	Hidden []Hidden
}

// asks are what Now asks at the break, at lunch and at quitting time.
func (v *visit) asks(sit *checks.Situation) []Ask {
	if v.who.Person == "" || !v.who.may(daylog.Crew) || v.day.Date != v.today {
		return nil
	}
	var all []Ask
	for _, q := range checks.Questions(sit) {
		a := Ask{Words: q.Words, URL: v.url("asked"), Yes: v.answer(q.Answer)}
		if q.Once {
			a.Yes = v.sendNow("Yes", q.Words, q.Answer)
		}
		a.Yes.Label, a.Yes.About = "Yes", q.Words
		hidden, err := v.hidden()
		if err != nil { // Now shows what it can without
			return nil
		}
		a.Hidden = append(hidden, Hidden{"key", q.Key})
		all = append(all, a)
	}
	return all
}

// longestKey is more than any question's key.
const longestKey = 200

// saveAsked is POST /job/{job}/asked: no, or later. It is kept as an entry off
// the day's record, so that it outlives a worker that is stopped and holds on
// every tablet.
func (s *site) saveAsked(v *visit) error {
	typed := v.r.PostForm
	key, say := clean(typed.Get("key")), typed.Get("say")
	if len(v.lost()) > 0 || key == "" || len(key) > longestKey || say != "no" && say != "later" {
		return problem{http.StatusBadRequest, "This answer did not arrive whole", "Nothing was kept of it. Go back to Now and tap it again."}
	}
	d := v.draft(typed.Get("form"))
	d.At, d.Body = v.now.UTC(), &daylog.Asked{Key: key, Later: say == "later"}
	return v.keep(v.url(v.dayQuery("?")), d)
}
