package web_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/cmd/internal/web"
	"heeltap/graph/desk"
)

// Who may ask an address. A PIN is good for looking, recording, correcting one's own and stopping goods.
const (
	everybody = "nobody viewer floor quality admin floor-by-PIN admin-by-PIN"
	persons   = "viewer floor quality admin floor-by-PIN admin-by-PIN"
	recorders = "floor quality admin floor-by-PIN admin-by-PIN"
	deciders  = "quality admin"
	managers  = "admin"
	owners    = "floor quality admin floor-by-PIN" // of what the floor entered; OWN is the number of that entry
)

// asked is an address as it is tried: by whom it may be asked, and the answer they get. What is posted is refused
// for what is in it (422), or comes to nothing, so that one try does not disturb the next.
type asked struct {
	route, path, form string
	who               string
	answer            int
}

// matrix names every address. An address that is missing here fails the test: say who may ask it.
var matrix = []asked{
	{"GET /assets/{version}/{name...}", "/assets/x/style.css", "", everybody, 200},
	{"GET /signin", "/signin?again=1", "", everybody, 200},
	{"POST /signin", "/signin", "login=nobody&password=wrong", everybody, 401},
	{"GET /welcome/{token}", "/welcome/xyz", "", everybody, 410},
	{"POST /welcome/{token}", "/welcome/xyz", "password=a&again=a", everybody, 410},
	{"GET /setup/{token}", "/setup/xyz", "", everybody, 410},
	{"POST /setup/{token}", "/setup/xyz", "password=a&again=a", everybody, 410},
	{"GET /switch", "/switch", "", "floor-by-PIN admin-by-PIN", 200}, // others are not on a tablet: see elsewhere
	{"POST /switch", "/switch", "login=nobody&pin=1", "floor-by-PIN admin-by-PIN", 401},

	{"GET /{$}", "/", "", persons, 200},
	{"GET /find", "/find?q=LOT-2", "", persons, 404},
	{"GET /t/{code...}", "/t/LOT-1", "", persons, 303},
	{"GET /00/{key}", "/00/952012345678912345", "", persons, 303},
	{"GET /01/{key...}", "/01/09520123456788/10/R-1", "", persons, 303},
	{"GET /lot/{code}", "/lot/LOT-1", "", persons, 200},
	{"GET /brew/{code}", "/brew/BREW-1", "", persons, 200},
	{"GET /vessel/{code}", "/vessel/FV-1", "", persons, 200},
	{"GET /line/{code}", "/line/LINE-1", "", persons, 200},
	{"GET /run/{code}", "/run/RUN-1", "", persons, 200},
	{"GET /unit/{code}", "/unit/PAL-1", "", persons, 200},
	{"GET /shipment/{code}", "/shipment/SH-1", "", persons, 200},
	{"GET /return/{code}", "/return/RET-1", "", persons, 200},
	{"GET /party/{code}", "/party/CON-1", "", persons, 200},
	{"GET /item/{code}", "/item/MALT-1", "", persons, 200},
	{"GET /product/{code}", "/product/CAN-1", "", persons, 200},
	{"GET /transfer/{code}", "/transfer/TR-1", "", persons, 200},
	{"GET /cellar", "/cellar", "", persons, 200},
	{"GET /dock", "/dock", "", persons, 200},
	{"GET /provided", "/provided?from=2026-03-01", "", deciders, 200},
	{"GET /tags", "/tags?code=LOT-1", "", persons, 200},
	{"GET /paper/{hash}", "/paper/none", "", persons, 404},
	{"GET /lines", "/lines", "", persons, 200},
	{"POST /detach", "/detach", "form=z1&code=LOT-1&hash=none", recorders, 404},
	{"GET /running/{run}", "/running/RUN-1", "", persons, 200},

	{"GET /do/{verb}", "/do/receive", "", recorders, 200},
	{"POST /do/{verb}", "/do/receive", "form=a", recorders, 422},
	{"GET /do/{verb}", "/do/hold", "", recorders, 200},
	{"POST /do/{verb}", "/do/hold", "form=a", recorders, 422},
	{"GET /do/{verb}", "/do/item", "", managers, 200},
	{"POST /do/{verb}", "/do/item", "form=a", managers, 422},
	{"POST /do/{verb}", "/do/receive", "form=a&override=because", deciders, 422},
	{"GET /said/{form}", "/said/none", "", persons, 404},
	{"GET /delivery", "/delivery", "", recorders, 200},
	{"POST /delivery", "/delivery", "form=g", recorders, 422},
	{"GET /attach", "/attach?of=LOT-1", "", recorders, 200},
	{"POST /attach", "/attach", "form=h&of=LOT-1", recorders, 422},
	{"GET /begin/{line}", "/begin/LINE-1", "", recorders, 200},
	{"POST /begin/{line}", "/begin/LINE-1", "form=b", recorders, 422},
	{"POST /running/{run}/change", "/running/RUN-1/change", "form=c", recorders, 422},
	{"POST /running/{run}/off", "/running/RUN-1/off", "form=d&quantity=no", recorders, 422},
	{"POST /running/{run}/end", "/running/RUN-1/end", "form=e&good=no", recorders, 422},

	{"GET /vessel/{code}/{act}", "/vessel/FV-1/clean", "", recorders, 200},
	{"POST /vessel/{code}/{act}", "/vessel/FV-1/clean", "form=i", recorders, 422},
	{"GET /stock", "/stock", "", persons, 200},
	{"GET /stock/lots", "/stock/lots", "", persons, 200},
	{"GET /brew", "/brew", "", recorders, 200},
	{"POST /brew", "/brew", "form=j&beer=Pale", recorders, 422},
	{"GET /blank", "/blank", "", persons, 200},
	{"GET /blank/{sheet}", "/blank/delivery", "", persons, 200},
	{"GET /release/{code}", "/release/LOT-1", "", deciders, 200},
	{"POST /release/{code}", "/release/LOT-1", "form=y3", deciders, 422},
	{"GET /typed/{sheet}", "/typed/count", "", recorders, 200},
	{"POST /typed/{sheet}", "/typed/count", "form=y", recorders, 422},
	{"POST /typed/{sheet}", "/typed/loading", "form=y2&override=because", deciders, 422},
	{"GET /entry/{n}", "/entry/2", "", persons, 200},
	{"GET /entry/{n}/amend", "/entry/2/amend", "", deciders, 200},
	{"POST /entry/{n}/amend", "/entry/2/amend", "form=k", deciders, 422},
	{"GET /entry/{n}/void", "/entry/2/void", "", deciders, 200},
	{"POST /entry/{n}/void", "/entry/2/void", "form=l", deciders, 422},
	{"GET /entry/{n}/amend", "/entry/OWN/amend", "", owners, 200},
	{"POST /entry/{n}/amend", "/entry/OWN/amend", "form=m", owners, 422},
	{"GET /entry/{n}/void", "/entry/OWN/void", "", owners, 200},
	{"POST /entry/{n}/void", "/entry/OWN/void", "form=n", owners, 422},
	{"POST /takeback/{form}", "/takeback/none", "", recorders, 404},

	{"GET /shipping", "/shipping", "", persons, 200},
	{"GET /load", "/load", "", recorders, 200},
	{"POST /load", "/load", "form=o", recorders, 422},
	{"GET /load/{code}", "/load/SH-1", "", recorders, 200},
	{"POST /load/{code}", "/load/SH-1", "form=p", recorders, 422},
	{"POST /load/{code}/undo", "/load/none/undo", "form=q", recorders, 404},
	{"GET /shipment/{code}/list", "/shipment/SH-1/list", "", persons, 200},
	{"GET /return", "/return", "", recorders, 200},
	{"POST /return", "/return", "form=s", recorders, 422},
	{"GET /judge", "/judge", "", persons, 200},
	{"POST /judge", "/judge", "form=t", recorders, 422},
	{"POST /judge", "/judge", "form=u&unit=PAL-1&verdict=" + desk.VerdictRelease, deciders, 422},
	{"GET /count", "/count", "", recorders, 200},
	{"POST /count", "/count", "form=r&place=Hall&unit=none", recorders, 422},
	{"GET /count/sheet", "/count/sheet?place=&since=1774008000", "", persons, 200},

	{"GET /recalls", "/recalls", "", persons, 200},
	{"GET /recalls/new", "/recalls/new", "", deciders, 200},
	{"POST /recalls/new", "/recalls/new", "form=v&kind=real&suspects=LOT-1", deciders, 422},
	{"GET /recall/{code}", "/recall/MR26-01", "", persons, 200},
	{"GET /recall/{code}/scope", "/recall/MR26-01/scope?if=-PAL-1&why=PAL-1", "", persons, 200},
	{"GET /recall/{code}/house", "/recall/MR26-01/house", "", persons, 200},
	{"POST /recall/{code}/found", "/recall/MR26-01/found", "form=w&subject=none&quantity=1", recorders, 422},
	{"GET /recall/{code}/consignees", "/recall/MR26-01/consignees", "", persons, 200},
	{"GET /recall/{code}/consignee/{party}", "/recall/MR26-01/consignee/CON-1", "", persons, 200},
	{"GET /recall/{code}/account", "/recall/MR26-01/account", "", persons, 200},
	{"GET /recall/{code}/papers", "/recall/MR26-01/papers", "", persons, 200},
	{"GET /recall/{code}/paper/{name}", "/recall/MR26-01/paper/report.pdf", "", persons, 200},
	{"GET /recall/{code}/paper/{name}", "/recall/MR26-01/paper/consignee%20CON-1.pdf", "", deciders, 200},
	{"GET /recall/{code}/paper/{name}", "/recall/MR26-01/paper/letters.zip", "", deciders, 200},
	{"GET /recall/{code}/paper/{name}", "/recall/MR26-01/paper/holds.pdf", "", persons, 200},
	{"GET /recall/{code}/do/{act}", "/recall/MR26-01/do/answer?party=CON-1", "", deciders, 200},
	{"POST /recall/{code}/do/{act}", "/recall/MR26-01/do/note", "form=x", deciders, 422},
	{"GET /recall/{code}/do/{act}", "/recall/MR26-01/do/sign", "", deciders, 200},
	{"POST /recall/{code}/do/{act}", "/recall/MR26-01/do/sign", "form=y&what=report", deciders, 422},
	{"POST /recall/{code}/do/{act}", "/recall/MR26-01/do/release", "form=z", deciders, 422},
	{"GET /recall/{code}/events", "/recall/MR99-99/events", "", persons, 404}, // of one that there is it goes on: see the tests of what is live
	{"GET /inquiry", "/inquiry?read=BB", "", persons, 200},
	{"POST /inquiry", "/inquiry", "form=v", recorders, 422},
	{"GET /inquiry/noted", "/inquiry/noted", "", persons, 200},

	{"GET /trace", "/trace?from=LOT-1", "", persons, 200},
	{"GET /trace.svg", "/trace.svg?from=LOT-1", "", persons, 200},

	{"GET /office", "/office", "", persons, 200},
	{"GET /readiness", "/readiness", "", persons, 200},
	{"GET /balance", "/balance?of=LOT-1", "", persons, 200},
	{"GET /exposure", "/exposure", "", persons, 200},
	{"GET /exposure.svg", "/exposure.svg", "", persons, 200},
	{"GET /common", "/common?bad=PAL-1", "", persons, 200},

	{"GET /me", "/me", "", persons, 200},
	{"GET /me/rights", "/me/rights", "", persons, 200},
	{"POST /me/password", "/me/password", "old=x&password=a&again=b", persons, 422},
	{"POST /me/pin", "/me/pin", "current=x&pin=1234", persons, 422},
	{"GET /people", "/people", "", managers, 200},
	{"POST /people", "/people", "name=X&login=xx&role=none", managers, 422},
	{"GET /people/happened", "/people/happened", "", managers, 200},
	{"GET /people/link.svg", "/people/link.svg?token=x", "", managers, 410},
	{"GET /people/{id}", "/people/1", "", managers, 200},
	{"POST /people/{id}/link", "/people/99/link", "", managers, 404},
	{"POST /people/{id}/role", "/people/2/role", "role=none", managers, 422},
	{"POST /people/{id}/name", "/people/2/name", "name=", managers, 422},
	{"POST /people/{id}/off", "/people/1/off", "", managers, 409}, // the last who manages people
	{"POST /people/{id}/on", "/people/99/on", "", managers, 404},
	{"GET /tablets", "/tablets", "", deciders, 200},
	{"POST /tablets", "/tablets", "name=", deciders, 422},
	{"POST /tablets/{id}/forget", "/tablets/99/forget", "", deciders, 404},

	{"POST /signout", "/signout", "", everybody, 303}, // last: it ends what the others need
}

