// Package backup keeps copies of a database, of its papers and of its list of people, and brings them back. It must not know
// what is in them, beyond what lots/store proves of a database.
package backup

import (
	"archive/tar"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"filippo.io/age"

	"heeltap/lots"
	"heeltap/lots/files"
	"heeltap/lots/sqlfile"
	"heeltap/lots/store"
)

// What of a house is kept: the database, and what lies beside it.
type House struct {
	DB     string // the database file
	People string // the list of people; kept where there is one
	Papers string // the folder of papers; kept where there is one
}

// The names within a backup.
const (
	nameAbout  = "backup.json"
	nameDB     = "heeltap.db"
	namePeople = "heeltap-people.db"
	namePapers = "heeltap-papers/"
)

// About is what a backup says of itself.
type About struct {
	Made    time.Time         `json:"made"`
	Site    string            `json:"site"`
	Entries int64             `json:"entries"`
	Head    string            `json:"head"`
	Files   map[string]string `json:"files"` // the SHA-256 of each other file in it
}

// Made is a backup in its folder.
type Made struct {
	Path string
	At   time.Time
	Age  bool // it is encrypted
}

const (
	prefix  = "heeltap-"
	stamp   = "2006-01-02T150405Z"
	ending  = ".tar"
	ageMark = ".age"
)

// Write makes a backup of a house in a folder: copied while others go on working, put into one file, read back, audited,
// and only then given its name. With recipients it is encrypted to them.
func Write(ctx context.Context, house House, folder string, now time.Time, to []age.Recipient) (made Made, about About, err error) {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return made, about, lots.Errorf(lots.Invalid, "the folder %s cannot be made: %w", folder, err)
	}
	work, err := os.MkdirTemp(folder, ".heeltap-*")
	if len(to) > 0 { // what is not encrypted yet stays where it lies open anyway
		os.Remove(work)
		work, err = os.MkdirTemp(filepath.Dir(house.DB), ".heeltap-*")
	}
	if err != nil {
		return made, about, files.Failed(folder, err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(work)) }()
	about, err = pack(ctx, house, work, now)
	if err != nil {
		return made, about, err
	}
	plain := filepath.Join(work, "backup.tar")
	if err := verified(ctx, plain, work); err != nil {
		return made, about, lots.Errorf(lots.KindOf(err), "the backup was written, and is not good, so it is not kept: %w", err)
	}
	made = Made{Path: filepath.Join(folder, prefix+now.UTC().Format(stamp)+ending), At: now, Age: len(to) > 0}
	if made.Age {
		made.Path += ageMark
	}
	if _, err := os.Lstat(made.Path); err == nil {
		return made, about, lots.Errorf(lots.Conflict, "%s already exists", made.Path)
	}
	return made, about, files.WriteWith(made.Path, func(out *os.File) error { return copyOut(out, plain, to) })
}

// copyOut writes the finished backup to its place, encrypted where there are recipients.
func copyOut(out io.Writer, plain string, to []age.Recipient) (err error) {
	in, err := os.Open(plain)
	if err != nil {
		return err
	}
	defer in.Close()
	if len(to) == 0 {
		_, err = io.Copy(out, in)
		return err
	}
	w, err := age.Encrypt(out, to...)
	if err != nil {
		return err
	}
	_, err = io.Copy(w, in)
	return cmp.Or(err, w.Close())
}

