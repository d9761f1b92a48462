package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"

	"heeltap/graph/desk"
	"heeltap/graph/epcis"
	"heeltap/graph/recall"
	"heeltap/lots"
	"heeltap/lots/files"
	"heeltap/lots/sheet"
	"heeltap/lots/store"
)

func (e *env) importCommand() *cobra.Command {
	var how desk.Import
	mapPath, from, record := "", "", false
	cmd := &cobra.Command{
		Use:   "import PATH…",
		Short: "Import rows from folders of CSV files or .xlsx workbooks, all or nothing",
		Long: `Import rows from folders of CSV files or .xlsx workbooks; if there is no database yet, one is
created. Rows can be in any order. Every bad row is reported with its file, line, column and
reason, and nothing is kept unless every row is good. With --keep-going the good rows are kept
and the bad ones written to a folder beside the first PATH, with a last column that says what is
wrong: correct them there and import that folder. Numbers with a unit ("60 kg") are understood;
what a spreadsheet may have changed (1.2E+10, 11-Mar) is pointed out. Pages or files that are not
record sheets are refused, or skipped with --skip-others. A row that is already recorded is
refused, or skipped with --only-new: that way you can add rows to an exported folder and import
it again. "heeltap void FIRST..LAST" takes one import back as a whole.

Spreadsheets and CSV files with headings of their own are read with --map MAP. The first time, heeltap
writes the file MAP: which record sheet each page is, what each heading means and in what unit, and
what it has to ask, each marked with ?: names that it does not know for certain, days such as 03/04,
cells with several lots, texts that a spreadsheet has probably changed. Answer in that file, with an
editor or a spreadsheet, and run the command again: it says what it would record, and lists in
MAP-left-out.csv every line that it passes over (titles, totals). Add --record to record it. The map
is kept for your next file.

A file that ends in .jsonld is a document of EPCIS 2.0 that somebody sent you; it records no rows. What a
supplier shipped to you is expected (heeltap expected), and what a consignee passed on of your goods is
listed with that consignee in a recall. The document is kept as it came, under its SHA-256.`,
		Example: `  heeltap import records/
  heeltap import march.xlsx --by Ines
  heeltap import records/ --keep-going
  heeltap import deliveries-march.xlsx --map deliveries.csv
  heeltap import deliveries-march.xlsx --map deliveries.csv --record --by Ines
  heeltap import shipped.jsonld --from S-03`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(how.By)
			if err != nil {
				by = "import" // rows mostly name somebody themselves
			}
			how.By, how.Paths = by, args
			if documents := slices.ContainsFunc(args, isEvents); documents || from != "" {
				return e.importEvents(cmd.Context(), args, from, by)
			}
			if mapPath != "" {
				return e.importMapped(cmd.Context(), how, mapPath, record)
			}
			if record {
				return lots.Errorf(lots.Invalid, "--record goes with --map; without a map everything is recorded at once")
			}
			return e.importInto(cmd.Context(), how)
		},
	}
	cmd.Flags().StringVar(&how.By, "by", "", "who reports the rows that name nobody (else HEELTAP_BY)")
	cmd.Flags().BoolVar(&how.KeepGoing, "keep-going", false, "keep the good rows and write the bad ones to a folder")
	cmd.Flags().BoolVar(&how.OnlyNew, "only-new", false, "skip rows that are already recorded")
	cmd.Flags().StringVar(&how.Override, "override", "", "record rows even though they take goods on hold, for this reason; the override goes on record")
	cmd.Flags().BoolVar(&how.SkipOthers, "skip-others", false, "skip files and pages that are not record sheets")
	cmd.Flags().StringVar(&mapPath, "map", "", "read files with headings of their own by this map, which is proposed if it does not exist")
	cmd.Flags().StringVar(&from, "from", "", "with .jsonld: the party that sent it (else by the location numbers in it)")
	cmd.Flags().BoolVar(&record, "record", false, "with --map: record the rows, instead of only saying what would be recorded")
	cmd.Flags().StringVar(&how.BadRows, "bad-rows", "", "folder for the bad rows (else beside the first PATH)")
	cmd.Flags().BoolVar(&e.json, "json", false, "print what was done as JSON")
	return cmd
}

// importInto creates the database if there is none yet, unless nothing is recorded.
func (e *env) importInto(ctx context.Context, how desk.Import) error {
	if _, err := os.Lstat(e.path()); errors.Is(err, os.ErrNotExist) {
		var said *desk.Imported
		err := store.CreateWith(ctx, e.path(), func(db *store.DB) (err error) {
			db.Now = e.now
			said, err = e.importAll(ctx, db, how)
			return err
		})
		if err != nil {
			return err
		}
		return e.tellImported(how, said)
	}
	db, err := e.open(ctx)
	if err != nil {
		return err
	}
	said, err := e.importAll(ctx, db, how)
	if err = cmp.Or(err, db.Close()); err != nil {
		return err
	}
	return e.tellImported(how, said)
}

func (e *env) importAll(ctx context.Context, db *store.DB, how desk.Import) (*desk.Imported, error) {
	defer e.progress("importing")()
	return how.Run(ctx, db)
}

func (e *env) tellImported(how desk.Import, said *desk.Imported) error {
	for _, w := range said.Warnings {
		e.note("%s", w)
	}
	if len(said.Faults) > 0 {
		tell(e.errOut, said.Faults)
	}
	if e.json {
		return e.writeJSON(said)
	}
	e.printf("recorded %s%s\n", counted(said.Rows, "row"), entriesOf(said))
	if how.OnlyNew {
		e.printf("skipped %s already recorded\n", counted(said.Passed, "row"))
	}
	for _, o := range said.Others {
		e.printf("skipped %s, which is not a record sheet\n", o)
	}
	if said.BadRows != nil {
		e.printf("the bad rows are in %s: correct them there and import that folder\n", *said.BadRows)
	}
	return nil
}

