package main

import (
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

func (e *env) attachCommand() *cobra.Command {
	var by string
	cmd := &cobra.Command{
		Use:   "attach CODE FILE…",
		Short: "Keep photos and papers with a lot, vessel, run, pallet, shipment or party",
		Long: `Keep photos and papers (JPEG, PNG, WebP, HEIC or PDF, at most 20 MB each) with anything that has a code. The files
go into the folder heeltap-papers beside the database, and what they are into the journal: name, type, size
and SHA-256. Back up that folder together with the database.`,
		Example: `  heeltap attach L26-0142 certificate.pdf
  heeltap attach S26-0031 seal.jpg lorry.jpg --by Ines`,
		Args: cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(by)
			if err != nil {
				return err
			}
			var kept []papers.Paper
			folder := papers.Store{Folder: papers.PathFor(e.path())}
			return e.update(cmd.Context(), func(tx *store.Tx) error {
				code, err := desk.Subject(tx, args[0])
				if err != nil {
					return err
				}
				for _, path := range args[1:] {
					p, err := keepFile(folder, path)
					if err != nil {
						return err
					}
					if _, err := desk.Attach(tx, code, p, by); err != nil {
						return err
					}
					kept = append(kept, p)
				}
				return e.tellAttached(code, kept)
			})
		},
	}
	cmd.Flags().StringVar(&by, "by", "", "who attaches it (else HEELTAP_BY)")
	cmd.Flags().BoolVar(&e.json, "json", false, "print what was attached as JSON")
	return cmd
}

func (e *env) detachCommand() *cobra.Command {
	var by, reason string
	cmd := &cobra.Command{
		Use:   "detach CODE PAPER",
		Short: "Take a photo or paper off what it does not belong to",
		Long: `Take a photo or paper off what it does not belong to. Name the paper by its file name, its entry or the first
characters of its SHA-256, as heeltap show lists them. The file is kept, and the journal keeps that it was attached:
only what is shown with the thing changes. Attach it to what it belongs to.`,
		Example: `  heeltap detach L26-0142 certificate.pdf --reason "it is of L26-0143" --by Ines`,
		Args:    cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(by)
			if err != nil {
				return err
			}
			return e.update(cmd.Context(), func(tx *store.Tx) error {
				code, err := desk.Subject(tx, args[0])
				if err != nil {
					return err
				}
				p, err := desk.PaperNamed(tx, code, args[1])
				if err != nil {
					return err
				}
				if err := desk.Detach(tx, code, p.Hash, reason, by); err != nil {
					return err
				}
				if e.json {
					return e.writeJSON(map[string]any{"code": code, "paper": p.Paper, "reason": reason, "by": by})
				}
				e.printf("%s is no longer shown with %s; the file and the journal keep that it was\n", p.Name, code)
				return nil
			})
		},
	}
	cmd.Flags().StringVar(&reason, "reason", "", "why it does not belong there (needed)")
	cmd.Flags().StringVar(&by, "by", "", "who takes it off (else HEELTAP_BY)")
	cmd.Flags().BoolVar(&e.json, "json", false, "print what was taken off as JSON")
	return cmd
}

// keepFile puts a file into the store of papers.
func keepFile(folder papers.Store, path string) (papers.Paper, error) {
	info, err := os.Stat(path)
	if err == nil && info.Size() > papers.Largest {
		return papers.Paper{}, lots.Errorf(lots.Invalid, "%s is larger than 20 MB: take a smaller picture", path)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return papers.Paper{}, lots.Errorf(lots.NotFound, "%s cannot be read: %w", path, err)
	}
	return folder.Keep(filepath.Base(path), data)
}

func (e *env) tellAttached(code string, kept []papers.Paper) error {
	if e.json {
		return e.writeJSON(map[string]any{"code": code, "papers": kept})
	}
	for _, p := range kept {
		e.printf("%s is kept with %s\n", p.Name, code)
	}
	return nil
}

// listPapers tells what is attached to a thing, and which of the files are gone.
func (e *env) listPapers(tx *store.Tx, code string) error {
	known, err := desk.PapersOf(tx, code)
	if err != nil {
		return err
	}
	folder := papers.Store{Folder: papers.PathFor(e.path())}
	for _, p := range known.Attached {
		gone := ""
		if !folder.Has(p.Hash) {
			gone = ": THE FILE IS GONE, bring it back from a backup of heeltap-papers"
		}
		e.printf("attached: %s (%s, entry %d, %s)%s\n", p.Name, p.By, p.Entry, p.Hash[:12], gone)
	}
	if known.Quantity != "" {
		e.printf("on the papers: %s\n", known.Quantity)
	}
	if known.Scan != "" {
		e.printf("scanned: %s\n", known.Scan)
	}
	return nil
}
