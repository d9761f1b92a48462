package paper

import (
	"cmp"
	"slices"
)

const (
	columnGap = 2.8 // mm between columns
	moreGap   = 7.0 // what columns may stand further apart where there is room
	rowSpace  = 1.4
	handSpace = 3.6  // mm more for a row that is filled in by hand
	shortHead = 17.0 // mm that a heading may take on one line, however narrow its column
)

// grid is a table with its cells broken into lines.
type grid struct {
	columns []column
	widths  []float64 // of the text, mm
	gap     float64
	body    style
	head    [][]string
	rows    [][][]string // row, cell, line
	note    []string
	hand    float64
	list    bool // too many columns: each row is set as names with values
}

func (g *grid) headType() style { return style{g.body.size, true} }

// lineCount is the number of lines of the tallest cell.
func lineCount(cells [][]string) int {
	most := 1
	for _, c := range cells {
		most = max(most, len(c))
	}
	return most
}

func (g *grid) height(cells [][]string) float64 {
	return float64(lineCount(cells))*g.body.height() + rowSpace + g.hand
}

// least is the height of the head with the first row, or what of it must stand below the head.
func (g *grid) least() float64 {
	if g.list {
		return 3 * factType.height()
	}
	height := g.height(g.head) + g.body.height() + rowSpace
	if len(g.rows) > 0 {
		height = g.height(g.head) + min(g.height(g.rows[0]), 40)
	}
	if len(g.rows) < 2 {
		height += g.noteHeight()
	}
	return height
}

func (g *grid) noteHeight() float64 {
	return min(float64(len(g.note)), 4) * noteType.height()
}

// grid lays out a table, once.
func (p *press) grid(i int, t Table) *grid {
	if g, ok := p.grids[i]; ok {
		return g
	}
	g := &grid{columns: t.columns()}
	p.grids[i] = g
	if t.Hand {
		g.hand = handSpace
	}
	if t.Note != "" {
		g.note = p.ruler.wrap(t.Note, false, p.width/noteType.em())
	}
	for _, size := range []float64{8.5, 7.5, 6.8} {
		g.body = style{size, false}
		if g.list = !p.widths(g, t); !g.list {
			break
		}
	}
	if g.list {
		return g
	}
	for k, c := range g.columns {
		g.head = append(g.head, p.ruler.wrap(c.name, true, g.widths[k]/g.body.em()))
	}
	for _, row := range t.Rows {
		cells := make([][]string, len(g.columns))
		for k := range g.columns {
			cells[k] = p.ruler.wrap(at(row, k), false, g.widths[k]/g.body.em())
		}
		g.rows = append(g.rows, cells)
	}
	return g
}

// widths shares the page's width among columns: what they ask for where there is room, else
// at least their longest word. It fails where not even the words fit.
func (p *press) widths(g *grid, t Table) bool {
	em, n := g.body.em(), len(g.columns)
	if n == 0 {
		return true
	}
	least, like := make([]float64, n), make([]float64, n)
	for i, c := range g.columns {
		for _, row := range t.Rows {
			text := at(row, i)
			like[i] = max(like[i], p.ruler.widest(text, false)*em)
			least[i] = max(least[i], min(p.ruler.longest(text, false)*em, p.width/4))
			if c.number { // a number stays with its unit
				least[i] = max(least[i], min(like[i], p.width/5))
			}
		}
		word := p.ruler.longest(c.name, true) * em
		least[i] = max(least[i], min(word, p.width/4))
		like[i] = max(like[i], least[i], min(p.ruler.widest(c.name, true)*em, max(word, 1.6*like[i], shortHead)))
	}
	g.gap = columnGap
	room := p.width - g.gap*float64(n-1)
	if total(least) > room+1e-9 {
		return false
	}
	g.widths = share(room, least, like)
	if t.Hand { // whoever writes needs all the room there is
		more := max(0, room-total(g.widths)) / float64(n)
		for i := range g.widths {
			g.widths[i] += more
		}
	}
	if n > 1 {
		g.gap += min(moreGap, max(0, room-total(g.widths))/float64(n-1))
	}
	return true
}

func total(widths []float64) float64 {
	sum := 0.0
	for _, w := range widths {
		sum += w
	}
	return sum
}

