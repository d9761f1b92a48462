// Package provide puts together who supplied what and who received what, one step back and one step on, as authorities ask for it.
package provide

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/labels/table"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Scope is what the sheets are about: a time, or what an answer reaches.
type Scope struct {
	From, To time.Time     // half open; used where Answer is nil
	Answer   *trace.Answer // a recall's scope
}

// Provided is what was put together.
type Provided struct {
	Sheets     []table.Sheet
	Received   int // rows
	Released   int
	Incomplete int // rows of both that lack something the rules ask for
}

// Headings of the sheets. Sources: 21 CFR 1.337(a) for what comes in and 1.345(a) for what leaves, each six items: name and address of
// the other firm, description, date, lot, quantity and how packaged, and the transporter; Regulation (EC) 178/2002, Article 18, asks
// for the first of each. 1.345(b) asks for the source of each ingredient of every lot of finished product.
var (
	receivedHead = []string{"date received", "our lot", "item", "description", "kind", "supplier's lot", "best by", "quantity", "unit", "source", "source's name", "source's address", "source's telephone", "source's e-mail", "source's GLN",
		"transporter", "transporter's address", "transporter's telephone", "document", "status", "entry", "missing"}
	releasedHead = []string{"date released", "shipment", "what left", "SSCC", "product", "description", "GTIN", "lot", "date codes", "quantity", "how packaged", "recipient", "recipient's name", "recipient's address", "recipient's telephone", "recipient's e-mail", "recipient's GLN",
		"transporter", "transporter's address", "transporter's telephone", "document", "certain", "entry", "missing"}
	sourcesHead = []string{"finished lot", "product", "ingredient lot", "item", "description", "supplier's lot", "source", "source's name", "certain"}
	keepHead    = []string{"rule", "applies to", "keep for", "records of these goods until", "source"}
)

// Of puts the sheets together.
func Of(tx *store.Tx, s Scope) (*Provided, error) {
	m := &maker{tx: tx, zone: tx.Site().Zone, scope: s, lots: map[string]bool{}, shipments: map[string]string{}, runs: map[string]bool{}}
	if s.Answer != nil {
		m.within(s.Answer)
	}
	released, err := m.released()
	if err != nil {
		return nil, err
	}
	sources, err := m.sources()
	if err != nil {
		return nil, err
	}
	received, err := m.received()
	if err != nil {
		return nil, err
	}
	out := &Provided{Received: len(received), Released: len(released), Incomplete: m.incomplete}
	out.Sheets = []table.Sheet{sheetOf("Received", receivedHead, received), sheetOf("Released", releasedHead, released), sheetOf("Sources", sourcesHead, sources), sheetOf("Keep until", keepHead, m.keep())}
	return out, tx.Err()
}

func sheetOf(name string, head []string, rows [][]string) table.Sheet {
	slices.SortStableFunc(rows, func(a, b []string) int { return slices.Compare(a, b) })
	return table.Sheet{Name: name, Rows: append([][]string{head}, rows...), More: "… and more: see the records"}
}

type maker struct {
	tx         *store.Tx
	zone       *time.Location
	scope      Scope
	lots       map[string]bool   // of the scope
	shipments  map[string]string // of the scope, with their band
	runs       map[string]bool   // that released goods are of
	last       time.Time         // the latest day that goods came or left
	longest    int64             // the longest shelf life among what left, days; 0 where none is known
	incomplete int
}

// within takes from an answer what it reaches: the lots it names, and what left.
func (m *maker) within(a *trace.Answer) {
	for _, f := range a.From {
		m.lots[f.Code] = true
	}
	for _, l := range a.Lots {
		m.lots[l.Code] = true
	}
	for _, x := range a.Shipments {
		m.shipments[x.Code] = x.Band
	}
	for _, x := range a.Bulk {
		m.shipments[x.Code] = x.Band
	}
}

// in reports whether something of a time belongs to the scope.
func (m *maker) in(w lots.When, reached bool) bool {
	if m.scope.Answer != nil {
		return reached
	}
	return w.To > m.scope.From.Unix() && w.From < m.scope.To.Unix()
}

func (m *maker) day(w lots.When) string {
	t := time.Unix(w.From, 0).In(m.zone)
	if t.After(m.last) {
		m.last = t
	}
	return t.Format(time.DateOnly)
}

