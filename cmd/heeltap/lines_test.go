package main

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/graph/desk"
	"heeltap/graph/trace"
	"heeltap/lots/store"
)

// inRecords runs f on the records that the pages show.
func (h *served) inRecords(t *testing.T, f func(tx *store.Tx)) {
	t.Helper()
	db, err := store.Open(context.Background(), h.db)
	require.NoError(t, err)
	defer db.Close()
	require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error { f(tx); return nil }))
}

// The packaging lead's day: beer comes to a bright tank, a run is begun against the first can, the ends change in mid-run, two pallets
// come off, and the run is stopped with its counts. Each kind of screen does it once.
func TestThePackagingLeadsDay(t *testing.T) {
	chromium(t)
	for tab := range tabs {
		t.Run(tab, func(t *testing.T) { packagingDay(t, openHouse(t), tab) })
	}
}

func packagingDay(t *testing.T, h *served, tab string) {
	b := h.browse(t, tab, "tove")
	b.goTo("/do/transfer?from=FV1&to=BT1")
	b.fill("out", "30")
	b.fill("in", "29.8")
	b.choose("unit", "hL")
	b.fill("started_at", "07:00")
	b.fill("ended_at", "07:50")
	b.press("main button.main")
	b.says("Recorded", "Transferred 30 hL from FV1 to BT1, where 29.8 hL arrived")

	b.goTo("/lines")
	b.press(`main a[href="/begin/CANS"]`)
	b.choose("product", "PALE-CAN")
	b.fill("tank", "BT1")
	b.press("main form button.main") // what the last run of it had is asked for now that the product is known
	b.says("440 mL can", "No lot is scanned for can end")
	lots := []string{"L26-0022", "L25-0142", "L26-0008", "L26-0004"}
	b.do(focus("feed0"))
	for _, lot := range lots {
		b.scan(lot)
	}
	b.press("main form > .go button")
	b.says("Hold this against the first can", "BB 2026-12-0")
	require.NotContains(b.t, b.text(), "No lot is scanned")
	b.shot("begin-check")
	b.press("main section.check button.main")
	b.says("has started")
	b.press("main .go a.button")
	b.says("0 cases off the line so far", "Can end L25-0142")
	run := b.where()[len("/running/"):]

	b.do(click(`.feeds li:nth-of-type(3) summary`))
	b.shot("running-change")
	b.do(typing(`.feeds li:nth-of-type(3) input[name="from"]`, "L26-0025"))
	b.press(`.feeds li:nth-of-type(3) button.main`)
	b.says("Changed")
	b.press(`main .go a.button`)
	b.says("L26-0025")
	for range 2 {
		b.press(`main .card-form button.main`)
		b.says("Off the line", "80 cases")
		b.press(`main a[href^="/running/"]`)
	}
	b.says("160 cases off the line so far")
	b.shot("running-two")
	b.press(`main form[action$="/end"] button`)
	b.says("Not recorded")
	b.fill("good", "3850")
	b.fill("rejects", "12")
	b.press(`main form[action$="/end"] button`)
	b.says("The run has ended")
	b.press(`main a[href^="/running/"]`)
	b.says("ended: 160 cases off the line", "3850 good containers")
	b.shot("running-ended")

	h.inRecords(t, func(tx *store.Tx) {
		r, ok := tx.Run(run)
		require.True(t, ok)
		require.Equal(t, "Tove", r.By)
		require.EqualValues(t, 3850, r.Good)
		_, going := desk.RunningOn(tx, "CANS")
		require.False(t, going)
		a, err := trace.Trace(tx, graph.Forward, "L26-0025")
		require.NoError(t, err)
		var ours []string
		for _, u := range a.Units {
			if slices.Contains(u.Runs, run) {
				ours = append(ours, u.Band)
			}
		}
		require.Equal(t, []string{"in", "in"}, ours)
	})
}
