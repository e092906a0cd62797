package signin

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"duskline/internal/store/sqlite"
)

// cheap makes a test quick; nothing is tested at this cost that depends on it.
var cheap = Cost{Memory: 64, Passes: 1, Lanes: 1}

const (
	good  = "four words of mine"
	other = "and four other ones"
)

// office is a set of accounts with a clock, and how often a password was worked
// on.
type office struct {
	*Accounts
	t      testing.TB
	folder string

	mu     sync.Mutex
	now    time.Time
	worked atomic.Int64
}

func (o *office) clock() time.Time {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.now
}

func (o *office) wait(d time.Duration) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.now = o.now.Add(d)
}

func newOffice(t testing.TB, change ...func(*Config)) *office {
	t.Helper()
	o := &office{t: t, folder: t.TempDir(), now: time.Now()}
	db, err := sqlite.Open(t.Context(), filepath.Join(o.folder, "office.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	c := Config{Database: db, Folder: o.folder, Now: o.clock, Cost: cheap, Logf: func(string, ...any) {}}
	for _, do := range change {
		do(&c)
	}
	if o.Accounts, err = Open(c); err != nil {
		t.Fatal(err)
	}
	derive := o.passwords.derive
	o.passwords.derive = func(password, salt []byte, c Cost, length uint32) []byte {
		o.worked.Add(1)
		return derive(password, salt, c, length)
	}
	return o
}

func (o *office) add(login string, parts ...Part) string {
	o.t.Helper()
	id, err := o.Add(o.t.Context(), login, login+" Invented", good, parts...)
	if err != nil {
		o.t.Fatal(err)
	}
	return id
}

// browser keeps cookies as a browser does.
type browser struct {
	o       *office
	from    string // address
	https   bool
	cookies map[string]*http.Cookie
}

func (o *office) browser() *browser {
	return &browser{o: o, from: "192.0.2.7:5000", cookies: map[string]*http.Cookie{}}
}

func (b *browser) request(method, path string) *http.Request {
	r := httptest.NewRequest(method, path, nil)
	r.RemoteAddr = b.from
	if b.https {
		r.Header.Set("X-Forwarded-Proto", "https")
	}
	for _, c := range b.cookies {
		r.AddCookie(c)
	}
	return r
}

func (b *browser) take(w *httptest.ResponseRecorder) []*http.Cookie {
	set := w.Result().Cookies()
	for _, c := range set {
		if b.cookies[c.Name] = c; c.MaxAge < 0 {
			delete(b.cookies, c.Name)
		}
	}
	return set
}

// as runs do with a request that has come through the guard.
func (b *browser) as(do func(w http.ResponseWriter, r *http.Request) error) (err error) {
	w := httptest.NewRecorder()
	b.o.Guard(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { err = do(w, r) }), "/").ServeHTTP(w, b.request("POST", "/"))
	b.take(w)
	return err
}

func (b *browser) signIn(login, password string) error {
	return b.as(func(w http.ResponseWriter, r *http.Request) error { return b.o.SignIn(w, r, login, password) })
}

// login is who is signed in; "" for nobody.
func (b *browser) login() string {
	var login string
	w := httptest.NewRecorder()
	b.o.Guard(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		x, _ := Asking(r)
		login = x.Login
	})).ServeHTTP(w, b.request("GET", "/job/hall/"))
	return login
}

func (b *browser) must(err error) {
	b.o.t.Helper()
	if err != nil {
		b.o.t.Fatal(err)
	}
}

func says(t testing.TB, err error, field, words string) {
	t.Helper()
	var r Refused
	if !errors.As(err, &r) || !strings.Contains(r[field], words) {
		t.Errorf("error is %v, want a sentence with %q at %q", err, words, field)
	}
}

func TestSignIn(t *testing.T) {
	o := newOffice(t)
	o.add("ada")
	b := o.browser()
	if b.login() != "" {
		t.Error("signed in before signing in")
	}
	for _, wrong := range [][2]string{{"ada", other}, {"ada", ""}, {"bo", good}, {"", ""}, {"ada", good + " "}, {"ada", strings.Repeat("x", 100_000)}, {"\x00'; --", "\xff"}} {
		if err := b.signIn(wrong[0], wrong[1]); !errors.Is(err, ErrWrong) {
			t.Errorf("%.20q: %v", wrong, err)
		}
	}
	b.must(b.signIn(" Ada ", good)) // as a tablet's keyboard writes it
	if b.login() != "ada" {
		t.Errorf("signed in as %q", b.login())
	}
	copied := o.browser()
	for name, c := range b.cookies {
		copied.cookies[name] = c
	}
	b.must(b.as(o.SignOut))
	if b.login() != "" || len(b.cookies) > 0 {
		t.Error("still signed in after signing out")
	}
	if copied.login() != "" {
		t.Error("a copy of the cookie outlives signing out")
	}
}

