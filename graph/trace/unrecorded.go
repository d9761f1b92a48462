package trace

import (
	"fmt"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

const useNotRecorded = "use-not-recorded"

// unrecordedUses tells of the lots a forward trace started at whose uses the records do not show: what they reached is
// not known, and that is not the same as nothing.
func (q *asked) unrecordedUses() (out []Finding) {
	if q.dir != graph.Forward {
		return nil
	}
	for _, s := range q.target.starts {
		if s.Kind != graph.Lot {
			continue
		}
		if why := q.unrecordedUse(s.Code); why != "" {
			out = append(out, Finding{useNotRecorded, s.Code, why})
		}
		out = append(append(out, q.linesCleanedWith(s.Code)...), q.unnumbered(s.Code)...)
	}
	return out
}

// unrecordedUse says what of a lot's use may have gone unrecorded; empty where its kind is recorded as it is
// used, where it went into a vessel, and where all of it was removed.
func (q *asked) unrecordedUse(lot string) string {
	rec, ok := q.tx.Receipt(lot)
	thing, _ := q.tx.Thing(lot)
	if !ok || thing.Into != "" || RemovedOf(q.tx, lot) >= float64(rec.Qty.N) {
		return ""
	}
	used := Used(q.tx, lot)
	switch thing.ItemKind {
	case "chemical":
		if n := q.cleansUnnamed(rec.At); used && n > 0 {
			return fmt.Sprintf("uses of a chemical are known only as far as the cleans name it: %d %s since %s was received %s not say what they were done with. If it was used in one of them, name it there (heeltap amend ENTRY from=%s)",
				n, plural(n, "clean"), lot, map[bool]string{true: "does", false: "do"}[n == 1], lot)
		} else if used {
			return ""
		}
		return fmt.Sprintf("uses of this kind are not recorded: no clean names %s, which is a chemical. What it touched is unknown, which does not mean nothing. Name it in the cleans it was used in (heeltap amend ENTRY from=%s)", lot, lot)
	case "other", "gas", "water":
		if !used {
			return fmt.Sprintf("uses of this kind are not recorded: no use of %s (%s) is recorded. What it touched is unknown, which does not mean nothing. Record where it was used (heeltap add, feed, input or clean)", lot, thing.ItemKind)
		}
	}
	return ""
}

// cleansUnnamed counts the verified or manual cleans from a moment on that do not say what they were done with.
func (q *asked) cleansUnnamed(since lots.When) (n int) {
	rows, err := q.tx.Records("cleans")
	if err != nil {
		return 0 // the transaction keeps the failure
	}
	for _, rec := range rows {
		if c := rec.(*lots.Clean); (c.Method == "cip" || c.Method == "manual") && len(c.From.Codes) == 0 && c.At.To >= since.From {
			n++
		}
	}
	return n
}

// open are the findings that leave open what all is affected.
var open = []string{useNotRecorded, lineNotRecorded, lotNumberNotRecorded, mayHaveComeBack}

func (f Finding) open() bool { return slices.Contains(open, f.Name) }

// UsesUnknown lists what leaves open what all is affected, each with what to do about it: suspect lots of which the
// records do not show all uses, and what may be affected too because a record does not say where it was or what it
// is. While there is one it cannot be said that nothing has left.
func (a *Answer) UsesUnknown() []Finding {
	return slices.DeleteFunc(slices.Clone(a.Findings), func(f Finding) bool { return !f.open() })
}

// Faults lists the other findings.
func (a *Answer) Faults() []Finding {
	return slices.DeleteFunc(slices.Clone(a.Findings), Finding.open)
}
