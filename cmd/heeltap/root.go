package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"heeltap/lots"
)

// The groups in which help lists the verbs.
const (
	groupAsk    = "ask"
	groupRecall = "recall"
	groupRecord = "record"
	groupMend   = "mend"
	groupMove   = "move"
	groupKeep   = "keep"
	groupSetUp  = "set-up"
)

// newRoot builds the command line around an env.
func newRoot(e *env) *cobra.Command {
	root := &cobra.Command{
		Use:   "heeltap",
		Short: "A brewery's batch records as a lineage graph: where a lot went, what went into a date code, who has it now",
		Long: `heeltap keeps a brewery's batch records as a lineage graph in one SQLite file and
answers, in seconds and with proof: where did this lot go, what went into this date code,
and who has it now.

It finds and counts; it does not decide. Whether to recall, in which class, whom to tell
and by when is up to the responsible person under the law where the beer was made and sold.`,
		Example: `  heeltap demo                              build an invented brewery and put it to the test
  heeltap init --name "My Brewery" --time-zone Europe/Dublin
  heeltap import records/                   read a folder of CSV files
  heeltap trace forward L26-0142            where did this lot go
  heeltap trace back "BB 2027-03-10@09:42"  what went into this can`,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.NoArgs,
		PersistentPreRun: func(*cobra.Command, []string) {
			e.started = true
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.PersistentFlags().StringVar(&e.db, "db", "", "database file (else HEELTAP_DB, else heeltap.db)")
	root.SetGlobalNormalizationFunc(func(_ *pflag.FlagSet, name string) pflag.NormalizedName {
		name = dashed(name) // columns are written with _, flags with - or _
		if name == "as-of" {
			name = "known-at" // a paper is "as of" a time, an answer "as known at" it
		}
		return pflag.NormalizedName(name)
	})
	root.AddGroup(&cobra.Group{ID: groupAsk, Title: "Ask:"}, &cobra.Group{ID: groupRecall, Title: "Recall:"}, &cobra.Group{ID: groupRecord, Title: "Record:"},
		&cobra.Group{ID: groupMend, Title: "Correct:"}, &cobra.Group{ID: groupMove, Title: "Files:"}, &cobra.Group{ID: groupKeep, Title: "Keep safe:"}, &cobra.Group{ID: groupSetUp, Title: "Set up:"})
	in := func(group string, cmds ...*cobra.Command) {
		for _, c := range cmds {
			c.GroupID = group
			root.AddCommand(c)
		}
	}
	in(groupAsk, e.traceCommand(), e.whyCommand(), e.inquireCommand(), e.inquiriesCommand(), e.balanceCommand(), e.checkCommand(), e.allergensCommand(), e.commonCommand(), e.exposureCommand(), e.stockCommand(), e.showCommand(), e.journalCommand())
	in(groupRecall, e.recallCommand(), e.batchRecordCommand(), e.provideCommand())
	in(groupMend, e.amendCommand(), e.voidCommand(), e.releaseCommand(), e.muteCommand())
	in(groupRecord, e.expectedCommand())
	in(groupMove, e.importCommand(), e.exportCommand(), e.labelCommand(), e.keysCommand(), e.attachCommand(), e.detachCommand())
	in(groupKeep, e.auditCommand(), e.vouchCommand(), e.backupCommand(), e.drillCommand(), e.restoreCommand(), e.rebuildCommand(), e.partsCommand())
	in(groupSetUp, e.initCommand(), e.serveCommand(), e.peopleCommand(), e.demoCommand(), e.setCommand())
	for _, s := range lots.Sheets {
		group := groupRecord
		if s.When == "" {
			group = groupSetUp
		}
		if s.Name == "feeds" || s.Name == "codes" || s.Name == "brew_inputs" || s.Name == "units" {
			group = groupRecord
		}
		in(group, e.recordCommand(s))
	}
	plainArgs(root)
	return root
}

// plainArgs makes every command answer wrong arguments with its usage.
func plainArgs(cmd *cobra.Command) {
	for _, c := range cmd.Commands() {
		plainArgs(c)
	}
	if wants := cmd.Args; wants != nil {
		cmd.Args = func(cmd *cobra.Command, args []string) error {
			if wants(cmd, args) == nil {
				return nil
			}
			if len(args) > 0 && cmd.HasSubCommands() {
				return unknownVerb(cmd, args[0])
			}
			return fmt.Errorf("usage: %s (add --help for more)", cmd.UseLine())
		}
	}
}

// unknownVerb names the verbs nearest to one that does not exist.
func unknownVerb(cmd *cobra.Command, name string) error {
	var all []string
	for _, c := range cmd.Commands() {
		if c.IsAvailableCommand() {
			all = append(all, c.Name())
		}
	}
	near := lots.NearestOf(name, all)
	if len(near) == 0 && len(all) < 5 {
		return fmt.Errorf("%s has no verb %q: it has %s", cmd.CommandPath(), name, strings.Join(all, ", "))
	}
	if len(near) == 0 {
		return fmt.Errorf("%s has no verb %q: %s --help lists them", cmd.CommandPath(), name, cmd.CommandPath())
	}
	return fmt.Errorf("%s has no verb %q; did you mean %s?", cmd.CommandPath(), name, strings.Join(near, ", "))
}

// asks gives a command the flags of a question.
func (e *env) asks(cmd *cobra.Command) *cobra.Command {
	cmd.Flags().BoolVar(&e.json, "json", false, "answer as JSON")
	cmd.Flags().StringVar(&e.knownAt, "known-at", "", "answer from what had been entered by this time")
	return cmd
}
