package desk

import (
	"cmp"
	"fmt"
	"maps"
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
	notes, err := meant(tx, a.Sheet, row)
	if err != nil {
		return nil, nil, err
	}
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
func meant(tx *store.Tx, s *lots.Sheet, row lots.Row) (notes []string, err error) {
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
			code, err := codeMeant(tx, c, part)
			if err != nil {
				return nil, lots.Errorf(lots.KindOf(err), "%s: %w", c.Name, err)
			}
			if code != "" && code != part {
				parts[i] = code
				if labels.ParsePayload(part) != code { // a tag's address is no surprise
					notes = append(notes, fmt.Sprintf("%s read as %s", part, called(tx, code)))
				}
			}
		}
		row[c.Name] = strings.Join(parts, between)
	}
	return notes, nil
}

// codeMeant is the one code of a column's kinds that a text can only mean: what a tag holds, a code
// however it is spaced, a keg's number, an SSCC, a date code, or a name; empty where there is none.
// What can mean several things is refused with all of them.
func codeMeant(tx *store.Tx, c lots.Column, text string) (string, error) {
	if _, known := tx.Thing(text); known || text == "" {
		return "", nil
	}
	if code := labels.ParsePayload(text); code != text {
		return code, nil
	}
	code, err := trace.CodeOf(tx, text, c.Kinds...)
	if kind := lots.KindOf(err); err == nil || kind != lots.NotFound && kind != lots.Invalid {
		return code, err
	}
	var found []string
	for _, kind := range c.Kinds {
		found = append(found, named(tx, kind, text)...)
	}
	switch len(found) {
	case 0:
		return "", nil // whoever reads the row says what is wrong
	case 1:
		return found[0], nil
	}
	return "", lots.Errorf(lots.Conflict, "%q can mean %s: give the code", text, strings.Join(found, " or "))
}

// sheetOf are the sheets of things that have names.
var sheetOf = map[lots.Kind]string{lots.KindItem: "items", lots.KindParty: "parties", lots.KindProduct: "products"}

// named lists the things of a kind whose name is a text, but for case, spaces and punctuation.
func named(tx *store.Tx, kind lots.Kind, text string) (codes []string) {
	want, sheet := plain(text), sheetOf[kind]
	if want == "" || sheet == "" {
		return nil
	}
	rows, err := tx.All(sheet)
	if err != nil {
		return nil // the transaction keeps its error
	}
	for _, r := range rows {
		if plain(r.Row["name"]) == want {
			codes = append(codes, r.Row[r.Sheet.Code])
		}
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
