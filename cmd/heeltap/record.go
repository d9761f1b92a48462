package main

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/doubt"
	"heeltap/graph/recall"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

func dashed(name string) string { return strings.ReplaceAll(name, "_", "-") }

// recordCommand records one row of a sheet.
func (e *env) recordCommand(s *lots.Sheet) *cobra.Command {
	first := s.Columns[0]
	by, override := "", ""
	cells := map[string]*string{}
	cmd := &cobra.Command{
		Use:     s.Verb + " [" + strings.ToUpper(first.Name) + "]",
		Short:   verbs[s.Name].short,
		Long:    verbs[s.Name].long,
		Example: verbs[s.Name].example,
		Args:    cobra.MaximumNArgs(1),
	}
	for _, c := range s.Columns {
		if c.Name == "by" {
			continue
		}
		help := c.Help
		if c.Need && !defaultsToNow(s, c.Name) && c.Type != lots.NewCode {
			help += " (needed)"
		}
		if len(c.Values) > 0 {
			help += ": " + strings.Join(c.Values, " ")
		}
		cells[c.Name] = cmd.Flags().String(dashed(c.Name), "", help)
		e.completes(cmd, c)
	}
	cmd.Flags().StringVar(&by, "by", "", "who did it or says so (else HEELTAP_BY)")
	cmd.Flags().BoolVar(&e.json, "json", false, "say what was recorded as JSON")
	if s.When != "" {
		overrides(cmd, &override)
	}
	cmd.ValidArgsFunction = e.codesOf(first.Kinds)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		row := lots.Row{}
		for name, v := range cells {
			if t := strings.TrimSpace(*v); t != "" {
				row[name] = t
			}
		}
		if len(args) > 0 {
			if row[first.Name] != "" && row[first.Name] != args[0] {
				return lots.Errorf(lots.Invalid, "%s is given twice: %s and %s", first.Name, args[0], row[first.Name])
			}
			row[first.Name] = strings.TrimSpace(args[0])
		}
		if s.Name == "site" && len(row) == 0 {
			return e.showSite(cmd)
		}
		return e.record(cmd, s, row, by, override)
	}
	return cmd
}

// who names the person behind an entry: as told, else whoever is logged in.
func (e *env) who(by string) (string, error) {
	by = cmp.Or(strings.TrimSpace(by), e.getenv("HEELTAP_BY"), e.getenv("USER"), e.getenv("USERNAME"))
	if by == "" {
		return "", lots.Errorf(lots.Invalid, "say who: --by NAME, or set HEELTAP_BY")
	}
	return by, nil
}

// recorded is what is told of a recorded row.
type recorded struct {
	Entry    int64    `json:"entry"`
	Sheet    string   `json:"sheet"`
	Code     *string  `json:"code"`
	Warnings []string `json:"warnings"`
	Findings []string `json:"findings"`
}

// record enters one row: what is plain at that moment is filled in, a missing code is proposed.
func (e *env) record(cmd *cobra.Command, s *lots.Sheet, row lots.Row, by, override string) error {
	by, err := e.who(by)
	if err != nil {
		return err
	}
	if s.Has("by") {
		row["by"] = by
	}
	splitQuantities(s, row)
	plainWords(s, row)
	said := recorded{Sheet: s.Name, Warnings: []string{}, Findings: []string{}}
	err = e.update(cmd.Context(), func(tx *store.Tx) error {
		for _, c := range s.Columns {
			if row[c.Name] == "" && defaultsToNow(s, c.Name) {
				row[c.Name] = e.now().In(tx.Site().Zone).Format("2006-01-02 15:04")
			}
		}
		if err := propose(tx, s, row, e.now()); err != nil {
			return err
		}
		said.Warnings = append(said.Warnings, meant(tx, s, row)...)
		if item, ok := tx.Item(row["item"]); ok && row["unit"] == "" && s.Name == "receipts" {
			row["unit"] = string(item.Unit)
		}
		return said.enter(tx, store.Statement{Sheet: s, Row: row, By: by}, override)
	})
	if err != nil {
		return err
	}
	code := row[s.Columns[0].Name]
	if s.Code != "" {
		code = row[s.Code]
		said.Code = &code
	}
	for _, text := range append(said.Warnings, said.Findings...) {
		e.note("%s", text)
	}
	if e.json {
		return e.writeJSON(said)
	}
	e.printf("recorded %s %s (entry %d)\n", s.Noun, code, said.Entry)
	return nil
}