func TestCookie(t *testing.T) {
	for _, c := range []struct {
		proxied, https, secure bool
		name                   string
	}{{false, false, false, "duskline"}, {true, true, true, "__Host-duskline"}, {true, false, false, "duskline"}, {false, true, false, "duskline"}} {
		o := newOffice(t, func(x *Config) { x.Proxied = c.proxied })
		o.add("ada")
		b := o.browser()
		b.https = c.https
		w := httptest.NewRecorder()
		b.must(o.SignIn(w, b.request("POST", "/sign-in"), "ada", good))
		set := b.take(w)
		if len(set) != 1 {
			t.Fatalf("%d cookies", len(set))
		}
		got := set[0]
		if got.Name != c.name || !got.HttpOnly || got.SameSite != http.SameSiteLaxMode || got.Secure != c.secure || got.Path != "/" || got.Domain != "" || got.MaxAge != 30*24*3600 {
			t.Errorf("%+v: %v", c, got)
		}
		if strings.Contains(got.Value, "ada") || b.login() != "ada" {
			t.Errorf("%+v: the cookie shows what it holds, or does not hold", c)
		}
		// One letter changed is no cookie of ours.
		flip := byte('A')
		if got.Value[len(got.Value)/2] == flip {
			flip = 'B'
		}
		got.Value = got.Value[:len(got.Value)/2] + string(flip) + got.Value[len(got.Value)/2+1:]
		if b.login() != "" {
			t.Error("a changed cookie was taken")
		}
	}
	// Keys of another start.
	o, p := newOffice(t), newOffice(t)
	o.add("ada")
	p.add("ada")
	b := o.browser()
	b.must(b.signIn("ada", good))
	b.o = p
	if b.login() != "" {
		t.Error("another office's cookie was taken")
	}
}

// Signing in begins a session of its own, whatever the browser brought along.
func TestSessionFixation(t *testing.T) {
	o := newOffice(t)
	o.add("ada")
	o.add("eve")
	eve := o.browser()
	eve.must(eve.signIn("eve", good))
	planted := eve.cookies["duskline"]
	ada := o.browser()
	ada.cookies["duskline"] = planted
	ada.must(ada.signIn("ada", good))
	if ada.cookies["duskline"].Value == planted.Value {
		t.Fatal("the planted cookie was kept")
	}
	before, _ := o.cookie(eve.request("GET", "/"))
	after, _ := o.cookie(ada.request("GET", "/"))
	if before.id == after.id || after.id == "" {
		t.Errorf("session %q became %q", before.id, after.id)
	}
	if eve.login() != "" {
		t.Error("the planted session still stands")
	}
	first := ada.cookies["duskline"].Value
	ada.must(ada.signIn("ada", good))
	if ada.cookies["duskline"].Value == first {
		t.Error("signing in again began no new session")
	}
}

func TestSessionsEnd(t *testing.T) {
	o := newOffice(t)
	o.add("max", Part{Job: Company, Role: Manager})
	id := o.add("ada")
	desk, phone := o.browser(), o.browser()
	both := func() {
		t.Helper()
		desk.must(desk.signIn("ada", good))
		phone.must(phone.signIn("ada", good))
	}
	both()
	desk.must(o.Disable(t.Context(), id))
	if desk.login() != "" || phone.login() != "" {
		t.Error("a disabled account is still signed in")
	}
	if err := desk.signIn("ada", good); !errors.Is(err, ErrWrong) {
		t.Errorf("a disabled account signs in: %v", err)
	}
	desk.must(o.Enable(t.Context(), id))
	if desk.login() != "" {
		t.Error("enabling an account revives its sessions")
	}
	both()
	change := func(old, new string) error {
		return desk.as(func(w http.ResponseWriter, r *http.Request) error { return o.ChangePassword(w, r, old, new) })
	}
	if err := change(other, other); !errors.Is(err, ErrWrong) {
		t.Errorf("with a wrong old password: %v", err)
	}
	says(t, change(good, "short"), "password", "at least 12 characters; this one has 5")
	if phone.login() != "ada" {
		t.Error("a refused change ended a session")
	}
	desk.must(change(good, other))
	if desk.login() != "ada" || phone.login() != "" {
		t.Errorf("after another password: desk %q, phone %q", desk.login(), phone.login())
	}
	if err := phone.signIn("ada", good); !errors.Is(err, ErrWrong) {
		t.Errorf("the old password still fits: %v", err)
	}
	phone.must(phone.signIn("ada", other))
	o.wait(sessionHolds - time.Minute)
	if phone.login() != "ada" {
		t.Error("signed out before its time")
	}
	o.wait(2 * time.Minute)
	if phone.login() != "" {
		t.Error("a session has no end")
	}
}

