package office

import (
	"errors"
	"io/fs"
	"net/http"
	"net/url"

	"github.com/go-chi/chi/v5"

	"duskline/internal/signin"
	"duskline/web"
)

func loginField(value string) web.Field {
	return web.Field{Name: "login", Kind: web.FieldText, Label: "Sign-in name", Value: value, Auto: "username", Needed: true}
}

// newPassword asks for a new password, twice: nobody sees what is typed.
func newPassword() []web.Field {
	return []web.Field{
		{Name: "password", Kind: web.FieldPassword, Label: "New password", Auto: "new-password", Needed: true,
			Help: "At least 12 characters. Three or four words that do not belong together are long enough and easy to keep in mind."},
		{Name: "again", Kind: web.FieldPassword, Label: "The same once more", Auto: "new-password", Needed: true},
	}
}

// typedTwice is the new password of a form, if both times are the same.
func (v *visit) typedTwice() (string, error) {
	password := v.r.PostForm.Get("password")
	if password != v.r.PostForm.Get("again") {
		return "", signin.Refused{"again": "This is not what stands above. Type the new password twice alike."}
	}
	return password, nil
}

func (v *visit) signInForm() web.Form {
	next := signin.Local(v.r.Form.Get("next"))
	f := web.Form{
		Heading: web.Heading{Title: "Sign in"},
		URL:     "/sign-in",
		Hidden:  []web.Hidden{{Name: "next", Value: next}},
		Groups: []web.FieldGroup{{Fields: []web.Field{
			loginField(v.r.PostForm.Get("login")),
			{Name: "password", Kind: web.FieldPassword, Label: "Password", Auto: "current-password", Needed: true,
				Help: "Forgotten? Whoever keeps the accounts in your office can give you a link to choose another."},
		}}},
		Submit: "Sign in",
		Failed: "Not signed in",
	}
	if v.r.Form.Get("unsaved") != "" {
		f.Heading.Lead = "You are not signed in any more, and what you sent last was not saved. Once you are signed in you are back on the page it was on."
	}
	return f
}

// askSignIn is GET /sign-in?next=PATH: for whoever is not signed in.
func (p *pages) askSignIn(v *visit) error {
	if v.who.ID != "" {
		return v.leave(signin.Local(v.r.Form.Get("next")))
	}
	any, err := p.Accounts.Any(v.r.Context())
	if err != nil {
		return err
	}
	if !any {
		return v.leave("/first")
	}
	return v.ask(http.StatusOK, "", v.signInForm(), nil)
}

// signIn is POST /sign-in.
func (p *pages) signIn(v *visit) error {
	if err := p.Accounts.SignIn(v.w, v.r, v.r.PostForm.Get("login"), v.r.PostForm.Get("password")); err != nil {
		return v.askAgain(err, "", v.signInForm())
	}
	return v.leave(signin.Local(v.r.PostForm.Get("next")))
}

// signOut is POST /sign-out.
func (p *pages) signOut(v *visit) error {
	if err := p.Accounts.SignOut(v.w, v.r); err != nil {
		return err
	}
	v.w.Header().Set("Clear-Site-Data", `"cache"`) // forms that were refused
	return v.leave("/sign-in")
}

func (v *visit) firstForm() web.Form {
	typed := v.r.PostForm
	f := web.Form{
		Heading: web.Heading{Title: "The first account", Lead: "It manages the whole company: it sets up jobs and invites everybody else."},
		URL:     "/first",
		Groups: []web.FieldGroup{{Fields: append([]web.Field{
			{Name: "code", Kind: web.FieldText, Label: "Code", Value: typed.Get("code"), Auto: "one-time-code", Needed: true,
				Help: "The program printed it where it was started, as in ABCD-EFGH-IJKL-MNOP."},
			{Name: "name", Kind: web.FieldText, Label: "Your name", Value: typed.Get("name"), Auto: "name", Needed: true},
			loginField(typed.Get("login")),
		}, newPassword()...)}},
		Submit: "Make the account",
		Failed: "Not made yet",
	}
	return f
}

// askFirst is GET /first: while there is no account.
func (p *pages) askFirst(v *visit) error {
	any, err := p.Accounts.Any(v.r.Context())
	if err != nil {
		return err
	}
	if any {
		return v.leave("/sign-in")
	}
	return v.ask(http.StatusOK, "", v.firstForm(), nil)
}

