package main

import (
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"heeltap/graph/desk"
	"heeltap/graph/stock"
	"heeltap/lots"
	"heeltap/lots/store"
)

// unitsHere are pallets, or kegs, of which something is here, and that nothing stops for sure.
func (h *served) unitsHere(kind string, most int) (out []string) {
	h.t.Helper()
	h.records(func(tx *store.Tx) {
		all, err := stock.Units(tx, "")
		require.NoError(h.t, err)
		for _, u := range all {
			if u.Kind == kind && u.Held != "in" && u.MayHaveLeft == 0 && u.OnHand >= 1 && len(out) < most {
				out = append(out, u.Unit)
			}
		}
	})
	require.Len(h.t, out, most)
	return out
}

// kegsHere fills kegs in the last run that filled any: the demo has sold all of its own.
func (h *served) kegsHere(keys ...string) (out []string) {
	h.t.Helper()
	h.change(func(tx *store.Tx) error {
		runs, err := tx.Records("runs")
		require.NoError(h.t, err)
		run := ""
		for _, rec := range runs {
			if r := rec.(*lots.Run); r.Product == "PALE-KEG" {
				run = r.Run
			}
		}
		for _, key := range keys {
			said, err := desk.Record(tx, desk.Act{Sheet: sheetNamed(h.t, "units"), By: "Ines",
				Row: lots.Row{"unit": key, "kind": "keg", "run": run, "quantity": "1", "place": "keg cold store"}})
			require.NoError(h.t, err)
			out = append(out, *said.Code)
		}
		return nil
	})
	return out
}

// onHold puts a unit on hold.
func (h *served) onHold(unit string) {
	h.t.Helper()
	h.change(func(tx *store.Tx) error {
		_, err := desk.Record(tx, desk.Act{Sheet: sheetNamed(h.t, "holds"), Row: map[string]string{"subject": unit, "reason": "a crushed corner", "at": "2026-03-07 08:00"}, By: "Quint"})
		return err
	})
}

// scans types into the box that has the focus, as a scanner does, and waits for the page that comes back.
func (b *browser) scans(text string) {
	b.t.Helper()
	was := b.mark()
	b.scan(text)
	b.follow(was)
}

// part says how many, before the scan.
func (b *browser) part(n string) {
	b.t.Helper()
	b.do(chromedp.SendKeys("#quantity", n, chromedp.ByQuery), chromedp.Focus("#unit", chromedp.ByQuery))
}

