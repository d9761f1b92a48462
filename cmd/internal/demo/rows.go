package demo

import (
	"maps"

	"heeltap/lots"
)

// Rows gives the rows of a history as they read after all its corrections.
func Rows(entries []Entry) []lots.Entered {
	var rows []lots.Entered
	named := map[string]int{}
	for _, e := range entries {
		if e.Fix != nil {
			i, ok := named[e.Fix.Name]
			if !ok {
				panic("nothing is called " + e.Fix.Name)
			}
			if e.Fix.Set == nil {
				rows[i].Row = nil
				continue
			}
			for column, value := range e.Fix.Set {
				rows[i].Row[column] = value
			}
			continue
		}
		s, _ := lots.SheetNamed(e.Sheet)
		rows = append(rows, lots.Entered{Seq: int64(len(rows) + 1), Sheet: s, Row: maps.Clone(e.Row)})
		for _, name := range []string{e.Row[s.Code], e.Row["ref"]} {
			if name != "" {
				named[name] = len(rows) - 1
			}
		}
	}
	standing := rows[:0]
	for _, r := range rows {
		if r.Row != nil {
			standing = append(standing, r)
		}
	}
	return standing
}
