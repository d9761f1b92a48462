package web_test

import (
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

// A delivery typed in from paper says when it came in, also where it has several lots.
func TestADeliveryFromPaper(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	require.Contains(t, c.get("/blank").Body.String(), `href="/delivery?late=1"`)
	require.Contains(t, c.get("/delivery?late=1").Body.String(), `name="late"`)
	form := []string{"form", "d", "late", "1", "supplier", "SUP-1", "lots", "2", "item.1", "MALT-1", "supplier_lot.1", "W8", "quantity.1", "5", "unit.1", "kg",
		"item.2", "MALT-1", "supplier_lot.2", "W9", "quantity.2", "6", "unit.2", "kg"}
	before := h.head()
	a := c.post("/delivery", form...)
	require.Equal(t, http.StatusUnprocessableEntity, a.Code)
	require.Contains(t, a.Body.String(), "Write when it happened, as it stands on the paper")
	require.Contains(t, a.Body.String(), `name="late"`, "it stays a paper that is typed in")
	require.Equal(t, before, h.head())
	a = c.post("/delivery", append(form, "received_at", "2026-03-19 09:10")...)
	require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
	require.NoError(t, h.db.View(t.Context(), func(tx *store.Tx) error {
		rows, err := tx.Records("receipts")
		last := rows[len(rows)-1].(*lots.Receipt)
		require.Equal(t, "2026-03-19T09:10:00Z", time.Unix(last.At.From, 0).UTC().Format(time.RFC3339))
		return err
	}))
}

// A paper that was changed on the disk is never shown, and whoever looks for it is told what to do.
func TestAChangedPaperSaysWhatToDo(t *testing.T) {
	h := open(t)
	h.server.Papers = papers.Store{Folder: t.TempDir()}
	p, err := h.server.Papers.Keep("note.pdf", []byte("%PDF-1.4\n"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(h.server.Papers.Folder, p.Hash[:2], p.Hash), []byte("%PDF"), 0o600))
	a := h.signedIn("viewer").get("/paper/" + p.Hash)
	require.Equal(t, http.StatusInternalServerError, a.Code)
	require.Contains(t, a.Body.String(), "bring it back from a backup")
	require.NotContains(t, a.Body.String(), h.server.Papers.Folder, "not where it lies")
}

// A paper attached to the wrong thing is taken off by whoever attached it or by quality, with a reason; the page of the
// thing no longer shows it, and it can be attached again.
func TestAWrongPaperIsTakenOff(t *testing.T) {
	h := open(t)
	paper := papers.Paper{Hash: "ab12", Name: "certificate.pdf", Type: "application/pdf", Size: 10}
	attach := func() {
		require.NoError(t, h.db.Update(t.Context(), func(tx *store.Tx) error {
			_, err := desk.Attach(tx, "LOT-1", paper, "Somebody")
			return err
		}))
	}
	attach()
	form := regexp.MustCompile(`name="form" value="(off \d+)"`)
	floor, quality := h.signedIn("floor"), h.signedIn("quality")
	token := form.FindStringSubmatch(quality.get("/lot/LOT-1").Body.String())[1]
	off := []string{"form", token, "code", "LOT-1", "hash", "ab12"}

	a := floor.post("/detach", append(off, "reason", "x")...)
	require.Equal(t, http.StatusForbidden, a.Code)
	require.Contains(t, a.Body.String(), "attached by Somebody")
	require.Equal(t, http.StatusUnprocessableEntity, quality.post("/detach", off...).Code, "it says why")
	a = quality.post("/detach", append(off, "reason", "of another lot")...)
	require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
	require.NotContains(t, quality.get("/lot/LOT-1").Body.String(), "certificate.pdf")
	require.Equal(t, http.StatusNotFound, quality.post("/detach", "form", "again", "code", "LOT-1", "hash", "ab12", "reason", "x").Code)
	attach()
	require.Contains(t, quality.get("/lot/LOT-1").Body.String(), "certificate.pdf")
}

// A house with nothing in it yet is told what is still to be set up, and by whom.
func TestAnEmptyHouseSaysWhatIsMissing(t *testing.T) {
	h := open(t)
	require.NotContains(t, h.signedIn("admin").get("/").Body.String(), "Still to set up")
	h.db.Close()
	var err error
	h.db, err = store.Create(t.Context(), filepath.Join(t.TempDir(), "heeltap.db"))
	require.NoError(t, err)
	h.server.DB = h.db
	require.Contains(t, h.signedIn("admin").get("/").Body.String(), `href="/do/vessel"`)
	floor := h.signedIn("floor").get("/").Body.String()
	require.Contains(t, floor, "Still to set up")
	require.NotContains(t, floor, `href="/do/vessel"`)
	for _, page := range []string{"/lines", "/cellar"} {
		require.Contains(t, h.signedIn("floor").get(page).Body.String(), "is on record yet", page)
	}
}

// What a counting found is told of a counting only: nobody who has not counted is told that everything is missing.
func TestNothingIsMissingBeforeACount(t *testing.T) {
	c := open(t).signedIn("floor")
	for _, query := range []string{"", "?place=", "?since=1774008000", "?place=&since=x"} {
		a := c.get("/count/sheet" + query)
		require.Equal(t, http.StatusSeeOther, a.Code, query)
		require.Equal(t, "/count", a.Header().Get("Location"), query)
	}
}
