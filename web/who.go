package web

import (
	"net/http"
	"time"

	"duskline/internal/daylog"
)

// FirstForeman takes whoever asks for the job's first foreman: for a site that
// nobody else can reach. A job without one can be read.
func FirstForeman(_ *http.Request, s *daylog.Setup) Who {
	for _, p := range s.Persons {
		if p.Role == "foreman" && !p.Gone {
			return Writing(p)
		}
	}
	return Who{Reads: true}
}

// Writing is a person of a job who writes its days.
func Writing(p daylog.Person) Who {
	return Who{Person: p.Person, Name: p.Name + ", " + p.Role, Reads: true, Writes: []daylog.Writer{daylog.Crew}}
}

// SavedWords says when the newest of the day's entries was written.
func SavedWords(where string, d *daylog.Day, zone *time.Location) string {
	var last time.Time
	for _, l := range d.Lines {
		for _, e := range l.Members() {
			if e.Made.After(last) {
				last = e.Made
			}
		}
	}
	if last.IsZero() {
		return "Nothing written today yet"
	}
	return where + " " + last.In(zone).Format("15:04")
}
