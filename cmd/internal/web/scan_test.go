package web_test

import (
	"net/http"
	"net/url"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
	"heeltap/lots/store"
)

// fieldIn gives the text of a field of a page.
func fieldIn(page, name string) string {
	m := regexp.MustCompile(`name="` + regexp.QuoteMeta(name) + `"[^>]*value="([^"]*)"`).FindStringSubmatch(page)
	if m == nil {
		m = regexp.MustCompile(`value="([^"]*)"[^>]*name="` + regexp.QuoteMeta(name) + `"`).FindStringSubmatch(page)
	}
	if m == nil {
		return ""
	}
	return m[1]
}

// A label scanned where the supplier's lot is typed fills in the form and records nothing; sent as it then stands it is
// recorded, with the scan; and what the GTIN is, is known at the next delivery.
func TestALabelFillsInADelivery(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	head := h.head()
	scan := "]C101095201234567881727030010WH24/117\x1d3103060000"
	w := c.post("/delivery", "form", "scan-1", "lots", "1", "supplier", "SUP-1", "item.1", "MALT-1", "supplier_lot.1", scan)
	require.Equal(t, http.StatusOK, w.Code)
	page := w.Body.String()
	require.Equal(t, head, h.head(), "it is looked over first")
	require.Contains(t, page, "Filled in from the bar code")
	require.Contains(t, page, "the month 2027-03")
	want := map[string]string{"supplier_lot.1": "WH24/117", "best_by.1": "2027-03-31", "quantity.1": "60", "supplier": "SUP-1"}
	for name, text := range want {
		require.Equal(t, text, fieldIn(page, name), name)
	}
	kept := fieldIn(page, "scan.1")
	require.Equal(t, "]C101095201234567881727030010WH24/117␝3103060000", kept)
	send := func(form, lot, scan string) string {
		w := c.post("/delivery", "form", form, "lots", "1", "supplier", "SUP-1", "item.1", "MALT-1", "supplier_lot.1", lot, "quantity.1", "60", "unit.1", "kg", "best_by.1", "2027-03-31", "scan.1", scan)
		require.Equal(t, http.StatusSeeOther, w.Code, w.Body.String())
		return w.Header().Get("Location")
	}
	told := c.get(send("scan-2", "WH24/117", kept)).Body.String()
	require.Greater(t, h.head(), head)
	lot := c.get(regexp.MustCompile(`/lot/[^"]+`).FindString(told)).Body.String()
	require.Contains(t, lot, "WH24/117")
	require.Contains(t, lot, kept)
	// The next one fills in the item and the supplier too.
	w = c.post("/delivery", "form", "scan-3", "lots", "1", "supplier_lot.1", "(01)09520123456788(10)WH24/118")
	page = w.Body.String()
	require.Equal(t, "SUP-1", fieldIn(page, "supplier"))
	require.Equal(t, "MALT-1", fieldIn(page, "item.1"))
	// One that cannot be read names the character, beside the field.
	w = c.post("/delivery", "form", "scan-4", "lots", "1", "supplier", "SUP-1", "supplier_lot.1", "]C10109520123456789")
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	require.Contains(t, w.Body.String(), "haracter 6, in (01)")
}

// A supplier's case that nobody knows yet, scanned into the box on top, opens the delivery form filled in from it, for
// who may record; whoever only looks is told that it is not known. A case of our own is no delivery.
func TestAnUnknownCaseOpensADelivery(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	head := h.head()
	scan := "]C101095201234567881727030010WH24/117\x1d3103060000"
	a := c.get("/find?q=" + url.QueryEscape(scan))
	require.Equal(t, http.StatusSeeOther, a.Code)
	a = c.get(a.Header().Get("Location"))
	require.Equal(t, http.StatusOK, a.Code)
	page := a.Body.String()
	require.Equal(t, "WH24/117", fieldIn(page, "supplier_lot.1"))
	require.Equal(t, "60", fieldIn(page, "quantity.1"))
	require.NotEmpty(t, fieldIn(page, "form"), "it can be sent")
	require.Equal(t, head, h.head())
	require.Equal(t, http.StatusNotFound, h.signedIn("viewer").get("/find?q="+url.QueryEscape(scan)).Code)
	ours := store.Statement{Sheet: sheetNamed(t, "products"), Row: lots.Row{"product": "OURS", "name": "Ours", "container_ml": "440", "per_case": "24", "gtin": "09520123456788"}, By: "Somebody"}
	require.Empty(t, h.record(ours, true))
	require.NotContains(t, c.get("/find?q="+url.QueryEscape(scan)).Header().Get("Location"), "/delivery")
}
