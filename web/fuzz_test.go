package web

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
)

// sound checks what must hold after any request: no page but a whole one, and
// nothing of what was typed came out as markup.
func sound(t *testing.T, what string, w *httptest.ResponseRecorder, allowed ...int) {
	t.Helper()
	ok := false
	for _, status := range allowed {
		ok = ok || w.Code == status
	}
	page := w.Body.String()
	if !ok {
		t.Fatalf("%s: %d\n%s", what, w.Code, page)
	}
	if w.Code != http.StatusSeeOther && !strings.HasSuffix(page, "</html>") {
		t.Fatalf("%s: half a page\n%s", what, page)
	}
	if strings.Contains(page, "<zz") {
		t.Fatalf("%s: markup came out as markup\n%s", what, page)
	}
}

// FuzzForms sends any text as any form.
func FuzzForms(f *testing.F) {
	paths := []string{"run", "sign", "aside", "undo", "asked"}
	for _, set := range sets {
		paths = append(paths, "several/"+set.name)
		form := midMorning(f).formOn("/job/hall/several/" + set.name)
		for i := range form["step"] {
			form.Set(fmt.Sprintf("did.s%d", i), "on")
		}
		f.Add(len(paths)-1, form.Encode())
	}
	for _, k := range writable() {
		paths = append(paths, "write/"+k.Name)
		f.Add(len(paths)-1, midMorning(f).goodForm(k.Name).Encode())
	}
	f.Add(0, midMorning(f).runOf("seam=2|3&from=60&to=100", "priming", "test", "tape", "closed").Encode())
	f.Add(1, midMorning(f).signForm().Encode())
	for i, body := range []string{
		"", "form=aaaaaaaaaaaaaaaa", "form=aaaaaaaaaaaaaaaa&at=now", "form=aaaaaaaaaaaaaaaa&at=now&keep=1&asked=air:+x&air=x",
		"form=aaaaaaaaaaaaaaaa&at=other&at-other=%3Czz%3E&panel=%3Czz%3E&text=%3Czz%3E&seam-other=%3Czz%3E|1&places-other=1|2+%3Czz%3E",
		"form=aaaaaaaaaaaaaaaa&at=%3D2026-10-06T14:00:00Z~15&begun=other&begun-other=99:99&places=%7B%22on%22%3A%221%7C2%22%7D",
		"form=aaaaaaaaaaaaaaaa&at=now&panels=%00&panels.%00.from=1&laps.0.at=1e9&laps.39.at=1&day=2026-10-05", "%", "a;b", strings.Repeat("a=1&", 2000),
	} {
		f.Add(i, body)
	}
	start := midMorning(f).raws()
	f.Fuzz(func(t *testing.T, n int, body string) {
		path := "/job/hall/" + paths[(n%len(paths)+len(paths))%len(paths)]
		s := newSite(t)
		s.at("10:12")
		s.again(start)
		send := func(body string) *httptest.ResponseRecorder {
			r := httptest.NewRequest("POST", path, strings.NewReader(body))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			w := httptest.NewRecorder()
			s.site.ServeHTTP(w, r)
			return w
		}
		before := s.count()
		w := send(body)
		sound(t, path, w, 303, 400, 409, 413, 422)
		written := s.count() - before
		if w.Code == http.StatusSeeOther && (written < 1 || written > 2 && strings.Contains(path, "/write/")) || w.Code != http.StatusSeeOther && written != 0 {
			t.Fatalf("%s: %d, and %d written", path, w.Code, written)
		}
		if w.Code == http.StatusUnprocessableEntity && strings.Contains(w.Body.String(), "Keep as written") && !strings.Contains(w.Body.String(), `id="faults"`) {
			back := formIn(w.Body.String())
			back.Set("keep", "as written")
			again := send(back.Encode())
			sound(t, path+" kept", again, 303)
			if s.count() == before {
				t.Fatalf("%s, kept as written: nothing written\n%s", path, again.Body)
			}
		}
		if w.Code == http.StatusSeeOther {
			if w := send(body); w.Code != http.StatusSeeOther || s.count() != before+written {
				t.Fatalf("%s: sent again: %d, %d written\n%s", path, w.Code, s.count()-before, w.Body)
			}
		}
		if s.count() > before {
			day := string(s.last().Day)
			for _, page := range []string{"/job/hall/", "/job/hall/entries", "/job/hall/leaving", "/job/hall/?day=" + day, "/job/hall/entries?day=" + day} {
				sound(t, page, s.get(page), 200)
			}
			if s.last().Kind != "sign" {
				sound(t, "correcting it", s.get("/job/hall/entry/"+s.last().ID+"/correct?day="+day), 200)
			}
		}
	})
}

// FuzzSheet opens any kind's form filled in with any JSON at any time, and sends
// it as it stands.
func FuzzSheet(f *testing.F) {
	kinds := writable()
	for i, with := range []string{
		"", "{}", "null", "[", `{"panel":"<zz>","weighted":"x"}`, `{"seam":"2|3","from":-1,"to":1e308,"laps":[{"at":1e308,"lap":-5}],"splices":[null]}`,
		`{"places":[{"on":"2|3","at":492,"x":1e300},{"on":"<zz>"},5]}`, `{"panels":[{"panel":"3","less":1e-300},{"panel":"<zz>"}],"strips":{"a":1},"lb":"<zz>"}`,
		`{"leaving":"<zz>","crew":["<zz>"],"packup":{}}`, `{"leaving":"2026-10-06T99:00:00Z"}`, `{"means":["<zz>"],"line":"x"}`, `{"text":"\u0000<zz>"}`,
	} {
		for j := range 6 {
			f.Add(i+11*j, with, "=2026-10-06T14:00:00Z~15")
		}
		f.Add(i, with, "<zz>")
	}
	start := midMorning(f).raws()
	f.Fuzz(func(t *testing.T, n int, with, at string) {
		k := kinds[(n%len(kinds)+len(kinds))%len(kinds)]
		s := newSite(t)
		s.at("10:12")
		s.again(start)
		path := "/job/hall/write/" + k.Name
		w := s.get(path + "?" + url.Values{"with": {with}, "at": {at}}.Encode())
		sound(t, path, w, 200, 400)
		if w.Code != http.StatusOK {
			return
		}
		before := s.count()
		form := formIn(w.Body.String())
		w = s.post(path, form)
		sound(t, path+" sent", w, 303, 422)
		if written := s.count() - before; w.Code == http.StatusSeeOther && written != 1 || w.Code != http.StatusSeeOther && written != 0 {
			t.Fatalf("%s: %d, and %d written", path, w.Code, written)
		}
	})
}
