package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/graph/recall/scope"
	"heeltap/lots"
	"heeltap/lots/store"
)

func freezeCommand(e *env) *cobra.Command {
	var reason string
	cmd := e.onDatabase(&cobra.Command{Use: "freeze", Short: "Freeze the scope as the next numbered version", Args: cobra.NoArgs,
		Long:    "Freeze the scope as it is now. Whatever later entries change goes into the next version, which names those entries.",
		Example: `  heeltap recall freeze --reason "first scope, before letters"`},
		func(ctx context.Context, db *store.DB, r *inRecall, code string) error {
			by, err := r.who(r.by)
			if err != nil {
				return err
			}
			after, err := recall.Freeze(ctx, db, code, reason, by)
			if err != nil {
				return err
			}
			return db.View(ctx, func(tx *store.Tx) error {
				r.saidStep(after)
				last := after.Latest()
				if last.Version > 1 {
					r.printChanges(tx, after, last.Changes)
				}
				if parties := after.NewParties(last.Items); len(parties) > 0 {
					r.printf("To notify: %s\n", strings.Join(parties, ", "))
				}
				return r.toTellAgain(tx, after)
			})
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why now")
	return cmd
}

// toTellAgain names who was told about less, or more, than what they have in scope now.
func (r *inRecall) toTellAgain(tx *store.Tx, now *recall.Recall) error {
	s, err := now.Scope(tx)
	if err != nil {
		return err
	}
	r.remindUndecided(s)
	list, err := now.ToTellAgain(tx, s)
	for _, again := range list {
		r.printf("To tell again: %s: %s\n", again.Party, again.Text())
	}
	return err
}

func changesCommand(e *env) *cobra.Command {
	var json bool
	var version int
	cmd := e.onDatabase(&cobra.Command{Use: "changes", Short: "Show what changed since the last frozen version, or between two versions, and which entries changed it", Args: cobra.NoArgs,
		Example: "  heeltap recall changes\n  heeltap recall changes --version 2"},
		func(ctx context.Context, db *store.DB, r *inRecall, code string) error {
			changes, err := []scope.Change(nil), error(nil)
			if version == 0 {
				changes, err = recall.Changes(ctx, db, code)
			}
			if err != nil {
				return err
			}
			return db.View(ctx, func(tx *store.Tx) error {
				now, err := recall.Load(tx, code)
				if err != nil {
					return err
				}
				if version > 0 {
					if version > len(now.Versions) {
						return lots.Errorf(lots.NotFound, "%s has %s", code, counted(len(now.Versions), "version"))
					}
					changes = now.Versions[version-1].Changes
				}
				if json {
					return r.writeJSON(orEmpty(changes))
				}
				if now.Latest() == nil {
					r.printf("No version is frozen yet: heeltap recall freeze\n")
					return nil
				}
				r.printChanges(tx, now, changes)
				return nil
			})
		})
	cmd.Flags().BoolVar(&json, "json", false, "answer as JSON")
	cmd.Flags().StringVar(&e.knownAt, "known-at", "", "answer from what had been entered by this time")
	cmd.Flags().IntVar(&version, "version", 0, "show what this version changed from the one before")
	return cmd
}

// printChanges lists what changed, and the entries that changed it.
func (r *inRecall) printChanges(tx *store.Tx, now *recall.Recall, changes []scope.Change) {
	if len(changes) == 0 {
		r.printf("  nothing changed\n")
		return
	}
	t := &table{head: []string{"", "kind", "code", "now", "was", "because of"}}
	for _, c := range changes {
		stands := c.State()
		if c.Detail != "" {
			stands += " (" + c.Detail + ")"
		}
		if c.What == scope.Removed {
			stands = "-"
		}
		t.add(c.What, c.Kind, c.Code, stands, orDash(c.Was), now.EntriesText(tx, c.Entries))
	}
	r.print(t)
}
