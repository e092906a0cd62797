package script

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
)

// inSlots is what stands in a slot of each type, for trying sentences.
var inSlots = map[daylog.FieldType]string{
	daylog.Text: `"a text, with ""quotes"""`, daylog.LongText: `"a text, by and by"`, daylog.Choice: "choice", daylog.Calendar: "2026-10-06",
	oneWord: "word", daylog.Number: "-3.25", daylog.Temp: "41.5", whole: "1,200", daylog.Length: "4 ft 6 1/2 in", signed: "-18 in",
	daylog.Clock: "16:45", daylog.Tick: "yes", daylog.PanelName: "7A", daylog.SeamName: "7A|8", daylog.PanelNames: "5, 6 and 7A",
	daylog.SeamNames: "2|3 and 3|4", daylog.Persons: "ada, bo and cy", daylog.SeamEnds: "south and high wall", daylog.Many: "5@north, 5@high wall and D 2",
	daylog.Places:     "2|3 at 41 ft, south and high wall, 7|8|12, splices 2|3 south and 3|4 north and cover 3|4 at 1 1/2 in",
	daylog.Laps:       "41 ft of 1 1/2 in and 60 ft",
	daylog.PanelParts: "5, 6 from 0 to 60 ft less 4 ft strip and 7A less 3 ft 6 in",
	daylog.Stretches:  "2|3 0 to 4.5 ft and 96 to 100 ft, 3|4 1 to 2", finding: `"edge-open 2|3 41 ft"`,
}

// TestEverySentence reads and prints every sentence of every kind, with all
// of its clauses and with none.
func TestEverySentence(t *testing.T) {
	all, err := sentences()
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range all {
		for _, head := range s.heads {
			for _, clauses := range [][]clause{s.clauses, nil} {
				text := fill(head)
				names := map[string]bool{}
				for _, c := range clauses {
					i := slices.IndexFunc(c.parts, func(p part) bool { return p.slot != nil })
					if name := c.parts[i].slot.Name; !names[name] {
						text += ", " + fill(c.parts)
						names[name] = true
					}
				}
				words, err := split(text)
				if err != nil {
					t.Fatal(err)
				}
				r := &reader{text: text, words: words}
				v, ok := r.read(s, common())
				if !ok {
					t.Errorf("%s: %q: %v", s.kind.Name, text, r.err())
					continue
				}
				body := bodyOf(t, s.kind, v, text)
				said := Say(body, time.UTC)
				back := saidBody(t, s.kind, said)
				if !reflect.DeepEqual(back, body) {
					t.Errorf("%q is printed %q, which reads as\n%+v, not\n%+v", text, said, back, body)
				}
				// A sentence may not be taken for another one's.
				for _, o := range all {
					r := &reader{text: text, words: words}
					if _, ok := r.read(o, common()); ok && o.kind != s.kind {
						t.Errorf("%q reads as a %s and as a %s", text, s.kind.Name, o.kind.Name)
					}
				}
			}
		}
	}
}

func fill(parts []part) string {
	var out []string
	for _, p := range parts {
		switch {
		case p.slot == nil:
			out = append(out, p.words[len(p.words)-1])
		case p.slot.value == nil:
			out = append(out, inSlots[p.slot.Type])
		}
	}
	return strings.ReplaceAll(strings.Join(out, " "), " , ", ", ")
}

// bodyOf makes a body of what was read, refusing fields it does not have.
func bodyOf(t *testing.T, k *daylog.Kind, v values, text string) daylog.Body {
	t.Helper()
	for _, name := range commonNames {
		delete(v, name)
	}
	for name, value := range v {
		if c, ok := value.(clock); ok {
			v[name] = time.Date(2026, 6, 10, int(c)/60, int(c)%60, 0, 0, time.UTC)
		}
	}
	raw, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	b := k.New()
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.DisallowUnknownFields()
	if err := dec.Decode(b); err != nil {
		t.Errorf("%s: %q: %v", k.Name, text, err)
	}
	return b
}

// saidBody reads what Say printed.
func saidBody(t *testing.T, k *daylog.Kind, said string) daylog.Body {
	t.Helper()
	if raw, isJSON := strings.CutPrefix(said, "other "+k.Name+" as "); isJSON {
		b := k.New()
		if err := json.Unmarshal([]byte(raw), b); err != nil {
			t.Fatal(err)
		}
		return b
	}
	words, err := split(said)
	if err != nil {
		t.Fatal(err)
	}
	all, _ := sentences()
	for _, s := range all {
		r := &reader{text: said, words: words}
		if v, ok := r.read(s, common()); ok && s.kind == k {
			return bodyOf(t, k, v, said)
		}
	}
	t.Fatalf("no sentence reads %q", said)
	return nil
}

