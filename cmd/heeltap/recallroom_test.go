package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"heeltap/graph/recall"
	"heeltap/graph/recall/account"
	"heeltap/lots"
	"heeltap/lots/store"
)

// follows touches the link or button that says something, and waits for the page that follows.
func (b *browser) follows(within, text string) {
	b.t.Helper()
	b.do(chromedp.Evaluate(fmt.Sprintf(`(() => { const x = [...document.querySelectorAll(%q)].find(e => e.textContent.trim().startsWith(%q)); if (!x) throw new Error("none says %s"); document.querySelectorAll("[data-touch]").forEach(e => e.removeAttribute("data-touch")); x.dataset.touch = "yes"; })()`, within, text, text), nil))
	b.press("[data-touch]")
}

// comes waits until the page says something of itself, with nobody touching it.
func (b *browser) comes(text string) {
	b.t.Helper()
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if strings.Contains(b.text(), text) {
			return
		}
	}
	b.t.Fatalf("%q did not come\non %s\n%s", text, b.where(), b.text())
}

// writes types into an empty field of several lines.
func (b *browser) writes(name, text string) {
	b.t.Helper()
	b.do(typing(`main textarea[name="`+name+`"]`, text))
}

// listens waits until the page hears what others do.
func (b *browser) listens() {
	b.t.Helper()
	b.do(chromedp.Poll(`document.body.dataset.listening === "yes"`, nil))
}

// lastRecall is the recall opened last.
func (h *served) lastRecall() (out *recall.Recall) {
	h.t.Helper()
	h.records(func(tx *store.Tx) {
		all, err := recall.All(tx)
		require.NoError(h.t, err)
		out = all[len(all)-1]
	})
	return out
}

// A mock recall from the suspicion to the signed report: the lead at a desk, somebody of the floor with a telephone in the
// cold store. Each sees what the other does.
func TestMockRecallInTheRoom(t *testing.T) {
	h := openHouse(t)
	lead, floor := h.browse(t, "desk", "quint"), h.browse(t, "phone", "tove")
	lead.goTo("/lot/L26-0007")
	lead.follows("a.button", "Open a recall from here")
	lead.press("main form button.main")
	lead.says("Not recorded", "Say whether it is real or an exercise")
	lead.do(click(`input[value="exercise"]`))
	lead.writes("reason", "wire in a bale of hops")
	lead.choose("hazard", "foreign-body")
	lead.shot("room-open")
	lead.press("main form button.main")
	lead.says("EXERCISE", "wire in a bale of hops", "What waits now", "not held")
	r := h.lastRecall()
	require.True(t, r.Mock)
	at := "/recall/" + r.Code
	lead.shot("room-case")

	floor.goTo(at)
	require.NotContains(t, floor.text(), "Note it", "the floor runs no recall")
	floor.listens()
	lead.follows("a.button", "Rehearse the hold")
	lead.press("main form button.main")
	lead.says("Hold rehearsed")
	floor.comes("Quint Hold rehearsed") // and on the timeline, with the figures as they are now
	floor.comes("things in the house still to be found")
	floor.shot("room-live")

	floor.goTo(at + "/house")
	floor.listens()
	lead.goTo(at + "/house")
	lead.listens()
	floor.press(".walk li:not(.found) form button")
	floor.says("1 found")
	lead.comes("1 found")
	floor.shot("room-house")

	lead.goTo(at + "/scope?if=-P26-0065")
	lead.says("Nothing was decided", "P26-0065")
	lead.shot("room-scope-if")
	lead.goTo(at + "/scope?why=P26-0065")
	lead.says("Why P26-0065 is in", "L26-0007")
	lead.goTo(at)
	lead.follows("a.button", "Freeze the scope")
	lead.press("main form button.main")
	lead.goTo(at)
	lead.follows("a.button", "Draft the letters")
	lead.press("main form button.main")
	lead.says("Letters drafted for")
	lead.goTo(at + "/consignee/D-11")
	lead.says("EXERCISE: NO REAL RECALL", "Farrowgate Wholesale")
	lead.follows("a.button", "Told")
	lead.fill("who", "Otto")
	lead.press("main form button.main")
	lead.says("Told by phone, spoke to Otto")
	lead.find(r.Code + "/D-11") // the QR code of its form
	lead.says("An answer came", "Farrowgate Wholesale", "It received 240")
	lead.fill("cases.on_hand", "x")
	lead.press("main form button.main")
	lead.says("is not a number")
	lead.fill("cases.on_hand", "100")
	lead.fill("cases.sold", "140")
	lead.fill("who", "Otto")
	lead.press("main form button.main")
	lead.says("answered: Otto")
	lead.goTo(at + "/do/sample")
	lead.choose("level", "D")
	lead.press("main form button.main")
	lead.follows("#checks a.button", "Checked")
	lead.press("main form button.main")
	lead.says("followed (phone, Quint)")
	lead.goTo(at + "/account")
	lead.follows("a.button", "Strike the account")
	lead.press("main form button.main")
	lead.says("% of", "Struck")
	lead.goTo(at + "/do/close")
	lead.press("main form button.main")
	lead.says("Not recorded", "Closing needs a review", "Still open")
	lead.writes("review", "one bale in ten is opened from now on")
	lead.press("main form button.main")
	lead.says("Closed with")
	lead.goTo(at + "/papers")
	lead.follows("a.button", "Sign the report")
	lead.fill("as", "quality lead")
	lead.press("main form button.main")
	lead.says("Report as known with entry", "quality lead", "Quint")
	lead.shot("room-signed")

	r = h.lastRecall()
	var names []string
	for _, l := range r.Log {
		names = append(names, l.Name)
		require.Equal(t, "Quint", l.By)
	}
	require.Equal(t, "open hold freeze letters tell answer sample check reconciled close sign", strings.Join(names, " "), "each once, in order")
	require.Equal(t, 100.0, r.Contacts["D-11"].Answer.Lines[0].OnHand)
	_, signed := r.SignedFor(recall.SignReport)
	require.True(t, signed)
}

