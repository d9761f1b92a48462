package paper_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/labels"
	"heeltap/labels/paper"
)

var update = flag.Bool("update", false, "write the golden files anew")

// sample has every kind of part, and texts that would break a careless writer.
func sample() *paper.Document {
	var rows [][]string
	for i := range 60 {
		rows = append(rows, []string{fmt.Sprintf("P26-%04d", i), "PALE-CAN <b>&\"'", "BB 2027-03-10, BB 2027-03-11", fmt.Sprint(80 - i), strings.Repeat("a rather long remark ", i%5)})
	}
	return &paper.Document{Title: "Urgent: food recall", Subtitle: "Tidewick, which does not exist", Marks: []string{"DRAFT", "EXERCISE: NOT REAL"},
		Footer: "As known with entry 812", Dated: time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC),
		Parts: []paper.Part{
			paper.Heading{Level: 1, Text: "What to do"}, paper.Text{Text: "Stop selling it. Ærø, Łódź, naïve 0.45 µm & <tags>."}, paper.Text{Text: "Now.", Strong: true},
			paper.Caution{Lines: []string{"It finds and counts; it does not decide.", "Packages may burst: keep them cool, wear eye protection."}},
			paper.Facts{Rows: [][2]string{{"Product", "Tidewick Pale"}, {"Codes", strings.Repeat("BB 2027-03-10 ", 20)}}},
			paper.Heading{Level: 2, Text: "What you received"},
			paper.Table{Head: []string{"unit", "product", "codes", "#cases", "remark"}, Rows: rows, Note: "Net of returns."},
			paper.Heading{Level: 3, Text: "Kegs"}, paper.Table{Head: []string{"keg", "#L"}},
			paper.Table{Head: []string{"tank", "#L"}, Rows: [][]string{{"BT1", "3000", "more than the head says"}, {"BT2"}}},
			paper.List{Items: []string{"Set it apart.", "Call us."}}, paper.Blank{Labels: []string{"On hand now, cases"}}, paper.Signatures{Roles: []string{"Quality lead"}},
			paper.Code{Payload: "RC26-01/D-11", Text: "Your answer form"}, paper.Break{},
			paper.Picture{Flow: sampleFlow()},
		}}
}

// sampleFlow has an edge of each sort: sure and possible, known and not, over a column,
// backwards, within a column.
func sampleFlow() paper.Flow {
	return paper.Flow{Columns: []string{"Suspect", "Brews", "Consignees"}, Caption: "Dashed: possible only.",
		Nodes: []paper.FlowNode{{ID: "a", Title: "L26-0142", Detail: "hop", Sure: true}, {ID: "b", Column: 1, Title: "B26-0031", Sure: true}, {ID: "c", Column: 1, Title: "B26-0032"},
			{ID: "d", Column: 2, Title: "D-11 & <Sons>", Sure: true}, {ID: "e", Column: 2, Title: "D-12 with a name that is much too long for any box", Detail: "and a detail that is as long as that too", Sure: true}},
		Edges: []paper.FlowEdge{{From: "a", To: "b", Sure: true, Weight: 4}, {From: "a", To: "c", Weight: math.NaN()}, {From: "b", To: "d", Sure: true, Weight: 1},
			{From: "a", To: "e", Sure: true, Weight: math.NaN()}, {From: "e", To: "c", Sure: true, Weight: 2}, {From: "b", To: "c", Weight: 1}, {From: "b", To: "nowhere"}, {From: "b", To: "b"}}}
}

func written(t require.TestingT, f func(w io.Writer) error) []byte {
	var b bytes.Buffer
	require.NoError(t, f(&b))
	return b.Bytes()
}

// forms are the three forms of a document.
func forms(d *paper.Document) map[string]func(io.Writer) error {
	return map[string]func(io.Writer) error{"pdf": d.PDF, "html": d.HTML, "plain": d.Plain}
}