// A guess costs the same work for whoever's name it is.
func TestWorkDoesNotTell(t *testing.T) {
	o := newOffice(t)
	o.add("max", Part{Job: Company, Role: Manager})
	o.add("ada")
	gone := o.add("gone")
	if _, _, err := o.Invite(t.Context(), "new", "New Invented"); err != nil {
		t.Fatal(err)
	}
	if err := o.Disable(t.Context(), gone); err != nil {
		t.Fatal(err)
	}
	for login, password := range map[string]string{"ada": other, "nobody": other, "new": "", "gone": good, "": ""} {
		before := o.worked.Load()
		var cost []Cost
		derive := o.passwords.derive
		o.passwords.derive = func(password, salt []byte, c Cost, length uint32) []byte {
			cost = append(cost, c)
			return derive(password, salt, c, length)
		}
		err := o.browser().signIn(login, password)
		o.passwords.derive = derive
		if n := o.worked.Load() - before; !errors.Is(err, ErrWrong) || n != 1 || cost[0] != cheap {
			t.Errorf("%q: %v after %d times of work at %v, want once at %v", login, err, n, cost, cheap)
		}
	}
}

// Any number of guesses at the same time are no more than are allowed in a row.
func TestGuessingInParallel(t *testing.T) {
	for _, c := range []struct {
		name string
		from func(i int) string
		who  func(i int) string
		most int64
	}{
		{"one account, many addresses", func(i int) string { return fmt.Sprintf("198.51.100.%d:1", i) }, func(int) string { return "ada" }, triesOfAccount},
		{"a name nobody has", func(i int) string { return fmt.Sprintf("198.51.100.%d:1", i) }, func(int) string { return "nobody" }, triesOfAccount},
		{"one address, many accounts", func(int) string { return "192.0.2.7:1" }, func(i int) string { return fmt.Sprint("user", i) }, triesOfAddress},
		{"one network of IPv6", func(i int) string { return fmt.Sprintf("[2001:db8::%x]:1", i) }, func(i int) string { return fmt.Sprint("user", i) }, triesOfAddress},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := newOffice(t)
			o.add("ada")
			before := o.worked.Load()
			var all sync.WaitGroup
			var refused atomic.Int64
			for i := range 200 {
				all.Go(func() {
					b := o.browser()
					b.from = c.from(i)
					err := b.signIn(c.who(i), fmt.Sprint("guess number ", i))
					if errors.As(err, new(TooMany)) {
						refused.Add(1)
					} else if !errors.Is(err, ErrWrong) {
						t.Errorf("guess %d: %v", i, err)
					}
				})
			}
			all.Wait()
			if n := o.worked.Load() - before; n != c.most || refused.Load() != 200-c.most {
				t.Errorf("%d guesses were worked on and %d refused, want %d and %d", n, refused.Load(), c.most, 200-c.most)
			}
			b := o.browser()
			b.from = c.from(1)
			var wait TooMany
			if err := b.signIn(c.who(0), good); !errors.As(err, &wait) {
				t.Errorf("the right password was let through: %v", err)
			}
			if left := wait.Next.Sub(o.clock()); left <= 0 || left > triesWithin {
				t.Errorf("to wait %v", left)
			}
			o.wait(triesWithin)
			if err := b.signIn(c.who(0), "wrong again, I fear"); !errors.Is(err, ErrWrong) {
				t.Errorf("after the wait: %v", err)
			}
			b.from = "203.0.113.1:1"
			b.must(b.signIn("ada", good))
		})
	}
}

// Signing in often is no guessing.
func TestSigningInOften(t *testing.T) {
	o := newOffice(t)
	o.add("ada")
	for range 3 * triesOfAddress {
		b := o.browser()
		b.must(b.signIn("ada", good))
	}
	// Somebody guesses at Ada's account: a new link lets her in all the same.
	for range triesOfAccount {
		o.browser().signIn("ada", other)
	}
	b := o.browser()
	if err := b.signIn("ada", good); !errors.As(err, new(TooMany)) {
		t.Fatalf("after %d wrong tries: %v", triesOfAccount, err)
	}
	x, err := o.List(t.Context())
	b.must(err)
	code, err := o.NewLink(t.Context(), x[0].ID)
	b.must(err)
	b.must(b.as(func(w http.ResponseWriter, r *http.Request) error { return o.Accept(w, r, code, other) }))
	if b.login() != "ada" {
		t.Error("the link did not let Ada in")
	}
}

