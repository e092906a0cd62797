package web

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"html"
	"net/http"

	"net/url"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
	"duskline/internal/roofplan"
	"duskline/internal/store"
)

// What a day may cost its foreman, and what a tap and a character cost.
const (
	mostTaps     = 220
	mostMinutes  = 12
	perTap       = 1.5 // seconds
	perCharacter = 0.4
	mostLive     = 3 // taps from Now until a live entry is saved
)

// cost is what it takes to write something.
type cost struct{ taps, characters int }

func (c cost) plus(d cost) cost { return cost{c.taps + d.taps, c.characters + d.characters} }

func (c cost) minutes() float64 {
	return (float64(c.taps)*perTap + float64(c.characters)*perCharacter) / 60
}

func (c cost) String() string {
	return fmt.Sprintf("%d taps, %d characters, %.1f min", c.taps, c.characters, c.minutes())
}

// scribe writes a scripted day through the pages as a foreman does, and counts.
type scribe struct {
	*tried
	job   string
	date  daylog.Date
	spent cost
	lines []string // what was written at what cost
	exact bool     // times are typed to the minute, whatever that costs
}

// offered is a radio button or a box to tick as a page offers it.
type offered struct {
	value   string
	checked bool
}

// sheetPage is a form as a browser has it: what it would send, and the tiles.
type sheetPage struct {
	action string
	form   url.Values
	tiles  map[string][]offered
}

var formTag = regexp.MustCompile(`(?s)<form class="form" method="post" action="([^"]*)"`)

func (s *scribe) open(path string) (sheetPage, bool) {
	w := s.get(path)
	page := w.Body.String()
	m := formTag.FindStringSubmatch(page)
	if w.Code != http.StatusOK || m == nil {
		return sheetPage{}, false
	}
	p := sheetPage{action: html.UnescapeString(m[1]), form: formIn(page), tiles: map[string][]offered{}}
	for _, tag := range inputTag.FindAllString(page, -1) {
		a := map[string]string{}
		for _, m := range attr.FindAllStringSubmatch(strings.TrimSuffix(strings.TrimPrefix(tag, "<input"), ">"), -1) {
			a[m[1]] = html.UnescapeString(m[2])
		}
		if t := a["type"]; t == "radio" || t == "checkbox" {
			_, checked := a["checked"]
			p.tiles[a["name"]] = append(p.tiles[a["name"]], offered{a["value"], checked})
		}
	}
	return p, true
}

// retype makes a text field say something; static/forms.js lets digits be typed
// over.
func (p sheetPage) retype(name, text string, of func(string) string) cost {
	if of(p.form.Get(name)) == of(text) {
		return cost{}
	}
	p.form.Set(name, text)
	return cost{1, len(text)}
}

// pick makes tiles be those of the values; what has none is typed, where join
// says how.
func (p sheetPage) pick(name string, want []string, typed func(value string) string, join string) cost {
	var c cost
	left := slices.Clone(want)
	var chosen []string
	for _, t := range p.tiles[name] {
		i := slices.Index(left, t.value)
		if (i >= 0) != t.checked {
			c.taps++
		}
		if i >= 0 {
			left = slices.Delete(left, i, i+1)
			chosen = append(chosen, t.value)
		}
	}
	p.form[name] = chosen
	if len(left) > 0 {
		words := make([]string, len(left))
		for i, value := range left {
			words[i] = typed(value)
		}
		text := strings.Join(words, join)
		p.form.Set(name+"-other", text)
		c = c.plus(cost{2, len(text)}) // it is folded away
	}
	return c
}

func same1(text string) string { return strings.TrimSpace(text) }

// asLength compares lengths however they are written.
func asLength(unit string) func(string) string {
	return func(text string) string {
		l, err := roofplan.ParseLength(text, roofplan.Unit(unit))
		if err != nil {
			return text
		}
		return l.String()
	}
}

// shortest is a length as one types it into a box of that unit.
func shortest(l roofplan.Length, unit string) string {
	for _, text := range []string{trimNumber(l.Feet()), trimNumber(float64(l))} {
		if asLength(unit)(text) == l.String() {
			return text
		}
	}
	return strings.TrimSuffix(l.String(), " "+unit)
}

