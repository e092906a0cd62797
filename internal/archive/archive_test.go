package archive

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"duskline/internal/daylog"
	"duskline/internal/exchange"
	"duskline/internal/store"
)

const (
	hall      = "hall"
	firstName = "entries/0001.ndjson"
)

// memory is a log that shows what it keeps. It knows from the entries alone
// what must stand beside them.
type memory struct {
	*store.Memory
	raws [][]byte
}

func opened(testing.TB) *memory { return &memory{Memory: store.NewMemory()} }

func (m *memory) Receive(ctx context.Context, job string, raws ...[]byte) ([]string, error) {
	forks, err := m.Memory.Receive(ctx, job, raws...)
	if err == nil {
		m.raws = append(m.raws, raws...)
	}
	return forks, err
}

func (m *memory) Write(ctx context.Context, job string, drafts ...daylog.Entry) ([]daylog.Entry, error) {
	entries, err := m.Memory.Write(ctx, job, drafts...)
	for i := range entries {
		m.raws = append(m.raws, entries[i].Raw())
	}
	return entries, err
}

func (m *memory) Walk(ctx context.Context, job string, begin func(store.Kept) error, row func(store.Row) error) error {
	if len(m.raws) == 0 || job != hall {
		return fs.ErrNotExist
	}
	threads, err := daylog.Thread(job, m.raws)
	if err != nil {
		return err
	}
	k := store.Kept{Branches: threads.Branches}
	for _, raw := range threads.Waiting {
		e, _ := daylog.Decode(raw)
		k.Waiting = append(k.Waiting, store.Row{Stream: e.Device, Seq: e.Seq, Hash: daylog.Hash(raw), Raw: raw})
	}
	if k.Marks, err = m.Marks(ctx, job); err != nil {
		return err
	}
	if err := begin(k); err != nil {
		return err
	}
	heads := map[string]map[int64]daylog.Head{}
	at := func(b daylog.Branch, seq int64) daylog.Head {
		for seq < b.From {
			i := slices.IndexFunc(k.Branches, func(o daylog.Branch) bool { return o.Name == b.Parent })
			if i < 0 {
				return daylog.ChainStart(job, deviceOf(b.Name))
			}
			b = k.Branches[i]
		}
		return heads[b.Name][seq]
	}
	// Streams in their order, and heads as if all had been there before.
	rows := make([]store.Row, 0, len(threads.Entries))
	for done := false; !done; {
		done = true
		for _, b := range k.Branches {
			if heads[b.Name] != nil {
				continue
			}
			if i := slices.IndexFunc(k.Branches, func(o daylog.Branch) bool { return o.Name == b.Parent }); i >= 0 && heads[b.Parent] == nil {
				done = false
				continue
			}
			heads[b.Name] = map[int64]daylog.Head{}
			head := at(b, b.From-1)
			for _, e := range threads.Entries {
				if e.Stream == b.Name {
					head = head.Next(e.Raw())
					heads[b.Name][e.Seq] = head
				}
			}
		}
	}
	for _, e := range threads.Entries {
		rows = append(rows, store.Row{Stream: e.Stream, Seq: e.Seq, ID: e.ID, Day: e.Day, Tick: e.Tick, Hash: daylog.Hash(e.Raw()), Head: heads[e.Stream][e.Seq], Raw: e.Raw()})
	}
	for _, r := range rows {
		if err := row(r); err != nil {
			return err
		}
	}
	return nil
}

func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// line is what one device writes by hand.
type line struct {
	device string
	seq    int64
	head   daylog.Head
}

func (l *line) next(t testing.TB, id string, day daylog.Date, body daylog.Body) []byte {
	t.Helper()
	if l.seq == 0 {
		l.head = daylog.ChainStart(hall, l.device)
	}
	at := time.Date(2026, 10, 5, 12, 0, 0, 0, time.UTC)
	e := daylog.Entry{ID: id, Job: hall, Device: l.device, Seq: l.seq + 1, Tick: l.seq + 1, Prev: l.head.Prev(), Day: day, At: at, Made: at, Body: body}
	raw := must[[]byte](t)(daylog.Encode(&e))
	l.seq, l.head = e.Seq, l.head.Next(raw)
	return raw
}

