package people_test

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/cmd/internal/people"
)

// The whole table of rights, as it was decided: a change of it must be seen to be one.
func TestRightsAreAsDecided(t *testing.T) {
	var b strings.Builder
	for _, r := range people.Roles() {
		for _, byPIN := range []bool{false, true} {
			s := &people.Session{Person: people.Person{Role: r}, ByPIN: byPIN}
			var may []string
			for _, x := range people.Rights() {
				require.Equal(t, r.May(x), (&people.Session{Person: people.Person{Role: r}}).May(x))
				if s.May(x) {
					may = append(may, string(x))
				}
			}
			fmt.Fprintf(&b, "%s pin=%v own-only=%v: %s\n", r, byPIN, s.OwnOnly(), strings.Join(may, " "))
		}
	}
	want, err := os.ReadFile("testdata/rights.txt")
	require.NoError(t, err)
	require.Equal(t, string(want), b.String())
}

func TestWhoeverIsNobodyMayNothing(t *testing.T) {
	for _, x := range people.Rights() {
		require.NotEmpty(t, x.Words())
		require.False(t, people.Role("").May(x))
		require.False(t, people.Role("Admin").May(x))
		require.False(t, (*people.Session)(nil).May(x))
		require.False(t, (&people.Session{}).May(x))
	}
	require.True(t, people.Role("").OwnOnly())
	require.True(t, (*people.Session)(nil).OwnOnly())
	require.False(t, people.Admin.May("everything"))
	for _, r := range people.Roles() {
		require.NotEmpty(t, r.Words())
	}
}
