package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"duskline/internal/archive"
	"duskline/internal/daylog"
	"duskline/internal/proof"
	"duskline/internal/store/sqlite"
)

// command is one thing the program does beside serving.
type command struct {
	name  string // one word or two
	takes string // what follows it
	says  string
	do    func(ctx context.Context, args []string, out, logs io.Writer) error
}

func commands() []command {
	return []command{
		{"account add", "", "makes an account and prints a link for its person", addAccount},
		{"backup", "FOLDER | FILE.zip", "copies all that a company has, also while the server runs", backupCommand},
		{"restore", "FOLDER | FILE.zip", "puts a backup into an empty data folder", restoreCommand},
		{"verify", "[FILE | FOLDER | CODE]", "looks whether everything, an archive, a backup or the record of a printed check code is what was written down", verifyCommand},
		{"archive", "JOB [FILE]", "writes everything of one job into a file", archiveCommand},
		{"import", "FILE", "takes in the archive of a job, or what a tablet handed over as a file", importCommand},
	}
}

// parse reads the flags of a command, and what follows them: least to most words.
func parse(name string, flags *flag.FlagSet, args []string, least, most int, takes string) error {
	if err := flags.Parse(args); err != nil {
		return err
	}
	if n := flags.NArg(); n < least || n > most {
		return fmt.Errorf("the command is used as: %s [flags] %s", name, takes)
	}
	return nil
}

func newFlags(name string, logs io.Writer) *flag.FlagSet {
	flags := flag.NewFlagSet("server "+name, flag.ContinueOnError)
	flags.SetOutput(logs)
	return flags
}

// there says so in plain words where a folder holds no company.
func there(data string) (string, error) {
	file := filepath.Join(data, databaseName)
	if _, err := os.Stat(file); err != nil {
		return "", fmt.Errorf("there is no record in the folder %s; name another with -data", data)
	}
	return file, nil
}

func backupCommand(ctx context.Context, args []string, out, logs io.Writer) error {
	flags := newFlags("backup", logs)
	data := dataFlag(flags)
	if err := parse("backup", flags, args, 1, 1, "FOLDER | FILE.zip"); err != nil {
		return err
	}
	if _, err := there(*data); err != nil {
		return err
	}
	m, err := backUp(ctx, *data, flags.Arg(0), time.Now())
	if err != nil {
		return fmt.Errorf("no backup was made: %w", err)
	}
	fmt.Fprintf(out, "The backup %s holds %s of %s. It was opened and read again, and fits.\nIt holds who may sign in, too: keep it from other people's eyes.\n",
		flags.Arg(0), daylog.Count(m.Entries, "entry", "entries"), daylog.Count(m.Jobs, "job", "jobs"))
	return nil
}

func restoreCommand(ctx context.Context, args []string, out, logs io.Writer) error {
	flags := newFlags("restore", logs)
	data := dataFlag(flags)
	if err := parse("restore", flags, args, 1, 1, "FOLDER | FILE.zip"); err != nil {
		return err
	}
	m, err := restore(ctx, flags.Arg(0), *data)
	if err != nil {
		return fmt.Errorf("nothing was restored: %w", err)
	}
	fmt.Fprintf(out, "%s of %s, as they were on %s, are in %s.\nStart the server there. Tablets bring back what was written since; everybody signs in again.\n",
		daylog.Count(m.Entries, "entry", "entries"), daylog.Count(m.Jobs, "job", "jobs"), m.Made.Format("2 January 2006 at 15:04 UTC"), *data)
	return nil
}

func verifyCommand(ctx context.Context, args []string, out, logs io.Writer) error {
	flags := newFlags("verify", logs)
	data := dataFlag(flags)
	if err := parse("verify", flags, args, 0, 4, "[FILE | FOLDER | CODE]"); err != nil {
		return err
	}
	what := strings.Join(flags.Args(), " ")
	info, err := os.Stat(what)
	switch {
	case what == "":
		file, err := there(*data)
		if err != nil {
			return err
		}
		return sayVerified(ctx, out, file)
	case err == nil && info.IsDir():
		return verifyBackup(ctx, what, out)
	case err == nil:
		return verifyFile(ctx, what, out)
	case proof.Parse(what) != "":
		return verifyCode(ctx, *data, what, out)
	}
	return fmt.Errorf("%q is no file or folder that is there, and no check code: that has 20 letters and digits, in four groups of five", what)
}

// sayVerified verifies a whole database and says so.
func sayVerified(ctx context.Context, out io.Writer, file string) error {
	jobs, entries, err := verifyDatabase(ctx, file, func(job string, n int) {
		fmt.Fprintf(out, "Job %s: %s, all as written.\n", job, daylog.Count(n, "entry", "entries"))
	})
	if err != nil {
		return notAsWritten(err)
	}
	fmt.Fprintf(out, "%s of %s: every one is what its device wrote, in its order, and all that signatures cover is there.\n", daylog.Count(entries, "entry", "entries"), daylog.Count(jobs, "job", "jobs"))
	return nil
}

