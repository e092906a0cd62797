package exchange

import (
	"bytes"
	"context"
	"net/http"
	"strings"
	"testing"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// seeds are messages as text, the sums to be filled in.
func seeds(t testing.TB) []string {
	l := &line{job: job, device: "tablet"}
	one, two := l.next(t, "one"), l.next(t, "two")
	head := l.reach.Head.String()
	return []string{
		opening + "\n" + `["job","elm"]` + "\n" + one + "\n" + `["so far",1,"SUM"]` + "\n" + two + "\n" + `["end",{"count":2,"sum":"SUM","heads":{"elm":{"tablet":{"seq":2,"head":"` + head + `"}}}}]`,
		`{"device":"tablet","now":1,"jobs":["elm","oak"],"digest":"AAAAAAAAAAAAAAAAAAAAAA","folds":"1.AAAAAAAAAAA"}` + "\n" + `["end",{}]`,
		opening + "\n" + `["end",{"heads":{"elm":{"held":{"seq":1,"head":"` + head + `"},"held~00000000":{"seq":70,"head":"` + head + `"}}},"trails":{"elm":{"held":{"1":"AAAAAAAAAAA","64":"` + l.reach.Head.Prev() + `"}}},"past":{"elm":{"held":2}}}]`,
		opening + "\n" + `["end",{"heads":{"elm":{}},"more":true,"refused":[{"job":"elm","seq":1,"hash":"` + head + `","why":"?"}],"shut":{"elm":"no"},"parked":true}]`,
		`{"device":"office","build":"1","now":1,"ahead":9}` + "\n" + `["job","elm"]` + "\n" + `{"kind":5}` + "\n" + strings.Replace(one, `"seq":1`, `"seq":-1`, 1) + "\n" + `["end",{"count":2,"sum":"SUM","heads":{"elm":{"tablet":{"seq":-2,"head":"` + head + `"}}}}]`,
	}
}

// held is a log with a few entries on forked lines.
func held(t testing.TB) *store.Memory {
	log := store.NewMemory()
	l := &line{job: job, device: "held"}
	var all [][]byte
	for range 70 {
		all = append(all, []byte(l.next(t, "common")))
	}
	other := *l
	all = append(all, []byte(l.next(t, "a")), []byte(other.next(t, "b")))
	must[[]string](t)(log.Receive(t.Context(), job, all...))
	return log
}

func unzip(t testing.TB, text string) []byte { return zipped(t, strings.Split(text, "\n")...) }

func FuzzCall(f *testing.F) {
	for _, text := range seeds(f) {
		f.Add(unzip(f, text), false)
		f.Add([]byte(text), true)
	}
	f.Fuzz(func(t *testing.T, body []byte, text bool) {
		if text {
			body = unzip(t, string(body))
		}
		log := held(t)
		before := raws(t, log, job)
		office := newOffice(t, log)
		office.Logf, office.Fold = nil, FoldOf(log, nil)
		w := post(office, body)
		switch {
		case w.Code == http.StatusOK:
			if _, _, err := read(w.Body, answerLimits, handler{hello: func(hello) error { return nil }, entries: func(string, [][]byte) error { return nil }}); err != nil {
				t.Errorf("its answer is none: %v", err)
			}
		case w.Code >= 500:
			t.Errorf("%d %s", w.Code, w.Body)
		default:
			if jobs, _ := log.Jobs(t.Context()); len(jobs) != 1 || len(raws(t, log, job)) != len(before) {
				t.Error("turned away, and something has changed")
			}
		}
		partOf(t, job, copyOf(t, log, "x", job), log)
		for _, raw := range before {
			if !strings.Contains(strings.Join(raws(t, log, job), "\n"), raw[strings.Index(raw, " "):]) {
				t.Fatalf("lost %s", raw)
			}
		}
	})
}

func FuzzAnswer(f *testing.F) {
	for _, text := range seeds(f) {
		f.Add(unzip(f, text), false)
		f.Add([]byte(text), true)
	}
	f.Fuzz(func(t *testing.T, body []byte, text bool) {
		if text {
			body = unzip(t, string(body))
		}
		log := held(t)
		tab := newTablet(t, log, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", ContentType)
			w.Write(body)
		}))
		tab.Logf = nil
		ours := must[[]daylog.Entry](t)(log.Write(t.Context(), job, draft("own", day1, "own")))
		calls := 0
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		tab.wire.call = func(body []byte) ([]byte, error) {
			if calls++; calls > 50 {
				cancel()
				t.Fatal("it calls for ever")
			}
			return body, nil
		}
		for range 2 {
			tab.Exchange(ctx)
		}
		if jobs, _ := log.Jobs(ctx); len(jobs) != 1 {
			t.Errorf("jobs %q", jobs)
		}
		if raws, err := log.Stream(ctx, job, log.Device(), 0, 1); err != nil || !bytes.Equal(raws[0], ours[0].Raw()) {
			t.Errorf("its own entry is gone: %v", err)
		}
	})
}
