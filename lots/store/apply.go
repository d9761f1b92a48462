package store

import (
	"cmp"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// derive brings the lineage up to date with records that were entered or
// changed: as they were and as they are.
func (tx *Tx) derive(changed []lots.Record) error {
	defer clear(tx.reading.homes)
	return tx.named(tx.deriveFrom(changed))
}

// named tells the rows of a ring by what they say.
func (tx *Tx) named(err error) error {
	ring, ok := errors.AsType[*lineage.Ring](err)
	if !ok {
		return err
	}
	return lots.Errorf(lots.Conflict, "%s", ring.Text(func(entry int64) string {
		row, ok := tx.Row(entry)
		if !ok {
			return fmt.Sprintf("entry %d", entry)
		}
		var cells []string
		for _, c := range row.Sheet.Columns {
			if v := row.Row[c.Name]; v != "" && len(cells) < 3 {
				cells = append(cells, c.Name+" "+v)
			}
		}
		return row.Sheet.Noun + " " + strings.Join(cells, ", ")
	}))
}

func (tx *Tx) deriveFrom(changed []lots.Record) error {
	if tx.err != nil || tx.later {
		return tx.err
	}
	for _, rec := range changed {
		if _, ok := rec.(*lots.Site); ok {
			return tx.rebuildLineage() // every time without an offset may read differently
		}
	}
	if len(changed) >= bulk {
		var all int
		if _, err := tx.one([]any{&all}, "SELECT count(*) FROM record"); err != nil {
			return err
		}
		if len(changed)*4 >= all {
			return tx.rebuildLineage()
		}
	}
	delta, err := lineage.Derive(tx, tx.db.Limits, changed)
	if err := cmp.Or(tx.err, err); err != nil {
		return err
	}
	return tx.apply(delta)
}

// apply replaces cells by what was derived, touching only rows that differ.
func (tx *Tx) apply(delta *lineage.Delta) error {
	a := &applying{tx: tx, ids: map[lineage.Ref]int64{}, nodesBefore: map[lineage.Ref]nodeRow{}, linksBefore: map[linkKey]linkRow{}}
	owners := slices.Sorted(maps.Keys(delta.Cells))
	cells := make([]int64, len(owners))
	for i, owner := range owners {
		id, err := tx.cellID(owner)
		if err != nil {
			return err
		}
		cells[i] = id
		if err := cmp.Or(a.readNodes(id), a.readLinks(id)); err != nil {
			return err
		}
	}
	now := map[linkKey]linkRow{}
	for i, owner := range owners {
		if err := a.nodes(cells[i], delta.Cells[owner].Nodes); err != nil {
			return err
		}
	}
	for i, owner := range owners {
		for _, l := range delta.Cells[owner].Links {
			r, err := a.row(l)
			if err != nil {
				return err
			}
			r.cell = cells[i]
			now[r.linkKey] = r
		}
	}
	if err := a.links(now); err != nil {
		return err
	}
	for i, owner := range owners {
		c := delta.Cells[owner]
		if err := cmp.Or(a.books(cells[i], c), a.findings(cells[i], c.Findings)); err != nil {
			return err
		}
	}
	for _, n := range a.nodesBefore { // no cell has them any more
		if err := tx.exec("DELETE FROM node WHERE id = ?", n.id); err != nil {
			return err
		}
	}
	return a.refuseRing()
}

func (tx *Tx) cellID(owner string) (id int64, err error) {
	if ok, err := tx.one([]any{&id}, "SELECT id FROM cell WHERE owner = ?", owner); ok || err != nil {
		return id, err
	}
	if err := tx.exec("INSERT INTO cell(owner) VALUES (?)", owner); err != nil {
		return 0, err
	}
	_, err = tx.one([]any{&id}, "SELECT id FROM cell WHERE owner = ?", owner)
	return id, err
}

// applying carries what one apply needs to know across cells.
type applying struct {
	tx          *Tx
	ids         map[lineage.Ref]int64
	nodesBefore map[lineage.Ref]nodeRow // of all cells, as far as no cell has taken them over: a node may go from one to another
	linksBefore map[linkKey]linkRow
	added       []linkRow // new content links
	fresh       bool      // the tables are empty and have no indexes: to look for what stood there would read all of them for each cell
}

type nodeRow struct {
	id, cell int64
	lineage.Node
}

func (a *applying) readNodes(cell int64) error {
	return a.tx.each(func(rows *sql.Rows) error {
		n := nodeRow{cell: cell}
		err := rows.Scan(&n.id, &n.Kind, &n.Code, &n.Home, &n.Since, &n.Until, &n.Total, &n.Den, &n.Entry)
		a.nodesBefore[n.Ref] = n
		return err
	}, "SELECT id, kind, code, home, since, until, total, den, entry FROM node WHERE cell = ?", cell)
}

func (a *applying) nodes(cell int64, nodes []lineage.Node) (err error) {
	for _, n := range nodes {
		was, ok := a.nodesBefore[n.Ref]
		delete(a.nodesBefore, n.Ref)
		switch {
		case !ok:
			if was.id, err = a.insertNode(cell, n); err != nil {
				return err
			}
		case was.Node != n || was.cell != cell:
			if err := a.tx.exec("UPDATE node SET cell=?, home=?, since=?, until=?, total=?, den=?, entry=? WHERE id=?",
				cell, n.Home, n.Since, n.Until, n.Total, n.Den, n.Entry, was.id); err != nil {
				return err
			}
		}
		a.ids[n.Ref] = was.id
	}
	return nil
}

func (a *applying) insertNode(cell int64, n lineage.Node) (int64, error) {
	s, err := a.tx.stmt("INSERT INTO node(kind, code, cell, home, since, until, total, den, entry) VALUES (?,?,?,?,?,?,?,?,?)")
	if err != nil {
		return 0, err
	}
	res, err := s.ExecContext(a.tx.ctx, int64(n.Kind), n.Code, cell, n.Home, n.Since, n.Until, n.Total, n.Den, n.Entry)
	if err != nil {
		return 0, err
	}
	return res.LastInsertId()
}

// id finds the node a link names.
func (a *applying) id(r lineage.Ref) (int64, error) {
	if id, ok := a.ids[r]; ok {
		return id, nil
	}
	var id int64
	ok, err := a.tx.one([]any{&id}, "SELECT id FROM node WHERE code = ? AND kind = ?", r.Code, int64(r.Kind))
	if err == nil && !ok {
		err = lots.Errorf(lots.Internal, "the lineage names a node %s %s that was not derived", r.Kind, r.Code)
	}
	a.ids[r] = id
	return id, err
}

type linkKey struct{ src, dst, entry, cause int64 }

type linkRow struct {
	linkKey
	cell  int64
	grade int64
	qty   sql.NullFloat64
	at    int64
}

func (a *applying) row(l lineage.Link) (linkRow, error) {
	src, err := a.id(l.Src)
	if err != nil {
		return linkRow{}, err
	}
	dst, err := a.id(l.Dst)
	var qty sql.NullFloat64 // a NaN in it would differ from itself, and the link be written anew each time
	if !math.IsNaN(l.Qty) {
		qty = sql.NullFloat64{Float64: l.Qty, Valid: true}
	}
	return linkRow{linkKey{src, dst, l.Entry, int64(l.Cause)}, 0, int64(l.Grade), qty, l.At}, err
}

func (a *applying) readLinks(cell int64) error {
	return a.tx.each(func(rows *sql.Rows) error {
		l := linkRow{cell: cell}
		err := rows.Scan(&l.src, &l.dst, &l.entry, &l.cause, &l.grade, &l.qty, &l.at)
		a.linksBefore[l.linkKey] = l
		return err
	}, "SELECT src, dst, entry, cause, grade, qty, at FROM link WHERE cell = ?", cell)
}

func (a *applying) links(now map[linkKey]linkRow) error {
	for key, was := range a.linksBefore {
		if r, ok := now[key]; !ok || r != was {
			if err := a.tx.exec("DELETE FROM link WHERE src=? AND dst=? AND entry=? AND cause=?", key.src, key.dst, key.entry, key.cause); err != nil {
				return err
			}
		}
	}
	for key, r := range now {
		was, had := a.linksBefore[key]
		if had && was == r {
			continue
		}
		if err := a.tx.exec("INSERT INTO link(src, dst, entry, cause, grade, qty, at, cell) VALUES (?,?,?,?,?,?,?,?)",
			r.src, r.dst, r.entry, r.cause, r.grade, r.qty, r.at, r.cell); err != nil {
			return err
		}
		if was.cell = r.cell; r.grade == int64(graph.Content) && !(had && was == r) { // one that only went to another cell closes no ring
			a.added = append(a.added, r)
		}
	}
	return nil
}

// refuseRing refuses new content links that close a ring. Only a link into
// something that was passed on already can; what is upstream of a link is small.
func (a *applying) refuseRing() error {
	for _, l := range a.added {
		var hit int
		ok, err := a.tx.one([]any{&hit}, `SELECT 1 WHERE EXISTS (SELECT 1 FROM link WHERE src = ?2 AND grade = ?3) AND ?2 IN (
			WITH RECURSIVE up(id) AS (SELECT ?1 UNION SELECT link.src FROM link JOIN up ON link.dst = up.id WHERE link.grade = ?3) SELECT id FROM up)`,
			l.src, l.dst, int64(graph.Content))
		if err != nil {
			return err
		}
		if ok {
			return a.tx.ringError(l)
		}
	}
	return nil
}

// ringError names the ring that a link closes.
func (tx *Tx) ringError(l linkRow) error {
	var links []lineage.Link
	err := tx.each(func(rows *sql.Rows) error {
		var k lineage.Link
		err := rows.Scan(&k.Src.Kind, &k.Src.Code, &k.Dst.Kind, &k.Dst.Code, &k.Entry)
		k.Grade = graph.Content
		links = append(links, k)
		return err
	}, `WITH RECURSIVE up(id) AS (SELECT ?1 UNION SELECT link.src FROM link JOIN up ON link.dst = up.id WHERE link.grade = ?2)
	SELECT s.kind, s.code, d.kind, d.code, link.entry FROM link JOIN up ON up.id = link.dst JOIN node s ON s.id = link.src JOIN node d ON d.id = link.dst WHERE link.grade = ?2`,
		l.src, int64(graph.Content))
	if err != nil {
		return err
	}
	if ring := lineage.FindRing(links); ring != nil {
		return &lineage.Ring{Links: ring}
	}
	return lots.Errorf(lots.Conflict, "entry %d closes a ring of content", l.entry)
}

// books replaces a cell's draws, arrivals and passes.
func (a *applying) books(cell int64, c *lineage.Cell) error {
	if c.Owner[0] == 'v' {
		if err := cmp.Or(a.drawRows(cell, c), a.part(cell, c.Part)); err != nil {
			return err
		}
	}
	if c.Owner[0] == 'p' {
		return a.part(cell, c.Part)
	}
	if c.Owner[0] != 'e' && c.Owner[0] != 'r' {
		return nil
	}
	if !a.fresh {
		if err := a.tx.exec("DELETE FROM pass WHERE cell = ?", cell); err != nil {
			return err
		}
	}
	for _, p := range c.Passes {
		if err := a.tx.exec("INSERT INTO pass(item, start, entry, dst, dst_kind, finish, srcs, cell) VALUES (?,?,?,?,?,?,?,?)",
			p.Item, p.Start, p.Entry, p.Dst.Code, int64(p.Dst.Kind), p.End, jsonList(p.Srcs), cell); err != nil {
			return err
		}
	}
	return nil
}

func (a *applying) drawRows(cell int64, c *lineage.Cell) error {
	var old []lineage.Draw
	var oldArrivals []lineage.Arrival
	if !a.fresh {
		var err error
		if old, err = a.tx.draws("WHERE p.cell = ?", cell); err != nil {
			return err
		}
		if oldArrivals, err = a.tx.arrivals("WHERE p.cell = ?", cell); err != nil {
			return err
		}
	}
	now := numbered(c.Draws)
	was := numbered(old)
	for key, d := range was {
		if n, ok := now[key]; !ok || !n.Same(d) {
			if err := a.tx.exec("DELETE FROM draw WHERE cell=? AND entry=? AND start=? AND n=?", cell, key.entry, key.start, key.n); err != nil {
				return err
			}
		}
	}
	for key, d := range now {
		if w, ok := was[key]; ok && w.Same(d) {
			continue
		}
		if err := a.tx.exec("INSERT INTO draw(cell, entry, start, n, finish, qty, state, fill, root, one_of, maybe) VALUES (?,?,?,?,?,?,?,?,?,?,?)",
			cell, d.Entry, d.Start, key.n, d.End, d.Qty, int64(d.State), d.Fill, d.Root, d.OneOf, maybeText(d.Maybe)); err != nil {
			return err
		}
	}
	return a.arrivalRows(cell, oldArrivals, c.Arrivals)
}

type drawKey struct {
	entry, start int64
	n            int
}

// numbered tells draws of one entry and start apart.
func numbered(draws []lineage.Draw) map[drawKey]lineage.Draw {
	out := make(map[drawKey]lineage.Draw, len(draws))
	for _, d := range draws {
		key := drawKey{d.Entry, d.Start, 0}
		for {
			if _, taken := out[key]; !taken {
				break
			}
			key.n++
		}
		out[key] = d
	}
	return out
}

func maybeText(m []int64) string {
	if len(m) == 0 {
		return ""
	}
	return jsonList(m)
}

func (a *applying) arrivalRows(cell int64, old, now []lineage.Arrival) error {
	keep := make(map[lineage.Arrival]bool, len(now))
	for _, x := range now {
		keep[x] = true
	}
	for _, x := range old {
		if !keep[x] {
			if err := a.tx.exec("DELETE FROM arrival WHERE cell=? AND entry=? AND start=? AND fill=?", cell, x.Entry, x.Start, x.Fill); err != nil {
				return err
			}
		}
	}
	had := make(map[lineage.Arrival]bool, len(old))
	for _, x := range old {
		had[x] = true
	}
	for _, x := range now {
		if !had[x] {
			if err := a.tx.exec("INSERT INTO arrival(cell, entry, start, finish, fill) VALUES (?,?,?,?,?)", cell, x.Entry, x.Start, x.End, x.Fill); err != nil {
				return err
			}
		}
	}
	return nil
}

func (a *applying) findings(cell int64, findings []lineage.Finding) error {
	if !a.fresh {
		if err := a.tx.exec("DELETE FROM finding WHERE cell = ?", cell); err != nil {
			return err
		}
	}
	for _, f := range findings {
		if err := a.tx.exec("INSERT INTO finding(cell, name, code, text, entry) VALUES (?,?,?,?,?)", cell, f.Name, f.Code, f.Text, f.Entry); err != nil {
			return err
		}
	}
	return nil
}

// draws reads draws of parts p, in the order of their entries.
func (tx *Tx) draws(where string, args ...any) ([]lineage.Draw, error) {
	return tx.drawsFrom("part p CROSS JOIN draw d ON d.cell = p.cell "+where, args...)
}

func (tx *Tx) drawsFrom(from string, args ...any) ([]lineage.Draw, error) {
	var out []lineage.Draw
	err := tx.each(func(rows *sql.Rows) error {
		var d lineage.Draw
		var maybe string
		if err := rows.Scan(&d.Vessel, &d.Entry, &d.Start, &d.End, &d.Qty, &d.State, &d.Fill, &d.Root, &d.OneOf, &maybe); err != nil {
			return err
		}
		out = append(out, d)
		if maybe == "" {
			return nil
		}
		return json.Unmarshal([]byte(maybe), &out[len(out)-1].Maybe)
	}, `SELECT p.vessel, d.entry, d.start, d.finish, d.qty, d.state, d.fill, d.root, d.one_of, d.maybe
	FROM `+from+" ORDER BY p.vessel, d.entry, d.start, d.n", args...)
	return out, err
}

func (tx *Tx) arrivals(where string, args ...any) ([]lineage.Arrival, error) {
	return tx.arrivalsFrom("part p CROSS JOIN arrival a ON a.cell = p.cell "+where, args...)
}

func (tx *Tx) arrivalsFrom(from string, args ...any) ([]lineage.Arrival, error) {
	var out []lineage.Arrival
	err := tx.each(func(rows *sql.Rows) error {
		var a lineage.Arrival
		err := rows.Scan(&a.Vessel, &a.Entry, &a.Start, &a.End, &a.Fill)
		out = append(out, a)
		return err
	}, "SELECT p.vessel, a.entry, a.start, a.finish, a.fill FROM "+from+
		" ORDER BY p.vessel, a.entry, a.start, a.fill", args...)
	return out, err
}

// VesselDraws gives what stands derived of a vessel's outflows.
func (tx *Tx) VesselDraws(vessel string) []lineage.Draw {
	d, err := tx.draws("WHERE p.vessel = ?", vessel)
	tx.fail(err)
	return d
}

// DrawsAround gives what stands derived of the outflows that draw on a vessel's fill of a time, and of those that start together with one.
func (tx *Tx) DrawsAround(vessel string, fill int64) []lineage.Draw {
	d, err := tx.drawsFrom(`(SELECT DISTINCT x.cell, x.start FROM draw x INDEXED BY draw_fill CROSS JOIN part o ON o.cell = x.cell WHERE x.fill = ?2 AND o.vessel = ?1) s
		CROSS JOIN draw d INDEXED BY draw_start ON d.cell = s.cell AND d.start = s.start CROSS JOIN part p ON p.cell = d.cell`, vessel, fill)
	tx.fail(err)
	return d
}

// DrawsOn gives what stands derived of the outflows that draw on some of a vessel's fills, by their times.
func (tx *Tx) DrawsOn(vessel string, fills []int64) []lineage.Draw {
	d, err := tx.drawsFrom("json_each(?2) j CROSS JOIN draw d INDEXED BY draw_fill ON d.fill = j.value CROSS JOIN part p ON p.cell = d.cell WHERE p.vessel = ?1", vessel, jsonList(fills))
	tx.fail(err)
	return d
}

// RemovalsOn lists the removals, by their entries, that draw on some of a vessel's fills, by their times.
func (tx *Tx) RemovalsOn(vessel string, fills []int64) []int64 {
	var out []int64
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var entry int64
		err := rows.Scan(&entry)
		out = append(out, entry)
		return err
	}, `SELECT DISTINCT d.entry FROM json_each(?2) j CROSS JOIN draw d INDEXED BY draw_fill ON d.fill = j.value CROSS JOIN part p ON p.cell = d.cell
		CROSS JOIN record r ON r.seq = d.entry WHERE p.vessel = ?1 AND r.sheet = 'removals' ORDER BY d.entry`, vessel, jsonList(fills)))
	return out
}

