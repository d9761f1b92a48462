package trace

import (
	"fmt"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Uncoded looks at the runs without a date code that entries just recorded are about. A repack may leave it
// empty, for its units bear the codes of the units that were fed to it. Rows come in any order, and what feeds a run is
// a row of its own, so a run is refused only once a tank feeds it and no unit does: then beer was packed that
// nobody can name. One that nothing feeds yet is a warning. Faults and warnings carry in Line the entry's place, from 1.
func Uncoded(tx *store.Tx, entries []int64) (warnings, faults lots.Faults) {
	done := map[string]bool{}
	about := map[int64]bool{} // of a whole history, most rows are about no run: they are not read
	for _, entry := range tx.OfSheets(entries, "runs", "feeds") {
		about[entry] = true
	}
	for i, entry := range entries {
		if !about[entry] {
			continue
		}
		run, ok := aboutRun(tx, entry)
		if !ok || done[run.Run] || run.DateCode != "" {
			continue
		}
		tank, units := fedFrom(tx, run.Run)
		switch {
		case units:
		case tank != "":
			done[run.Run] = true
			faults = append(faults, lots.Fault{Line: i + 1, Column: "date_code", Reason: fmt.Sprintf(
				"run %s packs beer from %s and has no date code: give the run's date_code. Only a repack may leave it empty, and then the units that were repacked are its feeds", run.Run, tank)})
		default:
			done[run.Run] = true
			warnings = append(warnings, lots.Fault{Line: i + 1, Column: "date_code", Reason: fmt.Sprintf(
				"run %s has no date code, and no unit is fed to it: if it is a repack, record what was unpacked (heeltap feed %s --from UNIT); else give its code (heeltap amend %s date_code=…)", run.Run, run.Run, run.Run)})
		}
	}
	return warnings, faults
}

// aboutRun is the run that an entry is, or feeds.
func aboutRun(tx *store.Tx, entry int64) (*lots.Run, bool) {
	rec, _ := tx.Record(entry)
	switch x := rec.(type) {
	case *lots.Run:
		return x, true
	case *lots.Feed:
		return tx.Run(x.Run)
	}
	return nil, false
}

// fedFrom names a tank that a run is fed from, and tells whether units are.
func fedFrom(tx *store.Tx, run string) (tank string, units bool) {
	for _, rec := range tx.Touching(run) {
		f, ok := rec.(*lots.Feed)
		if !ok || f.Run != run {
			continue
		}
		units = units || f.From.Kind == lots.KindUnit
		if v, ok := tx.Thing(f.From.Codes[0]); ok && f.From.Kind == lots.KindVessel && lots.BeerVessel(v.VesselKind) && tank == "" {
			tank = f.From.Codes[0]
		}
	}
	return tank, units
}

// NoCode says that something of a run bears no date code, and what to do; empty where all of it bears one.
func NoCode(tx *store.Tx, run *lots.Run) string {
	if !Bare(tx, run) {
		return ""
	}
	tank, units := fedFrom(tx, run.Run)
	switch {
	case !units:
		return fmt.Sprintf("run %s has no date code, and no unit was fed to it whose code it could bear: nobody can tell its packages", run.Run)
	case tank != "":
		return fmt.Sprintf("run %s has no date code of its own: what it packed from units bears theirs, and what it packed from %s bears none", run.Run, tank)
	case len(CodesOfRun(tx, run)) == 0:
		return fmt.Sprintf("run %s has no date code, and neither have the units that were fed to it", run.Run)
	}
	return ""
}

// noCodes are the findings of runs in an answer of which something bears no date code.
func (q *asked) noCodes(runs []Run) (out []Finding) {
	for _, r := range runs {
		if run, ok := q.tx.Run(r.Code); ok {
			if text := NoCode(q.tx, run); text != "" {
				out = append(out, Finding{runWithoutCode, r.Code, text})
			}
		}
	}
	return out
}

const runWithoutCode = "run-without-date-code"

// bareSegments are the stretches of a run in which nothing was printed.
func bareSegments(tx *store.Tx, run *lots.Run) []store.Node {
	codes := codesOf(tx, run)
	return slices.DeleteFunc(tx.NodesOf(run.Run), func(n store.Node) bool {
		return n.Kind != graph.Segment || !slices.ContainsFunc(codes, func(c coded) bool { return c.code == "" && c.meets(n.Since, n.Until) })
	})
}
