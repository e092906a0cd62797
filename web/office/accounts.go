package office

import (
	"cmp"
	"errors"
	"io/fs"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"duskline/internal/daylog"
	"duskline/internal/signin"
	"duskline/web"
)

// AccountsView is the list of all accounts.
type AccountsView struct {
	Frame  web.Frame
	Rows   []AccountRow
	Invite web.Action
}

// AccountRow is one account in a line: what it is, and whether somebody signs in
// with it.
type AccountRow struct {
	URL, Name, Login, Parts, State string
}

// OneAccountView is an account as those see it who keep the accounts.
type OneAccountView struct {
	Frame   web.Frame
	Heading web.Heading
	Link    string // handed over once: its address
	Until   string // until when the link holds
	Wrong   string // what could not be done
	Parts   []PartRow
	Do      []web.Action
}

// PartRow is what an account is on one job, or in the whole company.
type PartRow struct {
	URL, Job, Words string
}

var roleWords = map[signin.Role]string{
	signin.Manager: "Manager", signin.Foreman: "Foreman", signin.Owner: "Owner's representative",
}

const company = "The whole company"

// accounts is GET /accounts.
func (p *pages) accounts(v *visit) error {
	view := AccountsView{Frame: v.frame("Accounts", "/accounts"), Invite: web.Action{Label: "Invite somebody", URL: "/accounts/new"}}
	all, err := p.Accounts.List(v.r.Context())
	if err != nil {
		return err
	}
	for _, x := range all {
		parts, err := v.parts(x)
		if err != nil {
			return err
		}
		row := AccountRow{URL: accountURL(x.ID), Name: x.Name, Login: x.Login, State: accountState(x)}
		var words []string
		for i, part := range x.Parts {
			where := parts[i].Job
			if part.Job == signin.Company {
				where = "the whole company"
			}
			words = append(words, roleWords[part.Role]+" of "+where)
		}
		row.Parts = cmp.Or(strings.Join(words, "; "), "On no job")
		view.Rows = append(view.Rows, row)
	}
	return v.show(http.StatusOK, AccountsPage(view))
}

func accountURL(id string) string { return "/accounts/" + url.PathEscape(id) }

// accountState says whether somebody can sign in, and has.
func accountState(x signin.Account) string {
	switch {
	case !x.Disabled.IsZero():
		return "disabled since " + dayOf(x.Disabled)
	case !x.Chosen && !x.Link.IsZero():
		return "invited, link holds until " + dayOf(x.Link)
	case !x.Chosen:
		return "invited, link has run out"
	case x.Seen.IsZero():
		return "has not signed in yet"
	}
	return "last signed in on " + dayOf(x.Seen)
}

// dayOf is the date of a moment. The office has no time zone of its own.
func dayOf(t time.Time) string { return t.UTC().Format("2 January 2006") }

// parts puts into words what an account is, and on which job.
func (v *visit) parts(x signin.Account) ([]PartRow, error) {
	var rows []PartRow
	for _, p := range x.Parts {
		row := PartRow{Job: company, Words: roleWords[p.Role]}
		if p.Job != signin.Company {
			d, err := v.today(p.Job)
			switch {
			case errors.Is(err, fs.ErrNotExist): // nothing was written for it yet
				row.Job = p.Job
			case err != nil:
				return nil, err
			default:
				row.Job, row.Words = d.Setup.Title(), partWords(p, d)
			}
		}
		rows = append(rows, row)
	}
	return rows, nil
}

func partWords(p signin.Part, d *daylog.Day) string {
	if p.Person == "" {
		return roleWords[p.Role]
	}
	return roleWords[p.Role] + ", writes as " + d.Setup.PersonName(p.Person)
}

func (v *visit) inviteForm() web.Form {
	typed := v.r.PostForm
	return web.Form{
		Heading: web.Heading{Title: "Invite somebody", Lead: "You get a link to hand over. Whoever opens it chooses a password."},
		URL:     "/accounts/new",
		Groups: []web.FieldGroup{{Fields: []web.Field{
			{Name: "name", Kind: web.FieldText, Label: "Name", Value: typed.Get("name"), Needed: true},
			{Name: "login", Kind: web.FieldText, Label: "Sign-in name", Value: typed.Get("login"), Needed: true, Help: "An e-mail address, or a short name. It cannot be changed later."},
		}}},
		Submit: "Make the link",
		Failed: "Not invited yet",
		Cancel: web.Action{Label: "Back to the accounts", URL: "/accounts"},
	}
}

// askInvite is GET /accounts/new.
func (p *pages) askInvite(v *visit) error {
	return v.ask(http.StatusOK, "/accounts", v.inviteForm(), nil)
}