func TestSay(t *testing.T) {
	for _, c := range []struct {
		body daylog.Body
		want string
	}{
		{&daylog.PanelPositioned{Panel: "3", Weighted: true}, "panel 3 in position, edges weighted"},
		{&daylog.SeamCheck{}, "walked all of today's runs"},
		{&daylog.SeamCheck{Seams: []string{"2|3", "3|4"}}, "seam check of 2|3 and 3|4"},
		{&daylog.StoneSpread{Panels: []daylog.PanelPart{{Panel: "3", Less: 48}}, Strips: []string{"2"}, Pounds: 48096,
			Back: []daylog.Place{{On: "2|3", At: 492, X: 1, Y: 2}, {On: "2|3@south"}, {On: "2|3@south", What: daylog.Splice}}},
			"stone on, panel 3 less 4 ft strip, old strip of 2, 48096 lb, held back at 2|3 at 41 ft, south and splices 2|3 south"},
		{&daylog.Note{Text: "wet, by the drain"}, `note "wet, by the drain"`},
		{&daylog.FingerTest{Result: "odd"}, "other test, from 0 ft, to 0 ft, result odd"},
		{&daylog.LimitSetup{Limit: "edge-early.wait_min", Value: 240}, "limit edge-early.wait_min 240"},
		{&daylog.Strike{}, "other strike"},
	} {
		if got := Say(c.body, time.UTC); got != c.want {
			t.Errorf("%#v\n got %s\nwant %s", c.body, got, c.want)
		}
	}
}

// TestPrint: what is printed of a log reads as the same entries.
func TestPrint(t *testing.T) {
	more := hall + `08:10 priming 2|3
09:00 run 2|3 closed
  08:22 finger test 2|3 passes
  08:30 tape laid 2|3, to the minute
09:10 correct 08:10 priming to read 08:05 priming 2|3 0 to 60 ft, because "slip, or so"
09:12 correct 08:05 priming to read 08:05 priming 2|3 0 to 80 ft, within 5 min
09:15 strike 09:00 run, because not yet
09:16 strike 09:15 strike
09:20-09:40 covers rolled on 2|3 south, by ada and bo, written 10:00
about 09:41 note "a ""quoted"" text", on tablet b
09:42 note x, within 3 min
10:00 other glow as {"a":[1,2]}
02:00 note "in the night"
next day
07:00 start, no-go
07:10 strike 2026-06-10 08:30 tape, because yesterday
limit edge-early.wait_min 300
`
	texts := map[string]string{"more": more}
	for _, name := range workedDays {
		text, err := os.ReadFile("testdata/" + name)
		if err != nil {
			t.Fatal(err)
		}
		texts[name] = string(text)
	}
	for name, text := range texts {
		s := mustParse(t, name, text)
		for _, mode := range modes {
			want := tell(t, s, mode)
			var entries []daylog.Entry
			for _, w := range want.Entries {
				entries = append(entries, w.Entry)
			}
			printed := Print(entries, s.Zone())
			again, err := Parse(name+" printed", printed)
			if err != nil {
				t.Errorf("%v\n%s", err, printed)
				continue
			}
			got := tell(t, again, Live)
			if len(got.Entries) != len(want.Entries) {
				t.Errorf("%s %s: %d entries printed as %d", name, mode, len(want.Entries), len(got.Entries))
				continue
			}
			ids := map[string]string{"": ""}
			for i, w := range got.Entries {
				ids[w.ID] = want.Entries[i].ID
			}
			for i, w := range got.Entries {
				o := want.Entries[i]
				if sign, ok := w.Body.(*daylog.Sign); ok {
					sign.Vector = o.Body.(*daylog.Sign).Vector
				}
				a, _ := json.Marshal(w.Body)
				b, _ := json.Marshal(o.Body)
				if w.Kind != o.Kind || w.Day != o.Day || !w.At.Equal(o.At) || !w.To.Equal(o.To) || w.About != o.About || !w.Made.Equal(o.Made) ||
					w.Device != o.Device || !slices.Equal(w.By, o.By) || w.Why != o.Why || ids[w.Of] != o.Of || string(a) != string(b) {
					t.Errorf("%s %s: %q is printed as %q", name, mode, o.Text, w.Text)
				}
			}
		}
	}
}

