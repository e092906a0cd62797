package web

import (
	"cmp"
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strings"

	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// showSheet shows the form of an entry.
func (v *visit) showSheet(status int, sh *sheet) error {
	form, err := v.formOf(sh)
	if err != nil {
		return err
	}
	return v.showForm(status, form)
}

// showForm shows a page that is one form.
func (v *visit) showForm(status int, form Form) error {
	f := v.frame(form.title(), "")
	f.Form = true
	return v.show(status, SheetPage(f, form))
}

func (v *visit) formOf(sh *sheet) (Form, error) {
	form := Form{
		Heading: Heading{Title: sh.kind.Title, Lead: sh.kind.Help},
		URL:     v.url("write/" + sh.kind.Name),
		Asks:    sh.asks,
		Cancel:  v.back(),
	}
	if sh.of != nil {
		form.Heading = Heading{Title: "Correct: " + sh.kind.Title, Lead: v.clock(sh.of.At) + " " + v.says(sh.of.Entry) + ". What it says now stays readable."}
		if sh.of.Struck != nil {
			form.Heading.Lead = v.clock(sh.of.At) + " " + v.says(sh.of.Entry) + ". It is struck; corrected it counts again."
		}
		form.URL = v.url("entry/" + url.PathEscape(sh.of.Root) + "/correct")
		form.Cancel = Action{Label: "Back to Entries", URL: v.url("entries" + v.dayQuery("?"))}
	}
	var err error
	if form.Hidden, err = v.hidden(); err != nil {
		return form, err
	}
	form.Hidden = append(form.Hidden, questions(sh.asks, sh.typed)...)
	if sh.typed != nil {
		form.Wrong = v.lost()
	}
	if say := sh.wrong[""]; say != "" {
		form.Wrong = append(form.Wrong, say)
	}
	var asked FieldGroup
	for _, f := range sh.fields(v.day) {
		asked.Fields = append(asked.Fields, v.control(sh, f)...)
	}
	asked.Fields = append(asked.Fields, v.whenField(sh, cmp.Or(sh.at, timeNow)))
	if sh.kind.Lasts {
		asked.Fields = append(asked.Fields, v.begunField(sh))
	}
	if sh.asksBy() {
		asked.Fields = append(asked.Fields, v.byField(sh.kind, sh))
	}
	if sh.asksPhoto() {
		asked.Fields = append(asked.Fields, Field{Name: "photo", Kind: FieldTick, Label: "Photo taken", Note: "the picture comes later", Value: sh.typed.Get("photo")})
	}
	if sh.of != nil {
		asked.Fields = append(asked.Fields, Field{Name: "why", Kind: FieldText, Label: "Why it is corrected", Needed: true, Value: sh.typed.Get("why"), Error: sh.wrong["why"]})
	}
	form.Groups = []FieldGroup{asked}
	return form, nil
}

// whenField asks when it happened; of work that lasts, when it was done, since
// it is written when it is over.
func (v *visit) whenField(sh *sheet, chosen string) Field {
	label := "When"
	if sh.kind.Lasts {
		label = "Done at"
	}
	if sh.of != nil {
		chosen = exact(moment{at: sh.of.End(), about: sh.of.About})
	}
	f := v.timeField(sh.prefix+"at", label, chosen, sh.typed)
	sh.say(&f)
	return f
}

// begunField asks when work that lasts began. Left as it is, it was one moment.
func (v *visit) begunField(sh *sheet) Field {
	chosen := ""
	if sh.of != nil && !sh.of.To.IsZero() {
		chosen = exact(moment{at: sh.of.At, about: sh.of.About})
	}
	f := v.timeField(sh.prefix+"begun", "Begun at, if it took a while", chosen, sh.typed)
	f.Options = slices.DeleteFunc(f.Options, func(o Option) bool { return o.Value == timeNow })
	chosenOne := slices.ContainsFunc(f.Options, func(o Option) bool { return o.Chosen })
	f.Options = slices.Insert(f.Options, 0, Option{Value: "", Label: "Not noted", Chosen: !chosenOne})
	sh.say(&f)
	return f
}

// byField asks who did it; offered are those who last did the like.
func (v *visit) byField(k *daylog.Kind, sh *sheet) Field {
	by := sh.typed["by"]
	switch {
	case sh.typed != nil:
	case sh.of != nil:
		by = sh.of.By
	default:
		last, _ := v.last(k)
		by = asStrings(last["by"])
	}
	f := Field{Name: "by", Kind: FieldMany, Label: "Who did it", Folded: true}
	if len(by) > 0 {
		f.Label += ": " + v.people(by)
	}
	for _, p := range v.day.Setup.Persons {
		if chosen := slices.Contains(by, p.Person); chosen || !p.Gone && p.Role != "manager" {
			f.Options = append(f.Options, Option{Value: p.Person, Label: p.Name, Note: p.Trade, Chosen: chosen})
		}
	}
	return f
}

// say puts what is wrong or odd about a field at it.
func (sh *sheet) say(f *Field) {
	f.Error = sh.wrong[f.Name]
	for _, q := range sh.asks {
		if q.Field == f.Name && f.Asked == "" {
			f.Asked = q.Say
		}
	}
}

// control shows one declared field; nothing where there is nothing to choose
// from.
func (v *visit) control(sh *sheet, f daylog.Field) []Field {
	value := sh.value(f)
	c := Field{Name: f.Name, Kind: FieldText, Label: f.Label, Help: f.Help, Unit: f.Unit, Needed: f.Required}
	sh.say(&c)
	typed := v.format(f, value)
	if f.Type == daylog.Length {
		typed = strings.TrimSuffix(typed, " "+f.Unit)
	}
	if sh.typed != nil {
		typed = sh.typed.Get(f.Name)
		c.Other = sh.typed.Get(f.Name + "-other")
	}
	switch f.Type {
	case daylog.Text:
		c.Value = typed
	case daylog.LongText:
		c.Kind, c.Value = FieldLongText, typed
	case daylog.Number, daylog.Whole, daylog.Temp:
		c.Kind, c.Value = FieldNumber, typed
	case daylog.Length:
		c.Kind, c.Value = FieldLength, typed
	case daylog.Clock:
		c.Kind, c.Value = FieldClock, typed
	case daylog.Calendar:
		c.Kind, c.Value = FieldDate, typed
	case daylog.Tick:
		c.Kind = FieldTick
		if sh.typed == nil && value == true || sh.typed.Get(f.Name) != "" {
			c.Value = "on"
		}
	case daylog.Choice:
		c.Kind = FieldChoice
		for _, o := range f.Options {
			c.Options = append(c.Options, Option{Value: o.Value, Label: o.Label, Chosen: o.Value == typed})
		}
		if typed != "" && !slices.ContainsFunc(c.Options, func(o Option) bool { return o.Chosen }) {
			c.Options = append(c.Options, Option{Value: typed, Label: shown(typed), Chosen: true})
		}
		if len(c.Options) == 0 {
			c.Help = cmp.Or(c.Help, "There is nothing of the kind.")
		}
	case daylog.PanelName, daylog.SeamName:
		c.Kind, c.OtherLabel = FieldChoice, "Another "+string(f.Type)
		v.oneOf(&c, sh.kind, f.Type, typed)
	case daylog.PanelNames, daylog.SeamNames, daylog.Persons, daylog.SeamEnds, daylog.Many:
		c.Kind = FieldMany
		v.manyOf(&c, f, sh)
		if len(c.Options) == 0 && c.OtherLabel == "" {
			return nil
		}
	case daylog.Places:
		c.Kind = FieldMany
		v.placeTiles(&c, f, sh)
	case daylog.Stretches:
		c.Kind = FieldMany
		v.stretchTiles(&c, f, sh)
	case daylog.Laps:
		c.Kind = FieldRows
		lapRows(&c, f, sh)
	case daylog.PanelParts:
		c.Kind = FieldRows
		v.partRows(&c, f, sh)
	}
	if f.Type == daylog.Choice && len(c.Options) == 1 && c.Options[0].Value == "" {
		return nil // nothing to choose
	}
	if len(c.Options) == 0 && c.OtherLabel != "" && c.Kind != FieldRows {
		c.Folded = !f.Required && c.Kind == FieldMany
		c.OtherLabel = cmp.Or(map[daylog.FieldType]string{daylog.Places: "Places", daylog.Many: "Which", daylog.Stretches: "Parts of runs"}[f.Type], "Name")
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

// fewTiles is how many panels or seams are shown as tiles; others are typed.
const fewTiles = 8

// oneOf asks for one panel or seam by tiles, the likely ones first.
func (v *visit) oneOf(c *Field, k *daylog.Kind, t daylog.FieldType, chosen string) {
	names := v.likely(k, t)
	if chosen != "" {
		names = slices.DeleteFunc(names, func(n string) bool { return n == chosen })
		names = slices.Insert(names, 0, chosen)
	}
	for _, name := range names[:min(len(names), fewTiles)] {
		c.Options = append(c.Options, Option{Value: name, Label: name, Note: v.placeNote(t, name), Chosen: name == chosen && c.Other == ""})
	}
}

// likely lists panels or seams, those that work is likely to be about first: to
// be laid, the next ones of the plan; else what was laid last; seams between
// laid sheets, those begun or not made before those that are.
func (v *visit) likely(k *daylog.Kind, t daylog.FieldType) []string {
	layout, roof := v.day.Roof.Layout(), v.day.Roof
	var first, then, rest []string
	if t == daylog.PanelName {
		for _, p := range layout.Panels {
			switch laid, ok := roof.Panel(p.Name); {
			case laid.Cut:
			case ok && laid.Day == v.day.Date:
				then = append(then, p.Name)
			case ok && laid.Day != "":
				rest = append(rest, p.Name)
			case !ok:
				first = append(first, p.Name)
			}
		}
		slices.Reverse(then)
		slices.Reverse(rest)
		if k.Name != "panel" {
			first, then, rest = then, rest, first
		}
		return slices.Concat(first, then, rest)
	}
	for i := range layout.Seams {
		s := &layout.Seams[i]
		_, a := roof.Panel(s.A)
		_, b := roof.Panel(s.B)
		if !a || !b || roof.Stood(s.Name) {
			continue
		}
		made := roof.Seam(s.Name)
		switch {
		case len(made.Open(daylog.Part(s.Reach()))) > 0:
			first = append(first, s.Name)
		case len(made.Runs) > 0:
			then = append(then, s.Name)
		default:
			rest = append(rest, s.Name)
		}
	}
	slices.Reverse(rest)
	return slices.Concat(first, then, rest)
}

// placeNote is the small line on a tile.
func (v *visit) placeNote(t daylog.FieldType, name string) string {
	if t != daylog.PanelName {
		s, ok := v.day.Roof.Layout().Seam(name)
		if !ok {
			return "not on the plan"
		}
		made := v.day.Roof.Seam(name)
		open := made.Open(daylog.Part(s.Reach()))
		for _, st := range made.Runs {
			if st.Closed.IsZero() && !st.Primed.IsZero() {
				return feet(st.From) + " to " + feet(st.To) + " ft primed " + v.clock(st.Primed.At)
			}
		}
		switch {
		case len(open) == 0:
			return s.Length.String() + ", made"
		case open[0].Length() >= s.Length:
			return s.Length.String()
		}
		return feet(open[0].From) + " to " + feet(open[0].To) + " ft open"
	}
	if laid, ok := v.day.Roof.Panel(name); ok && !laid.Position.IsZero() && laid.Day == v.day.Date {
		return "in position " + v.clock(laid.Position.At)
	}
	if p, ok := v.day.Roof.Layout().Panel(name); ok {
		return p.Width.String() + " x " + p.Length.String()
	}
	return "not on the plan"
}

// manyOf lists what several may be ticked of.
func (v *visit) manyOf(c *Field, f daylog.Field, sh *sheet) {
	chosen := sh.typed[f.Name]
	if sh.typed == nil {
		chosen = asStrings(sh.value(f))
	}
	add := func(value, label, note string) {
		if !slices.ContainsFunc(c.Options, func(o Option) bool { return o.Value == value }) {
			c.Options = append(c.Options, Option{Value: value, Label: label, Note: note, Chosen: slices.Contains(chosen, value)})
		}
	}
	roof := v.day.Roof
	switch f.Type {
	case daylog.Many:
		c.OtherLabel, c.OtherHelp = "Another", "Several with a comma between."
		for _, o := range f.Options {
			add(o.Value, o.Label, "")
		}
		for _, text := range chosen {
			add(text, text, "")
		}
	case daylog.Persons:
		for _, p := range v.day.Setup.Persons {
			if !p.Gone && p.Role != "manager" {
				add(p.Person, p.Name, p.Trade)
			}
		}
		for _, id := range chosen {
			add(id, v.person(id), "")
		}
	case daylog.PanelNames:
		c.OtherLabel, c.OtherHelp = "Another panel", "Several with a comma between."
		for _, p := range roof.Panels {
			switch open := p.Strip != nil && !p.Strip.Filled; {
			case open:
				add(p.Name, "Panel "+p.Name, "strip of "+p.Strip.Width.String())
			case sh.kind.Name != "stone" && p.Day == v.day.Date:
				add(p.Name, "Panel "+p.Name, "")
			}
		}
		for _, name := range chosen {
			add(name, "Panel "+name, "")
		}
	case daylog.SeamNames:
		c.OtherLabel, c.OtherHelp = "Another run", "Several with a comma between."
		for i := range roof.Seams {
			if s := &roof.Seams[i]; len(s.Runs) > 0 {
				add(s.Name, "Run "+s.Name, "")
			}
		}
		for _, name := range chosen {
			add(name, "Run "+name, "")
		}
	case daylog.SeamEnds:
		seams := roof.Layout().Seams
		if name, _ := sh.values["seam"].(string); name != "" {
			if s, ok := roof.Layout().Seam(name); ok {
				seams = []roofplan.Seam{s}
			}
		}
		for _, s := range seams {
			for _, end := range s.Ends() {
				_, edge, _ := strings.Cut(end.Name, "@")
				add(edge, UpperFirst(edge), "")
			}
		}
		for _, edge := range chosen {
			add(edge, UpperFirst(edge), "")
		}
	}
}

// candidate is a place that a form of places offers as a tile.
type candidate struct {
	place daylog.Place
	note  string
	mark  MarkKind
	held  bool
}

// candidates lists the places a form is likely to be about: what is owed, and
// for stone and treatment what waits for treatment.
func (v *visit) candidates(k *daylog.Kind) []candidate {
	var out []candidate
	if k.Name == "backclosed" {
		for _, b := range v.day.Roof.Back {
			c := candidate{place: b.Place, note: "stone kept back", mark: MarkHeldBack}
			if s, ok, _ := v.day.Roof.Spot(b.Place); ok && s.Treated.IsZero() {
				c.note, c.mark, c.held = "not treated", MarkWaiting, true
			}
			out = append(out, c)
		}
		return out
	}
	if k.Name != "treatment" {
		for _, o := range checks.OwedNow(v.situation(false)) {
			if o.Work != checks.CoverWork {
				continue
			}
			for _, p := range o.Places {
				out = append(out, candidate{place: p, note: "owed", mark: MarkCoverOwed})
			}
		}
	}
	if k.Name != "covers" {
		for _, s := range v.day.Roof.Spots {
			if s.Treated.IsZero() && !s.Rolled.IsZero() {
				out = append(out, candidate{place: s.Place, note: "rolled " + v.clock(s.Rolled.At), mark: MarkWaiting, held: s.HeldBack})
			}
		}
	}
	return out
}

// placeTiles asks for places by tapping them.
func (v *visit) placeTiles(c *Field, f daylog.Field, sh *sheet) {
	c.OtherLabel = "Another place"
	c.OtherHelp = "As in 2|3 at 41 ft, 2|3 south, 2|3 south splice. Several with ; between."
	more := asPlaces(sh.value(f))
	if sh.typed != nil {
		more = nil
		for _, text := range sh.typed[f.Name] {
			var p daylog.Place
			if jsonInto(text, &p) && p.On != "" {
				more = append(more, p)
			}
		}
	}
	chosen := map[string]bool{}
	for _, p := range more {
		chosen[placeValue(p)] = true
	}
	known := map[string]bool{}
	add := func(p daylog.Place, note string, mark MarkKind, held bool) {
		value := placeValue(p)
		if known[value] {
			return
		}
		known[value] = true
		label, what := spotWords(p)
		c.Options = append(c.Options, Option{Value: value, Label: label, Note: strings.TrimSuffix(what+", "+note, ", "), Mark: mark, Held: held, Chosen: chosen[value]})
	}
	for _, o := range v.candidates(sh.kind) {
		add(o.place, o.note, o.mark, o.held)
	}
	for _, p := range more {
		add(p, "", MarkNone, false)
	}
}

// stretchTiles asks for parts of seams by tapping them: those begun, held short
// or not made between laid sheets.
func (v *visit) stretchTiles(c *Field, f daylog.Field, sh *sheet) {
	c.OtherLabel, c.OtherHelp = "Another part", "As in 2|3 0 to 4.5 ft. Several with ; between."
	chosen := as[[]daylog.OnSeam](sh.value(f))
	if sh.typed != nil {
		chosen = nil
		for _, text := range sh.typed[f.Name] {
			var o daylog.OnSeam
			if jsonInto(text, &o) && o.Seam != "" {
				chosen = append(chosen, o)
			}
		}
	}
	add := func(o daylog.OnSeam, note string) {
		raw, err := json.Marshal(o)
		if err == nil && !slices.ContainsFunc(c.Options, func(had Option) bool { return had.Value == string(raw) }) {
			c.Options = append(c.Options, Option{Value: string(raw), Label: o.String(), Note: note, Chosen: slices.Contains(chosen, o)})
		}
	}
	for _, s := range v.day.Roof.Seams {
		for _, st := range s.Runs {
			if st.Closed.IsZero() && !st.Primed.IsZero() {
				add(daylog.OnSeam{Seam: s.Name, Part: st.Part}, "primed "+v.clock(st.Primed.At))
			}
		}
		for _, held := range s.Held {
			add(daylog.OnSeam{Seam: s.Name, Part: held}, "held short")
		}
	}
	for _, o := range chosen {
		add(o, "")
	}
}

// spotWords names a place as it is painted beside it, and what is there.
func spotWords(p daylog.Place) (label, what string) {
	seam, edge, atEdge := strings.Cut(p.On, "@")
	label, what = seam, "end lap"
	switch {
	case atEdge:
		label, what = seam+" "+edge, "folded"
	case len(daylog.Joined(seam)) > 2:
		what = "T-joint"
	default:
		label += " at " + p.At.String()
	}
	if p.What == daylog.Splice {
		what = "vertical splice"
	}
	return label, what
}

// lapRows asks for tape end laps, some rows more than there are.
func lapRows(c *Field, f daylog.Field, sh *sheet) {
	laps := asLaps(sh.value(f))
	n := max(2, len(laps)+1)
	for n < mostLaps && sh.typed.Get(fmt.Sprintf("%s.%d.at", f.Name, n-1)) != "" {
		n++
	}
	for i := range min(n, mostLaps) {
		name := fmt.Sprintf("%s.%d", f.Name, i)
		at := Field{Name: name + ".at", Kind: FieldLength, Label: "At", Unit: "ft"}
		lap := Field{Name: name + ".lap", Kind: FieldLength, Label: "Overlaps by", Unit: "in"}
		if sh.typed != nil {
			at.Value, lap.Value = sh.typed.Get(at.Name), sh.typed.Get(lap.Name)
		} else if i < len(laps) {
			at.Value = bareLength(laps[i].At, "ft")
			lap.Value = bareLength(laps[i].Lap, "in")
		}
		c.Rows = append(c.Rows, FieldRow{Name: fmt.Sprintf("Lap %d", i+1), Cells: []Field{at, lap}})
	}
}

// bareLength is a length for a box that shows its unit; empty for none.
func bareLength(l roofplan.Length, unit string) string {
	if l == 0 {
		return ""
	}
	return strings.TrimSuffix(l.String(), " "+unit)
}

// usualStrip is the width along the newest edge that stays open: common
// practice, no source.
var usualStrip = roofplan.Feet(4)

// typedParts are the panels that feet were typed for.
func typedParts(f daylog.Field, typed url.Values) []string {
	var panels []string
	for _, name := range sortedKeys(typed) {
		rest, ok := strings.CutPrefix(name, f.Name+".")
		if dot := strings.LastIndexByte(rest, '.'); ok && dot > 0 && strings.TrimSpace(typed.Get(name)) != "" {
			panels = append(panels, rest[:dot])
		}
	}
	return panels
}

// partRows asks which panels, or parts of them, got stone.
func (v *visit) partRows(c *Field, f daylog.Field, sh *sheet) {
	c.OtherLabel, c.OtherHelp = "Another panel", "Several with a comma between."
	given := map[string]daylog.PanelPart{}
	for _, p := range asParts(sh.value(f)) {
		given[p.Panel] = p
	}
	roof := v.day.Roof
	newest := ""
	for _, p := range roof.Panels {
		if p.Day == v.day.Date {
			newest = p.Name
		}
	}
	row := func(panel, note, strip string) {
		part, ticked := given[panel]
		if sh.typed != nil {
			ticked = slices.Contains(sh.typed[f.Name], panel)
		}
		cells := []Field{
			{Name: ".less", Label: "Strip left open", Value: strip},
			{Name: ".from", Label: "Only from"},
			{Name: ".to", Label: "Only up to"},
		}
		if ticked && sh.typed == nil {
			cells[0].Value = bareLength(part.Less, "ft")
			if part.To > 0 {
				cells[1].Value, cells[2].Value = strings.TrimSuffix(part.From.String(), " ft"), bareLength(part.To, "ft")
			}
		}
		for i := range cells {
			cell := &cells[i]
			cell.Name, cell.Kind, cell.Unit = f.Name+"."+panel+cell.Name, FieldLength, "ft"
			if sh.typed != nil {
				cell.Value = sh.typed.Get(cell.Name)
			}
		}
		c.Rows = append(c.Rows, FieldRow{Tick: &Option{Value: panel, Label: "Panel " + panel, Note: note, Chosen: ticked}, Cells: cells})
		delete(given, panel)
	}
	for _, p := range roof.Panels {
		bare := roof.Bare(p)
		_, known := given[p.Name]
		if p.Day == "" && !known || bare == 0 && !p.Temp && !known {
			continue
		}
		strip := ""
		if p.Name == newest {
			strip = bareLength(usualStrip, "ft")
		}
		note := trimNumber(bare) + " sq ft bare"
		if bare == 0 {
			note = "nothing bare"
		}
		row(p.Name, note, strip)
	}
	for _, panel := range append(append(sortedKeys(given), sh.typed[f.Name]...), typedParts(f, sh.typed)...) {
		if !slices.ContainsFunc(c.Rows, func(r FieldRow) bool { return r.Tick.Value == panel }) {
			row(panel, v.placeNote(daylog.PanelName, panel), "")
		}
	}
	if len(c.Rows) == 0 {
		c.Help = cmp.Or(c.Help, "No laid panel is bare. Type the panel if it got stone all the same.")
	}
}
