package desk

import (
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"heeltap/graph/doubt"
	"heeltap/graph/gate"
	"heeltap/graph/recall"
	"heeltap/graph/trace"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Change is the correction of what is recorded under a name: a code, a ref, or an entry number.
type Change struct {
	Name     string
	Entry    int64 // the row meant, by its entry, whatever else is called so; 0 where the name says it
	Reason   string
	By       string
	Override string // why the rows as corrected may take what is on hold

	several []int64 // rows corrected together
}

// Corrected is the answer to a correction.
type Corrected struct {
	Pairs    []Pair   // never empty
	Changes  []Reread // rows that read differently now
	Warnings []string
	Gone     []string // faults in the records that the correction put right
	Tried    bool     // nothing was kept: see Try
}

// Pair is one correcting entry and the entry it corrects.
type Pair struct {
	Entry    int64 `json:"entry,omitempty"`
	Corrects int64 `json:"corrects"`
}

// Reread is how a row read and how it reads now, in words; empty where it was or is void.
type Reread struct{ Was, Now string }

// Amend gives cells of a row new texts; an empty text takes the cell away. What all rows of a code
// share is amended in all of them. A row that takes what is on hold only as corrected is stopped as
// a new one would be.
func Amend(tx *store.Tx, c Change, set map[string]string) (*Corrected, error) {
	var notes []string
	name, err := c.subject(tx)
	if err != nil {
		return nil, err
	}
	c.Name = name
	out, err := c.make(tx, func() (targets, entries []int64, err error) {
		if targets, err = c.rowsAmended(tx, set); err != nil {
			return nil, nil, err
		}
		if set, notes, err = codesIn(tx, targets[0], set); err != nil {
			return nil, nil, err
		}
		entries, err = tx.AmendAll(targets, set, c.Reason, c.By)
		return targets, entries, err
	})
	if err != nil {
		return nil, err
	}
	out.Warnings = append(notes, out.Warnings...)
	return out, nil
}

// Subject is the name of a row or a thing that somebody means by what a tag holds or by what they type; a
// number that is no code stays the number of an entry. What was typed differently is noted.
func Subject(tx *store.Tx, text string) (string, error) {
	text = labels.ParsePayload(text)
	rows, err := tx.RowsOf(text)
	if _, isNumber := strconv.ParseInt(text, 10, 64); err != nil || len(rows) > 0 || isNumber == nil {
		return text, err
	}
	return trace.Recorded(tx, text)
}

// codesIn puts codes where the cells to be amended name things by a tag or a name.
func codesIn(tx *store.Tx, target int64, set map[string]string) (map[string]string, []string, error) {
	row, ok := tx.Row(target)
	if !ok {
		return set, nil, nil // whoever amends it says what is wrong
	}
	cells := lots.Row(maps.Clone(set))
	notes, err := meant(tx, row.Sheet, cells)
	return cells, notes, err
}

// Void takes a row back, or by its entry number a correction, or all rows of a range of entries such as 812..931 together.
func Void(tx *store.Tx, c Change) (*Corrected, error) {
	list, isRange, err := entriesIn(tx, c.Name)
	if err != nil {
		return nil, err
	}
	if isRange && c.Entry == 0 {
		c.several = list
		return c.make(tx, func() ([]int64, []int64, error) { return tx.VoidAll(list, c.Reason, c.By) })
	}
	name, err := c.subject(tx)
	if err != nil {
		return nil, err
	}
	c.Name = name
	return c.make(tx, func() ([]int64, []int64, error) {
		target, err := c.entry(tx)
		if err != nil {
			return nil, nil, err
		}
		entry, err := tx.Void(target, c.Reason, c.By)
		return []int64{target}, []int64{entry}, err
	})
}

// span is a range of entries as somebody writes it.
var span = regexp.MustCompile(`^([0-9]+)\.\.([0-9]+)$`)

// entriesIn are the rows of a range of entries, such as one import wrote, that still stand; false where a name is no such range.
func entriesIn(tx *store.Tx, name string) ([]int64, bool, error) {
	m := span.FindStringSubmatch(strings.ReplaceAll(name, " ", ""))
	if m == nil {
		return nil, false, nil
	}
	from, errFrom := strconv.ParseInt(m[1], 10, 64)
	to, errTo := strconv.ParseInt(m[2], 10, 64)
	head, err := tx.Head()
	switch {
	case err != nil:
		return nil, true, err
	case errFrom != nil || errTo != nil || from < 1 || to < from || to > head:
		return nil, true, lots.Errorf(lots.Invalid, "there are no entries %s: the journal has 1..%d", name, head)
	}
	var out []int64
	for seq := from; seq <= to; seq++ {
		e, ok, err := tx.Entry(seq)
		if err != nil {
			return nil, true, err
		}
		if _, isRow := lots.SheetNamed(e.Kind); !ok || !isRow {
			return nil, true, lots.Errorf(lots.Invalid, "entry %d is not a row but a correction or a step: void rows alone, and a correction by its own entry", seq)
		}
		if _, stands := tx.Row(seq); stands {
			out = append(out, seq)
		}
	}
	if len(out) == 0 {
		return nil, true, lots.Errorf(lots.Conflict, "the entries %s are already void", name)
	}
	return out, true, tx.Err()
}

// make corrects rows, and looks at them and at what is on hold before and after.
func (c Change) make(tx *store.Tx, f func() (targets, entries []int64, err error)) (*Corrected, error) {
	rows, err := c.roots(tx)
	if err != nil {
		return nil, err
	}
	takers := withTakers(tx, rows)
	before, err := takenBy(tx, takers)
	if err != nil {
		return nil, err
	}
	was, known, back := describeAll(tx, rows), findingsAbout(tx, rows), cameBack(tx, rows)
	named := mentionedBy(tx, rows)
	faulty := faultsAround(tx, named, rows)
	stood, err := trace.StandingHolds(tx)
	if err != nil {
		return nil, err
	}
	targets, entries, err := f()
	if err != nil {
		return nil, err
	}
	out := &Corrected{Warnings: []string{}}
	for i := range targets {
		out.Pairs = append(out.Pairs, Pair{Entry: entries[i], Corrects: targets[i]})
	}
	stand := faultsAround(tx, named, rows)
	out.Gone = slices.DeleteFunc(faulty, func(f string) bool { return slices.Contains(stand, f) })
	now := describeAll(tx, rows)
	for _, row := range rows {
		if was[row] != now[row] {
			out.Changes = append(out.Changes, Reread{was[row], now[row]})
		}
	}
	for _, f := range findingsAbout(tx, rows) {
		if !slices.Contains(known, f) {
			out.Warnings = append(out.Warnings, f)
		}
	}
	judge, err := returnsCorrected(tx, back, cameBack(tx, rows))
	if err != nil {
		return nil, err
	}
	out.Warnings = append(out.Warnings, judge...)
	return out, c.judge(tx, out, rows, takers, stood.Goods(), before)
}

// judge adds warnings about the rows as corrected, and refuses what they newly take against a hold.
func (c Change) judge(tx *store.Tx, out *Corrected, rows, takers []int64, held []string, before takings) error {
	after, err := takenBy(tx, takers)
	if err != nil {
		return err
	}
	for _, p := range out.Pairs {
		bare, faults := trace.Uncoded(tx, []int64{p.Corrects})
		if len(faults) > 0 {
			return lots.Errorf(lots.Invalid, "%s", faults[0].Reason)
		}
		for _, f := range bare {
			out.Warnings = append(out.Warnings, f.Reason)
		}
		odd, err := doubt.Of(tx, p.Corrects)
		if err != nil {
			return err
		}
		out.Warnings = append(out.Warnings, odd...)
	}
	freed, err := noLongerHeld(tx, held)
	if err != nil {
		return err
	}
	out.Warnings = append(out.Warnings, freed...)
	for _, w := range after.before {
		if c.Override == "" && !slices.Contains(before.before, w) {
			out.Warnings = append(out.Warnings, w)
		}
	}
	if err := recall.HoldsStand(tx, rows); err != nil {
		return err
	}
	return after.allowed(tx, before, gate.Override{Reason: c.Override, By: c.By})
}

// rowsAmended finds the row meant, or all rows of a code where what is amended is the same in all.
func (c Change) rowsAmended(tx *store.Tx, set map[string]string) ([]int64, error) {
	rows, err := c.rows(tx)
	if err != nil {
		return nil, err
	}
	shared := len(rows) > 1
	var entries []int64
	for _, r := range rows {
		entries = append(entries, r.Seq)
		for column := range set {
			shared = shared && slices.Contains(r.Sheet.Shared, column)
		}
	}
	if shared {
		return entries, nil
	}
	entry, err := c.entry(tx)
	return []int64{entry}, err
}

// subject is the name meant, or the number of the entry.
func (c Change) subject(tx *store.Tx) (string, error) {
	if c.Entry != 0 {
		return strconv.FormatInt(c.Entry, 10), nil
	}
	return Subject(tx, c.Name)
}

// entry is the one row meant.
func (c Change) entry(tx *store.Tx) (int64, error) {
	if c.Entry != 0 {
		return c.Entry, nil
	}
	return EntryOf(tx, c.Name)
}

// rows are all rows of the code that is meant, or that the row meant states.
func (c Change) rows(tx *store.Tx) ([]lots.Entered, error) {
	if c.Entry == 0 {
		return tx.RowsOf(c.Name)
	}
	row, ok := tx.Row(c.Entry)
	if !ok || len(row.Sheet.Shared) == 0 {
		return nil, tx.Err()
	}
	return tx.RowsOf(row.Row[row.Sheet.Code])
}

// roots lists the rows that the corrections of what is meant can change: also those whose correction it numbers.
func (c Change) roots(tx *store.Tx) ([]int64, error) {
	if c.several != nil {
		return c.several, nil
	}
	rows, err := c.rows(tx)
	if err != nil {
		return nil, err
	}
	var roots []int64
	for _, r := range rows {
		roots = append(roots, r.Seq)
	}
	if len(roots) > 0 {
		return roots, nil
	}
	entry, err := c.entry(tx)
	if err != nil {
		return nil, err
	}
	root, err := tx.Root(entry)
	return []int64{root}, err
}
