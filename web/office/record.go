package office

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/internal/roofplan"
	"duskline/internal/weather"
	"duskline/web"
)

// record is one day of a job put into words and figures, for its page and for
// its printed summary alike.
type record struct {
	id      string // of the job
	job     *daylog.Job
	day     *daylog.Day
	today   *daylog.Setup // names of people who came later
	zone    *time.Location
	forks   []daylog.Branch
	tally   daylog.Tally
	closing *checks.Situation // as at leaving, or as it stands now
	owed    []checks.Owed     // then
	changes []daylog.Revision
}

// newRecord looks at a day as it was signed; a day that nobody signed, as it
// stands now.
func newRecord(id string, job *daylog.Job, date daylog.Date, now time.Time, zone *time.Location, forks []daylog.Branch) *record {
	r := &record{id: id, job: job, day: job.On(date), zone: zone, forks: forks}
	r.today = job.On(daylog.DateOf(now.In(zone))).Setup
	r.tally = r.day.Tally()
	r.changes = r.day.Revisions(forks)
	if r.day.Signed() {
		now = r.day.Signatures[0].Line.At
	}
	r.closing = checks.Look(job, date, now, zone, "", true)
	r.owed = checks.OwedNow(r.closing)
	return r
}

// Table is a part of the record as rows under a heading. One without rows says
// so in words, which is an answer too.
type Table struct {
	Title string
	Note  string
	Timed bool // times and names, first and last, stay on one line
	Head  []string
	Rows  [][]string
	Words string // in the place of rows
}

func (r *record) person(id string) string {
	if p, ok := r.day.Setup.Person(id); ok {
		return p.Name
	}
	return r.today.PersonName(id)
}

func (r *record) persons(ids []string) string {
	names := make([]string, len(ids))
	for i, id := range ids {
		names[i] = r.person(id)
	}
	return daylog.List(names)
}

// by are those who did what a line says; where it names nobody, who wrote it.
func (r *record) by(e *daylog.Entry) string {
	if len(e.By) > 0 {
		return r.persons(e.By)
	}
	return r.person(e.Author)
}

func (r *record) clock(t time.Time) string { return t.In(r.zone).Format("15:04") }

// when is an entry's time; about where it was not tapped as it happened.
func (r *record) when(e *daylog.Entry) string {
	text := r.clock(e.At)
	if !e.To.IsZero() {
		text += " to " + r.clock(e.To)
	}
	if e.About > 0 {
		text = "about " + text
	}
	return text
}

// moment is a time with its date where that is not the record's.
func (r *record) moment(t time.Time) string {
	if date := daylog.DateOf(t.In(r.zone)); date != r.day.Date {
		return t.In(r.zone).Format("15:04 on 2 January 2006")
	}
	return r.clock(t)
}

// says is an entry in words, without who did it: that stands beside it.
func (r *record) says(e *daylog.Entry) string {
	bare := *e
	bare.By = nil
	return web.UpperFirst(web.Words(r.day, r.zone, &bare))
}

// figure prints a number with thousands apart and without needless zeros.
func figure(n float64) string { return fixed(n, -1) }

// fixed prints a number with thousands apart and so many decimals; as many as it
// has for -1.
func fixed(n float64, decimals int) string {
	whole, part, cut := strings.Cut(strconv.FormatFloat(n, 'f', decimals, 64), ".")
	for i := len(whole) - 3; i > 0 && whole[i-1] != '-'; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if cut {
		return whole + "." + part
	}
	return whole
}

// feet prints a length along seams to 0.1 ft.
func feet(l roofplan.Length) string { return figure(weather.Tenth(l.Feet())) + " ft" }

func pounds(n int) string { return figure(float64(n)) + " lb" }

func squareFeet(n float64) string { return figure(n) + " sq ft" }

// asked is what the job asks of stone, zone by zone.
func (r *record) asked() string {
	var words []string
	zones := r.day.Setup.Required()
	for _, zone := range []string{"", "field", "perimeter", "corner"} {
		if psf, ok := zones[zone]; ok {
			words = append(words, strings.TrimSpace(zone+" "+figure(psf)+" psf"))
		}
	}
	return strings.Join(words, ", ")
}

// Number is one of the figures that a day is known by.
type Number struct {
	Figure, Unit string
	Words        string
}

// numbers are the six figures of the day.
func (r *record) numbers() []Number {
	t := r.tally
	owed := 0
	for _, o := range r.owed {
		if o.Work == checks.CoverWork {
			owed += countSpots(o.Places, daylog.Cover)
		}
	}
	covers := "covers rolled, none owed"
	if owed > 0 {
		covers = fmt.Sprintf("covers rolled, %d owed", owed)
	}
	treated := "covers treated, none waits"
	if n := t.Covers.Waiting; n == 1 {
		treated = "covers treated, 1 waits"
	} else if n > 1 {
		treated = fmt.Sprintf("covers treated, %d wait", n)
	}
	rate := Number{"none", "", "stone spread"}
	if t.Pounds > 0 {
		rate = Number{fixed(t.Rate(), 1), "psf", "stone, no rate set"}
		if asked := r.asked(); asked != "" {
			rate.Words = "stone, " + asked + " required"
		}
	}
	return []Number{
		{fixed(daylog.Squares(t.Laid), 1), "sq", "squares laid"},
		{figure(weather.Tenth(t.Made.Feet())), "ft", "seam made"},
		{strconv.Itoa(t.Covers.Rolled), "", covers},
		{strconv.Itoa(t.Covers.Treated), "", treated},
		{fixed(daylog.ShortTons(t.Pounds), 2), "tons", "short tons of stone"},
		rate,
	}
}

