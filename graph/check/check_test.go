package check_test

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/check"
	"heeltap/graph/recall"
	"heeltap/lots"
	"heeltap/lots/store"
)

// line is a row, and the day on whose evening it is typed in.
type line struct {
	sheet string
	row   lots.Row
	day   int
	by    string
}

// brewery is a clean history being built, or one with a fault planted in it.
type brewery struct {
	lines []line
	first time.Time
	extra func(t require.TestingT, db *store.DB) // what is done besides recording rows
	after int                                    // days between the last row and the check
}

func (b *brewery) add(day int, sheet string, cells ...string) {
	row := lots.Row{}
	for i := 0; i+1 < len(cells); i += 2 {
		if cells[i+1] != "" {
			row[cells[i]] = cells[i+1]
		}
	}
	b.lines = append(b.lines, line{sheet, row, day, []string{"Ines", "Tove", "Runa"}[len(b.lines)%3]})
}

// at writes a time of a day, off the full and half hours.
func (b *brewery) at(day, hour, minute int) string {
	return b.first.AddDate(0, 0, day).Add(time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute).Format("2006-01-02 15:04")
}

// find gives the n-th row of a sheet.
func (b *brewery) find(sheet string, n int) *line {
	for i := range b.lines {
		if b.lines[i].sheet == sheet {
			if n == 0 {
				return &b.lines[i]
			}
			n--
		}
	}
	panic("no such row of " + sheet)
}

func (b *brewery) set(sheet string, n int, column, value string) {
	if x := b.find(sheet, n); value == "" {
		delete(x.row, column)
	} else {
		x.row[column] = value
	}
}

func (b *brewery) drop(sheet string, n int) {
	x := b.find(sheet, n)
	b.lines = slices.DeleteFunc(b.lines, func(l line) bool { return fmt.Sprint(l.row) == fmt.Sprint(x.row) && l.sheet == sheet })
}

// where gives the place of the first row of a sheet with a cell.
func (b *brewery) where(sheet, column, value string) int {
	n := 0
	for _, l := range b.lines {
		if l.sheet != sheet {
			continue
		}
		if l.row[column] == value {
			return n
		}
		n++
	}
	panic(sheet + " has no " + value)
}

// clean builds a clean history: batches one after the other, each with its own lots, in fermenters
// and bright tanks cleaned before they are filled, packed in cans and on a keg, and shipped.
func clean(batches, turns int, kegs bool) *brewery {
	return cleanFrom(time.Date(2026, 2, 2, 0, 0, 0, 0, time.UTC), batches, turns, kegs) // a Monday
}

// cleanFrom is clean from a day on; some minutes after its midnight move every time of day.
func cleanFrom(first time.Time, batches, turns int, kegs bool) *brewery {
	b := &brewery{first: first}
	b.add(0, "site", "name", "Test", "time_zone", "UTC")
	for _, x := range [][]string{{"MALT", "malt", "kg", "gluten"}, {"HOP", "hop", "kg", ""}, {"YEAST", "yeast", "L", ""}, {"MILK", "sugar", "kg", "milk"}, {"CAN", "container", "each", ""}, {"END", "closure", "each", ""}} {
		b.add(0, "items", "item", x[0], "name", x[0], "kind", x[1], "unit", x[2], "allergens", x[3], "extract_pct", map[string]string{"MALT": "78"}[x[0]])
	}
	b.add(0, "parties", "party", "SUP", "name", "s", "role", "supplier", "phone", "1")
	for _, d := range []string{"D-1", "D-2"} {
		b.add(0, "parties", "party", d, "name", d, "role", "consignee", "channel", "retailer", "phone", "555")
	}
	for _, x := range [][]string{{"FV1", "fermenter", "30", "hL"}, {"FV2", "fermenter", "30", "hL"}, {"BT1", "bright", "30", "hL"}, {"BT2", "bright", "30", "hL"}, {"SILO", "silo", "20000", "kg"}} {
		b.add(0, "vessels", "vessel", x[0], "kind", x[1], "capacity", x[2], "unit", x[3])
	}
	b.add(0, "lines", "line", "CANS", "rate_per_min", "40", "margin_min", "0", "residue", "yes")
	b.add(0, "products", "product", "PALE", "name", "Pale", "container_ml", "440", "per_case", "24", "cases_per_pallet", "80", "declares", "gluten", "shelf_life_days", "270", "date_code", "BB {year}-{month}-{day} {hour}:{minute}")
	b.add(0, "products", "product", "KEG", "name", "Keg", "container_ml", "30000", "per_case", "1", "declares", "gluten", "shelf_life_days", "100", "date_code", "K{packed-yy}{packed-doy}")
	for i := range batches {
		b.batch(i, i*7, turns, kegs)
	}
	return b
}

