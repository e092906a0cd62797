package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// NowView is what Now shows, from top to bottom.
type NowView struct {
	Frame  Frame
	Day    string // the day's name where it is not today's; may be empty
	Saved  Saved
	Line   *DayLine  // nil while nobody has said when the day ends
	Lacks  []string  // what the office has not set up, in words
	Signed Signature // zero while the day is not signed
	Begin  Empty     // what to do first; shown while the day has not begun
	Board  Board
	Newer  int      // entries of a newer version
	Held   []string // what was not heard, so that nothing is said about it
}

// now is GET /job/{job}/: what is wrong, what is running, what is owed, and the
// likeliest entries at the thumb.
func (s *site) now(v *visit) error {
	sit := v.situation(false)
	owed := checks.OwedNow(sit)
	view := NowView{Frame: v.frame("Now", "Now"), Newer: v.day.Newer, Lacks: v.lacks(), Signed: v.signed()}
	view.Frame.Clocks = true
	view.Held = heldWords(sit)
	view.Saved = v.saved()
	switch {
	case v.day.Date != v.today:
		view.Day = v.dayWords(v.day.Date)
	case v.day.Started.IsZero():
		view.Begin = Empty{Say: "Nobody has started " + dateWords(v.day.Date) + " yet. Start the day to set when people leave the roof.",
			Do: v.crew(Action{Label: "Start the day", URL: v.several("morning")})}
	}
	view.Line = v.dayLine(sit)
	view.Board = v.board(sit, owed)
	view.Board.Asks = v.asks(sit)
	view.Frame.Thumb = v.thumb(sit, owed)
	return v.show(http.StatusOK, NowPage(view))
}

// situation is what the rules see of the page's day, looked at once for each
// page.
func (v *visit) situation(leavingOpen bool) *checks.Situation {
	i := 0
	if leavingOpen {
		i = 1
	}
	if s := v.looks[i]; s == nil || s.Day.Date != v.day.Date {
		v.looks[i] = checks.Look(v.job, v.day.Date, v.now, v.zone, v.Log.Device(), leavingOpen)
	}
	return v.looks[i]
}

// lacks says what of the set-up is missing, as far as pages depend on it.
func (v *visit) lacks() []string {
	var say []string
	set := v.day.Setup
	switch flaw := set.PlanFlaw(); {
	case flaw != nil:
		say = append(say, "The roof plan cannot be drawn: "+strings.TrimSuffix(flaw.Error(), ".")+". Until the office corrects it, panels and seams are typed by name and nothing is owed.")
	case len(v.day.Roof.Layout().Panels) == 0:
		say = append(say, "The job has no roof plan yet. Until the office enters it, panels and seams are typed by name and nothing is owed.")
	}
	if _, err := v.Zone(set.Zone); err != nil || set.Zone == "" {
		say = append(say, "The job's time zone is not set. Times are shown in UTC.")
	}
	return say
}

// write is the address of a kind's form with what is known already.
func (v *visit) write(kind string, with map[string]any) string {
	return v.writeAt(kind, with, time.Time{})
}

// writeAt is write with when it happened by what else is known; zero: now.
func (v *visit) writeAt(kind string, with map[string]any, at time.Time) string {
	q := url.Values{}
	if !at.IsZero() {
		q.Set("at", exact(moment{at: at, about: aboutPicked}))
	}
	if len(with) > 0 {
		raw, err := json.Marshal(with)
		if err == nil {
			q.Set("with", string(raw))
		}
	}
	return v.query("write/"+kind, q)
}

// query is an address within the job with what it asks, and with the day where
// that is not the one it would be about anyhow.
func (v *visit) query(path string, q url.Values) string {
	if v.day.Date != v.today {
		q.Set("day", string(v.day.Date))
	}
	if v.then != "" {
		q.Set("then", v.then)
	}
	if len(q) > 0 {
		path += "?" + q.Encode()
	}
	return v.url(path)
}

