package web_test

import (
	"net/http"
	"regexp"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
	"heeltap/lots/store"
)

// recordsOf are the records of a sheet.
func (h *house) recordsOf(sheet string) (out []lots.Record) {
	require.NoError(h.t, h.db.View(h.t.Context(), func(tx *store.Tx) (err error) {
		out, err = tx.Records(sheet)
		return err
	}))
	return out
}

func wall(unix int64) string { return time.Unix(unix, 0).UTC().Format("2006-01-02 15:04") }

// refusedAll posts a sheet that is refused: nothing is recorded, and every text that was typed stands there again.
func refusedAll(t *testing.T, h *house, c *client, path string, form []string) string {
	t.Helper()
	before := h.head()
	a := c.post(path, form...)
	require.Equal(t, http.StatusUnprocessableEntity, a.Code)
	require.Equal(t, before, h.head(), "all or nothing")
	page := a.Body.String()
	for i := 0; i < len(form); i += 2 {
		if name := form[i]; name != "form" && form[i+1] != "" && !regexp.MustCompile(`^(lines|unit|method|reason|verified)\b`).MatchString(name) {
			require.Equal(t, form[i+1], fieldIn(page, name), name)
		}
	}
	return page
}

// A whole sheet of counts is typed in at once: all of it or nothing, with the times of the lines on the day of the sheet.
func TestACountedSheetIsTypedIn(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	require.Contains(t, c.get("/blank").Body.String(), `href="/typed/count"`)
	form := []string{"form", "sheet-1", "lines.0", "8", "place", "Hall 2", "at", "", "subject.0.0", "PAL-1", "quantity.0.0", "27", "at.0.0", "16:10",
		"subject.0.3", "LOT-9", "quantity.0.3", "400", "unit.0.3", "kg"}
	page := refusedAll(t, h, c, "/typed/count", form)
	require.Contains(t, page, "rite when it happened, as it stands on the paper")
	form[7] = "16:00"
	require.Contains(t, refusedAll(t, h, c, "/typed/count", form), "write the day", "a time alone would be of today")
	form[7] = "2026-03-18 16:00"
	page = refusedAll(t, h, c, "/typed/count", form)
	require.Contains(t, page, "did you mean")
	require.Regexp(t, `id="e-subject\.0\.3"`, page, "it stands beside the cell")

	// One more click gives more lines, and what was typed stays.
	a := c.post("/typed/count", append(form, "press", "more 0")...)
	require.Equal(t, http.StatusOK, a.Code)
	require.Equal(t, "16", fieldIn(a.Body.String(), "lines.0"))
	require.Equal(t, "LOT-9", fieldIn(a.Body.String(), "subject.0.3"))

	form[15] = "LOT-1"
	before := h.recordsOf("counts")
	a = c.post("/typed/count", form...)
	require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
	counts := h.recordsOf("counts")
	require.Len(t, counts, len(before)+2)
	want := map[string]string{"PAL-1": "2026-03-18 16:10", "LOT-1": "2026-03-18 16:00"}
	for _, rec := range counts[len(before):] {
		n := rec.(*lots.StockCount)
		require.Equal(t, want[n.Subject.Code()], wall(n.At.From), "%s", n.Subject.Code())
		require.Equal(t, "Hall 2", n.Place)
		require.Equal(t, "Person of floor", n.By)
	}
	head := h.head()
	require.Equal(t, http.StatusSeeOther, c.post("/typed/count", form...).Code, "sent again")
	require.Equal(t, head, h.head(), "it is recorded once")
}

