package trace

import (
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Meaning is one thing that a text can mean, and what the text is of it.
type Meaning struct {
	Kind lots.Kind
	Code string
	As   string // what was read: the code itself, a supplier's lot, a date code, a document …
}

// Meanings lists every thing that a scanned or typed text can mean, in whatever form it is given. The error
// is NotFound, and names what comes nearest, where it means nothing.
func Meanings(tx *store.Tx, text string) ([]Meaning, error) {
	r := &resolver{tx: tx, dir: graph.Forward, site: tx.Site()}
	readings, _, err := r.meanings(strings.TrimSpace(text))
	if err != nil {
		return nil, err
	}
	var out []Meaning
	for _, m := range readings {
		for _, x := range r.meant(m) {
			if !slices.ContainsFunc(out, func(y Meaning) bool { return y.Kind == x.Kind && y.Code == x.Code }) {
				out = append(out, x)
			}
		}
	}
	if len(out) == 0 {
		return nil, r.unknown(text, "")
	}
	return out, tx.Err()
}

// meant lists the things of one reading.
func (r *resolver) meant(m reading) []Meaning {
	as := strings.ReplaceAll(m.kind, "-", " ") + " " + m.code
	if m.kind == kindFill {
		var out []Meaning
		for _, n := range r.tx.NodesNamed(m.code) {
			out = append(out, Meaning{lots.KindVessel, n.Home, as})
		}
		return out
	}
	if _, kind, ok := r.tx.Introduces(m.code); ok && string(kind) == m.kind && m.at == nil {
		return []Meaning{{kind, m.code, as}}
	}
	if m.kind == kindDocument {
		return r.papers(m.code, as)
	}
	var out []Meaning
	for _, name := range r.thingsOf(m, nil) {
		kind, code, _ := strings.Cut(name, ":")
		if _, recorded, ok := r.tx.Introduces(code); ok && string(recorded) == kind {
			out = append(out, Meaning{recorded, code, as})
		}
	}
	return out
}

// papers lists the deliveries, shipments and returns that a document went with.
func (r *resolver) papers(document, as string) []Meaning {
	var out []Meaning
	for _, p := range r.tx.PrintedAs(document, true) {
		if p.Kind != kindDocument {
			continue
		}
		switch x, _ := r.tx.Record(p.Entry); x := x.(type) {
		case *lots.Receipt:
			out = append(out, Meaning{lots.KindLot, x.Lot, as})
		case *lots.Shipment:
			out = append(out, Meaning{lots.KindShipment, x.Shipment, as})
		case *lots.Return:
			out = append(out, Meaning{lots.KindReturn, x.Return, as})
		case *lots.Removal:
			out = append(out, Meaning{x.Subject.Kind, x.Subject.Code(), as})
		}
	}
	return out
}
