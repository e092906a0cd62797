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

// readField reads what was typed for a field. Nothing typed is a nil value.
// The error is a sentence for the field.
func (v *visit) readField(f daylog.Field, form url.Values) (any, error) {
	text := strings.TrimSpace(form.Get(f.Name))
	if !utf8.ValidString(text) {
		return nil, unread("This holds characters that are no text.")
	}
	switch f.Type {
	case daylog.Tick:
		if text == "" {
			return nil, nil
		}
		return true, nil
	case daylog.PanelName, daylog.SeamName:
		if other := strings.TrimSpace(form.Get(f.Name + "-other")); other != "" {
			text = other
		}
		if text == "" {
			return nil, nil
		}
		return tidyName(text), nil
	case daylog.PanelNames, daylog.SeamNames, daylog.Persons, daylog.SeamEnds:
		var names []string
		for _, name := range form[f.Name] {
			if name = strings.TrimSpace(name); name != "" {
				names = append(names, name)
			}
		}
		if len(names) == 0 {
			return nil, nil
		}
		return names, nil
	case daylog.Places:
		return v.readPlaces(f, form)
	case daylog.Laps:
		return readLaps(f, form)
	case daylog.PanelParts:
		return v.readParts(f, form)
	}
	if text == "" {
		return nil, nil
	}
	switch f.Type {
	case daylog.Text, daylog.LongText:
		if n := utf8.RuneCountInString(text); n > longestText {
			return nil, unread(fmt.Sprintf("This is %d characters long; %d fit.", n, longestText))
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
			return nil, unread(err.Error())
		}
		return l, nil
	case daylog.Choice:
		for _, o := range f.Options {
			if o.Value == text {
				return text, nil
			}
		}
		return nil, unread("This is none of the answers.")
	case daylog.Clock:
		return v.readClock(text)
	}
	return nil, unread("This cannot be typed here.")
}

// clean keeps text free of control characters, which nobody types on purpose;
// line ends stay.
func clean(text string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r >= ' ' && r != 0x7f && (r < 0x80 || r > 0x9f) {
			return r
		}
		return -1
	}, text)
}

// tidyName takes the blanks out of a panel's or seam's name, and puts the
// lower number first.
func tidyName(text string) string {
	text = strings.Join(strings.Fields(clean(text)), "")
	if a, b, ok := strings.Cut(text, "|"); ok && !strings.ContainsAny(b, "|@") {
		return roofplan.SeamName(a, b)
	}
	return text
}

func readNumber(text string, f daylog.Field) (float64, error) {
	bare := strings.TrimSpace(strings.TrimSuffix(text, f.Unit))
	bare = strings.ReplaceAll(bare, ",", "")
	n, err := strconv.ParseFloat(bare, 64)
	switch {
	case err != nil || math.IsNaN(n) || math.IsInf(n, 0) || strings.ContainsAny(bare, "xXpP_"):
		return 0, unread(fmt.Sprintf("%q is not a number.", text))
	case math.Abs(n) > 1e9:
		return 0, unread("That number is too large to be meant.")
	}
	return math.Round(n*1000) / 1000, nil
}

// outOfRange asks about a value that can be read but is hard to believe.
func outOfRange(f daylog.Field, value any) (string, bool) {
	if f.Min == 0 && f.Max == 0 {
		return "", false
	}
	var n float64
	show := func(x float64) string { return strings.TrimSpace(strconv.FormatFloat(x, 'f', -1, 64) + " " + f.Unit) }
	switch x := value.(type) {
	case float64:
		n = x
	case roofplan.Length:
		n = float64(x)
		show = func(x float64) string { return roofplan.Length(x).String() }
	default:
		return "", false
	}
	if n >= f.Min && n <= f.Max {
		return "", false
	}
	return fmt.Sprintf("%s of %s is outside of what is usual, %s to %s. Is it right?", f.Label, show(n), show(f.Min), show(f.Max)), true
}

// readClock reads a time of day of the page's day; hours before 04:00 belong
// to the night after it.
func (v *visit) readClock(text string) (time.Time, error) {
	t, ok := clockOn(v.day.Date, text, v.zone)
	if !ok {
		return time.Time{}, unread(fmt.Sprintf("%q is not a time of day. Type it as 13:05.", text))
	}
	return t, nil
}

func clockOn(day daylog.Date, text string, zone *time.Location) (time.Time, bool) {
	text = strings.Replace(strings.TrimSpace(text), ".", ":", 1)
	hm, err := time.Parse("15:04", text)
	if err != nil {
		if hm, err = time.Parse("3:04 PM", strings.ToUpper(text)); err != nil {
			return time.Time{}, false
		}
	}
	date, err := time.Parse(time.DateOnly, string(day))
	if err != nil {
		return time.Time{}, false
	}
	days := 0
	if hm.Hour() < 4 {
		days = 1
	}
	t := time.Date(date.Year(), date.Month(), date.Day()+days, hm.Hour(), hm.Minute(), 0, 0, zone)
	return t.UTC(), true
}

// placeValue is a place as a tile sends it.
func placeValue(p daylog.Place) string {
	raw, _ := json.Marshal(p)
	return string(raw)
}

