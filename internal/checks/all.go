package checks

// All lists every rule, in the order of the day's work.
func All() []*Check { return all }

var all = []*Check{}

func run(s *Situation, rules []*Check) []Finding { return nil }
