package web_test

import (
	"bytes"
	"html"
	"io"
	"mime/multipart"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/cmd/internal/people"
	"heeltap/cmd/internal/web"
)

func TestFromTheLinkToThePages(t *testing.T) {
	h := open(t)
	admin := h.signedIn("admin")
	a := admin.post("/people", "name", "Nora Quay", "login", "nora", "role", "floor")
	require.Equal(t, http.StatusOK, a.Code, a.Body)
	link := regexp.MustCompile(`http://` + host + `(/welcome/[\w-]+)`).FindStringSubmatch(a.Body.String())
	require.NotNil(t, link, a.Body)
	picture := regexp.MustCompile(`src="(/people/link\.svg\?token=[\w-]+)"`).FindStringSubmatch(a.Body.String())
	require.NotNil(t, picture, a.Body)
	require.Equal(t, "image/svg+xml", admin.get(picture[1]).Header().Get("Content-Type"))
	require.NotContains(t, admin.get("/people").Body.String(), link[1], "the link is shown once")

	nora := h.client()
	a = nora.get(link[1])
	require.Contains(t, a.Body.String(), "Welcome, Nora Quay")
	require.Equal(t, http.StatusUnprocessableEntity, nora.post(link[1], "password", password, "again", newer).Code)
	require.Equal(t, http.StatusUnprocessableEntity, nora.post(link[1], "password", "short", "again", "short").Code)
	a = nora.post(link[1], "password", password, "again", password)
	require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
	require.Contains(t, nora.get("/me").Body.String(), "Nora Quay")
	require.Equal(t, http.StatusGone, nora.get(link[1]).Code, "a link is good once")
	require.Equal(t, http.StatusGone, admin.get(picture[1]).Code, "and so is its picture")

	id := regexp.MustCompile(`href="(/people/\d+)">Nora Quay`).FindStringSubmatch(admin.get("/people").Body.String())[1]
	require.Equal(t, http.StatusSeeOther, admin.post(id+"/name", "name", "Nora Bell").Code)
	require.Contains(t, nora.get("/me").Body.String(), "Nora Bell, Nora Quay", "both names are theirs")
	require.Equal(t, http.StatusSeeOther, admin.post(id+"/role", "role", "quality").Code)
	require.Equal(t, http.StatusSeeOther, nora.get("/me").Code, "another role ends the session")
	require.Equal(t, http.StatusSeeOther, admin.post(id+"/off").Code)
	require.Equal(t, http.StatusUnauthorized, nora.post("/signin", "login", "nora", "password", password).Code)
	require.Equal(t, http.StatusConflict, admin.post(id+"/link").Code, "no link for who is switched off")
	require.Equal(t, http.StatusSeeOther, admin.post(id+"/on").Code)
	require.Equal(t, http.StatusOK, admin.post(id+"/link").Code)
	happened := admin.get("/people/happened").Body.String()
	for _, what := range []string{"Invited: nora", "Renamed: nora", "Role changed: nora", "Switched off: nora", "New link: nora"} {
		require.Contains(t, happened, what)
	}
}

func TestSetUpMakesTheFirst(t *testing.T) {
	h := open(t)
	book, err := people.Open(t.Context(), t.TempDir()+"/empty-people.db")
	require.NoError(t, err)
	defer func() { require.NoError(t, book.Close()) }()
	server := &web.Server{DB: h.db, People: book, Hosts: []string{host}}
	h.handler, err = server.Handler()
	require.NoError(t, err)
	token, err := book.SetupToken(t.Context())
	require.NoError(t, err)
	c := h.client()
	require.Contains(t, c.get("/setup/"+token).Body.String(), "You are the first")
	require.Equal(t, http.StatusNotFound, c.get("/welcome/"+token).Code, "it is no invitation")
	a := c.post("/setup/"+token, "name", "Ada Min", "login", "ada", "password", password, "again", password)
	require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
	require.Equal(t, http.StatusOK, c.get("/people").Code)
	require.Equal(t, http.StatusGone, c.get("/setup/"+token).Code)
}

