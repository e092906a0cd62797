package web

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// longestText is where a text field ends; more is asked about, not cut off.
const longestText = 2000

// longestName is more than anybody paints on a sheet.
const longestName = 40

// values are fields of a body as they stand in its JSON form.
type values map[string]any

// valuesOf gives a body's fields.
func valuesOf(b daylog.Body) (values, error) {
	raw, err := json.Marshal(b)
	if err != nil {
		return nil, err
	}
	v := values{}
	return v, json.Unmarshal(raw, &v)
}

// into fills a body from fields.
func (v values) into(b daylog.Body) error {
	raw, err := json.Marshal(v)
	if err != nil {
		return err
	}
	return json.Unmarshal(raw, b)
}

// unread is a sentence about text that could not be read as what a field asks.
type unread string

func (u unread) Error() string { return string(u) }

// shown quotes what was typed, cut short where it is long.
func shown(text string) string {
	const most = 40
	if utf8.RuneCountInString(text) > most {
		text = string([]rune(text)[:most]) + " ..."
	}
	return strconv.Quote(text)
}

// readField reads what was typed for a field. Nothing typed is a nil value.
// The error is a sentence for the field.
func (v *visit) readField(f daylog.Field, form url.Values) (any, error) {
	text := strings.TrimSpace(form.Get(f.Name))
	if f.Type == daylog.Tick {
		if text == "" {
			return nil, nil
		}
		return true, nil
	}
	if strings.ContainsRune(form.Get(f.Name)+form.Get(f.Name+"-other"), utf8.RuneError) {
		return nil, unread("This holds characters that could not be read.")
	}
	switch f.Type {
	case daylog.PanelName, daylog.SeamName:
		if other := strings.TrimSpace(form.Get(f.Name + "-other")); other != "" {
			text = other
		}
		if text == "" {
			return nil, nil
		}
		return readName(text)
	case daylog.PanelNames, daylog.SeamNames, daylog.Persons, daylog.SeamEnds:
		return readNames(form[f.Name], form.Get(f.Name+"-other"))
	case daylog.Many:
		return readMany(f, form)
	case daylog.Places:
		return v.readPlaces(f, form)
	case daylog.Laps:
		return readLaps(f, form)
	case daylog.PanelParts:
		return readParts(f, form)
	case daylog.Stretches:
		return v.readStretches(f, form)
	}
	if text == "" {
		return nil, nil
	}
	switch f.Type {
	case daylog.Text, daylog.LongText:
		if n := utf8.RuneCountInString(text); n > longestText {
			return nil, unread(fmt.Sprintf("This is %s characters long; %s are read with ease.", trimNumber(float64(n)), trimNumber(longestText)))
		}
		return clean(text), nil
	case daylog.Number, daylog.Temp:
		return readNumber(text, f)
	case daylog.Whole:
		n, err := readNumber(text, f)
		if err == nil && n != math.Trunc(n) {
			return nil, unread(f.Label + " is counted in whole " + cmp.Or(f.Unit, "numbers") + ".")
		}
		return n, err
	case daylog.Length:
		l, err := roofplan.ParseLength(text, roofplan.Unit(f.Unit))
		if err != nil {
			return nil, sentence(err)
		}
		return l, nil
	case daylog.Choice:
		for _, o := range f.Options {
			if o.Value == text {
				return text, nil
			}
		}
		return nil, unread("This is none of the answers. Tap one of them.")
	case daylog.Clock:
		return v.readClock(text)
	case daylog.Calendar:
		return readDate(text)
	}
	return nil, unread("This cannot be typed here.")
}

// sentence makes an error of the plan's own into one for a field.
func sentence(err error) unread { return unread(UpperFirst(err.Error()) + ".") }

// clean keeps text free of what nobody types on purpose: control characters and
// those that turn the direction of writing. Line ends stay.
func clean(text string) string {
	text = strings.ReplaceAll(text, "\r\n", "\n")
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return r
		case r == '\t':
			return ' '
		case r < ' ', r >= 0x7f && r <= 0x9f, r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069:
			return -1
		}
		return r
	}, text)
}

