package main

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"heeltap/graph/desk"
	"heeltap/lots/store"
)

func (e *env) setCommand() *cobra.Command {
	var reason, by string
	cmd := &cobra.Command{
		Use:   "set OF [NAME [VALUE]]",
		Short: "Show or change settings: markets, targets, limits",
		Long: `Show or change the settings of the site, a product or a party. Each change is a journal entry, and the latest one
applies; an empty VALUE clears the setting. Without NAME, all settings are shown.

  site     market              US, EU, UK …: where the brewery sells its beer
           address             the server's address, put before the code on tags
           sender.name         who sends the letters of a recall (the site's name)
           sender.address      its postal address
           sender.phone        its telephone
           sender.email        its e-mail address
           decimal             the decimal sign people write here: . or , (.)
           returns             what becomes of goods that come back: hold (until judged) or accept (hold)
           gs1.prefix          the company prefix that GS1 licensed to you: pallets and kegs then get SSCCs (heeltap keys)
           gs1.gln             the brewery's GLN; of one of its places with gs1.gln.PLACE
           authority.MARKET    the authority in a market that heeltap does not know
           team.ROLE           who is on the recall team: "NAME, TELEPHONE" for team.lead, team.deputy, team.warehouse …
           target.scope        minutes to the first frozen scope (120)
           target.account      minutes to the account (240)
           target.authority    minutes to the records an authority asked for (1440)
           remind.minutes      minutes until a consignee is tried again (240)
           tell.minutes        minutes until a consignee that has not been told counts as overdue (60)
           check.LIMIT         a limit of the readiness check: heeltap check --list shows them
  PARTY    market              where it sells, if somewhere else
  PRODUCT  malt-beverage       yes if it is made with malted barley and hops, else no`,
		Example: `  heeltap set site market US --by Quint
  heeltap set site team.lead "Quint, 555-0100" --by Quint
  heeltap set D-14 market EU --by Quint
  heeltap set site sender.address "4 Quay Street, Ostwithe" --by Quint
  heeltap set site`,
		Args: cobra.RangeArgs(1, 3), ValidArgsFunction: e.codesOf(nil),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) < 3 {
				return e.question(cmd.Context(), func(tx *store.Tx) error { return e.showSettings(tx, args) })
			}
			by, err := e.who(by)
			if err != nil {
				return err
			}
			var notes []string
			err = e.update(cmd.Context(), func(tx *store.Tx) (err error) {
				notes, err = desk.Set(tx, args[0], args[1], args[2], reason, by)
				return err
			})
			if err != nil {
				return err
			}
			if args[2] == "" {
				e.printf("Cleared %s of %s\n", args[1], args[0])
			} else {
				e.printf("Set %s of %s to %s\n", args[1], args[0], args[2])
			}
			for _, n := range notes {
				e.note("%s", n)
			}
			return nil
		},
	}
	cmd.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return dashedValue(err) })
	cmd.Flags().StringVar(&reason, "reason", "", "why")
	cmd.Flags().StringVar(&by, "by", "", "who sets it (else HEELTAP_BY)")
	return e.asks(cmd)
}

// dashedValue says what to do if a value was taken for a flag because it begins with -.
func dashedValue(err error) error {
	unknown, ok := errors.AsType[*pflag.NotExistError](err)
	if !ok || unknown.GetSpecifiedShortnames() == "" {
		return err
	}
	text := "-" + unknown.GetSpecifiedShortnames()
	if _, notNumber := strconv.ParseFloat(text, 64); notNumber == nil {
		return fmt.Errorf("%s is below zero; settings are zero or more", text)
	}
	return fmt.Errorf("%s looks like a flag, and there is no such flag: put -- before a value that begins with -, as in heeltap set OF NAME -- %s", text, text)
}

func (e *env) showSettings(tx *store.Tx, args []string) error {
	all := tx.Settings(args[0])
	if len(args) > 1 {
		all = map[string]string{args[1]: all[args[1]]}
	}
	if e.json {
		return e.writeJSON(all)
	}
	t := &table{head: []string{"of", "setting", "value"}}
	for _, name := range slices.Sorted(maps.Keys(all)) {
		t.add(args[0], name, orDash(all[name]))
	}
	e.print(t)
	if len(t.rows) == 0 {
		e.printf("%s has no settings\n", args[0])
	}
	return nil
}
