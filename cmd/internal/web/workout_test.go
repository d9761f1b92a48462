package web_test

import (
	"fmt"
	"net/http"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
	"heeltap/lots/store"
)

// workedTo is the entry that an answer on a page knows: -1 where it does not say that it is old, 0 where there is none yet.
func workedTo(t *testing.T, page string) int {
	t.Helper()
	for _, n := range elements(t, page, "data-working") {
		head, err := strconv.Atoi(n["data-working"])
		require.NoError(t, err)
		return head
	}
	return -1
}

// Who does not want to wait is shown the last answer, which says that it is old, or that there is none yet, and never an old
// one as if it were new.
func TestWhatIsWorkedOutSaysSo(t *testing.T) {
	for path, shows := range map[string]string{
		"/readiness":                "<h2>What to mend first</h2>",
		"/office":                   "<h2>Held</h2>",
		"/exposure":                 "<h2>The worst</h2>",
		"/recall/MR26-01/scope":     "<h2>Units in scope</h2>",
		"/recall/MR26-01/account":   "<h2>Every case and keg</h2>",
		"/recall/MR26-01/house":     "In the house:",
		"/readiness?rule=no-clean":  "<h2>no-clean</h2>",
		"/recall/MR26-01/papers":    "Report",
		"/recall/MR26-01/do/freeze": "Freeze",
	} {
		t.Run(path, func(t *testing.T) {
			h := open(t)
			h.server.Patience = time.Nanosecond
			c := h.signedIn("quality")
			first := c.get(path)
			require.Equal(t, http.StatusOK, first.Code, first.Body)
			switch path {
			case "/recall/MR26-01/do/freeze": // a form waits for nothing
				require.Equal(t, -1, workedTo(t, first.Body.String()))
				return
			case "/office", "/recall/MR26-01/papers":
				require.Contains(t, first.Body.String(), shows, "the rest is there at once")
			default:
				require.NotContains(t, first.Body.String(), shows)
			}
			require.Equal(t, 0, workedTo(t, first.Body.String()))
			require.Contains(t, first.Body.String(), "It is being worked out")
			comes := func() string {
				var page string
				require.Eventually(t, func() bool { page = c.get(path).Body.String(); return workedTo(t, page) == -1 }, 20*time.Second, 10*time.Millisecond)
				return page
			}
			require.Contains(t, comes(), shows)
			known := int(h.head())
			require.Empty(t, h.record(store.Statement{Sheet: sheetNamed(t, "holds"), Row: lots.Row{"subject": "PAL-1", "at": "2026-03-17 08:00", "reason": "Dent", "by": "Person of floor"}, By: "Person of floor"}, true))
			page := c.get(path).Body.String()
			require.Equal(t, known, workedTo(t, page), "it is old, and says so")
			require.Contains(t, page, fmt.Sprintf("<strong>As of entry %d.</strong>", known))
			require.Contains(t, page, "1 entry has been made since")
			require.Contains(t, page, shows)
			require.NotContains(t, comes(), "As of entry")
		})
	}
}

// A recall of which nothing is worked out yet shows what was frozen last, as such.
func TestFrozenIsThereAtOnce(t *testing.T) {
	h := open(t)
	c := h.signedIn("quality")
	a := c.post("/recall/MR26-01/do/freeze", "form", "f-1", "reason", "first")
	require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
	h.server.Patience = time.Nanosecond
	page := c.get("/recall/MR26-01/scope").Body.String()
	require.Contains(t, page, "As frozen last: version 1")
	require.Contains(t, page, `href="/unit/PAL-1"`)
	require.Equal(t, 0, workedTo(t, page))
}