// readName reads a panel's or seam's name: without blanks, the lower number
// first.
func readName(text string) (string, error) {
	text = strings.Join(strings.Fields(clean(text)), "")
	switch {
	case text == "":
		return "", unread("This is no name.")
	case utf8.RuneCountInString(text) > longestName:
		return "", unread(shown(text) + " is too long for a name. Write what stands on the sheet.")
	}
	if a, b, ok := strings.Cut(text, "|"); ok && !strings.ContainsAny(b, "|@") {
		return roofplan.SeamName(a, b), nil
	}
	return text, nil
}

// readNames reads those that are ticked, and those typed with commas between.
func readNames(ticked []string, typed string) (any, error) {
	var names []string
	for _, text := range append(slices.Clip(ticked), strings.FieldsFunc(typed, func(r rune) bool { return strings.ContainsRune(",;\n", r) })...) {
		if strings.TrimSpace(text) == "" {
			continue
		}
		name, err := readName(text)
		if err != nil {
			return nil, err
		}
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	if len(names) == 0 {
		return nil, nil
	}
	return names, nil
}

// longestAnswer is more than any tile says.
const longestAnswer = 200

// readMany reads the answers that are ticked, and those typed with commas
// between.
func readMany(f daylog.Field, form url.Values) (any, error) {
	var answers []string
	for _, text := range append(slices.Clip(form[f.Name]), strings.FieldsFunc(form.Get(f.Name+"-other"), func(r rune) bool { return strings.ContainsRune(",;\n", r) })...) {
		text = strings.Join(strings.Fields(clean(text)), " ")
		if utf8.RuneCountInString(text) > longestAnswer {
			return nil, unread(shown(text) + " is too long for one of several. Put a comma between them.")
		}
		if text != "" && !slices.Contains(answers, text) {
			answers = append(answers, text)
		}
	}
	if len(answers) == 0 {
		return nil, nil
	}
	return answers, nil
}

// readNumber reads 52, -3.5, 1,899.6 or .5, with or without the field's unit.
func readNumber(text string, f daylog.Field) (float64, error) {
	bare := strings.TrimSpace(strings.ReplaceAll(text, "°", ""))
	if n := len(bare) - len(f.Unit); n > 0 && strings.EqualFold(bare[n:], f.Unit) {
		bare = strings.TrimSpace(bare[:n])
	}
	n, err := strconv.ParseFloat(withoutThousands(bare), 64)
	switch {
	case strings.Trim(bare, "-.,0123456789") != "" || err != nil && !math.IsInf(n, 0):
		if f.Unit != "" {
			return 0, unread(shown(text) + " is not a number. Write it in " + f.Unit + ", as in 52.")
		}
		return 0, unread(shown(text) + " is not a number.")
	case math.Abs(n) > 1e9:
		return 0, unread(shown(text) + " is too large to be meant.")
	}
	return math.Round(n*1000)/1000 + 0, nil // + 0: never a negative zero
}

// withoutThousands takes commas out where they part thousands; any other comma
// stays, so that 12,5 is not read as 125.
func withoutThousands(text string) string {
	whole, part, cut := strings.Cut(text, ".")
	groups := strings.Split(whole, ",")
	for i, g := range groups[1:] {
		if len(g) != 3 || i == 0 && len(strings.TrimPrefix(groups[0], "-")) > 3 || groups[0] == "" {
			return text
		}
	}
	whole = strings.Join(groups, "")
	if cut {
		return whole + "." + part
	}
	return whole
}

// outOfRange asks about a value that can be read but is hard to believe.
func outOfRange(f daylog.Field, value any) string {
	if f.Min == 0 && f.Max == 0 {
		return ""
	}
	n, ok := asFloat(value)
	show := func(x float64) string { return strings.TrimSpace(trimNumber(x) + " " + f.Unit) }
	if _, long := value.(roofplan.Length); long {
		show = func(x float64) string { return roofplan.Length(x).String() }
	}
	if !ok || n >= f.Min && n <= f.Max {
		return ""
	}
	return fmt.Sprintf("%s of %s is outside of what is usual, %s to %s. Is it right?", f.Label, show(n), show(f.Min), show(f.Max))
}

// placeValue is a place as a tile sends it. The plan says where it is when it
// is saved.
func placeValue(p daylog.Place) string {
	p.X, p.Y = 0, 0
	raw, err := json.Marshal(p)
	if err != nil {
		return ""
	}
	return string(raw)
}

func (v *visit) readPlaces(f daylog.Field, form url.Values) (any, error) {
	var places []daylog.Place
	add := func(p daylog.Place) {
		if p = v.day.Roof.Locate(p); !slices.ContainsFunc(places, func(q daylog.Place) bool { return q.Key() == p.Key() }) {
			places = append(places, p)
		}
	}
	for _, text := range form[f.Name] {
		var p daylog.Place
		if json.Unmarshal([]byte(text), &p) != nil || p.On == "" || len(p.On) > 4*longestName || p.At < 0 || p.At > roofplan.Longest || p.What != daylog.Cover && p.What != daylog.Splice {
			return nil, unread("One of the places cannot be read. Tap it again.")
		}
		p.On = clean(p.On)
		add(p)
	}
	for _, text := range strings.FieldsFunc(form.Get(f.Name+"-other"), func(r rune) bool { return r == ';' || r == '\n' }) {
		if strings.TrimSpace(text) == "" {
			continue
		}
		p, err := readPlace(text)
		if err != nil {
			return nil, err
		}
		add(p)
	}
	if len(places) == 0 {
		return nil, nil
	}
	return places, nil
}

// readPlace reads a place as a roofer writes it: "2|3 at 41 ft", "2|3 south",
// "2|3 south splice", "7|8|12".
func readPlace(text string) (daylog.Place, error) {
	words := strings.Fields(clean(text))
	var p daylog.Place
	if len(words) == 0 || !strings.Contains(words[0], "|") || len(text) > 4*longestName {
		return p, unread(shown(strings.TrimSpace(text)) + " is not a place. Write it as 2|3 at 41 ft, or 2|3 south.")
	}
	p.On = words[0]
	if a, b, ok := strings.Cut(p.On, "|"); ok && !strings.ContainsAny(b, "|@") {
		p.On = roofplan.SeamName(a, b)
	}
	rest := words[1:]
	if n := len(rest); n > 0 && rest[n-1] == string(daylog.Splice) {
		p.What, rest = daylog.Splice, rest[:n-1]
	}
	switch {
	case len(rest) == 0:
	case rest[0] == "at":
		at, err := roofplan.ParseLength(strings.Join(rest[1:], " "), "ft")
		if err != nil {
			return p, sentence(err)
		}
		p.At = at
	default:
		p.On += "@" + strings.Join(rest, " ")
	}
	return p, nil
}

// readDate reads a date as a browser sends it, or as one writes it.
func readDate(text string) (any, error) {
	for _, form := range []string{time.DateOnly, "1/2/2006", "1/2/06"} {
		if t, err := time.Parse(form, text); err == nil && t.Year() >= firstYear && t.Year() <= lastYear {
			return t.Format(time.DateOnly), nil
		}
	}
	return nil, unread(shown(text) + " is not a date. Write it as 3/31/2027.")
}

// readStretches reads the parts of seams that are tapped, and those typed.
func (v *visit) readStretches(f daylog.Field, form url.Values) (any, error) {
	var all []daylog.OnSeam
	add := func(o daylog.OnSeam) {
		if !slices.Contains(all, o) {
			all = append(all, o)
		}
	}
	for _, text := range form[f.Name] {
		var o daylog.OnSeam
		if text == "" {
			continue
		}
		if !jsonInto(text, &o) || o.Seam == "" || len(o.Seam) > longestName || o.From < 0 || o.To < 0 || o.To > roofplan.Longest {
			return nil, unread("One of the parts cannot be read. Tap it again.")
		}
		o.Seam = clean(o.Seam)
		add(o)
	}
	for _, text := range strings.FieldsFunc(form.Get(f.Name+"-other"), func(r rune) bool { return r == ';' || r == '\n' }) {
		name, span, _ := strings.Cut(strings.TrimSpace(clean(text)), " ")
		if name == "" {
			continue
		}
		seam, err := readName(name)
		if err != nil || !strings.Contains(seam, "|") {
			return nil, unread(shown(text) + " is not a part of a run. Write it as 2|3 0 to 4.5 ft.")
		}
		o := daylog.OnSeam{Seam: seam}
		if known, ok := v.day.Roof.Layout().Seam(seam); ok && strings.TrimSpace(span) == "" {
			o.Part = daylog.Part(known.Reach())
		} else {
			from, to, _ := strings.Cut(span, "to")
			if o.From, err = roofplan.ParseLength(strings.TrimSpace(from), "ft"); err == nil {
				o.To, err = roofplan.ParseLength(strings.TrimSpace(to), "ft")
			}
			switch {
			case err != nil:
				return nil, sentence(err)
			case o.To <= o.From:
				return nil, unread(shown(text) + ": the end is not past the beginning.")
			}
		}
		add(o)
	}
	if len(all) == 0 {
		return nil, nil
	}
	return all, nil
}

// mostLaps is more than anybody types on one form.
const mostLaps = 40

// laps come as pairs of fields: NAME.0.at, NAME.0.lap, NAME.1.at ...
func readLaps(f daylog.Field, form url.Values) (any, error) {
	var laps []daylog.Lap
	for i := range mostLaps {
		name := fmt.Sprintf("%s.%d", f.Name, i)
		at, lap := strings.TrimSpace(form.Get(name+".at")), strings.TrimSpace(form.Get(name+".lap"))
		if at == "" && lap == "" {
			continue
		}
		row := "End lap " + strconv.Itoa(i+1) + ": "
		if at == "" {
			return nil, unread(row + "say where along the seam it is.")
		}
		var l daylog.Lap
		var err error
		if l.At, err = roofplan.ParseLength(at, "ft"); err != nil {
			return nil, unread(row + err.Error() + ".")
		}
		if lap != "" {
			if l.Lap, err = roofplan.ParseLength(lap, "in"); err != nil {
				return nil, unread(row + err.Error() + ".")
			}
		}
		laps = append(laps, l)
	}
	if len(laps) == 0 {
		return nil, nil
	}
	slices.SortStableFunc(laps, func(a, b daylog.Lap) int { return cmp.Compare(a.At, b.At) })
	return laps, nil
}

// parts come as ticks NAME with the panel, and NAME.PANEL.from, .to, .less.
func readParts(f daylog.Field, form url.Values) (any, error) {
	var parts []daylog.PanelPart
	add := func(panel string) error {
		name, err := readName(panel)
		if err != nil {
			return err
		}
		p := daylog.PanelPart{Panel: name}
		for _, cell := range []struct {
			key  string
			into *roofplan.Length
		}{{"from", &p.From}, {"to", &p.To}, {"less", &p.Less}} {
			text := strings.TrimSpace(form.Get(f.Name + "." + panel + "." + cell.key))
			if text == "" {
				continue
			}
			if *cell.into, err = roofplan.ParseLength(text, "ft"); err != nil {
				return unread("Panel " + name + ": " + err.Error() + ".")
			}
		}
		if p.To > 0 && p.To <= p.From {
			return unread("Panel " + name + ": the end is not past the beginning.")
		}
		parts = append(parts, p)
		return nil
	}
	for _, panel := range form[f.Name] {
		if strings.TrimSpace(panel) == "" {
			continue
		}
		if err := add(panel); err != nil {
			return nil, err
		}
	}
	typed, err := readNames(nil, form.Get(f.Name+"-other"))
	if err != nil {
		return nil, err
	}
	for _, panel := range asStrings(typed) {
		if err := add(panel); err != nil {
			return nil, err
		}
	}
	for _, panel := range typedParts(f, form) {
		from, to := form.Get(f.Name+"."+panel+".from"), form.Get(f.Name+"."+panel+".to")
		if strings.TrimSpace(from+to) != "" && !slices.Contains(form[f.Name], panel) {
			return nil, unread("Panel " + shown(panel) + " has feet beside it but is not ticked. Tick it, or take the feet out.")
		}
	}
	if len(parts) == 0 {
		return nil, nil
	}
	return parts, nil
}

// asTyped is all that was typed for a field, in words: what an entry keeps
// where it could not be read.
func asTyped(f daylog.Field, form url.Values) string {
	var words []string
	for _, name := range sortedKeys(form) {
		rest, ok := strings.CutPrefix(name, f.Name)
		if !ok || rest != "" && rest[0] != '.' && rest != "-other" {
			continue
		}
		rest = strings.TrimPrefix(strings.TrimPrefix(rest, "-other"), ".")
		for _, text := range form[name] {
			if text = strings.TrimSpace(clean(text)); text == "" {
				continue
			}
			if rest != "" {
				text = strings.ReplaceAll(rest, ".", " ") + " " + text
			}
			words = append(words, text)
		}
	}
	return strings.Join(words, "; ")
}
