package script

import (
	"slices"
	"strings"
	"testing"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

func TestMoments(t *testing.T) {
	s := inHall(t,
		"08:10 priming 2|3 0 to 50 ft",
		"09:00 note b, on tablet b",
		`@08:10 accuses relax-short on panel 3, saying "20 min"`,
		"@08:10 asks out-of-order on 2|3 0 to 50 ft and 2|3 south",
		"@08:20 gone relax-short",
		"@08:20 silent run-open, cover-owed",
		"@09:00 tablet b nothing",
		"@09:05 leaving accuses edge-open on splices 2|3 south and north, among others",
		"@07:00-07:12 nothing",
	)
	var got []string
	for _, m := range tell(t, s, Live).Moments {
		text := clockIn(s, m.At) + " " + m.Device
		if m.Leaving {
			text += " leaving"
		}
		if m.Exact {
			text += " exactly"
		}
		for _, e := range m.Expect {
			text += "; " + e.String()
		}
		got = append(got, text)
	}
	want := []string{
		"07:00 a exactly", "07:05 a exactly", "07:10 a exactly", "07:12 a exactly",
		`08:10 a exactly; accuses relax-short on 3, saying "20 min"; asks out-of-order on 2|3 0 ft to 50 ft; asks out-of-order on 2|3@south`,
		"08:20 a; gone relax-short; silent run-open; silent cover-owed",
		"09:00 b exactly",
		"09:05 a leaving; accuses edge-open on 2|3@south splice; accuses edge-open on 2|3@north splice",
	}
	if !slices.Equal(got, want) {
		t.Errorf("moments\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestMomentsAfterBatches(t *testing.T) {
	s := inHall(t,
		"08:10 priming 2|3 0 to 50 ft",
		"12:00 note x",
		"15:00 note y",
		"@08:10 accuses relax-short on panel 3",
		"@08:20 asks edge-early on 2|3 south, among others",
		"@12:10 accuses edge-early on 2|3 south",
		"@12:20 gone edge-early",
		"@12:20 silent run-open",
		"@15:55 nothing",
	)
	for mode, want := range map[Mode][]string{
		Batches: {
			"09:30; may ask relax-short on 3; may ask edge-early on 2|3@south",
			"12:30 exactly; silent edge-early; silent run-open",
			"15:50 exactly; silent edge-early; silent run-open",
		},
		AllAtOnce: {"15:50 exactly; silent edge-early; silent run-open"},
	} {
		var got []string
		for _, m := range tell(t, s, mode).Moments {
			text := clockIn(s, m.At)
			if m.Exact {
				text += " exactly"
			}
			for _, e := range m.Expect {
				text += "; " + e.String()
			}
			got = append(got, text)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: moments %q, want %q", mode, got, want)
		}
	}
}

func TestJudge(t *testing.T) {
	part := daylog.Part{To: roofplan.Feet(50)}
	spots := func(names ...string) []Where {
		var out []Where
		for _, n := range names {
			out = append(out, Where{Name: n})
		}
		return out
	}
	accuses := func(where string) Expectation { return Expectation{Line: 1, Says: Accuses, Rule: "r", Place: where} }
	for _, c := range []struct {
		name   string
		moment Moment
		found  []Found
		wrong  []string // what each complaint says
	}{
		{"nothing, nothing", Moment{Exact: true}, nil, nil},
		{"nothing, but something", Moment{Exact: true}, []Found{{Rule: "r"}}, []string{"nothing more is expected"}},
		{"nothing, but set aside", Moment{Exact: true}, []Found{{Rule: "r", Aside: true}}, nil},
		{"says nothing of others", Moment{Expect: []Expectation{{Says: Silent, Rule: "q"}}}, []Found{{Rule: "r"}}, nil},
		{"accuses", Moment{Exact: true, Expect: []Expectation{accuses("")}}, []Found{{Rule: "r", Places: spots("1|2@south")}}, nil},
		{"asks instead", Moment{Exact: true, Expect: []Expectation{accuses("")}}, []Found{{Rule: "r", Asks: true}}, []string{"but the rules: asks r"}},
		{"is silent", Moment{Expect: []Expectation{accuses("")}}, nil, []string{"does not speak"}},
		{"elsewhere", Moment{Exact: true, Expect: []Expectation{accuses("1|2@south")}}, []Found{{Rule: "r", Places: spots("1|2@north")}},
			[]string{"does not speak", "nothing more"}},
		{"all places named", Moment{Exact: true, Expect: []Expectation{accuses("1|2@south"), accuses("1|2@north")}},
			[]Found{{Rule: "r", Places: spots("1|2@south", "1|2@north")}}, nil},
		{"one place not named", Moment{Exact: true, Expect: []Expectation{accuses("1|2@south")}},
			[]Found{{Rule: "r", Places: spots("1|2@south", "1|2@north")}}, []string{"of r less is expected"}},
		{"the run stands for its places", Moment{Exact: true, Expect: []Expectation{accuses("1|2")}},
			[]Found{{Rule: "r", Places: spots("1|2@south", "1|2 41 ft", "1|2@north splice")}}, nil},
		{"but not for a longer name", Moment{Exact: true, Expect: []Expectation{accuses("1|2")}}, []Found{{Rule: "r", Places: spots("1|20@south")}},
			[]string{"does not speak", "nothing more"}},
		{"places of another sort need no naming", Moment{Exact: true, Expect: []Expectation{accuses("6")}},
			[]Found{{Rule: "r", Places: []Where{{Name: "6"}, {"5|6", part}}}}, nil},
		{"a stretch", Moment{Exact: true, Expect: []Expectation{{Says: Accuses, Rule: "r", Place: "5|6", Part: &part}}},
			[]Found{{Rule: "r", Places: []Where{{"5|6", part}}}}, nil},
		{"another stretch", Moment{Expect: []Expectation{{Says: Accuses, Rule: "r", Place: "5|6", Part: &part}}},
			[]Found{{Rule: "r", Places: []Where{{"5|6", daylog.Part{From: 600, To: 1200}}}}}, []string{"does not speak"}},
		{"words", Moment{Exact: true, Expect: []Expectation{{Says: Asks, Rule: "r", Words: "when"}}},
			[]Found{{Rule: "r", Says: "when was it?", Asks: true}}, nil},
		{"other words", Moment{Expect: []Expectation{{Says: Asks, Rule: "r", Words: "when"}}},
			[]Found{{Rule: "r", Says: "where?", Asks: true}}, []string{"does not speak"}},
		{"gone", Moment{Expect: []Expectation{{Says: Gone, Rule: "r"}}}, []Found{{Rule: "q"}}, nil},
		{"not gone", Moment{Expect: []Expectation{{Says: Gone, Rule: "r"}}}, []Found{{Rule: "r", Asks: true}}, []string{"gone r, but the rules: asks r"}},
		{"silent elsewhere", Moment{Expect: []Expectation{{Says: Silent, Rule: "r", Place: "7"}}}, []Found{{Rule: "r", Places: spots("8")}}, nil},
		{"set aside", Moment{Exact: true, Expect: []Expectation{{Says: SetAside, Rule: "r"}}}, []Found{{Rule: "r", Aside: true}}, nil},
		{"not set aside", Moment{Expect: []Expectation{{Says: SetAside, Rule: "r"}}}, []Found{{Rule: "r"}}, []string{"set aside r, but the rules: accuses r"}},
		{"may ask and asks", Moment{Exact: true, Expect: []Expectation{{Says: MayAsk, Rule: "r"}}}, []Found{{Rule: "r", Asks: true}}, nil},
		{"may ask and is silent", Moment{Exact: true, Expect: []Expectation{{Says: MayAsk, Rule: "r"}}}, nil, nil},
		{"may ask and accuses", Moment{Exact: true, Expect: []Expectation{{Says: MayAsk, Rule: "r"}}}, []Found{{Rule: "r"}}, []string{"may ask r, but the rules: accuses"}},
		{"live found it", Moment{}.May([]Found{{Rule: "r", Places: spots("1|2@south")}}), []Found{{Rule: "r", Asks: true, Places: spots("1|2@south")}}, nil},
		{"live found it elsewhere", Moment{}.May([]Found{{Rule: "r", Places: spots("1|2@south")}}), []Found{{Rule: "r", Asks: true, Places: spots("1|2@north")}},
			[]string{"nothing more"}},
	} {
		got := c.moment.Judge(c.found)
		ok := len(got) == len(c.wrong)
		for i := 0; ok && i < len(got); i++ {
			ok = strings.Contains(got[i], c.wrong[i])
		}
		if !ok {
			t.Errorf("%s: %q, want %q", c.name, got, c.wrong)
		}
	}
}
