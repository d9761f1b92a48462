package web_test

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A lot that is put on hold while it is on the line is told of on the run's page, and again with each pallet that comes off.
func TestAHoldInMidRunIsLoud(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	require.Equal(t, http.StatusSeeOther, c.post("/do/receive", "form", "lot", "lot", "LOT-2", "item", "MALT-1", "supplier", "SUP-1", "supplier_lot", "X", "quantity", "9").Code)
	begun := c.post("/begin/LINE-1", "form", "run", "checked", "yes", "product", "CAN-1", "feed0", "LOT-2", "date_code", "BB", "run", "R-9")
	require.Equal(t, http.StatusSeeOther, begun.Code, begun.Body.String())
	page := func() string { return c.get("/running/R-9").Body.String() }
	off := func(form string) string {
		w := c.post("/running/R-9/off", "form", form, "kind", "pallet", "quantity", "1")
		require.Equal(t, http.StatusSeeOther, w.Code, w.Body.String())
		return c.get(w.Header().Get("Location")).Body.String()
	}
	const loud = "LOT-2 (Malt) on the line: On hold: Dented"
	require.NotContains(t, page(), "On hold")
	require.NotContains(t, off("first"), "On hold")

	require.Equal(t, http.StatusSeeOther, c.post("/do/hold", "form", "hold", "subject", "LOT-2", "reason", "Dented").Code)
	require.Contains(t, page(), loud)
	require.Contains(t, off("second"), loud)
	require.Equal(t, 3, strings.Count(page(), `class="mark"`), "the feed and both pallets")
}
