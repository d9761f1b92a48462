package store

import (
	"cmp"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"

	"heeltap/lots"
)

// digestOf finds a row again by what it says, however that is spelled: rows that say the same
// have the same digest. It depends on the site's zone.
func digestOf(s *lots.Sheet, row lots.Row, site lots.Site) int64 {
	sum := sha256.Sum256([]byte(s.Name + "\n" + lots.Key(s, row, site)))
	return int64(binary.BigEndian.Uint64(sum[:8]))
}

// recordedAs finds the entry whose row says the same as one; 0 where there is none.
func (tx *Tx) recordedAs(s *lots.Sheet, row lots.Row, look lots.Lookup) (int64, error) {
	rows, err := tx.rows("SELECT seq, sheet, body FROM record WHERE digest = ? ORDER BY seq", digestOf(s, row, look.Site()))
	for _, r := range rows {
		if r.Sheet == s && lots.SameRow(s, r.Row, row, look) {
			return r.Seq, err
		}
	}
	return 0, err
}

// IsRecorded reports whether a row is recorded already: whether one says the same in every
// column, be it spelled another way.
func (tx *Tx) IsRecorded(s *lots.Sheet, row lots.Row) (bool, error) {
	entry, err := tx.recordedAs(s, row, tx)
	return entry != 0, err
}

// rederiveRows works out again what follows from single rows: the site's zone decides which moments are
// one, when things were cleaned, where runs lie on their line, and since when things are stopped.
func (tx *Tx) rederiveRows() error {
	return cmp.Or(tx.redigest(), tx.placeLines(), tx.noteMoments(), tx.noteStops())
}

// redigest works out all digests anew.
func (tx *Tx) redigest() error {
	site := tx.Site()
	digests := map[int64]int64{}
	err := tx.each(func(rows *sql.Rows) error {
		var had int64
		e, err := scanRow(rows, &had)
		if err != nil {
			return err
		}
		if now := digestOf(e.Sheet, e.Row, site); now != had {
			digests[e.Seq] = now
		}
		return nil
	}, "SELECT seq, sheet, body, digest FROM record")
	if err != nil {
		return err
	}
	for seq, digest := range digests {
		if err := tx.exec("UPDATE record SET digest = ? WHERE seq = ?", digest, seq); err != nil {
			return err
		}
	}
	return nil
}

// catchUp brings a database of an older layout up to date. Where nothing ties what was derived to the journal, or a new layout asks for it
// by taking the digests away, all of it is derived anew and sealed: the layout was changed behind the seal's back.
func (db *DB) catchUp(ctx context.Context) error {
	var anew bool
	if err := db.read.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM record WHERE digest = 0)
		OR NOT EXISTS (SELECT 1 FROM seal) AND EXISTS (SELECT 1 FROM journal)`).Scan(&anew); err != nil || !anew {
		return db.explain(err)
	}
	return db.Rebuild(ctx)
}

// InWords reads back a row's quantities with unit and name, as lots.InWords does.
func (tx *Tx) InWords(s *lots.Sheet, row lots.Row) string {
	return lots.InWords(s, row, func(code string) (*lots.Sheet, lots.Row, bool) {
		i := tx.introduced(code)
		return i.Sheet, i.Row, i.ok
	}, tx)
}

// SettingDecimal is the site's setting of the decimal sign, a point or a comma.
const SettingDecimal = "decimal"

// Decimal is the site's decimal sign; the point where none is set.
func (tx *Tx) Decimal() lots.Decimal {
	d, err := lots.ParseDecimal(tx.Setting(SiteSettings, SettingDecimal))
	if err != nil {
		return lots.Point // what cannot be meant is refused when it is set
	}
	return d
}

// Manner is how a row that somebody enters now is read: by the site's sign, zone and day.
func (tx *Tx) Manner() lots.Manner {
	return lots.Manner{Decimal: tx.Decimal(), Now: tx.Recorded(), Zone: tx.Site().Zone}
}