func TestBig(t *testing.T) {
	const days, perDay = 5, 100
	a, err := Big(days, perDay, 7)
	if err != nil {
		t.Fatal(err)
	}
	b, _ := Big(days, perDay, 7)
	c, _ := Big(days, perDay, 8)
	perDate, kinds := map[daylog.Date]int{}, map[string]int{}
	var raws [][]byte
	other := 0
	for i, w := range a.Entries {
		if !bytes.Equal(w.Raw(), b.Entries[i].Raw()) {
			t.Fatalf("entry %d differs from one call to the next", i)
		}
		if i >= len(c.Entries) || !bytes.Equal(w.Raw(), c.Entries[i].Raw()) {
			other++
		}
		raws = append(raws, w.Raw())
		kinds[w.Kind]++
		if k := daylog.KindOf(w.Body); k.Group != daylog.SetUp {
			perDate[w.Day]++
		}
	}
	if other == 0 {
		t.Error("another seed gives the same job")
	}
	if len(perDate) != days || kinds["strike"] == 0 || kinds["treatment"] == 0 || kinds["stone"] == 0 {
		t.Errorf("%d days of %v", len(perDate), kinds)
	}
	for date, n := range perDate {
		if n != perDay {
			t.Errorf("%s has %d entries, want %d", date, n, perDay)
		}
	}
	threads, err := daylog.Thread(BigJob, raws)
	if err != nil || len(threads.Waiting) > 0 || len(threads.Branches) != 4 {
		t.Errorf("%d wait, %d branches, %v", len(threads.Waiting), len(threads.Branches), err)
	}
	job := daylog.Fold(BigJob, threads.Entries)
	for _, d := range job.Days {
		if flaw := d.Setup.PlanFlaw(); flaw != nil || len(d.Roof.Lost) > 0 || !d.Signed() {
			t.Errorf("%s: %v, %v do not fit, signed %v", d.Date, flaw, d.Roof.Lost, d.Signed())
		}
		for _, s := range d.Roof.Spots {
			if s.Rolled.IsZero() || s.Treated.IsZero() {
				t.Errorf("%s: %s is left open", d.Date, s.Key())
			}
		}
		for _, p := range d.Roof.Panels {
			// Halves of a panel are each rounded to 0.1 sq ft.
			if bare := d.Roof.Bare(p); bare > 0.1 {
				t.Errorf("%s: panel %s is left bare on %v sq ft", d.Date, p.Name, bare)
			}
		}
		for _, seam := range d.Roof.Seams {
			whole, ok := d.Roof.Layout().Seam(seam.Name)
			if open := seam.Open(daylog.Part{To: whole.Length}); !ok || len(open) > 0 {
				t.Errorf("%s: seam %s is open on %v", d.Date, seam.Name, open)
			}
		}
	}
	if _, err := Big(1, 10, 1); err == nil {
		t.Error("a day of 10 entries was made up")
	}
}

// FuzzParse: no text makes it panic, alone or behind a set-up, and what it
// takes can be told in every mode and printed.
func FuzzParse(f *testing.F) {
	for _, text := range []string{
		"tablet b with bo\n08:00 priming 2|3\n09:00 a, b and office hear each other\n@08:10-09:00 accuses edge-early on splices 2|3 south, among others",
		"10:00 other glow as {\"a\":1}\n10:01 correct 10:00 other to read 10:02 other glow as {}\nvariant x\nchange 07:00 to read 07:10 start",
		"job x in UTC\nroof outline east 10 ft, north 5 ft, west 10 ft\nside 2 named a, wall\nrow of panels 1 to 9 of 2 ft, 5 ft long\nplaced 7 of 1 ft by 2 ft\nday 2026-01-01",
		"12:10-12:30 covers rolled on 2|3 at 41 ft, south and north, by ada and bo, written 13:00, because late\n12:31 strike 12:10-12:30 covers",
		"about 10:40 seam 2|3 held short, to be made 4.5 to 95.5 ft, in one piece of tape, within 5 min",
		"12:40-14:55 stone on panel 3 less 4 ft strip, old strip of 2, 48,096 lb, held back at 2|3 at 1 1/2 in\n16:00 signed",
		"@all day nothing\nnext day\n07:00 start\n@06:00 leaving silent a, b and c\nvariant y\nnext day\nadd 08:00 note x\n@08:00 asks z on panels 1 to 3",
		"10:00 set aside edge-open on 2|3 at 41 ft, because \"x\"\n10:01 note \"a \"\"b\"\" c\", unread from \"fity\"\nlimit a.b 3",
	} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, text := range []string{text, hall + text} {
			s, err := Parse("fuzz", text)
			if err != nil {
				continue
			}
			for _, mode := range modes {
				g, err := s.Log(mode)
				if err != nil {
					t.Fatal(err)
				}
				var entries []daylog.Entry
				for _, w := range g.Entries {
					entries = append(entries, w.Entry)
				}
				if len(entries) > 0 && Print(entries, s.Zone()) == "" {
					t.Fatal("nothing is printed")
				}
				for _, m := range g.Moments {
					m.Judge([]Found{{Rule: "edge-early", Places: []Where{{Name: "2|3@south"}}, Says: "x"}})
				}
			}
		}
	})
}

