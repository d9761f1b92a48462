package main

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

func (e *env) showCommand() *cobra.Command {
	return e.asks(&cobra.Command{
		Use:   "show CODE",
		Short: "List the rows that name a code, as they read now",
		Example: `  heeltap show L26-0142
  heeltap show FV2 --json`,
		Args:              cobra.ExactArgs(1),
		ValidArgsFunction: e.codesOf(nil),
		RunE: func(cmd *cobra.Command, args []string) error {
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				code := labels.ParsePayload(args[0])
				rows, err := rowsAbout(tx, code)
				if err != nil {
					return err
				}
				return e.showRows(tx, code, rows)
			})
		},
	})
}

// rowsAbout lists the rows that name a code, or on which a text is printed.
func rowsAbout(tx *store.Tx, code string) ([]lots.Entered, error) {
	rows, err := tx.Naming(code)
	if err != nil || len(rows) > 0 {
		return rows, err
	}
	for _, p := range tx.PrintedAs(code, true) {
		if r, ok := tx.Row(p.Entry); ok {
			rows = append(rows, r)
		}
	}
	if len(rows) == 0 {
		return nil, noRow(tx, code)
	}
	return rows, tx.Err()
}

// noRow says that nothing is called like that any more, or ever was, and what comes near.
func noRow(tx *store.Tx, code string) error {
	if gone, ok := tx.TakenBack(code); ok {
		return lots.Errorf(lots.NotFound, "%s was taken back by entry %d (%s): %s", code, gone.Seq, gone.By, gone.Reason())
	}
	near := tx.Nearest(code)
	if len(near) == 0 {
		return lots.Errorf(lots.NotFound, "no row is called %q: give its code, its ref or its entry number", code)
	}
	return lots.Errorf(lots.NotFound, "no row is called %q; near it are: %s", code, strings.Join(near, ", "))
}

// shownRow is one row with its entry and how often it was corrected.
type shownRow struct {
	Entry       int64    `json:"entry"`
	Sheet       string   `json:"sheet"`
	Row         lots.Row `json:"row"`
	Corrections int      `json:"corrections"`
}

func (e *env) showRows(tx *store.Tx, code string, rows []lots.Entered) error {
	var out []shownRow
	t := &table{head: []string{"#entry", "sheet", "row"}}
	for _, r := range rows {
		fixes, err := tx.Corrections(r.Seq)
		if err != nil {
			return err
		}
		out = append(out, shownRow{r.Seq, r.Sheet.Name, r.Row, len(fixes)})
		var cells []string
		for _, c := range r.Sheet.Columns {
			if v := r.Row[c.Name]; v != "" {
				cells = append(cells, c.Name+"="+v)
			}
		}
		text := strings.Join(cells, "  ")
		if len(fixes) > 0 {
			text += fmt.Sprintf("  (%s)", counted(len(fixes), "correction"))
		}
		t.add(whole(r.Seq), r.Sheet.Name, text)
	}
	if e.json {
		return e.writeJSON(out)
	}
	e.printf("%s: %s\n", code, counted(len(rows), "row"))
	e.print(t)
	return nil
}

func (e *env) journalCommand() *cobra.Command {
	var from, most int64
	var about string
	cmd := &cobra.Command{
		Use:   "journal",
		Short: "List the journal: every statement, in order, with who made it and when",
		Example: `  heeltap journal --from 800
  heeltap journal --about L26-0142`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return e.question(cmd.Context(), func(tx *store.Tx) error { return e.listJournal(tx, from, most, about) })
		},
	}
	cmd.Flags().Int64Var(&from, "from", 1, "first entry")
	cmd.Flags().Int64Var(&most, "most", 200, "at most so many entries")
	cmd.Flags().StringVar(&about, "about", "", "only entries that name this code, and their corrections")
	return e.asks(cmd)
}

// journalEntry is one entry as JSON.
type journalEntry struct {
	Entry    int64  `json:"entry"`
	Kind     string `json:"kind"`
	Corrects *int64 `json:"corrects"`
	At       string `json:"at"`
	Recorded string `json:"recorded"`
	By       string `json:"by"`
	Body     any    `json:"body"`
	Hash     string `json:"hash"`
}

func (e *env) listJournal(tx *store.Tx, from, most int64, about string) error {
	about = strings.TrimSpace(about)
	zone := tx.Site().Zone
	out := []journalEntry{}
	t := &table{head: []string{"#entry", "recorded", "by", "kind", "content"}}
	named := map[int64]bool{}
	more := false
	err := tx.Entries(1, func(x *store.Entry) bool {
		if about != "" {
			named[x.Seq] = named[x.Target] || x.Target == 0 && x.Names(about)
			if !named[x.Seq] {
				return true
			}
		}
		if x.Seq < from {
			return true
		}
		if int64(len(out)) == most {
			more = true
			return false
		}
		j := journalEntry{Entry: x.Seq, Kind: x.Kind, Recorded: x.Recorded.In(zone).Format(time.RFC3339), By: x.By, Body: x.Content(), Hash: fmt.Sprintf("%x", x.Hash)}
		kind := x.Kind
		if x.Target != 0 {
			j.Corrects = &x.Target
			kind += " of " + whole(x.Target)
		}
		if x.At != nil {
			j.At = x.At.Text(zone)
		}
		out = append(out, j)
		t.add(whole(x.Seq), stampOf(x.Recorded, zone), x.By, kind, x.Body)
		return true
	})
	if err != nil {
		return err
	}
	if e.json {
		return e.writeJSON(out)
	}
	e.print(t)
	if more {
		e.note("there are more entries: use --from and --most")
	}
	return nil
}

func (e *env) auditCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "audit",
		Short: "Prove that nothing recorded was changed, and that records and lineage follow from the journal",
		Long: `Re-read the journal's chain of hashes, rebuild records and lineage in a scratch database,
and report every difference. Exit status 3 where there is any. The hash of the last entry,
written down elsewhere, proves later that no entry at the journal's end is missing.`,
		Example: `  heeltap audit
  heeltap audit --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			db, err := e.open(cmd.Context())
			if err != nil {
				return err
			}
			defer db.Close()
			report, err := db.Audit(cmd.Context(), func(step string) {
				if e.terminal(e.errOut) {
					fmt.Fprintf(e.errOut, "%s …\n", step)
				}
			})
			if err != nil {
				return err
			}
			if report.Differences == nil {
				report.Differences = []string{}
			}
			if e.json {
				err = e.writeJSON(report)
			} else {
				e.printf("%s read; the last one's hash is\n  %s\n", entries(report.Entries), report.Head)
				e.printf("%s of records and lineage rebuilt and compared\n", counted(report.Compared, "row"))
				for _, d := range report.Differences {
					e.printf("  DIFFERENT: %s\n", d)
				}
				if len(report.Differences) == 0 {
					e.printf("everything agrees\n")
				}
			}
			if err == nil && len(report.Differences) > 0 {
				return errFindings
			}
			return err
		},
	}
	cmd.Flags().BoolVar(&e.json, "json", false, "answer as JSON")
	return cmd
}

func entries(n int64) string {
	if n == 1 {
		return "1 journal entry"
	}
	return whole(n) + " journal entries"
}
