// Package archive keeps records apart from the server they were made on, and
// looks whether they are what was written down: archives of one job, backups of
// all of them, and the check of either.
//
// An archive is a zip file with the entries of one job as the bytes they are.
// Its README says how it is made, see readme.txt. The same entries make the
// same file, wherever they are held. Import also takes what a tablet hands over
// as a file, see exchange.HandOver.
package archive

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"hash"
	"io"
	"strings"
	"time"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// readme describes an archive to whoever opens one.
//
//go:embed readme.txt
var readme string

const (
	format  = "roof log, archive of one job"
	version = 1

	manifestName = "manifest.json"
	readmeName   = "README.txt"
	waitingName  = "waiting.ndjson"
)

// manifest says what is in an archive.
type manifest struct {
	Format  string   `json:"format"`
	Version int      `json:"version"`
	Job     string   `json:"job"`
	Entries int      `json:"entries"` // on streams
	Streams []stream `json:"streams"`
	Waiting *file    `json:"waiting,omitempty"`
	Others  []file   `json:"others,omitempty"` // of a later version
}

// stream is all that is held of one device, or after a fork one line of it.
type stream struct {
	file
	Stream string      `json:"stream"`
	Parent string      `json:"parent,omitempty"` // that it left
	First  int64       `json:"first"`
	Last   int64       `json:"last"`
	After  daylog.Head `json:"after"` // chain head before the first
	Head   daylog.Head `json:"head"`  // and after the last
}

// file is one file of an archive.
type file struct {
	Name   string `json:"file"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"` // hex
}

// Write writes the archive of a job as the log holds it at this moment. A job
// that has nothing is fs.ErrNotExist. Entries that do not fit are written as
// they are: Verify of the archive names them.
func Write(ctx context.Context, w io.Writer, log Walker, job string) error {
	out := &writer{zip: zip.NewWriter(w), m: manifest{Format: format, Version: version, Job: job}}
	if err := out.text(readmeName, []byte(readme)); err != nil {
		return err
	}
	branches := map[string]daylog.Branch{}
	var kept store.Kept
	err := log.Walk(ctx, job, func(k store.Kept) error {
		kept = k
		for _, b := range k.Branches {
			branches[b.Name] = b
		}
		return nil
	}, func(row store.Row) error {
		b, ok := branches[row.Stream]
		if !ok {
			return &Fault{job, row.Stream, row.Seq, "its stream is not among those of the job"}
		}
		if len(out.m.Streams) == 0 || out.m.Streams[len(out.m.Streams)-1].Stream != row.Stream {
			if err := out.begin(fmt.Sprintf("entries/%04d.ndjson", len(out.m.Streams)+1)); err != nil {
				return err
			}
			out.m.Streams = append(out.m.Streams, stream{Stream: b.Name, Parent: b.Parent, First: b.From, Last: b.Seq, Head: b.Head})
		}
		out.m.Entries++
		return out.line(row.Raw)
	})
	if err != nil {
		return err
	}
	out.end()
	if len(kept.Waiting) > 0 {
		if err := out.begin(waitingName); err != nil {
			return err
		}
		for _, row := range kept.Waiting {
			if err := out.line(row.Raw); err != nil {
				return err
			}
		}
		out.end()
	}
	if err := out.afters(ctx, log, branches); err != nil {
		return err
	}
	text, err := json.MarshalIndent(out.m, "", "\t")
	if err != nil {
		return err
	}
	if err := out.text(manifestName, append(text, '\n')); err != nil {
		return err
	}
	return out.zip.Close()
}

// FileName is a name for the archive of a job that was made then.
func FileName(job string, made time.Time) string {
	safe := strings.Map(func(r rune) rune {
		if r == '-' || r == '_' || r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' {
			return r
		}
		return '_'
	}, job)
	return safe + "-" + made.UTC().Format("20060102T150405Z") + ".zip"
}

type writer struct {
	zip *zip.Writer
	m   manifest

	to   io.Writer // the file that is written, nil for none
	sum  hash.Hash
	file file
}

// create begins a file. It has the same time in every archive.
func (w *writer) create(name string) (io.Writer, error) {
	return w.zip.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)})
}

func (w *writer) text(name string, text []byte) error {
	to, err := w.create(name)
	if err == nil {
		_, err = to.Write(text)
	}
	return err
}

func (w *writer) begin(name string) (err error) {
	w.end()
	w.file, w.sum = file{Name: name}, sha256.New()
	w.to, err = w.create(name)
	return err
}

func (w *writer) line(raw []byte) error {
	for _, part := range [][]byte{raw, {'\n'}} {
		w.sum.Write(part)
		w.file.Bytes += int64(len(part))
		if _, err := w.to.Write(part); err != nil {
			return err
		}
	}
	return nil
}

// end ends the file that is written.
func (w *writer) end() {
	if w.to == nil {
		return
	}
	w.to, w.file.SHA256 = nil, hex.EncodeToString(w.sum.Sum(nil))
	if w.file.Name == waitingName {
		w.m.Waiting = &w.file
	} else {
		w.m.Streams[len(w.m.Streams)-1].file = w.file
	}
}

// afters says of each stream from which head it goes on.
func (w *writer) afters(ctx context.Context, log Walker, branches map[string]daylog.Branch) error {
	type place struct {
		stream string
		seq    int64
	}
	wanted := map[place]daylog.Head{}
	for _, b := range branches {
		if b.Parent != "" && b.From > 1 {
			wanted[place{b.Parent, b.From - 1}] = daylog.Head{}
		}
	}
	if len(wanted) > 0 {
		err := log.Walk(ctx, w.m.Job, func(store.Kept) error { return nil }, func(row store.Row) error {
			if _, ok := wanted[place{row.Stream, row.Seq}]; ok {
				wanted[place{row.Stream, row.Seq}] = row.Head
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	for i := range w.m.Streams {
		s := &w.m.Streams[i]
		s.After = daylog.ChainStart(w.m.Job, deviceOf(s.Stream))
		if s.Parent != "" && s.First > 1 {
			s.After = wanted[place{s.Parent, s.First - 1}]
		}
	}
	return nil
}

// Prefix of a file: what it is.
var (
	zipFile  = []byte("PK\x03\x04")
	gzipFile = []byte{0x1f, 0x8b}
)

func isZip(begin []byte) bool { return bytes.HasPrefix(begin, zipFile) }