// tabTo goes on with the Tab key alone to what says something.
func (b *browser) tabTo(text string) {
	b.t.Helper()
	for range 80 {
		b.do(chromedp.KeyEvent(kb.Tab))
		var there string
		b.do(chromedp.Evaluate(`(() => { const e = document.activeElement; return (e.labels && e.labels[0] ? e.labels[0].textContent : e.textContent).trim(); })()`, &there))
		if strings.HasPrefix(there, text) {
			return
		}
	}
	b.t.Fatalf("the Tab key does not come to %q\non %s\n%s", text, b.where(), b.text())
}

// enter presses Enter where the cursor is, and waits for the page that follows.
func (b *browser) enter() {
	b.t.Helper()
	was := b.mark()
	b.do(chromedp.KeyEvent(kb.Enter))
	b.follow(was)
}

func (b *browser) types(text string) { b.t.Helper(); b.do(chromedp.KeyEvent(text)) }

// The same without a mouse: the keys alone open it, hold, freeze, close and sign.
func TestMockRecallByKeyboard(t *testing.T) {
	h := openHouse(t)
	b := h.browse(t, "desk", "quint")
	b.goTo("/recalls")
	b.tabTo("Open a recall")
	b.enter()
	b.tabTo("An exercise")
	b.types(" ")
	b.tabTo("What is suspected")
	b.types("L26-0007")
	b.tabTo("What is wrong")
	b.types("wire in a bale of hops")
	b.tabTo("Open it")
	b.enter()
	b.tabTo("Rehearse the hold")
	b.enter()
	b.tabTo("Rehearse the hold")
	b.enter()
	b.says("Hold rehearsed")
	b.tabTo("Case")
	b.enter()
	b.tabTo("Freeze the scope")
	b.enter()
	b.tabTo("Freeze it")
	b.enter()
	b.says("Scope frozen as version 1")
	b.tabTo("Papers")
	b.enter()
	b.tabTo("Close it")
	b.enter()
	b.tabTo("What happened")
	b.types("rehearsed by keys")
	b.tabTo("Close it")
	b.enter()
	b.tabTo("Sign the report")
	b.enter()
	b.tabTo("As what")
	b.types("quality lead")
	b.tabTo("Put my name")
	b.enter()
	b.says("Report as known with entry")
	require.Len(t, h.lastRecall().Signatures, 1)
}

