package check_test

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/check"
	"heeltap/lots/store"
)

// looked changes a clean history of three batches of two turns with kegs, and gives the hits by rule.
func looked(t *testing.T, change func(b *brewery)) map[string][]check.Hit {
	t.Helper()
	if testing.Short() {
		t.Skip("records a history for each case")
	}
	b := clean(3, 2, true)
	change(b)
	out := map[string][]check.Hit{}
	for _, h := range b.check(t, filepath.Join(t.TempDir(), "x.db")).Hits {
		out[h.Rule] = append(out[h.Rule], h)
	}
	return out
}

// codes lists what a rule's hits are on, in order.
func codes(hits []check.Hit) (out []string) {
	for _, h := range hits {
		out = append(out, h.Code)
	}
	return out
}

// What went into a thing by content holds it too: each act is told once, but none before the hold, none
// after the release of what was taken or of the hold, and none that a named override let through.
func TestHoldsAreInherited(t *testing.T) {
	hold := func(b *brewery, subject, at string, cells ...string) {
		b.add(4, "holds", append([]string{"subject", subject, "at", at, "reason", "glass", "by", "Quint"}, cells...)...)
	}
	hits := looked(t, func(b *brewery) { hold(b, "R-0", b.at(4, 12, 0)) })["used-while-stopped"]
	require.Equal(t, []string{"P-0"}, codes(hits), "the run's pallet was shipped")
	require.Contains(t, hits[0].Text, "while it was on hold by R-0 (glass)")
	require.Equal(t, []string{"BT1", "BT1", "FV1", "K1/K-0", "P-0"}, codes(byCode(looked(t, func(b *brewery) { hold(b, "FV1", b.at(4, 7, 30)) })["used-while-stopped"])),
		"the transfer, two runs and two shipments")
	require.Empty(t, looked(t, func(b *brewery) { hold(b, "R-0", b.at(4, 15, 0)) })["used-while-stopped"], "shipped before it")
	require.Empty(t, looked(t, func(b *brewery) {
		hold(b, "R-0", b.at(4, 12, 0), "released_at", b.at(4, 13, 0), "released_by", "Quint", "release_reason", "no glass")
	})["used-while-stopped"])
	require.Equal(t, []string{"BT1", "BT1", "FV1", "K1/K-0"}, codes(byCode(looked(t, func(b *brewery) {
		hold(b, "FV1", b.at(4, 7, 30))
		hold(b, "P-0", b.at(4, 12, 0), "released_at", b.at(4, 13, 0), "released_by", "Quint", "release_reason", "tasted")
	})["used-while-stopped"])), "the pallet was let go by itself")
	require.Contains(t, codes(looked(t, func(b *brewery) {
		hold(b, "FV1", b.at(4, 7, 30))
		b.add(4, "holds", "subject", "P-0", "at", b.at(4, 12, 0), "reason", "dented", "by", "Quint", "released_at", b.at(4, 13, 0), "released_by", "Quint", "release_reason", "sorted")
	})["used-while-stopped"]), "P-0", "it was let go for another reason")
	require.Empty(t, looked(t, func(b *brewery) {
		hold(b, "R-0", b.at(4, 12, 0))
		b.extra = func(t require.TestingT, db *store.DB) {
			require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
				rows, err := tx.All("shipments")
				for _, e := range rows {
					if e.Row["unit"] == "P-0" {
						_, err = tx.Act(store.AboutHolds, store.Override{Do: "override", Entries: []int64{e.Seq}, Reason: "sold already"}, "Quint")
					}
				}
				return err
			}))
		}
	})["used-while-stopped"])
}

func byCode(hits []check.Hit) []check.Hit {
	for i := range hits {
		for j := i + 1; j < len(hits); j++ {
			if hits[j].Code < hits[i].Code {
				hits[i], hits[j] = hits[j], hits[i]
			}
		}
	}
	return hits
}

