//go:build !js

package weather

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

type (
	sunAsked struct {
		Latitude  float64 `json:"latitude"`
		Longitude float64 `json:"longitude"`
		Midday    int64   `json:"midday"` // ms since 1970
	}
	sunAnswer struct {
		Transit                     int64
		Dawn, Sunrise, Sunset, Dusk *int64
	}
	asked struct {
		DewPoints [][2]float64 `json:"dewPoints,omitempty"` // C, % to C
		Pressures []float64    `json:"pressures,omitempty"` // C to Pa
		Suns      []sunAsked   `json:"suns,omitempty"`
	}
	answered struct {
		DewPoints, Pressures []float64
		Suns                 []sunAnswer
	}
)

// reference asks the reference libraries, npm psychrolib 1.1.1 and
// astronomy-engine 2.1.19.
func reference(t *testing.T, questions asked) (answers answered) {
	t.Helper()
	modules, err := filepath.Abs("../../.cache/node/node_modules")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"psychrolib", "astronomy-engine"} {
		if _, err := os.Stat(filepath.Join(modules, name)); err != nil {
			missing(t, "npm "+name+" is not in .cache/node")
		}
	}
	if _, err := exec.LookPath("node"); err != nil {
		missing(t, "there is no node")
	}
	in, err := json.Marshal(questions)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), "node", "testdata/reference.js", modules)
	cmd.Stdin, cmd.Stderr = bytes.NewReader(in), os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(out, &answers); err != nil {
		t.Fatal(err)
	}
	if len(answers.DewPoints) != len(questions.DewPoints) || len(answers.Pressures) != len(questions.Pressures) || len(answers.Suns) != len(questions.Suns) {
		t.Fatal("the answers are fewer than the questions")
	}
	return answers
}

// missing ends a test that lacks a tool: in CI that is a failure.
func missing(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatal(what + ": run make tools first")
	}
	t.Skip(what + ": nothing compared; make tools installs it")
}

func TestAgainstPsychrolib(t *testing.T) {
	var q asked
	for c := 0.5; c <= 50; c += 0.5 {
		q.Pressures = append(q.Pressures, c)
		for rh := 2.0; rh <= 100; rh += 2 {
			q.DewPoints = append(q.DewPoints, [2]float64{c, rh})
		}
	}
	a := reference(t, q)
	compared := 0
	for i, of := range q.DewPoints {
		if a.DewPoints[i] <= 0.01 {
			continue // below freezing the library gives the frost point
		}
		compared++
		if got := dewPoint(of[0], of[1]); math.Abs(got-a.DewPoints[i]) > 0.05 {
			t.Errorf("%v C, %v %%: dew point %.3f C, psychrolib %.3f C", of[0], of[1], got, a.DewPoints[i])
		}
	}
	if compared < 3000 {
		t.Errorf("only %d dew points compared", compared)
	}
	for i, c := range q.Pressures {
		if got := saturation(c) * 100; math.Abs(got/a.Pressures[i]-1) > 0.005 {
			t.Errorf("%v C: saturation %.1f Pa, psychrolib %.1f Pa", c, got, a.Pressures[i])
		}
	}
}

func TestAgainstAstronomyEngine(t *testing.T) {
	var q asked
	ask := func(latitude, longitude float64, year, day int) {
		midday := time.Date(year, 1, day, 12, 0, 0, 0, meanZone(longitude))
		q.Suns = append(q.Suns, sunAsked{latitude, longitude, midday.UnixMilli()})
	}
	for latitude := -65.0; latitude <= 65; latitude += 10 {
		for longitude := -180.0; longitude <= 180; longitude += 40 {
			for day := 1; day <= 365; day += 7 {
				ask(latitude, longitude, 2026, day)
			}
		}
	}
	for year := 1900; year <= 2100; year += 10 {
		for day := 1; day <= 365; day += 30 {
			ask(41.6, -93.6, year, day)
		}
	}
	// Polar night and polar day (no event), and the days well between them.
	for _, day := range []int{1, 100, 172, 250, 355} {
		ask(71.29, -156.79, 2025, day)
		ask(-80, 20, 2025, day)
	}
	a := reference(t, q)
	for i, of := range q.Suns {
		day := time.UnixMilli(of.Midday).In(meanZone(of.Longitude))
		s, err := Place{of.Latitude, of.Longitude}.Sun(day)
		if err != nil {
			t.Fatal(err)
		}
		compare := func(name string, at time.Time, ok bool, want *int64) {
			if ok != (want != nil) {
				t.Errorf("%s at %v %v on %v: there is one: %v, for astronomy-engine %v", name, of.Latitude, of.Longitude, day, ok, want != nil)
			} else if ok && at.Sub(time.UnixMilli(*want)).Abs() > time.Minute {
				t.Errorf("%s at %v %v: %v, astronomy-engine %v", name, of.Latitude, of.Longitude, at, time.UnixMilli(*want).In(day.Location()))
			}
		}
		compare("transit", s.Transit, true, &a.Suns[i].Transit)
		for name, event := range events(s) {
			at, ok := event()
			compare(name, at, ok, map[string]*int64{
				"dawn": a.Suns[i].Dawn, "sunrise": a.Suns[i].Sunrise, "sunset": a.Suns[i].Sunset, "dusk": a.Suns[i].Dusk,
			}[name])
		}
	}
}

// TestNoFusedProducts: on arm64 the compiler multiplies and adds in one step
// wherever it may, and then the last bits are not those of other machines.
func TestNoFusedProducts(t *testing.T) {
	cmd := exec.CommandContext(t.Context(), "go", "build", "-gcflags=-S", ".")
	cmd.Env = append(os.Environ(), "GOOS=linux", "GOARCH=arm64", "CGO_ENABLED=0")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if !bytes.Contains(out, []byte("FMULD")) {
		t.Fatal("no product in the compiler's listing: it was not the listing of this package")
	}
	for line := range bytes.Lines(out) {
		for _, fused := range []string{"FMADDD", "FMSUBD", "FNMADDD", "FNMSUBD"} {
			if bytes.Contains(line, []byte("\t"+fused+"\t")) {
				t.Errorf("a product is not converted before it is added to: %s", line)
			}
		}
	}
}
