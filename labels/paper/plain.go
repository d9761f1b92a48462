package paper

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

const plainWidth = 76

// Plain writes the document as text for an e-mail, wrapped at 76 columns. A table that is
// wider is written as one block a row.
func (d *Document) Plain(w io.Writer) error {
	b := bufio.NewWriter(w)
	for _, m := range d.Marks {
		fmt.Fprintf(b, "*** %s ***\n", m)
	}
	fmt.Fprintf(b, "%s\n", strings.ToUpper(d.Title))
	if d.Subtitle != "" {
		plainWrap(b, "", d.Subtitle)
	}
	for _, p := range d.Parts {
		plainPart(b, p)
	}
	if d.Footer != "" {
		fmt.Fprintf(b, "\n--\n")
		plainWrap(b, "", d.Footer)
	}
	return b.Flush()
}

func plainPart(b *bufio.Writer, part Part) {
	switch p := part.(type) {
	case Heading:
		line := "-"
		if p.Level == 1 {
			line = "="
		}
		fmt.Fprintf(b, "\n%s\n%s\n", p.Text, strings.Repeat(line, utf8.RuneCountInString(p.Text)))
	case Text:
		fmt.Fprintln(b)
		plainWrap(b, "", p.Text)
	case Caution:
		fmt.Fprintln(b)
		for _, l := range p.Lines {
			plainWrap(b, "! ", l)
		}
	case Facts:
		fmt.Fprintln(b)
		for _, r := range p.Rows {
			plainWrap(b, "", r[0]+": "+r[1])
		}
	case Table:
		plainTable(b, p)
	case List:
		fmt.Fprintln(b)
		for _, i := range p.Items {
			plainWrap(b, "- ", i)
		}
	case Signatures:
		for _, r := range p.Roles {
			fmt.Fprintf(b, "\n%s\n  name:        ______________________________\n  signature:   ______________________________\n  date, time:  ______________________________\n", r)
		}
	case Blank:
		fmt.Fprintln(b)
		for _, l := range p.Labels {
			fmt.Fprintf(b, "%s: ____________________\n", l)
		}
	case Code:
		fmt.Fprintf(b, "\n%s\n%s\n", p.Text, p.Payload)
	case Picture:
		fmt.Fprintln(b)
		plainWrap(b, "", p.Caption)
	}
}

// plainWrap writes a text in lines of at most 76 columns, each after a lead; the lines after the first are set in.
func plainWrap(b *bufio.Writer, lead, text string) {
	in := strings.Repeat(" ", len(lead))
	line, width := lead, 0
	for _, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		if width > 0 && len(in)+width+1+n > plainWidth {
			fmt.Fprintln(b, line)
			line, width = in, 0
		}
		if width > 0 {
			line, width = line+" ", width+1
		}
		line, width = line+word, width+n
	}
	fmt.Fprintln(b, line)
}

func plainTable(b *bufio.Writer, t Table) {
	fmt.Fprintln(b)
	width := make([]int, len(t.Head))
	for i, h := range t.Head {
		text, _ := heading(h)
		width[i] = utf8.RuneCountInString(text)
		for _, row := range t.Rows {
			width[i] = max(width[i], utf8.RuneCountInString(cell(row, i)))
		}
	}
	sum := 0
	for _, w := range width {
		sum += w + 2
	}
	if sum-2 > plainWidth {
		plainBlocks(b, t)
	} else {
		plainRows(b, t, width)
	}
	if t.Note != "" {
		plainWrap(b, "", t.Note)
	}
}

func plainRows(b *bufio.Writer, t Table, width []int) {
	line := func(text func(i int) string) {
		var s strings.Builder
		for i, h := range t.Head {
			_, number := heading(h)
			c := text(i)
			pad := strings.Repeat(" ", width[i]-utf8.RuneCountInString(c))
			if number {
				s.WriteString(pad + c + "  ")
			} else {
				s.WriteString(c + pad + "  ")
			}
		}
		fmt.Fprintln(b, strings.TrimRight(s.String(), " "))
	}
	line(func(i int) string { text, _ := heading(t.Head[i]); return text })
	line(func(i int) string { return strings.Repeat("-", width[i]) })
	for _, row := range t.Rows {
		line(func(i int) string { return cell(row, i) })
	}
}

// plainBlocks writes a wide table: each row as names with values.
func plainBlocks(b *bufio.Writer, t Table) {
	for n, row := range t.Rows {
		if n > 0 {
			fmt.Fprintln(b)
		}
		for i, h := range t.Head {
			text, _ := heading(h)
			if c := cell(row, i); c != "" {
				if text != "" {
					c = text + ": " + c
				}
				plainWrap(b, "  ", c)
			}
		}
	}
}
