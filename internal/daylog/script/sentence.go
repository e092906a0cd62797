package script

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"duskline/internal/daylog"
)

// A sentence is how a line says one kind of act, or one line of set-up: a head
// and clauses that may follow it. The package comment gives its notation. On
// the line clauses stand in any order, each behind a comma or "and"; the first
// one may follow the head directly.
type sentence struct {
	kind    *daylog.Kind // nil for lines of the plan
	heads   [][]part     // one for each way to leave out what is in brackets
	clauses []clause
}

type clause struct {
	parts []part
	any   bool // any act may have it
}

// A part is words, or a slot.
type part struct {
	words []string // any one of them
	slot  *slot
}

type slot struct {
	daylog.Field
	value any // what the words stand for; nil: read it
}

// compile reads a pattern. types gives the fields it may name.
func compile(kind *daylog.Kind, pattern string, fields []daylog.Field) (*sentence, error) {
	s := &sentence{kind: kind}
	texts := strings.Split(pattern, ";")
	head, inside, found := strings.Cut(texts[0], "[")
	ways := []string{texts[0]}
	if found {
		inside, rest, closed := strings.Cut(inside, "]")
		if !closed || strings.ContainsAny(rest, "[]") {
			return nil, fmt.Errorf("%q: one part in brackets is as much as there can be", pattern)
		}
		ways = []string{head + inside + rest, head + rest}
	}
	for _, way := range ways {
		parts, err := compileParts(way, fields)
		if err != nil {
			return nil, fmt.Errorf("%q: %w", pattern, err)
		}
		s.heads = append(s.heads, parts)
	}
	for _, text := range texts[1:] {
		parts, err := compileParts(text, fields)
		if err != nil {
			return nil, fmt.Errorf("%q: %w", pattern, err)
		}
		s.clauses = append(s.clauses, clause{parts: parts})
	}
	return s, nil
}

func compileParts(text string, fields []daylog.Field) ([]part, error) {
	var parts []part
	for text = strings.TrimSpace(text); text != ""; text = strings.TrimSpace(text) {
		if text[0] != '{' {
			end := strings.IndexAny(text, " {,")
			switch {
			case end < 0:
				end = len(text)
			case end == 0: // a comma
				end = 1
			}
			parts = append(parts, part{words: strings.Split(text[:end], "/")})
			text = text[end:]
			continue
		}
		inside, rest, closed := strings.Cut(text[1:], "}")
		if !closed {
			return nil, fmt.Errorf("a slot is not closed")
		}
		text = rest
		name, value, fixed := strings.Cut(inside, "=")
		name, kind, typed := strings.Cut(name, ":")
		sl := &slot{Field: daylog.Field{Name: name, Type: daylog.FieldType(kind)}}
		i := slices.IndexFunc(fields, func(f daylog.Field) bool { return f.Name == name })
		switch {
		case typed:
		case i >= 0:
			sl.Field = fields[i]
		case !fixed:
			return nil, fmt.Errorf("no field %q, and no type is said", name)
		}
		if fixed {
			sl.value = value
		} else if sl.Type == daylog.Tick {
			sl.value = true
		} else if _, ok := forms[sl.Type]; !ok {
			return nil, fmt.Errorf("fields of type %q have no form on a line", sl.Type)
		}
		parts = append(parts, part{slot: sl})
	}
	return parts, nil
}

// begins gives the words with which the parts may begin, for saying what was
// expected.
func begins(parts []part) string {
	var out []string
	for _, p := range parts {
		if p.slot != nil {
			if p.slot.value == nil {
				out = append(out, forms[p.slot.Type].name)
			}
			break
		}
		out = append(out, p.words[0])
	}
	return strings.Join(out, " ")
}

// values are the fields of a line by name, as they will stand in JSON.
type values map[string]any

// A reader goes through the words of one line.
type reader struct {
	text  string
	words []word
	at    int
	json  string // of a body, behind the words; "" for none

	persons []string // of the job; nil: nobody was set up
	names   []named  // what the line named so far
	open    []clause // of the sentence being read: not yet said
	// How far any reading came, and what could have stood there.
	far     int
	awaited []string
	why     string // a sentence of its own on what stands there, if there is one
}

func (r *reader) done() bool { return r.at >= len(r.words) }

// is reports whether the next word is this one.
func (r *reader) is(text string) bool {
	return !r.done() && !r.words[r.at].quoted && r.words[r.at].text == text
}

// take goes past the next words if they are these.
func (r *reader) take(texts ...string) bool {
	if r.at+len(texts) > len(r.words) {
		return false
	}
	for i, text := range texts {
		if w := r.words[r.at+i]; w.quoted || w.text != text {
			return false
		}
	}
	r.at += len(texts)
	return true
}

// await notes that something else could have stood here.
func (r *reader) await(what string) {
	if r.at > r.far {
		r.far, r.awaited, r.why = r.at, nil, ""
	}
	if r.at == r.far && what != "" {
		r.awaited = append(r.awaited, what)
	}
}

// wrong notes, in a sentence, what is wrong with the word that stands here.
func (r *reader) wrong(err error) {
	r.await("")
	if r.at == r.far && r.why == "" {
		r.why = err.Error()
	}
}

