package script

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"duskline/internal/daylog"
)

// parser goes through a text line by line.
type parser struct {
	s    *Script
	no   int
	errs []error

	day     int    // index of the day the lines belong to; -1 before the first
	device  string // that writes; "" the default
	authors map[string]string
	foreman string
	manager string
	above   *line // the last line that is not indented
	plan    *planned
	variant *variant
}

// Office is the device that writes set-up.
const Office = "office"

func (p *parser) line(text string) error {
	indented := strings.HasPrefix(text, " ") || strings.HasPrefix(text, "\t")
	text = strings.TrimSpace(text)
	if text == "" || text[0] == '(' && text[len(text)-1] == ')' {
		return nil
	}
	if strings.ContainsFunc(text, func(r rune) bool { return r < ' ' && r != '\t' || r == 0x7f || r == 0xfffd }) {
		return errors.New("the line holds characters that no keyboard types")
	}
	r, err := newReader(text)
	if err != nil {
		return err
	}
	r.persons = p.s.persons
	if text[0] == '@' {
		return p.moment(r)
	}
	switch {
	case r.take("variant"):
		return p.newVariant(r)
	case r.take("day"), r.take("next", "day"):
		return p.newDay(r)
	case r.is("tablet"), r.is(Office) && len(r.words) == 1:
		return p.newDevice(r)
	case p.variant != nil:
		return p.edit(r)
	case r.take("batches", "at"):
		return p.newBatches(r)
	case r.is("roof"), r.is("side"), r.is("row"), r.take("placed"):
		if p.day >= 0 && p.plan != nil && p.plan.day != p.day {
			p.plan = nil
		}
		return p.planLine(r)
	}
	l, err := p.read(r, p.no)
	if err != nil {
		return err
	}
	if indented && l.timed {
		if p.above == nil || p.above.act == hearing || l.act == hearing || p.above.day != l.day {
			return errors.New("an indented line is written with the one above it, in one form; there is none")
		}
		if l.device != p.above.device || l.late {
			return errors.New("an indented line is written with the one above it: at its moment and on its tablet")
		}
		l.parent = p.above
	} else {
		p.above = l
	}
	p.s.lines = append(p.s.lines, l)
	return nil
}

func (p *parser) newDay(r *reader) error {
	next := r.text == "next day"
	if p.s.zone == nil {
		return errors.New(`before the first day say which job: job "Invented hall" in America/Chicago`)
	}
	var date daylog.Date
	if next {
		if p.day < 0 {
			return errors.New("no day comes before this one; write day and its date")
		}
		if date = p.s.dates[p.day].Add(1); p.variant != nil && p.day+1 < len(p.s.dates) {
			date = p.s.dates[p.day+1]
		}
	} else {
		var err error
		text, _ := r.next("a date")
		if date, err = daylog.ParseDate(text); err != nil {
			return err
		}
		r.take(",")
		if weekday, ok := r.next(""); ok {
			t, _ := time.Parse(time.DateOnly, text)
			if weekday != t.Weekday().String() {
				return fmt.Errorf("%s is a %s", date, t.Weekday())
			}
		}
		if !r.done() {
			return errors.New("a day is its date and perhaps its weekday: day 2026-10-06, Tuesday")
		}
	}
	if p.variant != nil {
		p.day = slices.Index(p.s.dates, date)
		if p.day < 0 {
			return fmt.Errorf("the script has no day %s", date)
		}
		p.variant.dated = true
		return nil
	}
	if n := len(p.s.dates); n > 0 && date <= p.s.dates[n-1] {
		return fmt.Errorf("%s is not after %s, the day before it", date, p.s.dates[n-1])
	}
	p.s.dates = append(p.s.dates, date)
	p.day, p.above = len(p.s.dates)-1, nil
	return nil
}

// newDevice changes the tablet that writes the lines below.
func (p *parser) newDevice(r *reader) error {
	p.above = nil
	if r.take(Office) {
		p.device = Office
		return nil
	}
	r.take("tablet")
	name, ok := r.next("a tablet's name")
	if !ok || !plainName(name) || name == Office {
		return errors.New("a tablet has a name of letters and figures: tablet b")
	}
	if r.take("with") {
		who, ok := r.person()
		if !ok {
			return r.err()
		}
		if p.authors == nil {
			p.authors = map[string]string{}
		}
		p.authors[name] = who.(string)
	}
	if !r.done() {
		return errors.New("a tablet has a name, and perhaps somebody who writes on it: tablet b with bo")
	}
	p.device = name
	p.knowTablet(name)
	return nil
}