// pack copies a house into work/backup.tar. The database is copied first: what it names is in the papers by then.
func pack(ctx context.Context, house House, work string, now time.Time) (about About, err error) {
	about = About{Made: now.UTC(), Files: map[string]string{}}
	sources := map[string]string{nameDB: filepath.Join(work, nameDB)}
	if err := sqlfile.Copy(ctx, house.DB, sources[nameDB]); err != nil {
		return about, err
	}
	if err := about.describe(ctx, sources[nameDB]); err != nil {
		return about, err
	}
	if _, err := os.Stat(house.People); err == nil {
		sources[namePeople] = filepath.Join(work, namePeople)
		if err := sqlfile.Copy(ctx, house.People, sources[namePeople]); err != nil {
			return about, err
		}
	}
	err = filepath.WalkDir(house.Papers, func(name string, d fs.DirEntry, err error) error {
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return nil
		case err != nil:
			return err
		case d.Type().IsRegular() && !strings.HasPrefix(d.Name(), "."):
			rel, err := filepath.Rel(house.Papers, name)
			sources[namePapers+filepath.ToSlash(rel)] = name
			return err
		}
		return ctx.Err()
	})
	if err != nil {
		return about, lots.Errorf(lots.Internal, "the papers cannot be read: %w", err)
	}
	return about, about.write(filepath.Join(work, "backup.tar"), sources)
}

// describe notes what the copied database says of itself.
func (a *About) describe(ctx context.Context, db string) error {
	copied, err := store.Open(ctx, db)
	if err != nil {
		return err
	}
	err = copied.View(ctx, func(tx *store.Tx) error {
		head, err := tx.LastEntry()
		a.Site, a.Entries, a.Head = tx.Site().Name, head.Seq, head.Short()
		return err
	})
	return cmp.Or(err, copied.Close())
}

// write puts the sources into one tar file, and what it says of itself last, when their hashes are known.
func (a *About) write(to string, sources map[string]string) error {
	return files.WriteWith(to, func(f *os.File) error {
		w := tar.NewWriter(f)
		names := make([]string, 0, len(sources))
		for name := range sources {
			names = append(names, name)
		}
		slices.Sort(names)
		for _, name := range names {
			sum, err := put(w, name, sources[name], a.Made)
			if err != nil {
				return err
			}
			a.Files[name] = sum
		}
		text, err := json.MarshalIndent(a, "", "  ")
		if err != nil {
			return err
		}
		if err := w.WriteHeader(&tar.Header{Name: nameAbout, Mode: 0o600, Size: int64(len(text)), ModTime: a.Made, Format: tar.FormatPAX}); err != nil {
			return err
		}
		_, err = w.Write(text)
		return cmp.Or(err, w.Close())
	})
}

func put(w *tar.Writer, name, source string, at time.Time) (sum string, err error) {
	f, err := os.Open(source)
	if err != nil {
		return "", err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return "", err
	}
	if err := w.WriteHeader(&tar.Header{Name: name, Mode: 0o600, Size: info.Size(), ModTime: at, Format: tar.FormatPAX}); err != nil {
		return "", err
	}
	h := sha256.New()
	_, err = io.Copy(io.MultiWriter(w, h), f)
	return hex.EncodeToString(h.Sum(nil)), err
}

// verified reads a backup back into a folder of its own and audits the database in it.
func verified(ctx context.Context, plain, work string) error {
	opened := filepath.Join(work, "opened")
	if _, err := unpack(plain, opened, nil); err != nil {
		return err
	}
	return sound(ctx, filepath.Join(opened, nameDB))
}

// sound audits a database.
func sound(ctx context.Context, file string) error {
	db, err := store.Open(ctx, file)
	if err != nil {
		return err
	}
	report, err := db.Audit(ctx, func(string) {})
	if err == nil && len(report.Differences) > 0 {
		err = lots.Errorf(lots.Corrupt, "its audit says: %s", report.Differences[0])
	}
	return cmp.Or(err, db.Close())
}

