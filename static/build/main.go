// Command build makes the tablet's program for the server to hand out: it
// compiles ./cmd/tablet to WebAssembly, compresses it, and puts it with Go's
// wasm_exec.js into static/.
//
// It prints the sizes each time and fails if the compressed program is over the
// limit: a foreman may have to fetch it on one bar of signal.
//
// Three packages of the standard library come along although nothing of ours
// runs them: crypto/tls because net/http mentions it, 0.33 MB after brotli;
// regexp because templ and chi do, 0.09 MB; html/template because templ does,
// 0.03 MB. The packages in instead/ stand in for them, each under the path that
// it has there. If a new version of Go, templ or chi mentions more of them, the
// build fails and names what is missing. A test over the imports sees to it that
// nobody else comes to rely on them.
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
	"strings"

	"github.com/andybalholm/brotli"
)

func main() {
	source := flag.String("program", "./cmd/tablet", "package of the program")
	folder := flag.String("o", "static", "folder for the results")
	limit := flag.Int("limit", 1_750_000, "most bytes that the program may have after brotli")
	flag.Parse()
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
	fmt.Printf("the tablet's program: %d bytes, gzip %d, brotli %d of at most %d\n", len(raw), zipped, len(small), limit)
	if len(small) > limit {
		return fmt.Errorf("the tablet's program is %d bytes over its limit: see what it began to import", len(small)-limit)
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
	if err := standIns(overlay); err != nil {
		return nil, err
	}
	cmd := exec.Command("go", "build", "-trimpath", "-buildvcs=false", "-overlay", overlay, "-ldflags", "-s -w",
		// HTTP/2 is the browser's, the forms of the set-up are the office's.
		"-tags", "nethttpomithttp2,tablet",
		// What is inlined stands in the program once for each use. These are
		// large and in no hurry; without inlining at all the program would be
		// smaller still, but fold a job half as fast.
		"-gcflags", "duskline/web=-l", "-gcflags", "fmt=-l", "-gcflags", "time=-l",
		"-o", to, source)
	cmd.Env = append(os.Environ(), "GOOS=js", "GOARCH=wasm")
	cmd.Stdout, cmd.Stderr = os.Stderr, os.Stderr
	if err := cmd.Run(); err != nil {
		return nil, fmt.Errorf("compiling %s: %w", source, err)
	}
	return os.ReadFile(to)
}

//go:embed instead
var instead embed.FS

// standIns writes the list of files that the compiler is to take for others:
// for every package in instead, that one file and none of its own.
func standIns(to string) error {
	replace := map[string]string{}
	err := fs.WalkDir(instead, "instead", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		pack := strings.TrimPrefix(path.Dir(name), "instead/")
		out, err := exec.Command("go", "list", "-f", "{{.Dir}}", pack).Output()
		if err != nil {
			return fmt.Errorf("finding %s: %w", pack, err)
		}
		theirs, err := filepath.Glob(filepath.Join(strings.TrimSpace(string(out)), "*.go"))
		if err != nil {
			return err
		}
		for _, file := range theirs {
			replace[file] = "" // as if it were not there
		}
		text, err := instead.ReadFile(name)
		if err != nil {
			return err
		}
		ours := filepath.Join(filepath.Dir(to), strings.ReplaceAll(pack, "/", "-")+".go")
		replace[filepath.Join(strings.TrimSpace(string(out)), path.Base(name))] = ours
		return os.WriteFile(ours, text, 0o644)
	})
	if err != nil {
		return err
	}
	list, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		return err
	}
	return os.WriteFile(to, list, 0o644)
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
