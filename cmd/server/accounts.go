package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"strings"
	"time"

	"duskline/internal/signin"
	"duskline/internal/store/sqlite"
)

// addAccount is the command "account add": it makes an account and prints the
// link with which its person chooses a password. The server may be running.
func addAccount(ctx context.Context, args []string, out, logs io.Writer) error {
	flags := flag.NewFlagSet("server account add", flag.ContinueOnError)
	flags.SetOutput(logs)
	data := dataFlag(flags)
	site := flags.String("site", "http://127.0.0.1:8080", "where the server answers, for the link")
	login := flags.String("login", "", "sign-in name, an e-mail address or a short name")
	name := flags.String("name", "", "the person's name")
	job := flags.String("job", "", "id of the job; without one it is a manager of the whole company")
	role := flags.String("role", string(signin.Manager), "what it is on the job: manager, foreman or owner")
	person := flags.String("person", "", "id of the person of the job in whose name it writes")
	if err := flags.Parse(args); err != nil {
		return err
	}
	if flags.NArg() > 0 {
		return fmt.Errorf("%q is no flag of this command", flags.Arg(0))
	}
	log, accounts, err := openFolder(ctx, sqlite.OpenBeside, *data, false, func(format string, args ...any) { fmt.Fprintf(logs, format+"\n", args...) })
	if err != nil {
		return err
	}
	defer log.Close()
	_, code, err := accounts.Invite(ctx, *login, *name, signin.Part{Job: *job, Role: signin.Role(*role), Person: *person})
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "A link for %s, to be used once until %s:\n%s/invite/%s\n",
		*name, time.Now().Add(signin.LinkHolds).UTC().Format("2 January 15:04 UTC"), strings.TrimRight(*site, "/"), code)
	return nil
}

// demoAccount is an invented account for trying out. Its password stands in the
// program for everybody to read.
type demoAccount struct {
	login, name, password string
	parts                 []signin.Part
}

func demoAccounts() []demoAccount {
	return []demoAccount{
		{"manager", "Max Example", "invented-manager", []signin.Part{{Job: signin.Company, Role: signin.Manager}, {Job: demoJob, Role: signin.Manager, Person: "max"}, {Job: demo2Job, Role: signin.Manager, Person: "max"}}},
		{"foreman", "Ada Example", "invented-foreman", []signin.Part{{Job: demoJob, Role: signin.Foreman, Person: "ada"}, {Job: demo2Job, Role: signin.Foreman, Person: "ada"}}},
		{"owner", "Olive Example", "invented-owner", []signin.Part{{Job: demoJob, Role: signin.Owner}}},
	}
}

// addDemoAccounts makes the invented accounts where there is no account yet.
func addDemoAccounts(ctx context.Context, accounts *signin.Accounts) error {
	if any, err := accounts.Any(ctx); any || err != nil {
		return err
	}
	for _, d := range demoAccounts() {
		if _, err := accounts.Add(ctx, d.login, d.name, d.password, d.parts...); err != nil {
			return err
		}
	}
	return nil
}

// sayHowToSignIn prints what nobody could know: the code for the first account,
// or the invented accounts if those are the ones there are.
func sayHowToSignIn(ctx context.Context, out io.Writer, accounts *signin.Accounts, url string) error {
	code, err := accounts.FirstCode(ctx)
	if err != nil {
		return err
	}
	if code != "" {
		fmt.Fprintf(out, "There is no account yet. To make the first, open %sfirst and type this code:\n  %s\nIt holds until it is used, or until the program is started again.\n", url, code)
		return nil
	}
	all, err := accounts.List(ctx)
	if err != nil {
		return err
	}
	var lines strings.Builder
	for _, d := range demoAccounts() {
		for _, x := range all {
			if x.Login == d.login && x.Name == d.name {
				fmt.Fprintf(&lines, "  %-8s  %s\n", d.login, d.password)
			}
		}
	}
	if lines.Len() > 0 {
		fmt.Fprintf(out, "Sign in with an invented account; whoever reads this program knows its password:\n%s", lines.String())
	}
	return nil
}
