package archive

import (
	"archive/zip"
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"duskline/internal/daylog"
	"duskline/internal/exchange"
	"duskline/internal/store"
)

// What is read of an archive. A job of 60 days with 300 entries each has 10 MB
// of text.
const (
	MostBytes    = 64 << 20  // of the file
	mostText     = 512 << 20 // of all that is in it
	mostManifest = 4 << 20
	mostStreams  = 20_000
)

// ErrNotOurs is returned for a file that is neither an archive nor what a
// tablet hands over.
var ErrNotOurs = errors.New("this is neither the archive of a job nor a file that a tablet handed over")

// ErrUnusable is returned for an archive, or a file handed over, that is not
// whole or larger than one may be. The error says what is wrong.
var ErrUnusable = errors.New("the file cannot be used")

func broken(format string, args ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{ErrUnusable}, args...)...)
}

// reader is an archive that was opened.
type reader struct {
	m     manifest
	files map[string]*zip.File
}

// openZip reads what an archive says of itself, and looks whether all of it and
// nothing else is there.
func openZip(r io.ReaderAt, size int64) (*reader, error) {
	if size > MostBytes {
		return nil, broken("it is larger than %d MB", MostBytes>>20)
	}
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, broken("it is not whole: %w", err)
	}
	a := &reader{files: map[string]*zip.File{}}
	if len(z.File) > mostStreams+3 {
		return nil, broken("it has %d files", len(z.File))
	}
	var text uint64
	for _, f := range z.File {
		if a.files[f.Name] != nil {
			return nil, broken("%s is in it twice", f.Name)
		}
		a.files[f.Name] = f
		if text += min(f.UncompressedSize64, mostText+1); text > mostText {
			return nil, broken("it would be larger than %d MB", mostText>>20)
		}
	}
	head := a.files[manifestName]
	if head == nil {
		return nil, ErrNotOurs
	}
	if head.UncompressedSize64 > mostManifest {
		return nil, broken("its manifest is too large")
	}
	err = a.read(manifestName, mostManifest, func(r io.Reader) error {
		in := json.NewDecoder(r)
		return in.Decode(&a.m)
	})
	switch {
	case err != nil:
		return nil, broken("its manifest cannot be read: %w", err)
	case a.m.Format != format:
		return nil, ErrNotOurs
	case a.m.Version != version:
		return nil, broken("it is of version %d, and this program reads version %d", a.m.Version, version)
	case a.m.Job == "":
		return nil, broken("it does not say of which job it is")
	}
	listed := map[string]bool{manifestName: true, readmeName: true}
	all := append([]file{}, a.m.Others...)
	for _, s := range a.m.Streams {
		all = append(all, s.file)
	}
	if a.m.Waiting != nil {
		all = append(all, *a.m.Waiting)
	}
	for _, f := range all {
		if listed[f.Name] {
			return nil, broken("%s is named twice", f.Name)
		}
		listed[f.Name] = true
		switch there := a.files[f.Name]; {
		case there == nil:
			return nil, broken("%s is missing", f.Name)
		case f.Bytes < 0 || there.UncompressedSize64 != uint64(f.Bytes):
			return nil, broken("%s has another size than the manifest says", f.Name)
		}
	}
	for name := range a.files {
		if !listed[name] {
			return nil, broken("%s is in it and not in its manifest", name)
		}
	}
	if a.files[readmeName] != nil { // no part of the record, but what is damaged is damaged
		if err := a.read(readmeName, mostManifest, func(io.Reader) error { return nil }); err != nil {
			return nil, broken("%s: %w", readmeName, err)
		}
	}
	return a, nil
}

// read reads one file, of which no more may come than most bytes.
func (a *reader) read(name string, most int64, do func(io.Reader) error) error {
	f, err := a.files[name].Open()
	if err != nil {
		return err
	}
	defer f.Close()
	limited := &io.LimitedReader{R: f, N: most + 1}
	if err := do(limited); err != nil {
		return err
	}
	if _, err := io.Copy(io.Discard, limited); err != nil {
		return err
	}
	if limited.N <= 0 {
		return errors.New("it is longer than it says")
	}
	return nil
}

// lines gives the lines of a file, and looks whether it is what the manifest
// says.
func (a *reader) lines(f file, do func(raw []byte) error) error {
	sum := sha256.New()
	err := a.read(f.Name, f.Bytes, func(r io.Reader) error {
		in := bufio.NewReaderSize(io.TeeReader(r, sum), 64<<10)
		for {
			var line []byte
			for {
				part, err := in.ReadSlice('\n')
				if line = append(line, part...); len(line) > exchange.EntryBytes+1 {
					return fmt.Errorf("a line of %s is longer than an entry may be", f.Name)
				}
				if err == nil {
					break
				}
				if errors.Is(err, io.EOF) {
					if len(line) > 0 {
						return fmt.Errorf("the last line of %s is cut off", f.Name)
					}
					return nil
				}
				if !errors.Is(err, bufio.ErrBufferFull) {
					return err
				}
			}
			if err := do(line[:len(line)-1]); err != nil {
				return err
			}
		}
	})
	var fault *Fault
	switch {
	case errors.As(err, &fault):
		return err
	case err != nil:
		return broken("%s: %w", f.Name, err)
	case hex.EncodeToString(sum.Sum(nil)) != f.SHA256:
		return broken("%s is not the file that the manifest names: its sum is another", f.Name)
	}
	return nil
}

