package web_test

import (
	"bytes"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots/papers"
)

// Whoever may stop goods and correct their own entries may still not let goods go by correcting.
func TestNobodyReleasesByCorrecting(t *testing.T) {
	h := open(t)
	floor, quality := h.signedIn("floor"), h.signedIn("quality")
	n := 0
	hold := func(c *client, more ...string) int {
		n++
		return c.post("/do/hold", append([]string{"form", fmt.Sprint("hold ", n), "subject", "PAL-1", "at", "2026-03-19 08:00", "reason", "Dented"}, more...)...).Code
	}
	require.Equal(t, http.StatusForbidden, hold(floor, "released_at", "2026-03-19 09:00", "released_by", "Person of floor", "release_reason", "fine"))
	require.Equal(t, http.StatusSeeOther, hold(floor))
	entry := fmt.Sprintf("/entry/%d", h.head())
	seen := regexp.MustCompile(`name="seen" value="(\d+)"`).FindStringSubmatch(floor.get(entry + "/amend").Body.String())
	require.NotNil(t, seen)
	amend := func(c *client, form string, cells ...string) int {
		return c.post(entry+"/amend", append([]string{"form", form, "seen", seen[1], "reason", "Dented"}, cells...)...).Code
	}
	const takeBack = "/void\">Take it back"
	require.NotContains(t, floor.get(entry).Body.String(), takeBack, "no button for what is refused")
	require.Contains(t, quality.get(entry).Body.String(), takeBack)
	was := h.head()
	require.Equal(t, http.StatusForbidden, floor.post("/takeback/hold%202").Code, "nor as a slip")
	released := []string{"released_at", "2026-03-19 09:00", "released_by", "Person of floor", "release_reason", "fine"}
	require.Equal(t, http.StatusUnprocessableEntity, amend(floor, "a", released...))
	require.Equal(t, http.StatusUnprocessableEntity, amend(floor, "b", "subject", "LOT-1"), "what it stopped would be free")
	require.Equal(t, http.StatusUnprocessableEntity, floor.post(entry+"/void", "form", "c", "reason", "gone by now").Code)
	require.Equal(t, was, h.head(), "nothing was recorded")
	require.Equal(t, http.StatusSeeOther, amend(quality, "d", released...), "quality may")
}

// A form sent again with another photo is not the same form: the second photo would be lost, and nobody told.
func TestAnotherPhotoIsNotTheSameFormAgain(t *testing.T) {
	h := open(t)
	h.server.Papers = papers.Store{Folder: t.TempDir()}
	c := h.signedIn("floor")
	attach := func(content string) *httptest.ResponseRecorder {
		var body bytes.Buffer
		w := multipart.NewWriter(&body)
		require.NoError(t, w.WriteField("form", "one form"))
		require.NoError(t, w.WriteField("code", "LOT-1"))
		f, err := w.CreateFormFile("paper", "photo.pdf")
		require.NoError(t, err)
		_, err = f.Write([]byte("%PDF-1.4\n" + content))
		require.NoError(t, err)
		require.NoError(t, w.Close())
		r := c.request(http.MethodPost, "/attach", nil)
		fresh := httptest.NewRequest(http.MethodPost, "http://"+host+"/attach", &body)
		fresh.Header = r.Header.Clone()
		fresh.Header.Set("Content-Type", w.FormDataContentType())
		return c.send(fresh)
	}
	require.Equal(t, http.StatusSeeOther, attach("the first").Code)
	was := h.head()
	require.Equal(t, http.StatusSeeOther, attach("the first").Code, "sent twice it is recorded once")
	require.Equal(t, was, h.head())
	again := attach("the second")
	require.Equal(t, http.StatusUnprocessableEntity, again.Code)
	require.Contains(t, again.Body.String(), "What stands here now is not recorded")
	require.NotContains(t, again.Body.String(), `value="one form"`, "sent once more it is recorded: its number is a new one")
}
