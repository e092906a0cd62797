package daylog

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"duskline/internal/roofplan"
)

var update = flag.Bool("update", false, "write testdata/kinds.golden anew")

// full is a body of a kind with something in every field.
func full(k *Kind) Body {
	b := k.New()
	fill(reflect.ValueOf(b).Elem(), 3)
	return b
}

func fill(v reflect.Value, deep int) {
	if deep < 0 || !v.CanSet() {
		return
	}
	switch v.Kind() {
	case reflect.String:
		v.SetString("text")
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int, reflect.Int64:
		v.SetInt(3)
	case reflect.Float64:
		v.SetFloat(1.5)
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(v.Elem(), deep)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		fill(v.Index(0), deep-1)
	case reflect.Map:
		v.Set(reflect.MakeMap(v.Type()))
		value := reflect.New(v.Type().Elem()).Elem()
		fill(value, deep-1)
		v.SetMapIndex(reflect.ValueOf("text"), value)
	case reflect.Array:
		for i := range v.Len() {
			v.Index(i).SetUint(uint64(i))
		}
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			v.Set(reflect.ValueOf(time.Date(2026, 10, 6, 21, 30, 0, 0, time.UTC)))
			return
		}
		for i := range v.NumField() {
			fill(v.Field(i), deep)
		}
	}
}

