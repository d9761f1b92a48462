package paper

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"
)

// plainWidth is what an e-mail's lines hold, so that they still fit when they are quoted.
const plainWidth = 76

// Plain writes the document as text for an e-mail, wrapped at 76 columns; only a word that is
// longer stands on a longer line, whole. A table that is too wide is written as a block for
// each row. A picture is told in words.
func (d *Document) Plain(w io.Writer) error {
	d = d.cleaned()
	p := &typist{}
	for _, m := range d.Marks {
		p.wrap("*** ", m+" ***")
	}
	p.head(d.Title, "=")
	p.wrapIf("", d.Subtitle)
	for _, part := range d.Parts {
		if err := p.part(part); err != nil {
			return err
		}
	}
	if d.Footer != "" {
		p.printf("\n--\n")
		p.wrap("", d.Footer)
	}
	if _, err := p.b.WriteTo(w); err != nil {
		return fmt.Errorf("write text: %w", err)
	}
	return nil
}

// NotInPDF lists the words of a document that its PDF cannot show as they are, each once: the face
// lacks some of their characters, and a mark stands in their place. Text and HTML have them whole.
func (d *Document) NotInPDF() ([]string, error) {
	var b bytes.Buffer
	if err := d.Plain(&b); err != nil {
		return nil, err
	}
	r := newRuler()
	var out []string
	for word := range strings.FieldsSeq(b.String()) {
		if strings.Count(r.settable(word), "\uFFFD") > strings.Count(word, "\uFFFD") && !slices.Contains(out, word) {
			out = append(out, word)
		}
	}
	return out, nil
}

// typist writes plain text.
type typist struct{ b bytes.Buffer }

func (p *typist) printf(format string, a ...any) { fmt.Fprintf(&p.b, format, a...) }

func (p *typist) part(part Part) error {
	switch x := part.(type) {
	case Heading:
		p.printf("\n")
		p.head(x.Text, []string{"=", "-", "."}[x.level()-1])
		return nil
	case Break:
		return nil
	}
	p.printf("\n")
	switch x := part.(type) {
	case Text:
		p.wrap("", x.Text)
	case Caution:
		for _, l := range x.Lines {
			p.wrap("! ", l)
		}
	case Facts:
		p.facts(x.Rows)
	case Table:
		p.table(x)
	case List:
		for _, i := range x.Items {
			p.wrap("- ", i)
		}
	case Signatures:
		p.signing(x.Roles)
	case Blank:
		for _, l := range x.Labels {
			p.wrap("", l+": "+strings.Repeat("_", 20))
		}
	case Code:
		p.wrapIf("", x.Text)
		p.wrap("", clean(x.Payload))
	case Picture:
		p.picture(x.Flow)
	default:
		return fmt.Errorf("a paper has no part of type %T", part)
	}
	return nil
}

func (p *typist) signing(roles []string) {
	for i, r := range roles {
		if i > 0 {
			p.printf("\n")
		}
		p.wrap("", r)
		for _, l := range []string{signName, signature, signDate} {
			p.printf("  %-12s %s\n", l+":", strings.Repeat("_", 40))
		}
	}
}

// head writes a heading with a line under it.
func (p *typist) head(text, line string) {
	most := 0
	for _, l := range wrapColumns(text, plainWidth) {
		p.printf("%s\n", l)
		most = max(most, columnsOf(l))
	}
	p.printf("%s\n", strings.Repeat(line, min(most, plainWidth)))
}

func (p *typist) wrapIf(lead, text string) {
	if text != "" {
		p.wrap(lead, text)
	}
}

// wrap writes a text after a lead; the lines after the first are set in as far.
func (p *typist) wrap(lead, text string) {
	in := strings.Repeat(" ", len(lead))
	for i, l := range wrapColumns(text, plainWidth-len(lead)) {
		if i > 0 {
			lead = in
		}
		p.printf("%s\n", strings.TrimRight(lead+l, " "))
	}
}

// facts writes names with values; the values stand in a column where the names are short.
func (p *typist) facts(rows [][2]string) {
	most := 0
	for _, r := range rows {
		most = max(most, columnsOf(r[0])+2)
	}
	for _, r := range rows {
		if name := r[0] + ":"; most <= plainWidth/2 && !strings.Contains(r[0], "\n") {
			lead := name + strings.Repeat(" ", most-columnsOf(name))
			for i, l := range wrapColumns(r[1], plainWidth-most) {
				if i > 0 {
					lead = strings.Repeat(" ", most)
				}
				p.printf("%s\n", strings.TrimRight(lead+l, " "))
			}
		} else {
			p.wrap("", name+" "+r[1])
		}
	}
}

// picture tells a flow: each column's boxes, then what went where.
func (p *typist) picture(f Flow) {
	p.wrapIf("", f.Caption)
	doubt := func(sure bool) string {
		if sure {
			return ""
		}
		return " (" + onlyMaybe + ")"
	}
	plan := f.layOut(newRuler())
	for i, column := range plan.columns {
		p.wrapIf("", plan.names[i])
		for _, s := range column {
			if s.node != nil {
				p.wrap("  ", strings.TrimSpace(s.node.Title+"  "+s.node.Detail)+doubt(s.node.Sure))
			}
		}
	}
	p.printf("\n")
	goes := map[string][]string{} // from what to what, in the order of the edges
	var from []string
	for _, r := range plan.routes {
		title := r.a.node.Title
		if goes[title] == nil {
			from = append(from, title)
		}
		goes[title] = append(goes[title], r.b.node.Title+doubt(r.edge.Sure))
	}
	for _, title := range from {
		p.wrap("  ", title+" -> "+strings.Join(goes[title], ", "))
	}
}

// wrapColumns breaks a text at blanks and newlines into lines of so many columns; at least one.
func wrapColumns(text string, most int) []string {
	var out []string
	for paragraph := range strings.SplitSeq(text, "\n") {
		line, width := "", 0
		for word := range strings.FieldsFuncSeq(paragraph, isBlank) {
			n := columnsOf(word)
			switch {
			case width == 0:
				line, width = word, n
			case width+1+n > most:
				out = append(out, line)
				line, width = word, n
			default:
				line, width = line+" "+word, width+1+n
			}
		}
		out = append(out, line)
	}
	return out
}

// columnsOf is how many columns a text takes in a face of fixed width: East Asian wide
// characters and emoji (Unicode Annex 11, W and F, from memory and in rough ranges) take two,
// marks on other characters none.
func columnsOf(text string) int {
	n := 0
	for _, r := range text {
		switch {
		case unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf):
		case r >= 0x1100 && r <= 0x115F, r >= 0x2E80 && r <= 0xA4CF, r >= 0xAC00 && r <= 0xD7A3,
			r >= 0xF900 && r <= 0xFAFF, r >= 0xFE30 && r <= 0xFE6F, r >= 0xFF00 && r <= 0xFF60, r >= 0x1F300 && r <= 0x1FAFF, r >= 0x20000 && r <= 0x3FFFD:
			n += 2
		default:
			n++
		}
	}
	return n
}
