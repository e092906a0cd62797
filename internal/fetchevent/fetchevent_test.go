//go:build js && wasm

package fetchevent

import (
	"errors"
	"fmt"
	"io"
	"log"
	"net/http"
	"strings"
	"syscall/js"
	"testing"
)

// reply is a Response as a page reads it.
type reply struct {
	status  int
	text    string
	headers js.Value
	body    bool // whether there was one at all
}

// ask sends a Request of the JavaScript host to a handler and awaits the
// Response, through the function that a worker gets.
func ask(t *testing.T, h *Host, url string, init map[string]any, set ...func(js.Value)) reply {
	t.Helper()
	request := js.Global().Get("Request").New(url, init)
	for _, f := range set {
		f(request)
	}
	function := h.function()
	defer function.Release()
	response := await(t, function.Invoke(request))
	return reply{
		status:  response.Get("status").Int(),
		headers: response.Get("headers"),
		body:    !response.Get("body").IsNull(),
		text:    await(t, response.Call("text")).String(),
	}
}

func await(t *testing.T, promise js.Value) js.Value {
	t.Helper()
	done := make(chan js.Value, 1)
	broken := make(chan string, 1)
	resolved := js.FuncOf(func(_ js.Value, args []js.Value) any { done <- args[0]; return nil })
	rejected := js.FuncOf(func(_ js.Value, args []js.Value) any {
		broken <- args[0].Call("toString").String()
		return nil
	})
	defer resolved.Release()
	defer rejected.Release()
	promise.Call("then", resolved, rejected)
	select {
	case v := <-done:
		return v
	case why := <-broken:
		t.Fatal("the promise was rejected: " + why)
	}
	panic("unreachable")
}

func (r reply) header(name string) string {
	v := r.headers.Call("get", name)
	if v.IsNull() {
		return ""
	}
	return v.String()
}

func serve(f http.HandlerFunc) *Host { return &Host{Handler: f, Log: log.New(io.Discard, "", 0)} }

const here = "https://roof.test/job/1/run?panel=7&panel=8#end"

func TestRequest(t *testing.T) {
	var got string
	h := serve(func(w http.ResponseWriter, r *http.Request) {
		if r.Body == nil {
			t.Error("the body is nil; a handler of a server never sees that")
		}
		body, err := io.ReadAll(r.Body)
		got = fmt.Sprintf("%s %s %s host=%s q=%v X=%q body=%q %v", r.Method, r.URL.Path, r.RequestURI, r.Host, r.URL.Query()["panel"], r.Header["X-Edge"], body, err)
	})
	ask(t, h, here, map[string]any{"headers": map[string]any{"X-Edge": "north \u00e9"}})
	want := `GET /job/1/run /job/1/run?panel=7&panel=8 host=roof.test q=[7 8] X=["north \xe9"] body="" <nil>`
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}

	body := js.Global().Get("Uint8Array").New(3)
	js.CopyBytesToJS(body, []byte{0, 255, 10})
	ask(t, h, here, map[string]any{"method": "PUT", "body": body})
	want = `PUT /job/1/run /job/1/run?panel=7&panel=8 host=roof.test q=[7 8] X=[] body="\x00\xff\n" <nil>`
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}

	ask(t, h, here, map[string]any{"method": "POST"})
	if !strings.Contains(got, `body="" <nil>`) {
		t.Errorf("a POST without a body arrived as %s", got)
	}
}

func TestForms(t *testing.T) {
	h := serve(func(w http.ResponseWriter, r *http.Request) {
		if err := r.ParseMultipartForm(1 << 20); err != nil && !errors.Is(err, http.ErrNotMultipart) {
			t.Error(err)
		}
		fmt.Fprintf(w, "%q %q", r.PostForm["place"], r.FormValue("note"))
	})
	fields := func(kind string) js.Value {
		form := js.Global().Get(kind).New()
		form.Call("append", "place", "7|8")
		form.Call("append", "place", "7|8@north")
		form.Call("append", "note", "wet seam, \u00bd in \u2192 dried")
		return form
	}
	want := `["7|8" "7|8@north"] "wet seam, ½ in → dried"`
	for _, kind := range []string{"URLSearchParams", "FormData"} {
		if got := ask(t, h, here, map[string]any{"method": "POST", "body": fields(kind)}); got.text != want {
			t.Errorf("%s arrived as %s, want %s", kind, got.text, want)
		}
	}
}

