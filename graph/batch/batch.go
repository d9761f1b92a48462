// Package batch writes the batch record of one brew, package run or unit: its whole written
// history as one document, with every entry it rests on and every correction made. It
// gathers what trace and the records say, and judges nothing.
package batch

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"heeltap/graph"
	"heeltap/graph/claims"
	"heeltap/graph/trace"
	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Record writes the batch record of a brew, run or unit; NotFound where the code is none.
// The same journal gives the same document.
func Record(tx *store.Tx, code string, letter bool) (*paper.Document, error) {
	code, err := trace.Recorded(tx, code, lots.KindBrew, lots.KindRun, lots.KindUnit)
	if err != nil {
		return nil, err
	}
	thing, ok := tx.Thing(code)
	if !ok {
		return nil, lots.Errorf(lots.NotFound, "nothing is called %q; the nearest are: %s", code, cmp.Or(strings.Join(tx.Nearest(code, lots.KindBrew, lots.KindRun, lots.KindUnit), ", "), "-"))
	}
	switch thing.Kind {
	case lots.KindBrew, lots.KindRun, lots.KindUnit:
	default:
		return nil, lots.Errorf(lots.Invalid, "%s is a %s: a batch record is of a brew, a run or a unit", code, thing.Kind)
	}
	w := &writer{tx: tx, code: code, kind: thing.Kind, entries: map[int64]bool{}, named: map[string]bool{}, behind: map[string]bool{}, held: map[string]span{}, yeastOf: map[string]bool{}, others: map[string]bool{}}
	from := []string{string(thing.Kind) + ":" + code}
	if w.back, err = trace.Ask(tx, trace.Question{Dir: graph.Back, From: from}); err != nil {
		return nil, err
	}
	if w.ahead, err = trace.Ask(tx, trace.Question{Dir: graph.Forward, From: from}); err != nil {
		return nil, err
	}
	return w.document(letter)
}

type writer struct {
	tx          *store.Tx
	code        string
	kind        lots.Kind
	back, ahead *trace.Answer
	entries     map[int64]bool  // what the document rests on
	named       map[string]bool // codes whose every row belongs to it
	behind      map[string]bool // brews and runs that stand behind it
	held        map[string]span // vessels that do, and when
	yeastOf     map[string]bool // crops by which a brew reaches others
	others      map[string]bool // what a brew reaches by them
}

func (w *writer) document(letter bool) (*paper.Document, error) {
	head, err := w.tx.Head()
	if err != nil {
		return nil, err
	}
	last, _, err := w.tx.Entry(head)
	if err != nil {
		return nil, err
	}
	d := &paper.Document{Title: "Batch record of " + string(w.kind) + " " + w.code, Subtitle: w.tx.Site().Name, Letter: letter}
	if last != nil {
		d.Dated = last.Recorded
		d.Footer = fmt.Sprintf("%s, as known with entry %d of %s, hash %x", w.tx.Site().Name, head, w.time(last.Recorded.Unix()), last.Hash[:8])
	}
	w.setApart()
	w.gather()
	if d.Parts, err = w.stopped(); err != nil {
		return nil, err
	}
	for _, part := range [][]paper.Part{w.what(), w.inputs(), w.vessels(), w.inTanks(), w.cleans(), w.yeast(), w.runs(), w.units(), w.findings()} {
		d.Parts = append(d.Parts, part...)
	}
	journal, err := w.journal()
	if err != nil {
		return nil, err
	}
	d.Parts = append(d.Parts, journal...)
	d.Parts = append(d.Parts, paper.Heading{Level: 1, Text: "Reviewed"}, paper.Signatures{Roles: []string{"Quality lead"}})
	return d, w.tx.Err()
}

// gather notes the entries that the record rests on.
func (w *writer) gather() {
	for _, l := range w.back.Links() {
		w.entries[l.Entry] = true
	}
	for _, l := range w.back.Lots {
		w.introduced(l.Code)
	}
	for _, b := range w.back.Brews {
		w.introduced(b.Code)
	}
	for _, r := range w.back.Runs {
		w.introduced(r.Code)
	}
	w.name(w.code)
	for _, u := range w.ahead.Units {
		if w.ours(u) {
			w.name(u.Code)
		}
	}
}

// introduced notes the entries that say what a code is: a receipt or crop, the rows of a brew, a run.
func (w *writer) introduced(code string) {
	for _, rec := range w.tx.Touching(code) {
		if row, ok := w.tx.Row(rec.Entry()); ok && row.Sheet.Code != "" && row.Row[row.Sheet.Code] == code {
			w.entries[rec.Entry()] = true
		}
	}
}

// name notes the entries that stand and name a code.
func (w *writer) name(code string) {
	w.named[code] = true
	for _, rec := range w.tx.Touching(code) {
		w.entries[rec.Entry()] = true
	}
}