func TestTriesAreForgotten(t *testing.T) {
	tr := &tries{most: 2, within: time.Minute}
	now := time.Now()
	for i := range 50_000 {
		if err := tr.take(fmt.Sprint(i), now.Add(time.Duration(i)*time.Second)); err != nil {
			t.Fatal(err)
		}
	}
	if n := len(tr.made); n > 2000 {
		t.Errorf("%d keys are remembered of 60 that count", n)
	}
	tr.giveBack("49999")
	tr.giveBack("49999") // there is none left
	for i := range 3 {
		if err := tr.take("49999", now.Add(50_000*time.Second)); (err != nil) != (i == 2) {
			t.Errorf("try %d: %v", i, err)
		}
	}
}

func TestFirst(t *testing.T) {
	o := newOffice(t)
	code, err := o.FirstCode(t.Context())
	if err != nil || len(code) != 19 {
		t.Fatalf("code %q, %v", code, err)
	}
	if again, _ := o.FirstCode(t.Context()); again != code {
		t.Error("the code changes while the program runs")
	}
	b := o.browser()
	first := func(code, login, name, password string) error {
		return b.as(func(w http.ResponseWriter, r *http.Request) error { return o.First(w, r, code, login, name, password) })
	}
	worked := o.worked.Load()
	err = first("AAAA-AAAA-AAAA-AAAA", "a", "", "short")
	says(t, err, "code", "not the code")
	says(t, err, "login", "2 to 64 characters")
	says(t, err, "name", "Give the person's name")
	says(t, err, "password", "at least 12 characters; this one has 5")
	says(t, first("", "ada", "Ada Invented", good), "code", "not the code")
	if o.worked.Load() != worked {
		t.Error("a wrong code costs work")
	}
	typed := strings.ReplaceAll(strings.ToLower(code), "-", " ")
	b.must(first(typed, "Ada", "Ada Invented", good))
	if b.login() != "ada" {
		t.Errorf("signed in as %q", b.login())
	}
	all, _ := o.List(t.Context())
	if len(all) != 1 || !all[0].Manages() {
		t.Errorf("accounts are %+v", all)
	}
	says(t, first(code, "bo", "Bo Invented", good), "", "already")
	if code, err := o.FirstCode(t.Context()); code != "" || err != nil {
		t.Errorf("there is a code still: %q, %v", code, err)
	}
}

// Of many who use one code or link at the same time one gets through.
func TestUsedOnce(t *testing.T) {
	o := newOffice(t)
	code, _ := o.FirstCode(t.Context())
	race := func(do func(i int, w http.ResponseWriter, r *http.Request) error) (through int64) {
		var all sync.WaitGroup
		var n atomic.Int64
		for i := range 20 {
			all.Go(func() {
				b := o.browser()
				b.from = fmt.Sprintf("198.51.100.%d:1", i)
				if b.as(func(w http.ResponseWriter, r *http.Request) error { return do(i, w, r) }) == nil {
					n.Add(1)
				}
			})
		}
		all.Wait()
		return n.Load()
	}
	if n := race(func(i int, w http.ResponseWriter, r *http.Request) error {
		return o.First(w, r, code, fmt.Sprint("user", i), "Somebody Invented", good)
	}); n != 1 {
		t.Errorf("%d first accounts", n)
	}
	_, link, err := o.Invite(t.Context(), "bo", "Bo Invented")
	if err != nil {
		t.Fatal(err)
	}
	if n := race(func(i int, w http.ResponseWriter, r *http.Request) error {
		return o.Accept(w, r, link, fmt.Sprint("password of number ", i))
	}); n != 1 {
		t.Errorf("a link was used %d times", n)
	}
	if all, _ := o.List(t.Context()); len(all) != 2 {
		t.Errorf("%d accounts", len(all))
	}
}

