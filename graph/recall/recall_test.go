package recall_test

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/graph/recall"
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/draw"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

var ctx = context.Background()

// oneBrew is the reference data, and one brew in a fermenter.
const oneBrew = `
site name=Test time_zone=UTC
items item=MALT name=malt kind=malt unit=kg
items item=HOP name=hop kind=hop unit=kg
parties party=SUP name=s role=supplier
parties party=D-1 name=One role=consignee channel=distributor
parties party=D-2 name=Two role=consignee channel=retailer
parties party=D-3 name=Three role=consignee channel=on-premise
products product=PALE name=Pale container_ml=500 per_case=20
products product=KEG name=Keg container_ml=30000 per_case=1
vessels vessel=FV kind=fermenter unit=L
vessels vessel=BT kind=bright unit=L
vessels vessel=ST kind=serving unit=L
receipts lot=H item=HOP supplier=SUP supplier_lot=h quantity=10 unit=kg received_at=2026-01-02_08:00
receipts lot=M item=MALT supplier=SUP supplier_lot=m quantity=900 unit=kg received_at=2026-01-02_08:00
brews brew=B beer=Pale started_at=2026-01-05_08:00 cast_out_at=2026-01-05_14:00 into=FV volume=200000 unit=L
brew_inputs brew=B from=H quantity=4 unit=kg
`

func statements(text string) (out []store.Statement) {
	for _, r := range histories.Written(text) {
		sheet, ok := lots.SheetNamed(r.Sheet)
		if !ok {
			panic(r.Sheet)
		}
		out = append(out, store.Statement{Sheet: sheet, Row: r.Row, By: "me"})
	}
	return out
}

type failer interface {
	require.TestingT
	Helper()
}

