package blank_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/blank"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

const house = `
site name=Test time_zone=UTC volume_unit=hL
items item=MALT name=pale_malt kind=malt unit=kg
items item=END name=can_end kind=closure unit=each
parties party=S-01 name=Marrow role=supplier
vessels vessel=FV-1 kind=fermenter
lines line=CANS
products product=PALE name=Pale container_ml=440 per_case=24
receipts lot=L-1 item=MALT supplier=S-01 supplier_lot=1 quantity=500 unit=kg received_at=2026-03-01_08:00
receipts lot=L-2 item=END supplier=S-01 supplier_lot=2 quantity=5000 unit=each received_at=2026-03-01_08:00
brews brew=B-1 beer=Pale started_at=2026-03-02_07:00 cast_out_at=2026-03-02_13:00 into=FV-1 volume=19 unit=hL
brew_inputs brew=B-1 from=L-1 quantity=300 unit=kg stage=mash
runs run=R-1 product=PALE line=CANS started_at=2026-03-10_08:00 ended_at=2026-03-10_10:00 date_code=TEN good=2400
feeds run=R-1 from=FV-1
feeds run=R-1 from=L-2
`

// sheet makes a blank sheet of the house, as text; where HEELTAP_SHOTS names a folder its PDF is kept there to be looked at.
func sheet(t *testing.T, tx *store.Tx, name, about string) string {
	t.Helper()
	doc, err := blank.Of(tx, name, about)
	require.NoError(t, err)
	var text, pdf bytes.Buffer
	require.NoError(t, doc.Plain(&text))
	require.NoError(t, doc.PDF(&pdf))
	require.True(t, bytes.HasPrefix(pdf.Bytes(), []byte("%PDF-")))
	if folder := os.Getenv("HEELTAP_SHOTS"); folder != "" {
		require.NoError(t, os.WriteFile(filepath.Join(folder, "blank-"+name+about+".pdf"), pdf.Bytes(), 0o644))
	}
	return strings.ToLower(text.String())
}

func opened(t *testing.T) *store.DB {
	db, err := store.Create(context.Background(), filepath.Join(t.TempDir(), "t.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		var rows []store.Statement
		for _, r := range histories.Entered(histories.Written(house)) {
			rows = append(rows, store.Statement{Sheet: r.Sheet, Row: r.Row, By: "test"})
		}
		_, _, faults, err := tx.RecordRows(rows)
		require.Empty(t, faults)
		return err
	}))
	return db
}

// Every sheet asks what its rows need, names what it is about, and never a lot.
func TestSheetsAskWhatTheirRowsNeed(t *testing.T) {
	require.NoError(t, opened(t).View(context.Background(), func(tx *store.Tx) error {
		for name, want := range map[string][]string{
			"delivery": {"supplier's lot", "quantity", "unit", "best by", "delivery note"}, "brew Pale": {"pale malt", "mash-in", "cast-out", "lot or vessel", "stage"},
			"vessel FV-1": {"fv-1", "8.44 hl", "arrived", "verified?", "crops", "emptied is no clean"}, "run R-1": {"r-1", "can end", "ten", "rejected", "since"},
			"loading": {"consignee", "carrier", "cases or kegs"}, "count": {"counted", "unit", "place"},
		} {
			name, about, _ := strings.Cut(name, " ")
			text := sheet(t, tx, name, about)
			for _, w := range append(want, "typed in on", "time") {
				require.Contains(t, text, w, name)
			}
			require.NotContains(t, text, "l-1")
			require.NotContains(t, text, "l-2")
		}
		return nil
	}))
}

// A sheet about nothing is about any; about what does not exist it is refused.
func TestSheetsAboutNothing(t *testing.T) {
	require.NoError(t, opened(t).View(context.Background(), func(tx *store.Tx) error {
		for _, s := range blank.Sheets() {
			sheet(t, tx, s.Name, "")
		}
		for _, bad := range [][2]string{{"none", ""}, {"vessel", "FV-9"}, {"vessel", "L-1"}, {"run", "FV-1"}} {
			_, err := blank.Of(tx, bad[0], bad[1])
			require.Equal(t, lots.NotFound, lots.KindOf(err), "%v", bad)
		}
		return nil
	}))
}
