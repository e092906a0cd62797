package web

import (
	"cmp"
	"encoding/base32"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// sheet is a form that writes one entry: its kind, what its fields hold, and
// what is to be said about them. The form is made from the fields that the kind
// declares.
type sheet struct {
	kind   *daylog.Kind
	typed  url.Values // as it came; nil on the first showing
	values values     // as in the JSON form: what fields hold
	at     string     // the time chosen on the first showing; "" for now
	wrong  map[string]string
	asks   []Question
	of     *daylog.Line // what is corrected; nil for a new entry
	// timeless sheets ask for no time: they are a part of a form.
	timeless bool
	// prefix stands before the fields' names where several sheets share a form.
	prefix string
	// given are fields that are asked elsewhere on the form, with their values.
	given values
	// As a step of a form of several: the words of its tick, whether that is
	// ticked, and when the log has it already.
	title, known string
	did          bool
	// shared sheets happened when the form says, unless they say when.
	shared bool
}

// fields are what this sheet asks, named as on the form.
func (sh *sheet) fields(d *daylog.Day) []daylog.Field {
	var fields []daylog.Field
	for _, f := range sh.kind.Fields(d) {
		if _, given := sh.given[f.Name]; !given {
			f.Name = sh.onForm(f.Name)
			fields = append(fields, f)
		}
	}
	return fields
}

// ownNames are what a form sends besides the fields that its kind declares.
var ownNames = []string{"form", "day", "at", "begun", "why", "asked", "kept", "keep", "by", "photo", "then"}

const ownMark = "-field"

// onForm names a declared field on the form; bare is its name in the body.
func (sh *sheet) onForm(name string) string {
	if slices.Contains(ownNames, name) {
		name += ownMark
	}
	return sh.prefix + name
}

func (sh *sheet) bare(f daylog.Field) string {
	return strings.TrimSuffix(strings.TrimPrefix(f.Name, sh.prefix), ownMark)
}

// value is what a field of the form holds.
func (sh *sheet) value(f daylog.Field) any { return sh.values[sh.bare(f)] }

// ask asks about something odd, unless just this was asked before and is to be
// kept as written. It reports whether it is.
func (sh *sheet) ask(field, say string) (kept bool) {
	if slices.Contains(keptWords(sh.typed), asked(field, say)) {
		return true
	}
	sh.asks = append(sh.asks, Question{field, say})
	return false
}

// asked is a question as a form carries it. Browsers send line ends in a way of
// their own, so there are none in it.
func asked(field, say string) string {
	return field + ": " + strings.Join(strings.Fields(say), " ")
}

// keptWords are the questions that were answered with "keep as written". They
// come with their words: something else typed since is asked about again.
func keptWords(typed url.Values) []string {
	kept := typed["kept"]
	if typed.Get("keep") != "" {
		kept = append(slices.Clip(kept), typed["asked"]...)
	}
	return kept
}

// questions are the hidden fields that carry what was asked and what was
// answered to the next sending of a form.
func questions(asks []Question, typed url.Values) []Hidden {
	var all []Hidden
	for _, words := range keptWords(typed) {
		all = append(all, Hidden{"kept", words})
	}
	for _, q := range asks {
		all = append(all, Hidden{"asked", asked(q.Field, q.Say)})
	}
	return all
}

// kindNamed is the kind of the address, if the form of all kinds writes it.
func (v *visit) kindNamed() (*daylog.Kind, error) {
	k, ok := daylog.FindKind(param(v, "kind"))
	if !ok || !plainKind(k) {
		return nil, fmt.Errorf("kind of entry: %w", fs.ErrNotExist)
	}
	return k, nil
}

// plainKind reports whether a kind is written on the form made from its fields;
// setting aside and signing have pages of their own.
func plainKind(k *daylog.Kind) bool {
	return k.Fields != nil && k.Writes == daylog.Crew && k.Name != "aside" && k.Name != "answered" && k.Name != "sign"
}

// askEntry is GET /job/{job}/write/{kind}?with=JSON&at=TIME: the form of one
// kind, filled in with what is known already.
func (s *site) askEntry(v *visit) error {
	k, err := v.kindNamed()
	if err != nil {
		return err
	}
	sh := &sheet{kind: k, values: values{}}
	known := map[string]json.RawMessage{}
	if with := v.r.Form.Get("with"); with != "" {
		if err := json.Unmarshal([]byte(with), &known); err != nil {
			return badRequest("The address of this form cannot be read. Open it from Now.")
		}
	}
	v.offer(sh, known)
	if m, ok := readExact(v.r.Form.Get("at")); ok {
		sh.at = exact(m)
	}
	return v.showSheet(http.StatusOK, sh)
}

// offer fills in what is known: by the address, by the last entry of the kind,
// or as is usual. It tells the day of the entry that something is taken from.
func (v *visit) offer(sh *sheet, known map[string]json.RawMessage) (from daylog.Date) {
	last, day := v.last(sh.kind)
	for _, f := range sh.kind.Fields(v.day) {
		var value any
		raw, there := known[f.Name]
		switch {
		case there && json.Unmarshal(raw, &value) == nil:
		case f.Again && last[f.Name] != nil:
			value, from = last[f.Name], day
		case f.Default != nil:
			value = f.Default
		case f.Again && f.Type == daylog.Persons && v.who.Person != "": // who leads and decides
			value = []string{v.who.Person}
		}
		if value != nil {
			sh.values[f.Name] = value
		}
	}
	v.offerSeam(sh)
	return from
}

// offerSeam fills in the seam where work can only be about one, and the part of
// it that is not made.
func (v *visit) offerSeam(sh *sheet) {
	var part []daylog.Field
	for _, f := range sh.fields(v.day) {
		if f.Type == daylog.SeamName && f.Required && sh.values["seam"] == nil {
			if names := v.likely(sh.kind, f.Type); len(names) == 1 {
				sh.values["seam"] = names[0]
			}
		}
		if name := sh.bare(f); name == "from" || name == "to" {
			part = append(part, f)
		}
	}
	seam, ok := v.day.Roof.Layout().Seam(as[string](sh.values["seam"]))
	if !ok || len(part) != 2 || sh.values["from"] != nil || sh.values["to"] != nil {
		return
	}
	if open := v.day.Roof.Seam(seam.Name).Open(daylog.Part(seam.Reach())); len(open) > 0 {
		sh.values["from"], sh.values["to"] = open[0].From, open[0].To
	}
}

// last is what was last written of a kind, today or on the worked day before.
func (v *visit) last(k *daylog.Kind) (values, daylog.Date) {
	for _, d := range []*daylog.Day{v.day, v.job.Before(v.day.Date)} {
		if d == nil {
			continue
		}
		for _, l := range slices.Backward(d.Lines) {
			if daylog.KindOf(l.Body) == k && l.Struck == nil {
				if known, err := valuesOf(l.Body); err == nil {
					known["by"] = l.By
					return known, d.Date
				}
			}
		}
	}
	return nil, ""
}

// saveEntry is POST /job/{job}/write/{kind}.
func (s *site) saveEntry(v *visit) error {
	k, err := v.kindNamed()
	if err != nil {
		return err
	}
	return v.saveSheet(&sheet{kind: k, typed: v.r.PostForm})
}

// draft is an entry about to be kept.
type draft struct {
	daylog.Entry
	named bool // its time is the same whenever the form is sent
}

// keepOdd keeps what was typed for a field and could not be read.
func (d *draft) keepOdd(field, text string) {
	if d.Odd == nil {
		d.Odd = map[string]string{}
	}
	d.Odd[field] = text
}

// draft is an entry of this page, its kind and body still missing.
func (v *visit) draft(form string) draft {
	e := daylog.Entry{ID: form, Day: v.day.Date, Made: v.now.UTC(), Author: v.who.Person}
	if v.Skew != nil {
		e.Skew = v.Skew()
	}
	return draft{Entry: e}
}

// readSheet reads what was typed into a draft and reports whether it can be
// kept. Without its place or time it cannot; what cannot be read or is odd is
// asked about once, and then kept as it was written.
func (v *visit) readSheet(sh *sheet) (draft, bool) {
	d := v.draft(sh.typed.Get("form"))
	sh.values, sh.wrong = v.undeclared(sh), map[string]string{}
	maps.Copy(sh.values, sh.given)
	for _, f := range sh.fields(v.day) {
		value, err := v.readField(f, sh.typed)
		switch {
		case err != nil && f.Required:
			sh.wrong[f.Name] = err.Error()
		case err != nil && sh.ask(f.Name, err.Error()):
			d.keepOdd(sh.bare(f), asTyped(f, sh.typed))
		case err == nil && value != nil:
			sh.values[sh.bare(f)] = value
			if say := outOfRange(f, value); say != "" {
				sh.ask(f.Name, say)
			}
			if at, clock := value.(time.Time); clock && v.day.Date == v.today && !at.After(v.now) && sh.of == nil {
				sh.ask(f.Name, v.clock(at)+" has passed already. Is the time right?")
			}
		}
	}
	v.wholeSeam(sh, d.Odd)
	if !sh.timeless {
		v.readTimes(sh, &d)
	}
	switch {
	case sh.asksBy():
		d.By = v.readBy(sh.typed)
	case sh.of != nil:
		d.By = sh.of.By
	}
	d.Body = sh.kind.New()
	if len(sh.wrong) == 0 {
		if err := sh.values.into(d.Body); err != nil {
			sh.wrong[""] = "Something here does not fit together. Check each field."
		}
	}
	if len(sh.wrong) == 0 && sh.kind.Check != nil {
		for _, p := range sh.kind.Check(v.day, d.Body) {
			_, asWritten := d.Odd[p.Field]
			name := p.Field
			if _, given := sh.given[name]; !given {
				name = sh.onForm(name)
			}
			switch {
			case p.Refuses:
				sh.wrong[name] = p.Says
			case !asWritten:
				sh.ask(name, p.Says)
			}
		}
	}
	return d, len(sh.wrong) == 0 && len(sh.asks) == 0
}

// undeclared is what a corrected entry says beside the fields of its form: it
// stays as it is.
func (v *visit) undeclared(sh *sheet) values {
	rest := values{}
	if sh.of == nil {
		return rest
	}
	known, err := valuesOf(sh.of.Body)
	if err != nil {
		return rest
	}
	for _, f := range sh.kind.Fields(v.day) {
		delete(known, f.Name)
	}
	return known
}

// readTimes reads when it happened, and when it began if it lasted.
func (v *visit) readTimes(sh *sheet, d *draft) {
	name := sh.prefix + "at"
	if sh.shared && sh.typed.Get(name) == "" {
		name = "at"
	}
	at, err := v.readTime(name, sh.typed)
	if err != nil {
		sh.wrong[name] = err.Error()
		return
	}
	d.At, d.About, d.named = at.at, at.about, at.named
	unchanged := sh.of != nil && at.at.Equal(sh.of.End())
	if say := v.oddTime(sh.kind, at.at); say != "" && !unchanged {
		sh.ask(name, say)
	}
	name = sh.prefix + "begun"
	if !sh.kind.Lasts || sh.typed.Get(name) == "" {
		return
	}
	begun, err := v.readTime(name, sh.typed)
	switch {
	case err != nil && sh.ask(name, err.Error()):
		d.keepOdd("begun", strings.TrimSpace(clean(sh.typed.Get(name+"-other"))))
	case err != nil:
	case begun.at.After(at.at):
		sh.ask(name, "The work began at "+v.clock(begun.at)+", after it was done at "+v.clock(at.at)+". Are the two swapped?")
		fallthrough
	default:
		d.At, d.To, d.named = begun.at, at.at, at.named && begun.named
		if !sh.kind.AtEnd { // else it is as sure as its end
			d.About = max(at.about, begun.about)
		}
		if say := v.oddTime(sh.kind, begun.at); say != "" && begun.at.Before(at.at) && !unchanged {
			sh.ask(name, say)
		}
	}
}

// asksBy reports whether a sheet asks who did it: work of somebody's hands.
func (sh *sheet) asksBy() bool {
	switch sh.kind.Group {
	case daylog.Opened, daylog.Panels, daylog.Seams, daylog.Details, daylog.Stone:
		return sh.prefix == ""
	}
	return false
}

// readBy reads who did it: people of the job, others are left out.
func (v *visit) readBy(form url.Values) []string {
	var by []string
	for _, id := range form["by"] {
		if _, known := v.day.Setup.Person(id); known && !slices.Contains(by, id) {
			by = append(by, id)
		}
	}
	return by
}

// wholeSeam takes a seam without feet as all of it.
func (v *visit) wholeSeam(sh *sheet, odd map[string]string) {
	name, _ := sh.values["seam"].(string)
	seam, ok := v.day.Roof.Layout().Seam(name)
	if !ok {
		return
	}
	reach := seam.Reach()
	whole := map[string]roofplan.Length{"from": reach.From, "to": reach.To}
	for _, f := range sh.fields(v.day) {
		field := sh.bare(f)
		end, of := whole[field]
		if _, typed := sh.values[field]; of && f.Type == daylog.Length && !typed && odd[field] == "" && sh.wrong[f.Name] == "" {
			sh.values[field] = end
		}
	}
}

// lost says what a form has lost on its way and got anew; nothing as a rule.
func (v *visit) lost() []string {
	var say []string
	if !validForm(v.r.PostForm.Get("form")) {
		say = append(say, "This form had lost its number and has a new one. Save it again.")
	}
	if v.dayLost {
		say = append(say, "This form had lost its day. It is now for "+dateWords(v.day.Date)+".")
	}
	return say
}

func (v *visit) saveSheet(sh *sheet) error {
	d, ok := v.readSheet(sh)
	if sh.of != nil {
		d.Of, d.Day, d.Why = sh.of.Root, sh.of.Day, clean(strings.TrimSpace(sh.typed.Get("why")))
		if d.Why == "" {
			ok = false
			sh.wrong["why"] = "Say why: the reason is shown beside the correction."
		}
	}
	if !ok || len(v.lost()) > 0 {
		return v.showSheet(http.StatusUnprocessableEntity, sh)
	}
	drafts := []draft{d}
	if sh.asksPhoto() && sh.typed.Get("photo") != "" {
		drafts = append(drafts, v.photoOf(d))
	}
	next := v.savedURL(d.Form())
	if sh.of != nil {
		next = v.lineURL(d.Form(), sh.of.Root)
	}
	return v.keep(next, drafts...)
}

// asksPhoto reports whether a sheet offers to note that a photo was taken.
func (sh *sheet) asksPhoto() bool {
	return sh.of == nil && sh.prefix == "" && sh.kind.Places != nil && sh.kind.Name != "photo"
}

// photoOf notes that a photo was taken of what an entry says, at its place and
// time: the picture itself comes later.
func (v *visit) photoOf(d draft) draft {
	k := daylog.KindOf(d.Body)
	p := &daylog.Photo{Text: k.Say(v.day, d.Body)}
	for _, name := range k.Places(d.Body)[:1] {
		if p.Panel = name; strings.Contains(name, "|") {
			p.Seam, _, _ = strings.Cut(name, "@")
			p.Panel = ""
		}
	}
	photo := d
	photo.ID, photo.Body, photo.By, photo.Odd = daylog.FormID(d.ID, 1), p, nil, nil
	photo.At, photo.To = d.End(), time.Time{}
	return photo
}

// keep writes the entries of one form and goes on to next. Sent twice, a form
// is written once; sent again with other words nothing is written, and the page
// says what stands.
func (v *visit) keep(next string, drafts ...draft) error {
	if before := v.written(drafts[0].Form()); len(before) > 0 {
		if !same(before, drafts) {
			return v.before(before)
		}
		return v.leave(next)
	}
	entries := make([]daylog.Entry, len(drafts))
	for i := range drafts {
		entries[i] = drafts[i].Entry
	}
	kept, err := v.Log.Write(v.r.Context(), v.id, entries...)
	if err != nil {
		return fmt.Errorf("save: %w", err)
	}
	held := make([]*daylog.Entry, len(kept))
	for i := range kept {
		held[i] = &kept[i]
	}
	if !same(held, drafts) { // it was written on another day, or just now
		return v.before(held)
	}
	return v.leave(next)
}

// written gives the entries of this day that were written with a form.
func (v *visit) written(form string) []*daylog.Entry {
	var all []*daylog.Entry
	for _, l := range v.day.Lines {
		for _, e := range l.Members() {
			if e.Form() == form {
				all = append(all, e)
			}
		}
	}
	return all
}

// before says that a form was saved before with other words.
func (v *visit) before(kept []*daylog.Entry) error {
	var words []string
	for _, e := range kept {
		words = append(words, v.clock(e.At)+" "+v.says(e))
	}
	return problem{http.StatusConflict, "This form was saved before",
		"It was saved at " + v.clock(kept[0].Made) + " with other words, and those stand: " + strings.Join(words, "; ") + ". To change them, open Entries and correct the line."}
}

// same reports whether drafts say what was kept of the same form.
func same(kept []*daylog.Entry, drafts []draft) bool {
	if len(kept) != len(drafts) {
		return false
	}
	for i := range drafts {
		d := &drafts[i]
		if !slices.ContainsFunc(kept, func(e *daylog.Entry) bool {
			return e.ID == d.ID && e.Day == d.Day && e.Of == d.Of && e.Why == d.Why && slices.Equal(e.By, d.By) && maps.Equal(e.Odd, d.Odd) &&
				(!d.named || e.At.Equal(d.At) && e.To.Equal(d.To)) && sameBody(e.Body, d.Body)
		}) {
			return false
		}
	}
	return true
}

func sameBody(a, b daylog.Body) bool {
	x, err1 := json.Marshal(a)
	y, err2 := json.Marshal(b)
	return err1 == nil && err2 == nil && string(x) == string(y) && daylog.KindOf(a) == daylog.KindOf(b)
}

// dayQuery keeps a page on its day where that is not the one it would be about
// anyhow.
func (v *visit) dayQuery(before string) string {
	if v.day.Date == v.today {
		return ""
	}
	return before + "day=" + string(v.day.Date)
}

// says puts an entry into a few words, with what it names as times of day.
func (v *visit) says(e *daylog.Entry) string {
	k := daylog.KindOf(e.Body)
	if k == nil {
		return "written by a newer version"
	}
	words := k.Title
	if k.Say != nil {
		words = cmp.Or(k.Say(v.day, e.Body), words)
	}
	if k.Fields == nil {
		return words
	}
	fields := k.Fields(v.day)
	if slices.ContainsFunc(fields, func(f daylog.Field) bool { return f.Type == daylog.Clock }) {
		known, _ := valuesOf(e.Body)
		for _, f := range fields {
			if text, ok := known[f.Name].(string); ok && f.Type == daylog.Clock {
				name := f.Name + " "
				if strings.HasPrefix(words, name) {
					name = ""
				}
				words += ", " + name + v.format(f, text)
			}
		}
	}
	if len(e.By) > 0 {
		words += ", by " + v.people(e.By)
	}
	for _, name := range sortedKeys(e.Odd) {
		label := name
		for _, f := range fields {
			if f.Name == name {
				label = strings.ToLower(f.Label)
			}
		}
		words += ", " + label + " as written: " + e.Odd[name]
	}
	return words
}

// people names persons of the job.
func (v *visit) people(ids []string) string {
	names := make([]string, len(ids))
	for i, id := range ids {
		names[i] = v.person(id)
	}
	return daylog.List(names)
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

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

// hidden are the fields that every form carries: its number, new unless it came
// with one, and the page's day.
func (v *visit) hidden() ([]Hidden, error) {
	id := v.r.PostForm.Get("form")
	if !validForm(id) {
		var err error
		if id, err = v.newForm(); err != nil {
			return nil, err
		}
	}
	all := []Hidden{{"form", id}, {"day", string(v.day.Date)}}
	if v.then != "" {
		all = append(all, Hidden{"then", v.then})
	}
	return all, nil
}