func open(t *testing.T, name string) *store.DB {
	t.Helper()
	db, err := store.Create(ctx, filepath.Join(t.TempDir(), name+".db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	return db
}

func enter(t failer, tx *store.Tx, rows ...store.Statement) {
	t.Helper()
	_, _, faults, err := tx.RecordRows(rows)
	require.NoError(t, err)
	require.Empty(t, faults)
}

// goods says where the cases of one unit really are: a play-through that knows no books.
type goods struct {
	unit       string
	here, gone float64            // in the house; repacked or removed
	at         map[string]float64 // by consignee
	shipped    map[string]float64 // ever
}

// play carries cases about at random and writes down what is done.
type play struct {
	t     *rapid.T
	into  map[string][]string // units to those packed from them
	rows  []string
	units []*goods
	hour  int
	n     int
}

func (p *play) time() string {
	p.hour++
	return time.Date(2026, 2, 1, p.hour, 0, 0, 0, time.UTC).Format("2006-01-02_15:04")
}

func (p *play) write(format string, args ...any) {
	p.rows = append(p.rows, fmt.Sprintf(format, args...))
}

func (p *play) next() int { p.n++; return p.n }

// pack packs a run of so many cases on one or two units; a part unit of before may be topped up.
func (p *play) pack(feed string, cases float64) {
	run := fmt.Sprintf("R-%d", p.next())
	start := p.time()
	p.write("runs run=%s product=PALE started_at=%s ended_at=%s date_code=C%s good=%d", run, start, p.time(), run, int(cases)*20)
	if feed == "" {
		p.write("feeds run=%s from=FV", run)
	} else {
		p.write("feeds run=%s from=%s quantity=%g unit=case", run, feed, cases)
	}
	used := map[string]bool{feed: true} // a run's cases stand on one row of a unit
	for left := cases; left > 0; {
		n := left
		if left > 1 && rapid.Bool().Draw(p.t, "split") {
			n = float64(rapid.IntRange(1, int(left)-1).Draw(p.t, "part"))
		}
		left -= n
		if len(p.units) > 0 && rapid.IntRange(0, 3).Draw(p.t, "top up") == 0 {
			g := p.units[rapid.IntRange(0, len(p.units)-1).Draw(p.t, "which")]
			if !used[g.unit] && !p.reaches(g.unit, feed) { // nothing is packed from itself
				used[g.unit] = true
				p.into[feed] = append(p.into[feed], g.unit)
				g.here += n
				p.write("units unit=%s kind=pallet run=%s quantity=%g", g.unit, run, n)
				continue
			}
		}
		g := &goods{unit: fmt.Sprintf("P-%d", p.next()), here: n, at: map[string]float64{}, shipped: map[string]float64{}}
		p.units = append(p.units, g)
		used[g.unit] = true
		p.into[feed] = append(p.into[feed], g.unit)
		p.write("units unit=%s kind=pallet run=%s quantity=%g", g.unit, run, n)
	}
}

// reaches reports whether cases of one unit came to another.
func (p *play) reaches(from, to string) bool {
	if from == to {
		return true
	}
	for _, next := range p.into[from] {
		if p.reaches(next, to) {
			return true
		}
	}
	return false
}

func (p *play) step() {
	kind := rapid.SampledFrom([]string{"pack", "ship", "ship", "ship", "return", "repack", "destroy", "taproom", "sample"}).Draw(p.t, "what")
	if kind == "pack" || len(p.units) == 0 {
		p.pack("", float64(rapid.IntRange(1, 60).Draw(p.t, "cases")))
		return
	}
	g := p.units[rapid.IntRange(0, len(p.units)-1).Draw(p.t, "unit")]
	party := rapid.SampledFrom([]string{"D-1", "D-2", "D-3"}).Draw(p.t, "party")
	most := g.here
	if kind == "return" {
		most = g.at[party]
	}
	if most < 1 {
		return
	}
	n := float64(rapid.IntRange(1, int(most)).Draw(p.t, "n"))
	switch kind {
	case "ship":
		p.write("shipments shipment=S-%d unit=%s quantity=%g consignee=%s shipped_at=%s", p.next(), g.unit, n, party, p.time())
		g.here, g.at[party], g.shipped[party] = g.here-n, g.at[party]+n, g.shipped[party]+n
	case "return":
		p.write("returns return=U-%d unit=%s quantity=%g consignee=%s returned_at=%s state=full", p.next(), g.unit, n, party, p.time())
		g.here, g.at[party] = g.here+n, g.at[party]-n
	case "repack":
		g.here, g.gone = g.here-n, g.gone+n
		p.pack(g.unit, n)
	case "destroy":
		p.write("removals subject=%s quantity=%g at=%s reason=destroyed witness=w ref=%d", g.unit, n, p.time(), p.next())
		g.here, g.gone = g.here-n, g.gone+n
	default:
		p.write("removals subject=%s quantity=%g at=%s reason=%s ref=%d", g.unit, n, p.time(), kind, p.next())
		g.here, g.gone = g.here-n, g.gone+n
	}
}

// Nothing is counted twice and nothing vanishes: whatever part shipments, returns, repeat
// shipments, repacks, top-ups and destruction there were, the account says of every unit
// what a play-through with the cases themselves says.
func TestAccountAgainstTheGoods(t *testing.T) {
	db := open(t, "account")
	require.NoError(t, db.Update(ctx, func(tx *store.Tx) error { enter(t, tx, statements(oneBrew)...); return tx.Err() }))
	rapid.Check(t, func(rt *rapid.T) {
		p := &play{t: rt, into: map[string][]string{}}
		for range rapid.IntRange(1, 25).Draw(rt, "steps") {
			p.step()
		}
		missing := rapid.IntRange(0, len(p.units)-1).Draw(rt, "short unit")
		short := 0.0
		if g := p.units[missing]; g.here > 0 {
			short = float64(rapid.IntRange(0, int(g.here)).Draw(rt, "short"))
		}
		for i, g := range p.units {
			n := g.here
			if i == missing {
				n -= short
			}
			p.write("counts subject=%s quantity=%g at=2026-06-01_08:00", g.unit, n)
		}
		undone := fmt.Errorf("undone")
		require.ErrorIs(rt, db.Update(ctx, func(tx *store.Tx) error {
			enter(rt, tx, statements(strings.Join(p.rows, "\n"))...)
			r, err := recall.Begin(tx, recall.Opened{Suspects: []string{"H"}, Hazard: "dissolved", Reason: "x"}, recall.At{}, "me")
			require.NoError(rt, err)
			s, err := r.Scope(tx)
			require.NoError(rt, err)
			a, err := r.Reconcile(tx, s)
			require.NoError(rt, err)
			agrees(rt, p, a, missing, short)
			consignees, err := deliveries.Consignees(tx, s)
			require.NoError(rt, err)
			for _, c := range consignees {
				want := 0.0
				for _, g := range p.units {
					want += g.at[c.Party]
				}
				require.InDelta(rt, want, c.Cases.Net, 1e-9, c.Party)
			}
			return undone
		}), undone)
	})
}

func agrees(t *rapid.T, p *play, a *account.Account, missing int, short float64) {
	byUnit := map[string]account.UnitAccount{}
	for _, u := range a.Units {
		require.NotEqual(t, "loose", u.Kind)
		byUnit[u.Unit] = u
	}
	require.Len(t, byUnit, len(p.units), "all of it came from the suspect")
	here, out := 0.0, 0.0
	for i, g := range p.units {
		u := byUnit[g.unit]
		require.InDelta(t, g.here, u.Booked, 1e-9, g.unit)
		want := 0.0
		if i == missing {
			want = short
		}
		require.InDelta(t, want, u.Unaccounted, 1e-9, g.unit)
		require.InDelta(t, u.Produced, u.Counted+u.Shipped-u.Returned+u.Repacked+u.Removed+u.Unaccounted, 1e-9, g.unit)
		here += g.here
		for _, n := range g.at {
			out += n
		}
	}
	require.InDelta(t, short, a.Cases.Unaccounted, 1e-9)
	require.InDelta(t, out, a.Cases.Shipped-a.Cases.Returned, 1e-9)
	require.InDelta(t, here, a.Cases.Booked, 1e-9)
	for _, r := range a.Consignees {
		sum := 0.0
		for _, g := range p.units {
			sum += g.shipped[r.Party]
		}
		require.InDelta(t, sum, r.Distributed, 1e-9, r.Party)
	}
}

// What is on hold, or inherits from it, leaves by no path without an override: each accepted
// act took from nothing that a plain recursive query over the recorded content comes to from
// what is held, and each refused one did.
func TestNothingHeldLeaves(t *testing.T) {
	db := open(t, "held")
	require.NoError(t, db.Update(ctx, func(tx *store.Tx) error {
		enter(t, tx, statements(oneBrew+`
transfers transfer=T-1 from=FV to=BT out=9000 in=9000 unit=L started_at=2026-01-10_08:00 ended_at=2026-01-10_09:00
runs run=R-1 product=PALE started_at=2026-01-12_08:00 ended_at=2026-01-12_09:00 date_code=ONE good=1600
feeds run=R-1 from=BT
units unit=P-1 kind=pallet run=R-1 quantity=40
units unit=P-2 kind=pallet run=R-1 quantity=40
runs run=R-2 product=PALE started_at=2026-01-13_08:00 ended_at=2026-01-13_09:00 date_code=TWO good=200
feeds run=R-2 from=P-1 quantity=10 unit=case
units unit=P-3 kind=pallet run=R-2 quantity=10
units unit=P-8 kind=pallet run=R-9 quantity=1
vessels vessel=EMPTY kind=bright unit=L
brews brew=B2 beer=Pale started_at=2026-01-20_08:00 cast_out_at=2026-01-20_14:00 into=ST volume=2000 unit=L
brew_inputs brew=B2 from=M quantity=400 unit=kg
brews brew=B3 beer=Pale started_at=2026-03-02_08:00 cast_out_at=2026-03-02_14:00 into=ST volume=100 unit=L
runs run=R-9 product=PALE started_at=2026-03-02_08:00 ended_at=2026-03-02_18:00 date_code=NINE good=20
`)...)
		return tx.Err()
	}))
	acts := map[string]func(t *rapid.T, n int) (line, taken string){
		"ship": func(t *rapid.T, n int) (string, string) {
			u := unit(t)
			return fmt.Sprintf("shipments shipment=S-%d unit=%s quantity=1 consignee=D-1 shipped_at=2026-03-02_08:00", n, u), u
		},
		"taproom": func(t *rapid.T, n int) (string, string) {
			u := unit(t)
			return fmt.Sprintf("removals subject=%s quantity=1 at=2026-03-02_08:00 reason=taproom ref=%d", u, n), u
		},
		"repack": func(t *rapid.T, n int) (string, string) {
			u := unit(t)
			return fmt.Sprintf("feeds run=R-9 from=%s quantity=1 unit=case ref=%d", u, n), u
		},
		"empty": func(t *rapid.T, n int) (string, string) {
			u := unit(t)
			return fmt.Sprintf("additions vessel=ST from=%s quantity=1 unit=case at=2026-03-02_08:00 ref=%d", u, n), u
		},
		"addition": func(t *rapid.T, n int) (string, string) {
			l := lot(t)
			return fmt.Sprintf("additions vessel=ST from=%s quantity=0.1 unit=kg at=2026-03-02_08:00 ref=%d", l, n), l
		},
		"transfer": func(t *rapid.T, n int) (string, string) {
			v := tank(t)
			return fmt.Sprintf("transfers transfer=T-%d from=%s to=ST out=1 in=1 unit=L started_at=2026-03-02_08:%02d ended_at=2026-03-02_08:%02d", n, v, n, n+1), v
		},
		"draw tank": func(t *rapid.T, n int) (string, string) {
			v := tank(t)
			return fmt.Sprintf("removals subject=%s quantity=1 unit=L at=2026-03-02_08:00 reason=taproom ref=%d", v, n), v
		},
	}
	acts["brew"] = func(t *rapid.T, n int) (string, string) {
		l := lot(t)
		return fmt.Sprintf("brew_inputs brew=B3 from=%s quantity=0.1 unit=kg ref=%d", l, n), l
	}
	acts["circulate"] = func(t *rapid.T, n int) (string, string) {
		v := tank(t)
		return fmt.Sprintf("circulations vessels=%s;EMPTY started_at=2026-03-02_08:%02d ended_at=2026-03-02_08:%02d", v, n, n+1), v
	}
	acts["one of two"] = func(t *rapid.T, n int) (string, string) {
		u := unit(t)
		return fmt.Sprintf("shipments shipment=S-%d unit=%s|P-8 quantity=1 consignee=D-1 shipped_at=2026-03-02_08:00", n, u), u
	}
	names := []string{"ship", "taproom", "repack", "empty", "addition", "transfer", "draw tank", "brew", "circulate", "one of two"}
	rapid.Check(t, func(rt *rapid.T) {
		undone := fmt.Errorf("undone")
		require.ErrorIs(rt, db.Update(ctx, func(tx *store.Tx) error {
			held := rapid.SampledFrom([]string{"H", "M", "B", "B2", "BT", "R-1", "P-1", "P-2", "P-3"}).Draw(rt, "held")
			enter(rt, tx, statements("holds subject="+held+" at=2026-03-01_08:00 reason=x by=me")...)
			for n := range rapid.IntRange(1, 6).Draw(rt, "attempts") {
				line, taken := acts[rapid.SampledFrom(names).Draw(rt, "act")](rt, n+2)
				before, err := heldNow(tx, taken) // what the program itself shows
				require.NoError(rt, err)
				want := oracle(rt, tx, held, taken)
				require.Equal(rt, want, before.String() == "in", "%s under a hold of %s shows %s", taken, held, before)
				seqs, _, faults, err := tx.RecordRows(statements(line))
				require.NoError(rt, err)
				require.Empty(rt, faults)
				stopped, err := trace.Stopped(tx, seqs)
				require.NoError(rt, err)
				require.Equal(rt, want, len(stopped) > 0, "%s under a hold of %s: %v", line, held, stopped)
				if want {
					return undone // refused: the program records nothing of it
				}
			}
			return undone
		}), undone)
	})
}

// heldNow is how the program shows whether a thing is held.
func heldNow(tx *store.Tx, code string) (graph.Band, error) {
	holds, err := trace.StandingHolds(tx)
	if err != nil {
		return graph.Out, err
	}
	thing, _ := tx.Thing(code)
	return holds.On(thing.Kind, code)
}

func unit(t *rapid.T) string { return rapid.SampledFrom([]string{"P-1", "P-2", "P-3"}).Draw(t, "unit") }
func lot(t *rapid.T) string  { return rapid.SampledFrom([]string{"H", "M"}).Draw(t, "lot") }
func tank(t *rapid.T) string { return rapid.SampledFrom([]string{"FV", "BT"}).Draw(t, "tank") }

// oracle asks whether content leads from a held thing to what is taken, by the entries
// alone: what each row says went where, followed by hand. It knows no vessels' books: in this
// small house nothing leaves a vessel before what it is held for came in.
func oracle(t *rapid.T, tx *store.Tx, held, taken string) bool {
	into := map[string][]string{"H": {"B"}, "B": {"FV"}, "FV": {"BT"}, "BT": {"R-1"}, "R-1": {"P-1", "P-2"}, "P-1": {"R-2"}, "R-2": {"P-3"}, "M": {"B2"}, "B2": {"ST"}}
	seen := map[string]bool{}
	todo := []string{held}
	for len(todo) > 0 {
		at := todo[0]
		todo = todo[1:]
		if seen[at] {
			continue
		}
		seen[at] = true
		todo = append(todo, into[at]...)
	}
	return seen[taken]
}

// A pick is the same for the same seed, and falls more often on what is easily forgotten: enzyme by
// the gram, bulk, packaging parts, rather than on a plain malt lot; what was exercised falls back.
func TestSurpriseFavoursWhatIsForgotten(t *testing.T) {
	db := open(t, "surprise")
	require.NoError(t, db.Update(ctx, func(tx *store.Tx) error {
		enter(t, tx, statements(oneBrew+`
items item=ENZ name=enzyme kind=enzyme unit=g
items item=CAN name=can kind=container unit=each
receipts lot=E item=ENZ supplier=SUP supplier_lot=e quantity=100 unit=g received_at=2026-01-02_08:00
receipts lot=C item=CAN supplier=SUP supplier_lot=c quantity=900 unit=each received_at=2026-01-02_08:00
receipts lot=UNUSED item=MALT supplier=SUP supplier_lot=u quantity=900 unit=kg received_at=2026-01-02_08:00
brew_inputs brew=B from=M quantity=400 unit=kg
brew_inputs brew=B from=E quantity=4 unit=g
runs run=N product=PALE started_at=2026-01-10_22:00 ended_at=2026-01-10_23:00 date_code=N good=200
feeds run=N from=FV
feeds run=N from=C
`)...)
		count := map[string]int{}
		for seed := range 600 {
			p, err := draw.Lot(tx, fmt.Sprint(seed), nil)
			require.NoError(t, err)
			again, err := draw.Lot(tx, fmt.Sprint(seed), nil)
			require.NoError(t, err)
			require.Equal(t, p, again)
			count[p.Code]++
		}
		require.Zero(t, count["UNUSED"], "nothing came of it")
		require.Greater(t, count["E"], count["M"]*3/2)
		require.Greater(t, count["C"], count["M"]*3/2, "a part of the package, in a night run")
		require.Positive(t, count["M"])
		_, err := recall.Begin(tx, recall.Opened{Mock: true, Suspects: []string{"E"}, Hazard: "dissolved", Reason: "x"}, recall.At{}, "me")
		require.NoError(t, err)
		after, moved := 0, ""
		for seed := range 600 {
			p, err := draw.Lot(tx, fmt.Sprint(seed), map[string]bool{"enzyme": true})
			require.NoError(t, err)
			if p.Code == "E" {
				after++
				continue
			}
			if first, err := draw.Lot(tx, fmt.Sprint(seed), nil); err == nil && first.Code == "E" && moved == "" {
				moved = fmt.Sprint(seed)
				opened, err := recall.BeginSurprise(tx, recall.Opened{Seed: moved}, recall.At{}, "me")
				require.NoError(t, err)
				require.Equal(t, []string{p.Code}, opened.Suspects, "the kind of what was opened before was exercised")
				require.True(t, opened.Mock)
			}
		}
		require.Less(t, after, count["E"])
		require.NotEmpty(t, moved)
		return tx.Err()
	}))
}
