package checks

import "duskline/internal/daylog"

var sweepMissing = &Check{
	ID:       "sweep-missing",
	Title:    "Mat or stone on a sheet that was not broomed off",
	Why:      "A screw or a stone chip left under the ballast works through the sheet.",
	Settle:   "Broom it off before anything more goes on it; or enter the broom-off that was done.",
	Source:   practice,
	Severity: Today,
	When:     Live,
	Absence:  true,
	Run:      runSweepMissing,
}

func runSweepMissing(s *Situation, report func(Finding)) {
	said := map[string]bool{}
	for i := range s.Day.Acts {
		a := &s.Day.Acts[i]
		if a.Kind != "mat" && a.Kind != "stone" || said[a.Place] {
			continue
		}
		said[a.Place] = true // what comes first on a sheet decides
		p := s.stands().panels[a.Place]
		if p == nil || !layBefore(p, a) || !onSheet(a) || p.Swept != "" && p.Swept < s.Day.Date || matBefore(s, p) {
			continue
		}
		swept := s.sweptAt(a.Place)
		if !swept.IsZero() && !swept.At.After(a.Began.At) {
			continue
		}
		f := Finding{
			Key:    "sweep-missing " + a.Place,
			Place:  "panel " + a.Place,
			Says:   upper(a.Kind) + " went on panel " + a.Place + " before it was broomed off",
			Seen:   a.Kind + " from " + s.when(a.Began) + ", no broom-off",
			Limit:  "broomed off before",
			Since:  a.Began.At,
			Asks:   !certain(a.Began, swept),
			Entry:  []string{a.Line.Root},
			Answer: Answer{Label: "Broom-off", Kind: "broomoff", Fields: map[string]any{"panels": []string{a.Place}}, At: a.Began.At},
			places: []where{{name: a.Place}},
		}
		if !swept.IsZero() {
			f.Seen = a.Kind + " from " + s.when(a.Began) + ", broom-off " + s.when(swept)
		}
		if f.Asks {
			f.Says = "When was panel " + a.Place + " broomed off?"
			f.Settle = "Say when it was broomed off, or when the " + a.Kind + " went on."
		}
		report(f)
	}
}

// layBefore reports whether a panel of this record lay in position before
// something went on it. Where that is not written, another rule asks for it.
func layBefore(p *daylog.Panel, a *daylog.Act) bool {
	return p.Day != "" && !p.Position.IsZero() && !p.Position.At.After(a.Began.At)
}

// onSheet reports whether an act of mat or stone is on the sheet itself, not
// only on an earlier leading strip of it.
func onSheet(a *daylog.Act) bool {
	stone, ok := a.Line.Body.(*daylog.StoneSpread)
	if !ok {
		return true
	}
	for _, pp := range stone.Panels {
		if pp.Panel == a.Place {
			return true
		}
	}
	return false
}

// matBefore reports whether mat of an earlier day lies on a panel: it was
// broomed off then.
func matBefore(s *Situation, p *daylog.Panel) bool {
	today := 0
	for _, a := range s.stands().acts[p.Name] {
		if a.Kind == "mat" {
			today++
		}
	}
	return len(p.Mat) > today
}

// sweptAt gives when a panel was first broomed off today; zero if it was not.
func (s *Situation) sweptAt(panel string) (first daylog.When) {
	for _, a := range s.stands().acts[panel] {
		if a.Kind == "broomoff" && (first.IsZero() || a.Began.At.Before(first.At)) {
			first = a.Began
		}
	}
	return first
}
