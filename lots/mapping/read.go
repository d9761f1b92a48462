package mapping

import (
	"fmt"
	"slices"
	"strings"

	"heeltap/lots"
	"heeltap/lots/sheet"
)

// Left is a line of a file that no row came of.
type Left struct {
	Page   string   `json:"page"`
	Line   int      `json:"line"`
	Reason string   `json:"reason"`
	Cells  []string `json:"cells"`
}

// Page is how one page was understood.
type Page struct {
	Name    string            `json:"page"`
	Sheet   string            `json:"sheet"` // empty where the page is left out
	Rows    int               `json:"rows"`
	Columns map[string]string `json:"columns"`          // heading to what it means
	Unread  []string          `json:"columns_left_out"` // headings that mean nothing to the records
}

// Understood is what tables say by a map.
type Understood struct {
	sheet.Contents
	Left  []Left
	Pages []Page
}

// Read reads tables by a map, and adds to the map what it proposes and asks for what it does not say yet. Rows have codes
// where the map says what a name means, and no code where they are to be numbered. While the map has open questions, the rows
// are only what can be said so far. Faults are of single lines, and of pages whose headings are no longer those of the map.
func (m *Map) Read(tables []sheet.Table, how sheet.Options) Understood {
	var out Understood
	for _, t := range tables {
		label, h, faults := m.pageOf(t)
		if label == "" && len(faults) == 0 {
			m.propose(t)
			label, h, faults = m.pageOf(t)
		}
		out.Faults = append(out.Faults, faults...)
		if label == "" {
			continue
		}
		p := &pageReader{m: m, t: t, label: label, head: h, how: how, out: &out}
		p.read()
	}
	return out
}

