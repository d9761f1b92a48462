package web_test

import (
	"flag"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/graph/balance"
	"heeltap/graph/check"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

var update = flag.Bool("update", false, "write the golden files anew")

// elements lists what of a page has an attribute.
func elements(t *testing.T, page, attribute string) (out []map[string]string) {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(page))
	require.NoError(t, err)
	for n := range doc.Descendants() {
		set := map[string]string{"": n.Data}
		for _, a := range n.Attr {
			set[a.Key] = a.Val
		}
		if _, has := set[attribute]; has {
			for up := n.Parent; up != nil; up = up.Parent {
				for _, a := range up.Attr {
					if a.Key == "data-rows" {
						set["rows"] = a.Val
					}
				}
			}
			out = append(out, set)
		}
	}
	return out
}

// pictureHolds checks that every chain of the tables on a trace page is in its picture, and every band and box of the picture in the tables.
func pictureHolds(t *testing.T, page string) {
	t.Helper()
	box := map[string]string{} // code to its box
	boxes := map[string]bool{}
	for _, n := range elements(t, page, "data-codes") {
		if n["data-id"] == "" {
			continue
		}
		boxes[n["data-id"]] = true
		for _, code := range strings.Split(n["data-codes"], ";") {
			if code != "" && !strings.HasPrefix(n["data-id"], "from ") && !strings.HasPrefix(n["data-id"], "to ") && !strings.HasPrefix(n["data-id"], "group consignees") && !strings.HasPrefix(n["data-id"], "group suppliers") {
				box[code] = n["data-id"]
			}
		}
	}
	bands, backed := map[[2]string]bool{}, map[[2]string]bool{}
	for _, b := range elements(t, page, "data-from") {
		require.True(t, boxes[b["data-from"]] && boxes[b["data-to"]], "a band leads from box to box: %v", b)
		bands[[2]string{b["data-from"], b["data-to"]}] = true
	}
	rows := map[string]bool{}
	for _, r := range elements(t, page, "data-why") {
		why := strings.Split(r["data-why"], ";")
		rows[r["data-code"]] = true
		if r["rows"] == "shipments" {
			why = why[:len(why)-1] // by the code of the shipment, which is no box
		}
		for i, code := range why {
			require.NotEmpty(t, box[code], "%s of the chain to %s has a box", code, r["data-code"])
			if i == 0 || box[why[i-1]] == box[code] {
				continue
			}
			a, b := [2]string{box[why[i-1]], box[code]}, [2]string{box[code], box[why[i-1]]}
			require.True(t, bands[a] || bands[b], "a band from %s to %s", why[i-1], code)
			backed[a], backed[b] = true, true
		}
	}
	for code := range box {
		require.True(t, rows[code], "%s has a box, and a row", code)
	}
}

// opened opens every group of a picture, one after the other.
func (c *client) opened(t *testing.T, path string) string {
	t.Helper()
	for range 40 {
		a := c.get(path)
		require.Equal(t, http.StatusOK, a.Code, "%s\n%s", path, a.Body)
		next := ""
		for _, n := range elements(t, a.Body.String(), "data-id") {
			if strings.HasPrefix(n["data-id"], "group ") {
				next = n["href"]
				break
			}
		}
		pictureHolds(t, a.Body.String())
		if next == "" {
			return a.Body.String()
		}
		path, _, _ = strings.Cut(next, "#")
	}
	t.Fatal("groups were opened without an end")
	return ""
}

// What trace, balance and readiness pages show is what the packages answer, for random histories.
func TestPagesSayWhatTheAnswersSay(t *testing.T) {
	h := open(t)
	c := h.signedIn("quality")
	dir, looked := t.TempDir(), 0
	draw := rapid.Custom(histories.Draw)
	for seed := range 12 {
		db, err := store.Create(t.Context(), filepath.Join(dir, fmt.Sprintf("%d.db", seed)))
		require.NoError(t, err)
		var said []store.Statement
		for _, e := range histories.Entered(draw.Example(seed)) {
			said = append(said, store.Statement{Sheet: e.Sheet, Row: e.Row, By: "test"})
		}
		taken := db.Update(t.Context(), func(tx *store.Tx) error {
			_, _, faults, err := tx.RecordRows(said)
			if err == nil && len(faults) > 0 { // a ring
				return fmt.Errorf("refused")
			}
			return err
		}) == nil
		if taken {
			h.server.DB = db
			require.NoError(t, db.View(t.Context(), func(tx *store.Tx) error {
				for _, kind := range []lots.Kind{lots.KindLot, lots.KindUnit, lots.KindRun} {
					codes := tx.CodesOf(kind)
					for _, code := range codes[:min(2, len(codes))] {
						looked++
						c.tracesAs(t, tx, code)
					}
				}
				c.balancesAs(t, tx)
				c.checksAs(t, tx)
				return nil
			}))
		}
		h.server.DB = h.db
		require.NoError(t, db.Discard())
	}
	require.Greater(t, looked, 20)
}

