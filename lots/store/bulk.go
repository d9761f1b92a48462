package store

import (
	"cmp"
	"slices"

	"heeltap/lots"
)

// bulk is the number of rows from which a batch that makes up much of the records is entered, and derived with
// everything else, in one go instead of row by row and cell by cell.
const bulk = 200

// isBulk reports whether rows make up much of the records that there are with them.
func (tx *Tx) isBulk(rows int) (bool, error) {
	if rows < bulk {
		return false, nil
	}
	var before int
	_, err := tx.one([]any{&before}, "SELECT count(*) FROM record")
	return rows*4 >= before+rows, err
}

// bulkTables are the tables of records of which nothing is asked while many rows are entered.
var bulkTables = []string{"moment", "line_span", "act", "printed", "code", "mention", "record"}

// inBulk runs f, which enters many rows. What is kept by codes and texts comes in no order: each would be put into a page of
// its own, and most pages read and written many times once they outgrow SQLite's cache. So it is sorted first, as much
// of it as memory has room for.
func (tx *Tx) inBulk(f func() error) error {
	return tx.withoutIndexes(bulkTables, func() error {
		tx.unsorted = &unsorted{}
		defer func() { tx.unsorted = nil }()
		return cmp.Or(f(), tx.sortIn())
	})
}

// unsorted is what rows that were entered name and bear, and does not stand in its tables yet.
type unsorted struct {
	mentions, codes, printed []naming
}

// naming is a text in the row of an entry; kind is what it is, where that is kept.
type naming struct {
	text, kind string
	seq        int64
}

// unsortedMost is how many of them are kept in memory: some 30 MB.
const unsortedMost = 400_000

func compareNamings(a, b naming) int {
	return cmp.Or(cmp.Compare(a.text, b.text), cmp.Compare(a.kind, b.kind), cmp.Compare(a.seq, b.seq))
}

// names puts down what a row names and bears.
func (tx *Tx) names(seq int64, s *lots.Sheet, row lots.Row) error {
	u := tx.unsorted
	if u == nil {
		u = &unsorted{}
	}
	for _, code := range lots.Mentions(s, row) {
		u.mentions = append(u.mentions, naming{text: code, seq: seq})
	}
	if code := row[s.Code]; s.Code != "" && code != "" {
		u.codes = append(u.codes, naming{code, string(lots.CodeKind(s)), seq})
	}
	for _, p := range printedOn(s, row) {
		u.printed = append(u.printed, naming{p.Text, p.Kind, seq})
	}
	if tx.unsorted == nil {
		return tx.put(u)
	}
	if len(u.mentions)+len(u.codes)+len(u.printed) < unsortedMost {
		return nil
	}
	return tx.sortIn()
}

// sortIn puts down, in their order, what was kept back.
func (tx *Tx) sortIn() error {
	u := tx.unsorted
	for _, list := range [][]naming{u.mentions, u.codes, u.printed} {
		slices.SortFunc(list, compareNamings)
	}
	err := tx.put(u)
	*u = unsorted{u.mentions[:0], u.codes[:0], u.printed[:0]}
	return err
}

func (tx *Tx) put(u *unsorted) error {
	for _, m := range u.mentions {
		if err := tx.exec("INSERT INTO mention(code, seq) VALUES (?,?)", m.text, m.seq); err != nil {
			return err
		}
	}
	for _, c := range u.codes {
		if err := tx.exec("INSERT INTO code(code, kind, seq) VALUES (?,?,?) ON CONFLICT(code) DO UPDATE SET seq = min(seq, excluded.seq)", c.text, c.kind, c.seq); err != nil {
			return err
		}
	}
	for _, p := range u.printed {
		if err := tx.exec("INSERT INTO printed(text, kind, seq) VALUES (?,?,?) ON CONFLICT DO NOTHING", p.text, p.kind, p.seq); err != nil {
			return err
		}
	}
	return nil
}
