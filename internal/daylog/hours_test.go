package daylog

import "testing"

// Hours are the job's, then the weekday's; a day off has no one.
func TestHoursOn(t *testing.T) {
	p := newPen(t)
	p.setUp()
	p.write("office", d1, "05:03", &JobSetup{Name: "Invented hall", Zone: "America/Chicago", Start: "07:00", Leaving: "16:30", Packup: 20})
	p.write("office", d1, "05:04", &WeekHours{Days: []string{"friday", "saturday"}, Leaving: "14:30", Packup: 30})
	p.write("office", d1, "05:05", &WeekHours{Days: []string{"saturday", "sunday"}, Off: true})
	p.write("office", d1, "05:06", &DayOff{Date: "2026-11-26", Name: "Invented feast"})
	p.write("office", d1, "05:07", &DayOff{Date: "2026-11-27", Name: "the day after"})
	p.write("office", d1, "05:08", &DayOff{Date: "2026-11-27", Gone: true})
	s := p.fold().On(d1).Setup
	for date, want := range map[Date]Hours{
		"2026-10-08": {"07:00", "16:30", 20, ""},         // Thursday
		"2026-10-09": {"07:00", "14:30", 30, ""},         // Friday
		"2026-10-10": {"07:00", "16:30", 20, "Saturday"}, // said anew
		"2026-11-26": {"07:00", "16:30", 20, "Invented feast"},
		"2026-11-27": {"07:00", "14:30", 30, ""},
	} {
		if got := s.HoursOn(date); got != want {
			t.Errorf("%s: %+v, want %+v", date, got, want)
		}
	}
	if got := p.fold().On("2026-10-09").Packup; got != 30 {
		t.Errorf("on a Friday tools go down %d min before leaving, want 30", got)
	}
	if got := p.fold().On("2026-10-12").Packup; got != 20 {
		t.Errorf("on the Monday after %d min, want 20", got)
	}
}

// A lot that the office has brings its dates along.
func TestLotsOfTheJob(t *testing.T) {
	p := newPen(t)
	p.setUp()
	p.write("office", d1, "05:03", &Approved{Material: "primer", Kind: "P-1", Months: 6})
	p.write("office", d1, "05:04", &JobLot{Material: "primer", Lot: "L7", Kind: "p-1", Made: "2026-05-31"})
	p.write("a", d1, "07:00", &LotOpened{Material: "primer", Lot: "L7"})
	p.write("a", d1, "07:01", &LotOpened{Material: "tape", Lot: "L7"})
	roof := p.fold().On(d1).Roof
	if lot, _ := roof.Lot("primer"); lot.Expires() != "2026-11-30" {
		t.Errorf("the primer is good until %q, want 2026-11-30", lot.Expires())
	}
	if lot, _ := roof.Lot("tape"); lot.Expires() != "" {
		t.Errorf("another material's lot of that name is good until %q", lot.Expires())
	}
}

func TestRatesAreDoubtedUntilChecked(t *testing.T) {
	if (BallastZones{System: "2"}).Doubt() == "" || (BallastZones{System: "2", Checked: "the invented standard, 2026"}).Doubt() != "" || (BallastZones{}).Doubt() != "" {
		t.Error("rates of a system are from memory until they are checked, and only those")
	}
}