// fill makes the fields of a kind say what an entry says.
func (s *scribe) fillIn(p sheetPage, k *daylog.Kind, prefix string, want daylog.Body, skip []string) cost {
	var c cost
	said, err := valuesOf(want)
	if err != nil {
		s.t.Fatal(err)
	}
	sh := &sheet{kind: k, prefix: prefix}
	for _, f := range k.Fields(s.today()) {
		if slices.Contains(skip, f.Name) {
			continue
		}
		name, value := sh.onForm(f.Name), said[f.Name]
		if !p.form.Has(name) && p.tiles[name] == nil && value == nil {
			continue
		}
		text := ""
		if value != nil {
			text = fmt.Sprint(value)
		}
		switch f.Type {
		case daylog.Text, daylog.LongText, daylog.Calendar:
			c = c.plus(p.retype(name, text, same1))
		case daylog.Number, daylog.Temp, daylog.Whole:
			if n, ok := asFloat(value); ok {
				text = strings.ReplaceAll(trimNumber(n), ",", "")
			}
			c = c.plus(p.retype(name, text, func(t string) string { return strings.ReplaceAll(t, ",", "") }))
		case daylog.Length:
			l, _ := asFloat(value)
			if value != nil {
				text = shortest(roofplan.Length(l), f.Unit)
			}
			of := asLength(f.Unit)
			if l, ok := s.today().Roof.Layout().Seam(fmt.Sprint(said["seam"])); ok && f.Name == "to" && roofplan.Length(as[float64](value)) == l.Length {
				of = func(t string) string { return strings.Replace(asLength("ft")(t), l.Length.String(), "", 1) } // empty: all of it
			}
			if f.Name == "from" && text == "" {
				text = "0"
				of = func(t string) string { return asLength("ft")(cmp.Or(t, "0")) }
			}
			c = c.plus(p.retype(name, text, of))
		case daylog.Clock:
			if at, err := parseInstant(text); err == nil {
				text = at.In(s.zone).Format("15:04")
			}
			if d := p.retype(name, text, same1); d.taps > 0 {
				c = c.plus(cost{1, 4})
			}
		case daylog.Tick:
			if on := value == true; on != (p.form.Get(name) != "") {
				c.taps++
				p.form.Del(name)
				if on {
					p.form.Set(name, "on")
				}
			}
		case daylog.Choice, daylog.PanelName, daylog.SeamName:
			if text != "" || p.form.Get(name) != "" {
				if d := p.pick(name, []string{text}, same1, ""); d.taps > 0 {
					c = c.plus(cost{min(d.taps, 1), 0}) // of tiles one goes when another comes
					if d.characters > 0 {
						c = c.plus(cost{1, d.characters})
					}
				}
			}
		case daylog.PanelNames, daylog.SeamNames, daylog.Persons, daylog.SeamEnds, daylog.Many:
			c = c.plus(p.pick(name, asStrings(value), same1, ", "))
		case daylog.Places:
			c = c.plus(s.pickPlaces(p, name, asPlaces(value)))
		case daylog.Stretches:
			var tiles []string
			for _, o := range as[[]daylog.OnSeam](value) {
				raw, _ := json.Marshal(o)
				tiles = append(tiles, string(raw))
			}
			c = c.plus(p.pick(name, tiles, func(t string) string {
				var o daylog.OnSeam
				jsonInto(t, &o)
				return o.Seam + " " + feet(o.From) + " to " + feet(o.To)
			}, "; "))
		case daylog.Laps:
			for i, l := range asLaps(value) {
				row := fmt.Sprintf("%s.%d", name, i)
				c = c.plus(p.retype(row+".at", shortest(l.At, "ft"), asLength("ft")))
				if l.Lap > 0 {
					c = c.plus(p.retype(row+".lap", strings.TrimSuffix(l.Lap.String(), " in"), asLength("in")))
				}
			}
		case daylog.PanelParts:
			var panels []string
			for _, part := range asParts(value) {
				panels = append(panels, part.Panel)
				for key, l := range map[string]roofplan.Length{"less": part.Less, "from": part.From, "to": part.To} {
					text := ""
					if l > 0 {
						text = shortest(l, "ft")
					}
					c = c.plus(p.retype(name+"."+part.Panel+"."+key, text, asLength("ft")))
				}
			}
			c = c.plus(p.pick(name, panels, same1, ", "))
		default:
			s.t.Fatalf("no way to fill in a field of type %q", f.Type)
		}
	}
	return c
}

