package store

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/lots"
)

// hall is the reference data of random histories: every kind of vessel, a line with margin, overlap and
// residue, one without, and three lots.
const hall = `
site name=Random time_zone=Europe/Berlin
items item=MALT name=malt kind=malt unit=kg
items item=HOP name=hop kind=hop unit=kg
items item=END name=end kind=closure unit=each
items item=YEAST name=yeast kind=yeast unit=L
parties party=SUP name=s role=supplier
parties party=D name=d role=consignee channel=distributor
products product=P name=p container_ml=500 per_case=20 declares=gluten
products product=K name=k container_ml=30000 per_case=1
lines line=L1 margin_min=20 overlap_min=30 residue=yes
lines line=L2
vessels vessel=SI kind=silo unit=kg
vessels vessel=F1 kind=fermenter unit=L
vessels vessel=F2 kind=fermenter unit=L
vessels vessel=B1 kind=bright unit=L
vessels vessel=B2 kind=bright unit=L
vessels vessel=Y1 kind=brink unit=L
vessels vessel=G1 kind=gas unit=kg
vessels vessel=H1 kind=path
receipts lot=LM item=MALT supplier=SUP supplier_lot=m quantity=900 unit=kg received_at=2026-03-01
receipts lot=LH item=HOP supplier=SUP supplier_lot=h quantity=40 unit=kg received_at=2026-03-01
receipts lot=LE item=END supplier=SUP supplier_lot=e quantity=9000 unit=each received_at=2026-03-01
receipts lot=LE2 item=END supplier=SUP supplier_lot=e2 quantity=9000 unit=each received_at=2026-03-01
receipts lot=LE3 item=END supplier=SUP supplier_lot=e3 quantity=9000 unit=each received_at=2026-03-01
`

// daysApart is how far the three days of a random history lie apart.
var daysApart = 1

// hourOf is an hour of the three days.
func hourOf(hour int) time.Time {
	return time.Date(2026, 3, 2+hour/24*daysApart, hour%24, 0, 0, 0, time.UTC)
}

// moment draws a time on a coarse grid over three days, or a bare date: much falls together.
func moment(t *rapid.T) string {
	hour := rapid.IntRange(0, 71).Draw(t, "hour")
	at := hourOf(hour)
	switch rapid.IntRange(0, 9).Draw(t, "precision") {
	case 0:
		return at.Format("2006-01-02")
	case 1:
		return at.Format("2006-01-02") + " 12:00"
	}
	return at.Format("2006-01-02 15:04")
}

// span draws a start and an end, of either of which only the date may be known.
func spanOf(t *rapid.T) (string, string) {
	hour, hours := rapid.IntRange(0, 60).Draw(t, "start"), rapid.IntRange(1, 6).Draw(t, "hours")
	start := hourOf(hour)
	from, to := start.Format("2006-01-02 15:04"), start.Add(time.Duration(hours)*time.Hour).Format("2006-01-02 15:04")
	if rapid.IntRange(0, 11).Draw(t, "bare start") == 0 {
		from = from[:10]
	}
	if rapid.IntRange(0, 11).Draw(t, "bare end") == 0 {
		to = to[:10]
	}
	return from, to
}

func pick(t *rapid.T, words string) string {
	return rapid.SampledFrom(strings.Fields(words)).Draw(t, "pick")
}