// stamp is a time as minutes after midnight of the page's day.
func (v *visit) stamp(t time.Time) Stamp {
	t = t.In(v.zone)
	minute := t.Hour()*60 + t.Minute()
	if daylog.DateOf(t) > v.day.Date {
		minute += 24 * 60
	}
	return Stamp{Minute: minute, Text: v.clock(t)}
}

// dayLine draws the day from its start to leaving.
func (v *visit) dayLine(sit *checks.Situation) *DayLine {
	calls := checks.Calls(sit)
	if calls.Leaving.IsZero() || v.day.Started.IsZero() {
		return nil
	}
	begin := v.day.Started.At.In(v.zone)
	begin = time.Date(begin.Year(), begin.Month(), begin.Day(), begin.Hour(), 0, 0, 0, v.zone)
	line := &DayLine{ID: "day", Start: v.stamp(begin), Leaving: v.stamp(calls.Leaving), StartInstant: begin.UnixMilli()}
	if daylog.DateOf(v.now) == v.day.Date || v.now.Sub(begin) < 21*time.Hour {
		line.Now = v.stamp(v.now)
	}
	add := func(name string, t time.Time, strong bool) {
		if !t.IsZero() && t.After(begin) {
			line.Calls = append(line.Calls, Call{Name: name, At: v.stamp(t), Strong: strong})
		}
	}
	add("last cover", calls.Cover, false)
	add("start treatment", calls.Treatment, false)
	add("tools down", calls.ToolsDown, true)
	add("off the roof", calls.Leaving, true)
	return line
}

// board puts the rules' findings, the running waits and what is owed into the
// page's words.
func (v *visit) board(sit *checks.Situation, owed []checks.Owed) Board {
	b := Board{}
	for _, f := range checks.Run(sit) {
		if !f.Settled() {
			b.Warnings = append(b.Warnings, v.warning(f))
		}
	}
	b.Aside = v.asides(sit)
	if len(b.Warnings) == 0 && !v.day.Started.IsZero() {
		b.Quiet = "Nothing is wrong."
	}
	var left []checks.Finding
	b.Left, left, b.LeftFrom = v.left(sit)
	for _, c := range checks.Running(sit) {
		b.Clocks = append(b.Clocks, v.running(c))
	}
	for _, o := range checks.ByPlace(sit, left, owed) {
		if o.Found = nil; len(o.Owed) > 0 {
			b.Owed = append(b.Owed, v.openPlace(o))
		}
	}
	if len(b.Owed) > 0 && len(b.Warnings) == 0 {
		b.OwedNote = "nothing late yet"
	}
	return b
}

// asides lists what was set aside or answered for and stands, now or as at
// leaving.
func (v *visit) asides(sit *checks.Situation) []Aside {
	if len(v.day.Asides)+len(v.day.Answers) == 0 {
		return nil
	}
	var all []Aside
	seen := map[string]bool{}
	for _, s := range []*checks.Situation{sit, v.situation(true)} {
		for _, f := range checks.Run(s) {
			if !f.Settled() || seen[f.Key] {
				continue
			}
			seen[f.Key] = true
			a := Aside{Words: f.Says}
			var by *daylog.Line
			if f.Aside != nil {
				by = f.Aside.Line
				a.Reason, a.By = f.Aside.Reason, v.person(by.Author)+", "+v.clock(by.At)
			} else {
				by = f.Answered.Line
				a.Done, a.By = f.Answered.What, v.person(f.Answered.Person)+" answers for it, "+v.clock(by.At)
			}
			a.Action = Action{Label: "Its line", About: f.Says, URL: v.url("entries"+v.dayQuery("?")) + "#" + url.PathEscape(by.Root)}
			all = append(all, a)
		}
	}
	return all
}

var warningKinds = map[checks.Severity]WarningKind{
	checks.People: People, checks.Stop: Stop, checks.Today: Today, checks.Notice: Note, checks.Managed: Note,
}