func (v *visit) readPlaces(f daylog.Field, form url.Values) (any, error) {
	var places []daylog.Place
	for _, text := range form[f.Name] {
		var p daylog.Place
		if json.Unmarshal([]byte(text), &p) != nil || p.On == "" {
			return nil, unread("One of the places cannot be read. Tap it again.")
		}
		p.On = clean(p.On)
		places = append(places, v.day.Roof.Locate(p))
	}
	for _, text := range strings.FieldsFunc(form.Get(f.Name+"-other"), func(r rune) bool { return r == ';' || r == '\n' }) {
		if strings.TrimSpace(text) == "" {
			continue
		}
		p, err := readPlace(text)
		if err != nil {
			return nil, err
		}
		places = append(places, v.day.Roof.Locate(p))
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
	if len(words) == 0 || !strings.Contains(words[0], "|") {
		return p, unread(fmt.Sprintf("%q is not a place. Write it as 2|3 at 41 ft, or 2|3 south.", text))
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
			return p, unread(err.Error())
		}
		p.At = at
	default:
		p.On += "@" + strings.Join(rest, " ")
	}
	return p, nil
}

// laps come as pairs of fields: NAME.0.at, NAME.0.lap, NAME.1.at ...
func readLaps(f daylog.Field, form url.Values) (any, error) {
	var laps []daylog.Lap
	for i := 0; ; i++ {
		name := fmt.Sprintf("%s.%d", f.Name, i)
		if _, there := form[name+".at"]; !there {
			break
		}
		at, lap := strings.TrimSpace(form.Get(name+".at")), strings.TrimSpace(form.Get(name+".lap"))
		if at == "" && lap == "" {
			continue
		}
		var l daylog.Lap
		var err error
		if l.At, err = roofplan.ParseLength(at, "ft"); err != nil {
			return nil, unread("End lap " + strconv.Itoa(i+1) + ": " + err.Error())
		}
		if lap != "" {
			if l.Lap, err = roofplan.ParseLength(lap, "in"); err != nil {
				return nil, unread("End lap " + strconv.Itoa(i+1) + ": " + err.Error())
			}
		}
		laps = append(laps, l)
	}
	if len(laps) == 0 {
		return nil, nil
	}
	slices.SortFunc(laps, func(a, b daylog.Lap) int { return cmp.Compare(a.At, b.At) })
	return laps, nil
}

// parts come as ticks NAME with the panel, and NAME.PANEL.from, .to, .less.
func (v *visit) readParts(f daylog.Field, form url.Values) (any, error) {
	var parts []daylog.PanelPart
	for _, panel := range form[f.Name] {
		p := daylog.PanelPart{Panel: tidyName(panel)}
		for key, into := range map[string]*roofplan.Length{"from": &p.From, "to": &p.To, "less": &p.Less} {
			text := strings.TrimSpace(form.Get(f.Name + "." + panel + "." + key))
			if text == "" {
				continue
			}
			l, err := roofplan.ParseLength(text, "ft")
			if err != nil {
				return nil, unread("Panel " + p.Panel + ": " + err.Error())
			}
			*into = l
		}
		parts = append(parts, p)
	}
	if other := strings.TrimSpace(form.Get(f.Name + "-other")); other != "" {
		parts = append(parts, daylog.PanelPart{Panel: tidyName(other)})
	}
	if len(parts) == 0 {
		return nil, nil
	}
	return parts, nil
}

// moment is when something happened, as picked on a form.
type moment struct {
	at    time.Time
	about int
}

// aboutPicked is how far a time that was not tapped as it happened may be off:
// common practice, no source.
const aboutPicked = 15

// readTime reads the time control of a form.
func (v *visit) readTime(name string, form url.Values) (moment, error) {
	picked := form.Get(name)
	switch picked {
	case "", timeNow:
		return moment{v.now.UTC(), 0}, nil
	case TimeOther:
		text := strings.TrimSpace(form.Get(name + "-other"))
		if text == "" {
			return moment{}, unread("Say when: type the time of day.")
		}
		at, err := v.readClock(text)
		if err != nil {
			return moment{}, err
		}
		return moment{at, aboutPicked}, nil
	}
	if ago, err := strconv.Atoi(picked); err == nil && ago > 0 && ago <= 24*60 {
		return moment{v.now.UTC().Add(-time.Duration(ago) * time.Minute), aboutPicked}, nil
	}
	if exact, ok := strings.CutPrefix(picked, "="); ok { // kept from the line that is corrected
		at, err := time.Parse(time.RFC3339, exact)
		about, err2 := strconv.Atoi(cmp.Or(form.Get(name+"-about"), "0"))
		if err == nil && err2 == nil {
			return moment{at.UTC(), about}, nil
		}
	}
	if at, ok := clockOn(v.day.Date, picked, v.zone); ok { // at the break, at lunch
		return moment{at, aboutPicked}, nil
	}
	return moment{}, unread("Say when: tap one of the times.")
}

const timeNow = "now"

// timeField is the time control: as a tap, a while ago, at a break, or typed.
func (v *visit) timeField(name, label, chosen string, form url.Values) Field {
	ago := func(min int) Option {
		return Option{Value: strconv.Itoa(min), Label: strconv.Itoa(min) + " min ago", Note: v.clock(v.now.Add(-time.Duration(min) * time.Minute))}
	}
	f := Field{Name: name, Kind: FieldTime, Label: label, Options: []Option{
		{Value: timeNow, Label: "Now", Note: v.clock(v.now)},
		ago(15), ago(30), ago(45),
		{Value: "09:30", Label: "At the break", Note: "9:30"},
		{Value: "12:30", Label: "At lunch", Note: "12:30"},
		{Value: TimeOther, Label: "Other"},
	}}
	if form != nil && form.Has(name) {
		chosen = form.Get(name)
		f.Other = form.Get(name + "-other")
	}
	if strings.HasPrefix(chosen, "=") {
		if at, err := time.Parse(time.RFC3339, chosen[1:]); err == nil {
			f.Options = slices.Insert(f.Options, 0, Option{Value: chosen, Label: "As written", Note: v.clock(at)})
		}
	}
	for i := range f.Options {
		f.Options[i].Chosen = f.Options[i].Value == chosen
	}
	return f
}