// first is POST /first.
func (p *pages) first(v *visit) error {
	typed := v.r.PostForm
	password, err := v.typedTwice()
	if err == nil {
		err = p.Accounts.First(v.w, v.r, typed.Get("code"), typed.Get("login"), typed.Get("name"), password)
	}
	if err != nil {
		return v.askAgain(err, "", v.firstForm())
	}
	return v.leave("/")
}

// usedUp is what a link that no longer holds leads to.
func usedUp(err error) error {
	if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return problem{http.StatusNotFound, web.Trouble{
		Title: "This link holds no longer",
		Say:   "It was used before, a newer one has taken its place, or it is too old. If you have a password already, sign in; else ask for a new link.",
		Do:    web.Action{Label: "Sign in", URL: "/sign-in"},
	}}
}

func invitedForm(code string, x signin.Account) web.Form {
	f := web.Form{
		Heading: web.Heading{Title: "Welcome, " + x.Name, Lead: "Choose a password. From then on you sign in with it and the name " + x.Login + "."},
		URL:     "/invite/" + url.PathEscape(code),
		Groups:  []web.FieldGroup{{Fields: newPassword()}},
		Submit:  "Sign in",
		Failed:  "Not chosen yet",
	}
	if x.Chosen {
		f.Heading = web.Heading{Title: "Another password", Lead: "For " + x.Name + ", who signs in as " + x.Login + ". The one before holds no longer once this one is chosen."}
	}
	return f
}

// askInvited is GET /invite/{code}: looking at a link does not use it up.
func (p *pages) askInvited(v *visit) error {
	code := chi.URLParam(v.r, "code")
	x, err := p.Accounts.Invited(v.r.Context(), code)
	if err != nil {
		return usedUp(err)
	}
	return v.ask(http.StatusOK, "", invitedForm(code, x), nil)
}

// invited is POST /invite/{code}.
func (p *pages) invited(v *visit) error {
	code := chi.URLParam(v.r, "code")
	x, err := p.Accounts.Invited(v.r.Context(), code)
	if err != nil {
		return usedUp(err)
	}
	password, err := v.typedTwice()
	if err == nil {
		err = p.Accounts.Accept(v.w, v.r, code, password)
	}
	if err != nil {
		return v.askAgain(usedUp(err), "", invitedForm(code, x))
	}
	return v.leave("/")
}

// AccountView is what somebody sees of the own account.
type AccountView struct {
	Frame   web.Frame
	Heading web.Heading
	Done    string // what was just done
	Facts   []web.Fact
	Change  web.Action
	Out     web.Action
}

// account is GET /account: somebody's own account.
func (p *pages) account(v *visit) error {
	view := AccountView{
		Frame:   v.frame(v.who.Name, "/account"),
		Heading: web.Heading{Title: v.who.Name, Lead: "You sign in as " + v.who.Login + "."},
		Change:  web.Action{Label: "Change the password", URL: "/account/password"},
		Out:     web.Action{Label: "Sign out", URL: "/sign-out", Post: true},
	}
	if v.r.Form.Has("changed") {
		view.Done = "The new password holds from now on."
	}
	parts, err := v.parts(v.who)
	if err != nil {
		return err
	}
	for _, p := range parts {
		view.Facts = append(view.Facts, web.Fact{Term: p.Job, Value: p.Words})
	}
	return v.show(http.StatusOK, AccountPage(view))
}

func passwordForm() web.Form {
	return web.Form{
		Heading: web.Heading{Title: "Change the password", Lead: "You stay signed in here and are signed out everywhere else."},
		URL:     "/account/password",
		Groups: []web.FieldGroup{{Fields: append([]web.Field{
			{Name: "old", Kind: web.FieldPassword, Label: "Present password", Auto: "current-password", Needed: true},
		}, newPassword()...)}},
		Submit: "Change it",
		Failed: "Not changed yet",
		Cancel: web.Action{Label: "Back", URL: "/account"},
	}
}

// askPassword is GET /account/password.
func (p *pages) askPassword(v *visit) error {
	return v.ask(http.StatusOK, "/account", passwordForm(), nil)
}

// changePassword is POST /account/password.
func (p *pages) changePassword(v *visit) error {
	password, err := v.typedTwice()
	if err == nil {
		err = p.Accounts.ChangePassword(v.w, v.r, v.r.PostForm.Get("old"), password)
	}
	if errors.Is(err, signin.ErrWrong) {
		err = signin.Refused{"old": "This is not your present password."}
	}
	if err != nil {
		return v.askAgain(err, "/account", passwordForm())
	}
	return v.leave("/account?changed")
}
