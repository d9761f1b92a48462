package lineage_test

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/lineage/oracle"
)

// gather reads a derivation as the oracle writes its own.
func gather(d *lineage.Delta) *oracle.Lineage {
	out := &oracle.Lineage{Nodes: map[lineage.Ref]float64{}, Links: map[oracle.Key]oracle.Share{}, Findings: map[oracle.Fault]bool{}}
	dens := map[lineage.Ref]float64{}
	for _, c := range d.Cells {
		for _, n := range c.Nodes {
			out.Nodes[n.Ref], dens[n.Ref] = n.Total, n.Den
		}
	}
	for _, c := range d.Cells {
		for _, l := range c.Links {
			k := oracle.Key{Src: l.Src, Dst: l.Dst, Grade: l.Grade, Cause: l.Cause}
			s := out.Links[k]
			share := l.Qty / dens[l.Src]
			switch {
			case l.Grade == graph.Contact:
			case math.IsNaN(share):
				s.Unknown = true
			default:
				s.Known += share
			}
			out.Links[k] = s
		}
		for _, f := range c.Findings {
			out.Findings[oracle.Fault{Name: f.Name, Code: f.Code}] = true
		}
	}
	return out
}

func near(a, b float64) bool {
	return math.Abs(a-b) <= 1e-9*max(1, math.Abs(a), math.Abs(b))
}

// differences lists what engine and oracle do not agree on.
func differences(engine, oracled *oracle.Lineage) (out []string) {
	name := func(r lineage.Ref) string { return r.Kind.String() + " " + r.Code }
	for _, r := range keys(engine.Nodes, oracled.Nodes) {
		a, inA := engine.Nodes[r]
		b, inB := oracled.Nodes[r]
		if inA != inB || (r.Kind != graph.Stretch && !near(a, b)) {
			out = append(out, fmt.Sprintf("node %s: engine %v %v, oracle %v %v", name(r), inA, a, inB, b))
		}
	}
	for _, k := range keys(engine.Links, oracled.Links) {
		a, inA := engine.Links[k]
		b, inB := oracled.Links[k]
		if inA != inB || a.Unknown != b.Unknown || !near(a.Known, b.Known) {
			out = append(out, fmt.Sprintf("link %s > %s %v %v: engine %v %v, oracle %v %v", name(k.Src), name(k.Dst), k.Grade, k.Cause, inA, a, inB, b))
		}
	}
	for _, f := range keys(engine.Findings, oracled.Findings) {
		if engine.Findings[f] != oracled.Findings[f] {
			out = append(out, fmt.Sprintf("finding %v: engine %v, oracle %v", f, engine.Findings[f], oracled.Findings[f]))
		}
	}
	return out
}

func keys[K comparable, V any](a, b map[K]V) []K {
	var out []K
	for k := range a {
		out = append(out, k)
	}
	for k := range b {
		if _, ok := a[k]; !ok {
			out = append(out, k)
		}
	}
	slices.SortFunc(out, func(x, y K) int { return cmp.Compare(fmt.Sprint(x), fmt.Sprint(y)) })
	return out
}

// sizes range from a few acts to many in few vessels.
func sizes() []histories.Size {
	return []histories.Size{{Acts: 12, Vessels: 3}, {Acts: 30, Vessels: 2}, {Acts: 40, Vessels: 4}}
}

// The engine gives what the rules say, node for node and link for link, as a
// second derivation reads them that simulates and shares no code with it.
func TestEngineAgreesWithTheOracle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := histories.DrawSize(t, rapid.SampledFrom(sizes()).Draw(t, "size"))
		l, faults := lots.NewLedger(histories.Entered(rows))
		if len(faults) > 0 {
			t.Fatal(faults)
		}
		want, refused := oracle.Derive(l, lineage.DefaultLimits())
		d, err := lineage.DeriveAll(l, lineage.DefaultLimits())
		if (refused != nil) != (err != nil) {
			t.Fatalf("engine refuses: %v, oracle: %v\n%s", err, refused, histories.Text(rows))
		}
		if err != nil {
			return
		}
		if diff := differences(gather(d), want); diff != nil {
			text := histories.Text(rows)
			for _, line := range diff {
				text += line + "\n"
			}
			t.Fatal(text)
		}
	})
}
