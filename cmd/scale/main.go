// Command scale is for those who work on heeltap: it writes histories of any size, and measures what
// heeltap's answers and entries cost as the records grow.
package main

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"heeltap/cmd/internal/demo"
	"heeltap/cmd/internal/retell"
	"heeltap/lots"
	"heeltap/lots/sheet"
	"heeltap/lots/store"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	root := &cobra.Command{Use: "scale", Short: "Write histories of any size, and measure what grows with them", SilenceUsage: true}
	root.AddCommand(historyCommand(), measureCommand(), chooseCommand())
	if root.ExecuteContext(ctx) != nil {
		os.Exit(1)
	}
}

func historyCommand() *cobra.Command {
	size := demo.Grown{}
	var folder, file string
	cmd := &cobra.Command{
		Use:   "history (--folder FOLDER | --db FILE)",
		Short: "Write a history of invented breweries: as sheets to import, or into a new database",
		Example: `  go run ./cmd/scale history --years 5 --folder records/
  go run ./cmd/scale history --years 20 --sites 2 --seed 7 --db twenty.db`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if size.Sites < 1 || size.Years < 1 {
				return lots.Errorf(lots.Invalid, "--sites and --years must be 1 or more")
			}
			if (folder == "") == (file == "") {
				return lots.Errorf(lots.Invalid, "say where to: --folder FOLDER for sheets, or --db FILE for a database")
			}
			if file != "" {
				return build(cmd.Context(), file, size)
			}
			return writeSheets(folder, size)
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&folder, "folder", "", "write sheets into this folder: as the rows read after all corrections")
	flags.StringVar(&file, "db", "", "record into this new database, evening by evening, corrections included")
	flags.IntVar(&size.Years, "years", 1, "how many years")
	flags.IntVar(&size.Sites, "sites", 1, "how many sites")
	flags.Uint64Var(&size.Seed, "seed", 1, "the same seed gives the same history")
	return cmd
}

// build records a history into a new database.
func build(ctx context.Context, file string, size demo.Grown) (err error) {
	db, err := store.Create(ctx, file)
	if err != nil {
		return err
	}
	defer func() { err = cmp.Or(err, db.Close()) }()
	return retell.Into(ctx, db, demo.History(size))
}

// writeSheets writes a history as sheets: its rows as they read after all corrections.
func writeSheets(folder string, size demo.Grown) error {
	var rows []sheet.Row
	for _, e := range demo.Rows(demo.History(size)) {
		rows = append(rows, sheet.Row{Sheet: e.Sheet, Row: e.Row})
	}
	return sheet.WriteFolder(folder, rows)
}

// named is how a size is written.
func named(size demo.Grown) string {
	return fmt.Sprintf("%d×%dy", size.Sites, size.Years)
}
