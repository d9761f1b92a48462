package trace

import (
	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Coarse is what a trace by whole brews and whole runs would pull in.
type Coarse struct {
	Brews int   `json:"brews"` // brews that got some of the lot, or whose beer was in the tank it was added to
	Runs  int   `json:"runs"`  // package runs any of their beer came to
	Cases int64 `json:"cases"`
	Kegs  int64 `json:"kegs"`
}

// BrewLevel counts every unit of every run that any brew with the lot ever flowed to.
// It takes no notice of when the lot came to the beer, of which stretch of a run drew on
// it, or of what was packed before and after: what lot tracking by batch cards gives.
func BrewLevel(tx *store.Tx, lot string) (Coarse, error) {
	ahead, err := walk(tx, graph.Forward, graph.Anything, []string{"lot:" + lot})
	if err != nil {
		return Coarse{}, err
	}
	var touched []int64
	for id := range ahead.reached.Nodes {
		if ahead.reach.Band(id) == graph.In && len(ahead.reach.Why(id)) == 2 {
			touched = append(touched, id)
		}
	}
	brews, err := brewsIn(tx, touched)
	if err != nil {
		return Coarse{}, err
	}
	reached, err := tx.Reach(graph.Forward, brews)
	if err != nil {
		return Coarse{}, err
	}
	// Batch cards do not follow yeast: what only a crop leads to is left out.
	q := graph.Query{Keep: func(_, dst graph.Node, _ graph.Link) bool { return dst.Kind != graph.Lot }}
	for _, id := range brews {
		q.Starts = append(q.Starts, graph.Start{ID: id})
	}
	runs := map[string]bool{}
	for n := range reached.Walk(q).All() {
		if n.Kind == graph.Segment {
			runs[n.Run] = true
		}
	}
	c := Coarse{Brews: len(brews), Runs: len(runs)}
	for run := range runs {
		for _, rec := range tx.Touching(run) {
			if p, ok := rec.(*lots.Packed); ok && p.Run == run {
				if p.UnitKind == "keg" {
					c.Kegs += p.Quantity
				} else {
					c.Cases += p.Quantity
				}
			}
		}
	}
	return c, tx.Err()
}

// brewsIn finds the brews whose wort is in any of the nodes; what yeast brought along is not asked for.
func brewsIn(tx *store.Tx, nodes []int64) ([]int64, error) {
	behind, err := tx.Reach(graph.Back, nodes)
	if err != nil {
		return nil, err
	}
	q := graph.Query{Dir: graph.Back, Keep: func(_, dst graph.Node, _ graph.Link) bool {
		return dst.Kind != graph.Lot && dst.Kind != graph.Brew // neither what went into a crop nor into a brew
	}}
	for _, id := range nodes { // a brew that got the lot itself stands for itself
		q.Starts = append(q.Starts, graph.Start{ID: id})
	}
	var brews []int64
	for n, band := range behind.Walk(q).All() {
		if n.Kind == graph.Brew && band == graph.In {
			brews = append(brews, n.ID)
		}
	}
	return brews, nil
}