// check reads all of the archive and looks whether it fits; see VerifyJob. It
// gives each entry to keep, those that wait last.
func (a *reader) check(keep func(raw []byte) error) (entries int, err error) {
	c := newChains(a.m.Job)
	for _, s := range a.m.Streams {
		if err := c.begin(s.Stream, s.Parent, s.First, s.After); err != nil {
			return entries, err
		}
		err := a.lines(s.file, func(raw []byte) error {
			if _, err := c.entry(raw); err != nil {
				return err
			}
			entries++
			return keep(raw)
		})
		if err != nil {
			return entries, err
		}
		if err := c.end(daylog.Reach{Seq: s.Last, Head: s.Head}); err != nil {
			return entries, err
		}
	}
	if entries != a.m.Entries {
		return entries, broken("it says that it has %d entries, and has %d", a.m.Entries, entries)
	}
	if err := c.finish(); err != nil {
		return entries, err
	}
	if a.m.Waiting != nil {
		err := a.lines(*a.m.Waiting, func(raw []byte) error {
			e, err := daylog.Decode(raw)
			if err != nil || e.Job != a.m.Job {
				return &Fault{Job: a.m.Job, Stream: e.Device, Seq: e.Seq, Says: "it waits for one before it, and is no entry of the job"}
			}
			if c.follows(&e) {
				return &Fault{Job: a.m.Job, Stream: e.Device, Seq: e.Seq, Says: "it says that it waits for one before it, and that is here"}
			}
			return keep(raw)
		})
		if err != nil {
			return entries, err
		}
	}
	for _, f := range a.m.Others {
		sum := sha256.New()
		err := a.read(f.Name, f.Bytes, func(r io.Reader) error {
			_, err := io.Copy(sum, r)
			return err
		})
		if err != nil {
			return entries, broken("%s: %w", f.Name, err)
		}
		if hex.EncodeToString(sum.Sum(nil)) != f.SHA256 {
			return entries, broken("%s is not the file that the manifest names: its sum is another", f.Name)
		}
	}
	return entries, nil
}

// Report says what was found in a file, or done with it.
type Report struct {
	Jobs    []string
	Device  string // that handed the file over; "" for an archive
	Entries int    // in the file
	New     int    // that the log did not hold before
	Forks   []string
}

// Verify reads a file, an archive or one that a tablet handed over, and looks
// whether it fits. The first thing that does not is a *Fault, or an error that
// says why the file cannot be used at all.
func Verify(r io.ReaderAt, size int64) (Report, error) {
	return each(r, size, func(string, [][]byte) error { return nil })
}

// each reads a file to its end and gives its entries. What it gives may still
// turn out not to fit.
func each(r io.ReaderAt, size int64, keep func(job string, raws [][]byte) error) (Report, error) {
	begin := make([]byte, 4)
	if n, err := r.ReadAt(begin, 0); n < len(begin) {
		if err == nil || errors.Is(err, io.EOF) {
			err = ErrNotOurs
		}
		return Report{}, err
	}
	if isZip(begin) {
		a, err := openZip(r, size)
		if err != nil {
			return Report{}, err
		}
		rep := Report{Jobs: []string{a.m.Job}}
		var raws [][]byte
		bytes := 0
		hand := func() error {
			if len(raws) == 0 {
				return nil
			}
			err := keep(a.m.Job, raws)
			raws, bytes = nil, 0
			return err
		}
		rep.Entries, err = a.check(func(raw []byte) error {
			raws = append(raws, raw)
			if bytes += len(raw); len(raws) >= atOnce || bytes >= 8<<20 {
				return hand()
			}
			return nil
		})
		if err == nil {
			err = hand()
		}
		return rep, err
	}
	if string(begin[:2]) != string(gzipFile) {
		return Report{}, ErrNotOurs
	}
	says, err := exchange.ReadHandOver(io.NewSectionReader(r, 0, size), keep)
	if err != nil {
		return Report{}, broken("%w", err)
	}
	return Report{Jobs: says.Jobs, Device: says.Device, Entries: says.Count}, nil
}

// atOnce is how many entries are kept in one transaction.
const atOnce = 1000

// Import keeps all entries of a file in a log, byte for byte; those it holds
// already are passed over, so a file may come twice. The whole file is read and
// checked first: one that does not fit changes nothing. may tells whether a job
// may be brought in; nil: any.
func Import(ctx context.Context, log store.Log, r io.ReaderAt, size int64, may func(job string) error) (Report, error) {
	rep, err := Verify(r, size)
	if err != nil {
		return rep, err
	}
	for _, job := range rep.Jobs {
		if may != nil {
			if err := may(job); err != nil {
				return rep, err
			}
		}
	}
	before, err := count(ctx, log, rep.Jobs)
	if err != nil {
		return rep, err
	}
	var forks []string
	_, err = each(r, size, func(job string, raws [][]byte) error {
		some, err := log.Receive(ctx, job, raws...)
		forks = append(forks, some...)
		return err
	})
	if err != nil {
		return rep, fmt.Errorf("bring in %s: %w", strings.Join(rep.Jobs, ", "), err)
	}
	after, err := count(ctx, log, rep.Jobs)
	rep.New, rep.Forks = after-before, forks
	return rep, err
}

// count counts the entries that a log holds of some jobs.
func count(ctx context.Context, log store.Log, jobs []string) (n int, err error) {
	for _, job := range jobs {
		marks, err := log.Marks(ctx, job)
		if err != nil {
			return 0, err
		}
		for _, m := range marks {
			n += m.Count
		}
	}
	return n, nil
}