// pickPlaces is pick for places: the plan names them on the tiles.
func (s *scribe) pickPlaces(p sheetPage, name string, places []daylog.Place) cost {
	var want []string
	for _, place := range places {
		value := placeValue(place)
		for _, t := range p.tiles[name] {
			var q daylog.Place
			if jsonInto(t.value, &q) && q.Key() == place.Key() {
				value = t.value
			}
		}
		want = append(want, value)
	}
	return p.pick(name, want, func(value string) string {
		var q daylog.Place
		jsonInto(value, &q)
		on, edge, _ := strings.Cut(q.On, "@")
		text := on + " " + edge
		if q.At > 0 {
			text = on + " at " + feet(q.At)
		}
		return text + map[bool]string{true: " splice"}[q.What == daylog.Splice]
	}, "; ")
}

// How near a tile must come to be tapped instead of typing the time: of what a
// wait hangs on, of what is written as now, and of anything else.
const (
	sharp     = 2 * time.Minute
	soonAfter = 5 * time.Minute
	about     = aboutPicked * time.Minute
)

// when makes a time control say when something was: by the tile that comes
// nearest, or typed.
func (s *scribe) when(p sheetPage, name string, at time.Time, about time.Duration) cost {
	if s.exact {
		about = 0
	}
	v := &visit{site: new(site), day: s.today(), zone: s.zone, now: s.now}
	nearest, off := "", about+1
	for _, t := range p.tiles[name] {
		m, err := v.readTime(name, url.Values{name: {t.value}})
		if t.value == "" && name != "at" && !strings.HasSuffix(name, "begun") { // as the form says
			m, err = v.readTime("at", p.form)
		}
		if err != nil {
			continue
		}
		d := m.at.Sub(at).Abs()
		if t.value == timeNow && p.form["step"] == nil && d > soonAfter {
			continue
		}
		if t.checked {
			d -= 5 * time.Minute // what is offered is taken, unless it is clearly wrong
		}
		if d < off {
			nearest, off = t.value, d
		}
	}
	if off <= about {
		chosen := slices.ContainsFunc(p.tiles[name], func(t offered) bool { return t.checked && t.value == nearest })
		if p.form.Set(name, nearest); chosen {
			return cost{}
		}
		return cost{1, 0}
	}
	p.form.Set(name, TimeOther)
	p.form.Set(name+"-other", at.In(s.zone).Format("15:04"))
	return cost{1, 5} // static/forms.js puts the cursor there; 0944a
}

// times fills in when an entry began and ended.
func (s *scribe) times(p sheetPage, k *daylog.Kind, prefix string, e *daylog.Entry) cost {
	c := s.when(p, prefix+"at", e.End(), about)
	if !e.To.IsZero() && k.Lasts {
		near := about
		switch k.Name {
		case "treatment":
			near = sharp
		case "covers":
			near = soonAfter
		}
		c = c.plus(s.when(p, prefix+"begun", e.At, near))
	}
	return c
}

// by fills in who did it, where the script says so.
func (s *scribe) by(p sheetPage, e *daylog.Entry) cost {
	if len(e.By) == 0 || p.tiles["by"] == nil {
		return cost{}
	}
	c := p.pick("by", e.By, same1, "")
	if c.taps > 0 {
		c.taps++ // it is folded away
	}
	return c
}

// links are the addresses on Now that lead to forms.
func (s *scribe) links() []string { return s.linksOn("/") }

func (s *scribe) linksOn(page string) []string {
	page = s.get("/job/" + s.job + page).Body.String()
	var all []string
	for _, m := range regexp.MustCompile(`href="(/job/[^"#]*)"`).FindAllStringSubmatch(page, -1) {
		if link := html.UnescapeString(m[1]); !slices.Contains(all, link) {
			all = append(all, link)
		}
	}
	return all
}

// save sends a form; what is asked about is kept.
func (s *scribe) save(p sheetPage, what string) cost {
	c := cost{1, 0}
	w := s.post(p.action, p.form)
	if w.Code == http.StatusUnprocessableEntity && strings.Contains(w.Body.String(), `id="asked"`) && !strings.Contains(w.Body.String(), `id="faults"`) {
		again := formIn(w.Body.String())
		again.Set("keep", "as written")
		c.taps++
		s.lines = append(s.lines, "    asked: "+html.UnescapeString(regexp.MustCompile(`id="asked".*?</ul>`).FindString(strings.ReplaceAll(text(w.Body.String()), "\n", " "))))
		w = s.post(p.action, again)
	}
	if w.Code != http.StatusSeeOther {
		s.t.Fatalf("%s %s: %s: %d\n%v\n%s", s.date, s.now.In(s.zone).Format("15:04"), what, w.Code, p.form, text(w.Body.String()))
	}
	return c
}