// unpack reads a backup into a folder that is made for it, and checks every file against what the backup says of itself.
func unpack(backup, folder string, keys []age.Identity) (about About, err error) {
	f, err := os.Open(backup)
	if err != nil {
		return about, lots.Errorf(lots.NotFound, "%s cannot be read: %w", backup, err)
	}
	defer f.Close()
	var in io.Reader = f
	if strings.HasSuffix(backup, ageMark) {
		if len(keys) == 0 {
			return about, lots.Errorf(lots.Invalid, "%s is encrypted: name the file with its key (--identity FILE)", backup)
		}
		if in, err = age.Decrypt(f, keys...); err != nil {
			return about, lots.Errorf(lots.Invalid, "%s cannot be decrypted: %w", backup, err)
		}
	}
	if err := os.Mkdir(folder, 0o700); err != nil {
		return about, files.Failed(folder, err)
	}
	root, err := os.OpenRoot(folder)
	if err != nil {
		return about, err
	}
	defer root.Close()
	damaged := func(what string) error {
		return lots.Errorf(lots.Corrupt, "%s is damaged, or no backup of heeltap's: %s", backup, what)
	}
	got := map[string]string{}
	for r := tar.NewReader(in); ; {
		h, err := r.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return about, damaged(err.Error())
		}
		if h.Typeflag != tar.TypeReg || !known(h.Name) || got[h.Name] != "" {
			return about, damaged("it holds " + h.Name)
		}
		if h.Name == nameAbout {
			if err := json.NewDecoder(io.LimitReader(r, 64<<20)).Decode(&about); err != nil {
				return about, damaged(err.Error())
			}
			continue
		}
		if got[h.Name], err = take(root, h.Name, r); err != nil {
			return about, damaged(err.Error())
		}
	}
	if len(got) != len(about.Files) || got[nameDB] == "" {
		return about, damaged("files are missing in it")
	}
	for name, sum := range about.Files {
		if got[name] != sum {
			return about, damaged(name + " in it was changed")
		}
	}
	return about, nil
}

// known reports whether a backup may hold a file of this name.
func known(name string) bool {
	paper, ok := strings.CutPrefix(name, namePapers)
	return name == nameAbout || name == nameDB || name == namePeople || ok && fs.ValidPath(paper) && path.Clean(name) == name
}

func take(root *os.Root, name string, r io.Reader) (sum string, err error) {
	if err := root.MkdirAll(path.Dir(name), 0o700); err != nil {
		return "", err
	}
	f, err := root.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return "", err
	}
	h := sha256.New()
	_, err = io.Copy(io.MultiWriter(f, h), r)
	err = cmp.Or(err, f.Sync())
	return hex.EncodeToString(h.Sum(nil)), cmp.Or(err, f.Close())
}

// In lists the backups of a folder, the newest first.
func In(folder string) ([]Made, error) {
	entries, err := os.ReadDir(folder)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, lots.Errorf(lots.Invalid, "%s cannot be read: %w", folder, err)
	}
	var out []Made
	for _, e := range entries {
		name, encrypted := strings.CutSuffix(e.Name(), ageMark)
		at, err := time.Parse(prefix+stamp+ending, name)
		if err == nil && e.Type().IsRegular() {
			out = append(out, Made{filepath.Join(folder, e.Name()), at, encrypted})
		}
	}
	slices.SortFunc(out, func(a, b Made) int { return b.At.Compare(a.At) })
	return out, nil
}

// Rotation says how many backups are kept: the newest of each of so many days, and of each of so many months.
type Rotation struct{ Days, Months int }

// Usual is the rotation where none is asked for.
var Usual = Rotation{Days: 14, Months: 12}

// Over lists which of the backups, the newest first, a rotation no longer keeps. The newest is always kept.
func (r Rotation) Over(made []Made) (over []Made) {
	days, months := map[string]bool{}, map[string]bool{}
	for i, m := range made {
		day, month := m.At.UTC().Format("2006-01-02"), m.At.UTC().Format("2006-01")
		newDay, newMonth := !days[day] && len(days) < r.Days, !months[month] && len(months) < r.Months
		if i > 0 && !newDay && !newMonth {
			over = append(over, m)
		}
		days[day] = true
		if newMonth {
			months[month] = true
		}
	}
	return over
}

// Rotate removes the backups that a rotation no longer keeps.
func (r Rotation) Rotate(folder string) (gone int, err error) {
	made, err := In(folder)
	if err != nil {
		return 0, err
	}
	for _, m := range r.Over(made) {
		if err := os.Remove(m.Path); err != nil {
			return gone, lots.Errorf(lots.Invalid, "%s cannot be removed: %w", m.Path, err)
		}
		gone++
	}
	return gone, nil
}
