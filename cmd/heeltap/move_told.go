package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/desk"
	"heeltap/graph/told"
	"heeltap/lots"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

// isEvents reports whether a file is a document of EPCIS events by its name.
func isEvents(path string) bool { return strings.EqualFold(filepath.Ext(path), ".jsonld") }

// importEvents takes documents of other parties in: all of them or none.
func (e *env) importEvents(ctx context.Context, paths []string, from, by string) error {
	for _, path := range paths {
		if !isEvents(path) {
			return lots.Errorf(lots.Invalid, "%s does not end in .jsonld: import rows and EPCIS documents one after the other", path)
		}
	}
	folder := papers.Store{Folder: papers.PathFor(e.path())}
	var all []*told.Taken
	defer e.progress("importing")()
	err := e.update(ctx, func(tx *store.Tx) error {
		if from != "" {
			code, err := desk.CodeOf(tx, from, lots.KindParty)
			if err != nil {
				return err
			}
			from = code
		}
		for _, path := range paths {
			taken, err := takeDocument(tx, folder, path, from, by)
			if err != nil {
				return err
			}
			all = append(all, taken)
		}
		return nil
	})
	if err != nil {
		return err
	}
	if e.json {
		return e.writeJSON(all)
	}
	for i, t := range all {
		e.printf("%s: %s\n", filepath.Base(paths[i]), t.Text())
	}
	return nil
}

func takeDocument(tx *store.Tx, folder papers.Store, path, from, by string) (*told.Taken, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, lots.Errorf(lots.NotFound, "%s cannot be read: %w", path, err)
	}
	defer f.Close()
	name := filepath.Base(path)
	return told.Take(tx, told.Document{In: f, At: f, Name: name, From: from, By: by, Paper: func(hash string) (papers.Paper, error) {
		return folder.KeepDocument(name, "application/ld+json", hash, f)
	}})
}

func (e *env) expectedCommand() *cobra.Command {
	var all bool
	cmd := e.asks(&cobra.Command{
		Use: "expected", Short: "List the deliveries that suppliers told of and that have not come in",
		Long: `List the deliveries that suppliers told of in EPCIS documents (heeltap import shipped.jsonld) and that have not come in.
Nothing is received by itself: log what came with heeltap receive --expected NUMBER, which fills in what was
told, compares it with what you counted, and closes it.`,
		Example: `  heeltap expected
  heeltap receive --expected 812 --quantity "60 kg"
  heeltap expected give-up 812 --reason "never loaded, S-03 says"`,
		Args: cobra.NoArgs,
	})
	cmd.Flags().BoolVar(&all, "all", false, "also those that came in, were declared in error or given up")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		return e.question(cmd.Context(), func(tx *store.Tx) error {
			list, err := told.Deliveries(tx, all)
			if err != nil {
				return err
			}
			out := []*desk.Expected{}
			for _, x := range list {
				one, err := desk.ExpectedOf(tx, x)
				if err != nil {
					return err
				}
				out = append(out, one)
			}
			if e.json {
				return e.writeJSON(out)
			}
			e.showExpected(out)
			return nil
		})
	}
	cmd.AddCommand(e.giveUpCommand())
	return cmd
}

func (e *env) showExpected(list []*desk.Expected) {
	t := &table{head: []string{"#number", "supplier", "shipped", "document", "goods", "supplier's lot", "#quantity", "pallets", ""}}
	for _, x := range list {
		number, name, when, note, over := fmt.Sprint(x.Entry), x.Name, x.When, orDash(x.Note), x.Over
		for _, g := range x.Goods {
			t.add(number, name, when, note, g.Name, orDash(g.SupplierLot), orDash(g.Quantity), strings.Join(g.On, ", "), over)
			number, name, when, note, over = "", "", "", "", ""
		}
		if len(x.Goods) == 0 {
			t.add(number, name, when, note, "not said", "-", "-", strings.Join(x.SSCCs, ", "), over)
		}
	}
	e.listed(t, "no delivery is on its way that a supplier told of")
}

func (e *env) giveUpCommand() *cobra.Command {
	var reason, by string
	cmd := &cobra.Command{
		Use: "give-up NUMBER", Short: "Say why a delivery that was told of is not expected any more", Args: cobra.ExactArgs(1),
		Example: `  heeltap expected give-up 812 --reason "never loaded, S-03 says"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(by)
			if err != nil {
				return err
			}
			err = e.update(cmd.Context(), func(tx *store.Tx) error {
				x, err := told.Delivery(tx, args[0])
				if err != nil {
					return err
				}
				return told.GiveUp(tx, x, reason, by)
			})
			if err == nil {
				e.printf("Delivery %s is not expected any more\n", args[0])
			}
			return err
		},
	}
	cmd.Flags().StringVar(&reason, "reason", "", "why it will not come (needed)")
	cmd.Flags().StringVar(&by, "by", "", "who says so (else HEELTAP_BY)")
	return cmd
}
