package tag

import (
	"cmp"

	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/gs1"
	"heeltap/lots/store"
)

// Link gives tags a GS1 Digital Link below a server's address (or GS1's own, where there is none) in place of the plain
// code: pallets and kegs that have an SSCC by it, runs by their product's GTIN with the run as the lot. It says which
// tags keep their code, because they have no such number or it is wrong.
func Link(tx *store.Tx, tags []labels.Tag, base string) (kept []string, err error) {
	stem := cmp.Or(base, gs1.CanonicalStem)
	for i := range tags {
		m, ok := keysOf(tx, tags[i])
		if !ok {
			kept = append(kept, tags[i].Code)
			continue
		}
		if tags[i].Link, err = gs1.Link(stem, m); err != nil {
			return nil, lots.Errorf(lots.Invalid, "%w", err)
		}
	}
	return kept, tx.Err()
}

// keysOf are the GS1 keys of what a tag hangs on; false where it has none that can be read back.
func keysOf(tx *store.Tx, t labels.Tag) (gs1.Message, bool) {
	var m gs1.Message
	switch t.Kind {
	case labels.KindPallet, labels.KindKeg:
		m.Elements = []gs1.Element{{AI: "00", Value: t.SSCC}}
	case labels.KindRun:
		run, ok := tx.Run(t.Code)
		if !ok {
			return m, false
		}
		p, ok := tx.Product(run.Product)
		if !ok {
			return m, false
		}
		n, ok := gs1.Read(p.GTIN)
		if !ok || n.Kind != gs1.GTIN {
			return m, false
		}
		m.Elements = []gs1.Element{{AI: "01", Value: n.Key()}, {AI: "10", Value: t.Code}}
	}
	_, err := gs1.Parse(m.Raw())
	return m, err == nil && len(m.Elements) > 0
}
