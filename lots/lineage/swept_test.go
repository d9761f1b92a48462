package lineage_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/lineage/oracle"
)

// V1, V2 and V3 went round at some time of the day, and V1 was cleaned at 10:00. Whatever V1 held at any moment before
// that may have come to V3 so, and from there to V2, with which it was perhaps joined. What V1 held first (08:00) is no
// less in that than what it held last (09:00), whichever is asked about first.
func TestEachFillBeforeACleanMayHaveGoneRound(t *testing.T) {
	l, faults := lots.NewLedger(histories.Entered(histories.Written(`site name=Invented time_zone=UTC
vessels vessel=V1 kind=fermenter
vessels vessel=V2 kind=fermenter
vessels vessel=V3 kind=fermenter
circulations vessels=V2;V3 perhaps=yes started_at=2026-03-28_08:00 ended_at=2026-03-28
cleans vessel=V1 at=2026-03-28_10:00 method=cip
circulations vessels=V1;V2 started_at=2026-03-28_08:00 ended_at=2026-03-28_09:00
circulations vessels=V1;V2 started_at=2026-03-28_09:00 ended_at=2026-03-28_10:00
circulations vessels=V1;V2;V3 started_at=2026-03-28 ended_at=2026-03-28_09:00
`)))
	require.Empty(t, faults)
	d, err := lineage.DeriveAll(l, lineage.DefaultLimits())
	require.NoError(t, err)
	want, err := oracle.Derive(l, lineage.DefaultLimits())
	require.NoError(t, err)
	got := gather(d)
	require.Empty(t, differences(got, want))
	for _, k := range []oracle.Key{
		{Src: fill("V1@2026-03-28T08:00"), Dst: fill("V2@2026-03-28T09:00"), Grade: graph.Contact, Cause: graph.MayBeJoined},
		{Src: fill("V1@2026-03-28T09:00"), Dst: fill("V2@2026-03-28T23:59:59"), Grade: graph.Contact, Cause: graph.UncertainTime},
		{Src: fill("V1@2026-03-28T08:00"), Dst: fill("V3@2026-03-28T23:59:59"), Grade: graph.Contact, Cause: graph.UncertainTime},
	} {
		require.Contains(t, got.Links, k)
	}
}

func fill(code string) lineage.Ref { return lineage.Ref{Kind: graph.Fill, Code: code} }

// V was cleaned on the day before it went round, at whatever time: what it held before that did not go round, though V was cleaned once more on that day.
func TestWhatWasCleanedAwayTheDayBeforeDidNotGoRound(t *testing.T) {
	d, err := deriveRows(histories.Entered(histories.Written(`site name=Invented time_zone=UTC
vessels vessel=V kind=fermenter
vessels vessel=W kind=fermenter
brews brew=B beer=Pale started_at=2026-03-05 cast_out_at=2026-03-05 into=V volume=1000 unit=L
cleans vessel=V at=2026-03-06 method=cip
cleans vessel=V at=2026-03-07_09:00 method=cip
circulations vessels=V;W started_at=2026-03-07 ended_at=2026-03-07
`)))
	require.NoError(t, err)
	require.NotContains(t, d.reach(lineage.Ref{Kind: graph.Brew, Code: "B"}), fill("W@2026-03-07T23:59:59"))
}
