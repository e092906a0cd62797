package script

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// Mode is when the crew writes down what happened.
type Mode int

const (
	// Live: each line at its end, unless it says when it was written.
	Live Mode = iota
	// Batches: everything up to the break, to lunch and to quitting time is
	// written then, with about-times; what comes later is written live.
	Batches
	// AllAtOnce: everything up to quitting time is written then.
	AllAtOnce
)

func (m Mode) String() string {
	switch m {
	case Batches:
		return "in batches"
	case AllAtOnce:
		return "all at quitting time"
	}
	return "live"
}

// Log is what was written in one mode, and who held what when.
type Log struct {
	Mode    Mode
	Entries []Written // in the order of being written
	Hears   []Hearing // in order
	Moments []Moment  // in order of time

	upFront int // entries that every device holds from the beginning
	open    bool
	devices []string
}

// Written is an entry as a log keeps it, numbered and with its bytes; Made
// says when, and Device on which stream.
type Written struct {
	daylog.Entry
	Line int    // of the script
	Text string // the line
}

// Fields gives the body by field, as in its JSON form.
func (w Written) Fields() map[string]any {
	v := map[string]any{}
	if raw, err := json.Marshal(w.Body); err == nil {
		_ = json.Unmarshal(raw, &v)
	}
	return v
}

// Hearing is a moment at which devices pass each other all that they hold.
type Hearing struct {
	At      time.Time
	Devices []string
}

// Entries gives what is written in a mode, in order.
func (s *Script) Entries(mode Mode) ([]Written, error) {
	log, err := s.Log(mode)
	if err != nil {
		return nil, err
	}
	return log.Entries, nil
}

// Held gives what a device holds at an instant: what it wrote and what it has
// heard. Set-up before the first day is on board everywhere. Where no line of
// the script says who hears whom, everybody holds everything at once.
func (g *Log) Held(device string, at time.Time) []daylog.Entry {
	var held []daylog.Entry
	reach := g.reach(device, at)
	for _, w := range g.Entries {
		if w.Seq <= reach[w.Device] {
			held = append(held, w.Entry)
		}
	}
	return held
}

// reach is how far a device holds each stream at an instant.
func (g *Log) reach(device string, at time.Time) map[string]int64 {
	k := newKnowledge(g)
	h := 0
	for i, w := range g.Entries {
		for ; h < len(g.Hears) && g.Hears[h].At.Before(w.Made); h++ {
			if !g.Hears[h].At.After(at) {
				k.hear(g.Hears[h].Devices)
			}
		}
		if i < g.upFront || !w.Made.After(at) {
			k.wrote(w.Device, w.Seq, w.Tick)
		}
		if i+1 == g.upFront {
			k.hear(g.devices)
		}
	}
	for ; h < len(g.Hears) && !g.Hears[h].At.After(at); h++ {
		k.hear(g.Hears[h].Devices)
	}
	return k.reach[device]
}

// knowledge is how far each device holds each stream.
type knowledge struct {
	reach   map[string]map[string]int64 // device -> stream -> seq
	tick    map[string]int64            // device -> highest tick held
	open    bool                        // everybody hears everything
	devices []string
}

func newKnowledge(g *Log) *knowledge {
	k := &knowledge{map[string]map[string]int64{}, map[string]int64{}, g.open, g.devices}
	for _, d := range g.devices {
		k.reach[d] = map[string]int64{}
	}
	return k
}

func (k *knowledge) wrote(device string, seq, tick int64) {
	for _, d := range k.devices {
		if d == device || k.open {
			k.reach[d][device] = seq
			k.tick[d] = max(k.tick[d], tick)
		}
	}
}

func (k *knowledge) hear(devices []string) {
	all, tick := map[string]int64{}, int64(0)
	for _, d := range devices {
		for stream, seq := range k.reach[d] {
			all[stream] = max(all[stream], seq)
		}
		tick = max(tick, k.tick[d])
	}
	for _, d := range devices {
		for stream, seq := range all {
			k.reach[d][stream] = seq
		}
		k.tick[d] = tick
	}
}

