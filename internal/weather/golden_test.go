package weather

import (
	"flag"
	"fmt"
	"hash/fnv"
	"os"
	"strings"
	"testing"
	"time"
)

var golden = flag.Bool("golden", false, "write the file that values are compared with")

// TestValuesAreTheSameEverywhere: the file was written on one machine and is
// compared with on all, WebAssembly included.
func TestValuesAreTheSameEverywhere(t *testing.T) {
	var b strings.Builder
	row := func(name string, of float64, value func(float64) (float64, bool), columns ...float64) {
		fmt.Fprintf(&b, "%s %v:", name, of)
		for _, c := range columns {
			if v, ok := value(c); ok {
				fmt.Fprintf(&b, " %v", v)
			} else {
				b.WriteString(" -")
			}
		}
		b.WriteByte('\n')
	}
	humidities := []float64{1, 7.5, 12.9, 13, 25, 40, 50, 60, 72, 85, 85.1, 92, 100}
	winds := []float64{3, 3.1, 5, 7.5, 10, 12.5, 18, 25, 40, 60, 100}
	for air := -45.0; air <= 130; air += 12.5 {
		row("dew point F", air, func(rh float64) (float64, bool) { return DewPoint(air, rh) }, humidities...)
		row("heat index F", air, func(rh float64) (float64, bool) { return HeatIndex(air, rh) }, humidities...)
		row("wind chill F", air, func(mph float64) (float64, bool) { return WindChill(air, mph) }, winds...)
	}
	row("velocity pressure psf", 1, VelocityPressure, winds...)
	for _, p := range []Place{{41.6, -93.6}, {71.29, -156.79}, {-33.9, 151.2}, {0, 179.9}, {61.2, 25}} {
		for day := 1; day <= 365; day += 13 {
			s := sunOn(t, p, time.Date(2026, 1, day, 12, 0, 0, 0, meanZone(p.Longitude)))
			fmt.Fprintf(&b, "%v %s:", p, s.Transit.Format(time.DateOnly))
			for _, event := range []func() (time.Time, bool){s.CivilDawn, s.Sunrise, func() (time.Time, bool) { return s.Transit, true }, s.Sunset, s.CivilDusk} {
				if at, ok := event(); ok {
					b.WriteString(at.UTC().Format(" 15:04"))
				} else {
					b.WriteString(" -")
				}
			}
			b.WriteByte('\n')
		}
	}

	// Every reading a page takes in whole degrees and halves of a percent or
	// mile an hour, as one sum: halves of the printed precision are common here.
	sum := fnv.New64a()
	for air := -40; air <= 130; air++ {
		for half := 1; half <= 240; half++ {
			x := float64(half) / 2
			for _, value := range []func(a, b float64) (float64, bool){DewPoint, HeatIndex, WindChill} {
				v, ok := value(float64(air), x)
				fmt.Fprintln(sum, v, ok)
			}
		}
	}
	for tenth := range 3001 {
		v, _ := VelocityPressure(float64(tenth) / 10)
		fmt.Fprintln(sum, v)
	}
	fmt.Fprintf(&b, "all others %016x\n", sum.Sum64())

	const path = "testdata/values.golden"
	if *golden {
		if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	got, want := strings.Split(b.String(), "\n"), strings.Split(string(file), "\n")
	if len(got) != len(want) {
		t.Fatalf("%d lines, %d in %s (run with -golden to take them over)", len(got), len(want), path)
	}
	for i := range got {
		if got[i] != want[i] {
			t.Errorf("here   %s\nin file %s", got[i], want[i])
		}
	}
}
