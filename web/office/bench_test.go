package office

import (
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"duskline/internal/daylog/script"
	"duskline/internal/store"
)

// The pages of a day of 300 entries, the last of 60 such days of one job, from
// what the host remembers of it.
func BenchmarkDay(b *testing.B) {
	g, err := script.Big(60, 300, 1)
	if err != nil {
		b.Fatal(err)
	}
	log := store.NewMemory()
	var raws [][]byte
	for i := range g.Entries {
		raws = append(raws, g.Entries[i].Raw())
	}
	if _, err := log.Receive(b.Context(), script.BigJob, raws...); err != nil {
		b.Fatal(err)
	}
	last := g.Entries[len(g.Entries)-1]
	site := officeOf(b, log, last.Made.Add(12*time.Hour))
	for name, path := range map[string]string{"page": "/day/" + string(last.Day), "summary": "/day/" + string(last.Day) + "/summary", "list": "/days"} {
		get := func() *httptest.ResponseRecorder {
			w := httptest.NewRecorder()
			site.ServeHTTP(w, httptest.NewRequest("GET", "/job/"+script.BigJob+path, nil))
			return w
		}
		if w := get(); w.Code != http.StatusOK {
			b.Fatalf("%s: %d\n%s", path, w.Code, w.Body)
		}
		b.Run(name, func(b *testing.B) {
			bytes := 0
			for b.Loop() {
				bytes = get().Body.Len()
			}
			b.ReportMetric(float64(bytes)/1000, "KB")
		})
	}
}
