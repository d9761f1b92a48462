package main

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"heeltap/graph/doubt"
	"heeltap/graph/recall"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

func (e *env) amendCommand() *cobra.Command {
	var reason, by, override string
	cmd := &cobra.Command{
		Use:   "amend CODE|REF|ENTRY COLUMN=VALUE…",
		Short: "Correct a recorded row",
		Long: `Correct a recorded row. It is named by its code, by its ref, or by its entry number
(heeltap show and heeltap journal list them). An empty VALUE takes a cell away. What all rows
of a code share, such as the times of a split brew or a shipment's consignee, is corrected in
all of them by the code. The journal keeps both readings, and every answer with --known-at
shows what was known before.`,
		Example: `  heeltap amend L26-0142 supplier_lot="WH 24/171" --reason "misread, photo of the bag" --by Ines
  heeltap amend 812 at="2026-04-02 14:00" --reason "cellar sheet found" --by Ines`,
		Args: cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(by)
			if err != nil {
				return err
			}
			set := map[string]string{}
			for _, a := range args[1:] {
				column, value, ok := strings.Cut(a, "=")
				if !ok {
					return lots.Errorf(lots.Invalid, "%q is not COLUMN=VALUE", a)
				}
				set[strings.ReplaceAll(strings.TrimSpace(column), "-", "_")] = strings.TrimSpace(value)
			}
			return e.correct(cmd, args[0], "amended", override, by, func(tx *store.Tx) (targets, entries []int64, err error) {
				if targets, err = rowsAmended(tx, args[0], set); err == nil {
					entries, err = tx.AmendAll(targets, set, reason, by)
				}
				return targets, entries, err
			})
		},
	}
	e.corrects(cmd, &reason, &by)
	overrides(cmd, &override)
	return cmd
}

// rowsAmended finds the row meant, or all rows of a code where what is amended is the same in all.
func rowsAmended(tx *store.Tx, name string, set map[string]string) ([]int64, error) {
	rows, err := tx.RowsOf(name)
	if err != nil {
		return nil, err
	}
	shared := len(rows) > 1
	var entries []int64
	for _, r := range rows {
		entries = append(entries, r.Seq)
		for column := range set {
			shared = shared && slices.Contains(r.Sheet.Shared, column)
		}
	}
	if shared {
		return entries, nil
	}
	entry, err := entryOf(tx, name)
	return []int64{entry}, err
}

func (e *env) voidCommand() *cobra.Command {
	var reason, by, override string
	cmd := &cobra.Command{
		Use:   "void CODE|REF|ENTRY",
		Short: "Take a recorded row, or a correction, back",
		Long:  "Take a recorded row back. It stays in the journal and counts no more. Voiding a correction, by its entry number, takes that back.",
		Example: `  heeltap void T26-0044 --reason "entered twice" --by Ines
  heeltap void 812 --reason "wrong tank" --by Ines`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(by)
			if err != nil {
				return err
			}
			return e.correct(cmd, args[0], "void", override, by, func(tx *store.Tx) ([]int64, []int64, error) {
				target, err := entryOf(tx, args[0])
				if err != nil {
					return nil, nil, err
				}
				entry, err := tx.Void(target, reason, by)
				return []int64{target}, []int64{entry}, err
			})
		},
	}
	e.corrects(cmd, &reason, &by)
	overrides(cmd, &override)
	return cmd
}

func overrides(cmd *cobra.Command, override *string) {
	cmd.Flags().StringVar(override, "override", "", "take what is on hold all the same, for this reason; the override is recorded")
}

func (e *env) corrects(cmd *cobra.Command, reason, by *string) {
	cmd.Flags().StringVar(reason, "reason", "", "why (needed)")
	cmd.Flags().StringVar(by, "by", "", "who says so (else HEELTAP_BY)")
	cmd.Flags().BoolVar(&e.json, "json", false, "say what was recorded as JSON")
	cmd.ValidArgsFunction = e.codesOf(nil)
}

// correct records corrections: f gives the entries corrected and those that correct them. A
// row that takes what is on hold only as corrected is stopped as a new one would be.
func (e *env) correct(cmd *cobra.Command, name, done, override, by string, f func(*store.Tx) (targets, entries []int64, err error)) error {
	c := &correction{name: name, override: override, by: by}
	if err := e.update(cmd.Context(), func(tx *store.Tx) error { return c.make(tx, f) }); err != nil {
		return err
	}
	for _, w := range c.warnings {
		e.note("%s", w)
	}
	if e.json {
		return e.writeJSON(correctedOf(c.targets, c.entries))
	}
	for i := range c.targets {
		e.printf("entry %d is %s (entry %d)\n", c.targets[i], done, c.entries[i])
	}
	for _, text := range c.changes {
		e.printf("  %s\n", text)
	}
	return nil
}

