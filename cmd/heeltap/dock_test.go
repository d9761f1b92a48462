package main

import (
	"context"
	"encoding/base64"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"heeltap/lots"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

// aPNG is a picture of one point.
const aPNG = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="

// aPicture writes a picture to a file.
func aPicture(t *testing.T) string {
	t.Helper()
	data, err := base64.StdEncoding.DecodeString(aPNG)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "delivery note.png")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	return path
}

// records asks the database that is being served.
func (h *served) records(ask func(tx *store.Tx)) {
	h.t.Helper()
	db, err := store.Open(context.Background(), h.db)
	require.NoError(h.t, err)
	defer func() { require.NoError(h.t, db.Close()) }()
	require.NoError(h.t, db.View(context.Background(), func(tx *store.Tx) error { ask(tx); return tx.Err() }))
}

// receiptOf finds the lot that bears a supplier's lot.
func (h *served) receiptsOf(supplierLot string) (out []*lots.Receipt) {
	h.t.Helper()
	h.records(func(tx *store.Tx) {
		all, err := tx.Records("receipts")
		require.NoError(h.t, err)
		for _, rec := range all {
			if r := rec.(*lots.Receipt); r.SupplierLot == supplierLot {
				out = append(out, r)
			}
		}
	})
	return out
}

// withoutScript switches scripts off, as some scanners' browsers have them.
func (b *browser) withoutScript() *browser {
	b.t.Helper()
	b.bare = true
	b.do(emulation.SetScriptExecutionDisabled(true))
	return b
}

// A clerk with a scanner logs a delivery of one lot and prints its tag with six acts from the dock page: four fields
// scanned or typed, one Enter, one press.
func TestOneLotInSixActs(t *testing.T) {
	h := openHouse(t)
	b := h.browse(t, "phone", "tove")
	b.goTo("/dock")
	acts := 0
	scan := func(text string) { b.scan(text); acts++ } // the scanner's Enter goes on to the next field
	scan("S-04")
	scan("HOP-LATE")
	scan("FH 26/0911")
	was := b.mark()
	scan("60") // and Enter sends it
	acts++     // which is an act of its own for whoever types
	b.follow(was)
	b.says("The delivery is logged", "supplier's lot FH 26/0911")
	var tags string
	b.do(chromedp.Evaluate(`(() => { const f = document.querySelector("form.tags"); return f.action + "?" + new URLSearchParams(new FormData(f)) })()`, &tags))
	pdf := b.fetched(tags)
	acts++
	require.Equal(t, "application/pdf", pdf.kind)
	require.LessOrEqual(t, acts, 6)
	got := h.receiptsOf("FH 26/0911")
	require.Len(t, got, 1)
	require.Equal(t, "Tove", got[0].By)
	b.shot("delivery-logged")
}

// fetchedFile is what a page's own request was answered with.
type fetchedFile struct {
	status int
	kind   string
	header map[string]string
}

// fetched asks an address as a page of ours does.
func (b *browser) fetched(address string) fetchedFile {
	b.t.Helper()
	var got struct {
		Status int
		Header map[string]string
	}
	b.do(chromedp.Evaluate(`fetch(`+quoteJS(address)+`).then(async r => { await r.blob(); return {Status: r.status, Header: Object.fromEntries(r.headers)} })`, &got, awaited))
	return fetchedFile{got.Status, got.Header["content-type"], got.Header}
}

func quoteJS(text string) string { return `"` + text + `"` }

