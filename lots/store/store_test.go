package store

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
)

// plant is an invented brewery's reference data; acts are what happened in it, to be entered in any order.
const plant = `
site name=Invented time_zone=Europe/Berlin
items item=MALT name=malt kind=malt unit=kg
items item=HOP name=hop kind=hop unit=kg
items item=YEAST name=yeast kind=yeast unit=L
parties party=SUP name=Supplier role=supplier
products product=P name=Pale container_ml=440 per_case=24
lines line=L1 margin_min=5 overlap_min=15 residue=yes
vessels vessel=FV kind=fermenter unit=L
vessels vessel=BT1 kind=bright unit=L
vessels vessel=BT2 kind=bright unit=L
vessels vessel=K1 kind=brink unit=L
vessels vessel=S1 kind=silo unit=kg
vessels vessel=HOSE kind=path
receipts lot=H-1 item=HOP supplier=SUP supplier_lot=h1 quantity=50 unit=kg received_at=2026-01-02
receipts lot=H-2 item=HOP supplier=SUP supplier_lot=h2 quantity=50 unit=kg received_at=2026-01-02
brews brew=B1 beer=Pale started_at=2026-02-01_06:00 cast_out_at=2026-02-01_12:00 into=FV volume=3000 unit=L
brews brew=B2 beer=Pale started_at=2026-02-01_18:00 cast_out_at=2026-02-02_00:00 into=FV volume=3000 unit=L
runs run=R1 product=P line=L1 started_at=2026-02-20_08:00 ended_at=2026-02-20_12:00 date_code=X good=4000
runs run=R2 product=P line=L1 started_at=2026-02-21_08:00 ended_at=2026-02-21_12:00 date_code=Y good=6000
`

const acts = `
receipts lot=M-1 item=MALT supplier=SUP supplier_lot=m1 quantity=3000 unit=kg received_at=2026-01-06_08:00 into=S1
receipts lot=M-2 item=MALT supplier=SUP supplier_lot=m2 quantity=2000 unit=kg received_at=2026-02-01 into=S1
brew_inputs brew=B1 from=S1 quantity=700 unit=kg
brew_inputs brew=B2 from=S1 quantity=700 unit=kg
brew_inputs brew=B1 from=H-1|H-2 quantity=3 unit=kg stage=boil
additions vessel=FV from=H-2 quantity=15 unit=kg at=2026-02-10
transfers transfer=T1 from=FV to=BT1 out=2000 in=1990 unit=L started_at=2026-02-10_10:00 ended_at=2026-02-10_11:00 via=HOSE
transfers transfer=T2 from=FV to=BT2 out=3700 in=3690 unit=L started_at=2026-02-12_09:00 ended_at=2026-02-12_10:20 via=HOSE
transfers transfer=T3 from=BT2 to=BT1 out=500 in=500 unit=L started_at=2026-02-20_09:00 ended_at=2026-02-20_09:30
crops lot=C-1 item=YEAST vessel=FV quantity=20 unit=L at=2026-02-11_08:00 into=K1
cleans vessel=BT1 at=2026-02-09 method=cip
cleans vessel=HOSE at=2026-02-11_12:00 method=cip
cleans vessel=L1 at=2026-02-20_20:00 method=rinse
circulations vessels=BT1;BT2 started_at=2026-02-14_08:00 ended_at=2026-02-14_09:00
removals subject=FV quantity=all at=2026-02-13_08:00 reason=dumped
feeds run=R1 from=BT1
feeds run=R1 from=H-1 quantity=1 unit=kg since=2026-02-20_10:00
feeds run=R2 from=BT2
codes run=R2 date_code=Z since=2026-02-21_10:00
units unit=P-1 kind=pallet run=R1 quantity=80 first_at=2026-02-20_08:00 last_at=2026-02-20_09:58
units unit=P-2 kind=pallet run=R1 quantity=60
units unit=P-2 kind=pallet run=R2 quantity=20 first_at=2026-02-21_08:00 last_at=2026-02-21_08:30
`

