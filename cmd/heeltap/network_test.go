package main

import (
	"context"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/fetch"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"heeltap/lots/store"
)

// entries is how many entries the journal has.
func (h *served) entries() (head int64) {
	h.t.Helper()
	db, err := store.Open(h.t.Context(), h.db)
	require.NoError(h.t, err)
	defer func() { require.NoError(h.t, db.Close()) }()
	require.NoError(h.t, db.View(h.t.Context(), func(tx *store.Tx) error {
		head, err = tx.Head()
		return err
	}))
	return head
}

// until waits for the page to say something.
func (b *browser) until(text string) {
	b.t.Helper()
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(25 * time.Millisecond) {
		if strings.Contains(b.text(), text) {
			return
		}
	}
	b.t.Fatalf("the page does not come to say %q\non %s\n%s", text, b.where(), b.text())
}

// offline cuts the connection, or mends it.
func (b *browser) offline(cut bool) {
	b.t.Helper()
	b.do(network.Enable(), network.EmulateNetworkConditions(cut, 0, -1, -1))
}

const counting, submit = "/do/count?subject=L25-0085", "main form.entry button.main"

// Whatever the network does, what somebody presses is recorded once, and what they typed is never lost.
func TestNothingIsLostOnABadNetwork(t *testing.T) {
	chromium(t)
	h := openHouse(t)
	b := h.browse(t, "phone", "tove")
	start := func(quantity string) int64 {
		b.goTo(counting)
		b.do(chromedp.Poll(`document.readyState === "complete"`, nil))          // the script has put back what was typed before
		b.do(chromedp.SetValue(`main [name="quantity"]`, "", chromedp.ByQuery)) // which Clear does not do to what a script put in
		b.fill("quantity", quantity)
		return h.entries()
	}
	t.Run("no connection", func(t *testing.T) {
		before := start("11")
		b.offline(true)
		b.do(chromedp.Click(submit, chromedp.ByQuery))
		b.until("Not recorded yet: there is no connection")
		require.Equal(t, before, h.entries())
		b.offline(false)
		b.until("Recorded")
		require.Equal(t, before+1, h.entries())
		b.do(chromedp.Reload(), chromedp.WaitReady("#main"))
		b.says("Recorded", "11")
		b.goTo(counting)
		require.Empty(t, b.value("quantity"), "what is recorded is not kept")
		require.Equal(t, before+1, h.entries())
	})
	t.Run("the answer is lost", func(t *testing.T) {
		before := start("12")
		lost := b.loseOneAnswer()
		b.do(chromedp.Click(submit, chromedp.ByQuery))
		b.until("Recorded")
		require.True(t, lost())
		require.Equal(t, before+1, h.entries())
	})
	t.Run("pressed twice", func(t *testing.T) {
		before := start("13")
		b.do(chromedp.DoubleClick(submit, chromedp.ByQuery))
		b.until("Recorded")
		time.Sleep(300 * time.Millisecond) // for a second one, if there were any
		require.Equal(t, before+1, h.entries())
	})
	t.Run("closed without connection", func(t *testing.T) {
		before := start("14")
		b.goTo("/cellar")
		b.goTo(counting)
		b.do(chromedp.Poll(`document.readyState === "complete"`, nil))
		require.Equal(t, "14", b.value("quantity"), "what was typed is kept")
		require.Equal(t, before, h.entries())
	})
	t.Run("signed out while writing", func(t *testing.T) {
		before := start("15")
		b.do(network.ClearBrowserCookies())
		b.do(chromedp.Click(submit, chromedp.ByQuery))
		b.until("You were signed out while you were writing")
		require.Equal(t, before, h.entries())
		b.fill("login", "tove")
		b.fill("password", h.password)
		b.press("main form button.main")
		require.Equal(t, "15", b.value("quantity"))
		b.press(submit)
		b.says("Recorded")
		require.Equal(t, before+1, h.entries())
	})
	t.Run("somebody else signs in", func(t *testing.T) {
		start("16")
		b.do(network.ClearBrowserCookies())
		b.goTo("/signin")
		b.fill("login", "quint")
		b.fill("password", h.password)
		b.press("main form button.main")
		b.goTo(counting)
		require.Empty(t, b.value("quantity"), "what somebody typed is theirs")
	})
}

// loseOneAnswer lets the next form reach the server and loses the answer on its way back; it tells whether that happened.
func (b *browser) loseOneAnswer() func() bool {
	b.t.Helper()
	var lost atomic.Bool
	chromedp.ListenTarget(b.ctx, func(event any) {
		paused, ok := event.(*fetch.EventRequestPaused)
		if !ok {
			return
		}
		go func() {
			if paused.Request.Method == "POST" && lost.CompareAndSwap(false, true) {
				_ = chromedp.Run(b.ctx, fetch.FailRequest(paused.RequestID, network.ErrorReasonConnectionClosed)) // the test sees what comes of it
				return
			}
			_ = chromedp.Run(b.ctx, fetch.ContinueRequest(paused.RequestID))
		}()
	})
	b.do(fetch.Enable().WithPatterns([]*fetch.RequestPattern{{URLPattern: "*/do/*", RequestStage: fetch.RequestStageResponse}}))
	return func() bool {
		b.do(chromedp.ActionFunc(func(ctx context.Context) error { return fetch.Disable().Do(ctx) }))
		return lost.Load()
	}
}

// A shared tablet from the invitation to the PIN, as people see it.
func TestPeopleAndTabletsInABrowser(t *testing.T) {
	chromium(t)
	h := openHouse(t)
	b := h.browse(t, "phone", "maren")
	b.goTo("/people")
	b.shot("people")
	b.fill("name", "Nora Quay")
	b.fill("login", "nora")
	b.press("main form button.main")
	b.says("A link for Nora Quay", "Only on this machine")
	var drawn bool
	b.do(chromedp.Evaluate(`(() => { const i = document.querySelector("img.qr"); return i.complete && i.naturalWidth > 0; })()`, &drawn))
	require.True(t, drawn, "the code is drawn")
	b.shot("people-link")
	var address string
	b.do(chromedp.Evaluate(`document.querySelector("main p.big").innerText`, &address))
	for _, page := range [][2]string{{"person", "/people/1"}, {"happened", "/people/happened"}, {"rights", "/me/rights"}, {"me", "/me"}, {"tablets", "/tablets"}} {
		b.goTo(page[1])
		b.shot(page[0])
	}
	b.fill("name", "Packing hall")
	b.press("main form button.main")
	b.says("This is Packing hall")

	nora := h.browse(t, "phone", "")
	nora.goTo(strings.TrimPrefix(address, h.base))
	nora.says("Welcome, Nora Quay")
	nora.shot("welcome")
	nora.fill("password", "nine tall coppers")
	nora.fill("again", "nine tall coppers")
	nora.press("main form button.main")
	nora.goTo("/me")
	nora.fill("pin", "7391")
	nora.fill("current", "nine tall coppers")
	nora.press(`form[action="/me/pin"] button`)
	nora.says("PIN", "set")
	nora.goTo("/people")
	nora.says("Not yours to do", "Ask Maren.")
	nora.shot("not-yours")

	b.do(chromedp.Evaluate(`document.querySelector('form[action="/signout"]').submit()`, nil))
	b.until("Who are you?")
	b.shot("switch")
	b.press("main ul.doors a")
	b.shot("switch-pin")
	b.fill("pin", "7391")
	b.press("main form button.main")
	b.says("Nora Quay", "by PIN")
}