// DrawnInBulk lists the shipments that draw on some of a vessel's fills, by their times, or may have drawn on earlier ones.
func (tx *Tx) DrawnInBulk(vessel string, fills []int64) []int64 {
	var out []int64
	const shipped = " AND EXISTS (SELECT 1 FROM record r WHERE r.seq = d.entry AND r.sheet = 'shipments')"
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var entry int64
		err := rows.Scan(&entry)
		out = append(out, entry)
		return err
	}, `SELECT d.entry FROM json_each(?2) j CROSS JOIN draw d INDEXED BY draw_fill ON d.fill = j.value CROSS JOIN part p ON p.cell = d.cell WHERE p.vessel = ?1`+shipped+`
		UNION SELECT d.entry FROM json_each(?2) j CROSS JOIN node n ON n.home = ?1 AND n.since = j.value CROSS JOIN draw d INDEXED BY draw_maybe ON d.cell = n.cell WHERE d.maybe <> ''`+shipped, vessel, jsonList(fills)))
	return out
}

// VesselArrivals gives what stands derived of a vessel's inflows.
func (tx *Tx) VesselArrivals(vessel string) []lineage.Arrival {
	a, err := tx.arrivals("WHERE p.vessel = ?", vessel)
	tx.fail(err)
	return a
}