// draft is a line on its way to an entry.
type draft struct {
	line  *line
	entry daylog.Entry
	live  time.Time // when it is written in the live mode
	setUp bool      // before the first day
}

// Log tells the days in a mode: the entries numbered as logs would number
// them. Ids are the same in all modes.
func (s *Script) Log(mode Mode) (*Log, error) {
	drafts, err := s.drafts()
	if err != nil {
		return nil, err
	}
	g := &Log{Mode: mode, devices: append([]string{Office}, s.tablets...)}
	for _, l := range s.lines {
		if l.act != hearing {
			continue
		}
		at, err := s.instant(l.day, l.from)
		if err != nil {
			return nil, s.at(l.no, err)
		}
		for _, d := range l.hear {
			if !slices.Contains(g.devices, d) {
				return nil, s.at(l.no, fmt.Errorf("nothing is written on tablet %s", shown(d)))
			}
		}
		g.Hears = append(g.Hears, Hearing{at, l.hear})
	}
	g.open = len(g.Hears) == 0
	slices.SortStableFunc(g.Hears, func(a, b Hearing) int { return a.At.Compare(b.At) })
	batches, err := s.batchMoments(mode)
	if err != nil {
		return nil, err
	}
	gather(drafts, batches)
	slices.SortStableFunc(drafts, byWriting)
	if err := s.number(g, drafts); err != nil {
		return nil, err
	}
	g.Moments, err = s.momentsOf(g, batches)
	return g, err
}

// byWriting orders drafts as they are written: set-up before the first day
// first, in its own order.
func byWriting(a, b *draft) int {
	switch {
	case a.setUp && b.setUp:
		return 0
	case a.setUp:
		return -1
	case b.setUp:
		return 1
	}
	if c := a.entry.Made.Compare(b.entry.Made); c != 0 {
		return c
	}
	return a.live.Compare(b.live)
}

// at adds the line's number to what is wrong with it.
func (s *Script) at(no int, err error) error { return fmt.Errorf("%s:%d: %w", s.Name, no, err) }

// number writes the drafts on their streams.
func (s *Script) number(g *Log, drafts []*draft) error {
	k := newKnowledge(g)
	heads := map[string][]daylog.Head{} // by stream, after each entry
	h := 0
	for i, d := range drafts {
		if !d.setUp && i > 0 && drafts[i-1].setUp {
			g.upFront = i
			k.hear(g.devices)
		}
		e := &d.entry
		for ; !d.setUp && h < len(g.Hears) && g.Hears[h].At.Before(e.Made); h++ {
			k.hear(g.Hears[h].Devices)
		}
		if vector := vectorOf(e.Body); vector != nil && *vector == nil {
			*vector = daylog.Heads{}
			for stream, seq := range k.reach[e.Device] {
				(*vector)[stream] = daylog.Reach{Seq: seq, Head: heads[stream][seq-1]}
			}
		}
		if s.Complete != nil {
			err := s.Complete(e, func() []daylog.Entry {
				var held []daylog.Entry
				for _, w := range g.Entries {
					if w.Seq <= k.reach[e.Device][w.Device] {
						held = append(held, w.Entry)
					}
				}
				return held
			})
			if err != nil {
				return s.at(d.line.no, err)
			}
		}
		head := daylog.ChainStart(s.Job, e.Device)
		if n := len(heads[e.Device]); n > 0 {
			head = heads[e.Device][n-1]
		}
		e.Job, e.Seq, e.Tick, e.Prev = s.Job, int64(len(heads[e.Device]))+1, k.tick[e.Device]+1, head.Prev()
		raw, err := daylog.Encode(e)
		if err != nil {
			return s.at(d.line.no, err)
		}
		heads[e.Device] = append(heads[e.Device], head.Next(raw))
		kept, err := daylog.Decode(raw)
		if err != nil {
			return s.at(d.line.no, err)
		}
		k.wrote(kept.Device, kept.Seq, kept.Tick)
		g.Entries = append(g.Entries, Written{kept, d.line.no, d.line.text})
	}
	if g.upFront == 0 && len(drafts) > 0 && drafts[len(drafts)-1].setUp {
		g.upFront = len(drafts)
	}
	return nil
}

