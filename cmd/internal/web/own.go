package web

import (
	"context"
	"slices"
	"strings"

	"heeltap/cmd/internal/people"
)

// mayCorrect reports whether whoever is signed in may amend or void an entry that somebody made: anybody's, or
// only those made in a name that they have or had.
func (v *visit) mayCorrect(by string) bool {
	if !v.may(people.Correct) {
		return false
	}
	return !v.session.OwnOnly() || slices.ContainsFunc(v.names, func(own string) bool { return strings.EqualFold(own, by) })
}

// ownNames are the names whose entries a session's person may correct, where those are their own only.
func (s *Server) ownNames(ctx context.Context, session *people.Session) ([]string, error) {
	if !session.OwnOnly() || !session.May(people.Correct) {
		return nil, nil
	}
	return s.People.Names(ctx, session.Person.ID)
}
