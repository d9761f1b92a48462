package trace

import (
	"fmt"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// CodePart is a date code that stands on a unit, and on how many of its cases or kegs.
type CodePart struct {
	Code    string   `json:"code"`
	Run     string   `json:"run"`     // that printed it
	Product string   `json:"product"` // of that run
	Cases   *float64 `json:"cases"`   // cases or kegs; null where the records do not tell how many
	AtMost  int64    `json:"at_most"`
	Of      int64    `json:"of"` // all of the unit
	Band    string   `json:"band"`

	// Affected is false where an answer reaches the unit, but nothing that bears the code.
	Affected bool `json:"affected"`

	about float64    // estimate of the cases, by what was fed
	from  codeSource // where it was printed
}

// codeSource is where a code was printed: the window of the unit that was fed.
type codeSource struct {
	unit  string
	entry int64 // of the unit's row
}

// Sure reports whether the records tell how many cases bear the code.
func (c CodePart) Sure() bool { return c.Cases != nil }

// Text says how much of the unit bears the code, such as "20 of 60 cases"; empty where all of it does.
func (c CodePart) Text(noun string) string {
	if c.Sure() && *c.Cases >= float64(c.Of) && c.Band == graph.In.String() {
		return ""
	}
	most, noun := "", noun+"s"
	if !c.Sure() || c.Band != graph.In.String() {
		most = "at most "
	}
	if c.Of == 1 {
		noun = noun[:len(noun)-1]
	}
	return fmt.Sprintf("%s%s of %s %s", most, lots.Figure(float64(c.AtMost)), lots.Figure(float64(c.Of)), noun)
}

// CodesOfRun lists the date codes that stand on what a run packed. A stretch of a repack in which nothing
// was printed bears the codes of the units that were fed to it.
func CodesOfRun(tx *store.Tx, run *lots.Run) []string {
	return sortedSet(codesOfRun(tx, run, map[string]bool{}))
}

func codesOfRun(tx *store.Tx, run *lots.Run, seen map[string]bool) (out []string) {
	bare := false
	for _, c := range codesOf(tx, run) {
		if c.code == "" {
			bare = true
			continue
		}
		out = append(out, c.code)
	}
	if !bare || seen[run.Run] {
		return out
	}
	seen[run.Run] = true
	for _, unit := range fedUnits(tx, run.Run) {
		for _, p := range rowsOf(tx, unit) {
			if from, ok := tx.Run(p.Run); ok {
				out = append(out, codesOfRun(tx, from, seen)...)
			}
		}
	}
	return out
}

// CodesOfUnit lists the date codes that stand on a unit.
func CodesOfUnit(tx *store.Tx, unit string) []string {
	var out []string
	for _, c := range codesOn(tx, unit, whole) {
		out = append(out, c.Code)
	}
	return sortedSet(out)
}

// CodesOfRow lists the date codes that stand on one row of a unit.
func CodesOfRow(tx *store.Tx, p *lots.Packed) (out []string) {
	for _, c := range CodePartsOfRow(tx, p) {
		out = append(out, c.Code)
	}
	return sortedSet(out)
}

// CodePartsOfRow lists the date codes that stand on one row of a unit, each with its part of the row's cases or kegs.
func CodePartsOfRow(tx *store.Tx, p *lots.Packed) []CodePart {
	parts := coder{tx, whole, map[string]bool{p.Unit: true}}.row(p)
	for i := range parts {
		parts[i].Of = p.Quantity
	}
	return together(parts)
}

// CodesText names codes; where one does not stand on all of the unit, with the part that it has, such as
// "BB 2027-03-10 (20 of 60 cases)".
func CodesText(parts []CodePart, noun string) string {
	var out []string
	for _, c := range ByCode(parts) {
		text := c.Code
		if part := c.Text(noun); part != "" {
			text += " (" + part + ")"
		}
		out = append(out, text)
	}
	return strings.Join(out, ", ")
}

// ByCode joins the parts of one code, whatever run printed it.
func ByCode(parts []CodePart) []CodePart {
	parts = slices.Clone(parts)
	for i := range parts {
		parts[i].Run, parts[i].Product = "", ""
	}
	return together(parts)
}

// CodePartsOf lists the date codes on a unit, each with its part of the unit's cases or kegs.
func CodePartsOf(tx *store.Tx, unit string) []CodePart { return codesOn(tx, unit, whole) }

// Bare reports whether a run has a stretch without a date code of its own.
func Bare(tx *store.Tx, run *lots.Run) bool {
	return slices.ContainsFunc(codesOf(tx, run), func(c coded) bool { return c.code == "" })
}

// fedUnits are the units that were fed to a run, also as one of several.
func fedUnits(tx *store.Tx, run string) (out []string) {
	for _, rec := range tx.Touching(run) {
		if f, ok := rec.(*lots.Feed); ok && f.Run == run && f.From.Kind == lots.KindUnit {
			out = append(out, f.From.Codes...)
		}
	}
	return sortedSet(out)
}

// rowsOf are the rows of a unit: one for each run that stands on it.
func rowsOf(tx *store.Tx, unit string) (out []*lots.Packed) {
	for _, rec := range tx.Touching(unit) {
		if p, ok := rec.(*lots.Packed); ok && p.Unit == unit {
			out = append(out, p)
		}
	}
	return out
}

// reaches tells what an answer reaches: of nodes, and of runs by their segments.
type reaches struct {
	node func(id int64) bool
	run  func(code string) bool
}

// whole is the view of who asks for all that stands on a unit.
var whole = reaches{func(int64) bool { return true }, func(string) bool { return true }}
