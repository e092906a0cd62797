// Package static holds what a browser loads besides pages: style, fonts,
// scripts, the tablet's service worker and the tablet's program.
//
// The program (tablet.wasm.br) and Go's glue for it (wasm_exec.js) are made by
// the command in build/ and are not committed. A server compiled without them
// serves the office all the same; only the worker is missing.
package static

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"path"
	"strconv"
	"strings"
	"sync"

	"github.com/andybalholm/brotli"
)

// Files is this folder, the built files included where they exist. It also
// holds the folder's Go files; [New] leaves out every kind it does not serve.
//
//go:embed *
var Files embed.FS

// Names in the folder that mean more than a file to serve.
const (
	worker  = "sw.js"
	glue    = "wasm_exec.js"
	program = "tablet.wasm"
)

// kinds are the kinds of files that are served, by the end of their name.
var kinds = map[string]struct {
	contentType string
	compress    bool
}{
	".css":         {"text/css; charset=utf-8", true},
	".js":          {"text/javascript; charset=utf-8", true},
	".svg":         {"image/svg+xml", true},
	".webmanifest": {"application/manifest+json", true},
	".wasm":        {"application/wasm", true},
	".png":         {"image/png", false},
	".ico":         {"image/x-icon", false},
	".woff2":       {"font/woff2", false},
}

// Build is one build of what a browser loads. It is an http.Handler for
// /static/... and /sw.js.
//
// The worker's script is made of three parts: the list of the build's files
// with their hashes, Go's glue, and sw.js. The program is among the files. So
// whatever changes, the script changes, and a worker cannot mix two builds.
type Build struct {
	id    string
	files map[string]*file // by the path of their address
}

type file struct {
	contentType string
	hash        [sha256.Size]byte
	plain       []byte        // nil where only the compressed form is kept
	compressed  []byte        // brotli; nil where it would not be smaller
	zipped      func() []byte // gzip, for who does not take brotli; nil where compressed is
}

// New makes a build of the files in a folder such as [Files].
func New(folder fs.FS) (*Build, error) {
	b := &Build{files: map[string]*file{}}
	var glueScript, workerScript []byte
	err := fs.WalkDir(folder, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		served, isCompressed := strings.CutSuffix(name, ".br")
		kind, ok := kinds[path.Ext(served)]
		if !ok {
			return nil
		}
		content, err := fs.ReadFile(folder, name)
		if err != nil {
			return err
		}
		switch name {
		case glue:
			glueScript = content
			return nil
		case worker:
			workerScript = content
			return nil
		}
		f := &file{contentType: kind.contentType}
		if isCompressed {
			f.compressed = content
			f.hash, err = hashOfPlain(content)
			if err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
		} else {
			f.keep(content, kind.compress)
		}
		b.files["/static/"+served] = f
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("reading the static files: %w", err)
	}
	list := map[string]string{}
	for address, f := range b.files {
		f.zipped = sync.OnceValue(f.zip)
		list[address] = "sha256-" + base64.StdEncoding.EncodeToString(f.hash[:])
	}
	head, err := json.Marshal(list) // in the order of the addresses
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(bytes.Join([][]byte{head, glueScript, workerScript}, []byte{0}))
	b.id = hex.EncodeToString(sum[:6])
	if b.files["/static/"+program] != nil && glueScript != nil && workerScript != nil {
		first := fmt.Appendf(nil, "\"use strict\";\nconst BUILD = {id: %q, files: %s};", b.id, head)
		f := &file{contentType: kinds[".js"].contentType}
		f.keep(bytes.Join([][]byte{first, glueScript, workerScript}, []byte("\n")), true)
		f.zipped = sync.OnceValue(f.zip)
		b.files["/"+worker] = f
	}
	return b, nil
}

