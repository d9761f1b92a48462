package mailing

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph/recall"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/papers"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

// trader is a consignee with all that could give it away: each word of it stands nowhere else.
type trader struct {
	party string
	row   lots.Row
	marks []string // its code, name, contact, telephone, e-mail and address, whom it supplied, and the papers of its deliveries
}

func traders() map[string]*trader {
	out := map[string]*trader{}
	for i, name := range []string{"Alderbarrel", "Brambletap", "Cinderpint"} {
		t := &trader{party: fmt.Sprintf("TRADER-%d", i+1)}
		t.row = lots.Row{"party": t.party, "name": name, "role": "consignee", "contact": "Ask" + name, "phone": fmt.Sprintf("0700-90%d", i), "email": "mail@" + name + ".example",
			"address": "Street of " + name, "channel": []string{"retailer", "distributor", "on-premise"}[i]}
		t.marks = []string{t.party, name, t.row["phone"], "Customer" + strings.ToLower(name[:3]), fmt.Sprintf("0711-80%d", i)}
		out[t.party] = t
	}
	return out
}

// amongTraders gives the deliveries of a history to several consignees, each with a paper of its own; what came back
// came from whoever had it last.
func amongTraders(t *rapid.T, rows []histories.Row, all map[string]*trader) (said []store.Statement) {
	had, parties := map[string]string{}, slices.Sorted(maps.Keys(all))
	put := func(sheet string, row lots.Row) {
		s, ok := lots.SheetNamed(sheet)
		require.True(t, ok)
		said = append(said, store.Statement{Sheet: s, Row: row, By: "test"})
	}
	told := false
	for n, r := range rows {
		row := maps.Clone(r.Row)
		switch r.Sheet {
		case "shipments":
			to := all[rapid.SampledFrom(parties).Draw(t, "to")]
			row["consignee"], row["document"] = to.party, fmt.Sprintf("PAPER-%d-OF-%s", n, to.party)
			had[row["unit"]] = to.party
		case "returns":
			if from, ok := had[row["unit"]]; ok {
				row["consignee"] = from
			}
		}
		put(r.Sheet, row)
		if r.Sheet == "parties" && !told {
			for _, p := range parties {
				put("parties", all[p].row)
			}
			told = true
		}
	}
	for n, r := range rows { // histories ship little: from each unit some more goes out
		if r.Sheet != "units" {
			continue
		}
		for i := range rapid.IntRange(0, 3).Draw(t, "more") {
			to := all[rapid.SampledFrom(parties).Draw(t, "more to")].party
			put("shipments", lots.Row{"shipment": fmt.Sprintf("MORE-%d-%d", n, i), "unit": r.Row["unit"], "quantity": "1", "consignee": to, "shipped_at": "2026-12-20 09:00", "document": fmt.Sprintf("PAPER-%d-%d-OF-%s", n, i, to)})
		}
	}
	return said
}

// Whatever happened: the letter to a consignee, with its answer form, and its row of the table for a mail merge show
// nothing of another one, nor what somebody said of it; nor does a letter to a supplier show any. The list of whom the consignees
// supplied and the list of units are for the house, and have a row for each.
func TestNoConsigneeLearnsOfAnother(t *testing.T) {
	ctx, dir, n := context.Background(), t.TempDir(), 0
	letters, several := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		all := traders()
		rows := histories.DrawSize(t, histories.Size{Acts: 20, Vessels: 3})
		said := amongTraders(t, rows, all)
		var suspects []string
		for _, r := range rows {
			s, _ := lots.SheetNamed(r.Sheet)
			if code := r.Row[s.Code]; strings.Contains("receipts brews runs", r.Sheet) && code != "" && !slices.Contains(suspects, code) {
				suspects = append(suspects, code)
			}
		}
		if len(suspects) == 0 {
			return
		}
		n++
		db, err := store.Create(ctx, filepath.Join(dir, fmt.Sprintf("%d.db", n)))
		require.NoError(t, err)
		defer func() { require.NoError(t, db.Discard()) }()
		refused := false
		_ = db.Update(ctx, func(tx *store.Tx) error {
			_, _, faults, err := tx.RecordRows(said)
			if refused = err != nil || len(faults) > 0; refused { // a ring
				return fmt.Errorf("refused: %v %v", err, faults)
			}
			return nil
		})
		if refused {
			return
		}
		code := ""
		require.NoError(t, db.Update(ctx, func(tx *store.Tx) error {
			r, err := recall.Begin(tx, recall.Opened{Suspects: suspects, Hazard: "foreign-body", Reason: "wire"}, recall.At{}, "Quint")
			require.NoError(t, err)
			code = r.Code
			for _, p := range slices.Sorted(maps.Keys(all)) {
				x := all[p]
				others := strings.Join(slices.DeleteFunc(slices.Sorted(maps.Keys(all)), func(o string) bool { return o == p }), " and ")
				for _, step := range []recall.Step{
					&recall.Told{Party: p, How: "phone", Who: x.row["contact"], Reached: true, Text: "asked after " + others},
					&recall.PassedOn{Party: p, Accounts: []deliveries.SubAccount{{Name: x.marks[3], Phone: x.marks[4], Quantity: 1}}},
				} {
					after, err := r.Take(tx, step, recall.At{}, "Quint")
					if err == nil { // else it received nothing in scope
						r = after
					}
				}
			}
			return nil
		}))
		require.NoError(t, db.View(ctx, func(tx *store.Tx) error {
			now, err := recall.Load(tx, code)
			require.NoError(t, err)
			m, err := papers.New(tx, now, false)
			require.NoError(t, err)
			made, err := m.Letters()
			require.NoError(t, err)
			to := 0
			for _, l := range made {
				var text, page bytes.Buffer
				require.NoError(t, l.Paper.Plain(&text))
				require.NoError(t, l.Paper.HTML(&page))
				if l.Kind == papers.ToConsignee {
					to++
					require.Contains(t, text.String(), all[l.Party].row["name"])
				}
				showsNone(t, l.Kind+" "+l.Party, l.Party, all, text.String(), page.String())
			}
			letters += to
			if to > 1 {
				several++
			}
			merge, err := m.MergeRows()
			require.NoError(t, err)
			require.Len(t, merge, to)
			for _, row := range merge {
				showsNone(t, "merge row of "+row[1], row[1], all, strings.Join(row, "\n"))
			}
			return tx.Err()
		}))
	})
	t.Logf("%d letters to consignees of %d histories, in %d of which several were concerned", letters, n, several)
	require.Greater(t, several, 4, "the histories concern too few to tell")
}

// showsNone fails where a text bears a mark of somebody else.
func showsNone(t *rapid.T, what, whose string, all map[string]*trader, texts ...string) {
	for party, x := range all {
		if party == whose {
			continue
		}
		for _, text := range texts {
			for _, mark := range x.marks {
				require.NotContains(t, strings.ToLower(text), strings.ToLower(mark), "%s shows %s", what, party)
			}
		}
	}
}
