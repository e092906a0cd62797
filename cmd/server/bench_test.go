package main

import (
	"context"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"testing"

	"duskline/internal/browser"
	"duskline/internal/daylog/script"
	"duskline/internal/store/sqlite"
	"duskline/static"
)

// bigOffice is a server that holds a job of 60 days of 300 entries, and the
// address of Now on the job's last day.
func bigOffice(b *testing.B) (*sqlite.Log, string) {
	b.Helper()
	ctx := context.Background()
	g, err := script.Big(60, 300, 1)
	if err != nil {
		b.Fatal(err)
	}
	log, err := sqlite.Open(ctx, filepath.Join(b.TempDir(), "duskline.db"))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { log.Close() })
	var raws [][]byte
	for i := range g.Entries {
		raws = append(raws, g.Entries[i].Raw())
	}
	if _, err := log.Receive(ctx, script.BigJob, raws...); err != nil {
		b.Fatal(err)
	}
	last := g.Entries[len(g.Entries)-1].Day
	return log, "/job/" + script.BigJob + "/?day=" + string(last)
}

// Now of the last of 60 days of 300 entries, natively: from the memo, and as
// after a start, from an opening in the database.
func BenchmarkNow(b *testing.B) {
	log, path := bigOffice(b)
	build, err := static.New(static.Files)
	if err != nil {
		b.Fatal(err)
	}
	fresh := func() func(b *testing.B) {
		h := &host{log: log, build: build, logf: b.Logf}
		site := h.handler(h.routes)
		return func(b *testing.B) {
			w := httptest.NewRecorder()
			site.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
			if w.Code != 200 {
				b.Fatalf("%s: %d %s", path, w.Code, w.Body)
			}
		}
	}
	b.Run("memo", func(b *testing.B) {
		now := fresh()
		now(b)
		for b.Loop() {
			now(b)
		}
	})
	b.Run("opening", func(b *testing.B) {
		fresh()(b) // keeps the opening
		for b.Loop() {
			fresh()(b)
		}
	})
}

// The same on a tablet in Chromium, by Navigation Timing from tap to loaded
// page: with its program running, with its worker stopped before each tap, and
// with the browser killed and started again.
func BenchmarkTabletNow(b *testing.B) {
	log, path := bigOffice(b)
	build, err := static.New(static.Files)
	if err != nil {
		b.Fatal(err)
	}
	if !build.HasProgram() {
		b.Fatal("the tablets' program is not built: run make tablet first")
	}
	h := &host{log: log, build: build, logf: b.Logf}
	server := browser.Serve(b, h.handler(h.routes))
	chromium := browser.Start(b)
	p := chromium.Open(browser.Tablet)
	p.Go(server.URL + path)
	p.TapThrough("form[data-take-aboard] button")
	p.WaitControlled()
	p.WaitText("header .state", "office heard")
	server.Stop()
	for _, how := range []struct {
		name   string
		before func()
	}{
		{"warm", func() {}},
		{"stopped", func() { chromium.StopWorkers(p) }},
		{"restarted", func() {
			chromium.Again()
			p = chromium.Open(browser.Tablet)
		}},
	} {
		b.Run(how.name, func(b *testing.B) {
			var took, handler []float64
			for range 40 {
				how.before()
				p.Go(server.URL + path)
				took = append(took, browser.Eval[float64](p, `performance.getEntriesByType("navigation")[0].duration`))
				handler = append(handler, browser.Eval[float64](p, `(() => { const n = performance.getEntriesByType("navigation")[0]; return n.responseEnd - n.fetchStart; })()`))
			}
			slices.Sort(took)
			slices.Sort(handler)
			b.ReportMetric(0, "ns/op")
			b.ReportMetric(took[20], "p50-ms")
			b.ReportMetric(took[37], "p95-ms")
			b.ReportMetric(handler[20], "answer-p50-ms")
			b.ReportMetric(float64(p.ProgramMemory())/1e6, "worker-MB")
		})
	}
}