// DrawsOf gives what stands derived of an entry's outflows.
func (tx *Tx) DrawsOf(entry int64) []lineage.Draw {
	d, err := tx.drawsFrom("draw d CROSS JOIN part p ON p.cell = d.cell WHERE d.entry = ?", entry)
	tx.fail(err)
	return d
}

// ArrivalsOf gives what stands derived of an entry's inflows.
func (tx *Tx) ArrivalsOf(entry int64) []lineage.Arrival {
	a, err := tx.arrivalsFrom("arrival a CROSS JOIN part p ON p.cell = a.cell WHERE a.entry = ?", entry)
	tx.fail(err)
	return a
}

// PassesThrough gives what stands derived of the passes of a path item or line.
func (tx *Tx) PassesThrough(item string) []lineage.Pass {
	return tx.Passes(item, lineage.Beginning, lineage.Ever)
}

// Passes is what lineage.Source says.
func (tx *Tx) Passes(item string, from, until int64) []lineage.Pass {
	return tx.passes("WHERE item = ? AND start >= ? AND start < ?", item, from, until)
}

// PassesOf is what lineage.Source says.
func (tx *Tx) PassesOf(owner string) []lineage.Pass {
	return tx.passes("WHERE cell = (SELECT id FROM cell WHERE owner = ?)", owner)
}

func (tx *Tx) passes(where string, args ...any) []lineage.Pass {
	var out []lineage.Pass
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var p lineage.Pass
		var srcs string
		if err := rows.Scan(&p.Item, &p.Entry, &p.Start, &p.End, &p.Dst.Kind, &p.Dst.Code, &srcs); err != nil {
			return err
		}
		out = append(out, p)
		return json.Unmarshal([]byte(srcs), &out[len(out)-1].Srcs)
	}, "SELECT item, entry, start, finish, dst_kind, dst, srcs FROM pass "+where+" ORDER BY item, start, entry, dst", args...))
	return out
}
