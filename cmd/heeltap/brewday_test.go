package main

import (
	"fmt"
	"io"
	"net/http"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// focus puts the focus into a field by its name, as a finger does.
func (b *browser) focus(name string) {
	b.t.Helper()
	b.do(chromedp.Focus(`main [name="`+name+`"]:not([type=hidden])`, chromedp.ByQuery))
}

// value is what stands in a field.
func (b *browser) value(name string) (text string) {
	b.t.Helper()
	b.do(chromedp.Value(`main [name="`+name+`"]:not([type=hidden])`, &text, chromedp.ByQuery))
	return text
}

// focused is the name of the field that has the focus.
func (b *browser) focused() (name string) {
	b.t.Helper()
	b.do(chromedp.Evaluate(`document.activeElement.name || ""`, &name))
	return name
}

const record = "main form.entry button.main"

// A brewer brews with a scanner, and the cellar takes the beer through its days: pitched, dry hopped, cropped,
// racked, and the tank cleaned. Every page says what is in the tank, and nothing is typed that is known.
func TestABrewersAndACellarHandsDay(t *testing.T) {
	chromium(t)
	h := openHouse(t)
	chief := h.browse(t, "desk", "maren")
	for _, v := range []string{"FV21&kind=fermenter", "FV22&kind=fermenter", "BT21&kind=bright", "BT22&kind=bright"} { // new and empty, whatever the demo's hold
		chief.goTo("/do/vessel?capacity=45&unit=hL&vessel=" + v)
		chief.press(record)
	}
	for tab, tanks := range map[string][2]string{"phone": {"FV21", "BT21"}, "desk": {"FV22", "BT22"}} {
		t.Run(tab, func(t *testing.T) {
			b := h.browse(t, tab, "tove")
			fv, bt := tanks[0], tanks[1]
			b.brewDay(fv)
			b.fermentation(fv)
			b.racking(fv, bt)
		})
	}
}

// brewDay records a brew by scanning: a lot, its quantity, the next lot.
func (b *browser) brewDay(fv string) {
	b.t.Helper()
	b.goTo("/cellar")
	b.press(`main a[href="/brew"]`)
	b.press(`main a[href="/brew?beer=Skerry%20Pale"]`)
	b.says("What goes in", "last time")
	b.fill("started_at", "06:10")
	b.focus("from0")
	b.scan("L26-0005")
	require.Equal(b.t, "quantity0", b.focused(), "a scanner's Enter goes on to the quantity")
	b.scan("180")
	require.Equal(b.t, "from1", b.focused(), "and from there to the next lot, past the unit")
	b.scan("L26-9999")
	b.scan("12")
	b.press(`main button[name="into-more"]`)
	require.Equal(b.t, "L26-0005", b.value("from0"), "one more line keeps what was typed")
	b.fill("cast_out_at", "07:55")
	b.fill("into-from0", fv)
	b.fill("into-quantity0", "19")
	b.fill("plato", "11.9")
	b.press(record)
	b.says("Not recorded", "L26-9999")
	require.Equal(b.t, "11.9", b.value("plato"))
	b.shot("brew-refused")
	b.fill("from1", "L26-0006")
	b.choose("unit1", "kg")
	b.fill("quantity1", "3")
	b.press(record)
	b.says("is recorded", "19 hL of Skerry Pale", "180 kg of")
	b.shot("brew-said")
}

// fermentation pitches, dry hops and crops at the tank.
func (b *browser) fermentation(fv string) {
	b.t.Helper()
	b.press(`main a[href="/vessel/` + fv + `/pitch"]`)
	b.says("In " + fv + " now")
	b.focus("from0")
	b.scan("YB1")
	b.scan("8")
	b.fill("at", "07:56")
	b.press(record)
	b.says("Added 8 L from YB1 to "+fv, "pitch")

	b.find(fv)
	b.says("Skerry Pale", "%")
	b.shot("vessel-full")
	b.press(`main a[href="/vessel/` + fv + `/add"]`)
	b.focus("from0")
	b.scan("L26-0020")
	b.scan("4")
	b.scan("L26-0007")
	b.scan("500 g")
	b.fill("purpose", "dry hop")
	b.shot("vessel-add")
	b.press(record)
	b.says("Added 4 kg", "Added 500 g", "dry hop")
	b.press(`main form[action^="/takeback/"] button`)
	b.says("Taken back", "Added 4 kg", "Added 500 g")
	b.shot("taken-back")

	b.goTo("/vessel/" + fv + "/crop")
	require.NotEmpty(b.t, b.value("item"), "the yeast in it is known")
	b.fill("quantity", "20")
	b.fill("into", "YB4")
	b.fill("at", "07:58")
	b.press(record)
	b.says("Cropped 20 kg")
}

// racking moves all of it on, empties and cleans the tank, and puts a slip right.
func (b *browser) racking(fv, bt string) {
	b.t.Helper()
	b.goTo("/vessel/" + fv + "/transfer")
	b.shot("transfer")
	b.fill("to", bt)
	b.do(chromedp.Click(`main [name="all"]`, chromedp.ByQuery))
	b.fill("in", "18.6")
	b.press(record)
	b.says("Not recorded")
	b.fill("started_at", "07:59")
	b.press(record)
	b.says("Transferred 19.08 hL from "+fv, "18.6 hL arrived", "Cleaned too?")
	b.shot("transferred")
	b.press(`main a[href="/vessel/` + fv + `/clean"]`)
	b.choose("method", "cip")
	b.press(record)
	b.says("what goes in next starts clean")

	b.press(`main a[href="/vessel/` + fv + `"]`)
	b.press(`main a[href^="/entry/"]`)
	b.press(`main a[href$="/amend"]`)
	b.choose("method", "rinse")
	b.fill("reason", "the pump stood: it was only rinsed")
	b.press(record)
	b.says("Put right", "Was:", "cip", "rinse")
	b.press(`main a[href^="/entry/"]`)
	b.says("Corrections", "cip\trinse", "only rinsed")
	b.shot("entry-corrected")
}

// Emptied is no clean: it is said before, and asked after.
func TestEmptiedIsNoClean(t *testing.T) {
	chromium(t)
	b := openHouse(t).browse(t, "phone", "tove")
	b.goTo("/vessel/ST1/emptied")
	b.says("Emptied is no clean")
	b.choose("reason", "dumped")
	b.press(record)
	b.says("Dumped all that was left in ST1", "Cleaned too?")
	b.press(`main a.button.main`)
	require.Equal(t, "/vessel/ST1/clean", b.where())
}

// Everything that records works without script too: an Enter of the scanner goes on by way of the server.
func TestRecordingWithoutScript(t *testing.T) {
	chromium(t)
	b := openHouse(t).browse(t, "desk", "tove")
	b.do(emulation.SetScriptExecutionDisabled(true))
	step := func(selector string) { b.do(chromedp.Click(selector, chromedp.ByQuery), chromedp.WaitReady("#main")) }
	b.goTo("/brew?beer=Skerry+Pale")
	b.fill("started_at", "06:10")
	b.fill("from0", "L26-0005\r")
	b.do(chromedp.WaitReady(`main [name="quantity0"][autofocus]`, chromedp.ByQuery))
	b.fill("quantity0", "180")
	step(`main button[name="more"][value="0"]`)
	b.do(chromedp.WaitReady(`main [name^="from"][autofocus]`, chromedp.ByQuery))
	require.Equal(t, "L26-0005", b.value("from0"))
	b.fill("cast_out_at", "07:55")
	b.fill("into-from0", "FV4")
	b.fill("into-quantity0", "19")
	step(record)
	b.do(chromedp.WaitVisible(`section.recorded`, chromedp.ByQuery))
	step(`main a[href="/vessel/FV4/pitch"]`)
	b.do(chromedp.WaitVisible(`main [name="from0"]`, chromedp.ByQuery))
	b.fill("from0", "YB1")
	b.fill("quantity0", "8")
	step(record)
	b.do(chromedp.WaitVisible(`section.recorded`, chromedp.ByQuery))
	step(`main form[action^="/takeback/"] button`)
	b.do(chromedp.WaitVisible(`section.recorded`, chromedp.ByQuery))
}

// The floor takes back and puts right what it wrote itself; what others wrote it may look at.
func TestTheFloorCorrectsItsOwn(t *testing.T) {
	chromium(t)
	h := openHouse(t)
	b := h.browse(t, "desk", "tove")
	b.goTo("/entry/100")
	require.NotContains(t, b.text(), "Put it right")
	b.goTo("/entry/100/amend")
	b.says("ask them, or somebody in quality")
	q := h.browse(t, "desk", "quint")
	q.goTo("/entry/100")
	q.says("Put it right", "Take it back")
}

// Every blank sheet is a PDF, also about each thing that it can be about.
func TestBlankSheets(t *testing.T) {
	chromium(t)
	b := openHouse(t).browse(t, "desk", "tove")
	b.goTo("/blank")
	for _, path := range []string{"delivery", "brew?about=Skerry+Pale", "vessel?about=FV2", "run?about=CANS", "run", "loading", "count"} {
		var got string
		b.do(chromedp.Evaluate(`fetch("/blank/`+path+`").then(async r => r.status + " " + r.headers.get("Content-Type") + " " + (await r.text()).slice(0, 5))`, &got, awaited))
		require.Equal(t, "200 application/pdf %PDF-", got, path)
	}
	answer, err := http.Get(fmt.Sprintf("%s/blank/vessel?about=FV2", b.base))
	require.NoError(t, err)
	text, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	require.NotContains(t, string(text), "%PDF", "nobody who is not signed in reads it")
}

// The pages of brewhouse and cellar, of corrections and of paper are opened at both sizes.
func TestCellarPagesLookedAt(t *testing.T) {
	chromium(t)
	h := openHouse(t)
	for tab := range tabs {
		t.Run(tab, func(t *testing.T) { h.browse(t, tab, "maren").walk(cellarPages) })
	}
}

// cellarPages are pages of every kind of them, by the name of their pictures.
var cellarPages = map[string]string{
	"brew-which": "/brew", "brew-new": "/brew?beer=Skerry+Pale", "brew-late": "/brew?beer=Skerry+Pale&late=1", "vessel-clean": "/vessel/FV2/clean", "vessel-pitch": "/vessel/YB1/pitch",
	"vessel-transfer": "/vessel/ST1/transfer", "vessel-emptied": "/vessel/ST1/emptied", "vessel-holding": "/vessel/ST1", "vessel-late": "/vessel/ST1/take?late=1", "cellar": "/cellar",
	"entry": "/entry/10075", "amend": "/entry/10073/amend", "void": "/entry/10075/void", "blank": "/blank", "clean-late": "/do/clean?late=1",
}

// A slip is taken back whole or not at all: where something else depends on it, it stays and the page says on what.
func TestTakingBackIsAllOrNothing(t *testing.T) {
	chromium(t)
	h := openHouse(t)
	b := h.browse(t, "desk", "tove")
	b.goTo("/brew?beer=Skerry+Pale")
	for name, text := range map[string]string{"started_at": "06:10", "from0": "L26-0005", "quantity0": "180", "cast_out_at": "07:55", "into-from0": "FV5", "into-quantity0": "19"} {
		b.fill(name, text)
	}
	b.press(record)
	said := b.where()
	var brew string
	b.do(chromedp.Evaluate(`document.querySelector('main a[href^="/brew/"]').getAttribute("href").slice(6)`, &brew))
	b.goTo("/do/input?brew=" + brew + "&from=L26-0006&quantity=1&unit=kg&stage=boil")
	b.press(record)
	b.goTo(said)
	b.press(`main form[action^="/takeback/"] button`)
	b.says("Nothing was taken back", brew)
	b.goTo("/brew/" + brew)
	b.says("19 hL cast out into FV5", "Used 180 kg")

	q := h.browse(t, "desk", "quint")
	q.goTo(said)
	require.NotContains(t, q.text(), "take it back", "it is not theirs")
}

// What is typed in from paper keeps both times: when it happened, and when it was entered.
func TestPaperTypedInLater(t *testing.T) {
	chromium(t)
	b := openHouse(t).browse(t, "phone", "tove")
	b.goTo("/vessel/FV2/clean?late=1")
	b.choose("method", "cip")
	b.press(record)
	b.says("Not recorded", "write when it happened")
	b.fill("at", "2026-02-20 09:15")
	b.press(record)
	b.says("Cleaned FV2 in place at 2026-02-20 09:15")
	b.press(`main a[href^="/entry/"]`)
	b.says("20 Feb 2026 09:15", "8 Mar 2026 08:0")
}