func TestAnotherPasswordBeginsAnew(t *testing.T) {
	h := open(t)
	elsewhere, c := h.signedIn("floor"), h.signedIn("floor")
	was := c.cookies["heeltap_session"]
	require.Equal(t, http.StatusUnauthorized, c.post("/me/password", "old", "wrong", "password", newer, "again", newer).Code)
	a := c.post("/me/password", "old", password, "password", newer, "again", newer)
	require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
	require.NotEqual(t, was, c.cookies["heeltap_session"])
	require.Equal(t, http.StatusOK, c.get("/me").Code, "signed in anew")
	require.Equal(t, http.StatusSeeOther, elsewhere.get("/me").Code, "signed out everywhere else")
	c.cookies["heeltap_session"] = was
	require.Equal(t, http.StatusSeeOther, c.get("/me").Code, "the old number is good for nothing")
}

func TestASharedTabletChangesHands(t *testing.T) {
	h := open(t)
	tablet := h.tablet()
	c := h.byPIN(tablet, "floor")
	floors := c.cookies["heeltap_session"]
	require.Contains(t, c.get("/cellar").Body.String(), "by PIN")
	h.byPIN(tablet, "admin")
	a := c.get("/switch?next=/cellar")
	require.Contains(t, a.Body.String(), "Ada Min")
	require.NotContains(t, a.Body.String(), "Person of viewer", "who has no PIN is not offered")
	require.Contains(t, c.get("/switch?as=admin&next=/cellar").Body.String(), `inputmode="numeric"`)
	require.Equal(t, http.StatusUnauthorized, c.post("/switch", "login", "admin", "pin", "111").Code)
	a = c.post("/switch", "login", "admin", "pin", pinned, "next", "/cellar")
	require.Equal(t, "/cellar", a.Header().Get("Location"))
	require.NotEqual(t, floors, c.cookies["heeltap_session"], "a number of its own")
	require.Contains(t, c.get("/people").Body.String(), "Sign in with my password", "a PIN allows less")

	stolen := h.client()
	stolen.cookies["heeltap_session"] = floors
	require.Equal(t, http.StatusSeeOther, stolen.get("/cellar").Code, "the session before has ended")
	stolen.cookies["heeltap_session"] = c.cookies["heeltap_session"]
	require.Equal(t, http.StatusSeeOther, stolen.get("/cellar").Code, "a session by PIN is good on its tablet only")

	h.noon = h.noon.Add(16 * time.Minute)
	require.Equal(t, "/switch?next=%2Fvessel%2FFV-1", c.get("/vessel/FV-1").Header().Get("Location"), "an idle tablet asks who is there")
	a = c.post("/do/receive", "form", "late")
	require.Equal(t, http.StatusUnauthorized, a.Code)
	require.Contains(t, a.Body.String(), "Who are you?")
	require.Equal(t, http.StatusSeeOther, c.post("/switch", "login", "floor", "pin", pinned).Code)
	require.Equal(t, "/switch", c.post("/signout").Header().Get("Location"))

	admin := h.signedIn("admin")
	admin.cookies["heeltap_tablet"] = tablet
	require.Contains(t, admin.get("/tablets").Body.String(), "This is <strong>Packing hall</strong>")
	require.Equal(t, http.StatusSeeOther, admin.post("/tablets/1/forget").Code)
	require.NotContains(t, admin.cookies, "heeltap_tablet")
	require.Equal(t, "/signin?next=%2F", c.get("/switch").Header().Get("Location"), "a forgotten tablet asks for the password")
}

func TestCookiesAreKeptClose(t *testing.T) {
	h := open(t)
	h.tablet()
	for _, secure := range []bool{false, true} {
		h.server.Secure = secure
		c := h.client()
		signIn := c.post("/signin", "login", "admin", "password", password)
		register := c.post("/tablets", "name", map[bool]string{false: "Dock", true: "Cellar"}[secure])
		signOut := c.post("/signout")
		for _, a := range []*httptest.ResponseRecorder{signIn, register, signOut} {
			cookies := a.Result().Cookies()
			require.Len(t, cookies, 1)
			require.True(t, cookies[0].HttpOnly)
			require.Equal(t, secure, cookies[0].Secure)
			require.Equal(t, http.SameSiteLaxMode, cookies[0].SameSite)
			require.Equal(t, "/", cookies[0].Path)
			require.Empty(t, cookies[0].Domain)
		}
		require.Greater(t, register.Result().Cookies()[0].MaxAge, 300*24*3600, "a tablet stays known")
	}
}