func (f *file) keep(content []byte, compress bool) {
	f.plain = content
	f.hash = sha256.Sum256(content)
	if !compress {
		return
	}
	var small bytes.Buffer
	// Level 9 takes milliseconds at the start of the server where 11 takes seconds.
	w := brotli.NewWriterLevel(&small, 9)
	w.Write(content) // a bytes.Buffer never refuses
	w.Close()
	if small.Len() < len(content) {
		f.compressed = small.Bytes()
	}
}

// zip makes the gzip of a file that is worth compressing, when it is first asked
// for: hardly a browser does.
func (f *file) zip() []byte {
	if f.compressed == nil {
		return nil
	}
	var small bytes.Buffer
	w := gzip.NewWriter(&small)
	if f.plain != nil {
		w.Write(f.plain) // a bytes.Buffer never refuses
	} else if _, err := io.Copy(w, brotli.NewReader(bytes.NewReader(f.compressed))); err != nil {
		return nil
	}
	w.Close()
	return small.Bytes()
}

func hashOfPlain(compressed []byte) (sum [sha256.Size]byte, err error) {
	h := sha256.New()
	_, err = io.Copy(h, brotli.NewReader(bytes.NewReader(compressed)))
	h.Sum(sum[:0])
	return sum, err
}

// ID names the build: 12 hex characters that depend on every byte of it.
func (b *Build) ID() string { return b.id }

// HasProgram tells whether the tablet's program and its glue were there when
// the server was compiled. Without them no tablet can take a job on board.
func (b *Build) HasProgram() bool { return b.files["/"+worker] != nil }

// ServeHTTP answers with a file of the build, compressed where the browser
// takes it. Browsers keep files and ask each time whether they still hold.
func (b *Build) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	f, ok := b.files[r.URL.Path]
	if !ok {
		message := "There is no such file."
		if r.URL.Path == "/"+worker {
			message = "This server was compiled without the tablet's program, so no job can be taken on board. `make` builds both."
		}
		http.Error(w, message, http.StatusNotFound)
		return
	}
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		http.Error(w, "Files are only read.", http.StatusMethodNotAllowed)
		return
	}
	accept := r.Header.Get("Accept-Encoding")
	var body []byte
	encoding := ""
	switch {
	case f.compressed == nil:
	case takes(accept, "br"):
		body, encoding = f.compressed, "br"
	case takes(accept, "gzip"):
		if body = f.zipped(); body != nil {
			encoding = "gzip"
		}
	}
	tag := hex.EncodeToString(f.hash[:8])
	if encoding != "" {
		tag += "-" + encoding
	}
	tag = strconv.Quote(tag)

	h := w.Header()
	h.Set("Content-Type", f.contentType)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Cache-Control", "no-cache")
	h.Set("ETag", tag)
	if f.compressed != nil {
		h.Set("Vary", "Accept-Encoding")
	}
	if r.URL.Path == "/"+worker {
		// A worker goes by the policy of its own script.
		h.Set("Content-Security-Policy", workerPolicy)
	}
	if strings.Contains(r.Header.Get("If-None-Match"), tag) {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	if encoding != "" {
		h.Set("Content-Encoding", encoding)
		h.Set("Content-Length", strconv.Itoa(len(body)))
		w.Write(body)
		return
	}
	if f.plain != nil {
		h.Set("Content-Length", strconv.Itoa(len(f.plain)))
		w.Write(f.plain)
		return
	}
	if _, err := io.Copy(w, brotli.NewReader(bytes.NewReader(f.compressed))); err != nil {
		// Half a file must not pass for a whole one.
		panic(http.ErrAbortHandler)
	}
}

// takes tells whether the header Accept-Encoding names an encoding.
func takes(accept, encoding string) bool {
	for choice := range strings.SplitSeq(accept, ",") {
		name, weight, _ := strings.Cut(choice, ";")
		if strings.TrimSpace(name) == encoding {
			return strings.TrimSpace(weight) != "q=0"
		}
	}
	return false
}

// workerPolicy lets the worker compile the tablet's program and ask this server,
// and nothing else.
const workerPolicy = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; connect-src 'self'"