// vectorOf is where a body that covers others says which; nil for the rest.
func vectorOf(b daylog.Body) *daylog.Heads {
	switch b := b.(type) {
	case *daylog.Sign:
		return &b.Vector
	case *daylog.Accepted:
		return &b.Vector
	}
	return nil
}

// instant is when a clock on the job shows a time on a day or in the night
// after it.
func (s *Script) instant(day int, c clock) (time.Time, error) {
	date := s.dates[max(day, 0)]
	if c < nightEnds {
		date = date.Add(1)
	}
	t, err := time.ParseInLocation(time.DateOnly+" 15:04", string(date)+" "+c.String(), s.zone)
	if err != nil {
		return t, err
	}
	if t.Format("15:04") != c.String() {
		return t, fmt.Errorf("there is no %s on %s: the clocks are put forward", c, date)
	}
	return t.UTC(), nil
}

// setUpAt is when set-up without a time is written: before anybody works.
const setUpAt = clock(5 * 60)

// drafts makes entries of all lines, as they are written live.
func (s *Script) drafts() ([]*draft, error) {
	setups, err := s.setups()
	if err != nil {
		return nil, err
	}
	var out []*draft
	forms := map[*line]int{} // lines written with it so far
	of, err := s.targets()
	if err != nil {
		return nil, err
	}
	byLine := map[*line]*draft{}
	for _, l := range s.lines {
		if l.act == hearing {
			continue
		}
		day := l.day // on which it happened
		if l.act == correction {
			day = of[l].day
		}
		d, err := s.draft(l, day, setups[max(day, 0)], forms)
		if err != nil {
			return nil, s.at(l.no, err)
		}
		byLine[l] = d
		out = append(out, d)
	}
	for _, d := range out {
		l := d.line
		if l.of == nil {
			continue
		}
		target := byLine[of[l]]
		d.entry.Of, d.entry.Day = target.entry.ID, target.entry.Day // a strike too
		if l.about < 0 {
			d.entry.About = target.entry.About
		}
		if l.act == correction && target.entry.Kind != d.entry.Kind {
			return nil, s.at(l.no, fmt.Errorf("a correction reads like the line it corrects: that is a %s", target.entry.Kind))
		}
	}
	return out, nil
}

// setups gives for each day the set-up in force.
func (s *Script) setups() ([]*daylog.Day, error) {
	var entries []daylog.Entry
	for _, l := range s.lines {
		if l.known == nil || l.known.Group != daylog.SetUp {
			continue
		}
		body, err := s.body(l, l.day, nil)
		if err != nil {
			return nil, s.at(l.no, err)
		}
		n := int64(len(entries)) + 1
		at, _ := s.instant(l.day, setUpAt)
		entries = append(entries, daylog.Entry{Kind: l.kind, ID: strconv.Itoa(l.no), Day: s.dates[max(l.day, 0)], At: at,
			Stream: Office, Device: Office, Seq: n, Tick: n, Body: body})
	}
	job := daylog.Fold(s.Job, entries)
	days := make([]*daylog.Day, len(s.dates))
	for i, date := range s.dates {
		days[i] = job.On(date)
		if flaw := days[i].Setup.PlanFlaw(); flaw != nil {
			return nil, fmt.Errorf("%s: the plan of %s: %w", s.Name, date, flaw)
		}
	}
	return days, nil
}