func TestInvite(t *testing.T) {
	o := newOffice(t)
	b := o.browser()
	accept := func(code, password string) error {
		return b.as(func(w http.ResponseWriter, r *http.Request) error { return o.Accept(w, r, code, password) })
	}
	gone := func(what, code string) {
		t.Helper()
		if _, err := o.Invited(t.Context(), code); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: opened: %v", what, err)
		}
		if err := accept(code, good); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: used: %v", what, err)
		}
	}
	gone("no link", "")
	id, code, err := o.Invite(t.Context(), "Ada", "Ada Invented", Part{Job: "hall", Role: Foreman, Person: "ada"})
	b.must(err)
	_, _, err = o.Invite(t.Context(), "ADA ", "Another")
	says(t, err, "login", "already")
	_, _, err = o.Invite(t.Context(), "x y", "\x07", Part{Job: "hall", Role: Foreman})
	says(t, err, "login", "letters a to z")
	says(t, err, "name", "cannot be shown")
	says(t, err, "", "Choose the person")
	if x, err := o.Invited(t.Context(), code); err != nil || x.ID != id || x.Chosen {
		t.Errorf("the link leads to %+v, %v", x, err)
	}
	says(t, accept(code, "ada"), "password", "at least 12")
	says(t, accept(code, strings.Repeat("ab", 10)), "password", "same few characters")
	says(t, accept(code, "Ada Invented"), "password", "first thing")
	says(t, accept(code, strings.Repeat("word ", 300)), "password", "1000")
	if b.login() != "" {
		t.Error("signed in with a password that will not do")
	}
	b.must(accept(code, good))
	if b.login() != "ada" {
		t.Errorf("signed in as %q", b.login())
	}
	gone("used before", code)
	o.browser().must(o.browser().signIn("ada", good))

	first, err := o.NewLink(t.Context(), id)
	b.must(err)
	second, err := o.NewLink(t.Context(), id)
	b.must(err)
	gone("replaced", first)
	o.wait(LinkHolds)
	gone("too old", second)
	third, err := o.NewLink(t.Context(), id)
	b.must(err)
	b.must(o.Disable(t.Context(), id))
	gone("disabled", third)
	_, err = o.NewLink(t.Context(), id)
	says(t, err, "", "disabled")
	b.must(o.Enable(t.Context(), id))
	gone("disabled meanwhile", third)
	fourth, err := o.NewLink(t.Context(), id)
	b.must(err)
	desk := o.browser()
	desk.must(desk.signIn("ada", good))
	desk.must(desk.as(func(w http.ResponseWriter, r *http.Request) error { return o.ChangePassword(w, r, good, other) }))
	gone("another password meanwhile", fourth)
	fifth, err := o.NewLink(t.Context(), id)
	b.must(err)
	b.must(accept(fifth, "a third set of words"))
	if desk.login() != "" {
		t.Error("a session outlives the password it began with")
	}
	if _, err := o.NewLink(t.Context(), "nobody"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a link for nobody: %v", err)
	}
}

func TestSomebodyKeepsTheAccounts(t *testing.T) {
	o := newOffice(t)
	ctx := t.Context()
	max := o.add("max", Part{Job: Company, Role: Manager})
	ada := o.add("ada", Part{Job: "hall", Role: Manager})
	invited, _, err := o.Invite(ctx, "new", "New Invented", Part{Job: Company, Role: Manager})
	if err != nil {
		t.Fatal(err)
	}
	const nobody = "nobody could keep the accounts"
	says(t, o.Disable(ctx, max), "", nobody)
	says(t, o.RemovePart(ctx, max, Company), "", nobody)
	if x, _ := o.Account(ctx, max); !x.Manages() {
		t.Fatal("a refused change was made")
	}
	for _, err := range []error{o.Disable(ctx, invited), o.SetPart(ctx, ada, Part{Job: Company, Role: Manager}), o.Disable(ctx, max)} {
		if err != nil {
			t.Error(err)
		}
	}
	for _, err := range []error{o.Disable(ctx, "none"), o.Enable(ctx, "none"), o.SetPart(ctx, "none", Part{Job: "hall", Role: Owner}), o.RemovePart(ctx, "none", "hall")} {
		if !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("an account that is not there: %v", err)
		}
	}
}