func TestTheSameDocumentGivesTheSameBytes(t *testing.T) {
	for name, f := range forms(sample()) {
		first := written(t, f)
		for range 4 {
			require.True(t, bytes.Equal(first, written(t, forms(sample())[name])), name)
		}
	}
}

// The texts of a document are not changed by writing it.
func TestWritingLeavesTheDocumentAlone(t *testing.T) {
	d := sample()
	d.Parts = append(d.Parts, paper.Text{Text: "a\x00b"}, paper.Table{Head: []string{"\x01"}, Rows: [][]string{{"\x02"}}})
	for _, f := range forms(d) {
		written(t, f)
	}
	require.Equal(t, paper.Text{Text: "a\x00b"}, d.Parts[len(d.Parts)-2])
	require.Equal(t, paper.Table{Head: []string{"\x01"}, Rows: [][]string{{"\x02"}}}, d.Parts[len(d.Parts)-1])
}

func TestGolden(t *testing.T) {
	flow := sampleFlow()
	for name, got := range map[string][]byte{"sample.html": written(t, sample().HTML), "sample.txt": written(t, sample().Plain), "flow.svg": written(t, flow.SVG)} {
		path := filepath.Join("testdata", name)
		if *update {
			require.NoError(t, os.MkdirAll("testdata", 0o755))
			require.NoError(t, os.WriteFile(path, got, 0o644))
		}
		want, err := os.ReadFile(path)
		require.NoError(t, err)
		is, was := strings.Split(string(got), "\n"), strings.Split(string(want), "\n")
		for i := range min(len(is), len(was)) {
			require.Equal(t, was[i], is[i], "%s, line %d; go test -update writes it anew", name, i+1)
		}
		require.Len(t, is, len(was), name)
	}
}

func TestRefusesAndWritesNothing(t *testing.T) {
	tests := []struct {
		name string
		part paper.Part
		is   error
		says string
	}{
		{"a code without a payload", paper.Code{Text: "form"}, nil, "holds nothing"},
		{"a code that no scanner could read", paper.Code{Payload: strings.Repeat("x", 400)}, labels.ErrTooLong, ""},
		{"no part", nil, nil, "no part of type"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			d := sample()
			d.Parts = append(d.Parts, test.part)
			for name, f := range forms(d) {
				if name == "plain" && test.part != nil {
					continue // shows no symbol
				}
				var b bytes.Buffer
				err := f(&b)
				require.Error(t, err, name)
				require.ErrorContains(t, err, test.says)
				if test.is != nil {
					require.ErrorIs(t, err, test.is)
				}
				require.Zero(t, b.Len())
			}
		})
	}
}

func TestReportsAFullDisk(t *testing.T) {
	full := errors.New("disk full")
	for name, f := range forms(sample()) {
		r, w := io.Pipe()
		r.CloseWithError(full)
		require.ErrorIs(t, f(w), full, name)
	}
}

func TestNothingAtAll(t *testing.T) {
	d := &paper.Document{Parts: []paper.Part{paper.Picture{}, paper.Table{}, paper.Facts{}, paper.List{}, paper.Caution{}, paper.Text{}, paper.Heading{}, paper.Blank{}, paper.Signatures{}, paper.Break{}}}
	for name, f := range forms(d) {
		require.NotEmpty(t, written(t, f), name)
	}
}

// page reads an HTML page: its texts, its elements, the values of its attributes. It is written
// so that a forgiving reader of XML can read it.
func page(t require.TestingT, data []byte) (text string, elements map[string]int, attributes []string) {
	dec := xml.NewDecoder(bytes.NewReader(data))
	dec.Strict, dec.AutoClose, dec.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	var b strings.Builder
	elements = map[string]int{}
	for {
		token, err := dec.Token()
		if err == io.EOF {
			return b.String(), elements, attributes
		}
		require.NoError(t, err)
		switch x := token.(type) {
		case xml.StartElement:
			elements[x.Name.Local]++
			for _, a := range x.Attr {
				attributes = append(attributes, a.Name.Local+"="+a.Value)
			}
		case xml.CharData:
			b.Write(x)
		}
	}
}

