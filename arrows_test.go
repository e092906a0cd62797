package duskline_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const module = "duskline/"

// row is what the package beside it may import, tests aside.
type row struct {
	ours    string // packages of this module
	outside string // modules, by the beginning of their packages' paths
}

// arrows is the drawing of who may import whom. A package that is not in it may
// not exist; an import that is not in it is an arrow to be drawn first. The
// commands also see daylog and store, whose types pass through their hands.
var arrows = map[string]row{
	"cmd/server":                         {"web web/office internal/archive internal/exchange internal/inbox internal/proof internal/signin internal/store/sqlite static internal/daylog/script internal/daylog internal/store", "github.com/go-chi/chi/v5 golang.org/x/crypto/acme"},
	"cmd/tablet":                         {"web internal/exchange internal/fetchevent internal/store/indexeddb internal/store internal/daylog", "github.com/go-chi/chi/v5"},
	"web/office":                         {"web internal/archive internal/exchange internal/inbox internal/proof internal/signin internal/checks internal/forecast internal/weather internal/roofplan internal/store internal/daylog", "github.com/go-chi/chi/v5 github.com/a-h/templ rsc.io/qr"},
	"web":                                {"internal/checks internal/forecast internal/weather internal/roofplan internal/store internal/daylog", "github.com/go-chi/chi/v5 github.com/a-h/templ"},
	"internal/checks":                    {"internal/forecast internal/weather internal/roofplan internal/daylog", ""},
	"internal/forecast":                  {"internal/weather internal/roofplan internal/daylog", ""},
	"internal/exchange":                  {"internal/store internal/daylog", ""},
	"internal/archive":                   {"internal/exchange internal/store internal/daylog", ""},
	"internal/inbox":                     {"internal/exchange internal/store internal/daylog", ""},
	"internal/proof":                     {"internal/store internal/daylog", ""},
	"internal/signin":                    {"", "github.com/gorilla golang.org/x/crypto"},
	"internal/store":                     {"internal/daylog", ""},
	"internal/store/sqlite":              {"internal/store internal/daylog migrations", "modernc.org/sqlite"},
	"internal/store/indexeddb":           {"internal/store internal/daylog", ""},
	"internal/store/storetest":           {"internal/store internal/daylog internal/roofplan", "pgregory.net/rapid"},
	"internal/daylog":                    {"internal/roofplan", ""},
	"internal/daylog/script":             {"internal/daylog internal/roofplan", ""},
	"internal/roofplan":                  {"", ""},
	"internal/weather":                   {"", ""},
	"internal/fetchevent":                {"", ""},
	"internal/browser":                   {"", "github.com/chromedp"},
	"internal/faultbench":                {"", ""},
	"static":                             {"", "github.com/andybalholm/brotli"},
	"static/build":                       {"", "github.com/andybalholm/brotli"},
	"static/icons":                       {"", ""},
	"static/build/instead/crypto/tls":    {"", ""},
	"static/build/instead/html/template": {"", ""},
	"static/build/instead/regexp":        {"", ""},
	"migrations":                         {"", ""},
}

// pure are the packages that touch nothing outside themselves: the same
// arguments give the same results, on every device and on every day.
var pure = []string{"internal/daylog", "internal/roofplan", "internal/weather", "internal/forecast", "internal/checks"}

// outside are the standard packages, each with all below it, that touch what a
// pure package must not.
var outside = []string{"os", "net", "syscall", "log", "database", "math/rand", "crypto/rand", "testing"}

// heavy are packages that must not be in the tablet's program, or cannot be.
var heavy = []string{
	"modernc.org/sqlite",
	"database/sql",
	"github.com/gorilla/sessions",
	"github.com/go-chi/chi/v5/middleware",
	"log/slog",
	"expvar",
	"net/http/pprof",
	"testing",
}

