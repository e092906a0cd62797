package script

import (
	"encoding/base32"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

// BigJob is the id of the job that Big makes up.
const BigJob = "big"

// Big makes up a job of many days, for measuring: one large roof, three
// tablets, each day perDay entries of a plausible mix, with every panel laid,
// seamed, covered, treated and ballasted the same day. What hangs on a clock
// is tapped as it happens; the rest is written at the break, at lunch and at
// quitting time. Equal arguments give equal bytes. A day has at least 60
// entries.
func Big(days, perDay int, seed uint64) (*Log, error) {
	if days < 1 || perDay < 60 || days*perDay > 200_000 {
		return nil, fmt.Errorf("%d days of %d entries: a day has at least 60, and all of them at most 200,000", days, perDay)
	}
	m := &maker{
		s:      &Script{Name: BigJob, Job: BigJob, tablets: []string{"a", "b", "c"}, zone: time.UTC},
		random: rand.New(rand.NewPCG(seed, 1)),
	}
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		return nil, err
	}
	m.s.zone = zone
	// One panel of 50 x 100 ft, a crew's day, makes some 44 entries.
	m.perDay, m.panels = perDay, max(1, (perDay-12)/44)
	if err := m.setUp(days * m.panels); err != nil {
		return nil, err
	}
	date := daylog.Date("2026-03-02")
	for worked := 0; worked < days; date = date.Add(1) {
		if t, _ := time.Parse(time.DateOnly, string(date)); t.Weekday() == time.Saturday || t.Weekday() == time.Sunday {
			continue
		}
		m.day(date)
		worked++
	}
	g := &Log{open: true, devices: append([]string{Office}, m.s.tablets...)}
	slices.SortStableFunc(m.drafts, byWriting)
	return g, m.s.number(g, m.drafts)
}

type maker struct {
	s      *Script
	random *rand.Rand
	perDay int
	panels int // a day
	layout *roofplan.Layout
	next   int // index of the next panel to lay
	strip  string
	back   []daylog.Place // that stone is kept from
	drafts []*draft

	date    daylog.Date
	tablet  string
	quit    time.Time
	written int // today
}

const inRow = 10 // panels side by side

func (m *maker) setUp(panels int) error {
	rows := (panels + inRow - 1) / inRow
	lap := roofplan.Length(5)
	plan := roofplan.Plan{}
	width, length := roofplan.Feet(50), roofplan.Feet(100)
	east := inRow*width - (inRow-1)*lap - 36
	north := roofplan.Length(rows)*length - roofplan.Length(rows-1)*lap - 36
	plan.Outline = []roofplan.Point{{}, {X: east}, {X: east, Y: north}, {Y: north}}
	for range plan.Outline {
		plan.Edges = append(plan.Edges, roofplan.Edge{Kind: roofplan.Parapet, TurnUp: 18})
	}
	for r := range rows {
		row := roofplan.Row{Corner: roofplan.Point{X: -18, Y: -18 + roofplan.Length(r)*(length-lap)}, Length: length, Lap: lap}
		for c := range inRow {
			row.Sheets = append(row.Sheets, roofplan.Sheet{Name: fmt.Sprint(r*inRow + c + 1), Width: width})
		}
		plan.Rows = append(plan.Rows, row)
	}
	var err error
	if m.layout, err = plan.Lay(); err != nil {
		return err
	}
	m.date = "2026-03-02"
	m.tablet = Office
	bodies := []daylog.Body{
		&daylog.JobSetup{Name: "Invented depot", Zone: m.s.zone.String(), Start: "06:30", Leaving: "18:30", Packup: 20, Invented: true},
		&daylog.PlanSetup{Plan: plan},
		&daylog.LimitSetup{Limit: "edge-early.wait_min", Value: 240},
	}
	for i, name := range people {
		role := "crew"
		if i < len(m.s.tablets) {
			role = "foreman"
		}
		bodies = append(bodies, &daylog.Person{Person: name, Name: strings.ToUpper(name[:1]) + name[1:] + " Invented", Role: role})
	}
	for _, b := range bodies {
		m.add(daylog.Entry{At: m.at(5, 0), Made: m.at(5, 0), Body: b}).setUp = true
	}
	m.written = 0
	return nil
}

