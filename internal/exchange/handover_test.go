package exchange

import (
	"bytes"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// What a log hands over as a file is, entry by entry, what it holds.
func TestHandOver(t *testing.T) {
	log, other := store.NewMemory(), store.NewMemory()
	for i := range 450 { // more than two groups
		must[[]daylog.Entry](t)(log.Write(t.Context(), job, draft(daylog.FormID("mine", i), day1, "mine")))
	}
	far := line{job: job, device: "far"}
	fork := line{job: job, device: "far"}
	one := far.next(t, "one")
	fork.next(t, "one")
	for _, raw := range []string{one, far.next(t, "two"), fork.next(t, "another two")} {
		must[[]string](t)(log.Receive(t.Context(), job, []byte(raw)))
	}
	var file bytes.Buffer
	now := time.Date(2026, 10, 5, 12, 0, 0, 0, time.UTC)
	if err := HandOver(t.Context(), &file, log, "41", now, job); err != nil {
		t.Fatal(err)
	}
	count := 0
	says, err := ReadHandOver(bytes.NewReader(file.Bytes()), func(job string, raws [][]byte) error {
		count += len(raws)
		_, err := other.Receive(t.Context(), job, raws...)
		return err
	})
	if err != nil || says.Device != log.Device() || !says.Made.Equal(now) || !slices.Equal(says.Jobs, []string{job}) {
		t.Fatalf("the file says %+v: %v", says, err)
	}
	if count != 453 || says.Count != count {
		t.Errorf("%d entries were read and %d announced, want 453", count, says.Count)
	}
	same(t, job, log, other)

	nothing := func(string, [][]byte) error { return nil }
	for i := 0; i < file.Len(); i += 97 {
		if _, err := ReadHandOver(bytes.NewReader(file.Bytes()[:i]), nothing); !errors.Is(err, errBroken) {
			t.Fatalf("cut after %d bytes: %v", i, err)
		}
	}
	for name, lines := range map[string][]string{
		"which the file is not about":  {`{"device":"tablet","jobs":["oak"]}`, `["job","elm"]`, one, `["end",{"count":1,"sum":"SUM"}]`},
		`is of job "elm" and stands`:   {`{"device":"tablet","jobs":["oak"]}`, `["job","oak"]`, one, `["end",{"count":1,"sum":"SUM"}]`},
		"not an entry":                 {`{"device":"tablet","jobs":["elm"]}`, `["job","elm"]`, `{"kind":"note"}`, `["end",{"count":1,"sum":"SUM"}]`},
		"does not say from which devi": {`{"jobs":["elm"]}`, `["end",{}]`},
	} {
		_, err := ReadHandOver(bytes.NewReader(zipped(t, lines...)), nothing)
		if err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("want %q, got %v", name, err)
		}
	}
}
