package recall_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/recall"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/scope"
	"heeltap/lots/store"
)

// delivered is a consignee as it is told.
func (f *floor) delivered(code, party string) (found deliveries.Consignee) {
	f.Helper()
	f.with(code, func(tx *store.Tx, r *recall.Recall, s *scope.Scope) error {
		list, err := deliveries.Delivered(tx, s, r.Versions)
		for _, c := range list {
			if c.Party == party {
				found = c
			}
		}
		return err
	})
	require.Equal(f, party, found.Party)
	return found
}

// toppedUp is a pallet of run R-2 of which 40 cases left, and which was topped up from R-3 the day after.
const toppedUp = `
shipments shipment=S-1 unit=P-9 quantity=40 consignee=D-1 shipped_at=2026-03-17_16:00 document=BOL-1
units unit=P-9 kind=pallet run=R-3 quantity=20 first_at=2026-03-18_09:50 last_at=2026-03-18_10:00
shipments shipment=S-4 unit=P-9 quantity=25 consignee=D-3 shipped_at=2026-03-19_08:00
`

// Who received cases before a pallet was topped up looks for the codes that can have been on it then.
func TestCodesOfTheDay(t *testing.T) {
	f := newFloor(t, cellar+toppedUp)
	code := f.begin("H-1", "H-2")
	require.Equal(t, []string{"TWO"}, f.delivered(code, "D-1").Lines[0].DateCodes)
	require.Equal(t, []string{"THREE", "TWO"}, f.delivered(code, "D-3").Lines[0].DateCodes)
	// What the books cannot explain so keeps all of them.
	f.write("shipments shipment=S-5 unit=P-9 quantity=70 consignee=D-2 shipped_at=2026-03-17_19:00")
	require.Equal(t, []string{"THREE", "TWO"}, f.delivered(code, "D-2").Lines[0].DateCodes)
	require.Equal(t, []string{"TWO"}, f.delivered(code, "D-1").Lines[0].DateCodes)
}

// A consignee whose cases a correction took out of the records' scope is told what they bear and when they came.
func TestKeptBearsWhatItBore(t *testing.T) {
	f := newFloor(t, cellar+toppedUp)
	code := f.begin("H-1", "H-2")
	f.freeze(code)
	f.amend("use-3", map[string]string{"from": "M-1"})
	l := f.delivered(code, "D-1").Lines[0]
	require.Equal(t, []string{"TWO"}, l.DateCodes)
	require.Equal(t, "2026-03-17T16:00:00Z", l.First)
	require.Equal(t, []string{"BOL-1"}, l.Documents)
}

// Of what was delivered twice one delivery may be corrected away: both are told. What was somebody else's
// before the version was frozen is not.
func TestKeptInPart(t *testing.T) {
	f := newFloor(t, cellar+`
shipments shipment=S-5 unit=P-2 quantity=10 consignee=D-3 shipped_at=2026-03-20_08:00 document=BOL-5
shipments shipment=S-6 unit=P-2 quantity=10 consignee=D-3 shipped_at=2026-03-23_08:00 document=BOL-6
shipments shipment=S-7 unit=P-2 quantity=15 consignee=D-3 shipped_at=2026-03-19_08:00 document=BOL-7
shipments shipment=S-8 unit=P-2 quantity=15 consignee=D-3 shipped_at=2026-03-18_08:00 document=BOL-8
`)
	f.amend("S-7", map[string]string{"consignee": "D-1"})
	f.void("S-8")
	code := f.begin("H-1")
	f.freeze(code)
	f.amend("S-5", map[string]string{"consignee": "D-2"})
	l := f.delivered(code, "D-3").Lines[0]
	require.InDelta(t, 20, l.Shipped, 0)
	require.Equal(t, [2]string{"2026-03-20T08:00:00Z", "2026-03-23T08:00:00Z"}, [2]string{l.First, l.Last})
	require.ElementsMatch(t, []string{"BOL-5", "BOL-6"}, l.Documents)
}

// What was shipped by rows that were corrected or taken back is told by what they read in the last version.
func TestKeptIsDatedByItsOldRows(t *testing.T) {
	for name, correct := range map[string]func(f *floor){
		"consignee": func(f *floor) { f.amend("S-7", map[string]string{"consignee": "D-2"}) },
		"day and consignee": func(f *floor) {
			f.amend("S-7", map[string]string{"consignee": "D-2", "shipped_at": "2026-03-25 08:00"})
		},
		"taken back": func(f *floor) { f.void("S-7") },
	} {
		t.Run(name, func(t *testing.T) {
			f := newFloor(t, cellar+shipped+"shipments shipment=S-7 unit=P-2 quantity=15 consignee=D-3 shipped_at=2026-03-22_08:00 document=BOL-0\n")
			f.amend("S-7", map[string]string{"shipped_at": "2026-03-21 08:00", "document": "BOL-7"})
			code := f.begin("H-1")
			f.freeze(code)
			correct(f)
			c := f.delivered(code, "D-3")
			require.True(t, c.Kept)
			require.Equal(t, "2026-03-21T08:00:00Z", c.Lines[0].First)
			require.Equal(t, c.Lines[0].First, c.Lines[0].Last)
			require.Equal(t, []string{"BOL-7"}, c.Lines[0].Documents)
			require.Equal(t, []string{"ONE"}, c.Lines[0].DateCodes)
		})
	}
}
