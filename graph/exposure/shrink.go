package exposure

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/gate"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Trial is one thing that could have been done otherwise, and what it would have made of a risk.
type Trial struct {
	Risk   string  `json:"risk"`
	What   string  `json:"what"`
	Before float64 `json:"before_l"` // litres in either band
	After  float64 `json:"after_l"`
	Saved  float64 `json:"saved_l"`
}

// Attempt is a trial whatever came of it, or a risk for which there was none.
type Attempt struct {
	Trial
	Result string `json:"result"`
}

// What can come of an attempt; where the records refuse it, why they do.
const (
	lessInScope   = "less in scope"
	noLessInScope = "no less in scope"
	nothingToTry  = "nothing to try: it passes through no tank or silo that could have been cleaned in between, and no other lot could have been used"
)

// proposal is a row that was not recorded, or one that would read otherwise.
type proposal struct {
	what  string
	row   store.Statement
	amend []int64
	set   map[string]string
}

const mostTrials = 24

// Shrink tries, for the worst risks, a clean between two fills that it goes through, and
// another lot in the second half of the brews that used it, each in a copy of the records. It adds what it found to the
// answer: the best first, how many were tried, and what came of each, for every one of the worst.
func Shrink(ctx context.Context, db *store.DB, a *Answer, worst int) (err error) {
	if worst < 0 {
		return lots.Errorf(lots.Invalid, "%d of the worst cannot be tried: give 0 or more", worst)
	}
	list, err := a.toTry(ctx, db, worst)
	if err != nil || len(list) == 0 {
		return err
	}
	copied, err := db.Copy(ctx)
	if err != nil {
		return err
	}
	defer func() {
		if closing := copied.Close(); err == nil {
			err = closing
		}
	}()
	for _, x := range list {
		before := x.risk.litres()
		t := Attempt{Trial{x.risk.Kind + " " + x.risk.Code, x.p.what, before, before, 0}, noLessInScope}
		if a.Tried == mostTrials {
			t.Result = fmt.Sprintf("not tried: at most %d are tried at once", mostTrials)
			a.Attempts = append(a.Attempts, t)
			continue
		}
		a.Tried++
		after, err := try(ctx, copied, x.risk, x.p)
		if err != nil {
			t.Result = fmt.Sprintf("not possible: %v", err)
		} else if saved := before - after; saved > 1e-6 {
			t.After, t.Saved, t.Result = lots.Nine(after), lots.Nine(saved), lessInScope
			a.Shrink = append(a.Shrink, t.Trial)
		}
		a.Attempts = append(a.Attempts, t)
	}
	slices.SortStableFunc(a.Shrink, func(x, y Trial) int { return cmp.Compare(y.Saved, x.Saved) })
	slices.SortStableFunc(a.Attempts, func(x, y Attempt) int { return cmp.Compare(y.Saved, x.Saved) })
	return nil
}

// trying is a risk and what may shrink it.
type trying struct {
	risk Risk
	p    proposal
}

// toTry lists what to try for the worst risks; for which there is nothing, that is noted in the answer.
func (a *Answer) toTry(ctx context.Context, db *store.DB, worst int) (list []trying, err error) {
	if worst == 0 {
		return nil, nil
	}
	err = db.View(ctx, func(tx *store.Tx) error {
		m, err := read(tx)
		if err != nil {
			return err
		}
		m.reach()
		for _, r := range a.Risks[:min(worst, len(a.Risks))] {
			proposals := m.proposals(r)
			for _, p := range proposals[:min(len(proposals), max(1, mostTrials/worst))] {
				list = append(list, trying{r, p})
			}
			if before := r.litres(); len(proposals) == 0 {
				a.Attempts = append(a.Attempts, Attempt{Trial{r.Kind + " " + r.Code, "", before, before, 0}, nothingToTry})
			}
		}
		return nil
	})
	return list, err
}

// errUndone takes a trial back: the copy stays as the records are.
var errUndone = errors.New("undone")

// try records a proposal in a copy, gives what the risk would then reach, in litres, and takes
// the proposal back.
func try(ctx context.Context, copied *store.DB, r Risk, p proposal) (litres float64, err error) {
	err = copied.Update(ctx, func(tx *store.Tx) error {
		if err := p.record(tx); err != nil {
			return err
		}
		m, err := read(tx)
		if err != nil {
			return err
		}
		there := false
		for n := range m.walk(r.Code).All() {
			there = true
			if n.Kind == graph.Unit {
				litres += m.units[m.places[n.ID]].litres
			}
		}
		if !there {
			return lots.Errorf(lots.NotFound, "%s would not exist then", r.Code)
		}
		return errUndone
	})
	if errors.Is(err, errUndone) {
		return litres, nil
	}
	return 0, err
}