// err says how far the line could be read and what was expected there.
func (r *reader) err() error {
	if r.why != "" {
		return fmt.Errorf("%s", r.why)
	}
	found := "the line ends"
	if r.far < len(r.words) {
		found = "there stands " + shown(r.text[r.words[r.far].begin:])
	}
	where := ""
	if r.far > 0 {
		where = "after " + shown(r.text[:r.words[min(r.far, len(r.words))-1].end]) + " "
	}
	return fmt.Errorf("%s%s was expected, but %s", where, either(r.awaited), found)
}

// read reads the whole line as the sentence, with the common clauses allowed
// behind it.
func (r *reader) read(s *sentence, common []clause) (values, bool) {
	start := r.at
	for _, head := range s.heads {
		r.at = start
		r.open = append(append([]clause(nil), s.clauses...), common...)
		v := values{}
		if r.parts(head, v) && r.rest(v) {
			return v, true
		}
	}
	return nil, false
}

// rest reads clauses to the end of the line.
func (r *reader) rest(v values) bool {
	for first := true; !r.done(); first = false {
		if n := r.parting(); n > 0 {
			r.at += n
		} else if !first {
			r.await("a comma")
			return false
		}
		start, found := r.at, false
		r.await("")
		far, awaited, why := r.far, r.awaited, r.why
		for i, c := range r.open {
			r.at = start
			all := r.open
			r.open = append(append([]clause(nil), r.open[:i]...), r.open[i+1:]...)
			if found = r.parts(c.parts, v); found {
				break
			}
			r.open = all
		}
		if !found {
			if r.at = start; r.far == start {
				r.far, r.awaited, r.why = far, awaited, why
				r.await("the end of the line")
				for _, c := range r.open {
					if !c.any {
						r.await(shown(begins(c.parts)))
					}
				}
			}
			return false
		}
	}
	return true
}

// parting counts the words here that part one item or clause from the next.
func (r *reader) parting() int {
	start := r.at
	defer func() { r.at = start }()
	switch {
	case r.take(",", "and"):
		return 2
	case r.take(","), r.take("and"):
		return 1
	}
	return 0
}

// ends reports whether nothing more of a list or text can stand at the word
// after the next n: the line ends there, or another clause begins.
func (r *reader) ends(n int) bool {
	if r.at+n >= len(r.words) {
		return true
	}
	far, awaited, why, start := r.far, r.awaited, r.why, r.at
	defer func() { r.far, r.awaited, r.why, r.at = far, awaited, why, start }()
	for _, c := range r.open {
		r.at = start + n
		// The words of a clause up to its first slot tell it; one that begins
		// with a figure is told by the word behind it.
		n := 1
		for n < len(c.parts) && c.parts[n].slot == nil {
			n++
		}
		if r.parts(c.parts[:n], values{}) {
			return true
		}
	}
	return false
}

func (r *reader) parts(parts []part, v values) bool {
	for i, p := range parts {
		if p.slot == nil {
			if !slices.ContainsFunc(p.words, func(w string) bool { return r.take(w) }) {
				r.await(shown(p.words[0]))
				return false
			}
			continue
		}
		if p.slot.value != nil {
			v[p.slot.Name] = p.slot.value
			continue
		}
		var next []string // the words that end a text
		if i+1 < len(parts) {
			next = parts[i+1].words
		}
		got, ok := forms[p.slot.Type].read(r, p.slot.Field, next)
		if !ok {
			return false
		}
		v[p.slot.Name] = got
	}
	return true
}

// items reads a list: a, b and c.
func (r *reader) items(item func() bool) bool {
	if !item() {
		return false
	}
	for {
		n := r.parting()
		if n == 0 || r.ends(n) {
			return true
		}
		start := r.at
		r.at += n
		if !item() {
			r.at = start
			return true
		}
	}
}

// say prints a body's fields as the sentence; false if it cannot say them all.
func (s *sentence) say(v values) (string, bool) {
	for _, head := range s.heads {
		left := maps.Clone(v)
		text, ok := sayParts(head, left)
		if !ok {
			continue
		}
		for _, c := range s.clauses {
			if said, ok := sayParts(c.parts, left); ok {
				text += ", " + said
			}
		}
		for name, value := range left {
			if empty(value) {
				delete(left, name)
			}
		}
		if len(left) == 0 {
			return text, true
		}
	}
	return "", false
}

func empty(v any) bool {
	switch v := v.(type) {
	case nil:
		return true
	case bool:
		return !v
	case string:
		return v == ""
	case []any:
		return len(v) == 0
	}
	return false
}

// sayParts prints parts and takes what they said out of left.
func sayParts(parts []part, left values) (string, bool) {
	var out strings.Builder
	var said []string
	for i, p := range parts {
		text := ""
		switch {
		case p.slot == nil:
			text = p.words[0]
		case p.slot.value != nil:
			if left[p.slot.Name] != p.slot.value {
				return "", false
			}
			said = append(said, p.slot.Name)
			continue
		default:
			value, there := left[p.slot.Name]
			if !there || empty(value) {
				return "", false
			}
			f := p.slot.Field
			if i+1 < len(parts) && slices.Contains(parts[i+1].words, f.Unit) {
				f.Unit = "" // the sentence says it
			}
			ok := false
			if text, ok = forms[f.Type].say(value, f); !ok {
				return "", false
			}
			said = append(said, p.slot.Name)
			if f.Type == daylog.Length && i+1 < len(parts) && slices.Contains(parts[i+1].words, "to") {
				text = bareFeet(text)
			}
		}
		if i > 0 && text != "," {
			out.WriteByte(' ')
		}
		out.WriteString(text)
	}
	for _, name := range said {
		delete(left, name)
	}
	return out.String(), true
}
