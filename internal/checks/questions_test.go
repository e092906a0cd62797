package checks

import (
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/daylog/script"
)

// askedAt gives the questions of a worked day's first tablet at a time of day.
func askedAt(t *testing.T, e example, g *script.Log, date daylog.Date, clock string, more ...daylog.Entry) []Question {
	t.Helper()
	at, err := time.ParseInLocation("2006-01-02 15:04", string(date)+" "+clock, e.Zone())
	if err != nil {
		t.Fatal(err)
	}
	device := e.Tablets()[0]
	return Questions(Look(daylog.Fold(e.Job, append(g.Held(device, at), more...)), date, at, e.Zone(), device, false))
}

func wordsOf(all []Question) string {
	var words []string
	for _, q := range all {
		words = append(words, q.Words)
	}
	return strings.Join(words, " ")
}

// A day written as it happens is asked little, one written in batches what
// matters, none more than three things at once, and nothing in between.
func TestQuestionsOfTheWorkedDays(t *testing.T) {
	live, batches := 0, 0
	for _, e := range examples(t) {
		if e.rule != "" {
			continue
		}
		for _, mode := range []script.Mode{script.Live, script.Batches, script.AllAtOnce} {
			g, err := e.Log(mode)
			if err != nil {
				t.Fatal(err)
			}
			for _, date := range e.Dates() {
				down := toolsDown(daylog.Fold(e.Job, entriesOf(g)).On(date), e.Zone())
				quits := down.Add(-quitting).In(e.Zone()).Format("15:04")
				for _, clock := range []string{"09:29", "12:29", quits, down.In(e.Zone()).Format("15:04")} {
					all := askedAt(t, e, g, date, clock)
					if len(all) > 3 {
						t.Errorf("%s, %s, %s %s: %d questions", e.name, mode, date, clock, len(all))
					}
					keys := map[string]bool{}
					for _, q := range all {
						k, known := daylog.FindKind(q.Answer.Kind)
						if !known || k.Writes != daylog.Crew || q.Key == "" || keys[q.Key] || !strings.Contains(q.Words, "?") {
							t.Errorf("%s, %s: question %+v", e.name, clock, q)
						}
						keys[q.Key] = true
					}
					switch {
					case clock == quits || date != e.Dates()[0]:
					case mode == script.Live:
						live += len(all)
					case mode == script.Batches:
						batches += len(all)
					}
				}
				for _, clock := range []string{"08:40", "10:30", "13:40", "14:10"} {
					if all := askedAt(t, e, g, date, clock); len(all) > 0 && clock < quits {
						t.Errorf("%s, %s, %s %s: it nags: %s", e.name, mode, date, clock, wordsOf(all))
					}
				}
			}
		}
	}
	t.Logf("before the break and lunch and at tools down of the first days: %d questions live, %d in batches", live, batches)
	if live >= batches {
		t.Errorf("%d questions on days written as they happen, %d on days written in batches", live, batches)
	}
}

// What is asked at lunch of the cold day: nothing if it was written as it
// happened; in batches the run and the edges, and nothing once they are written.
func TestQuestionsThatMatter(t *testing.T) {
	e := readExample(t, worked+"/day1.day")
	for _, x := range []struct {
		mode        script.Mode
		clock, want string
	}{
		{script.Live, "09:29", ""},
		{script.Live, "12:29", ""},
		{script.Batches, "12:29", "Run 4|5, 0 to 100 ft: begun by now? Are the edges of panel 5 secured?"},
		{script.Batches, "12:31", ""},
	} {
		g, err := e.Log(x.mode)
		if err != nil {
			t.Fatal(err)
		}
		if got := wordsOf(askedAt(t, e, g, e.Dates()[0], x.clock)); got != x.want {
			t.Errorf("%s, %s: asked %q, want %q", x.mode, x.clock, got, x.want)
		}
	}
}

// No is no for the day; later is asked again at the next pause and not before.
func TestNoAndLater(t *testing.T) {
	e := readExample(t, worked+"/day3.day")
	g, err := e.Log(script.AllAtOnce)
	if err != nil {
		t.Fatal(err)
	}
	date := e.Dates()[0]
	// The start alone is written; the rest comes at quitting time.
	start := daylog.Entry{Job: e.Job, Device: "x", Seq: 1, ID: "x1", Day: date, Body: &daylog.Start{}}
	start.At, start.Made = clockOf(t, e, date, "07:00"), clockOf(t, e, date, "07:00")
	const panel = "Is panel 3 in position by now?"
	answer := func(clock string, later bool) daylog.Entry {
		at := clockOf(t, e, date, clock)
		return daylog.Entry{Job: e.Job, Device: "x", Seq: 2, ID: "x2", Day: date, At: at, Made: at, Body: &daylog.Asked{Key: "panel 3", Later: later}}
	}
	for _, x := range []struct {
		clock string
		more  []daylog.Entry
		want  bool
	}{
		{"09:30", nil, true},
		{"09:31", []daylog.Entry{answer("09:30", true)}, false},
		{"10:14", []daylog.Entry{answer("09:30", true)}, false},
		{"11:00", []daylog.Entry{answer("09:30", true)}, false},
		{"12:26", []daylog.Entry{answer("09:30", true)}, true},
		{"12:40", []daylog.Entry{answer("12:35", true)}, false},
		{"09:31", []daylog.Entry{answer("09:30", false)}, false},
		{"12:30", []daylog.Entry{answer("09:30", false)}, false},
	} {
		got := wordsOf(askedAt(t, e, g, date, x.clock, append(x.more, start)...))
		if strings.Contains(got, panel) != x.want {
			t.Errorf("%s after %v: asked %q", x.clock, x.more, got)
		}
	}
	// Such an answer is no part of the day's record.
	day := daylog.Fold(e.Job, []daylog.Entry{answer("09:30", false)}).On(date)
	if len(day.Lines) != 0 || day.Worked() || len(day.Asked) != 1 {
		t.Errorf("%d lines, worked: %v", len(day.Lines), day.Worked())
	}
}

func clockOf(t *testing.T, e example, date daylog.Date, clock string) time.Time {
	t.Helper()
	at, err := time.ParseInLocation("2006-01-02 15:04", string(date)+" "+clock, e.Zone())
	if err != nil {
		t.Fatal(err)
	}
	return at.UTC()
}

// The job's own break counts where the office has said when it is.
func TestQuestionsAtTheJobsOwnBreak(t *testing.T) {
	e := readExample(t, worked+"/day3.day")
	g, err := e.Log(script.Live)
	if err != nil {
		t.Fatal(err)
	}
	date := e.Dates()[0]
	at := clockOf(t, e, date, "06:00")
	job := daylog.Entry{Job: e.Job, Device: "x", Seq: 1, Tick: 1 << 40, ID: "x1", Day: date, At: at, Made: at,
		Body: &daylog.JobSetup{Name: "x", Zone: e.Zone().String(), Leaving: "15:30", Break: "10:20"}}
	for clock, want := range map[string]bool{"09:31": false, "10:21": true} {
		if got := askedAt(t, e, g, date, clock, job); (len(got) > 0) != want {
			t.Errorf("%s: asked %q", clock, wordsOf(got))
		}
	}
}