// enter records a row, unless it takes what is stopped, and gathers what is worth knowing about it.
func (said *recorded) enter(tx *store.Tx, row store.Statement, override string) error {
	named := lots.Mentions(row.Sheet, row.Row)
	known := tx.Findings(named)
	seqs, warnings, faults, err := tx.RecordRows([]store.Statement{row})
	if err == nil && len(faults) == 0 {
		faults, err = stopped(tx, seqs, override, row.By)
	}
	if err != nil || len(faults) > 0 {
		for i := range faults {
			faults[i].Line = 0
		}
		return orFaults(err, faults)
	}
	said.Entry = seqs[0]
	for _, w := range warnings {
		said.Warnings = append(said.Warnings, w.Reason)
	}
	for _, f := range append(tx.FindingsOf(said.Entry), tx.Findings(named)...) {
		if !slices.Contains(known, f) && !slices.Contains(said.Findings, f.Text) {
			said.Findings = append(said.Findings, f.Text)
		}
	}
	odd, err := doubt.Of(tx, said.Entry)
	if err != nil {
		return err
	}
	said.Warnings = append(said.Warnings, odd...)
	wanted, err := calledBack(tx, said.Entry)
	if err != nil {
		return err
	}
	said.Warnings = append(said.Warnings, wanted...)
	carried, err := warnOfAllergens(tx, row.Sheet, row.Row)
	if err != nil {
		return err
	}
	said.Warnings = append(said.Warnings, carried...)
	if override != "" {
		return tx.Err() // whoever overrides a hold knows of it
	}
	taken, err := trace.LetThrough(tx, seqs)
	said.Warnings = append(said.Warnings, taken...)
	return err
}

// calledBack tells of a shipment of what an open recall has in scope and nobody has held yet.
func calledBack(tx *store.Tx, entry int64) ([]string, error) {
	rec, _ := tx.Record(entry)
	sh, ok := rec.(*lots.Shipment)
	if !ok {
		return nil, nil
	}
	all, err := recall.All(tx)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, r := range all {
		if r.Mock || r.State() != "open" {
			continue
		}
		s, err := r.Scope(tx)
		if err != nil {
			return nil, err
		}
		for _, u := range s.Answer.Units {
			if slices.Contains(sh.Unit.Codes, u.Code) {
				out = append(out, fmt.Sprintf("%s is in scope of recall %s: stop the lorry, or tell the lead; heeltap recall hold stops what is in scope", u.Code, r.Code))
			}
		}
	}
	return out, nil
}

// stopped refuses entries that took something on hold, unless the hold is overridden: that is recorded.
func stopped(tx *store.Tx, entries []int64, override, by string) (lots.Faults, error) {
	faults, err := trace.Stopped(tx, entries)
	if err != nil || len(faults) == 0 || strings.TrimSpace(override) == "" {
		return faults, err
	}
	taken := make([]int64, len(faults))
	for i, f := range faults {
		taken[i] = entries[f.Line-1]
	}
	_, err = tx.Act(store.AboutHolds, store.Override{Do: "override", Entries: taken, Reason: override}, by)
	return nil, err
}

// orFaults makes one error of a failure and of faults; nil where there is neither.
func orFaults(err error, faults lots.Faults) error {
	if err != nil || len(faults) == 0 {
		return err
	}
	return faults
}

// defaultsToNow reports whether a column says when an act happened that is usually entered as it is done.
func defaultsToNow(s *lots.Sheet, column string) bool {
	if column != s.When {
		return false
	}
	switch column {
	case "received_at", "shipped_at", "returned_at":
		return true
	case "at":
		return s.Name != "brew_inputs" // an input without a time has the brew's
	}
	return false
}

// numberAndUnit lets anything that begins like a number stand before the unit, so that what is wrong with it is said of the number.
var numberAndUnit = regexp.MustCompile(`^([-+]?[0-9.,' ]*[0-9][0-9.,']*)\s*([A-Za-z]+)$`)

// plainWords forgives the case of words of a closed set, as of codes in a question.
func plainWords(s *lots.Sheet, row lots.Row) {
	for _, c := range s.Columns {
		values := c.Values
		if c.Type == lots.YesNo {
			values = []string{"yes", "no"}
		}
		for _, v := range values {
			if strings.EqualFold(v, row[c.Name]) {
				row[c.Name] = v
			}
		}
	}
}

// meant puts the code of a unit where somebody read its keg's number or its SSCC, and says so; of
// several with | between, for each.
func meant(tx *store.Tx, s *lots.Sheet, row lots.Row) (notes []string) {
	for _, c := range s.Columns {
		if row[c.Name] == "" || c.Type != lots.RefTo && c.Type != lots.AnyOf || !slices.Contains(c.Kinds, lots.KindUnit) {
			continue
		}
		read := []string{row[c.Name]}
		if c.Type == lots.AnyOf {
			read = strings.Split(row[c.Name], "|")
		}
		for i, text := range read {
			text = strings.TrimSpace(text)
			if _, known := tx.Thing(text); known || text == "" {
				continue
			}
			if unit, ok := trace.UnitRead(tx, text); ok {
				read[i] = unit
				notes = append(notes, fmt.Sprintf("%s is taken as %s", text, unit))
			}
		}
		row[c.Name] = strings.Join(read, "|")
	}
	return notes
}

// splitQuantities lets a quantity carry its unit, as people say it: --quantity "25 kg".
func splitQuantities(s *lots.Sheet, row lots.Row) {
	for _, c := range s.Columns {
		m := numberAndUnit.FindStringSubmatch(row[c.Name])
		if m == nil || c.Type != lots.Number && c.Name != "quantity" {
			continue
		}
		for _, unit := range []string{c.Name + "_unit", "unit"} {
			if s.Has(unit) {
				if row[unit] == "" || strings.EqualFold(row[unit], m[2]) {
					row[c.Name], row[unit] = m[1], m[2]
				}
				break
			}
		}
	}
}
