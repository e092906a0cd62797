package script

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// A form is how values of one type of field stand on a line. To write a new
// type of field, give it a form.
type form struct {
	name string // what is expected where one is missing
	// read reads the value, as it stands in JSON; next are the words of the
	// sentence that follow it. Where it cannot, it tells the reader why.
	read func(r *reader, f daylog.Field, next []string) (any, bool)
	// say prints a value as decoded from JSON.
	say func(v any, f daylog.Field) (string, bool)
}

// Types of slots that no form on a screen has.
const (
	oneWord daylog.FieldType = "word"
	finding daylog.FieldType = "finding" // a rule, and where it speaks
	signed  daylog.FieldType = "signed"  // a length that may be less than nothing
	sides   daylog.FieldType = "sides"   // the way around a roof
	sheets  daylog.FieldType = "sheets"  // the panels of a row and their widths
	whole                    = daylog.Whole
)

var forms map[daylog.FieldType]form

// Reading a list asks for the forms of its sentence's clauses, so the table
// cannot be written as one value.
func init() {
	name := form{"a name", readWord, sayText}
	forms = map[daylog.FieldType]form{
		daylog.Text:     {"a text", readText, sayText},
		daylog.LongText: {"a text", readText, sayText},
		daylog.Choice:   {"a choice", readText, sayText},
		daylog.Calendar: {"a date such as 2026-10-06", readText, sayText},
		oneWord:         name,
		daylog.Number:   {"a number", readNumber, sayNumber},
		daylog.Temp:     {"degrees F", readNumber, sayNumber},
		whole:           {"a whole number", readWhole, sayNumber},
		daylog.Length:   {"a length such as 41 ft", readLength, sayLength},
		signed:          {"a length such as 41 ft", readLength, sayLength},
		daylog.Clock:    {"a time such as 16:30", readClock, sayClock},
		daylog.Tick:     {"yes or no", readYes, sayYes},
		daylog.PanelName: {"a panel", func(r *reader, f daylog.Field, _ []string) (any, bool) {
			return r.panel()
		}, sayText},
		daylog.SeamName: {"a seam such as 2|3", func(r *reader, f daylog.Field, _ []string) (any, bool) {
			return r.seam()
		}, sayText},
		daylog.PanelNames: {"panels such as 5 and 6", readPanels, sayNames},
		daylog.SeamNames:  {"seams such as 2|3 and 3|4", readList((*reader).seam), sayNames},
		daylog.Persons:    {"persons such as ada and bo", readList((*reader).person), sayNames},
		daylog.SeamEnds:   {"sides such as south and north", readList((*reader).side), sayNames},
		daylog.Many:       {"names such as 5@north and 5@south", readMany, sayNames},
		daylog.Places:     {"places such as 2|3 at 41 ft, south and north", readPlaces, sayPlaces},
		daylog.Laps:       {"places along the seam such as 41 ft of 2 in", readLaps, sayLaps},
		daylog.PanelParts: {"panels such as 5 and 6 less 4 ft strip", readPanelParts, sayPanelParts},
		daylog.Stretches:  {"stretches such as 2|3 0 to 4 ft", readStretches, sayStretches},
		finding:           {"a rule and its place, such as edge-open on 2|3 at 41 ft", readFinding, sayFinding},
		sides:             {"sides such as east 100 ft, north 50 ft", readSides, nil},
		sheets:            {"panels and widths such as 1 to 10 of 20 ft", readSheets, nil},
	}
}

// next takes any one unquoted word but a comma.
func (r *reader) next(awaited string) (string, bool) {
	if r.done() || r.words[r.at].quoted || r.is(",") {
		r.await(awaited)
		return "", false
	}
	r.at++
	return r.words[r.at-1].text, true
}

func readWord(r *reader, _ daylog.Field, _ []string) (any, bool) { return r.next("a name") }

// readText reads a text in quotes, or words up to a comma that another clause
// follows.
func readText(r *reader, _ daylog.Field, next []string) (any, bool) {
	if r.done() || r.is(",") {
		r.await("a text")
		return nil, false
	}
	if w := r.words[r.at]; w.quoted {
		r.at++
		return w.text, true
	}
	begin := r.words[r.at].begin
	for !r.done() && !slices.ContainsFunc(next, r.is) {
		if r.is(",") && r.ends(1) {
			break
		}
		r.at++
	}
	if r.words[max(r.at-1, 0)].end <= begin {
		r.await("a text")
		return nil, false
	}
	return r.text[begin:r.words[r.at-1].end], true
}