var people = []string{"ada", "bo", "cy", "di", "ed", "fay", "gus", "hal", "ivy", "jo", "kit", "lou"}

// at is a time of the day on the job's clock.
func (m *maker) at(hour, minute int) time.Time {
	t, _ := time.Parse(time.DateOnly, string(m.date))
	return time.Date(t.Year(), t.Month(), t.Day(), hour, minute, 0, 0, m.s.zone).UTC()
}

func (m *maker) id() string {
	var b [10]byte
	binary.LittleEndian.PutUint64(b[:], m.random.Uint64())
	return strings.ToLower(base32.StdEncoding.EncodeToString(b[:]))
}

func (m *maker) add(e daylog.Entry) *draft {
	k := daylog.KindOf(e.Body)
	e.Kind, e.Day, e.Device = k.Name, m.date, m.tablet
	if e.ID == "" {
		e.ID = m.id()
	}
	if i := slices.Index(m.s.tablets, m.tablet); i >= 0 {
		e.Author = people[i]
	}
	d := &draft{line: &line{device: m.tablet}, entry: e}
	m.drafts = append(m.drafts, d)
	m.written++
	return d
}

// tap writes what is tapped as it happens.
func (m *maker) tap(at time.Time, body daylog.Body, by ...string) *draft {
	return m.add(daylog.Entry{At: at, Made: at, Body: body, By: by})
}

// later writes at the next batch moment.
func (m *maker) later(at, to time.Time, body daylog.Body, by ...string) *draft {
	e := daylog.Entry{At: at, To: to, Body: body, By: by, About: aboutMinutes}
	e.Made = e.End()
	for _, batch := range []time.Time{m.at(9, 30), m.at(12, 30), m.quit} {
		if !batch.Before(e.Made) {
			e.Made = batch
			break
		}
	}
	if e.Made.Equal(e.End()) {
		e.About = 0
	}
	return m.add(e)
}

func (m *maker) reading(v float64) *float64 { return &v }

func (m *maker) weather(at time.Time, air float64) {
	m.tap(at, &daylog.WeatherReading{Air: m.reading(air), Humidity: m.reading(float64(45 + m.random.IntN(30))),
		Sheet: m.reading(air + float64(m.random.IntN(20))), Wind: m.reading(float64(3 + m.random.IntN(6)))})
}

// slot is how long a tablet's crew takes from one panel to the next.
const slotLasts = 100 * time.Minute