// ours reports whether a unit belongs to the record: it is it, or was packed in the run, or
// comes from the brew by content.
func (w *writer) ours(u trace.Unit) bool {
	switch w.kind {
	case lots.KindUnit:
		return u.Code == w.code
	case lots.KindRun:
		return slices.Contains(u.Runs, w.code)
	}
	return w.itself(u.Reached)
}

func (w *writer) time(unix int64) string {
	return strings.Replace(lots.RFC3339(unix, w.tx.Site().Zone)[:16], "T", " ", 1)
}

func (w *writer) rows(code string, sheets ...string) []lots.Entered {
	rows, err := w.tx.Naming(code)
	if err != nil {
		return nil // the transaction carries it
	}
	return slices.DeleteFunc(rows, func(r lots.Entered) bool { return !slices.Contains(sheets, r.Sheet.Name) })
}

// table shows rows of one sheet, with the columns that any of them fills.
func table(rows []lots.Entered, leave ...string) paper.Table {
	t := paper.Table{}
	var columns []string
	if len(rows) > 0 {
		for _, c := range rows[0].Sheet.Columns {
			if !slices.Contains(leave, c.Name) && slices.ContainsFunc(rows, func(r lots.Entered) bool { return r.Row[c.Name] != "" }) {
				columns = append(columns, c.Name)
			}
		}
	}
	for _, c := range columns {
		t.Head = append(t.Head, strings.ReplaceAll(c, "_", " "))
	}
	t.Head = append(t.Head, "#entry")
	for _, r := range rows {
		var cells []string
		for _, c := range columns {
			cells = append(cells, r.Row[c])
		}
		t.Rows = append(t.Rows, append(cells, strconv.FormatInt(r.Seq, 10)))
	}
	return t
}

// section is a table below its heading, or a word where there is nothing.
func section(level int, title string, t paper.Table, none string) []paper.Part {
	if len(t.Rows) == 0 {
		return []paper.Part{paper.Heading{Level: level, Text: title}, paper.Text{Text: none}}
	}
	return []paper.Part{paper.Heading{Level: level, Text: title}, t}
}

func (w *writer) what() []paper.Part {
	sheet := map[lots.Kind]string{lots.KindBrew: "brews", lots.KindRun: "runs", lots.KindUnit: "units"}[w.kind]
	return section(1, "What it is", table(w.rows(w.code, sheet)), "")
}

func (w *writer) inputs() []paper.Part {
	t := paper.Table{Head: []string{"lot", "item", "supplier", "supplier's lot", "#amount in it", "band", "by way of"},
		Note: "Amounts assume perfect mixing within each fill: they inform, and are never a reason to call beer safe. Possible: not recorded, and not ruled out."}
	inputs := slices.Clone(w.back.Lots)
	slices.SortStableFunc(inputs, func(a, b trace.Lot) int { return cmp.Compare(len(a.Why), len(b.Why)) }) // what went straight in comes first
	for _, l := range inputs {
		supplier, printed, amount := "-", "-", "unknown"
		if l.Supplier != nil {
			supplier = w.party(*l.Supplier)
		}
		if l.SupplierLot != nil {
			printed = *l.SupplierLot
		}
		if l.Amount.Amount != nil {
			amount = lots.FigureOf(*l.Amount.Amount, *l.Unit) + " " + *l.Unit
		}
		t.Rows = append(t.Rows, []string{l.Code, l.Item, supplier, printed, amount, l.Band, strings.Join(l.Why, " < ")})
	}
	parts := section(1, "Lots that went into it", t, "No lot stands behind it: the records have a hole.")
	if w.kind == lots.KindBrew {
		parts = append(parts, section(1, "What the brew was made with", table(w.rows(w.code, "brew_inputs"), "brew"), "No input is recorded.")...)
	}
	return parts
}

func num(x float64) string { return lots.Figure(x) }

func (w *writer) vessels() []paper.Part {
	site := w.tx.Site()
	t := paper.Table{Head: []string{"vessel", "from", "to", "#volume at its start", "band"}, Note: "What beer only passes through (a hose, a filler) holds no volume."}
	fills := slices.Clone(w.fills())
	slices.SortStableFunc(fills, func(a, b trace.Fill) int { return cmp.Or(cmp.Compare(a.Since, b.Since), cmp.Compare(a.Code, b.Code)) })
	for _, f := range fills {
		until, volume := "now", ""
		if f.Until != nil {
			until = minute(*f.Until)
		}
		if f.Volume > 0 {
			volume = volumeText(site, f.Volume*1000)
		}
		t.Rows = append(t.Rows, []string{f.Vessel, minute(f.Since), until, volume, f.Band})
	}
	return section(1, "Vessels it went through, and what else passed with it", t, "None.")
}

