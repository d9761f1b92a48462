package check

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// book is all records, read once, and the lineage.
type book struct {
	tx      *store.Tx
	zone    *time.Location
	entries map[int64]*store.Entry // the first statement of each row
	byEntry map[int64]lots.Record
	rows    map[int64]lots.Row

	items     map[string]*lots.Item
	parties   map[string]*lots.Party
	vessels   map[string]*lots.Vessel
	lines     map[string]*lots.Line
	products  map[string]*lots.Product
	receipts  []*lots.Receipt
	receipt   map[string]*lots.Receipt
	brews     []*lots.Brew
	inputs    []*lots.BrewInput
	additions []*lots.Addition
	transfers []*lots.Transfer
	crops     map[string]*lots.Crop
	cleans    []*lots.Clean
	tippings  []*lots.Tipping
	runs      []*lots.Run
	run       map[string]*lots.Run
	codes     map[string][]*lots.CodeChange // by run
	feeds     map[string][]*lots.Feed       // by run
	packed    []*lots.Packed
	packedOf  map[string][]*lots.Packed // by run
	unitRows  map[string][]*lots.Packed
	shipments []*lots.Shipment
	shipped   map[string][]*lots.Shipment // by each unit it names
	bulk      []*lots.Bulk
	returns   []*lots.Return
	removals  []*lots.Removal
	counts    []*lots.StockCount
	holds     []*lots.Hold

	g          *graph.Graph
	nodes      map[string][]int64 // code to nodes; a run's and a vessel's too
	consignees map[string]map[string]bool
	reach      map[string][2]int
	uses       map[string][]use // of each lot, in order of entry
	drawn      map[string][]lineage.Draw
	fills      map[string][]trace.FillBooks
	backs      map[string]*graph.Reach
	err        error
}

func read(tx *store.Tx) (*book, error) {
	b := &book{tx: tx, zone: tx.Site().Zone, entries: map[int64]*store.Entry{}, byEntry: map[int64]lots.Record{}, rows: map[int64]lots.Row{},
		items: map[string]*lots.Item{}, parties: map[string]*lots.Party{}, vessels: map[string]*lots.Vessel{}, lines: map[string]*lots.Line{}, products: map[string]*lots.Product{},
		receipt: map[string]*lots.Receipt{}, crops: map[string]*lots.Crop{}, run: map[string]*lots.Run{}, codes: map[string][]*lots.CodeChange{}, feeds: map[string][]*lots.Feed{},
		unitRows: map[string][]*lots.Packed{}, packedOf: map[string][]*lots.Packed{}, shipped: map[string][]*lots.Shipment{}, drawn: map[string][]lineage.Draw{}, fills: map[string][]trace.FillBooks{}, backs: map[string]*graph.Reach{}, nodes: map[string][]int64{}, consignees: map[string]map[string]bool{}, reach: map[string][2]int{}}
	all, err := tx.Everything()
	if err != nil {
		return nil, err
	}
	sheets := map[string]bool{}
	for _, e := range all {
		sheets[e.Sheet.Name] = true
	}
	for _, sheet := range sortedKeys(sheets) { // a sheet at a time is read faster than an entry at a time
		if _, err := tx.Records(sheet); err != nil {
			return nil, err
		}
	}
	for _, e := range all {
		rec, ok := tx.Record(e.Seq)
		if !ok {
			continue
		}
		b.byEntry[e.Seq], b.rows[e.Seq] = rec, e.Row
		b.file(rec)
	}
	if err := tx.Entries(1, func(e *store.Entry) bool {
		if _, ok := b.byEntry[e.Seq]; ok {
			b.entries[e.Seq] = e
		}
		return true
	}); err != nil {
		return nil, err
	}
	tx.Prefetch(sortedKeys(b.unitRows)) // their books are asked for again and again
	b.uses = b.usesOfLots()
	return b, b.lineage()
}