func (m *maker) day(date daylog.Date) {
	m.date, m.written = date, 0
	tablets := m.s.tablets
	rounds := (m.panels + len(tablets) - 1) / len(tablets)
	// The last panel's covers are treated after the wait, then people leave.
	leaving := m.at(7, 30).Add(time.Duration(rounds)*slotLasts + 6*time.Hour)
	leaving = leaving.Add(-time.Duration(leaving.Minute()%15) * time.Minute)
	m.quit = leaving.Add(-40 * time.Minute)
	for i, tablet := range tablets {
		m.tablet = tablet
		if i == 0 {
			m.tap(m.at(6, 30), &daylog.Start{Leaving: leaving, Packup: 20, Forecast: "dry", Decided: people[0], Crew: people})
			m.tap(m.at(6, 32), &daylog.FallProtection{Means: []string{"guardrail"}, Holes: true, Extinguisher: true, Competent: people[:1]})
			m.tap(m.at(6, 34), &daylog.SealCheck{Dry: true, Drains: true})
			if m.next == 0 {
				for _, material := range []string{"tape", "primer", "adhesive", "sealant"} {
					m.tap(m.at(6, 36), &daylog.LotOpened{Material: material, Lot: "I-1", Until: "2099-12-31"})
				}
			}
		}
		m.weather(m.at(6, 40+i), 62)
		m.weather(m.at(8+2*i, 30), 62) // a reading holds for two hours
		m.weather(m.at(12, 40+i), 68)
	}
	var laid []string
	for n := range m.panels {
		m.tablet = tablets[n%len(tablets)]
		panel := m.layout.Panels[m.next]
		m.next++
		laid = append(laid, panel.Name)
		begin := m.at(7, 0).Add(time.Duration(n/len(tablets))*slotLasts + time.Duration(m.random.IntN(5))*time.Minute)
		m.panel(panel, begin, n == m.panels-1)
	}
	m.tablet = tablets[0]
	m.later(m.quit.Add(-time.Hour), m.quit.Add(-20*time.Minute), &daylog.TempBallast{Strips: laid[len(laid)-1:]})
	m.later(m.quit.Add(-time.Hour), m.quit.Add(-10*time.Minute), &daylog.NightSeal{Panels: laid, Tops: true, Material: "sealant", Way: true})
	m.later(m.quit.Add(-2*time.Minute), time.Time{}, &daylog.DrainsClear{})
	m.later(m.quit.Add(-time.Minute), time.Time{}, &daylog.Equipment{Items: []string{"buggy"}, Hours: 4})
	m.later(m.quit.Add(-time.Minute), time.Time{}, &daylog.NoneToday{Sections: []string{"deliveries"}})
	if len(m.back) > 0 {
		m.later(m.quit.Add(-time.Minute), time.Time{}, &daylog.BackClosed{Places: m.back})
		m.back = nil
	}
	for n := 0; m.written < m.perDay-1; n++ {
		m.tablet = tablets[n%len(tablets)]
		at := m.at(7, 10).Add(time.Duration(n) * 7 * time.Minute)
		if at.After(m.quit) {
			at = m.quit
		}
		switch n % 3 {
		case 0:
			m.later(at, time.Time{}, &daylog.Note{Text: remarks[m.random.IntN(len(remarks))]})
		case 1:
			m.weather(at, float64(60+m.random.IntN(15)))
		case 2:
			m.slip(at)
		}
	}
	m.tablet = tablets[0]
	m.tap(leaving.Add(-15*time.Minute), &daylog.Sign{Statement: "A true record of the day's work."})
}

var remarks = []string{
	"Two pallets of sheet moved to the north landing.",
	"Crane on the street side from ten on.",
	"Edge protection looked over, all in place.",
	"Other trades off the roof at the east stair.",
	"Wet board at the drain taken out and replaced.",
}

// slip corrects or strikes something that this tablet wrote today.
func (m *maker) slip(at time.Time) {
	for i := len(m.drafts) - 1; i >= 0; i-- {
		e := m.drafts[i].entry
		if e.Day != m.date {
			break
		}
		if note, ok := e.Body.(*daylog.Note); ok && e.Device == m.tablet && e.Of == "" {
			made := at
			if e.Made.After(made) {
				made = e.Made
			}
			if m.random.IntN(3) == 0 {
				m.add(daylog.Entry{At: made, Made: made, Of: e.ID, Why: "slip", Body: &daylog.Strike{}})
			} else {
				m.add(daylog.Entry{At: e.At, About: e.About, Made: made, Of: e.ID, Why: "not all of it was said", Body: &daylog.Note{Text: note.Text + " Seen by two."}})
			}
			return
		}
	}
	m.later(at, time.Time{}, &daylog.Note{Text: remarks[0]})
}

