package checks

import (
	"flag"
	"fmt"
	"os"
	"path"
	"slices"
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
)

var update = flag.Bool("update", false, "write testdata/golden.txt anew")

// TestGolden holds the names and the findings of all examples and of the
// worked days. The file is the same natively, with GOAMD64=v3 and as
// WebAssembly:
//
//	go test -run TestGolden ./internal/checks
//	GOAMD64=v3 go test -run TestGolden ./internal/checks
//	GOOS=js GOARCH=wasm go test -exec "$(go env GOROOT)/lib/wasm/go_js_wasm_exec" -run TestGolden ./internal/checks
func TestGolden(t *testing.T) {
	var out strings.Builder
	for _, e := range examples(t) {
		fmt.Fprintf(&out, "## %s\n", path.Join(path.Base(path.Dir(e.name)), path.Base(e.name)))
		goldenNames(&out, t, e.Script)
		goldenFindings(&out, t, e.Script, true)
		for _, v := range variantsOf(t, e.Script) {
			_, name, _ := strings.Cut(v.Name, ", ")
			fmt.Fprintf(&out, "# %s\n", name)
			goldenFindings(&out, t, v, false)
		}
	}
	const file = "testdata/golden.txt"
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
			at := func(lines []string) string {
				if i < len(lines) {
					return lines[i]
				}
				return "(the end)"
			}
			t.Fatalf("%s:%d\n got %s\nwant %s\nIf that is right: go test ./internal/checks -run TestGolden -update", file, i+1, at(got), at(old))
		}
	}
}

// goldenNames lists what the plan of the last day calls its places.
func goldenNames(out *strings.Builder, t *testing.T, s *script.Script) {
	g, err := s.Log(script.Live)
	if err != nil {
		t.Fatal(err)
	}
	dates := s.Dates()
	layout := daylog.Fold(s.Job, entriesOf(g)).On(dates[len(dates)-1]).Roof.Layout()
	for _, p := range layout.Panels {
		fmt.Fprintf(out, "panel %s, %.1f sq ft\n", p.Name, p.Net)
	}
	for _, m := range layout.Seams {
		fmt.Fprintf(out, "seam %s, %s:", m.Name, m.Length)
		for _, end := range m.Ends() {
			fmt.Fprintf(out, " %s at %s;", end.Name, daylog.AngleAt(m, end))
		}
		out.WriteString("\n")
	}
	for _, j := range layout.Joints {
		fmt.Fprintf(out, "joint %s\n", j.Name)
	}
}

func entriesOf(g *script.Log) []daylog.Entry {
	out := make([]daylog.Entry, len(g.Entries))
	for i, w := range g.Entries {
		out[i] = w.Entry
	}
	return out
}

// goldenFindings tells what the rules say, what is owed and what runs whenever
// something is written and at the end of each day.
func goldenFindings(out *strings.Builder, t *testing.T, s *script.Script, owed bool) {
	for _, mode := range []script.Mode{script.Live, script.Batches, script.AllAtOnce} {
		g, err := s.Log(mode)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(out, "%s\n", mode)
		device := s.Tablets()[0]
		before := ""
		for _, date := range s.Dates() {
			moments := momentsOf(s, g, date)
			for n, at := range moments {
				sit := Look(daylog.Fold(s.Job, g.Held(device, at)), date, at, s.Zone(), device, false)
				found := tell(sit)
				if found != before {
					fmt.Fprintf(out, "%s %s\n%s", date, sit.Clock(at), found)
					before = found
				}
				if owed && mode == script.Live && (n == len(moments)-1 || n == len(moments)/2) {
					tellOwed(out, sit)
				}
			}
		}
	}
}

// momentsOf gives the instants of a day at which something is written, and
// tools down.
func momentsOf(s *script.Script, g *script.Log, date daylog.Date) []time.Time {
	var out []time.Time
	day := daylog.Fold(s.Job, entriesOf(g)).On(date)
	for _, l := range day.Lines {
		for _, e := range l.Members() {
			if e.Device != script.Office {
				out = append(out, e.Made)
			}
		}
	}
	if down := toolsDown(day, s.Zone()); !down.IsZero() {
		out = append(out, down)
	}
	slices.SortFunc(out, time.Time.Compare)
	return slices.CompactFunc(out, time.Time.Equal)
}

func tell(s *Situation) string {
	var out strings.Builder
	for _, f := range Run(s) {
		verb := "accuses"
		if f.Asks {
			verb = "asks"
		}
		if f.Aside != nil {
			verb += ", set aside"
		}
		answer := f.Answer.Label + ": " + f.Answer.Kind
		if f.Answer.Of != "" {
			answer += ", corrected"
		}
		fmt.Fprintf(&out, "  %s [%s] %s (%s; limit %q; %s; since %s) %s\n", verb, f.Key, f.Says, f.Seen, f.Limit, f.Source, s.Clock(f.Since), answer)
	}
	for _, h := range s.HeldBack() {
		fmt.Fprintf(&out, "  held back: %s, %s\n", h.Words, strings.Join(h.Places, ", "))
	}
	if out.Len() == 0 {
		return "  nothing\n"
	}
	return out.String()
}

func tellOwed(out *strings.Builder, s *Situation) {
	for _, o := range OwedNow(s) {
		fmt.Fprintf(out, "  owed [%s] %s: %s; %s\n", o.Key, o.Words, o.Detail, o.Answer.Label)
	}
	for _, c := range Running(s) {
		until := "the finger says so"
		if !c.Until.IsZero() {
			until = s.Clock(c.Until)
		}
		fmt.Fprintf(out, "  running [%s] %s, since %s until %s\n", c.Key, c.Words, s.Clock(c.Since), until)
	}
}
