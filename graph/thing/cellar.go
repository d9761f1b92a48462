package thing

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
)

func (w *writer) receipt(x *lots.Receipt) {
	t := w.t
	t.Noun, t.Title = "lot", w.name(x.Item)
	left, sure := trace.LotLeft(w.tx, x.Lot)
	t.State = fmt.Sprintf("%s left of %s", w.inUnit(left, x.Unit), w.inUnit(float64(x.Qty.N), x.Unit))
	if !sure {
		t.State = "at most " + t.State + ": some was used in a quantity nobody wrote down"
	}
	if x.Into != "" {
		t.State = w.inUnit(float64(x.Qty.N), x.Unit) + " went into " + x.Into
	}
	w.fact("Supplier's lot", map[bool]string{true: "none on the goods", false: x.SupplierLot}[x.SupplierLot == "-"])
	w.fact("Supplier", w.called(x.Supplier))
	w.fact("Item", w.called(x.Item))
	w.fact("Received", w.when(x.At))
	w.fact("Best by", x.BestBy)
	w.fact("Document", x.Document)
	w.fact("Carrier", x.Carrier)
	w.fact("Where", cmp.Or(x.Into, x.Place))
	w.fact("Came in", x.Status)
}

func (w *writer) crop(x *lots.Crop) {
	t := w.t
	t.Noun, t.Title = "yeast crop", w.name(x.Item)
	left, _ := trace.LotLeft(w.tx, x.Lot)
	t.State = fmt.Sprintf("%s left of %s", w.inUnit(left, x.Unit), w.inUnit(float64(x.Qty.N), x.Unit))
	if x.Into != "" {
		t.State = w.inUnit(float64(x.Qty.N), x.Unit) + " went into " + x.Into
	}
	w.fact("Cropped from", x.Vessel)
	w.fact("Cropped", w.when(x.At))
	w.fact("Into", x.Into)
}

func (w *writer) brew(x *lots.Brew) {
	t := w.t
	t.Noun, t.Title = "brew", x.Beer
	var sum int64
	var into []string
	for _, rec := range w.tx.Touching(x.Brew) {
		if b, ok := rec.(*lots.Brew); ok && b.Brew == x.Brew {
			sum += b.Volume
			into = append(into, b.Into)
		}
	}
	t.State = w.volume(float64(sum)) + " cast out into " + strings.Join(into, " and ")
	w.fact("Mash-in", w.when(x.Started))
	w.fact("Cast-out", w.when(x.CastOut))
	if x.Plato > 0 {
		w.fact("Gravity", lots.Figure(x.Plato)+" °P")
	}
}

// vesselNouns say what a kind of vessel is called; the others are their own names.
var vesselNouns = map[string]string{"bright": "bright tank", "serving": "serving tank", "gas": "gas vessel", "path": "path that beer passes through"}

func (w *writer) vessel(x *lots.Vessel) {
	t := w.t
	t.Noun = cmp.Or(vesselNouns[x.Kind], x.Kind)
	w.fact("Where", x.Place)
	if x.Capacity > 0 {
		w.fact("Holds", lots.Figure(x.Capacity)+" "+string(cmp.Or(x.Unit, w.site.VolumeUnit)))
	}
	w.lastClean()
	content, ok := trace.ContentOf(w.tx, x.Code)
	switch {
	case x.Kind == "path":
		t.State = "nothing is kept in it"
		return
	case !ok:
		t.State = "empty by the books"
		return
	}
	t.Holds = true
	unit := cmp.Or(x.Unit, w.site.VolumeUnit)
	t.State = fmt.Sprintf("%s, in here since %s", w.kept(content.Left, unit), w.moment(w.since(x.Code, content.Fill.Since)))
	if content.Left < 0.005*content.Fill.Total {
		t.State = "empty by the books; the rest of the fill of " + w.moment(content.Fill.Since) + " was not cleaned out"
	}
	w.made(content.Fill.Code)
	w.shares(content.Fill.Total)
}

// kept writes what a vessel holds in its own unit: a silo's kilograms count as litres.
func (w *writer) kept(ml float64, unit lots.Unit) string {
	if unit.Dim() == lots.Mass {
		ml *= 1000
	}
	return w.inUnit(ml, unit)
}

// lastClean says when a vessel or line was last cleaned so that it breaks the chain.
func (w *writer) lastClean() {
	last, found := w.breakAfter(0)
	if !found {
		w.fact("Last clean break", "none on record")
		return
	}
	w.fact("Last clean break", fmt.Sprintf("%s, %s, %s", w.when(last.At), strings.Replace(last.Method, "cip", "CIP", 1), ago(w.tx.Recorded().Sub(time.Unix(last.At.To, 0)))))
}

// made tells what the fill of a vessel is made of, back to the brews and lots.
func (w *writer) made(fill string) {
	a, err := trace.Trace(w.tx, graph.Back, "fill:"+fill)
	if err != nil {
		return // a fill that nothing leads to
	}
	var beers, perhaps []string
	for _, b := range a.Brews {
		if rows := w.tx.Touching(b.Code); len(rows) > 0 {
			for _, rec := range rows {
				if x, ok := rec.(*lots.Brew); ok && x.Brew == b.Code {
					if perhaps = append(perhaps, x.Beer); !math.IsNaN(b.Within) {
						beers = append(beers, x.Beer) // and not the beers that its yeast comes from
					}
					w.t.Parts = append(w.t.Parts, Part{Kind: lots.KindBrew, Code: b.Code, Text: x.Beer + may(b.Band), Of: b.Within, Known: !math.IsNaN(b.Within)})
					break
				}
			}
		}
	}
	if len(beers) == 0 {
		beers = perhaps
	}
	slices.Sort(beers)
	w.t.Title = strings.Join(slices.Compact(beers), ", ")
	for _, l := range a.Lots {
		p := Part{Kind: lots.KindLot, Code: l.Code, Text: w.name(l.Item) + may(l.Band)}
		if n := l.Amount.Amount; n != nil {
			p.Text, p.Known = lots.FigureOf(*n, *l.Amount.Unit)+" "+*l.Amount.Unit+" of "+p.Text, true
		}
		w.t.Parts = append(w.t.Parts, p)
	}
}

// shares makes of the parts' volumes their shares of all there was: perfect mixing keeps them until the next inflow.
// What is in it in a known amount stands first, brews before lots; what came with the yeast of many brews stands last.
func (w *writer) shares(total float64) {
	for i := range w.t.Parts {
		p := &w.t.Parts[i]
		p.Of = known(p.Of / total)
	}
	slices.SortStableFunc(w.t.Parts, func(a, b Part) int {
		return cmp.Or(cmp.Compare(last(a), last(b)), cmp.Compare(b.Of, a.Of))
	})
}

func last(p Part) int {
	if p.Known {
		return 0
	}
	return 1
}

// known is a share; 0 where it is not known.
func known(share float64) float64 {
	if math.IsNaN(share) || math.IsInf(share, 0) || share < 0 {
		return 0
	}
	return min(1, share)
}

// may marks what is only possible.
func may(band string) string {
	if band == graph.Possible.String() {
		return ", perhaps"
	}
	return ""
}

// ago says roughly how long since.
func ago(d time.Duration) string {
	switch {
	case d < 0:
		return "still to come"
	case d < time.Hour:
		return counted(int64(d.Minutes()), "minute") + " ago"
	case d < 48*time.Hour:
		return counted(int64(d.Hours()), "hour") + " ago"
	}
	return counted(int64(d.Hours()/24), "day") + " ago"
}
