package web_test

import (
	"context"
	"database/sql"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A reading that has no error of its own fails its transaction: the page made of it must not be taken for the truth.
func TestAPageIsNotSentWhenAReadingFailed(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	require.Equal(t, http.StatusOK, c.get("/lines").Code)
	file, err := sql.Open("sqlite", h.db.Path())
	require.NoError(t, err)
	_, err = file.Exec("ALTER TABLE code RENAME TO gone")
	require.NoError(t, err)
	require.NoError(t, file.Close())
	a := c.get("/lines")
	require.Equal(t, http.StatusInternalServerError, a.Code)
	require.NotContains(t, a.Body.String(), "gone", "what went wrong inside is for the log")
	require.NotContains(t, a.Body.String(), "no such table")
	require.Contains(t, h.log.String(), "page failed")
}

// stuck is a browser that stops reading.
type stuck struct {
	*httptest.ResponseRecorder
	reached, on chan struct{}
	once        sync.Once
}

func (s *stuck) Write(data []byte) (int, error) {
	s.once.Do(func() { s.reached <- struct{}{} })
	<-s.on
	return s.ResponseRecorder.Write(data)
}

// Only a few can read the file at a time: a telephone in a dead corner must not be one of them.
func TestWhoReadsSlowlyKeepsNobodyWaiting(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	reached, on := make(chan struct{}, 8), make(chan struct{})
	var slow sync.WaitGroup
	for range 8 {
		r := c.request(http.MethodGet, "/stock", nil)
		slow.Go(func() {
			h.handler.ServeHTTP(&stuck{ResponseRecorder: httptest.NewRecorder(), reached: reached, on: on}, r)
		})
	}
	defer slow.Wait()
	defer close(on)
	for range 8 {
		select {
		case <-reached:
		case <-time.After(10 * time.Second):
			t.Fatal("whoever does not read on keeps others from being answered")
		}
	}
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	a := httptest.NewRecorder()
	h.handler.ServeHTTP(a, c.request(http.MethodGet, "/stock", nil).WithContext(ctx))
	require.Equal(t, http.StatusOK, a.Code)
}