// elsewhere are the answers to those who may not, where they are not the usual ones.
var elsewhere = map[string]int{"GET /switch": 303, "POST /switch": 303}

// refusedWith is how somebody who may not is answered.
func refusedWith(route, visitor string) int {
	if code := elsewhere[route]; code != 0 {
		return code
	}
	switch {
	case visitor != "nobody":
		return http.StatusForbidden
	case strings.HasPrefix(route, "POST"):
		return http.StatusUnauthorized
	}
	return http.StatusSeeOther
}

// visitors are one browser of each sort.
func (h *house) visitors() map[string]*client {
	out := map[string]*client{"nobody": h.client()}
	for _, login := range []string{"viewer", "floor", "quality", "admin"} {
		out[login] = h.signedIn(login)
	}
	tablet := h.tablet()
	for _, login := range []string{"floor", "admin"} {
		out[login+"-by-PIN"] = h.byPIN(tablet, login)
	}
	return out
}

// tablet registers a shared tablet, and gives what it keeps.
func (h *house) tablet() string {
	h.t.Helper()
	c := h.signedIn("admin")
	a := c.post("/tablets", "name", "Packing hall")
	require.Equal(h.t, http.StatusSeeOther, a.Code, a.Body)
	return c.cookies["heeltap_tablet"]
}

