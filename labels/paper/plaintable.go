package paper

import "strings"

const (
	plainGap = 2  // blanks between columns
	goodCell = 18 // columns of text that a wrapped cell should have at least
)

func (p *typist) table(t Table) {
	columns := t.columns()
	widths, ok := plainWidths(t, columns)
	switch {
	case ok:
		p.rows(t, columns, widths)
	default:
		p.blocks(t, columns)
	}
	p.wrapIf("", t.Note)
}

// plainWidths shares the line among columns; not ok if the table is better written in blocks:
// if more than one column would have to be wrapped, or would become too narrow to be read.
func plainWidths(t Table, columns []column) ([]int, bool) {
	widths := make([]int, len(columns))
	sum := 0
	for i, c := range columns {
		widths[i] = columnsOf(c.name)
		for _, row := range t.Rows {
			for l := range strings.SplitSeq(at(row, i), "\n") {
				widths[i] = max(widths[i], columnsOf(l))
			}
		}
		sum += widths[i] + plainGap
	}
	over := sum - plainGap - plainWidth
	if over <= 0 {
		return widths, true
	}
	widest := 0
	for i := range columns {
		if widths[i] > widths[widest] {
			widest = i
		}
	}
	left := widths[widest] - over
	if left < goodCell || left < longestWord(t, columns, widest) {
		return nil, false
	}
	widths[widest] = left
	return widths, true
}

func longestWord(t Table, columns []column, i int) int {
	most := 0
	longest := func(text string) {
		for word := range strings.FieldsFuncSeq(text, func(r rune) bool { return r == ' ' || r == '\n' }) {
			most = max(most, columnsOf(word))
		}
	}
	longest(columns[i].name)
	for _, row := range t.Rows {
		longest(at(row, i))
	}
	return most
}

func (p *typist) rows(t Table, columns []column, widths []int) {
	names, rule := make([]string, len(columns)), make([]string, len(columns))
	for i, c := range columns {
		names[i], rule[i] = c.name, strings.Repeat("-", widths[i])
	}
	p.row(names, columns, widths)
	p.row(rule, columns, widths)
	if len(t.Rows) == 0 {
		p.printf("%s\n", noRows)
	}
	for _, row := range t.Rows {
		p.row(row, columns, widths)
	}
}

func (p *typist) row(cells []string, columns []column, widths []int) {
	lines := make([][]string, len(columns))
	most := 0
	for i := range columns {
		lines[i] = wrapColumns(at(cells, i), widths[i])
		most = max(most, len(lines[i]))
	}
	for k := range most {
		var s strings.Builder
		for i, c := range columns {
			text := at(lines[i], k)
			pad := strings.Repeat(" ", max(0, widths[i]-columnsOf(text)))
			if c.number {
				s.WriteString(pad + text)
			} else {
				s.WriteString(text + pad)
			}
			s.WriteString(strings.Repeat(" ", plainGap))
		}
		p.printf("%s\n", strings.TrimRight(s.String(), " "))
	}
}

// blocks writes each row as names with values.
func (p *typist) blocks(t Table, columns []column) {
	for n, row := range t.Rows {
		if n > 0 {
			p.printf("\n")
		}
		for i, c := range columns {
			text := at(row, i)
			if text != "" && c.name != "" {
				text = c.name + ": " + text
			}
			p.wrapIf("  ", text)
		}
	}
	if names := t.unused(); names != "" {
		p.wrap("  ", names+": "+noRows)
	}
}
