package trace

import (
	"cmp"
	"fmt"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// Because says why one thing is in another's scope, or what parts the two.
type Because struct {
	From  []From    `json:"from"`
	To    []From    `json:"to"`
	Band  string    `json:"band"`  // in, possible or out
	Chain []Step    `json:"chain"` // empty where out
	Apart []Parting `json:"apart"` // empty where not out
}

// Step is one node of a chain and how the chain came to it.
type Step struct {
	Kind string `json:"kind"`
	Code string `json:"code"`
	By   *By    `json:"by"` // null at the start
}

// By is the link that leads to a step.
type By struct {
	Grade string `json:"grade"` // content or contact
	Cause string `json:"cause"`
	Text  string `json:"text"`
	Entry int64  `json:"entry"` // journal entry
	At    string `json:"at"`
}

// Parting is one thing that keeps two apart. Names are stable: packed-apart, left-before,
// clean-break, other-way-round, no-shared-path, not-counted.
type Parting struct {
	Name  string `json:"name"`
	Code  string `json:"code"`
	Text  string `json:"text"`
	Entry int64  `json:"entry"` // journal entry that parts them; 0 where there is none
}

// Why explains whether and how what one text names reaches what another names.
func Why(tx *store.Tx, from, to string) (*Because, error) {
	return WhyFor(tx, graph.Anything, from, to)
}

// WhyFor explains it for a hazard. Where only links that do not count for it join the two, they
// are what parts them.
func WhyFor(tx *store.Tx, hazard graph.Hazard, from, to string) (*Because, error) {
	ahead, err := walk(tx, graph.Forward, hazard, []string{from})
	if err != nil {
		return nil, err
	}
	r := &resolver{tx: tx, dir: graph.Back, site: tx.Site()}
	aim, err := r.resolve(to)
	if err != nil {
		return nil, err
	}
	b := &Because{From: ahead.target.from, To: aim.from, Band: graph.Out.String(), Chain: []Step{}, Apart: []Parting{}}
	if band, chain := bestChain(ahead.reach, aim); band != graph.Out {
		b.Band = band.String()
		b.Chain = ahead.steps(chain)
		return b, tx.Err()
	}
	if ahead.hazard != graph.Anything {
		wide := ahead.widely()
		if band, chain := bestChain(wide, aim); band != graph.Out {
			b.Apart = ahead.uncountedOn(chain)
			return b, tx.Err()
		}
		ahead.reach = wide
	}
	back, err := walkFrom(tx, graph.Back, graph.Anything, aim)
	if err != nil {
		return nil, err
	}
	b.Apart, err = apart(ahead, back)
	return b, cmp.Or(err, tx.Err())
}

// bestChain is the surest and then shortest chain to any of the nodes aimed at.
func bestChain(reach *graph.Reach, aim *target) (best graph.Band, chain []graph.Step) {
	for _, s := range aim.starts {
		band, steps := reach.Band(s.ID), reach.Why(s.ID)
		if band > best || band == best && band != graph.Out && len(steps) < len(chain) {
			best, chain = band, steps
		}
	}
	return best, chain
}

func (q *asked) steps(chain []graph.Step) []Step {
	out := make([]Step, len(chain))
	for i, s := range chain {
		out[i] = Step{Kind: s.Node.Kind.String(), Code: s.Node.Code}
		if i > 0 {
			out[i].By = &By{s.Link.Grade.String(), s.Link.Cause.String(), s.Link.Cause.Text(), s.Link.Entry, lots.RFC3339(s.Link.At, q.site.Zone)}
		}
	}
	return out
}

// apart looks for what parts what was reached ahead from what stands behind the aim.
func apart(ahead, back *asked) ([]Parting, error) {
	var parts []Parting
	parts = append(parts, packedApart(ahead, back)...)
	parts = append(parts, partedInVessels(ahead, back)...)
	if len(parts) > 0 {
		return parts, nil
	}
	round, err := walkFrom(ahead.tx, graph.Forward, graph.Anything, back.target)
	if err != nil {
		return nil, err
	}
	for _, s := range ahead.target.starts {
		if round.reach.Band(s.ID) != graph.Out {
			return []Parting{{"other-way-round", s.Code, fmt.Sprintf("%s went into %s, not the other way round", back.target.from[0].Code, s.Code), 0}}, nil
		}
	}
	return []Parting{{"no-shared-path", back.target.from[0].Code, "nothing that one reached ever met anything the other came from", 0}}, nil
}

// packedApart finds units behind the aim that came off a reached run at another time.
func packedApart(ahead, back *asked) []Parting {
	var parts []Parting
	for id, n := range back.reached.Nodes {
		if n.Kind != graph.Unit || back.reach.Band(id) == graph.Out {
			continue
		}
		for _, rec := range ahead.tx.Touching(n.Code) {
			p, ok := rec.(*lots.Packed)
			if !ok || p.Unit != n.Code {
				continue
			}
			var met []span
			for reachedID, s := range ahead.reached.Nodes {
				if s.Kind == graph.Segment && s.Home == p.Run && ahead.reach.Band(reachedID) != graph.Out {
					met = append(met, span{s.Since, s.Until})
				}
			}
			run, _, ok := runOf(ahead.tx, p.Run)
			if !ok || len(met) == 0 {
				continue
			}
			slices.SortFunc(met, func(a, b span) int { return cmp.Compare(a.from, b.from) })
			w, _ := lineage.WindowOf(p, run, lineOf(ahead.tx, run.Line).Margin)
			parts = append(parts, Parting{"packed-apart", n.Code, fmt.Sprintf("%s was packed from %s to %s (%s with its doubt); of run %s only %s is reached",
				n.Code, ahead.short(w.From), ahead.short(w.Until), ahead.short(w.MayFrom)+" to "+ahead.short(w.MayUntil), p.Run, ahead.spans(merged(met))), p.Seq})
		}
	}
	slices.SortFunc(parts, func(a, b Parting) int { return cmp.Compare(a.Code, b.Code) })
	return parts
}

func (q *asked) short(unix int64) string { return lots.Stamp(unix, q.site.Zone) }

func (q *asked) spans(s []span) string {
	text := ""
	for i, x := range s {
		if i > 0 {
			text += ", "
		}
		text += q.short(x.from) + " to " + q.short(x.until)
	}
	return text
}

// partedInVessels finds vessels that both went through, and what came between.
func partedInVessels(ahead, back *asked) []Parting {
	reached, behind := ahead.fillsByVessel(), back.fillsByVessel()
	var parts []Parting
	for vessel, theirs := range behind {
		ours, ok := reached[vessel]
		if !ok {
			continue
		}
		first := ours[0]
		for _, t := range theirs {
			if t.Since < first.Since {
				continue
			}
			parts = append(parts, ahead.breakBefore(vessel, ours, t)...)
		}
		if last := theirs[len(theirs)-1]; last.Since < first.Since {
			parts = append(parts, Parting{"left-before", first.Code, fmt.Sprintf("what %s was made from was in %s before %s (its last fill there is %s); what is asked about came in at %s",
				back.target.from[0].Code, vessel, ahead.short(first.Since), last.Code, ahead.short(first.Since)), first.Entry})
		}
	}
	slices.SortFunc(parts, func(a, b Parting) int { return cmp.Or(cmp.Compare(a.Code, b.Code), cmp.Compare(a.Entry, b.Entry)) })
	return slices.Compact(parts)
}

// fillsByVessel groups the reached fills, in order of time.
func (q *asked) fillsByVessel() map[string][]lineage.Node {
	out := map[string][]lineage.Node{}
	for id, n := range q.reached.Nodes {
		if n.Kind == graph.Fill && q.reach.Band(id) != graph.Out {
			out[n.Home] = append(out[n.Home], n)
		}
	}
	for _, fills := range out {
		slices.SortFunc(fills, func(a, b lineage.Node) int { return cmp.Compare(a.Since, b.Since) })
	}
	return out
}

// breakBefore finds the last clean that parts a vessel's reached fills from a later one.
func (q *asked) breakBefore(vessel string, ours []lineage.Node, later lineage.Node) []Parting {
	var before lineage.Node
	for _, n := range ours {
		if n.Since < later.Since {
			before = n
		}
	}
	var found *lots.Clean
	for _, rec := range q.tx.Touching(vessel) {
		c, ok := rec.(*lots.Clean)
		if ok && c.Breaks() && c.At.To >= before.Since && c.At.From <= later.Since && (found == nil || c.At.From > found.At.From) {
			found = c
		}
	}
	if before.Code == "" || found == nil {
		return nil
	}
	return []Parting{{"clean-break", later.Code, fmt.Sprintf("%s was cleaned (%s, %s) between %s and %s", vessel, found.Method, found.At.Text(q.site.Zone), before.Code, later.Code), found.Seq}}
}
