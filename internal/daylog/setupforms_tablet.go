//go:build tablet

package daylog

// The forms of the set-up are the office's: a tablet shows none of them.

var jobScript []string

func jobFields(*Day) []Field { return nil }

var limitScript []string

func limitFields(*Day) []Field { return nil }

var personScript []string

func personFields(*Day) []Field { return nil }

var standingScript []string

func standingFields(*Day) []Field { return nil }

var scopeScript []string

func scopeFields(*Day) []Field { return nil }

var weekScript []string

func weekFields(*Day) []Field { return nil }

func weekCheck(*Day, Body) []Problem { return nil }

var dayOffScript []string

func dayOffFields(*Day) []Field { return nil }

func dayOffCheck(*Day, Body) []Problem { return nil }

var zonesScript []string

func zonesFields(*Day) []Field { return nil }

var materialScript []string

func materialFields(*Day) []Field { return nil }

func materialCheck(*Day, Body) []Problem { return nil }

var jobLotScript []string

func jobLotFields(*Day) []Field { return nil }

func jobLotCheck(*Day, Body) []Problem { return nil }

var penetrationScript []string

func penetrationFields(*Day) []Field { return nil }

func penetrationCheck(*Day, Body) []Problem { return nil }

var approvedScript []string

func approvedFields(*Day) []Field { return nil }

func approvedCheck(*Day, Body) []Problem { return nil }
