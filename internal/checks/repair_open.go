package checks

var repairOpen = &Check{
	ID:       "repair-open",
	Title:    "Repair not made",
	Why:      "Water finds it tonight, or stone buries it for good.",
	Settle:   "Put it right and say so.",
	Source:   practice,
	Severity: Today,
	When:     ToolsDown,
	Absence:  true,
	Plain:    true,
	Run:      runRepairOpen,
}

func runRepairOpen(s *Situation, report func(Finding)) {
	for _, item := range s.Roof.Items {
		if item.Sort != "repair" || item.Done != "" || !item.Water && !item.Buried {
			continue // the rest waits on the punch list
		}
		name := item.What
		if name == "" {
			name = item.Name
		}
		where := ""
		if item.Where != "" {
			where = ", " + item.Where
		}
		why := "it touches water"
		if !item.Water {
			why = "stone would bury it"
		}
		f := Finding{
			Key:    "repair-open " + item.Entry,
			Place:  item.Where,
			Says:   "Not put right: " + name + where + "; " + why,
			Seen:   "noted " + sayDate(item.Since),
			Limit:  "none open",
			Since:  s.toolsDown(),
			Entry:  []string{item.Entry},
			Answer: Answer{Label: "Put right", Kind: "fixed", Fields: map[string]any{"items": []string{item.Entry}}},
		}
		report(f)
	}
}