// A loading list from paper is one shipment, whatever stands in its lines; what is held stays here.
func TestALoadingListIsTypedIn(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	form := []string{"form", "load-1", "consignee", "CON-1", "shipped_at", "2026-03-17 07:30", "document", "LN 7", "lines.0", "8", "unit.0.0", "PAL-1", "quantity.0.0", "2", "unit.0.1", "PAL-7", "quantity.0.1", "4"}
	require.Contains(t, refusedAll(t, h, c, "/typed/loading", form), "PAL-7")
	require.Empty(t, h.record(store.Statement{Sheet: sheetNamed(t, "units"), Row: lots.Row{"unit": "PAL-7", "kind": "pallet", "run": "RUN-1", "quantity": "10"}, By: "Somebody"}, true))
	held := store.Statement{Sheet: sheetNamed(t, "holds"), Row: lots.Row{"subject": "PAL-7", "at": "2026-03-16 08:00", "reason": "Dented", "by": "Somebody"}, By: "Somebody"}
	require.Empty(t, h.record(held, true))
	page := refusedAll(t, h, c, "/typed/loading", form)
	require.Contains(t, page, "on hold")
	require.NotContains(t, page, `name="override"`, "the floor lets nothing go")
	quality := h.signedIn("quality")
	require.Contains(t, refusedAll(t, h, quality, "/typed/loading", form), `name="override"`)
	require.Equal(t, http.StatusForbidden, c.post("/typed/loading", append(form, "override", "it has left")...).Code)
	before := h.recordsOf("shipments")
	a := quality.post("/typed/loading", append(form, "override", "it has left")...)
	require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
	all := h.recordsOf("shipments")
	require.Len(t, all, len(before)+2)
	x, y := all[len(before)].(*lots.Shipment), all[len(before)+1].(*lots.Shipment)
	require.Equal(t, x.Shipment, y.Shipment, "one lorry is one shipment")
	require.Equal(t, "LN 7", y.Document)
	require.Equal(t, "2026-03-17 07:30", wall(y.At.From))
}

// A run from paper is recorded with what fed it and what came off, or not at all.
func TestARunIsTypedIn(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	form := []string{"form", "run-1", "product", "CAN-1", "line", "LINE-1", "date_code", "BD", "started_at", "2026-03-18 08:00", "ended_at", "10:00", "good", "960",
		"lines.0", "6", "from.0.0", "BT-1", "lines.1", "8", "unit.1.0", "PAL-8", "quantity.1.0", "20", "first_at.1.0", "8:20", "last_at.1.0", "soon", "quantity.1.1", "20"}
	refused := append([]string{}, form...)
	page := refusedAll(t, h, c, "/typed/run", refused)
	require.Regexp(t, `id="e-last_at\.1\.0"`, page)
	form[slices.Index(form, "soon")] = "9:05"
	require.Contains(t, refusedAll(t, h, c, "/typed/run", form), "on hold by LOT-1")
	a := h.signedIn("quality").post("/typed/run", append(form, "override", "ran before it was known")...)
	require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
	runs := h.recordsOf("runs")
	run := runs[len(runs)-1].(*lots.Run)
	require.Equal(t, "2026-03-18 10:00", wall(run.Ended.From))
	units := h.recordsOf("units")
	u := units[len(units)-2].(*lots.Packed)
	require.Equal(t, []string{"PAL-8", run.Run, "pallet", "2026-03-18 09:05"}, []string{u.Unit, u.Run, u.UnitKind, wall(u.Last.From)})
	require.Equal(t, run.Run, units[len(units)-1].(*lots.Packed).Run, "a pallet without a number gets one")
	feeds := h.recordsOf("feeds")
	require.Equal(t, run.Run, feeds[len(feeds)-1].(*lots.Feed).Run)
}

// A vessel's sheet holds acts of every kind, each of its day, or known to the day alone.
func TestAVesselsSheetIsTypedIn(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	form := []string{"form", "v-1", "vessel", "FV-1", "day", "2026-03-17", "to.0.0", "BT-1", "out.0.0", "1", "in.0.0", "1", "started_at.0.0", "09:00", "ended_at.0.0", "09:20",
		"from.1.0", "LOT-1", "quantity.1.0", "2", "at.1.0", "08:10", "purpose.1.0", "dry hop", "method.3.0", "cip", "verified.3.0", "yes", "reason.4.0", "sample", "quantity.4.0", "1", "unit.4.0", "L"}
	require.Contains(t, refusedAll(t, h, c, "/typed/vessel", form), "LOT-1", "it is on hold since 15 March")
	a := h.signedIn("quality").post("/typed/vessel", append(form, "override", "done before it was known")...)
	require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
	transfers := h.recordsOf("transfers")
	x := transfers[len(transfers)-1].(*lots.Transfer)
	require.Equal(t, []string{"FV-1", "BT-1", "2026-03-17 09:00", "2026-03-17 09:20"}, []string{x.From.Code(), x.To, wall(x.Started.From), wall(x.Ended.From)})
	cleans := h.recordsOf("cleans")
	clean := cleans[len(cleans)-1].(*lots.Clean)
	require.Equal(t, "2026-03-17 00:00", wall(clean.At.From), "where no time stands, the day is known")
	require.Greater(t, clean.At.To, clean.At.From)
	require.Equal(t, "FV-1", h.recordsOf("removals")[1].(*lots.Removal).Subject.Code())
}
