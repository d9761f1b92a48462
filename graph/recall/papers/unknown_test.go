package papers_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/graph/recall"
	"heeltap/graph/recall/papers"
	"heeltap/lots/store"
)

// cropped is yeast of FV's beer, pitched into FV4, whose beer was packed and shipped to D-2.
const cropped = `
items item=YEAST name=yeast kind=yeast unit=L
vessels vessel=FV4 kind=fermenter unit=hL
crops lot=C-1 item=YEAST vessel=FV quantity=9 unit=L at=2026-01-12_08:00
brews brew=B4 beer=Pale started_at=2026-01-13_08:00 cast_out_at=2026-01-13_14:00 into=FV4 volume=20 unit=hL
brew_inputs brew=B4 from=C-1 quantity=9 unit=L stage=pitch
runs run=R5 product=CAN started_at=2026-02-06_08:00 ended_at=2026-02-06_10:00 date_code=FIVE good=480
feeds run=R5 from=FV4
units unit=P-5 kind=pallet run=R5 quantity=20
shipments shipment=S8 unit=P-5 quantity=20 consignee=D-2 shipped_at=2026-02-12_09:00
`

// While a fill that suspect yeast came from is not decided on, every draft tells the responsible person so, and
// nobody else.
func TestDraftsSayWhatIsNotDecided(t *testing.T) {
	b := began(t, false)
	b.enter(cropped)
	b.suspects(graph.Spoiler, "C-1")
	const open = "Not decided: FV@2026-01-05T14:00 (C-1 was cropped from it) reaches"
	says(t, b.text(letter("D-2")), "this draft may leave something out", open)
	says(t, b.text(press), open)
	b.make(func(m *papers.Maker) {
		require.Len(t, m.Unknown(), 1)
		require.NotContains(t, letterTo(m, "D-2"), "cropped")
		require.NotContains(t, pressBody(m), "cropped")
	})
	b.take(&recall.Unsuspected{Suspects: []string{"FV@2026-01-05T14:00"}, Reason: "plated clean"})
	b.make(func(m *papers.Maker) { require.Empty(t, m.Unknown()) })
	require.NotContains(t, b.text(letter("D-2")), "leave something out")
}

// That nothing has left, or that nothing was packed, is not said while a proposal is open or a suspect cannot be traced.
func TestNoPressWhileNothingIsKnown(t *testing.T) {
	const unknown = "what is affected is not known yet"
	b := began(t, false)
	b.enter(`
items item=YEAST name=yeast kind=yeast unit=L
crops lot=C-1 item=YEAST vessel=FV quantity=9 unit=L at=2026-01-12_08:00
`)
	b.suspects(graph.Spoiler, "C-1")
	b.make(func(m *papers.Maker) { require.Equal(t, unknown, m.NoPress()) })
	b.take(&recall.Unsuspected{Suspects: []string{"FV@2026-01-05T14:00"}, Reason: "plated clean"})
	b.make(func(m *papers.Maker) { require.Equal(t, "nothing in scope has left the brewery", m.NoPress()) })

	b.enter("units unit=P-9 kind=pallet run=R1 quantity=1")
	b.suspects(graph.ForeignBody, "P-9")
	b.in(func(tx *store.Tx) {
		head, err := tx.Head()
		require.NoError(t, err)
		_, err = tx.Void(head-1, "entered twice", "me")
		require.NoError(t, err)
	})
	b.make(func(m *papers.Maker) {
		require.Equal(t, unknown, m.NoPress())
		require.Contains(t, m.Unknown()[0], "not traced: suspect P-9: ")
	})
}
