package main

import (
	"cmp"
	"context"
	"errors"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"heeltap/cmd/internal/demo"
	"heeltap/cmd/internal/retell"
	"heeltap/graph"
	"heeltap/graph/tag"
	"heeltap/graph/trace"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/files"
	"heeltap/lots/store"
)

func (e *env) demoCommand() *cobra.Command {
	var serve bool
	var listen string
	cmd := &cobra.Command{
		Use:   "demo [FOLDER]",
		Short: "Build an invented brewery, trace a lot, and rehearse a recall on it",
		Long: `Build fourteen months of records of an invented brewery in FOLDER (else heeltap-demo), trace a hop
lot forward and a date code back, print a sheet of tags, and rehearse a whole recall. An earlier demo in that
folder is replaced. With --serve its pages are then served on this machine, with a person of each role to be.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			folder := "heeltap-demo"
			if len(args) > 0 {
				folder = args[0]
			}
			history := demo.Brewery()
			if serve {
				history = demo.AtWork()
			}
			if err := e.demo(cmd.Context(), folder, history); err != nil || !serve {
				return err
			}
			return e.serveDemo(cmd.Context(), folder, listen)
		},
	}
	cmd.Flags().BoolVar(&serve, "serve", false, "then serve the demo's pages")
	cmd.Flags().StringVar(&listen, "listen", "127.0.0.1:8417", "with --serve: address and port to listen on")
	return cmd
}

const demoFile = "tidewick.db"

func (e *env) demo(ctx context.Context, folder string, history []demo.Entry) (err error) {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return lots.Errorf(lots.Invalid, "%s cannot be created: %w", folder, err)
	}
	e.db = filepath.Join(folder, demoFile)
	story := demo.Told(history)
	started := e.now()
	for _, ending := range []string{"", "-wal", "-shm"} {
		if err := os.Remove(e.db + ending); err != nil && !errors.Is(err, os.ErrNotExist) {
			return lots.Errorf(lots.Invalid, "the earlier demo cannot be replaced: %w", err)
		}
	}
	db, err := store.Create(ctx, e.db)
	if err != nil {
		return err
	}
	defer func() { err = cmp.Or(err, db.Close()) }()
	e.printf("Building fourteen months of Tidewick, a brewery that does not exist …\n")
	done := e.progress("building the demo: " + counted(len(history), "row"))
	err = retell.Into(ctx, db, history)
	done()
	if err != nil {
		return err
	}
	e.printf("%d journal entries, recorded on the days they were typed in, in %s.\n", len(history), e.now().Sub(started).Round(100*time.Millisecond))
	if err := db.View(ctx, func(tx *store.Tx) error { return e.tellDemo(tx, folder, story) }); err != nil {
		return err
	}
	e.printf("\n%s\n", e.strong("3. A mock recall, from the suspect to the report"))
	if err := e.rehearse(ctx, db, folder, story); err != nil {
		return err
	}
	return db.View(ctx, func(tx *store.Tx) error { return e.tellWhere(tx, folder, story) })
}

// tellDemo asks the two main questions, forward and back, and prints the tags.
func (e *env) tellDemo(tx *store.Tx, folder string, s demo.Story) error {
	e.printf("\n%s\n", e.strong("1. The supplier of hop lot "+s.Hop+" calls. Where did it go?"))
	asked := e.now()
	ahead, err := trace.Trace(tx, graph.Forward, s.Hop)
	if err != nil {
		return err
	}
	took := e.now().Sub(asked)
	e.showAnswer(tx.Site(), ahead, false)
	coarse, err := trace.BrewLevel(tx, s.Hop)
	if err != nil {
		return err
	}
	may := ahead.Totals.Possible
	e.printf("\nThat is %d cases and %d kegs (%d and %d of them possible), found in %s.\n", affected(ahead, false), affected(ahead, true), may.Cases, may.Kegs, took.Round(time.Millisecond))
	e.printf("Going by whole brews and runs instead (every unit of the %[2]d runs that any beer from the %[1]d brews\nwith the lot ever reached, whenever the hops went in), it would have been %[3]d cases and %[4]d kegs.\n", coarse.Brews, coarse.Runs, coarse.Cases, coarse.Kegs)
	e.printf("\n%s\n", e.strong("2. Somebody reads a date code off a can: "+s.DateCode+". What went into it?"))
	back, err := trace.Trace(tx, graph.Back, s.DateCode)
	if err != nil {
		return err
	}
	e.showAnswer(tx.Site(), back, false)
	return e.demoTags(tx, s.Tags, filepath.Join(folder, "tags.pdf"))
}

// tellWhere says where everything is, and what to try next.
func (e *env) tellWhere(tx *store.Tx, folder string, s demo.Story) error {
	ahead, err := trace.Trace(tx, graph.Forward, s.Hop)
	if err != nil {
		return err
	}
	e.printf("\n%s\n", e.strong("4. Where everything is, and what to try next"))
	e.printf("  database     %s\n  tag sheet    %s (%d tags; print at 100 %%)\n  the recall   %s: report.pdf, report.html, letters\n\n", e.db, filepath.Join(folder, "tags.pdf"), len(s.Tags), folder)
	db := " --db " + e.db
	for _, line := range []string{
		"trace forward " + s.Ends + db + "    # can ends opened in mid-run: pallets of half a run",
		"why " + s.Hop + " " + ahead.Units[0].Code + db + "    # the chain behind one row",
		"trace back " + ahead.Units[0].Code + " --all" + db,
		"trace forward " + s.KnownCode + db + "    # compare with what was known before transfer " + s.Late + " was typed in:",
		"trace forward " + s.KnownCode + " --known-at " + s.KnownAt.Format(time.RFC3339) + db,
		"recall log --recall MR26-01" + db,
		"recall open --mock --surprise --lead Quint" + db + "    # another one, on a lot picked at random",
		"record " + ahead.Units[0].Code + " --out " + filepath.Join(folder, "record.pdf") + db,
		"export " + filepath.Join(folder, "records") + db,
		"audit" + db,
	} {
		e.printf("  heeltap %s\n", line)
	}
	return nil
}

// affected sums what of an answer's units is affected: the kegs, or the cases.
func affected(a *trace.Answer, kegs bool) int64 {
	var n int64
	for _, u := range a.Units {
		if (u.Kind == "keg") == kegs {
			n += u.Affected
		}
	}
	return n
}

func (e *env) demoTags(tx *store.Tx, codes []string, path string) error {
	tags, err := tag.Of(tx, codes)
	if err != nil {
		return err
	}
	stock, err := labels.StockByName("a4")
	if err != nil {
		return err
	}
	data, err := tag.Draw(tags, stock, path, "")
	if err != nil {
		return err
	}
	return files.WriteWhole(path, data)
}