func (s *scribe) note(what string, c cost) {
	s.spent = s.spent.plus(c)
	s.lines = append(s.lines, fmt.Sprintf("%s %2d %3d  %s", s.now.In(s.zone).Format("15:04"), c.taps, c.characters, what))
}

// write writes one entry by the cheapest way there is, and gives its cost.
func (s *scribe) single(e *daylog.Entry) cost {
	k := daylog.KindOf(e.Body)
	type way struct {
		p sheetPage
		c cost
	}
	var best *way
	try := func(path string, taps int) {
		p, ok := s.open(path)
		if !ok {
			return
		}
		c := cost{taps, 0}.plus(s.fillIn(p, k, "", e.Body, nil)).plus(s.times(p, k, "", e)).plus(s.by(p, e))
		if best == nil || c.minutes() < best.c.minutes() {
			best = &way{p, c}
		}
	}
	for _, link := range s.links() {
		if path, _, _ := strings.Cut(link, "?"); path == "/job/"+s.job+"/write/"+k.Name {
			try(link, 1)
		}
	}
	try("/job/"+s.job+"/write/"+k.Name, 2)
	if best == nil {
		s.t.Fatalf("no form for %s", k.Name)
	}
	c := best.c.plus(s.save(best.p, k.Name))
	s.note(k.Name, c)
	return c
}

// closeRun writes that a run is closed, with what the log has not of it.
func (s *scribe) closeRun(group []*daylog.Entry) cost {
	last := group[len(group)-1]
	var best sheetPage
	var cheapest cost
	for _, link := range s.links() {
		if !strings.Contains(link, "/run?") || !strings.Contains(link, "did=closed") {
			continue
		}
		p, ok := s.open(link)
		if !ok {
			continue
		}
		where, _ := daylog.FindKind("priming")
		c := cost{1, 0}.plus(s.fillIn(p, where, "", last.Body, []string{"one face", "uncleaned"}))
		ticked := map[string]bool{}
		for _, e := range group {
			k := daylog.KindOf(e.Body)
			ticked[k.Name] = true
			if p.form.Get("did."+k.Name) == "" {
				p.form.Set("did."+k.Name, "on")
				c.taps++
			}
			c = c.plus(s.fillIn(p, k, k.Name+".", e.Body, runPlace)).plus(s.when(p, k.Name+".at", e.End(), about))
		}
		for _, step := range runSteps {
			if p.form.Get("did."+step.kind) != "" && !ticked[step.kind] {
				p.form.Del("did." + step.kind)
				c.taps++
			}
		}
		if best.form == nil || c.minutes() < cheapest.minutes() {
			best, cheapest = p, c
		}
	}
	if best.form == nil {
		s.t.Fatalf("%s: no run to close on Now: %q", s.now.In(s.zone).Format("15:04"), s.links())
	}
	c := cheapest.plus(s.save(best, "closed"))
	s.note(fmt.Sprintf("run closed, %d entries", len(group)), c)
	return c
}

