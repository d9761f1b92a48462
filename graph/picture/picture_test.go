package picture_test

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/graph/picture"
	"heeltap/graph/trace"
	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

// links lead to addresses that say what they are of.
var links = picture.Links{
	Thing: func(codes []string) string { return "thing " + strings.Join(codes, ";") },
	Party: func(code string) string { return "party " + code },
	Group: func(id string) string { return "group " + id },
}

const (
	firstColumn = 0 // suppliers
	lastColumn  = 9 // where it went
)

// reached lists all rows of the tables of an answer.
func reached(a *trace.Answer) (out []trace.Reached) {
	for _, x := range a.Lots {
		out = append(out, x.Reached)
	}
	for _, x := range a.Brews {
		out = append(out, x.Reached)
	}
	for _, x := range a.Fills {
		out = append(out, x.Reached)
	}
	for _, x := range a.Runs {
		out = append(out, x.Reached)
	}
	for _, x := range a.Units {
		out = append(out, x.Reached)
	}
	return out
}

var number = regexp.MustCompile(`^(\d+) `)

// holds checks a picture against the tables of the same answer: every row has one box and every step of its chain a band;
// no box and no band says more than the tables; and what is put together says how much of it there is.
func holds(t require.TestingT, a *trace.Answer, p *picture.Picture) {
	back := a.Direction != "forward"
	box, nodes, parties := map[string]string{}, map[string]paper.FlowNode{}, map[string]string{}
	for _, n := range p.Nodes {
		_, twice := nodes[n.ID]
		require.False(t, twice, "one box of a name")
		nodes[n.ID] = n
		for _, c := range n.Codes {
			if n.Column == firstColumn || n.Column == lastColumn {
				parties[fmt.Sprint(n.Column, " ", c)] = n.ID
				continue
			}
			require.Empty(t, box[c], "one box for a thing: %s", c)
			box[c] = n.ID
		}
		if n.Many { // a vessel with several fills is one thing
			things := map[string]bool{}
			for _, c := range n.Codes {
				vessel, _, _ := strings.Cut(c, "@")
				things[vessel] = true
			}
			said := number.FindStringSubmatch(n.Title)
			if strings.Contains(n.Detail, " of them") {
				said = number.FindStringSubmatch(n.Detail)
			}
			require.NotNil(t, said, "%s, %s: how many there are", n.Title, n.Detail)
			require.Equal(t, strconv.Itoa(len(things)), said[1], "%s, %s", n.Title, n.Detail)
			require.Equal(t, n.ID, n.Link, "it can be opened")
		}
	}
	bands := map[[2]string]paper.FlowEdge{}
	for _, e := range p.Edges {
		at := [2]string{e.From, e.To}
		require.NotEmpty(t, nodes[e.From].ID)
		require.NotEmpty(t, nodes[e.To].ID)
		require.NotEqual(t, e.From, e.To)
		_, twice := bands[at]
		require.False(t, twice, "one band between two boxes")
		require.False(t, e.Weight <= 0, "a width is more than nothing, or not known")
		bands[at] = e
	}
	// What must be there, and what may be: pairs of boxes, with whether anything certain stands behind them.
	backed := map[[2]string]bool{}
	must := func(from, to string, sure bool, why ...any) {
		require.NotEmpty(t, from, why...)
		require.NotEmpty(t, to, why...)
		if from != to {
			at := [2]string{from, to}
			_, drawn := bands[at]
			require.True(t, drawn, why...)
			backed[at] = backed[at] || sure
		}
	}
	sure := map[string]bool{}
	all := reached(a)
	for _, x := range all {
		require.NotEmpty(t, box[x.Code], "%s has a box", x.Code)
		sure[box[x.Code]] = sure[box[x.Code]] || x.Band == "in"
	}
	require.Len(t, box, len(all), "what has a box has a row")
	for c, id := range box {
		require.Equal(t, sure[id], nodes[id].Sure, "%s: dashed only where all of it is possible only", c)
	}
	for _, l := range a.Links() {
		if from, to := box[l.From.Code], box[l.To.Code]; from != "" && to != "" {
			must(from, to, l.Sure, "link %s to %s", l.From.Code, l.To.Code)
		}
	}
	for _, x := range all {
		for i := 1; i < len(x.Why); i++ {
			from, to := box[x.Why[i-1]], box[x.Why[i]]
			if back {
				from, to = to, from
			}
			must(from, to, x.Band == "in", "%s to %s of the chain to %s", x.Why[i-1], x.Why[i], x.Code)
		}
	}
	for _, l := range a.Lots {
		if l.Supplier != nil {
			must(parties["0 "+*l.Supplier], box[l.Code], l.Band == "in", "who supplied %s", l.Code)
		}
	}
	for _, s := range a.Carrying() {
		for _, u := range strings.Split(s.Unit, "|") {
			if box[u] != "" {
				must(box[u], parties["9 "+s.Consignee], s.Band == "in", "who has %s", u)
			}
		}
	}
	for _, x := range a.Bulk {
		if n := len(x.Why); n > 1 {
			must(box[x.Why[n-2]], parties["9 "+x.Consignee], x.Band == "in", "who has the bulk of %s", x.Code)
		}
	}
	for _, u := range a.Units {
		for place, n := range map[string]float64{"at in the house": u.OnHand, "at removed here": u.Books.Removed} {
			if n > 0 && !back {
				must(box[u.Code], place, u.Band == "in", "%s is %s", u.Code, place)
			}
		}
	}
	for at, e := range bands {
		certain, there := backed[at]
		require.True(t, there, "the band from %s to %s has something behind it", at[0], at[1])
		require.Equal(t, certain, e.Sure, "from %s to %s: drawn whole only where something is certain", at[0], at[1])
	}
}