// byPIN is a browser in which somebody took over a tablet.
func (h *house) byPIN(tablet, login string) *client {
	h.t.Helper()
	a := h.signedIn(login).post("/me/pin", "current", password, "pin", pinned)
	require.Equal(h.t, http.StatusSeeOther, a.Code, a.Body)
	c := h.client()
	c.cookies["heeltap_tablet"] = tablet
	a = c.post("/switch", "login", login, "pin", pinned)
	require.Equal(h.t, http.StatusSeeOther, a.Code, a.Body)
	return c
}

func (c *client) ask(x asked) *httptest.ResponseRecorder {
	method, _, _ := strings.Cut(x.route, " ")
	body, err := url.ParseQuery(x.form)
	require.NoError(c.h.t, err)
	return c.send(c.request(method, strings.ReplaceAll(x.path, "OWN", fmt.Sprint(c.h.own)), body))
}

func TestEveryAddressIsInTheMatrix(t *testing.T) {
	var there, named []string
	for _, r := range web.Routes() {
		there = append(there, r.Method+" "+r.Pattern)
	}
	for _, x := range matrix {
		named = append(named, x.route)
	}
	slices.Sort(there)
	slices.Sort(named)
	require.Equal(t, there, slices.Compact(named), "say in the matrix who may ask each address")
}