func sayText(v any, f daylog.Field) (string, bool) {
	text, ok := v.(string)
	if !ok || text == "" || strings.ContainsFunc(text, func(r rune) bool { return r < ' ' }) {
		return "", false
	}
	switch f.Type {
	case daylog.Text, daylog.LongText, daylog.Choice:
		if strings.ContainsAny(text, " ,\"\t") {
			return quote(text), true
		}
		return text, true
	}
	return text, !strings.ContainsAny(text, " ,\"\t")
}

func readNumber(r *reader, f daylog.Field, next []string) (any, bool) {
	if r.done() {
		r.await("a number")
		return nil, false
	}
	n, err := strconv.ParseFloat(strings.ReplaceAll(r.words[r.at].text, ",", ""), 64)
	if err != nil || r.words[r.at].quoted || n-n != 0 {
		r.await("a number")
		return nil, false
	}
	r.at++
	if f.Unit != "" && !slices.Contains(next, f.Unit) {
		r.take(strings.Fields(f.Unit)...)
	}
	return n, true
}

func readWhole(r *reader, f daylog.Field, next []string) (any, bool) {
	start := r.at
	v, ok := readNumber(r, f, next)
	if n, _ := v.(float64); ok && (n != float64(int64(n)) || n < -1e9 || n > 1e9) {
		r.at = start
		r.await("a whole number")
		return nil, false
	}
	return v, ok
}

func sayNumber(v any, f daylog.Field) (string, bool) {
	n, ok := v.(float64)
	text := strconv.FormatFloat(n, 'f', -1, 64)
	if f.Unit != "" {
		text += " " + f.Unit
	}
	return text, ok
}

func readYes(r *reader, _ daylog.Field, _ []string) (any, bool) {
	switch {
	case r.take("yes"):
		return true, true
	case r.take("no"):
		return false, true
	}
	r.await("yes or no")
	return nil, false
}

func sayYes(v any, _ daylog.Field) (string, bool) {
	yes, ok := v.(bool)
	if yes {
		return "yes", ok
	}
	return "no", ok
}

func readLength(r *reader, f daylog.Field, _ []string) (any, bool) { return r.length(f) }

// length reads figures and units for as long as they make a length.
func (r *reader) length(f daylog.Field) (any, bool) {
	end := r.at
	for end < len(r.words) && end < r.at+6 && !r.words[end].quoted && ofLength(r.words[end].text) {
		end++
	}
	if end == r.at {
		r.await("a length such as 41 ft")
		return nil, false
	}
	bare := roofplan.Foot
	if f.Unit == "in" {
		bare = roofplan.Inch
	}
	read := roofplan.ParseLength
	if f.Type == signed {
		read = roofplan.ParseSigned
	}
	var first error
	for ; end > r.at; end-- {
		l, err := read(r.text[r.words[r.at].begin:r.words[end-1].end], bare)
		if err == nil {
			r.at = end
			return float64(l), true
		}
		if first == nil {
			first = err
		}
	}
	r.wrong(first)
	return nil, false
}

func ofLength(text string) bool {
	switch text {
	case "ft", "in", "m", "cm", "mm":
		return true
	}
	return digit(text[0]) || len(text) > 1 && text[0] == '-' && digit(text[1])
}

func sayLength(v any, f daylog.Field) (string, bool) {
	n, ok := v.(float64)
	if !ok || n < 0 && f.Type != signed || roofplan.Length(n) > roofplan.Longest {
		return "", false
	}
	return roofplan.Length(n).String(), true
}

// A clock is a time of the day in minutes. Before 04:00 it belongs to the
// night after the day.
type clock int

func (c clock) String() string { return fmt.Sprintf("%02d:%02d", int(c)/60, int(c)%60) }

// parseClock reads 7:15 or 07:15.
func parseClock(text string) (clock, bool) {
	h, m, found := strings.Cut(text, ":")
	if !found || len(m) != 2 || len(h) < 1 || len(h) > 2 {
		return 0, false
	}
	for _, c := range []byte(h + m) {
		if !digit(c) {
			return 0, false
		}
	}
	hour, _ := strconv.Atoi(h)
	minute, _ := strconv.Atoi(m)
	return clock(hour*60 + minute), hour < 24 && minute < 60
}

// sort gives the minutes since the midnight before the day's work.
func (c clock) order() int {
	if c < nightEnds {
		return int(c) + 24*60
	}
	return int(c)
}