// across is how much goes over all bands of a picture that lead to its last column, as far as it is known.
func across(p *picture.Picture) (sum float64) {
	last := map[string]bool{}
	for _, n := range p.Nodes {
		last[n.ID] = n.Column == lastColumn
	}
	for _, e := range p.Edges {
		if last[e.To] && !math.IsNaN(e.Weight) {
			sum += e.Weight
		}
	}
	return sum
}

// opens draws an answer, checks it, and opens one group after the other until nothing is put together; then closes all again.
func opens(t require.TestingT, tx *store.Tx, a *trace.Answer) (first, last *picture.Picture) {
	first, err := picture.Of(tx, a, nil, links)
	require.NoError(t, err)
	var open []string
	for p := first; ; {
		if len(open)%8 == 0 || !slices.ContainsFunc(p.Nodes, func(n paper.FlowNode) bool { return n.Many }) {
			holds(t, a, p)
		}
		require.InDelta(t, across(first), across(p), 1e-6*(1+across(first)), "folding hides no quantity")
		require.LessOrEqual(t, len(p.Opened), len(open))
		i := slices.IndexFunc(p.Nodes, func(n paper.FlowNode) bool { return n.Many })
		if i < 0 {
			last = p
			break
		}
		open = append(open, strings.TrimPrefix(p.Nodes[i].ID, "group "))
		next, err := picture.Of(tx, a, open, links)
		require.NoError(t, err)
		require.Greater(t, len(next.Nodes), len(p.Nodes), "opening %s shows more", p.Nodes[i].Title)
		require.Equal(t, open[len(open)-1:], func() (ids []string) {
			for _, g := range next.Opened {
				if g.ID == open[len(open)-1] {
					ids = append(ids, g.ID)
				}
			}
			return ids
		}(), "what was opened can be closed")
		p = next
		require.Less(t, len(open), 500, "groups open without an end")
	}
	again, err := picture.Of(tx, a, nil, links)
	require.NoError(t, err)
	require.Equal(t, fmt.Sprintf("%+v", first), fmt.Sprintf("%+v", again), "closed again, it is what it was")
	require.NoError(t, again.SVG(discard{}))
	return first, last
}

type discard struct{}

func (discard) Write(p []byte) (int, error) { return len(p), nil }

// recorded makes a database of rows.
func recorded(t require.TestingT, path string, rows []lots.Entered) (db *store.DB, taken bool) {
	db, err := store.Create(context.Background(), path)
	require.NoError(t, err)
	var said []store.Statement
	for _, e := range rows {
		said = append(said, store.Statement{Sheet: e.Sheet, Row: e.Row, By: "test"})
	}
	return db, db.Update(context.Background(), func(tx *store.Tx) error {
		_, _, faults, err := tx.RecordRows(said)
		if err == nil && len(faults) > 0 {
			return faults
		}
		return err
	}) == nil
}

