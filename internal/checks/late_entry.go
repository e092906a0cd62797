package checks

import (
	"time"

	"duskline/internal/daylog"
)

var lateAfter = Limit{Name: "late-entry.after_h", Label: "Written down after it happened", Default: 12, Unit: "h", Source: Source{Where: "US Federal Rules of Evidence 803(6), made at or near the time; 12 h is common practice", Status: Practice}, Most: true}

var evidence = Source{Where: "US Federal Rules of Evidence 803(6)", Status: Published}

var lateEntry = &Check{
	ID:       "late-entry",
	Title:    "Written late",
	Why:      "What is written at the time by somebody who knows counts as evidence; what comes later counts less.",
	Settle:   "Nothing: it is marked and printed. Sign again, so that the signature covers it.",
	Source:   evidence,
	Severity: Notice,
	When:     Live | ToolsDown,
	Plain:    true,
	Limits:   []Limit{lateAfter},
	Run:      runLateEntry,
}

func runLateEntry(s *Situation, report func(Finding)) {
	limit := time.Duration(min(max(s.Limit(lateAfter), 0), 1e4) * float64(time.Hour))
	var late, signed []string
	var first, firstSigned time.Time
	for _, l := range s.Day.Lines {
		k := daylog.KindOf(l.Body)
		if k == nil || k.Group == daylog.SetUp || k.Group == daylog.Review || k.Group == daylog.Remarks && k.Name != "note" || k.Name == "sign" {
			continue
		}
		switch written := l.Members(); {
		case l.After:
			signed = append(signed, l.Root)
			if firstSigned.IsZero() {
				firstSigned = written[len(written)-1].Made
			}
		case l.Past == nil && l.Made.Sub(l.Ended().Latest()) > limit:
			late = append(late, l.Root)
			if first.IsZero() {
				first = l.Made
			}
		}
	}
	f := Finding{Place: "day", Limit: "written the same day"}
	if len(late) > 0 {
		f.Key, f.Since, f.Entry = "late-entry", first, late
		f.Says = daylog.Count(len(late), "entry", "entries") + " written more than " + number(s.Limit(lateAfter)) + " h after it happened"
		f.Seen, f.Limit = "written "+first.In(s.Zone).Format("Mon Jan 2 15:04"), number(s.Limit(lateAfter))+" h"
		f.Source = lateAfter.Source
		f.Answer = Answer{Label: "Note why", Kind: "note", Fields: map[string]any{}}
		report(f)
	}
	if len(signed) > 0 {
		f.Key, f.Since, f.Entry = "late-entry signed", firstSigned, signed
		f.Says = daylog.Count(len(signed), "entry", "entries") + " written or changed after the day was signed"
		f.Seen, f.Limit, f.Source = "written "+firstSigned.In(s.Zone).Format("Mon Jan 2 15:04"), "before signing", evidence
		f.Answer = Answer{Label: "Sign", Kind: "sign"}
		report(f)
	}
}
