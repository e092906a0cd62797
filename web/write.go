package web

import (
	"cmp"
	"encoding/base32"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// sheet is a form that writes one entry: its kind, what its fields hold, and
// what is to be said about them. The form is made from the fields that the kind
// declares; nothing here knows any kind.
type sheet struct {
	kind   *daylog.Kind
	typed  url.Values // as it came; nil on the first showing
	values values     // as in the JSON form: what fields hold
	wrong  map[string]string
	odd    []Odd
	of     *daylog.Line // what is corrected; nil for a new entry
	// prefix stands before the fields' names where several sheets share a form.
	prefix string
	// given are fields that are asked elsewhere on the form, with their values.
	given values
}

// fields are what this sheet asks, named as on the form.
func (sh *sheet) fields(d *daylog.Day) []daylog.Field {
	var fields []daylog.Field
	for _, f := range sh.kind.Fields(d) {
		if _, given := sh.given[f.Name]; !given {
			f.Name = sh.prefix + f.Name
			fields = append(fields, f)
		}
	}
	return fields
}

// value is what a field of the form holds.
func (sh *sheet) value(f daylog.Field) any { return sh.values[strings.TrimPrefix(f.Name, sh.prefix)] }

// kindNamed is the kind of the address, if a crew may write it.
func (v *visit) kindNamed() (*daylog.Kind, error) {
	k, ok := daylog.FindKind(param(v, "kind"))
	if !ok || k.Fields == nil || k.Writes != daylog.Crew {
		return nil, fmt.Errorf("kind of entry: %w", fs.ErrNotExist)
	}
	return k, nil
}

// askEntry is GET /job/{job}/write/{kind}?with=JSON: the form of one kind,
// filled in with what is known already.
func (s *site) askEntry(v *visit) error {
	k, err := v.kindNamed()
	if err != nil {
		return err
	}
	sh := &sheet{kind: k, values: values{}}
	for _, f := range k.Fields(v.day) {
		if f.Default != nil {
			sh.values[f.Name] = f.Default
		}
	}
	if with := v.r.Form.Get("with"); with != "" {
		if err := json.Unmarshal([]byte(with), &sh.values); err != nil {
			return badRequest("The address of this form cannot be read. Open it from Now.")
		}
	}
	return v.showSheet(http.StatusOK, sh)
}

// saveEntry is POST /job/{job}/write/{kind}.
func (s *site) saveEntry(v *visit) error {
	k, err := v.kindNamed()
	if err != nil {
		return err
	}
	return v.saveSheet(&sheet{kind: k, typed: v.r.PostForm})
}

// readSheet reads what was typed into a draft. What cannot be read or is odd
// comes back once; "keep" fields are kept as they are.
func (v *visit) readSheet(sh *sheet) (daylog.Entry, bool) {
	e := v.draft(sh.typed.Get("form"))
	sh.values, sh.wrong = values{}, map[string]string{}
	for name, value := range sh.given {
		sh.values[name] = value
	}
	kept := sh.typed["keep"]
	for _, f := range sh.fields(v.day) {
		value, err := v.readField(f, sh.typed)
		switch {
		case err != nil && slices.Contains(kept, f.Name) && !f.Required:
			e.Odd = odd(e.Odd, strings.TrimPrefix(f.Name, sh.prefix), clean(sh.typed.Get(f.Name)))
		case err != nil:
			sh.wrong[f.Name] = err.Error()
			if !f.Required {
				sh.odd = append(sh.odd, Odd{Field: f.Name, Say: f.Label + ": " + err.Error() + " It can be kept as you wrote it.", Keep: f.Name})
			}
		case value != nil:
			sh.values[strings.TrimPrefix(f.Name, sh.prefix)] = value
			if say, asks := outOfRange(f, value); asks && !slices.Contains(kept, f.Name) {
				sh.odd = append(sh.odd, Odd{Field: f.Name, Say: say, Keep: f.Name})
			}
		}
	}
	at, err := v.readTime(sh.prefix+"at", sh.typed)
	if err != nil {
		sh.wrong[sh.prefix+"at"] = err.Error()
	}
	e.At, e.About = at.at, at.about
	if sh.kind.Lasts && sh.typed.Get("from") != "" {
		from, err := v.readTime("from", sh.typed)
		switch {
		case err != nil:
			sh.wrong["from"] = err.Error()
		case from.at.After(at.at):
			sh.wrong["from"] = "The work began after it ended. Are the two swapped?"
		default:
			e.At, e.To, e.About = from.at, at.at, max(at.about, from.about)
		}
	}
	e.Body = sh.kind.New()
	if len(sh.wrong) == 0 {
		if err := sh.values.into(e.Body); err != nil {
			sh.wrong[""] = "Something here does not fit together. Check each field."
		}
	}
	if len(sh.wrong) == 0 && sh.kind.Check != nil {
		for _, p := range sh.kind.Check(v.day, e.Body) {
			_, asWritten := e.Odd[p.Field]
			name := p.Field
			if _, given := sh.given[name]; !given {
				name = sh.prefix + name
			}
			switch {
			case p.Refuses:
				sh.wrong[name] = p.Says
			case !asWritten && !slices.Contains(kept, name):
				sh.odd = append(sh.odd, Odd{Field: name, Say: p.Says, Keep: name})
			}
		}
	}
	return e, len(sh.wrong) == 0 && len(sh.odd) == 0
}

func odd(m map[string]string, field, text string) map[string]string {
	if m == nil {
		m = map[string]string{}
	}
	m[field] = text
	return m
}

// draft is an entry of this page, its kind and body still missing.
func (v *visit) draft(form string) daylog.Entry {
	e := daylog.Entry{ID: form, Day: v.day.Date, Made: v.now.UTC(), Author: v.who.Person}
	if v.Skew != nil {
		e.Skew = v.Skew()
	}
	return e
}

func (v *visit) saveSheet(sh *sheet) error {
	if v.who.Person == "" {
		return fmt.Errorf("writing: %w", fs.ErrPermission)
	}
	e, ok := v.readSheet(sh)
	if !validForm(e.ID) {
		return badRequest("The form has lost its number. Open it again from Now; what you typed is still in the browser's Back.")
	}
	if sh.of != nil {
		e.Of, e.Day, e.Why = sh.of.Root, sh.of.Day, clean(strings.TrimSpace(sh.typed.Get("why")))
		if e.Why == "" {
			ok = false
			sh.wrong["why"] = "Say why: the reason is shown beside the correction."
		}
	}
	if !ok {
		return v.showSheet(http.StatusUnprocessableEntity, sh)
	}
	return v.keep(e)
}

// keep writes the entries of one form and goes on to the page that shows them.
// Sent twice, a form is written once; sent again with other text it says so.
func (v *visit) keep(drafts ...daylog.Entry) error {
	return v.keepAnd(v.url("?saved="+url.QueryEscape(drafts[0].Form())+v.dayQuery("&")), drafts...)
}

// keepAnd is keep with the address to go on to.
func (v *visit) keepAnd(next string, drafts ...daylog.Entry) error {
	kept, err := v.Log.Write(v.r.Context(), v.id, drafts...)
	if err != nil {
		return fmt.Errorf("save: %w", err)
	}
	for i := range kept {
		if i < len(drafts) && !sameBody(kept[i].Body, drafts[i].Body) {
			return problem{http.StatusConflict, "This form was saved before",
				"It was saved at " + v.clock(kept[i].Made) + " with other words, and those stand: " + v.says(&kept[i]) + ". To change them, open Entries and correct the line."}
		}
	}
	return v.leave(next)
}

// dayQuery keeps a page on the day it was asked for.
func (v *visit) dayQuery(before string) string {
	if v.r.Form.Get("day") == "" {
		return ""
	}
	return before + "day=" + string(v.day.Date)
}

func sameBody(a, b daylog.Body) bool {
	x, err1 := json.Marshal(a)
	y, err2 := json.Marshal(b)
	return err1 == nil && err2 == nil && string(x) == string(y)
}

// says puts an entry into a few words.
func (v *visit) says(e *daylog.Entry) string {
	k := daylog.KindOf(e.Body)
	if k == nil {
		return "written by a newer version"
	}
	words := k.Title
	if k.Say != nil {
		words = cmp.Or(k.Say(v.day, e.Body), words)
	}
	for _, name := range sortedKeys(e.Odd) {
		words += ", " + name + " as written: " + e.Odd[name]
	}
	return words
}

func sortedKeys(m map[string]string) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// newForm makes the id of a form: 16 characters, 80 random bits.
func (s *site) newForm() (string, error) {
	var b [10]byte
	if _, err := io.ReadFull(s.Rand, b[:]); err != nil {
		return "", err
	}
	return strings.ToLower(base32.StdEncoding.EncodeToString(b[:])), nil
}

func validForm(id string) bool {
	if len(id) != 16 {
		return false
	}
	for _, c := range id {
		if (c < 'a' || c > 'z') && (c < '2' || c > '7') {
			return false
		}
	}
	return true
}

// showSheet shows the form of an entry.
func (v *visit) showSheet(status int, sh *sheet) error {
	form, err := v.formOf(sh)
	if err != nil {
		return err
	}
	return v.show(status, SheetPage(v.frame(form.Heading.Title, ""), form))
}

func (v *visit) formOf(sh *sheet) (Form, error) {
	form := Form{
		Heading: Heading{Title: sh.kind.Title, Lead: sh.kind.Help},
		URL:     v.url("write/" + sh.kind.Name),
		Odd:     sh.odd,
		Cancel:  Action{Label: "Back to Now", URL: v.url("")},
	}
	if sh.of != nil {
		form.Heading.Title = "Correct: " + sh.kind.Title
		form.URL = v.url("entry/" + url.PathEscape(sh.of.Root) + "/correct")
		form.Cancel = Action{Label: "Back to the entries", URL: v.url("entries")}
	}
	id := sh.typed.Get("form")
	if !validForm(id) {
		var err error
		if id, err = v.newForm(); err != nil {
			return form, err
		}
	}
	form.Hidden = []Hidden{{"form", id}, {"day", string(v.day.Date)}}
	for _, name := range sh.typed["keep"] {
		form.Hidden = append(form.Hidden, Hidden{"keep", name})
	}
	if say := sh.wrong[""]; say != "" {
		form.Wrong = append(form.Wrong, say)
	}
	var asked FieldGroup
	for _, f := range sh.fields(v.day) {
		asked.Fields = append(asked.Fields, v.controls(sh, f)...)
	}
	when := v.timeField("at", cmp.Or(timeLabel(sh.kind), "When"), timeNow, sh.typed)
	if sh.of != nil && sh.typed == nil {
		when = v.timeField("at", when.Label, "="+sh.of.End().UTC().Format(timeFormat), nil)
		form.Hidden = append(form.Hidden, Hidden{"at-about", fmt.Sprint(sh.of.About)})
	}
	when.Error = sh.wrong["at"]
	asked.Fields = append(asked.Fields, when)
	if sh.kind.Lasts {
		asked.Fields = append(asked.Fields, v.fromField(sh))
	}
	if sh.of != nil {
		asked.Fields = append(asked.Fields, Field{Name: "why", Kind: FieldText, Label: "Why it is corrected", Value: sh.typed.Get("why"), Error: sh.wrong["why"]})
	}
	form.Groups = []FieldGroup{asked}
	return form, nil
}

const timeFormat = "2006-01-02T15:04:05Z07:00"

// timeLabel names the time of a kind that lasts by its end, since it is
// written when it is over.
func timeLabel(k *daylog.Kind) string {
	if k.Lasts {
		return "Done at"
	}
	return "When"
}

// fromField asks when work that lasts began. Left empty it was one moment.
func (v *visit) fromField(sh *sheet) Field {
	f := v.timeField("from", "Begun at", "", sh.typed)
	f.Optional = true
	f.Options = slices.DeleteFunc(f.Options, func(o Option) bool { return o.Value == timeNow })
	if sh.of != nil && sh.typed == nil && !sh.of.To.IsZero() {
		chosen := "=" + sh.of.At.UTC().Format(timeFormat)
		f = v.timeField("from", "Begun at", chosen, nil)
	}
	f.Options = slices.Insert(f.Options, 0, Option{Value: "", Label: "Not noted", Chosen: !slices.ContainsFunc(f.Options, func(o Option) bool { return o.Chosen })})
	f.Error = sh.wrong["from"]
	return f
}

// controls shows one declared field: mostly one control.
func (v *visit) controls(sh *sheet, f daylog.Field) []Field {
	value := sh.value(f)
	c := Field{Name: f.Name, Kind: FieldText, Label: f.Label, Help: f.Help, Unit: f.Unit, Error: sh.wrong[f.Name], Optional: !f.Required && f.Type != daylog.Choice}
	typed := func() string {
		if sh.typed != nil {
			return sh.typed.Get(f.Name)
		}
		return v.format(f, value)
	}
	switch f.Type {
	case daylog.Text:
		c.Value = typed()
	case daylog.LongText:
		c.Kind, c.Value = FieldLongText, typed()
	case daylog.Number, daylog.Whole, daylog.Temp:
		c.Kind, c.Value = FieldNumber, typed()
	case daylog.Length:
		c.Kind, c.Value = FieldLength, typed()
	case daylog.Clock:
		c.Value, c.Help = typed(), cmp.Or(f.Help, "As in 16:30.")
	case daylog.Tick:
		c.Kind = FieldTick
		if value == true || sh.typed.Get(f.Name) != "" {
			c.Value = "on"
		}
	case daylog.Choice:
		c.Kind = FieldChoice
		for _, o := range f.Options {
			c.Options = append(c.Options, Option{Value: o.Value, Label: o.Label, Chosen: o.Value == typed()})
		}
	case daylog.PanelName, daylog.SeamName:
		return v.oneOf(c, f, typed(), sh.typed)
	case daylog.PanelNames, daylog.SeamNames, daylog.Persons, daylog.SeamEnds:
		c.Kind = FieldPlaces
		c.Options = v.manyOf(f, sh)
		if len(c.Options) == 0 {
			return nil
		}
	case daylog.Places:
		return v.placeTiles(c, f, sh)
	case daylog.Laps:
		return lapFields(c, f, sh)
	case daylog.PanelParts:
		return v.partFields(c, f, sh)
	}
	return []Field{c}
}

// format puts a value of the JSON form as it would be typed.
func (v *visit) format(f daylog.Field, value any) string {
	if value == nil {
		return ""
	}
	switch f.Type {
	case daylog.Length:
		if l, ok := asFloat(value); ok {
			return roofplan.Length(l).String()
		}
	case daylog.Clock:
		if text, ok := value.(string); ok {
			if t, err := parseInstant(text); err == nil {
				return v.clock(t)
			}
			return text // a default: local time already
		}
	}
	if n, ok := asFloat(value); ok {
		return trimNumber(n)
	}
	return fmt.Sprint(value)
}

// fewTiles is how many places are shown as tiles; beyond it names are typed.
const fewTiles = 12

// oneOf asks for one panel or seam: the likely ones as tiles, any other typed.
func (v *visit) oneOf(c Field, f daylog.Field, chosen string, form url.Values) []Field {
	names := v.likely(f.Type)
	if chosen != "" && !slices.Contains(names, chosen) {
		names = append([]string{chosen}, names...)
	}
	if len(names) > fewTiles {
		names = names[:fewTiles]
	}
	c.Kind = FieldChoice
	c.Optional = false
	for _, name := range names {
		c.Options = append(c.Options, Option{Value: name, Label: name, Note: v.placeNote(f.Type, name), Chosen: name == chosen})
	}
	other := Field{Name: f.Name + "-other", Kind: FieldText, Label: "Another " + string(f.Type), Optional: true, Value: form.Get(f.Name + "-other")}
	if len(names) == 0 {
		other.Label, other.Optional, other.Error, other.Help = f.Label, false, c.Error, f.Help
		return []Field{other}
	}
	return []Field{c, other}
}

// likely lists panels or seams, those that work is likely to be about first:
// the next to lay, or those between laid sheets that are not made yet.
func (v *visit) likely(t daylog.FieldType) []string {
	layout, roof := v.day.Roof.Layout(), v.day.Roof
	var first, rest []string
	if t == daylog.PanelName {
		for _, p := range layout.Panels {
			laid, ok := roof.Panel(p.Name)
			switch {
			case !ok, laid.Day == v.day.Date:
				first = append(first, p.Name)
			case laid.Day != "":
				rest = append(rest, p.Name)
			}
		}
		return append(first, rest...)
	}
	for i := range layout.Seams {
		s := &layout.Seams[i]
		_, a := roof.Panel(s.A)
		_, b := roof.Panel(s.B)
		if !a || !b || roof.Stood(s.Name) {
			continue
		}
		made := roof.Seam(s.Name)
		if len(made.Open(daylog.Part{From: 0, To: s.Length})) > 0 || len(made.Runs) > 0 {
			first = append(first, s.Name)
		} else {
			rest = append(rest, s.Name)
		}
	}
	slices.Reverse(rest)
	return append(first, rest...)
}

// placeNote is the small line on a tile.
func (v *visit) placeNote(t daylog.FieldType, name string) string {
	if t != daylog.PanelName {
		if s, ok := v.day.Roof.Layout().Seam(name); ok {
			return s.Length.String()
		}
		return ""
	}
	if laid, ok := v.day.Roof.Panel(name); ok && !laid.Position.IsZero() {
		return "in position " + v.clock(laid.Position.At)
	}
	if p, ok := v.day.Roof.Layout().Panel(name); ok {
		return p.Width.String() + " x " + p.Length.String()
	}
	return ""
}

// manyOf lists what several may be ticked of.
func (v *visit) manyOf(f daylog.Field, sh *sheet) []Option {
	var options []Option
	chosen := sh.typed[f.Name]
	if sh.typed == nil {
		chosen = asStrings(sh.value(f))
	}
	add := func(value, label, note string) {
		options = append(options, Option{Value: value, Label: label, Note: note, Chosen: slices.Contains(chosen, value)})
	}
	roof := v.day.Roof
	switch f.Type {
	case daylog.Persons:
		for _, p := range v.day.Setup.Persons {
			if !p.Gone && p.Role != "manager" {
				add(p.Person, p.Name, p.Trade)
			}
		}
	case daylog.PanelNames:
		for _, p := range roof.Panels {
			open := p.Strip != nil && !p.Strip.Filled
			if p.Day == v.day.Date || open || slices.Contains(chosen, p.Name) {
				note := ""
				if open {
					note = "leading strip " + p.Strip.Width.String()
				}
				add(p.Name, "Panel "+p.Name, note)
			}
		}
	case daylog.SeamNames:
		for i := range roof.Seams {
			if s := &roof.Seams[i]; len(s.Runs) > 0 || slices.Contains(chosen, s.Name) {
				add(s.Name, "Run "+s.Name, "")
			}
		}
	case daylog.SeamEnds:
		seams := roof.Layout().Seams
		if name, _ := sh.values["seam"].(string); name != "" {
			if s, ok := roof.Layout().Seam(name); ok {
				seams = []roofplan.Seam{s}
			}
		}
		seen := map[string]bool{}
		for _, s := range seams {
			for _, end := range s.Ends() {
				_, edge, _ := strings.Cut(end.Name, "@")
				if !seen[edge] {
					seen[edge] = true
					add(edge, upperFirst(edge), "")
				}
			}
		}
	}
	return options
}

// placeTiles asks for places by tapping them: what is owed first.
func (v *visit) placeTiles(c Field, f daylog.Field, sh *sheet) []Field {
	c.Kind = FieldPlaces
	c.Optional = !f.Required
	chosen := map[string]bool{}
	for _, text := range sh.typed[f.Name] {
		chosen[text] = true
	}
	var more []daylog.Place
	if sh.typed == nil {
		for _, p := range asPlaces(sh.value(f)) {
			p.X, p.Y = 0, 0
			chosen[placeValue(p)] = true
			more = append(more, p)
		}
	} else {
		more = asPlaces(sh.value(f))
	}
	known := map[string]bool{}
	add := func(p daylog.Place, note string, mark MarkKind, held bool) {
		if known[p.Key()] {
			return
		}
		known[p.Key()] = true
		p.X, p.Y = 0, 0 // the plan says where it is when it is saved
		value := placeValue(p)
		c.Options = append(c.Options, Option{Value: value, Label: upperFirst(daylog.SayPlace(p)), Note: note, Mark: mark, Held: held, Chosen: chosen[value]})
	}
	for _, o := range v.candidates(sh.kind) {
		add(o.place, o.note, o.mark, o.held)
	}
	for _, p := range more {
		add(p, "", MarkNone, false)
	}
	other := Field{Name: f.Name + "-other", Kind: FieldText, Label: "Another place", Optional: true, Value: sh.typed.Get(f.Name + "-other"),
		Help: "As in 2|3 at 41 ft, 2|3 south, 2|3 south splice. Several with ; between."}
	if len(c.Options) == 0 {
		other.Label, other.Error, other.Optional = f.Label, c.Error, c.Optional
		return []Field{other}
	}
	return []Field{c, other}
}

// lapFields asks for tape end laps, one row more than there are.
func lapFields(c Field, f daylog.Field, sh *sheet) []Field {
	laps := asLaps(sh.value(f))
	n := len(laps) + 1
	for sh.typed.Has(fmt.Sprintf("%s.%d.at", f.Name, n)) {
		n++
	}
	var fields []Field
	for i := range n {
		name := fmt.Sprintf("%s.%d", f.Name, i)
		at := Field{Name: name + ".at", Kind: FieldLength, Label: fmt.Sprintf("End lap %d at", i+1), Optional: true, Unit: "ft"}
		lap := Field{Name: name + ".lap", Kind: FieldLength, Label: fmt.Sprintf("End lap %d overlaps by", i+1), Optional: true, Unit: "in"}
		if i == 0 {
			at.Help, at.Error = c.Help, c.Error
		}
		if sh.typed != nil {
			at.Value, lap.Value = sh.typed.Get(at.Name), sh.typed.Get(lap.Name)
		} else if i < len(laps) {
			at.Value = laps[i].At.String()
			if laps[i].Lap != 0 {
				lap.Value = laps[i].Lap.String()
			}
		}
		fields = append(fields, at, lap)
	}
	return fields
}

// partFields asks which panels, or parts of them, got stone.
func (v *visit) partFields(c Field, f daylog.Field, sh *sheet) []Field {
	c.Kind = FieldPlaces
	given := map[string]daylog.PanelPart{}
	for _, p := range asParts(sh.value(f)) {
		given[p.Panel] = p
	}
	var more []Field
	roof := v.day.Roof
	newest := ""
	for _, p := range roof.Panels {
		if p.Day == v.day.Date {
			newest = p.Name
		}
	}
	for _, p := range roof.Panels {
		bare := roof.Bare(p)
		part, ticked := given[p.Name]
		if bare == 0 && !ticked || p.Day == "" {
			continue
		}
		name := f.Name + "." + p.Name
		value := func(key, known string) string {
			if sh.typed != nil {
				return sh.typed.Get(name + "." + key)
			}
			return known
		}
		c.Options = append(c.Options, Option{Value: p.Name, Label: "Panel " + p.Name, Note: trimNumber(bare) + " sq ft bare",
			Chosen: ticked || sh.typed != nil && slices.Contains(sh.typed[f.Name], p.Name)})
		strip := ""
		switch {
		case ticked && part.Less > 0:
			strip = part.Less.String()
		case p.Name == newest && !ticked:
			strip = roofplan.Feet(4).String()
		}
		from, to := "", ""
		if part.To > 0 {
			from, to = part.From.String(), part.To.String()
		}
		more = append(more,
			Field{Name: name + ".less", Kind: FieldLength, Unit: "ft", Label: "Panel " + p.Name + ": leading strip left open", Optional: true, Value: value("less", strip)},
			Field{Name: name + ".from", Kind: FieldLength, Unit: "ft", Label: "Panel " + p.Name + ": only from", Optional: true, Value: value("from", from)},
			Field{Name: name + ".to", Kind: FieldLength, Unit: "ft", Label: "Panel " + p.Name + ": only up to", Optional: true, Value: value("to", to)})
	}
	if len(c.Options) == 0 {
		c.Kind, c.Name = FieldText, f.Name+"-other"
		c.Help = "No laid panel is bare. Type the panel if it got stone all the same."
		c.Value = sh.typed.Get(c.Name)
		return []Field{c}
	}
	return append([]Field{c}, more...)
}
