// Command build makes the tablet's program for the server to hand out: it
// compiles ./cmd/tablet to WebAssembly, compresses it, and puts it with Go's
// wasm_exec.js into static/.
//
// It prints the sizes each time and fails if what a tablet fetches before it works
// without signal is over the limit: the program after brotli, and all the rest
// after gzip. A foreman may have to fetch it on one bar of signal.
//
// Some packages of the standard library come along although nothing of ours runs
// them: crypto/tls because net/http mentions it, 0.33 MB after brotli; regexp
// because templ and chi do, 0.09 MB; html/template because templ does, 0.03 MB;
// and crypto/rand seeds a generator of its own. The packages in instead/ stand in
// for them, each under the path that it has there. If a new version of Go, templ
// or chi mentions more of them, the build fails and names what is missing. A test
// over the imports sees to it that nobody else comes to rely on them.
//
// What is in shorter/ does the same as what it stands in for: compress/gzip has
// the browser do it, and slices has one way of sorting where it has one for every
// type, together 0.06 MB. Tests run with both, see the Makefile.
package main

import (
	"bytes"
	"compress/gzip"
	"embed"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/andybalholm/brotli"
)

func main() {
	source := flag.String("program", "./cmd/tablet", "package of the program")
	folder := flag.String("o", "static", "folder for the results")
	limit := flag.Int("limit", 2_000_000, "most bytes that a first install may have on the wire")
	overlay := flag.String("overlay", "", "only write the list of stand-ins that tests can run with, to this file")
	flag.Parse()
	if *overlay != "" {
		if err := standIns(*overlay, "shorter"); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	if err := build(*source, *folder, *limit); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func build(source, folder string, limit int) error {
	raw, err := compile(source)
	if err != nil {
		return err
	}
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return err
	}
	glue, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(root)), "lib", "wasm", "wasm_exec.js"))
	if err != nil {
		return err
	}

	to := filepath.Join(folder, "tablet.wasm.br")
	// Brotli at its best takes many times as long as compiling does, so what
	// is there already is used if it is the same program.
	small, err := os.ReadFile(to)
	if err != nil || !holds(small, raw) {
		if small, err = compress(raw); err != nil {
			return err
		}
	}
	zipped, err := gzipSize(raw)
	if err != nil {
		return err
	}
	rest, err := restSize(folder, glue)
	if err != nil {
		return err
	}
	all := len(small) + rest
	fmt.Printf("the tablet's program: %d bytes, gzip %d, brotli %d; first install %d of at most %d\n", len(raw), zipped, len(small), all, limit)
	if all > limit {
		return fmt.Errorf("a first install is %d bytes over its limit: see what the program began to import", all-limit)
	}
	if err := replace(filepath.Join(folder, "wasm_exec.js"), glue); err != nil {
		return err
	}
	return replace(to, small)
}

// compile builds the program and returns it. Nothing in it depends on where or
// when it was built, so the same source is the same build.
func compile(source string) ([]byte, error) {
	folder, err := os.MkdirTemp("", "tablet")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	to := filepath.Join(folder, "tablet.wasm")
	overlay := filepath.Join(folder, "overlay.json")
	if err := standIns(overlay, "instead", "shorter"); err != nil {
		return nil, err
	}
	cmd := exec.Command("go", "build", "-trimpath", "-buildvcs=false", "-overlay", overlay, "-ldflags", "-s -w",
		// HTTP/2 is the browser's, the forms of the set-up are the office's.
		"-tags", "nethttpomithttp2,tablet",
		// What is inlined stands in the program once for each use. These are
		// large and in no hurry; without inlining at all the program would be
		// smaller still, but fold a job half as fast.
		"-gcflags", "duskline/web=-l", "-gcflags", "duskline/internal/checks=-l", "-gcflags", "fmt=-l", "-gcflags", "time=-l",
		"-o", to, source)
	cmd.Env = append(os.Environ(), "GOOS=js", "GOARCH=wasm")
	cmd.Stdout, cmd.Stderr = os.Stderr, os.Stderr
	if err := cmd.Run(); err != nil {
		return nil, fmt.Errorf("compiling %s: %w", source, err)
	}
	return os.ReadFile(to)
}

//go:embed instead shorter
var ours embed.FS