// A run with no can at all is told of as one with a gap is; a keg run needs none, nor what the
// product's other runs were not fed.
func TestRunsWithNoLotAtAll(t *testing.T) {
	hits := looked(t, func(b *brewery) {
		b.drop("feeds", b.where("feeds", "from", "C-1"))
		b.drop("feeds", b.where("feeds", "from", "E-1"))
	})["part-of-run-without-lot"]
	require.Equal(t, []string{"R-1", "R-1"}, codes(hits))
	require.Contains(t, hits[0].Text, "no lot for its closure at all")
	label := func(b *brewery, runs int) {
		b.add(0, "items", "item", "LABEL", "name", "label", "kind", "label", "unit", "each")
		b.add(0, "receipts", "lot", "LA", "item", "LABEL", "supplier", "SUP", "supplier_lot", "A9009", "quantity", "9000", "unit", "each", "received_at", b.at(0, 10, 1), "carrier", "c")
		for i := range runs {
			b.add(7*i+4, "feeds", "run", fmt.Sprintf("R-%d", i), "from", "LA", "quantity", "2430", "unit", "each")
		}
	}
	require.Equal(t, []string{"R-2"}, codes(looked(t, func(b *brewery) { label(b, 2) })["part-of-run-without-lot"]))
	require.Empty(t, looked(t, func(b *brewery) { label(b, 1) })["part-of-run-without-lot"], "one of three is not usual")
}

// One code of one product: on two days, in mid-run, and on one day from two tanks where no time is printed.
func TestDateCodesThatDoNotTellApart(t *testing.T) {
	second := func(b *brewery, code string, cells ...string) { // another run of the product and day, from FV2
		b.add(4, "cleans", "vessel", "FV2", "at", b.at(4, 5, 1), "method", "cip")
		b.add(4, "runs", append([]string{"run", "R-9", "product", "PALE", "started_at", b.at(4, 15, 2), "ended_at", b.at(4, 15, 57), "date_code", code, "good", "1200", "clock_offset_min", "0"}, cells...)...)
		b.add(4, "feeds", "run", "R-9", "from", "FV2", "quantity", "5.3", "unit", "hL")
	}
	code := func(b *brewery) string { return b.find("runs", 0).row["date_code"] }
	plain := func(b *brewery) { b.set("products", 0, "date_code", "BB {year}-{month}-{day}") }
	require.Empty(t, looked(t, func(b *brewery) { second(b, code(b)) })["date-code-twice"], "the time of day tells them apart")
	hits := looked(t, func(b *brewery) { plain(b); second(b, code(b)) })["date-code-twice"]
	require.Equal(t, []string{"R-9"}, codes(hits))
	require.Contains(t, hits[0].Text, "R-0 (of BT1) and R-9 (of FV2)")
	require.Empty(t, looked(t, func(b *brewery) {
		plain(b)
		second(b, code(b))
		b.set("feeds", b.where("feeds", "run", "R-9"), "from", "BT1")
	})["date-code-twice"], "one tank, one day")
	hits = looked(t, func(b *brewery) {
		b.add(4, "codes", "run", "R-0", "date_code", "CC", "since", b.at(4, 10, 30))
		b.set("runs", b.where("runs", "run", "R-1"), "date_code", "CC")
	})["date-code-twice"]
	require.Equal(t, []string{"R-1"}, codes(hits), "a code printed in mid-run")
}

// A label covers what it names by another word of the law's; a hose carries over what the lineage says.
func TestAllergensCarriedOver(t *testing.T) {
	milky := func(b *brewery, word, declares string) { // the first run holds it, and says so
		b.add(0, "items", "item", "LAC", "name", "lac", "kind", "sugar", "unit", "kg", "allergens", word)
		b.add(0, "receipts", "lot", "L", "item", "LAC", "supplier", "SUP", "supplier_lot", "A9009", "quantity", "100", "unit", "kg", "received_at", b.at(0, 10, 1), "carrier", "c")
		b.add(1, "brew_inputs", "brew", "B-0a", "from", "L", "quantity", "20", "unit", "kg", "stage", "boil")
		b.add(0, "products", "product", "STOUT", "name", "Stout", "container_ml", "440", "per_case", "24", "cases_per_pallet", "80", "declares", declares, "shelf_life_days", "270", "date_code", "BB {year}-{month}-{day} {hour}:{minute}")
		b.set("runs", 0, "product", "STOUT")
		b.drop("cleans", b.where("cleans", "at", b.at(11, 9, 43)))
	}
	hits := looked(t, func(b *brewery) { milky(b, "milk", "gluten;milk") })["line-after-allergen"]
	require.Equal(t, []string{"R-1"}, codes(hits))
	require.Contains(t, hits[0].Text, "may contain milk from lot L, from what went through CANS before it")
	quiet := looked(t, func(b *brewery) {
		milky(b, "lactose", "gluten;lactose")
		b.set("products", 0, "declares", "gluten;milk")
	})
	require.Empty(t, quiet["line-after-allergen"], "milk on the label names lactose")
	hits = looked(t, func(b *brewery) {
		milky(b, "milk", "gluten;milk")
		b.add(11, "cleans", "vessel", "CANS", "at", b.at(11, 9, 43), "method", "cip")
		b.add(0, "vessels", "vessel", "HOSE", "kind", "path")
		b.set("transfers", 0, "via", "HOSE")
		b.set("transfers", 1, "via", "HOSE")
	})["line-after-allergen"]
	require.Equal(t, []string{"R-1", "K-1"}, codes(hits))
	require.Contains(t, hits[0].Text, "through HOSE before it")
	// Of a lot that is surely in it and one that may be, the sure one is told.
	hits = looked(t, func(b *brewery) {
		milky(b, "milk", "gluten")
		b.add(0, "receipts", "lot", "A", "item", "LAC", "supplier", "SUP", "supplier_lot", "A9119", "quantity", "100", "unit", "kg", "received_at", b.at(0, 10, 2), "carrier", "c")
		b.add(1, "brew_inputs", "brew", "B-0a", "from", "A|H-0", "quantity", "1", "unit", "kg", "stage", "boil")
	})["undeclared-allergen"]
	require.Contains(t, hits[0].Text, "from lot L (in)")
}

