package store

import (
	"cmp"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"heeltap/lots"
)

// reading is what a transaction has read of the records so far. Records are read by
// the codes they name, so that a question or an entry costs what it touches
// and not what the database holds.
type reading struct {
	site    *lots.Site
	intro   map[string]introduction
	touch   map[string][]lots.Record
	records map[int64]lots.Record
	rows    map[int64]lots.Entered
	known   []known // all codes, once somebody has asked for near ones
	feeds   map[string][]*lots.Feed
	homes   map[string][]Node // what each home holds; empty again whenever the lineage changes
}

// ReadAs is a text that somebody typed and the recorded thing that it was read as, where the two are
// written differently.
type ReadAs struct {
	Text string `json:"text"`
	As   string `json:"as"` // kind:code, perhaps with @ and a time
}

// Forget empties what the transaction keeps of rows it has read, for whoever reads all of a long history.
func (tx *Tx) Forget() { tx.reading.reset() }

// NoteReading notes that a text was read as something written differently, so that whoever asked can be told.
func (tx *Tx) NoteReading(text, as string) {
	if r := (ReadAs{text, as}); !slices.Contains(tx.readAs, r) {
		tx.readAs = append(tx.readAs, r)
	}
}

// Readings lists what was read as something written differently in this transaction, in order.
func (tx *Tx) Readings() []ReadAs { return tx.readAs }

// known is a code and what it names.
type known struct {
	code string
	kind lots.Kind
}

type introduction struct {
	lots.Entered
	ok bool
}

func (r *reading) reset() {
	*r = reading{intro: map[string]introduction{}, touch: map[string][]lots.Record{}, records: map[int64]lots.Record{}, rows: map[int64]lots.Entered{}, feeds: map[string][]*lots.Feed{}, homes: map[string][]Node{}}
}

func (r *reading) siteOf(tx *Tx) lots.Site {
	if r.site == nil {
		site := lots.DefaultSite()
		r.site = &site // decoding the site row needs a site itself
		rows, err := tx.rows("SELECT seq, sheet, body FROM record WHERE sheet = 'site'")
		tx.fail(err)
		for _, e := range rows {
			if rec, _, faults := lots.Decode(e.Sheet, e.Row, tx); len(faults) == 0 {
				r.site = rec.(*lots.Site)
			}
		}
	}
	return *r.site
}

// rows reads record rows of a query for seq, sheet and body.
func (tx *Tx) rows(query string, args ...any) ([]lots.Entered, error) {
	var out []lots.Entered
	err := tx.each(func(rows *sql.Rows) error {
		e, err := scanRow(rows)
		out = append(out, e)
		return err
	}, query, args...)
	return out, err
}

func scanRow(rows *sql.Rows, more ...any) (lots.Entered, error) {
	var e lots.Entered
	var sheet string
	var body []byte
	if err := rows.Scan(append([]any{&e.Seq, &sheet, &body}, more...)...); err != nil {
		return e, err
	}
	var ok bool
	if e.Sheet, ok = lots.SheetNamed(sheet); !ok {
		return e, lots.Errorf(lots.Corrupt, "entry %d has the unknown kind %q", e.Seq, sheet)
	}
	return e, json.Unmarshal(body, &e.Row)
}

// Thing tells what a code means.
func (tx *Tx) Thing(code string) (lots.Thing, bool) {
	return lots.Describe(code, func(code string) (*lots.Sheet, lots.Row, bool) {
		i := tx.introduced(code)
		return i.Sheet, i.Row, i.ok
	})
}

func (tx *Tx) introduced(code string) introduction {
	if code == "" {
		return introduction{}
	}
	if i, ok := tx.reading.intro[code]; ok {
		return i
	}
	var i introduction
	rows, err := tx.rows("SELECT r.seq, r.sheet, r.body FROM code c JOIN record r ON r.seq = c.seq WHERE c.code = ?", code)
	tx.fail(err)
	for _, e := range rows {
		i = introduction{e, true}
	}
	tx.reading.intro[code] = i
	return i
}

// Stated finds the record that introduced a code, without reading all that name it.
func (tx *Tx) Stated(code string) (lots.Record, bool) {
	i := tx.introduced(code)
	if !i.ok {
		return nil, false
	}
	recs := tx.decode([]lots.Entered{i.Entered})
	if len(recs) == 0 {
		return nil, false
	}
	return recs[0], true
}

