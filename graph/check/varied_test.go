package check_test

import (
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// ways are things that a brewery may do otherwise and that no rule may find fault with.
var ways = map[string]func(b *brewery, batches int){
	"malt from a silo": func(b *brewery, batches int) {
		for i := range batches {
			b.set("receipts", b.where("receipts", "lot", fmt.Sprintf("M-%d", i)), "into", "SILO")
			b.set("receipts", b.where("receipts", "lot", fmt.Sprintf("M-%d", i)), "place", "")
		}
		for k := range b.lines {
			if l := b.lines[k]; l.sheet == "brew_inputs" && l.row["stage"] == "mash" {
				l.row["from"] = "SILO"
			}
		}
	},
	"yeast from the batch before": func(b *brewery, batches int) {
		for i := 1; i < batches; i++ {
			day := 7 * (i - 1)
			b.add(day+3, "crops", "lot", fmt.Sprintf("YC-%d", i), "item", "YEAST", "vessel", fmt.Sprintf("FV%d", (i-1)%2+1), "quantity", "10", "unit", "kg", "at", b.at(day+3, 11, 9))
			n := b.where("brew_inputs", "from", fmt.Sprintf("Y-%d", i))
			b.set("brew_inputs", n, "from", fmt.Sprintf("YC-%d", i))
			b.set("brew_inputs", n, "quantity", "8")
			b.set("brew_inputs", n, "unit", "kg")
		}
	},
	"two lots of cans in a run": func(b *brewery, batches int) {
		for i := range batches {
			day, lot := 7*i+4, fmt.Sprintf("CX-%d", i)
			b.add(7*i, "receipts", "lot", lot, "item", "CAN", "supplier", "SUP", "supplier_lot", fmt.Sprintf("A%03d8", 7*i+100), "quantity", "1400", "unit", "each", "received_at", b.at(7*i, 9, 21), "carrier", "Quernholt Haulage", "document", fmt.Sprintf("DN-%d", i), "place", "store")
			n := b.where("feeds", "from", fmt.Sprintf("C-%d", i))
			b.set("feeds", n, "quantity", "1200")
			b.set("feeds", n, "until", b.at(day, 10, 34))
			b.add(day, "feeds", "run", fmt.Sprintf("R-%d", i), "from", lot, "since", b.at(day, 10, 34))
		}
	},
	"a hose that is cleaned": func(b *brewery, batches int) {
		b.add(0, "vessels", "vessel", "HOSE", "kind", "path")
		for i := range batches {
			b.set("transfers", i, "via", "HOSE")
			b.add(7*i+4, "cleans", "vessel", "HOSE", "at", b.at(7*i+4, 9, 17), "method", "cip")
		}
	},
	"held until it was tasted": func(b *brewery, batches int) {
		for i := range batches {
			day := 7*i + 4
			b.add(day, "holds", "subject", fmt.Sprintf("R-%d", i), "at", b.at(day, 11, 11), "reason", "to be tasted", "by", "Quint",
				"released_at", b.at(day, 13, 37), "released_by", "Quint", "release_reason", "tasted")
		}
	},
	"some come back and go out again": func(b *brewery, batches int) {
		for i := range batches {
			day, unit := 7*i+5, fmt.Sprintf("P-%d", i)
			b.add(day, "returns", "return", fmt.Sprintf("UR-%d", i), "unit", unit, "quantity", "5", "consignee", "D-1", "returned_at", b.at(day, 9, 1), "state", "full")
			b.add(day, "holds", "subject", unit, "at", b.at(day, 9, 2), "reason", "came back", "by", "Quint", "released_at", b.at(day, 11, 3), "released_by", "Quint", "release_reason", "sound")
			b.add(day, "shipments", "shipment", fmt.Sprintf("SR-%d", i), "unit", unit, "quantity", "5", "consignee", "D-2", "shipped_at", b.at(day, 15, 4), "carrier", "own van")
		}
	},
	"two tanks into one on one morning": func(b *brewery, batches int) {
		b.add(0, "vessels", "vessel", "FV3", "kind", "fermenter", "capacity", "30", "unit", "hL")
		b.add(0, "cleans", "vessel", "FV3", "at", b.at(0, 6, 44), "method", "cip")
		b.add(1, "brews", "brew", "B-X", "beer", "Pale", "started_at", b.at(1, 13, 11), "cast_out_at", b.at(1, 18, 17), "into", "FV3", "volume", "5", "unit", "hL", "plato", "12")
		b.add(1, "brew_inputs", "brew", "B-X", "from", b.find("brew_inputs", 0).row["from"], "quantity", "95", "unit", "kg", "stage", "mash")
		b.add(1, "brew_inputs", "brew", "B-X", "from", "H-0", "quantity", "1", "unit", "kg", "stage", "boil")
		b.add(1, "brew_inputs", "brew", "B-X", "from", "Y-0", "quantity", "5", "unit", "L", "stage", "pitch")
		b.add(4, "transfers", "transfer", "T-X", "from", "FV3", "to", "BT1", "out", "5", "in", "5", "unit", "hL", "started_at", b.at(4, 9, 11), "ended_at", b.at(4, 9, 34))
	},
}

// A clean history fires nothing, whatever its size and whatever it does otherwise.
func TestCleanHistoriesFireNothing(t *testing.T) {
	dir := t.TempDir()
	n := 0
	check := func(rt require.TestingT, b *brewery) {
		n++
		r := b.check(rt, filepath.Join(dir, fmt.Sprintf("%d.db", n)))
		require.Empty(rt, r.Hits)
		require.InDelta(rt, 100, r.Headline.Cases.Backwards, 1e-9)
		require.True(rt, r.Headline.Kegs.Quantity == 0 || r.Headline.Kegs.Backwards > 100-1e-9)
		require.InDelta(rt, 100, r.Headline.Forwards, 1e-9)
		require.Positive(rt, r.Headline.ChainUnits)
	}
	for _, name := range slices.Sorted(maps.Keys(ways)) {
		way := ways[name]
		b := clean(3, 2, true)
		way(b, 3)
		t.Run(name, func(t *testing.T) { check(t, b) })
	}
	rapid.Check(t, func(rt *rapid.T) {
		batches := rapid.IntRange(1, 4).Draw(rt, "batches")
		b := cleanFrom(time.Date(2026, 2, 2, 0, rapid.IntRange(0, 9).Draw(rt, "minutes"), 0, 0, time.UTC), batches, rapid.IntRange(1, 2).Draw(rt, "turns"), rapid.Bool().Draw(rt, "kegs"))
		for _, name := range slices.Sorted(maps.Keys(ways)) {
			way := ways[name]
			if rapid.Bool().Draw(rt, name) {
				way(b, batches)
			}
		}
		check(rt, b)
	})
}
