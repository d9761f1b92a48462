package trace

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"heeltap/lots"
	"heeltap/lots/datecode"
	"heeltap/lots/gs1"
	"heeltap/lots/store"
)

// interpret reads a text that is not recorded as it stands: what is the same but for case, spacing
// and marks; with a time of day behind it or as its product prints it; a GS1 number in another form;
// and each of these without the words around it. The first way that gives anything counts. What a
// worn or misread text may have been is not among it: unknown suggests that.
func (r *resolver) interpret(text, kind string) []reading {
	var at *moment
	if base, when, ok := cutLast(text, "@"); ok {
		if m, err := parseMoment(when, r.site.Zone); err == nil {
			text, at = base, m
		}
	}
	if found := r.asTyped(text, kind, at); len(found) > 0 {
		return found
	}
	for _, said := range datecode.Around(text) {
		found := r.known(said.Text, kind, true, at)
		if len(found) == 0 {
			found = r.asTyped(said.Text, kind, at)
		}
		if len(found) > 0 {
			return asSaid(found, said.Kind)
		}
	}
	return r.worded(text, kind, at)
}

// worded finds the date codes that are the same as a text but for the words around either: what is printed
// BB may be said as "best before", or left out.
func (r *resolver) worded(text, kind string, at *moment) []reading {
	if kind != "" && kind != kindDateCode {
		return nil
	}
	if m := timeBehind.FindStringSubmatch(text); m != nil && at == nil {
		if when, ok := r.timeOfDay(m[2], m[3]); ok {
			text, at = m[1], when
		}
	}
	text = datecode.Bare(text)
	plain := datecode.Plain(text)
	var found []reading
	for _, code := range r.tx.PrintedTexts(kindDateCode) {
		if bare := datecode.Bare(code); plain != "" && datecode.Plain(bare) == plain && datecode.SameNumbers(text, bare) {
			found = append(found, reading{kindDateCode, code, at})
		}
	}
	return found
}

// asTyped reads a text without leaving out words.
func (r *resolver) asTyped(text, kind string, at *moment) []reading {
	found := r.loosely(text, kind, at)
	if len(found) == 0 && at == nil {
		found = r.timed(text, kind)
	}
	if len(found) == 0 {
		found = r.numbered(text, kind, at)
	}
	return found
}

// asSaid keeps what is of the kind that the words around it say; all where none is.
func asSaid(found []reading, said string) []reading {
	fits := func(x reading) bool { return slices.Contains(saidKinds[said], x.kind) }
	if !slices.ContainsFunc(found, fits) {
		return found
	}
	return slices.DeleteFunc(found, func(x reading) bool { return !fits(x) })
}

// saidKinds are the kinds of reading that a word can mean. A lot mark on a package is its date code too
// (Directive 2011/91/EU lets the date stand for the lot).
var saidKinds = map[string][]string{
	datecode.SaidDate: {kindDateCode}, datecode.SaidKeg: {kindKeg, string(lots.KindUnit)}, datecode.SaidPallet: {string(lots.KindUnit), kindSSCC}, datecode.SaidSSCC: {kindSSCC},
	datecode.SaidGTIN: {string(lots.KindProduct)}, datecode.SaidLot: {string(lots.KindLot), kindSupplierLot, kindDateCode}, datecode.SaidRun: {string(lots.KindRun)},
	datecode.SaidBrew: {string(lots.KindBrew)}, datecode.SaidLine: {string(lots.KindLine)},
}

// loosely finds the codes and printed texts that equal a text but for case, blanks and marks.
func (r *resolver) loosely(text, kind string, at *moment) []reading {
	plain := datecode.Plain(text)
	if plain == "" {
		return nil
	}
	var found []reading
	for _, code := range append(r.tx.Codes(), r.tx.PrintedTexts()...) {
		if datecode.Plain(code) == plain && datecode.SameNumbers(text, code) {
			found = addReadings(found, r.known(code, kind, true, at)...)
		}
	}
	if !r.parted {
		return found
	}
	return slices.DeleteFunc(found, func(m reading) bool { return !readOffGoods(m.kind) && datecode.Parted(m.code) != datecode.Parted(text) })
}

// readOffGoods reports whether a kind of text is one that people read off packages and papers as they are spaced there.
func readOffGoods(kind string) bool {
	return slices.Contains([]string{kindDateCode, kindSupplierLot, kindSSCC, kindDocument}, kind)
}

func addReadings(found []reading, more ...reading) []reading {
	for _, x := range more {
		if !slices.ContainsFunc(found, func(o reading) bool { return o.String() == x.String() }) {
			found = append(found, x)
		}
	}
	return found
}

// timeBehind matches a text with a time of day behind it.
var timeBehind = regexp.MustCompile(`(?i)^(.*\S)[\s,;]+(?:at\s+)?(\d{1,2}:\d{2}(?::\d{2})?)\s*(am|pm)?$`)

// timed reads a text that ends in a time of day, or has it where its product prints it.
func (r *resolver) timed(text, kind string) []reading {
	var found []reading
	if m := timeBehind.FindStringSubmatch(text); m != nil {
		if at, ok := r.timeOfDay(m[2], m[3]); ok {
			if found = r.known(m[1], kind, true, at); len(found) == 0 {
				found = r.loosely(m[1], kind, at)
			}
		}
	}
	if kind != "" && kind != kindDateCode {
		return found
	}
	for _, code := range r.tx.PrintedTexts(kindDateCode) {
		if !datecode.MayShow(text, code) {
			continue
		}
		if m, ok := r.fit(text, code); ok && m.Cost == 0 && m.Clock.Whole() {
			if at, ok := r.timeOfDay(m.Time, ""); ok {
				found = addReadings(found, reading{kindDateCode, code, at})
			}
		}
	}
	return found
}