func (p *parser) knowTablet(name string) {
	if name != Office && !slices.Contains(p.s.tablets, name) {
		p.s.tablets = append(p.s.tablets, name)
	}
}

func plainName(name string) bool {
	for _, c := range name {
		if !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-') {
			return false
		}
	}
	return name != "" && len(name) <= 40
}

func (p *parser) newBatches(r *reader) error {
	p.s.batches = nil
	if !r.items(func() bool {
		c, ok := r.clock()
		if ok {
			p.s.batches = append(p.s.batches, c.(clock))
		}
		return ok
	}) || !r.done() {
		return r.err()
	}
	slices.SortFunc(p.s.batches, func(a, b clock) int { return a.order() - b.order() })
	return nil
}

// Clauses that may stand behind any act.
var common = sync.OnceValue(func() []clause {
	all := []string{
		"by {by:persons}", "written {written:clock}", "within {within:whole number} min", "to the minute {exact=yes}",
		"on tablet {tablet:word}", "because {why:long text}", "as written {as written=yes}", "unread {odd:word} {odd text:text}",
	}
	out := make([]clause, len(all))
	for i, text := range all {
		parts, err := compileParts(text, nil)
		if err != nil {
			panic(err)
		}
		out[i] = clause{parts, true}
	}
	return out
})

// Names of common clauses' values never meet those of fields: they are moved
// out of a line's values before these become a body.
var commonNames = []string{"by", "written", "within", "exact", "tablet", "why", "as written", "odd", "odd text"}

// read reads a line of an act.
func (p *parser) read(r *reader, no int) (*line, error) {
	l := &line{no: no, text: r.text, words: r.words, day: p.day, device: p.device}
	about, err := p.when(r, l)
	if err != nil {
		return nil, err
	}
	l.first = r.at
	if l.timed && p.day < 0 {
		return nil, errors.New("timed lines belong to a day; above them write: day 2026-10-06")
	}
	if l.timed && len(r.words) > r.at && r.words[len(r.words)-1].text == "other" && p.hearing(r, l) {
		return l, nil
	}
	switch {
	case l.timed && r.take("strike"):
		l.act, l.kind = strike, "strike"
		r.open = common()
		if l.of, err = p.reference(r, func() bool { return r.is(",") && r.ends(1) }); err != nil {
			return nil, err
		}
		v, ok := r.read(&sentence{heads: [][]part{nil}}, common())
		if !ok {
			return nil, r.err()
		}
		l.known, _ = daylog.FindKind("strike")
		err = p.settle(l, v, about)
	case l.timed && r.take("correct"):
		l.act = correction
		err = p.correction(r, l)
	default:
		var v values
		if v, err = p.sentence(r, l); err != nil {
			return nil, err
		}
		err = p.settle(l, v, about)
	}
	if err != nil {
		return nil, err
	}
	if !l.timed && (l.known == nil || l.known.Group != daylog.SetUp) {
		return nil, fmt.Errorf("when was this? Lines of the day begin with a time, as in 07:15 %s", l.words[0].text)
	}
	return l, p.after(l)
}

// after does what set-up means for the lines that follow.
func (p *parser) after(l *line) error {
	switch {
	case l.said:
	case l.known != nil && l.known.Writes == daylog.Office:
		l.device = Office
	case l.device == "":
		l.device = "a"
	}
	p.knowTablet(l.device)
	switch who, _ := l.vals["person"].(string); l.kind {
	case "person":
		p.s.persons = append(p.s.persons, who)
		switch {
		case l.vals["role"] == "foreman" && p.foreman == "":
			p.foreman = who
		case l.vals["role"] == "manager" && p.manager == "":
			p.manager = who
		}
	case "job":
		name, _ := l.vals["zone"].(string)
		zone, err := time.LoadLocation(name)
		if err != nil || name == "" || name == "Local" {
			return fmt.Errorf("%s is not a time zone like America/Chicago", shown(name))
		}
		if p.s.zone == nil {
			p.s.zone = zone
		}
	}
	l.author = p.foreman
	if l.device == Office {
		l.author = p.manager
	}
	if who, ok := p.authors[l.device]; ok {
		l.author = who
	}
	return nil
}

// when reads the time in front of a line.
func (p *parser) when(r *reader, l *line) (about bool, err error) {
	about = r.take("about")
	if r.done() {
		return about, nil
	}
	from, to, lasts, ok := span(r.words[r.at].text)
	if !ok {
		if about || r.words[r.at].text != "" && digit(r.words[r.at].text[0]) {
			return about, fmt.Errorf("%s is not a time; write 07:15, or 07:15-08:40 from one to another", shown(r.words[r.at].text))
		}
		return about, nil
	}
	if lasts && to.order() <= from.order() {
		return about, fmt.Errorf("%s is not after %s", to, from)
	}
	r.at++
	l.timed, l.from, l.to, l.lasts = true, from, to, lasts
	return about, nil
}