func TestAPlantedSessionIsNotTakenOver(t *testing.T) {
	h := open(t)
	for _, planted := range []string{"planted", strings.Repeat("A", 43), h.signedIn("viewer").cookies["heeltap_session"]} {
		victim := h.client()
		victim.cookies["heeltap_session"] = planted
		require.Equal(t, http.StatusSeeOther, victim.post("/signin", "login", "admin", "password", password).Code)
		require.NotEqual(t, planted, victim.cookies["heeltap_session"])
		attacker := h.client()
		attacker.cookies["heeltap_session"] = planted
		require.Equal(t, http.StatusSeeOther, attacker.get("/people").Code, "what was planted lets nobody in")
	}
}

func TestSignedOutStaysOut(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	was := c.cookies["heeltap_session"]
	require.Equal(t, http.StatusOK, c.get("/cellar").Code)
	c.post("/signout")
	c.cookies["heeltap_session"] = was
	require.Equal(t, http.StatusSeeOther, c.get("/cellar").Code)
	before := h.head()
	require.Equal(t, http.StatusUnauthorized, c.post("/do/receive", "form", "x", "item", "MALT-1", "supplier", "SUP-1", "supplier_lot", "W", "quantity", "5", "unit", "kg").Code)
	require.Equal(t, before, h.head())
}

func TestWrongTriesHaveToWait(t *testing.T) {
	h := open(t)
	c := h.client()
	var a *httptest.ResponseRecorder
	for range 6 {
		a = c.post("/signin", "login", "floor", "password", "wrong")
	}
	require.Equal(t, http.StatusTooManyRequests, a.Code)
	require.Contains(t, a.Body.String(), "Too many wrong tries: wait 2 seconds")
	require.Equal(t, "2", a.Header().Get("Retry-After"))
	require.Contains(t, a.Body.String(), `value="floor"`, "what was typed stays")
	require.Equal(t, http.StatusTooManyRequests, c.post("/signin", "login", "floor", "password", password).Code)
	h.noon = h.noon.Add(2 * time.Second)
	require.Equal(t, http.StatusSeeOther, c.post("/signin", "login", "floor", "password", password).Code)
}

// Whoever was signed out while writing gets back what they typed, also where no script kept it.
func TestWhatWasTypedOutlivesTheSession(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	c.cookies["heeltap_session"] = "ended"
	a := c.post("/do/receive", "form", "f", "item", "MALT-1", "supplier_lot", `W "9" & co`, "password", "")
	require.Equal(t, http.StatusUnauthorized, a.Code)
	next := regexp.MustCompile(`name="next" value="([^"]*)"`).FindStringSubmatch(a.Body.String())[1]
	a = c.post("/signin", "login", "floor", "password", password, "next", html.UnescapeString(next))
	a = c.get(a.Header().Get("Location"))
	require.Equal(t, http.StatusOK, a.Code)
	require.Contains(t, a.Body.String(), `value="MALT-1"`)
	require.Contains(t, a.Body.String(), `value="W &#34;9&#34; &amp; co"`)
}