func (p proposal) record(tx *store.Tx) error {
	if len(p.amend) > 0 {
		_, err := tx.AmendAll(p.amend, p.set, "what if", "what if")
		return err
	}
	_, _, faults, err := gate.Post(tx, []store.Statement{p.row}, gate.Override{Reason: "what if", By: "what if"})
	return gate.Failed(err, faults)
}

// walk goes forward from everything of a code.
func (m *model) walk(code string) *graph.Reach {
	q := graph.Query{Dir: graph.Forward}
	for n := range m.g.Nodes() {
		if n.Code == code && n.Kind != graph.Unit {
			q.Starts = append(q.Starts, graph.Start{ID: n.ID})
		}
	}
	return m.g.Walk(q)
}

// proposals lists what could shrink a risk: the fills that carry it on within a vessel, those
// with the most behind them first, and for a lot in a store a clean of the store.
func (m *model) proposals(r Risk) []proposal {
	type carry struct {
		dst   graph.Node
		at    int64
		units int
	}
	reached := map[int64]bool{}
	for n := range m.walk(r.Code).All() {
		reached[n.ID] = true
	}
	var list []carry
	seen := map[int64]bool{}
	for l := range m.g.Links() {
		src, dst := m.g.Node(l.Src), m.g.Node(l.Dst)
		from, _, _ := strings.Cut(src.Code, "@")
		to, _, _ := strings.Cut(dst.Code, "@")
		if !reached[l.Src] || from != to || src.Kind != graph.Fill || dst.Kind != graph.Fill || seen[l.Dst] {
			continue
		}
		if thing, _ := m.tx.Thing(to); thing.VesselKind == "gas" || thing.VesselKind == "path" {
			continue
		}
		seen[l.Dst] = true
		if n := m.behind[l.Dst]; n > 0 {
			list = append(list, carry{dst, l.At, n})
		}
	}
	slices.SortFunc(list, func(a, b carry) int {
		return cmp.Or(cmp.Compare(b.units, a.units), cmp.Compare(a.dst.Code, b.dst.Code))
	})
	var out []proposal
	sheet, _ := lots.SheetNamed("cleans")
	zone := m.tx.Site().Zone
	for _, c := range list {
		vessel, _, _ := strings.Cut(c.dst.Code, "@")
		at := time.Unix(c.at-60, 0).In(zone).Format("2006-01-02 15:04")
		out = append(out, proposal{what: fmt.Sprintf("empty and clean %s before its fill of %s", vessel, time.Unix(c.at, 0).In(zone).Format("2006-01-02 15:04")),
			row: store.Statement{Sheet: sheet, By: "what if", Row: lots.Row{"vessel": vessel, "at": at, "method": "manual", "ref": "what-if"}}})
	}
	return append(out, m.lotChange(r)...)
}

// lotChange proposes that the second half of the brews that used a lot had taken another lot of its
// item: the last one that had come by then, of which enough is left by the books.
func (m *model) lotChange(r Risk) []proposal {
	if r.Kind != "lot" {
		return nil
	}
	used := m.brewsOf(r.Code)
	moved := used[len(used)/2:]
	if len(used) < 2 {
		return nil
	}
	var need float64
	var entries []int64
	for _, u := range moved {
		need += float64(u.in.Qty.N)
		entries = append(entries, u.in.Seq)
	}
	var other *lots.Receipt
	for _, rec := range m.tx.Touching(r.Item) {
		x, ok := rec.(*lots.Receipt)
		if !ok || x.Lot == r.Code || x.Item != r.Item || x.Into != "" || x.Status == "rejected" || x.At.To > moved[0].at {
			continue
		}
		if left, sure := trace.LotLeft(m.tx, x.Lot); sure && left >= need && (other == nil || x.At.From > other.At.From) {
			other = x
		}
	}
	if other == nil {
		return nil
	}
	return []proposal{{what: fmt.Sprintf("change lots before brew %s: use %s from then on", moved[0].in.Brew, other.Lot), amend: entries, set: map[string]string{"from": other.Lot}}}
}

// use is one use of a lot in a brew, and when.
type use struct {
	in *lots.BrewInput
	at int64
}

// brewsOf lists the uses of a lot in brews, in order of time.
func (m *model) brewsOf(lot string) []use {
	var out []use
	for _, rec := range m.tx.Touching(lot) {
		in, ok := rec.(*lots.BrewInput)
		if !ok || in.From.OneOf() || in.From.Code() != lot {
			continue
		}
		u := use{in, in.At.From}
		for _, rec := range m.tx.Touching(in.Brew) {
			if b, ok := rec.(*lots.Brew); ok && b.Brew == in.Brew && !in.HasAt {
				u.at = b.Started.From
			}
		}
		out = append(out, u)
	}
	slices.SortStableFunc(out, func(a, b use) int { return cmp.Compare(a.at, b.at) })
	return out
}
