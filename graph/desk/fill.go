package desk

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

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
	whatLeaves(a.Sheet, row)
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
	ownUnit(tx, a.Sheet, row)
	return row, notes, tx.Err()
}

// ownUnit gives a quantity without a unit that of the item, or of the lot or vessel that it was taken from; what was
// cast out, that of the vessel it went into.
func ownUnit(tx *store.Tx, s *lots.Sheet, row lots.Row) {
	if c, ok := s.Column("unit"); !ok || !c.Need || row["unit"] != "" {
		return
	}
	if item, ok := tx.Item(row["item"]); ok && s.Name == "receipts" {
		row["unit"] = string(item.Unit)
	}
	of := row[map[string]string{"brew_inputs": "from", "additions": "from", "transfers": "from", "brews": "into"}[s.Name]]
	of, _, _ = strings.Cut(of, "|")
	switch thing, ok := tx.Thing(of); {
	case ok && thing.Kind == lots.KindLot && thing.Unit != "":
		row["unit"] = string(thing.Unit)
	case ok && thing.Kind == lots.KindVessel:
		row["unit"] = string(UnitIn(tx, of))
	}
}

// whatLeaves takes the only code given of a shipment for what leaves: the shipment gets a code of its own.
func whatLeaves(s *lots.Sheet, row lots.Row) {
	if s.Name == "shipments" && row["unit"] == "" && row["shipment"] != "" {
		row["unit"] = row["shipment"]
		delete(row, "shipment")
	}
}

// Moment gives a time as it was typed its day where it has none: today's, in the site's zone.
func Moment(tx *store.Tx, text string) (string, error) {
	zone := tx.Site().Zone
	if _, _, err := lots.ParseWhen(text, zone); text == "" || err == nil {
		return text, nil
	}
	w, _, err := lots.ParseWhenAt(text, zone, tx.Recorded())
	if err != nil {
		return "", lots.Errorf(lots.Invalid, "%w", err)
	}
	return w.Text(zone), nil
}

// MomentBeside gives a time without a day the day of another moment: 09:30 in the correction of an entry is of that
// entry's day, not of today. Any other text stays as it is.
func MomentBeside(tx *store.Tx, text, beside string) (string, error) {
	zone := tx.Site().Zone
	if _, _, err := lots.ParseWhen(text, zone); text == "" || err == nil {
		return text, nil
	}
	day, _, err := lots.ParseWhen(beside, zone)
	if err != nil {
		return Moment(tx, text)
	}
	date := time.Unix(day.From, 0).In(zone)
	end := time.Date(date.Year(), date.Month(), date.Day(), 23, 59, 59, 0, zone)
	w, _, err := lots.ParseWhenAt(text, zone, end)
	if err != nil {
		return "", lots.Errorf(lots.Invalid, "%w", err)
	}
	return w.Text(zone), nil
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
	var faults lots.Faults
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
			if err != nil && !aboutTheText(err) {
				return nil, err
			}
			if err != nil {
				faults = append(faults, lots.Fault{Column: c.Name, Reason: err.Error()})
			}
			if code != "" && code != part {
				parts[i] = code
				if labels.ParsePayload(part) != code && nameOf(tx, code) != part { // a tag's address, or its name to the letter, is no surprise
					notes = append(notes, fmt.Sprintf("%s read as %s", part, called(tx, code)))
				}
			}
		}
		row[c.Name] = strings.Join(parts, between)
	}
	if len(faults) > 0 {
		return nil, faults
	}
	return notes, nil
}

// aboutTheText reports whether an error says what is wrong with what was typed, and not that it could not be looked up.
func aboutTheText(err error) bool {
	return slices.Contains([]lots.ErrKind{lots.Invalid, lots.NotFound, lots.Conflict}, lots.KindOf(err))
}