func TestNextLeadsNowhereElse(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	leads := func(next string, a *httptest.ResponseRecorder) {
		require.Equal(t, http.StatusSeeOther, a.Code)
		to := a.Header().Get("Location")
		require.Regexp(t, `^/([^/\\]|$)`, to, next)
		u, err := url.Parse("http://" + host + to)
		require.NoError(t, err)
		require.Equal(t, host, u.Host, next)
		require.NotContains(t, to, "\n", next)
		require.LessOrEqual(t, len(a.Result().Cookies()), 1, next)
	}
	for i, next := range []string{"//evil.example", `\\evil.example`, `/\evil.example`, "https://evil.example", "https:evil.example", "http:///evil.example/x", "javascript:alert(1)",
		"/%2fevil.example", "/%5cevil.example", "//evil.example/%2f..", "/\t/evil.example", "/.//evil.example", "/x\r\nSet-Cookie: a=b", "/%0d%0aSet-Cookie:%20a=b",
		" //evil.example", "?//evil.example", "/signout", "/switch", "/welcome/x", "//", "///evil.example", "/:80//evil.example"} {
		leads(next, c.get("/signin?"+url.Values{"next": {next}}.Encode()))
		if i < 4 {
			leads(next, h.client().post("/signin", "login", "floor", "password", password, "next", next))
		}
	}
	require.Equal(t, "/vessel/FV-1?x=1", c.get("/signin?next=/vessel/FV-1%3Fx%3D1").Header().Get("Location"))
}

func TestAssetsAreAssetsOnly(t *testing.T) {
	h := open(t)
	c := h.client()
	for _, name := range []string{"../templates/layout.html", "..%2ftemplates%2flayout.html", "%2e%2e/templates/layout.html", "../web.go", "..\\web.go", "/etc/passwd", "%2fetc%2fpasswd", "style.css/..", ".", "", "style.css%00.js"} {
		a := c.get("/assets/x/" + name)
		require.NotEqual(t, http.StatusOK, a.Code, name)
		require.NotContains(t, a.Body.String(), "root:", name)
		require.NotContains(t, a.Body.String(), "{{", name)
	}
	require.Equal(t, http.StatusOK, c.get("/assets/x/style.css").Code)
}

// Nothing larger than it may be is taken, and nothing of it is recorded.
func TestTooMuchIsRefused(t *testing.T) {
	h := open(t)
	c := h.signedIn("admin")
	before := h.state()
	large := map[string]bool{}
	for _, r := range web.Routes() {
		large[r.Method+" "+r.Pattern] = r.Large
	}
	for _, x := range matrix {
		if !strings.HasPrefix(x.route, "POST") {
			continue
		}
		a := c.send(c.request(http.MethodPost, x.path, url.Values{"form": {"z"}, "note": {strings.Repeat("x", web.MostForm)}}))
		require.Equal(t, http.StatusUnprocessableEntity, a.Code, x.route)
		require.Contains(t, a.Body.String(), "too much to send at once", x.route)
		if large[x.route] {
			a := c.send(c.upload(x.path, web.MostFile))
			require.Equal(t, http.StatusUnprocessableEntity, a.Code, x.route)
			require.Contains(t, a.Body.String(), "too much to send at once", x.route)
			stranger := h.client().send(c.h.client().upload(x.path, web.MostFile))
			require.Equal(t, http.StatusUnauthorized, stranger.Code, "%s: a stranger's file is not even read", x.route)
		}
	}
	require.Equal(t, before, h.state())
}

// upload is a request with a file of a size.
func (c *client) upload(path string, size int) *http.Request {
	var head bytes.Buffer
	w := multipart.NewWriter(&head)
	_, err := w.CreateFormFile("paper", "big.jpg")
	require.NoError(c.h.t, err)
	r := c.request(http.MethodPost, path, nil)
	r.Body = io.NopCloser(io.MultiReader(&head, io.LimitReader(zeros{}, int64(size)), strings.NewReader("\r\n--"+w.Boundary()+"--\r\n")))
	r.ContentLength = -1
	r.Header.Set("Content-Type", w.FormDataContentType())
	return r
}

// zeros are zeros without end.
type zeros struct{}

func (zeros) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}

