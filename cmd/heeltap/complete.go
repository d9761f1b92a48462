package main

import (
	"strings"

	"github.com/spf13/cobra"

	"heeltap/lots"
	"heeltap/lots/store"
)

// completes lets the shell fill in a column's flag: closed words, units, or known codes.
func (e *env) completes(cmd *cobra.Command, c lots.Column) {
	var complete func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective)
	switch c.Type {
	case lots.Choice:
		complete = cobra.FixedCompletions(c.Values, cobra.ShellCompDirectiveNoFileComp)
	case lots.YesNo:
		complete = cobra.FixedCompletions([]string{"yes", "no"}, cobra.ShellCompDirectiveNoFileComp)
	case lots.UnitOf:
		complete = cobra.FixedCompletions(lots.UnitNames(), cobra.ShellCompDirectiveNoFileComp)
	case lots.RefTo, lots.AnyOf, lots.ListOf:
		complete = e.codesOf(c.Kinds)
	default:
		complete = cobra.NoFileCompletions
	}
	if err := cmd.RegisterFlagCompletionFunc(dashed(c.Name), complete); err != nil {
		panic(err) // the flag was defined a line before
	}
}

// codesOf completes known codes of some kinds; of all where none is given.
func (e *env) codesOf(kinds []lots.Kind) func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return func(cmd *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
		var codes []string
		// Completion has nobody to tell an error to.
		_ = e.question(cmd.Context(), func(tx *store.Tx) error {
			for _, code := range tx.CodesFrom(begun, kinds...) {
				if strings.HasPrefix(code, begun) {
					codes = append(codes, code)
				}
			}
			return nil
		})
		return codes, cobra.ShellCompDirectiveNoFileComp
	}
}
