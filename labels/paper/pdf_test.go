package paper_test

import (
	"bytes"
	"fmt"
	"image"
	"image/draw"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/labels"
	"heeltap/labels/paper"
)

// tool finds a program that a check needs. Without it the check is left out, but not where
// HEELTAP_CI is set.
func tool(t *testing.T, name string) string {
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("HEELTAP_CI") == "1" {
			t.Fatalf("%s is missing: install poppler-utils", name)
		}
		t.Skipf("needs %s of poppler-utils", name)
	}
	return path
}

// read gives the text of a PDF, page by page, as poppler reads it.
func read(t require.TestingT, pdftotext string, pdf []byte, how string) []string {
	cmd := exec.Command(pdftotext, how, "-", "-")
	cmd.Stdin = bytes.NewReader(pdf)
	out, err := cmd.Output()
	require.NoError(t, err)
	return strings.Split(strings.TrimSuffix(string(out), "\f"), "\f")
}

func TestPDFIsDated(t *testing.T) {
	d := sample()
	d.Dated = time.Date(2026, 3, 4, 23, 30, 0, 0, time.FixedZone("", -3600))
	require.Contains(t, string(written(t, d.PDF)), "20260305003000", "in UTC")
	d.Dated = time.Time{}
	require.Contains(t, string(written(t, d.PDF)), "19700101000000")
}

// Every page says what the paper is, and which of how many it is.
func TestEachPageHasItsMarks(t *testing.T) {
	pdftotext := tool(t, "pdftotext")
	d := sample()
	d.Footer = strings.Repeat("a footer that does not fit on one line ", 6)
	pages := read(t, pdftotext, written(t, d.PDF), "-layout")
	require.Greater(t, len(pages), 2)
	for i, p := range pages {
		p = strings.Join(strings.Fields(p), " ")
		require.Contains(t, p, "DRAFT EXERCISE: NOT REAL")
		require.Contains(t, p, fmt.Sprintf("page %d of %d", i+1, len(pages)))
		require.Equal(t, 6, strings.Count(p, "footer"), "not cut")
	}
}

// A table's head stands on each of its pages, and each row once.
func TestTableRunsOverPages(t *testing.T) {
	pdftotext := tool(t, "pdftotext")
	table := paper.Table{Head: []string{"unit", "#cases"}, Note: "the note"}
	for i := range 150 {
		table.Rows = append(table.Rows, []string{fmt.Sprintf("P26-%04d", i), strconv.Itoa(i)})
	}
	pages := read(t, pdftotext, written(t, (&paper.Document{Title: "x", Parts: []paper.Part{paper.Heading{Text: "Units"}, table}}).PDF), "-layout")
	require.Greater(t, len(pages), 2)
	all := strings.Join(pages, "")
	for i, p := range pages {
		require.Regexp(t, `unit +cases`, p, i)
		require.Contains(t, p, "P26-", "no page with only a head or a note")
	}
	for i := range 150 {
		require.Equal(t, 1, strings.Count(all, fmt.Sprintf("P26-%04d", i)))
	}
	require.Contains(t, pages[len(pages)-1], "the note")
}

// A row, a warning and a value that are taller than a page go on on the next.
func TestNothingIsTooTall(t *testing.T) {
	pdftotext := tool(t, "pdftotext")
	var words []string
	for i := range 2500 {
		words = append(words, fmt.Sprintf("w%04d", i))
	}
	long := strings.Join(words, " ")
	for name, part := range map[string]paper.Part{
		"row": paper.Table{Head: []string{"a", "b"}, Rows: [][]string{{"x", long}, {"y", "z"}}}, "caution": paper.Caution{Lines: []string{long}},
		"fact": paper.Facts{Rows: [][2]string{{"name", long}}}, "text": paper.Text{Text: long}, "point": paper.List{Items: []string{long}}, "caption": paper.Picture{Flow: paper.Flow{Caption: long}},
	} {
		pages := read(t, pdftotext, written(t, (&paper.Document{Title: "x", Parts: []paper.Part{paper.Text{Text: "before"}, part}}).PDF), "-layout")
		require.Greater(t, len(pages), 1, name)
		require.Equal(t, words, regexp.MustCompile(`w\d{4}`).FindAllString(strings.Join(pages, ""), -1), name)
	}
}

