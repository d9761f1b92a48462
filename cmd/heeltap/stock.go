package main

import (
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/desk"
	"heeltap/graph/stock"
	"heeltap/lots"
	"heeltap/lots/store"
)

func (e *env) stockCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "stock",
		Short: "List what is here: in tanks, in lots, on pallets and in kegs",
		Long: `List what is here by the books, with the last count beside it and what is on hold. The books do not
prove that it is here: count it and record that with heeltap count.`,
		Example: `  heeltap stock tanks
  heeltap stock lots --item HOP-W
  heeltap stock units --product PALE-44
  heeltap stock waiting`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(e.stockTanks(), e.stockLots(), e.stockUnits(), e.stockWaiting())
	return cmd
}

func (e *env) stockTanks() *cobra.Command {
	return e.asks(&cobra.Command{
		Use: "tanks", Short: "List what every silo, tank and brink holds", Args: cobra.NoArgs,
		Example: "  heeltap stock tanks",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				tanks, err := stock.Tanks(tx)
				if err != nil || e.json {
					return orJSON(e, err, tanks)
				}
				t := &table{head: []string{"vessel", "kind", "#left", "", "#counted", "fill", "held"}}
				for _, x := range tanks {
					t.add(x.Vessel, x.Kind, lots.Figure(x.Left.Quantity), x.Left.Unit, numberOrDash(x.Counted), x.Fill, stock.Held(x.Held))
				}
				e.listed(t, "every vessel is empty by the books")
				return nil
			})
		},
	})
}

func (e *env) stockLots() *cobra.Command {
	item := ""
	cmd := &cobra.Command{
		Use: "lots", Short: "List what is left of every lot that is not in a vessel", Args: cobra.NoArgs,
		Example: "  heeltap stock lots\n  heeltap stock lots --item HOP-W",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				item, err := desk.CodeOf(tx, item, lots.KindItem)
				if err != nil {
					return err
				}
				list, err := stock.Lots(tx, item)
				if err != nil || e.json {
					return orJSON(e, err, list)
				}
				t := &table{head: []string{"lot", "item", "supplier's lot", "#left", "", "#counted", "best by", "place", "status", "held"}}
				for _, x := range list {
					unsure := ""
					if !x.Sure {
						unsure = " or less"
					}
					t.add(x.Lot, x.Item, text(x.SupplierLot), lots.Figure(x.Left.Quantity), x.Left.Unit+unsure, numberOrDash(x.Counted), text(x.BestBy), text(x.Place), x.Status, stock.Held(x.Held))
				}
				e.listed(t, "nothing is left of any lot")
				return nil
			})
		},
	}
	cmd.Flags().StringVar(&item, "item", "", "only lots of this item")
	return e.asks(cmd)
}

func (e *env) stockUnits() *cobra.Command {
	product := ""
	cmd := &cobra.Command{
		Use: "units", Short: "List the pallets, stacks and kegs that have not left", Args: cobra.NoArgs,
		Long: `List the pallets, stacks and kegs that by the books have not left, then the cases and kegs from runs of the last
90 days that are on no unit. If an entry says that one of several units left, each of them stays on the books: any of
them may have left, and the last line says how many did in all.`,
		Example: "  heeltap stock units\n  heeltap stock units --product PALE-44",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				product, err := desk.CodeOf(tx, product, lots.KindProduct)
				if err != nil {
					return err
				}
				list, err := stock.Units(tx, product)
				if err != nil || e.json {
					return orJSON(e, err, list)
				}
				e.showStock(list)
				return nil
			})
		},
	}
	cmd.Flags().StringVar(&product, "product", "", "only this product")
	return e.asks(cmd)
}

func (e *env) stockWaiting() *cobra.Command {
	return e.asks(&cobra.Command{
		Use: "waiting", Short: "List the lots that came in on hold and are waiting for a certificate or a decision", Args: cobra.NoArgs,
		Long: `List the lots that came in on hold (heeltap receive --status hold --reason …) and that nobody has released or
sent back yet, those waiting longest first.`,
		Example: "  heeltap stock waiting",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				list, err := stock.WaitingLots(tx)
				if err != nil || e.json {
					return orJSON(e, err, list)
				}
				t := &table{head: []string{"lot", "item", "supplier", "supplier's lot", "since", "reason", "where"}}
				for _, x := range list {
					t.add(x.Lot, x.Item, x.Supplier, x.SupplierLot, minute(x.Since), x.Reason, text(x.Where))
				}
				e.listed(t, "no lot that came in on hold is waiting")
				return nil
			})
		},
	})
}

func (e *env) showStock(list []stock.Unit) {
	t := &table{head: []string{"unit", "product", "date codes", "#by the books", "", "#may have left", "#counted", "place", "held"}}
	for _, x := range list {
		code, place := x.Unit, text(x.Place)
		if x.Kind == "loose" {
			code, place = "of "+x.Unit, "on no unit: find and tag it"
		}
		may := ""
		if x.MayHaveLeft > 0 {
			may = lots.Figure(x.MayHaveLeft)
		}
		t.add(code, text(x.Product), strings.Join(x.DateCodes, ", "), lots.Figure(x.OnHand), x.Each, may, numberOrDash(x.Counted), place, stock.Held(x.Held))
	}
	e.listed(t, "no pallet, stack or keg is here by the books")
	var gone []string
	cases, kegs := stock.OneOfSeveral(list)
	for _, x := range []struct {
		n   float64
		one string
	}{{cases, "case"}, {kegs, "keg"}} {
		switch {
		case x.n == 1:
			gone = append(gone, "1 "+x.one)
		case x.n > 1:
			gone = append(gone, lots.Figure(x.n)+" "+x.one+"s")
		}
	}
	if len(gone) > 0 {
		e.printf("%s left, but it is not known from which of several units: the books above still have them; count what is here.\n", strings.Join(gone, " and "))
	}
}

// orJSON gives an error, or else writes an answer as JSON.
func orJSON(e *env, err error, v any) error {
	if err != nil {
		return err
	}
	return e.writeJSON(v)
}

// listed prints a table and how many rows it has, or a sentence if it has none.
func (e *env) listed(t *table, none string) {
	if len(t.rows) == 0 {
		e.printf("%s\n", none)
		return
	}
	e.print(t)
	e.printf("%s\n", counted(len(t.rows), "row"))
}

func numberOrDash(n *float64) string {
	if n == nil {
		return "-"
	}
	return lots.Figure(*n)
}
