package main

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"heeltap/lots/store"
)

// head is the number of the last entry of the journal.
func (h *served) head() (n int64) {
	h.t.Helper()
	h.records(func(tx *store.Tx) {
		var err error
		n, err = tx.Head()
		require.NoError(h.t, err)
	})
	return n
}

// entriesAfter are the entries since one, as "KIND by NAME".
func (h *served) entriesAfter(n int64) (out []string) {
	h.t.Helper()
	head := h.head()
	h.records(func(tx *store.Tx) {
		for i := n + 1; i <= head; i++ {
			e, ok, err := tx.Entry(i)
			require.NoError(h.t, err)
			require.True(h.t, ok)
			out = append(out, fmt.Sprintf("%s by %s", e.Kind, e.By))
		}
	})
	return out
}

// status is what the server answers to a form that no page offers, sent from a page of its own.
func (b *browser) status(path, form string) (code int) {
	b.t.Helper()
	b.do(chromedp.Evaluate(fmt.Sprintf(`fetch(%q, {method: "POST", headers: {"Content-Type": "application/x-www-form-urlencoded"}, body: %q}).then(r => r.status)`, path, form), &code, awaited))
	return code
}

// leave signs out, with the last click of the day.
func (b *browser) leave() {
	b.t.Helper()
	b.do(chromedp.Evaluate(`document.querySelector("header details")?.setAttribute("open", "")`, nil))
	b.press(`form[action="/signout"] button`)
	for range 40 {
		if strings.Contains(b.where(), "/signin") {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	b.t.Fatalf("not signed out, but on %s", b.where())
}

// A visiting auditor reads everything, by scanning tags and following links, and leaves no trace in the journal: no page
// offers anything to record, and what is sent all the same is refused.
func TestAnAuditorsDay(t *testing.T) {
	chromium(t)
	h := openHouse(t)
	head := h.head()
	for _, tab := range []string{"phone", "desk"} {
		t.Run(tab, func(t *testing.T) {
			b := h.browse(t, tab, "auditor")
			b.says("A visiting auditor")
			b.shot("auditor-home")
			quiet := func() {
				t.Helper()
				var forms []string
				b.do(chromedp.Evaluate(`[...document.querySelectorAll('main form[method="post" i]')].map(f => f.getAttribute("action"))`, &forms))
				require.Empty(t, forms, "on %s nothing can be sent", b.where())
			}
			quiet()
			for _, scan := range [][2]string{{"L25-0085", "L25-0085"}, {"HTTP://127.0.0.1/T/P25-0339", "P25-0339"}, {"BB 2026-08-03@13:12", ""}, {"FV2", "in here since"}, {"D-14", "Saltmarsh Supply"}} {
				b.find(scan[0])
				b.says(scan[1])
				quiet()
			}
			b.shot("auditor-party")
			for _, path := range []string{"/cellar", "/dock", "/lines", "/shipping", "/judge", "/stock", "/stock/lots", "/office", "/readiness", "/recalls", "/exposure", "/balance?of=L25-0085", "/trace?from=L25-0085",
				"/run/R25-0129", "/running/R25-0129", "/entry/100", "/blank"} {
				b.goTo(path)
				quiet()
			}
			b.goTo("/trace?from=L25-0085")
			b.shot("auditor-trace")
			b.says("Saltmarsh Supply")
			b.goTo("/entry/100")
			require.NotContains(t, b.text(), "Put it right")
			for _, path := range []string{"/delivery", "/brew", "/count", "/load", "/do/hold?subject=L25-0085", "/typed/count", "/entry/100/amend", "/recalls/new", "/people"} {
				b.goTo(path)
				b.says("Not yours to do")
			}
			b.shot("auditor-not-yours")
			for path, form := range map[string]string{"/do/hold": "form=a1&subject=L25-0085&reason=x", "/do/remove": "form=a2&subject=P25-0345&quantity=1&reason=sample", "/delivery": "form=a3&lots=1&supplier=S-03",
				"/typed/count": "form=a4&at=2026-03-01", "/entry/100/void": "form=a5&reason=x", "/recalls/new": "form=a6&kind=exercise&suspects=L25-0085", "/count": "form=a7&unit=P25-0345", "/attach": "form=a8&of=L25-0085"} {
				require.Equal(t, 403, b.status(path, form), path)
			}
			b.goTo("/")
			b.leave()
			b.goTo("/stock")
		})
	}
	require.Equal(t, head, h.head(), "reading leaves no entry")
}

// The quality lead's day: goods are stopped with a reason, let go again and by an override, an entry of somebody else is put
// right, a return is judged, and what the readiness check names is looked into. Each click is in the journal under the
// lead's name; who may sign in is not the lead's to say.
func TestAQualityLeadsDay(t *testing.T) {
	chromium(t)
	h := openHouse(t)
	pallets := h.unitsHere("pallet", 2)
	for i, tab := range []string{"phone", "desk"} {
		t.Run(tab, func(t *testing.T) {
			head, pallet := h.head(), pallets[i]
			b := h.browse(t, tab, "quint")
			b.goTo("/office")
			b.shot("quality-office")
			b.find(pallet)
			b.follows("main a.button", "Hold")
			b.says("Nothing that has it in it leaves")
			b.focus("reason")
			b.scans("a can that hums") // the Enter behind it sends the form
			b.says("a can that hums")
			require.Equal(t, []string{"holds by Quint"}, h.entriesAfter(head))
			b.shot("quality-held")

			floor := h.browse(t, tab, "tove")
			floor.goTo("/load?consignee=D-14")
			floor.scans(pallet)
			floor.says("STOP: "+pallet, "a can that hums", "Quality may let it go")
			require.Equal(t, 403, floor.status("/load", "form=z"+tab+"&consignee=D-14&unit="+pallet+"&override=because"))
			require.Len(t, h.entriesAfter(head), 1, "the floor lets nothing go")

			b.goTo("/load?consignee=D-14")
			b.scans(pallet)
			b.do(chromedp.Click(".stop summary", chromedp.ByQuery))
			b.fill("quantity", "1")
			b.do(chromedp.SendKeys("#r-override", "one case to the laboratory", chromedp.ByQuery))
			b.press(".stop form button")
			b.says("1 case")
			require.Contains(t, h.entriesAfter(head), "shipments by Quint")
			require.Contains(t, h.entriesAfter(head), "act by Quint", "the override is on record")

			b.find(pallet)
			b.follows("main a.button", "Release")
			b.says("a can that hums")
			b.shot("quality-release")
			b.press(record)
			b.says("Not recorded", "Say why it may go")
			b.fill("reason", "the laboratory found nothing")
			b.press(record)
			b.says(pallet + " is released: the laboratory found nothing")
			floor.goTo("/unit/" + pallet)
			floor.says("Hold")
			require.Equal(t, 403, floor.status("/release/"+pallet, "form=r"+tab+"&reason=x"))
			floor.goTo("/load?consignee=D-14")
			floor.scans(pallet)
			require.NotContains(t, floor.text(), "STOP")

			b.find("L26-0007")
			b.press(`main a[href^="/entry/"]`)
			b.press(`main a[href$="/amend"]`)
			b.fill("purpose", "second dry hop, "+tab)
			b.fill("reason", "seen there")
			b.press(record)
			b.says("Put right", "second dry hop, "+tab)
			b.shot("quality-put-right")
			b.goTo("/readiness")
			b.shot("quality-readiness")
			for _, path := range []string{"/people", "/do/item"} {
				b.goTo(path)
				b.says("Not yours to do")
			}
			require.Equal(t, 403, b.status("/do/item", "form=i"+tab+"&item=X&name=X&kind=malt&unit=kg"))
			entries := h.entriesAfter(head)
			amended := 0
			for _, e := range entries {
				if e == "amend by Quint" {
					amended++
				}
			}
			require.Equal(t, 2, amended, "the release and the correction: %v", entries)
			b.leave()
		})
	}
}