func (v *visit) warning(f checks.Finding) Warning {
	w := Warning{Kind: warningKinds[f.Check.Severity], What: f.Says, Say: f.Settle, Seen: f.Seen, Limit: f.Limit, Source: f.Source.String()}
	if f.Asks {
		w.Kind = Asked
	}
	if w.Say == "" {
		w.Say = f.Check.Settle
	}
	w.Do = v.answer(f.Answer)
	w.Do.About = f.Says
	if f.Asks {
		return w
	}
	w.SetAside = Action{Label: "Set aside", About: f.Says, URL: v.asideURL(f)}
	if f.Check.Severity == checks.People {
		w.SetAside.Label, w.Answers = "Answer for it", v.answers()
	}
	w.SetAside = v.crew(w.SetAside)
	return w
}

// answers says who answers for what can hurt people.
func (v *visit) answers() string {
	switch ids := v.day.Competent(); len(ids) {
	case 0:
		return "Who answers for it? Name the competent person."
	case 1:
		return v.person(ids[0]) + " answers for it."
	default:
		return v.people(ids) + " answer for it."
	}
}

// answer is the button that opens the form a finding or owed work asks for.
func (v *visit) answer(a checks.Answer) Action {
	switch {
	case a.Of != "":
		return v.crew(Action{Label: a.Label, URL: v.url("entry/"+url.PathEscape(a.Of)+"/correct") + v.dayQuery("?")})
	case a.Kind == "sign": // after a look at what is open that day
		to := v.url("leaving") + v.dayQuery("?")
		if a.Day != "" {
			to = v.url("leaving") + "?day=" + string(a.Day)
		}
		return v.crew(Action{Label: a.Label, URL: to})
	case a.Kind == "closed": // asks what is missing before it, too
		from, _ := asFloat(a.Fields["from"])
		to, _ := asFloat(a.Fields["to"])
		q := runQuery(as[string](a.Fields["seam"]), daylog.Part{From: roofplan.Length(from), To: roofplan.Length(to)})
		q.Set("did", "closed")
		if !a.At.IsZero() {
			q.Set("at", exact(moment{at: a.At, about: aboutPicked}))
		}
		return v.crew(Action{Label: a.Label, URL: v.query("run", q)})
	case a.Kind != "":
		return v.crew(Action{Label: a.Label, URL: v.writeAt(a.Kind, a.Fields, a.At)})
	}
	return Action{}
}

// crew is an action for those who write what a crew writes, nothing for others.
func (v *visit) crew(a Action) Action {
	if !v.who.may(daylog.Crew) {
		return Action{}
	}
	return a
}

func (v *visit) running(c checks.Clock) Clock {
	what, of, _ := strings.Cut(c.Words, " ")
	out := Clock{What: what, Of: of, From: c.Since.UnixMilli(), Now: v.now.UnixMilli(), Unit: "to go", OverUnit: "ready since", Action: v.answer(c.Answer)}
	if c.Until.IsZero() {
		out.CountsUp, out.Unit, out.Side = true, "since", "from "+v.clock(c.Since)
		return out
	}
	out.Until = c.Until.UnixMilli()
	out.Side = "at " + v.clock(c.Until)
	out.OverSaid = c.Words + ": the wait is over"
	if c.Kind == "rest" {
		out.OverUnit = "rested since"
	}
	return out
}

var owedMarks = map[checks.Work]MarkKind{checks.CoverWork: MarkCoverOwed, checks.TreatmentWork: MarkWaiting}

func (v *visit) owed(o checks.Owed) Owed {
	out := Owed{Mark: owedMarks[o.Work], What: o.Words, Detail: o.Detail, Action: v.answer(o.Answer)}
	if out.Mark == MarkNone {
		out.Mark = MarkOtherOwed
	}
	for _, p := range o.Places {
		if s, ok, _ := v.day.Roof.Spot(p); ok && s.HeldBack {
			out.Held = true
		}
	}
	switch {
	case !o.Ready.IsZero() && o.Ready.After(v.now):
		out.Action.Note = "from " + v.clock(o.Ready)
	case !o.Last.IsZero():
		out.Action.Note = "by " + v.clock(o.Last)
	}
	if out.Once = v.once(o); out.Once.Label != "" && out.Action.Note != "" {
		out.Detail = strings.TrimPrefix(out.Detail+" · "+out.Action.Note, " · ")
	}
	if out.Action.Label == "" { // for those who only read
		out.Action.Label, out.Action.Note = out.Action.Note, ""
	}
	return out
}

