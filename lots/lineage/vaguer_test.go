package lineage_test

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/lineage/histories"
)

// derived is a lineage as it is walked here: what every node goes into, in whatever grade.
type derived struct {
	nodes   map[lineage.Ref]lineage.Node
	next    map[lineage.Ref][]lineage.Link
	forward bool
}

func deriveRows(rows []lots.Entered) (*derived, error) {
	l, faults := lots.NewLedger(rows)
	if len(faults) > 0 {
		return nil, faults
	}
	d, err := lineage.DeriveAll(l, lineage.DefaultLimits())
	if err != nil {
		return nil, err
	}
	out := &derived{nodes: map[lineage.Ref]lineage.Node{}, next: map[lineage.Ref][]lineage.Link{}}
	for _, c := range d.Cells {
		for _, n := range c.Nodes {
			out.nodes[n.Ref] = n
		}
		for _, l := range c.Links {
			out.next[l.Src] = append(out.next[l.Src], l)
		}
	}
	return out, nil
}

// reach gives for every node reached the link by which it is; of the records as they were only by chains that
// do not go back in time.
func (d *derived) reach(from lineage.Ref) map[lineage.Ref]lineage.Link {
	began := int64(math.MinInt64)
	if from.Kind == graph.Brew {
		began = d.nodes[from].Until // its cast-out, at the earliest
	}
	seen := map[lineage.Ref]lineage.Link{from: {At: began}}
	for todo := []lineage.Ref{from}; len(todo) > 0; todo = todo[1:] {
		for _, l := range d.next[todo[0]] {
			had, ok := seen[l.Dst]
			if d.forward && l.At < seen[l.Src].At || ok && (!d.forward || had.At <= l.At) {
				continue
			}
			seen[l.Dst] = l
			todo = append(todo, l.Dst)
		}
	}
	return seen
}

func chain(seen map[lineage.Ref]lineage.Link, to lineage.Ref) string {
	out := to.Code
	for l := seen[to]; l.Src != (lineage.Ref{}); l = seen[l.Src] {
		out = fmt.Sprintf("%s -%v/%v(%d)-> %s", l.Src.Code, l.Grade, l.Cause, l.Entry, out)
	}
	return out
}

// current names what each vessel holds at the end, whatever its fill is called.
func (d *derived) current() map[string]lineage.Ref {
	out := map[string]lineage.Ref{}
	for r, n := range d.nodes {
		if r.Kind == graph.Fill && n.Until == 0 {
			out[n.Home] = r
		}
	}
	return out
}

// timed gives every time of a history its hour: where several are open, what one row says decides where the books
// place others, and an answer may shrink in one place as it grows in another.
func timed(rows []histories.Row) []histories.Row {
	for _, r := range rows {
		sheet, _ := lots.SheetNamed(r.Sheet)
		for _, c := range sheet.Columns {
			if c.Type != lots.Time || len(r.Row[c.Name]) != len(time.DateOnly) {
				continue
			}
			if slices.Contains(strings.Fields("ended_at until last_at cast_out_at"), c.Name) {
				r.Row[c.Name] += " 22:30"
			} else {
				r.Row[c.Name] += " 07:30"
			}
		}
	}
	return rows
}

// vaguer is one row said less exactly; without a row it is left out.
type vaguer struct {
	what string
	at   int
	row  lots.Row
}

// vaguers lists what may be said less exactly in a history, one row at a time.
func vaguers(rows []histories.Row) (out []vaguer) {
	alike := likes(rows)
	for i, r := range rows {
		say := func(what string, cells ...string) {
			row := maps.Clone(r.Row)
			for j := 0; j < len(cells); j += 2 {
				if row[cells[j]] = cells[j+1]; cells[j+1] == "" {
					delete(row, cells[j])
				}
			}
			if !maps.Equal(row, r.Row) {
				out = append(out, vaguer{r.Sheet + ": " + what, i, row})
			}
		}
		sheet, _ := lots.SheetNamed(r.Sheet)
		moment := r.Row["first_at"] != "" && r.Row["first_at"] == r.Row["last_at"] // lies in the stretch that begins then, which a longer window only ends at
		if moment || r.Row["run"] != "" && !timely(r.Row["run"], rows) {
			continue
		}
		for _, c := range sheet.Columns {
			switch v := r.Row[c.Name]; {
			case c.Type == lots.Time && slices.Contains(booked, r.Sheet): // not yet: the books place it elsewhere, and others with it
			case c.Type == lots.Time && len(v) > len(time.DateOnly):
				say("a bare date in "+c.Name, c.Name, v[:len(time.DateOnly)])
			case c.Type == lots.AnyOf && v != "" && !strings.Contains(v, "|"):
				for _, other := range alike[v] {
					say("one of two in "+c.Name, c.Name, v+"|"+other)
				}
			}
		}
		switch r.Sheet {
		case "cleans":
			say("not verified", "verified", "no")
			say("a rinse", "method", "rinse")
		case "units":
			say("no wash", "washed_at", "", "washer", "")
			say("no window", "first_at", "", "last_at", "")
			say("no start", "first_at", "")
			say("no end", "last_at", "")
		case "lines":
			say("a wider margin", "margin_min", "90")
			say("a longer overlap", "overlap_min", "90")
			say("residue", "residue", "yes")
			if r.Row["residue"] == "no" {
				say("residue unknown", "residue", "")
			}
		case "feeds":
			say("a longer overlap", "overlap_min", "90")
			say("no quantity", "quantity", "", "unit", "")
		}
		if r.Sheet == "clearances" || r.Sheet == "counts" || r.Sheet == "cleans" && r.Row["from"] == "" {
			out = append(out, vaguer{r.Sheet + ": left out", i, nil})
		}
	}
	return out
}