func (b *brewery) batch(i, day, turns int, kegs bool) {
	id := func(prefix string) string { return fmt.Sprintf("%s-%d", prefix, i) }
	for k, x := range [][]string{{"M", "MALT", "900", "kg"}, {"H", "HOP", "20", "kg"}, {"Y", "YEAST", "30", "L"}, {"C", "CAN", "4000", "each"}, {"E", "END", "4000", "each"}} {
		b.add(day, "receipts", "lot", id(x[0]), "item", x[1], "supplier", "SUP", "supplier_lot", fmt.Sprintf("A%03d%d", 7*i+100, k), "quantity", x[2], "unit", x[3],
			"received_at", b.at(day, 9, 7+k), "carrier", "Quernholt Haulage", "document", fmt.Sprintf("DN-%d", i), "place", "store", "best_by", "2027-06-01")
	}
	fv, bt := fmt.Sprintf("FV%d", i%2+1), fmt.Sprintf("BT%d", i%2+1)
	b.add(day, "cleans", "vessel", fv, "at", b.at(day, 7, 13), "method", "cip")
	for k := range turns {
		brew := fmt.Sprintf("B-%d%c", i, 'a'+k)
		d := day + 1 + k
		b.add(d, "brews", "brew", brew, "beer", "Pale", "started_at", b.at(d, 6, 11), "cast_out_at", b.at(d, 12, 17), "into", fv, "volume", "12", "unit", "hL", "plato", "12")
		b.add(d, "brew_inputs", "brew", brew, "from", id("M"), "quantity", "225", "unit", "kg", "stage", "mash")
		b.add(d, "brew_inputs", "brew", brew, "from", id("H"), "quantity", "3", "unit", "kg", "stage", "boil")
		if k == 0 {
			b.add(d, "brew_inputs", "brew", brew, "from", id("Y"), "quantity", "20", "unit", "L", "stage", "pitch")
		}
	}
	volume := 12 * turns
	b.add(day+3, "additions", "vessel", fv, "from", id("H"), "quantity", "2", "unit", "kg", "at", b.at(day+3, 10, 19))
	b.add(day+4, "cleans", "vessel", bt, "at", b.at(day+4, 6, 23), "method", "cip")
	b.add(day+4, "transfers", "transfer", id("T"), "from", fv, "to", bt, "out", fmt.Sprint(volume), "in", fmt.Sprint(volume), "unit", "hL", "started_at", b.at(day+4, 8, 11), "ended_at", b.at(day+4, 9, 7))
	b.add(day+4, "cleans", "vessel", "CANS", "at", b.at(day+4, 9, 43), "method", "cip")
	cans := 2400
	ended := 11 + 0
	b.add(day+4, "runs", "run", id("R"), "product", "PALE", "line", "CANS", "started_at", b.at(day+4, 10, 2), "ended_at", b.at(day+4, ended, 7), "date_code", "BB "+b.first.AddDate(0, 0, day+4+270).Format(time.DateOnly), "good", fmt.Sprint(cans), "rejects", "12", "clock_offset_min", "1")
	b.add(day+4, "feeds", "run", id("R"), "from", bt, "quantity", "10.7", "unit", "hL")
	b.add(day+4, "feeds", "run", id("R"), "from", id("C"), "quantity", "2430", "unit", "each")
	b.add(day+4, "feeds", "run", id("R"), "from", id("E"), "quantity", "2440", "unit", "each")
	b.add(day+4, "units", "unit", id("P"), "kind", "pallet", "run", id("R"), "quantity", "80", "first_at", b.at(day+4, 10, 2), "last_at", b.at(day+4, 10, 54), "place", "cold store")
	b.add(day+4, "units", "unit", id("Q"), "kind", "pallet", "run", id("R"), "quantity", "20", "first_at", b.at(day+4, 10, 54), "last_at", b.at(day+4, ended, 7), "place", "cold store")
	b.add(day+4, "shipments", "shipment", id("S"), "unit", id("P"), "quantity", "80", "consignee", "D-1", "shipped_at", b.at(day+4, 14, 21), "document", id("BOL"), "carrier", "own van")
	b.add(day+4, "counts", "subject", id("Q"), "quantity", "20", "at", b.at(day+4, 16, 3), "place", "cold store")
	if kegs {
		b.add(day+4, "runs", "run", id("K"), "product", "KEG", "started_at", b.at(day+4, 12, 3), "ended_at", b.at(day+4, 12, 41), "date_code", fmt.Sprintf("K26%03d", b.first.AddDate(0, 0, day+4).YearDay()), "good", "1")
		b.add(day+4, "feeds", "run", id("K"), "from", bt, "quantity", "30.2", "unit", "L")
		b.add(day+4, "units", "unit", "K1/"+id("K"), "kind", "keg", "run", id("K"), "quantity", "1", "washed_at", b.at(day+4, 11, 47))
		b.add(day+4, "shipments", "shipment", id("SK"), "unit", "K1/"+id("K"), "quantity", "1", "consignee", "D-2", "shipped_at", b.at(day+4, 15, 1), "carrier", "own van")
		b.add(day+6, "returns", "return", id("U"), "unit", "K1/"+id("K"), "quantity", "1", "consignee", "D-2", "returned_at", b.at(day+6, 9, 1), "state", "empty")
	}
	b.add(day+5, "removals", "subject", fv, "quantity", "all", "at", b.at(day+4, 9, 51), "reason", "dumped")
	b.add(day+5, "removals", "subject", bt, "quantity", "all", "at", b.at(day+5, 9, 29), "reason", "dumped")
}