// left lists what stood when the worked day before was signed and is open still,
// in the words that were frozen then, with what stands of it now; what is a card
// already is left out.
func (v *visit) left(sit *checks.Situation) (rows []Owed, now []checks.Finding, from string) {
	before := v.job.Before(v.day.Date)
	if before == nil || !before.Signed() || len(before.Signatures[0].Stood) == 0 || v.day.Signed() {
		return nil, nil, ""
	}
	for _, c := range checks.Carry(v.situation(true), before) {
		if slices.ContainsFunc(checks.Run(sit), func(f checks.Finding) bool { return f.Key == c.Now.Key && !f.Settled() }) {
			continue
		}
		detail := "not settled"
		if c.Reason != "" {
			detail = "let stand: " + c.Reason
		}
		rows = append(rows, v.owed(checks.Owed{Words: c.Words, Detail: detail, Answer: c.Now.Answer}))
		now = append(now, c.Now)
	}
	return rows, now, "Left from " + v.dayWords(before.Date)
}

// atOnce are the kinds that one tap writes down, as of now, with the words of
// its button: nothing else needs to be known.
var atOnce = map[string]string{
	"check": "Walked now", "drains": "All clear now", "covers": "Rolled now", "treatment": "Treated now",
	"edge": "Secured now", "backclosed": "Closed now", "fixed": "Put right now",
}

// once writes owed work down as done now: the form that it leads to, sent as it
// opens.
func (v *visit) once(o checks.Owed) Action {
	label, ok := atOnce[o.Answer.Kind]
	if !ok || o.Answer.Of != "" || o.Ready.After(v.now) || v.day.Date != v.today {
		return Action{}
	}
	return v.crew(v.sendNow(label, o.Words, o.Answer))
}

// sendNow is a button that sends the form of an answer as it opens.
func (v *visit) sendNow(label, about string, a checks.Answer) Action {
	k, _ := daylog.FindKind(a.Kind)
	sh := &sheet{kind: k, values: values{}}
	v.offer(sh, rawFields(a.Fields))
	hidden, err := v.hidden()
	if err != nil {
		return Action{}
	}
	hidden = append(hidden, Hidden{"at", timeNow})
	for _, f := range sh.fields(v.day) {
		value := sh.value(f)
		switch f.Type {
		case daylog.Tick:
			if value == true {
				hidden = append(hidden, Hidden{f.Name, "on"})
			}
		case daylog.Places:
			for _, p := range asPlaces(value) {
				hidden = append(hidden, Hidden{f.Name, placeValue(p)})
			}
		case daylog.PanelNames, daylog.SeamNames, daylog.Persons, daylog.SeamEnds, daylog.Many:
			for _, name := range asStrings(value) {
				hidden = append(hidden, Hidden{f.Name, name})
			}
		default:
			if text := v.format(f, value); text != "" {
				hidden = append(hidden, Hidden{f.Name, text})
			}
		}
	}
	if sh.asksBy() {
		last, _ := v.last(k)
		for _, id := range asStrings(last["by"]) {
			hidden = append(hidden, Hidden{"by", id})
		}
	}
	return Action{Label: label, About: about, URL: v.url("write/" + a.Kind), Post: true, Hidden: hidden}
}

