package desk

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
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

// Void takes a row back, or by its entry number a correction.
func Void(tx *store.Tx, c Change) (*Corrected, error) {
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

// noLongerHeld warns about lots and units that were on hold, by themselves or by what went into them, and are not as the records read now.
func noLongerHeld(tx *store.Tx, were []string) ([]string, error) {
	now, err := trace.StandingHolds(tx)
	if err != nil {
		return nil, err
	}
	stands := now.Goods()
	freed := slices.DeleteFunc(were, func(u string) bool { return slices.Contains(stands, u) })
	if len(freed) == 0 {
		return nil, nil
	}
	list := strings.Join(freed[:min(len(freed), 8)], ", ")
	if len(freed) > 8 {
		list += fmt.Sprintf(" and %d more", len(freed)-8)
	}
	return []string{"this correction takes these off hold: " + list + "; to keep them on hold, put each on hold itself (heeltap hold, heeltap recall hold)"}, nil
}

// withTakers adds the rows whose time depends on a row: a run's feeds, a brew's inputs.
func withTakers(tx *store.Tx, rows []int64) []int64 {
	out := slices.Clone(rows)
	for _, row := range rows {
		r, ok := tx.Row(row)
		if !ok || r.Sheet.Name != "runs" && r.Sheet.Name != "brews" {
			continue
		}
		for _, rec := range tx.Touching(r.Row[r.Sheet.Code]) {
			if !slices.Contains(out, rec.Entry()) {
				out = append(out, rec.Entry())
			}
		}
	}
	return out
}

// takings is what rows take that is on hold: against a hold by row and code, and from before a hold.
type takings struct {
	against map[int64]map[string]string
	before  []string
}

func takenBy(tx *store.Tx, rows []int64) (t takings, err error) {
	if t.against, err = trace.Takes(tx, rows); err != nil {
		return t, err
	}
	t.before, err = trace.LetThrough(tx, rows)
	return t, err
}

// allowed refuses what is newly taken against a hold, unless the hold is overridden: that is recorded.
func (t takings) allowed(tx *store.Tx, before takings, o gate.Override) error {
	var rows []int64
	for row, taken := range t.against {
		for code, why := range taken {
			if before.against[row][code] != "" {
				continue
			}
			if !o.Given() {
				return lots.Errorf(lots.Conflict, "as corrected, %s", why)
			}
			rows = append(rows, row)
		}
	}
	if len(rows) == 0 {
		return nil
	}
	return o.Record(tx, rows)
}

// findingsAbout lists the faults in the records that touch what rows name.
func findingsAbout(tx *store.Tx, rows []int64) []string {
	var out []string
	for _, seq := range rows {
		r, ok := tx.Row(seq)
		if !ok {
			continue
		}
		for _, f := range tx.Findings(lots.Mentions(r.Sheet, r.Row)) {
			out = append(out, f.Text)
		}
	}
	return out
}

// faultsAround lists the faults that touch codes, or that rows led to.
func faultsAround(tx *store.Tx, codes []string, rows []int64) []string {
	var out []string
	found := tx.Findings(codes)
	for _, row := range rows {
		found = append(found, tx.FindingsOf(row)...)
	}
	for _, f := range found {
		if !slices.Contains(out, f.Text) {
			out = append(out, f.Text)
		}
	}
	return out
}

// mentionedBy lists all codes that rows name.
func mentionedBy(tx *store.Tx, rows []int64) (codes []string) {
	for _, seq := range rows {
		if r, ok := tx.Row(seq); ok {
			codes = append(codes, lots.Mentions(r.Sheet, r.Row)...)
		}
	}
	return codes
}

// describeAll says rows in full, by entry; what is void says nothing.
func describeAll(tx *store.Tx, rows []int64) map[int64]string {
	out := map[int64]string{}
	for _, seq := range rows {
		if r, ok := tx.Row(seq); ok {
			out[seq] = inWords(r, len(r.Sheet.Columns))
		}
	}
	return out
}

// inWords says a row by its first cells.
func inWords(r lots.Entered, most int) string {
	var parts []string
	for _, c := range r.Sheet.Columns {
		if v := r.Row[c.Name]; v != "" && c.Name != "by" && len(parts) < most {
			parts = append(parts, c.Name+"="+v)
		}
	}
	return cmp.Or(r.Sheet.Noun+" "+strings.Join(parts, " "), r.Sheet.Noun)
}

// MarshalJSON writes the first pair, and all of them where there are several. What was only tried has no
// correcting entries: their numbers will be those of whatever is recorded next.
func (c *Corrected) MarshalJSON() ([]byte, error) {
	pairs := slices.Clone(c.Pairs)
	for i := range pairs {
		if c.Tried {
			pairs[i].Entry = 0
		}
	}
	out := struct {
		Pair
		All      []Pair   `json:"all,omitempty"`
		Warnings []string `json:"warnings"`
		Tried    bool     `json:"tried"`
	}{Pair: pairs[0], Warnings: c.Warnings, Tried: c.Tried}
	if len(pairs) > 1 {
		out.All = pairs
	}
	return json.Marshal(out)
}
