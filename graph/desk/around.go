package desk

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"heeltap/graph/gate"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

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
				return lots.Faults{{Reason: "as corrected, " + why, Held: true}}
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