// together writes what one set of steps takes of the entries, and gives the
// others.
func (s *scribe) together(set string, entries []*daylog.Entry) []*daylog.Entry {
	path := "/job/" + s.job + "/several/" + set
	p, ok := s.open(path)
	if !ok {
		s.t.Fatalf("no set %s", set)
	}
	c := cost{2, 0}
	if slices.Contains(s.links(), path) {
		c.taps = 1
	}
	type done struct {
		e      *daylog.Entry
		prefix string
		given  []string // of the step, not asked
	}
	var steps []done
	taken := map[*daylog.Entry]bool{}
	used := map[int]bool{}
	for _, exactly := range []bool{true, false} {
		for i, step := range p.form["step"] {
			kind, with, _ := strings.Cut(step, " ")
			for _, e := range entries {
				said, _ := valuesOf(e.Body)
				if used[i] || taken[e] || daylog.KindOf(e.Body).Name != kind || !fits(with, said, exactly) {
					continue
				}
				taken[e], used[i] = true, true
				step := done{e: e, prefix: fmt.Sprintf("s%d.", i)}
				for _, name := range []string{"material", "panel", "seam"} {
					if strings.Contains(with, `"`+name+`"`) {
						step.given = append(step.given, name)
					}
				}
				steps = append(steps, step)
			}
		}
	}
	if len(steps) < 2 {
		return entries
	}
	// The common time is the one that fits most.
	best, most := timeNow, -1
	v := &visit{site: new(site), day: s.today(), zone: s.zone, now: s.now}
	for _, t := range p.tiles["at"] {
		m, err := v.readTime("at", url.Values{"at": {t.value}})
		n := 0
		for _, d := range steps {
			if err == nil && m.at.Sub(d.e.End()).Abs() <= about {
				n++
			}
		}
		if n > most {
			best, most = t.value, n
		}
	}
	if p.form.Get("at") != best {
		p.form.Set("at", best)
		c.taps++
	}
	var words []string
	for _, d := range steps {
		k := daylog.KindOf(d.e.Body)
		name := "did." + strings.TrimSuffix(d.prefix, ".")
		if p.form.Get(name) == "" {
			p.form.Set(name, "on")
			c.taps++
		}
		one := s.fillIn(p, k, d.prefix, d.e.Body, d.given).plus(s.times(p, k, d.prefix, d.e))
		c = c.plus(one)
		words = append(words, fmt.Sprintf("%s %d+%d", k.Name, one.taps, one.characters))
	}
	c = c.plus(s.save(p, set))
	s.note(set+": "+strings.Join(words, ", "), c)
	return slices.DeleteFunc(slices.Clone(entries), func(e *daylog.Entry) bool { return taken[e] })
}

// fits reports whether a step that knows something already is one for an entry:
// exactly, or but for its feet.
func fits(with string, said values, exactly bool) bool {
	known := values{}
	if with != "" && !jsonInto(with, &known) {
		return false
	}
	for name, value := range known {
		if !exactly && (name == "from" || name == "to") {
			continue
		}
		want, have := fmt.Sprint(value), fmt.Sprint(said[name])
		if list := asStrings(value); list != nil {
			slices.Sort(list)
			mine := asStrings(said[name])
			slices.Sort(mine)
			want, have = fmt.Sprint(list), fmt.Sprint(mine)
		}
		if want != have {
			return false
		}
	}
	return true
}

// tabletOf is the stream of the scripted days.
const tabletOf = "a"

// live tells what is tapped as it happens.
func live(e *daylog.Entry) bool {
	k := daylog.KindOf(e.Body)
	return k.Live || k.Name == "strike" || k.Name == "aside" || k.Name == "sign"
}

// The worked days, written through the forms in batches with the live taps
// live: what that costs, what is then in the log, and what the rules say of it.
func TestBurdenOfTheWorkedDays(t *testing.T) {
	for _, name := range []string{"day1", "day2", "day3"} {
		text, err := os.ReadFile(filepath.Join("../internal/daylog/script/testdata", name+".day"))
		if err != nil {
			t.Fatal(err)
		}
		sc, err := script.Parse(name, string(text))
		if err != nil {
			t.Fatal(err)
		}
		sc.Complete = func(e *daylog.Entry, held func() []daylog.Entry) error { return checks.Complete(e, held(), sc.Zone()) }
		g, err := sc.Log(script.Live)
		if err != nil {
			t.Fatal(err)
		}
		s := &scribe{tried: &tried{t: t, log: store.NewMemory(), zone: sc.Zone()}, job: sc.Job}
		var raws [][]byte
		for _, w := range g.Entries {
			if w.Device == script.Office {
				raws = append(raws, w.Raw())
			}
		}
		if _, err := s.log.Receive(context.Background(), s.job, raws...); err != nil {
			t.Fatal(err)
		}
		s.site = New(Config{Log: s.log, Now: func() time.Time { return s.now }, Rand: rand.Reader, Who: FirstForeman,
			Logf: func(format string, args ...any) { t.Errorf("site: "+format, args...) }})
		for _, date := range sc.Dates() {
			t.Run(fmt.Sprint(name, " ", date), func(t *testing.T) {
				s.t, s.date, s.spent, s.lines = t, date, cost{}, nil
				s.writeDay(g)
				t.Logf("%s %s: %s", name, date, s.spent)
				if t.Failed() || testing.Verbose() {
					t.Log("\ntaps characters\n" + strings.Join(s.lines, "\n"))
				}
				if s.spent.taps > mostTaps || s.spent.minutes() > mostMinutes {
					t.Errorf("%s, of at most %d taps and %d min", s.spent, mostTaps, mostMinutes)
				}
			})
		}
	}
}