// timely reports whether all that the rows about a run say lies within it. A window that does not is taken to be from
// any part of the run; in a run that is said to have lasted all day, or without its end, it stands as written.
func timely(run string, rows []histories.Row) bool {
	var span lots.Row
	for _, r := range rows {
		if r.Sheet == "runs" && r.Row["run"] == run {
			span = r.Row
		}
	}
	for _, r := range rows {
		for _, column := range strings.Fields("first_at last_at since until") {
			at := r.Row[column]
			if r.Row["run"] == run && at != "" && (at < span["started_at"] || at > span["ended_at"]) {
				return false
			}
		}
	}
	return true
}

// likes lists for each lot that stands by itself and each unit those that may be named beside it. Not yet vessels: of
// one of several nothing is drawn, and the books may place what came in on some day elsewhere.
func likes(rows []histories.Row) map[string][]string {
	kinds, out := map[string][]string{}, map[string][]string{}
	for _, r := range rows {
		switch {
		case r.Sheet == "receipts" && r.Row["into"] == "":
			kinds[r.Row["unit"]] = append(kinds[r.Row["unit"]], r.Row["lot"])
		case r.Sheet == "units":
			kinds["unit"] = append(kinds["unit"], r.Row["unit"])
		}
	}
	for _, codes := range kinds {
		for _, a := range codes {
			for _, b := range codes {
				if a != b {
					out[a] = append(out[a], b)
				}
			}
		}
	}
	return out
}

func (v vaguer) apply(rows []histories.Row) []lots.Entered {
	entered := histories.Entered(rows)
	if v.row == nil {
		return slices.Delete(entered, v.at, v.at+1)
	}
	entered[v.at].Row = v.row
	return entered
}

// ofKegs are the sheets that may say something of a keg.
var ofKegs = strings.Fields("runs units returns shipments removals additions feeds")

// booked are the sheets of what moves on the books of a vessel at a time of its own.
var booked = strings.Fields("receipts brews brew_inputs additions transfers circulations crops removals shipments runs feeds")

// allow leaves out of what was reached before what a vaguer row rightly takes away: that a keg was not washed
// between two fillings. It is taken as washed unless the records speak against it, and a row that speaks against it
// may do so no more: a filling, a wash or a return out of order is in order on the day; without the only wash noted
// for a keg or for its run nothing says that washes are noted. And that a break is in doubt, which what is known of
// the flows after it says: of one of several vessels nothing is drawn.
func (v vaguer) allow(before *derived, sheet string) *derived {
	out := &derived{nodes: before.nodes, next: map[lineage.Ref][]lineage.Link{}, forward: true}
	for src, links := range before.next {
		for _, l := range links {
			washed := l.Cause == graph.Heel && l.Src.Kind == graph.Unit && slices.Contains(ofKegs, sheet)
			if !washed && l.Cause != graph.BreakInDoubt {
				out.next[src] = append(out.next[src], l)
			}
		}
	}
	return out
}

// lost lists what was reached from lots, brews and units and is reached no more: lots, brews and units, and what the
// vessels hold now. A fill or pass is named by its time, and so another one if that changes.
func lost(was, is *derived) (out []string) {
	had, has := was.current(), is.current()
	for from := range was.nodes {
		if _, stands := is.nodes[from]; !stands || !named(from) {
			continue
		}
		before, after := was.reach(from), is.reach(from)
		for to := range before {
			if _, reached := after[to]; named(to) && !reached {
				out = append(out, chain(before, to))
			}
		}
		for v, fill := range had {
			now, holds := has[v]
			if _, reached := before[fill]; !reached || !holds {
				continue
			}
			if _, reached := after[now]; !reached {
				out = append(out, chain(before, fill)+" (now "+now.Code+")")
			}
		}
	}
	slices.Sort(out)
	return out
}

func named(r lineage.Ref) bool {
	return r.Kind == graph.Lot || r.Kind == graph.Brew || r.Kind == graph.Unit
}

// Whoever says less of what happened never hears that less may be affected. Only chains that do not go back in
// time count: what joins a fill late counts for what was drawn of it before as well, and a vaguer row
// may part the fill.
func TestAVaguerRecordNeverShrinksTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := timed(histories.DrawSize(t, rapid.SampledFrom(sizes()).Draw(t, "size")))
		before, err := deriveRows(histories.Entered(rows))
		if err != nil {
			return
		}
		for _, v := range vaguers(rows) {
			after, err := deriveRows(v.apply(rows))
			if err != nil {
				continue // a ring, or a time before another
			}
			if gone := lost(v.allow(before, rows[v.at].Sheet), after); gone != nil {
				t.Fatalf("%s, row %d is now %v\n%s%s", v.what, v.at+1, v.row, histories.Text(rows), strings.Join(gone, "\n"))
			}
		}
	})
}
