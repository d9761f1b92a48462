package main

import (
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"

	"heeltap/graph/check"
)

// What a rule says to do is a command that is there, with options that it has.
func TestMendsAreCommands(t *testing.T) {
	root := newRoot(&env{})
	verb, option := regexp.MustCompile(`heeltap ([a-z-]+)( [a-z-]+)?([^,;]*)`), regexp.MustCompile(`--([a-z-]+)`)
	said := 0
	for _, rule := range check.Rules() {
		for _, m := range verb.FindAllStringSubmatch(rule.Mend, -1) {
			cmd := under(root, m[1])
			require.NotNil(t, cmd, "%s: heeltap %s", rule.Name, m[1])
			if sub := under(cmd, strings.TrimSpace(m[2])); sub != nil {
				cmd = sub
			}
			for _, o := range option.FindAllStringSubmatch(m[0], -1) {
				require.NotNil(t, cmd.Flag(o[1]), "%s: %s has no --%s", rule.Name, cmd.CommandPath(), o[1])
			}
			said++
		}
	}
	require.Greater(t, said, 40)
}

func under(cmd *cobra.Command, name string) *cobra.Command {
	for _, c := range cmd.Commands() {
		if c.Name() == name {
			return c
		}
	}
	return nil
}