const nightEnds = clock(4 * 60)

func readClock(r *reader, _ daylog.Field, _ []string) (any, bool) { return r.clock() }

func (r *reader) clock() (any, bool) {
	if !r.done() && !r.words[r.at].quoted {
		if c, ok := parseClock(r.words[r.at].text); ok {
			r.at++
			return c, true
		}
	}
	r.await("a time such as 16:30")
	return nil, false
}

func sayClock(v any, _ daylog.Field) (string, bool) {
	c, ok := v.(clock)
	return c.String(), ok
}

// named is a panel, seam or place that a line names, to be looked for on the
// plan.
type named struct{ what, name string }

func (r *reader) panel() (any, bool) {
	r.take("panel")
	if r.done() || strings.ContainsAny(r.words[r.at].text, "|@:") {
		r.await("a panel")
		return nil, false
	}
	name, ok := r.next("a panel")
	r.names = append(r.names, named{"panel", name})
	return name, ok
}

func (r *reader) seam() (any, bool) {
	if r.done() || strings.Count(r.words[r.at].text, "|") != 1 || strings.Contains(r.words[r.at].text, "@") {
		r.await("a seam such as 2|3")
		return nil, false
	}
	name, ok := r.next("a seam such as 2|3")
	r.names = append(r.names, named{"seam", name})
	return name, ok
}

func (r *reader) person() (any, bool) {
	start := r.at
	name, ok := r.next("a person")
	if ok && r.persons != nil && !slices.Contains(r.persons, name) {
		r.at = start
		r.wrong(fmt.Errorf("no person %s is on the job; a line such as: person ada \"Ada Invented\" sets one up", shown(name)))
		return nil, false
	}
	return name, ok
}

// side reads the name of a side of the roof, which may have several words.
func (r *reader) side() (any, bool) {
	var words []string
	for !r.done() && r.parting() == 0 && !r.words[r.at].quoted {
		words = append(words, r.words[r.at].text)
		r.at++
	}
	if len(words) == 0 {
		r.await("a side such as south")
		return nil, false
	}
	return strings.Join(words, " "), true
}

// readMany reads names that may have several words: warning line and net. One
// in quotes may hold any word.
func readMany(r *reader, _ daylog.Field, next []string) (any, bool) {
	var out []any
	ok := r.items(func() bool {
		if !r.done() && r.words[r.at].quoted {
			out = append(out, r.words[r.at].text)
			r.at++
			return true
		}
		var words []string
		for !r.done() && r.parting() == 0 && !r.words[r.at].quoted && !slices.ContainsFunc(next, r.is) {
			words = append(words, r.words[r.at].text)
			r.at++
		}
		if len(words) == 0 {
			r.await("a name")
			return false
		}
		out = append(out, strings.Join(words, " "))
		return true
	})
	return out, ok
}

func readList(item func(*reader) (any, bool)) func(*reader, daylog.Field, []string) (any, bool) {
	return func(r *reader, _ daylog.Field, _ []string) (any, bool) {
		var out []any
		ok := r.items(func() bool {
			v, ok := item(r)
			if ok {
				out = append(out, v)
			}
			return ok
		})
		return out, ok
	}
}

func sayNames(v any, _ daylog.Field) (string, bool) {
	list, ok := v.([]any)
	names := make([]string, len(list))
	for i, v := range list {
		name, isText := v.(string)
		if ok = ok && isText && name != "" && !strings.ContainsAny(name, ",\"\t"); !ok {
			return "", false
		}
		names[i] = name
	}
	return join(names), ok && len(names) > 0
}

// join joins words as one says them: "a, b and c".
func join(words []string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
	return strings.Join(words, "")
}

// readPanels reads 1, 2 and 5, or 1 to 4.
func readPanels(r *reader, _ daylog.Field, _ []string) (any, bool) {
	var out []any
	ok := r.items(func() bool {
		r.take("panels")
		v, ok := r.panel()
		if !ok {
			return false
		}
		names, ok := r.upTo(v.(string))
		for _, name := range names {
			out = append(out, name)
		}
		return ok
	})
	return out, ok
}

