package web_test

import (
	"fmt"
	"net/http"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
)

var (
	askedWhy = regexp.MustCompile(`name="override"`)
	fixSeen  = regexp.MustCompile(`name="seen" value="(\d+)"`)
)

// A hold stops a change of material in mid-run for everybody; who may decide about goods goes on by name and reason, and
// what was typed is still there.
func TestAChangeAgainstAHold(t *testing.T) {
	h := open(t)
	floor, quality := h.signedIn("floor"), h.signedIn("quality")
	require.Equal(t, http.StatusSeeOther, floor.post("/do/receive", "form", "r", "lot", "LOT-2", "item", "MALT-1", "supplier", "SUP-1", "supplier_lot", "W2", "quantity", "50", "unit", "kg").Code)
	a := floor.post("/begin/LINE-1", "form", "b", "run", "R-9", "product", "CAN-1", "feed0", "LOT-2", "date_code", "BD", "checked", "yes")
	require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
	change := []string{"form", "c", "ended", "0", "from", "LOT-1", "at", "12:00"}

	before := h.head()
	a = floor.post("/running/R-9/change", change...)
	require.Equal(t, http.StatusUnprocessableEntity, a.Code)
	require.Contains(t, a.Body.String(), "on hold")
	require.Contains(t, a.Body.String(), `name="from" value="LOT-1"`)
	require.Contains(t, a.Body.String(), `name="at" value="12:00"`)
	require.NotRegexp(t, askedWhy, a.Body.String(), "the floor does not decide")
	require.Equal(t, http.StatusForbidden, floor.post("/running/R-9/change", append(change, "override", "smelt again: sound")...).Code)

	a = quality.post("/running/R-9/change", change...)
	require.Equal(t, http.StatusUnprocessableEntity, a.Code)
	require.Regexp(t, askedWhy, a.Body.String())
	require.Equal(t, before, h.head(), "nothing was recorded so far")
	a = quality.post("/running/R-9/change", append(change, "override", "smelt again: sound")...)
	require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
	require.Greater(t, h.head(), before)
}

// So it is with a correction by which something on hold was taken.
func TestACorrectionAgainstAHold(t *testing.T) {
	h := open(t)
	floor, quality := h.signedIn("floor"), h.signedIn("quality")
	require.Equal(t, http.StatusSeeOther, floor.post("/do/receive", "form", "r", "lot", "LOT-2", "item", "MALT-1", "supplier", "SUP-1", "supplier_lot", "W2", "quantity", "50", "unit", "kg").Code)
	require.Equal(t, http.StatusSeeOther, floor.post("/do/add", "form", "d", "vessel", "FV-1", "from", "LOT-2", "quantity", "2", "unit", "kg").Code)
	path := fmt.Sprintf("/entry/%d/amend", h.head())
	seen := fixSeen.FindStringSubmatch(floor.get(path).Body.String())[1]
	fix := []string{"form", "e", "seen", seen, "from", "LOT-1", "reason", "it was the other sack"}

	before := h.head()
	a := floor.post(path, fix...)
	require.Equal(t, http.StatusUnprocessableEntity, a.Code)
	require.Contains(t, a.Body.String(), "on hold")
	require.NotRegexp(t, askedWhy, a.Body.String(), "the floor does not decide")
	require.Equal(t, http.StatusForbidden, floor.post(path, append(fix, "override", "it went in")...).Code)
	a = quality.post(path, fix...)
	require.Equal(t, http.StatusUnprocessableEntity, a.Code)
	require.Regexp(t, askedWhy, a.Body.String())
	require.Equal(t, before, h.head(), "nothing was recorded so far")
	a = quality.post(path, append(fix, "override", "it went in before anybody knew")...)
	require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
}

// A slip is taken back by whoever made it, and by nobody else: quality voids entries, with a reason.
func TestOnlyOnesOwnSlip(t *testing.T) {
	h := open(t)
	floor := h.signedIn("floor")
	require.Equal(t, http.StatusSeeOther, floor.post("/do/count", "form", "k", "subject", "PAL-1", "quantity", "27").Code)
	before := h.head()
	for _, other := range []string{"quality", "admin"} {
		a := h.signedIn(other).post("/takeback/k")
		require.Equal(t, http.StatusUnprocessableEntity, a.Code, other)
		require.Contains(t, a.Body.String(), "recorded by Person of floor", other)
	}
	require.Equal(t, before, h.head())
	require.Equal(t, http.StatusSeeOther, floor.post("/takeback/k").Code)
	require.Greater(t, h.head(), before)
}
