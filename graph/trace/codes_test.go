package trace_test

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

// floor is a packaging floor played through case by case: what is on each pallet, by the code on each case.
type floor struct {
	text   string
	packed map[string][]string // codes on the cases, as packed
	left   map[string][]string
	order  []string
}

func newFloor() *floor {
	f := &floor{packed: map[string][]string{}, left: map[string][]string{}, text: `
site name=Test time_zone=UTC
vessels vessel=FV kind=fermenter unit=L
products product=P name=P container_ml=440 per_case=24
brews brew=B beer=Pale started_at=2026-01-01_06:00 cast_out_at=2026-01-01_12:00 into=FV volume=900000 unit=L
`}
	for i := range 3 {
		code := fmt.Sprintf("C%d", i)
		f.text += fmt.Sprintf("runs run=R%d product=P started_at=2026-02-0%d_08:00 ended_at=2026-02-0%d_09:00 date_code=%s good=480\nfeeds run=R%d from=FV\n", i, i+1, i+1, code, i)
		f.pack(fmt.Sprintf("P%d", i), fmt.Sprintf("R%d", i), slices.Repeat([]string{code}, 20))
	}
	return f
}

func (f *floor) pack(unit, run string, cases []string) {
	f.text += fmt.Sprintf("units unit=%s kind=stack run=%s quantity=%d\n", unit, run, len(cases))
	f.packed[unit], f.left[unit] = cases, slices.Clone(cases)
	f.order = append(f.order, unit)
}

// restack takes some cases, whichever come to hand, and puts them on one or two pallets in any order.
func (f *floor) restack(t *rapid.T, n int) {
	run := fmt.Sprintf("V%d", n)
	var pool []string
	feeds := ""
	for _, unit := range f.order {
		if len(f.left[unit]) == 0 || rapid.IntRange(0, 2).Draw(t, "take") > 0 {
			continue
		}
		k := len(f.left[unit])
		if rapid.Bool().Draw(t, "part") {
			k = rapid.IntRange(1, k).Draw(t, "k")
		}
		mixed := rapid.Permutation(f.left[unit]).Draw(t, "cases")
		pool, f.left[unit] = append(pool, mixed[:k]...), mixed[k:]
		feeds += fmt.Sprintf("feeds run=%s from=%s quantity=%d unit=case\n", run, unit, k)
	}
	if len(pool) == 0 {
		return
	}
	f.text += fmt.Sprintf("runs run=%s product=P started_at=2026-03-%02d_08:00 ended_at=2026-03-%02d_09:00 good=%d\n", run, n+1, n+1, 24*len(pool)) + feeds
	pool = rapid.Permutation(pool).Draw(t, "pool")
	cut := len(pool)
	if len(pool) > 1 && rapid.Bool().Draw(t, "two") {
		cut = rapid.IntRange(1, len(pool)-1).Draw(t, "cut")
		f.pack(run+"b", run, pool[cut:])
	}
	f.pack(run+"a", run, pool[:cut])
}

// TestCodesOnRestackedPallets holds the codes that stand on restacked pallets against floors played through case by
// case: every code is named, none stands on more cases than it may, and where the records tell how many there are so many.
func TestCodesOnRestackedPallets(t *testing.T) {
	dir, n, exact, mixed := t.TempDir(), 0, 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		f := newFloor()
		for i := range rapid.IntRange(1, 5).Draw(rt, "restacks") {
			f.restack(rt, i)
		}
		n++
		ctx := context.Background()
		db, err := store.Create(ctx, filepath.Join(dir, fmt.Sprintf("%d.db", n)))
		require.NoError(rt, err)
		defer func() { require.NoError(rt, db.Discard()) }()
		require.NoError(rt, db.Update(ctx, func(tx *store.Tx) error {
			var rows []store.Statement
			for _, r := range histories.Entered(histories.Written(f.text)) {
				rows = append(rows, store.Statement{Sheet: r.Sheet, Row: r.Row, By: "me"})
			}
			_, _, faults, err := tx.RecordRows(rows)
			require.Empty(rt, faults)
			for unit, cases := range f.packed {
				e, m := compare(rt, tx, unit, cases)
				exact, mixed = exact+e, mixed+m
			}
			return err
		}))
	})
	require.Positive(t, exact)
	require.Positive(t, mixed)
}

