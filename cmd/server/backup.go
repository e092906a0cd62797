package main

import (
	"archive/zip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"duskline/internal/archive"
	"duskline/internal/store/sqlite"
)

const (
	databaseName = "duskline.db"
	photosName   = "photos"
	backupFormat = "roof log, backup of one company"
	backupList   = "manifest.json"
)

// backupManifest says what is in a backup.
type backupManifest struct {
	Format  string       `json:"format"`
	Version int          `json:"version"`
	Made    time.Time    `json:"made"`
	Jobs    int          `json:"jobs"`
	Entries int          `json:"entries"`
	Files   []backupFile `json:"files"`
}

type backupFile struct {
	Name   string `json:"file"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"` // hex
}

// backUp writes all that a company's folder holds, as it is at this moment,
// into a folder or, if its name ends in .zip, a file that is not there yet, and
// looks whether the copy fits. The server may be running and go on. What holds
// the cookies' keys is left out: after a restore everybody signs in again.
func backUp(ctx context.Context, data, to string, now time.Time) (m backupManifest, err error) {
	if _, err := os.Lstat(to); err == nil {
		return m, fmt.Errorf("%s is there already, and a backup overwrites nothing", to)
	}
	db, err := sqlite.OpenToRead(ctx, filepath.Join(data, databaseName))
	if err != nil {
		return m, err
	}
	defer db.Close()
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return m, err
	}
	part, err := os.MkdirTemp(filepath.Dir(to), filepath.Base(to)+".part*")
	if err != nil {
		return m, err
	}
	defer os.RemoveAll(part) // nothing, once it is renamed
	if err := db.CopyTo(ctx, filepath.Join(part, databaseName)); err != nil {
		return m, err
	}
	if err := copyPhotos(os.DirFS(data), part); err != nil {
		return m, fmt.Errorf("copy the photos: %w", err)
	}
	m = backupManifest{Format: backupFormat, Version: 1, Made: now.UTC().Truncate(time.Second)}
	m.Jobs, m.Entries, err = verifyDatabase(ctx, filepath.Join(part, databaseName), nil)
	if err != nil {
		return m, fmt.Errorf("the copy does not fit, so neither does what it was made of: %w", err)
	}
	if m.Files, err = listFiles(os.DirFS(part)); err != nil {
		return m, err
	}
	text, err := json.MarshalIndent(m, "", "\t")
	if err != nil {
		return m, err
	}
	if err := writeFile(filepath.Join(part, backupList), strings.NewReader(string(text)+"\n")); err != nil {
		return m, err
	}
	if isZip(to) {
		if err := packZip(part, to); err != nil {
			os.Remove(to)
			return m, err
		}
		return m, syncFolder(filepath.Dir(to))
	}
	if err := os.Rename(part, to); err != nil {
		return m, err
	}
	return m, syncFolder(filepath.Dir(to))
}

func isZip(name string) bool { return strings.EqualFold(filepath.Ext(name), ".zip") }

func packZip(folder, to string) error {
	f, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	z := zip.NewWriter(f)
	return errors.Join(z.AddFS(os.DirFS(folder)), z.Close(), f.Sync(), f.Close())
}

// copyPhotos copies the photos of a data folder or backup, if there are any.
func copyPhotos(from fs.FS, to string) error {
	err := fs.WalkDir(from, photosName, func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir():
			return os.MkdirAll(filepath.Join(to, filepath.FromSlash(name)), 0o700)
		case !d.Type().IsRegular():
			return nil
		}
		f, err := from.Open(name)
		if err != nil {
			return err
		}
		defer f.Close()
		return writeFile(filepath.Join(to, filepath.FromSlash(name)), f)
	})
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// writeFile writes a file that is not there yet, and returns once it is on disk.
func writeFile(name string, from io.Reader) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(f, from)
	return errors.Join(err, f.Sync(), f.Close())
}

