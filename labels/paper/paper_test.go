package paper_test

import (
	"bytes"
	"encoding/xml"
	"flag"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/labels/paper"
)

var update = flag.Bool("update", false, "write the golden files anew")

// sample has every kind of part, and texts that would break a careless writer.
func sample() *paper.Document {
	var rows [][]string
	for i := range 60 {
		rows = append(rows, []string{"P26-" + string(rune('A'+i%26)), "PALE-CAN <b>&\"'", "BB 2027-03-10, BB 2027-03-11", "80", strings.Repeat("a rather long remark ", i%5)})
	}
	return &paper.Document{Title: "Urgent: food recall", Subtitle: "Tidewick, which does not exist", Marks: []string{"DRAFT", "EXERCISE"},
		Footer: "As known with entry 812", Dated: time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC),
		Parts: []paper.Part{
			paper.Heading{Level: 1, Text: "What to do"}, paper.Text{Text: "Stop selling it. Ærø, Łódź, naïve 0.45 µm & <tags>."}, paper.Text{Text: "Now.", Strong: true},
			paper.Caution{Lines: []string{"It finds and counts; it does not decide.", "Packages may burst: keep them cool, wear eye protection."}},
			paper.Facts{Rows: [][2]string{{"Product", "Tidewick Pale"}, {"Codes", strings.Repeat("BB 2027-03-10 ", 20)}}},
			paper.Heading{Level: 2, Text: "What you received"},
			paper.Table{Head: []string{"unit", "product", "codes", "#cases", "remark"}, Rows: rows, Note: "Net of returns."},
			paper.List{Items: []string{"Set it apart.", "Call us."}}, paper.Blank{Labels: []string{"On hand now, cases"}}, paper.Signatures{Roles: []string{"Quality lead"}},
			paper.Code{Payload: "RC26-01/D-11", Text: "Your answer form"}, paper.Break{},
			paper.Picture{Flow: paper.Flow{Columns: []string{"Suspect", "Brews", "Consignees"}, Caption: "Dashed: possible only.",
				Nodes: []paper.FlowNode{{ID: "a", Title: "L26-0142", Detail: "hop", Sure: true}, {ID: "b", Column: 1, Title: "B26-0031", Sure: true}, {ID: "c", Column: 1, Title: "B26-0032"}, {ID: "d", Column: 2, Title: "D-11 & <Sons>", Sure: true}},
				Edges: []paper.FlowEdge{{From: "a", To: "b", Sure: true, Weight: 4}, {From: "a", To: "c", Weight: math.NaN()}, {From: "b", To: "d", Sure: true, Weight: 1}}}},
		}}
}

func written(t *testing.T, f func(w io.Writer) error) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, f(&b))
	return b.Bytes()
}

func TestTheSameDocumentGivesTheSameBytes(t *testing.T) {
	for name, f := range map[string]func(d *paper.Document) func(io.Writer) error{
		"pdf": func(d *paper.Document) func(io.Writer) error { return d.PDF }, "html": func(d *paper.Document) func(io.Writer) error { return d.HTML },
		"plain": func(d *paper.Document) func(io.Writer) error { return d.Plain },
	} {
		require.Equal(t, written(t, f(sample())), written(t, f(sample())), name)
	}
}

func TestGolden(t *testing.T) {
	for name, got := range map[string][]byte{"sample.html": written(t, sample().HTML), "sample.txt": written(t, sample().Plain)} {
		path := filepath.Join("testdata", name)
		if *update {
			require.NoError(t, os.MkdirAll("testdata", 0o755))
			require.NoError(t, os.WriteFile(path, got, 0o644))
		}
		want, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, string(want), string(got), name)
	}
}

// The picture is well-formed whatever its texts are.
func TestPictureIsWellFormed(t *testing.T) {
	flow := paper.Flow{Columns: []string{"<a>", "&b"}, Caption: "\"<&>'", Nodes: []paper.FlowNode{{ID: "1", Title: "</text><script>"}, {ID: "2", Column: 7, Title: "&amp;"}},
		Edges: []paper.FlowEdge{{From: "1", To: "2", Weight: math.NaN()}, {From: "1", To: "missing"}}}
	dec := xml.NewDecoder(bytes.NewReader(written(t, flow.SVG)))
	for {
		token, err := dec.Token()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		if start, ok := token.(xml.StartElement); ok {
			require.NotEqual(t, "script", start.Name.Local)
		}
	}
}

// Every text that goes into the pages can be read out of them again, by a reader that is not ours.
func TestPDFCanBeRead(t *testing.T) {
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		if os.Getenv("HEELTAP_CI") != "" {
			t.Fatal("pdftotext is missing")
		}
		t.Skip("pdftotext is missing")
	}
	path := filepath.Join(t.TempDir(), "sample.pdf")
	require.NoError(t, os.WriteFile(path, written(t, sample().PDF), 0o644))
	text, err := exec.Command(tool, "-layout", path, "-").Output()
	require.NoError(t, err)
	squeezed := strings.Join(strings.Fields(string(text)), " ")
	for _, want := range []string{"DRAFT", "EXERCISE", "Urgent: food recall", "Ærø, Łódź, naïve 0.45 µm & <tags>.", "Packages may burst", "P26-A", "P26-Z",
		"Net of returns.", "Set it apart.", "On hand now, cases", "Quality lead", "RC26-01/D-11", "L26-0142", "? B26-0032", "D-11 & <Sons>", "Dashed: possible only.", "As known with entry 812", "page 1 of"} {
		require.Contains(t, squeezed, want)
	}
	require.Equal(t, 60, strings.Count(squeezed, "PALE-CAN <b>"), "each row once")
	require.NotContains(t, squeezed, "{pages}")
}

func TestPlainStaysNarrow(t *testing.T) {
	for _, line := range strings.Split(string(written(t, sample().Plain)), "\n") {
		require.LessOrEqual(t, len([]rune(line)), 76, line)
	}
}
