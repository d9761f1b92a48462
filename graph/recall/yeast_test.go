package recall_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/recall"
	"heeltap/graph/recall/scope"
	"heeltap/lots/store"
)

// yeasty adds to the cellar that yeast C-1 was cropped from the beer that is now in BT-1 and pitched into FV-4, whose
// beer is still there.
const yeasty = cellar + `
items item=YEAST name=yeast kind=yeast unit=L
vessels vessel=FV-4 kind=fermenter unit=L
crops lot=C-1 item=YEAST vessel=FV-1 quantity=9 unit=L at=2026-03-10_08:00
brews brew=B-4 beer=Pale started_at=2026-03-20_07:00 cast_out_at=2026-03-20_13:00 into=FV-4 volume=2000 unit=L
brew_inputs brew=B-4 from=C-1 quantity=9 unit=L stage=pitch
`

const cropped = "FV-1@2026-03-01T13:00"

// stands says how the fill that C-1 was cropped from stands in a recall.
func (f *floor) stands(code string) (stands string) {
	f.with(code, func(_ *store.Tx, _ *recall.Recall, s *scope.Scope) error {
		for _, y := range s.Yeast {
			if y.Code == cropped {
				stands = y.State
			}
		}
		return nil
	})
	return stands
}

// A suspect that was cleared of one fault is no answer to the later question whether yeast from it is at fault.
func TestClearedSuspectIsStillProposed(t *testing.T) {
	f := newFloor(t, yeasty)
	code := f.begin(cropped, "B-2")
	f.take(code, &recall.Unsuspected{Suspects: []string{cropped}, Reason: "no glass in it"}, time.Time{})
	f.take(code, &recall.Suspected{Suspects: []string{"C-1"}, Reason: "sour"}, time.Time{})
	require.Equal(t, scope.Open, f.stands(code))
}

// A fill is declined for one hazard: the reason does not answer another, until it is the hazard again.
func TestAnotherHazardReopensWhatWasDeclined(t *testing.T) {
	f := newFloor(t, yeasty)
	code := f.begin("C-1")
	f.take(code, &recall.Judged{Hazard: "spoiler", Reason: "sour"}, time.Time{})
	f.take(code, &recall.Unsuspected{Suspects: []string{cropped}, Reason: "plated clean"}, time.Time{})
	require.Equal(t, scope.Declined, f.stands(code))
	f.with(code, func(tx *store.Tx, r *recall.Recall, s *scope.Scope) error {
		w, err := r.WhatIf(tx, s, []string{"hazard=dissolved"})
		require.NoError(t, err)
		require.NotEmpty(t, w.Would.Undecided(), "nor is it tried with it")
		return nil
	})
	f.take(code, &recall.Judged{Hazard: "dissolved", Reason: "caustic"}, time.Time{})
	require.Equal(t, scope.Open, f.stands(code))
	f.take(code, &recall.Judged{Hazard: "spoiler", Reason: "sour after all"}, time.Time{})
	require.Equal(t, scope.Declined, f.stands(code))
}

// A fill is declined as it was then: it is open again once it reaches more than the lead saw, and declined anew, it stays so.
func TestDeclineLapsesWhenMoreIsReached(t *testing.T) {
	const packed = `
runs run=R-8 product=PALE started_at=2026-03-25_08:00 ended_at=2026-03-25_10:00 date_code=EIGHT good=960
feeds run=R-8 from=BT-1
`
	more := []struct{ what, rows string }{
		{"packed, and not tagged yet", packed},
		{"tagged", "units unit=P-8 kind=pallet run=R-8 quantity=30\n"},
		{"tagged on a pallet that was known", "units unit=P-8 kind=pallet run=R-8 quantity=10\n"},
		{"shipped", "shipments shipment=S-8 unit=P-8 quantity=30 consignee=D-2 shipped_at=2026-03-26_08:00\n"},
		{"served from the tank", "removals subject=BT-1 quantity=20 unit=L at=2026-03-27_18:00 reason=taproom\n"},
		{"sold over the bar", "removals subject=P-8 quantity=1 unit=case at=2026-03-27_19:00 reason=taproom\n"},
		{"moved on", "transfers transfer=T-8 from=BT-1 to=SV-1 out=500 in=500 unit=L started_at=2026-03-28_08:00 ended_at=2026-03-28_09:00\n"},
	}
	f := newFloor(t, yeasty)
	code := f.begin("C-1")
	decline := func(reason string) {
		f.take(code, &recall.Unsuspected{Suspects: []string{cropped}, Reason: reason}, time.Time{})
	}
	decline("plated clean")
	for _, x := range more {
		require.Equal(t, scope.Declined, f.stands(code))
		f.write(x.rows)
		require.Equal(t, scope.Open, f.stands(code), x.what)
		f.with(code, func(_ *store.Tx, _ *recall.Recall, s *scope.Scope) error {
			require.Contains(t, s.Yeast[0].Stands(), "open again: me declined it (plated clean), but it reaches more now")
			return nil
		})
		decline("plated clean")
	}
	f.write("removals subject=P-8 quantity=1 unit=case at=2026-03-29_08:00 reason=destroyed witness=Ines\n")
	require.Equal(t, scope.Declined, f.stands(code), "what is destroyed reaches no further")
}

// A decline kept without what the fill reached is one that nobody can compare with now: it is asked again.
func TestDeclineOfAnOlderJournal(t *testing.T) {
	f := newFloor(t, yeasty)
	code := f.begin("C-1")
	f.do(func(tx *store.Tx) error {
		_, err := tx.Act(code, map[string]any{"step": "unsuspect", "with": map[string]any{"suspects": nil, "declined": []string{cropped}, "reason": "plated clean"}}, "me")
		return err
	})
	require.Equal(t, scope.Open, f.stands(code))
}
