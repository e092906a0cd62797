package checks

import "duskline/internal/daylog"

var sealChecked = &Check{
	ID:       "seal-check",
	Title:    "Night seal not looked at",
	Why:      "Water that came in under the seal is closed in by the next sheet, and shows years later.",
	Settle:   "Look under the sheet at the seal, take wet boards out, and note it.",
	Source:   practice,
	Severity: Today,
	When:     Overnight,
	Run:      runSealCheck,
}

func runSealCheck(s *Situation, report func(Finding)) {
	f := Finding{Key: "seal-check", Place: "night seal", Answer: Answer{Label: "Seal check", Kind: "sealcheck"}}
	var check *daylog.SealCheck
	for l, b := range daylog.Each[*daylog.SealCheck](s.Day) {
		check = b
		f.Since, f.Seen, f.Entry, f.Asks = l.At, "looked at "+s.when(l.Began()), []string{l.Root}, l.About > 0
	}
	if check != nil {
		replaced := false
		for l, b := range daylog.Each[*daylog.WetBoards](s.Day) {
			replaced = replaced || b.Replaced && !l.End().Before(f.Since)
		}
		switch {
		case replaced || check.Out:
			return
		case check.Wet > 0:
			f.Says = number(check.Wet) + " sq ft of wet boards found at last night's seal are not out"
			if f.Asks {
				f.Says = "Are the " + number(check.Wet) + " sq ft of wet boards at last night's seal out?"
			}
		case !check.Dry:
			f.Says = "It was not dry under the sheet at last night's seal, and no wet boards are out"
			if f.Asks {
				f.Says = "Was it dry under the sheet at last night's seal?"
			}
		default:
			return
		}
		f.Limit = "dry, wet boards out"
		f.Settle = "Take the wet boards out and say so."
		f.Answer = Answer{Label: "Wet boards", Kind: "wetboards", Fields: map[string]any{"sqft": check.Wet, "replaced": true}}
		report(f)
		return
	}
	seal := s.Day.Opening.Seal
	if seal == nil || seal.Day == s.Day.Date || seal.Checked > seal.Day && seal.Checked != "" {
		return
	}
	first := s.firstWork(func(a *daylog.Act) bool { return working(a.Kind) })
	if first == nil {
		return
	}
	if h, unsure := s.unheardAfter(first.Line.Made); unsure || s.Day.Started.IsZero() {
		if unsure {
			s.hold(h, "night seal")
		}
		return // another tablet has the morning
	}
	f.Since, f.Entry, f.Asks = first.Began.At, []string{first.Line.Root}, first.Began.About > 0
	f.Says = "Work began " + s.when(first.Began) + " and nobody has looked at last night's seal"
	f.Seen, f.Limit = "not noted", "looked at before work"
	f.Answer.At = first.Began.At
	if f.Asks {
		f.Says = "Was last night's seal looked at before work began " + s.when(first.Began) + "?"
		f.Settle = "Say how it was found: dry under the sheet, wet boards out."
	}
	report(f)
}
