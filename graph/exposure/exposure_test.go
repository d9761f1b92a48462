package exposure_test

import (
	"bytes"
	"context"
	"encoding/xml"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/graph/exposure"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

var ctx = context.Background()

func open(t *testing.T, text string) *store.DB {
	t.Helper()
	db, err := store.Create(ctx, filepath.Join(t.TempDir(), "e.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	require.NoError(t, db.Update(ctx, func(tx *store.Tx) error { return record(t, tx, text) }))
	return db
}

func record(t require.TestingT, tx *store.Tx, text string) error {
	var rows []store.Statement
	for _, r := range histories.Written(text) {
		sheet, ok := lots.SheetNamed(r.Sheet)
		require.True(t, ok, r.Sheet)
		rows = append(rows, store.Statement{Sheet: sheet, Row: r.Row, By: "me"})
	}
	_, _, faults, err := tx.RecordRows(rows)
	require.Empty(t, faults)
	return err
}

func of(t *testing.T, db *store.DB) *exposure.Answer {
	t.Helper()
	var a *exposure.Answer
	require.NoError(t, db.View(ctx, func(tx *store.Tx) (err error) {
		a, err = exposure.Of(tx, time.Time{})
		return err
	}))
	return a
}

const house = `
site name=Test time_zone=UTC
items item=HOP name=hop kind=hop unit=kg
parties party=SUP name=s role=supplier
parties party=D name=d role=consignee channel=distributor
products product=P name=p container_ml=1000 per_case=1
`

// F1 from R1 and R2, F2 from R1 and R3, F3 from R3; 10, 20 and 5 cases. Downward 2, 1, 2 and upward
// 2, 2, 1: total 10. R1 calls back 30, R2 10, R3 25: at worst 30, on average 21.67 (worked example
// by the definitions of Dupuy et al. 2005 and of Dabbene and Gay 2011, from memory of the papers).
func finished(tanks string) string {
	text := house
	for _, v := range []string{"V1", "V2", "V3"} {
		text += "vessels vessel=" + v + " kind=fermenter unit=L\n"
	}
	for i, r := range []string{"R1", "R2", "R3"} {
		text += fmt.Sprintf("receipts lot=%s item=HOP supplier=SUP supplier_lot=%s quantity=10 unit=kg received_at=2026-0%d-02_08:00\n", r, r, i+1)
	}
	uses := map[string][]string{"V1": {"R1", "R2"}, "V2": {"R1", "R3"}, "V3": {"R3"}}
	for i, v := range []string{"V1", "V2", "V3"} {
		vessel := v
		if tanks == "merged" && v == "V2" {
			vessel = "V1"
		}
		text += fmt.Sprintf("brews brew=B%d beer=x started_at=2026-04-0%d_08:00 cast_out_at=2026-04-0%d_12:00 into=%s volume=100 unit=L\n", i+1, i+1, i+1, vessel)
		for _, r := range uses[v] {
			text += fmt.Sprintf("brew_inputs brew=B%d from=%s quantity=1 unit=kg\n", i+1, r)
		}
	}
	for i, n := range []int{10, 20, 5} {
		vessel := fmt.Sprintf("V%d", i+1)
		if tanks == "merged" && vessel == "V2" {
			vessel = "V1"
		}
		text += fmt.Sprintf("runs run=F%d product=P started_at=2026-05-0%d_08:00 ended_at=2026-05-0%d_09:00 date_code=F%d good=%d\nfeeds run=F%d from=%s\nunits unit=U%d kind=pallet run=F%d quantity=%d\n", i+1, i+1, i+1, i+1, n, i+1, vessel, i+1, i+1, n)
	}
	return text
}

func TestDispersionOfTheWorkedExample(t *testing.T) {
	m := of(t, open(t, finished(""))).Measures
	require.Equal(t, exposure.Measures{Lots: 3, Runs: 3, Downward: 5, Upward: 5, Total: 10, Worst: lots.Packages{Cases: 30}, Average: lots.Packages{Cases: 21.67}, WorstL: 30, AverageL: lots.Nine(65.0 / 3)}, m)
	// With one tank for the first two, both hold all three lots: 2, 2, 3 and 3, 3, 1, total 14.
	m = of(t, open(t, finished("merged"))).Measures
	require.Equal(t, 7, m.Downward)
	require.Equal(t, 7, m.Upward)
	require.Equal(t, 14, m.Total)
	require.InDelta(t, 35, m.Worst.Cases, 1e-9)
}

// On random histories every risk is what a trace of it says, and downward equals upward.
func TestRiskIsWhatATraceSays(t *testing.T) {
	dir := t.TempDir()
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		db, err := store.Create(ctx, filepath.Join(dir, fmt.Sprintf("%d.db", n)))
		require.NoError(rt, err)
		defer func() { require.NoError(rt, db.Discard()) }()
		err = db.Update(ctx, func(tx *store.Tx) error {
			var rows []store.Statement
			for _, r := range histories.Draw(rt) {
				sheet, _ := lots.SheetNamed(r.Sheet)
				rows = append(rows, store.Statement{Sheet: sheet, Row: r.Row, By: "me"})
			}
			_, _, faults, err := tx.RecordRows(rows)
			if err != nil || len(faults) > 0 {
				return err
			}
			a, err := exposure.Of(tx, time.Time{})
			require.NoError(rt, err)
			require.Equal(rt, a.Measures.Downward, a.Measures.Upward)
			for _, r := range a.Risks {
				kind := map[string]string{"lot": "lot:", "crop": "lot:", "chain": "fill:"}[r.Kind]
				told, err := trace.Trace(tx, graph.Forward, kind+r.Code)
				require.NoError(rt, err, r.Code)
				require.Equal(rt, told.Totals.In.Units, r.In.Units, r.Code)
				require.Equal(rt, told.Totals.Possible.Units, r.May.Units, r.Code)
				require.Equal(rt, told.Totals.In.Cases, r.In.Cases, r.Code)
				require.Equal(rt, told.Totals.In.Kegs, r.In.Kegs, r.Code)
				left, several, who := movedBy(tx, told)
				require.Equal(rt, left["in"], r.In.Left, r.Code)
				require.Equal(rt, left["possible"], r.May.Left, r.Code)
				require.Equal(rt, several, r.OneOfSeveral, r.Code)
				runs := map[string]int{}
				for _, x := range told.Runs {
					runs[x.Band]++
				}
				require.Equal(rt, runs["in"], r.In.Runs, r.Code)
				require.Equal(rt, runs["possible"], r.May.Runs, r.Code)
				require.Equal(rt, len(who), r.Consignees, r.Code)
				require.Equal(rt, told.Totals.In.Unassigned, r.In.Unassigned, r.Code)
				require.Equal(rt, told.Totals.Possible.Unassigned, r.May.Unassigned, r.Code)
			}
			return tx.Err()
		})
		if lots.KindOf(err) != lots.Conflict { // rings are refused
			require.NoError(rt, err)
		}
	})
}

// movedBy adds up, row by row, what left of the units of an answer and what of it came back, by band, but for
// what was over before anything affected stood on its unit; what left as one of several; and who received any.
func movedBy(tx *store.Tx, told *trace.Answer) (left map[string]lots.Packages, several lots.Packages, who map[string]bool) {
	before := told.Before()
	left, who = map[string]lots.Packages{}, map[string]bool{}
	seen := map[int64]bool{}
	for _, u := range told.Units {
		kegs := u.Kind == "keg"
		move := func(n int64) {
			p := left[u.Band]
			p.Add(kegs, float64(n))
			left[u.Band] = p
		}
		for _, rec := range tx.Touching(u.Code) {
			if _, over := before[rec.Entry()]; over {
				continue
			}
			switch x := rec.(type) {
			case *lots.Shipment:
				who[x.Consignee] = true
				switch {
				case !x.Unit.OneOf():
					move(x.Quantity)
				case !seen[x.Seq]:
					seen[x.Seq] = true
					several.Add(kegs, float64(x.Quantity))
				}
			case *lots.Return:
				if !x.Unit.OneOf() && x.State != "empty" {
					move(-x.Quantity)
				}
			}
		}
	}
	for _, b := range told.Bulk {
		who[b.Consignee] = true
	}
	return left, several, who
}

const silo = house + `
items item=MALT name=malt kind=malt unit=kg
vessels vessel=S kind=silo unit=kg
vessels vessel=F1 kind=fermenter unit=L
vessels vessel=F2 kind=fermenter unit=L
receipts lot=M1 item=MALT supplier=SUP supplier_lot=1 quantity=100 unit=kg received_at=2026-01-02_08:00 into=S
brews brew=B1 beer=x started_at=2026-01-05_08:00 cast_out_at=2026-01-05_12:00 into=F1 volume=100 unit=L
brew_inputs brew=B1 from=S quantity=60 unit=kg
receipts lot=M2 item=MALT supplier=SUP supplier_lot=2 quantity=100 unit=kg received_at=2026-01-12_08:00 into=S
brews brew=B2 beer=x started_at=2026-01-15_08:00 cast_out_at=2026-01-15_12:00 into=F2 volume=100 unit=L
brew_inputs brew=B2 from=S quantity=60 unit=kg
runs run=R1 product=P started_at=2026-02-01_08:00 ended_at=2026-02-01_09:00 date_code=1 good=80
feeds run=R1 from=F1
units unit=U1 kind=pallet run=R1 quantity=80
runs run=R2 product=P started_at=2026-02-02_08:00 ended_at=2026-02-02_09:00 date_code=2 good=90
feeds run=R2 from=F2
units unit=U2 kind=pallet run=R2 quantity=90
`

// A pallet was topped up after 30 of it had left: of the later beer only the 20 that left then can have gone out,
// and 35 of one of several; the consignee of the first had none of it.
func TestWhatLeftBeforeATopUpIsNotAtRisk(t *testing.T) {
	const trade = silo + `
parties party=C1 name=a role=consignee
parties party=C2 name=b role=consignee
units unit=U1 kind=pallet run=R2 quantity=10
shipments shipment=S1 unit=U1 quantity=30 consignee=C1 shipped_at=2026-02-01_12:00
shipments shipment=S2 unit=U1 quantity=20 consignee=C2 shipped_at=2026-02-03_12:00
shipments shipment=S3 unit=U1|U2 quantity=35 consignee=C2 shipped_at=2026-02-04_12:00
`
	risks := map[string]exposure.Risk{}
	for _, r := range of(t, open(t, trade)).Risks {
		risks[r.Code] = r
	}
	later, both := risks["M2"], risks["M1"]
	require.InDelta(t, 20, later.In.Left.Cases, 1e-9)
	require.InDelta(t, 35, later.OneOfSeveral.Cases, 1e-9)
	require.Equal(t, 1, later.Consignees)
	require.InDelta(t, 50, both.In.Left.Cases, 1e-9)
	require.InDelta(t, 35, both.OneOfSeveral.Cases, 1e-9)
	require.Equal(t, 2, both.Consignees)
}

// What is proposed shrinks a risk exactly as recording it does, and leaves the records alone.
func TestShrinkIsWhatRecordingItGives(t *testing.T) {
	db := open(t, silo)
	a := of(t, db)
	require.NoError(t, exposure.Shrink(ctx, db, a, len(a.Risks)))
	require.NotEmpty(t, a.Shrink)
	best := a.Shrink[0]
	require.Contains(t, best.What, "empty and clean S before its fill of 2026-01-12 08:00")
	require.InDelta(t, 170, best.Before, 1e-9)
	require.InDelta(t, 80, best.After, 1e-9)
	require.Equal(t, of(t, db).Measures, a.Measures, "nothing was changed")
	require.NoError(t, db.Update(ctx, func(tx *store.Tx) error {
		return record(t, tx, "cleans vessel=S at=2026-01-12_07:59 method=manual")
	}))
	for _, r := range of(t, db).Risks {
		if r.Kind+" "+r.Code == best.Risk {
			require.InDelta(t, best.After, r.In.VolumeL+r.May.VolumeL, 1e-9)
		}
	}
}

const hops = house + `
vessels vessel=F1 kind=fermenter unit=L
vessels vessel=F2 kind=fermenter unit=L
vessels vessel=F3 kind=fermenter unit=L
receipts lot=H2 item=HOP supplier=SUP supplier_lot=2 quantity=10 unit=kg received_at=2026-01-20_08:00
receipts lot=H1 item=HOP supplier=SUP supplier_lot=1 quantity=10 unit=kg received_at=2026-01-02_08:00
receipts lot=H0 item=HOP supplier=SUP supplier_lot=0 quantity=0.5 unit=kg received_at=2026-01-25_08:00
receipts lot=H3 item=HOP supplier=SUP supplier_lot=3 quantity=10 unit=kg received_at=2026-06-02_08:00
brews brew=B1 beer=x started_at=2026-01-05_08:00 cast_out_at=2026-01-05_12:00 into=F1 volume=100 unit=L
brews brew=B3 beer=x started_at=2026-02-15_08:00 cast_out_at=2026-02-15_12:00 into=F3 volume=100 unit=L
brews brew=B2 beer=x started_at=2026-02-05_08:00 cast_out_at=2026-02-05_12:00 into=F2 volume=100 unit=L
brew_inputs brew=B3 from=H1 quantity=1 unit=kg
brew_inputs brew=B1 from=H1 quantity=1 unit=kg
brew_inputs brew=B2 from=H1 quantity=1 unit=kg
runs run=R1 product=P started_at=2026-03-01_08:00 ended_at=2026-03-01_09:00 date_code=1 good=80
feeds run=R1 from=F1
units unit=U1 kind=pallet run=R1 quantity=80
runs run=R2 product=P started_at=2026-03-02_08:00 ended_at=2026-03-02_09:00 date_code=2 good=90
feeds run=R2 from=F2
units unit=U2 kind=pallet run=R2 quantity=90
runs run=R3 product=P started_at=2026-03-03_08:00 ended_at=2026-03-03_09:00 date_code=3 good=70
feeds run=R3 from=F3
units unit=U3 kind=pallet run=R3 quantity=70
`

// What was tried for each of the worst is told with its result, where nothing helped and where there was nothing to try too.
func TestEveryAttemptIsTold(t *testing.T) {
	db := open(t, finished("merged"))
	a := of(t, db)
	require.NoError(t, exposure.Shrink(ctx, db, a, len(a.Risks)))
	byRisk := map[string][]exposure.Attempt{}
	for _, x := range a.Attempts {
		byRisk[x.Risk] = append(byRisk[x.Risk], x)
	}
	for _, r := range a.Risks {
		require.NotEmpty(t, byRisk[r.Kind+" "+r.Code], r.Code)
	}
	require.Equal(t, "less in scope", byRisk["lot R2"][0].Result, "a clean parts B2 from B1")
	require.Equal(t, "no less in scope", byRisk["lot R1"][0].Result, "R1 is in B1 and in B2")
	require.Contains(t, byRisk["chain V3@2026-04-03T12:00"][0].Result, "nothing to try")
	require.Empty(t, byRisk["chain V3@2026-04-03T12:00"][0].What)
	helped := 0
	for _, x := range a.Attempts {
		if x.Saved > 0 {
			helped++
		}
	}
	require.Len(t, a.Shrink, helped)
}

// Another lot is one that was there by then and had enough left: H2, not H0 (too little) nor H3 (later);
// it takes the second half of the brews, whatever the order of their rows.
func TestAnotherLotIsOneThatWasThere(t *testing.T) {
	db := open(t, hops)
	a := of(t, db)
	require.NoError(t, exposure.Shrink(ctx, db, a, len(a.Risks)))
	require.Len(t, a.Shrink, 1)
	require.Equal(t, "lot H1", a.Shrink[0].Risk)
	require.Contains(t, a.Shrink[0].What, "change lots before brew B2: use H2")
	require.InDelta(t, 240, a.Shrink[0].Before, 1e-9)
	require.InDelta(t, 80, a.Shrink[0].After, 1e-9)
	require.Error(t, exposure.Shrink(ctx, db, a, -1))
}

// The picture is well formed, and its bars count every lot once.
func TestPicture(t *testing.T) {
	a := of(t, open(t, silo))
	var b bytes.Buffer
	require.NoError(t, a.SVG(&b))
	dec := xml.NewDecoder(&b)
	counted, over := 0, false // the numbers over bars are in the middle and of the common size
	for {
		token, err := dec.Token()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		switch x := token.(type) {
		case xml.StartElement:
			middle, size := false, false
			for _, at := range x.Attr {
				middle = middle || at.Name.Local == "text-anchor"
				size = size || at.Name.Local == "font-size"
			}
			over = x.Name.Local == "text" && middle && !size
		case xml.CharData:
			if n, err := strconv.Atoi(string(x)); over && err == nil {
				counted += n
			}
		}
	}
	of := 0
	for _, r := range a.Risks {
		if r.Kind == "lot" {
			of++
		}
	}
	require.Equal(t, 2, of)
	require.Equal(t, of, counted)
}

// One pass for all lots against a walk for each, in one run: compare the two lines.
func BenchmarkExposure(b *testing.B) {
	db, err := store.Create(ctx, filepath.Join(b.TempDir(), "b.db"))
	require.NoError(b, err)
	defer db.Close()
	text := silo
	for i := range 150 {
		text += fmt.Sprintf("receipts lot=H%d item=HOP supplier=SUP supplier_lot=h%d quantity=10 unit=kg received_at=2026-01-0%d_08:00\nadditions vessel=F%d from=H%d quantity=0.01 unit=kg at=2026-01-%d_10:%02d\n", i, i, 1+i%9, 1+i%2, i, 16+i%9, i%60)
	}
	require.NoError(b, db.Update(ctx, func(tx *store.Tx) error { return record(b, tx, text) }))
	b.Run("all at once", func(b *testing.B) {
		for b.Loop() {
			require.NoError(b, db.View(ctx, func(tx *store.Tx) error {
				_, err := exposure.Of(tx, time.Time{})
				return err
			}))
		}
	})
	b.Run("a trace for each", func(b *testing.B) {
		for b.Loop() {
			require.NoError(b, db.View(ctx, func(tx *store.Tx) error {
				for _, code := range tx.CodesFrom("", lots.KindLot) {
					if _, err := trace.Trace(tx, graph.Forward, "lot:"+code); err != nil {
						return err
					}
				}
				return nil
			}))
		}
	})
}