// A delivery of several lots with a photo: a line more at once, a lot that is nearly a known one is asked about, and
// what the papers say is kept beside what was counted. All of it or nothing is recorded.
func TestADeliveryOfSeveralLots(t *testing.T) {
	h := openHouse(t)
	known := h.aKnownLot("HOP-AROMA", "S-04")
	nearly := swappedEnd(known)
	for _, script := range []bool{true, false} {
		name := map[bool]string{true: "with script", false: "without script"}[script]
		t.Run(name, func(t *testing.T) {
			b := h.browse(t, map[bool]string{true: "desk", false: "phone"}[script], "tove")
			b.t = t
			if !script {
				b.withoutScript()
			}
			suffix := map[bool]string{true: "-A", false: "-B"}[script]
			b.goTo("/delivery?supplier=S-04")
			b.fill("item.1", "HOP-LATE")
			b.fill("supplier_lot.1", "FH 26/12"+suffix)
			b.fill("quantity.1", "40 kg")
			b.do(chromedp.SetUploadFiles(`main input[type=file]`, []string{aPicture(t)}, chromedp.ByQuery))
			b.addLot(script)
			b.fill("item.2", "HOP-AROMA")
			b.fill("supplier_lot.2", nearly)
			b.press("form > .go:last-of-type button.main")
			b.says("Not recorded.", "Put right what is marked")
			b.shot("delivery-refused")
			require.Empty(t, h.receiptsOf("FH 26/12"+suffix), "all or nothing")
			b.fill("quantity.2", "5")
			if script {
				b.do(chromedp.Evaluate(`document.querySelectorAll(".lot details").forEach(d => d.open = true)`, nil))
			} else {
				b.do(chromedp.Click("fieldset.lot:nth-of-type(2) summary", chromedp.ByQuery))
			}
			b.fill("on_papers.2", "6")
			b.press("form > .go:last-of-type button.main")
			b.says("look at the goods again", "Did you mean supplier's lot "+known, "The papers say 6 kg")
			b.shot("delivery-asked" + suffix)
			require.Empty(t, h.receiptsOf("FH 26/12"+suffix))
			if script {
				b.press("button.second[value^='it is']")
			} else {
				b.press(".doubts button.main")
			}
			b.says("The delivery is logged", "FH 26/12"+suffix)
			got := h.receiptsOf("FH 26/12" + suffix)
			require.Len(t, got, 1)
			second := known
			if !script {
				second = nearly
			}
			with := h.receiptsOf(second)
			last := with[len(with)-1]
			require.Equal(t, "S-04", last.Supplier)
			b.goTo("/lot/" + last.Lot)
			b.says("delivery note.png", "On the papers", "6 kg")
			b.shot("lot-with-paper")
			if !script {
				return
			}
			var href string
			b.do(chromedp.Evaluate(`document.querySelector("a[href^='/paper/']").getAttribute("href")`, &href))
			paper := b.fetched(href)
			require.Equal(t, 200, paper.status)
			require.Equal(t, "image/png", paper.kind)
			require.Equal(t, `inline; filename="delivery note.png"`, paper.header["content-disposition"])
			require.Equal(t, "nosniff", paper.header["x-content-type-options"])
			require.Contains(t, paper.header["content-security-policy"], "default-src 'none'")
			require.Contains(t, paper.header["content-security-policy"], "sandbox")
			require.NoError(t, os.RemoveAll(papers.PathFor(h.db)))
			require.Equal(t, 404, b.fetched(href).status)
		})
	}
}

// addLot adds a lot to a delivery: at once with a script, by sending it without.
func (b *browser) addLot(script bool) {
	b.t.Helper()
	if script {
		b.do(chromedp.Click("[data-add]", chromedp.ByQuery))
		b.do(chromedp.WaitReady(`[name="item.2"]`, chromedp.ByQuery))
		return
	}
	b.press("[data-add]")
}

// aKnownLot is a supplier's lot of an item that came in.
func (h *served) aKnownLot(item, supplier string) (lot string) {
	h.records(func(tx *store.Tx) {
		all, err := tx.Records("receipts")
		require.NoError(h.t, err)
		for _, rec := range all {
			if r := rec.(*lots.Receipt); r.Item == item && r.Supplier == supplier && len(r.SupplierLot) > 5 {
				lot = r.SupplierLot
			}
		}
	})
	require.NotEmpty(h.t, lot)
	return lot
}

// swappedEnd misreads a lot: its last two unlike neighbours change places.
func swappedEnd(lot string) string {
	b := []byte(lot)
	for i := len(b) - 1; i > 0; i-- {
		if b[i] != b[i-1] {
			b[i], b[i-1] = b[i-1], b[i]
			return string(b)
		}
	}
	return lot
}

// change records something behind the pages' back.
func (h *served) change(f func(tx *store.Tx) error) {
	h.t.Helper()
	db, err := store.Open(context.Background(), h.db)
	require.NoError(h.t, err)
	defer func() { require.NoError(h.t, db.Close()) }()
	require.NoError(h.t, db.Update(context.Background(), f))
}

func sheetNamed(t *testing.T, name string) *lots.Sheet {
	t.Helper()
	s, ok := lots.SheetNamed(name)
	require.True(t, ok)
	return s
}