// today is the page's day as the log has it.
func (s *scribe) today() *daylog.Day {
	job, err := store.Fold(context.Background(), s.log, s.job, "")
	if err != nil {
		s.t.Fatal(err)
	}
	return job.On(s.date)
}

// writeDay writes a day of the script.
func (s *scribe) writeDay(g *script.Log) {
	var all []*daylog.Entry
	for i := range g.Entries {
		if e := &g.Entries[i].Entry; e.Day == s.date && g.Entries[i].Device != script.Office {
			all = append(all, e)
		}
	}
	if len(all) == 0 {
		return
	}
	slices.SortStableFunc(all, func(a, b *daylog.Entry) int { return a.Made.Compare(b.Made) })
	// The crew writes at the start of the day, at the break, at lunch, when the
	// stone is done, and before it signs.
	begun := all[0].Made
	var moments []time.Time
	for _, e := range all {
		k := daylog.KindOf(e.Body)
		if k.Group == daylog.Beginning && e.Made.Sub(begun) <= 20*time.Minute || k.Name == "lot" {
			moments = []time.Time{e.Made}
		}
	}
	for _, clock := range []string{"09:30", "12:30"} {
		at, _ := clockOn(s.date, clock, s.zone)
		moments = append(moments, at)
	}
	for i, e := range all {
		switch daylog.KindOf(e.Body).Name {
		case "stone", "drains":
			moments = append(moments, e.Made)
		case "sign":
			moments = append(moments, all[i-1].Made)
		}
	}
	if last := all[len(all)-1].Made; !slices.ContainsFunc(moments, func(m time.Time) bool { return !m.Before(last) }) {
		moments = append(moments, last)
	}
	slices.SortFunc(moments, time.Time.Compare)
	moments = slices.Compact(moments)
	var due []*daylog.Entry
	m := 0
	for i := 0; i <= len(all); i++ {
		for m < len(moments) && (i == len(all) || all[i].Made.After(moments[m])) {
			s.now = moments[m]
			s.batch(due)
			due = nil
			s.hold(g)
			m++
		}
		if i == len(all) {
			break
		}
		e := all[i]
		if !live(e) {
			due = append(due, e)
			continue
		}
		s.now = e.Made
		if name := daylog.KindOf(e.Body).Name; m < len(moments) && moments[m].Equal(e.Made) && (name == "stone" || name == "sign") {
			s.batch(due)
			due = nil
		}
		due = s.tap(g, e, due)
	}
	s.compare(all)
}

// tap writes a live entry, and what of the others due belongs to it.
func (s *scribe) tap(g *script.Log, e *daylog.Entry, due []*daylog.Entry) []*daylog.Entry {
	switch daylog.KindOf(e.Body).Name {
	case "closed":
		c := e.Body.(*daylog.RunClosed)
		group := []*daylog.Entry{e}
		due = slices.DeleteFunc(due, func(d *daylog.Entry) bool {
			test, ok := d.Body.(*daylog.FingerTest)
			tape, laid := d.Body.(*daylog.TapeLaid)
			if ok && test.OnSeam == c.OnSeam && test.Result == "pass" || laid && tape.OnSeam == c.OnSeam {
				group = slices.Insert(group, 0, d)
				return true
			}
			return false
		})
		slices.SortStableFunc(group, func(a, b *daylog.Entry) int { return a.At.Compare(b.At) })
		s.closeRun(group)
	case "strike":
		id := ""
		for _, w := range g.Entries {
			for _, l := range s.today().Lines {
				if w.ID == e.Of && l.Struck == nil && l.Kind == w.Kind && l.At.Equal(w.At) {
					id = l.Root
				}
			}
		}
		s.reason("/job/"+s.job+"/entry/"+id+"/strike", "why", e.Why, 2)
	case "aside":
		a := e.Body.(*daylog.SetAside)
		for taps, page := range []string{"/", "/leaving"} {
			for _, link := range s.linksOn(page) {
				if u, err := url.Parse(link); err == nil && strings.HasSuffix(u.Path, "/aside") && u.Query().Get("key") == a.Key {
					s.reason(link, "reason", a.Reason, taps+1)
					return due
				}
			}
		}
		s.t.Fatalf("%s is neither on Now nor on Leaving", a.Key)
	case "sign":
		p, ok := s.open("/job/" + s.job + "/leaving")
		if !ok {
			s.t.Fatal("no page to sign on")
		}
		s.note("signed", cost{1, 0}.plus(s.save(p, "sign")))
	default:
		s.single(e)
	}
	return due
}