// upTo reads the "to 4" of 1 to 4, if it is there, and counts.
func (r *reader) upTo(first string) ([]string, bool) {
	if !r.take("to") {
		return []string{first}, true
	}
	start := r.at
	last, ok := r.next("a panel's number")
	from, err := strconv.Atoi(first)
	to, err2 := strconv.Atoi(last)
	if !ok || err != nil || err2 != nil || to <= from || to-from > 2000 {
		r.at = start
		r.await("a higher number, at most 2,000 on")
		return nil, false
	}
	var names []string
	for n := from; n <= to; n++ {
		names = append(names, strconv.Itoa(n))
		r.names = append(r.names, named{"panel", strconv.Itoa(n)})
	}
	return names, true
}

// readPlaces reads places: 2|3 at 41 ft, south and north, splices 2|3 south
// and north. A place without a seam is on the seam named last; "splice" holds
// until "cover".
func readPlaces(r *reader, _ daylog.Field, _ []string) (any, bool) {
	var out []any
	on, what := "", daylog.Cover
	ok := r.items(func() bool {
		place, ok := r.place(&on, &what)
		if ok {
			out = append(out, place)
		}
		return ok
	})
	return out, ok
}

func (r *reader) place(on *string, what *daylog.What) (any, bool) {
	switch {
	case r.take("cover"), r.take("covers"):
		*what = daylog.Cover
	case r.take("splice"), r.take("splices"), r.take("vertical", "splice"), r.take("vertical", "splices"):
		*what = daylog.Splice
	}
	r.take("on")
	place := values{}
	if *what != daylog.Cover {
		place["what"] = string(*what)
	}
	start := r.at
	seam, alone := *on, false
	if !r.done() && !r.words[r.at].quoted && strings.Contains(r.words[r.at].text, "|") {
		seam = r.words[r.at].text
		r.at++
		alone = true
		if before, _, edge := strings.Cut(seam, "@"); edge {
			*on = before
			place["on"] = seam
			r.names = append(r.names, named{"place", seam})
			return place, true
		}
		*on = seam
	}
	if seam == "" {
		r.await("a place such as 2|3 at 41 ft")
		return nil, false
	}
	if r.take("at") {
		at, ok := r.length(daylog.Field{})
		if !ok {
			return nil, false
		}
		place["on"] = seam
		if at != 0.0 {
			place["at"] = at
		}
		r.names = append(r.names, named{"seam", seam})
		return place, true
	}
	if alone && (r.done() || r.parting() > 0 || r.ends(0)) {
		place["on"] = seam
		r.names = append(r.names, named{"place", seam})
		return place, true
	}
	edge, ok := r.side()
	if !ok {
		r.at = start
		return nil, false
	}
	place["on"] = seam + "@" + edge.(string)
	r.names = append(r.names, named{"place", place["on"].(string)})
	return place, true
}

func sayPlaces(v any, _ daylog.Field) (string, bool) {
	list, ok := v.([]any)
	var out []string
	seam, splice := "", false
	for _, v := range list {
		place, isPlace := v.(map[string]any)
		on, _ := place["on"].(string)
		if !isPlace || on == "" {
			return "", false
		}
		said := ""
		switch what, _ := place["what"].(string); daylog.What(what) {
		case daylog.Cover:
			if splice {
				said, seam = "covers ", ""
			}
			splice = false
		case daylog.Splice:
			if !splice {
				said, seam = "splices ", ""
			}
			splice = true
		default:
			return "", false
		}
		here, edge, atEdge := strings.Cut(on, "@")
		at, _ := place["at"].(float64)
		if here != seam || !atEdge && at == 0 {
			said += here
			if atEdge || at != 0 {
				said += " "
			}
		}
		if atEdge {
			said += edge
		} else if at != 0 {
			text, ok := sayLength(at, daylog.Field{})
			if !ok {
				return "", false
			}
			said += "at " + text
		}
		seam = here
		out = append(out, said)
	}
	return join(out), ok && len(out) > 0
}

// readLaps reads tape end laps: 52 ft of 2 in and 60 ft.
func readLaps(r *reader, _ daylog.Field, _ []string) (any, bool) {
	var out []any
	ok := r.items(func() bool {
		at, ok := r.length(daylog.Field{})
		if !ok {
			return false
		}
		lap := values{"at": at}
		if r.take("of") {
			by, ok := r.length(daylog.Field{Unit: "in"})
			if !ok {
				return false
			}
			lap["lap"] = by
		}
		out = append(out, lap)
		return true
	})
	return out, ok
}

