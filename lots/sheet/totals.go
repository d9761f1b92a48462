package sheet

import (
	"math/big"

	"heeltap/lots"
)

// TotalsRow is the reason of the fault that a row of totals is.
const TotalsRow = "looks like a totals row: leave it out"

// sums adds up the columns of numbers as a page is read, so that a row of totals is known for one.
type sums struct {
	rows int
	of   map[string]*big.Rat // by column
}

// numberOf reads a cell that is a number.
func numberOf(c lots.Column, v string) (*big.Rat, bool) {
	switch c.Type {
	case lots.Number, lots.Amount, lots.Count:
		if _, err := lots.ParseNumber(v); err == nil {
			return new(big.Rat).SetString(v)
		}
	}
	return nil, false
}

func (s *sums) add(sheet *lots.Sheet, row lots.Row) {
	s.rows++
	for _, c := range sheet.Columns {
		n, ok := numberOf(c, row[c.Name])
		if !ok {
			continue
		}
		if s.of == nil {
			s.of = map[string]*big.Rat{}
		}
		if s.of[c.Name] == nil {
			s.of[c.Name] = new(big.Rat)
		}
		s.of[c.Name].Add(s.of[c.Name], n)
	}
}

// totals reports whether a row adds up those above it: it says so in a word and says nothing but
// numbers besides, or it says so or has no code, and a number of it is the sum of its column.
func (s *sums) totals(sheet *lots.Sheet, row lots.Row) bool {
	if s.rows == 0 {
		return false
	}
	word, texts, sum, missing := false, 0, false, 0
	for _, c := range sheet.Columns {
		v := row[c.Name]
		n, number := numberOf(c, v)
		switch {
		case v == "" && c.Need:
			missing++
		case v == "" || c.Type == lots.UnitOf:
		case isSumWord(v):
			word = true
		case number:
			of := s.of[c.Name]
			sum = sum || of != nil && of.Sign() > 0 && of.Cmp(n) == 0
		default:
			texts++
		}
	}
	nameless := row[sheet.Columns[0].Name] == "" && missing >= 2 && s.rows > 1
	return word && texts == 0 || sum && (word && missing > 0 || nameless)
}