// standIns writes the list of files that the compiler is to take for others,
// from the given folders of ours.
func standIns(to string, folders ...string) error {
	replace := map[string]string{}
	for _, folder := range folders {
		err := fs.WalkDir(ours, folder, func(name string, entry fs.DirEntry, err error) error {
			if err != nil || entry.IsDir() {
				return err
			}
			return standIn(replace, filepath.Dir(to), name, strings.TrimPrefix(path.Dir(name), folder+"/"))
		})
		if err != nil {
			return err
		}
	}
	if err := plainErrors(replace, filepath.Dir(to)); err != nil {
		return err
	}
	list, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		return err
	}
	return os.WriteFile(to, list, 0o644)
}

// located is how templ says where in a template an expression failed: none of
// ours can, and so often said it is long.
var located = regexp.MustCompile(`templ\.Error\{Err: (\w+), [^}]*\}`)

// plainErrors takes pages' generated code without it.
func plainErrors(replace map[string]string, folder string) error {
	pages, err := filepath.Glob("web/*_templ.go")
	if err != nil {
		return err
	}
	for _, page := range pages {
		text, err := os.ReadFile(page)
		if err != nil {
			return err
		}
		if page, err = filepath.Abs(page); err != nil {
			return err
		}
		copied := filepath.Join(folder, filepath.Base(page))
		if err := os.WriteFile(copied, located.ReplaceAll(text, []byte("$1")), 0o644); err != nil {
			return err
		}
		replace[page] = copied
	}
	return nil
}

// standIn puts one of our files into the place of a package's: of the one with
// its name in slices, of all elsewhere.
func standIn(replace map[string]string, folder, name, pack string) error {
	out, err := exec.Command("go", "list", "-f", "{{.Dir}}", pack).Output()
	if err != nil {
		return fmt.Errorf("finding %s: %w", pack, err)
	}
	dir := strings.TrimSpace(string(out))
	if pack != "slices" {
		theirs, err := filepath.Glob(filepath.Join(dir, "*.go"))
		if err != nil {
			return err
		}
		for _, file := range theirs {
			if !strings.HasSuffix(file, "_test.go") {
				replace[file] = "" // as if it were not there
			}
		}
	}
	text, err := ours.ReadFile(name)
	if err != nil {
		return err
	}
	copied := filepath.Join(folder, strings.ReplaceAll(name, "/", "-"))
	replace[filepath.Join(dir, path.Base(name))] = copied
	return os.WriteFile(copied, text, 0o644)
}

// holds tells whether a brotli stream holds exactly the given bytes.
func holds(compressed, raw []byte) bool {
	plain, err := io.ReadAll(brotli.NewReader(bytes.NewReader(compressed)))
	return err == nil && bytes.Equal(plain, raw)
}

func compress(raw []byte) ([]byte, error) {
	var small bytes.Buffer
	w := brotli.NewWriterOptions(&small, brotli.WriterOptions{Quality: brotli.BestCompression, LGWin: 24})
	if _, err := w.Write(raw); err != nil {
		return nil, err
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return small.Bytes(), nil
}

// restSize is what comes besides the program: the glue and the files that are
// served, each after gzip unless it is compressed as it is.
func restSize(folder string, glue []byte) (int, error) {
	size, err := gzipSize(glue)
	if err != nil {
		return 0, err
	}
	err = filepath.WalkDir(folder, func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		content, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		n := len(content)
		switch filepath.Ext(name) {
		case ".css", ".js", ".svg", ".webmanifest":
			if entry.Name() == "wasm_exec.js" {
				return nil
			}
			if n, err = gzipSize(content); err != nil {
				return err
			}
		case ".woff2", ".png":
		default:
			return nil
		}
		size += n
		return nil
	})
	return size, err
}

func gzipSize(raw []byte) (int, error) {
	var small bytes.Buffer
	w, err := gzip.NewWriterLevel(&small, gzip.BestCompression)
	if err != nil {
		return 0, err
	}
	if _, err := w.Write(raw); err != nil {
		return 0, err
	}
	if err := w.Close(); err != nil {
		return 0, err
	}
	return small.Len(), nil
}

// replace writes a file whole or not at all: a server may be compiled meanwhile.
func replace(name string, content []byte) error {
	if old, err := os.ReadFile(name); err == nil && bytes.Equal(old, content) {
		return nil
	}
	if err := os.WriteFile(name+".new", content, 0o644); err != nil {
		return err
	}
	return os.Rename(name+".new", name)
}