// Each kind's bytes, as they lie in logs for ever: this file may grow, and a
// line may gain fields, but what stands in it stays.
func TestKindsGolden(t *testing.T) {
	const file = "testdata/kinds.golden"
	var out strings.Builder
	at := time.Date(2026, 10, 6, 15, 36, 0, 0, time.UTC)
	for _, k := range Kinds() {
		e := Entry{Job: "job", Device: "a", Seq: 1, Tick: 1, Prev: "AAAAAAAAAAA", ID: "e1", Day: "2026-10-06", At: at, Made: at, Body: full(k)}
		raw, err := Encode(&e)
		if err != nil {
			t.Fatal(err)
		}
		back, err := Decode(raw)
		if err != nil || back.Newer() || !reflect.DeepEqual(back.Body, e.Body) {
			t.Errorf("%s: %v\n got %+v\nwant %+v", k.Name, err, back.Body, e.Body)
		}
		fmt.Fprintf(&out, "%s\n", raw)
	}
	if *update {
		if err := os.WriteFile(file, []byte(out.String()), 0o666); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	got, old := strings.Split(out.String(), "\n"), strings.Split(string(want), "\n")
	for i := range max(len(got), len(old)) {
		if i >= len(got) || i >= len(old) || got[i] != old[i] {
			line := func(all []string) string { return slices.Concat(all, slices.Repeat([]string{"(none)"}, i+1))[i] }
			t.Fatalf("%s:%d\n got %s\nwant %s\nA new kind or field: go test ./internal/daylog -run TestKindsGolden -update", file, i+1, line(got), line(old))
		}
	}
}

var keyWords = regexp.MustCompile(`^[a-z][a-z -]*$`)

func TestEveryKindIsWhole(t *testing.T) {
	names, titles, group := map[string]bool{}, map[string]bool{}, Group("")
	var groups []Group
	for _, k := range Kinds() {
		if names[k.Name] || titles[k.Title] || !regexp.MustCompile(`^[a-z]+$`).MatchString(k.Name) || k.Title == "" {
			t.Errorf("kind %q, %q: a name of small letters and a title of its own", k.Name, k.Title)
		}
		names[k.Name], titles[k.Title] = true, true
		if k.New == nil || k.Say == nil || k.Writes == "" || KindOf(k.New()) != k {
			t.Errorf("%s lacks something", k.Name)
		}
		if k.Fields == nil && k.Name != "strike" && k.Name != "asked" {
			t.Errorf("%s has no form", k.Name)
		}
		if k.Fields != nil && len(k.Script) == 0 && k.Name != "plan" {
			t.Errorf("%s has no sentence", k.Name)
		}
		if group != k.Group {
			if group = k.Group; slices.Contains(groups, group) {
				t.Errorf("%s: the kinds of %q do not stand together", k.Name, group)
			}
			groups = append(groups, group)
		}
		raw, _ := json.Marshal(full(k))
		var keys map[string]any
		if err := json.Unmarshal(raw, &keys); err != nil {
			t.Fatal(err)
		}
		for key := range keys {
			if !keyWords.MatchString(key) {
				t.Errorf("%s: %q is no key that reads well", k.Name, key)
			}
		}
		if empty, _ := json.Marshal(k.New()); strings.Contains(string(empty), "null") && k.Name != "standing" && k.Name != "plan" && k.Name != "sign" && k.Name != "accepted" &&
			k.Name != "covers" && k.Name != "treatment" && k.Name != "backclosed" {
			t.Errorf("%s: what is unknown is left out, not null: %s", k.Name, empty)
		}
	}
}

// sampleDay is a day in the middle of the work, with something of everything.
func sampleDay(t testing.TB) *Day {
	p := newPen(t)
	p.setUp()
	p.write("office", d1, "05:03", &Scope{Crushed: true, Pavers: true})
	p.write("office", d1, "05:04", &Penetration{Name: "D1", Sort: "drain"})
	p.write("office", d1, "05:05", &ApprovedStone{Stone: "No. 4"})
	p.write("office", d1, "05:06", &Person{Person: "ada", Name: "Ada Invented"})
	p.write("a", d1, "11:00", &Deficiency{What: "blister", Name: "R1"})
	p.write("a", d1, "11:01", &DetailWork{Details: []string{"P1"}, Done: "opened"})
	p.seamDay("a", d1, "3", "2|3")
	return p.fold().On(d1)
}

// valueFor gives a value for a field, as it stands in the JSON form.
func valueFor(f Field) any {
	switch f.Type {
	case Number, Temp:
		return 12.5
	case Whole:
		return 12.0
	case Length:
		return 54.0
	case Tick:
		return true
	case Choice:
		if len(f.Options) > 0 {
			return f.Options[len(f.Options)-1].Value
		}
		return "text"
	case Clock:
		return "2026-10-06T21:30:00Z"
	case PanelName:
		return "3"
	case SeamName:
		return "2|3"
	case PanelNames, SeamNames, Persons, SeamEnds, Many:
		return []any{"a", "b c"}
	case Places:
		return []any{map[string]any{"on": "2|3@south"}}
	case Laps:
		return []any{map[string]any{"at": 492.0, "lap": 2.0}}
	case Calendar:
		return "2026-10-06"
	case Stretches:
		return []any{map[string]any{"seam": "2|3", "from": 0.0, "to": 54.0}}
	case PanelParts:
		return []any{map[string]any{"panel": "3", "from": 0.0, "to": 600.0}}
	}
	return "text"
}

// Every field of a form exists in the kind's JSON form under its name, takes
// what the form reads for its type and gives it back; so does its default.
func TestFieldsAreThoseOfTheJSONForm(t *testing.T) {
	d := sampleDay(t)
	for _, k := range Kinds() {
		if k.Fields == nil {
			continue
		}
		names := map[string]bool{}
		for _, f := range k.Fields(d) {
			// A form has its time, its number and its reason beside the fields.
			taken := slices.Contains([]string{"at", "begun", "form", "day", "why", "keep", "kept", "asked", "by", "photo"}, f.Name)
			if names[f.Name] || taken || f.Label == "" || f.Type == "" {
				t.Errorf("%s: field %q is not whole", k.Name, f.Name)
			}
			names[f.Name] = true
			values := []any{valueFor(f)}
			if _, clock := f.Default.(string); f.Default != nil && !(clock && f.Type == Clock) {
				values = append(values, f.Default)
			}
			for _, o := range f.Options {
				if o.Label == "" {
					t.Errorf("%s: an answer of %s has no label", k.Name, f.Name)
				}
				if f.Type == Choice && o.Value != "" {
					values = append(values, o.Value)
				}
			}
			for _, v := range values {
				want, _ := json.Marshal(v)
				raw, _ := json.Marshal(map[string]any{f.Name: v})
				b := k.New()
				dec := json.NewDecoder(bytes.NewReader(raw))
				dec.DisallowUnknownFields()
				if err := dec.Decode(b); err != nil {
					t.Errorf("%s: field %s: %v", k.Name, f.Name, err)
					continue
				}
				back, _ := json.Marshal(b)
				var keys map[string]json.RawMessage
				_ = json.Unmarshal(back, &keys)
				var got, held any
				_ = json.Unmarshal(keys[f.Name], &got)
				_ = json.Unmarshal(want, &held)
				if !reflect.DeepEqual(got, held) && v != false {
					t.Errorf("%s: field %s holds %s, gives back %s", k.Name, f.Name, want, keys[f.Name])
				}
			}
		}
	}
}

// Only what gives an entry its place is refused when it is missing; a body
// with everything in it never is.
func TestCheckRefusesOnlyAMissingPlace(t *testing.T) {
	d := sampleDay(t)
	for _, k := range Kinds() {
		if k.Check == nil {
			continue
		}
		for _, p := range k.Check(d, full(k)) {
			if p.Refuses {
				t.Errorf("%s refuses a full body: %s", k.Name, p.Says)
			}
		}
		for _, p := range k.Check(d, k.New()) {
			if p.Says == "" {
				t.Errorf("%s: a problem without words", k.Name)
			}
			if !p.Refuses {
				continue
			}
			i := slices.IndexFunc(k.Fields(d), func(f Field) bool { return f.Name == p.Field })
			if i < 0 {
				t.Errorf("%s refuses for %q, which its form does not ask", k.Name, p.Field)
				continue
			}
			switch f := k.Fields(d)[i]; {
			case f.Required:
			case f.Type == PanelName, f.Type == PanelNames, f.Type == SeamName, f.Type == SeamNames, f.Type == Places, f.Type == PanelParts, f.Type == Many:
			case k.Name == "aside": // its reason is what it is
			default:
				t.Errorf("%s refuses for %q, which is no place", k.Name, p.Field)
			}
		}
	}
}

// Words and places come of any body, on any day, and its effect too.
func TestEveryKindTakesAnything(t *testing.T) {
	d := sampleDay(t)
	for _, k := range Kinds() {
		if k.Fields != nil {
			_ = k.Fields(&Day{Setup: &Setup{}})
		}
	}
	for _, day := range []*Day{d, Fold("", nil).On(d1)} {
		for _, k := range Kinds() {
			for _, b := range []Body{k.New(), full(k)} {
				_ = k.Say(day, b)
				if k.Places != nil {
					_ = k.Places(b)
				}
				if k.Check != nil {
					_ = k.Check(day, b)
				}
			}
			if said := k.Say(d, full(k)); strings.TrimSpace(said) == "" || strings.Contains(said, ", ,") {
				t.Errorf("%s says %q", k.Name, said)
			}
		}
	}
	for _, k := range Kinds() {
		for _, b := range []Body{k.New(), full(k)} {
			p := newPen(t)
			p.write("a", d1, "06:00", b)
			p.setUp()
			p.write("a", d1, "07:00", b)
			p.seamDay("a", d1, "3", "2|3")
			p.write("a", d1, "21:00", b)
			j := p.fold()
			if _, err := j.Open(d2, 0); err != nil {
				t.Errorf("%s: %v", k.Name, err)
			}
		}
	}
}

// drawBody draws a body of a kind as a crew may fill in its form.
func drawBody(t *rapid.T, k *Kind, d *Day) Body {
	one := func(all ...string) string { return rapid.SampledFrom(all).Draw(t, "one") }
	panel := func() string { return one("1", "2", "3", "4") }
	seam := func() string { return one("1|2", "2|3", "3|4") }
	v := map[string]any{}
	for _, f := range k.Fields(d) {
		if rapid.IntRange(0, 3).Draw(t, "left out") == 0 {
			continue
		}
		switch f.Type {
		case PanelName:
			v[f.Name] = panel()
		case PanelNames:
			v[f.Name] = []string{panel(), panel()}
		case SeamName:
			v[f.Name] = seam()
		case SeamNames:
			v[f.Name] = []string{seam()}
		case SeamEnds:
			v[f.Name] = []string{one("south", "north")}
		case Persons:
			v[f.Name] = []string{one("ada", "bo")}
		case Many:
			v[f.Name] = []string{one("1@south", "3@north", "D1", "P1", "3A")}
		case Places:
			v[f.Name] = []Place{{On: seam() + "@" + one("south", "north")}, {On: seam(), At: roofplan.Feet(41)}}
		case PanelParts:
			v[f.Name] = []PanelPart{{Panel: panel(), Less: 48}}
		case Laps:
			v[f.Name] = []Lap{{At: roofplan.Feet(float64(rapid.IntRange(0, 100).Draw(t, "at")))}}
		case Length, Number, Temp, Whole:
			v[f.Name] = rapid.IntRange(0, 1200).Draw(t, "number")
		case Tick:
			v[f.Name] = true
		case Choice:
			v[f.Name] = "tape"
			if len(f.Options) > 0 {
				v[f.Name] = rapid.SampledFrom(f.Options).Draw(t, "choice").Value
			}
		case Text, LongText:
			v[f.Name] = one("R1", "R2", "2026-10-06", "")
		}
	}
	raw, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	b := k.New()
	if err := json.Unmarshal(raw, b); err != nil {
		t.Fatalf("%s: %s: %v", k.Name, raw, err)
	}
	return b
}
