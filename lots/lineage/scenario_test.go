package lineage_test

import (
	"strings"
	"testing"
	_ "time/tzdata"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// The histories here are invented; what they must give follows from the rules
// of reach, worked out by hand.

// history reads rows written as "sheet column=value column=value"; _ stands for a blank in a value.
func history(t *testing.T, text string) *lots.Ledger {
	t.Helper()
	var rows []lots.Entered
	for line := range strings.Lines(text) {
		words := strings.Fields(line)
		if len(words) == 0 {
			continue
		}
		sheet, ok := lots.SheetNamed(words[0])
		require.True(t, ok, words[0])
		row := lots.Row{}
		for _, w := range words[1:] {
			name, value, _ := strings.Cut(w, "=")
			row[name] = strings.ReplaceAll(value, "_", " ")
		}
		rows = append(rows, lots.Entered{Seq: int64(len(rows) + 1), Sheet: sheet, Row: row})
	}
	l, faults := lots.NewLedger(rows)
	require.Empty(t, faults)
	return l
}

// reach says which units and brews a lot reaches, by repeated passes over all links.
func reach(t *testing.T, l *lots.Ledger, lot string) (in, possible []string) {
	t.Helper()
	d, err := lineage.DeriveAll(l, lineage.DefaultLimits())
	require.NoError(t, err)
	sure, any := map[lineage.Ref]bool{}, map[lineage.Ref]bool{}
	start := lineage.Ref{Kind: graph.Lot, Code: lot}
	sure[start], any[start] = true, true
	nodes := map[lineage.Ref]bool{}
	for changed := true; changed; {
		changed = false
		for _, c := range d.Cells {
			for _, n := range c.Nodes {
				nodes[n.Ref] = true
			}
			for _, k := range c.Links {
				if sure[k.Src] && k.Grade == graph.Content && !sure[k.Dst] {
					sure[k.Dst], any[k.Dst], changed = true, true, true
				}
				if any[k.Src] && !any[k.Dst] {
					any[k.Dst], changed = true, true
				}
			}
		}
	}
	for n := range any {
		require.True(t, nodes[n], "a link names %v, which was not derived", n)
		if n.Kind != graph.Unit && n.Kind != graph.Brew {
			continue
		}
		if sure[n] {
			in = append(in, n.Code)
		} else {
			possible = append(possible, n.Code)
		}
	}
	return in, possible
}

const plant = `
site name=Invented time_zone=Europe/Berlin
items item=MALT name=malt kind=malt unit=kg
items item=HOP name=hop kind=hop unit=kg
items item=END name=end kind=closure unit=each
parties party=SUP name=Supplier role=supplier
products product=P name=Pale container_ml=440 per_case=24
lines line=L1 overlap_min=15
vessels vessel=FV kind=fermenter unit=L
vessels vessel=BT1 kind=bright unit=L
vessels vessel=BT2 kind=bright unit=L
vessels vessel=S1 kind=silo unit=kg
`

func receipt(lot, item, quantity, unit string) string {
	return "receipts lot=" + lot + " item=" + item + " supplier=SUP supplier_lot=" + lot + " quantity=" + quantity + " unit=" + unit + " received_at=2026-01-02_08:00\n"
}

// Ends changed in mid-run with 15 minutes of overlap: the pallet closed before
// the change is out, the one that only the overlap touches is possible.
func TestEndsChangedInMidRun(t *testing.T) {
	l := history(t, plant+receipt("E-77", "END", "20000", "each")+receipt("E-78", "END", "20000", "each")+`
brews brew=B1 beer=Pale started_at=2026-02-01_06:00 cast_out_at=2026-02-01_12:00 into=BT1 volume=5000 unit=L
runs run=R1 product=P line=L1 started_at=2026-03-10_08:00 ended_at=2026-03-10_12:00 date_code=X good=9600
feeds run=R1 from=BT1
feeds run=R1 from=E-77 until=2026-03-10_09:30
feeds run=R1 from=E-78 since=2026-03-10_09:30
units unit=P-1 kind=pallet run=R1 quantity=80 first_at=2026-03-10_08:00 last_at=2026-03-10_08:48
units unit=P-2 kind=pallet run=R1 quantity=80 first_at=2026-03-10_08:48 last_at=2026-03-10_09:36
units unit=P-3 kind=pallet run=R1 quantity=80 first_at=2026-03-10_09:36 last_at=2026-03-10_10:24
units unit=P-4 kind=pallet run=R1 quantity=80 first_at=2026-03-10_10:24 last_at=2026-03-10_11:12
`)
	in, possible := reach(t, l, "E-78")
	require.ElementsMatch(t, []string{"P-3", "P-4"}, in)
	require.ElementsMatch(t, []string{"P-2"}, possible)
	in, possible = reach(t, l, "E-77")
	require.ElementsMatch(t, []string{"P-1", "P-2"}, in)
	require.ElementsMatch(t, []string{"P-3"}, possible)
}

const dryHopped = `
brews brew=B1 beer=Pale started_at=2026-03-20_06:00 cast_out_at=2026-03-20_12:00 into=FV volume=6000 unit=L
brew_inputs brew=B1 from=H-4 quantity=5 unit=kg stage=boil
transfers transfer=T1 from=FV to=BT1 out=2000 in=2000 unit=L started_at=2026-04-02_10:00 ended_at=2026-04-02_10:40
transfers transfer=T2 from=FV to=BT2 out=3700 in=3700 unit=L started_at=2026-04-05_09:00 ended_at=2026-04-05_10:20
runs run=R1 product=P started_at=2026-04-08_08:00 ended_at=2026-04-08_12:00 date_code=X good=4000
feeds run=R1 from=BT1
units unit=P-1 kind=pallet run=R1 quantity=80
runs run=R2 product=P started_at=2026-04-09_08:00 ended_at=2026-04-09_12:00 date_code=Y good=8000
feeds run=R2 from=BT2
units unit=P-2 kind=pallet run=R2 quantity=80
`

// A late dry hop reaches what left after it; with only its date known, what
// left on that day is possible too.
func TestLateDryHop(t *testing.T) {
	for _, test := range []struct {
		name, at string
		possible []string
	}{
		{"time known", "2026-04-02_14:00", nil},
		{"date only", "2026-04-02", []string{"P-1"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			l := history(t, plant+receipt("H-4", "HOP", "50", "kg")+receipt("H-9", "HOP", "50", "kg")+dryHopped+
				"additions vessel=FV from=H-9 quantity=15 unit=kg at="+test.at)
			in, possible := reach(t, l, "H-9")
			require.ElementsMatch(t, []string{"P-2"}, in)
			require.ElementsMatch(t, test.possible, possible)
			in, _ = reach(t, l, "H-4")
			require.ElementsMatch(t, []string{"B1", "P-1", "P-2"}, in)
		})
	}
}

// A silo carries every delivery until it is cleaned; emptied but not cleaned leaves a contact.
func TestSilo(t *testing.T) {
	for _, test := range []struct {
		name, clean string
		possible    []string
	}{
		{"cleaned", "cleans vessel=S1 at=2026-02-17_08:00 method=manual verified=yes", nil},
		{"only emptied", "", []string{"B3"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			l := history(t, plant+test.clean+`
receipts lot=M-1 item=MALT supplier=SUP supplier_lot=1 quantity=2000 unit=kg received_at=2026-01-06_08:00 into=S1
brews brew=B1 beer=Pale started_at=2026-01-10_06:00 cast_out_at=2026-01-10_12:00 into=FV volume=1000 unit=L
brew_inputs brew=B1 from=S1 quantity=1000 unit=kg
receipts lot=M-2 item=MALT supplier=SUP supplier_lot=2 quantity=1000 unit=kg received_at=2026-01-20_08:00 into=S1
brews brew=B2 beer=Pale started_at=2026-01-25_06:00 cast_out_at=2026-01-25_12:00 into=BT1 volume=2000 unit=L
brew_inputs brew=B2 from=S1 quantity=2000 unit=kg
receipts lot=M-3 item=MALT supplier=SUP supplier_lot=3 quantity=1000 unit=kg received_at=2026-02-18_08:00 into=S1
brews brew=B3 beer=Pale started_at=2026-02-20_06:00 cast_out_at=2026-02-20_12:00 into=BT2 volume=1000 unit=L
brew_inputs brew=B3 from=S1 quantity=1000 unit=kg
`)
			in, possible := reach(t, l, "M-2")
			require.ElementsMatch(t, []string{"B2"}, in)
			require.ElementsMatch(t, test.possible, possible)
			in, _ = reach(t, l, "M-1")
			require.ElementsMatch(t, []string{"B1", "B2"}, in)
		})
	}
}

// A tank topped up while it is packed: beer drawn before the top-up's start is out.
func TestTopUpDuringRun(t *testing.T) {
	l := history(t, plant+receipt("H-4", "HOP", "50", "kg")+`
brews brew=A beer=Pale started_at=2026-05-01_06:00 cast_out_at=2026-05-01_12:00 into=BT1 volume=3000 unit=L
brews brew=B beer=Pale started_at=2026-05-01_06:00 cast_out_at=2026-05-01_13:00 into=BT2 volume=1000 unit=L
brew_inputs brew=B from=H-4 quantity=5 unit=kg
transfers transfer=T1 from=BT2 to=BT1 out=800 in=800 unit=L started_at=2026-05-08_09:30 ended_at=2026-05-08_10:00
runs run=R1 product=P started_at=2026-05-08_08:00 ended_at=2026-05-08_11:30 date_code=X good=8400
feeds run=R1 from=BT1
units unit=P-1 kind=pallet run=R1 quantity=80 first_at=2026-05-08_08:00 last_at=2026-05-08_09:30
units unit=P-2 kind=pallet run=R1 quantity=80 first_at=2026-05-08_09:30 last_at=2026-05-08_11:30
`)
	in, possible := reach(t, l, "H-4")
	require.ElementsMatch(t, []string{"B", "P-2"}, in)
	require.Empty(t, possible)
}

func TestCrossingTransfersAreRefused(t *testing.T) {
	l := history(t, plant+`
transfers transfer=T1 from=BT1 to=BT2 out=10 in=10 unit=L started_at=2026-05-08_09:00 ended_at=2026-05-08_10:00
transfers transfer=T2 from=BT2 to=BT1 out=10 in=10 unit=L started_at=2026-05-08_09:30 ended_at=2026-05-08_11:00
`)
	_, err := lineage.DeriveAll(l, lineage.DefaultLimits())
	require.ErrorContains(t, err, "T1")
	require.ErrorContains(t, err, "T2")
}

// A lot opened in mid-run is certain only once the magazine has run through,
// also where nothing else changes at that moment.
func TestMagazineRunsThrough(t *testing.T) {
	l := history(t, plant+receipt("E-78", "END", "20000", "each")+`
brews brew=B1 beer=Pale started_at=2026-02-01_06:00 cast_out_at=2026-02-01_12:00 into=BT1 volume=5000 unit=L
runs run=R1 product=P line=L1 started_at=2026-03-10_08:00 ended_at=2026-03-10_12:00 date_code=X good=9600
feeds run=R1 from=BT1
feeds run=R1 from=E-78 since=2026-03-10_09:30
units unit=P-1 kind=pallet run=R1 quantity=80 first_at=2026-03-10_08:00 last_at=2026-03-10_09:30
units unit=P-2 kind=pallet run=R1 quantity=10 first_at=2026-03-10_09:30 last_at=2026-03-10_09:45
units unit=P-3 kind=pallet run=R1 quantity=80 first_at=2026-03-10_09:45 last_at=2026-03-10_12:00
`)
	in, possible := reach(t, l, "E-78")
	require.ElementsMatch(t, []string{"P-3"}, in)
	require.ElementsMatch(t, []string{"P-2"}, possible)
}

// A tank emptied by a removal but not cleaned leaves a contact to what comes next; a clean ends it.
func TestEmptiedTank(t *testing.T) {
	for _, test := range []struct {
		name, clean string
		possible    []string
	}{
		{"rinsed", "cleans vessel=BT1 at=2026-03-05_08:00 method=rinse", []string{"P-2"}},
		{"clean not verified", "cleans vessel=BT1 at=2026-03-05_08:00 method=cip verified=no", []string{"P-2"}},
		{"cleaned", "cleans vessel=BT1 at=2026-03-05_08:00 method=cip", nil},
	} {
		t.Run(test.name, func(t *testing.T) {
			l := history(t, plant+receipt("H-4", "HOP", "50", "kg")+test.clean+`
brews brew=B1 beer=Pale started_at=2026-03-01_06:00 cast_out_at=2026-03-01_12:00 into=BT1 volume=1000 unit=L
brew_inputs brew=B1 from=H-4 quantity=5 unit=kg
removals subject=BT1 quantity=all at=2026-03-04_08:00 reason=dumped
brews brew=B2 beer=Pale started_at=2026-03-10_06:00 cast_out_at=2026-03-10_12:00 into=BT1 volume=1000 unit=L
runs run=R2 product=P started_at=2026-03-12_08:00 ended_at=2026-03-12_10:00 date_code=X good=2000
feeds run=R2 from=BT1
units unit=P-2 kind=pallet run=R2 quantity=80
`)
			in, possible := reach(t, l, "H-4")
			require.ElementsMatch(t, []string{"B1"}, in)
			require.ElementsMatch(t, test.possible, possible)
		})
	}
}