// Fillings lists the rows of units that are fillings of a keg, by its number, in journal order.
func (tx *Tx) Fillings(keg string) []lots.Record {
	rows, err := tx.rows("SELECT r.seq, r.sheet, r.body FROM printed p JOIN record r ON r.seq = p.seq WHERE p.text = ? AND p.kind = ? ORDER BY r.seq", keg, PrintedKeg)
	tx.fail(err)
	return tx.decode(rows)
}

// Nearest names known codes that look like code.
func (tx *Tx) Nearest(code string, kinds ...lots.Kind) []string {
	if tx.reading.known == nil {
		tx.fail(tx.each(func(rows *sql.Rows) error {
			var k known
			err := rows.Scan(&k.code, &k.kind)
			tx.reading.known = append(tx.reading.known, k)
			return err
		}, "SELECT code, kind FROM code"))
	}
	var all []string
	for _, k := range tx.reading.known {
		if len(kinds) == 0 || slices.Contains(kinds, k.kind) {
			all = append(all, k.code)
		}
	}
	return lots.NearestOf(code, all)
}

// Touching lists the records that name a code, in journal order.
func (tx *Tx) Touching(code string) []lots.Record {
	if recs, ok := tx.reading.touch[code]; ok {
		return recs
	}
	rows, err := tx.rows("SELECT r.seq, r.sheet, r.body FROM mention m JOIN record r ON r.seq = m.seq WHERE m.code = ? ORDER BY r.seq", code)
	tx.fail(err)
	recs := tx.decode(rows)
	tx.reading.touch[code] = recs
	return recs
}

// TouchingOf lists the records of one sheet that name a code, in journal order.
func (tx *Tx) TouchingOf(code, sheet string) []lots.Record {
	if recs, ok := tx.reading.touch[code]; ok { // all were read already
		return slices.DeleteFunc(slices.Clone(recs), func(rec lots.Record) bool { return tx.reading.rows[rec.Entry()].Sheet.Name != sheet })
	}
	rows, err := tx.rows("SELECT r.seq, r.sheet, r.body FROM mention m CROSS JOIN record r ON r.seq = m.seq WHERE m.code = ? AND r.sheet = ? ORDER BY r.seq", code, sheet)
	tx.fail(err)
	return tx.decode(rows)
}

// Feeds is what lineage.Source says.
func (tx *Tx) Feeds(run string) []*lots.Feed {
	if feeds, ok := tx.reading.feeds[run]; ok {
		return feeds
	}
	var out []*lots.Feed
	for _, rec := range tx.TouchingOf(run, "feeds") {
		if f := rec.(*lots.Feed); f.Run == run {
			out = append(out, f)
		}
	}
	tx.reading.feeds[run] = out
	return out
}

// Prefetch reads the records that name any of many codes in one go.
func (tx *Tx) Prefetch(codes []string) {
	wanted := slices.DeleteFunc(slices.Clone(codes), func(c string) bool { _, ok := tx.reading.touch[c]; return ok })
	if len(wanted) == 0 {
		return
	}
	byCode := map[string][]lots.Entered{}
	err := tx.each(func(rows *sql.Rows) error {
		var code string
		e, err := scanRow(rows, &code)
		byCode[code] = append(byCode[code], e)
		return err
	}, `SELECT r.seq, r.sheet, r.body, m.code FROM mention m JOIN record r ON r.seq = m.seq
	WHERE m.code IN (SELECT value FROM json_each(?)) ORDER BY r.seq`, jsonList(wanted))
	tx.fail(err)
	for _, c := range wanted {
		tx.reading.touch[c] = tx.decode(byCode[c])
	}
}

func jsonList(list any) string {
	b, err := json.Marshal(list)
	if err != nil {
		panic(err) // strings and numbers always marshal
	}
	return string(b)
}

