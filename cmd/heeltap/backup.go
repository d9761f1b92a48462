package main

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"heeltap/cmd/internal/backup"
	"heeltap/cmd/internal/people"
	"heeltap/lots"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

// house is what lies beside each other and is backed up together.
func (e *env) house() backup.House {
	return backup.House{DB: e.path(), People: people.PathFor(e.path()), Papers: papers.PathFor(e.path())}
}

// keeping is where and how backups are kept.
type keeping struct {
	folder string
	to     []string
	keep   backup.Rotation
}

// flags adds the flags of how backups are kept, and with a name the one of where.
func (k *keeping) flags(cmd *cobra.Command, folder string) {
	prefix := ""
	if folder != "" {
		cmd.Flags().StringVar(&k.folder, folder, "", "folder, best on another machine, for a backup every day")
		prefix = folder + "-"
	}
	cmd.Flags().StringArrayVar(&k.to, prefix+"to", nil, "encrypt backups to this public key of age, age1… (repeatable)")
	cmd.Flags().IntVar(&k.keep.Days, prefix+"days", backup.Usual.Days, "of how many days the last backup is kept")
	cmd.Flags().IntVar(&k.keep.Months, prefix+"months", backup.Usual.Months, "of how many months the last backup is kept")
}

func (e *env) backupCommand() *cobra.Command {
	var k keeping
	cmd := &cobra.Command{
		Use:   "backup FOLDER",
		Short: "Write a dated backup of everything: database, papers, people",
		Long: `Write a dated backup into a folder: the database as it stands at one moment while others go on working, the
photos and papers, and the list of people. It is read back and audited before it counts, and older ones
are then kept by a rotation: the last of each of 14 days and of each of 12 months. --to encrypts it (age);
heeltap restore and heeltap drill then want the key. The folder should be on another machine, or be copied
to one: a backup beside what it saves burns with it.`,
		Example: `  heeltap backup /mnt/nas/heeltap
  heeltap backup /mnt/nas/heeltap --to age1…`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			to, err := backup.Recipients(k.to)
			if err != nil {
				return err
			}
			db, err := e.open(cmd.Context()) // a clear error where there is none
			if err != nil {
				return err
			}
			defer db.Close()
			done := e.progress("backing up")
			made, about, err := backup.Write(cmd.Context(), e.house(), args[0], e.now(), to)
			done()
			if err != nil {
				return err
			}
			gone, err := k.keep.Rotate(args[0])
			if err != nil {
				return err
			}
			e.printf("%s: %s, up to the head %s, and %s; audited\n", made.Path, entries(about.Entries), about.Head, counted(len(about.Files)-1, "other file"))
			if gone > 0 {
				e.printf("removed %s that the rotation no longer keeps\n", counted(gone, "older backup"))
			}
			return nil
		},
	}
	k.flags(cmd, "")
	return cmd
}

func (e *env) restoreCommand() *cobra.Command {
	var identity string
	var replace bool
	cmd := &cobra.Command{
		Use:   "restore BACKUP",
		Short: "Bring a backup back, once it is checked",
		Long: `Bring a backup back as the database (--db), the papers and the people beside it. It is read, checked and audited
first. Where anything is there already it is refused, saying which entries would be lost; --replace moves
what is there aside, under names that say when. Stop heeltap serve before.`,
		Example: `  heeltap restore /mnt/nas/heeltap/heeltap-2026-11-29T020000Z.tar
  heeltap restore heeltap-2026-11-29T020000Z.tar.age --identity key.txt --replace`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			keys, err := backup.Identities(identity)
			if err != nil {
				return err
			}
			aside := ""
			if replace {
				aside = ".replaced-" + e.now().UTC().Format("20060102T150405Z")
			}
			done := e.progress("checking the backup")
			about, moved, err := backup.Restore(cmd.Context(), args[0], e.house(), keys, aside)
			done()
			for _, m := range moved {
				e.printf("moved aside: %s\n", m)
			}
			if err != nil {
				return err
			}
			e.printf("Restored %s of %s, up to the head %s.\n", entries(about.Entries), about.Site, about.Head)
			return nil
		},
	}
	cmd.Flags().StringVar(&identity, "identity", "", "file with the key of age that it is decrypted with")
	cmd.Flags().BoolVar(&replace, "replace", false, "move aside what is there")
	return cmd
}

func (e *env) drillCommand() *cobra.Command {
	var identity string
	cmd := &cobra.Command{
		Use:   "drill FOLDER|BACKUP",
		Short: "Prove that the newest backup can be brought back and answers as the database does",
		Long: `Prove that a backup, or the newest in a folder, can be brought back: read, check and audit it in a folder of its own,
and compare everything that questions are answered from with what the database derives from its journal
up to there. Exit status 3 if there is a difference.`,
		Example: "  heeltap drill /mnt/nas/heeltap",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			keys, err := backup.Identities(identity)
			if err != nil {
				return err
			}
			return e.drill(cmd.Context(), args[0], func(path string, db *store.DB) (backup.About, store.AuditReport, int64, error) {
				return backup.Drill(cmd.Context(), path, db, keys)
			})
		},
	}
	cmd.Flags().StringVar(&identity, "identity", "", "file with the key of age that it is decrypted with")
	return cmd
}

func (e *env) drill(ctx context.Context, path string, try func(string, *store.DB) (backup.About, store.AuditReport, int64, error)) error {
	if made, err := backup.In(path); err == nil {
		if len(made) == 0 {
			return lots.Errorf(lots.NotFound, "there is no backup in %s: make one with heeltap backup %s", path, path)
		}
		path = made[0].Path
	}
	db, err := e.open(ctx)
	if err != nil {
		return err
	}
	defer db.Close()
	done := e.progress("trying the backup")
	about, report, since, err := try(path, db)
	done()
	if err != nil {
		return err
	}
	e.printf("%s of %s: %s, up to the head %s\n", path, about.Made.Format("2006-01-02 15:04 MST"), entries(about.Entries), about.Head)
	for _, d := range report.Differences {
		e.printf("  DIFFERENT: %s\n", d)
	}
	if len(report.Differences) > 0 {
		return errFindings
	}
	e.printf("It can be brought back, and answers as the database did then (%s compared); %s recorded since.\n", counted(report.Compared, "row"), entries(since))
	return nil
}

// backUpDaily makes a backup every day for as long as the pages are served; the function it returns waits for one that is
// being made.
func (e *env) backUpDaily(ctx context.Context, k keeping, log *slog.Logger) (stop func(), err error) {
	if k.folder == "" {
		return func() {}, nil
	}
	to, err := backup.Recipients(k.to)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(ctx)
	var running sync.WaitGroup
	running.Go(func() {
		backup.Every(ctx, e.house(), k.folder, k.keep, to, time.Now, func(made backup.Made, err error) {
			if err != nil {
				log.Error("no backup was made", "folder", k.folder, "error", err)
				fmt.Fprintf(e.errOut, "heeltap: no backup was made: %v\n", err)
				return
			}
			log.Info("backup made", "file", made.Path)
		})
	})
	return func() {
		cancel()
		running.Wait()
	}, nil
}
