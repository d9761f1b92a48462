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
		var all []store.Statement
		start, name := time.Date(2026, 3, 11, 6, 0, 0, 0, time.UTC), ""
		for i := range n {
			if i%80 == 0 { // a run has so many pallets, and no more
				name = fmt.Sprintf("RUN-BIG-%d", i/80)
				at := start.Add(time.Duration(i/80) * 10 * time.Minute)
				all = append(all, store.Statement{Sheet: run, By: "Somebody", Row: lots.Row{"run": name, "product": "CAN-1", "line": "LINE-1", "started_at": at.Format("2006-01-02 15:04"), "ended_at": at.Add(8 * time.Minute).Format("2006-01-02 15:04"), "date_code": fmt.Sprintf("BD%d", i/80), "good": "1920"}},
					store.Statement{Sheet: feed, By: "Somebody", Row: lots.Row{"run": name, "from": "BT-1"}})
			}
			all = append(all, store.Statement{Sheet: unit, By: "Somebody", Row: lots.Row{"unit": fmt.Sprintf("BIG-%06d", i), "kind": "pallet", "run": name, "quantity": "1"}})
		}
		_, _, faults, err := tx.RecordRows(all)
		require.Empty(t, faults)
		return err
	}))
	c := h.signedIn("viewer")
	// Who does not wait is told at once that it is being worked out, and then sees it.
	h.server.Patience = 0
	for _, tab := range []string{"scope", "house", "consignees", "account"} {
		began, asked := time.Now(), 0
		for {
			a := c.get("/recall/MR26-01/" + tab)
			require.Equal(t, http.StatusOK, a.Code)
			require.Less(t, a.Body.Len(), 200_000, "one page of many")
			if asked++; asked == 1 {
				t.Logf("%d units, %s: something is shown after %s", n, tab, time.Since(began).Round(time.Millisecond))
			}
			if workedTo(t, a.Body.String()) == -1 {
				t.Logf("%d units, %s: there after %s, %d kB", n, tab, time.Since(began).Round(time.Millisecond), a.Body.Len()/1000)
				break
			}
		}
	}
	h.server.Patience = time.Minute
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

// Whoever walks the house ticks off pallets, lots and tanks alike: each is counted in what it is measured in, once.
func TestFoundIsCounted(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	page := c.get("/recall/MR26-01/house").Body.String()
	for _, x := range []struct{ code, unit, quantity string }{{"LOT-1", "kg", "399"}, {"BT-1", "hL", "7"}, {"PAL-1", "", "28"}} {
		require.Contains(t, page, `id="w-`+x.code+`"`)
		before := h.head()
		for range 2 {
			a := c.post("/recall/MR26-01/found", "form", "found-"+x.code, "subject", x.code, "unit", x.unit, "quantity", x.quantity, "place", "Hall")
			require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
		}
		require.Equal(t, before+1, h.head())
	}
	require.Contains(t, c.get("/recall/MR26-01/house").Body.String(), "399 kg</p>")
	require.Equal(t, http.StatusUnprocessableEntity, c.post("/recall/MR26-01/found", "form", "f4", "subject", "PAL-1", "quantity", "many").Code)
}