// decode reads rows as records, each row once in a transaction.
func (tx *Tx) decode(rows []lots.Entered) []lots.Record {
	var out []lots.Record
	for _, e := range rows {
		rec, ok := tx.reading.records[e.Seq]
		if !ok {
			var faults lots.Faults
			rec, _, faults = lots.Decode(e.Sheet, e.Row, tx)
			if len(faults) > 0 {
				tx.fail(lots.Errorf(lots.Corrupt, "entry %d (%s) can no longer be read: %w", e.Seq, e.Sheet.Noun, faults))
				continue
			}
			rec.(interface{ SetEntry(int64) }).SetEntry(e.Seq)
			tx.reading.records[e.Seq] = rec
			tx.reading.rows[e.Seq] = e
		}
		out = append(out, rec)
	}
	return out
}

// Record finds the record an entry states; false where it does not stand.
func (tx *Tx) Record(entry int64) (lots.Record, bool) {
	if rec, ok := tx.reading.records[entry]; ok {
		return rec, rec != nil
	}
	rows, err := tx.rows("SELECT seq, sheet, body FROM record WHERE seq = ?", entry)
	tx.fail(err)
	recs := tx.decode(rows)
	if len(recs) == 0 {
		tx.reading.records[entry] = nil
		return nil, false
	}
	return recs[0], true
}

// Row finds the row an entry states, as it reads now.
func (tx *Tx) Row(entry int64) (lots.Entered, bool) {
	rows, err := tx.rows("SELECT seq, sheet, body FROM record WHERE seq = ?", entry)
	tx.fail(err)
	if len(rows) == 0 {
		return lots.Entered{}, false
	}
	return rows[0], true
}

// All reads every row of a sheet, in journal order.
func (tx *Tx) All(sheet string) ([]lots.Entered, error) {
	return tx.rows("SELECT seq, sheet, body FROM record WHERE sheet = ? ORDER BY seq", sheet)
}

// Records reads a sheet's rows as records, in journal order.
func (tx *Tx) Records(sheet string) ([]lots.Record, error) {
	rows, err := tx.All(sheet)
	if err != nil {
		return nil, err
	}
	return tx.decode(rows), tx.err
}

// Everything reads all rows, in journal order.
func (tx *Tx) Everything() ([]lots.Entered, error) {
	return tx.rows("SELECT seq, sheet, body FROM record ORDER BY seq")
}

// OfSheets picks out the entries whose rows stand and are of some sheets.
func (tx *Tx) OfSheets(entries []int64, sheets ...string) (out []int64) {
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var seq int64
		err := rows.Scan(&seq)
		out = append(out, seq)
		return err
	}, "SELECT r.seq FROM json_each(?) e CROSS JOIN record r ON r.seq = e.value WHERE r.sheet IN (SELECT value FROM json_each(?))", jsonList(entries), jsonList(sheets)))
	return out
}

// sheetRows reads the rows of some sheets, in journal order.
func (tx *Tx) sheetRows(sheets []string, yield func(lots.Entered)) error {
	return tx.each(func(rows *sql.Rows) error {
		e, err := scanRow(rows)
		if err == nil {
			yield(e)
		}
		return err
	}, "SELECT seq, sheet, body FROM record NOT INDEXED WHERE sheet IN (SELECT value FROM json_each(?)) ORDER BY seq", jsonList(sheets))
}

// Introduces gives the sheet and entry that introduced a code.
func (tx *Tx) Introduces(code string) (entry int64, kind lots.Kind, ok bool) {
	ok, err := tx.one([]any{&entry, &kind}, "SELECT seq, kind FROM code WHERE code = ?", code)
	tx.fail(err)
	return entry, kind, ok
}

// Alike lists the codes that equal a text but for the case of their letters.
func (tx *Tx) Alike(text string) []string {
	if isASCII(text) {
		return tx.texts("SELECT code FROM code WHERE code = ? COLLATE NOCASE ORDER BY code", text)
	}
	return slices.DeleteFunc(tx.texts("SELECT code FROM code ORDER BY code"), func(code string) bool { return !strings.EqualFold(code, text) })
}

// isASCII reports whether SQLite, which folds the case of ASCII letters only, can compare a text.
func isASCII(text string) bool {
	return !strings.ContainsFunc(text, func(r rune) bool { return r > unicode.MaxASCII })
}