// rows are the cells of the tables of a page, row by row.
func (b *browser) rows(within string) (out [][]string) {
	b.t.Helper()
	b.do(chromedp.Evaluate(fmt.Sprintf(`[...document.querySelectorAll(%q)].map(r => [...r.cells].map(c => c.innerText.trim().replace(/\s+/g, " ")))`, within+" tbody tr"), &out))
	return out
}

// verb is what a verb answers as JSON about the demo's recall.
func (h *served) verb(into any, args ...string) {
	h.t.Helper()
	var out, wrong bytes.Buffer
	e := testEnv(&out)
	e.errOut = &wrong
	require.Equal(h.t, 0, run(context.Background(), append(args, "--json", "--db", h.db), e), wrong.String())
	require.NoError(h.t, json.Unmarshal(out.Bytes(), into))
}

// What the pages of the demo's recall show is what the verbs say.
func TestRecallPagesSayWhatTheVerbsSay(t *testing.T) {
	h := openHouse(t)
	b := h.browse(t, "desk", "auditor")
	var scope struct {
		Trace struct {
			Units []struct {
				Code, Band         string
				Quantity, Affected int
				OnHand             float64 `json:"on_hand"`
			}
			Totals map[string]map[string]any
		}
	}
	h.verb(&scope, "recall", "scope", "--recall", "MR26-01")
	b.goTo("/recall/MR26-01/scope")
	var want [][]string
	for _, u := range scope.Trace.Units {
		want = append(want, []string{u.Code, u.Band, fmt.Sprintf("%d of %d", u.Affected, u.Quantity), lots.Figure(u.OnHand)})
	}
	var got [][]string
	for _, r := range b.rows("#rows") {
		got = append(got, []string{strings.TrimSuffix(r[0], " HELD"), r[1], r[3], r[4]})
	}
	require.NotEmpty(t, want)
	require.Equal(t, want, got)

	var a struct {
		Cases, Kegs account.Sum
		Groups      []account.GroupAccount
		Consignees  []account.Recovery
	}
	h.verb(&a, "recall", "account", "--recall", "MR26-01")
	b.goTo("/recall/MR26-01/account")
	b.says(lots.PercentFigure(a.Cases.Percent)+" % of "+lots.Figure(a.Cases.Produced)+" cases", lots.Figure(a.Cases.Missing)+" missing")
	var sums []string
	for _, g := range a.Groups {
		sums = append(sums, strings.Join([]string{g.Product, strings.Join(g.DateCodes, ", "), lots.Figure(g.Produced) + " " + map[bool]string{true: "kegs", false: "cases"}[g.Kegs], lots.Figure(g.Counted), lots.Figure(g.Shipped), lots.Figure(g.Returned), lots.Figure(g.Removed), lots.Figure(g.Missing), lots.PercentFigure(g.Percent)}, "|"))
	}
	for _, r := range b.rows("#account") {
		require.Contains(t, sums, strings.Join(r, "|"))
	}
	require.Len(t, b.rows("#account"), len(a.Groups))
	require.Len(t, b.rows("#recovery"), len(a.Consignees))
	for i, r := range b.rows("#recovery") {
		x := a.Consignees[i]
		require.Equal(t, []string{x.Party, lots.Figure(x.Distributed) + " " + map[bool]string{true: "kegs", false: "cases"}[x.Kegs], lots.Figure(x.Returned), lots.Figure(x.Destroyed), lots.Figure(x.OnHand), lots.Figure(x.Sold), lots.Figure(x.PassedOn), lots.Figure(x.Unexplained), lots.PercentFigure(x.Percent)}, r)
	}

	var standings []recall.Standing
	h.verb(&standings, "recall", "responses", "--recall", "MR26-01")
	b.goTo("/recall/MR26-01/consignees")
	var said []string
	b.do(chromedp.Evaluate(`[...document.querySelectorAll(".who-list > li")].map(l => l.querySelector("strong").textContent + "|" + l.querySelector(".word").textContent)`, &said))
	var stands []string
	for _, x := range standings {
		stands = append(stands, x.Name+"|"+x.State)
	}
	require.Equal(t, stands, said)

	var next []recall.Next
	h.verb(&next, "recall", "next", "--recall", "MR26-01")
	b.goTo("/recall/MR26-01")
	for _, n := range next {
		b.says(n.Text)
	}
}