// invite is POST /accounts/new.
func (p *pages) invite(v *visit) error {
	id, code, err := p.Accounts.Invite(v.r.Context(), v.r.PostForm.Get("login"), v.r.PostForm.Get("name"))
	if err != nil {
		return v.askAgain(err, "/accounts", v.inviteForm())
	}
	return v.showAccount(http.StatusOK, id, code, "")
}

// oneAccount is GET /accounts/{id}.
func (p *pages) oneAccount(v *visit) error {
	return v.showAccount(http.StatusOK, chi.URLParam(v.r, "id"), "", "")
}

// showAccount shows an account, with a link that was just made or what could
// not be done.
func (v *visit) showAccount(status int, id, code, wrong string) error {
	x, err := v.Accounts.Account(v.r.Context(), id)
	if err != nil {
		return err
	}
	view := OneAccountView{Frame: v.frame(x.Name, "/accounts"), Heading: web.Heading{Title: x.Name, Lead: "Signs in as " + x.Login + ", " + accountState(x) + "."}, Wrong: wrong}
	if code != "" {
		view.Link = v.Accounts.Origin(v.r) + "/invite/" + code
		view.Until = x.Link.UTC().Format("Monday 2 January, 15:04 UTC")
	}
	row := func(job, name string, d *daylog.Day) {
		r := PartRow{URL: accountURL(id) + "/part?" + url.Values{"job": {job}}.Encode(), Job: name, Words: "Nothing"}
		for _, p := range x.Parts {
			if p.Job == job {
				r.Words = partWords(p, d)
			}
		}
		view.Parts = append(view.Parts, r)
	}
	row(signin.Company, company, nil)
	jobs, err := v.Log.Jobs(v.r.Context())
	if err != nil {
		return err
	}
	for _, job := range jobs {
		d, err := v.today(job)
		if err != nil {
			return err
		}
		row(job, d.Setup.Title(), d)
	}
	act := func(label, to string) {
		view.Do = append(view.Do, web.Action{Label: label, About: x.Name, URL: accountURL(id) + "/" + to, Post: true})
	}
	if x.Disabled.IsZero() {
		act("Make a new link", "link")
		act("Disable", "disable")
	} else {
		act("Enable", "enable")
	}
	return v.show(status, OneAccountPage(view))
}

// after goes back to an account, with what the accounts said against it.
func (v *visit) after(err error) error {
	id := chi.URLParam(v.r, "id")
	var refused signin.Refused
	if errors.As(err, &refused) {
		return v.showAccount(http.StatusUnprocessableEntity, id, "", refused.Error())
	}
	if err != nil {
		return err
	}
	return v.leave(accountURL(id))
}

// newLink is POST /accounts/{id}/link.
func (p *pages) newLink(v *visit) error {
	id := chi.URLParam(v.r, "id")
	code, err := p.Accounts.NewLink(v.r.Context(), id)
	if err != nil {
		return v.after(err)
	}
	return v.showAccount(http.StatusOK, id, code, "")
}

// disable is POST /accounts/{id}/disable.
func (p *pages) disable(v *visit) error {
	return v.after(p.Accounts.Disable(v.r.Context(), chi.URLParam(v.r, "id")))
}

// enable is POST /accounts/{id}/enable.
func (p *pages) enable(v *visit) error {
	return v.after(p.Accounts.Enable(v.r.Context(), chi.URLParam(v.r, "id")))
}

// newPerson stands for a person who is not on the job yet.
const newPerson = " new"

// noRole takes an account off a job.
const noRole = "none"