// invented fills a log with an invented job: three devices, one of which has
// forked twice, an entry that waits, and signatures over all that was there.
func invented(t testing.TB, log store.Log) {
	t.Helper()
	ctx := context.Background()
	note := func(n int) daylog.Body { return &daylog.Note{Text: fmt.Sprintf("invented %d \"x\"", n)} }
	at := time.Date(2026, 10, 5, 12, 0, 0, 0, time.UTC)
	a := line{device: "tableta"}
	var b line
	keep := func(raw []byte) { must[[]string](t)(log.Receive(ctx, hall, raw)) }
	for i := range 12 {
		keep(a.next(t, fmt.Sprint("a", i), daylog.Date("2026-10-05").Add(i/6), note(i)))
		if i == 4 {
			b = a
		}
	}
	c := b
	for i := range 4 {
		keep(b.next(t, fmt.Sprint("b", i), "2026-10-06", note(100+i)))
		if i == 1 {
			c = b
		}
	}
	for i := range 3 {
		keep(c.next(t, fmt.Sprint("c", i), "2026-10-06", note(200+i)))
	}
	for i := range 3 {
		must[[]daylog.Entry](t)(log.Write(ctx, hall, daylog.Entry{ID: fmt.Sprint("o", i), Day: "2026-10-05", At: at, Made: at, Body: note(300 + i)}))
	}
	heads := must[daylog.Heads](t)(log.Heads(ctx, hall))
	must[[]daylog.Entry](t)(log.Write(ctx, hall, daylog.Entry{ID: "sign", Day: "2026-10-05", At: at, Made: at, Body: &daylog.Sign{Statement: "true", Vector: heads}}))
	late := line{device: "late"}
	late.next(t, "lost", "2026-10-06", note(400))
	keep(late.next(t, "waits", "2026-10-06", note(401)))
}

func written(t testing.TB, log *memory) []byte {
	t.Helper()
	var file bytes.Buffer
	if err := Write(context.Background(), &file, log, hall); err != nil {
		t.Fatal(err)
	}
	return file.Bytes()
}

func verify(file []byte) (Report, error) { return Verify(bytes.NewReader(file), int64(len(file))) }

// TestArchive takes a job from one log to another and back: byte for byte, and
// once more to no effect.
func TestArchive(t *testing.T) {
	ctx := t.Context()
	log, other := opened(t), opened(t)
	invented(t, log)
	if n, err := VerifyJob(ctx, log, hall); err != nil || n != 23 {
		t.Fatalf("%d entries fit: %v", n, err)
	}
	file := written(t, log)
	if again := written(t, log); !bytes.Equal(file, again) {
		t.Error("the same entries make another file")
	}
	rep, err := verify(file)
	if err != nil || rep.Entries != 23 || !slices.Equal(rep.Jobs, []string{hall}) {
		t.Fatalf("%+v: %v", rep, err)
	}
	for _, want := range []int{23, 0} {
		rep, err := Import(ctx, other, bytes.NewReader(file), int64(len(file)), nil)
		if err != nil || rep.New != want {
			t.Fatalf("%+v, want %d new: %v", rep, want, err)
		}
	}
	if again := written(t, other); !bytes.Equal(file, again) {
		t.Error("the other log makes another file of it")
	}
	if _, err := VerifyJob(ctx, other, hall); err != nil {
		t.Error(err)
	}
	if err := Write(ctx, io.Discard, log, "none"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a job that is not there: %v", err)
	}
	no := errors.New("not yours")
	third := opened(t)
	if _, err := Import(ctx, third, bytes.NewReader(file), int64(len(file)), func(string) error { return no }); !errors.Is(err, no) {
		t.Errorf("a job that may not be brought in: %v", err)
	}
	if jobs, _ := third.Jobs(ctx); len(jobs) > 0 {
		t.Error("it was brought in")
	}
}

// TestHandOver takes in what a tablet hands over.
func TestHandOver(t *testing.T) {
	ctx := t.Context()
	log, other := store.NewMemory(), opened(t)
	invented(t, log)
	var file bytes.Buffer
	if err := exchange.HandOver(ctx, &file, log, "41", time.Now(), hall); err != nil {
		t.Fatal(err)
	}
	for _, want := range []int{23, 0} {
		rep, err := Import(ctx, other, bytes.NewReader(file.Bytes()), int64(file.Len()), nil)
		if err != nil || rep.Device != log.Device() || rep.New != want {
			t.Fatalf("%+v, want %d new: %v", rep, want, err)
		}
	}
	if n, err := VerifyJob(ctx, other, hall); err != nil || n != 23 {
		t.Errorf("%d entries fit: %v", n, err)
	}
}

// opened zip: its files, to be changed and written again.
type unpacked struct {
	names []string
	files map[string][]byte
}

