package desk_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/desk"
	"heeltap/lots/store"
)

// TestNumbersAreNotJoined reads codes and names however they are marked, but never joins digits that a mark
// parts: FV11 is another tank than FV-1-1, also where it is not recorded yet.
func TestNumbersAreNotJoined(t *testing.T) {
	for _, c := range []struct{ row, column, code, fault string }{
		{"cleans vessel=fv-1-1 at=2026-03-12 method=cip", "vessel", "FV-1-1", ""},
		{"cleans vessel=FV_1/1 at=2026-03-12 method=cip", "vessel", "FV-1-1", ""},
		{"cleans vessel=FV01-01 at=2026-03-12 method=cip", "vessel", "FV-1-1", ""},
		{"cleans vessel=FV11 at=2026-03-12 method=cip", "vessel", "", `there is no vessel or line "FV11"; did you mean FV-1-1?`},
		{"cleans vessel=fv_11 at=2026-03-12 method=cip", "vessel", "", "did you mean FV-1-1?"},
		{"cleans vessel=FV-011 at=2026-03-12 method=cip", "vessel", "", "did you mean FV-1-1?"},
		{"additions vessel=FV-1-1 from=silo-2 quantity=1 unit=kg at=2026-03-12", "from", "SILO 02", ""},
		{"additions vessel=FV-1-1 from=silo_0-2 quantity=1 unit=kg at=2026-03-12", "from", "", "did you mean SILO 02"},
		{"shipments unit=p_1_1 quantity=1 consignee=D-01", "unit", "P-1-1", ""},
		{"shipments unit=P11 quantity=1 consignee=D-01", "unit", "", "did you mean P-1-1?"},
		{"shipments unit=pallet_P11 quantity=1 consignee=D-01", "unit", "", "there is no unit"},
		{"shipments unit=keg_k_1_1 quantity=1 consignee=D-01", "unit", "K-1-1/R-2", ""},
		{"shipments unit=K11 quantity=1 consignee=D-01", "unit", "", "there is no unit"},
		{"additions vessel=FV-1-1 from=L260001 quantity=1 unit=kg at=2026-03-12", "from", "", "did you mean L26-0001"},
		{"additions vessel=FV-1-1 from=wh_24_117 quantity=1 unit=kg at=2026-03-12", "from", "L26-0001", ""},
		{"feeds run=R11 from=FV-1-1", "run", "", "did you mean R-1-1?"},
		{"receipts item=roast_1_1 supplier=S-01 supplier_lot=7 quantity=1", "item", "ROAST", ""},
		{"receipts item=roast_11 supplier=S-01 supplier_lot=7 quantity=1", "item", "", "did you mean Roast 1-1 (ROAST)"},
		{"receipts item=MALT supplier=s1 supplier_lot=7 quantity=1", "supplier", "S-01", ""},
		{"receipts item=MALT supplier=s0-1 supplier_lot=7 quantity=1", "supplier", "", "did you mean Marrow & Thatch (S-01)"},
	} {
		t.Run(c.row, func(t *testing.T) {
			inHouse(t, func(tx *store.Tx) {
				said, err := desk.Record(tx, act(c.row))
				if c.fault != "" {
					require.ErrorContains(t, err, c.fault)
					return
				}
				require.NoError(t, err)
				row, ok := tx.Row(said.Entry)
				require.True(t, ok)
				require.Equal(t, c.code, row.Row[c.column])
			})
		})
	}
}

// TestCorrectionsJoinNoNumbers keeps a correction, too, from another thing than the one that was typed.
func TestCorrectionsJoinNoNumbers(t *testing.T) {
	for typed, means := range map[string]string{"fv 1 1": "FV-1-1", "FV11": "FV11", "p 1 1": "P-1-1", "P11": "P11", "tank FV11": "tank FV11"} {
		inHouse(t, func(tx *store.Tx) {
			code, err := desk.Subject(tx, typed)
			require.NoError(t, err)
			require.Equal(t, means, code)
		})
	}
	inHouse(t, func(tx *store.Tx) {
		_, err := desk.Amend(tx, desk.Change{Name: "FV11", Reason: "misread", By: "Ines"}, map[string]string{"kind": "bright"})
		require.ErrorContains(t, err, `no row is called "FV11"; the nearest are: FV-1-1`)
	})
}

// TestWhatATextMeans reads a cell in the closest way that means anything, and guesses nothing that can mean several things.
func TestWhatATextMeans(t *testing.T) {
	const named = `
items item=ACID name=lactic_acid,_80_% kind=acid unit=kg
items item=MALT-2 name=Pale_malt kind=malt unit=kg
items item=MUN name=Munich_malt kind=malt unit=kg
vessels vessel=SILO-2 kind=silo
parties party=D-02 name=Marrow_Inns role=consignee
parties party=D-03 name=Marrow_Inns role=supplier
`
	for _, c := range []struct{ column, text, code, fault string }{
		{"item", "ROAST", "ROAST", ""},
		{"item", "http://192.168.1.5:8417/t/ROAST", "ROAST", ""},
		{"item", "roast", "ROAST", ""},
		{"item", "munich MALT", "MUN", ""},
		{"item", "lactic acid", "ACID", ""},
		{"item", "pale malt", "", `item: "pale malt" can mean pale malt (MALT) or Pale malt (MALT-2): give the code`},
		{"item", "munich", "", `there is no item "munich"; did you mean Munich malt (MUN)?`},
		{"item", "munihc malt", "", "did you mean Munich malt (MUN)"},
		{"item", "FV-1-1", "", "item: FV-1-1 is a vessel; this needs an item"},
		{"item", "zzzzzzzz", "", `there is no item "zzzzzzzz": record it first`},
		{"supplier", "marrow and thatch", "S-01", ""},
		{"supplier", "marrow inns", "D-03", ""},
		{"supplier", "s1", "S-01", ""},
		{"into", "silo 002", "", `"silo 002" can mean SILO 02 or SILO-2: give the code`},
	} {
		t.Run(c.column+" "+c.text, func(t *testing.T) {
			inHouse(t, func(tx *store.Tx) {
				_, _, faults, err := tx.RecordRows(statements(named))
				require.NoError(t, err)
				require.Empty(t, faults)
				a := act("receipts item=MUN supplier=S-01 supplier_lot=7 quantity=1")
				a.Row[c.column] = c.text
				said, err := desk.Record(tx, a)
				if c.fault != "" {
					require.ErrorContains(t, err, c.fault)
					return
				}
				require.NoError(t, err)
				row, _ := tx.Row(said.Entry)
				require.Equal(t, c.code, row.Row[c.column])
			})
		})
	}
}