// correction is what is asked for, and what came of it.
type correction struct {
	name, override, by string
	targets, entries   []int64
	warnings, changes  []string
}

// make corrects rows, and looks at them and at what is on hold before and after.
func (c *correction) make(tx *store.Tx, f func(*store.Tx) (targets, entries []int64, err error)) error {
	rows, err := rootsOf(tx, c.name)
	if err != nil {
		return err
	}
	takers := withTakers(tx, rows)
	before, err := takenBy(tx, takers)
	if err != nil {
		return err
	}
	was, known := describeAll(tx, rows), findingsAbout(tx, rows)
	stood, err := trace.StandingHolds(tx)
	if err != nil {
		return err
	}
	if c.targets, c.entries, err = f(tx); err != nil {
		return err
	}
	now := describeAll(tx, rows)
	for _, row := range rows {
		if was[row] != now[row] {
			c.changes = append(c.changes, fmt.Sprintf("was: %s\n  now: %s", cmp.Or(was[row], "void"), cmp.Or(now[row], "void")))
		}
	}
	for _, f := range findingsAbout(tx, rows) {
		if !slices.Contains(known, f) {
			c.warnings = append(c.warnings, f)
		}
	}
	after, err := takenBy(tx, takers)
	if err != nil {
		return err
	}
	if err := c.warn(tx, stood, before, after); err != nil {
		return err
	}
	if err := recall.HoldsStand(tx, rows); err != nil {
		return err
	}
	return after.allowed(tx, before, c.override, c.by)
}

// warn tells what is doubtful about the rows as corrected, what is held no more, and what was let through.
func (c *correction) warn(tx *store.Tx, stood *trace.Standing, before, after takings) error {
	for _, target := range c.targets {
		odd, err := doubt.Of(tx, target)
		if err != nil {
			return err
		}
		c.warnings = append(c.warnings, odd...)
	}
	freed, err := noLongerHeld(tx, stood.Goods())
	c.warnings = append(c.warnings, freed...)
	for _, w := range after.before {
		if c.override == "" && !slices.Contains(before.before, w) {
			c.warnings = append(c.warnings, w)
		}
	}
	return err
}

// corrected is what is told of corrections: the first, and all where there are several.
type corrected struct {
	Entry    int64       `json:"entry"`
	Corrects int64       `json:"corrects"`
	All      []corrected `json:"all,omitempty"`
}

func correctedOf(targets, entries []int64) corrected {
	said := corrected{Entry: entries[0], Corrects: targets[0]}
	for i := range targets {
		if len(targets) > 1 {
			said.All = append(said.All, corrected{Entry: entries[i], Corrects: targets[i]})
		}
	}
	return said
}

// rootsOf lists the rows that a name's corrections can change: also those whose correction it numbers.
func rootsOf(tx *store.Tx, name string) ([]int64, error) {
	rows, err := tx.RowsOf(name)
	if err != nil {
		return nil, err
	}
	var roots []int64
	for _, r := range rows {
		roots = append(roots, r.Seq)
	}
	if len(roots) > 0 {
		return roots, nil
	}
	entry, err := entryOf(tx, name)
	if err != nil {
		return nil, err
	}
	root, err := tx.Root(entry)
	return []int64{root}, err
}

// noLongerHeld tells of lots and units that were on hold, by themselves or by what went into them, and are not as the records read now.
func noLongerHeld(tx *store.Tx, were []string) ([]string, error) {
	now, err := trace.StandingHolds(tx)
	if err != nil {
		return nil, err
	}
	stands := now.Goods()
	freed := slices.DeleteFunc(were, func(u string) bool { return slices.Contains(stands, u) })
	if len(freed) == 0 {
		return nil, nil
	}
	list := strings.Join(freed[:min(len(freed), 8)], ", ")
	if len(freed) > 8 {
		list += fmt.Sprintf(" and %d more", len(freed)-8)
	}
	return []string{"on hold no more as corrected: " + list + "; if they are to stay, hold them by themselves (heeltap hold, heeltap recall hold)"}, nil
}

// withTakers adds the rows whose time hangs on a row: a run's feeds, a brew's inputs.
func withTakers(tx *store.Tx, rows []int64) []int64 {
	out := slices.Clone(rows)
	for _, row := range rows {
		r, ok := tx.Row(row)
		if !ok || r.Sheet.Name != "runs" && r.Sheet.Name != "brews" {
			continue
		}
		for _, rec := range tx.Touching(r.Row[r.Sheet.Code]) {
			if !slices.Contains(out, rec.Entry()) {
				out = append(out, rec.Entry())
			}
		}
	}
	return out
}

