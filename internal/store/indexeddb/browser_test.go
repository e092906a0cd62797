//go:build !js

package indexeddb_test

import (
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"duskline/internal/browser"
)

// TestInChromium runs this package's tests, compiled for the browser, on
// Chromium's own IndexedDB.
func TestInChromium(t *testing.T) {
	folder := t.TempDir()
	build := exec.Command("go", "test", "-c", "-o", filepath.Join(folder, "test.wasm"), ".")
	build.Env = append(os.Environ(), "GOOS=js", "GOARCH=wasm")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("compiling the tests for the browser: %v\n%s", err, out)
	}
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		t.Fatal(err)
	}
	loader := filepath.Join(strings.TrimSpace(string(root)), "lib", "wasm", "wasm_exec.js")

	m := http.NewServeMux()
	m.Handle("GET /test.wasm", http.FileServer(http.Dir(folder)))
	m.HandleFunc("GET /wasm_exec.js", func(w http.ResponseWriter, r *http.Request) { http.ServeFile(w, r, loader) })
	m.HandleFunc("GET /", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprint(w, `<title>Tests</title><script src="/wasm_exec.js"></script><script>
			var said = "", code = null;
			const words = new TextDecoder();
			fs.writeSync = (to, bytes) => { said += words.decode(bytes, {stream: true}); return bytes.length; };
			const go = new Go();
			go.argv = ["test", "-test.v", "-test.timeout=5m"];
			go.exit = (c) => { code = c; };
			WebAssembly.instantiateStreaming(fetch("/test.wasm"), go.importObject)
				.then((program) => go.run(program.instance))
				.catch((e) => { said += "\n" + e; code = -1; });
		</script>`)
	})
	s := browser.Serve(t, m)
	p := browser.Start(t).Open(browser.Tablet)
	start := time.Now()
	p.Go(s.URL)
	type outcome struct {
		Code *int
		Said string
	}
	var o outcome
	for o.Code == nil {
		if time.Since(start) > 6*time.Minute {
			t.Fatalf("the tests in Chromium do not end:\n%s", o.Said)
		}
		time.Sleep(200 * time.Millisecond)
		o = browser.Eval[outcome](p, `({Code: code, Said: said})`)
	}
	passed := strings.Count(o.Said, "--- PASS")
	if *o.Code != 0 || passed < 30 || strings.Contains(o.Said, "--- SKIP") {
		t.Errorf("the tests in Chromium ended with code %d, %d of them passed:\n%s", *o.Code, passed, o.Said)
	}
	t.Logf("%d tests passed in Chromium in %.1f s on %d processors", passed, time.Since(start).Seconds(), runtime.NumCPU())
}
