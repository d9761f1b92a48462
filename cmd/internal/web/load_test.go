package web_test

import (
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

// crowd is many browsers at one server, over real connections.
type crowd struct {
	h        *house
	server   *httptest.Server
	sessions []string
	until    time.Time
	mu       sync.Mutex
	reads    []time.Duration
	writes   []time.Duration
	recorded map[string]string // the lot's mark that was sent, by form
	turns    [8]int            // how often each writer's forms were recorded
	log      int64             // the largest that the database's log was, in bytes
	wrong    []string
}

// howLong is how long the crowd is let in: HEELTAP_LOAD, or a moment.
func howLong() time.Duration {
	if d, err := time.ParseDuration(os.Getenv("HEELTAP_LOAD")); err == nil {
		return d
	}
	return 2 * time.Second
}

// busy opens a house to a crowd.
func busy(t *testing.T) *crowd {
	h := open(t)
	c := &crowd{h: h, sessions: []string{h.signedIn("floor").cookies["heeltap_session"], h.signedIn("quality").cookies["heeltap_session"]}, recorded: map[string]string{}}
	h.server.Log = nil // a log that is read by the test takes one writer at a time
	handler, err := h.server.Handler()
	require.NoError(t, err)
	c.server = httptest.NewServer(handler)
	t.Cleanup(c.server.Close)
	return c
}

// browser is one connection of one of two persons. It follows nothing by itself.
func (c *crowd) browser(i int) func(method, path string, body url.Values) (*http.Response, string) {
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }, Transport: &http.Transport{}}
	session := c.sessions[i%len(c.sessions)]
	return func(method, path string, body url.Values) (*http.Response, string) {
		r, err := http.NewRequest(method, c.server.URL+path, strings.NewReader(body.Encode()))
		if err != nil {
			return nil, err.Error()
		}
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.AddCookie(&http.Cookie{Name: "heeltap_session", Value: session})
		a, err := client.Do(r)
		if err != nil {
			return nil, err.Error()
		}
		defer a.Body.Close()
		text, err := io.ReadAll(a.Body)
		if err != nil {
			return nil, err.Error()
		}
		return a, string(text)
	}
}

func (c *crowd) note(list *[]time.Duration, took time.Duration, trouble string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	*list = append(*list, took)
	if trouble != "" {
		c.wrong = append(c.wrong, trouble)
	}
}

// write logs deliveries, each once and some of them twice.
func (c *crowd) write(i int) {
	ask := c.browser(i)
	for n := 0; time.Now().Before(c.until); n++ {
		form := fmt.Sprintf("w%d-%d", i, n)
		body := url.Values{"form": {form}, "item": {"MALT-1"}, "supplier": {"SUP-1"}, "supplier_lot": {"mark " + form}, "quantity": {"5"}, "unit": {"kg"}}
		for range 1 + n%2 {
			began := time.Now()
			a, text := ask(http.MethodPost, "/do/receive", body)
			trouble := ""
			if a == nil || a.StatusCode != http.StatusSeeOther {
				trouble = "write: " + text
			}
			c.note(&c.writes, time.Since(began), trouble)
			if trouble == "" {
				c.mu.Lock()
				c.recorded[form] = "mark " + form
				c.turns[i]++
				c.mu.Unlock()
			}
		}
	}
}

// read opens pages at random.
func (c *crowd) read(i int) {
	ask := c.browser(i)
	pages := []string{"/", "/cellar", "/lines", "/lot/LOT-1", "/brew/BREW-1", "/vessel/FV-1", "/run/RUN-1", "/unit/PAL-1", "/party/CON-1", "/running/RUN-1", "/do/receive", "/do/ship?unit=PAL-1", "/find?q=PAL-1", "/me"}
	for time.Now().Before(c.until) {
		path := pages[rand.IntN(len(pages))]
		began := time.Now()
		a, text := ask(http.MethodGet, path, nil)
		trouble := ""
		if a == nil || a.StatusCode != http.StatusOK && a.StatusCode != http.StatusSeeOther {
			trouble = "read " + path + ": " + text
		}
		c.note(&c.reads, time.Since(began), trouble)
	}
}

// watch looks how large the log grows.
func (c *crowd) watch() {
	for ; time.Now().Before(c.until); time.Sleep(20 * time.Millisecond) {
		if log, err := os.Stat(c.h.db.Path() + "-wal"); err == nil {
			c.log = max(c.log, log.Size())
		}
	}
}

