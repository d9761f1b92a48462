package main

import (
	"cmp"
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"heeltap/lots"
	"heeltap/lots/files"
	"heeltap/lots/store"
)

func (e *env) auditCommand() *cobra.Command {
	var heads, checkpoints []string
	var signer string
	cmd := &cobra.Command{
		Use:   "audit",
		Short: "Prove that nothing recorded was changed and that records and lineage follow from the journal",
		Long: `Prove that nothing recorded was changed: read every page and index of the file, read the journal's chain
of hashes again, check the seal on what is derived from it, rebuild records and lineage in a scratch
database, and report every difference. Exit status 3 if there is one.

The head that it prints stands at the foot of every recall paper too. Whoever can change the file could
write a whole new history into it; against a head that is kept elsewhere that is found, and so is a
history whose end was cut off: --against HEAD, or --checkpoint FILE with what heeltap vouch signed.`,
		Example: `  heeltap audit
  heeltap audit --against 812:3f9a-22c1-4b07-d3e1
  heeltap audit --checkpoint march.checkpoint --signed-by "PUBLIC KEY"`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			against, err := e.against(heads, checkpoints, signer)
			if err != nil {
				return err
			}
			return e.audit(cmd.Context(), against)
		},
	}
	cmd.Flags().BoolVar(&e.json, "json", false, "answer as JSON")
	cmd.Flags().StringArrayVar(&heads, "against", nil, "a head that was written down: the journal must have grown from it (repeatable)")
	cmd.Flags().StringArrayVar(&checkpoints, "checkpoint", nil, "a file that heeltap vouch wrote: the journal must have grown from it (repeatable)")
	cmd.Flags().StringVar(&signer, "signed-by", "", "the public key that checkpoints must be signed with")
	return cmd
}

// against reads the heads that the journal must have grown from.
func (e *env) against(heads, checkpoints []string, signer string) (out []store.Head, err error) {
	for _, text := range heads {
		h, err := store.ParseHead(text)
		if err != nil {
			return nil, err
		}
		out = append(out, h)
	}
	for _, path := range checkpoints {
		data, err := os.ReadFile(path)
		if err != nil {
			return nil, lots.Errorf(lots.NotFound, "%s cannot be read: %w", path, err)
		}
		c, err := store.ParseCheckpoint(data)
		if err != nil {
			return nil, lots.Errorf(lots.KindOf(err), "%s: %w", path, err)
		}
		switch name := store.SignerName(c.Signer); {
		case signer == "":
			e.note("%s is signed with the key %s: make sure that it is yours, or name it with --signed-by", path, name)
		case signer != name:
			return nil, lots.Errorf(lots.Invalid, "%s is signed with the key %s, not with %s", path, name, signer)
		}
		out = append(out, c.Head)
	}
	return out, nil
}

func (e *env) audit(ctx context.Context, against []store.Head) error {
	db, err := store.OpenAnyway(ctx, e.path())
	if err != nil {
		return err
	}
	defer db.Close()
	db.Now = e.now
	report, err := db.Audit(ctx, func(step string) {
		if e.terminal(e.errOut) {
			fmt.Fprintf(e.errOut, "%s …\n", step)
		}
	}, against...)
	if err != nil {
		return err
	}
	if report.Differences == nil {
		report.Differences = []string{}
	}
	if e.json {
		err = e.writeJSON(report)
	} else {
		e.printAudit(report, len(against))
	}
	if err == nil && len(report.Differences) > 0 {
		return errFindings
	}
	return err
}

func (e *env) printAudit(report store.AuditReport, against int) {
	e.printf("%s read; the head of the journal is %s, and the last one's hash\n  %s\n", entries(report.Entries), cmp.Or(report.Short, "0:empty"), report.Head)
	e.printf("%s of records and lineage rebuilt and compared\n", counted(report.Compared, "row"))
	for _, d := range report.Differences {
		e.printf("  DIFFERENT: %s\n", d)
	}
	switch {
	case report.FirstWrong > 0:
		e.printf("the first wrong entry, or the first that something wrong comes from, is entry %d\n", report.FirstWrong)
	case len(report.Differences) == 0 && against > 0:
		e.printf("everything agrees, and the journal grew from %s given\n", counted(against, "head"))
	case len(report.Differences) == 0:
		e.printf("everything agrees\n")
	}
}

