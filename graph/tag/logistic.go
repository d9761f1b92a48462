package tag

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/gs1"
	"heeltap/lots/store"
)

// Logistic makes logistic labels of tags: of pallets and kegs with an SSCC. What a pallet holds is said in bar codes only
// where all of it is one product of one run with one best-before day; of a mixed one only the SSCC speaks (GS1 General
// Specifications, 2.2.1 and 3.2.3: AI 02 is of trade items that are all the same). Its QR code holds a Digital Link of the SSCC. Notes
// say why a content is left out; from stands on top.
func Logistic(tx *store.Tx, tags []labels.Tag, base string, from []string) (notes []string, err error) {
	kept, err := Link(tx, tags, base)
	if err != nil {
		return nil, err
	}
	for i := range tags {
		t := &tags[i]
		n, ok := gs1.Read(t.SSCC)
		if t.Kind != labels.KindPallet && t.Kind != labels.KindKeg {
			return nil, lots.Errorf(lots.Invalid, "%s is a %s: logistic labels are for pallets and kegs", t.Code, t.Kind)
		}
		if !ok || n.Kind != gs1.SSCC || !n.Valid() || slices.Contains(kept, t.Code) {
			return nil, lots.Errorf(lots.Conflict, "%s has no SSCC that is right: heeltap keys give %s gives it one, if a company prefix is set", t.Code, t.Code)
		}
		l := &labels.Logistic{From: from, SSCC: fieldOf("00", n.Digits, grouped(n.Digits))}
		var why string
		if l.Content, why, err = contentOf(tx, t); err != nil {
			return nil, err
		}
		if why != "" {
			notes = append(notes, t.Code+": "+why)
		}
		t.Logistic = l
	}
	return notes, tx.Err()
}

// Cramped says which fields a size of logistic label has no bar code for.
func Cramped(tags []labels.Tag, s labels.Stock) (notes []string) {
	for _, t := range tags {
		if t.Logistic == nil {
			continue
		}
		var ids []string
		for _, f := range t.Logistic.Unprinted(s) {
			ids = append(ids, f.Title)
		}
		if len(ids) > 0 {
			notes = append(notes, fmt.Sprintf("%s: %s stand as text alone, for want of room: print it on a5 to have them as bar codes", t.Code, strings.Join(ids, " and ")))
		}
	}
	return notes
}

func fieldOf(ai, value, text string) labels.Field {
	known, _ := gs1.Find(ai)
	title := known.Title
	if ai == "15" {
		title = "BEST BEFORE"
	}
	return labels.Field{AI: ai, Value: value, Fixed: known.Fixed, Title: title, Text: text}
}

// grouped sets digits apart in fours, from the left, to be read aloud.
func grouped(digits string) string {
	var b strings.Builder
	for i, d := range digits {
		if i > 0 && i%4 == 0 {
			b.WriteByte(' ')
		}
		b.WriteRune(d)
	}
	return b.String()
}

// contentOf says what a unit holds, where it is all of one kind; else why not.
func contentOf(tx *store.Tx, t *labels.Tag) (out []labels.Field, why string, err error) {
	rows, err := tx.RowsOf(t.Code)
	if err != nil {
		return nil, "", err
	}
	var run *lots.Run
	var quantity int64
	from, to := int64(0), int64(0)
	for _, r := range rows {
		rec, _ := tx.Record(r.Seq)
		p, ok := rec.(*lots.Packed)
		if !ok {
			continue
		}
		if run != nil && run.Run != p.Run {
			return nil, "it holds more than one run, so its bar code says nothing of its content", nil
		}
		if run, ok = tx.Run(p.Run); !ok {
			return nil, "its run is not recorded", tx.Err()
		}
		quantity += p.Quantity
		first, last := run.Started.From, run.Ended.To
		if p.HasFirst {
			first = p.First.From
		}
		if p.HasLast {
			last = p.Last.To
		}
		if from == 0 || first < from {
			from = first
		}
		to = max(to, last)
	}
	if run == nil {
		return nil, "it has no row", nil
	}
	for _, rec := range tx.Feeds(run.Run) {
		for _, code := range rec.From.Codes {
			if thing, ok := tx.Thing(code); ok && thing.Kind == lots.KindUnit {
				return nil, "it was packed anew from other pallets, so its bar code says nothing of its content", nil
			}
		}
	}
	product, ok := tx.Product(run.Product)
	n, isNumber := gs1.Number{}, false
	if ok {
		n, isNumber = gs1.Read(product.GTIN)
	}
	if !isNumber || n.Kind != gs1.GTIN || !n.Valid() {
		return nil, run.Product + " has no GTIN, so the bar code says nothing of the content: heeltap keys give " + run.Product, nil
	}
	if t.Kind == labels.KindKeg {
		out = append(out, fieldOf("01", n.Key(), n.Key()))
	} else {
		out = append(out, fieldOf("02", n.Key(), n.Key()), fieldOf("37", strconv.FormatInt(quantity, 10), strconv.FormatInt(quantity, 10)))
	}
	zone := tx.Site().Zone
	day, last := time.Unix(from, 0).In(zone), time.Unix(max(from, to-1), 0).In(zone)
	lot := fieldOf("10", run.Run, run.Run)
	if _, err := gs1.Parse("01" + n.Key() + "10" + run.Run); err != nil {
		return out, "its run " + run.Run + " cannot stand in a bar code as a lot", nil
	}
	if day.Format(time.DateOnly) != last.Format(time.DateOnly) {
		return append(out, lot), "it was packed on more than one day, so its bar code gives no best-before", nil
	}
	ai, when := "13", day
	if product.ShelfLifeDays > 0 {
		ai, when = "15", day.AddDate(0, 0, int(product.ShelfLifeDays))
	}
	return append(out, lot, fieldOf(ai, when.Format("060102"), when.Format(time.DateOnly))), "", tx.Err()
}
