package checks

import "duskline/internal/daylog"

var changedAfterAccept = &Check{
	ID:       "changed-after-accept",
	Title:    "Changed after it was accepted",
	Why:      "What was accepted is no longer the whole record: it needs looking at again.",
	Settle:   "Nothing is lost: it is a new revision. The office accepts it again or sends it back.",
	Source:   practice,
	Severity: Notice,
	When:     Live | ToolsDown | Overnight | Planned,
	Plain:    true,
	Run:      runChangedAfterAccept,
}

func runChangedAfterAccept(s *Situation, report func(Finding)) {
	review, ok := s.Day.Review()
	if !ok || review.Accepted == nil {
		return
	}
	n := s.Day.Beyond(review.Vector, nil)
	if n == 0 {
		return
	}
	says := " came after the day was accepted: it is a new revision"
	report(Finding{
		Key:    "changed-after-accept",
		Place:  "day",
		Says:   daylog.Count(n, "entry", "entries") + says,
		Seen:   "accepted " + review.Line.At.In(s.Zone).Format("Mon Jan 2 15:04"),
		Limit:  "as accepted",
		Since:  review.Line.At,
		Entry:  []string{review.Line.Root},
		Answer: Answer{Label: "Note why", Kind: "note", Fields: map[string]any{}},
	})
}