func (e *env) rebuildCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "rebuild",
		Short: "Derive records and lineage anew from the journal, where they were damaged",
		Long: `Derive records and lineage anew from the journal, all or nothing, where something other than an entry
changed them. The journal itself is not touched, and one that was changed or cut off is refused: only
a backup mends that.`,
		Example: "  heeltap rebuild",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			db, err := store.OpenAnyway(cmd.Context(), e.path())
			if err != nil {
				return err
			}
			defer db.Close()
			done := e.progress("deriving records and lineage")
			err = db.Rebuild(cmd.Context())
			done()
			if err == nil {
				e.printf("Records and lineage follow from the journal again.\n")
			}
			return cmp.Or(err, db.Close())
		},
	}
}

func (e *env) vouchCommand() *cobra.Command {
	var key, newKey, out string
	cmd := &cobra.Command{
		Use:   "vouch",
		Short: "Sign where the journal ends now, for somebody else to keep",
		Long: `Sign where the journal ends now (Ed25519), for somebody else to keep: an auditor, an accountant, a mailbox.
heeltap audit --checkpoint FILE proves later that the journal grew from there. --new-key makes the key
and prints its public part, which is no secret: give it to whoever keeps checkpoints. Keep the key
off this machine's backups if they are within reach of the same people.`,
		Example: `  heeltap vouch --new-key /media/stick/heeltap.key
  heeltap vouch --key /media/stick/heeltap.key --out 2026-11.checkpoint`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			switch {
			case newKey != "":
				return e.makeKey(newKey)
			case key == "":
				return lots.Errorf(lots.Invalid, "name the key to sign with (--key FILE), or make one (--new-key FILE)")
			}
			return e.vouch(cmd.Context(), key, out)
		},
	}
	cmd.Flags().StringVar(&key, "key", "", "file with the key to sign with")
	cmd.Flags().StringVar(&newKey, "new-key", "", "make a key and write it to this file")
	cmd.Flags().StringVar(&out, "out", "", "file for the checkpoint (else the screen)")
	cmd.MarkFlagsMutuallyExclusive("key", "new-key")
	return cmd
}

func (e *env) makeKey(path string) error {
	if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
		return lots.Errorf(lots.Conflict, "%s already exists: choose another name", path)
	}
	data, err := store.NewKey()
	if err != nil {
		return err
	}
	key, err := store.ParseKey(data)
	if err != nil {
		return err
	}
	if err := files.WriteWhole(path, data); err != nil {
		return err
	}
	e.printf("The key is in %s, readable by you alone. Its public part, which checkpoints are checked with:\n  %s\n", path, store.SignerName(key.Public().(ed25519.PublicKey)))
	return nil
}

func (e *env) vouch(ctx context.Context, path, out string) error {
	data, err := os.ReadFile(path)
	if err != nil {
		return lots.Errorf(lots.NotFound, "%s cannot be read: %w", path, err)
	}
	key, err := store.ParseKey(data)
	if err != nil {
		return lots.Errorf(lots.KindOf(err), "%s: %w", path, err)
	}
	c := store.Checkpoint{At: e.now()}
	if err := e.question(ctx, func(tx *store.Tx) (err error) {
		if err := tx.Sound(); err != nil { // nobody vouches for what does not hold
			return err
		}
		c.Site = tx.Site().Name
		c.Head, err = tx.LastEntry()
		return err
	}); err != nil {
		return err
	}
	if c.Seq == 0 {
		return lots.Errorf(lots.NotFound, "the journal is empty: there is nothing to vouch for yet")
	}
	signed := c.Sign(key)
	if out == "" {
		e.printf("%s", signed)
		return nil
	}
	if err := files.WriteWhole(out, signed); err != nil {
		return err
	}
	e.printf("%s vouches for %s, up to the head %s.\n", out, entries(c.Seq), c.Short())
	return nil
}
