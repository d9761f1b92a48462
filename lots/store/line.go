package store

import (
	"database/sql"
	"math"
	"strings"

	"heeltap/lots"
	"heeltap/lots/lineage"
)

// enterSpan notes where a run or clearance lies on its line.
func (tx *Tx) enterSpan(seq int64, s *lots.Sheet, row lots.Row, site lots.Site) error {
	span, ok := lineSpanOf(s, row, site)
	if !ok {
		return nil
	}
	return tx.exec("INSERT INTO line_span(seq, line, start, finish, running) VALUES (?,?,?,?,?)", seq, span.Line, span.Start, span.Finish, span.Running)
}

// lineSpanOf reads the row of a run or clearance as far as its place on its line; false for others.
func lineSpanOf(s *lots.Sheet, row lots.Row, site lots.Site) (lineage.LineSpan, bool) {
	when := func(column string) lots.When {
		w, _, _ := lots.ParseWhen(row[column], site.Zone) // was checked when it was recorded
		return w
	}
	switch s.Name {
	case "runs":
		return lineage.SpanOnLine(&lots.Run{Line: strings.TrimSpace(row["line"]), Started: when("started_at"), Ended: when("ended_at")})
	case "clearances":
		return lineage.SpanOnLine(&lots.Clearance{Line: strings.TrimSpace(row["line"]), At: when("at")})
	}
	return lineage.LineSpan{}, false
}

// placeLines works out anew where all runs and clearances lie: the site's zone decides how their times read.
func (tx *Tx) placeLines() error {
	site := tx.Site()
	if err := tx.exec("DELETE FROM line_span"); err != nil {
		return err
	}
	rows, err := tx.rows("SELECT seq, sheet, body FROM record WHERE sheet IN ('runs', 'clearances') ORDER BY seq")
	if err != nil {
		return err
	}
	for _, e := range rows {
		if err := tx.enterSpan(e.Seq, e.Sheet, e.Row, site); err != nil {
			return err
		}
	}
	return nil
}

// LineBefore is what lineage.Source says.
func (tx *Tx) LineBefore(line string, from, until int64) []lots.Record {
	reach, ran := int64(math.MinInt64), int64(0)
	tx.spans(func(seq, start, finish, running int64) bool {
		if finish <= from {
			ran += running
		}
		if ran >= lineage.LineMemory {
			reach = start
		}
		return ran < lineage.LineMemory
	}, "SELECT seq, start, finish, running FROM line_span WHERE line = ? AND start <= ? ORDER BY start DESC, seq DESC LIMIT ? OFFSET ?", line, until)
	return tx.onLine("SELECT r.seq, r.sheet, r.body FROM line_span s JOIN record r ON r.seq = s.seq WHERE s.line = ? AND s.start <= ? AND s.finish > ?", line, until, reach)
}

// LineAfter is what lineage.Source says.
func (tx *Tx) LineAfter(line string, since, from int64) []lots.Record {
	reach, ran := int64(math.MaxInt64), int64(0)
	latest := int64(math.MinInt64)
	tx.spans(func(_, _, finish, running int64) bool {
		ran += running
		latest = max(latest, finish)
		if ran >= lineage.LineMemory {
			reach = latest
		}
		return ran < lineage.LineMemory
	}, "SELECT seq, start, finish, running FROM line_span WHERE line = ? AND start >= ? ORDER BY start, seq LIMIT ? OFFSET ?", line, from)
	return tx.onLine("SELECT r.seq, r.sheet, r.body FROM line_span s JOIN record r ON r.seq = s.seq WHERE s.line = ? AND s.finish >= ? AND s.start < ?", line, since, reach)
}

// spansAtATime is how many spans are read before it is seen whether more are needed: a day of runs, mostly.
const spansAtATime = 32

// spans reads spans in the order of a query until more says that it is enough.
func (tx *Tx) spans(more func(seq, start, finish, running int64) bool, query string, args ...any) {
	for offset := 0; ; offset += spansAtATime {
		n, wanted := 0, true
		tx.fail(tx.each(func(rows *sql.Rows) error {
			var seq, start, finish, running int64
			err := rows.Scan(&seq, &start, &finish, &running)
			if n++; err == nil && wanted {
				wanted = more(seq, start, finish, running)
			}
			return err
		}, query, append(args, spansAtATime, offset)...))
		if !wanted || n < spansAtATime || tx.err != nil {
			return
		}
	}
}

func (tx *Tx) onLine(query string, args ...any) []lots.Record {
	rows, err := tx.rows(query, args...)
	tx.fail(err)
	return tx.decode(rows)
}