// A connection that says nothing, or never ends what it says, is let go.
func TestSlowAndEndlessHeads(t *testing.T) {
	h := open(t)
	srv := h.server.HTTP(h.handler)
	require.LessOrEqual(t, srv.ReadHeaderTimeout, 10*time.Second)
	require.LessOrEqual(t, srv.ReadTimeout, 5*time.Minute)
	require.NotZero(t, srv.ReadTimeout*srv.WriteTimeout*srv.IdleTimeout)
	srv.ReadHeaderTimeout = 200 * time.Millisecond
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	go func() { _ = srv.Serve(listener) }()
	defer srv.Close()

	slow, err := net.Dial("tcp", listener.Addr().String())
	require.NoError(t, err)
	defer slow.Close()
	_, err = slow.Write([]byte("GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: "))
	require.NoError(t, err)
	require.NoError(t, slow.SetReadDeadline(time.Now().Add(5*time.Second)))
	var answer bytes.Buffer
	_, err = answer.ReadFrom(slow)
	require.NoError(t, err, "the server has hung up")
	require.NotContains(t, answer.String(), "200 OK")

	r, err := http.NewRequest(http.MethodGet, "http://"+listener.Addr().String()+"/signin", nil)
	require.NoError(t, err)
	r.Header.Set("X-Long", strings.Repeat("x", 64<<10))
	got, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	require.NoError(t, got.Body.Close())
	require.Equal(t, http.StatusRequestHeaderFieldsTooLarge, got.StatusCode)
}

// What lets somebody in is in no log, however much is logged.
func TestNoSecretIsLogged(t *testing.T) {
	h := open(t)
	c := h.byPIN(h.tablet(), "floor")
	secrets := []string{password, newer, pinned, "wrong but telling", c.cookies["heeltap_session"], c.cookies["heeltap_tablet"]}
	admin := h.signedIn("admin")
	a := admin.post("/people", "name", "Nora Quay", "login", "nora", "role", "floor")
	token := regexp.MustCompile(`/welcome/([\w-]+)`).FindStringSubmatch(a.Body.String())[1]
	secrets = append(secrets, token, admin.cookies["heeltap_session"])
	admin.get("/people/link.svg?token=" + token)
	nora := h.client()
	nora.get("/welcome/" + token)
	nora.get("/welcome/" + token + "/more")
	nora.post("/welcome/"+token, "password", "short", "again", "short")
	nora.post("/welcome/"+token, "password", newer, "again", newer)
	secrets = append(secrets, nora.cookies["heeltap_session"])
	nora.get("/welcome/" + token)
	nora.get("/setup/" + token)
	nora.post("/signin", "login", "nora", "password", "wrong but telling")
	nora.post("/signin", "login", "wrong but telling", "password", newer)
	nora.post("/me/password", "old", "wrong but telling", "password", newer, "again", newer)
	nora.post("/me/pin", "current", newer, "pin", pinned)
	for _, x := range matrix {
		admin.ask(x)
	}
	require.NoError(t, h.db.Close(), "from here on everything fails inside")
	again := h.signedIn("admin")
	secrets = append(secrets, again.cookies["heeltap_session"])
	for _, x := range matrix {
		again.ask(x)
	}
	log := h.log.String()
	require.Contains(t, log, "/people")
	require.Contains(t, log, "page failed")
	for _, s := range secrets {
		require.NotContains(t, log, s)
		require.NotContains(t, log, url.QueryEscape(s))
	}
}

// A form's number stands for what it said: sent again it records nothing, and changed it is not taken for recorded.
func TestAFormIsRecordedOnce(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	form := []string{"form", "f1", "back", "/", "item", "MALT-1", "supplier", "SUP-1", "supplier_lot", "W1", "quantity", "5", "unit", "kg"}
	before := h.head()
	for range 3 {
		require.Equal(t, "/said/f1", c.post("/do/receive", form...).Header().Get("Location"))
	}
	require.Equal(t, before+1, h.head())
	require.Equal(t, c.get("/said/f1").Body.String(), c.get("/said/f1").Body.String())

	form[9] = "W2"
	a := c.post("/do/receive", form...)
	require.Equal(t, http.StatusUnprocessableEntity, a.Code)
	require.Contains(t, a.Body.String(), "this form was recorded before, and said something else")
	require.Equal(t, before+1, h.head())
	form[1] = regexp.MustCompile(`name="form" value="(\w+)"`).FindStringSubmatch(a.Body.String())[1]
	require.Equal(t, http.StatusSeeOther, c.post("/do/receive", form...).Code, "sent once more it is recorded")
	require.Equal(t, before+2, h.head())
}