func (b *book) file(rec lots.Record) {
	switch x := rec.(type) {
	case *lots.Item:
		b.items[x.Code] = x
	case *lots.Party:
		b.parties[x.Code] = x
	case *lots.Vessel:
		b.vessels[x.Code] = x
	case *lots.Line:
		b.lines[x.Code] = x
	case *lots.Product:
		b.products[x.Code] = x
	case *lots.Receipt:
		b.receipts, b.receipt[x.Lot] = append(b.receipts, x), x
	case *lots.Brew:
		b.brews = append(b.brews, x)
	case *lots.BrewInput:
		b.inputs = append(b.inputs, x)
	case *lots.Addition:
		b.additions = append(b.additions, x)
	case *lots.Transfer:
		b.transfers = append(b.transfers, x)
	case *lots.Crop:
		b.crops[x.Lot] = x
	case *lots.Tipping:
		b.tippings = append(b.tippings, x)
	case *lots.Clean:
		b.cleans = append(b.cleans, x)
	case *lots.Run:
		b.runs, b.run[x.Run] = append(b.runs, x), x
	case *lots.CodeChange:
		b.codes[x.Run] = append(b.codes[x.Run], x)
	case *lots.Feed:
		b.feeds[x.Run] = append(b.feeds[x.Run], x)
	case *lots.Packed:
		b.packed, b.unitRows[x.Unit] = append(b.packed, x), append(b.unitRows[x.Unit], x)
		b.packedOf[x.Run] = append(b.packedOf[x.Run], x)
	case *lots.Shipment:
		b.shipments = append(b.shipments, x)
		for _, u := range x.Unit.Codes {
			b.shipped[u] = append(b.shipped[u], x)
			if b.consignees[u] == nil {
				b.consignees[u] = map[string]bool{}
			}
			b.consignees[u][x.Consignee] = true
		}
	case *lots.Bulk:
		b.bulk = append(b.bulk, x)
		for _, node := range trace.LeftFrom(b.tx, x) {
			_, code, _ := strings.Cut(node, " ")
			if b.consignees[code] == nil {
				b.consignees[code] = map[string]bool{}
			}
			b.consignees[code][x.Consignee] = true
		}
	case *lots.Return:
		b.returns = append(b.returns, x)
	case *lots.Removal:
		b.removals = append(b.removals, x)
	case *lots.StockCount:
		b.counts = append(b.counts, x)
	case *lots.Hold:
		b.holds = append(b.holds, x)
	}
}

// lineage reads the graph, and which nodes a code names.
func (b *book) lineage() error {
	g, err := b.tx.Snapshot()
	if err != nil {
		return err
	}
	b.g = g
	for n := range g.Nodes() {
		b.nodes[n.Code] = append(b.nodes[n.Code], n.ID)
		switch {
		case n.Run != "":
			b.nodes[n.Run] = append(b.nodes[n.Run], n.ID)
		case n.Kind == graph.Fill:
			if vessel, _, ok := strings.Cut(n.Code, "@"); ok {
				b.nodes[vessel] = append(b.nodes[vessel], n.ID)
			}
		}
	}
	return nil
}

// behind counts the units that come from a code, and who received any of them.
func (b *book) behind(code string) (units, consignees int) {
	if n, ok := b.reach[code]; ok {
		return n[0], n[1]
	}
	who := map[string]bool{}
	for n := range b.from(code).All() {
		if n.Kind == graph.Unit {
			units++
		}
		for c := range b.consignees[n.Code] {
			who[c] = true
		}
	}
	b.reach[code] = [2]int{units, len(who)}
	return units, len(who)
}

func (b *book) from(code string) *graph.Reach {
	q := graph.Query{Dir: graph.Forward}
	for _, id := range b.nodes[code] {
		q.Starts = append(q.Starts, graph.Start{ID: id})
	}
	return b.g.Walk(q)
}

// back walks back from all of a run.
func (b *book) back(run string) *graph.Reach {
	r := b.backs[run]
	if r == nil {
		r = b.backWithout(run, nil)
		b.backs[run] = r
	}
	return r
}

// backWithout walks back from all of a run over the links that count.
func (b *book) backWithout(run string, keep func(src, dst graph.Node, l graph.Link) bool) *graph.Reach {
	q := graph.Query{Dir: graph.Back, Keep: keep}
	for _, id := range b.nodes[run] {
		q.Starts = append(q.Starts, graph.Start{ID: id})
	}
	return b.g.Walk(q)
}

// draws gives what was drawn from a vessel.
func (b *book) draws(vessel string) []lineage.Draw {
	d, ok := b.drawn[vessel]
	if !ok {
		d = b.tx.VesselDraws(vessel)
		b.drawn[vessel] = d
	}
	return d
}

// happened is when a record's matter happened; the zero When where it has no time.
func (b *book) happened(rec lots.Record) lots.When {
	if e := b.entries[rec.Entry()]; e != nil && e.At != nil {
		return *e.At
	}
	return lots.When{}
}

// recorded is when a row was first entered.
func (b *book) recorded(entry int64) time.Time {
	if e := b.entries[entry]; e != nil {
		return e.Recorded
	}
	return time.Time{}
}

func (b *book) kindOf(lot string) string {
	if r := b.receipt[lot]; r != nil && b.items[r.Item] != nil {
		return b.items[r.Item].Kind
	}
	if b.crops[lot] != nil {
		return "yeast"
	}
	return ""
}

func (b *book) day(unix int64) string { return time.Unix(unix, 0).In(b.zone).Format(time.DateOnly) }

func (b *book) stamp(unix int64) string {
	return time.Unix(unix, 0).In(b.zone).Format("2006-01-02 15:04")
}

func hit(code string, entry int64, format string, args ...any) Hit {
	return Hit{Code: code, Entry: entry, Text: fmt.Sprintf(format, args...)}
}

// folded turns a finding of the lineage into hits of a rule.
func (b *book) folded(names ...string) []Hit {
	var out []Hit
	for _, f := range b.tx.FindingsNamed(names...) {
		h := Hit{Code: f.Code, Entry: f.Entry, Text: f.Text}
		if f.Name == "feed-outside-run" {
			h.Mend = "heeltap amend ENTRY since=… until=…"
		}
		out = append(out, h)
	}
	return out
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
