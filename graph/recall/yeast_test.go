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