// panel lays a panel and makes, covers, treats and ballasts all that it owes.
func (m *maker) panel(p roofplan.Panel, begin time.Time, last bool) {
	n := slices.Index(m.s.tablets, m.tablet)
	crew := []string{people[3+3*n], people[4+3*n], people[5+3*n]}
	min := func(n int) time.Time { return begin.Add(time.Duration(n) * time.Minute) }
	m.tap(begin, &daylog.PanelPositioned{Panel: p.Name, Weighted: true}, crew...)
	m.later(min(31), time.Time{}, &daylog.LapFlat{Panel: p.Name})
	var covers, splices []daylog.Place
	at := 33
	for _, seam := range m.layout.Seams {
		if seam.B != p.Name {
			continue
		}
		pieces := int(seam.Length/roofplan.Feet(20.5)) + 1
		ends := seam.Ends()
		for i := range pieces {
			on := daylog.OnSeam{Seam: seam.Name}
			on.From = roofplan.Inches(float64(seam.Length) * float64(i) / float64(pieces))
			on.To = roofplan.Inches(float64(seam.Length) * float64(i+1) / float64(pieces))
			m.tap(min(at), &daylog.Priming{OnSeam: on}, crew[:2]...)
			if m.random.IntN(6) == 0 {
				m.later(min(at+2), time.Time{}, &daylog.FingerTest{OnSeam: on, Result: "strings"})
			}
			m.later(min(at+4), time.Time{}, &daylog.FingerTest{OnSeam: on, Result: "pass"})
			m.later(min(at+5), time.Time{}, &daylog.TapeLaid{OnSeam: on})
			closed := &daylog.RunClosed{OnSeam: on}
			if i == 2 {
				closed.Laps = []daylog.Lap{{At: on.From + 24, Lap: 2}}
				covers = append(covers, daylog.Place{On: seam.Name, At: on.From + 24})
			}
			if i == pieces-1 {
				for _, end := range ends {
					closed.Splices = append(closed.Splices, edgeOf(end.Name))
					covers = append(covers, daylog.Place{On: end.Name})
					splices = append(splices, daylog.Place{On: end.Name, What: daylog.Splice})
				}
			}
			m.tap(min(at+7), closed, crew[:2]...)
			at += 8
		}
	}
	for _, j := range m.layout.Joints {
		if j.Panels[len(j.Panels)-1] == p.Name {
			covers = append(covers, daylog.Place{On: j.Name})
		}
	}
	half := (len(covers) + 1) / 2
	for i, some := range [][]daylog.Place{covers[:half], covers[half:]} {
		if len(some) > 0 {
			done := at + 10 + 10*i
			m.later(min(done-10), min(done), &daylog.CoversRolled{Places: m.located(some)}, crew[2])
			m.tap(min(done+4*60+5), &daylog.EdgesTreated{Places: m.located(some)}, crew[2])
		}
	}
	if len(splices) > 0 {
		m.later(min(at+4*60), min(at+20+4*60), &daylog.EdgesTreated{Places: m.located(splices)}, crew[2])
	}
	m.later(min(at+22), time.Time{}, &daylog.SeamCheck{})
	m.later(min(at+24), time.Time{}, &daylog.BroomOff{Panels: []string{p.Name}})
	far := &daylog.StoneSpread{Panels: []daylog.PanelPart{{Panel: p.Name, Part: daylog.Part{From: p.Length / 2, To: p.Length}}}, Back: m.located(covers)}
	stone := &daylog.StoneSpread{Panels: []daylog.PanelPart{{Panel: p.Name, Part: daylog.Part{To: p.Length / 2}}}, Back: m.located(covers)}
	if m.strip != "" {
		stone.Strips = []string{m.strip}
		m.strip = ""
	}
	if last {
		stone.Panels[0].Less = roofplan.Feet(4)
		m.strip = p.Name
	}
	far.Pounds, stone.Pounds = int(p.Net*5), int(p.Net*5)
	m.back = append(m.back, m.located(covers)...)
	var edges []string
	for _, b := range p.Borders {
		edges = append(edges, b.Name)
	}
	if len(edges) > 0 {
		m.later(min(at+10), min(at+30), &daylog.EdgeWork{Edges: edges, Done: "secured"}, crew[2])
	}
	m.later(min(at+30), min(at+80), far)
	m.later(min(at+80), min(at+130), stone)
}

// edgeOf gives the side's name in that of a seam's end.
func edgeOf(end string) string {
	_, edge, _ := strings.Cut(end, "@")
	return edge
}

func (m *maker) located(places []daylog.Place) []daylog.Place {
	out := slices.Clone(places)
	for i, p := range out {
		seam, _, edge := strings.Cut(p.On, "@")
		var pt roofplan.Point
		if s, end, ok := m.layout.End(p.On); edge && ok {
			pt = s.Point(daylog.AngleAt(s, end))
		} else if j, ok := m.layout.Joint(p.On); ok {
			pt = j.Point
		} else if s, ok := m.layout.Seam(seam); ok {
			pt = s.Point(p.At)
		}
		out[i].X, out[i].Y = pt.X, pt.Y
	}
	return out
}