// A return after the next filling clears nothing, and one before it does.
func TestKegsComeBackBeforeTheyAreFilled(t *testing.T) {
	require.Equal(t, []string{"K1/K-1"}, codes(looked(t, func(b *brewery) { b.set("returns", 0, "returned_at", b.at(13, 9, 1)) })["keg-filled-while-out"]))
	none := looked(t, func(b *brewery) {
		for i := range 3 {
			b.set("units", b.where("units", "unit", fmt.Sprintf("K1/K-%d", i)), "washed_at", "")
		}
	})["keg-not-washed"]
	require.Len(t, none, 1, "where no filling has a time, it is told once")
}

// Lots that follow each other are near each other and no misreadings; a lost digit is one.
func TestSupplierLotsThatFollowEachOther(t *testing.T) {
	hops := func(b *brewery, supplierLots ...string) {
		for i, l := range supplierLots {
			b.add(0, "receipts", "lot", fmt.Sprintf("HX-%d", i), "item", "HOP", "supplier", "SUP", "supplier_lot", l, "quantity", "1", "unit", "kg", "received_at", b.at(0, 10, i), "carrier", "c")
		}
	}
	require.Empty(t, looked(t, func(b *brewery) { hops(b, "A8", "A9", "A10", "A11", "A998", "A999", "A1000") })["near-supplier-lots"])
	hits := looked(t, func(b *brewery) { hops(b, "240118", "240119", "240220", "24018") })["near-supplier-lots"]
	require.Equal(t, []string{"HX-3"}, codes(hits))
}

// A crop's count is held against the crop, and a lot in a vessel against nothing.
func TestCountsAgainstWhatIsKnown(t *testing.T) {
	count := func(counted string) []string {
		return codes(looked(t, func(b *brewery) {
			b.add(3, "crops", "lot", "YC", "item", "YEAST", "vessel", "FV1", "quantity", "20", "unit", "kg", "at", b.at(3, 11, 9))
			b.add(3, "counts", "subject", "YC", "quantity", counted, "unit", "kg", "at", b.at(3, 16, 1))
		})["count-differs"])
	}
	require.Empty(t, count("20"))
	require.Equal(t, []string{"YC"}, count("15"))
	silo := func(counted string) []string {
		return codes(looked(t, func(b *brewery) {
			ways["malt from a silo"](b, 3)
			b.add(1, "counts", "subject", "SILO", "quantity", counted, "unit", "kg", "at", b.at(1, 16, 1))
			b.add(1, "counts", "subject", "M-0", "quantity", "1", "unit", "kg", "at", b.at(1, 16, 1))
		})["count-differs"])
	}
	require.Empty(t, silo("675"))
	require.Equal(t, []string{"SILO"}, silo("500"))
}

// Of several units no more can have left than was on all of them.
func TestMoreThanSeveralHeld(t *testing.T) {
	ship := func(n int) []string {
		return codes(looked(t, func(b *brewery) {
			for i := range n {
				b.add(5, "shipments", "shipment", fmt.Sprintf("SV-%d", i), "unit", "Q-0|Q-1", "quantity", "12", "consignee", "D-1", "shipped_at", b.at(12, 9, i+1), "carrier", "own van")
				b.lines[len(b.lines)-1].day = 12
			}
		})["shipped-above-packed"])
	}
	require.Empty(t, ship(3))
	require.Equal(t, []string{"Q-0"}, ship(4))
}