// syncFolder makes a new name in a folder durable, where the system can.
func syncFolder(folder string) error {
	d, err := os.Open(folder)
	if err != nil {
		return err
	}
	d.Sync() // some systems cannot for folders
	return d.Close()
}

func listFiles(folder fs.FS) (all []backupFile, err error) {
	err = fs.WalkDir(folder, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		f, err := folder.Open(name)
		if err != nil {
			return err
		}
		defer f.Close()
		sum := sha256.New()
		n, err := io.Copy(sum, f)
		all = append(all, backupFile{name, n, hex.EncodeToString(sum.Sum(nil))})
		return err
	})
	return all, err
}

// openBackup opens a backup, a folder or a file, and looks whether its files are
// those of its manifest.
func openBackup(name string) (fs.FS, func(), backupManifest, error) {
	var m backupManifest
	info, err := os.Stat(name)
	if err != nil {
		return nil, nil, m, err
	}
	from, shut := os.DirFS(name), func() {}
	if !info.IsDir() {
		z, err := zip.OpenReader(name)
		if err != nil {
			return nil, nil, m, fmt.Errorf("%s is no backup: %w", name, err)
		}
		from, shut = z, func() { z.Close() }
	}
	fail := func(format string, args ...any) (fs.FS, func(), backupManifest, error) {
		shut()
		return nil, nil, m, fmt.Errorf(name+" "+format, args...)
	}
	text, err := fs.ReadFile(from, backupList)
	if err != nil {
		return fail("is no backup: it has no %s", backupList)
	}
	if err := json.Unmarshal(text, &m); err != nil || m.Format != backupFormat {
		return fail("is no backup: its %s is of something else", backupList)
	}
	if m.Version != 1 {
		return fail("was made by a later version of this program")
	}
	there, err := listFiles(from)
	if err != nil {
		return fail("cannot be read: %w", err)
	}
	there = slices.DeleteFunc(there, func(f backupFile) bool { return f.Name == backupList })
	for _, f := range m.Files {
		if !slices.Contains(there, f) {
			return fail("is damaged: %s is missing or was changed", f.Name)
		}
	}
	for _, f := range there {
		if !slices.Contains(m.Files, f) || f.Name != databaseName && !strings.HasPrefix(f.Name, photosName+"/") || path.Clean(f.Name) != f.Name {
			return fail("is damaged: %s does not belong to it", f.Name)
		}
	}
	return from, shut, m, nil
}

// restore puts a backup into a data folder that is not there yet or is empty,
// and gives the server a new device id: what it wrote after the backup comes
// back from the tablets as the record of another, which it was.
func restore(ctx context.Context, name, data string) (m backupManifest, err error) {
	if there, err := os.ReadDir(data); err == nil && len(there) > 0 {
		return m, fmt.Errorf("%s is not empty, and a restore overwrites nothing: give it a folder of its own with -data", data)
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return m, err
	}
	from, shut, m, err := openBackup(name)
	if err != nil {
		return m, err
	}
	defer shut()
	data = filepath.Clean(data)
	if err := os.MkdirAll(filepath.Dir(data), 0o700); err != nil {
		return m, err
	}
	part, err := os.MkdirTemp(filepath.Dir(data), filepath.Base(data)+".part*")
	if err != nil {
		return m, err
	}
	defer os.RemoveAll(part)
	db, err := from.Open(databaseName)
	if err != nil {
		return m, err
	}
	defer db.Close()
	if err := writeFile(filepath.Join(part, databaseName), db); err != nil {
		return m, err
	}
	if err := copyPhotos(from, part); err != nil {
		return m, fmt.Errorf("copy the photos: %w", err)
	}
	if _, _, err := verifyDatabase(ctx, filepath.Join(part, databaseName), nil); err != nil {
		return m, fmt.Errorf("the backup does not fit: %w", err)
	}
	log, err := sqlite.Open(ctx, filepath.Join(part, databaseName))
	if err != nil {
		return m, err
	}
	if err := errors.Join(log.Renew(ctx), log.Close()); err != nil {
		return m, err
	}
	if err := os.Remove(data); err != nil && !errors.Is(err, fs.ErrNotExist) { // the empty folder
		return m, err
	}
	if err := os.Rename(part, data); err != nil {
		return m, err
	}
	return m, syncFolder(filepath.Dir(data))
}