// A heading never stands alone at the foot of a page.
func TestHeadingsStayWithWhatFollows(t *testing.T) {
	pdftotext := tool(t, "pdftotext")
	tall := paper.Flow{Columns: []string{"a", "b"}}
	for i := range 20 {
		tall.Nodes = append(tall.Nodes, paper.FlowNode{ID: strconv.Itoa(i), Column: i % 2, Title: "follows"})
	}
	wide := paper.Flow{Columns: []string{"a", "b", "c", "d", "e", "f", "g"}}
	for i := range 7 {
		wide.Nodes = append(wide.Nodes, paper.FlowNode{ID: strconv.Itoa(i), Column: i, Title: "follows"})
	}
	for name, next := range map[string]paper.Part{
		"text": paper.Text{Text: "follows"}, "table": paper.Table{Head: []string{"a"}, Rows: [][]string{{"follows"}}}, "tall row": paper.Table{Head: []string{"a"}, Rows: [][]string{{strings.Repeat("follows\n", 8)}}},
		"picture": paper.Picture{Flow: tall}, "wide picture": paper.Picture{Flow: wide}, "caution": paper.Caution{Lines: []string{strings.Repeat("follows ", 40)}},
	} {
		for lines := 50; lines < 60; lines++ {
			d := &paper.Document{Title: "x", Parts: []paper.Part{paper.Text{Text: strings.Repeat("line\n", lines)}, paper.Heading{Level: 1, Text: "Heading"}, paper.Heading{Level: 2, Text: "Below it"}, next}}
			for _, p := range read(t, pdftotext, written(t, d.PDF), "-layout") {
				if strings.Contains(p, "Heading") {
					require.Contains(t, p, "Below it")
					require.Contains(t, p, "follows", "%s after %d lines", name, lines)
				}
			}
		}
	}
}

func TestBreaksMakeNoEmptyPages(t *testing.T) {
	pdftotext := tool(t, "pdftotext")
	wide := paper.Picture{Flow: paper.Flow{Columns: make([]string, 8), Caption: "caption"}}
	for i := range 8 {
		wide.Nodes = append(wide.Nodes, paper.FlowNode{ID: strconv.Itoa(i), Column: i, Title: "box"})
	}
	tests := []struct {
		name  string
		parts []paper.Part
		pages int
	}{
		{"none", []paper.Part{paper.Text{Text: "a"}, paper.Text{Text: "b"}}, 1},
		{"one", []paper.Part{paper.Text{Text: "a"}, paper.Break{}, paper.Text{Text: "b"}}, 2},
		{"twice, and at the end", []paper.Part{paper.Text{Text: "a"}, paper.Break{}, paper.Break{}, paper.Text{Text: "b"}, paper.Break{}}, 2},
		{"around a turned page", []paper.Part{paper.Text{Text: "a"}, paper.Break{}, wide, paper.Break{}, paper.Text{Text: "b"}}, 3},
		{"a turned page with its heading", []paper.Part{paper.Text{Text: "a"}, paper.Heading{Level: 1, Text: "Picture"}, wide}, 2},
		{"two turned pages", []paper.Part{paper.Text{Text: "a"}, wide, paper.Heading{Level: 1, Text: "Picture"}, wide}, 3},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			pages := read(t, pdftotext, written(t, (&paper.Document{Title: "x", Parts: test.parts}).PDF), "-layout")
			require.Len(t, pages, test.pages)
			for _, p := range pages {
				require.Regexp(t, `\w`, strings.Split(p, "page ")[0], "an empty page")
			}
		})
	}
}

// inFace is a text as the PDF shows it: what the face lacks is a mark, and some blanks and
// hyphens are others of the same look.
func inFace(s string) string {
	s = strings.NewReplacer("\u202F", "\u00A0", "\u2011", "-", "\r\n", "\n", "\t", " ").Replace(s)
	lines := strings.Split(s, "\n")
	for i, l := range lines {
		lines[i] = labels.NewTypeface().Printable(l)
	}
	return strings.Join(lines, "\n")
}