// hollow are the packages that the tablet's program has stand-ins for, see
// static/build, with those who may import them: they name what is in them and
// never run it.
var hollow = map[string][]string{
	"crypto/tls":    {"net/http"},
	"html/template": {"github.com/a-h/templ"},
	"text/template": {"html/template"},
	"regexp":        {"github.com/a-h/templ", "github.com/go-chi/chi/v5", "html/template"},
}

type pack struct {
	ImportPath string
	Standard   bool
	Dir        string
	GoFiles    []string
	Imports    []string
}

// list returns packages with all that they reach, as built for a target.
func list(t *testing.T, target string, patterns ...string) map[string]pack {
	t.Helper()
	cmd := exec.Command("go", append([]string{"list", "-e", "-deps", "-json=ImportPath,Standard,Dir,GoFiles,Imports"}, patterns...)...)
	cmd.Env = append(os.Environ(), strings.Fields(target)...)
	var complaint bytes.Buffer
	cmd.Stderr = &complaint
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, complaint.String())
	}
	packs := map[string]pack{}
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p pack
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return packs
		} else if err != nil {
			t.Fatal(err)
		}
		packs[p.ImportPath] = p
	}
}

const tablet = "GOOS=js GOARCH=wasm"

// within tells whether a package is one of those listed or below one.
func within(path string, listed []string) bool {
	return slices.ContainsFunc(listed, func(one string) bool {
		return path == one || strings.HasPrefix(path, one+"/")
	})
}

func TestArrows(t *testing.T) {
	for _, packs := range []map[string]pack{list(t, "", "./..."), list(t, tablet, "./cmd/tablet")} {
		for _, p := range packs {
			name, ours := strings.CutPrefix(p.ImportPath, module)
			if !ours {
				continue
			}
			allowed, drawn := arrows[name]
			if !drawn {
				t.Errorf("%s is not in the drawing", name)
				continue
			}
			for _, path := range p.Imports {
				if to, ours := strings.CutPrefix(path, module); ours {
					if !slices.Contains(strings.Fields(allowed.ours), to) {
						t.Errorf("%s imports %s: no such arrow is drawn", name, to)
					}
				} else if !packs[path].Standard && !within(path, strings.Fields(allowed.outside)) {
					t.Errorf("%s imports %s: that is not among its libraries", name, path)
				}
				if slices.Contains(pure, name) && within(path, outside) {
					t.Errorf("%s imports %s: it would no longer be pure", name, path)
				}
			}
		}
	}
}

func TestArrowsOfTheTablet(t *testing.T) {
	for _, root := range []string{"./web", "./cmd/tablet"} {
		packs := list(t, tablet, root)
		if len(packs) < 50 {
			t.Fatalf("%s reaches %d packages: that cannot be all", root, len(packs))
		}
		for _, p := range packs {
			if within(p.ImportPath, heavy) {
				t.Errorf("%s reaches %s", root, p.ImportPath)
			}
			for _, path := range p.Imports {
				if allowed, ok := hollow[path]; ok && !within(p.ImportPath, allowed) {
					t.Errorf("%s imports %s: there is nothing in it on the tablet", p.ImportPath, path)
				}
			}
		}
	}
}

// TestArrowsToTheClock: what is pure is told the time, and so are the pages.
func TestArrowsToTheClock(t *testing.T) {
	for path, p := range list(t, "", "./...") {
		name := strings.TrimPrefix(path, module)
		if !slices.Contains(pure, name) && name != "internal/daylog/script" && name != "web" {
			continue
		}
		for _, file := range p.GoFiles {
			text, err := os.ReadFile(filepath.Join(p.Dir, file))
			if err != nil {
				t.Fatal(err)
			}
			for _, word := range []string{"time.Now(", "time.Since(", "time.Until(", "time.Local"} {
				if bytes.Contains(text, []byte(word)) {
					t.Errorf("%s/%s reads the clock or the place of its machine: %s", name, file, word)
				}
			}
		}
	}
}
