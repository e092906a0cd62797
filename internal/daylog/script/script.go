package script

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// A Script is a text of days as it was read. It is not changed afterwards,
// but for its exported fields.
type Script struct {
	Name string // of the text, and of the variant
	Job  string // the job's id in the entries
	// Complete, if set, is called for every entry before it is numbered, so
	// that what only rules know can be filled in: the words of a warning that
	// is set aside, what stood at signing. held gives what the device holds.
	Complete func(e *daylog.Entry, held func() []daylog.Entry) error

	zone     *time.Location
	dates    []daylog.Date
	lines    []*line
	moments  []stated
	batches  []clock
	persons  []string
	tablets  []string // in the order they are named
	variants []variant
}

// line is one act.
type line struct {
	no     int
	text   string // as typed
	first  int    // word of text where the sentence begins
	words  []word
	day    int // index of dates
	device string
	said   bool // the line says which device
	author string
	act    act

	timed    bool
	from, to clock
	lasts    bool // has a to
	about    int
	exact    bool // about was said
	written  clock
	late     bool // written was said
	by       []string
	why      string
	asTyped  bool // what is not on the plan is meant
	odd      map[string]string
	parent   *line // the line it was written with, in one form

	kind  string
	known *daylog.Kind
	vals  values
	raw   json.RawMessage // of a body given as JSON
	names []named
	of    *reference // what it strikes or corrects
	hear  []string   // devices that hear each other
	plan  *planned
}

type act int

const (
	entry act = iota
	strike
	correction
	hearing
)

// reference names a line by its time and first words.
type reference struct {
	date     daylog.Date // zero: of the same day
	from, to clock
	lasts    bool
	words    []string
}

func (ref reference) String() string {
	text := ref.from.String()
	if ref.lasts {
		text += "-" + ref.to.String()
	}
	return strings.Join(append([]string{text}, ref.words...), " ")
}

// matches reports whether the reference names the line.
func (ref reference) matches(l *line, date daylog.Date) bool {
	if ref.date != "" && ref.date != date || !l.timed || l.from != ref.from || ref.lasts && (!l.lasts || l.to != ref.to) {
		return false
	}
	said := l.words[l.first:]
	if len(ref.words) > len(said) {
		return false
	}
	for i, w := range ref.words {
		if said[i].text != w {
			return false
		}
	}
	return true
}

type variant struct {
	name    string
	dated   bool // a line says which day it changes
	edits   []edit
	moments []stated
}

type edit struct {
	no   int
	what string // "drop", "move", "change", "add"
	day  int
	ref  reference
	from clock // move
	to   clock
	last bool
	line *line // change, add
}

// Parse reads the text of days. Errors name the line and say what was
// expected; several are joined. All that Entries could complain of is found
// here, in every variant.
func Parse(name, text string) (*Script, error) {
	if len(text) > 1<<20 {
		return nil, fmt.Errorf("%s: longer than 1 MB", name)
	}
	p := &parser{s: &Script{Name: name, Job: "job", batches: []clock{9*60 + 30, 12*60 + 30}}, day: -1}
	for i, text := range strings.Split(text, "\n") {
		if len(p.errs) >= 10 {
			break
		}
		p.no = i + 1
		if err := p.line(strings.TrimRight(text, " \t\r")); err != nil {
			p.errs = append(p.errs, fmt.Errorf("%s:%d: %w", name, p.no, err))
		}
	}
	if err := p.finish(); err != nil && len(p.errs) == 0 {
		p.errs = append(p.errs, fmt.Errorf("%s: %w", name, err))
	}
	if len(p.errs) > 0 {
		return nil, errors.Join(p.errs...)
	}
	for _, mode := range []Mode{Live, Batches, AllAtOnce} {
		if _, err := p.s.Log(mode); err != nil {
			return nil, err
		}
	}
	for _, v := range p.s.variants {
		changed, err := p.s.Variant(v.name)
		if err != nil {
			return nil, err
		}
		if _, err := changed.Log(Live); err != nil {
			return nil, err
		}
	}
	return p.s, nil
}

// Zone is the job's time zone.
func (s *Script) Zone() *time.Location { return s.zone }

// Dates are the days of the script, in order.
func (s *Script) Dates() []daylog.Date { return slices.Clone(s.dates) }

// Tablets are the devices of the script but the office's, as they are named.
func (s *Script) Tablets() []string { return slices.Clone(s.tablets) }

// Variants are the names of the variants, in order.
func (s *Script) Variants() []string {
	names := make([]string, len(s.variants))
	for i, v := range s.variants {
		names[i] = v.name
	}
	return names
}

// Variant gives the script with a variant's edits and, instead of its own,
// the variant's moments.
func (s *Script) Variant(name string) (*Script, error) {
	i := slices.IndexFunc(s.variants, func(v variant) bool { return v.name == name })
	if i < 0 {
		return nil, fmt.Errorf("%s: no variant is called %s", s.Name, shown(name))
	}
	v := s.variants[i]
	c := *s
	c.Name, c.variants, c.moments = s.Name+", "+name, nil, v.moments
	c.lines = slices.Clone(s.lines)
	of, err := s.targets()
	if err != nil {
		return nil, err
	}
	for _, e := range v.edits {
		if e.what == "add" {
			c.lines = append(c.lines, e.line)
			continue
		}
		l, err := c.find(e.ref, e.day, len(c.lines), of)
		if err != nil {
			return nil, fmt.Errorf("%s:%d: %w", s.Name, e.no, err)
		}
		at := slices.Index(c.lines, l)
		switch e.what {
		case "drop":
			c.lines = slices.Delete(c.lines, at, at+1)
			continue
		case "move":
			moved := *l
			moved.from, moved.to, moved.lasts = e.from, e.to, e.last
			c.lines[at] = &moved
		case "change":
			changed := *e.line
			changed.parent = l.parent
			c.lines[at] = &changed
		}
		// What was written with it still is, and what names it still does.
		now := c.lines[at]
		if target, ok := of[l]; ok && now.of != nil {
			of[now] = target
		}
		for i, o := range c.lines {
			if o.parent != l && of[o] != l {
				continue
			}
			again := *o
			if o.parent == l {
				again.parent = now
			}
			if of[o] == l {
				again.of = &reference{date: o.of.date, from: now.from, to: now.to, lasts: now.lasts}
				for _, w := range now.words[now.first:] {
					again.of.words = append(again.of.words, w.text)
				}
				of[&again] = now
			} else if target, ok := of[o]; ok {
				of[&again] = target
			}
			c.lines[i] = &again
		}
	}
	return &c, nil
}

