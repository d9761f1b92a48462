package store

import (
	"cmp"
	"context"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/lots"
)

// faultsOf tries rows and leaves nothing behind.
func faultsOf(t *testing.T, db *DB, text string) string {
	t.Helper()
	var faults lots.Faults
	require.NoError(t, db.View(context.Background(), func(tx *Tx) error {
		b := &batch{tx: tx, rows: statements(t, text), codes: map[string]int{}, digests: map[int64][]int{}}
		b.check()
		faults = b.faults
		return tx.Err()
	}))
	return faults.Error()
}

func TestARowRecordedInOtherWordsIsRefused(t *testing.T) {
	db := create(t)
	enter(t, db, statements(t, plant)...)
	entry := enter(t, db, statements(t, "additions vessel=FV from=H-1|H-2 quantity=20 unit=kg at=2026-02-25_10:37 volume=20 volume_unit=L")...)[0]
	same := "additions vessel=FV from=H-2|H-1 quantity=20000 unit=g at=2026-02-25T09:37:00Z volume=0.2 volume_unit=hL"
	const refused = "is already recorded (entry 20); if it really happened twice, tell the rows apart with ref"
	require.EqualValues(t, 20, entry)
	require.Equal(t, refused, faultsOf(t, db, same))
	require.Empty(t, faultsOf(t, db, same+" ref=again"))
	require.Empty(t, faultsOf(t, db, "additions vessel=FV from=H-2|H-1 quantity=20 unit=g at=2026-02-25T09:37:00Z"))
	require.Equal(t, "appears twice in this input; if it really happened twice, tell the rows apart with ref",
		faultsOf(t, db, "cleans vessel=FV at=2026-02-25_10:37 method=cip\ncleans vessel=FV at=2026-02-25T10:37:00+01:00 method=cip"))
	require.NoError(t, db.View(context.Background(), func(tx *Tx) error {
		s := statements(t, same)[0]
		is, err := tx.IsRecorded(s.Sheet, s.Row)
		require.NoError(t, err)
		require.True(t, is)
		return nil
	}))
}

func TestRowsOfOneCodeAgreeInValue(t *testing.T) {
	db := create(t)
	enter(t, db, statements(t, plant)...)
	const second = "brews brew=B1 beer=Pale into=BT1 volume=10 unit=hL started_at="
	require.Empty(t, faultsOf(t, db, second+"2026-02-01T05:00:00Z cast_out_at=2026-02-01T12:00"))
	require.Equal(t, `started_at: is "2026-02-01T06:00:00Z" here but "2026-02-01 06:00" in another row of B1: it must be the same in all of them`,
		faultsOf(t, db, second+"2026-02-01T06:00:00Z cast_out_at=2026-02-01_12:00"))
}

func TestAmendedRowsOfOneCodeAgreeInValue(t *testing.T) {
	db := create(t)
	enter(t, db, statements(t, plant)...)
	enter(t, db, statements(t, "brews brew=B1 beer=Pale into=BT1 volume=10 unit=hL started_at=2026-02-01T05:00:00Z cast_out_at=2026-02-01_12:00")...)
	require.ErrorContains(t, db.Update(context.Background(), func(tx *Tx) error {
		rows, err := tx.RowsOf("B1")
		require.NoError(t, err)
		require.Len(t, rows, 2)
		_, err = tx.AmendAll([]int64{rows[1].Seq}, map[string]string{"started_at": "2026-02-01T06:00"}, "spelled as elsewhere", "me")
		require.NoError(t, err)
		_, err = tx.AmendAll([]int64{rows[1].Seq}, map[string]string{"started_at": "2026-02-01T05:00"}, "wrong", "me")
		require.ErrorContains(t, err, "must be the same in all of them: amend B1")
		return lots.Errorf(lots.Internal, "undone")
	}), "undone")
}

// The site's zone decides which moments are one, also for rows that are recorded already.
func TestAnotherZoneMakesOtherTwins(t *testing.T) {
	db := create(t)
	enter(t, db, statements(t, plant)...)
	enter(t, db, statements(t, "cleans vessel=FV at=2026-02-25_10:37 method=cip")...)
	const inUTC, inBerlin = "cleans vessel=FV at=2026-02-25T10:37:00Z method=cip", "cleans vessel=FV at=2026-02-25T09:37:00Z method=cip"
	require.Empty(t, faultsOf(t, db, inUTC))
	require.NotEmpty(t, faultsOf(t, db, inBerlin))
	require.NoError(t, db.Update(context.Background(), func(tx *Tx) error {
		rows, err := tx.All("site")
		require.NoError(t, err)
		_, err = tx.Amend(rows[0].Seq, map[string]string{"time_zone": "UTC"}, "moved", "me")
		return err
	}))
	require.NotEmpty(t, faultsOf(t, db, inUTC))
	require.Empty(t, faultsOf(t, db, inBerlin))
	requireSound(t, db)
	then, err := db.Copy(context.Background())
	require.NoError(t, err)
	defer then.Close()
	require.NotEmpty(t, faultsOf(t, then, inUTC), "and after a rebuild")
}