func TestPageIsOfOnePiece(t *testing.T) {
	data := written(t, sample().HTML)
	_, elements, attributes := page(t, data)
	for _, name := range []string{"script", "link", "img", "iframe", "object", "base", "b", "tags", "Sons"} {
		require.Zero(t, elements[name], name)
	}
	require.Equal(t, 1, elements["h1"])
	require.Equal(t, 1, elements["main"])
	require.Equal(t, elements["th"], strings.Count(string(data), `<th scope="col"`))
	require.Contains(t, attributes, "lang=en")
	for _, a := range attributes {
		name, value, _ := strings.Cut(a, "=")
		require.False(t, strings.HasPrefix(name, "on") || name == "href" || name == "src", a)
		require.True(t, name == "xmlns" || !strings.Contains(value, "//"), a)
	}
	require.NotContains(t, string(data), "url(")
	require.NotContains(t, string(data), "@import")
	require.NotContains(t, string(data), "Zgotmpl", "what the template refused to write")
}

// The marks stand in a style sheet for the printed pages, where other characters do harm.
func TestMarksCanNotLeaveTheStyleSheet(t *testing.T) {
	d := sample()
	d.Marks = []string{`</style><script>alert("1")</script>`, `"} body { display: none } /*`, "EXERCISE: λ"}
	d.Footer = `\"; } * { color: white`
	data := string(written(t, d.HTML))
	require.NotContains(t, data, "<script")
	_, style, _ := strings.Cut(data, "<style>")
	style, _, _ = strings.Cut(style, "</style>")
	require.Equal(t, strings.Count(style, "{"), strings.Count(style, "}"))
	require.NotContains(t, style, "display: none } /*")
	require.NotContains(t, style, "color: white")
	require.Contains(t, style, `EXERCISE\3a  \3bb `)
}

func TestPlainStaysNarrow(t *testing.T) {
	for line := range strings.SplitSeq(string(written(t, sample().Plain)), "\n") {
		require.LessOrEqual(t, len([]rune(line)), 76, line)
	}
}

// An address in an e-mail must stay whole to be followed.
func TestPlainKeepsLongWordsWhole(t *testing.T) {
	word := "https://tidewick.example/" + strings.Repeat("a", 90)
	d := &paper.Document{Title: "x", Parts: []paper.Part{paper.Text{Text: "see " + word + " now"}, paper.Table{Head: []string{"address", "#n"}, Rows: [][]string{{word, "1"}}}}}
	require.Equal(t, 2, strings.Count(string(written(t, d.Plain)), word))
}

func TestPlainTables(t *testing.T) {
	long := strings.Repeat("word ", 20) + "end"
	tests := []struct {
		name  string
		table paper.Table
		want  string
	}{
		{"aligned", paper.Table{Head: []string{"lot", "#kg"}, Rows: [][]string{{"L1", "5"}, {"Läuf-22", "1250"}}, Note: "Dry."}, "lot        kg\n-------  ----\nL1          5\nLäuf-22  1250\nDry.\n"},
		{"wide characters take two columns", paper.Table{Head: []string{"a", "b"}, Rows: [][]string{{"漢字", "x"}, {"e\u0301", "y"}}}, "a     b\n----  -\n漢字  x\ne\u0301     y\n"},
		{"one column wraps", paper.Table{Head: []string{"lot", "remark"}, Rows: [][]string{{"L1", long}}}, "lot  remark\n---  " + strings.Repeat("-", 71) + "\nL1   " + strings.TrimSpace(strings.Repeat("word ", 14)) + "\n     " + strings.Repeat("word ", 6) + "end\n"},
		{"too wide: a block for each row", paper.Table{Head: []string{"one", "#two"}, Rows: [][]string{{long, long}, {"x", ""}}},
			"  one: " + strings.TrimSpace(strings.Repeat("word ", 14)) + "\n  " + strings.Repeat("word ", 6) + "end\n  two: " + strings.TrimSpace(strings.Repeat("word ", 14)) + "\n  " + strings.Repeat("word ", 6) + "end\n\n  one: x\n"},
		{"nothing in it", paper.Table{Head: []string{"lot"}}, "lot\n---\nnone\n"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			d := &paper.Document{Title: "T", Parts: []paper.Part{test.table}}
			require.Equal(t, "T\n=\n\n"+test.want, string(written(t, d.Plain)))
		})
	}
}