func (r *resolver) timeOfDay(text, half string) (*moment, bool) {
	layouts := []string{"15:04", "15:04:05"}
	if half != "" {
		layouts, text = []string{"3:04PM", "3:04:05PM"}, text+strings.ToUpper(half)
	}
	for i, layout := range layouts {
		if t, err := time.Parse(layout, text); err == nil {
			at, err := parseMoment(t.Format([]string{"15:04", "15:04:05"}[i]), r.site.Zone)
			return at, err == nil
		}
	}
	return nil, false
}

// fit is the best fit of a text to a date code, by the patterns of the products that bear it.
func (r *resolver) fit(text, code string) (best datecode.Match, found bool) {
	asked := map[string]bool{}
	for _, printed := range r.tx.PrintedAs(code, true) {
		run, ok := PrintedBy(r.tx, printed)
		if !ok || asked[run.Product] {
			continue
		}
		asked[run.Product] = true
		patterns, err := Patterns(r.tx, run.Product)
		if err != nil {
			continue // the transaction keeps the failure
		}
		if m, ok := datecode.FitAny(text, code, patterns); ok && (!found || m.Cost < best.Cost) {
			best, found = m, true
		}
	}
	return best, found
}

// PrintedBy is the run that printed a date code; false where the printed text is none.
func PrintedBy(tx *store.Tx, printed store.Printed) (*lots.Run, bool) {
	rec, ok := tx.Record(printed.Entry)
	if !ok || printed.Kind != store.PrintedDateCode {
		return nil, false
	}
	switch x := rec.(type) {
	case *lots.Run:
		return x, true
	case *lots.CodeChange:
		return tx.Run(x.Run)
	}
	return nil, false
}

// numbered reads a GS1 number that is right by its check digit: an SSCC as any way it is written, and a
// GTIN as the products that bear it.
func (r *resolver) numbered(text, kind string, at *moment) []reading {
	if at != nil {
		return nil
	}
	if found := r.keyed(text, kind); len(found) > 0 {
		return found
	}
	return r.scanned(text, kind)
}

// keyed reads an SSCC or a GTIN.
func (r *resolver) keyed(text, kind string) []reading {
	n, ok := gs1.Read(text)
	if !ok || !n.Valid() {
		return nil
	}
	var found []reading
	if n.Kind == gs1.SSCC && (kind == "" || kind == kindSSCC) {
		for _, text := range r.tx.PrintedTexts(kindSSCC) {
			if o, ok := gs1.Read(text); ok && o == (gs1.Number{Kind: gs1.SSCC, Digits: n.Digits, Named: o.Named}) {
				found = append(found, reading{kindSSCC, text, nil})
			}
		}
	}
	if n.Kind == gs1.GTIN && (kind == "" || kind == string(lots.KindProduct)) {
		for _, code := range ProductsOf(r.tx, n) {
			found = append(found, reading{string(lots.KindProduct), code, nil})
		}
	}
	return found
}

// scanned reads a bar code or a Digital Link: an SSCC in it counts first, then the lot of a product, as the run or the
// printed code that it is or as the lot of a supplier, then the product alone.
func (r *resolver) scanned(text, kind string) []reading {
	m, err := gs1.Scan(text)
	if err != nil {
		return nil
	}
	if sscc, ok := m.Value("00"); ok {
		if found := r.keyed("(00)"+sscc, kind); len(found) > 0 {
			return found
		}
	}
	gtin, ok := m.Value("01")
	if !ok {
		gtin, _ = m.Value("02")
	}
	if lot, there := m.Value("10"); there {
		found := r.known(lot, kind, true, nil)
		if mine := slices.DeleteFunc(slices.Clone(found), func(x reading) bool { return !r.isOf(x, gtin) }); len(mine) > 0 {
			return mine
		}
		if len(found) > 0 {
			return found
		}
	}
	return r.keyed("(01)"+gtin, kind)
}

// isOf reports whether a run or a printed code is of a product that bears a GTIN.
func (r *resolver) isOf(x reading, gtin string) bool {
	products := ProductsOf(r.tx, gs1.Number{Kind: gs1.GTIN, Digits: gtin})
	run, ok := r.tx.Run(x.code)
	if ok && x.kind == string(lots.KindRun) {
		return slices.Contains(products, run.Product)
	}
	for _, p := range r.tx.PrintedAs(x.code, true) {
		if run, ok := PrintedBy(r.tx, p); ok && x.kind == kindDateCode && slices.Contains(products, run.Product) {
			return true
		}
	}
	return false
}

// ProductsOf lists the products that bear a GTIN, in whatever length it is written.
func ProductsOf(tx *store.Tx, n gs1.Number) []string {
	var out []string
	for _, code := range tx.CodesOf(lots.KindProduct) {
		p, ok := tx.Product(code)
		if !ok {
			continue
		}
		if o, ok := gs1.Read(p.GTIN); ok && o.Kind == gs1.GTIN && o.Key() == n.Key() {
			out = append(out, code)
		}
	}
	return out
}

// misdialled says that a GS1 number cannot be right; empty where it can, or is none.
func misdialled(text string) string {
	n, ok := gs1.Read(text)
	if !ok || n.Valid() || len(n.Digits) < len("2027031009420") && !n.Named { // shorter ones may be dates and times
		return ""
	}
	digit, _ := gs1.CheckDigit(n.Digits[:len(n.Digits)-1])
	return fmt.Sprintf("As %s %s it has a digit wrong: its check digit would be %c", article(n.Kind), strings.ToUpper(n.Kind), digit)
}

func article(kind string) string {
	if kind == gs1.SSCC {
		return "an"
	}
	return "a"
}