func unpack(t testing.TB, file []byte) *unpacked {
	t.Helper()
	z := must[*zip.Reader](t)(zip.NewReader(bytes.NewReader(file), int64(len(file))))
	u := &unpacked{files: map[string][]byte{}}
	for _, f := range z.File {
		r := must[io.ReadCloser](t)(f.Open())
		u.names = append(u.names, f.Name)
		u.files[f.Name] = must[[]byte](t)(io.ReadAll(r))
	}
	return u
}

// pack leaves the files as they are: to squeeze them would take most of the
// time of those who do it often.
func (u *unpacked) pack() []byte {
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, name := range u.names {
		w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store})
		if err == nil {
			_, err = w.Write(u.files[name])
		}
		if err != nil {
			panic(err)
		}
	}
	if err := z.Close(); err != nil {
		panic(err)
	}
	return out.Bytes()
}

// manifest gives the manifest to be changed; the function returned puts it back
// with sizes and sums that fit, as somebody would who wants to hide a change.
func (u *unpacked) manifest(t testing.TB) (*manifest, func()) {
	t.Helper()
	m := new(manifest)
	if err := json.Unmarshal(u.files[manifestName], m); err != nil {
		t.Fatal(err)
	}
	return m, func() {
		for i := range m.Streams {
			f := &m.Streams[i].file
			if text, ok := u.files[f.Name]; ok {
				sum := sha256.Sum256(text)
				f.Bytes, f.SHA256 = int64(len(text)), hex.EncodeToString(sum[:])
			}
		}
		u.files[manifestName], _ = json.Marshal(m)
	}
}

// TestFound changes an archive and its manifest in every way that matters, with
// sums that fit, and a database with all that stands beside an entry: verify
// finds each, and names the entry at or before it.
func TestFound(t *testing.T) {
	log := opened(t)
	invented(t, log)
	file := written(t, log)
	rows := held(t, log)
	rapid.Check(t, func(r *rapid.T) {
		u := unpack(t, file)
		m, put := u.manifest(t)
		s := &m.Streams[rapid.IntRange(0, len(m.Streams)-1).Draw(r, "stream")]
		lines := bytes.SplitAfter(u.files[s.Name], []byte("\n"))
		lines = lines[:len(lines)-1]
		i := rapid.IntRange(0, len(lines)-1).Draw(r, "line")
		hide := rapid.Bool().Draw(r, "with sums that fit")
		// The last entry of all, the signature, is covered by nothing.
		covered := !(s.Stream == log.Device() && i == len(lines)-1)
		what := rapid.SampledFrom([]string{"flip", "move", "take out", "end early", "put in"}).Draw(r, "what")
		if what == "end early" && s.Stream == log.Device() {
			covered = false // it goes too
		}
		switch what {
		case "flip":
			line := bytes.Clone(lines[i])
			at := rapid.IntRange(0, len(line)-1).Draw(r, "byte")
			line[at] ^= byte(rapid.IntRange(1, 255).Draw(r, "bits"))
			lines[i] = line
		case "move":
			j := rapid.IntRange(0, len(lines)-1).Draw(r, "with")
			if i == j {
				return
			}
			lines[i], lines[j] = lines[j], lines[i]
		case "take out":
			lines = slices.Delete(lines, i, i+1)
		case "end early":
			lines = lines[:i]
		case "put in":
			lines = slices.Insert(lines, i, lines[i])
		}
		u.files[s.Name] = bytes.Join(lines, nil)
		if hide {
			s.Last = s.First + int64(len(lines)) - 1
			head := s.After
			m.Entries = 0
			for _, l := range lines {
				head = head.Next(bytes.TrimSuffix(l, []byte("\n")))
			}
			s.Head = head
			for _, x := range m.Streams {
				m.Entries += int(x.Last - x.First + 1)
			}
			put()
		}
		if _, err := verify(u.pack()); err == nil && (covered || !hide) {
			r.Fatalf("%s in line %d of %s is not found", what, i+1, s.Stream)
		}
	})
	rapid.Check(t, func(r *rapid.T) {
		i := rapid.IntRange(0, len(rows)-1).Draw(r, "row")
		changed := slices.Clone(rows)
		row := &changed[i]
		what := rapid.SampledFrom([]string{"flip", "flip and hash", "take out", "move"}).Draw(r, "what")
		covered := row.ID != "sign"
		switch what {
		case "flip", "flip and hash":
			row.Raw = bytes.Clone(row.Raw)
			row.Raw[rapid.IntRange(0, len(row.Raw)-1).Draw(r, "byte")] ^= byte(rapid.IntRange(1, 255).Draw(r, "bits"))
			if what == "flip and hash" {
				row.Hash = daylog.Hash(row.Raw)
			}
		case "take out":
			covered = true // the database also counts
			changed = slices.Delete(changed, i, i+1)
		case "move":
			j := rapid.IntRange(0, len(rows)-1).Draw(r, "with")
			if i == j {
				return
			}
			changed[i].Raw, changed[j].Raw = changed[j].Raw, changed[i].Raw
		}
		_, err := VerifyJob(t.Context(), walker{log, changed}, hall)
		var f *Fault
		if err == nil && covered || err != nil && !errors.As(err, &f) {
			r.Fatalf("%s at entry %d of %s: %v", what, row.Seq, row.Stream, err)
		}
	})
}

