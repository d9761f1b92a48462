package store

import (
	"cmp"
	"database/sql"
	"strings"

	"heeltap/lots"
	"heeltap/lots/lineage"
)

// enterMoment notes when a clean, circulation, count or run was.
func (tx *Tx) enterMoment(seq int64, s *lots.Sheet, row lots.Row, site lots.Site) error {
	sheet, codes, from, to, ok := momentOf(s, row, site)
	if !ok {
		return nil
	}
	for _, code := range codes {
		if err := tx.exec("INSERT INTO moment(code, sheet, start, seq, finish) VALUES (?,?,?,?,?) ON CONFLICT DO NOTHING", code, sheet, from, seq, to); err != nil {
			return err
		}
	}
	return nil
}

// momentOf reads the row of a clean, circulation, count (by what was counted) or run (by its product, and when it began) as far as what
// it names and when it was; false for others.
func momentOf(s *lots.Sheet, row lots.Row, site lots.Site) (sheet string, codes []string, from, to int64, ok bool) {
	when := func(column string) lots.When {
		w, _, _ := lots.ParseWhen(row[column], site.Zone) // was checked when it was recorded
		return w
	}
	switch s.Name {
	case "cleans":
		return lineage.MomentOf(&lots.Clean{Subject: lots.Ref{Codes: []string{strings.TrimSpace(row["vessel"])}}, At: when("at")})
	case "circulations":
		for code := range strings.SplitSeq(row["vessels"], ";") {
			if code = strings.TrimSpace(code); code != "" {
				codes = append(codes, code)
			}
		}
		return lineage.MomentOf(&lots.Circulation{Vessels: codes, Started: when("started_at"), Ended: when("ended_at")})
	}
	single := func(column, time string) (string, []string, int64, int64, bool) {
		at := when(time)
		return s.Name, []string{strings.TrimSpace(row[column])}, at.From, at.To, true
	}
	switch s.Name {
	case "counts":
		return single("subject", "at")
	case "runs":
		return single("product", "started_at")
	}
	return "", nil, 0, 0, false
}

// noteMoments works out anew when all of them were: the site's zone decides how their times read.
func (tx *Tx) noteMoments() error {
	if err := tx.exec("DELETE FROM moment"); err != nil {
		return err
	}
	site := tx.Site()
	rows, err := tx.rows("SELECT seq, sheet, body FROM record WHERE sheet IN ('cleans', 'circulations', 'counts', 'runs') ORDER BY seq")
	if err != nil {
		return err
	}
	for _, e := range rows {
		if err := tx.enterMoment(e.Seq, e.Sheet, e.Row, site); err != nil {
			return err
		}
	}
	return nil
}

// Moments is what lineage.Source says.
func (tx *Tx) Moments(code, sheet string, from, to int64) []lots.Record {
	early := int64(lineage.Beginning) // what began before that has ended before the span
	if sheet == "cleans" && from > lineage.Beginning+longestDay {
		early = from - longestDay
	}
	rows, err := tx.rows(`SELECT r.seq, r.sheet, r.body FROM moment m CROSS JOIN record r ON r.seq = m.seq
		WHERE m.code = ? AND m.sheet = ? AND m.start BETWEEN ? AND ? AND m.finish >= ? ORDER BY r.seq`, code, sheet, early, to, from)
	tx.fail(err)
	return tx.decode(rows)
}

// LastCount is the last count of a lot, vessel or unit, by when it was made and then by its entry, that was made at or after a moment; false where there is none.
func (tx *Tx) LastCount(code string, since int64) (*lots.StockCount, bool) {
	early := since // what was counted on a day of which only the date is known began before it
	if early > lineage.Beginning+longestDay {
		early -= longestDay
	}
	rows, err := tx.rows(`SELECT r.seq, r.sheet, r.body FROM moment m CROSS JOIN record r ON r.seq = m.seq
		WHERE m.code = ? AND m.sheet = 'counts' AND m.start >= ? AND m.finish >= ? ORDER BY m.start DESC, m.seq DESC LIMIT 1`, code, early, since)
	tx.fail(err)
	for _, rec := range tx.decode(rows) {
		c, ok := rec.(*lots.StockCount)
		return c, ok
	}
	return nil, false
}

// RunsBegun lists the runs that began in a span, at the earliest, by product and then by time.
func (tx *Tx) RunsBegun(from, to int64) []*lots.Run {
	products, err := tx.All("products")
	tx.fail(err)
	var codes []string
	for _, p := range products {
		codes = append(codes, strings.TrimSpace(p.Row["product"]))
	}
	rows, err := tx.rows(`SELECT r.seq, r.sheet, r.body FROM json_each(?) p CROSS JOIN moment m ON m.code = p.value AND m.sheet = 'runs' AND m.start BETWEEN ? AND ?
		CROSS JOIN record r ON r.seq = m.seq ORDER BY m.code, m.start, m.seq`, jsonList(codes), from, to)
	tx.fail(err)
	var out []*lots.Run
	for _, rec := range tx.decode(rows) {
		if run, ok := rec.(*lots.Run); ok {
			out = append(out, run)
		}
	}
	return out
}