// volumeText writes mL in the site's unit.
func volumeText(site lots.Site, mL float64) string {
	return num(site.VolumeUnit.Of(mL)) + " " + string(site.VolumeUnit)
}

// minute is a time without its seconds and offset; a bare date stays one.
func minute(at string) string {
	if len(at) < 16 {
		return at
	}
	return strings.Replace(at[:16], "T", " ", 1)
}

// cleans lists the last clean before each vessel's first fill, and those while it was there.
func (w *writer) cleans() []paper.Part {
	times := map[string]span{} // of each vessel its first fill and the beginning of its last
	for _, f := range w.fills() {
		at := spanOf(f).from
		if was, ok := times[f.Vessel]; ok {
			times[f.Vessel] = span{min(at, was.from), max(at, was.to)}
		} else {
			times[f.Vessel] = span{at, at}
		}
	}
	t := paper.Table{Head: []string{"vessel", "cleaned", "method", "verified", "by", "#entry"}}
	for _, vessel := range slices.Sorted(maps.Keys(times)) {
		var before *lots.Clean
		var during []*lots.Clean
		for _, rec := range w.tx.TouchingOf(vessel, "cleans") {
			c, ok := rec.(*lots.Clean)
			switch {
			case !ok:
			case c.At.From > times[vessel].from && c.At.From <= times[vessel].to:
				during = append(during, c)
			case c.At.From <= times[vessel].from && (before == nil || c.At.From >= before.At.From):
				before = c
			}
		}
		if before == nil {
			t.Rows = append(t.Rows, []string{vessel, "no clean is recorded before " + w.time(times[vessel].from), "", "", "", ""})
		} else {
			during = append([]*lots.Clean{before}, during...)
		}
		for _, c := range during {
			t.Rows = append(t.Rows, w.clean(vessel, c))
		}
	}
	return section(1, "Cleans before and between", t, "No vessel is known.")
}

func (w *writer) clean(vessel string, c *lots.Clean) []string {
	verified := "no"
	if c.Verified {
		verified = "yes"
	}
	w.entries[c.Seq] = true
	return []string{vessel, minute(c.At.Text(w.tx.Site().Zone)), c.Method, verified, c.By, strconv.FormatInt(c.Seq, 10)}
}

// yeast lists the crops behind it, from the youngest to the oldest.
func (w *writer) yeast() []paper.Part {
	t := paper.Table{Head: []string{"crop", "taken from", "at", "band", "#entry"}}
	zone := w.tx.Site().Zone
	var crops []*lots.Crop
	band := map[string]string{}
	for _, l := range w.back.Lots {
		for _, rec := range w.tx.Touching(l.Code) {
			if c, ok := rec.(*lots.Crop); ok && c.Lot == l.Code {
				crops = append(crops, c)
				band[c.Lot] = l.Band
			}
		}
	}
	slices.SortFunc(crops, func(a, b *lots.Crop) int { return cmp.Or(cmp.Compare(b.At.From, a.At.From), cmp.Compare(a.Lot, b.Lot)) })
	for _, c := range crops {
		t.Rows = append(t.Rows, []string{c.Lot, c.Vessel, minute(c.At.Text(zone)), band[c.Lot], strconv.FormatInt(c.Seq, 10)})
	}
	return section(1, "Yeast: the crops behind it", t, "No crop stands behind it.")
}

// runs shows the runs that it is, came from or went to: feeds, changes of the code, balance.
func (w *writer) runs() []paper.Part {
	var codes []string
	switch w.kind {
	case lots.KindRun:
		codes = []string{w.code}
	case lots.KindUnit:
		for _, u := range w.back.Units {
			if u.Code == w.code {
				codes = u.Runs
			}
		}
	default:
		for _, r := range w.ahead.Runs {
			if w.itself(r.Reached) {
				codes = append(codes, r.Code)
			}
		}
	}
	var parts []paper.Part
	for _, code := range codes {
		parts = append(parts, paper.Heading{Level: 1, Text: "Package run " + code}, table(w.rows(code, "runs")))
		if changes := w.rows(code, "codes"); len(changes) > 0 {
			parts = append(parts, paper.Heading{Level: 2, Text: "Changes of the printed code"}, table(changes, "run"))
		}
		parts = append(parts, section(2, "Feeds: what it was packed from, and what changed in mid-run", table(w.rows(code, "feeds"), "run"), "None is recorded.")...)
		parts = append(parts, w.runBalance(code)...)
	}
	return parts
}