func (s *Script) draft(l *line, day int, setup *daylog.Day, forms map[*line]int) (*draft, error) {
	d := &draft{line: l, setUp: l.day < 0}
	body, err := s.body(l, day, setup)
	if err != nil {
		return nil, err
	}
	e := &d.entry
	*e = daylog.Entry{Kind: l.kind, ID: "l" + strconv.Itoa(l.no), Day: s.dates[max(day, 0)], Device: l.device, Author: l.author,
		By: l.by, Why: l.why, Odd: l.odd, About: max(l.about, 0), Body: body}
	if !l.timed {
		e.At, err = s.instant(l.day, setUpAt)
		e.Made, d.live = e.At, e.At
		return d, err
	}
	if e.At, err = s.instant(day, l.from); err != nil {
		return nil, err
	}
	if l.lasts {
		if e.To, err = s.instant(day, l.to); err != nil {
			return nil, err
		}
		if l.known != nil && !l.known.Lasts {
			return nil, fmt.Errorf("this is said of one moment: write %s", l.to)
		}
	}
	form := l
	if l.parent != nil {
		form = l.parent
		forms[form]++
		e.ID = daylog.FormID("l"+strconv.Itoa(form.no), forms[form])
	}
	if d.live, err = s.written(form); err != nil {
		return nil, err
	}
	e.Made = d.live
	if !l.exact && d.live.After(e.End()) {
		e.About = aboutMinutes
	}
	if l.parent == nil && d.live.Before(e.At) {
		return nil, fmt.Errorf("written at %s, before it happened", l.written)
	}
	if l.parent != nil && d.live.Before(e.End()) {
		return nil, fmt.Errorf("written with line %d, before it happened", l.parent.no)
	}
	return d, nil
}

// written is when a line is written live.
func (s *Script) written(l *line) (time.Time, error) {
	switch {
	case l.late:
		return s.instant(l.day, l.written)
	case l.lasts:
		return s.instant(l.day, l.to)
	}
	return s.instant(l.day, l.from)
}

// quittingBefore is how long before tools down quitting time is.
const quittingBefore = 20 * time.Minute

// gather moves the writing of drafts to the batch moments of their day.
func gather(drafts []*draft, moments [][]time.Time) {
	for _, d := range drafts {
		if d.line.device == Office || !d.line.timed {
			continue
		}
		for _, at := range moments[d.line.day] {
			if d.live.After(at) {
				continue
			}
			d.entry.Made = at
			if d.line.act != strike {
				d.entry.About = max(d.entry.About, aboutMinutes)
			}
			break
		}
	}
}

// batchMoments gives for each day when the crew writes in a mode, in order.
func (s *Script) batchMoments(mode Mode) ([][]time.Time, error) {
	if mode == Live {
		return make([][]time.Time, len(s.dates)), nil
	}
	quitting, err := s.quitting()
	if err != nil {
		return nil, err
	}
	moments := make([][]time.Time, len(s.dates))
	for day := range s.dates {
		if mode == Batches {
			for _, c := range s.batches {
				at, err := s.instant(day, c)
				if err != nil {
					return nil, err
				}
				if at.Before(quitting[day]) {
					moments[day] = append(moments[day], at)
				}
			}
		}
		moments[day] = append(moments[day], quitting[day])
	}
	return moments, nil
}

// quitting gives for each day when the crew stops to write up the rest: 20 min
// before tools down, and where nobody said when people leave, after the last
// line.
func (s *Script) quitting() ([]time.Time, error) {
	drafts, err := s.drafts()
	if err != nil {
		return nil, err
	}
	g := &Log{open: true, devices: append([]string{Office}, s.tablets...)}
	slices.SortStableFunc(drafts, byWriting)
	bare := *s
	bare.Complete = nil
	if err := bare.number(g, drafts); err != nil {
		return nil, err
	}
	entries := make([]daylog.Entry, len(g.Entries))
	out := make([]time.Time, len(s.dates))
	for i, w := range g.Entries {
		entries[i] = w.Entry
		for day, date := range s.dates {
			if w.Day == date && w.Made.After(out[day]) {
				out[day] = w.Made
			}
		}
	}
	job := daylog.Fold(s.Job, entries)
	for day, date := range s.dates {
		if down := job.On(date).ToolsDown(); !down.IsZero() {
			out[day] = down.Add(-quittingBefore)
		}
	}
	return out, nil
}