func notAsWritten(err error) error {
	var f *archive.Fault
	if errors.As(err, &f) {
		return fmt.Errorf("the record is not what was written down. %w", f)
	}
	return err
}

func verifyBackup(ctx context.Context, name string, out io.Writer) error {
	from, shut, m, err := openBackup(name)
	if err != nil {
		return err
	}
	defer shut()
	folder, err := os.MkdirTemp("", "verify")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	db, err := from.Open(databaseName)
	if err != nil {
		return err
	}
	defer db.Close()
	file := filepath.Join(folder, databaseName)
	if err := writeFile(file, db); err != nil {
		return err
	}
	fmt.Fprintf(out, "A backup of %s.\n", m.Made.Format("2 January 2006 at 15:04 UTC"))
	return sayVerified(ctx, out, file)
}

func verifyFile(ctx context.Context, name string, out io.Writer) error {
	if isZip(name) {
		if _, shut, _, err := openBackup(name); err == nil {
			shut()
			return verifyBackup(ctx, name, out)
		}
	}
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	if strings.EqualFold(filepath.Ext(name), ".db") {
		return sayVerified(ctx, out, name)
	}
	rep, err := archive.Verify(f, info.Size())
	if err != nil {
		return notAsWritten(err)
	}
	fmt.Fprintf(out, "%s of job %s: every one is what its device wrote, in its order, and all that signatures cover is there.\n", daylog.Count(rep.Entries, "entry", "entries"), strings.Join(rep.Jobs, ", "))
	return nil
}

func verifyCode(ctx context.Context, data, typed string, out io.Writer) error {
	file, err := there(data)
	if err != nil {
		return err
	}
	log, err := sqlite.OpenBeside(ctx, file)
	if err != nil {
		return err
	}
	defer log.Close()
	a, err := proof.Ask(ctx, log, typed)
	if err != nil {
		return err
	}
	of := fmt.Sprintf("%s of job %s (%s), revision %d", a.Day, a.Title, a.Job, a.Revision)
	switch a.Standing {
	case proof.Unchanged:
		fmt.Fprintf(out, "Unchanged: %s is the record of %s. It is held byte for byte.\n", a.Code, of)
	case proof.Superseded:
		fmt.Fprintf(out, "Superseded by revision %d: %s is the record of %s. It is still held byte for byte; what was written or changed since makes the later revision.\n", a.Latest, a.Code, of)
	case proof.Lost:
		return fmt.Errorf("not what was written down: %s was the check code of %s of job %s, and what is held of that day now makes another: run verify to find the entry", a.Code, a.Day, a.Job)
	default:
		return fmt.Errorf("unknown: no signed day here has the check code %s", a.Code)
	}
	return nil
}

func archiveCommand(ctx context.Context, args []string, out, logs io.Writer) error {
	flags := newFlags("archive", logs)
	data := dataFlag(flags)
	if err := parse("archive", flags, args, 1, 2, "JOB [FILE]"); err != nil {
		return err
	}
	file, err := there(*data)
	if err != nil {
		return err
	}
	db, err := sqlite.OpenToRead(ctx, file)
	if err != nil {
		return err
	}
	defer db.Close()
	job, to := flags.Arg(0), flags.Arg(1)
	if to == "" {
		to = archive.FileName(job, time.Now())
	}
	if _, err := os.Lstat(to); err == nil {
		return fmt.Errorf("%s is there already, and an archive overwrites nothing", to)
	}
	r, w := io.Pipe()
	go func() { w.CloseWithError(archive.Write(ctx, w, db, job)) }()
	if err := writeFile(to, r); err != nil {
		os.Remove(to)
		jobs, _ := db.Jobs(ctx)
		if errors.Is(err, os.ErrNotExist) && len(jobs) > 0 {
			return fmt.Errorf("there is no job %s; there are %s", job, strings.Join(jobs, ", "))
		}
		return err
	}
	f, err := os.Open(to)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	rep, err := archive.Verify(f, info.Size())
	if err != nil {
		return fmt.Errorf("%s was written as it is, and does not fit: %w", to, err)
	}
	fmt.Fprintf(out, "%s of job %s are in %s, which says itself how it is made.\n", daylog.Count(rep.Entries, "entry", "entries"), job, to)
	return nil
}

func importCommand(ctx context.Context, args []string, out, logs io.Writer) error {
	flags := newFlags("import", logs)
	data := dataFlag(flags)
	if err := parse("import", flags, args, 1, 1, "FILE"); err != nil {
		return err
	}
	f, err := os.Open(flags.Arg(0))
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(*data, 0o700); err != nil {
		return err
	}
	log, err := sqlite.OpenBeside(ctx, filepath.Join(*data, databaseName))
	if err != nil {
		return err
	}
	defer log.Close()
	rep, err := archive.Import(ctx, log, f, info.Size(), nil)
	if err != nil {
		return fmt.Errorf("nothing was taken in: %w", err)
	}
	fmt.Fprintf(out, "%s of job %s; %d of them are new here.\n", daylog.Count(rep.Entries, "entry", "entries"), strings.Join(rep.Jobs, ", "), rep.New)
	return nil
}