// LastCode finds the highest code that consists of prefix and a number of so many digits, also
// among rows of a sheet taken back since: tags may carry theirs. Empty where there is none.
func (tx *Tx) LastCode(s *lots.Sheet, prefix string, digits int) string {
	numbered := " > ?1 AND %[1]s < ?1 || 'A' AND length(%[1]s) = length(?1) + ?2 AND substr(%[1]s, length(?1) + 1) NOT GLOB '*[^0-9]*'"
	codes := tx.texts("SELECT code FROM code WHERE code"+fmt.Sprintf(numbered, "code")+" ORDER BY code DESC LIMIT 1", prefix, digits)
	codes = append(codes, tx.texts(`SELECT code FROM (SELECT json_extract(r.body, '$.' || ?3) AS code FROM journal v JOIN journal r ON r.seq = v.target
		WHERE v.target IS NOT NULL AND v.kind = ?4 AND r.kind = ?5) WHERE code`+fmt.Sprintf(numbered, "code")+" ORDER BY code DESC LIMIT 1",
		prefix, digits, s.Code, kindVoid, s.Name)...)
	if len(codes) == 0 {
		return ""
	}
	return slices.Max(codes)
}

// mostCodes bounds what CodesFrom lists.
const mostCodes = 500

// CodesFrom lists codes of the kinds given, or of all, that sort from begun on; at most 500.
func (tx *Tx) CodesFrom(begun string, kinds ...lots.Kind) []string {
	if len(kinds) == 0 {
		return tx.texts("SELECT code FROM code WHERE code >= ? ORDER BY code LIMIT ?", begun, mostCodes)
	}
	return tx.texts("SELECT code FROM code WHERE code >= ? AND kind IN (SELECT value FROM json_each(?)) ORDER BY code LIMIT ?", begun, jsonList(kinds), mostCodes)
}

// Codes lists all codes, in order.
func (tx *Tx) Codes() []string { return tx.texts("SELECT code FROM code ORDER BY code") }

// CodesOf lists all codes of a kind, in order.
func (tx *Tx) CodesOf(kind lots.Kind) []string {
	return tx.texts("SELECT code FROM code WHERE kind = ? ORDER BY code", kind)
}

// RowsOf lists the rows that a code or a ref of their own names, in journal order.
func (tx *Tx) RowsOf(name string) ([]lots.Entered, error) {
	rows, err := tx.rows("SELECT r.seq, r.sheet, r.body FROM mention m JOIN record r ON r.seq = m.seq WHERE m.code = ? ORDER BY r.seq", name)
	rows = slices.DeleteFunc(rows, func(e lots.Entered) bool { return e.Sheet.Code == "" || e.Row[e.Sheet.Code] != name })
	if err != nil || len(rows) > 0 {
		return rows, err
	}
	return tx.rows("SELECT seq, sheet, body FROM record WHERE json_extract(body, '$.ref') = ? ORDER BY seq", name)
}

// Naming lists the rows that name a code, in journal order.
func (tx *Tx) Naming(code string) ([]lots.Entered, error) {
	return tx.rows("SELECT r.seq, r.sheet, r.body FROM mention m JOIN record r ON r.seq = m.seq WHERE m.code = ? ORDER BY r.seq", code)
}

// texts reads a query's only column.
func (tx *Tx) texts(query string, args ...any) []string {
	var out []string
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var t string
		err := rows.Scan(&t)
		out = append(out, t)
		return err
	}, query, args...))
	return out
}

// Printed is a text that stands on goods or papers, and the entry whose row carries it.
type Printed struct {
	Text, Kind string
	Entry      int64
}

// The kinds of printed text.
const (
	PrintedSupplierLot = "supplier-lot"
	PrintedDateCode    = "date-code"
	PrintedSSCC        = "sscc"
	PrintedDocument    = "document"
	PrintedKeg         = "keg"
)

// PrintedAs finds where a text stands as printed, exactly or forgiving the case of letters.
func (tx *Tx) PrintedAs(text string, exact bool) []Printed {
	if !exact && !isASCII(text) {
		all := tx.printed("SELECT text, kind, seq FROM printed ORDER BY kind, seq")
		return slices.DeleteFunc(all, func(p Printed) bool { return !strings.EqualFold(p.Text, text) })
	}
	where := "text = ?"
	if !exact {
		where += " COLLATE NOCASE"
	}
	return tx.printed("SELECT text, kind, seq FROM printed WHERE "+where+" ORDER BY kind, seq", text)
}