// longestDay is longer than any day, in seconds. A clean is noted with an instant or a day; circulations are few.
const longestDay = 26 * 3600

// part replaces a cell's part of a vessel's books.
func (a *applying) part(cell int64, p *lineage.Part) error {
	if p == nil && a.fresh {
		return nil
	}
	if p == nil {
		return cmp.Or(a.tx.exec("DELETE FROM move WHERE cell = ?", cell), a.tx.exec("DELETE FROM part WHERE cell = ?", cell))
	}
	if err := a.tx.exec(`INSERT INTO part(cell, vessel, since, opens, state) VALUES (?,?,?,?,?)
		ON CONFLICT (cell) DO UPDATE SET opens = excluded.opens, state = excluded.state WHERE opens <> excluded.opens OR state <> excluded.state`,
		cell, p.Vessel, p.Since, p.Opens, p.State); err != nil {
		return err
	}
	old := map[lineage.Move]bool{}
	had, err := a.tx.moves(cell)
	if err != nil {
		return err
	}
	for _, m := range had {
		old[m] = true
	}
	now := map[int64]bool{}
	for _, m := range p.Moves {
		now[m.Entry] = true
		if !old[m] {
			if err := a.tx.exec("INSERT INTO move(cell, entry, start, finish) VALUES (?,?,?,?) ON CONFLICT (cell, entry) DO UPDATE SET start = excluded.start, finish = excluded.finish",
				cell, m.Entry, m.From, m.To); err != nil {
				return err
			}
		}
	}
	for _, m := range had {
		if !now[m.Entry] {
			if err := a.tx.exec("DELETE FROM move WHERE cell = ? AND entry = ?", cell, m.Entry); err != nil {
				return err
			}
		}
	}
	return nil
}

func (tx *Tx) moves(cell int64) (out []lineage.Move, err error) {
	err = tx.each(func(rows *sql.Rows) error {
		var m lineage.Move
		err := rows.Scan(&m.Entry, &m.From, &m.To)
		out = append(out, m)
		return err
	}, "SELECT entry, start, finish FROM move WHERE cell = ? ORDER BY entry", cell)
	return out, err
}

const partColumns = "SELECT cell, vessel, since, opens, state FROM part "

func (tx *Tx) parts(query string, args ...any) (out []lineage.Part, cells []int64) {
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var p lineage.Part
		var cell int64
		err := rows.Scan(&cell, &p.Vessel, &p.Since, &p.Opens, &p.State)
		out, cells = append(out, p), append(cells, cell)
		return err
	}, query, args...))
	return out, cells
}

// Parts is what lineage.Source says.
func (tx *Tx) Parts(vessel string, lo, hi int64) []lineage.Part {
	out, cells := tx.parts(partColumns+`WHERE vessel = ?1 AND since <= ?3
		AND since >= coalesce((SELECT max(since) FROM part WHERE vessel = ?1 AND since < ?2), ?2) ORDER BY since`, vessel, lo, hi)
	for i := range out {
		var err error
		out[i].Moves, err = tx.moves(cells[i])
		tx.fail(err)
	}
	return out
}

// PartAt is what lineage.Source says.
func (tx *Tx) PartAt(vessel string, t int64) (lineage.Part, bool) {
	return only(tx.parts(partColumns+"WHERE vessel = ? AND since <= ? ORDER BY since DESC LIMIT 1", vessel, t))
}

// PartAfter is what lineage.Source says.
func (tx *Tx) PartAfter(vessel string, t int64) (lineage.Part, bool) {
	return only(tx.parts(partColumns+"WHERE vessel = ? AND since > ? ORDER BY since LIMIT 1", vessel, t))
}

func only(parts []lineage.Part, _ []int64) (lineage.Part, bool) {
	if len(parts) == 0 {
		return lineage.Part{}, false
	}
	return parts[0], true
}

// MovesOf is what lineage.Source says.
func (tx *Tx) MovesOf(vessel string, entry int64) (out []lineage.Move) {
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var m lineage.Move
		err := rows.Scan(&m.Entry, &m.From, &m.To)
		out = append(out, m)
		return err
	}, "SELECT m.entry, m.start, m.finish FROM move m CROSS JOIN part p ON p.cell = m.cell WHERE m.entry = ? AND p.vessel = ? ORDER BY m.start", entry, vessel))
	return out
}

// PartDraws is what lineage.Source says.
func (tx *Tx) PartDraws(vessel string, since int64) []lineage.Draw {
	d, err := tx.draws("WHERE p.vessel = ? AND p.since = ?", vessel, since)
	tx.fail(err)
	return d
}

// PartArrivals is what lineage.Source says.
func (tx *Tx) PartArrivals(vessel string, since int64) []lineage.Arrival {
	a, err := tx.arrivals("WHERE p.vessel = ? AND p.since = ?", vessel, since)
	tx.fail(err)
	return a
}
