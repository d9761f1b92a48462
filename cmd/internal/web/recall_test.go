package web_test

import (
	"fmt"
	"net/http"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
	"heeltap/lots/store"
)

// many is how many pallets the big scope has; HEELTAP_UNITS asks for more.
func many() int {
	if n, err := strconv.Atoi(os.Getenv("HEELTAP_UNITS")); err == nil {
		return n
	}
	return 230
}

// A big scope shows its first rows and pages on: no page has more than so many, and each unit stands on one of them.
func TestBigScopePagesOn(t *testing.T) {
	h := open(t)
	n := many()
	require.NoError(t, h.db.Load(t.Context(), func(tx *store.Tx) error {
		run, feed, unit := sheetNamed(t, "runs"), sheetNamed(t, "feeds"), sheetNamed(t, "units")
		all := []store.Statement{
			{Sheet: run, By: "Somebody", Row: lots.Row{"run": "RUN-BIG", "product": "CAN-1", "line": "LINE-1", "started_at": "2026-03-10 11:00", "ended_at": "2026-03-10 19:00", "date_code": "BD", "good": strconv.Itoa(n * 24)}},
			{Sheet: feed, By: "Somebody", Row: lots.Row{"run": "RUN-BIG", "from": "BT-1"}},
		}
		for i := range n {
			all = append(all, store.Statement{Sheet: unit, By: "Somebody", Row: lots.Row{"unit": fmt.Sprintf("BIG-%06d", i), "kind": "pallet", "run": "RUN-BIG", "quantity": "1"}})
		}
		_, _, faults, err := tx.RecordRows(all)
		require.Empty(t, faults)
		return err
	}))
	c := h.signedIn("viewer")
	path, seen := "/recall/MR26-01/scope?text=big-", map[string]bool{}
	for pages := 0; path != ""; pages++ {
		began := time.Now()
		a := c.get(path)
		if pages < 3 {
			t.Logf("%d units, page %d: %s, %d kB", n, pages+1, time.Since(began).Round(time.Millisecond), a.Body.Len()/1000)
		}
		require.Equal(t, http.StatusOK, a.Code)
		require.Less(t, a.Body.Len(), 60_000, "one page of many")
		body := a.Body.String()
		rows := strings.Split(body, `href="/unit/BIG-`)[1:]
		require.NotEmpty(t, rows)
		require.LessOrEqual(t, len(rows), 50)
		for _, r := range rows {
			require.False(t, seen[r[:6]], "twice")
			seen[r[:6]] = true
		}
		path = ""
		if _, rest, more := strings.Cut(body, `rel="next"`); more {
			before, _, _ := strings.Cut(body, `" rel="next"`)
			path = strings.ReplaceAll(before[strings.LastIndex(before, `href="`)+6:], "&amp;", "&")
			path, _, _ = strings.Cut(path, "#")
			require.NotEmpty(t, rest)
		}
		if pages == 5 && n > 1000 {
			return // the rest looks the same
		}
	}
	require.Len(t, seen, n)
}
