package store

import (
	"database/sql"

	"heeltap/graph"
)

// Source is a node that a link comes from, with the link's grade and how much it carries.
type Source struct {
	Node
	Grade graph.Grade
	Qty   float64 // in the source's base unit; of units and segments containers
	Known bool    // false where nobody knows how much
}

// SourcesInto lists what surely or perhaps went into a node, a row for each source and grade, with the sum of what its links carry.
func (tx *Tx) SourcesInto(id int64) []Source {
	var out []Source
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var s Source
		var grade int64
		err := rows.Scan(&s.ID, &s.Kind, &s.Code, &s.Home, &s.Since, &s.Until, &s.Total, &s.Den, &s.Entry, &grade, &s.Qty, &s.Known)
		s.Grade = graph.Grade(grade)
		out = append(out, s)
		return err
	}, `SELECT n.id, n.kind, n.code, n.home, n.since, n.until, n.total, n.den, n.entry, l.grade, total(l.qty), count(l.qty) = count(*)
		FROM link l JOIN node n ON n.id = l.src WHERE l.dst = ? GROUP BY n.id, l.grade ORDER BY n.code, n.kind, l.grade`, id))
	return out
}