// reason opens a form that asks for a reason, and gives it.
func (s *scribe) reason(path, name, text string, taps int) {
	p, ok := s.open(path)
	if !ok {
		s.t.Fatalf("%s is no form", path)
	}
	s.note(path[strings.LastIndex(path, "/")+1:], cost{taps, 0}.plus(p.retype(name, text, same1)).plus(s.save(p, path)))
}

// batch writes all that is due: what a set of steps takes of it with that, the
// rest one by one.
func (s *scribe) batch(due []*daylog.Entry) {
	left := slices.Clone(due)
	for _, set := range sets {
		left = s.together(set.name, left)
	}
	for _, e := range left {
		s.single(e)
	}
}

// found is what the rules say of a log at a moment.
func rules(entries []daylog.Entry, g *scribe, device string) map[string]bool {
	said := map[string]bool{}
	for _, f := range checks.Run(checks.Look(daylog.Fold(g.job, entries), g.date, g.now.UTC(), g.zone, device, false)) {
		said[f.Check.ID] = said[f.Check.ID] || !f.Asks
	}
	return said
}

func (s *scribe) entries() []daylog.Entry {
	entries, err := s.log.Entries(context.Background(), s.job, "")
	if err != nil {
		s.t.Fatal(err)
	}
	return entries
}

// hold holds what the rules say of what was written against what they say of
// the day written live: nothing speaks that does not speak there.
func (s *scribe) hold(g *script.Log) {
	there := rules(g.Held(tabletOf, s.now), s, tabletOf)
	for rule, accuses := range rules(s.entries(), s, s.log.Device()) {
		if live, speaks := there[rule]; !speaks || accuses && !live {
			s.t.Errorf("%s: %s speaks (accuses: %v) of what was written through the forms, and not of the day as it was", s.now.In(s.zone).Format("15:04"), rule, accuses)
		}
	}
}

// compare finds every entry of the script in the log: its kind, all that it
// says, by whom, and when, within what a picked time may be off.
func (s *scribe) compare(all []*daylog.Entry) {
	var mine []*daylog.Entry
	entries := s.entries()
	for i := range entries {
		if e := &entries[i]; e.Day == s.date && e.Device == s.log.Device() {
			mine = append(mine, e)
		}
	}
	if len(mine) != len(all) {
		s.t.Errorf("%d entries were written, the script has %d", len(mine), len(all))
	}
	for _, want := range all {
		// What no wait hangs on is tapped as now a few minutes later too; of
		// covers only the end is sure.
		near := func(a, b time.Time, e *daylog.Entry) bool {
			off := time.Duration(e.About) * time.Minute
			if !daylog.KindOf(e.Body).Live || a.Equal(e.At) && e.Kind == "covers" {
				off = max(off, soonAfter)
			}
			return a.Sub(b).Abs() <= off
		}
		i := slices.IndexFunc(mine, func(e *daylog.Entry) bool {
			return e.Kind == want.Kind && near(e.At, want.At, e) && near(e.End(), want.End(), e) &&
				(want.By == nil || reflect.DeepEqual(sorted(e.By), sorted(want.By))) && sameFacts(e.Body, want.Body)
		})
		if i < 0 {
			raw, _ := json.Marshal(want.Body)
			s.t.Errorf("not in the log: %s %s %s by %v", want.At.In(s.zone).Format("15:04"), want.Kind, raw, want.By)
			for _, e := range mine {
				if e.Kind == want.Kind {
					s.t.Logf("  %s", e.Raw())
				}
			}
			continue
		}
		mine = slices.Delete(mine, i, i+1)
	}
	for _, e := range mine {
		s.t.Errorf("not in the script: %s", e.Raw())
	}
}

