package main

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/gs1"
	"heeltap/lots/store"
)

func (e *env) keysCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "keys",
		Short: "Give products, pallets, kegs and places their GS1 numbers",
		Long: `Give products, pallets, kegs and places their GS1 numbers; without more, show how many of your company prefix are given
and left. The prefix is licensed by GS1 and set once; from
then on each pallet and keg filling that is packed without an SSCC gets one, and no number is given twice: not after an
import, and not after an older backup is brought back.`,
		Example: `  heeltap set site gs1.prefix 9520000 --by Quint
  heeltap keys
  heeltap keys give STOUT-440 PILS-330 --by Quint    # GTINs; SSCCs of pallets packed before; GLNs of places of our own
  heeltap keys give D-14 --number 9521101530001 --by Quint
  heeltap keys site "cold store" --by Quint`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				p, all, err := desk.KeysOf(tx)
				if err != nil {
					return err
				}
				if e.json {
					return e.writeJSON(map[string]any{"prefix": string(p), "keys": all})
				}
				t := &table{head: []string{"number", "given or skipped", "left", "next"}}
				for _, k := range all {
					t.add(strings.ToUpper(k.Kind), lots.Figure(float64(k.Given)), lots.Figure(float64(k.Left)), orDash(k.Next))
				}
				e.printf("Company prefix %s\n", p)
				e.print(t)
				return nil
			})
		},
	}
	cmd.AddCommand(e.keysGiveCommand(), e.keysSiteCommand(), e.keysResumeCommand())
	return e.asks(cmd)
}

func (e *env) keysGiveCommand() *cobra.Command {
	var number, by string
	cmd := &cobra.Command{
		Use:   "give CODE…",
		Short: "Give products their GTIN, pallets and kegs their SSCC, places of our own their GLN",
		Long: `Give each product its GTIN, each pallet or keg filling its SSCC, and each place of our own its GLN, from the company
prefix. A number that another company gave, such as a consignee's GLN, is said with --number and only checked.`,
		Example: `  heeltap keys give STOUT-440 P26-0817 --by Quint
  heeltap keys give D-14 --number 9521101530001 --by Quint`,
		Args: cobra.MinimumNArgs(1), ValidArgsFunction: e.codesOf([]lots.Kind{lots.KindProduct, lots.KindUnit, lots.KindParty}),
		RunE: func(cmd *cobra.Command, args []string) error {
			if number != "" && len(args) > 1 {
				return lots.Errorf(lots.Invalid, "--number is of one thing: name one")
			}
			return e.gives(cmd, by, args, func(tx *store.Tx, code, by string) (string, []string, error) {
				code, err := desk.Subject(tx, code)
				if err != nil {
					return "", nil, err
				}
				return desk.GiveKey(tx, code, number, by)
			})
		},
	}
	cmd.Flags().StringVar(&number, "number", "", "the number it has from another company, to be kept")
	cmd.Flags().StringVar(&by, "by", "", "who gives it (else HEELTAP_BY)")
	return cmd
}

func (e *env) keysSiteCommand() *cobra.Command {
	var by string
	cmd := &cobra.Command{
		Use:     "site [PLACE]",
		Short:   "Give the brewery, or one of its places, a GLN",
		Long:    "Give the brewery, or one of its places by name, a GLN from the company prefix. It is kept as the site's setting gs1.gln or gs1.gln.PLACE.",
		Example: "  heeltap keys site --by Quint\n  heeltap keys site \"cold store\" --by Quint",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			place := strings.Join(args, "")
			return e.gives(cmd, by, []string{place}, desk.GiveSiteGLN)
		},
	}
	cmd.Flags().StringVar(&by, "by", "", "who gives it (else HEELTAP_BY)")
	return cmd
}

// gives gives numbers in one transaction, and tells which.
func (e *env) gives(cmd *cobra.Command, by string, codes []string, give func(tx *store.Tx, code, by string) (string, []string, error)) error {
	by, err := e.who(by)
	if err != nil {
		return err
	}
	var lines, notes []string
	err = e.update(cmd.Context(), func(tx *store.Tx) error {
		for _, code := range codes {
			number, more, err := give(tx, code, by)
			if err != nil {
				return err
			}
			if code == "" {
				code = "The brewery"
			}
			lines, notes = append(lines, code+" has "+number), append(notes, more...)
		}
		return tx.Err()
	})
	if err != nil {
		return err
	}
	for _, l := range lines {
		e.printf("%s\n", l)
	}
	for _, n := range slices.Compact(notes) {
		e.note("%s", n)
	}
	return nil
}

func (e *env) keysResumeCommand() *cobra.Command {
	var by string
	cmd := &cobra.Command{
		Use:   "resume KIND NUMBER",
		Short: "Say which number was the highest given, so that the next come after it",
		Long: `Say which number of a kind (gtin, gln or sscc) was the highest given, so that the next come after it. This is needed
where the database came to another machine from a backup: heeltap then skips a hundredth of the prefix's numbers, and
here you say that more were given after the backup, or, before any is given, that none of them need be skipped.`,
		Example: "  heeltap keys resume sscc 095200000000001232 --by Quint",
		Args:    cobra.ExactArgs(2), ValidArgs: gs1.KeyKinds(),
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(by)
			if err != nil {
				return err
			}
			if !slices.Contains(gs1.KeyKinds(), args[0]) {
				return lots.Errorf(lots.Invalid, "%q is not one of %s", args[0], strings.Join(gs1.KeyKinds(), ", "))
			}
			if err := e.update(cmd.Context(), func(tx *store.Tx) error { return desk.Resume(tx, args[0], args[1], by) }); err != nil {
				return err
			}
			e.printf("The next %s comes after %s\n", strings.ToUpper(args[0]), args[1])
			return nil
		},
	}
	cmd.Flags().StringVar(&by, "by", "", "who says it (else HEELTAP_BY)")
	return cmd
}