// Years of sheets that came in at once are one hit, and no part of the median.
func TestAnImportIsOneHit(t *testing.T) {
	b := clean(3, 2, true)
	last := 0
	for i := range b.lines {
		last = max(last, b.lines[i].day)
	}
	for i := range b.lines {
		b.lines[i].day = last + 60
	}
	r := b.check(t, filepath.Join(t.TempDir(), "x.db"))
	require.Equal(t, 1, fired(r)["late-entry"])
	require.Zero(t, r.Headline.Delay)
	for _, h := range r.Hits {
		if h.Rule == "late-entry" {
			require.Contains(t, h.Text, "entered at once on")
		}
	}
}

// What left as one of several leads back where each of them does.
func TestOneOfSeveralLeadsBackWhereAllDo(t *testing.T) {
	share := func(change func(b *brewery)) float64 {
		b := clean(2, 1, false)
		b.set("shipments", b.where("shipments", "shipment", "S-1"), "unit", "P-0|P-1")
		change(b)
		return b.check(t, filepath.Join(t.TempDir(), "x.db")).Headline.Cases.Backwards
	}
	require.InDelta(t, 100, share(func(*brewery) {}), 1e-9)
	require.InDelta(t, 50, share(func(b *brewery) { b.drop("feeds", b.where("feeds", "from", "BT2")) }), 1e-9, "P-1 does not")
}

// Lots in use are no lots in packed beer.
func TestNothingPackedIsNotAllComplete(t *testing.T) {
	b := clean(1, 1, false)
	var kept []line
	for _, l := range b.lines {
		if !strings.Contains("runs feeds units shipments counts returns removals codes", l.sheet) {
			kept = append(kept, l)
		}
	}
	b.lines = kept
	r := b.check(t, filepath.Join(t.TempDir(), "x.db"))
	require.Positive(t, r.Headline.Used)
	require.Zero(t, r.Headline.Packed)
	require.Zero(t, r.Headline.Forwards)
}

// What a site sets is the limit, each limit bounds something, and a mute lasts to the end of its day at the site.
func TestSiteLimitsAndMutes(t *testing.T) {
	ctx := context.Background()
	names := map[string]bool{}
	for _, l := range check.Limits() {
		require.False(t, names[l.Name], l.Name)
		names[l.Name] = true
		require.Positive(t, l.Default)
		require.NotEmpty(t, l.Of)
	}
	b := clean(1, 1, false)
	b.find("transfers", 0).day = 12
	b.set("site", 0, "time_zone", "Pacific/Auckland")
	b.extra = func(t require.TestingT, db *store.DB) {
		look := func() *check.Report {
			var r *check.Report
			require.NoError(t, db.View(ctx, func(tx *store.Tx) (err error) {
				r, err = check.Run(tx, []string{"late-entry"}, time.Time{})
				return err
			}))
			return r
		}
		do := func(f func(tx *store.Tx) error) { require.NoError(t, db.Update(ctx, f)) }
		late := look()
		require.NotEmpty(t, late.Hits)
		do(func(tx *store.Tx) error {
			return tx.Set(store.SiteSettings, "check.late-entry.days", "9.5", "", "Quint")
		})
		require.Empty(t, look().Hits)
		do(func(tx *store.Tx) error { return tx.Set(store.SiteSettings, "check.late-entry.days", "", "", "Quint") })
		until := db.Now().AddDate(0, 0, 3)
		do(func(tx *store.Tx) error {
			return check.Silence(tx, check.Mute{Rule: "late-entry", Reason: "x", Until: until.Format(time.DateOnly), By: "Quint"})
		})
		require.Zero(t, look().Open())
		day := time.Date(until.Year(), until.Month(), until.Day(), 0, 0, 0, 0, time.UTC)
		db.Now = func() time.Time { return day.Add(10*time.Hour + 59*time.Minute) } // 23:59 in Auckland, which is 13 hours ahead
		require.Zero(t, look().Open())
		db.Now = func() time.Time { return day.Add(11*time.Hour + time.Minute) }
		require.Equal(t, len(late.Hits), look().Open())
	}
	b.check(t, filepath.Join(t.TempDir(), "x.db"))
}