func BenchmarkParse(b *testing.B) {
	text, err := os.ReadFile("testdata/day1.day")
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		mustParse(b, "day1.day", string(text))
	}
}

// inForms is what a form gives for a field of each type, as in JSON.
var inForms = map[daylog.FieldType]any{
	daylog.Text: "a text", daylog.LongText: "a text, and more", daylog.Choice: "choice", daylog.Number: 12.5, daylog.Temp: -3.5, whole: 12.0,
	daylog.Length: 54.0, daylog.Clock: "2026-06-10T16:45:00Z", daylog.Tick: true, daylog.PanelName: "7A", daylog.SeamName: "2|3",
	daylog.PanelNames: []any{"5", "6"}, daylog.SeamNames: []any{"2|3", "3|4"}, daylog.Persons: []any{"ada", "bo"}, daylog.SeamEnds: []any{"south", "high wall"},
	daylog.Many: []any{"5@north", "high wall"}, daylog.Places: []any{map[string]any{"on": "2|3@south"}, map[string]any{"on": "2|3", "at": 492.0}},
	daylog.Laps:       []any{map[string]any{"at": 492.0, "lap": 2.0}},
	daylog.Calendar:   "2026-10-06",
	daylog.Stretches:  []any{map[string]any{"seam": "2|3", "from": 0.0, "to": 54.0}},
	daylog.PanelParts: []any{map[string]any{"panel": "5"}, map[string]any{"panel": "6", "from": 0.0, "to": 720.0, "less": 48.0}},
}

// TestFormsInWords: whatever a form asks, all of it filled in, each field alone
// and each answer, is said as a line and read back.
func TestFormsInWords(t *testing.T) {
	day := daylog.Fold("", nil).On("2026-06-10")
	for _, k := range daylog.Kinds() {
		if k.Fields == nil || len(k.Script) == 0 {
			continue
		}
		all := map[string]any{}
		var some []map[string]any
		for _, f := range k.Fields(day) {
			value, known := inForms[f.Type]
			if !known {
				t.Fatalf("%s: nothing to try for fields of type %q", k.Name, f.Type)
			}
			if f.Type == daylog.Choice && len(f.Options) > 0 {
				value = f.Options[len(f.Options)-1].Value
			}
			all[f.Name] = value
			some = append(some, map[string]any{f.Name: value})
		}
		some = append(some, all)
		for _, f := range k.Fields(day) {
			for _, o := range f.Options {
				if one := maps.Clone(all); f.Type == daylog.Choice {
					one[f.Name] = o.Value
					some = append(some, one)
				}
			}
		}
		for _, v := range some {
			raw, err := json.Marshal(v)
			if err != nil {
				t.Fatal(err)
			}
			body := k.New()
			if err := json.Unmarshal(raw, body); err != nil {
				t.Fatalf("%s: %s: %v", k.Name, raw, err)
			}
			said := Say(body, time.UTC)
			if back := saidBody(t, k, said); !reflect.DeepEqual(back, body) {
				t.Errorf("%s: %s is said %q, which reads as %+v", k.Name, raw, said, back)
			}
			if len(v) == len(all) && strings.Contains(said, asJSON) {
				t.Errorf("%s: no sentence says %s", k.Name, raw)
			}
		}
	}
}