func after(words, what string) string {
	if what == "" {
		return ""
	}
	return words + what
}

func countSpots(places []daylog.Place, what daylog.What) int {
	n := 0
	for _, p := range places {
		if p.What == what {
			n++
		}
	}
	return n
}

// quantities are the day's work in figures, with where the job stands.
func (r *record) quantities() Table {
	t, so := r.tally, r.day.SoFar()
	table := Table{Title: "Quantities", Head: []string{"Work", "This day", "The job by the end of it"}}
	add := func(what, today, all string) { table.Rows = append(table.Rows, []string{what, today, all}) }
	names := make([]string, len(t.Panels))
	for i, p := range t.Panels {
		names[i] = p.Name
	}
	slices.SortFunc(names, roofplan.CompareNames)
	panel := ", panel "
	if len(names) > 1 {
		panel = ", panels "
	}
	add("Sheet laid"+after(panel, daylog.List(names)), fixed(daylog.Squares(t.Laid), 1)+" squares, "+squareFeet(t.Laid),
		fixed(daylog.Squares(so.Laid), 1)+" of "+fixed(daylog.Squares(so.Roof), 1)+" squares")
	add("Seam made", feet(t.Made), feet(so.Made)+" of "+feet(so.Seams))
	spots := func(s daylog.Spots) string {
		return fmt.Sprintf("%d rolled, %d treated", s.Rolled, s.Treated)
	}
	waits := func(s daylog.Spots) string { return strconv.Itoa(s.Waiting) + " waiting for treatment" }
	add("Covers", spots(t.Covers), waits(t.Covers))
	add("Vertical splices", spots(t.Splices), waits(t.Splices))
	for _, e := range t.Edges {
		add("Edges "+e.Done+", "+daylog.SayNames(e.Edges), e.Feet.String(), "")
	}
	if len(t.Details) > 0 {
		add("Details flashed, "+daylog.List(t.Details), daylog.Count(len(t.Details), "detail", "details"), "")
	}
	if t.Torn > 0 {
		add("Old roof torn off", squareFeet(t.Torn), "")
	}
	if t.Insulated > 0 {
		add("Insulation laid", squareFeet(t.Insulated), "")
	}
	add("Stone spread", pounds(t.Pounds)+", "+fixed(daylog.ShortTons(t.Pounds), 2)+" short tons", pounds(so.Spread))
	add("Stone delivered, "+daylog.Count(t.Loads, "load", "loads"), pounds(t.Received)+", "+fixed(daylog.ShortTons(t.Received), 2)+" short tons", pounds(so.Delivered))
	return table
}

// stone is what was spread, area by area, against what the job asks.
func (r *record) stone() Table {
	table := Table{Title: "Stone by area", Timed: true, Head: []string{"Time", "Area", "Sq ft", "Pounds", "Psf", "Required"}}
	for _, s := range r.tally.Stone {
		var where []string
		for _, p := range s.Panels {
			text := "panel " + p.Panel
			if p.To > 0 {
				text += ", " + figure(weather.Tenth(p.From.Feet())) + " to " + feet(p.To)
			}
			if p.Less > 0 {
				text += " less " + p.Less.String() + " strip"
			}
			where = append(where, text)
		}
		for _, name := range s.Strips {
			where = append(where, "strip of panel "+name)
		}
		if len(s.Back) > 0 {
			where = append(where, "held-back places at "+places(s.Back))
		}
		area, psf := "", ""
		if s.Area > 0 {
			area, psf = fixed(s.Area, 1), fixed(s.Rate(), 1)
		}
		table.Rows = append(table.Rows, []string{r.when(s.Line.Entry), web.UpperFirst(daylog.List(where)), area, figure(float64(s.Pounds)), psf, cmp.Or(r.asked(), "not set")})
	}
	if len(table.Rows) > 1 {
		table.Rows = append(table.Rows, []string{"", "All of it", fixed(r.tally.Stoned, 1), figure(float64(r.tally.Pounds)), fixed(r.tally.Rate(), 1), ""})
	}
	for _, q := range r.tally.Squares {
		table.Rows = append(table.Rows, []string{"", "Test square" + after(" on panel ", q.Panel), fixed(q.Area, 1), figure(float64(q.Pounds)), fixed(q.Rate(), 2), ""})
	}
	if len(table.Rows) == 0 {
		table.Words = "No stone was spread."
	}
	return table
}