// packed are rows of a brewery in which one lot of malt went into so many pallets, each with some shipped, in runs of 80.
func packed(n int) []lots.Entered {
	var b strings.Builder
	b.WriteString(`
site name=House time_zone=UTC volume_unit=hL mass_unit=kg
items item=MALT name=Malt kind=malt unit=kg
parties party=SUP name=Sup role=supplier
vessels vessel=FV kind=fermenter
vessels vessel=BT kind=bright
lines line=LINE
products product=CAN name=Can container_ml=440 per_case=24
receipts lot=LOT item=MALT supplier=SUP supplier_lot=W quantity=500 unit=kg received_at=2026-03-01_08:00
brews brew=BREW beer=Pale started_at=2026-03-02_07:00 cast_out_at=2026-03-02_13:00 into=FV volume=9000 unit=hL
brew_inputs brew=BREW from=LOT quantity=100 unit=kg at=2026-03-02_07:00
transfers transfer=TR from=FV to=BT out=8500 in=8500 unit=hL started_at=2026-03-08_08:00 ended_at=2026-03-08_09:00
`)
	for i := range 30 {
		fmt.Fprintf(&b, "parties party=CON-%02d name=Con role=consignee\n", i)
	}
	start := time.Date(2026, 3, 11, 6, 0, 0, 0, time.UTC)
	run := ""
	for i := range n {
		if i%80 == 0 {
			run = fmt.Sprintf("RUN-%03d", i/80)
			at := start.Add(time.Duration(i/80) * 10 * time.Minute)
			fmt.Fprintf(&b, "runs run=%s product=CAN line=LINE started_at=%s ended_at=%s date_code=BD%d good=3200\nfeeds run=%s from=BT\n",
				run, at.Format("2006-01-02_15:04"), at.Add(8*time.Minute).Format("2006-01-02_15:04"), i/80, run)
		}
		fmt.Fprintf(&b, "units unit=P-%05d kind=pallet run=%s quantity=40\nshipments shipment=S-%05d unit=P-%05d quantity=%d consignee=CON-%02d shipped_at=2026-04-%02d_08:00\n", i, run, i, i, 1+i%39, i%30, 1+i%28)
	}
	return histories.Entered(histories.Written(b.String()))
}

// However many units there are, the picture is small, shows all of them as so many, and can be opened down to each.
func TestOfAnySize(t *testing.T) {
	for _, n := range []int{20, 200, 2000} {
		t.Run(strconv.Itoa(n), func(t *testing.T) {
			db, taken := recorded(t, filepath.Join(t.TempDir(), "heeltap.db"), packed(n))
			defer func() { require.NoError(t, db.Discard()) }()
			require.True(t, taken)
			require.NoError(t, db.View(t.Context(), func(tx *store.Tx) error {
				a, err := trace.Trace(tx, graph.Forward, "LOT")
				require.NoError(t, err)
				require.Len(t, a.Units, n)
				first, last := opens(t, tx, a)
				require.Less(t, len(first.Nodes), 100, "it can be read")
				units := 0
				for _, x := range first.Nodes {
					if x.Column == 8 {
						units += len(x.Codes)
					}
				}
				require.Equal(t, n, units, "none is hidden")
				require.Equal(t, n > 24, len(last.Nodes) > len(first.Nodes), "few are shown one by one, and many can be opened")
				// Litres to consignees and in the house are those that were packed: 40 cases of 24 × 0.44 L each.
				if a.Measure() == "" {
					require.InDelta(t, float64(n)*40*24*0.44, across(last), 1)
				}
				return nil
			}))
		})
	}
}

// On random histories, from every kind of thing and both ways.
func TestOnRandomHistories(t *testing.T) {
	dir, drawn := t.TempDir(), 0
	draw := rapid.Custom(histories.Draw)
	for seed := range 10 {
		db, taken := recorded(t, filepath.Join(dir, fmt.Sprintf("%d.db", seed)), histories.Entered(draw.Example(seed)))
		if taken { // else a ring
			require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
				for _, kind := range []lots.Kind{lots.KindLot, lots.KindBrew, lots.KindRun, lots.KindUnit} {
					codes := tx.CodesOf(kind)
					for _, code := range codes[:min(1, len(codes))] {
						for _, dir := range []graph.Direction{graph.Forward, graph.Back} {
							a, err := trace.Trace(tx, dir, code)
							require.NoError(t, err)
							opens(t, tx, a)
							p, err := picture.Of(tx, a.Certain(), nil, links)
							require.NoError(t, err)
							for _, x := range p.Nodes {
								require.True(t, x.Sure, "%s is in", x.Title)
							}
							drawn++
						}
					}
				}
				return nil
			}))
		}
		require.NoError(t, db.Discard())
	}
	require.Greater(t, drawn, 20)
}

// A name of a group that is not there opens nothing.
func TestAnUnknownGroupOpensNothing(t *testing.T) {
	db, taken := recorded(t, filepath.Join(t.TempDir(), "heeltap.db"), packed(200))
	defer func() { require.NoError(t, db.Discard()) }()
	require.True(t, taken)
	require.NoError(t, db.View(t.Context(), func(tx *store.Tx) error {
		a, err := trace.Trace(tx, graph.Forward, "LOT")
		require.NoError(t, err)
		p, err := picture.Of(tx, a, nil, links)
		require.NoError(t, err)
		for _, open := range []string{"", "units/NONE", "vessels", "<script>"} {
			q, err := picture.Of(tx, a, []string{open}, links)
			require.NoError(t, err)
			require.Equal(t, p.Nodes, q.Nodes, open)
			require.Empty(t, q.Opened)
		}
		return nil
	}))
}