func (tx *Tx) printed(query string, args ...any) []Printed {
	var out []Printed
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var p Printed
		err := rows.Scan(&p.Text, &p.Kind, &p.Entry)
		out = append(out, p)
		return err
	}, query, args...))
	return out
}

// PrintedTexts lists the texts printed anywhere, each once, of the kinds given or all, for looking for near ones.
func (tx *Tx) PrintedTexts(kinds ...string) []string {
	if len(kinds) == 0 {
		return tx.texts("SELECT DISTINCT text FROM printed")
	}
	return tx.texts("SELECT DISTINCT text FROM printed WHERE kind IN (SELECT value FROM json_each(?))", jsonList(kinds))
}

// CodePrinted is a date code, and the run that printed it, of a product.
type CodePrinted struct{ Code, Run, Product string }

// CodesPrinted lists all date codes with the runs that printed them, by code and in journal order.
func (tx *Tx) CodesPrinted() []CodePrinted {
	var out []CodePrinted
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var c CodePrinted
		err := rows.Scan(&c.Code, &c.Run, &c.Product)
		out = append(out, c)
		return err
	}, `SELECT p.text, json_extract(run.body, '$.run'), json_extract(run.body, '$.product') FROM printed p CROSS JOIN record r ON r.seq = p.seq
		CROSS JOIN code c ON c.code = json_extract(r.body, '$.run') CROSS JOIN record run ON run.seq = c.seq AND run.sheet = 'runs'
		WHERE p.kind = ? ORDER BY p.text, p.seq`, PrintedDateCode))
	return out
}

// printedOn lists the texts a row puts on goods and papers.
func printedOn(s *lots.Sheet, row lots.Row) []Printed {
	var out []Printed
	add := func(column, kind string) {
		if v := row[column]; v != "" && s.Has(column) {
			out = append(out, Printed{Text: v, Kind: kind})
		}
	}
	if row["supplier_lot"] != "-" {
		add("supplier_lot", PrintedSupplierLot)
	}
	if s.Name == "runs" || s.Name == "codes" {
		add("date_code", PrintedDateCode)
	}
	add("sscc", PrintedSSCC)
	add("document", PrintedDocument)
	if s.Name == "units" && row["kind"] == "keg" {
		if keg, _, ok := lots.SplitFilling(row["unit"]); ok {
			out = append(out, Printed{Text: keg, Kind: PrintedKeg})
		}
	}
	slices.SortFunc(out, func(a, b Printed) int { return cmp.Compare(a.Kind, b.Kind) })
	return slices.Compact(out)
}

// stated finds the record of one kind that introduced a code, whatever else names it.
func stated[T lots.Record](tx *Tx, code string) (found T, ok bool) {
	rec, _ := tx.Stated(code)
	found, ok = rec.(T)
	return found, ok
}

// First finds the first record of one kind that names a code and is what is looked for.
func First[T lots.Record](tx *Tx, code string, is func(T) bool) (found T, ok bool) {
	if code == "" {
		return found, false
	}
	for _, rec := range tx.Touching(code) {
		if x, of := rec.(T); of && is(x) {
			return x, true
		}
	}
	return found, false
}

// Run finds a package run.
func (tx *Tx) Run(code string) (*lots.Run, bool) {
	return stated[*lots.Run](tx, code)
}

// Product finds a product.
func (tx *Tx) Product(code string) (*lots.Product, bool) {
	return stated[*lots.Product](tx, code)
}

// Party finds a supplier or consignee.
func (tx *Tx) Party(code string) (*lots.Party, bool) {
	return stated[*lots.Party](tx, code)
}

// Item finds a material.
func (tx *Tx) Item(code string) (*lots.Item, bool) {
	return stated[*lots.Item](tx, code)
}

// Receipt finds how a lot came in; false for a crop.
func (tx *Tx) Receipt(lot string) (*lots.Receipt, bool) {
	return stated[*lots.Receipt](tx, lot)
}

// Line finds a packaging line.
func (tx *Tx) Line(code string) (*lots.Line, bool) {
	return stated[*lots.Line](tx, code)
}