func statements(t *testing.T, text string) []Statement {
	t.Helper()
	var out []Statement
	for line := range strings.Lines(text) {
		words := strings.Fields(line)
		if len(words) == 0 {
			continue
		}
		sheet, ok := lots.SheetNamed(words[0])
		require.True(t, ok, words[0])
		row := lots.Row{}
		for _, w := range words[1:] {
			name, value, _ := strings.Cut(w, "=")
			row[name] = strings.ReplaceAll(value, "_", " ")
		}
		out = append(out, Statement{Sheet: sheet, Row: row, By: "tester"})
	}
	return out
}

func create(t *testing.T) *DB {
	t.Helper()
	db, err := Create(context.Background(), filepath.Join(t.TempDir(), "test.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	return db
}

func enter(t *testing.T, db *DB, rows ...Statement) []int64 {
	t.Helper()
	var seqs []int64
	require.NoError(t, db.Update(context.Background(), func(tx *Tx) error {
		var faults lots.Faults
		var err error
		seqs, _, faults, err = tx.RecordRows(rows)
		require.Empty(t, faults)
		return err
	}))
	return seqs
}

func requireSound(t *testing.T, db *DB) {
	t.Helper()
	report, err := db.Audit(context.Background(), func(string) {})
	require.NoError(t, err)
	require.Empty(t, report.Differences)
	require.Positive(t, report.Compared)
}

// Entered one by one, in any order, amended, voided and restored: after every
// step records and lineage are what a rebuild from the journal gives.
func TestEveryOrderEqualsARebuild(t *testing.T) {
	for seed := range uint64(12) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			random := rand.New(rand.NewPCG(seed, 1))
			db := create(t)
			enter(t, db, statements(t, plant)...)
			rows := statements(t, acts)
			random.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
			entries := map[string]int64{}
			for _, row := range rows {
				entries[row.Row["transfer"]+row.Row["method"]+row.Row["lot"]] = enter(t, db, row)[0]
				requireSound(t, db)
			}
			correct := func(f func(tx *Tx) (int64, error)) (seq int64) {
				require.NoError(t, db.Update(context.Background(), func(tx *Tx) (err error) { seq, err = f(tx); return err }))
				requireSound(t, db)
				return seq
			}
			correct(func(tx *Tx) (int64, error) {
				return tx.Amend(entries["T1"], map[string]string{"started_at": "2026-02-09 22:00", "via": ""}, "read wrong", "tester")
			})
			void := correct(func(tx *Tx) (int64, error) { return tx.Void(entries["T3"], "never happened", "tester") })
			correct(func(tx *Tx) (int64, error) { return tx.Void(void, "it did", "tester") })
			correct(func(tx *Tx) (int64, error) { return tx.Void(entries["M-2"], "wrong silo", "tester") })
		})
	}
}

func TestRefusedRowsLeaveNothing(t *testing.T) {
	db := create(t)
	enter(t, db, statements(t, plant)...)
	for name, text := range map[string]string{
		"recorded already": "items item=MALT name=malt kind=malt unit=kg",
		"other kind":       "vessels vessel=MALT kind=silo",
		"unknown vessel":   "additions vessel=FX from=H-1 quantity=1 unit=kg at=2026-02-01",
		"wrong unit":       "additions vessel=FV from=H-1 quantity=1 unit=L at=2026-02-01",
	} {
		t.Run(name, func(t *testing.T) {
			good := "receipts lot=H-9 item=HOP supplier=SUP supplier_lot=h9 quantity=1 unit=kg received_at=2026-01-02\n"
			require.NoError(t, db.Update(context.Background(), func(tx *Tx) error {
				_, _, faults, err := tx.RecordRows(statements(t, good+text))
				require.Len(t, faults, 1)
				require.Equal(t, 2, faults[0].Line)
				return err
			}))
			require.NoError(t, db.View(context.Background(), func(tx *Tx) error {
				_, _, ok := tx.Introduces("H-9")
				require.False(t, ok)
				return nil
			}))
		})
	}
}