func (c *client) tracesAs(t *testing.T, tx *store.Tx, code string) {
	for name, dir := range map[string]graph.Direction{"forward": graph.Forward, "back": graph.Back} {
		a, err := trace.Trace(tx, dir, code)
		require.NoError(t, err)
		page := c.opened(t, "/trace?"+url.Values{"from": {code}, "dir": {name}, "units": {"all"}, "shipments": {"all"}}.Encode())
		want := map[string][]string{}
		add := func(rows string, x trace.Reached) {
			want[rows] = append(want[rows], x.Code+" "+x.Band+" "+strings.Join(x.Why, ";"))
		}
		for _, x := range a.Units {
			add("units", x.Reached)
		}
		for _, x := range a.Lots {
			add("lots", x.Reached)
		}
		for _, x := range a.Brews {
			add("brews", x.Reached)
		}
		for _, x := range a.Runs {
			add("runs", x.Reached)
		}
		for _, x := range a.Fills {
			add("fills", x.Reached)
		}
		for _, x := range a.Shipments {
			add("shipments", x.Reached)
		}
		got := map[string][]string{}
		for _, r := range elements(t, page, "data-why") {
			got[r["rows"]] = append(got[r["rows"]], r["data-code"]+" "+r["data-band"]+" "+r["data-why"])
		}
		require.Equal(t, want, got, "%s from %s", name, code)
	}
}

func (c *client) balancesAs(t *testing.T, tx *store.Tx) {
	codes := tx.CodesOf(lots.KindLot)
	for _, code := range codes[:min(1, len(codes))] {
		list, err := balance.Of(tx, code, balance.Period{})
		require.NoError(t, err)
		a := c.get("/balance?" + url.Values{"of": {code}}.Encode())
		require.Equal(t, http.StatusOK, a.Code)
		require.Len(t, elements(t, a.Body.String(), "data-kind"), len(list))
		require.Contains(t, a.Body.String(), `data-sum="in">`+lots.Figure(list[0].In)+"<")
	}
}

func (c *client) checksAs(t *testing.T, tx *store.Tx) {
	r, err := check.Run(tx, nil, c.h.noon.AddDate(-100, 0, 0))
	require.NoError(t, err)
	a := c.get("/readiness")
	require.Equal(t, http.StatusOK, a.Code)
	var want, got []string
	for _, x := range r.ByStake() {
		want = append(want, x.Rule+" "+x.Code+" "+fmt.Sprint(x.Units))
	}
	for _, x := range elements(t, a.Body.String(), "data-rule") {
		got = append(got, x["data-rule"]+" "+x["data-code"]+" "+x["data-units"])
	}
	slices.Sort(want)
	slices.Sort(got)
	if len(want) <= 60 {
		require.Equal(t, want, got)
	}
}

// The picture of a small trace is the same whoever asks and whenever.
func TestPictureIsSettled(t *testing.T) {
	h := open(t)
	c := h.signedIn("viewer")
	golden := filepath.Join("testdata", "trace.svg")
	first := c.get("/trace.svg?from=LOT-1").Body.String()
	require.Equal(t, first, c.get("/trace.svg?from=LOT-1").Body.String())
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(golden, []byte(first), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	require.Equal(t, string(want), first, "look at it, and write it anew with -update")
}

// An inquiry is noted once, as it was read, and an answer can be asked as known before.
func TestInquiryIsNotedOnce(t *testing.T) {
	h := open(t)
	c := h.signedIn("floor")
	a := c.get("/inquiry?read=BB&note=swollen")
	require.Equal(t, http.StatusOK, a.Code, a.Body)
	for _, want := range []string{"Call the quality lead now", "Say first", "RUN-1", "CAN-1"} {
		require.Contains(t, a.Body.String(), want)
	}
	before := h.head()
	for range 2 {
		a = c.post("/inquiry", "form", "call-1", "read", "BB", "note", "swollen", "caller", "Una")
		require.Equal(t, http.StatusSeeOther, a.Code, a.Body)
	}
	require.Equal(t, before+1, h.head(), "sent twice, noted once")
	a = c.get(a.Header().Get("Location"))
	require.Contains(t, a.Body.String(), "Call the quality lead now")
	require.Contains(t, c.get("/inquiry/noted").Body.String(), ">BB<")
	a = c.get("/inquiry/noted?known_at=2026-03-19")
	require.Equal(t, http.StatusOK, a.Code, a.Body)
	require.NotContains(t, a.Body.String(), "Una")
	require.Contains(t, a.Body.String(), "As known at 2026-03-19")
	require.Equal(t, http.StatusUnprocessableEntity, c.get("/trace?from=LOT-1&known_at=soon").Code)
}