// entriesOf says where an import stands in the journal.
func entriesOf(said *desk.Imported) string {
	switch {
	case said.First == 0:
		return ""
	case said.First == said.Last:
		return fmt.Sprintf(" (entry %d)", said.First)
	}
	return fmt.Sprintf(" (entries %d..%d)", said.First, said.Last)
}

// progress shows on a terminal what is being done; the function it returns ends that.
func (e *env) progress(what string) func() {
	if !e.terminal(e.errOut) {
		return func() {}
	}
	bar := progressbar.NewOptions(-1, progressbar.OptionSetWriter(e.errOut), progressbar.OptionClearOnFinish(),
		progressbar.OptionSetDescription(what), progressbar.OptionSpinnerType(14))
	tick := time.NewTicker(100 * time.Millisecond)
	stop := make(chan struct{})
	go func() {
		for {
			select {
			case <-tick.C:
				_ = bar.Add(1)
			case <-stop:
				return
			}
		}
	}()
	return func() {
		tick.Stop()
		close(stop)
		_ = bar.Finish()
	}
}

func (e *env) exportCommand() *cobra.Command {
	var recalled, base string
	cmd := &cobra.Command{
		Use:   "export PATH",
		Short: "Export all rows to a folder of CSV files or an .xlsx workbook, or what happened as an EPCIS document (.jsonld)",
		Long: `Export all rows, as they read now, to a folder of CSV files, or to a workbook if PATH ends in
.xlsx. Importing it elsewhere gives the same lineage and the same answers. A folder also gets what no
sheet has a column for, to be read by people and other programs and not by import: settings.json,
recalls.json (every step of every recall), inquiries.json and steps.json (overrides, mutes, what was
attached, runs begun). It carries no history: what was known when, what was corrected, the hashes, the
files of photos and papers, and who may sign in. heeltap backup carries all of that.

If PATH ends in .jsonld, what happened is written as a document of EPCIS 2.0 and CBV 2.0 (JSON-LD),
which other parties' systems read: deliveries, brews, transfers, runs, pallets, shipments, returns,
removals, counts and holds, with GS1 keys where there are any. What was corrected is declared in
error. With --recall only what that recall's scope reaches is written.`,
		Example: `  heeltap export records/
  heeltap export history.jsonld
  heeltap export scope.jsonld --recall RC26-01
  heeltap export records.xlsx`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if isEvents(args[0]) {
				return e.exportEvents(cmd.Context(), args[0], recalled, base)
			}
			if recalled != "" || base != "" {
				return lots.Errorf(lots.Invalid, "--recall and --base go with a file that ends in .jsonld")
			}
			var rows []sheet.Row
			var steps []sheet.Beside
			err := e.question(cmd.Context(), func(tx *store.Tx) error {
				all, err := tx.Everything()
				for _, r := range all {
					rows = append(rows, sheet.Row{Sheet: r.Sheet, Row: r.Row})
				}
				if err != nil {
					return err
				}
				steps, err = desk.Steps(tx)
				return err
			})
			if err != nil {
				return err
			}
			not := "not carried: what was known when and corrected, files of papers, and who may sign in"
			if strings.EqualFold(filepath.Ext(args[0]), ".xlsx") {
				err, not = sheet.WriteWorkbook(args[0], rows), not+"; settings, recalls and inquiries, which a folder gets"
			} else {
				err = sheet.WriteFolder(args[0], rows, steps...)
			}
			if err != nil {
				return err
			}
			if e.json {
				return e.writeJSON(map[string]any{"path": args[0], "rows": len(rows)})
			}
			e.printf("wrote %s to %s\n", counted(len(rows), "row"), args[0])
			e.note("%s (heeltap backup carries everything)", not)
			return nil
		},
	}
	cmd.Flags().StringVar(&recalled, "recall", "", "with .jsonld: only what this recall's scope reaches")
	cmd.Flags().StringVar(&base, "base", "", "with .jsonld: begins the identifiers of what has no GS1 key (else urn:heeltap: and the site's name)")
	return e.asks(cmd)
}

// exportEvents writes an EPCIS document.
func (e *env) exportEvents(ctx context.Context, path, recalled, base string) error {
	var done epcis.Written
	err := e.question(ctx, func(tx *store.Tx) error {
		o := epcis.Options{Base: base, Created: e.now()}
		if recalled != "" {
			now, err := recall.Load(tx, recalled)
			if err != nil {
				return err
			}
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			if o.Only, err = epcis.Within(s.Answer); err != nil {
				return err
			}
		}
		return files.WriteWith(path, func(f *os.File) (err error) {
			done, err = epcis.Write(ctx, tx, f, o)
			return err
		})
	})
	if err != nil {
		return err
	}
	if e.json {
		return e.writeJSON(map[string]any{"path": path, "epcis": done})
	}
	e.printf("wrote %s to %s\n", counted(done.Events, "event"), path)
	if done.Errors > 0 {
		e.printf("%d of them declare that an earlier one was in error\n", done.Errors)
	}
	if done.Unread > 0 {
		e.printf("%s that were corrected since cannot be read as they were, and are left out\n", counted(done.Unread, "earlier row"))
	}
	return nil
}