func TestParts(t *testing.T) {
	reads := May{Role: Manager, Person: "id", Reads: true, Office: true, Signed: true}
	crew := May{Role: Foreman, Person: "ada", Reads: true, Crew: true, Signed: true}
	company := Part{Job: Company, Role: Manager}
	foreman := Part{Job: "hall", Role: Foreman, Person: "ada"}
	for _, c := range []struct {
		name  string
		parts []Part
		job   string
		want  May
	}{
		{"nothing", nil, "hall", May{}},
		{"another job", []Part{foreman}, "annex", May{}},
		{"foreman", []Part{foreman}, "hall", crew},
		{"company", []Part{company}, "hall", reads},
		{"company and foreman", []Part{company, foreman}, "hall", May{Role: Foreman, Person: "ada", Reads: true, Crew: true, Office: true, Signed: true}},
		{"company, elsewhere foreman", []Part{company, foreman}, "annex", reads},
		{"manager of a job", []Part{{Job: "hall", Role: Manager, Person: "max"}}, "hall", May{Role: Manager, Person: "max", Reads: true, Office: true, Signed: true}},
		{"owner", []Part{{Job: "hall", Role: Owner}}, "hall", May{Role: Owner, Signed: true}},
		{"manager of a job, the company", []Part{{Job: "hall", Role: Manager}}, Company, May{}},
	} {
		a := Account{ID: "id", Parts: c.parts}
		if got := a.On(c.job); got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
		a.Disabled = time.Now()
		if got := a.On(c.job); got != (May{}) {
			t.Errorf("%s, disabled: %+v", c.name, got)
		}
	}
	o := newOffice(t)
	id := o.add("ada", company, foreman)
	for _, bad := range []Part{{Job: "hall"}, {Job: "hall", Role: "boss"}, {Job: Company, Role: Owner}, {Job: "hall", Role: Foreman}, {Job: "a\nb", Role: Owner}} {
		if err := o.SetPart(t.Context(), id, bad); !errors.As(err, new(Refused)) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
	if err := errors.Join(o.SetPart(t.Context(), id, Part{Job: "hall", Role: Owner}), o.SetPart(t.Context(), id, Part{Job: "annex", Role: Foreman, Person: "a"}), o.RemovePart(t.Context(), id, "annex")); err != nil {
		t.Fatal(err)
	}
	x, _ := o.Account(t.Context(), id)
	if want := []Part{company, {Job: "hall", Role: Owner}}; fmt.Sprint(x.Parts) != fmt.Sprint(want) {
		t.Errorf("parts are %v, want %v", x.Parts, want)
	}
}

func TestGuard(t *testing.T) {
	o := newOffice(t)
	site := o.Guard(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(http.StatusTeapot) }), "/sign-in", "/invite/")
	for _, c := range []struct{ method, path, referer, to string }{
		{"GET", "/", "", "/sign-in?next=%2F"},
		{"GET", "/job/hall/entries?day=2026-10-06", "", "/sign-in?next=%2Fjob%2Fhall%2Fentries%3Fday%3D2026-10-06"},
		{"HEAD", "/accounts", "", "/sign-in?next=%2Faccounts"},
		{"POST", "/job/hall/run", "http://example.com/job/hall/run?x=1", "/sign-in?next=%2Fjob%2Fhall%2Frun%3Fx%3D1&unsaved=1"},
		{"POST", "/job/hall/run", "http://elsewhere.example/", "/sign-in?next=%2F&unsaved=1"},
		{"GET", "/sign-in", "", ""}, {"POST", "/sign-in", "", ""}, {"GET", "/invite/abc", "", ""}, {"GET", "/static/site.css", "", ""},
		{"GET", "/sign-in/", "", "/sign-in?next=%2Fsign-in%2F"}, {"GET", "/invite", "", "/sign-in?next=%2Finvite"}, {"GET", "/staticx", "", "/sign-in?next=%2Fstaticx"},
	} {
		r := httptest.NewRequest(c.method, c.path, nil)
		if c.referer != "" {
			r.Header.Set("Referer", c.referer)
		}
		w := httptest.NewRecorder()
		site.ServeHTTP(w, r)
		if c.to == "" {
			if w.Code != http.StatusTeapot {
				t.Errorf("%s %s: %d", c.method, c.path, w.Code)
			}
		} else if w.Code != http.StatusSeeOther || w.Header().Get("Location") != c.to || w.Header().Get("Cache-Control") != "no-store" {
			t.Errorf("%s %s: %d to %s, want %s", c.method, c.path, w.Code, w.Header().Get("Location"), c.to)
		}
	}
	if _, ok := Asking(httptest.NewRequest("GET", "/", nil)); ok {
		t.Error("somebody asks who came past the guard")
	}
}

func TestLocal(t *testing.T) {
	for _, next := range []string{"/", "/job/hall/", "/job/hall/entries?day=2026-10-06", "/a/../b", "/x?next=//a.example", "/%2f%2fa.example"} {
		if got := Local(next); got != next {
			t.Errorf("%q became %q", next, got)
		}
	}
	for _, next := range []string{"", "job", "//a.example", "///a.example", "/\\a.example", "\\\\a.example", "/\t/a.example", "/\n/a.example", "\t//a.example", " /x", "/ /x",
		"https://a.example/", "http:/a.example", "javascript:alert(1)", "data:text/html,x", "//user@a.example", "/\x00", "/x\x7f", "/%", "?x", "/" + strings.Repeat("a", 2000)} {
		if got := Local(next); got != "/" {
			t.Errorf("%q became %q", next, got)
		}
	}
}

// What Local lets pass is a path to a browser's reading of addresses as well:
// one slash, then neither slash nor backslash, and nothing it would drop.
func FuzzLocal(f *testing.F) {
	f.Add("//a.example")
	f.Add("/\t/a.example")
	f.Add("/job/hall/?day=1")
	f.Fuzz(func(t *testing.T, next string) {
		got := Local(next)
		w := httptest.NewRecorder()
		http.Redirect(w, httptest.NewRequest("POST", "/sign-in", nil), got, http.StatusSeeOther)
		for _, to := range []string{got, w.Header().Get("Location")} {
			if to[0] != '/' || len(to) > 1 && (to[1] == '/' || to[1] == '\\') || strings.ContainsAny(to, "\t\r\n\\ ") {
				t.Errorf("%q leads to %q", next, to)
			}
		}
	})
}