// party is the other firm: code, name, address, telephone, e-mail, GLN. What it lacks is added to missing.
func (m *maker) party(code, noun string, missing *[]string) []string {
	p, ok := m.tx.Party(code)
	if !ok {
		*missing = append(*missing, noun)
		return []string{code, "", "", "", "", ""}
	}
	need(missing, noun+"'s address", p.Address)
	need(missing, noun+"'s telephone", p.Phone)
	return []string{code, p.Name, p.Address, p.Phone, p.Email, p.GLN}
}

// carrier is who brought or took goods: a party of ours by code or name, who then has an address, or just a name.
func (m *maker) carrier(text string, missing *[]string) []string {
	need(missing, "transporter", text)
	if text == "" {
		return []string{"", "", ""}
	}
	for _, code := range m.tx.CodesOf(lots.KindParty) {
		if p, ok := m.tx.Party(code); ok && (code == text || strings.EqualFold(p.Name, text)) {
			need(missing, "transporter's address", p.Address)
			need(missing, "transporter's telephone", p.Phone)
			return []string{p.Name, p.Address, p.Phone}
		}
	}
	*missing = append(*missing, "transporter's address", "transporter's telephone")
	return []string{text, "", ""}
}

func need(missing *[]string, what, text string) {
	if text == "" {
		*missing = append(*missing, what)
	}
}

func (m *maker) done(row []string, entry int64, missing []string) []string {
	if len(missing) > 0 {
		m.incomplete++
	}
	return append(row, fmt.Sprint(entry), strings.Join(missing, "; "))
}

func (m *maker) received() (out [][]string, err error) {
	recs, err := m.tx.Records("receipts")
	for _, rec := range recs {
		r, ok := rec.(*lots.Receipt)
		if !ok || !m.in(r.At, m.lots[r.Lot]) {
			continue
		}
		var missing []string
		item, _ := m.tx.Item(r.Item)
		name, kind := "", ""
		if item != nil {
			name, kind = item.Name, item.Kind
		}
		need(&missing, "description", name)
		if r.SupplierLot == "-" {
			missing = append(missing, "supplier's lot (the goods bore none)")
		}
		row := []string{m.day(r.At), r.Lot, r.Item, name, kind, r.SupplierLot, r.BestBy, lots.Figure(r.Unit.Of(float64(r.Qty.N))), string(r.Unit)}
		row = append(row, m.party(r.Supplier, "source", &missing)...)
		row = append(row, m.carrier(r.Carrier, &missing)...)
		out = append(out, m.done(append(row, r.Document, cmp.Or(r.Status, "accepted")), r.Seq, missing))
	}
	return out, cmp.Or(err, m.tx.Err())
}

func (m *maker) released() (out [][]string, err error) {
	recs, err := m.tx.Records("shipments")
	if err != nil {
		return nil, err
	}
	for _, rec := range recs {
		switch s := rec.(type) {
		case *lots.Shipment:
			if band, reached := m.shipments[s.Shipment]; m.in(s.At, reached) {
				row, err := m.ship(s, band)
				if err != nil {
					return nil, err
				}
				out = append(out, row)
			}
		case *lots.Bulk:
			if band, reached := m.shipments[s.Shipment]; m.in(s.At, reached) {
				var missing []string
				row := []string{m.day(s.At), s.Shipment, strings.Join(s.From.Codes, " or "), "", "", s.Goods, "", strings.Join(s.From.Codes, " or "), "", lots.Figure(s.Unit.Of(float64(s.Qty.N))), string(s.Unit) + " in bulk"}
				need(&missing, "description", s.Goods)
				row = append(row, m.party(s.Consignee, "recipient", &missing)...)
				row = append(row, m.carrier(s.Carrier, &missing)...)
				out = append(out, m.done(append(row, s.Document, m.certain(band)), s.Seq, missing))
			}
		}
	}
	return out, m.tx.Err()
}

func (m *maker) certain(band string) string {
	if m.scope.Answer == nil {
		return ""
	}
	return band
}

