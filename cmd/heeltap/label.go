package main

import (
	"bytes"
	"cmp"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/files"
	"heeltap/lots/store"
)

// settingAddress is the site's setting of the server's address.
const settingAddress = "address"

func (e *env) labelCommand() *cobra.Command {
	var stock, out, address string
	cmd := &cobra.Command{
		Use:   "label CODE…",
		Short: "Print tags with a QR code for lots, vessels, runs, pallets and kegs",
		Long: `Print tags with a QR code for lots, vessels, runs, pallets and kegs: as PDF sheets, or one tag
as PNG or SVG, by the ending of --out. The QR code holds our own code, which stays what it is
whatever is corrected later; with --address it is an address that a phone's camera opens.
Print at 100 %, never "fit to page": the squares of the code must keep their size.`,
		Example: `  heeltap label L26-0142 L26-0143 --stock a4 --out tags.pdf
  heeltap label P26-0817 --stock 100x150 --out pallet.pdf
  heeltap label FV2 --out fv2.svg`,
		Args: cobra.MinimumNArgs(1), ValidArgsFunction: e.codesOf(nil),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := labels.StockByName(stock)
			if err != nil {
				return lots.Errorf(lots.Invalid, "%w", err)
			}
			var tags []labels.Tag
			err = e.question(cmd.Context(), func(tx *store.Tx) (err error) {
				if tags, err = tagsOf(tx, args); err != nil {
					return err
				}
				address = cmp.Or(address, e.getenv("HEELTAP_ADDRESS"), tx.Setting(store.SiteSettings, settingAddress))
				return tx.Err()
			})
			if err != nil {
				return err
			}
			out := cmp.Or(out, "tags.pdf")
			data, err := render(tags, s, out, address)
			if err != nil {
				return lots.Errorf(lots.Invalid, "%w", err)
			}
			if err := files.WriteWhole(out, data); err != nil {
				return err
			}
			e.printf("wrote %s to %s\n", counted(len(tags), "tag"), out)
			return nil
		},
	}
	names := make([]string, 0)
	for _, s := range labels.Stocks() {
		names = append(names, s.Name)
	}
	cmd.Flags().StringVar(&stock, "stock", names[0], "what to print on: "+strings.Join(names, " "))
	cmd.Flags().StringVar(&out, "out", "", "file ending in .pdf, .png or .svg (else tags.pdf)")
	cmd.Flags().StringVar(&address, "address", "", "the server's address, put before the code so that a phone opens it (else HEELTAP_ADDRESS, else the site's setting)")
	if err := cmd.RegisterFlagCompletionFunc("stock", cobra.FixedCompletions(names, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic(err) // the flag was defined above
	}
	return cmd
}

// render draws tags in the format that a file's ending asks for.
func render(tags []labels.Tag, s labels.Stock, out, address string) ([]byte, error) {
	ending := strings.ToLower(filepath.Ext(out))
	if ending != ".pdf" && len(tags) > 1 {
		return nil, fmt.Errorf("%s holds one tag: print several to a .pdf", out)
	}
	switch ending {
	case ".pdf":
		var b bytes.Buffer
		err := labels.PDF(&b, tags, s, labels.PrintOptions{Base: address})
		return b.Bytes(), err
	case ".png":
		return labels.PNG(tags[0], labels.ImageOptions{Stock: s, Base: address})
	case ".svg":
		return labels.SVG(tags[0], labels.ImageOptions{Stock: s, Base: address})
	}
	return nil, fmt.Errorf("%s: the name must end in .pdf, .png or .svg", out)
}

// tagsOf says on tags what the records know of codes, or of what their QR codes hold.
func tagsOf(tx *store.Tx, codes []string) ([]labels.Tag, error) {
	holds, err := trace.StandingHolds(tx)
	if err != nil {
		return nil, err
	}
	var tags []labels.Tag
	for _, code := range codes {
		tag, err := tagOf(tx, holds, labels.ParsePayload(code))
		if err != nil {
			return nil, err
		}
		tags = append(tags, tag)
	}
	return tags, nil
}