func TestABodyThatCannotBeRead(t *testing.T) {
	h := serve(func(w http.ResponseWriter, r *http.Request) { t.Error("the handler ran") })
	r := ask(t, h, here, map[string]any{"method": "POST", "body": "spent"}, func(request js.Value) {
		await(t, request.Call("text"))
	})
	if r.status != 500 {
		t.Errorf("status %d, want 500", r.status)
	}
}

func TestResponse(t *testing.T) {
	tests := []struct {
		name    string
		handler http.HandlerFunc
		method  string
		status  int
		text    string
		body    bool
		headers map[string]string
	}{
		{
			name:    "nothing written",
			handler: func(w http.ResponseWriter, r *http.Request) {},
			status:  200, body: true,
			headers: map[string]string{"Content-Type": ""},
		}, {
			name:    "a type is found where none is set",
			handler: func(w http.ResponseWriter, r *http.Request) { io.WriteString(w, "<!DOCTYPE html><p>dry") },
			status:  200, text: "<!DOCTYPE html><p>dry", body: true,
			headers: map[string]string{"Content-Type": "text/html; charset=utf-8"},
		}, {
			name: "the first final status counts",
			handler: func(w http.ResponseWriter, r *http.Request) {
				w.WriteHeader(103)
				w.WriteHeader(404)
				w.WriteHeader(200)
				w.Header().Set("X-Late", "yes")
				w.Write([]byte("no such run"))
			},
			status: 404, text: "no such run", body: true,
			headers: map[string]string{"X-Late": ""},
		}, {
			name: "headers keep their repeats and their bytes",
			handler: func(w http.ResponseWriter, r *http.Request) {
				w.Header().Add("Link", "</a.css>")
				w.Header().Add("Link", "</b.css>")
				w.Header().Set("X-Name", "Zoë\nrun")
			},
			status: 200, body: true,
			headers: map[string]string{"Link": "</a.css>, </b.css>", "X-Name": "Zo\u00c3\u00ab run"},
		}, {
			name: "no content has no body",
			handler: func(w http.ResponseWriter, r *http.Request) {
				w.WriteHeader(204)
				if _, err := w.Write([]byte("x")); !errors.Is(err, http.ErrBodyNotAllowed) {
					t.Errorf("writing a body to 204: %v", err)
				}
			},
			status: 204,
		}, {
			name: "not modified has no body",
			handler: func(w http.ResponseWriter, r *http.Request) {
				w.Header().Set("ETag", `"7"`)
				w.WriteHeader(304)
			},
			status:  304,
			headers: map[string]string{"ETag": `"7"`},
		}, {
			name:    "HEAD has headers only",
			method:  "HEAD",
			handler: func(w http.ResponseWriter, r *http.Request) { io.WriteString(w, "<html>") },
			status:  200, body: true,
			headers: map[string]string{"Content-Type": "text/html; charset=utf-8"},
		}, {
			name:   "a redirect's target is absolute",
			method: "POST",
			handler: func(w http.ResponseWriter, r *http.Request) {
				http.Redirect(w, r, "../2/now?at=½#run", http.StatusSeeOther)
			},
			status: 303, body: true,
			headers: map[string]string{"Location": "https://roof.test/job/2/now?at=%c2%bd#run"},
		}, {
			name: "a target elsewhere stays",
			handler: func(w http.ResponseWriter, r *http.Request) {
				w.Header().Set("Location", "https://other.test/x")
				w.WriteHeader(302)
			},
			status: 302, body: true,
			headers: map[string]string{"Location": "https://other.test/x"},
		}, {
			name:    "a status that no browser takes",
			handler: func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(700) },
			status:  500, text: failurePage, body: true,
		},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			method := test.method
			if method == "" {
				method = "GET"
			}
			r := ask(t, serve(test.handler), "https://roof.test/job/1/run", map[string]any{"method": method})
			if r.status != test.status || r.text != test.text || r.body != test.body {
				t.Errorf("got %d %q body %v, want %d %q body %v", r.status, r.text, r.body, test.status, test.text, test.body)
			}
			for name, want := range test.headers {
				if got := r.header(name); got != want {
					t.Errorf("header %s is %q, want %q", name, got, want)
				}
			}
		})
	}
}