// act draws one row about the hall; n tells rows apart.
func act(t *rapid.T, n int) (string, lots.Row) {
	qty := func() string {
		return fmt.Sprint(rapid.SampledFrom([]int{1, 5, 100, 200, 400, 1000}).Draw(t, "quantity"))
	}
	code := fmt.Sprint(n)
	tanks := "F1 F2 B1 B2"
	runs := "R1 R2 R3"
	switch rapid.IntRange(0, 17).Draw(t, "sheet") {
	case 0:
		return "receipts", lots.Row{"lot": "N" + code, "item": "MALT", "supplier": "SUP", "supplier_lot": code, "quantity": qty(), "unit": "kg", "received_at": moment(t), "into": "SI"}
	case 1, 2:
		start, end := spanOf(t)
		return "brews", lots.Row{"brew": pick(t, "Ba Bb Bc"), "beer": "x", "started_at": start, "cast_out_at": end, "into": pick(t, tanks), "volume": qty(), "unit": "L"}
	case 3:
		row := lots.Row{"brew": pick(t, "Ba Bb Bc"), "from": pick(t, "LM LH SI Y1 LM|LH F1|B1 C1"), "quantity": qty(), "unit": pick(t, "kg L"), "ref": code}
		if rapid.Bool().Draw(t, "timed") {
			row["at"] = moment(t)
		}
		return "brew_inputs", row
	case 4, 5:
		row := lots.Row{"vessel": pick(t, tanks+" SI Y1 G1"), "from": pick(t, "LM LH SI F1 B2 LM|LH U1 U2 C1 R1 R2 R1|R3"), "quantity": qty(), "unit": pick(t, "kg L case"), "at": moment(t), "ref": code}
		if rapid.IntRange(0, 3).Draw(t, "volume") == 0 {
			row["volume"], row["volume_unit"] = qty(), "L"
		}
		return "additions", row
	case 6, 7, 8:
		start, end := spanOf(t)
		row := lots.Row{"transfer": "T" + code, "from": pick(t, tanks+" F1|F2"), "to": pick(t, tanks), "out": qty(), "in": qty(), "unit": "L", "started_at": start, "ended_at": end}
		if rapid.IntRange(0, 2).Draw(t, "via") == 0 {
			row["via"] = "H1"
		}
		return "transfers", row
	case 9, 17:
		start, end := spanOf(t)
		return "circulations", lots.Row{"vessels": pick(t, "F1;F2 B1;B2 F1;B1;B2"), "started_at": start, "ended_at": end, "ref": code, "perhaps": pick(t, "yes no yes")}
	case 10:
		row := lots.Row{"lot": pick(t, "C1 C2"), "item": "YEAST", "vessel": pick(t, "F1 F2 B1"), "quantity": qty(), "unit": pick(t, "L kg"), "at": moment(t)}
		if rapid.Bool().Draw(t, "into") {
			row["into"] = "Y1"
		}
		return "crops", row
	case 11, 12:
		row := lots.Row{"vessel": pick(t, tanks+" SI Y1 H1 L1"), "at": moment(t), "method": pick(t, "cip manual rinse"), "ref": code}
		if rapid.IntRange(0, 3).Draw(t, "unverified") == 0 {
			row["verified"] = "no"
		}
		if from := pick(t, "- LM LH LM|LH Y1 G1 C1 F2"); from != "-" && from != row["vessel"] {
			row["from"] = from
		}
		return "cleans", row
	case 13:
		if rapid.IntRange(0, 2).Draw(t, "tip") > 0 {
			return "tippings", lots.Row{"from": pick(t, "LE LE3 LE|LE3"), "into": pick(t, "LE2 LE LE3"), "quantity": qty(), "at": moment(t), "ref": code}
		}
		if rapid.IntRange(0, 3).Draw(t, "clear") == 0 {
			return "clearances", lots.Row{"line": pick(t, "L1 L2"), "at": moment(t), "ref": code}
		}
		if rapid.Bool().Draw(t, "shipped in bulk") {
			return "shipments", lots.Row{"shipment": "S" + code, "unit": pick(t, tanks+" SI Y1 LM LH C1 LM|LH F1|B1 Ba"), "quantity": qty(), "quantity_unit": pick(t, "kg L"), "consignee": "D", "shipped_at": moment(t)}
		}
		return "removals", lots.Row{"subject": pick(t, tanks+" SI Y1"), "quantity": pick(t, "all 10 100"), "at": moment(t), "reason": "dumped", "ref": code}
	case 14:
		start, end := spanOf(t)
		return "runs", lots.Row{"run": pick(t, runs), "product": pick(t, "P P K"), "line": pick(t, "L1 L2"), "started_at": start, "ended_at": end, "date_code": "X", "good": qty(), "rejects": pick(t, "0 7")}
	case 15:
		row := lots.Row{"run": pick(t, runs), "from": pick(t, "B1 B2 F1 LE LE2 LH G1 B1|B2 LE|LE2 U1 R2 R3"), "ref": code}
		if rapid.Bool().Draw(t, "since") {
			row["since"], row["until"] = spanOf(t)
		}
		if rapid.IntRange(0, 2).Draw(t, "quantity") == 0 {
			row["quantity"], row["unit"] = qty(), pick(t, "L kg each case")
		}
		if rapid.IntRange(0, 2).Draw(t, "overlap") == 0 {
			row["overlap_min"] = pick(t, "0 15 90")
		}
		return "feeds", row
	}
	row := lots.Row{"unit": pick(t, "U1 U2 U3 K1/R1"), "kind": "pallet", "run": pick(t, runs), "quantity": pick(t, "1 5 50")}
	if rapid.Bool().Draw(t, "window") {
		row["first_at"], row["last_at"] = spanOf(t)
	}
	if strings.HasPrefix(row["unit"], "K1") {
		row["kind"], row["run"] = "keg", "R1"
	}
	return "units", row
}

func enterText(t require.TestingT, db *DB, text string) {
	var rows []Statement
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		fields := strings.Fields(line)
		s, ok := lots.SheetNamed(fields[0])
		require.True(t, ok)
		row := lots.Row{}
		for _, f := range fields[1:] {
			name, value, _ := strings.Cut(f, "=")
			row[name] = value
		}
		rows = append(rows, Statement{Sheet: s, Row: row, By: "test"})
	}
	require.NoError(t, record(db, rows))
}

