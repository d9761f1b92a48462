package papers_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/graph/recall"
	"heeltap/graph/recall/papers"
	"heeltap/labels/paper"
	"heeltap/lots/store"
)

// suspects opens another recall of the same history and makes its papers those of the test.
func (b *book) suspects(hazard graph.Hazard, codes ...string) {
	b.t.Helper()
	b.in(func(tx *store.Tx) {
		r, err := recall.Begin(tx, recall.Opened{Suspects: codes, Hazard: string(hazard), Reason: "x", Lead: "Quint"}, recall.At{}, "Quint")
		require.NoError(b.t, err)
		b.code = r.Code
	})
}

// No paper says more than was chosen: pressure belongs to what goes on fermenting, and what a machine did is said of
// where the suspect stands.
func TestPapersSayNoMoreThanTheHazard(t *testing.T) {
	b := began(t, false)
	b.enter(`
items item=LAB name=label kind=label unit=each
items item=END name=end kind=closure unit=each
lines line=L
receipts lot=LAB1 item=LAB supplier=SUP supplier_lot=l quantity=9000 unit=each received_at=2026-01-02_08:00
receipts lot=END1 item=END supplier=SUP supplier_lot=e quantity=9000 unit=each received_at=2026-01-02_08:00
feeds run=R1 from=LAB1
feeds run=R1 from=END1
runs run=R3 product=CAN line=L started_at=2026-02-04_08:00 ended_at=2026-02-04_10:00 date_code=THREE good=480
feeds run=R3 from=FV
units unit=P-3 kind=pallet run=R3 quantity=20
shipments shipment=S5 unit=P-3 quantity=20 consignee=D-1 shipped_at=2026-02-10_09:00
`)
	never := map[graph.Hazard][]string{
		graph.Anything: {"pressure", "burst", "gloves", "label", "faulty"}, graph.Dissolved: {"pressure", "burst", "gloves", "faulty"}, graph.Allergen: {"pressure", "burst", "gloves"},
		graph.ForeignBody: {"pressure", "burst", "gloves", "faulty"}, graph.Process: {"pressure", "burst", "gloves"}, graph.Spoiler: {"faulty", "gloves"},
	}
	for hazard, words := range never {
		b.suspects(hazard, "FV@2026-01-20T08:00")
		for _, of := range []func(*papers.Maker) string{letterBody, pressBody} {
			var text string
			b.make(func(m *papers.Maker) { text = of(m) })
			if hazard != graph.Process { // says where, below
				says(t, text, "X. "+hazard.Risk())
			}
			for _, w := range words {
				require.NotContains(t, text, w, hazard)
			}
		}
	}
	b.suspects(graph.Process, "FV@2026-01-20T08:00")
	says(t, b.text(letter("D-1")), "A machine was at fault for a time while the beer was made, and")
	b.suspects(graph.Process, "L@2026-02-04T08:30")
	says(t, b.text(letter("D-1")), "A machine was at fault for a time while the beer was packed, and")
	b.suspects(graph.Process, "H")
	says(t, b.text(letter("D-1")), graph.Process.Risk())

	b.suspects(graph.PackagePart, "END1")
	says(t, b.text(letter("D-1")), "It may leak or break, and injure whoever handles it.", "Wear gloves and eye protection")
	says(t, b.text(press), "do not carry it back to the shop")
	b.suspects(graph.PackagePart, "LAB1")
	text := b.text(letter("D-1"))
	says(t, text, "Its label may be faulty.")
	require.NotContains(t, text, "leak")
	require.NotContains(t, b.text(press), "do not carry it back")

	b.enter(`
items item=MILK name=milk_sugar kind=sugar unit=kg allergens=milk;barley
receipts lot=M1 item=MILK supplier=SUP supplier_lot=m quantity=10 unit=kg received_at=2026-01-02_08:00
additions vessel=FV from=M1 quantity=1 unit=kg at=2026-01-10_08:00
`)
	b.suspects(graph.Allergen, "M1")
	says(t, b.text(letter("D-1")), "The beer may contain barley and milk, not declared on its label.")

	b.suspects(graph.Spoiler, "FV@2026-01-20T08:00")
	says(t, b.text(letter("D-1")), "Packages and kegs may be under pressure and may burst.", "do not tap a keg")
	b.suspects(graph.Spoiler, "R2")
	says(t, b.text(letter("D-1")), "Kegs may be under pressure and may burst.", "do not tap them")
	b.suspects(graph.Spoiler, "R1")
	b.make(func(m *papers.Maker) { text = letterBody(m) })
	says(t, text, "Packages may be under pressure and may burst.")
	require.NotContains(t, text, "tap")
}