// targets gives for each strike and correction the line it names.
func (s *Script) targets() (map[*line]*line, error) {
	of := map[*line]*line{}
	for i, l := range s.lines {
		if l.of == nil {
			continue
		}
		named, err := s.find(*l.of, l.day, i, of)
		if err != nil {
			return nil, s.at(l.no, err)
		}
		of[l] = named
	}
	return of, nil
}

// find gives the one line among the first n that a reference names. Of a line
// and its corrections that all read so, it is the last.
func (s *Script) find(ref reference, day, n int, of map[*line]*line) (*line, error) {
	var found []*line
	for _, l := range s.lines[:n] {
		if l.act == hearing || l.day < 0 || ref.date == "" && l.day != day || !ref.matches(l, s.dates[l.day]) {
			continue
		}
		if l.act == correction {
			found = slices.DeleteFunc(found, func(o *line) bool { return o == of[l] })
		}
		found = append(found, l)
	}
	switch len(found) {
	case 0:
		return nil, fmt.Errorf("no line of the day is %s", shown(ref.String()))
	case 1:
		return found[0], nil
	}
	return nil, fmt.Errorf("lines %d and %d both begin with %s; write more of its words", found[0].no, found[1].no, shown(ref.String()))
}

// Moved gives the same days with the first on another date, and in another
// time zone; "" keeps the script's. What the clocks show stays.
func (s *Script) Moved(first daylog.Date, zone string) (*Script, error) {
	c := *s
	if zone != "" {
		loaded, err := time.LoadLocation(zone)
		if err != nil {
			return nil, err
		}
		c.zone = loaded
	}
	from, err := time.Parse(time.DateOnly, string(s.dates[0]))
	if err != nil {
		return nil, err
	}
	to, err := time.Parse(time.DateOnly, string(first))
	if err != nil {
		return nil, err
	}
	days := int(to.Sub(from).Hours() / 24)
	c.dates = slices.Clone(s.dates)
	for i := range c.dates {
		c.dates[i] = c.dates[i].Add(days)
	}
	move := func(l *line) *line {
		if l == nil || l.kind != "job" && (l.of == nil || l.of.date == "") {
			return l
		}
		moved := *l
		if l.of != nil && l.of.date != "" {
			of := *l.of
			of.date = of.date.Add(days)
			moved.of = &of
		}
		if l.kind == "job" && zone != "" {
			moved.vals = maps.Clone(l.vals)
			moved.vals["zone"] = zone
		}
		return &moved
	}
	c.lines = slices.Clone(s.lines)
	for i, l := range c.lines {
		c.lines[i] = move(l)
	}
	c.variants = slices.Clone(s.variants)
	for i := range c.variants {
		edits := slices.Clone(c.variants[i].edits)
		for j := range edits {
			edits[j].line = move(edits[j].line)
			if edits[j].ref.date != "" {
				edits[j].ref.date = edits[j].ref.date.Add(days)
			}
		}
		c.variants[i].edits = edits
	}
	return &c, nil
}

// sentences are those of all kinds this build knows.
var sentences = sync.OnceValues(func() ([]*sentence, error) {
	day := daylog.Fold("", nil).On("2000-01-01")
	var all []*sentence
	for _, k := range daylog.Kinds() {
		var fields []daylog.Field
		if k.Fields != nil {
			fields = k.Fields(day)
		}
		for _, pattern := range k.Script {
			s, err := compile(k, pattern, fields)
			if err != nil {
				return nil, fmt.Errorf("kind %s: %w", k.Name, err)
			}
			all = append(all, s)
		}
	}
	for _, k := range daylog.Kinds() {
		var fields []daylog.Field
		if k.Fields != nil {
			fields = k.Fields(day)
		}
		all = append(all, otherOf(k, fields))
	}
	return all, nil
})

// otherOf is the sentence that any kind has: its fields by name.
func otherOf(k *daylog.Kind, fields []daylog.Field) *sentence {
	s := &sentence{kind: k, heads: [][]part{{{words: []string{"other"}}, {words: []string{k.Name}}}}}
	for _, f := range fields {
		if _, ok := forms[f.Type]; !ok {
			continue
		}
		var parts []part
		for w := range strings.FieldsSeq(f.Name) {
			parts = append(parts, part{words: []string{w}})
		}
		s.clauses = append(s.clauses, clause{parts: append(parts, part{slot: &slot{Field: f}})})
	}
	return s
}

// planned is a plan on its way to an entry.
type planned struct {
	day  int
	plan roofplan.Plan
	// The plain rectangle's turn-up, where rows begin unless they say so.
	turnUp roofplan.Length
}