// share divides a width: columns that like no more than an even share get what they like, the
// others share the rest evenly, and none gets less than its least.
func share(width float64, least, like []float64) []float64 {
	out := make([]float64, len(like))
	order := make([]int, len(like))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(like[a], like[b]) })
	left := width
	for n, i := range order {
		needed := 0.0 // by those that come later
		for _, j := range order[n+1:] {
			needed += least[j]
		}
		even := max(least[i], min(left/float64(len(order)-n), left-needed))
		out[i] = min(like[i], even)
		left -= out[i]
	}
	return out
}

// table sets a table over as many pages as it needs, its head on each.
func (p *press) table(i int, t Table) {
	g := p.grid(i, t)
	if g.list {
		p.tableAsList(g, t)
		return
	}
	p.room(g.least())
	p.row(g, g.head, g.headType(), 0.4)
	if len(g.rows) == 0 {
		p.row(g, [][]string{{noRows}}, g.body, 0.12)
	}
	for k, cells := range g.rows {
		need := g.height(cells)
		if k == len(g.rows)-1 {
			need += g.noteHeight()
		}
		full := p.low - p.top - g.height(g.head)
		if p.y+min(need, full) > p.low+1e-6 {
			p.nextHead(g)
		}
		p.longRow(g, cells)
	}
	p.y += 0.6
	p.setLines(g.note, noteType, 0)
	p.space(3)
}

// nextHead begins a page with the table's head.
func (p *press) nextHead(g *grid) {
	p.page(false)
	p.fresh = false
	p.row(g, g.head, g.headType(), 0.4)
}

// longRow sets a row; one that is taller than a page goes on below the head of the next.
func (p *press) longRow(g *grid, cells [][]string) {
	for {
		fit := max(1, int((p.low-p.y-rowSpace-g.hand+1e-6)/g.body.height()))
		if lineCount(cells) <= fit {
			p.row(g, cells, g.body, 0.12)
			return
		}
		rest := make([][]string, len(cells))
		first := make([][]string, len(cells))
		for i, lines := range cells {
			n := min(fit, len(lines))
			first[i], rest[i] = lines[:n], lines[n:]
		}
		p.row(g, first, g.body, 0)
		p.nextHead(g)
		cells = rest
	}
}

// row sets cells beside each other with a rule below.
func (p *press) row(g *grid, cells [][]string, s style, rule float64) {
	if !s.bold {
		p.y += g.hand
	}
	x, most := margin, lineCount(cells)
	for i := range g.columns {
		if i < len(cells) {
			y := p.y
			if s.bold { // heads stand on the rule
				y += float64(most-len(cells[i])) * s.height()
			}
			p.cell(x, y, g.widths[i], cells[i], g.columns[i].number, s)
		}
		x += g.widths[i] + g.gap
	}
	p.y += float64(most)*s.height() + rowSpace
	if rule > 0 && len(g.columns) > 0 {
		p.underRow(g, x-g.gap, rule, g.hand > 0 && !s.bold)
	}
}

// underRow draws the rule below a row; where somebody writes, one for each cell.
func (p *press) underRow(g *grid, end, rule float64, byCell bool) {
	y := p.y - rowSpace/2
	if !byCell {
		p.rule(margin, end, y, rule)
		return
	}
	x := margin
	for _, width := range g.widths {
		p.rule(x, x+width, y, rule)
		x += width + g.gap
	}
}

func (p *press) cell(x, y, width float64, lines []string, number bool, s style) {
	for k, l := range lines {
		in := 0.0
		if number {
			in = width - p.ruler.Width(l, s.bold)*s.em()
		}
		if l != "" {
			p.set(x+in, y+float64(k)*s.height(), l, s)
		}
	}
}

// tableAsList sets each row as names with values, where columns would be too narrow.
func (p *press) tableAsList(g *grid, t Table) {
	for _, row := range t.Rows {
		var facts [][2]string
		for i, c := range g.columns {
			if text := at(row, i); text != "" {
				facts = append(facts, [2]string{c.name, text})
			}
		}
		p.room(min(float64(len(facts)), 6) * (factType.height() + 0.7))
		p.rule(margin, margin+p.width, p.y, 0.12)
		p.y++
		p.facts(facts)
	}
	if names := t.unused(); names != "" {
		p.lines(names+": "+noRows, factType, 0)
	}
	p.setLines(g.note, noteType, 0)
	p.space(3)
}
