package backup

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"filippo.io/age"

	"heeltap/lots"
	"heeltap/lots/files"
	"heeltap/lots/store"
)

// opened is a backup that was read into a folder of its own, checked and audited.
func opened(ctx context.Context, backup, beside string, keys []age.Identity) (folder string, about About, err error) {
	work, err := os.MkdirTemp(beside, ".heeltap-*")
	if err != nil {
		return "", about, files.Failed(beside, err)
	}
	folder = filepath.Join(work, "opened")
	about, err = unpack(backup, folder, keys)
	if err = cmp.Or(err, ctx.Err()); err == nil {
		err = sound(ctx, filepath.Join(folder, nameDB))
	}
	if err != nil {
		return "", about, errors.Join(err, os.RemoveAll(work))
	}
	return folder, about, nil
}

// Restore brings a backup back. It checks and audits it first, and refuses where anything of the house is there, saying what
// would be lost; with aside that is not overwritten but moved to names that end in it.
func Restore(ctx context.Context, backup string, house House, keys []age.Identity, aside string) (about About, moved []string, err error) {
	folder, about, err := opened(ctx, backup, filepath.Dir(house.DB), keys)
	if err != nil {
		return about, nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(filepath.Dir(folder))) }()
	there := standing(house)
	if len(there) > 0 && aside == "" {
		return about, nil, lots.Errorf(lots.Conflict, "nothing was restored, since %s is there. %s. To go on, stop whatever uses it and say --replace: what is there is moved aside, not deleted", strings.Join(there, " and "), lost(ctx, house.DB, filepath.Join(folder, nameDB)))
	}
	for _, name := range there {
		for _, ending := range []string{"", "-wal", "-shm"} {
			err := os.Rename(name+ending, name+aside+ending)
			if err != nil && !(errors.Is(err, fs.ErrNotExist) && ending != "") {
				return about, moved, files.Failed(name, err)
			}
		}
		moved = append(moved, name+aside)
	}
	for name, to := range map[string]string{namePeople: house.People, namePapers: house.Papers} {
		if err := os.Rename(filepath.Join(folder, name), to); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return about, moved, files.Failed(to, err)
		}
	}
	if err := os.Rename(filepath.Join(folder, nameDB), house.DB); err != nil { // last: with it the house is whole
		return about, moved, files.Failed(house.DB, err)
	}
	return about, moved, files.SyncFolder(filepath.Dir(house.DB))
}

// standing lists what of a house is there.
func standing(house House) (out []string) {
	for _, name := range []string{house.DB, house.People, house.Papers} {
		if _, err := os.Lstat(name); err == nil {
			out = append(out, name)
		}
	}
	return out
}

// lost says what of a database a backup does not have.
func lost(ctx context.Context, live, backup string) string {
	head := func(file string) (h store.Head, at time.Time, err error) {
		db, err := store.OpenAnyway(ctx, file)
		if err != nil {
			return h, at, err
		}
		defer db.Close()
		return h, at, db.View(ctx, func(tx *store.Tx) (err error) {
			if h, err = tx.LastEntry(); err != nil || h.Seq == 0 {
				return err
			}
			e, _, err := tx.Entry(h.Seq)
			at = e.Recorded
			return err
		})
	}
	if _, err := os.Lstat(live); err != nil {
		return "The database itself is not"
	}
	kept, _, err := head(backup)
	if err != nil {
		return "What would be lost cannot be told: " + err.Error()
	}
	has, last, err := head(live)
	switch {
	case err != nil:
		return "What would be lost cannot be told: " + err.Error()
	case has.Seq <= kept.Seq:
		return fmt.Sprintf("Its journal ends at entry %d, and the backup's at %d: no entry would be lost, unless it holds another history", has.Seq, kept.Seq)
	}
	return fmt.Sprintf("Its journal ends at entry %d of %s, and the backup's at %d: %d entries would be lost", has.Seq, last.UTC().Format("2006-01-02 15:04 MST"), kept.Seq, has.Seq-kept.Seq)
}

// Drill proves that a backup can be brought back: it is read, checked and audited in a folder of its own, and everything
// derived in it, by which questions are answered, is compared with what the live database derives of its journal up to there.
func Drill(ctx context.Context, backup string, live *store.DB, keys []age.Identity) (about About, report store.AuditReport, since int64, err error) {
	folder, about, err := opened(ctx, backup, "", keys)
	if err != nil {
		return about, report, 0, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(filepath.Dir(folder))) }()
	db, err := store.Open(ctx, filepath.Join(folder, nameDB))
	if err != nil {
		return about, report, 0, err
	}
	defer func() { err = cmp.Or(err, db.Close()) }()
	db.Limits = live.Limits
	report, since, err = live.SameAsThen(ctx, db)
	return about, report, since, err
}

// Every makes a backup whenever the newest is a day old, until it is stopped, and tells how that went.
func Every(ctx context.Context, house House, folder string, keep Rotation, to []age.Recipient, now func() time.Time, tell func(Made, error)) {
	tick := time.NewTicker(10 * time.Minute)
	defer tick.Stop()
	for {
		made, err := In(folder)
		if err != nil || len(made) == 0 || now().Sub(made[0].At) >= 24*time.Hour {
			var one Made
			if err == nil {
				one, _, err = Write(ctx, house, folder, now(), to)
			}
			if err == nil {
				_, err = keep.Rotate(folder)
			}
			if ctx.Err() == nil {
				tell(one, err)
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// Recipients reads the public keys that backups are encrypted to.
func Recipients(texts []string) (out []age.Recipient, err error) {
	for _, text := range texts {
		r, err := age.ParseX25519Recipient(strings.TrimSpace(text))
		if err != nil {
			return nil, lots.Errorf(lots.Invalid, "%q is no public key of age (age1…): %w", text, err)
		}
		out = append(out, r)
	}
	return out, nil
}

// Identities reads the file with the key that backups are decrypted with; none where it is not named.
func Identities(file string) ([]age.Identity, error) {
	if file == "" {
		return nil, nil
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, lots.Errorf(lots.NotFound, "%s cannot be read: %w", file, err)
	}
	defer f.Close()
	keys, err := age.ParseIdentities(f)
	if err != nil {
		return nil, lots.Errorf(lots.Invalid, "%s holds no key of age: %w", file, err)
	}
	return keys, nil
}
