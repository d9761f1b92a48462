package recall_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/recall"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/scope"
	"heeltap/lots"
)

// Who has not what it was told of is told again, whether a delivery came on top or was somebody else's;
// a telling after the next version settles it.
func TestToldAgain(t *testing.T) {
	f := newFloor(t, cellar+shipped+"shipments shipment=S-7 unit=P-2 quantity=15 consignee=D-2 shipped_at=2026-03-21_08:00\n")
	code := f.begin("H-1")
	f.freeze(code)
	f.take(code, &recall.Told{Party: "D-1", How: "phone", Reached: true}, time.Time{})
	f.take(code, &recall.Told{Party: "D-2", How: "phone", Reached: true}, time.Time{})
	require.Equal(t, "told", f.standing(code, "D-2").State)
	f.amend("S-3", map[string]string{"consignee": "D-2"})
	require.Empty(t, f.standing(code, "D-1").Again, "what it had is kept until somebody signs")
	f.signOff(code, "D-1")
	check := func() {
		t.Helper()
		x := f.standing(code, "D-2")
		require.Equal(t, "tell again", x.State)
		require.Equal(t, "it was told 15 cases (version 1); now it is 95 cases: +80 of P-3", x.Again)
		require.Equal(t, 1, x.ToldBy)
		require.Equal(t, [2]lots.Packages{{Cases: 15}, {Cases: 95}}, [2]lots.Packages{x.ToldOf, x.Received})
		require.Equal(t, "it was told 160 cases (version 1); now it is 80 cases: -80 of P-3", f.standing(code, "D-1").Again)
		require.Contains(t, strings.Join(f.openLines(code), "\n"), "consignee: D-2 Two: tell again, it was told 15 cases (version 1); now it is 95 cases: +80 of P-3")
	}
	check()
	f.take(code, &recall.Told{Party: "D-2", How: "phone"}, time.Time{}) // not reached
	check()
	f.take(code, &recall.Told{Party: "D-2", How: "phone", Reached: true}, time.Time{})
	check() // no version says yet what it is told
	f.freeze(code)
	check()
	require.False(t, f.standing(code, "D-2").Overdue)
	f.clock = f.clock.Add(2 * time.Hour)
	require.True(t, f.standing(code, "D-2").Overdue, "an hour after the version that changed it")
	f.take(code, &recall.Told{Party: "D-2", How: "phone", Reached: true}, time.Time{})
	x := f.standing(code, "D-2")
	require.Equal(t, "told", x.State)
	require.Empty(t, x.Again)
	// What was typed in late was told when it was told.
	f.take(code, &recall.Told{Party: "D-1", How: "phone", Reached: true}, f.clock.Add(-90*time.Minute))
	require.Equal(t, "told", f.standing(code, "D-1").State)
	f.take(code, &recall.Answered{Party: "D-1", Lines: []deliveries.AnswerLine{{Sold: 80}}}, time.Time{})
	f.write("shipments shipment=S-8 unit=P-2 quantity=1 consignee=D-1 shipped_at=2026-03-22_08:00")
	require.Equal(t, "it was told 80 cases (version 2); now it is 81 cases: +1 of P-2", f.standing(code, "D-1").Again)
}

// Who was told and has nothing in scope any more is told so.
func TestToldForNothing(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	code := f.begin("H-1")
	f.freeze(code)
	f.take(code, &recall.Told{Party: "D-1", How: "phone", Reached: true}, time.Time{})
	f.take(code, &recall.Decided{Codes: []string{"P-1", "P-3"}, Choice: scope.Exclude, Reason: "sieved"}, time.Time{})
	const line = "D-1 was told by version 1 and has nothing in scope any more"
	require.Contains(t, strings.Join(f.openLines(code), "\n"), line)
	f.freeze(code)
	require.Contains(t, strings.Join(f.openLines(code), "\n"), line)
	f.take(code, &recall.Told{Party: "D-1", How: "phone", Reached: true}, time.Time{})
	require.NotContains(t, strings.Join(f.openLines(code), "\n"), line)
}