func TestJournalIsKept(t *testing.T) {
	db := create(t)
	enter(t, db, statements(t, plant)...)
	for _, q := range []string{
		"UPDATE journal SET by = 'x' WHERE seq = 1", "DELETE FROM journal WHERE seq = 1",
		"INSERT OR REPLACE INTO journal SELECT * FROM journal WHERE seq = 1",
	} {
		require.Error(t, db.Update(context.Background(), func(tx *Tx) error { return tx.exec(q) }), q)
	}
	require.NoError(t, db.Update(context.Background(), func(tx *Tx) error { // what somebody with SQL tools could do
		if err := tx.exec("DROP TRIGGER journal_keep"); err != nil {
			return err
		}
		return tx.exec("UPDATE journal SET by = 'somebody else' WHERE seq = 3")
	}))
	report, err := db.Audit(context.Background(), func(string) {})
	require.NoError(t, err)
	require.NotEmpty(t, report.Differences)
	require.Contains(t, report.Differences[0], "entry 3")
}

func TestAsKnown(t *testing.T) {
	db := create(t)
	clock := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	db.Now = func() time.Time { return clock }
	enter(t, db, statements(t, plant)...)
	clock = clock.Add(time.Hour)
	enter(t, db, statements(t, acts)[0])
	then, err := db.AsKnown(context.Background(), clock.Add(-time.Minute))
	require.NoError(t, err)
	path := then.Path()
	require.NoError(t, then.View(context.Background(), func(tx *Tx) error {
		_, _, ok := tx.Introduces("M-1")
		require.False(t, ok)
		_, _, ok = tx.Introduces("H-1")
		require.True(t, ok)
		return nil
	}))
	require.NoError(t, then.Close())
	_, err = os.Stat(filepath.Dir(path))
	require.ErrorIs(t, err, os.ErrNotExist, "a scratch database leaves nothing behind")
}

func TestOpenRefusesWhatIsNotOurs(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "text.db"), []byte(strings.Repeat("not a database ", 100)), 0o600))
	for _, path := range []string{"missing.db", "text.db", "."} {
		_, err := Open(context.Background(), filepath.Join(dir, path))
		require.Error(t, err, path)
		require.NotEqual(t, lots.Internal, lots.KindOf(err), "%s: %v", path, err)
	}
	_, err := os.Stat(filepath.Join(dir, "missing.db"))
	require.ErrorIs(t, err, os.ErrNotExist)
}

// An entry's hash covers each of its fields and the hash before it.
func TestHashCoversEveryField(t *testing.T) {
	entry := func() *Entry {
		return &Entry{Seq: 7, Kind: "amend", Target: 3, At: &lots.When{From: 10, To: 20}, Recorded: time.UnixMilli(99), By: "me", Body: "{}"}
	}
	whole, err := entry().hashOf([]byte("before"))
	require.NoError(t, err)
	other, err := entry().hashOf([]byte("else"))
	require.NoError(t, err)
	require.NotEqual(t, whole, other, "the hash before")
	for name, change := range map[string]func(*Entry){
		"seq": func(e *Entry) { e.Seq = 8 }, "kind": func(e *Entry) { e.Kind = "void" }, "target": func(e *Entry) { e.Target = 4 },
		"from": func(e *Entry) { e.At.From = 11 }, "to": func(e *Entry) { e.At.To = 21 }, "no time": func(e *Entry) { e.At = nil },
		"recorded": func(e *Entry) { e.Recorded = time.UnixMilli(98) }, "by": func(e *Entry) { e.By = "you" }, "body": func(e *Entry) { e.Body = "{ }" },
	} {
		e := entry()
		change(e)
		got, err := e.hashOf([]byte("before"))
		require.NoError(t, err)
		require.NotEqual(t, whole, got, name)
	}
}
