package store

import (
	"cmp"
	"database/sql"
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// Node is a derived node and the number links know it by.
type Node struct {
	ID int64
	lineage.Node
}

const nodeColumns = "id, kind, code, home, since, until, total, den, entry"

func scanNode(rows *sql.Rows) (Node, error) {
	var n Node
	err := rows.Scan(&n.ID, &n.Kind, &n.Code, &n.Home, &n.Since, &n.Until, &n.Total, &n.Den, &n.Entry)
	return n, err
}

func (tx *Tx) nodes(query string, args ...any) []Node {
	var out []Node
	tx.fail(tx.each(func(rows *sql.Rows) error {
		n, err := scanNode(rows)
		out = append(out, n)
		return err
	}, query, args...))
	return out
}

// NodesNamed finds the nodes of a code: one, or none, for each kind.
func (tx *Tx) NodesNamed(code string) []Node {
	return tx.nodes("SELECT "+nodeColumns+" FROM node WHERE code = ? ORDER BY kind", code)
}

// NodesOf lists what a home holds, in order of time: the fills of a vessel, the
// passes of a path item or line, the segments and stretches of a run.
func (tx *Tx) NodesOf(home string) []Node {
	nodes, ok := tx.reading.homes[home]
	if !ok {
		nodes = tx.nodes("SELECT "+nodeColumns+" FROM node WHERE home = ? ORDER BY since, code", home)
		tx.reading.homes[home] = nodes
	}
	return slices.Clone(nodes) // callers filter theirs in place
}

// LastFill is the last fill of a vessel; false where it was never filled.
func (tx *Tx) LastFill(vessel string) (Node, bool) {
	nodes := tx.nodes("SELECT "+nodeColumns+" FROM node WHERE home = ? AND kind = ? ORDER BY since DESC, code DESC LIMIT 1", vessel, int64(graph.Fill))
	if len(nodes) == 0 {
		return Node{}, false
	}
	return nodes[0], true
}

// SourcesOf lists the nodes with links of a grade into a node.
func (tx *Tx) SourcesOf(id int64, grade graph.Grade) []int64 {
	var out []int64
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var src int64
		err := rows.Scan(&src)
		out = append(out, src)
		return err
	}, "SELECT DISTINCT src FROM link WHERE dst = ? AND grade = ? ORDER BY src", id, int64(grade)))
	return out
}

// PartInto is how many pieces of a lot of packaging parts a content link carries.
type PartInto struct {
	Lot string
	Qty float64
}

// PartsInto lists the packaging parts that surely went into a node in a known number.
func (tx *Tx) PartsInto(id int64) []PartInto {
	var out []PartInto
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var p PartInto
		err := rows.Scan(&p.Lot, &p.Qty)
		out = append(out, p)
		return err
	}, "SELECT n.code, l.qty FROM link l JOIN node n ON n.id = l.src WHERE l.dst = ? AND l.grade = ? AND l.cause = ? AND l.qty > 0 ORDER BY n.code, l.entry",
		id, int64(graph.Content), int64(graph.Part)))
	return out
}

// PassedOn sums what a node's content links pass on, in its base unit; known is false where
// one passes on nobody knows how much.
func (tx *Tx) PassedOn(id int64) (sum float64, known bool) {
	known = true
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var qty sql.NullFloat64
		err := rows.Scan(&qty)
		sum += qty.Float64
		known = known && qty.Valid
		return err
	}, "SELECT qty FROM link WHERE src = ? AND grade = ?", id, int64(graph.Content)))
	return sum, known
}

// Between is how much a content link carries from one node to another, in the source's base
// unit; false where there is none, or nobody knows how much.
func (tx *Tx) Between(src, dst int64) (float64, bool) {
	var qty sql.NullFloat64
	ok, err := tx.one([]any{&qty}, "SELECT sum(qty) FROM link WHERE src = ? AND dst = ? AND grade = ?", src, dst, int64(graph.Content))
	tx.fail(err)
	return qty.Float64, ok && qty.Valid
}

// Reached is the part of the lineage that a walk from some starts can come to.
type Reached struct {
	*graph.Graph
	Nodes map[int64]lineage.Node
}

// Reach reads what can be reached from the starts in one direction, over links of
// every grade. It costs what it reaches, whatever the database holds.
func (tx *Tx) Reach(dir graph.Direction, starts []int64) (*Reached, error) {
	r := &Reached{Nodes: map[int64]lineage.Node{}}
	var links []graph.Link
	if !tx.inMemory(func(l *graph.Live[lineage.Node]) {
		l.Reach(dir, starts, func(id int64, n lineage.Node) { r.Nodes[id] = n }, func(x graph.Link) { links = append(links, x) })
	}) {
		var err error
		if links, err = tx.read(dir, starts, r.Nodes); err != nil {
			return nil, err
		}
	}
	if tx.err != nil {
		return nil, tx.err
	}
	inOrder(links)
	nodes := make([]graph.Node, 0, len(r.Nodes))
	for id, n := range r.Nodes {
		nodes = append(nodes, graphNode(id, n))
	}
	var err error
	if r.Graph, err = graph.Build(nodes, links); err != nil {
		return nil, lots.Errorf(lots.Corrupt, "the lineage cannot be walked: %w; run heeltap audit", err)
	}
	return r, nil
}

