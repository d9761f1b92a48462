// Package tag says on a tag what the records know of a lot, vessel, run, pallet or keg now.
package tag

import (
	"bytes"
	"cmp"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/gs1"
	"heeltap/lots/store"
)

// Of says on tags what the records know of codes, or of what their QR codes hold.
func Of(tx *store.Tx, codes []string) ([]labels.Tag, error) {
	holds, err := trace.StandingHolds(tx)
	if err != nil {
		return nil, err
	}
	var tags []labels.Tag
	for _, code := range codes {
		tag, err := one(tx, holds, labels.ParsePayload(code))
		if err != nil {
			return nil, err
		}
		tags = append(tags, tag)
	}
	return tags, nil
}

// one says on a tag what the records know of a code.
func one(tx *store.Tx, holds *trace.Standing, code string) (labels.Tag, error) {
	zone := tx.Site().Zone
	code, err := trace.Recorded(tx, code, lots.KindLot, lots.KindVessel, lots.KindRun, lots.KindUnit)
	if err != nil {
		return labels.Tag{}, err
	}
	tag := labels.Tag{Code: code}
	rows, err := tx.RowsOf(code)
	if err != nil {
		return tag, err
	}
	if len(rows) == 0 || rows[0].Sheet.Code == "" {
		return tag, lots.Errorf(lots.NotFound, "no lot, vessel, run, pallet or keg is called %q; the nearest are: %s", code, cmp.Or(strings.Join(tx.Nearest(code, lots.KindLot, lots.KindVessel, lots.KindRun, lots.KindUnit), ", "), "none"))
	}
	first, _ := tx.Record(rows[0].Seq)
	switch x := first.(type) {
	case *lots.Receipt:
		tag.Kind, tag.Title, tag.SupplierLot, tag.BestBy = labels.KindLot, nameOf(tx, x.Item), x.SupplierLot, x.BestBy
		tag.Quantity, tag.Received = lots.Figure(x.Unit.Of(float64(x.Qty.N)))+" "+string(x.Unit), dayOf(x.At, zone)
		tag.Status, tag.Refused = received(x)
	case *lots.Crop:
		tag.Kind, tag.Title, tag.SupplierLot = labels.KindLot, nameOf(tx, x.Item), "-"
		tag.Quantity, tag.Status = lots.Figure(x.Unit.Of(float64(x.Qty.N)))+" "+string(x.Unit), "cropped"
		tag.Extra = []labels.Row{{Name: "Cropped", Text: dayOf(x.At, zone)}, {Name: "From", Text: x.Vessel}}
	case *lots.Vessel:
		tag.Kind, tag.Title = labels.KindVessel, x.Kind
		tag.Extra = []labels.Row{{Name: "Where", Text: x.Place}}
	case *lots.Run:
		tag.Kind, tag.Title = labels.KindRun, nameOf(tx, x.Product)
		tag.Extra = []labels.Row{{Name: "Date code", Text: strings.Join(trace.CodesOfRun(tx, x), ", ")}, {Name: "Packed", Text: dayOf(x.Started, zone)}, {Name: "Line", Text: x.Line}}
	case *lots.Packed:
		unitTag(tx, &tag, rows, zone)
	default:
		return tag, lots.Errorf(lots.Invalid, "%s is a %s: tags are for lots, vessels, runs, pallets and kegs", code, rows[0].Sheet.Noun)
	}
	held, err := holds.On(lots.CodeKind(rows[0].Sheet), code)
	switch {
	case tag.Refused: // for good, whatever else stops it
	case held == graph.In:
		tag.Status = "ON HOLD"
	case held == graph.Possible:
		tag.Status = "POSSIBLY ON HOLD"
	}
	return tag, err
}

// received says what became of a lot at the dock; of one that came in on hold that it was released, for
// the holds that stand are told over it.
func received(r *lots.Receipt) (status string, refused bool) {
	switch r.Status {
	case "rejected":
		return "REJECTED", true
	case "hold":
		return "released", false
	}
	return "accepted", false
}

