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

	"heeltap/lots"
	"heeltap/lots/sheet"
	"heeltap/lots/store"
)

func (e *env) importCommand() *cobra.Command {
	var by string
	var keepGoing, onlyNew bool
	var badTo, override string
	cmd := &cobra.Command{
		Use:   "import PATH…",
		Short: "Read rows from folders of CSV files or .xlsx workbooks, all or nothing",
		Long: `Read rows from folders of CSV files or .xlsx workbooks; the database is made if there is none. Rows may stand in any order. Every bad
row is reported with its file, line, column and reason, and nothing is kept unless all are
good. With --keep-going the good rows are kept and the bad ones written to a folder beside
the first PATH, with a last column that says what is wrong; mend them there and import it.
A row that is recorded already is refused; --only-new passes over those that read just as
recorded, so that an exported folder with rows added to it can be imported again.`,
		Example: `  heeltap import records/
  heeltap import march.xlsx --by Ines
  heeltap import records/ --keep-going`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(by)
			if err != nil {
				by = "import" // rows mostly name somebody themselves
			}
			if badTo == "" {
				clean := filepath.Clean(args[0])
				badTo = strings.TrimSuffix(clean, filepath.Ext(clean)) + "-bad-rows"
			}
			return e.importInto(cmd.Context(), importing{paths: args, by: by, override: override, keepGoing: keepGoing, onlyNew: onlyNew, badTo: badTo})
		},
	}
	cmd.Flags().StringVar(&by, "by", "", "who says so where a row names nobody (else HEELTAP_BY)")
	cmd.Flags().BoolVar(&keepGoing, "keep-going", false, "keep the good rows and write the bad ones to a folder")
	cmd.Flags().BoolVar(&onlyNew, "only-new", false, "pass over rows that are recorded already, word for word")
	cmd.Flags().StringVar(&override, "override", "", "record rows that took what is on hold all the same, for this reason; the override is recorded")
	cmd.Flags().StringVar(&badTo, "bad-rows", "", "folder for the bad rows (else beside the first PATH)")
	cmd.Flags().BoolVar(&e.json, "json", false, "say what was done as JSON")
	return cmd
}

// imported is what is told of an import.
type imported struct {
	Rows     int      `json:"rows"`
	Passed   int      `json:"passed_over"` // recorded already
	Bad      int      `json:"bad"`
	BadRows  *string  `json:"bad_rows"` // folder they were written to
	Warnings []string `json:"warnings"`
}

// importing is what an import is asked to do.
type importing struct {
	paths        []string
	by, override string
	keepGoing    bool
	onlyNew      bool
	badTo        string // folder for the bad rows
}

// importInto makes the database where there is none yet; if then nothing is recorded, it is gone again.
func (e *env) importInto(ctx context.Context, how importing) error {
	if _, err := os.Lstat(e.path()); !errors.Is(err, os.ErrNotExist) {
		return e.importAll(ctx, how)
	}
	db, err := store.Create(ctx, e.path())
	if err != nil {
		return err
	}
	if err := db.Close(); err != nil {
		return err
	}
	err = e.importAll(ctx, how)
	if err != nil {
		return cmp.Or(db.Discard(), err)
	}
	return nil
}

func (e *env) importAll(ctx context.Context, how importing) error {
	rows, faults, err := readAll(how.paths)
	if err != nil {
		return err
	}
	all := len(rows)
	if how.onlyNew {
		if rows, err = e.newOnes(ctx, rows); err != nil {
			return err
		}
	}
	if len(faults) > 0 && !how.keepGoing {
		// What can be understood is checked too, so that all faults come in one go.
		_, more, err := e.try(ctx, rows, how, func() error { return errNotKept })
		return cmp.Or(err, error(sorted(append(faults, more...))))
	}
	good, warnings, faults, err := e.keep(ctx, rows, faults, how)
	if err != nil {
		return err
	}
	said := imported{Rows: len(good), Passed: all - len(rows), Bad: len(rows) - len(good), Warnings: []string{}}
	for _, w := range warnings {
		said.Warnings = append(said.Warnings, w.String())
		e.note("%s", w)
	}
	if len(faults) > 0 {
		tell(e.errOut, sorted(faults))
	}
	if sheet.Placed(faults) {
		said.BadRows = &how.badTo
	}
	if e.json {
		return e.writeJSON(said)
	}
	e.printf("recorded %s\n", counted(len(good), "row"))
	if how.onlyNew {
		e.printf("passed over %s recorded already\n", counted(said.Passed, "row"))
	}
	if said.BadRows != nil {
		e.printf("the bad rows are in %s: mend them and import it\n", how.badTo)
	}
	return nil
}

// newOnes leaves out the rows that are recorded already, word for word.
func (e *env) newOnes(ctx context.Context, rows []sheet.Row) (fresh []sheet.Row, err error) {
	err = e.question(ctx, func(tx *store.Tx) error {
		for _, r := range rows {
			is, err := tx.IsRecorded(r.Sheet, r.Row)
			if err != nil {
				return err
			}
			if !is {
				fresh = append(fresh, r)
			}
		}
		return nil
	})
	return fresh, err
}

