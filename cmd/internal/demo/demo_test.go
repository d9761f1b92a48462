package demo

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
	"heeltap/lots/lineage"
)

// history is the brewery's rows as they stand after all corrections, read by the rules of the sheets.
func history(t *testing.T) *lots.Ledger {
	t.Helper()
	l, faults := lots.NewLedger(Rows(Brewery()))
	require.Empty(t, faults)
	return l
}

func TestEveryCallGivesTheSameHistory(t *testing.T) {
	require.Equal(t, Brewery(), Brewery())
}

func TestItIsTypedInOrder(t *testing.T) {
	entries := Brewery()
	for i := 1; i < len(entries); i++ {
		require.False(t, entries[i].Recorded.Before(entries[i-1].Recorded))
	}
}

// TestOnlyTheGapsThatAreMeant derives the lineage: the faults in the records are those that
// the history means to have, and no other.
func TestOnlyTheGapsThatAreMeant(t *testing.T) {
	delta, err := lineage.DeriveAll(history(t), lineage.DefaultLimits())
	require.NoError(t, err)
	names := map[string]int{}
	for _, c := range delta.Cells {
		for _, f := range c.Findings {
			names[f.Name]++
			t.Log(f.Name, f.Code, f.Text)
		}
	}
	require.Equal(t, map[string]int{
		"drawn-above-content": 1, "break-in-doubt": 1, // a transfer into the serving tank, misread
		"used-above-receipt":        1, // sacks of oats, miscounted
		"part-changed-between-runs": 1, // a clearance of the line that nobody wrote down
		"unrecorded-loss":           1, // a fermenter's rest that nobody wrote down
	}, names)
}

// TestNothingIsShippedTwice adds up each unit's movements in order of time.
func TestNothingIsShippedTwice(t *testing.T) {
	left := map[string]float64{}
	for _, rec := range history(t).Records() {
		switch x := rec.(type) {
		case *lots.Packed:
			left[x.Unit] += float64(x.Quantity)
		case *lots.Shipment:
			if !x.Unit.OneOf() {
				left[x.Unit.Code()] -= float64(x.Quantity)
			}
		case *lots.Return:
			if x.State != "empty" {
				left[x.Unit.Code()] += float64(x.Quantity)
			}
		case *lots.Feed:
			if x.From.Kind == lots.KindUnit {
				left[x.From.Code()] -= x.Count
			}
		case *lots.Removal:
			if x.Subject.Kind == lots.KindUnit {
				left[x.Subject.Code()] -= x.Count
			}
		}
	}
	for unit, n := range left {
		require.GreaterOrEqual(t, n, 0.0, unit)
	}
}