// try does one thing in a transaction of its own; what is refused leaves no trace, and a
// refusal must be one that a person can act on.
func try(t *rapid.T, db *DB, f func(tx *Tx) error) {
	err := db.Update(context.Background(), f)
	if err == nil {
		return
	}
	if _, ok := errors.AsType[lots.Faults](err); ok {
		return
	}
	require.NotContains(t, err.Error(), "can no longer be read")
	require.Contains(t, []lots.ErrKind{lots.Invalid, lots.Conflict, lots.NotFound}, lots.KindOf(err), "%v", err)
}

// TestAnyHistoryEqualsItsRebuild records random rows one by one, corrects some and takes
// some back in between, and audits: what was derived step by step is what a rebuild gives.
func TestAnyHistoryEqualsItsRebuild(t *testing.T) {
	recordsAtRandom(t, hall, act)
}

// TestAnyLongHistoryEqualsItsRebuild does the same where vessels' books begin new parts without a clean, too.
func TestAnyLongHistoryEqualsItsRebuild(t *testing.T) {
	daysApart = 40
	defer func() { daysApart = 1 }()
	recordsAtRandom(t, hall, act)
}

func recordsAtRandom(t *testing.T, reference string, act func(t *rapid.T, n int) (string, lots.Row)) {
	dir := t.TempDir()
	n := 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		db, err := Create(context.Background(), filepath.Join(dir, fmt.Sprintf("%d.db", n)))
		require.NoError(t, err)
		defer func() { require.NoError(t, db.Discard()) }()
		enterText(t, db, reference)
		for i := range rapid.IntRange(5, 45).Draw(t, "rows") {
			switch rapid.IntRange(0, 9).Draw(t, "what") {
			case 0:
				correctOne(t, db)
			default:
				var rows []Statement
				for k := range rapid.SampledFrom([]int{1, 1, 1, 3}).Draw(t, "at once") {
					sheet, row := act(t, 3*i+k)
					s, _ := lots.SheetNamed(sheet)
					rows = append(rows, Statement{Sheet: s, Row: row, By: "test"})
				}
				try(t, db, func(tx *Tx) error {
					_, _, faults, err := tx.RecordRows(rows)
					if err == nil && len(faults) > 0 {
						return faults
					}
					return err
				})
			}
		}
		require.NoError(t, db.View(context.Background(), func(tx *Tx) error {
			for _, code := range []string{"F1", "LM", "R1", "U1", "C1", "D"} {
				journalAbout(t, tx, code)
			}
			return tx.Err()
		}))
		report, err := db.Audit(context.Background(), func(string) {})
		require.NoError(t, err)
		require.Empty(t, report.Differences)
	})
}

// journalAbout holds the entries found about a code against a reading of the whole journal.
func journalAbout(t require.TestingT, tx *Tx, code string) {
	var want, got []int64
	named := map[int64]bool{}
	require.NoError(t, tx.Entries(1, func(e *Entry) bool {
		if named[e.Seq] = named[e.Target] || e.Target == 0 && e.Names(code); named[e.Seq] {
			want = append(want, e.Seq)
		}
		return true
	}))
	require.NoError(t, tx.EntriesAbout(code, func(e *Entry) bool {
		got = append(got, e.Seq)
		return true
	}))
	require.Equal(t, want, got, code)
}

// correctOne amends a cell of some row, or takes the row back.
func correctOne(t *rapid.T, db *DB) {
	var rows []lots.Entered
	require.NoError(t, db.View(context.Background(), func(tx *Tx) (err error) {
		rows, err = tx.Everything()
		return err
	}))
	rows = slices.DeleteFunc(rows, func(e lots.Entered) bool {
		return e.Sheet.When == "" && e.Sheet.Name != "lines" && e.Sheet.Name != "units"
	})
	row := rapid.SampledFrom(rows).Draw(t, "row")
	try(t, db, func(tx *Tx) error {
		if rapid.IntRange(0, 2).Draw(t, "void") == 0 {
			_, err := tx.Void(row.Seq, "random", "test")
			return err
		}
		set := map[string]string{}
		column := rapid.SampledFrom(slices.Sorted(maps.Keys(row.Row))).Draw(t, "column")
		switch column {
		case "at", "since", "until", "started_at", "ended_at", "first_at", "last_at", "cast_out_at", "received_at", "washed_at", "shipped_at", "returned_at":
			set[column] = moment(t)
		case "quantity", "volume", "out", "in", "good":
			set[column] = "150"
		case "verified", "overlap_min", "via", "into", "washer", "residue":
			set[column] = ""
		default:
			return nil
		}
		entries := []int64{row.Seq}
		if slices.Contains(row.Sheet.Shared, column) {
			entries = nil
			for _, r := range rows {
				if r.Sheet == row.Sheet && r.Row[r.Sheet.Code] == row.Row[row.Sheet.Code] {
					entries = append(entries, r.Seq)
				}
			}
		}
		_, err := tx.AmendAll(entries, set, "random", "test")
		return err
	})
}