func sayLaps(v any, _ daylog.Field) (string, bool) {
	list, ok := v.([]any)
	var out []string
	for _, v := range list {
		lap, _ := v.(map[string]any)
		at, okAt := sayLength(lap["at"], daylog.Field{})
		if !okAt {
			return "", false
		}
		if by, there := lap["lap"]; there {
			text, okBy := sayLength(by, daylog.Field{})
			if !okBy {
				return "", false
			}
			at += " of " + text
		}
		out = append(out, at)
	}
	return join(out), ok && len(out) > 0
}

// between reads "0 to 50 ft".
func (r *reader) between(into values) bool {
	from, ok := r.length(daylog.Field{})
	if !ok {
		return false
	}
	if !r.take("to") {
		r.await(shown("to"))
		return false
	}
	to, ok := r.length(daylog.Field{})
	into["from"], into["to"] = from, to
	return ok
}

func sayBetween(v map[string]any) (string, bool) {
	from, okFrom := sayLength(v["from"], daylog.Field{})
	to, okTo := sayLength(v["to"], daylog.Field{})
	return bareFeet(from) + " to " + to, okFrom && okTo
}

// bareFeet leaves the unit out of whole feet: 0 to 50 ft.
func bareFeet(text string) string {
	feet, whole := strings.CutSuffix(text, " ft")
	if !whole || strings.Contains(feet, " ") {
		return text
	}
	return feet
}

// readPanelParts reads panels or lengths of them: 5 and 6 from 0 to 60 ft less
// 4 ft strip.
func readPanelParts(r *reader, _ daylog.Field, _ []string) (any, bool) {
	var out []any
	ok := r.items(func() bool {
		name, ok := r.panel()
		if !ok {
			return false
		}
		p := values{"panel": name}
		if r.take("from") && !r.between(p) {
			return false
		}
		if r.take("less") {
			less, ok := r.length(daylog.Field{})
			if !ok {
				return false
			}
			r.take("strip")
			p["less"] = less
		}
		out = append(out, p)
		return true
	})
	return out, ok
}

func sayPanelParts(v any, _ daylog.Field) (string, bool) {
	list, ok := v.([]any)
	var out []string
	for _, v := range list {
		p, _ := v.(map[string]any)
		said, okName := sayText(p["panel"], daylog.Field{})
		if !okName {
			return "", false
		}
		if from, to := p["from"], p["to"]; (from != nil && from != 0.0) || (to != nil && to != 0.0) {
			text, ok := sayBetween(p)
			if !ok {
				return "", false
			}
			said += " from " + text
		}
		if less, there := p["less"]; there {
			text, ok := sayLength(less, daylog.Field{})
			if !ok {
				return "", false
			}
			said += " less " + text + " strip"
		}
		out = append(out, said)
	}
	return join(out), ok && len(out) > 0
}

// readStretches reads parts of seams: 2|3 0 to 4 ft and 96 to 100 ft. A seam
// alone is all of it.
func readStretches(r *reader, _ daylog.Field, _ []string) (any, bool) {
	var out []any
	on := ""
	ok := r.items(func() bool {
		start := r.at
		seam, fresh := r.seam()
		if !fresh {
			if r.at = start; on == "" {
				return false
			}
			seam = on
		}
		on = seam.(string)
		s := values{"seam": on}
		if fresh && (r.done() || r.parting() > 0) {
			out = append(out, s)
			return true
		}
		out = append(out, s)
		return r.between(s)
	})
	return out, ok
}

func sayStretches(v any, _ daylog.Field) (string, bool) {
	list, ok := v.([]any)
	var out []string
	on := ""
	for _, v := range list {
		s, _ := v.(map[string]any)
		seam, okSeam := sayText(s["seam"], daylog.Field{})
		text, okPart := sayBetween(s)
		if !okSeam || !okPart {
			return "", false
		}
		if seam != on {
			text = seam + " " + text
		}
		on = seam
		out = append(out, text)
	}
	return join(out), ok && len(out) > 0
}

// readFinding reads a rule and perhaps one place, and gives the warning's key.
func readFinding(r *reader, _ daylog.Field, _ []string) (any, bool) {
	if !r.done() && r.words[r.at].quoted { // the key itself
		r.at++
		return r.words[r.at-1].text, true
	}
	rule, ok := r.next("a rule")
	if !ok || !r.take("on") {
		return rule, ok
	}
	where, ok := r.where()
	if !ok {
		return nil, false
	}
	return rule + " " + where[0].Place, true
}

func sayFinding(v any, f daylog.Field) (string, bool) {
	key, ok := v.(string)
	return quote(key), ok && key != ""
}