// A database of an older layout finds its rows by what they say too.
func TestOlderDigestsAreWorkedOutAnew(t *testing.T) {
	path := filepath.Join(t.TempDir(), "old.db")
	db, err := Create(context.Background(), path)
	require.NoError(t, err)
	enter(t, db, statements(t, plant)...)
	enter(t, db, statements(t, "cleans vessel=FV at=2026-02-25_10:37 method=cip")...)
	require.NoError(t, db.Close())
	bySQL(t, path, "UPDATE record SET digest = seq + 1000; DROP TABLE part; DROP TABLE move; DROP TABLE moment; DROP TABLE line_span; DROP TABLE answered; DROP TABLE seal; DROP TABLE stop; DROP INDEX record_rejected; DROP INDEX record_ref; DROP INDEX record_unnumbered; DROP INDEX draw_fill; DROP INDEX draw_start; DROP INDEX draw_maybe; PRAGMA user_version = 2") // as layout 2 left it
	db, err = Open(context.Background(), path)
	require.NoError(t, err)
	defer db.Close()
	require.NotEmpty(t, faultsOf(t, db, "cleans vessel=FV at=2026-02-25T09:37:00Z method=cip"))
}

// A database of an older layout has its lineage derived anew by the rules of today.
func TestOlderLineageIsDerivedAnew(t *testing.T) {
	path := filepath.Join(t.TempDir(), "old.db")
	db, err := Create(context.Background(), path)
	require.NoError(t, err)
	enter(t, db, statements(t, plant)...)
	enter(t, db, statements(t, `
brews brew=B9 beer=Pale into=BT1 volume=10 unit=hL started_at=2026-02-01 cast_out_at=2026-02-01_12:00
circulations vessels=BT1;BT2 started_at=2026-02-03 ended_at=2026-02-03
cleans vessel=BT1 at=2026-02-03_10:00 method=cip`)...)
	all, err := migrations.ReadDir("migration")
	require.NoError(t, err)
	layout := slices.IndexFunc(all, func(f fs.DirEntry) bool { return strings.HasSuffix(f.Name(), "_uncertain_order.sql") })
	require.Positive(t, layout)
	uncertain := func() (n int) {
		require.NoError(t, db.read.QueryRow("SELECT count(*) FROM link WHERE cause = ?", int64(graph.UncertainTime)).Scan(&n))
		return n
	}
	had := uncertain()
	require.Positive(t, had)
	require.NoError(t, db.Update(context.Background(), func(tx *Tx) error { // as the layout before it left it
		return cmp.Or(tx.exec("DELETE FROM link WHERE cause = ?", int64(graph.UncertainTime)), tx.exec(fmt.Sprintf("PRAGMA user_version = %d", layout)))
	}))
	require.Zero(t, uncertain())
	require.NoError(t, db.Close())
	bySQL(t, path, "DROP TABLE part; DROP TABLE move; DROP TABLE moment; DROP INDEX record_unnumbered") // those of a later one
	db, err = Open(context.Background(), path)
	require.NoError(t, err)
	defer db.Close()
	require.Equal(t, had, uncertain())
	requireSound(t, db)
}

// A journal may hold twins that were taken for two when texts were compared: it can still be followed.
func TestTwinsOfOldAreFollowed(t *testing.T) {
	db := create(t)
	clock := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	db.Now = func() time.Time { return clock }
	enter(t, db, statements(t, plant)...)
	for _, row := range []string{"cleans vessel=FV at=2026-02-25_10:37 method=cip", "cleans vessel=FV at=2026-02-25T09:37:00Z method=cip"} {
		clock = clock.Add(time.Hour)
		require.NoError(t, db.Update(context.Background(), func(tx *Tx) error {
			tx.again = true
			_, _, faults, err := tx.RecordRows(statements(t, row))
			require.Empty(t, faults)
			return err
		}))
	}
	moments := 0
	require.NoError(t, db.Follow(context.Background(), 19, func(*Tx, []*Entry) error { moments++; return nil }))
	require.Equal(t, 3, moments)
}

func TestTheManner(t *testing.T) {
	db := create(t)
	enter(t, db, statements(t, plant)...)
	require.NoError(t, db.Update(context.Background(), func(tx *Tx) error {
		require.Equal(t, lots.Point, tx.Decimal())
		require.NoError(t, tx.Set(SiteSettings, SettingDecimal, ",", "", "me"))
		m := tx.Manner()
		require.Equal(t, lots.Comma, m.Decimal)
		require.Equal(t, "Europe/Berlin", m.Zone.String())
		s := statements(t, "brew_inputs brew=B1 from=H-1 quantity=1,5_kg")[0]
		_, faults := lots.Plain(s.Sheet, s.Row, m)
		require.Empty(t, faults)
		require.Equal(t, "1.5 kg of hop (HOP), lot H-1", tx.InWords(s.Sheet, s.Row))
		return nil
	}))
}
