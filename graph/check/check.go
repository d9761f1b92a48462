// Package check looks for what in the records would break a recall, before the day of one.
//
// A rule is a row of a table: a stable name, how bad it is, what it breaks, how it is mended,
// and a function that finds it in the records. Each hit names the entry, and how many units
// and consignees stand behind it. What the records can not decide has no rule: photographs,
// analyses and their expiry, opened bags, artwork, retained samples, claims such as organic,
// transfers between sites, the clocks of telephones, backups. What can not be entered at all
// has none either: a receipt without the supplier's lot, a correction without a reason,
// destruction without a witness, a ring of content.
package check

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// How bad a hit is.
const (
	Misses = "misses" // a recall would miss affected goods, or name wrong ones
	Widens = "widens" // its scope must be widened, or a list can not be completed
	Slows  = "slows"  // it takes longer, or the evidence is weak
)

// Rule is one thing to look for.
type Rule struct {
	Name     string `json:"name"`
	Severity string `json:"severity"`
	Breaks   string `json:"breaks"` // what it does to a recall
	Mend     string `json:"mend"`   // how it is put right, where a hit does not say
	find     func(b *book) []Hit
}

// Hit is one place where a rule fires.
type Hit struct {
	Rule       string `json:"rule"`
	Severity   string `json:"severity"`
	Code       string `json:"code"`
	Entry      int64  `json:"entry"` // 0 where no single entry is at fault
	Text       string `json:"text"`
	Mend       string `json:"mend"`
	Units      int    `json:"units"` // that come from it
	Consignees int    `json:"consignees"`
	Muted      string `json:"muted"` // why, and until when; empty where it is not
}

// Report is what a check found.
type Report struct {
	Rules    []Rule   `json:"rules"` // those looked at
	Hits     []Hit    `json:"hits"`  // the worst first
	Muted    int      `json:"muted"`
	Headline Headline `json:"headline"`
}

// Headline says in a few figures how ready the records are.
type Headline struct {
	// Backwards is the share of shipped cases and kegs whose unit leads back to a tank, and
	// through a brew to malt, hops and yeast, with no fault on the way; Recent that of 90 days.
	Shipped   float64 `json:"shipped"` // cases and kegs, ever
	Backwards float64 `json:"shipped_complete_back_pct"`
	Recent    float64 `json:"shipped_complete_back_90_days_pct"`
	// Forwards is the share of used lots all of whose packed beer stands on units.
	Used     float64 `json:"lots_used"`
	Forwards float64 `json:"lots_complete_forward_pct"`
	// Delay is the median time between an act and its entry, in hours.
	Delay float64 `json:"median_delay_hours"`
	// Chain is the vessel with the most units behind one chain of fills without a clean, and how many.
	Chain      string `json:"longest_chain"`
	ChainUnits int    `json:"longest_chain_units"`
}

// Rules lists every rule.
func Rules() []Rule {
	return slices.Concat(receivingRules(), cellarRules(), packagingRules(), tradeRules(), recordRules())
}

// Run looks for everything, or for the rules named, in what happened since a day (zero: ever).
func Run(tx *store.Tx, names []string, since time.Time) (*Report, error) {
	b, err := read(tx)
	if err != nil {
		return nil, err
	}
	mutes, err := Mutes(tx)
	if err != nil {
		return nil, err
	}
	r := &Report{Rules: []Rule{}, Hits: []Hit{}}
	for _, rule := range Rules() {
		if len(names) > 0 && !slices.Contains(names, rule.Name) {
			continue
		}
		r.Rules = append(r.Rules, rule)
		for _, h := range rule.find(b) {
			if e := b.byEntry[h.Entry]; e != nil && !since.IsZero() && b.happened(e).From < since.Unix() && b.happened(e).From > 0 {
				continue
			}
			h.Rule, h.Severity, h.Mend = rule.Name, rule.Severity, cmp.Or(h.Mend, rule.Mend)
			h.Units, h.Consignees = b.behind(h.Code)
			h.Muted = mutes.why(h, tx.Recorded())
			if h.Muted != "" {
				r.Muted++
			}
			r.Hits = append(r.Hits, h)
		}
	}
	if len(r.Rules) < len(names) {
		return nil, lots.Errorf(lots.NotFound, "there is no rule %s; heeltap check --list shows them all", strings.Join(names, " or "))
	}
	order := []string{Misses, Widens, Slows}
	slices.SortStableFunc(r.Hits, func(x, y Hit) int {
		return cmp.Or(cmp.Compare(slices.Index(order, x.Severity), slices.Index(order, y.Severity)), cmp.Compare(y.Units, x.Units), cmp.Compare(x.Rule, y.Rule), cmp.Compare(x.Code, y.Code), cmp.Compare(x.Entry, y.Entry))
	})
	r.Headline = b.headline()
	return r, tx.Err()
}

// Open counts the hits that nobody muted.
func (r *Report) Open() int { return len(r.Hits) - r.Muted }

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
	runs      []*lots.Run
	run       map[string]*lots.Run
	codes     map[string][]*lots.CodeChange // by run
	feeds     map[string][]*lots.Feed       // by run
	packed    []*lots.Packed
	unitRows  map[string][]*lots.Packed
	shipments []*lots.Shipment
	returns   []*lots.Return
	removals  []*lots.Removal
	counts    []*lots.StockCount
	holds     []*lots.Hold

	g          *graph.Graph
	nodes      map[string][]int64 // code to nodes; a run's and a vessel's too
	consignees map[string]map[string]bool
	reach      map[string][2]int
}

func read(tx *store.Tx) (*book, error) {
	b := &book{tx: tx, zone: tx.Site().Zone, entries: map[int64]*store.Entry{}, byEntry: map[int64]lots.Record{}, rows: map[int64]lots.Row{},
		items: map[string]*lots.Item{}, parties: map[string]*lots.Party{}, vessels: map[string]*lots.Vessel{}, lines: map[string]*lots.Line{}, products: map[string]*lots.Product{},
		receipt: map[string]*lots.Receipt{}, crops: map[string]*lots.Crop{}, run: map[string]*lots.Run{}, codes: map[string][]*lots.CodeChange{}, feeds: map[string][]*lots.Feed{},
		unitRows: map[string][]*lots.Packed{}, nodes: map[string][]int64{}, consignees: map[string]map[string]bool{}, reach: map[string][2]int{}}
	all, err := tx.Everything()
	if err != nil {
		return nil, err
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
	case *lots.Shipment:
		b.shipments = append(b.shipments, x)
		for _, u := range x.Unit.Codes {
			if b.consignees[u] == nil {
				b.consignees[u] = map[string]bool{}
			}
			b.consignees[u][x.Consignee] = true
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
			for c := range b.consignees[n.Code] {
				who[c] = true
			}
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

// limit is a number that the site may set: check.NAME.
func (b *book) limit(name string, otherwise float64) float64 {
	if n, err := lots.ParseCount(b.tx.Setting(store.SiteSettings, "check."+name)); err == nil && n > 0 {
		return float64(n)
	}
	return otherwise
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
		out = append(out, Hit{Code: f.Code, Entry: f.Entry, Text: f.Text})
	}
	return out
}