// Cases and kegs that are on no unit are handled like the others.
func TestUntaggedGoodsAreHandledWithCare(t *testing.T) {
	b := began(t, false)
	b.enter(`
vessels vessel=FV5 kind=fermenter unit=hL
brews brew=B5 beer=Pale started_at=2026-01-05_08:00 cast_out_at=2026-01-05_14:00 into=FV5 volume=60 unit=hL
runs run=R7 product=KEG started_at=2026-02-05_08:00 ended_at=2026-02-05_10:00 date_code=K37 good=1
runs run=R8 product=CAN started_at=2026-02-06_08:00 ended_at=2026-02-06_10:00 date_code=EIGHT good=9600
feeds run=R7 from=FV5
feeds run=R8 from=FV5
units unit=K7/R7 kind=keg run=R7 quantity=1
shipments shipment=S7 unit=K7/R7 quantity=1 consignee=D-1 shipped_at=2026-02-10_09:00
`)
	b.suspects(graph.Spoiler, "B5")
	says(t, b.text(letter("D-1")), "Packages and kegs may be under pressure", "do not shake or open it, do not tap a keg of it")
	b.suspects(graph.Spoiler, "R7")
	says(t, b.text(letter("D-1")), "Kegs may be under pressure", "do not tap them")

	b.enter(`
runs run=R9 product=KEG started_at=2026-02-07_08:00 ended_at=2026-02-07_10:00 date_code=K39 good=4
runs run=R10 product=CAN started_at=2026-02-08_08:00 ended_at=2026-02-08_10:00 date_code=TEN good=480
feeds run=R9 from=FV5
feeds run=R10 from=FV5
units unit=P-10 kind=pallet run=R10 quantity=20
shipments shipment=S10 unit=P-10 quantity=20 consignee=D-1 shipped_at=2026-02-10_09:00
`)
	b.suspects(graph.Spoiler, "R9", "R10")
	says(t, b.text(letter("D-1")), "Packages and kegs may be under pressure")
}

// A machine that packed it may have left it unpasteurised, or its seams weak: nobody knows, so it is handled with care and
// left where it is, and no paper claims that it may burst. Where the fault was in a tank there is no reason for that.
func TestProcessFaultInPackingIsHandledWithCare(t *testing.T) {
	b := began(t, false)
	b.enter(`
lines line=L
lines line=WASH
runs run=R3 product=CAN line=L started_at=2026-02-04_08:00 ended_at=2026-02-04_10:00 date_code=THREE good=480
feeds run=R3 from=FV
units unit=P-3 kind=pallet run=R3 quantity=20
shipments shipment=S5 unit=P-3 quantity=20 consignee=D-1 shipped_at=2026-02-10_09:00
runs run=R6 product=KEG started_at=2026-02-05_08:00 ended_at=2026-02-05_10:00 date_code=K36 good=1
feeds run=R6 from=FV
units unit=K6/R6 kind=keg run=R6 quantity=1 washer=WASH washed_at=2026-02-05_07:00
shipments shipment=S6 unit=K6/R6 quantity=1 consignee=D-1 shipped_at=2026-02-10_09:00
`)
	const cans, kegs, both = "Keep it cool, do not shake or open it, and wear eye protection.", "Keep the kegs cool, do not tap them, and wear eye protection.", "do not tap a keg of it, and wear eye protection."
	for suspect, care := range map[string]string{"L@2026-02-04T08:30": cans, "R1": cans, "P-3": cans, "R6": kegs, "WASH@2026-02-05T07:00": kegs, "H": both} {
		b.suspects(graph.Process, suspect)
		b.make(func(m *papers.Maker) {
			for _, text := range []string{letterBody(m), pressBody(m)} {
				says(t, text, care[1:]) // behind a colon it begins with a small letter
				require.NotContains(t, text, "burst", suspect)
				require.NotContains(t, text, "under pressure", suspect)
			}
			if care != kegs {
				says(t, pressBody(m), "do not carry it back to the shop")
			}
		})
	}
	for _, suspect := range []string{"FV@2026-01-20T08:00", "B"} {
		b.suspects(graph.Process, suspect)
		b.make(func(m *papers.Maker) {
			require.NotContains(t, letterBody(m)+pressBody(m), "eye protection", suspect)
			says(t, pressBody(m), "Take it back to where you bought it")
		})
	}
}

// letterBody and pressBody are the papers without the page for the responsible person, whose caution names all dangers.
func letterBody(m *papers.Maker) string { return letterTo(m, "D-1") }

func letterTo(m *papers.Maker, party string) string {
	d, err := letter(party)(m)
	if err != nil {
		return err.Error()
	}
	return beforeNote(d)
}

func pressBody(m *papers.Maker) string {
	d, err := m.Press()
	if err != nil {
		return err.Error()
	}
	return beforeNote(d)
}

func beforeNote(d *paper.Document) string {
	var w bytes.Buffer
	if err := d.Plain(&w); err != nil {
		return err.Error()
	}
	text, _, _ := strings.Cut(strings.Join(strings.Fields(w.String()), " "), "To the responsible person")
	return text
}