// verifyDatabase looks whether a database file is whole, and all entries of all
// jobs fit. It gives how many there are, and to each, if not nil, every job with
// its entries.
func verifyDatabase(ctx context.Context, file string, each func(job string, entries int)) (jobs, entries int, err error) {
	db, err := sqlite.OpenToRead(ctx, file)
	if err != nil {
		return 0, 0, err
	}
	defer db.Close()
	if err := db.QuickCheck(ctx); err != nil {
		return 0, 0, err
	}
	all, err := db.Jobs(ctx)
	if err != nil {
		return 0, 0, err
	}
	for _, job := range all {
		n, err := archive.VerifyJob(ctx, db, job)
		if err != nil {
			return len(all), entries, err
		}
		if entries += n; each != nil {
			each(job, n)
		}
	}
	// Last, for it cannot name an entry: under which job and stream the rows
	// themselves stand is read from the index above.
	return len(all), entries, db.FullCheck(ctx)
}

// schedule makes a backup every so often while the server runs, and keeps the
// latest.
type schedule struct {
	data  string
	to    string
	every time.Duration
	keep  int
	now   func() time.Time
	logf  func(format string, args ...any)
}

const (
	backupBegins = "backup-"
	backupStamp  = "20060102T150405Z"
)

// run makes a backup whenever the latest is older than every, until ctx ends.
func (s schedule) run(ctx context.Context) {
	// What a server that was killed had begun.
	begun, _ := filepath.Glob(filepath.Join(s.to, backupBegins+"*.part*"))
	for _, one := range begun {
		os.RemoveAll(one)
	}
	for {
		var wait time.Duration
		if last, err := s.last(); err == nil && !last.IsZero() {
			wait = last.Add(s.every).Sub(s.now())
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(max(0, wait)):
		}
		if err := s.once(ctx); err != nil {
			if ctx.Err() != nil {
				return
			}
			s.logf("BACKUP FAILED, the next try is in an hour or sooner: %v", err)
			select {
			case <-ctx.Done():
				return
			case <-time.After(min(time.Hour, s.every)):
			}
		}
	}
}

// once makes one backup and takes away those beyond keep, the oldest first.
func (s schedule) once(ctx context.Context) error {
	to := filepath.Join(s.to, backupBegins+s.now().UTC().Format(backupStamp))
	m, err := backUp(ctx, s.data, to, s.now())
	if err != nil {
		return err
	}
	s.logf("backup %s: %d entries of %d jobs", to, m.Entries, m.Jobs)
	all, err := s.all()
	if err != nil {
		return err
	}
	for len(all) > s.keep {
		if err := os.RemoveAll(filepath.Join(s.to, all[0])); err != nil {
			return fmt.Errorf("take away an old backup: %w", err)
		}
		all = all[1:]
	}
	return nil
}

// all are the names of the backups made by schedule, the oldest first. Nothing
// else in the folder is touched.
func (s schedule) all() ([]string, error) {
	there, err := os.ReadDir(s.to)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var all []string
	for _, d := range there {
		stamp, ok := strings.CutPrefix(d.Name(), backupBegins)
		if _, err := time.Parse(backupStamp, stamp); ok && err == nil && d.IsDir() {
			all = append(all, d.Name())
		}
	}
	slices.Sort(all)
	return all, err
}

// last is when the latest backup was made; zero for never.
func (s schedule) last() (time.Time, error) {
	all, err := s.all()
	if err != nil || len(all) == 0 {
		return time.Time{}, err
	}
	return time.Parse(backupStamp, strings.TrimPrefix(all[len(all)-1], backupBegins))
}
