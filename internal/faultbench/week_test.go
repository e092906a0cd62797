package faultbench

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
	"duskline/internal/store"
)

// Who has signal, or is there at all, at half past nine, at half past twelve, at
// half past three and after the day was signed.
var week = map[daylog.Date][4]string{
	"2026-03-02": {"ab", "ab", "ab", "ab"},
	"2026-03-03": {"b", "b", "b", "b"}, // the first tablet has none all day, and signs
	"2026-03-04": {"a", "a", "a", "a"}, // the second has none
	"2026-03-05": {"", "", "", ""},     // the office is off
	"2026-03-06": {"a", "b", "", ""},
}

// TestWeek: two tablets and the office write on one job for a week, offline by
// turns. At its end all three hold the same and show the same.
func TestWeek(t *testing.T) {
	w := newWorld(t, 11, 5)
	defer w.server.kill()
	a, b := w.add("", nil), w.add("", nil)
	a.link.faults, b.link.faults = false, false
	ctx := t.Context()
	meet := func(who string) {
		for _, tab := range []*tablet{a, b, a} { // what the second brings, the first takes home
			if name := map[*tablet]string{a: "a", b: "b"}[tab]; strings.Contains(who, name) {
				if _, err := w.exchange(tab); err != nil {
					t.Fatalf("%s has signal, and does not get through: %v", name, err)
				}
			}
		}
	}
	meet("ab")
	big, err := script.Big(5, 100, 11)
	w.no(err)
	zone, err := time.LoadLocation("America/Chicago")
	w.no(err)
	written := map[daylog.Date][]daylog.Entry{}
	for _, e := range big.Entries {
		if e.Device != script.Office {
			written[e.Day] = append(written[e.Day], e.Entry)
		}
	}
	if len(written) != len(week) {
		t.Fatalf("%d days of work, want %d", len(written), len(week))
	}
	keep := func(tab *tablet, drafts ...daylog.Entry) {
		kept, err := tab.log.Write(ctx, job, drafts...)
		w.no(err)
		for i := range kept {
			w.saved[daylog.Hash(kept[i].Raw())] = true
		}
	}
	var codes []string
	for _, day := range []daylog.Date{"2026-03-02", "2026-03-03", "2026-03-04", "2026-03-05", "2026-03-06"} {
		if day == "2026-03-05" {
			w.server.kill()
		}
		at := func(hour, minute int) time.Time {
			d, _ := time.Parse(time.DateOnly, string(day))
			return time.Date(d.Year(), d.Month(), d.Day(), hour, minute, 0, 0, zone).UTC()
		}
		hearings := []time.Time{at(9, 35), at(12, 35), at(15, 35)}
		for _, e := range written[day] {
			for len(hearings) > 0 && !e.Made.Before(hearings[0]) {
				meet(week[day][3-len(hearings)])
				hearings = hearings[1:]
			}
			tab := b // of the two tablets at the far end
			if e.Device == "a" {
				tab = a
			}
			draft := draftOf(e)
			sign, signs := e.Body.(*daylog.Sign)
			if signs {
				vector, err := tab.log.Heads(ctx, job)
				w.no(err)
				draft.Body = &daylog.Sign{Vector: vector, Statement: sign.Statement}
			}
			keep(tab, draft)
			if signs { // this is what the paper says that evening
				said := w.comesTo(tab.log)
				codes = append(codes, said[strings.LastIndex(said, "signed, check code"):])
			}
		}
		// Both correct a line that both have, and neither knows of the other.
		held, err := b.log.Entries(ctx, job, "2026-03-02")
		w.no(err)
		mine, err := a.log.Entries(ctx, job, "2026-03-02")
		w.no(err)
		both := slices.IndexFunc(held, func(e daylog.Entry) bool {
			_, note := e.Body.(*daylog.Note)
			return note && e.Of == "" && slices.ContainsFunc(mine, func(m daylog.Entry) bool { return m.ID == e.ID })
		})
		if both < 0 {
			t.Fatal("no note is on both tablets")
		}
		for name, tab := range map[string]*tablet{"first": a, "second": b} {
			e := held[both]
			keep(tab, daylog.Entry{
				ID: fmt.Sprint("looked", name, day), Day: e.Day, At: e.At, Made: at(17, 50), Author: "ada",
				Of: e.ID, Why: "looked again", Body: &daylog.Note{Text: fmt.Sprint("As the ", name, " saw it on ", day)},
			})
		}
		if day == "2026-03-05" {
			w.no(w.server.start())
		} else {
			// From the office's side: a limit changes while a tablet is away.
			limit := &daylog.LimitSetup{Limit: "edge-early.wait_min", Value: float64(200 + len(w.saved)%60)}
			draft := daylog.Entry{ID: "limit" + string(day), Day: day, At: at(17, 55), Made: at(17, 55), Author: "ada", Body: limit}
			kept, err := store.NewMemory().Write(ctx, job, draft)
			w.no(err)
			_, err = w.server.order(orders{Write: []json.RawMessage{kept[0].Raw()}})
			w.no(err)
		}
		meet(week[day][3])
	}
	w.heal()
	said := w.comesTo(a.log)
	if n := strings.Count(said, "signed, check code"); n != len(week) || len(codes) != len(week) {
		t.Errorf("%d signed days, %d check codes when they were signed, want %d", n, len(codes), len(week))
	}
	for _, code := range codes {
		if strings.Count(said, code) != 1 {
			t.Errorf("a day was signed with a %sthat is not its code once all have met:\n%s", code, said)
		}
	}
	if !strings.Contains(said, " warns ") {
		t.Errorf("no warning stands, so that nothing shows that they are the same:\n%s", said)
	}
	w.check()
	t.Logf("%d entries", w.count["entries"])
}
