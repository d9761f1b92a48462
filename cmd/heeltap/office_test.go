package main

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"heeltap/graph/inquiry"
	"heeltap/lots/store"
)

// A distributor reads half a date code off a can; the answer is read out and noted within a minute. On a desk by keyboard only.
func TestInquiryByTelephone(t *testing.T) {
	chromium(t)
	h := openHouse(t)
	for tab := range tabs {
		t.Run(tab, func(t *testing.T) {
			b := h.browse(t, tab, "tove")
			b.t = t
			caller := "Una at the depot, " + tab
			b.goTo("/")
			began := time.Now()
			if tab == "desk" {
				b.keys(`a[href="/inquiry"]`, kb.Tab)
				b.typeAndEnter("")
			} else {
				b.press(`nav a[href="/inquiry"]`)
			}
			b.shot("inquiry-empty")
			b.typeAndEnter("BB 2O26-08-0") // the cursor waits in the field
			b.says("Say first", "BB 2026-08-03", "PALE-CAN", "Ask")
			b.shot("inquiry")
			b.do(chromedp.KeyEvent(caller + kb.Tab + "two cans swollen"))
			b.typeAndEnter("")
			require.Less(t, time.Since(began), time.Minute)
			b.says("Inquiry noted", "2O26-08-0", "Call the quality lead now (swollen)", "under pressure")
			b.shot("inquiry-noted")
			h.inRecords(t, func(tx *store.Tx) {
				all, err := inquiry.All(tx)
				require.NoError(t, err)
				last := all[len(all)-1]
				require.Equal(t, "BB 2O26-08-0", last.Question.Read, "as it was read")
				require.Equal(t, caller, last.Question.Caller)
				require.Equal(t, "Tove", last.By)
			})
		})
	}
}

// typeAndEnter types into what has the focus, ends with Enter, and waits for the page that comes.
func (b *browser) typeAndEnter(text string) {
	b.t.Helper()
	was := b.mark()
	b.do(chromedp.KeyEvent(text + kb.Enter))
	b.follow(was)
}

// keys presses a key until something has the focus.
func (b *browser) keys(selector, key string) {
	b.t.Helper()
	for range 40 {
		var there bool
		b.do(chromedp.KeyEvent(key), chromedp.Evaluate(fmt.Sprintf(`document.activeElement.matches(%q)`, selector), &there))
		if there {
			return
		}
	}
	b.t.Fatalf("%s never had the focus", selector)
}

// pictureFaults compares a page's picture with its tables, in the page itself: chains without bands, bands that lead nowhere, rows without a box.
const pictureFaults = `(() => {
  const box = new Map(), faults = [], bands = new Set(), ids = new Set();
  for (const n of document.querySelectorAll("svg.flow .node")) {
    ids.add(n.dataset.id);
    if (!/^(from|to|at|group consignees|group suppliers)\b/.test(n.dataset.id)) for (const c of n.dataset.codes.split(";")) box.set(c, n.dataset.id);
  }
  for (const b of document.querySelectorAll("svg.flow .band")) {
    if (!ids.has(b.dataset.from) || !ids.has(b.dataset.to)) faults.push("band " + b.dataset.from + " " + b.dataset.to);
    bands.add(b.dataset.from + "\n" + b.dataset.to);
  }
  const rows = new Set();
  for (const r of document.querySelectorAll("[data-why]")) {
    const why = r.dataset.why.split(";");
    rows.add(r.dataset.code);
    if (r.dataset.to !== undefined) why.pop();
    why.forEach((c, i) => {
      if (!box.has(c)) { faults.push("no box " + c); return; }
      if (!i || box.get(c) === box.get(why[i - 1])) return;
      const a = box.get(why[i - 1]), z = box.get(c);
      if (!bands.has(a + "\n" + z) && !bands.has(z + "\n" + a)) faults.push("no band " + why[i - 1] + " " + c);
    });
  }
  for (const c of box.keys()) if (!rows.has(c)) faults.push("no row " + c);
  return faults.slice(0, 10);
})()`

// The picture holds every chain of the tables and nothing else, with 20, 220 and 1,947 units, and what hangs together lights up for the keyboard too.
func TestPictureOfATrace(t *testing.T) {
	chromium(t)
	h := openHouse(t)
	b := h.browse(t, "desk", "auditor")
	for name, x := range map[string]struct {
		from  string
		units int
	}{"20": {"L25-0085", 20}, "220": {"L25-0048", 220}, "1947": {"CO2-TANK@2025-01-06T11:00", 1947}} {
		b.goTo("/trace?units=all&shipments=all&lots=all&brews=all&runs=all&fills=all&from=" + x.from)
		var faults []string
		var rows, boxes int
		b.do(chromedp.Evaluate(pictureFaults, &faults), chromedp.Evaluate(`document.querySelectorAll("[data-rows=units] tbody tr").length`, &rows),
			chromedp.Evaluate(`document.querySelectorAll("svg.flow .node").length`, &boxes))
		require.Empty(t, faults, name)
		require.Equal(t, x.units, rows, name)
		require.Less(t, boxes, 100, "%s is folded", name)
		if name != "1947" { // the same page, only longer
			b.shot("trace-" + name)
		}
	}
	b.goTo("/trace?from=L25-0085")
	var lit, all int
	b.do(chromedp.Focus(`svg.flow a[data-id="unit P25-0292"]`, chromedp.ByQuery), chromedp.Evaluate(`document.querySelectorAll("svg.flow.lit .node.on").length`, &lit),
		chromedp.Evaluate(`document.querySelectorAll("svg.flow .node").length`, &all))
	require.Greater(t, lit, 4)
	require.Less(t, lit, all/2)
	b.shot("trace-lit")
	b.typeAndEnter("")
	b.says("unit P25-0292")
}