// TestEveryTextIsPrinted: whatever the texts are, poppler reads each out of the PDF in full.
func TestEveryTextIsPrinted(t *testing.T) {
	pdftotext := tool(t, "pdftotext")
	// A line of its own, before blanks go: what follows on the next page may begin with a digit.
	foot := regexp.MustCompile(`(?m)^page \d+ of \d+$`)
	rapid.Check(t, func(t *rapid.T) {
		d, all := anyDocument(t)
		got := squeezed(foot.ReplaceAllString(strings.Join(read(t, pdftotext, written(t, d.PDF), "-raw"), ""), ""))
		got = strings.ReplaceAll(got, "goesonontheenextpage", "")
		for _, s := range all {
			require.Contains(t, got, squeezed(inFace(s)))
		}
	})
}

// drawn draws pages as printers do.
func drawn(t *testing.T, pdf []byte, dpi string) []image.Image {
	pdftoppm := tool(t, "pdftoppm")
	dir := t.TempDir()
	sheet := filepath.Join(dir, "paper.pdf")
	require.NoError(t, os.WriteFile(sheet, pdf, 0o600))
	out, err := exec.Command(pdftoppm, "-r", dpi, "-gray", "-png", sheet, filepath.Join(dir, "page")).CombinedOutput()
	require.NoError(t, err, string(out))
	files, err := filepath.Glob(filepath.Join(dir, "page*.png"))
	require.NoError(t, err)
	var pages []image.Image
	for _, f := range files {
		data, err := os.ReadFile(f)
		require.NoError(t, err)
		img, err := png.Decode(bytes.NewReader(data))
		require.NoError(t, err)
		pages = append(pages, img)
	}
	return pages
}

// Codes are read from drawn pages, as a scanner would see them, text beside them.
func TestCodesScan(t *testing.T) {
	for _, payload := range []string{"RC26-01/D-11", "http://192.168.1.5:8417/RC26-01/D-11", "Käg-7", strings.Repeat("0123456789", 9)} {
		for _, dpi := range []string{"150", "203"} {
			t.Run(dpi+" "+payload, func(t *testing.T) {
				d := &paper.Document{Title: "Answer form", Marks: []string{"DRAFT"}, Parts: []paper.Part{paper.Text{Text: "above"}, paper.Code{Payload: payload, Text: "Farrowgate Wholesale"}, paper.Text{Text: "below"}}}
				pages := drawn(t, written(t, d.PDF), dpi)
				require.Len(t, pages, 1)
				b := pages[0].Bounds()
				left := image.NewGray(image.Rect(0, 0, b.Dx()/4, b.Dy()/3)) // the text beside the code is left out
				draw.Draw(left, left.Bounds(), pages[0], b.Min, draw.Src)
				bitmap, err := gozxing.NewBinaryBitmapFromImage(left)
				require.NoError(t, err)
				result, err := qrcode.NewQRCodeReader().Decode(bitmap, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true})
				require.NoError(t, err)
				require.Equal(t, payload, result.GetText())
			})
		}
	}
}

// TestNothingRunsOffThePage: the edges of each drawn page stay white, whatever stands on it.
func TestNothingRunsOffThePage(t *testing.T) {
	d := sample()
	d.Marks = append(d.Marks, strings.Repeat("A VERY LONG MARK ", 9), "ANOTHER")
	d.Title = strings.Repeat("W", 200)
	d.Parts = append(d.Parts, paper.Table{Head: []string{strings.Repeat("H", 99), "#" + strings.Repeat("9", 99)}, Rows: [][]string{{strings.Repeat("W", 300), strings.Repeat("8", 300)}}},
		paper.Facts{Rows: [][2]string{{strings.Repeat("W", 80), strings.Repeat("M", 200)}}}, paper.Signatures{Roles: []string{strings.Repeat("role ", 60)}}, paper.Blank{Labels: []string{strings.Repeat("label", 60)}})
	big := paper.Flow{Columns: []string{"a", "b", "c", "d", "e", "f"}}
	for i := range 90 {
		big.Nodes = append(big.Nodes, paper.FlowNode{ID: strconv.Itoa(i), Column: i % 6, Title: strings.Repeat("W", i)})
		big.Edges = append(big.Edges, paper.FlowEdge{From: strconv.Itoa(i), To: strconv.Itoa(i * 7 % 90), Weight: math.NaN()})
	}
	d.Parts = append(d.Parts, paper.Picture{Flow: big})
	for _, letter := range []bool{false, true} {
		d.Letter = letter
		for n, page := range drawn(t, written(t, d.PDF), "50") {
			b := page.Bounds()
			for y := b.Min.Y; y < b.Max.Y; y++ {
				for x := b.Min.X; x < b.Max.X; x++ {
					const edge = 16 // 8 mm at 50 dpi
					if x >= edge && x < b.Max.X-edge && y >= edge && y < b.Max.Y-edge {
						x = b.Max.X - edge
					}
					r, _, _, _ := page.At(x, y).RGBA()
					require.Equal(t, uint32(0xFFFF), r, "page %d at %d, %d", n+1, x, y)
				}
			}
		}
	}
}