// compare looks at one unit; it counts the codes of which the records tell the number, and those on parts of units.
func compare(rt *rapid.T, tx *store.Tx, unit string, cases []string) (exact, mixed int) {
	stand := map[string]int64{}
	for _, c := range cases {
		stand[c]++
	}
	for _, p := range trace.ByCode(trace.CodePartsOf(tx, unit)) {
		have := stand[p.Code]
		delete(stand, p.Code)
		require.LessOrEqual(rt, have, p.AtMost, "%s %s", unit, p.Code)
		require.LessOrEqual(rt, p.AtMost, p.Of, "%s %s", unit, p.Code)
		require.Equal(rt, int64(len(cases)), p.Of)
		require.Equal(rt, graph.In.String(), p.Band)
		if p.Sure() {
			require.InDelta(rt, have, *p.Cases, 1e-6, "%s %s", unit, p.Code)
			exact++
		}
		if p.AtMost < p.Of {
			mixed++
		}
	}
	require.Empty(rt, stand, "codes on %s that are not named", unit)
	return exact, mixed
}

// A pack of several products may have some of each in every case; what is one of several may not be there at all; and a
// repack that printed for a while bears its own code and the others.
func TestCodesOfOddRepacks(t *testing.T) {
	db := open(t, `
		site: name, time_zone
		Test, UTC
		vessels: vessel, kind, unit
		FV, fermenter, L
		products: product, name, container_ml, per_case
		A, A, 440, 24
		B, B, 440, 24
		MIX, Mix, 440, 24
		brews: brew, beer, started_at, cast_out_at, into, volume, unit
		BR, Pale, 2026-01-01 06:00, 2026-01-01 12:00, FV, 90000, L
		runs: run, product, started_at, ended_at, date_code, good
		RA, A, 2026-02-01 08:00, 2026-02-01 10:00, CA, 480
		RB, B, 2026-02-02 08:00, 2026-02-02 10:00, CB, 480
		V1, MIX, 2026-03-01 08:00, 2026-03-01 10:00, , 480
		V2, A, 2026-03-02 08:00, 2026-03-02 10:00, , 240
		V3, A, 2026-03-03 08:00, 2026-03-03 10:00, , 120
		codes: run, date_code, since
		V3, NEW, 2026-03-03 09:00
		feeds: run, from, quantity, unit
		RA, FV, ,
		RB, FV, ,
		V1, PA, 5, case
		V1, PB, 10, case
		V2, PA|PB, 10, case
		V3, PA, 5, case
		units: unit, kind, run, quantity
		PA, stack, RA, 20
		PB, stack, RB, 20
		U1, stack, V1, 15
		U2, stack, V2, 10
		U3, stack, V3, 5
	`)
	require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
		for unit, want := range map[string]string{
			"U1": "CA (at most 15 of 15 cases), CB (at most 15 of 15 cases)",
			"U2": "CA (at most 10 of 10 cases), CB (at most 10 of 10 cases)",
			"U3": "CA (at most 5 of 5 cases), NEW (at most 5 of 5 cases)",
		} {
			require.Equal(t, want, trace.CodesText(trace.CodePartsOf(tx, unit), "case"), unit)
		}
		require.Equal(t, graph.Possible.String(), trace.CodePartsOf(tx, "U2")[0].Band)
		run, _ := tx.Run("V3")
		require.Equal(t, []string{"CA", "NEW"}, trace.CodesOfRun(tx, run))
		return nil
	}))
}
