package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"duskline/internal/browser"
	"duskline/internal/signin"
	"duskline/internal/store/sqlite"
	"duskline/static"
)

// faultsDrawn looks at a page as it is drawn: nothing is wider than the
// screen, and what can be tapped is at least 56 pixels high.
const faultsDrawn = `(async () => {
	await document.fonts.ready;
	const bad = [];
	if (document.documentElement.scrollWidth > innerWidth) bad.push("wider than the screen by " + (document.documentElement.scrollWidth - innerWidth));
	for (const e of document.querySelectorAll("a, button, .tile, input:not([type=hidden])")) {
		if (e.closest(".tile") && !e.matches(".tile") || e.matches(".skip, .unseen") || e.getClientRects().length === 0) continue;
		const { height } = e.getBoundingClientRect();
		if (height < 55.9) bad.push((e.textContent.trim() || e.name) + " is " + height.toFixed() + " high");
	}
	return bad.join("; ");
})()`

// A foreman signs in, takes the job on board, loses the account while he
// writes, and gets it back: nothing that he wrote is lost.
func TestSigningInOnATablet(t *testing.T) {
	ctx := context.Background()
	folder := t.TempDir()
	log, err := sqlite.Open(ctx, filepath.Join(folder, "duskline.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { log.Close() })
	accounts, err := signin.Open(signin.Config{Database: log, Folder: folder, Now: time.Now, Cost: quick, Logf: t.Logf})
	if err != nil {
		t.Fatal(err)
	}
	if err := fillDemo(ctx, log, time.Now()); err != nil {
		t.Fatal(err)
	}
	if err := addDemoAccounts(ctx, accounts); err != nil {
		t.Fatal(err)
	}
	build, err := static.New(static.Files)
	if err != nil {
		t.Fatal(err)
	}
	if !build.HasProgram() {
		t.Fatal("the tablets' program is not built: run make tablet first")
	}
	h := &host{log: log, build: build, logf: t.Logf, accounts: accounts, tablets: signin.Tablets{Database: log, Now: time.Now}}
	server := browser.Serve(t, h.handler(h.routes))
	b := browser.Start(t)
	job := server.URL + "/job/" + demoJob + "/"
	look := func(p *browser.Page, name string) {
		t.Helper()
		for _, size := range []browser.Size{browser.Desk, browser.Tablet, browser.Phone, {Width: 295, Height: 205, Touch: true}} { // the last: a tablet at 400 %
			p.Resize(size)
			if bad := browser.Eval[string](p, faultsDrawn); bad != "" {
				t.Errorf("%s at %d by %d: %s", name, size.Width, size.Height, bad)
			}
			if os.Getenv("PICTURES") != "" {
				fmt.Println(p.Shot(fmt.Sprintf("%s-%d", name, size.Width)))
			}
		}
		p.Resize(browser.Tablet)
	}
	signIn := func(p *browser.Page, login, password string) {
		p.Fill("input[name=login]", login)
		p.Fill("input[name=password]", password)
		p.TapThrough("form.form .submit button")
	}

	tablet := b.Open(browser.Tablet)
	tablet.Go(job)
	if at := tablet.URL(); !strings.HasPrefix(at, server.URL+"/sign-in?next=") {
		t.Fatalf("not signed in, and at %s", at)
	}
	look(tablet, "sign-in")
	signIn(tablet, "foreman", "not this one")
	tablet.WaitText("#faults", "Sign-in name and password do not fit together.")
	look(tablet, "sign-in-wrong")
	signIn(tablet, "foreman", "invented-foreman")
	if at := tablet.URL(); at != job {
		t.Fatalf("signed in, and at %s", at)
	}
	tablet.TapThrough("form[data-take-aboard] button")
	tablet.WaitControlled()
	tablet.WaitText("header .state", "Saved here")

	all, err := accounts.List(ctx)
	if err != nil {
		t.Fatal(err)
	}
	foreman := all[0]
	if err := accounts.Disable(ctx, foreman.ID); err != nil || foreman.Login != "foreman" {
		t.Fatal(foreman.Login, err)
	}
	tablet.Go(job + "write/note")
	tablet.Fill("[name=text]", "written without an account")
	tablet.TapThrough("form.form .submit button")
	tablet.WaitText(".saved", "Saved")
	tablet.Go(server.URL + "/tablet")
	tablet.TapThrough(`form[action="/tablet/send"] button`)
	tablet.WaitText("main", "1 entries") // still here
	if err := accounts.Enable(ctx, foreman.ID); err != nil {
		t.Fatal(err)
	}
	tablet.Go(server.URL + "/sign-in")
	signIn(tablet, "foreman", "invented-foreman")
	tablet.Go(server.URL + "/tablet")
	tablet.TapThrough(`form[action="/tablet/send"] button`)
	tablet.WaitText("main", "The office has all that this tablet has.")
	entries, err := log.Entries(ctx, demoJob, "")
	if err != nil {
		t.Fatal(err)
	}
	found := false
	for i := range entries {
		found = found || strings.Contains(string(entries[i].Raw()), "written without an account")
	}
	if !found {
		t.Error("what was written meanwhile is not in the office")
	}

	desk := browser.Start(t).Open(browser.Desk)
	desk.Go(server.URL + "/accounts")
	signIn(desk, "manager", "invented-manager")
	look(desk, "accounts")
	desk.Go(server.URL + "/accounts/new")
	look(desk, "invite")
	desk.Fill("input[name=name]", "Bo Example")
	desk.Fill("input[name=login]", "bo@example.com")
	desk.TapThrough("form.form .submit button")
	look(desk, "link")
	link := desk.Text(".code")
	desk.TapThrough(`a[href$="job=` + demoJob + `"]`)
	look(desk, "part")
	desk.Tap(`label:has([name=role][value=foreman])`)
	desk.Tap(`label:has([name=person][value=bo])`)
	desk.TapThrough("form.form .submit button")
	desk.WaitText("main", "Foreman, writes as Bo Example")
	desk.Go(server.URL + "/account")
	look(desk, "account")
	desk.Go(server.URL + "/account/password")
	look(desk, "password")
	desk.Go(server.URL + "/")
	look(desk, "jobs")
	desk.Go(job)
	look(desk, "now-of-the-manager")

	phone := browser.Start(t).Open(browser.Phone)
	phone.Go(link)
	look(phone, "invite-opened")
	phone.Fill("input[name=password]", "some words of Bo")
	phone.Fill("input[name=again]", "some words of Bo")
	phone.TapThrough("form.form .submit button")
	phone.WaitText("main", "Annex roof, north half")
}

// said keeps what a program prints, and calls then once it has printed until.
type said struct {
	strings.Builder
	until *regexp.Regexp
	then  func()
}

func (s *said) Write(b []byte) (int, error) {
	n, err := s.Builder.Write(b)
	if s.until.MatchString(s.String()) {
		s.then()
	}
	return n, err
}

// What the program prints at its start is all one needs.
func TestStart(t *testing.T) {
	for _, c := range []struct {
		args []string
		says string
	}{
		{nil, `There is no account yet\. To make the first, open http://127\.0\.0\.1:\d+/first and type this code:\n  [A-Z2-7]{4}(-[A-Z2-7]{4}){3}\n`},
		{[]string{"-demo"}, `Invented jobs: Annex roof.*two finished days and one under way; Workshop roof.*\nSign in with an invented account.*:\n  manager   invented-manager\n  foreman   invented-foreman\n  owner     invented-owner\n`},
		{[]string{"-demo", "-open"}, `answers at http://127\.0\.0\.1:\d+/\nInvented jobs.*\n$`},
	} {
		var logs strings.Builder
		folder := filepath.Join(t.TempDir(), "data")
		// It starts, prints, and is ended once it has said what it should.
		ctx, stop := context.WithTimeout(t.Context(), time.Minute)
		out := said{until: regexp.MustCompile(c.says), then: stop}
		if err := serve(ctx, append(c.args, "-data", folder, "-addr", "127.0.0.1:0"), &out, &logs); err != nil {
			t.Errorf("%v: %v", c.args, err)
		}
		stop()
		if !regexp.MustCompile(c.says).MatchString(out.String()) {
			t.Errorf("%v prints\n%s", c.args, out.String())
		}
		if info, err := os.Stat(folder); err != nil || info.Mode().Perm() != 0o700 {
			t.Errorf("the folder: %v, %v", info.Mode(), err)
		}
	}
	var out strings.Builder
	if err := serve(t.Context(), []string{"-open", "-data", t.TempDir(), "-addr", "0.0.0.0:0"}, &out, &out); err == nil || !strings.Contains(err.Error(), "other machines") {
		t.Errorf("open to the world: %v", err)
	}
}

// An account by command, while the server has the folder open.
func TestAccountAdd(t *testing.T) {
	folder := t.TempDir()
	log, accounts, err := openFolder(t.Context(), sqlite.Open, folder, false, t.Logf)
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	add := func(args ...string) (string, error) {
		var out, logs strings.Builder
		err := run(t.Context(), append([]string{"account", "add", "-data", folder}, args...), &out, &logs)
		return out.String(), err
	}
	said, err := add("-login", "max", "-name", "Max Invented", "-site", "https://log.example/")
	if err != nil {
		t.Fatal(err)
	}
	link := regexp.MustCompile(`\nhttps://log\.example/invite/([A-Z2-7]+)\n`).FindStringSubmatch(said)
	if link == nil {
		t.Fatalf("no link: %s", said)
	}
	x, err := accounts.Invited(t.Context(), link[1])
	if err != nil || !x.Manages() || x.Chosen {
		t.Errorf("the link is that of %+v, %v", x, err)
	}
	if _, err := add("-login", "ada", "-name", "Ada Invented", "-job", "hall", "-role", "foreman", "-person", "ada"); err != nil {
		t.Error(err)
	}
	for _, args := range [][]string{{"-login", "max", "-name", "Max"}, {"-login", "bo"}, {"-login", "bo", "-name", "Bo", "-role", "boss"}, {"-login", "bo", "-name", "Bo", "-job", "hall", "-role", "foreman"}, {"more"}, {"-no"}} {
		if said, err := add(args...); err == nil {
			t.Errorf("%v: %s", args, said)
		}
	}
	all, err := accounts.List(t.Context())
	if err != nil || len(all) != 2 || all[0].On("hall").Person != "ada" {
		t.Errorf("accounts are %+v, %v", all, err)
	}
}
