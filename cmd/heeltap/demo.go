package main

import "github.com/spf13/cobra"

func (e *env) demoCommand() *cobra.Command {
	return &cobra.Command{Use: "demo", Short: "Build and question an invented brewery", RunE: func(*cobra.Command, []string) error { return nil }}
}