func sorted(list []string) []string {
	list = slices.Clone(list)
	slices.Sort(list)
	return list
}

// sameFacts compares bodies, lists in any order.
func sameFacts(a, b daylog.Body) bool {
	if _, signed := a.(*daylog.Sign); signed {
		return true
	}
	x, err1 := valuesOf(a)
	y, err2 := valuesOf(b)
	if err1 != nil || err2 != nil || len(x) != len(y) {
		return false
	}
	for name, v := range x {
		if !reflect.DeepEqual(inOrder(v), inOrder(y[name])) {
			return false
		}
	}
	return true
}

func inOrder(v any) any {
	list, ok := v.([]any)
	if !ok {
		return v
	}
	texts := make([]string, len(list))
	for i, x := range list {
		raw, _ := json.Marshal(x)
		texts[i] = string(raw)
	}
	slices.Sort(texts)
	return texts
}

// Each live entry is saved within three taps from Now, as it is offered there
// and stamped with now.
func TestLiveEntriesWithinThreeTaps(t *testing.T) {
	base := newSite(t)
	s := &scribe{tried: base, job: "hall", date: triedDay}
	s.fill("/job/hall/several/morning", nil)
	s.write(&daylog.Person{Person: "bo", Name: "Bo Invented", Role: "crew"})
	for _, x := range []struct{ at, what, kind, link string }{
		{"08:00", "panel in position", "panel", "/write/panel"},
		{"08:35", "priming now", "priming", "/write/priming"},
		{"08:50", "rain begins", "stop", "/write/stop"},
		{"09:05", "rain ends", "resume", "/write/resume"},
		{"09:10", "priming again", "priming", "/write/priming"},
		{"09:25", "finger test", "test", "/write/test"},
		{"09:50", "run closed", "closed", "/run"},
		{"10:20", "covers of this run done", "covers", "/write/covers"},
		{"11:00", "stone started", "stone", "/write/stone"},
		{"14:30", "treatment begun", "treatment", "/write/treatment"},
	} {
		s.at(x.at)
		path, taps := "/job/hall"+x.link, 2
		for _, link := range s.links() {
			if strings.HasPrefix(link, "/job/hall"+x.link) {
				path, taps = link, 1
				break
			}
		}
		p, ok := s.open(path)
		if !ok {
			t.Fatalf("%s: %s is no form", x.what, path)
		}
		if taps == 2 && !strings.Contains(s.get("/job/hall/write").Body.String(), path) {
			t.Errorf("%s: no way from Now to %s", x.what, path)
		}
		if at := x.kind + ".at"; x.kind == "closed" && p.form.Get("did.test") != "" {
			t.Errorf("proved at 09:25, and asked again: %v", p.form[at])
		}
		before := s.count()
		c := cost{taps, 0}.plus(s.save(p, x.what))
		t.Logf("%-24s %s", x.what, c)
		e := s.last()
		if s.count() != before+1 || e.Kind != x.kind || !e.At.Equal(s.now) || e.About != 0 {
			t.Errorf("%s wrote %s", x.what, e.Raw())
		}
		if c.taps > mostLive {
			t.Errorf("%s: %s, of at most %d", x.what, c, mostLive)
		}
	}
	// Not proved by the log: its time is one tap more, and both are written.
	s = &scribe{tried: newSite(t), job: "hall", date: triedDay}
	s.fill("/job/hall/several/morning", nil)
	s.at("08:00")
	s.fill("/job/hall/write/panel", url.Values{"panel": {"3"}})
	s.at("08:35")
	s.fill("/job/hall/write/priming", url.Values{"seam": {"2|3"}, "to": {"60"}})
	s.at("09:20")
	for _, link := range s.links() {
		if !strings.Contains(link, "did=closed") {
			continue
		}
		p, _ := s.open(link)
		if w := s.post(p.action, p.form); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "Say when") {
			t.Errorf("closed without its finger test: %d", w.Code)
		}
		p.form.Set("test.at", "30")
		before := s.count()
		if c := (cost{2, 0}).plus(s.save(p, "closed")); c.taps > mostLive || s.count() != before+2 {
			t.Errorf("run closed and proved: %s, %d written", c, s.count()-before)
		}
		return
	}
	t.Error("Now offers no run to close")
}