// span reads 07:15 or 07:15-08:40.
func span(text string) (from, to clock, lasts, ok bool) {
	first, last, lasts := strings.Cut(text, "-")
	from, ok = parseClock(first)
	if lasts && ok {
		to, ok = parseClock(last)
	}
	return from, to, lasts, ok
}

// sentence reads what is said after the time.
func (p *parser) sentence(r *reader, l *line) (values, error) {
	all, err := sentences()
	if err != nil {
		return nil, err
	}
	start := r.at
	if r.done() {
		return nil, errors.New("a time, but nothing that happened then")
	}
	if r.json != "" {
		return p.otherAs(r, l)
	}
	for _, s := range all {
		r.at, r.names = start, nil
		if v, ok := r.read(s, common()); ok {
			l.kind, l.known, l.names = s.kind.Name, s.kind, r.names
			return v, nil
		}
	}
	if r.far <= start {
		return nil, fmt.Errorf("no line begins with %s; this could stand here: %s", shown(r.text[r.words[start].begin:]), beginnings(all))
	}
	return nil, r.err()
}

// otherAs reads: other hologram, by ada, as {"glow": true}.
func (p *parser) otherAs(r *reader, l *line) (values, error) {
	if !json.Valid([]byte(r.json)) {
		return nil, fmt.Errorf("%s is not the JSON of a body", shown(r.json))
	}
	if !r.take("other") {
		return nil, errors.New("a body as JSON stands behind other and its kind")
	}
	kind, ok := r.next("a kind")
	if !ok {
		return nil, r.err()
	}
	v, ok := r.read(&sentence{heads: [][]part{nil}}, common())
	if !ok {
		return nil, r.err()
	}
	l.kind, l.raw = kind, json.RawMessage(r.json)
	l.known, _ = daylog.FindKind(kind)
	return v, nil
}

func beginnings(all []*sentence) string {
	var out []string
	for _, s := range all {
		out = append(out, s.heads[0][0].words[0])
	}
	return either(append(out, "strike", "correct"))
}

// settle moves what the common clauses said from the values to the line.
func (p *parser) settle(l *line, v values, about bool) error {
	if about {
		l.about, l.exact = aboutMinutes, true
	}
	if list, ok := v["by"].([]any); ok {
		for _, who := range list {
			l.by = append(l.by, who.(string))
		}
	}
	if at, ok := v["written"].(clock); ok {
		l.written, l.late = at, true
	}
	if min, ok := v["within"].(float64); ok {
		if min < 0 || min > 12*60 {
			return errors.New("within is 0 to 720 min")
		}
		l.about, l.exact = int(min), true
	}
	if _, ok := v["exact"]; ok {
		l.about, l.exact = 0, true
	}
	if name, ok := v["tablet"].(string); ok {
		if !plainName(name) {
			return errors.New("a tablet has a name of letters and figures: on tablet b")
		}
		l.device, l.said = name, true
	}
	l.why, _ = v["why"].(string)
	if field, ok := v["odd"].(string); ok {
		l.odd = map[string]string{field: v["odd text"].(string)}
	}
	_, l.asTyped = v["as written"]
	for _, name := range commonNames {
		delete(v, name)
	}
	l.vals = v
	return nil
}

// aboutMinutes is how far a time may be off that was not tapped as it happened.
const aboutMinutes = 15

// reference reads the time and first words of another line, up to where the
// words end.
func (p *parser) reference(r *reader, ends func() bool) (*reference, error) {
	ref := &reference{}
	if r.done() {
		return nil, errors.New("say which line: its time and its first words")
	}
	if date, err := daylog.ParseDate(r.words[r.at].text); err == nil {
		ref.date = date
		r.at++
	}
	if r.done() {
		return nil, errors.New("say which line: its time and its first words")
	}
	var ok bool
	if ref.from, ref.to, ref.lasts, ok = span(r.words[r.at].text); !ok {
		return nil, fmt.Errorf("%s is not the time of a line", shown(r.words[r.at].text))
	}
	r.at++
	for !r.done() && !ends() {
		ref.words = append(ref.words, r.words[r.at].text)
		r.at++
	}
	return ref, nil
}

// toRead reports whether "to read" stands here.
func (r *reader) toRead() bool {
	return r.is("to") && r.at+1 < len(r.words) && r.words[r.at+1].text == "read"
}

