package script_test

import (
	"fmt"
	"log"

	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
)

func Example() {
	s, err := script.Parse("cold morning", `
job "Invented hall" in America/Chicago, leaving 15:30, pack-up 20 min, invented
person ada "Ada Invented", foreman
roof 97 ft north-south by 195 ft 9 in east-west, parapets, turn-up 18 in
row of panels 1 to 4 of 50 ft, 100 ft long, laps 5 in
standing panels 1 and 2, strip of 4 ft on 2, weighted

day 2026-10-06, Tuesday
07:15 start
10:36 panel 3 in position, edges weighted
11:12 priming 2|3, by ada
11:24 finger test 2|3 passes
11:45 run 2|3 closed, end lap at 41 ft of 1 1/2 in, vertical splices south and north
12:10-12:30 covers rolled on 2|3 at 41 ft, south and north
15:05 treated 2|3 at 41 ft
15:06 strike 15:05 treated, because too early
@15:05 accuses edge-early on 2|3 at 41 ft
@15:06 gone edge-early

variant "no finger test"
drop 11:24 finger test
@11:45 accuses flash-unproved on 2|3 0 to 100 ft
`)
	if err != nil {
		log.Fatal(err)
	}
	for _, mode := range []script.Mode{script.Live, script.Batches} {
		day, err := s.Log(mode)
		if err != nil {
			log.Fatal(err)
		}
		for _, w := range day.Entries {
			if w.Kind == "covers" {
				fmt.Printf("%s: %s written %s, about %d min\n", mode, w.ID, w.Made.In(s.Zone()).Format("15:04"), w.About)
			}
		}
		for _, m := range day.Moments {
			fmt.Println(m.At.In(s.Zone()).Format("15:04"), m.Expect)
		}
	}
	fmt.Println(s.Variants())
	seam := daylog.OnSeam{Seam: "2|3", Part: daylog.Part{From: 54, To: 600}}
	fmt.Println(script.Say(&daylog.FingerTest{OnSeam: seam, Result: "strings"}, s.Zone()))
	// Output:
	// live: l14 written 12:30, about 0 min
	// 15:05 [accuses edge-early on 2|3 41 ft]
	// 15:06 [gone edge-early]
	// in batches: l14 written 12:30, about 15 min
	// [no finger test]
	// finger test 2|3 4 ft 6 in to 50 ft fails, stringy
}