// squeezed leaves out blanks: where lines break is not what is compared.
func squeezed(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return -1
		}
		return r
	}, text)
}

// anyText gives texts as people write them, and such as would break a careless writer.
func anyText() *rapid.Generator[string] {
	piece := rapid.OneOf(
		rapid.SampledFrom([]string{"<script>alert(1)</script>", "</td>", "&amp;", "&#0;", "'\"`", "]]>", "-->", "{{.}}", "{nb}", "%d%s%!", `\n\(`, ")(", "</style>", "javascript:x", "# 1", "*** x ***",
			"漢字", "🍺", "Ærø", "Łódź", "Тёмное", "e\u0301", "a\u00A0b", "1\u202F000", "non\u2011breaking", strings.Repeat("W", 90), strings.Repeat("BB-2027-", 14), "a\nb", "a\r\nb", "tab\tbed"}),
		rapid.StringMatching(`[A-Za-z0-9 .,:/-]{1,40}`),
	)
	return rapid.Map(rapid.SliceOfN(piece, 1, 6), func(p []string) string { return "x" + strings.Join(p, " ") + "x" })
}

// anyDocument gives a document of one part of each kind with any texts, and those texts.
func anyDocument(t *rapid.T) (*paper.Document, []string) {
	var all []string
	text := func() string {
		s := anyText().Draw(t, "text")
		all = append(all, s)
		return s
	}
	d := &paper.Document{Title: text(), Subtitle: text(), Letter: rapid.Bool().Draw(t, "letter"), Parts: []paper.Part{
		paper.Heading{Level: rapid.IntRange(0, 4).Draw(t, "level"), Text: text()}, paper.Text{Text: text(), Strong: rapid.Bool().Draw(t, "strong")},
		paper.Caution{Lines: []string{text(), text()}}, paper.Facts{Rows: [][2]string{{text(), text()}}}, paper.List{Items: []string{text(), text()}}, paper.Blank{Labels: []string{text()}}, paper.Signatures{Roles: []string{text()}},
		paper.Code{Payload: "RC26-01", Text: text()}}}
	table := paper.Table{Note: text()}
	columns := rapid.IntRange(1, 12).Draw(t, "columns")
	for i := range columns {
		table.Head = append(table.Head, []string{"", "#"}[i%2]+text())
	}
	for range rapid.IntRange(1, 4).Draw(t, "rows") {
		var row []string
		for range rapid.IntRange(1, columns+1).Draw(t, "cells") {
			row = append(row, text())
		}
		table.Rows = append(table.Rows, row)
	}
	flow := paper.Flow{Columns: []string{text(), text(), text()}, Caption: text()}
	nodes := rapid.IntRange(1, 12).Draw(t, "nodes")
	for i := range nodes {
		flow.Nodes = append(flow.Nodes, paper.FlowNode{ID: fmt.Sprint(i), Column: rapid.IntRange(0, 2).Draw(t, "column"), Title: text(), Detail: text(), Sure: rapid.Bool().Draw(t, "sure")})
	}
	for range rapid.IntRange(0, 12).Draw(t, "edges") {
		weight := rapid.SampledFrom([]float64{0, 1, 2.5, 1e9, math.NaN(), math.Inf(1), -1}).Draw(t, "weight")
		flow.Edges = append(flow.Edges, paper.FlowEdge{From: fmt.Sprint(rapid.IntRange(0, nodes).Draw(t, "from")), To: fmt.Sprint(rapid.IntRange(0, nodes).Draw(t, "to")), Weight: weight, Sure: rapid.Bool().Draw(t, "sure")})
	}
	used := map[int]bool{}
	for _, n := range flow.Nodes {
		used[n.Column] = true
	}
	for c, name := range flow.Columns {
		if !used[c] { // the name of an empty column is not shown
			flow.Columns[c] = "empty"
			all = deleted(all, name)
		}
	}
	d.Parts = append(d.Parts, table, paper.Break{}, paper.Picture{Flow: flow})
	return d, all
}