// Each address answers those who may ask it, and nobody else. Looking changes nothing, and nor does what is refused.
func TestWhoMayAskWhat(t *testing.T) {
	h := open(t)
	visitors := h.visitors()
	for _, x := range matrix {
		for _, c := range visitors { // a session's last use is written down, once a minute at most
			c.get("/signin")
		}
		before, recorded := h.state(), h.head()
		for name, c := range visitors {
			if x.answer == http.StatusUnauthorized {
				h.noon = h.noon.Add(time.Minute) // wrong tries have to wait
			}
			want := x.answer
			if !slices.Contains(strings.Fields(x.who), name) {
				want = refusedWith(x.route, name)
			}
			a := c.ask(x)
			require.Equal(t, want, a.Code, "%s %s by %s\n%s", x.route, x.path, name, a.Body)
			if a.Code == http.StatusForbidden {
				require.Regexp(t, "(?i)ask |sign in with your password", a.Body.String(), "whom to ask")
			}
		}
		require.Equal(t, recorded, h.head(), "%s %s recorded something", x.route, x.path)
		if strings.HasPrefix(x.route, "GET") {
			require.Equal(t, before, h.state(), "%s %s changed something", x.route, x.path)
		}
	}
}

// What does not come from a page of ours is refused whoever sends it, and nothing is recorded.
func TestOnlyOurPagesSend(t *testing.T) {
	h := open(t)
	c := h.signedIn("admin")
	strangers := map[string]func(*http.Request){
		"another origin": func(r *http.Request) {
			r.Header.Del("Sec-Fetch-Site")
			r.Header.Set("Origin", "http://elsewhere.example")
		},
		"another port":  func(r *http.Request) { r.Header.Del("Sec-Fetch-Site"); r.Header.Set("Origin", "http://"+host+":81") },
		"no origin":     func(r *http.Request) { r.Header.Del("Sec-Fetch-Site"); r.Header.Del("Origin") },
		"a null origin": func(r *http.Request) { r.Header.Del("Sec-Fetch-Site"); r.Header.Set("Origin", "null") },
		"another site":  func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") },
		"a site beside": func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "same-site") },
		"typed by hand": func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "none") },
		"another name": func(r *http.Request) {
			r.Host = "elsewhere.example"
			r.Header.Set("Origin", "http://elsewhere.example")
		},
		"a name like it":  func(r *http.Request) { r.Host = host + ".elsewhere.example" },
		"no name":         func(r *http.Request) { r.Host = "" },
		"another address": func(r *http.Request) { r.Host = "[::2]:8417" },
	}
	good := url.Values{"form": {"f"}, "name": {"Nora Quay"}, "login": {"nora"}, "role": {"floor"}, "item": {"MALT-1"}, "supplier": {"SUP-1"},
		"supplier_lot": {"W9"}, "quantity": {"5"}, "unit": {"kg"}, "password": {password}, "again": {password}, "old": {password}, "current": {password}, "pin": {pinned}}
	before := h.state()
	for _, x := range matrix {
		if !strings.HasPrefix(x.route, "POST") {
			continue
		}
		for how, spoil := range strangers {
			r := c.request(http.MethodPost, x.path, good)
			spoil(r)
			require.Contains(t, []int{http.StatusForbidden, http.StatusMisdirectedRequest}, c.send(r).Code, "%s from %s", x.path, how)
		}
	}
	require.Equal(t, before, h.state(), "something was recorded")
	require.Equal(t, http.StatusSeeOther, c.send(c.request(http.MethodPost, "/do/receive", good)).Code, "the same from a page of ours")
	for _, how := range []string{"another name", "a name like it", "no name", "another address"} {
		r := c.request(http.MethodGet, "/", nil)
		strangers[how](r)
		require.Equal(t, http.StatusMisdirectedRequest, c.send(r).Code, how)
	}
}