// check records the history evening by evening and looks at it.
func (b *brewery) check(t require.TestingT, path string) *check.Report {
	db := b.record(t, path)
	defer func() { require.NoError(t, db.Discard()) }()
	return foundIn(t, db)
}

// foundIn is what a check finds, by the rules named or all.
func foundIn(t require.TestingT, db *store.DB, names ...string) (r *check.Report) {
	require.NoError(t, db.View(context.Background(), func(tx *store.Tx) (err error) {
		r, err = check.Run(tx, names, time.Time{})
		return err
	}))
	return r
}

// record records the history evening by evening.
func (b *brewery) record(t require.TestingT, path string) *store.DB {
	ctx := context.Background()
	db, err := store.Create(ctx, path)
	require.NoError(t, err)
	slices.SortStableFunc(b.lines, func(x, y line) int { return x.day - y.day })
	last := b.lines[len(b.lines)-1].day
	for day := 0; day <= last; day++ {
		var rows []store.Statement
		for _, l := range b.lines {
			if l.day == day {
				sheet, ok := lots.SheetNamed(l.sheet)
				require.True(t, ok, l.sheet)
				rows = append(rows, store.Statement{Sheet: sheet, Row: l.row, By: l.by})
			}
		}
		if len(rows) == 0 {
			continue
		}
		db.Now = func() time.Time { return b.first.AddDate(0, 0, day).Add(20 * time.Hour) }
		require.NoError(t, db.Update(ctx, func(tx *store.Tx) error {
			_, _, faults, err := tx.RecordRows(rows)
			require.Empty(t, faults)
			return err
		}))
	}
	if b.extra != nil {
		b.extra(t, db)
	}
	db.Now = func() time.Time { return b.first.AddDate(0, 0, last+1+b.after) }
	return db
}

func fired(r *check.Report) map[string]int {
	out := map[string]int{}
	for _, h := range r.Hits {
		out[h.Rule]++
	}
	return out
}

