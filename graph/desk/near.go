package desk

import (
	"slices"
	"strings"

	"heeltap/lots"
	"heeltap/lots/store"
)

// Near lists what somebody may have meant by a text in a column that names things, the likeliest first: where it is
// nearly a code or a name, or part of one. Of a text that is a code, or names several things, there is nothing near.
func Near(tx *store.Tx, c lots.Column, text string) (out []Offer, err error) {
	text = strings.TrimSpace(text)
	thing, known := tx.Thing(text)
	if text == "" || len(c.Kinds) == 0 || known && slices.Contains(c.Kinds, thing.Kind) || strings.ContainsAny(text, "|;") {
		return nil, tx.Err()
	}
	var codes []string
	for _, n := range nearNames(c, text, thingsNamed(tx, c.Kinds)) {
		codes = append(codes, n.code)
	}
	codes = distinct(append(codes, tx.Nearest(text, c.Kinds...)...))
	for _, code := range codes[:min(len(codes), mostNear)] {
		out = append(out, Offer{Code: code, Name: nameOf(tx, code)})
	}
	return out, tx.Err()
}