// codesText names the date codes on a row of a unit, each with its part where there are several.
func codesText(tx *store.Tx, p *lots.Packed) string {
	noun := "case"
	if p.UnitKind == "keg" {
		noun = "keg"
	}
	return trace.CodesText(trace.CodePartsOfRow(tx, p), noun)
}

// unitTag fills in the tag of a pallet, stack or keg from all its rows.
func unitTag(tx *store.Tx, tag *labels.Tag, rows []lots.Entered, zone *time.Location) {
	var quantity int64
	var runs, products []string
	unit := "case"
	for _, r := range rows {
		rec, _ := tx.Record(r.Seq)
		p := rec.(*lots.Packed)
		quantity += p.Quantity
		tag.Kind = labels.KindPallet
		if p.UnitKind == "keg" {
			tag.Kind, unit = labels.KindKeg, "keg"
		}
		runs = append(runs, p.Run)
		for _, rec := range tx.Touching(p.Run) {
			if run, ok := rec.(*lots.Run); ok && run.Run == p.Run {
				products = append(products, nameOf(tx, run.Product))
				tag.Extra = append(tag.Extra, labels.Row{Name: "Date code", Text: codesText(tx, p)}, labels.Row{Name: "Packed", Text: dayOf(run.Started, zone)})
			}
		}
		if p.SSCC != "" {
			tag.SSCC = digitsOf(p.SSCC)
		}
	}
	tag.Quantity = counted(quantity, unit)
	if here := trace.BooksOf(tx, tag.Code).OnHand(); here > 0 && here < float64(quantity) {
		tag.Quantity = lots.Figure(here) + " of " + tag.Quantity
	}
	slices.Sort(products)
	tag.Title = strings.Join(slices.Compact(products), ", ")
	tag.Extra = append([]labels.Row{{Name: "Run", Text: strings.Join(runs, ", ")}}, tag.Extra...)
}

// digitsOf are the digits of an SSCC, however it was typed; another text is left as it is.
func digitsOf(sscc string) string {
	if n, ok := gs1.Read(sscc); ok && n.Kind == gs1.SSCC {
		return n.Digits
	}
	return sscc
}

func dayOf(w lots.When, zone *time.Location) string {
	return time.Unix(w.From, 0).In(zone).Format(time.DateOnly)
}

// nameOf is what a person calls an item or product.
func nameOf(tx *store.Tx, code string) string {
	rows, err := tx.RowsOf(code)
	if err != nil || len(rows) == 0 {
		return code
	}
	return cmp.Or(rows[0].Row["name"], code)
}

// Copies repeats each tag, one copy after the other.
func Copies(tags []labels.Tag, n int) (out []labels.Tag) {
	for _, t := range tags {
		for range n {
			out = append(out, t)
		}
	}
	return out
}

// Draw draws tags in the format that a file's ending asks for.
func Draw(tags []labels.Tag, s labels.Stock, out, address string) ([]byte, error) {
	ending := strings.ToLower(filepath.Ext(out))
	if (ending == ".png" || ending == ".svg") && len(tags) > 1 {
		return nil, fmt.Errorf("%s holds one tag: print several to a .pdf", out)
	}
	switch ending {
	case ".pdf":
		var b bytes.Buffer
		err := labels.PDF(&b, tags, s, labels.PrintOptions{Base: address})
		return b.Bytes(), err
	case ".png":
		return labels.PNG(tags[0], labels.ImageOptions{Stock: s, Base: address})
	case ".svg":
		return labels.SVG(tags[0], labels.ImageOptions{Stock: s, Base: address})
	}
	return nil, fmt.Errorf("%s: the name must end in .pdf, .png or .svg", out)
}

func counted(n int64, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.FormatInt(n, 10) + " " + one + "s"
}