func TestPanic(t *testing.T) {
	var written strings.Builder
	h := &Host{
		Log: log.New(&written, "", 0),
		Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if r.URL.Path == "/fine" {
				io.WriteString(w, "fine")
				return
			}
			w.Header().Set("ETag", `"half"`)
			io.WriteString(w, "half a page")
			var rows []int
			fmt.Fprint(w, rows[7])
		}),
	}
	r := ask(t, h, "https://roof.test/broken", nil)
	if r.status != 500 || r.text != failurePage || r.header("ETag") != "" {
		t.Errorf("got %d %q, ETag %q; want nothing of the half page", r.status, r.text, r.header("ETag"))
	}
	if got := written.String(); !strings.Contains(got, "panic answering GET /broken: runtime error: index out of range") || !strings.Contains(got, "fetchevent_test.go") {
		t.Errorf("the log holds %q, want the panic and its stack", got)
	}
	if r := ask(t, h, "https://roof.test/fine", nil); r.status != 200 || r.text != "fine" {
		t.Errorf("the next request got %d %q", r.status, r.text)
	}
}

// TestRequestsDoNotWait holds one request open while another is answered, as a
// page waiting for IndexedDB must not hold up the rest.
func TestRequestsDoNotWait(t *testing.T) {
	release := make(chan struct{})
	h := serve(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/slow" {
			<-release
		}
		io.WriteString(w, r.URL.Path)
	})
	function := h.function()
	defer function.Release()
	slow := function.Invoke(js.Global().Get("Request").New("https://roof.test/slow"))
	if r := ask(t, h, "https://roof.test/quick", nil); r.text != "/quick" {
		t.Errorf("got %q", r.text)
	}
	close(release)
	if got := await(t, await(t, slow).Call("text")).String(); got != "/slow" {
		t.Errorf("got %q", got)
	}
}

func TestSite(t *testing.T) {
	protected := &Host{
		Log:     log.New(io.Discard, "", 0),
		Handler: http.NewCrossOriginProtection().Handler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { io.WriteString(w, r.Header.Get("Sec-Fetch-Site")) })),
	}
	tests := []struct {
		mode, method, referrer string
		status                 int
		site                   string
	}{
		{"navigate", "GET", "", 200, "none"},
		{"navigate", "GET", "https://roof.test/jobs", 200, "same-origin"},
		{"navigate", "GET", "https://other.test/", 200, "cross-site"},
		{"navigate", "POST", "https://roof.test/job/1", 200, "same-origin"},
		{"navigate", "POST", "https://other.test/", 403, ""},
		{"navigate", "POST", "http://roof.test/", 403, ""},
		{"navigate", "POST", "https://roof.test.other.test/", 403, ""},
		{"navigate", "POST", "", 403, ""},
		{"cors", "POST", "about:client", 200, "same-origin"},
		{"same-origin", "GET", "", 200, "same-origin"},
	}
	for _, test := range tests {
		// No script may make a Request that navigates, so one is dressed up.
		r := ask(t, protected, "https://roof.test/job/1/run", map[string]any{"method": test.method}, func(request js.Value) {
			for name, value := range map[string]string{"mode": test.mode, "referrer": test.referrer} {
				js.Global().Get("Object").Call("defineProperty", request, name, map[string]any{"value": value})
			}
		})
		if r.status != test.status || test.status == 200 && r.text != test.site {
			t.Errorf("%s by %s from %q: %d %q, want %d %q", test.method, test.mode, test.referrer, r.status, r.text, test.status, test.site)
		}
	}
}