// pageOf finds the page of the map that a table is, and its headings: by its name, and else by its headings, since files are
// named for their month.
func (m *Map) pageOf(t sheet.Table) (label string, h head, faults lots.Faults) {
	var labels []string
	for _, r := range m.Rules {
		if r.What == Sheet {
			labels = append(labels, r.Page)
		}
	}
	slices.SortStableFunc(labels, func(a, b string) int { return btoi(b == t.Name) - btoi(a == t.Name) })
	for _, label := range labels {
		r, _ := m.find(label, Sheet, "")
		if r.Means == LeftOut {
			if label == t.Name {
				return label, head{}, nil
			}
			continue
		}
		needed := m.headings(label)
		if len(needed) == 0 {
			continue
		}
		var missing []string
		for _, h := range heads(t) {
			lacks := without(needed, h.texts)
			if len(lacks) == 0 {
				return label, h, nil
			}
			if missing == nil || len(lacks) < len(missing) {
				missing = lacks
			}
		}
		if label == t.Name {
			return "", head{}, lots.Faults{{File: t.Name, Line: 1, Reason: fmt.Sprintf(
				"has not the headings that the map knows: %s. Correct the map, or delete its lines of this page and have it proposed anew", strings.Join(missing, ", "))}}
		}
	}
	return "", head{}, nil
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// headings are those of a page that mean anything.
func (m *Map) headings(label string) (out []string) {
	for _, r := range m.Rules {
		if r.What == Column && r.Page == label && r.Means != LeftOut {
			out = append(out, r.Written)
		}
	}
	return out
}

// without lists the texts that others do not hold.
func without(texts, others []string) (out []string) {
	for _, text := range texts {
		if !slices.ContainsFunc(others, func(o string) bool { return folded(o) == folded(text) }) {
			out = append(out, text)
		}
	}
	return out
}

// pageReader reads one page by its rules.
type pageReader struct {
	m     *Map
	t     sheet.Table
	label string
	head  head
	how   sheet.Options
	out   *Understood

	sheet   *lots.Sheet
	columns map[int]lots.Column
	units   map[int]string
	always  lots.Row
	order   string
}

func (p *pageReader) read() {
	rule, _ := p.m.find(p.label, Sheet, "")
	name := strings.TrimSuffix(rule.Means, " "+asks)
	p.sheet, _ = lots.SheetNamed(name)
	page := Page{Name: p.t.Name, Columns: map[string]string{}, Unread: []string{}}
	if p.sheet == nil { // left out, or its name is asked for
		p.out.Pages = append(p.out.Pages, page)
		return
	}
	page.Sheet = p.sheet.Name
	if !p.understand(&page) {
		p.out.Pages = append(p.out.Pages, page)
		return
	}
	for _, l := range p.t.Lines[:p.head.below] {
		p.leave(l, "is above the rows: a title or the headings")
	}
	var raw []sheet.Raw
	for _, l := range p.t.Lines[p.head.below:] {
		raw = append(raw, p.line(l)...)
	}
	c := sheet.Take(p.sheet, p.t.Name, raw, p.how)
	p.keep(c)
	page.Rows = len(c.Rows)
	p.out.Pages = append(p.out.Pages, page)
}

// understand reads the rules of the page's columns.
func (p *pageReader) understand(page *Page) bool {
	before := len(p.out.Faults)
	p.columns, p.units, p.always = map[int]lots.Column{}, map[int]string{}, lots.Row{}
	for i, text := range p.head.texts {
		if text == "" {
			continue
		}
		r, ok := p.m.find(p.label, Column, text)
		if !ok { // a column that was not there last time
			r = p.m.add(Rule{Page: p.label, What: Column, Written: text, Means: asks, Note: "new; " + example(p.t, p.head.below, i)})
		}
		if r.Means == LeftOut {
			page.Unread = append(page.Unread, text)
			continue
		}
		if r.Open() {
			continue
		}
		name, unit, _ := strings.Cut(r.Means, " ")
		c, ok := p.sheet.Column(name)
		if !ok {
			p.fault("the map says that %q means %s, which %s has not: its columns are %s", text, name, p.sheet.Name, columnsOf(p.sheet))
			continue
		}
		if unit != "" {
			u, err := lots.ParseUnit(unit)
			if err != nil || p.sheet.UnitColumn(c) == "" {
				p.fault("the map says that %q means %q: the unit of %s cannot be %s", text, r.Means, name, unit)
				continue
			}
			p.units[i] = string(u)
		}
		p.columns[i] = c
		page.Columns[text] = r.Means
	}
	for _, r := range p.m.Rules {
		if r.Page == p.label && r.What == Always && !r.Open() && r.Means != Numbered {
			if !p.sheet.Has(r.Written) {
				p.fault("the map always gives %s, which %s has not: its columns are %s", r.Written, p.sheet.Name, columnsOf(p.sheet))
			}
			p.always[r.Written] = r.Means
		}
	}
	p.days()
	p.decimal()
	return len(p.out.Faults) == before
}

func columnsOf(s *lots.Sheet) string {
	var names []string
	for _, c := range s.Columns {
		names = append(names, c.Name)
	}
	return strings.Join(names, ", ")
}

func (p *pageReader) fault(format string, args ...any) {
	p.out.Faults = append(p.out.Faults, lots.Fault{File: p.t.Name, Line: 1, Reason: fmt.Sprintf(format, args...)})
}

// days settles whether days or months come first, or asks.
func (p *pageReader) days() {
	var at []int
	for i, c := range p.columns {
		if c.Type == lots.Time {
			at = append(at, i)
		}
	}
	slices.Sort(at)
	if r, ok := p.m.find(p.label, Days, ""); ok {
		p.order = r.Means
		return
	}
	order, either := orderOf(p.t.Lines[p.head.below:], at)
	p.order = order
	switch {
	case order != "":
		p.m.add(Rule{Page: p.label, What: Days, Means: order, Note: "as its days show"})
	case either != "":
		p.m.add(Rule{Page: p.label, What: Days, Means: asks, Note: either + ": write " + DayFirst + " or " + MonthFst})
	}
}

// decimal settles the decimal sign where the page's numbers show it.
func (p *pageReader) decimal() {
	if r, ok := p.m.find(p.label, Decimal, ""); ok {
		if !r.Open() {
			p.how.Decimal = lots.Decimal(r.Means)
		}
		return
	}
	shown := map[lots.Decimal]string{}
	for i, c := range p.columns {
		switch c.Type {
		case lots.Number, lots.Amount, lots.Count:
		default:
			continue
		}
		for _, cell := range column(p.t, p.head.below, i) {
			if sign := lots.DecimalShown(cell.Text); sign != "" && !cell.Number {
				shown[sign] = cell.Text
			}
		}
	}
	comma, point := shown[lots.Comma], shown[lots.Point]
	switch {
	case comma != "" && point != "":
		p.m.add(Rule{Page: p.label, What: Decimal, Means: asks, Note: comma + " and " + point + " are both there: write . or ,"})
	case comma != "":
		p.m.add(Rule{Page: p.label, What: Decimal, Means: string(lots.Comma), Note: "as " + comma + " shows"})
		p.how.Decimal = lots.Comma
	case point != "":
		p.m.add(Rule{Page: p.label, What: Decimal, Means: string(lots.Point), Note: "as " + point + " shows"})
		p.how.Decimal = lots.Point
	}
}

// leave keeps a line that no row comes of.
func (p *pageReader) leave(l sheet.Line, reason string) {
	p.out.Left = append(p.out.Left, Left{p.t.Name, l.At, reason, texts(l)})
}

// line reads a line as rows: one, or one for each code in a cell.
func (p *pageReader) line(l sheet.Line) []sheet.Raw {
	row, sure, several := lots.Row{}, map[string]bool{}, ""
	filled := 0
	for i := range l.Cells {
		c, ok := p.columns[i]
		if !ok || l.Cells[i].Text == "" {
			continue
		}
		text, ok := p.cell(l, i, c)
		if !ok {
			return nil
		}
		if text == "" {
			continue
		}
		filled++
		if row[c.Name] != "" { // a day and a time
			text = strings.TrimSpace(row[c.Name] + " " + text)
			if d, ok := day(text, p.order); ok {
				text = d
			}
		}
		row[c.Name], sure[c.Name] = text, l.Cells[i].Number
		if unit := p.units[i]; unit != "" && !hasUnit(text) {
			row[p.sheet.UnitColumn(c)] = unit
		}
		if p.isList(l, i, c, text) {
			several = c.Name
		}
	}
	if reason := p.noRow(l, filled); reason != "" {
		p.leave(l, reason)
		return nil
	}
	for name, text := range p.always {
		if row[name] == "" {
			row[name] = text
		}
	}
	if several == "" {
		return []sheet.Raw{{Line: l.At, Row: row, Sure: sure}}
	}
	return p.parted(l, row, sure, several)
}

func hasUnit(text string) bool { return numberThenWord.MatchString(text) }

// noRow says why a line is none of the sheet's rows; empty where it is one.
func (p *pageReader) noRow(l sheet.Line, filled int) string {
	cells := texts(l)
	first := ""
	for _, text := range cells {
		if text != "" {
			first = text
			break
		}
	}
	word, _, _ := strings.Cut(first, " ")
	switch {
	case filled == 0:
		return "has nothing in the columns that are read"
	case len(without(p.m.headings(p.label), numbered(slices.Clone(cells)))) == 0:
		return "repeats the headings"
	case sheet.IsTotal(first) || sheet.IsTotal(word) && filled < len(p.columns):
		return "looks like a row of totals"
	case filled == 1 && len(p.columns) > 2:
		return "has only " + shortened(first) + ": taken as a title"
	}
	return ""
}

// cell reads a cell in words; false where its line cannot be read, which is then a fault.
func (p *pageReader) cell(l sheet.Line, at int, c lots.Column) (string, bool) {
	cell := l.Cells[at]
	if c.Type == lots.Time {
		if cell.Lost != "" && !isDate(cell.Text) && !clockText.MatchString(cell.Text) {
			return p.broken(l, c, cell.Lost)
		}
		if d, ok := day(cell.Text, p.order); ok {
			return d, true
		}
		if t, ok := clockOf(cell.Text); ok {
			return t, true
		}
		return cell.Text, true
	}
	reason := cell.Lost
	if reason == "" {
		reason = sheet.Mangled(c, cell.Text)
	}
	if c.Name == "best_by" && isDate(cell.Text) {
		reason = ""
	}
	if reason == "" {
		return p.named(c, cell.Text), true
	}
	r, ok := p.m.find("", Value, cell.Text)
	switch {
	case !ok:
		p.m.add(Rule{What: Value, Written: cell.Text, Means: asks, Note: fmt.Sprintf("%s, line %d of %s: %s", c.Name, l.At, p.t.Name, reason)})
		return cell.Text, true
	case r.Open():
		return cell.Text, true
	case r.Means == LeftOut:
		return "", true
	}
	return p.named(c, r.Means), true
}

func (p *pageReader) broken(l sheet.Line, c lots.Column, reason string) (string, bool) {
	p.out.Faults = append(p.out.Faults, lots.Fault{File: p.t.Name, Line: l.At, Column: c.Name, Reason: reason})
	return "", false
}

// named is what a name means, where the map says it.
func (p *pageReader) named(c lots.Column, text string) string {
	switch c.Type {
	case lots.RefTo, lots.AnyOf, lots.ListOf, lots.Choice:
	default:
		return text
	}
	said, ok := p.m.Called(text, c.Name)
	if !ok && c.Type == lots.Choice && !slices.ContainsFunc(c.Values, func(v string) bool { return folded(v) == folded(text) }) {
		guess := ""
		if near := lots.NearestOf(folded(text), c.Values); len(near) > 0 {
			guess = near[0]
		}
		p.m.Ask(text, c.Name, guess)
	}
	switch {
	case !ok || said.Open():
		return text
	case said.Means == LeftOut:
		return ""
	}
	return said.Means
}

// between are the marks that people write between several codes in one cell.
const between = "/+;&,"

// isList reports whether a cell holds several codes; where nobody has said so it asks.
func (p *pageReader) isList(l sheet.Line, at int, c lots.Column, text string) bool {
	switch {
	case c.Name == "supplier_lot":
	case c.Type == lots.RefTo, c.Type == lots.AnyOf:
	default:
		return false
	}
	heading := p.head.texts[at]
	if r, ok := p.m.find(p.label, Split, heading); ok {
		return !r.Open() && r.Means != "no" && len(parts(text, r.Means)) > 1
	}
	for _, mark := range between {
		list := parts(text, string(mark))
		if len(list) > 1 && !slices.ContainsFunc(list, func(s string) bool { return !hasDigit.MatchString(s) }) {
			p.m.add(Rule{Page: p.label, What: Split, Written: heading, Means: asks,
				Note: fmt.Sprintf("%s in line %d: one, or several? Write the mark between them (%c), or no", shortened(text), l.At, mark)})
			return false
		}
	}
	return false
}

// parts takes a cell apart at any of some marks.
func parts(text, marks string) []string {
	var out []string
	for _, s := range strings.FieldsFunc(text, func(r rune) bool { return r != ' ' && strings.ContainsRune(marks, r) }) {
		if s = strings.TrimSpace(s); s != "" {
			out = append(out, s)
		}
	}
	return out
}

// parted makes a row of each code in a cell. What they took together is nobody's to divide: where the amount is one number, it is
// left blank, and a fault where it is needed.
func (p *pageReader) parted(l sheet.Line, row lots.Row, sure map[string]bool, several string) []sheet.Raw {
	heading := ""
	for i, c := range p.columns {
		if c.Name == several {
			heading = p.head.texts[i]
		}
	}
	rule, _ := p.m.find(p.label, Split, heading)
	codes := parts(row[several], rule.Means)
	out := make([]sheet.Raw, len(codes))
	for k, code := range codes {
		out[k] = sheet.Raw{Line: l.At, Row: lots.Row{}, Sure: sure}
		for name, text := range row {
			out[k].Row[name] = text
		}
		c, _ := p.sheet.Column(several)
		out[k].Row[several] = p.named(c, code)
	}
	for _, c := range p.sheet.Columns {
		switch c.Type {
		case lots.Number, lots.Amount, lots.Count:
		default:
			continue
		}
		if row[c.Name] == "" || p.always[c.Name] != "" || p.sheet.UnitColumn(c) == "" {
			continue
		}
		amounts := parts(row[c.Name], rule.Means)
		switch {
		case len(amounts) == len(codes):
			for k := range out {
				out[k].Row[c.Name] = amounts[k]
			}
		case c.Need:
			p.broken(l, c, fmt.Sprintf("is %s for %d codes (%s): write a line for each with what it was", row[c.Name], len(codes), row[several]))
			return nil
		default:
			for k := range out {
				delete(out[k].Row, c.Name)
			}
		}
	}
	return out
}

// keep takes over what a page gave: a row of totals is left out, and what somebody confirmed is no longer doubted.
func (p *pageReader) keep(c sheet.Contents) {
	p.out.Rows = append(p.out.Rows, c.Rows...)
	totals := map[int]bool{}
	for _, f := range c.Faults {
		if f.Reason == sheet.TotalsRow {
			totals[f.Line] = true
			continue
		}
		p.out.Faults = append(p.out.Faults, f)
	}
	for _, r := range c.Refused {
		if !totals[r.Line] {
			p.out.Refused = append(p.out.Refused, r)
		}
	}
	for _, l := range p.t.Lines {
		if totals[l.At] {
			p.leave(l, "looks like a row of totals")
		}
	}
	for _, w := range c.Warnings {
		column, _ := p.sheet.Column(w.Column)
		if !p.confirmed(column, w) {
			p.out.Warnings = append(p.out.Warnings, w)
		}
	}
}

// confirmed reports whether a warning is of a text that somebody was asked about.
func (p *pageReader) confirmed(c lots.Column, w lots.Fault) bool {
	for _, r := range p.m.Rules {
		if r.What == Value && (sheet.Mangled(c, r.Written) == w.Reason || sheet.Mangled(c, r.Means) == w.Reason) {
			return true
		}
	}
	return false
}