// faults plants one fault for each rule in a clean history of three batches of two turns with kegs.
var faults = map[string]func(b *brewery){
	"run-without-date-code": func(b *brewery) {
		b.set("runs", 0, "date_code", "")
	},
	"used-above-receipt":  func(b *brewery) { b.set("brew_inputs", 0, "quantity", "890") },
	"used-before-receipt": func(b *brewery) { b.set("receipts", 1, "received_at", b.at(2, 9, 1)) },
	"used-while-stopped": func(b *brewery) {
		b.add(1, "holds", "subject", "H-0", "at", b.at(1, 1, 1), "reason", "x", "by", "Quint")
	},
	"rejected-in-vessel": func(b *brewery) {
		b.add(0, "receipts", "lot", "BULK", "item", "MALT", "supplier", "SUP", "supplier_lot", "A9010", "quantity", "900", "unit", "kg", "received_at", b.at(0, 10, 1), "carrier", "c", "into", "SILO", "status", "rejected")
	},
	"lot-too-small": func(b *brewery) {
		feed := b.where("feeds", "from", "C-0")
		b.set("feeds", feed, "quantity", "")
		b.set("feeds", feed, "unit", "")
		b.set("receipts", b.where("receipts", "lot", "C-0"), "quantity", "2000")
	},
	"rest-not-seen": func(b *brewery) { b.after = 90 },
	"units-do-not-meet": func(b *brewery) {
		b.add(0, "receipts", "lot", "HL", "item", "HOP", "supplier", "SUP", "supplier_lot", "A9009", "quantity", "5", "unit", "L", "received_at", b.at(0, 10, 1), "carrier", "c")
	},
	"near-supplier-lots": func(b *brewery) {
		b.set("receipts", 5, "supplier_lot", strings.Replace(b.find("receipts", 0).row["supplier_lot"], "0", "O", 1))
	},
	"supplier-lot-twice": func(b *brewery) { b.set("receipts", 1, "supplier_lot", b.find("receipts", 0).row["supplier_lot"]) },
	"odd-supplier-lot":   func(b *brewery) { b.set("receipts", 1, "supplier_lot", "DN-0") },
	"odd-shape": func(b *brewery) {
		for k := range 10 {
			b.add(0, "receipts", "lot", fmt.Sprintf("HX-%d", k), "item", "HOP", "supplier", "SUP", "supplier_lot", fmt.Sprintf("A5%02d9", k), "quantity", "1", "unit", "kg", "received_at", b.at(0, 9, k), "carrier", "c")
		}
		b.set("receipts", 1, "supplier_lot", "A-17/b")
	},
	"late-receipt": func(b *brewery) { b.set("receipts", 2, "received_at", "2026-01-30 09:00") },
	"past-best-by": func(b *brewery) { b.set("receipts", 1, "best_by", "2026-02-02") },
	"store-never-emptied": func(b *brewery) {
		for k := range 5 {
			b.add(0, "receipts", "lot", fmt.Sprintf("SM-%d", k), "item", "MALT", "supplier", "SUP", "supplier_lot", fmt.Sprintf("A9%02d9", k), "quantity", "1000", "unit", "kg", "received_at", b.at(0, 10, k), "into", "SILO", "carrier", "c")
		}
	},
	"above-capacity": func(b *brewery) {
		b.set("brews", 0, "volume", "22")
		b.set("transfers", 0, "out", "34")
		b.set("transfers", 0, "in", "29")
	},
	"count-differs":      func(b *brewery) { b.set("counts", 0, "quantity", "17") },
	"no-carrier":         func(b *brewery) { b.set("shipments", 0, "carrier", "") },
	"brew-lacks-input":   func(b *brewery) { b.drop("brew_inputs", b.where("brew_inputs", "stage", "mash")) },
	"extract-impossible": func(b *brewery) { b.set("brew_inputs", 0, "quantity", "150") },
	"turns-far-apart": func(b *brewery) {
		b.set("brews", 0, "started_at", "2026-01-30 06:11")
		b.set("brews", 0, "cast_out_at", "2026-01-30 12:17")
		b.set("cleans", 0, "at", "2026-01-30 05:00")
	},
	"drawn-above-content": func(b *brewery) { b.set("transfers", 0, "out", "27") },
	"nothing-there":       func(b *brewery) { b.set("transfers", 0, "from", "FV2") },
	"break-in-doubt":      func(b *brewery) { b.set("transfers", 2, "in", "9") },
	"cleaned-with-beer-in": func(b *brewery) {
		b.drop("removals", 1)
		b.set("feeds", 0, "quantity", "10.7")
		b.add(6, "cleans", "vessel", "BT1", "at", b.at(6, 8, 1), "method", "cip")
	},
	"no-clean-between": func(b *brewery) {
		b.add(13, "transfers", "transfer", "T-X", "from", "FV2", "to", "FV1", "out", "1", "in", "1", "unit", "hL", "started_at", b.at(11, 7, 1), "ended_at", b.at(11, 7, 31))
	},
	"clean-not-verified": func(b *brewery) { b.set("cleans", 1, "verified", "no") },
	"line-after-allergen": func(b *brewery) {
		b.add(0, "products", "product", "STOUT", "name", "Stout", "container_ml", "440", "per_case", "24", "cases_per_pallet", "80", "declares", "gluten;milk", "shelf_life_days", "270", "date_code", "BB {year}-{month}-{day} {hour}:{minute}")
		b.set("runs", 0, "product", "STOUT")
		b.drop("cleans", b.where("cleans", "at", b.at(11, 9, 43)))
	},
	"rejects-above-run": func(b *brewery) {
		run := b.find("runs", 0).row["run"]
		b.add(5, "additions", "vessel", "FV1", "from", run, "quantity", "500", "unit", "each", "at", b.at(4, 16, 1))
	},
	"first-fill-unproven": func(b *brewery) {
		b.add(3, "vessels", "vessel", "TANKER", "kind", "bright", "capacity", "30", "unit", "hL", "site", "Quernholt Haulage")
		b.add(4, "transfers", "transfer", "T-X", "from", "BT1", "to", "TANKER", "out", "1", "in", "1", "unit", "hL", "started_at", b.at(4, 9, 31), "ended_at", b.at(4, 9, 41))
	},
	"line-residue-unknown": func(b *brewery) {
		b.set("lines", 0, "residue", "")
		b.set("products", 1, "declares", "gluten;milk")
		b.set("runs", 1, "line", "CANS")
	},
	"no-time-of-day": func(b *brewery) {
		b.set("additions", 0, "at", b.first.AddDate(0, 0, 4).Format(time.DateOnly))
		b.find("additions", 0).day = 4
	},
	"filled-not-empty": func(b *brewery) {
		b.drop("removals", b.where("removals", "subject", "BT1"))
		b.drop("cleans", b.where("cleans", "at", b.at(18, 6, 23)))
	},
	"addition-to-empty": func(b *brewery) {
		b.add(6, "additions", "vessel", "FV1", "from", "H-0", "quantity", "1", "unit", "kg", "at", b.at(6, 10, 19))
	},
	"at-one-time":   func(b *brewery) { b.set("cleans", 1, "at", b.at(4, 8, 41)) },
	"transfer-gain": func(b *brewery) { b.set("transfers", 0, "in", "25") },
	"transfer-loss": func(b *brewery) { b.set("transfers", 0, "in", "18") },
	"cellar-silent": func(b *brewery) {
		for k := range 3 {
			b.add(20+10*k, "shipments", "shipment", fmt.Sprintf("SL-%d", k), "unit", "Q-0", "quantity", "1", "consignee", "D-1", "shipped_at", b.at(20+10*k, 9, 1), "carrier", "own van")
		}
		b.add(40, "runs", "run", "RL", "product", "KEG", "started_at", b.at(40, 12, 3), "ended_at", b.at(40, 12, 41), "date_code", fmt.Sprintf("K26%03d", b.first.AddDate(0, 0, 40).YearDay()), "good", "1")
	},
	"tank-age": func(b *brewery) {
		b.set("brews", 1, "cast_out_at", b.at(4, 7, 57))
		b.set("brews", 1, "started_at", b.at(4, 6, 1))
		for i := range b.lines {
			if b.lines[i].row["brew"] == "B-0b" {
				b.lines[i].day = 4
			}
		}
	},
	"usual-lot-missing": func(b *brewery) {
		b.add(0, "items", "item", "SALT", "name", "Salt", "kind", "salt", "unit", "kg")
		b.add(0, "receipts", "lot", "SA", "item", "SALT", "supplier", "SUP", "supplier_lot", "A9009", "quantity", "100", "unit", "kg", "received_at", b.at(0, 10, 1), "carrier", "c")
		for i := 3; i < 7; i++ {
			b.batch(i, i*7, 2, false)
		}
		for i := range 6 {
			b.add(7*i+1, "brew_inputs", "brew", fmt.Sprintf("B-%da", i), "from", "SA", "quantity", "1", "unit", "kg", "stage", "mash")
		}
	},
	"lot-in-vessel": func(b *brewery) {
		b.add(0, "receipts", "lot", "SM", "item", "MALT", "supplier", "SUP", "supplier_lot", "A9009", "quantity", "1000", "unit", "kg", "received_at", b.at(0, 10, 1), "into", "SILO", "carrier", "c")
		b.set("brew_inputs", 0, "from", "SM")
	},
	"run-without-tank": func(b *brewery) { b.drop("feeds", 0) },
	"run-above-tank":   func(b *brewery) { b.set("feeds", 0, "quantity", "9") },
	"run-below-tank":   func(b *brewery) { b.set("feeds", 0, "quantity", "14") },
	"run-too-fast": func(b *brewery) {
		b.set("runs", 0, "ended_at", b.at(4, 10, 40))
		b.set("units", 0, "last_at", b.at(4, 10, 30))
		b.set("units", 1, "first_at", b.at(4, 10, 30))
		b.set("units", 1, "last_at", b.at(4, 10, 40))
	},
	"run-too-slow":            func(b *brewery) { b.set("runs", 0, "ended_at", b.at(4, 19, 40)) },
	"parts-do-not-fit":        func(b *brewery) { b.set("feeds", 1, "quantity", "2000") },
	"part-of-run-without-lot": func(b *brewery) { b.set("feeds", 2, "until", b.at(4, 10, 30)) },
	"date-code-twice":         func(b *brewery) { b.set("runs", 2, "date_code", b.find("runs", 0).row["date_code"]) },
	"date-code-odd":           func(b *brewery) { b.set("runs", 0, "date_code", "BB 2026-01-01") },
	"no-clock-check":          func(b *brewery) { b.set("runs", 0, "clock_offset_min", "") },
	"midnight-not-split": func(b *brewery) {
		b.set("runs", 0, "started_at", b.at(4, 23, 31))
		b.set("runs", 0, "ended_at", b.at(5, 0, 34))
	},
	"bad-code-pattern": func(b *brewery) { b.set("products", 0, "date_code", "BB {year}-{monat}-{day}") },
	"undeclared-allergen": func(b *brewery) {
		b.add(0, "receipts", "lot", "L", "item", "MILK", "supplier", "SUP", "supplier_lot", "A9009", "quantity", "100", "unit", "kg", "received_at", b.at(0, 10, 1), "carrier", "c")
		b.add(1, "brew_inputs", "brew", "B-0a", "from", "L", "quantity", "20", "unit", "kg", "stage", "boil")
	},
	"cases-on-no-unit": func(b *brewery) { b.drop("units", 1); b.drop("counts", 0) },
	"units-above-run":  func(b *brewery) { b.set("units", 1, "quantity", "40") },
	"window-outside-run": func(b *brewery) {
		b.set("units", 1, "first_at", b.at(4, 12, 1))
		b.set("units", 1, "last_at", b.at(4, 13, 1))
	},
	"part-changed-between-runs": func(b *brewery) { b.set("lines", 0, "overlap_min", "10") }, // each run has ends of its own
	"unit-too-full":             func(b *brewery) { b.set("units", 0, "quantity", "100") },
	"keg-filled-while-out":      func(b *brewery) { b.drop("returns", 0) },
	"keg-filled-while-full":     func(b *brewery) { b.drop("shipments", b.where("shipments", "shipment", "SK-0")); b.drop("returns", 0) },
	"keg-shipped-as-older-filling": func(b *brewery) {
		b.set("shipments", b.where("shipments", "shipment", "SK-1"), "unit", "K1/K-0")
	},
	"run-without-line":  func(b *brewery) { b.set("runs", 0, "line", "") },
	"keg-wash-in-doubt": func(b *brewery) { b.set("units", b.where("units", "unit", "K1/K-1"), "washed_at", "") },
	"keg-not-washed":    func(b *brewery) { b.set("units", b.where("units", "unit", "K1/K-0"), "washed_at", "") },
	"repack-does-not-add-up": func(b *brewery) {
		b.add(6, "runs", "run", "V", "product", "PALE", "started_at", b.at(6, 8, 1), "ended_at", b.at(6, 9, 1), "date_code", "BB "+b.first.AddDate(0, 0, 6+270).Format(time.DateOnly), "good", "240", "clock_offset_min", "0")
		b.add(6, "feeds", "run", "V", "from", "Q-0", "quantity", "9", "unit", "case")
		b.add(6, "units", "unit", "PV", "kind", "stack", "run", "V", "quantity", "10", "place", "store")
	},
	"unit-nowhere": func(b *brewery) { b.set("units", 1, "place", ""); b.drop("counts", 0) },
	"counts-swapped": func(b *brewery) {
		b.set("counts", 0, "quantity", "15")
		b.set("counts", 1, "quantity", "25")
	},
	"return-shipped-again": func(b *brewery) {
		b.add(5, "returns", "return", "UX", "unit", "P-0", "quantity", "5", "consignee", "D-1", "returned_at", b.at(5, 9, 1), "state", "full")
		b.add(6, "shipments", "shipment", "SX", "unit", "P-0", "quantity", "5", "consignee", "D-2", "shipped_at", b.at(6, 9, 1), "carrier", "own van")
	},
	"return-not-measured":       func(b *brewery) { b.set("returns", 0, "state", "part") },
	"shipped-above-packed":      func(b *brewery) { b.set("shipments", 0, "quantity", "90") },
	"shipped-before-packed":     func(b *brewery) { b.set("shipments", 0, "shipped_at", b.at(3, 14, 1)) },
	"one-of-several":            func(b *brewery) { b.set("shipments", 0, "unit", "P-0|Q-0") },
	"consignee-without-contact": func(b *brewery) { b.set("parties", 1, "phone", "") },
	"returned-above-shipped": func(b *brewery) {
		b.add(5, "returns", "return", "UX", "unit", "P-0", "quantity", "5", "consignee", "D-2", "returned_at", b.at(5, 9, 1), "state", "full")
	},
	"late-entry": func(b *brewery) { b.find("transfers", 0).day = 12 },
	"recall-scope-changed": func(b *brewery) {
		b.add(0, "parties", "party", "D-3", "name", "d", "role", "consignee", "phone", "5")
		b.extra = func(t require.TestingT, db *store.DB) {
			var code string
			require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
				r, err := recall.Begin(tx, recall.Opened{Suspects: []string{"H-0"}, Hazard: "dissolved", Reason: "x"}, recall.At{}, "Quint")
				if err == nil {
					code = r.Code
				}
				return err
			}))
			_, err := recall.Freeze(context.Background(), db, code, "", "Quint")
			require.NoError(t, err)
			require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
				sheet, _ := lots.SheetNamed("shipments")
				_, _, faults, err := tx.RecordRows([]store.Statement{{Sheet: sheet, By: "Tove", Row: lots.Row{"shipment": "SX", "unit": "Q-0", "quantity": "2", "consignee": "D-3", "shipped_at": b.at(12, 9, 1), "carrier": "own van"}}})
				require.Empty(t, faults)
				return err
			}))
		}
	},
	"round-times": func(b *brewery) {
		for k := range 600 {
			b.add(6, "cleans", "vessel", "SILO", "at", b.at(6, k%20, 30*(k%2)), "method", "rinse", "ref", fmt.Sprint(k))
		}
	},
	"one-person": func(b *brewery) {
		for k := range 300 {
			b.add(6, "cleans", "vessel", "SILO", "at", b.at(6, k%20, 1+k%25), "method", "rinse", "ref", fmt.Sprint(k))
			b.lines[len(b.lines)-1].by = "Ines"
		}
	},
	"no-exercise": func(b *brewery) { b.after = 400 },
}

// Every rule has a fault planted for it, and fires for it; and what it says to do is a command that the program
// takes once a person has given what only a person knows, and that clears the finding where it is meant to.
func TestEachRuleFires(t *testing.T) {
	if testing.Short() {
		t.Skip("records one history a rule")
	}
	program := built(t)
	for _, rule := range check.Rules() {
		plant, ok := faults[rule.Name]
		require.True(t, ok, "no fault is planted for %s", rule.Name)
		t.Run(rule.Name, func(t *testing.T) {
			t.Parallel()
			b := clean(3, 2, true)
			plant(b)
			path := filepath.Join(t.TempDir(), "x.db")
			db := b.record(t, path)
			r := foundIn(t, db)
			require.NoError(t, db.Close())
			require.Contains(t, fired(r), rule.Name)
			for _, h := range r.Hits {
				if h.Rule == rule.Name {
					require.NotEmpty(t, h.Text)
					require.NotEmpty(t, h.Mend)
				}
			}
			mended(t, program, path, b, r, rule.Name)
		})
	}
	require.Len(t, faults, len(check.Rules()), "a fault is planted for no rule")
}
