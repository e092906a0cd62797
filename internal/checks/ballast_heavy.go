package checks

import (
	"math"
)

var (
	heavyPart = Limit{Name: "ballast-heavy.over_percent", Label: "Loose stone over its rate", Default: 10, Unit: "%", Source: tolerance, Most: true}
	heavyLoad = Limit{Name: "ballast-heavy.load_psf", Label: "Load the engineer allows; 0 is not given", Default: 0, Unit: "psf", Source: practice, Most: true}
)

var ballastHeavy = &Check{
	ID:       "ballast-heavy",
	Title:    "Too much ballast",
	Why:      "What a roof carries is for the licensed engineer of record; stone heaped in one place lacks in another.",
	Settle:   "Spread it out, or correct the weight or the area; over the allowed load, take it off and ask the engineer.",
	Source:   tolerance,
	Severity: Today,
	When:     Live | ToolsDown,
	Plain:    true,
	Limits:   []Limit{heavyPart, heavyLoad},
	Run:      runBallastHeavy,
}

func runBallastHeavy(s *Situation, report func(Finding)) {
	for _, l := range s.loads() {
		if l.pounds == 0 || l.area == 0 {
			continue
		}
		limit, grade := 0, Today
		says := ""
		if allowed := s.Limit(heavyLoad); allowed > 0 {
			if most := int(math.Round(l.area * allowed)); l.pounds > most {
				limit, grade, says = most, Stop, "the engineer allows "+hundredth(allowed)+" psf"
			}
		}
		// A rate is the least: pavers may weigh more.
		if most := int(math.Round(l.area * l.most * (1 + s.Limit(heavyPart)/100))); says == "" && l.loose && l.most > 0 && l.area >= s.Limit(lightArea) && l.pounds > most {
			limit, says = most, "the rate is "+hundredth(l.most)+" psf"
		}
		if says == "" {
			continue
		}
		f := l.finding("ballast-heavy")
		f.Grade = grade
		f.Says = upper(l.on()) + ": " + number(float64(l.pounds)) + " lb on " + number(l.area) + " sq ft; " + says
		f.Limit = number(float64(limit)) + " lb"
		if grade == Stop {
			f.Source = heavyLoad.Source
		}
		f.Answer = correct(l.lines[len(l.lines)-1], "How much?")
		report(f)
	}
}