// A picture begins below its heading, on the same page, however tall it is and wherever the heading falls; its caption stays with one that fits on a page.
func TestPictureStandsBelowItsHeading(t *testing.T) {
	pdftotext := tool(t, "pdftotext")
	for _, boxes := range []int{3, 12, 24, 30, 36, 39, 45, 90} {
		for _, before := range []int{0, 10, 30} {
			flow := paper.Flow{Columns: []string{"left", "right"}, Caption: "below all"}
			flow.Nodes = append(flow.Nodes, paper.FlowNode{ID: "a", Title: "begin", Sure: true})
			for i := range boxes {
				id := fmt.Sprintf("box%03d", i)
				flow.Nodes = append(flow.Nodes, paper.FlowNode{ID: id, Column: 1, Title: id, Sure: true})
				flow.Edges = append(flow.Edges, paper.FlowEdge{From: "a", To: id, Weight: 1, Sure: true})
			}
			d := &paper.Document{Title: "x", Parts: []paper.Part{paper.Text{Text: strings.Repeat("filler\n", before)}, paper.Heading{Level: 1, Text: "What went where"}, paper.Picture{Flow: flow}}}
			pages := read(t, pdftotext, written(t, d.PDF), "-layout")
			for i, page := range pages {
				if strings.Contains(page, "What went where") {
					require.Contains(t, page, "box0", "%d boxes after %d lines, page %d", boxes, before, i+1)
				}
			}
			if boxes <= 24 {
				require.Contains(t, pages[len(pages)-1], "box", "%d boxes after %d lines: the caption is left behind", boxes, before)
			}
		}
	}
}

// A title that has to be conspicuous is red, and nothing else is; a table to be filled in by hand has room for it.
func TestRedTitleAndRoomToWrite(t *testing.T) {
	pdftoppm, pdftotext := tool(t, "pdftoppm"), tool(t, "pdftotext")
	red := func(d *paper.Document) (n int) {
		cmd := exec.Command(pdftoppm, "-r", "40", "-png", "-f", "1", "-l", "1", "-")
		cmd.Stdin = bytes.NewReader(written(t, d.PDF))
		out, err := cmd.Output()
		require.NoError(t, err)
		img, err := png.Decode(bytes.NewReader(out))
		require.NoError(t, err)
		for y := range img.Bounds().Dy() {
			for x := range img.Bounds().Dx() {
				if r, g, b, _ := img.At(x, y).RGBA(); r > g+0x3000 && r > b+0x3000 {
					require.Less(t, y, img.Bounds().Dy()/5)
					n++
				}
			}
		}
		return n
	}
	d := &paper.Document{Title: "URGENT", Parts: []paper.Part{paper.Text{Text: "black"}}}
	require.Zero(t, red(d))
	require.NotContains(t, string(written(t, d.HTML)), `<h1 class="red">`)
	d.Red = true
	require.Positive(t, red(d))
	require.Contains(t, string(written(t, d.HTML)), `<h1 class="red">`)

	rows := make([][]string, 60)
	for i := range rows {
		rows[i] = []string{fmt.Sprintf("row %d", i), "______"}
	}
	pages := func(hand bool) []string {
		d := &paper.Document{Title: "form", Parts: []paper.Part{paper.Table{Head: []string{"a", "b"}, Rows: rows, Hand: hand}}}
		return read(t, pdftotext, written(t, d.PDF), "-layout")
	}
	require.Len(t, pages(false), 2)
	require.Len(t, pages(true), 3)
	require.Contains(t, strings.Join(pages(true), ""), "row 59")
}
