package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// typical is how many units a lot of late hops reaches that is asked about: of those of the last year the nearest to
// that is taken, so that answers are of one size whatever the size of the records.
const typical = 100

// chosen is what to ask about, by name, and what there is to say about the records.
type chosen struct {
	About map[string]string
	Note  string
}

// chooseCommand chooses in a process of its own: what the measuring one has held in memory is counted to each that it starts.
func chooseCommand() *cobra.Command {
	return &cobra.Command{
		Use: "choose FILE", Short: "Choose what to ask about, as JSON", Hidden: true, Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := choose(cmd.Context(), args[0])
			return cmp.Or(err, json.NewEncoder(os.Stdout).Encode(c))
		},
	}
}

// choose finds what to ask about: near the history's end, and much the same at any size.
func choose(ctx context.Context, file string) (c chosen, err error) {
	db, err := store.Open(ctx, file)
	if err != nil {
		return c, err
	}
	defer func() { err = cmp.Or(err, db.Close()) }()
	c.About = map[string]string{}
	return c, db.View(ctx, func(tx *store.Tx) error {
		rows, err := tx.Everything()
		if err != nil {
			return err
		}
		if err := chooseHop(tx, rows, c.About); err != nil {
			return err
		}
		chooseRuns(rows, c.About)
		chooseFree(rows, c.About)
		info, err := os.Stat(file)
		if err != nil {
			return err
		}
		head, err := tx.Head()
		c.Note = fmt.Sprintf("%d entries, %d rows, %d MB; lot %s reaches %s units", head, len(rows), info.Size()>>20, c.About["hop"], c.About["units"])
		return err
	})
}

// chooseHop takes the lot that reaches a typical number of units, and one of these.
func chooseHop(tx *store.Tx, rows []lots.Entered, about map[string]string) error {
	best := -1
	for _, r := range rows {
		if r.Sheet.Name != "receipts" || r.Row["item"] != "HOP-LATE" || r.Row["received_at"] < "2025-05" || r.Row["received_at"] > "2025-12" {
			continue
		}
		a, err := trace.Trace(tx, graph.Forward, r.Row["lot"])
		if err != nil {
			return err
		}
		if n := len(a.Units); n > 0 && (best < 0 || distance(n) < distance(best)) {
			best = n
			about["hop"], about["reached"], about["units"] = r.Row["lot"], a.Units[0].Code, fmt.Sprint(n)
		}
	}
	if best < 0 {
		return lots.Errorf(lots.Internal, "no lot of late hops reaches anything")
	}
	return nil
}

func distance(n int) int { return max(n, typical) - min(n, typical) }

// chooseRuns takes can runs of the last months with a pallet and the time of one can, and what is still in use at the end.
func chooseRuns(rows []lots.Entered, about map[string]string) {
	for _, r := range rows {
		switch {
		case r.Sheet.Name == "runs" && r.Row["product"] == "PALE-CAN" && r.Row["started_at"] < "2026-02":
			about["good"] = cmp.Or(about["run"], r.Row["run"])
			about["run"], about["code"] = r.Row["run"], r.Row["date_code"]
			start, _ := time.Parse("2006-01-02 15:04", r.Row["started_at"])
			about["time"] = start.Add(72 * time.Minute).Format("15:04")
			about["misread"] = strings.NewReplacer("0", "O", "1", "I").Replace(r.Row["date_code"])
		case r.Sheet.Name == "units" && r.Row["run"] == about["run"]:
			about["pallet"] = r.Row["unit"]
		case r.Sheet.Name == "brews":
			about["brew"] = r.Row["brew"]
		case r.Sheet.Name == "receipts" && r.Row["item"] == "CAN-44":
			about["cans"] = r.Row["lot"]
		case r.Sheet.Name == "receipts" && r.Row["item"] == "HOP-LATE":
			about["newest"] = r.Row["lot"]
		}
	}
}

// chooseFree takes the last pallets of which nothing was shipped, removed or held.
func chooseFree(rows []lots.Entered, about map[string]string) {
	touched := map[string]bool{}
	n := 0
	for _, r := range slices.Backward(rows) {
		for _, code := range strings.Split(r.Row["unit"]+"|"+r.Row["subject"]+"|"+r.Row["from"], "|") {
			if r.Sheet.Name != "units" {
				touched[code] = true
			}
		}
		if r.Sheet.Name == "units" && r.Row["kind"] == "pallet" && r.Row["quantity"] >= "60" && !touched[r.Row["unit"]] && n < 9 {
			n++
			about[fmt.Sprintf("free%d", n)] = r.Row["unit"]
		}
	}
}