// thumb gives the six likeliest entries, the likeliest first.
func (v *visit) thumb(sit *checks.Situation, owed []checks.Owed) []Action {
	if !v.who.may(daylog.Crew) {
		return nil
	}
	var all []Action
	add := func(label, note, kind string, with map[string]any) {
		if !slices.ContainsFunc(all, func(a Action) bool { return a.Label == label }) {
			all = append(all, Action{Label: label, Note: note, URL: v.write(kind, with)})
		}
	}
	other := Action{Label: "Other entry", Note: "everything else", URL: v.url("write" + v.dayQuery("?"))}
	if v.day.Signed() {
		add("Note", "marked as after signing", "note", nil)
		return append(all, other)
	}
	set := "work"
	if v.day.Started.IsZero() {
		all = append(all, Action{Label: "Start the day", Note: dateWords(v.day.Date), URL: v.several("morning")})
	} else if down := checks.Calls(sit).ToolsDown; !down.IsZero() && !v.now.Before(down) {
		all = append(all, Action{Label: "Leaving", Note: "what is open, then sign", URL: v.url("leaving" + v.dayQuery("?"))})
	} else if !down.IsZero() && v.now.After(down.Add(-closingUp)) {
		set = "evening"
	}
	if _, on := v.day.Stopped(); on {
		add("Weather stop ends", "work goes on", "resume", nil)
	}
	roof := v.day.Roof
	for i := range roof.Seams {
		seam := &roof.Seams[i]
		for _, st := range seam.Runs {
			if st.Closed.IsZero() && !st.Primed.IsZero() && st.Day == v.day.Date {
				q := runQuery(seam.Name, st.Part)
				q.Set("did", "closed")
				all = append(all, Action{Label: "Run closed", Note: seam.Name + ", " + feet(st.From) + " to " + feet(st.To) + " ft", URL: v.query("run", q)})
			}
		}
	}
	var treat []daylog.Place
	for _, o := range owed {
		switch {
		case o.Work == checks.CoverWork: // of one run, or of joints
			all = append(all, Action{Label: "Covers done", Note: o.Words, URL: v.write("covers", map[string]any{"places": o.Places})})
		case o.Work == checks.TreatmentWork && !o.Ready.After(v.now):
			treat = append(treat, o.Places...)
		}
	}
	if len(treat) > 0 {
		add("Treatment begun", fmt.Sprintf("%d ready", len(treat)), "treatment", map[string]any{"places": treat})
	}
	for _, o := range owed {
		if o.Work == checks.RunWork && o.Answer.Kind == "priming" {
			add("Priming", "run "+o.Seam+" next", "priming", map[string]any{"seam": o.Seam, "from": o.Part.From, "to": o.Part.To})
		}
	}
	for _, p := range roof.Layout().Panels {
		if _, laid := roof.Panel(p.Name); !laid {
			add("Panel in position", "panel "+p.Name+" next", "panel", map[string]any{"panel": p.Name, "weighted": true})
			break
		}
	}
	for _, o := range owed {
		if o.Work == checks.StoneWork {
			add("Stone", o.Detail, o.Answer.Kind, o.Answer.Fields)
		}
	}
	add("Weather", "air, humidity, sheet", "weather", nil)
	add("Note", "in your words", "note", nil)
	if len(all) > 4 {
		all = all[:4]
	}
	several := Action{Label: "What was done", Note: "several things at once", URL: v.several(set)}
	if set == "evening" {
		several.Label = "Closing up"
	}
	return append(all, several, other)
}

// closingUp is how long before tools down the roof is closed up: common
// practice, no source.
const closingUp = 75 * time.Minute

func proved(st daylog.Stretch) bool {
	n := len(st.Tests)
	return n > 0 && st.Tests[n-1].Pass
}

// endsWithin names the edges whose vertical splice is part of a run.
func (v *visit) endsWithin(seam string, p daylog.Part) []string {
	var edges []string
	if s, ok := v.day.Roof.Layout().Seam(seam); ok {
		for _, end := range s.Ends() {
			if at := daylog.AngleAt(s, end); p.From <= at && at <= p.To {
				_, edge, _ := strings.Cut(end.Name, "@")
				edges = append(edges, edge)
			}
		}
	}
	return edges
}

// feet prints a distance along a seam as one says it.
func feet(l roofplan.Length) string { return trimNumber(float64(int(l.Feet()*10+0.5)) / 10) }

// dateWords is a date as said: "Tuesday 6 October".
func dateWords(d daylog.Date) string {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return string(d)
	}
	return t.Format("Monday 2 January")
}

// dayWords is dateWords, with the year where it is not this one.
func (v *visit) dayWords(d daylog.Date) string {
	if len(d) > 4 && len(v.today) > 4 && d[:4] != v.today[:4] {
		return dateWords(d) + " " + string(d[:4])
	}
	return dateWords(d)
}
