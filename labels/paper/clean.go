package paper

import (
	"slices"
	"strings"
	"unicode"
)

// clean makes a text fit to be shown anywhere: line ends become newlines and tabs blanks. What
// no page can show, and what would turn the order of the characters around it (the bidirectional
// embeddings, overrides and isolates of Unicode Annex 9), becomes the replacement character, so
// that it is seen. Marks that say only where a line may break are left out.
func clean(text string) string {
	text = strings.ReplaceAll(strings.ToValidUTF8(text, "\uFFFD"), "\r\n", "\n")
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\r' || r == '\u0085' || r == '\u2028' || r == '\u2029':
			return '\n'
		case r == '\t':
			return ' '
		case r == '\u00AD' || r == '\u200B' || r == '\u2060' || r == '\uFEFF':
			return -1
		case unicode.IsControl(r), r >= '\u202A' && r <= '\u202E', r >= '\u2066' && r <= '\u2069',
			r&0xFFFE == 0xFFFE, r >= '\uFDD0' && r <= '\uFDEF':
			return '\uFFFD'
		}
		return r
	}, text)
}

func cleanAll(texts []string) []string {
	out := slices.Clone(texts)
	for i, t := range out {
		out[i] = clean(t)
	}
	return out
}

// cleaned is a copy of the document whose texts are clean. What a code holds stays as it is.
func (d *Document) cleaned() *Document {
	c := *d
	c.Title, c.Subtitle, c.Footer = clean(d.Title), clean(d.Subtitle), clean(d.Footer)
	c.Marks = cleanAll(d.Marks)
	c.Parts = make([]Part, len(d.Parts))
	for i, p := range d.Parts {
		c.Parts[i] = cleanPart(p)
	}
	return &c
}

func cleanPart(part Part) Part {
	switch p := part.(type) {
	case Heading:
		return Heading{p.Level, clean(p.Text)}
	case Text:
		return Text{clean(p.Text), p.Strong}
	case Caution:
		return Caution{cleanAll(p.Lines)}
	case Facts:
		rows := slices.Clone(p.Rows)
		for i, r := range rows {
			rows[i] = [2]string{clean(r[0]), clean(r[1])}
		}
		return Facts{rows}
	case Table:
		rows := slices.Clone(p.Rows)
		for i, r := range rows {
			rows[i] = cleanAll(r)
		}
		return Table{Head: cleanAll(p.Head), Rows: rows, Note: clean(p.Note), Hand: p.Hand}
	case List:
		return List{cleanAll(p.Items)}
	case Signatures:
		return Signatures{cleanAll(p.Roles)}
	case Blank:
		return Blank{cleanAll(p.Labels)}
	case Code:
		return Code{p.Payload, clean(p.Text)}
	case Picture:
		return Picture{p.Flow.cleaned()}
	}
	return part
}

// cleaned is a copy whose texts are clean, and of one line within the picture.
func (f *Flow) cleaned() Flow {
	c := Flow{Columns: cleanAll(f.Columns), Nodes: slices.Clone(f.Nodes), Edges: f.Edges, Caption: clean(f.Caption)}
	line := func(text string) string { return strings.ReplaceAll(clean(text), "\n", " ") }
	for i, n := range c.Columns {
		c.Columns[i] = line(n)
	}
	for i, n := range c.Nodes {
		c.Nodes[i].Title, c.Nodes[i].Detail = line(n.Title), line(n.Detail)
	}
	return c
}
