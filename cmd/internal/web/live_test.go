package web_test

import (
	"bufio"
	"context"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/cmd/internal/people"
	"heeltap/cmd/internal/web"
	"heeltap/graph/recall"
	"heeltap/lots"
	"heeltap/lots/store"
)

// listening is one browser that has the events of a recall open, over a real connection.
type listening struct {
	t     *testing.T
	lines chan string // closed when the server ends it
}

// listen opens the events of the house's recall.
func (h *house) listen(t *testing.T, server *httptest.Server, c *client) *listening {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	t.Cleanup(stop)
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, server.URL+"/recall/MR26-01/events", nil)
	require.NoError(t, err)
	for name, value := range c.cookies {
		r.AddCookie(&http.Cookie{Name: name, Value: value})
	}
	a, err := server.Client().Do(r)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, a.StatusCode)
	require.Equal(t, "text/event-stream", a.Header.Get("Content-Type"))
	l := &listening{t, make(chan string, 1000)}
	go func() {
		defer a.Body.Close()
		defer close(l.lines)
		for in := bufio.NewScanner(a.Body); in.Scan(); {
			l.lines <- in.Text()
		}
	}()
	l.until("event: now")
	return l
}

// until reads on to a line that holds a text, and gives it.
func (l *listening) until(text string) string {
	l.t.Helper()
	late := time.After(20 * time.Second)
	for {
		select {
		case line, more := <-l.lines:
			require.True(l.t, more, "it was ended before %q came", text)
			if strings.Contains(line, text) {
				return line
			}
		case <-late:
			l.t.Fatalf("%q did not come", text)
		}
	}
}

// over waits until the server has ended it.
func (l *listening) over() {
	l.t.Helper()
	late := time.After(20 * time.Second)
	for {
		select {
		case _, more := <-l.lines:
			if !more {
				return
			}
		case <-late:
			l.t.Fatal("it was not ended")
		}
	}
}

// served puts the house behind a real listener.
func (h *house) served(t *testing.T, beat time.Duration) *httptest.Server {
	web.Live(h.server, beat, 20*time.Millisecond)
	server := httptest.NewUnstartedServer(h.handler)
	server.Config = h.server.HTTP(h.handler)
	server.Config.ReadTimeout = 2 * time.Second // listening outlives what a request may take
	server.Start()
	t.Cleanup(server.Close)
	return server
}

// What is done on a page, and what the command line enters on the same file, comes to everybody who looks.
func TestOthersSeeAStepAsItHappens(t *testing.T) {
	h := open(t)
	server := h.served(t, time.Hour)
	quality, viewer := h.signedIn("quality"), h.signedIn("viewer")
	one, two := h.listen(t, server, quality), h.listen(t, server, viewer)
	a := quality.post("/recall/MR26-01/do/note", "form", "live-1", "text", "the team <met>")
	require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
	for _, l := range []*listening{one, two} {
		line := l.until("he team")
		require.Contains(t, line, `"by":"Person of quality"`)
		require.NotContains(t, line, "<met>", "it is no markup")
	}
	beside, err := store.Open(t.Context(), h.db.Path())
	require.NoError(t, err)
	defer beside.Close()
	beside.Now = h.db.Now
	require.NoError(t, beside.Update(t.Context(), func(tx *store.Tx) error {
		now, err := recall.Load(tx, "MR26-01")
		if err == nil {
			_, err = now.Take(tx, &recall.Told{Party: "CON-1", How: "phone", Reached: true}, recall.At{}, "Somebody")
		}
		return err
	}))
	two.until("CON-1")
	// What is no step of the recall is told too, without its words: it may change what is affected.
	require.Empty(t, h.record(store.Statement{Sheet: sheetNamed(t, "counts"), Row: lots.Row{"subject": "PAL-1", "quantity": "27", "at": "2026-03-17 08:00"}, By: "Somebody"}, true))
	line := two.until(`"head"`)
	require.NotContains(t, line, "PAL-1")
}

// Whoever signs out, is shut out or stays away too long is shown nothing more, at once or at the next beat.
func TestListeningEndsWithTheSession(t *testing.T) {
	h := open(t)
	var later atomic.Int64
	noon := h.noon
	h.book.Now = func() time.Time { return noon.Add(time.Duration(later.Load())) }
	server := h.served(t, 30*time.Millisecond)
	c := h.signedIn("viewer")
	l := h.listen(t, server, c)
	for began := time.Now(); time.Since(began) < 2500*time.Millisecond; {
		l.until(": still here")
	}
	c.post("/signout")
	l.over()

	l = h.listen(t, server, h.signedIn("floor"))
	everybody, err := h.book.People(t.Context())
	require.NoError(t, err)
	for _, p := range everybody {
		if p.Login == "floor" {
			require.NoError(t, h.book.SetOff(t.Context(), h.admin, p.ID, true))
		}
	}
	l.over()

	l = h.listen(t, server, h.signedIn("quality"))
	l.until(": still here")
	later.Store(int64(h.book.Idle + time.Minute))
	l.over()
}

// A page that only listens does not keep a session alive.
func TestListeningIsNoUseOfASession(t *testing.T) {
	h := open(t)
	c := h.signedIn("viewer")
	before, err := h.book.Session(t.Context(), c.cookies["heeltap_session"])
	require.NoError(t, err)
	h.noon = h.noon.Add(10 * time.Minute)
	_, err = h.book.Still(t.Context(), c.cookies["heeltap_session"])
	require.NoError(t, err)
	h.noon = h.noon.Add(h.book.Idle - 10*time.Minute)
	_, err = h.book.Still(t.Context(), c.cookies["heeltap_session"])
	require.ErrorAs(t, err, new(*people.Refused))
	require.Equal(t, before.LastSeen, before.Began)
}

// So many may listen and no more; the server stops without waiting for them.
func TestListenersAreBounded(t *testing.T) {
	h := open(t)
	server := h.served(t, time.Hour)
	c := h.signedIn("viewer")
	l := h.listen(t, server, c)
	web.MostWatching(h.server, 1)
	a := c.get("/recall/MR26-01/events")
	require.Equal(t, http.StatusConflict, a.Code)
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	require.NoError(t, server.Config.Shutdown(ctx))
	l.over()
}