// read reads nodes and links from the file, level by level.
func (tx *Tx) read(dir graph.Direction, starts []int64, nodes map[int64]lineage.Node) (links []graph.Link, err error) {
	linkQuery := "SELECT src, dst, entry, cause, grade, qty, at FROM link WHERE src IN (SELECT value FROM json_each(?))"
	if dir == graph.Back {
		linkQuery = "SELECT src, dst, entry, cause, grade, qty, at FROM link WHERE dst IN (SELECT value FROM json_each(?))"
	}
	level := distinct(starts)
	for len(level) > 0 {
		for _, n := range tx.nodes("SELECT "+nodeColumns+" FROM node WHERE id IN (SELECT value FROM json_each(?))", jsonList(level)) {
			nodes[n.ID] = n.Node
		}
		var next []int64
		seen := map[int64]bool{}
		err := tx.each(func(rows *sql.Rows) error {
			l, err := scanLink(rows)
			links = append(links, l)
			other := l.Dst
			if dir == graph.Back {
				other = l.Src
			}
			if _, known := nodes[other]; !known && !seen[other] {
				seen[other] = true
				next = append(next, other)
			}
			return err
		}, linkQuery, jsonList(level))
		if err != nil {
			return nil, err
		}
		level = next
	}
	return links, tx.err
}

// inOrder sorts links by their key, so that sums over them are the same to the last bit wherever they were read.
func inOrder(links []graph.Link) {
	slices.SortFunc(links, func(a, b graph.Link) int {
		return cmp.Or(cmp.Compare(a.Src, b.Src), cmp.Compare(a.Dst, b.Dst), cmp.Compare(a.Entry, b.Entry), cmp.Compare(a.Cause, b.Cause))
	})
}

func distinct(ids []int64) []int64 {
	seen := map[int64]bool{}
	var out []int64
	for _, id := range ids {
		if !seen[id] {
			seen[id] = true
			out = append(out, id)
		}
	}
	return out
}

// graphNode gives a derived node as the walks know it.
func graphNode(id int64, n lineage.Node) graph.Node {
	g := graph.Node{ID: id, Kind: n.Kind, Code: n.Code, Total: n.Total, Den: n.Den}
	if n.Kind == graph.Segment || n.Kind == graph.Stretch {
		g.Run = n.Home
	}
	return g
}

func scanLink(rows *sql.Rows) (graph.Link, error) {
	var l graph.Link
	var qty sql.NullFloat64
	err := rows.Scan(&l.Src, &l.Dst, &l.Entry, &l.Cause, &l.Grade, &qty, &l.At)
	l.Qty = qty.Float64
	if !qty.Valid {
		l.Qty = math.NaN()
	}
	return l, err
}

// Snapshot reads the whole lineage into memory.
func (tx *Tx) Snapshot() (*graph.Graph, error) {
	var nodes []graph.Node
	var links []graph.Link
	if tx.inMemory(func(l *graph.Live[lineage.Node]) {
		l.All(func(id int64, n lineage.Node) { nodes = append(nodes, graphNode(id, n)) }, func(x graph.Link) { links = append(links, x) })
	}) {
		inOrder(links)
		return graph.Build(nodes, links)
	}
	err := tx.each(func(rows *sql.Rows) error {
		n, err := scanNode(rows)
		nodes = append(nodes, graphNode(n.ID, n.Node))
		return err
	}, "SELECT "+nodeColumns+" FROM node")
	if err != nil {
		return nil, err
	}
	err = tx.each(func(rows *sql.Rows) error {
		l, err := scanLink(rows)
		links = append(links, l)
		return err
	}, "SELECT src, dst, entry, cause, grade, qty, at FROM link")
	if err != nil {
		return nil, err
	}
	return graph.Build(nodes, links)
}

// Findings lists the faults in the records that touch any of the codes, by code and name.
func (tx *Tx) Findings(codes []string) []lineage.Finding {
	return tx.findings("code IN (SELECT value FROM json_each(?)) ORDER BY code, name, text", jsonList(codes))
}

// FindingsOf lists the faults that an entry led to.
func (tx *Tx) FindingsOf(entry int64) []lineage.Finding {
	return tx.findings("entry = ? ORDER BY code, name, text", entry)
}

// FindingsNamed lists the faults of some names, by name and code.
func (tx *Tx) FindingsNamed(names ...string) []lineage.Finding {
	return tx.findings("name IN (SELECT value FROM json_each(?)) ORDER BY name, code, text", jsonList(names))
}

func (tx *Tx) findings(where string, args ...any) []lineage.Finding {
	var out []lineage.Finding
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var f lineage.Finding
		err := rows.Scan(&f.Name, &f.Code, &f.Text, &f.Entry)
		out = append(out, f)
		return err
	}, "SELECT DISTINCT name, code, text, entry FROM finding WHERE "+where, args...))
	return out
}

// Beside lists the links of some nodes one step ahead or back, and the nodes at their other ends.
func (tx *Tx) Beside(dir graph.Direction, ids []int64) (links []graph.Link, nodes map[int64]lineage.Node) {
	query, other := "SELECT src, dst, entry, cause, grade, qty, at FROM link WHERE src IN (SELECT value FROM json_each(?)) ORDER BY at, entry, dst", func(l graph.Link) int64 { return l.Dst }
	if dir == graph.Back {
		query, other = "SELECT src, dst, entry, cause, grade, qty, at FROM link WHERE dst IN (SELECT value FROM json_each(?)) ORDER BY at, entry, src", func(l graph.Link) int64 { return l.Src }
	}
	var ends []int64
	tx.fail(tx.each(func(rows *sql.Rows) error {
		l, err := scanLink(rows)
		links, ends = append(links, l), append(ends, other(l))
		return err
	}, query, jsonList(distinct(ids))))
	nodes = map[int64]lineage.Node{}
	for _, n := range tx.nodes("SELECT "+nodeColumns+" FROM node WHERE id IN (SELECT value FROM json_each(?))", jsonList(distinct(ends))) {
		nodes[n.ID] = n.Node
	}
	return links, nodes
}
