package web

import (
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/cmd/internal/people"
)

func TestMayCorrect(t *testing.T) {
	visitOf := func(role people.Role, byPIN bool, names ...string) *visit {
		return &visit{names: names, session: &people.Session{Person: people.Person{Name: "Ana Reyl", Role: role}, ByPIN: byPIN}}
	}
	require.False(t, (&visit{}).mayCorrect(""), "nobody")
	require.False(t, visitOf(people.Viewer, false, "Ana Reyl").mayCorrect("Ana Reyl"), "a viewer corrects nothing")
	floor := visitOf(people.Floor, false, "Ana Reyl", "Ana Bross")
	require.True(t, floor.mayCorrect("Ana Reyl"))
	require.True(t, floor.mayCorrect("ana bross"), "an older name is theirs, however it is spelled")
	require.False(t, floor.mayCorrect("Bo Tamm"))
	require.False(t, floor.mayCorrect(""), "an entry that nobody signed is not theirs")
	require.True(t, visitOf(people.Quality, false).mayCorrect("Bo Tamm"))
	require.False(t, visitOf(people.Quality, true, "Ana Reyl").mayCorrect("Bo Tamm"), "a PIN is good for one's own slips only")
	require.True(t, visitOf(people.Quality, true, "Ana Reyl").mayCorrect("Ana Reyl"))
}