func TestAddress(t *testing.T) {
	for _, c := range []struct {
		proxied       bool
		remote, heard string
		want          string
	}{
		{false, "192.0.2.7:5000", "", "192.0.2.7"},
		{false, "192.0.2.7:5000", "203.0.113.1", "192.0.2.7"},
		{true, "192.0.2.7:5000", "203.0.113.1", "203.0.113.1"},
		{true, "192.0.2.7:5000", "10.0.0.1, 203.0.113.1", "203.0.113.1"}, // what came with the request, then what the proxy saw
		{true, "192.0.2.7:5000", "", "192.0.2.7"},
		{false, "[2001:db8:1:2:3:4:5:6]:5000", "", "2001:db8:1:2::/64"},
		{false, "[::ffff:192.0.2.7]:5000", "", "192.0.2.7"},
		{false, "[fe80::1%eth0]:5000", "", "fe80::/64"},
		{false, "@", "", "@"},
	} {
		a := &Accounts{Config: Config{Proxied: c.proxied}}
		r := httptest.NewRequest("GET", "/", nil)
		r.RemoteAddr = c.remote
		if c.heard != "" {
			r.Header.Set("X-Forwarded-For", c.heard)
		}
		if got := a.address(r); got != c.want {
			t.Errorf("%+v: %s", c, got)
		}
	}
}

func TestKeys(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, keysFile)
	first, err := readKeys(folder)
	if err != nil {
		t.Fatal(err)
	}
	if info, _ := os.Stat(path); info.Mode().Perm() != 0o600 {
		t.Errorf("the keys are kept with %v", info.Mode().Perm())
	}
	if left, _ := os.ReadDir(folder); len(left) != 1 {
		t.Errorf("%d files are left", len(left))
	}
	again, err := readKeys(folder)
	if err != nil || string(again.sign) != string(first.sign) || string(again.hide) != string(first.hide) || string(first.sign) == string(first.hide) {
		t.Errorf("read again: %v", err)
	}
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	if _, err := readKeys(folder); err == nil || !strings.Contains(err.Error(), "can be read by others") {
		t.Errorf("keys that others can read: %v", err)
	}
	if err := os.WriteFile(path, []byte("abc\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	os.Chmod(path, 0o600)
	if _, err := readKeys(folder); err == nil || !strings.Contains(err.Error(), "does not hold two keys") {
		t.Errorf("keys cut short: %v", err)
	}
	if _, err := readKeys(filepath.Join(folder, "none")); err == nil {
		t.Error("keys were made in a folder that is not there")
	}
}

// TestUsualCost takes the program's own cost: the text form says it, and what
// was hashed at another cost is hashed anew at signing in.
func TestUsualCost(t *testing.T) {
	o := newOffice(t)
	id := o.add("ada")
	kept := func() string {
		x, err := o.Account(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		return x.password
	}
	if !strings.HasPrefix(kept(), "$argon2id$v=19$m=64,t=1,p=1$") {
		t.Errorf("kept as %.40s", kept())
	}
	o.passwords.cost = usualCost
	begun := time.Now()
	o.browser().must(o.browser().signIn("ada", good))
	t.Logf("hashing anew took %v", time.Since(begun))
	if !strings.HasPrefix(kept(), "$argon2id$v=19$m=47104,t=2,p=1$") {
		t.Errorf("hashed anew as %.40s", kept())
	}
	o.browser().must(o.browser().signIn("ada", good))
	if a, b := o.passwords.hash(good), o.passwords.hash(good); a == b {
		t.Error("the same password twice is the same text")
	}
	for _, bad := range []string{"x", "$argon2id$v=19$m=64,t=1,p=1$c2FsdA$aGFzaA", "$argon2i$v=19$m=64,t=1,p=1$c2FsdA$aGFzaA", "$argon2id$v=19$m=0,t=0,p=0$$", "$argon2id$v=19$m=64$*$*"} {
		if fits, _, err := o.passwords.fit(bad, ""); fits || err == nil {
			t.Errorf("%q fits: %v, %v", bad, fits, err)
		}
	}
}

func TestTablets(t *testing.T) {
	o := newOffice(t)
	tablets := Tablets{Database: o.Database, Now: o.clock}
	ctx := t.Context()
	_, err := tablets.Enrol(ctx, "", "\x00")
	says(t, err, "tablet", "did not say")
	says(t, err, "name", "cannot be shown")
	key, err := tablets.Enrol(ctx, "device1", "Tablet of the annex crew", "hall", "annex", "hall")
	if err != nil || len(key) < 52 {
		t.Fatalf("key %q, %v", key, err)
	}
	another, err := tablets.Enrol(ctx, "device2", "Spare")
	if err != nil || another == key {
		t.Fatalf("key %q, %v", another, err)
	}
	x, err := tablets.Check(ctx, key)
	if err != nil || x.ID != "device1" || fmt.Sprint(x.Jobs) != "[annex hall]" || !x.Revoked.IsZero() || x.Enrolled.IsZero() {
		t.Errorf("the key is that of %+v, %v", x, err)
	}
	for _, bad := range []string{"", "device1", key[1:], strings.ToLower(key), string(hashOf(key))} {
		if _, err := tablets.Check(ctx, bad); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("key %q: %v", bad, err)
		}
	}
	o.wait(time.Hour)
	if err := errors.Join(tablets.Revoke(ctx, "device1"), tablets.SetJobs(ctx, "device1", "hall")); err != nil {
		t.Fatal(err)
	}
	if x, err = tablets.Check(ctx, key); err != nil || x.Revoked.Unix() != o.clock().Unix() || fmt.Sprint(x.Jobs) != "[hall]" {
		t.Errorf("revoked: %+v, %v", x, err)
	}
	renewed, err := tablets.Enrol(ctx, "device1", "Tablet", "hall")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tablets.Check(ctx, key); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the key from before: %v", err)
	}
	if x, err := tablets.Check(ctx, renewed); err != nil || !x.Revoked.IsZero() || x.Name != "Tablet" {
		t.Errorf("enrolled again: %+v, %v", x, err)
	}
	for _, err := range []error{tablets.Revoke(ctx, "none"), tablets.SetJobs(ctx, "none")} {
		if !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("a tablet that is not there: %v", err)
		}
	}
	if all, err := tablets.List(ctx); err != nil || len(all) != 2 || all[0].Name != "Spare" {
		t.Errorf("all tablets: %+v, %v", all, err)
	}
	// Nothing that could sign somebody in stands in the file as it is.
	for _, name := range []string{"office.db", "office.db-wal"} {
		text, err := os.ReadFile(filepath.Join(o.folder, name))
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			t.Fatal(err)
		}
		for _, secret := range []string{key, another, renewed} {
			if strings.Contains(string(text), secret) {
				t.Errorf("%s holds a key", name)
			}
		}
	}
}