// The shipping clerk's day: a lorry is loaded scan after scan, a hold stops a pallet, a slip is taken off, a keg comes back
// and is judged. With scripts and without.
func TestShippingClerksDay(t *testing.T) {
	h := openHouse(t)
	pallets, kegs := h.unitsHere("pallet", 4), h.kegsHere("K9001", "K9002")
	held := pallets[3]
	h.onHold(held)
	for i, tab := range []string{"phone", "desk"} {
		t.Run(tab, func(t *testing.T) {
			b := h.browse(t, tab, "tove")
			b.t = t
			if tab == "phone" {
				b.withoutScript()
			}
			b.goTo("/load")
			b.shot("load-start")
			if b.bare {
				b.scans("D-14")
			} else { // the scanner's Enter goes on to the document
				b.scan("D-14")
				b.press("main form button.main")
			}
			b.says("Saltmarsh Supply", "Nothing is on it yet.")
			b.scans(pallets[i])
			b.says(pallets[i])
			b.scans(kegs[i])
			b.says("1 keg", "2 units")
			require.Regexp(t, `On the lorry: \d+ cases and 1 keg, 2 units`, b.text(), "cases and kegs are never added")
			b.scans(held)
			b.says("STOP: "+held, "a crushed corner", "Quality may let it go")
			b.shot("load-stopped")
			require.NotContains(t, b.text(), "Because", "the floor does not let it go")
			b.scans(kegs[i])
			b.says("is on this lorry already")
			b.scans("P99-9999")
			b.says("Not recorded: P99-9999")
			b.part("3")
			b.scans(pallets[2])
			b.says("3 cases", "stay here")
			b.shot("loading")
			b.press("form[action$=undo] button")
			b.says(pallets[2]+" was taken off again", "2 units")
			b.press("a[href$='/list']")
			b.says("Loading list", "Saltmarsh Supply", pallets[i], kegs[i], "Taken over by")
			b.shot("loading-list")
			b.goTo("/shipping")
			b.says("Saltmarsh Supply", "1 keg")
			b.shot("shipping")

			b.goTo("/return?consignee=D-14&state=full")
			b.scans(kegs[i])
			b.says("came back", "now on hold")
			b.shot("return")
			b.goTo("/judge")
			b.says(kegs[i], "Quality may release it.")
			q := h.browse(t, tab, "quint")
			q.t = t
			q.goTo("/judge")
			card := `input[name=unit][value="` + kegs[i] + `"]`
			q.press(`form:has(` + card + `) button[value=release]`)
			q.says("Say why it is good")
			q.shot("judge")
			q.do(chromedp.SendKeys(`form:has(`+card+`) input[name=why]`, "sealed and cold", chromedp.ByQuery))
			q.press(`form:has(` + card + `) button[value=release]`)
			q.says(kegs[i] + " is released: sealed and cold")
			q.goTo("/load?consignee=D-14")
			q.scans(held)
			q.do(chromedp.Click(".stop summary", chromedp.ByQuery))
			q.shot("load-override")
		})
	}
}

// A form that is sent twice loads once.
func TestAScanSentTwiceLoadsOnce(t *testing.T) {
	h := openHouse(t)
	b := h.browse(t, "desk", "tove")
	unit := h.unitsHere("pallet", 1)[0]
	b.goTo("/load?consignee=D-14")
	var urls []string
	b.do(chromedp.Evaluate(`(async () => { const f = document.querySelector("form.scan"); f.unit.value = "`+unit+`"; f.quantity.value = "1"; const body = new URLSearchParams(new FormData(f)); const all = []; for (let i = 0; i < 2; i++) all.push((await fetch(f.action, {method: "POST", body})).url); return all })()`, &urls, awaited))
	require.Len(t, slices.Compact(urls), 1)
	h.records(func(tx *store.Tx) {
		shipped := 0
		for _, rec := range tx.Touching(unit) {
			if s, ok := rec.(*lots.Shipment); ok && s.By == "Tove" {
				shipped++
			}
		}
		require.Equal(t, 1, shipped)
	})
}

// A place is counted scan after scan: what is not counted yet is shown, and what should not be there.
func TestCounting(t *testing.T) {
	h := openHouse(t)
	pallets := h.unitsHere("pallet", 3)
	kegs := h.kegsHere("K9001")
	for i, tab := range []string{"phone", "desk"} {
		t.Run(tab, func(t *testing.T) {
			b := h.browse(t, tab, "tove")
			b.t = t
			if tab == "phone" {
				b.withoutScript()
			}
			b.goTo("/count")
			b.shot("count-start")
			b.press(`button[value="cold store"]`)
			before := b.text()
			require.Contains(t, before, pallets[i])
			b.scans(pallets[i])
			b.says("missing so far")
			counted, missing, _ := strings.Cut(b.text(), "Missing so far")
			require.Contains(t, counted, pallets[i])
			require.NotContains(t, missing, pallets[i])
			if i == 0 {
				b.part("1")
				b.scans(kegs[0])
				b.says("Should not be here", "keg cold store")
				b.scans(kegs[0])
				b.says("was counted just now")
			}
			b.part("7")
			b.scans(pallets[2])
			b.says("by the books")
			b.scans("P99-9999")
			b.says("Not recorded: P99-9999")
			b.shot("counting")
			b.press("a[href^='/count/sheet']")
			b.says("differ from the books", "Not found", "7 cases")
			b.shot("count-sheet")
		})
	}
}