// runBalance sets what was filled against what hangs on units.
func (w *writer) runBalance(code string) []paper.Part {
	var packed, made int64
	var drawn, filled float64 // mL
	unit := "cases"
	for _, rec := range w.tx.Touching(code) {
		switch x := rec.(type) {
		case *lots.Packed:
			if x.Run == code {
				packed += x.Quantity
				if x.UnitKind == "keg" {
					unit = "kegs"
				}
			}
		case *lots.Run:
			if x.Run != code {
				continue
			}
			if product, ok := w.tx.Product(x.Product); ok {
				made = x.Good / max(1, product.PerCase)
				filled = float64((x.Good + x.Rejects) * product.ContainerML)
				if product.PerCase <= 1 && unit == "cases" {
					unit = "packages" // single ones: kegs, where a unit says so
				}
			}
		case *lots.Feed:
			if x.Run == code {
				for _, d := range w.tx.DrawsOf(x.Seq) {
					drawn += d.Qty
				}
			}
		}
	}
	return []paper.Part{paper.Facts{Rows: [][2]string{
		{"Good, in whole " + unit, strconv.FormatInt(made, 10)}, {"On units", strconv.FormatInt(packed, 10)}, {"On no unit", strconv.FormatInt(max(0, made-packed), 10)},
		{"Filled, good and rejects", volumeText(w.tx.Site(), filled)}, {"Drawn from tanks by the books", volumeText(w.tx.Site(), drawn)},
	}}}
}

// units shows the units and where they went.
func (w *writer) units() []paper.Part {
	t := paper.Table{Head: []string{"unit", "runs", "date codes", "#packed", "#shipped", "#returned", "#removed", "#repacked", "#here", "counted", "held"},
		Note: "Cases or kegs. Here: by the books, which is no evidence that it stands there; counted: as last counted, and when."}
	s := paper.Table{Head: []string{"unit", "shipment", "consignee", "#quantity", "at", "document"}}
	ours := map[string]bool{}
	for _, u := range w.ahead.Units {
		if !w.ours(u) {
			continue
		}
		ours[u.Code] = true
		held := ""
		if u.Held {
			held = "held"
		} else if u.HeldPossible {
			held = "possibly"
		}
		b := u.Books
		t.Rows = append(t.Rows, []string{u.Code, strings.Join(u.Runs, " "), u.CodesText(), strconv.FormatInt(b.Quantity, 10), num(b.Shipped), num(b.Returned), num(b.Removed), num(b.Repacked), num(b.OnHand()), w.counted(u.Code), held})
	}
	for _, x := range w.ahead.Shipments {
		if !slices.ContainsFunc(strings.Split(x.Unit, "|"), func(u string) bool { return ours[u] }) {
			continue
		}
		document := ""
		if x.Document != nil {
			document = *x.Document
		}
		s.Rows = append(s.Rows, []string{x.Unit, x.Code, w.party(x.Consignee), strconv.FormatInt(x.Quantity, 10), minute(x.ShippedAt), document})
	}
	parts := append(section(1, "Units", t, "Nothing was packed from it."), section(1, "Where they went", s, "Nothing was shipped.")...)
	return append(parts, w.inBulk()...)
}

// inBulk shows what left of a brew without being packed; of a run and a unit there is nothing such.
func (w *writer) inBulk() []paper.Part {
	if w.kind != lots.KindBrew || len(w.ahead.Bulk) == 0 {
		return nil
	}
	t := paper.Table{Head: []string{"from", "what", "shipment", "consignee", "#quantity", "at", "document"}}
	for _, x := range w.ahead.Bulk {
		document := ""
		if x.Document != nil {
			document = *x.Document
		}
		t.Rows = append(t.Rows, []string{x.Where(), x.Goods, x.Code, w.party(x.Consignee), x.Amount(), minute(x.ShippedAt), document})
	}
	return section(1, "What left in bulk", t, "")
}

// counted is the last count of a unit.
func (w *writer) counted(unit string) string {
	c, ok := trace.CountOf(w.tx, unit)
	if !ok {
		return ""
	}
	return num(c.Said) + ", " + minute(c.At.Text(w.tx.Site().Zone))
}

func (w *writer) findings() []paper.Part {
	t := paper.Table{Head: []string{"at", "finding"}}
	seen := map[trace.Finding]bool{}
	for _, f := range append(slices.Clone(w.back.Findings), w.ahead.Findings...) {
		if !seen[f] && !w.others[f.Code] {
			seen[f] = true
			t.Rows = append(t.Rows, []string{f.Code, f.Text})
		}
	}
	if w.kind != lots.KindBrew {
		if a, err := claims.Of(w.tx, string(w.kind)+":"+w.code); err == nil {
			for _, c := range a.Carried {
				if c.Missing {
					t.Rows = append(t.Rows, []string{c.Lot, fmt.Sprintf("carries %s (%s), which the label of %s does not name", c.Word, c.Band, strings.Join(a.Products, ", "))})
				}
			}
		}
	}
	return section(1, "Open findings", t, "None that touches it was found. That does not prove the records complete.")
}
