package web_test

import (
	"bytes"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/cmd/internal/people"
	"heeltap/cmd/internal/web"
	"heeltap/graph/recall"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

// rows are one row of every sheet at least, all invented; ~ stands in every code.
const rows = `
site name=House time_zone=UTC volume_unit=hL mass_unit=kg
items item=MALT~ name=Malt kind=malt unit=kg
items item=YEAST~ name=Yeast kind=yeast unit=L
parties party=SUP~ name=Sup role=supplier
parties party=CON~ name=Con role=consignee
vessels vessel=FV~ kind=fermenter
vessels vessel=BT~ kind=bright
lines line=LINE~
products product=CAN~ name=Can container_ml=440 per_case=24
receipts lot=LOT~ item=MALT~ supplier=SUP~ supplier_lot=W quantity=500 unit=kg received_at=2026-03-01_08:00
brews brew=BREW~ beer=Pale started_at=2026-03-02_07:00 cast_out_at=2026-03-02_13:00 into=FV~ volume=19 unit=hL
brew_inputs brew=BREW~ from=LOT~ quantity=100 unit=kg at=2026-03-02_07:00
additions vessel=FV~ from=LOT~ quantity=1 unit=kg at=2026-03-03_08:00
transfers transfer=TR~ from=FV~ to=BT~ out=15 in=15 unit=hL started_at=2026-03-08_08:00 ended_at=2026-03-08_09:00
circulations vessels=FV~;BT~ started_at=2026-03-08_10:00 ended_at=2026-03-08_11:00
crops lot=CROP~ item=YEAST~ vessel=FV~ quantity=5 unit=L at=2026-03-06_08:00
cleans vessel=FV~ at=2026-03-09_08:00 method=cip
clearances line=LINE~ at=2026-03-09_08:00
runs run=RUN~ product=CAN~ line=LINE~ started_at=2026-03-10_08:00 ended_at=2026-03-10_10:00 date_code=BB good=1920
codes run=RUN~ date_code=BC since=2026-03-10_09:30
feeds run=RUN~ from=BT~
units unit=PAL~ kind=pallet run=RUN~ quantity=40
shipments shipment=SH~ unit=PAL~ quantity=10 consignee=CON~ shipped_at=2026-03-11_08:00
returns return=RET~ unit=PAL~ quantity=1 consignee=CON~ returned_at=2026-03-12_08:00
removals subject=PAL~ quantity=1 at=2026-03-13_08:00 reason=sample
counts subject=PAL~ quantity=29 at=2026-03-14_08:00
holds subject=LOT~ at=2026-03-15_08:00 reason=Smell by=Somebody
`

// written are those rows with a text in every code.
func written(code, by string) (out []store.Statement) {
	for _, r := range histories.Entered(histories.Written(rows)) {
		row := lots.Row{}
		for column, value := range r.Row {
			row[column] = strings.ReplaceAll(value, "~", code)
		}
		out = append(out, store.Statement{Sheet: r.Sheet, Row: row, By: by})
	}
	return out
}

const (
	password = "seven wet barrels"
	newer    = "eight dry corks!!"
	pinned   = "73915824"
	host     = "brewery.test"
)

// house is a small brewery with its pages, and a person of each role.
type house struct {
	t       testing.TB
	db      *store.DB
	book    *people.Book
	server  *web.Server
	handler http.Handler
	log     bytes.Buffer
	admin   people.Person
	own     int64     // an entry that the floor made
	noon    time.Time // what all clocks say
}

// open opens a house; its clocks stand still at noon on 20 March 2026.
func open(t testing.TB) *house {
	t.Helper()
	folder := t.TempDir()
	h := &house{t: t, noon: time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC)}
	var err error
	h.db, err = store.Create(t.Context(), filepath.Join(folder, "heeltap.db"))
	require.NoError(t, err)
	h.db.KeepInMemory(64 << 20) // as the program does
	h.book, err = people.Open(t.Context(), filepath.Join(folder, "heeltap-people.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, h.db.Close()); require.NoError(t, h.book.Close()) })
	h.db.Now = func() time.Time { return h.noon }
	h.book.Now = func() time.Time { return h.noon }
	require.NoError(t, h.db.Update(t.Context(), func(tx *store.Tx) error {
		_, _, faults, err := tx.RecordRows(written("-1", "Somebody"))
		require.Empty(t, faults)
		return err
	}))
	h.server = &web.Server{Patience: time.Minute, DB: h.db, People: h.book, Hosts: []string{host, "127.0.0.1"}, Log: slog.New(slog.NewTextHandler(&h.log, &slog.HandlerOptions{Level: slog.LevelDebug}))}
	t.Cleanup(h.server.Close)
	h.handler, err = h.server.Handler()
	require.NoError(t, err)
	h.hire()
	require.NoError(t, h.db.Update(t.Context(), func(tx *store.Tx) error {
		_, err := recall.Begin(tx, recall.Opened{Mock: true, Suspects: []string{"LOT-1"}, Hazard: "foreign-body", Reason: "wire in the malt"}, recall.At{}, "Person of quality")
		return err
	}))
	require.Empty(t, h.record(store.Statement{Sheet: sheetNamed(t, "counts"), Row: lots.Row{"subject": "PAL-1", "quantity": "28", "at": "2026-03-16 08:00"}, By: "Person of floor"}, true))
	h.own = h.head()
	return h
}

// hire gives the house an admin, and a person of each other role.
func (h *house) hire() {
	token, err := h.book.SetupToken(h.t.Context())
	require.NoError(h.t, err)
	h.admin, err = h.book.Setup(h.t.Context(), token, "Ada Min", "admin", password)
	require.NoError(h.t, err)
	for _, role := range []people.Role{people.Viewer, people.Floor, people.Quality} {
		token, _, err := h.book.Invite(h.t.Context(), h.admin, "Person of "+string(role), string(role), role)
		require.NoError(h.t, err)
		_, err = h.book.Redeem(h.t.Context(), token, password)
		require.NoError(h.t, err)
	}
}

// client is one browser: what it was told to keep, and what it has been sent.
type client struct {
	h       *house
	cookies map[string]string
}

func (h *house) client() *client { return &client{h, map[string]string{}} }

// signedIn is a browser in which somebody signed in with the password.
func (h *house) signedIn(login string) *client {
	h.t.Helper()
	c := h.client()
	a := c.post("/signin", "login", login, "password", password)
	require.Equal(h.t, http.StatusSeeOther, a.Code, a.Body)
	return c
}

// request is a request as a browser sends it from a page of ours.
func (c *client) request(method, path string, body url.Values) *http.Request {
	r := httptest.NewRequest(method, "http://"+host+path, strings.NewReader(body.Encode()))
	if method != http.MethodGet {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		r.Header.Set("Origin", "http://"+host)
	}
	for name, value := range c.cookies {
		r.AddCookie(&http.Cookie{Name: name, Value: value})
	}
	return r
}

// send sends a request, and keeps the cookies that come back.
func (c *client) send(r *http.Request) *httptest.ResponseRecorder {
	a := httptest.NewRecorder()
	c.h.handler.ServeHTTP(a, r)
	for _, cookie := range a.Result().Cookies() {
		if cookie.MaxAge < 0 {
			delete(c.cookies, cookie.Name)
		} else {
			c.cookies[cookie.Name] = cookie.Value
		}
	}
	return a
}

func (c *client) get(path string) *httptest.ResponseRecorder {
	return c.send(c.request(http.MethodGet, path, nil))
}

// post sends a form: names and texts by turns.
func (c *client) post(path string, pairs ...string) *httptest.ResponseRecorder {
	body := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		body.Set(pairs[i], pairs[i+1])
	}
	return c.send(c.request(http.MethodPost, path, body))
}

// head is the number of the journal's last entry.
func (h *house) head() (head int64) {
	h.t.Helper()
	require.NoError(h.t, h.db.View(h.t.Context(), func(tx *store.Tx) (err error) {
		head, err = tx.Head()
		return err
	}))
	return head
}

// state is all that both files hold, as one number.
func (h *house) state() string {
	h.t.Helper()
	sum := sha256.New()
	for _, path := range []string{h.db.Path(), h.book.Path()} {
		file, err := sql.Open("sqlite", "file:"+path+"?mode=ro")
		require.NoError(h.t, err)
		tables := column(h.t, file, "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
		require.NotEmpty(h.t, tables)
		for _, table := range tables {
			fmt.Fprintln(sum, table, strings.Join(column(h.t, file, `SELECT * FROM "`+table+`"`), "\n"))
		}
		require.NoError(h.t, file.Close())
	}
	return hex.EncodeToString(sum.Sum(nil))
}

// column reads rows, each as one text.
func column(t testing.TB, file *sql.DB, query string) (out []string) {
	found, err := file.Query(query)
	require.NoError(t, err)
	defer found.Close()
	names, err := found.Columns()
	require.NoError(t, err)
	for found.Next() {
		cells, places := make([]any, len(names)), make([]any, len(names))
		for i := range cells {
			places[i] = &cells[i]
		}
		require.NoError(t, found.Scan(places...))
		text := fmt.Sprint(cells...)
		if len(cells) == 1 {
			text = fmt.Sprint(cells[0])
		}
		out = append(out, text)
	}
	require.NoError(t, found.Err())
	return out
}

func sheetNamed(t testing.TB, name string) *lots.Sheet {
	t.Helper()
	s, ok := lots.SheetNamed(name)
	require.True(t, ok, name)
	return s
}
