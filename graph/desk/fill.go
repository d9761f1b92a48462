package desk

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"unicode"

	"heeltap/graph/trace"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

// FillIn gives an act's row as it will be recorded: quantities with their units apart, tags and
// names read as codes, times that are now, and a code where the row needs one and has none. Notes
// say what was read as something else. The act's own row is not changed.
func FillIn(tx *store.Tx, a Act) (lots.Row, []string, error) {
	row := maps.Clone(a.Row)
	if a.Sheet.Has("by") {
		row["by"] = cmp.Or(row["by"], a.By)
	}
	site := tx.Site()
	doubts, faults := lots.Plain(a.Sheet, row, tx.Manner())
	if len(faults) > 0 {
		return nil, nil, faults
	}
	for _, c := range a.Sheet.Columns {
		if row[c.Name] == "" && DefaultsToNow(a.Sheet, c.Name) {
			row[c.Name] = tx.Recorded().In(site.Zone).Format("2006-01-02 15:04")
		}
	}
	notes := meant(tx, a.Sheet, row)
	for _, d := range doubts {
		notes = append(notes, d.Reason)
	}
	if err := propose(tx, a.Sheet, row); err != nil {
		return nil, nil, err
	}
	if item, ok := tx.Item(row["item"]); ok && row["unit"] == "" && a.Sheet.Name == "receipts" {
		row["unit"] = string(item.Unit)
	}
	return row, notes, tx.Err()
}

// DefaultsToNow reports whether a column says when an act happened that is usually entered as it is done.
func DefaultsToNow(s *lots.Sheet, column string) bool {
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

// meant puts codes where somebody scanned a tag, typed a name, wrote a code in another case, or
// read a keg's number or an SSCC; of several with | or ; between, for each. It says what it read as what.
func meant(tx *store.Tx, s *lots.Sheet, row lots.Row) (notes []string) {
	for _, c := range s.Columns {
		text := row[c.Name]
		if text == "" {
			continue
		}
		between := ""
		switch c.Type {
		case lots.NewCode:
			row[c.Name] = labels.ParsePayload(text)
			continue
		case lots.RefTo:
		case lots.AnyOf:
			between = "|"
		case lots.ListOf:
			between = ";"
		default:
			continue
		}
		parts := []string{text}
		if between != "" {
			parts = strings.Split(text, between)
		}
		for i, part := range parts {
			part = strings.TrimSpace(part)
			parts[i] = part
			if code := codeMeant(tx, c, part); code != "" && code != part {
				parts[i] = code
				if labels.ParsePayload(part) != code { // a tag's address is no surprise
					notes = append(notes, fmt.Sprintf("read %s as %s", part, called(tx, code)))
				}
			}
		}
		row[c.Name] = strings.Join(parts, between)
	}
	return notes
}

// codeMeant is the one code of a column's kinds that a text can only mean; empty where there is none, or several.
func codeMeant(tx *store.Tx, c lots.Column, text string) string {
	if _, known := tx.Thing(text); known || text == "" {
		return ""
	}
	if code := labels.ParsePayload(text); code != text {
		return code
	}
	if slices.Contains(c.Kinds, lots.KindUnit) {
		if unit, ok := trace.UnitRead(tx, text); ok {
			return unit
		}
	}
	found := map[string]bool{}
	for _, kind := range c.Kinds {
		for _, code := range named(tx, kind, text) {
			found[code] = true
		}
	}
	if len(found) != 1 {
		return ""
	}
	for code := range found {
		return code
	}
	return ""
}

// sheetOf are the sheets that introduce kinds of thing that people call by code or name.
var sheetOf = map[lots.Kind]string{lots.KindItem: "items", lots.KindParty: "parties", lots.KindVessel: "vessels", lots.KindLine: "lines", lots.KindProduct: "products"}

// named lists things of a kind whose code or name is a text but for case, spaces and punctuation.
func named(tx *store.Tx, kind lots.Kind, text string) (codes []string) {
	want := plain(text)
	if want == "" {
		return nil
	}
	sheet := sheetOf[kind]
	if sheet == "" {
		for _, code := range tx.Nearest(text, kind) {
			if plain(code) == want {
				codes = append(codes, code)
			}
		}
		return codes
	}
	rows, err := tx.All(sheet)
	if err != nil {
		return nil // the transaction keeps its error
	}
	var byName []string
	for _, r := range rows {
		switch code := r.Row[r.Sheet.Code]; {
		case plain(code) == want:
			codes = append(codes, code)
		case plain(r.Row["name"]) == want:
			byName = append(byName, code)
		}
	}
	if len(codes) == 0 {
		return byName
	}
	return codes
}

// plain is a text without case, spaces and punctuation.
func plain(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, text)
}

// called is a code with the name people know it by.
func called(tx *store.Tx, code string) string {
	if name := nameOf(tx, code); name != code {
		return name + " (" + code + ")"
	}
	return code
}

// nameOf is what people call a thing; its code where it has no name.
func nameOf(tx *store.Tx, code string) string {
	rows, err := tx.RowsOf(code)
	if err != nil || len(rows) == 0 {
		return code
	}
	return cmp.Or(rows[0].Row["name"], code)
}
