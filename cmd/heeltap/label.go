package main

import (
	"cmp"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/desk"
	"heeltap/graph/tag"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/files"
	"heeltap/lots/store"
)

// mostCopies is more than a lorry has pallets.
const mostCopies = 200

func (e *env) labelCommand() *cobra.Command {
	var stock, out, address, logistic string
	var link bool
	copies := 1
	cmd := &cobra.Command{
		Use:   "label CODE…",
		Short: "Print tags with a QR code for lots, vessels, runs, pallets and kegs",
		Long: `Print tags with a QR code for lots, vessels, runs, pallets and kegs: as PDF sheets, or one tag
as PNG or SVG, by the ending of --out. The QR code holds our own code, which never changes,
whatever is corrected later; with --address it holds an address that a phone's camera opens.
Print at 100 %, never "fit to page": the squares of the code must keep their size.`,
		Example: `  heeltap label L26-0142 L26-0143 --stock a4 --out tags.pdf
  heeltap label L26-0144 --stock 50x30 --copies 12
  heeltap label P26-0817 --stock 100x150 --out pallet.pdf
  heeltap label P26-0817 --digital-link --out p.pdf
  heeltap label P26-0817 --logistic a5 --out p.pdf    # bar codes for the customer's warehouse; two for each pallet
  heeltap label FV2 --out fv2.svg`,
		Args: cobra.MinimumNArgs(1), ValidArgsFunction: e.codesOf(nil),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := labels.StockByName(stock)
			if logistic != "" {
				s, err = labels.LogisticStock(logistic)
			}
			if err != nil {
				return lots.Errorf(lots.Invalid, "%w", err)
			}
			if copies < 1 || copies > mostCopies {
				return lots.Errorf(lots.Invalid, "--copies %d: print 1 to %d of each tag", copies, mostCopies)
			}
			var tags []labels.Tag
			err = e.question(cmd.Context(), func(tx *store.Tx) (err error) {
				if tags, err = tag.Of(tx, args); err != nil {
					return err
				}
				address = cmp.Or(address, e.getenv("HEELTAP_ADDRESS"), tx.Setting(store.SiteSettings, desk.SettingAddress))
				if logistic != "" {
					notes, err := tag.Logistic(tx, tags, address, desk.Senders(tx))
					for _, n := range append(notes, tag.Cramped(tags, s)...) {
						e.note("%s", n)
					}
					return cmp.Or(err, tx.Err())
				}
				if link {
					kept, err := tag.Link(tx, tags, address)
					if err != nil {
						return err
					}
					for _, code := range kept {
						e.note("%s has no SSCC or GTIN that could stand in a Digital Link: its tag holds our own code", code)
					}
				}
				return tx.Err()
			})
			if err != nil {
				return err
			}
			out := cmp.Or(out, "tags.pdf")
			data, err := tag.Draw(tag.Copies(tags, copies), s, out, address)
			if err != nil {
				return lots.Errorf(lots.Invalid, "%w", err)
			}
			if err := files.WriteWhole(out, data); err != nil {
				return err
			}
			e.printf("wrote %s to %s\n", counted(copies*len(tags), "tag"), out)
			return nil
		},
	}
	names := make([]string, 0)
	for _, s := range labels.Stocks() {
		names = append(names, s.Name)
	}
	cmd.Flags().StringVar(&stock, "stock", names[0], "what to print on: "+strings.Join(names, " "))
	cmd.Flags().StringVar(&out, "out", "", "file to write: .pdf, .png or .svg (else tags.pdf)")
	cmd.Flags().IntVar(&copies, "copies", 1, "how many of each tag, printed together")
	cmd.Flags().StringVar(&address, "address", "", "the server's address, put before the code for phones to open (else HEELTAP_ADDRESS, else the site's setting)")
	cmd.Flags().StringVar(&logistic, "logistic", "", "print GS1 logistic labels of pallets and kegs that have an SSCC, on a5 or a6")
	cmd.Flags().BoolVar(&link, "digital-link", false, "put a GS1 Digital Link in the QR code: of a pallet or keg by its SSCC, of a run by its product's GTIN")
	if err := cmd.RegisterFlagCompletionFunc("stock", cobra.FixedCompletions(names, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic(err) // the flag was defined above
	}
	return cmd
}