func places(all []daylog.Place) string {
	words := make([]string, len(all))
	for i, p := range all {
		words[i] = daylog.SayName(p.On)
		if p.At != 0 {
			words[i] += " at " + p.At.String()
		}
	}
	return daylog.List(words)
}

// work is what was done where, when and by whom; seams have a table of their own.
func (r *record) work() Table {
	table := Table{Title: "Work by place", Timed: true, Head: []string{"Time", "Work and place", "By"}, Words: "No work was written down."}
	for _, l := range r.day.Lines {
		k := daylog.KindOf(l.Body)
		if k == nil || l.Struck != nil {
			continue
		}
		switch k.Group {
		case daylog.Opened, daylog.Panels, daylog.Details, daylog.Stone:
		case daylog.Ending:
			if k.Name != "nightseal" && k.Name != "tied" && k.Name != "drains" {
				continue
			}
		case daylog.Seams:
			if k.Name != "cutout" && k.Name != "dried" && k.Name != "held" {
				continue
			}
		default:
			continue
		}
		if k.Name == "square" || k.Name == "lap" {
			continue
		}
		table.Rows = append(table.Rows, []string{r.when(l.Entry), r.says(l.Entry), r.by(l.Entry)})
	}
	return table
}

// seams are the day's stretches with what proves them.
func (r *record) seams() Table {
	table := Table{Title: "Seams and finger tests", Words: "No seam was worked on.",
		Head: []string{"Run", "From, to", "Primed", "Finger tests", "Closed", "End laps", "Tape, primer", "By"}}
	tests := map[string][]*daylog.Line{}
	entries := map[string]*daylog.Entry{}
	for _, l := range r.day.Lines {
		entries[l.Root] = l.Entry
	}
	for l, b := range daylog.Each[*daylog.FingerTest](r.day) {
		tests[b.Seam] = append(tests[b.Seam], l)
	}
	lot := func(material string) string {
		l, _ := r.day.Roof.Lot(material)
		return cmp.Or(l.Lot, "not noted")
	}
	for _, s := range r.day.Roof.Seams {
		for _, st := range s.Runs {
			if st.Day != r.day.Date {
				continue
			}
			row := []string{s.Name, figure(weather.Tenth(st.From.Feet())) + " to " + feet(st.To), "", "", "not closed", "", lot("tape") + ", " + lot("primer"), ""}
			if !st.Primed.IsZero() {
				row[2] = r.clock(st.Primed.At)
			}
			var results []string
			for _, l := range tests[s.Name] {
				b := l.Body.(*daylog.FingerTest)
				if b.Overlap(st.Part) <= 0 {
					continue
				}
				word := map[string]string{"pass": "pass", "strings": "fail, strings", "wet": "fail, wet"}[b.Result]
				results = append(results, r.clock(l.At)+" "+cmp.Or(word, "fail"))
			}
			row[3] = cmp.Or(strings.Join(results, "; "), "none noted")
			if !st.Closed.IsZero() {
				row[4] = r.clock(st.Closed.At)
				if len(st.Unrolled) > 0 {
					row[4] += ", left out: " + daylog.List(st.Unrolled)
				}
			}
			var laps []string
			for _, lap := range s.Laps {
				if st.From <= lap.At && lap.At <= st.To {
					text := lap.At.String()
					if lap.Lap > 0 {
						text += ", " + lap.Lap.String()
					}
					laps = append(laps, text)
				}
			}
			row[5] = strings.Join(laps, "; ")
			for _, id := range []string{st.Primer, st.Closer} {
				if e := entries[id]; e != nil && row[7] == "" {
					row[7] = r.by(e)
				}
			}
			table.Rows = append(table.Rows, row)
		}
	}
	return table
}

// tests are the other checks and tests, with their results.
func (r *record) tests() Table {
	table := Table{Title: "Other tests and checks", Timed: true, Head: []string{"Time", "Test and place", "Result", "By"}}
	for _, l := range r.day.Lines {
		if l.Struck != nil {
			continue
		}
		what, result := "", ""
		switch b := l.Body.(type) {
		case *daylog.SeamCheck:
			what, result = "Seams and covers walked and looked at"+after(": ", daylog.List(b.Seams)), "walked"
		case *daylog.SealCheck:
			what, result = "Last night's seal", "not dry under the sheet"
			if b.Dry {
				result = "dry under the sheet"
			}
			if b.Spots > 0 {
				result += ", " + daylog.Count(b.Spots, "place", "places")
			}
			if b.Wet > 0 {
				result += ", wet boards " + squareFeet(b.Wet)
			}
		case *daylog.TestSquare:
			what, result = "Test square"+after(", panel ", b.Panel), fmt.Sprintf("%s on %s: %s lb/sq ft", pounds(b.Pounds), squareFeet(b.Area), fixed(b.Rate(), 2))
		case *daylog.LapMeasured:
			what, result = "Side lap "+b.Seam+" at its worst", b.Width.String()
		case *daylog.TapeShows:
			what, result = r.says(l.Entry), "noted"
			if b.Repair {
				result = "repaired"
			}
		case *daylog.Released:
			what, result = "Release before stone"+after(", panel ", daylog.List(b.Panels)), "released"+after(" on the word of ", b.Who)
		default:
			continue
		}
		table.Rows = append(table.Rows, []string{r.when(l.Entry), what, result, r.by(l.Entry)})
	}
	if len(table.Rows) == 0 {
		table.Words = r.none("tests")
	}
	return table
}