// TestWhatABreweryMeetsIsThere counts in the rows what the history is meant to show.
func TestWhatABreweryMeetsIsThere(t *testing.T) {
	entries := Brewery()
	rows := Rows(entries)
	rowsOf := func(sheet string, is func(lots.Row) bool) (n int) {
		for _, r := range rows {
			if r.Sheet.Name == sheet && is(r.Row) {
				n++
			}
		}
		return n
	}
	item := map[string]string{}
	product := map[string]string{}
	kegs := map[string]int{}
	shipped := map[string]int{}
	for _, r := range rows {
		switch r.Sheet.Name {
		case "receipts":
			item[r.Row["lot"]] = r.Row["item"]
		case "runs":
			product[r.Row["run"]] = r.Row["product"]
		case "units":
			if keg, _, ok := lots.SplitFilling(r.Row["unit"]); ok {
				kegs[keg]++
			}
		case "shipments":
			shipped[r.Row["unit"]]++
		}
	}
	several := func(m map[string]int) (n int) {
		for _, times := range m {
			if times > 1 {
				n++
			}
		}
		return n
	}
	is := func(column, value string) func(lots.Row) bool {
		return func(r lots.Row) bool { return r[column] == value }
	}
	any := func(column, part string) func(lots.Row) bool {
		return func(r lots.Row) bool { return strings.Contains(r[column], part) }
	}
	for name, x := range map[string]struct{ least, have int }{
		"months":                     {13, monthsOf(entries)},
		"consignees":                 {24, rowsOf("parties", is("role", "consignee"))},
		"beers":                      {4, len(beersOf(rows))},
		"deliveries into the silo":   {5, rowsOf("receipts", is("into", "SILO-1"))},
		"the silo swept":             {1, rowsOf("cleans", is("vessel", "SILO-1"))},
		"brews into one fermenter":   {200, rowsOf("brews", any("into", "FV"))},
		"yeast generations":          {6, generations(t)},
		"dry hops":                   {20, rowsOf("additions", is("purpose", "dry hop"))},
		"dry hops of unknown time":   {1, rowsOf("additions", func(r lots.Row) bool { return len(r["at"]) == len("2006-01-02") })},
		"clean breaks":               {500, rowsOf("cleans", is("method", "cip"))},
		"lots opened in mid-run":     {20, rowsOf("feeds", func(r lots.Row) bool { return r["since"] != "" && item[r["from"]] != "" })},
		"ends opened in mid-run":     {5, rowsOf("feeds", func(r lots.Row) bool { return r["since"] != "" && item[r["from"]] == "END-20" })},
		"units of two runs":          {2, severalRuns(rows)},
		"mixed boxes":                {1, rowsOf("runs", is("product", "FERRY-BOX"))},
		"kegs filled again":          {50, several(kegs)},
		"kegs back with beer":        {3, rowsOf("returns", is("state", "part"))},
		"pallets shipped in parts":   {50, several(shipped)},
		"goods returned":             {3, rowsOf("returns", is("state", "full"))},
		"taproom use":                {10, rowsOf("removals", is("reason", "taproom"))},
		"samples":                    {10, rowsOf("removals", is("reason", "sample"))},
		"a beer with an allergen":    {2, rowsOf("products", any("declares", "milk"))},
		"shipped to the brand owner": {10, rowsOf("shipments", is("consignee", brandOwner))},
		"one of several":             {1, rowsOf("brew_inputs", any("from", "|"))},
		"one of two pallets":         {2, rowsOf("shipments", any("unit", "|"))},
		"no supplier's lot":          {1, rowsOf("receipts", is("supplier_lot", "-"))},
		"a code of the day before":   {1, rowsOf("codes", any("run", "R"))},
		"received on hold":           {1, rowsOf("receipts", is("status", "hold"))},
		"holds":                      {2, rowsOf("holds", any("reason", " "))},
		"counts":                     {20, rowsOf("counts", any("subject", "P"))},
		"corrections":                {3, fixes(entries, true)},
		"rows taken back":            {1, fixes(entries, false)},
		"written weeks late":         {2, late(entries)},
	} {
		require.GreaterOrEqual(t, x.have, x.least, name)
	}
}

func monthsOf(entries []Entry) int {
	months := map[string]bool{}
	for _, e := range entries {
		months[e.Recorded.Format("2006-01")] = true
	}
	return len(months)
}

func beersOf(rows []lots.Entered) map[string]bool {
	beers := map[string]bool{}
	for _, r := range rows {
		if r.Sheet.Name == "brews" {
			beers[r.Row["beer"]] = true
		}
	}
	return beers
}

// generations follows yeast through the lineage: how many crops stand in one chain.
func generations(t *testing.T) int {
	delta, err := lineage.DeriveAll(history(t), lineage.DefaultLimits())
	require.NoError(t, err)
	into := map[lineage.Ref][]lineage.Ref{}
	crop := map[lineage.Ref]bool{}
	for _, c := range delta.Cells {
		for _, l := range c.Links {
			if l.Grade == 0 {
				into[l.Dst] = append(into[l.Dst], l.Src)
			}
			crop[l.Dst] = crop[l.Dst] || l.Cause.String() == "cropped"
		}
	}
	age := map[lineage.Ref]int{}
	var count func(lineage.Ref) int
	count = func(r lineage.Ref) int {
		if n, ok := age[r]; ok {
			return n
		}
		n := 0
		for _, src := range into[r] {
			n = max(n, count(src))
		}
		if crop[r] {
			n++
		}
		age[r] = n
		return n
	}
	most := 0
	for r := range into {
		most = max(most, count(r))
	}
	return most
}

func severalRuns(rows []lots.Entered) (n int) {
	runs := map[string]map[string]bool{}
	for _, r := range rows {
		if r.Sheet.Name == "units" {
			if runs[r.Row["unit"]] == nil {
				runs[r.Row["unit"]] = map[string]bool{}
			}
			runs[r.Row["unit"]][r.Row["run"]] = true
		}
	}
	for _, r := range runs {
		if len(r) > 1 {
			n++
		}
	}
	return n
}

func fixes(entries []Entry, amend bool) (n int) {
	for _, e := range entries {
		if e.Fix != nil && (e.Fix.Set != nil) == amend {
			n++
		}
	}
	return n
}

// late counts rows typed in more than five weeks after they happened.
func late(entries []Entry) (n int) {
	for _, e := range entries {
		s, ok := lots.SheetNamed(e.Sheet)
		if ok && s.When != "" && e.Row[s.When] != "" && e.Recorded.AddDate(0, 0, -35).Format("2006-01-02") > e.Row[s.When][:10] {
			n++
		}
	}
	return n
}
