package script

import (
	"os"
	"testing"
)

// read parses a script of testdata.
func read(t testing.TB, name string) *Script {
	t.Helper()
	text, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	s, err := Parse(name, string(text))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestDaysParse(t *testing.T) {
	s := read(t, "day3.day")
	g, err := s.Log(Live)
	if err != nil {
		t.Fatal(err)
	}
	if got := len(g.Held("a", g.Entries[len(g.Entries)-1].Made)); got != len(g.Entries) {
		t.Errorf("the tablet holds %d entries of %d", got, len(g.Entries))
	}
}