func deleted(all []string, text string) []string {
	for i, s := range all {
		if s == text {
			return append(all[:i:i], all[i+1:]...)
		}
	}
	return all
}

// TestEveryTextComesOut: whatever the texts are, each stands in full in the page and in the
// e-mail, and none of them becomes markup.
func TestEveryTextComesOut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, all := anyDocument(t)
		text, elements, _ := page(t, written(t, d.HTML))
		require.Zero(t, elements["script"])
		inPage, inMail := squeezed(text), string(written(t, d.Plain))
		for _, s := range all {
			require.Contains(t, inPage, squeezed(s))
			for word := range strings.FieldsSeq(s) { // the lines of cells beside each other alternate
				require.Contains(t, inMail, word)
			}
		}
	})
}

// What no page can show, and what would turn the order of characters, is shown as a mark.
func TestWhatCanNotBeShownIsMarked(t *testing.T) {
	d := &paper.Document{Title: "a\x00b\u202Ec\xffd\u2066e\uFFFEf\u00ADg"}
	text, _, _ := page(t, written(t, d.HTML))
	require.Contains(t, text, "a\uFFFDb\uFFFDc\uFFFDd\uFFFDe\uFFFDfg")
	require.True(t, strings.HasPrefix(string(written(t, d.Plain)), "a\uFFFDb\uFFFDc\uFFFDd\uFFFDe\uFFFDfg\n"))
}

// A browser breaks no code, date or moment in two, and what stands right after one is escaped like all else.
func TestCodesStayWholeOnAPage(t *testing.T) {
	for text, want := range map[string]string{
		"on 2026-03-07 09:12, by Bo": `on <span class="k">2026-03-07 09:12,</span> by Bo`,
		"2026-03-07 09:12<b>&":       `<span class="k">2026-03-07 09:12&lt;b&gt;&amp;</span>`,
		"2026-03-07 and":             `<span class="k">2026-03-07</span> and`,
		"CO2-TANK@2026-01-01T11:00":  `<span class="k">CO2-TANK@2026-01-01T11:00</span>`,
		"well-kept <i>":              `well-kept &lt;i&gt;`,
	} {
		page := string(written(t, (&paper.Document{Title: "x", Parts: []paper.Part{paper.Text{Text: text}}}).HTML))
		require.Contains(t, page, "<p>"+want+"</p>")
	}
}

// What the PDF's face lacks is told of; text and HTML have it.
func TestWhatAPDFCanNotShowIsToldOf(t *testing.T) {
	d := &paper.Document{Title: "To 渋谷ビール, Köln", Parts: []paper.Part{paper.Text{Text: "plain words, \u2011 and 渋谷ビール,"}, paper.Facts{Rows: [][2]string{{"a", "fine 🍺"}}}}}
	lost, err := d.NotInPDF()
	require.NoError(t, err)
	require.Equal(t, []string{"渋谷ビール,", "🍺"}, lost)
	require.Contains(t, string(written(t, d.HTML)), "渋谷ビール")
	lost, err = sample().NotInPDF()
	require.NoError(t, err)
	require.Empty(t, lost)
}