// A database that fails is an error, never somebody signed in.
func TestDatabaseFails(t *testing.T) {
	o := newOffice(t)
	o.add("ada")
	b := o.browser()
	b.must(b.signIn("ada", good))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	r := b.request("GET", "/").WithContext(ctx)
	w := httptest.NewRecorder()
	o.Guard(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("let through") })).ServeHTTP(w, r)
	if w.Code != http.StatusInternalServerError {
		t.Errorf("status %d", w.Code)
	}
	if err := o.SignIn(w, r, "ada", good); err == nil || errors.Is(err, ErrWrong) {
		t.Errorf("signing in: %v", err)
	}
}

// TestEnrol: a code enrols one tablet, once, within the hour.
func TestEnrol(t *testing.T) {
	o := newOffice(t)
	tablets := Tablets{Database: o.Database, Now: o.clock}
	ctx := t.Context()
	if _, _, err := tablets.Offer(ctx, " ", "hall"); !refuses(err, "name") {
		t.Errorf("without a name: %v", err)
	}
	if _, _, err := tablets.Offer(ctx, "Tablet 1"); !refuses(err, "jobs") {
		t.Errorf("without a job: %v", err)
	}
	code, until, err := tablets.Offer(ctx, "Tablet 1", "hall", "annex")
	if err != nil || !until.Equal(o.clock().Add(EnrolHolds)) {
		t.Fatal(until, err)
	}
	if _, _, err := tablets.Redeem(ctx, "AAAA-AAAA", "device1"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("another code: %v", err)
	}
	if _, _, err := tablets.Redeem(ctx, code, ""); !refuses(err, "device") {
		t.Errorf("a tablet without an id: %v", err)
	}
	x, key, err := tablets.Redeem(ctx, " "+strings.ToLower(code), "device1")
	if err != nil || x.ID != "device1" || x.Name != "Tablet 1" || fmt.Sprint(x.Jobs) != "[annex hall]" {
		t.Fatalf("%+v: %v", x, err)
	}
	if known, err := tablets.Check(ctx, key); err != nil || known.ID != "device1" {
		t.Errorf("the key is that of %+v: %v", known, err)
	}
	if _, _, err := tablets.Redeem(ctx, code, "device2"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a second time: %v", err)
	}
	code, _, err = tablets.Offer(ctx, "Tablet 2", "hall")
	if err != nil {
		t.Fatal(err)
	}
	o.now = o.now.Add(EnrolHolds)
	if _, _, err := tablets.Redeem(ctx, code, "device2"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("after its time: %v", err)
	}
	all, err := tablets.List(ctx)
	if err != nil || len(all) != 1 {
		t.Errorf("enrolled are %+v: %v", all, err)
	}
}

func refuses(err error, field string) bool {
	var r Refused
	return errors.As(err, &r) && len(r) == 1 && r[field] != ""
}