// readAll reads all paths; with several, files are named with their folder.
func readAll(paths []string) (rows []sheet.Row, faults lots.Faults, err error) {
	for _, p := range paths {
		r, f, err := sheet.Read(p)
		if err != nil {
			return nil, nil, err
		}
		if len(paths) > 1 {
			for i := range r {
				r[i].File = filepath.Join(p, r[i].File)
			}
			for i := range f {
				f[i].File = filepath.Join(p, f[i].File)
			}
		}
		rows, faults = append(rows, r...), append(faults, f...)
	}
	return rows, faults, nil
}

// keep records rows: all of them or none, or where the import keeps going those that are
// good. The bad ones are written before the good ones are kept, so that none is lost.
func (e *env) keep(ctx context.Context, rows []sheet.Row, had lots.Faults, how importing) (good []sheet.Row, warnings, faults lots.Faults, err error) {
	faults = had
	writeBad := func() error {
		if !sheet.Placed(faults) {
			return nil
		}
		return sheet.WriteFaulty(how.badTo, rows, faults)
	}
	for good = rows; len(good) > 0; {
		warnings, more, err := e.try(ctx, good, how, writeBad)
		if err != nil || len(more) == 0 {
			return good, warnings, faults, err
		}
		faults = append(faults, more...)
		if !how.keepGoing {
			return nil, nil, nil, sorted(faults)
		}
		good = without(good, more)
	}
	return nil, nil, faults, writeBad()
}

// try records rows together if they are good and last agrees. Faults name files and lines.
func (e *env) try(ctx context.Context, rows []sheet.Row, how importing, last func() error) (warnings, faults lots.Faults, err error) {
	statements := make([]store.Statement, len(rows))
	for i, r := range rows {
		statements[i] = store.Statement{Sheet: r.Sheet, Row: r.Row, By: how.by}
	}
	done := e.progress(len(rows))
	defer done()
	refused := false
	err = e.update(ctx, func(tx *store.Tx) error {
		var err error
		var seqs []int64
		seqs, warnings, faults, err = tx.RecordRows(statements)
		if err == nil && len(faults) == 0 {
			faults, err = stopped(tx, seqs, how.override, how.by)
		}
		if err != nil {
			return err
		}
		if refused = len(faults) > 0; refused {
			return faults
		}
		return last()
	})
	if refused || errors.Is(err, errNotKept) {
		err = nil
	}
	for _, list := range []lots.Faults{warnings, faults} {
		for i := range list {
			r := rows[list[i].Line-1]
			list[i].File, list[i].Line = r.File, r.Line
		}
	}
	return warnings, faults, err
}

// errNotKept rolls a trial back.
var errNotKept = lots.Errorf(lots.Internal, "a trial is not kept")

// progress shows on a terminal that rows are being recorded; the function it returns ends that.
func (e *env) progress(rows int) func() {
	if !e.terminal(e.errOut) {
		return func() {}
	}
	bar := progressbar.NewOptions(-1, progressbar.OptionSetWriter(e.errOut), progressbar.OptionClearOnFinish(),
		progressbar.OptionSetDescription(fmt.Sprintf("recording %s", counted(rows, "row"))), progressbar.OptionSpinnerType(14))
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

// without leaves out the rows that faults speak of.
func without(rows []sheet.Row, faults lots.Faults) []sheet.Row {
	bad := map[string]bool{}
	key := func(file string, line int) string { return fmt.Sprintf("%s:%d", file, line) }
	for _, f := range faults {
		bad[key(f.File, f.Line)] = true
	}
	return slices.DeleteFunc(slices.Clone(rows), func(r sheet.Row) bool { return bad[key(r.File, r.Line)] })
}

func sorted(faults lots.Faults) lots.Faults {
	slices.SortStableFunc(faults, func(a, b lots.Fault) int {
		if c := strings.Compare(a.File, b.File); c != 0 {
			return c
		}
		return a.Line - b.Line
	})
	return slices.Compact(faults)
}

func (e *env) exportCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "export PATH",
		Short: "Write all rows, as they read now, to a folder of CSV files or an .xlsx workbook",
		Long: `Write all rows, as they read now, to a folder of CSV files, or to a workbook where PATH ends
in .xlsx. Importing it elsewhere gives the same lineage and the same answers. What was known
when, and what was corrected, stays in the database.`,
		Example: `  heeltap export backup/
  heeltap export records.xlsx`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			var rows []sheet.Row
			err := e.question(cmd.Context(), func(tx *store.Tx) error {
				all, err := tx.Everything()
				for _, r := range all {
					rows = append(rows, sheet.Row{Sheet: r.Sheet, Row: r.Row})
				}
				return err
			})
			if err != nil {
				return err
			}
			write := sheet.WriteFolder
			if strings.EqualFold(filepath.Ext(args[0]), ".xlsx") {
				write = sheet.WriteWorkbook
			}
			if err := write(args[0], rows); err != nil {
				return err
			}
			if e.json {
				return e.writeJSON(map[string]any{"path": args[0], "rows": len(rows)})
			}
			e.printf("wrote %s to %s\n", counted(len(rows), "row"), args[0])
			return nil
		},
	}
	return e.asks(cmd)
}
