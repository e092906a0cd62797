package static

import (
	"bytes"
	"compress/gzip"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/andybalholm/brotli"
)

// small returns the brotli form of a text.
func small(t *testing.T, text string) []byte {
	t.Helper()
	var b bytes.Buffer
	w := brotli.NewWriter(&b)
	w.Write([]byte(text))
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func folder(t *testing.T) fstest.MapFS {
	return fstest.MapFS{
		"embed.go":       {Data: []byte("package static")},
		"site.css":       {Data: []byte(strings.Repeat("p { margin: 0 }\n", 99))},
		"fonts/a.woff2":  {Data: []byte("font")},
		"sw.js":          {Data: []byte("// the worker\n")},
		"wasm_exec.js":   {Data: []byte("// the glue\n")},
		"tablet.wasm.br": {Data: small(t, strings.Repeat("program ", 99))},
	}
}

func made(t *testing.T, folder fstest.MapFS) *Build {
	t.Helper()
	b, err := New(folder)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func get(b *Build, method, address string, header ...string) *http.Response {
	r := httptest.NewRequest(method, address, nil)
	for i := 0; i < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	w := httptest.NewRecorder()
	b.ServeHTTP(w, r)
	return w.Result()
}

func text(t *testing.T, answer *http.Response) string {
	t.Helper()
	var from io.Reader = answer.Body
	switch answer.Header.Get("Content-Encoding") {
	case "br":
		from = brotli.NewReader(from)
	case "gzip":
		zip, err := gzip.NewReader(from)
		if err != nil {
			t.Fatal(err)
		}
		from = zip
	}
	b, err := io.ReadAll(from)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestFilesCompressedAndNot(t *testing.T) {
	b := made(t, folder(t))
	tests := []struct{ address, contentType, text, encoding string }{
		{"/static/site.css", "text/css; charset=utf-8", strings.Repeat("p { margin: 0 }\n", 99), "br"},
		{"/static/fonts/a.woff2", "font/woff2", "font", ""},
		{"/static/tablet.wasm", "application/wasm", strings.Repeat("program ", 99), "br"},
	}
	for _, test := range tests {
		for _, accept := range []string{"gzip, deflate, br, zstd", "gzip, br;q=0", ""} {
			a := get(b, "GET", test.address, "Accept-Encoding", accept)
			want := ""
			switch {
			case strings.HasSuffix(accept, "zstd"):
				want = test.encoding
			case accept != "" && test.encoding != "":
				want = "gzip"
			}
			if got := a.Header.Get("Content-Encoding"); got != want {
				t.Errorf("%s for %q: encoding %q, want %q", test.address, accept, got, want)
			}
			if got := text(t, a); a.StatusCode != 200 || got != test.text {
				t.Errorf("%s for %q: %d %q", test.address, accept, a.StatusCode, got)
			}
			if got := a.Header.Get("Content-Type"); got != test.contentType {
				t.Errorf("%s: type %q, want %q", test.address, got, test.contentType)
			}
			if got := a.Header.Get("Cache-Control"); got != "no-cache" {
				t.Errorf("%s: Cache-Control %q", test.address, got)
			}
			again := get(b, "GET", test.address, "Accept-Encoding", accept, "If-None-Match", "W/"+a.Header.Get("ETag"))
			if again.StatusCode != 304 || text(t, again) != "" {
				t.Errorf("%s for %q, asked again: %d, want 304 and nothing", test.address, accept, again.StatusCode)
			}
		}
	}
}

func TestWhatIsNotServed(t *testing.T) {
	b := made(t, folder(t))
	for _, address := range []string{"/static/embed.go", "/static/sw.js", "/static/wasm_exec.js", "/static/tablet.wasm.br", "/static/", "/static/../embed.go"} {
		if a := get(b, "GET", address); a.StatusCode != 404 {
			t.Errorf("%s: %d, want 404", address, a.StatusCode)
		}
	}
	if a := get(b, "POST", "/static/site.css"); a.StatusCode != 405 {
		t.Errorf("a POST: %d, want 405", a.StatusCode)
	}
}

func TestEveryByteChangesTheBuild(t *testing.T) {
	whole := made(t, folder(t))
	script := text(t, get(whole, "GET", "/sw.js"))
	if !strings.Contains(script, whole.ID()) {
		t.Error("the worker's script does not name its build")
	}
	if policy := get(whole, "GET", "/sw.js").Header.Get("Content-Security-Policy"); !strings.Contains(policy, "'wasm-unsafe-eval'") || strings.Contains(policy, "unsafe-inline") {
		t.Errorf("the worker's policy is %q", policy)
	}
	for name := range folder(t) {
		changed := folder(t)
		if name == "tablet.wasm.br" {
			changed[name] = &fstest.MapFile{Data: small(t, "another program")}
		} else {
			changed[name] = &fstest.MapFile{Data: append(changed[name].Data, ' ')}
		}
		b := made(t, changed)
		served := name != "embed.go"
		if got := b.ID() != whole.ID(); got != served {
			t.Errorf("%s changed: the id changed: %v", name, got)
		}
		if got := text(t, get(b, "GET", "/sw.js")) != script; got != served {
			t.Errorf("%s changed: the worker's script changed: %v", name, got)
		}
	}
}

func TestWithoutTheProgram(t *testing.T) {
	for _, missing := range []string{"tablet.wasm.br", "wasm_exec.js"} {
		f := folder(t)
		delete(f, missing)
		b := made(t, f)
		if b.HasProgram() {
			t.Errorf("without %s it says that it has the program", missing)
		}
		if a := get(b, "GET", "/static/site.css"); a.StatusCode != 200 {
			t.Errorf("without %s the style is answered with %d", missing, a.StatusCode)
		}
		a := get(b, "GET", "/sw.js")
		if got := text(t, a); a.StatusCode != 404 || !strings.Contains(got, "compiled without the tablet's program") {
			t.Errorf("without %s the worker is answered with %d %q", missing, a.StatusCode, got)
		}
	}
	f := folder(t)
	f["tablet.wasm.br"].Data = f["tablet.wasm.br"].Data[:20]
	if _, err := New(f); err == nil || !strings.Contains(err.Error(), "tablet.wasm.br") {
		t.Errorf("half a program: %v, want an error that names it", err)
	}
}

func TestTheFolderItself(t *testing.T) {
	b, err := New(Files)
	if err != nil {
		t.Fatal(err)
	}
	if a := get(b, "GET", "/static/aboard.js"); a.StatusCode != 200 {
		t.Errorf("aboard.js: %d", a.StatusCode)
	}
}