// correction reads: correct 10:36 panel 3 to read 10:20 panel 3 in position.
func (p *parser) correction(r *reader, l *line) error {
	var err error
	if l.of, err = p.reference(r, r.toRead); err != nil {
		return err
	}
	if !r.take("to", "read") {
		return errors.New("a correction says what the line should read: correct 10:36 panel 3 to read 10:20 panel 3 in position")
	}
	written := l.from
	about, err := p.when(r, l)
	if err != nil {
		return err
	}
	l.first = r.at
	v, err := p.sentence(r, l)
	if err != nil {
		return err
	}
	if err := p.settle(l, v, about); err != nil {
		return err
	}
	if l.late {
		return errors.New("a correction is written at the time in front of its line")
	}
	l.written, l.late = written, true
	if !l.exact && l.from == l.of.from && (l.lasts == l.of.lasts || !l.of.lasts) {
		l.about, l.exact = -1, true // as it was
	}
	return nil
}

// hearing reads: b and office hear each other.
func (p *parser) hearing(r *reader, l *line) bool {
	start := r.at
	var names []string
	if r.items(func() bool {
		r.take("tablet")
		name, ok := r.next("")
		if ok = ok && plainName(name); ok {
			names = append(names, name)
		}
		return ok
	}) && r.take("hear", "each", "other") && len(names) > 1 {
		l.act, l.hear = hearing, names
		return true
	}
	r.at = start
	return false
}

func (p *parser) newVariant(r *reader) error {
	said, ok := readText(r, daylog.Field{}, nil)
	if !ok || !r.done() {
		return errors.New("a variant has a name: variant \"no test at 10:16\"")
	}
	name := said.(string)
	if p.day < 0 {
		return errors.New("a variant changes a day; it stands behind the days")
	}
	if slices.Contains(p.s.Variants(), name) {
		return fmt.Errorf("two variants are called %s", shown(name))
	}
	p.s.variants = append(p.s.variants, variant{name: name})
	p.variant = &p.s.variants[len(p.s.variants)-1]
	p.day, p.device, p.above = 0, "", nil
	return nil
}

// edit reads a line of a variant.
func (p *parser) edit(r *reader) error {
	e := edit{no: p.no, day: p.day}
	switch {
	case r.take("drop"):
		e.what = "drop"
	case r.take("move"):
		e.what = "move"
	case r.take("change"):
		e.what = "change"
	case r.take("add"):
		e.what = "add"
		l, err := p.readFrom(r)
		if err != nil {
			return err
		}
		if !l.timed && !p.variant.dated {
			l.day = -1 // set-up, on board everywhere
		}
		e.line = l
		p.variant.edits = append(p.variant.edits, e)
		return nil
	default:
		return errors.New("a variant's lines drop, move, change or add a line, or say with @ what is found")
	}
	ends := r.toRead
	switch e.what {
	case "drop":
		ends = func() bool { return false }
	case "move":
		ends = func() bool { return r.is("to") && r.at == len(r.words)-2 }
	}
	ref, err := p.reference(r, ends)
	if err != nil {
		return err
	}
	e.ref = *ref
	switch e.what {
	case "move":
		if !r.take("to") || r.at != len(r.words)-1 {
			return errors.New("move says a new time: move 08:30 panel 5 to 09:05")
		}
		var ok bool
		if e.from, e.to, e.last, ok = span(r.words[r.at].text); !ok || e.last && e.to.order() <= e.from.order() {
			return fmt.Errorf("%s is not a time", shown(r.words[r.at].text))
		}
	case "change":
		if !r.take("to", "read") || r.done() {
			return errors.New("change says what the line reads instead: change 10:16 finger test to read 10:20 finger test 4|5 passes")
		}
		if e.line, err = p.readFrom(r); err != nil {
			return err
		}
	}
	p.variant.edits = append(p.variant.edits, e)
	return nil
}

// readFrom reads what stands from here on as a line of its own.
func (p *parser) readFrom(r *reader) (*line, error) {
	if r.done() {
		return nil, errors.New("no line stands here")
	}
	from := r.words[r.at].begin
	own := &reader{text: r.text[from:], json: r.json, persons: p.s.persons}
	var err error
	if own.words, err = split(own.text); err != nil {
		return nil, err
	}
	return p.read(own, p.no)
}

func (p *parser) finish() error {
	switch {
	case p.s.zone == nil:
		return errors.New(`no line says which job: job "Invented hall" in America/Chicago`)
	case len(p.s.dates) == 0:
		return errors.New("the script has no day: day 2026-10-06")
	}
	if len(p.s.tablets) == 0 {
		p.s.tablets = []string{"a"}
	}
	return nil
}
