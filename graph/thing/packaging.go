package thing

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"heeltap/graph/trace"
	"heeltap/lots"
)

func (w *writer) line(x *lots.Line) {
	t := w.t
	t.Noun, t.Title = "line", x.Code
	if x.RatePerMin > 0 {
		w.fact("Rate", lots.Figure(x.RatePerMin)+" a minute")
	}
	w.fact("Margin between filler and palletiser", counted(x.Margin/60, "minute"))
	w.fact("Left in a magazine at a change", counted(x.Overlap/60, "minute"))
	w.fact("Beer leaves residue", map[bool]string{true: map[bool]string{true: "yes", false: "no"}[x.Residue], false: "not said"}[x.HasResidue])
	w.lastClean()
}

func (w *writer) run(x *lots.Run) {
	t := w.t
	t.Noun, t.Title = "run", w.name(x.Product)
	product, _ := w.tx.Product(x.Product)
	t.State = fmt.Sprintf("%s good, %s rejected", counted(x.Good, "container"), lots.Figure(float64(x.Rejects)))
	if product != nil && product.PerCase > 0 {
		kept := x.Good / product.PerCase
		on := kept - min(kept, trace.OnNoUnit(w.tx, x))
		t.State = fmt.Sprintf("%s good, %s of %s on pallets and kegs", counted(x.Good, "container"), lots.Figure(float64(on)), trace.CasesOrKegs(w.tx, x.Run, kept))
	}
	w.fact("Date code", x.DateCode)
	w.fact("Product", w.called(x.Product))
	w.fact("Line", x.Line)
	w.fact("Started", w.when(x.Started))
	w.fact("Ended", w.when(x.Ended))
	for _, rec := range w.tx.Touching(x.Run) {
		if c, ok := rec.(*lots.CodeChange); ok && c.Run == x.Run {
			w.fact("Printed from "+w.when(c.Since), c.DateCode)
		}
	}
}

func (w *writer) unit(first *lots.Packed) {
	t := w.t
	t.Noun = first.UnitKind
	one := "case"
	if first.UnitKind == "keg" {
		one = "keg"
	}
	var products []string
	for _, rec := range w.tx.Touching(t.Code) {
		p, ok := rec.(*lots.Packed)
		if !ok || p.Unit != t.Code {
			continue
		}
		run, _ := w.tx.Run(p.Run)
		if run != nil {
			products = append(products, w.name(run.Product))
			w.fact("Date code", run.DateCode)
		}
		w.fact("From run "+p.Run, counted(p.Quantity, one))
		w.fact("SSCC", p.SSCC)
		w.fact("Put", p.Place)
		if p.Washed {
			w.fact("Washed", w.when(p.WashedAt))
		}
	}
	slices.Sort(products)
	t.Title = strings.Join(slices.Compact(products), ", ")
	books := trace.BooksOf(w.tx, t.Code)
	t.State = w.whereabouts(books, one)
	if c, ok := trace.CountOf(w.tx, t.Code); ok {
		w.fact("Last counted", fmt.Sprintf("%s on %s%s", counted(int64(c.Said), one), w.when(c.At), inBrackets(c.Place)))
	}
}

// whereabouts says where the cases of a unit are by the books.
func (w *writer) whereabouts(b trace.Books, one string) string {
	here := b.OnHand()
	if float64(b.Quantity) == here {
		return counted(b.Quantity, one) + " here by the books"
	}
	parts := []string{lots.Figure(here) + " of " + counted(b.Quantity, one) + " here by the books"}
	for _, x := range []struct {
		n    float64
		what string
	}{{b.Shipped, "shipped"}, {b.Returned, "came back"}, {b.Removed, "removed"}, {b.Repacked, "repacked or emptied"}} {
		if x.n > 0 {
			parts = append(parts, lots.Figure(x.n)+" "+x.what)
		}
	}
	return strings.Join(parts, ", ")
}

func (w *writer) shipment(x *lots.Shipment) {
	t := w.t
	t.Noun, t.Title = "shipment", "to "+w.name(x.Consignee)
	sum := lots.Packages{}
	for _, rec := range w.tx.Touching(x.Shipment) {
		s, ok := rec.(*lots.Shipment)
		if !ok || s.Shipment != x.Shipment {
			continue
		}
		keg := w.isKeg(s.Unit.Code())
		sum.Add(keg, float64(s.Quantity))
		t.Parts = append(t.Parts, Part{Kind: lots.KindUnit, Code: s.Unit.Code(), Text: either(s.Unit) + ": " + packages(keg, s.Quantity)})
	}
	t.State = sum.String()
	w.fact("Consignee", w.called(x.Consignee))
	w.fact("Left", w.when(x.At))
	w.fact("Document", x.Document)
	w.fact("Carrier", x.Carrier)
}

func (w *writer) comeBack(x *lots.Return) {
	t := w.t
	t.Noun, t.Title = "return", "from "+w.name(x.Consignee)
	keg := w.isKeg(x.Unit.Code())
	t.State = packages(keg, x.Quantity) + " of " + either(x.Unit) + " came back " + cmp.Or(x.State, "full")
	w.fact("Consignee", w.called(x.Consignee))
	w.fact("Came back", w.when(x.At))
	w.fact("Document", x.Document)
}

func (w *writer) party(x *lots.Party) {
	t := w.t
	t.Noun, t.Title = map[string]string{"both": "supplier and consignee", "own": "our own place"}[x.Role], x.Name
	t.Noun = cmp.Or(t.Noun, x.Role)
	w.personal("Contact", x.Contact)
	w.personal("Telephone", x.Phone)
	w.personal("E-mail", x.Email)
	w.personal("Address", x.Address)
	w.fact("In the trade", x.Channel)
	if x.Phone == "" && x.Email == "" && x.Role != "own" {
		t.Doubts = append(t.Doubts, "no telephone and no e-mail: nobody can be told in a recall")
	}
}

func (w *writer) item(x *lots.Item) {
	w.t.Noun, w.t.Title = x.Kind, x.Name
	w.fact("Counted in", string(x.Unit))
	w.fact("Allergens", strings.Join(x.Allergens, ", "))
}

func (w *writer) product(x *lots.Product) {
	w.t.Noun, w.t.Title = "product", x.Name
	w.fact("Beer", x.Beer)
	w.fact("Container", lots.Figure(float64(x.ContainerML))+" mL")
	w.fact("To the case", counted(x.PerCase, "container"))
	w.fact("To the pallet", counted(x.CasesPerPallet, "case"))
	w.fact("Declares", strings.Join(x.Declares, ", "))
	w.fact("Date code pattern", x.DateCode)
	w.fact("GTIN", x.GTIN)
}

func (w *writer) isKeg(unit string) bool {
	x, _ := w.tx.Thing(unit)
	return x.UnitKind == "keg"
}

func packages(keg bool, n int64) string {
	var p lots.Packages
	p.Add(keg, float64(n))
	return p.String()
}

func inBrackets(text string) string {
	if text == "" {
		return ""
	}
	return " (" + text + ")"
}
