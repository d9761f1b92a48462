package lineage_test

import (
	"fmt"
	"maps"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// The simulation plays a history of certain times forward, all vessels at once, and keeps for
// each the lots that are surely and possibly in it: no nodes, no links, no cuts worked out
// from a vessel's books. It stands for rules 1, 2 (but for breaks in doubt), 3, 5 and, without doubt about windows, 6.

// doing is one act of a history.
type doing struct {
	kind     string // lot, move, take, empty, clean, rinse, pack
	from, to string
	qty      float64 // litres
	s, e     int     // hours
	opened   int     // of a run: the hour at which its lot of ends was opened
	window   [2]int  // of a run: the hours in which its pallet was packed
}

// cask is what a vessel holds in the simulation.
type cask struct {
	total, left float64
	sure, may   map[string]bool
	gone        bool // by a break or a removal of all: only the last fill is left to name
	broken      bool
	drawn       bool
}

func drawDoings(t *rapid.T) []doing {
	vessel := rapid.SampledFrom([]string{"F1", "F2", "B1", "B2"})
	var out []doing
	for i := range rapid.IntRange(1, 14).Draw(t, "acts") {
		d := doing{kind: rapid.SampledFrom([]string{"lot", "lot", "move", "move", "take", "empty", "clean", "rinse", "pack", "pack"}).Draw(t, "kind"),
			to: vessel.Draw(t, "to"), qty: rapid.SampledFrom([]float64{1, 50, 100, 200, 400}).Draw(t, "quantity"), s: rapid.IntRange(0, 30).Draw(t, "start")}
		d.e = d.s + rapid.IntRange(1, 4).Draw(t, "hours")
		switch d.kind {
		case "lot":
			d.from = fmt.Sprintf("L%d", i)
		case "move":
			d.from = vessel.Draw(t, "from")
			if d.from == d.to {
				continue
			}
		case "pack":
			d.from, d.to = d.to, fmt.Sprintf("R%d", i)
			d.opened = rapid.IntRange(d.s, d.e-1).Draw(t, "opened")
			first := rapid.IntRange(d.s, d.e-1).Draw(t, "first")
			d.window = [2]int{first, rapid.IntRange(first+1, d.e).Draw(t, "last")}
		}
		out = append(out, d)
	}
	return out
}

func hourText(h int) string {
	return time.Date(2026, 3, 2, h, 0, 0, 0, time.UTC).Format("2006-01-02 15:04")
}

// rowsOf writes a history as sheets' rows.
func rowsOf(doings []doing) []lots.Entered {
	var rows []lots.Entered
	add := func(sheet string, cells ...string) {
		s, _ := lots.SheetNamed(sheet)
		row := lots.Row{}
		for i := 0; i+1 < len(cells); i += 2 {
			row[cells[i]] = cells[i+1]
		}
		rows = append(rows, lots.Entered{Seq: int64(len(rows) + 1), Sheet: s, Row: row})
	}
	add("site", "name", "x", "time_zone", "UTC")
	add("items", "item", "I", "name", "i", "kind", "sugar", "unit", "L")
	add("items", "item", "E", "name", "e", "kind", "closure", "unit", "each")
	add("products", "product", "P", "name", "p", "container_ml", "500", "per_case", "2")
	add("parties", "party", "S", "name", "s", "role", "supplier")
	for _, v := range []string{"F1", "F2"} {
		add("vessels", "vessel", v, "kind", "fermenter")
	}
	for _, v := range []string{"B1", "B2"} {
		add("vessels", "vessel", v, "kind", "bright")
	}
	for i, d := range doings {
		ref, qty := fmt.Sprint(i), fmt.Sprint(d.qty)
		switch d.kind {
		case "lot":
			add("receipts", "lot", d.from, "item", "I", "supplier", "S", "supplier_lot", d.from, "quantity", "10000", "unit", "L", "received_at", "2026-03-01 08:00")
			add("additions", "vessel", d.to, "from", d.from, "quantity", qty, "unit", "L", "at", hourText(d.s), "ref", ref)
		case "move":
			add("transfers", "transfer", "T"+ref, "from", d.from, "to", d.to, "out", qty, "in", qty, "unit", "L", "started_at", hourText(d.s), "ended_at", hourText(d.e))
		case "pack":
			add("receipts", "lot", "E"+d.to[1:], "item", "E", "supplier", "S", "supplier_lot", "E", "quantity", "10000", "unit", "each", "received_at", "2026-03-01 08:00")
			add("runs", "run", d.to, "product", "P", "started_at", hourText(d.s), "ended_at", hourText(d.e), "date_code", "X", "good", fmt.Sprint(d.qty*2))
			add("feeds", "run", d.to, "from", d.from)
			add("feeds", "run", d.to, "from", "E"+d.to[1:], "since", hourText(d.opened))
			add("units", "unit", "U"+d.to[1:], "kind", "pallet", "run", d.to, "quantity", "1", "first_at", hourText(d.window[0]), "last_at", hourText(d.window[1]))
		case "take":
			add("removals", "subject", d.to, "quantity", qty, "unit", "L", "at", hourText(d.s), "reason", "dumped", "ref", ref)
		case "empty":
			add("removals", "subject", d.to, "quantity", "all", "at", hourText(d.s), "reason", "dumped", "ref", ref)
		case "clean":
			add("cleans", "vessel", d.to, "at", hourText(d.s), "method", "cip", "ref", ref)
		case "rinse":
			add("cleans", "vessel", d.to, "at", hourText(d.s), "method", "rinse", "ref", ref)
		}
	}
	return rows
}

// pieces cuts transfers where their source is filled anew or cleaned, or their receiver is
// cleaned. A piece is itself an inflow, so it is done until nothing changes.
func pieces(doings []doing) []doing {
	for {
		filled, cleaned := map[string]map[int]bool{}, map[string]map[int]bool{}
		mark := func(m map[string]map[int]bool, v string, h int) {
			if m[v] == nil {
				m[v] = map[int]bool{}
			}
			m[v][h] = true
		}
		for _, d := range doings {
			switch d.kind {
			case "lot", "move":
				mark(filled, d.to, d.s)
			case "clean":
				mark(cleaned, d.to, d.s)
			}
		}
		var cut []doing
		for _, d := range doings {
			at := d.s
			for h := d.s + 1; (d.kind == "move" || d.kind == "pack") && h < d.e; h++ {
				if filled[d.from][h] || cleaned[d.from][h] || cleaned[d.to][h] {
					piece := d
					piece.s, piece.e, piece.qty = at, h, d.qty*float64(h-at)/float64(d.e-d.s)
					cut, at = append(cut, piece), h
				}
			}
			d.qty *= float64(d.e-at) / float64(d.e-d.s)
			d.s = at
			cut = append(cut, d)
		}
		if len(cut) == len(doings) {
			return cut
		}
		doings = cut
	}
}

func union(into map[string]bool, from ...map[string]bool) {
	for _, m := range from {
		for k := range m {
			into[k] = true
		}
	}
}

// simulate plays a history hour by hour and gives the lots in every fill. It is false for
// what it does not stand for: outflows at the hour of a clean, and flows in a ring.
func simulate(doings []doing) (map[string]*cask, bool) {
	fills, now := map[string]*cask{}, map[string]*cask{}
	for h := range 40 {
		var today []doing
		for _, d := range doings {
			if d.s == h {
				today = append(today, d)
			}
		}
		if !sweep(today, now) {
			return nil, false
		}
		done := map[string]bool{}
		for range 4 { // a vessel's turn comes after those that give it something now
			for _, v := range []string{"F1", "F2", "B1", "B2"} {
				if !done[v] && !slices.ContainsFunc(today, func(d doing) bool { return d.kind == "move" && d.to == v && !done[d.from] }) {
					turn(v, h, today, now, fills)
					done[v] = true
				}
			}
		}
		if len(done) < 4 {
			return nil, false
		}
	}
	return fills, true
}

// sweep empties and cleans.
func sweep(today []doing, now map[string]*cask) bool {
	for _, c := range today {
		if c.kind != "clean" && c.kind != "empty" {
			continue
		}
		for _, d := range today {
			if d.kind == "take" && d.to == c.to || (d.kind == "move" || d.kind == "pack") && d.from == c.to {
				return false
			}
		}
		if f := now[c.to]; f != nil {
			f.gone = true
			f.broken = f.broken || c.kind == "clean"
		}
	}
	return true
}

// turn fills a vessel anew where something comes in, and draws what goes out.
func turn(v string, h int, today []doing, now, fills map[string]*cask) {
	fresh := &cask{sure: map[string]bool{}, may: map[string]bool{}}
	came := false
	for _, d := range today {
		if d.to != v || d.kind != "lot" && d.kind != "move" {
			continue
		}
		came = true
		fresh.total += d.qty
		if d.kind == "lot" {
			fresh.sure[d.from] = true
			continue
		}
		switch src := now[d.from]; {
		case src == nil:
		case src.gone:
			union(fresh.may, src.sure, src.may)
		default:
			union(fresh.sure, src.sure)
			union(fresh.may, src.may)
		}
	}
	if came {
		if old := now[v]; old != nil && !old.broken {
			switch {
			case old.gone || old.drawn && old.left <= 0.005*old.total:
				union(fresh.may, old.sure, old.may)
			default:
				union(fresh.sure, old.sure)
				union(fresh.may, old.may)
				fresh.total += old.left
			}
		}
		fresh.left = fresh.total
		now[v] = fresh
		fills[fmt.Sprintf("%s@%s", v, time.Date(2026, 3, 2, h, 0, 0, 0, time.UTC).Format("2006-01-02T15:04"))] = fresh
	}
	for _, d := range today {
		if d.kind == "pack" && d.from == v {
			pack(d, now[v], fills)
		}
		if f := now[v]; f != nil && !f.gone && (d.kind == "take" && d.to == v || (d.kind == "move" || d.kind == "pack") && d.from == v) {
			f.left -= d.qty
			f.drawn = true
		}
	}
}

// pack puts what a piece of a run draws onto its pallet, where the pallet's window meets the piece.
func pack(d doing, src *cask, fills map[string]*cask) {
	unit := "U" + d.to[1:]
	if fills[unit] == nil {
		fills[unit] = &cask{sure: map[string]bool{}, may: map[string]bool{}}
		if d.opened < d.window[1] {
			fills[unit].sure["E"+d.to[1:]] = true
		}
	}
	if d.window[0] >= d.e || d.window[1] <= d.s || src == nil {
		return
	}
	if src.gone {
		union(fills[unit].may, src.sure, src.may)
		return
	}
	union(fills[unit].sure, src.sure)
	union(fills[unit].may, src.may)
}

// TestAsSimulated compares, for every fill and pallet, the lots surely and possibly in it.
func TestAsSimulated(t *testing.T) {
	played := 0
	rapid.Check(t, func(t *rapid.T) {
		doings := drawDoings(t)
		fills, ok := simulate(pieces(doings))
		if !ok {
			return
		}
		ledger, faults := lots.NewLedger(rowsOf(doings))
		require.Empty(t, faults)
		delta, err := lineage.DeriveAll(ledger, lineage.DefaultLimits())
		if err != nil {
			return // flows that cross are refused
		}
		g, ids, doubt := graphOf(t, delta)
		if doubt {
			return
		}
		played++
		want := map[string][2][]string{}
		for code, f := range fills {
			for lot := range f.sure {
				delete(f.may, lot)
			}
			want[code] = [2][]string{slices.Sorted(maps.Keys(f.sure)), slices.Sorted(maps.Keys(f.may))}
		}
		got := map[string][2][]string{}
		for code, id := range ids {
			var in, may []string
			for n, band := range g.Walk(graph.Query{Dir: graph.Back, Starts: []graph.Start{{ID: id}}}).All() {
				switch {
				case n.Kind != graph.Lot:
				case band == graph.In:
					in = append(in, n.Code)
				default:
					may = append(may, n.Code)
				}
			}
			slices.Sort(in)
			slices.Sort(may)
			got[code] = [2][]string{in, may}
		}
		require.Equal(t, want, got)
	})
	t.Logf("%d histories played", played)
	require.Positive(t, played)
}

// graphOf makes a graph of a lineage; it tells the numbers of the fills, and whether a break is in doubt.
func graphOf(t *rapid.T, delta *lineage.Delta) (*graph.Graph, map[string]int64, bool) {
	var nodes []graph.Node
	var links []graph.Link
	number := map[lineage.Ref]int64{}
	fills := map[string]int64{}
	doubt := false
	for _, c := range delta.Cells {
		for _, n := range c.Nodes {
			number[n.Ref] = int64(len(nodes) + 1)
			nodes = append(nodes, graph.Node{ID: number[n.Ref], Kind: n.Kind, Code: n.Code, Total: n.Total, Den: n.Den})
			if n.Kind == graph.Fill || n.Kind == graph.Unit {
				fills[n.Code] = number[n.Ref]
			}
		}
		for _, f := range c.Findings {
			doubt = doubt || f.Name == "break-in-doubt"
		}
	}
	for _, c := range delta.Cells {
		for _, l := range c.Links {
			links = append(links, graph.Link{Src: number[l.Src], Dst: number[l.Dst], Grade: l.Grade, Cause: l.Cause, Qty: l.Qty})
		}
	}
	g, err := graph.Build(nodes, links)
	require.NoError(t, err)
	return g, fills, doubt
}