// tagOf says on a tag what the records know of a code.
func tagOf(tx *store.Tx, holds *trace.Standing, code string) (labels.Tag, error) {
	zone := tx.Site().Zone
	tag := labels.Tag{Code: code}
	rows, err := tx.RowsOf(code)
	if err != nil {
		return tag, err
	}
	if len(rows) == 0 || rows[0].Sheet.Code == "" {
		return tag, lots.Errorf(lots.NotFound, "no lot, vessel, run, pallet or keg is called %q; near it are: %s", code, orDash(strings.Join(tx.Nearest(code, lots.KindLot, lots.KindVessel, lots.KindRun, lots.KindUnit), ", ")))
	}
	first, _ := tx.Record(rows[0].Seq)
	switch x := first.(type) {
	case *lots.Receipt:
		tag.Kind, tag.Title, tag.SupplierLot, tag.BestBy = labels.KindLot, nameOf(tx, x.Item), x.SupplierLot, x.BestBy
		tag.Quantity, tag.Received = number(x.Unit.Of(float64(x.Qty.N)))+" "+string(x.Unit), dayOf(x.At, zone)
		tag.Status = cmp.Or(x.Status, "accepted")
	case *lots.Crop:
		tag.Kind, tag.Title, tag.SupplierLot = labels.KindLot, nameOf(tx, x.Item), "-"
		tag.Quantity, tag.Status = number(x.Unit.Of(float64(x.Qty.N)))+" "+string(x.Unit), "cropped"
		tag.Extra = []labels.Row{{Name: "Cropped", Text: dayOf(x.At, zone)}, {Name: "From", Text: x.Vessel}}
	case *lots.Vessel:
		tag.Kind, tag.Title = labels.KindVessel, x.Kind
		tag.Extra = []labels.Row{{Name: "Where", Text: x.Place}}
	case *lots.Run:
		tag.Kind, tag.Title = labels.KindRun, nameOf(tx, x.Product)
		tag.Extra = []labels.Row{{Name: "Date code", Text: x.DateCode}, {Name: "Packed", Text: dayOf(x.Started, zone)}, {Name: "Line", Text: x.Line}}
	case *lots.Packed:
		unitTag(tx, &tag, rows, zone)
	default:
		return tag, lots.Errorf(lots.Invalid, "%s names no such thing (%s): tags are for lots, vessels, runs, pallets and kegs", code, rows[0].Sheet.Noun)
	}
	held, err := holds.On(lots.CodeKind(rows[0].Sheet), code)
	if held == graph.In {
		tag.Status = "ON HOLD"
	}
	return tag, err
}

// unitTag fills in the tag of a pallet, stack or keg from all its rows.
func unitTag(tx *store.Tx, tag *labels.Tag, rows []lots.Entered, zone *time.Location) {
	var quantity int64
	var runs, products []string
	for _, r := range rows {
		rec, _ := tx.Record(r.Seq)
		p := rec.(*lots.Packed)
		quantity += p.Quantity
		tag.Kind = labels.KindPallet
		unit := "case"
		if p.UnitKind == "keg" {
			tag.Kind, unit = labels.KindKeg, "keg"
		}
		tag.Quantity = counted(quantity, unit)
		runs = append(runs, p.Run)
		for _, rec := range tx.Touching(p.Run) {
			if run, ok := rec.(*lots.Run); ok && run.Run == p.Run {
				products = append(products, nameOf(tx, run.Product))
				tag.Extra = append(tag.Extra, labels.Row{Name: "Date code", Text: run.DateCode}, labels.Row{Name: "Packed", Text: dayOf(run.Started, zone)})
			}
		}
		if p.SSCC != "" {
			tag.Extra = append(tag.Extra, labels.Row{Name: "SSCC", Text: p.SSCC})
		}
	}
	slices.Sort(products)
	tag.Title = strings.Join(slices.Compact(products), ", ")
	tag.Extra = append([]labels.Row{{Name: "Run", Text: strings.Join(runs, ", ")}}, tag.Extra...)
}

func dayOf(w lots.When, zone *time.Location) string {
	return time.Unix(w.From, 0).In(zone).Format(time.DateOnly)
}

// nameOf is what a person calls an item or product.
func nameOf(tx *store.Tx, code string) string {
	rows, err := tx.RowsOf(code)
	if err != nil || len(rows) == 0 {
		return code
	}
	return cmp.Or(rows[0].Row["name"], code)
}
