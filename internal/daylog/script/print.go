package script

import (
	"encoding/json"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"duskline/internal/daylog"
)

// Say writes a body as the sentence of a line, so that Parse reads the same
// body from it: in its kind's words if they can say all of it, else by fields,
// else as JSON. Where a place is on the plan and what a signature covers are
// left out; they follow.
func Say(b daylog.Body, zone *time.Location) string {
	raw, err := json.Marshal(b)
	if err != nil {
		return ""
	}
	k := daylog.KindOf(b)
	if k == nil {
		return "other unknown" + asJSON + string(raw)
	}
	v := values{}
	if json.Unmarshal(raw, &v) != nil {
		return ""
	}
	if vectorOf(b) != nil {
		delete(v, "vector")
	}
	for name, value := range v {
		list, _ := value.([]any)
		for _, item := range list {
			if m, ok := item.(map[string]any); ok {
				delete(m, "x")
				delete(m, "y")
				if m["from"] == 0.0 && m["to"] == 0.0 { // all of it
					delete(m, "from")
					delete(m, "to")
				}
			}
		}
		if empty(value) {
			delete(v, name)
		}
	}
	all, err := sentences()
	if err != nil {
		return ""
	}
	for _, s := range all {
		if s.kind != k {
			continue
		}
		said, ok := s.say(s.clocks(v, zone))
		if ok && s.reads(said, v, zone) {
			return said
		}
	}
	return "other " + k.Name + asJSON + string(raw)
}

const asJSON = " as "

// clocks turns the instants among the sentence's fields into what the clock on
// the job shows.
func (s *sentence) clocks(v values, zone *time.Location) values {
	out := maps.Clone(v)
	each := func(parts []part) {
		for _, p := range parts {
			if p.slot == nil || p.slot.Type != daylog.Clock {
				continue
			}
			text, _ := v[p.slot.Name].(string)
			if t, err := time.Parse(time.RFC3339, text); err == nil {
				out[p.slot.Name] = clockOf(t, zone)
			}
		}
	}
	for _, head := range s.heads {
		each(head)
	}
	for _, c := range s.clauses {
		each(c.parts)
	}
	return out
}

func clockOf(t time.Time, zone *time.Location) clock {
	t = t.In(zone)
	return clock(t.Hour()*60 + t.Minute())
}

// reads reports whether the sentence, as said, reads as these values.
func (s *sentence) reads(said string, v values, zone *time.Location) bool {
	words, err := split(said)
	if err != nil {
		return false
	}
	r := &reader{text: said, words: words}
	got, ok := r.read(s, common())
	if !ok {
		return false
	}
	a, errA := json.Marshal(got)
	b, errB := json.Marshal(s.clocks(v, zone))
	return errA == nil && errB == nil && string(a) == string(b)
}

// Print writes entries as the lines of a script: set-up, then each day in the
// order of being written.
func Print(entries []daylog.Entry, zone *time.Location) string {
	p := printer{zone: zone, said: map[string]string{}, named: map[string]*daylog.Entry{}}
	order := make([]*daylog.Entry, len(entries))
	for i := range entries {
		order[i] = &entries[i]
	}
	slices.SortStableFunc(order, func(a, b *daylog.Entry) int {
		if c := strings.Compare(string(p.dayOf(a)), string(p.dayOf(b))); c != 0 {
			return c
		}
		return a.Made.Compare(b.Made)
	})
	for _, e := range order {
		p.said[e.ID], p.named[e.ID] = p.sentence(e), e
	}
	for _, e := range order {
		p.entry(e)
	}
	return p.out.String()
}

type printer struct {
	zone   *time.Location
	said   map[string]string // sentences by id
	named  map[string]*daylog.Entry
	out    strings.Builder
	day    daylog.Date
	device string
	above  *daylog.Entry // that an indented line could follow
}

// dayOf is the day under which an entry stands: a strike or correction under
// that on which it was written.
func (p *printer) dayOf(e *daylog.Entry) daylog.Date {
	if e.Of == "" {
		return e.Day
	}
	return daylog.DateOf(e.Made.In(p.zone).Add(-time.Duration(nightEnds) * time.Minute))
}

func (p *printer) sentence(e *daylog.Entry) string {
	if e.Newer() {
		raw, _ := json.Marshal(e.Body)
		return "other " + e.Kind + asJSON + string(raw)
	}
	return Say(e.Body, p.zone)
}

func (p *printer) entry(e *daylog.Entry) {
	k := daylog.KindOf(e.Body)
	if k != nil && k.Group == daylog.SetUp {
		if p.day != "" && p.day != e.Day {
			p.heading(e.Day)
		}
		p.write(p.sentence(e))
		return
	}
	if day := p.dayOf(e); p.day != day {
		p.heading(day)
	}
	if device := e.Device; device != p.device {
		p.device, p.above = device, nil
		if device == Office {
			p.write(Office)
		} else {
			p.write("tablet " + device)
		}
	}
	line, said := p.span(e), p.said[e.ID]
	body := ""
	if newer, raw, ok := strings.Cut(said, asJSON); ok && strings.HasPrefix(said, "other ") {
		said, body = newer, asJSON+raw // stands behind the clauses
	}
	late := e.Made.After(e.End())
	typed := late
	switch {
	case e.Kind == "strike":
		line += " strike " + p.reference(e)
	case e.Of != "":
		line = p.clock(e.Made) + " correct " + p.reference(e) + " to read " + line + " " + said
		late, typed = false, false
		line += p.off(e)
	default:
		line += " " + said
	}
	indent := ""
	if p.above != nil && e.Form() != e.ID && e.Form() == p.above.ID && e.Made.Equal(p.above.Made) {
		indent, late = "  ", false
	} else {
		p.above = e
	}
	if len(e.By) > 0 {
		line += ", by " + join(e.By)
	}
	if late {
		line += ", written " + p.clock(e.Made)
	}
	if typed && e.About != aboutMinutes || !typed && e.About != 0 && e.Of == "" {
		line += p.off(e)
	}
	if e.Why != "" {
		line += ", because " + quote(e.Why)
	}
	p.write(indent + line + body)
}

// off says how far a time may be off.
func (p *printer) off(e *daylog.Entry) string {
	if e.About == 0 {
		return ", to the minute"
	}
	return ", within " + strconv.Itoa(e.About) + " min"
}

func (p *printer) heading(day daylog.Date) {
	p.write("\nday " + string(day))
	p.day, p.device, p.above = day, "", nil
}

func (p *printer) write(line string) {
	p.out.WriteString(line)
	p.out.WriteByte('\n')
}

func (p *printer) clock(t time.Time) string { return clockOf(t, p.zone).String() }

func (p *printer) span(e *daylog.Entry) string {
	if e.To.IsZero() {
		return p.clock(e.At)
	}
	return p.clock(e.At) + "-" + p.clock(e.To)
}

// reference names the line that a strike or correction is about.
func (p *printer) reference(e *daylog.Entry) string {
	of, ok := p.named[e.Of]
	if !ok {
		return "what is not here, " + e.Of
	}
	said, _, _ := strings.Cut(p.said[of.ID], asJSON)
	line := p.span(of) + " " + said
	if of.Kind == "strike" {
		line = p.span(of) + " strike " + p.reference(of)
	}
	if day := p.dayOf(of); day != p.dayOf(e) {
		line = string(day) + " " + line
	}
	return line
}
