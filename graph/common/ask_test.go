package common_test

import (
	"context"
	"fmt"
	"maps"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/common"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

// sold writes a history: 40 brews in a tank each, with one of five hops and one of eight yeasts, packed on
// three pallets each, that one of six consignees received. It gives the pallets behind each lot and brew.
func sold(r *rand.Rand) (text string, behind map[string][]string) {
	var b strings.Builder
	b.WriteString("site name=Test time_zone=UTC\nitems item=HOP name=hop kind=hop unit=kg\nitems item=YEAST name=y kind=yeast unit=L\nparties party=SUP name=s role=supplier\nproducts product=P name=p container_ml=440 per_case=24\n")
	for i := range 6 {
		fmt.Fprintf(&b, "parties party=D-%d name=d role=consignee channel=retailer\n", i)
	}
	for i := range 5 {
		fmt.Fprintf(&b, "receipts lot=H-%d item=HOP supplier=SUP supplier_lot=h%d quantity=100 unit=kg received_at=2026-01-02_08:00\n", i, i)
	}
	for i := range 8 {
		fmt.Fprintf(&b, "receipts lot=Y-%d item=YEAST supplier=SUP supplier_lot=y%d quantity=100 unit=L received_at=2026-01-02_08:00\n", i, i)
	}
	behind = map[string][]string{}
	for i := range 40 {
		hop, yeast, day := fmt.Sprintf("H-%d", r.IntN(5)), fmt.Sprintf("Y-%d", r.IntN(8)), fmt.Sprintf("2026-%02d-%02d", 2+i/20, 1+i%20)
		fmt.Fprintf(&b, "vessels vessel=T%d kind=fermenter unit=L\nbrews brew=B-%d beer=x started_at=%s_01:00 cast_out_at=%s_05:00 into=T%d volume=1000 unit=L\n", i, i, day, day, i)
		fmt.Fprintf(&b, "brew_inputs brew=B-%d from=%s quantity=2 unit=kg\nbrew_inputs brew=B-%d from=%s quantity=2 unit=L\n", i, hop, i, yeast)
		fmt.Fprintf(&b, "runs run=R-%d product=P started_at=%s_08:00 ended_at=%s_09:00 date_code=X%d good=720\nfeeds run=R-%d from=T%d\n", i, day, day, i, i, i)
		for k := range 3 {
			unit, party := fmt.Sprintf("P-%d-%d", i, k), fmt.Sprintf("D-%d", r.IntN(6))
			fmt.Fprintf(&b, "units unit=%s kind=pallet run=R-%d quantity=10 place=store\nshipments shipment=S-%s unit=%s quantity=10 consignee=%s shipped_at=%s_15:00\n", unit, i, unit, unit, party, day)
			for _, code := range []string{"lot " + hop, "lot " + yeast, fmt.Sprintf("brew B-%d", i), "consignee " + party} {
				behind[code] = append(behind[code], unit)
			}
		}
	}
	return b.String(), behind
}

// Planted causes in a recorded history, asked as a person asks: complaints of three to six pallets of what
// is at fault, and a clean sample of another pallet.
func TestPlantedCausesInARecordedHistory(t *testing.T) {
	ctx := context.Background()
	r := rand.New(rand.NewPCG(5, 7))
	text, behind := sold(r)
	db, err := store.Create(ctx, filepath.Join(t.TempDir(), "c.db"))
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	require.NoError(t, db.Update(ctx, func(tx *store.Tx) error {
		var rows []store.Statement
		for _, row := range histories.Written(text) {
			sheet, ok := lots.SheetNamed(row.Sheet)
			require.True(t, ok, row.Sheet)
			rows = append(rows, store.Statement{Sheet: sheet, Row: row.Row, By: "me"})
		}
		_, _, faults, err := tx.RecordRows(rows)
		require.Empty(t, faults)
		return err
	}))
	first, trials := 0, 0
	for _, code := range slices.Sorted(maps.Keys(behind)) {
		units := behind[code]
		if len(units) < 3 || strings.HasPrefix(code, "consignee") {
			continue
		}
		trials++
		q := common.Question{Days: 90}
		for _, at := range r.Perm(len(units))[:min(len(units), 3+r.IntN(4))] {
			q.Bad = append(q.Bad, units[at])
		}
		for at := 0; len(q.Good) < 1; at++ {
			if u := fmt.Sprintf("P-%d-0", at); !slices.Contains(units, u) {
				q.Good = []string{u}
			}
		}
		var a *common.Answer
		require.NoError(t, db.View(ctx, func(tx *store.Tx) (err error) {
			a, err = common.Ask(tx, q)
			return err
		}))
		require.Equal(t, 120, a.Population)
		require.Equal(t, len(q.Bad), a.Distinct)
		require.False(t, a.TooFew)
		require.Greater(t, a.Tested, 120)
		if slices.Contains(a.Groups[0].Codes, code) {
			first++
		}
	}
	t.Logf("%d planted causes in a recorded history: first %.0f %%", trials, 100*float64(first)/float64(trials))
	require.Equal(t, 53, trials)
	require.GreaterOrEqual(t, float64(first), 0.85*float64(trials))
}