// none says whether a part of the record was answered with none, or not at all.
func (r *record) none(section string) string {
	for _, b := range daylog.Each[*daylog.NoneToday](r.day) {
		if slices.Contains(b.Sections, section) {
			return "None this day."
		}
	}
	return "Nothing noted."
}

// crew is the headcount and hours by trade, and who was there.
func (r *record) crew() Table {
	t := r.tally
	table := Table{Title: "Crew and hours", Head: []string{"Trade", "People", "Hours"}, Words: "Nobody noted who was on the roof."}
	for _, h := range t.Trades {
		table.Rows = append(table.Rows, []string{web.UpperFirst(h.Trade), strconv.Itoa(h.People), figure(h.Hours)})
	}
	if len(table.Rows) > 0 {
		table.Rows = append(table.Rows, []string{"All", strconv.Itoa(t.People), figure(t.Hours)})
	}
	var names []string
	for _, b := range daylog.Each[*daylog.Start](r.day) {
		for _, id := range b.Crew {
			if name := r.person(id); !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	table.Note = strings.Join(names, ", ")
	return table
}

func (r *record) equipment() Table {
	table := Table{Title: "Equipment", Head: []string{"Equipment", "Hours", "Stood by"}, Words: r.none("equipment")}
	for _, e := range r.tally.Equipment {
		idle := ""
		if e.Idle > 0 {
			idle = figure(e.Idle)
		}
		table.Rows = append(table.Rows, []string{web.UpperFirst(e.Item), figure(e.Hours), idle})
	}
	return table
}

// weather are the readings with what follows from them, and the stops.
func (r *record) weather() Table {
	table := Table{Title: "Weather", Head: []string{"Time", "Air", "Humidity", "Sheet", "Dew point", "Margin", "Wind, gusts", "Sky"}, Words: "No reading was noted."}
	value := func(v *float64, unit string) string {
		if v == nil {
			return ""
		}
		return figure(weather.Tenth(*v)) + unit
	}
	for _, w := range r.day.Weather {
		row := []string{r.clock(w.At), value(w.Air, " F"), value(w.Humidity, " %"), value(w.Sheet, " F"), "", "", "", w.Sky}
		if w.Air != nil && w.Humidity != nil {
			if dew, ok := weather.DewPoint(*w.Air, *w.Humidity); ok {
				row[4] = fixed(dew, 1) + " F"
			}
			if w.Sheet != nil {
				if margin, ok := weather.Margin(*w.Sheet, *w.Air, *w.Humidity); ok {
					row[5] = fixed(margin, 1) + " F"
				}
			}
		}
		row[6] = value(w.Wind, " mph")
		if w.Gust != nil {
			row[6] = strings.TrimPrefix(row[6]+", "+value(w.Gust, " mph"), ", ")
		}
		table.Rows = append(table.Rows, row)
	}
	var notes []string
	for _, b := range daylog.Each[*daylog.Start](r.day) {
		if b.Forecast != "" {
			notes = append(notes, "Forecast: "+b.Forecast)
		}
	}
	for _, s := range r.day.Stops {
		until := "not ended"
		if !s.Ended.IsZero() {
			until = r.clock(s.Ended.At)
		}
		notes = append(notes, "Weather stop"+after(", ", s.With)+", "+r.clock(s.Began.At)+" to "+until)
	}
	table.Note = strings.Join(notes, ". ")
	return table
}

// lots are the materials in use, and what came in what condition.
func (r *record) lots() Table {
	table := Table{Title: "Materials and lots", Head: []string{"Material", "Lot or ticket", "Quantity", "Good until", "Condition, use"}, Words: r.none("deliveries")}
	for _, l := range r.day.Roof.Lots {
		use := "in use since " + dateWords(l.Since)
		if l.Since == r.day.Date {
			use = "opened this day"
		}
		table.Rows = append(table.Rows, []string{web.UpperFirst(l.Material), l.Lot, "", string(l.Expires()), use})
	}
	for _, p := range r.tally.Panels {
		if p.Lot != "" {
			table.Rows = append(table.Rows, []string{"Sheet, panel " + p.Name, p.Lot, squareFeet(p.Area), "", "laid"})
		}
	}
	for _, b := range daylog.Each[*daylog.Received](r.day) {
		table.Rows = append(table.Rows, []string{"Received: " + b.What, b.Lot, b.Quantity, "", strings.TrimPrefix(b.Condition+after(", ", b.Remark), ", ")})
	}
	for _, b := range daylog.Each[*daylog.StoneTicket](r.day) {
		quantity := figure(b.Weight) + " " + cmp.Or(b.Unit, "tons, which is not said")
		if b.Unit != "" && b.Unit != "lb" {
			quantity = figure(b.Weight) + " " + b.Unit + "s"
		}
		if b.Loads > 1 {
			quantity = strconv.Itoa(b.Loads) + " x " + quantity
		}
		table.Rows = append(table.Rows, []string{"Stone" + after(", ", b.Stone), b.Number, quantity, "", "received"})
	}
	for _, b := range daylog.Each[*daylog.Stored](r.day) {
		quantity := ""
		if b.Gallons > 0 {
			quantity = figure(b.Gallons) + " gal flammable"
		}
		table.Rows = append(table.Rows, []string{"Stored: " + b.What, "", quantity, "", b.Where})
	}
	for _, p := range r.day.Roof.Piles {
		table.Rows = append(table.Rows, []string{"Stone left in a pile", "", pounds(p.Pounds), "", "on " + p.Where + after(", panel ", p.Panel)})
	}
	return table
}

// deviations are what was let stand and why: warnings set aside, seams held
// short, limits looser than a published floor, and what stood when the day was
// signed without anybody's reason.
func (r *record) deviations() Table {
	table := Table{Title: "Deviations with reasons", Head: []string{"What", "Why it stood", "Who, when"}}
	add := func(what, why, who string) { table.Rows = append(table.Rows, []string{what, why, who}) }
	said := map[string]bool{}
	for _, a := range r.day.Asides {
		said[a.Key] = true
		add(a.Words, a.Reason, r.person(a.Line.Author)+", "+r.moment(a.Line.At))
	}
	for _, a := range r.day.Answers {
		said[a.Key] = true
		add(a.Words, "answered for: "+a.What, r.person(a.Person)+", "+r.moment(a.Line.At))
	}
	for _, s := range r.stood() {
		if said[s.Key] {
			continue
		}
		what, why := s.Words, cmp.Or(s.Reason, "no reason given: it stood when the day was signed")
		if s.Asks {
			why = "asked and not answered when the day was signed"
		}
		if !r.day.Signed() {
			why = "open: the day is not signed"
		}
		add(what, why, "")
	}
	for l, b := range daylog.Each[*daylog.HeldShort](r.day) {
		why := "stopped on purpose"
		if b.Sealed {
			why += "; ends sealed and weighted"
		}
		add(r.says(l.Entry), cmp.Or(l.Why, why), r.by(l.Entry)+", "+r.when(l.Entry))
	}
	for _, l := range checks.LooserLimits(r.day.Setup) {
		what, _, _ := strings.Cut(l.String(), " Reason: ")
		who := ""
		if !l.Reason.Made.IsZero() {
			who = r.person(l.Reason.Author) + ", " + r.moment(l.Reason.Made)
		}
		add("Limit of this job, "+what, cmp.Or(l.Reason.Why, "no reason given"), who)
	}
	if doubt := r.day.Setup.Zones.Doubt(); doubt != "" {
		add("Ballast of System "+r.day.Setup.Zones.System, doubt, "")
	}
	if len(table.Rows) == 0 {
		table.Words = "None: nothing was set aside or answered for, and nothing stood when the day was signed."
		if !r.day.Signed() {
			table.Words = "None: nothing was set aside or answered for, and nothing stands."
		}
	}
	return table
}

// stood is what stood at the first signature, in the words it froze; what
// stands, while there is none.
func (r *record) stood() []daylog.Stood {
	if r.day.Signed() {
		return r.day.Signatures[0].Stood
	}
	return checks.Stood(r.closing)
}

// deficiencies are repairs, punch items and leaks that were found, are open or
// were put right, with what was done.
func (r *record) deficiencies() Table {
	table := Table{Title: "Deficiencies and corrective action", Head: []string{"Deficiency", "Where", "Noted", "Corrective action"}, Words: r.none("deficiencies")}
	how := map[string]string{}
	for l, b := range daylog.Each[*daylog.PutRight](r.day) {
		how[l.Root] = strings.TrimSuffix(r.clock(l.At)+", "+b.How, ", ")
	}
	at := map[string]string{}
	for l, b := range daylog.Each[*daylog.LeakReport](r.day) {
		at[l.Root] = b.Action
	}
	for _, i := range r.day.Roof.Items {
		sort := map[string]string{"repair": "Repair: ", "punch": "Punch item: ", "leak": "Leak: "}[i.Sort]
		noted := dateWords(i.Since)
		if i.Since == r.day.Date {
			noted = "this day"
		}
		action := "open"
		if i.Due != "" {
			action += ", due " + i.Due
		}
		if i.Done != "" {
			action = "put right this day" + after(" ", how[i.Fixer])
		} else if did := at[i.Entry]; did != "" {
			action = did + "; " + action
		}
		table.Rows = append(table.Rows, []string{sort + strings.TrimPrefix(i.Name+after(": ", i.What), ": "), i.Where, noted, action})
	}
	for l, b := range daylog.Each[*daylog.WetBoards](r.day) {
		action := "not replaced"
		if b.Replaced {
			action = "replaced"
		}
		table.Rows = append(table.Rows, []string{r.says(l.Entry), b.Where, r.when(l.Entry), action})
	}
	for l, b := range daylog.Each[*daylog.FingerTest](r.day) {
		if b.Result == "pass" {
			continue
		}
		action := "no passing test noted after it"
		for later, again := range daylog.Each[*daylog.FingerTest](r.day) {
			if again.Result == "pass" && later.At.After(l.At) && again.Seam == b.Seam && again.Overlap(b.Part) > 0 {
				action = "waited, tested again, passed at " + r.clock(later.At)
				break
			}
		}
		table.Rows = append(table.Rows, []string{"Finger test failed", b.String(), r.when(l.Entry), action})
	}
	return table
}

// listed is a table of all lines of one sort.
func listed[B daylog.Body](r *record, table Table, section string, row func(l *daylog.Line, b B) []string) Table {
	for l, b := range daylog.Each[B](r.day) {
		table.Rows = append(table.Rows, row(l, b))
	}
	if len(table.Rows) == 0 {
		table.Words = r.none(section)
	}
	return table
}

func (r *record) visits() Table {
	return listed(r, Table{Title: "Visits and inspections", Head: []string{"Time", "Who", "Result", "What was said"}}, "visits",
		func(l *daylog.Line, b *daylog.Visit) []string {
			return []string{r.when(l.Entry), b.Who + after(", ", b.From), b.Result, b.Text}
		})
}

func (r *record) instructions() Table {
	return listed(r, Table{Title: "Instructions given and received", Head: []string{"Time", "Way", "Who", "What"}}, "instructions",
		func(l *daylog.Line, b *daylog.Instruction) []string {
			way := "received from"
			if b.Way == "given" {
				way = "given to"
			}
			return []string{r.when(l.Entry), way, b.Who, b.Text}
		})
}

func (r *record) trades() Table {
	return listed(r, Table{Title: "Other trades", Head: []string{"Time", "Trade", "Where, what", "Damage"}}, "other trades",
		func(l *daylog.Line, b *daylog.OtherTrades) []string {
			who := b.Who
			if b.People > 0 {
				who += ", " + daylog.Count(b.People, "person", "people")
			}
			return []string{r.when(l.Entry), who, strings.TrimPrefix(b.Where+after(", ", b.What), ", "), cmp.Or(b.Damage, "none seen")}
		})
}

func (r *record) delays() Table {
	return listed(r, Table{Title: "Delays", Timed: true, Head: []string{"Time", "By", "What happened"}}, "delays",
		func(l *daylog.Line, b *daylog.Delay) []string {
			return []string{r.when(l.Entry), b.Cause, b.Text}
		})
}

// safety is what was noted for people's safety. The competent person decides;
// the record says what was seen.
func (r *record) safety() Table {
	table := Table{Title: "Safety", Timed: true, Head: []string{"Time", "What was noted", "By"}, Words: "Nothing noted."}
	add := func(l *daylog.Line, what string) {
		table.Rows = append(table.Rows, []string{r.when(l.Entry), what, r.by(l.Entry)})
	}
	for _, l := range r.day.Lines {
		if l.Struck != nil {
			continue
		}
		switch b := l.Body.(type) {
		case *daylog.Start:
			word := "Go"
			if b.NoGo {
				word = "No-go: nothing is opened"
			}
			add(l, word+after(", decided by ", r.person(b.Decided)))
		case *daylog.FallProtection:
			add(l, r.says(l.Entry)+after(", competent person ", r.persons(b.Competent)))
		case *daylog.Briefing:
			what := r.says(l.Entry) + after(", led by ", r.persons(b.Led))
			if n := len(b.Present); n > 0 {
				what += ", " + daylog.Count(n, "person", "people") + " present"
			}
			add(l, what)
		case *daylog.ColdPlan, *daylog.MadeSafe:
			add(l, r.says(l.Entry))
		}
	}
	if note := r.none("injuries"); note != "Nothing noted." {
		table.Rows = append(table.Rows, []string{"", "Injuries: none this day", ""})
	}
	return table
}

// open is what was left when the crew went.
func (r *record) open() Table {
	title := "Open at leaving"
	if !r.day.Signed() {
		title = "Open now"
	}
	table := Table{Title: title, Head: []string{"What", "Where"}}
	add := func(what, where string) { table.Rows = append(table.Rows, []string{what, where}) }
	for _, o := range r.owed {
		switch o.Work {
		case checks.TreatmentWork, checks.StripWork, checks.BackWork: // below, by what stands
		default:
			add(o.Words, o.Detail)
		}
	}
	var waiting []daylog.Place
	for _, s := range r.day.Roof.Spots {
		if !s.Rolled.IsZero() && s.Treated.IsZero() {
			waiting = append(waiting, s.Place)
		}
	}
	if len(waiting) > 0 {
		add(daylog.CountPlaces(waiting)+" not treated", places(waiting))
	}
	if bare := r.tally.Bare; bare > 0 {
		add("Sheet with neither stone nor temporary ballast", squareFeet(bare))
	}
	var strips, held []string
	for _, p := range r.day.Roof.Panels {
		if s := p.Strip; s != nil && !s.Filled {
			what := "panel " + p.Name + ", " + s.Width.String()
			if s.Temp {
				what += ", under temporary ballast"
			}
			strips = append(strips, what)
		}
	}
	if len(strips) > 0 {
		add("Leading strip without stone", daylog.List(strips))
	}
	if n := len(r.day.Roof.Back); n > 0 {
		var back []daylog.Place
		for _, h := range r.day.Roof.Back {
			back = append(back, h.Place)
		}
		add(daylog.Count(n, "place", "places")+" that stone is held back from", places(back))
	}
	for _, s := range r.day.Roof.Seams {
		for _, p := range s.Held {
			if rest := daylog.Less(p, s.Closed()); len(rest) > 0 {
				held = append(held, s.Name+", "+figure(weather.Tenth(p.From.Feet()))+" to "+feet(p.To))
			}
		}
	}
	if len(held) > 0 {
		add("Seam held short", daylog.List(held))
	}
	if seal := r.day.Roof.Seal; seal != nil && seal.Day == r.day.Date {
		where := after("leading edge of ", daylog.List(seal.Panels))
		if seal.Way {
			where = strings.TrimPrefix(where+", water has a way to a drain", ", ")
		}
		add("Night seal, to be checked next morning", where)
	}
	if len(table.Rows) == 0 {
		table.Words = "Nothing is open."
	}
	return table
}

// struckAndCorrected are lines that were changed, with the reasons.
func (r *record) struckAndCorrected() Table {
	table := Table{Title: "Struck and corrected", Head: []string{"Line", "What was changed, and why", "Who, when"}, Words: "No line was struck or corrected."}
	for _, l := range r.day.Lines {
		if row := r.changed(l); row != nil {
			table.Rows = append(table.Rows, row)
		}
	}
	return table
}

// changed says how a line was struck or corrected; nil where it was not.
func (r *record) changed(l *daylog.Line) []string {
	switch {
	case l.Struck != nil && l.Struck != l.Entry:
		return []string{r.clock(l.At) + " " + r.says(l.Entry), "struck: " + cmp.Or(l.Struck.Why, "no reason given"), r.person(l.Struck.Author) + ", " + r.moment(l.Struck.Made)}
	case l.Of != "" && len(l.Past) > 0:
		was := l.Past[0]
		return []string{r.clock(l.At) + " " + r.says(l.Entry), "was " + r.clock(was.At) + " " + r.says(was) + ": " + cmp.Or(l.Why, "no reason given"), r.person(l.Author) + ", " + r.moment(l.Made)}
	}
	return nil
}

// lateAfter is how long after the work an entry counts as late: the limit of the
// rule late-entry by default.
const lateAfter = 12 * time.Hour

// late are lines that were written long after the work.
func (r *record) late() Table {
	table := Table{Title: "Late entries", Head: []string{"Line", "Written", "By"}, Words: "No line was written more than 12 hours after the work, and none after signing."}
	for _, l := range r.day.Lines {
		k := daylog.KindOf(l.Body)
		if k == nil || k.Group == daylog.SetUp || k.Group == daylog.Review {
			continue
		}
		if l.Made.Sub(l.End()) > lateAfter || l.After {
			words := r.moment(l.Made)
			if l.After {
				words += ", after signing"
			}
			table.Rows = append(table.Rows, []string{r.when(l.Entry) + " " + r.says(l.Entry), words, r.person(l.Author)})
		}
	}
	return table
}

// notes are the crew's own words, and what pictures were taken of.
func (r *record) notes() Table {
	table := Table{Title: "Notes and photos", Timed: true, Head: []string{"Time", "Note", "By"}, Words: "Nothing noted."}
	for _, l := range r.day.Lines {
		if l.Struck != nil {
			continue
		}
		switch b := l.Body.(type) {
		case *daylog.Note:
			table.Rows = append(table.Rows, []string{r.when(l.Entry), b.Text, r.by(l.Entry)})
		case *daylog.Photo:
			table.Rows = append(table.Rows, []string{r.when(l.Entry), r.says(l.Entry), r.by(l.Entry)})
		}
	}
	return table
}

// chart is the day line with what happened.
func (r *record) chart(id string) (web.DayChart, bool) {
	calls := checks.Calls(r.closing)
	if r.day.Started.IsZero() || calls.Leaving.IsZero() {
		return web.DayChart{}, false
	}
	start := r.day.Started.At.In(r.zone).Truncate(time.Hour)
	last := calls.Leaving
	line := web.DayLine{ID: id, Start: r.stamp(start)}
	if n := len(r.day.Signatures); n > 0 && r.day.Signatures[0].Line.At.After(last) {
		last = r.day.Signatures[0].Line.At
	}
	line.Leaving = r.stamp(last)
	call := func(name string, t time.Time, strong bool) {
		if !t.IsZero() && t.After(start) {
			line.Calls = append(line.Calls, web.Call{Name: name, At: r.stamp(t), Strong: strong})
		}
	}
	call("last cover", calls.Cover, false)
	call("tools down", calls.ToolsDown, true)
	call("off the roof", calls.Leaving, true)
	if r.day.Signed() {
		call("signed", r.day.Signatures[0].Line.At, false)
	}
	return web.DayChart{Line: line, Lanes: r.lanes()}, true
}

func (r *record) stamp(t time.Time) web.Stamp {
	t = t.In(r.zone)
	minute := t.Hour()*60 + t.Minute()
	if daylog.DateOf(t) > r.day.Date {
		minute += 24 * 60
	}
	return web.Stamp{Minute: minute, Text: t.Format("15:04")}
}

// bar is work from one time to another: on names, or so much of something.
type bar struct {
	class    string
	from, to time.Time
	names    []string
	count    int
}

// merged joins bars that overlap, and moments within a few minutes, so that each
// can say what it is of.
func merged(bars []bar) []bar {
	const close = 5 * time.Minute
	slices.SortStableFunc(bars, func(a, b bar) int { return a.from.Compare(b.from) })
	var out []bar
	for _, b := range bars {
		n := len(out) - 1
		if n < 0 || out[n].class != b.class || !b.from.Before(out[n].to) && !(b.from.Equal(b.to) && b.from.Sub(out[n].to) < close) {
			out = append(out, b)
			continue
		}
		if b.to.After(out[n].to) {
			out[n].to = b.to
		}
		out[n].count += b.count
		for _, name := range b.names {
			if !slices.Contains(out[n].names, name) {
				out[n].names = append(out[n].names, name)
			}
		}
	}
	return out
}

func (r *record) lanes() []web.Lane {
	const (
		opened = iota
		panels
		seams
		covers
		treated
		stone
		stopped
	)
	names := []string{"Opened", "Panels", "Seams", "Covers", "Treatment", "Stone", "Stopped"}
	bars := make([][]bar, len(names))
	add := func(lane int, class string, from, to time.Time, count int, names ...string) {
		if to.Before(from) {
			to = from
		}
		bars[lane] = append(bars[lane], bar{class, from, to, names, count})
	}
	for _, l := range r.day.Lines {
		if l.Struck != nil {
			continue
		}
		from, to := l.At, l.End()
		switch b := l.Body.(type) {
		case *daylog.Insulation:
			add(opened, "work", from, to, 0, "insulation")
		case *daylog.TearOff:
			add(opened, "work", from, to, 0, "tear-off")
		case *daylog.PanelPositioned:
			add(panels, "mark", to, to, 0, b.Panel)
		case *daylog.CoversRolled:
			add(covers, "work", from, to, len(b.Places))
		case *daylog.EdgesTreated:
			add(treated, "work", from, to, len(b.Places))
		case *daylog.StoneSpread:
			add(stone, "work", from, to, b.Pounds)
		case *daylog.BackClosed:
			add(stone, "work", from, to, b.Pounds, "held-back places")
		case *daylog.Delay:
			add(stopped, "stop", from, to, 0, "delay"+after(", ", b.Cause))
		case *daylog.Break:
			name := "break"
			if b.Lunch {
				name = "lunch"
			}
			add(stopped, "stop", from, to, 0, name)
		}
	}
	for _, s := range r.day.Roof.Seams {
		for _, st := range s.Runs {
			from, to := st.Primed.At, st.Closed.At
			switch {
			case st.Day != r.day.Date || from.IsZero() && to.IsZero():
				continue
			case from.IsZero():
				from = to
			case to.IsZero():
				to = from
			}
			add(seams, "work", from, to, 0, s.Name)
		}
	}
	for _, s := range r.day.Stops {
		to := s.Ended.At
		if to.IsZero() {
			to = r.closing.Now
		}
		add(stopped, "stop", s.Began.At, to, 0, cmp.Or(s.With, "weather"))
	}
	var lanes []web.Lane
	for i, name := range names {
		lane := web.Lane{Name: name}
		for _, b := range merged(bars[i]) {
			words := slices.Clone(b.names)
			switch {
			case b.count > 0 && i == stone:
				words = append([]string{pounds(b.count)}, words...)
			case b.count > 0:
				words = append([]string{strconv.Itoa(b.count)}, words...)
			}
			e := web.Event{At: r.stamp(b.from), Text: strings.Join(words, ", "), Class: b.class}
			if b.to.After(b.from) {
				e.Until = r.stamp(b.to)
			}
			lane.Events = append(lane.Events, e)
		}
		if len(lane.Events) > 0 {
			lanes = append(lanes, lane)
		}
	}
	return lanes
}

// drawing is the day's work on the plan.
func (r *record) drawing(id string) (web.RoofDrawing, bool) {
	var owed []daylog.Place
	for _, o := range r.owed {
		if o.Work == checks.CoverWork {
			owed = append(owed, o.Places...)
		}
	}
	return web.DrawRoof(id, r.day, owed)
}