// typeIn records by way of a second opening of the file, as the command line does, and tells how often it did.
func (c *crowd) typeIn() (n int) {
	db, err := store.Open(c.h.t.Context(), c.h.db.Path())
	if err != nil {
		c.note(&c.writes, 0, err.Error())
		return 0
	}
	defer db.Close()
	db.Now = c.h.db.Now
	sheet, _ := lots.SheetNamed("counts")
	for ; time.Now().Before(c.until); time.Sleep(50 * time.Millisecond) {
		err := db.Update(c.h.t.Context(), func(tx *store.Tx) error {
			_, err := desk.Record(tx, desk.Act{Sheet: sheet, Row: lots.Row{"subject": "PAL-1", "quantity": "29", "ref": fmt.Sprint(n)}, By: "At the machine"})
			return err
		})
		if err != nil {
			c.note(&c.writes, 0, "typed: "+err.Error())
			continue
		}
		n++
	}
	return n
}

// Eight people record and thirty-two look while somebody types at the machine: nobody sees an error, what was acknowledged is
// in the journal once, the audit agrees, nobody who records waits for ever while others are served, and the log stays small.
// HEELTAP_LOAD=2m lets them in for two minutes.
func TestManyAtOnce(t *testing.T) {
	c := busy(t)
	before := c.h.head()
	c.until = time.Now().Add(howLong())
	var all sync.WaitGroup
	typed := 0
	all.Go(func() { typed = c.typeIn() })
	all.Go(c.watch)
	for i := range c.turns {
		all.Go(func() { c.write(i) })
	}
	for i := range 32 {
		all.Go(func() { c.read(i) })
	}
	all.Wait()
	require.Empty(t, c.wrong)
	require.NotEmpty(t, c.recorded)
	require.Positive(t, typed)
	require.Equal(t, before+int64(len(c.recorded)+typed), c.h.head(), "each acknowledged entry is there once, and nothing else")
	marks := map[string]int{}
	require.NoError(t, c.h.db.View(t.Context(), func(tx *store.Tx) error {
		all, err := tx.Records("receipts")
		for _, rec := range all {
			marks[rec.(*lots.Receipt).SupplierLot]++
		}
		return err
	}))
	for form, mark := range c.recorded {
		require.Equal(t, 1, marks[mark], form)
	}
	report, err := c.h.db.Audit(t.Context(), func(string) {})
	require.NoError(t, err)
	require.Empty(t, report.Differences)
	least, most := slices.Min(c.turns[:]), slices.Max(c.turns[:])
	t.Logf("%v: %d pages, half within %v, 95 of 100 within %v, 99 within %v; %d forms, half within %v, 95 of 100 within %v, 99 within %v, %d to %d by each writer; %d typed; the log had at most %.1f MB", howLong(),
		len(c.reads), at(c.reads, 50), at(c.reads, 95), at(c.reads, 99), len(c.writes), at(c.writes, 50), at(c.writes, 95), at(c.writes, 99), least, most, typed, float64(c.log)/(1<<20))
	require.LessOrEqual(t, most, 4*least+8, "writers take turns: %v", c.turns)
	require.Positive(t, c.log)
	require.Less(t, c.log, int64(64<<20))
}

// at is a percentile.
func at(took []time.Duration, percent int) time.Duration {
	slices.Sort(took)
	return took[min(len(took)-1, len(took)*percent/100)].Round(100 * time.Microsecond)
}

// A form that is sent many times at once is recorded once, and everybody is told the same.
func TestSentTwiceAtOnce(t *testing.T) {
	c := busy(t)
	for round := range 5 {
		before := c.h.head()
		body := url.Values{"form": {fmt.Sprint("same", round)}, "item": {"MALT-1"}, "supplier": {"SUP-1"}, "supplier_lot": {fmt.Sprint("S", round)}, "quantity": {"5"}, "unit": {"kg"}}
		answers := make([]string, 8)
		var all sync.WaitGroup
		for i := range answers {
			all.Go(func() {
				if a, text := c.browser(0)(http.MethodPost, "/do/receive", body); a != nil {
					answers[i] = a.Header.Get("Location")
				} else {
					answers[i] = text
				}
			})
		}
		all.Wait()
		for _, a := range answers {
			require.Equal(t, fmt.Sprint("/said/same", round), a)
		}
		require.Equal(t, before+1, c.h.head())
	}
}