func held(t testing.TB, log *memory) (rows []store.Row) {
	t.Helper()
	err := log.Walk(context.Background(), hall, func(store.Kept) error { return nil }, func(r store.Row) error {
		rows = append(rows, r)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// walker shows other rows than the log has.
type walker struct {
	*memory
	rows []store.Row
}

func (w walker) Walk(ctx context.Context, job string, begin func(store.Kept) error, row func(store.Row) error) error {
	if err := w.memory.Walk(ctx, job, begin, func(store.Row) error { return nil }); err != nil {
		return err
	}
	for _, r := range w.rows {
		if err := row(r); err != nil {
			return err
		}
	}
	return nil
}

// TestRefused: what is no archive is refused with a reason, and changes nothing.
func TestRefused(t *testing.T) {
	log := opened(t)
	invented(t, log)
	file := written(t, log)
	change := func(do func(u *unpacked, m *manifest)) []byte {
		u := unpack(t, file)
		m, put := u.manifest(t)
		do(u, m)
		put()
		return u.pack()
	}
	for name, test := range map[string]struct {
		file []byte
		says string
	}{
		"nothing":              {nil, "neither"},
		"text":                 {[]byte("a letter to the office"), "neither"},
		"another zip":          {change(func(u *unpacked, m *manifest) { u.names = u.names[:1] }), "neither"},
		"another format":       {change(func(u *unpacked, m *manifest) { m.Format = "other" }), "neither"},
		"a later version":      {change(func(u *unpacked, m *manifest) { m.Version++ }), "version 2"},
		"no job":               {change(func(u *unpacked, m *manifest) { m.Job = "" }), "of which job"},
		"another job":          {change(func(u *unpacked, m *manifest) { m.Job = "annex" }), "does not begin"},
		"cut":                  {file[:len(file)-30], "not whole"},
		"begun":                {file[:100], "not whole"},
		"no stream":            {change(func(u *unpacked, m *manifest) { u.names = slices.Delete(u.names, 1, 2) }), "is missing"},
		"something more":       {change(func(u *unpacked, m *manifest) { u.names = append(u.names, "more"); u.files["more"] = nil }), "not in its manifest"},
		"a bomb that says so":  {bomb(t, file, mostText+1), "larger than 512 MB"},
		"a bomb that says not": {bomb(t, file, 10), "cannot be used: bomb"},
		"a bomb to hand over":  {squeezed(t, 8<<20), "cannot be used"},
		"another device": {change(func(u *unpacked, m *manifest) {
			for i := range m.Streams {
				if s := &m.Streams[i]; s.Stream == log.Device() {
					s.Stream, s.After = "theirs", daylog.ChainStart(hall, "theirs")
				}
			}
		}), "by another device"},
		"one that need not wait": {change(func(u *unpacked, m *manifest) {
			l := line{device: "theirs"}
			text := append(l.next(t, "x", "2026-10-05", &daylog.Note{Text: "x"}), '\n')
			u.files[waitingName] = append(u.files[waitingName], text...)
			sum := sha256.Sum256(u.files[waitingName])
			m.Waiting.Bytes, m.Waiting.SHA256 = int64(len(u.files[waitingName])), hex.EncodeToString(sum[:])
		}), "and that is here"},
		"a stream twice": {change(func(u *unpacked, m *manifest) { m.Streams = append(m.Streams, m.Streams[0]) }), "twice"},
		"a long line": {change(func(u *unpacked, m *manifest) {
			u.files[firstName] = append(bytes.Repeat([]byte{' '}, exchange.EntryBytes+10), u.files[firstName]...)
		}), "longer than an entry may be"},
		"gzip of nothing": {[]byte{0x1f, 0x8b, 8, 0, 0, 0}, "cannot be used"},
	} {
		other := opened(t)
		_, err := Import(t.Context(), other, bytes.NewReader(test.file), int64(len(test.file)), nil)
		if err == nil || !strings.Contains(err.Error(), test.says) {
			t.Errorf("%s: %v, want %q", name, err, test.says)
		}
		if jobs, _ := other.Jobs(t.Context()); len(jobs) > 0 {
			t.Errorf("%s: something was kept", name)
		}
	}
}

// squeezed gives many spaces in few bytes, for a file that is handed over.
func squeezed(t testing.TB, spaces int) []byte {
	t.Helper()
	var out bytes.Buffer
	w := gzip.NewWriter(&out)
	must[int](t)(w.Write(bytes.Repeat([]byte{' '}, spaces)))
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// bomb puts one file more into an archive: 8 MB in few bytes, which says that it
// has another size.
func bomb(t testing.TB, archived []byte, says uint64) []byte {
	t.Helper()
	u := unpack(t, archived)
	m, put := u.manifest(t)
	m.Others = append(m.Others, file{"bomb", int64(says), ""})
	put()
	var text, out bytes.Buffer
	w := must[*flate.Writer](t)(flate.NewWriter(&text, flate.BestSpeed))
	must[int](t)(w.Write(make([]byte, 8<<20)))
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	z := zip.NewWriter(&out)
	for _, name := range u.names {
		to := must[io.Writer](t)(z.Create(name))
		must[int](t)(to.Write(u.files[name]))
	}
	to := must[io.Writer](t)(z.CreateRaw(&zip.FileHeader{Name: "bomb", Method: zip.Deflate, CompressedSize64: uint64(text.Len()), UncompressedSize64: says}))
	must[int](t)(to.Write(text.Bytes()))
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// named is a log whose id is the same in every run.
type named struct{ *memory }

func (named) Device() string { return "office" }

// small gives a log with few entries, the same in every run: a device that has
// forked, one that signs for it and one that waits.
func small(t testing.TB) named {
	t.Helper()
	log := named{opened(t)}
	ctx := context.Background()
	a, o, late := line{device: "tableta"}, line{device: "office"}, line{device: "late"}
	note := &daylog.Note{Text: "invented"}
	raws := [][]byte{a.next(t, "a1", "2026-10-05", note)}
	b := a
	raws = append(raws, a.next(t, "a2", "2026-10-05", note), a.next(t, "a3", "2026-10-06", note), b.next(t, "b2", "2026-10-05", note))
	must[[]string](t)(log.Receive(ctx, hall, raws...))
	heads := must[daylog.Heads](t)(log.Heads(ctx, hall))
	must[[]string](t)(log.Receive(ctx, hall, o.next(t, "sign", "2026-10-05", &daylog.Sign{Statement: "true", Vector: heads})))
	late.next(t, "lost", "2026-10-06", note)
	must[[]string](t)(log.Receive(ctx, hall, late.next(t, "waits", "2026-10-06", note)))
	return log
}

// handed gives lines as a file handed over, with the sums that its checks ask
// for in the place of SUM.
func handed(text []byte) []byte {
	var out bytes.Buffer
	w, _ := gzip.NewWriterLevel(&out, gzip.NoCompression)
	sum := sha256.New()
	for line := range bytes.Lines(text) {
		line = bytes.ReplaceAll(line, []byte("SUM"), []byte(base64.RawURLEncoding.EncodeToString(sum.Sum(nil)[:16])))
		sum.Write(line)
		w.Write(line)
	}
	w.Close()
	return out.Bytes()
}

// What FuzzImport changes.
const (
	wholeFile = iota
	theManifest
	theEntries // of the stream that nothing covers, with sums and heads that fit
	theWaiting // with sums that fit
	theText    // of a file handed over, with sums that fit
	allParts
)

// FuzzImport: whatever comes, nothing panics, and what is refused leaves the
// log as it was. What is taken is of the jobs that were asked about and takes
// nothing away; what is taken of an archive fits.
func FuzzImport(f *testing.F) {
	log := small(f)
	file := written(f, log.memory)
	f.Add(byte(wholeFile), file)
	f.Add(byte(wholeFile), file[:len(file)/2])
	var hand bytes.Buffer
	if err := exchange.HandOver(context.Background(), &hand, log, "41", time.UnixMilli(0), hall); err != nil {
		f.Fatal(err)
	}
	f.Add(byte(wholeFile), hand.Bytes())
	f.Add(byte(wholeFile), squeezed(f, 1<<20))
	f.Add(byte(wholeFile), bomb(f, file, 10))
	text := must[[]byte](f)(io.ReadAll(must[*gzip.Reader](f)(gzip.NewReader(&hand))))
	u := unpack(f, file)
	f.Add(byte(wholeFile), u.pack())
	entries := u.files[firstName]
	f.Add(byte(theManifest), u.files[manifestName])
	f.Add(byte(theManifest), bytes.ReplaceAll(u.files[manifestName], []byte("tableta"), []byte("theirs")))
	f.Add(byte(theManifest), bytes.ReplaceAll(u.files[manifestName], []byte(hall), []byte("annex")))
	f.Add(byte(theEntries), entries)
	f.Add(byte(theEntries), bytes.ReplaceAll(entries, []byte(hall), []byte("annex")))
	f.Add(byte(theEntries), bytes.Repeat(entries, 2))
	f.Add(byte(theEntries), bytes.ReplaceAll(entries, []byte(`"office"`), []byte(`"theirs"`)))
	f.Add(byte(theWaiting), u.files[waitingName])
	f.Add(byte(theWaiting), bytes.ReplaceAll(u.files[waitingName], []byte("late"), []byte("tableta")))
	ending := bytes.LastIndex(text, []byte(`"sum":"`)) + len(`"sum":"`)
	text = append(append(bytes.Clone(text[:ending]), "SUM"...), text[ending+22:]...)
	f.Add(byte(theText), text)
	f.Add(byte(theText), bytes.Replace(text, []byte(hall), []byte("annex"), 1))
	f.Fuzz(func(t *testing.T, part byte, b []byte) {
		one := b
		u := &unpacked{u.names, maps.Clone(u.files)}
		switch part % allParts {
		case theManifest:
			u.files[manifestName] = b
			one = u.pack()
		case theEntries:
			m, put := u.manifest(t)
			s := &m.Streams[0]
			s.Last, s.Head = s.First-1, s.After
			for line := range bytes.Lines(b) {
				s.Last, s.Head = s.Last+1, s.Head.Next(bytes.TrimSuffix(line, []byte("\n")))
			}
			m.Entries = 0
			for _, x := range m.Streams {
				m.Entries += int(x.Last - x.First + 1)
			}
			u.files[s.Name] = b
			put()
			one = u.pack()
		case theWaiting:
			m, put := u.manifest(t)
			sum := sha256.Sum256(b)
			m.Waiting.Bytes, m.Waiting.SHA256 = int64(len(b)), hex.EncodeToString(sum[:])
			u.files[waitingName] = b
			put()
			one = u.pack()
		case theText:
			one = handed(b)
		}
		ctx := t.Context()
		other := named{opened(t)}
		own := line{device: "office"}
		must[[]string](t)(other.Receive(ctx, hall, own.next(t, "own", "2026-10-05", &daylog.Note{Text: "invented"})))
		before := must[daylog.Heads](t)(other.Heads(ctx, hall))
		asked := []string{hall}
		rep, err := Import(ctx, other, bytes.NewReader(one), int64(len(one)), func(job string) error {
			asked = append(asked, job)
			return nil
		})
		jobs := must[[]string](t)(other.Jobs(ctx))
		after := must[daylog.Heads](t)(other.Heads(ctx, hall))
		if err != nil {
			if err.Error() == "" || len(other.raws) != 1 || len(jobs) != 1 || !maps.Equal(before, after) {
				t.Fatalf("refused (%v), and kept", err)
			}
			return
		}
		for _, job := range jobs {
			if !slices.Contains(asked, job) {
				t.Errorf("%s came in, which nobody was asked about", job)
			}
		}
		if held := must[[][]byte](t)(other.Stream(ctx, hall, "office", 0, 1)); !bytes.Equal(held[0], other.raws[0]) && len(rep.Forks) == 0 {
			t.Error("what was there is another")
		}
		if again, err := Import(ctx, other, bytes.NewReader(one), int64(len(one)), nil); err != nil || again.New != 0 {
			t.Errorf("%d are new when it comes again: %v", again.New, err)
		}
		if rep.Device != "" || slices.ContainsFunc(rep.Jobs, func(job string) bool { return job != hall }) {
			// What a tablet has is taken as the exchange takes it, whether it
			// fits or not; and the log of this test can show one job.
			return
		}
		if _, err := VerifyJob(ctx, other, hall); err != nil {
			t.Errorf("taken in, and does not fit: %v", err)
		}
	})
}