func (m *maker) ship(s *lots.Shipment, band string) ([]string, error) {
	var missing, ssccs, products, names, gtins, runs, codes, packed []string
	add := func(list *[]string, text string) {
		if text != "" && !slices.Contains(*list, text) {
			*list = append(*list, text)
		}
	}
	for _, unit := range s.Unit.Codes {
		rows, err := m.tx.RowsOf(unit)
		if err != nil {
			return nil, err
		}
		for _, r := range rows {
			rec, _ := m.tx.Record(r.Seq)
			p, ok := rec.(*lots.Packed)
			if !ok {
				continue
			}
			add(&ssccs, p.SSCC)
			add(&runs, p.Run)
			m.runs[p.Run] = true
			run, ok := m.tx.Run(p.Run)
			if !ok {
				continue
			}
			for _, c := range trace.CodesOfRun(m.tx, run) {
				add(&codes, c)
			}
			add(&products, run.Product)
			if x, ok := m.tx.Product(run.Product); ok {
				add(&names, x.Name)
				add(&gtins, x.GTIN)
				m.longest = max(m.longest, x.ShelfLifeDays)
				if p.UnitKind == "keg" {
					add(&packed, fmt.Sprintf("kegs of %s L", lots.Figure(float64(x.ContainerML)/1000)))
				} else {
					add(&packed, fmt.Sprintf("cases of %d × %d mL", max(1, x.PerCase), x.ContainerML))
				}
			}
		}
	}
	all := func(list []string) string { return strings.Join(list, "; ") }
	need(&missing, "description", all(names))
	need(&missing, "how packaged", all(packed))
	row := []string{m.day(s.At), s.Shipment, strings.Join(s.Unit.Codes, " or "), all(ssccs), all(products), all(names), all(gtins), all(runs), all(codes), lots.Figure(float64(s.Quantity)), all(packed)}
	row = append(row, m.party(s.Consignee, "recipient", &missing)...)
	row = append(row, m.carrier(s.Carrier, &missing)...)
	return m.done(append(row, s.Document, m.certain(band)), s.Seq, missing), nil
}

// sources names the lots in each run that goods left of (21 CFR 1.345(b)), and puts them in scope: they are one step back.
func (m *maker) sources() (out [][]string, err error) {
	for run := range m.runs {
		a, err := trace.Trace(m.tx, graph.Back, run)
		if err != nil {
			return nil, err
		}
		product := ""
		if r, ok := m.tx.Run(run); ok {
			product = r.Product
		}
		found := false
		for _, l := range a.Lots {
			r, ok := m.tx.Receipt(l.Code)
			if !ok {
				continue
			}
			found = true
			m.lots[l.Code] = true
			name, firm := "", ""
			if item, ok := m.tx.Item(r.Item); ok {
				name = item.Name
			}
			if p, ok := m.tx.Party(r.Supplier); ok {
				firm = p.Name
			}
			out = append(out, []string{run, product, l.Code, r.Item, name, r.SupplierLot, r.Supplier, firm, l.Band})
		}
		if !found {
			out = append(out, []string{run, product, "", "", "no ingredient is recorded", "", "", "", ""})
			m.incomplete++
		}
	}
	return out, m.tx.Err()
}

// keep says how long the rules want such records kept. heeltap deletes nothing.
func (m *maker) keep() [][]string {
	if m.last.IsZero() {
		return nil
	}
	us, text := 24, "2 years, since it keeps for more than 6 months or nobody said how long"
	switch {
	case m.longest > 0 && m.longest <= 60:
		us, text = 6, "6 months, since it keeps for at most 60 days"
	case m.longest > 0 && m.longest <= 182:
		us, text = 12, "1 year, since it keeps for at most 6 months"
	}
	rows := [][]string{
		{"21 CFR 1.360", "US: who supplied, who received", text, m.last.AddDate(0, us, 0).Format(time.DateOnly), "from memory: check before you rely on it"},
		{"27 CFR 25.300", "US: a brewery's daily records", "3 years, and up to 3 more if TTB asks", m.last.AddDate(3, 0, 0).Format(time.DateOnly), "from memory: check before you rely on it"},
		{"Regulation (EC) 178/2002, Article 18", "EU: who supplied, who received", "5 years (the Commission's guidance of 2010)", m.last.AddDate(5, 0, 0).Format(time.DateOnly), "from memory: check before you rely on it"},
	}
	return append(rows, []string{"heeltap", "everything", "for good: nothing is deleted", "", ""})
}

// Days is the scope from one day to another, both in it, as typed; until now where the last is empty.
func Days(tx *store.Tx, from, to string) (s Scope, err error) {
	zone := tx.Site().Zone
	first, err := time.ParseInLocation(time.DateOnly, from, zone)
	if err != nil {
		return s, lots.Errorf(lots.Invalid, "%q is no day: write it as 2026-03-31", from)
	}
	last := tx.Recorded().In(zone)
	if to != "" {
		if last, err = time.ParseInLocation(time.DateOnly, to, zone); err != nil {
			return s, lots.Errorf(lots.Invalid, "%q is no day: write it as 2026-03-31", to)
		}
		last = last.AddDate(0, 0, 1)
	}
	if !first.Before(last) {
		return s, lots.Errorf(lots.Invalid, "the last day lies before the first")
	}
	return Scope{From: first, To: last}, nil
}
