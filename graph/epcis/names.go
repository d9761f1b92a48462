package epcis

import (
	"strings"
	"time"

	"heeltap/lots"
	"heeltap/lots/gs1"
	"heeltap/lots/store"
)

// baseOf begins the identifiers of what has no GS1 key.
func baseOf(tx *store.Tx, given string) string {
	switch {
	case given == "":
		return "urn:heeltap:" + gs1.Escape(tx.Site().Name) + ":"
	case strings.HasSuffix(given, "/"), strings.HasSuffix(given, ":"):
		return given
	case strings.HasPrefix(given, "urn:"):
		return given + ":"
	}
	return given + "/"
}

// own is the identifier of something of our own.
func (w *writer) own(kind, code string) string {
	sign := "/"
	if strings.HasPrefix(w.base, "urn:") {
		sign = ":"
	}
	return w.base + kind + sign + gs1.Escape(code)
}

// link is a message as a canonical Digital Link; false where it does not hold what a label may.
func link(elements ...gs1.Element) (string, bool) {
	m := gs1.Message{Elements: elements}
	if _, err := gs1.Parse(m.Raw()); err != nil {
		return "", false
	}
	uri, err := gs1.Link(gs1.CanonicalStem, m)
	return uri, err == nil
}

// stated is the record that states a code. It reads that one row, and not all that name the code: a party may have
// thousands.
func stated[T lots.Record](tx *store.Tx, code string) (T, bool) {
	rec, _ := tx.Stated(code)
	x, ok := rec.(T)
	return x, ok
}

// unit identifies one pallet, stack or keg filling: by its SSCC, where it has one.
func (w *writer) unit(code string) string {
	for _, rec := range w.tx.Touching(code) {
		if p, ok := rec.(*lots.Packed); ok && p.Unit == code {
			if n, ok := gs1.Read(p.SSCC); ok && n.Kind == gs1.SSCC {
				if uri, ok := link(gs1.Element{AI: "00", Value: n.Digits}); ok {
					return uri
				}
			}
		}
	}
	return w.own("unit", code)
}

// packed identifies the goods of a run: by the product's GTIN with the run as the lot.
func (w *writer) packed(run *lots.Run) string {
	if p, ok := stated[*lots.Product](w.tx, run.Product); ok {
		if n, ok := gs1.Read(p.GTIN); ok && n.Kind == gs1.GTIN {
			if uri, ok := link(gs1.Element{AI: "01", Value: n.Key()}, gs1.Element{AI: "10", Value: run.Run}); ok {
				return uri
			}
		}
	}
	return w.own("run", run.Run)
}

// party identifies a party: by its location number.
func (w *writer) party(code string) string {
	if p, ok := stated[*lots.Party](w.tx, code); ok {
		if uri, ok := link(gs1.Element{AI: "417", Value: strings.TrimSpace(p.GLN)}); ok {
			return uri
		}
	}
	return w.own("party", code)
}

// paper identifies a paper by who wrote it.
func (w *writer) papers(kind, of, document string) []paper {
	if document == "" {
		return nil
	}
	return []paper{{Type: kind, Paper: w.own("document", of+"/"+document)}}
}

// content identifies what a vessel holds from a time on.
func (w *writer) content(vessel string, since int64) string {
	return w.own("content", vessel+"@"+time.Unix(since, 0).In(w.zone).Format("2006-01-02T15:04:05-07:00"))
}

// amount is a quantity of a class, in a unit of UN/ECE Recommendation 20: kilograms, litres, or pieces, which have none.
func amount(class string, n float64, dim lots.Dim) quantity {
	q := quantity{Class: class}
	switch dim {
	case lots.Mass:
		q.UOM, n = "KGM", n/1e6
	case lots.Volume:
		q.UOM, n = "LTR", n/1e3
	}
	if n > 0 {
		q.Quantity = &n
	}
	if q.Quantity == nil {
		q.UOM = ""
	}
	return q
}

func counted(class string, n float64) quantity { return amount(class, n, lots.Pieces) }
