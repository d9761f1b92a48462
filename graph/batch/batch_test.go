package batch_test

import (
	"bytes"
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/batch"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

var ctx = context.Background()

// history is two turns in one fermenter, a dry hop, a bright tank on a hose with residue, and a run of cans with a change of ends.
const history = `
site name=Testbrew time_zone=Europe/Dublin volume_unit=hL
items item=HOP name=hop kind=hop unit=kg
items item=YEAST name=yeast kind=yeast unit=L
items item=END name=end kind=closure unit=each
parties party=SUP name=Grower role=supplier
parties party=D-1 name=One role=consignee
products product=CAN name=Pale container_ml=440 per_case=24
lines line=L1
vessels vessel=FV kind=fermenter unit=hL
vessels vessel=FV9 kind=fermenter unit=hL
vessels vessel=BT kind=bright unit=hL
vessels vessel=BT9 kind=bright unit=hL
vessels vessel=HOSE kind=path unit=L
receipts lot=H item=HOP supplier=SUP supplier_lot=h/26 quantity=10 unit=kg received_at=2026-01-02_08:00
receipts lot=H2 item=HOP supplier=SUP supplier_lot=h2/26 quantity=10 unit=kg received_at=2026-01-02_08:00
receipts lot=E1 item=END supplier=SUP supplier_lot=e1 quantity=9000 unit=each received_at=2026-01-02_08:00
receipts lot=E2 item=END supplier=SUP supplier_lot=e2 quantity=9000 unit=each received_at=2026-01-02_08:00
brews brew=B0 beer=Pale started_at=2025-12-01_08:00 cast_out_at=2025-12-01_14:00 into=FV9 volume=20 unit=hL
crops lot=Y item=YEAST vessel=FV9 quantity=40 unit=L at=2025-12-20_09:00
cleans vessel=FV at=2026-01-04_08:00 method=cip verified=yes by=Jo
cleans vessel=BT at=2026-01-30_08:00 method=cip verified=yes by=Jo
brews brew=B1 beer=Pale started_at=2026-01-05_08:00 cast_out_at=2026-01-05_14:00 into=FV volume=20 unit=hL
brews brew=B1b beer=Pale started_at=2026-01-05_16:00 cast_out_at=2026-01-05_22:00 into=FV volume=10 unit=hL
brew_inputs brew=B1 from=Y quantity=20 unit=L stage=pitch
brew_inputs brew=B1 from=H quantity=4 unit=kg stage=boil ref=use-1
brew_inputs brew=B1 from=H2 quantity=2 unit=kg stage=boil ref=use-2
additions vessel=FV from=H quantity=3 unit=kg at=2026-01-12_10:00 ref=dry
additions vessel=FV from=H2 quantity=1 unit=kg at=2026-01-13_10:00 ref=dry-2
additions vessel=FV from=H2 quantity=1 unit=kg at=2026-03-13_10:00 ref=later
cleans vessel=FV at=2026-02-27_08:00 method=cip verified=yes by=Jo
brews brew=B2 beer=Pale started_at=2026-02-28_08:00 cast_out_at=2026-03-01_14:00 into=FV volume=20 unit=hL
transfers transfer=T0 from=FV9 to=BT9 out=10 in=10 unit=hL started_at=2026-01-20_08:00 ended_at=2026-01-20_09:00 via=HOSE
transfers transfer=T1 from=FV to=BT out=19 in=18.5 unit=hL started_at=2026-02-01_08:00 ended_at=2026-02-01_09:00 via=HOSE
runs run=R1 product=CAN line=L1 started_at=2026-02-02_08:00 ended_at=2026-02-02_10:00 date_code=ONE good=3840 rejects=10
feeds run=R1 from=BT
feeds run=R1 from=E1 until=2026-02-02_09:00
feeds run=R1 from=E2 since=2026-02-02_09:00
units unit=P-1 kind=pallet run=R1 quantity=80
units unit=P-2 kind=pallet run=R1 quantity=70
shipments shipment=S1 unit=P-1 quantity=30 consignee=D-1 shipped_at=2026-02-10_09:00 document=BOL-1
shipments shipment=S2 unit=P-1 quantity=20 consignee=D-1 shipped_at=2026-02-11_09:00 document=BOL-2
shipments shipment=S3 unit=P-1 quantity=10 consignee=D-1 shipped_at=2026-02-12_09:00 document=BOL-3
counts subject=P-2 quantity=69 at=2026-02-21_09:00
`

// book is a database with the history, and the entry of each row that has a code or ref.
type book struct {
	t     *testing.T
	db    *store.DB
	entry map[string]int64
}

func recorded(t *testing.T) *book {
	t.Helper()
	db, err := store.Create(ctx, filepath.Join(t.TempDir(), "batch.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	db.Now = func() time.Time { return time.Date(2026, 3, 20, 9, 0, 0, 0, time.UTC) }
	b := &book{t: t, db: db, entry: map[string]int64{}}
	b.in(func(tx *store.Tx) {
		var rows []store.Statement
		for _, r := range histories.Written(history) {
			sheet, ok := lots.SheetNamed(r.Sheet)
			require.True(t, ok, r.Sheet)
			rows = append(rows, store.Statement{Sheet: sheet, Row: r.Row, By: "me"})
		}
		seqs, _, faults, err := tx.RecordRows(rows)
		require.NoError(t, err)
		require.Empty(t, faults)
		for i, seq := range seqs {
			for _, column := range []string{rows[i].Sheet.Code, "ref"} {
				if name := rows[i].Row[column]; name != "" {
					b.entry[name] = seq
				}
			}
		}
	})
	return b
}

func (b *book) in(f func(tx *store.Tx)) {
	b.t.Helper()
	require.NoError(b.t, b.db.Update(ctx, func(tx *store.Tx) error {
		f(tx)
		return tx.Err()
	}))
}

// record is a batch record as text on one line.
func (b *book) record(code string) (out string) {
	b.t.Helper()
	require.NoError(b.t, b.db.View(ctx, func(tx *store.Tx) error {
		d, err := batch.Record(tx, code, false)
		require.NoError(b.t, err)
		var w bytes.Buffer
		require.NoError(b.t, d.Plain(&w))
		out = strings.Join(strings.Fields(w.String()), " ")
		return nil
	}))
	return out
}

// between is the text of one section.
func between(t *testing.T, text, from, to string) string {
	t.Helper()
	_, rest, ok := strings.Cut(text, from)
	require.True(t, ok, from)
	part, _, ok := strings.Cut(rest, to)
	require.True(t, ok, to)
	return part
}

func says(t *testing.T, text string, want ...string) {
	t.Helper()
	for _, w := range want {
		require.Contains(t, text, w)
	}
}

// Each record has all that an auditor asks for, of the thing it is about.
func TestRecordIsWhole(t *testing.T) {
	b := recorded(t)
	for code, title := range map[string]string{"B1": "brew B1", "R1": "run R1", "P-1": "unit P-1"} {
		text := b.record(code)
		says(t, text, "Batch record of "+title, "Testbrew")
		says(t, between(t, text, "Lots that went into it", "Vessels it went"), "H ", "h/26", "SUP", "Y ", "by way of")
		says(t, between(t, text, "Yeast: the crops", "Package run R1"), "Y ", "FV9", "2025-12-20 09:00")
		run := between(t, text, "Package run R1", "Units ")
		says(t, run, "3840", "ONE", "E1", "E2", "2026-02-02 09:00", "Good, in whole cases: 160", "On units: 150", "On no unit: 10", "Filled, good and rejects: 16.94 hL")
		says(t, between(t, text, "Where they went", "Open findings"), "S1", "D-1", "30", "2026-02-10 09:00", "BOL-1")
		says(t, text, "Every entry it rests on", "Quality lead", "as known with entry")
	}
	says(t, between(t, b.record("B1"), "What the brew was made with", "Vessels it went"), "boil", "pitch")
	says(t, between(t, b.record("R1"), "Units ", "Where they went"), "unit: P-2 runs: R1 date codes: ONE packed: 70", "here: 70 counted: 69, 2026-02-21 09:00")
	says(t, between(t, b.record("R1"), "Cleans before and between", "Yeast:"), "BT 2026-01-30 08:00 cip yes Jo", "FV 2026-01-04 08:00 cip yes Jo", "FV9 no clean is recorded before 2025-12-01 14:00")
}

// A brew's record goes on after cast-out: tanks, what came to it there, cleans, and where it went; but what its yeast made is another brew's story.
func TestBrewGoesForward(t *testing.T) {
	b := recorded(t)
	text := b.record("B1")
	says(t, between(t, text, "Vessels it went through", "What was done"), "FV 2026-01-05 14:00 2026-01-05 22:00 20 hL in", "FV 2026-01-05 22:00 2026-01-12 10:00 30 hL in", "BT 2026-02-01 08:00 now 18.5 hL in")
	tanks := between(t, text, "What was done to it in tanks", "Cleans before")
	says(t, tanks, "Additions", "FV H 3 kg 2026-01-12 10:00", "dry-2", "Transfers", "transfer: T1 from: FV to: BT out: 19 in: 18.5 unit: hL started at: 2026-02-01 08:00")
	require.NotContains(t, tanks, "later", "it had left by then")
	require.NotContains(t, tanks, "T0")
	says(t, between(t, text, "Cleans before", "Yeast:"), "FV 2026-01-04 08:00 cip", "BT 2026-01-30 08:00 cip")
	says(t, between(t, b.record("B1"), "Other turns in the same tank", "Additions"), "B1b")
	second := between(t, b.record("B1b"), "Other turns in the same tank", "Additions")
	says(t, second, "B1 ", "2026-01-05 14:00")
	require.NotContains(t, second, "B1b")
	parent := b.record("B0")
	says(t, between(t, parent, "Vessels it went through", "What was done"), "FV9 2025-12-01 14:00 now 20 hL", "BT9 2026-01-20 08:00 now 10 hL")
	says(t, between(t, parent, "What was done to it in tanks", "Cleans before"), "Yeast taken", "Y YEAST FV9 40 L", "T0")
	for _, other := range []string{"P-1", "R1", "BT "} {
		require.NotContains(t, parent, other)
	}
	says(t, parent, "Nothing was packed from it.")
}

// Volumes stand in the unit that the site reckons in; what beer only passes through has none.
func TestVolumesInTheSitesUnit(t *testing.T) {
	vessels := between(t, recorded(t).record("R1"), "Vessels it went through", "Cleans before")
	says(t, vessels, "FV 2026-01-05 14:00 2026-01-05 22:00 20 hL in", "FV 2026-01-05 22:00 2026-01-12 10:00 30 hL in", "BT 2026-02-01 08:00 now 18.5 hL in")
	says(t, vessels, "HOSE 2026-01-20 08:00 2026-01-20 09:00 possible")
}

// What was taken back or moved away stays in the record of what it named, with the reason.
func TestCorrectionsAreShown(t *testing.T) {
	b := recorded(t)
	b.in(func(tx *store.Tx) {
		for name, reason := range map[string]string{"S1": "never left", "use-2": "was the other brew", "dry-2": "typed twice", "later": "other tank"} {
			_, err := tx.Void(b.entry[name], reason, "Ines")
			require.NoError(t, err)
		}
		_, err := tx.Amend(b.entry["S2"], map[string]string{"unit": "P-2"}, "wrong pallet scanned", "Ines")
		require.NoError(t, err)
		_, err = tx.Amend(b.entry["use-1"], map[string]string{"quantity": "4.5"}, "weighed again", "Ines")
		require.NoError(t, err)
	})
	for code, want := range map[string][]string{
		"P-1": {"shipment, void", "never left", "shipment, moved away", "wrong pallet scanned", "(unit P-2)", "was the other brew", "weighed again", "typed twice"},
		"R1":  {"shipment, void", "never left", "wrong pallet scanned", "brew input, void", "was the other brew", "addition, void", "typed twice"},
		"B1":  {"brew input, void", "was the other brew", "weighed again", "reason weighed again; set (quantity 4.5)"},
	} {
		text := b.record(code)
		says(t, text, want...)
		require.NotContains(t, text, "other tank", "what came into the tank after it had left is another beer's")
	}
	require.NotContains(t, between(t, b.record("R1"), "Every entry it rests on", "Reviewed"), ", moved away", "both pallets are the run's")
	require.NotContains(t, b.record("P-2"), "never left", "that shipment was of the other pallet")
	says(t, b.record("P-2"), "wrong pallet scanned")
}

// An entry reads in the order of its sheet's columns, so that two of a kind can be compared.
func TestEntriesReadInOrder(t *testing.T) {
	says(t, recorded(t).record("P-1"), "shipment S3; unit P-1; quantity 10; consignee D-1; shipped at 2026-02-12 09:00; document BOL-3")
}

func TestRefusals(t *testing.T) {
	b := recorded(t)
	require.NoError(t, b.db.View(ctx, func(tx *store.Tx) error {
		_, err := batch.Record(tx, "H", false)
		require.ErrorContains(t, err, "a batch record is of a brew, a run or a unit")
		_, err = batch.Record(tx, "P-3", false)
		require.ErrorContains(t, err, "P-1")
		return nil
	}))
}