// takings is what rows take that is on hold: against a hold by row and code, and from before a hold.
type takings struct {
	against map[int64]map[string]string
	before  []string
}

func takenBy(tx *store.Tx, rows []int64) (t takings, err error) {
	if t.against, err = trace.Takes(tx, rows); err != nil {
		return t, err
	}
	t.before, err = trace.LetThrough(tx, rows)
	return t, err
}

// allowed refuses what is newly taken against a hold, unless the hold is overridden: that is recorded.
func (t takings) allowed(tx *store.Tx, before takings, override, by string) error {
	var rows []int64
	for row, taken := range t.against {
		for code, why := range taken {
			if before.against[row][code] != "" {
				continue
			}
			if strings.TrimSpace(override) == "" {
				return lots.Errorf(lots.Conflict, "as corrected, %s", why)
			}
			rows = append(rows, row)
		}
	}
	if len(rows) == 0 {
		return nil
	}
	slices.Sort(rows)
	_, err := tx.Act(store.AboutHolds, store.Override{Do: "override", Entries: slices.Compact(rows), Reason: override}, by)
	return err
}

// entryOf finds the one row that a code, a ref or an entry number names.
func entryOf(tx *store.Tx, name string) (int64, error) {
	rows, err := tx.RowsOf(name)
	if err != nil {
		return 0, err
	}
	switch len(rows) {
	case 1:
		return rows[0].Seq, nil
	case 0:
		if n, err := strconv.ParseInt(name, 10, 64); err == nil && n > 0 {
			return n, nil
		}
		return 0, noRow(tx, name)
	}
	list := make([]string, len(rows))
	for i, r := range rows {
		list[i] = fmt.Sprintf("%d (%s)", r.Seq, describe(r))
	}
	return 0, lots.Errorf(lots.Conflict, "%s stands in %d rows: give the entry number of one, %s", name, len(rows), strings.Join(list, ", "))
}

// describe says a row in a few words.
func describe(r lots.Entered) string { return inWords(r, 6) }

func inWords(r lots.Entered, most int) string {
	var parts []string
	for _, c := range r.Sheet.Columns {
		if v := r.Row[c.Name]; v != "" && c.Name != "by" && len(parts) < most {
			parts = append(parts, c.Name+"="+v)
		}
	}
	return r.Sheet.Noun + " " + strings.Join(parts, " ")
}

// findingsAbout lists the faults in the records that touch what rows name.
func findingsAbout(tx *store.Tx, rows []int64) []string {
	var out []string
	for _, seq := range rows {
		r, ok := tx.Row(seq)
		if !ok {
			continue
		}
		for _, f := range tx.Findings(lots.Mentions(r.Sheet, r.Row)) {
			out = append(out, f.Text)
		}
	}
	return out
}

// describeAll says rows in full, by entry; what is void says nothing.
func describeAll(tx *store.Tx, rows []int64) map[int64]string {
	out := map[int64]string{}
	for _, seq := range rows {
		if r, ok := tx.Row(seq); ok {
			out[seq] = inWords(r, len(r.Sheet.Columns))
		}
	}
	return out
}

func (e *env) releaseCommand() *cobra.Command {
	var reason, by, at string
	cmd := &cobra.Command{
		Use:     "release SUBJECT",
		Short:   "Let go of what was stopped by a hold",
		Example: `  heeltap release L26-0142 --reason "supplier's analysis: not our pallets" --by Quint`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(by)
			switch {
			case err != nil:
				return err
			case strings.TrimSpace(reason) == "":
				return lots.Errorf(lots.Invalid, "a release needs a reason: --reason TEXT")
			}
			var entries []int64
			err = e.update(cmd.Context(), func(tx *store.Tx) error {
				var err error
				entries, err = recall.Release(tx, args[0], at, reason, by)
				return err
			})
			if err != nil {
				return err
			}
			if e.json {
				return e.writeJSON(map[string]any{"subject": args[0], "entries": entries})
			}
			e.printf("released %s (%s)\n", args[0], counted(len(entries), "hold"))
			return nil
		},
	}
	e.corrects(cmd, &reason, &by)
	cmd.Flags().StringVar(&at, "at", "", "when (else now)")
	return cmd
}

func stampOf(t time.Time, zone *time.Location) string {
	return t.In(zone).Format("2006-01-02 15:04")
}