// partForm asks what an account is on the job of the address.
func (v *visit) partForm() (form web.Form, x signin.Account, d *daylog.Day, err error) {
	if x, err = v.Accounts.Account(v.r.Context(), chi.URLParam(v.r, "id")); err != nil {
		return form, x, nil, err
	}
	job := v.r.Form.Get("job")
	form = web.Form{
		Heading: web.Heading{Title: x.Name + ": " + company, Lead: "A manager of the whole company reads every job, sets jobs up and keeps these accounts."},
		URL:     accountURL(x.ID) + "/part",
		Hidden:  []web.Hidden{{Name: "job", Value: job}},
		Cancel:  web.Action{Label: "Back to " + x.Name, URL: accountURL(x.ID)},
	}
	now := signin.Part{Role: noRole}
	for _, p := range x.Parts {
		if p.Job == job {
			now = p
		}
	}
	if typed := v.r.PostForm; typed.Has("role") {
		now.Role, now.Person = signin.Role(typed.Get("role")), typed.Get("person")
	}
	role := web.Field{Name: "role", Kind: web.FieldChoice, Label: "On this job"}
	offer := func(value signin.Role, label, note string) {
		role.Options = append(role.Options, web.Option{Value: string(value), Label: label, Note: note, Chosen: now.Role == value})
	}
	offer(noRole, "Nothing", "may open nothing")
	offer(signin.Manager, roleWords[signin.Manager], "reads all, writes what the office writes")
	if job == signin.Company {
		role.Label = "In the company"
		form.Groups = []web.FieldGroup{{Fields: []web.Field{role}}}
		return form, x, nil, nil
	}
	if d, err = v.today(job); err != nil {
		return form, x, nil, err
	}
	offer(signin.Foreman, roleWords[signin.Foreman], "reads all, writes what the crew writes")
	offer(signin.Owner, roleWords[signin.Owner], "reads signed days")
	form.Heading = web.Heading{Title: x.Name + ": " + d.Setup.Title()}
	person := web.Field{Name: "person", Kind: web.FieldChoice, Label: "Writes as", Help: "Entries of this job name its own people. A foreman or manager writes as one of them."}
	for _, one := range d.Setup.Persons {
		if !one.Gone {
			person.Options = append(person.Options, web.Option{Value: one.Person, Label: one.Name, Note: cmp.Or(one.Role, one.Trade), Chosen: now.Person == one.Person})
		}
	}
	if _, there := d.Setup.Person(x.ID); !there {
		person.Options = append(person.Options, web.Option{Value: newPerson, Label: x.Name, Note: "is added to the people of the job", Chosen: now.Person == newPerson})
	}
	form.Groups = []web.FieldGroup{{Fields: []web.Field{role, person}}}
	return form, x, d, nil
}

// askPart is GET /accounts/{id}/part?job=ID; without a job it is about the whole
// company.
func (p *pages) askPart(v *visit) error {
	form, _, _, err := v.partForm()
	if err != nil {
		return err
	}
	return v.ask(http.StatusOK, "/accounts", form, nil)
}

// setPart is POST /accounts/{id}/part.
func (p *pages) setPart(v *visit) error {
	form, x, d, err := v.partForm()
	if err != nil {
		return err
	}
	ctx, typed := v.r.Context(), v.r.PostForm
	part := signin.Part{Job: typed.Get("job"), Role: signin.Role(typed.Get("role")), Person: typed.Get("person")}
	if part.Role == noRole {
		if err := p.Accounts.RemovePart(ctx, x.ID, part.Job); err != nil {
			return v.askAgain(err, "/accounts", form)
		}
		return v.leave(accountURL(x.ID))
	}
	if d == nil || part.Role == signin.Owner {
		part.Person = ""
	}
	add := part.Person == newPerson
	if add {
		part.Person = x.ID
	}
	if part.Person != "" && !add {
		i := slices.IndexFunc(d.Setup.Persons, func(one daylog.Person) bool { return one.Person == part.Person && !one.Gone })
		if i < 0 {
			return v.ask(http.StatusUnprocessableEntity, "/accounts", form, signin.Refused{"person": "Choose one of the people of the job."})
		}
	}
	if part.Role == signin.Foreman && part.Person == "" {
		return v.ask(http.StatusUnprocessableEntity, "/accounts", form, signin.Refused{"person": "Choose the person of the job in whose name this account writes."})
	}
	if add {
		if err := v.introduce(part, x.Name); err != nil {
			return err
		}
	}
	if err := p.Accounts.SetPart(ctx, x.ID, part); err != nil {
		return v.askAgain(err, "/accounts", form)
	}
	return v.leave(accountURL(x.ID))
}

// introduce writes an account into a job as one of its people, and first whoever
// does that, if he is none of them yet: entries name persons.
func (v *visit) introduce(part signin.Part, name string) error {
	d, err := v.today(part.Job)
	if err != nil {
		return err
	}
	by := v.who.On(part.Job)
	now := v.Now().UTC().Truncate(time.Second)
	var drafts []daylog.Entry
	add := func(id, name string, role signin.Role) {
		if _, there := d.Setup.Person(id); there || slices.ContainsFunc(drafts, func(e daylog.Entry) bool { return e.Body.(*daylog.Person).Person == id }) {
			return
		}
		// The id of the entry is the person's: told twice it is written once.
		drafts = append(drafts, daylog.Entry{ID: daylog.FormID(id, 0), Day: d.Date, At: now, Made: now, Author: by.Person,
			Body: &daylog.Person{Person: id, Name: name, Role: string(role)}})
	}
	add(by.Person, v.who.Name, signin.Manager)
	add(part.Person, name, part.Role)
	if len(drafts) == 0 {
		return nil
	}
	_, err = v.Log.Write(v.r.Context(), part.Job, drafts...)
	return err
}