// body makes the body of a line that speaks of a day, by the set-up then in
// force; nil for set-up itself.
func (s *Script) body(l *line, day int, setup *daylog.Day) (daylog.Body, error) {
	switch {
	case l.plan != nil:
		return &daylog.PlanSetup{Plan: l.plan.plan}, nil
	case l.known == nil:
		b := new(daylog.Unknown)
		return b, json.Unmarshal(l.raw, b)
	}
	raw := l.raw
	if raw == nil {
		v, err := s.resolve(l, day, setup)
		if err != nil {
			return nil, err
		}
		if raw, err = json.Marshal(v); err != nil {
			return nil, err
		}
	}
	b := l.known.New()
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.DisallowUnknownFields()
	if err := dec.Decode(b); err != nil {
		return nil, fmt.Errorf("a %s cannot say this: %w", l.kind, err)
	}
	return b, nil
}

// resolve turns what a line says into fields: what it leaves out as the form
// offers it, times as instants, a seam alone as all of it, places with where
// they are on the plan.
func (s *Script) resolve(l *line, date int, day *daylog.Day) (values, error) {
	v := values{}
	for name, value := range l.vals {
		v[name] = value
	}
	if day == nil {
		day = daylog.Fold("", nil).On(s.dates[max(l.day, 0)])
	} else if err := onPlan(l, day); err != nil {
		return nil, err
	}
	along := 0
	if l.known.Fields != nil {
		for _, f := range l.known.Fields(day) {
			switch f.Name {
			case "seam", "from", "to":
				along++
			}
			if _, said := v[f.Name]; said || f.Default == nil || f.Type == daylog.Tick || f.Type == daylog.PanelNames || l.known.Group == daylog.SetUp {
				continue
			}
			if text, ok := f.Default.(string); ok && f.Type == daylog.Clock {
				if c, ok := parseClock(text); ok {
					v[f.Name] = c
				}
				continue
			}
			v[f.Name] = f.Default
		}
	}
	if along == 3 {
		if err := wholeSeam(v, day); err != nil {
			return nil, err
		}
	}
	for name, value := range v {
		switch value := value.(type) {
		case clock:
			at, err := s.instant(date, value)
			if err != nil {
				return nil, err
			}
			v[name] = at
		case []any:
			list := make([]any, len(value))
			for i, item := range value {
				list[i] = item
				m, ok := item.(values)
				if !ok {
					continue
				}
				copied := values{}
				for k, x := range m {
					copied[k] = x
				}
				list[i] = copied
				if _, ok := m["seam"]; ok {
					if err := wholeSeam(copied, day); err != nil {
						return nil, err
					}
				}
				if on, ok := m["on"].(string); ok {
					at, _ := m["at"].(float64)
					if p := day.Roof.Locate(daylog.Place{On: on, At: roofplan.Length(at)}); p.X != 0 || p.Y != 0 {
						copied["x"], copied["y"] = p.X, p.Y
					}
				}
			}
			v[name] = list
		}
	}
	return v, nil
}

// wholeSeam fills in the feet of a seam that was named alone.
func wholeSeam(v values, day *daylog.Day) error {
	if _, said := v["to"]; said {
		return nil
	}
	name, _ := v["seam"].(string)
	seam, ok := day.Roof.Layout().Seam(name)
	if !ok {
		return fmt.Errorf("from where to where along %s? Write: %s 0 to 50 ft", name, name)
	}
	reach := seam.Reach()
	v["from"], v["to"] = float64(reach.From), float64(reach.To)
	return nil
}

// onPlan complains of names that the plan does not have, unless the line says
// that they are as written.
func onPlan(l *line, day *daylog.Day) error {
	layout := day.Roof.Layout()
	if l.asTyped || len(layout.Panels) == 0 {
		return nil
	}
	for _, n := range l.names {
		ok := false
		switch n.what {
		case "panel":
			_, ok = layout.Panel(n.name)
		case "seam":
			_, ok = layout.Seam(n.name)
		default:
			if _, _, ok = layout.End(n.name); !ok {
				_, ok = layout.Joint(n.name)
			}
		}
		if !ok {
			return fmt.Errorf("%s %s is not on the plan; if that is meant, add: as written", n.what, n.name)
		}
	}
	return nil
}
