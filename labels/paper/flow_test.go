package paper

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// anyFlow gives pictures with hostile texts and edges of every sort.
func anyFlow(t *rapid.T) *Flow {
	text := rapid.OneOf(rapid.SampledFrom([]string{"</text><script>", "&amp;", "\"'", "]]>", "<!--", "a\nb", "\x00", "\xff", "\u202E", strings.Repeat("W", 60), ""}), rapid.String())
	f := &Flow{Caption: text.Draw(t, "caption"), Columns: rapid.SliceOfN(text, 0, 5).Draw(t, "columns")}
	n := rapid.IntRange(0, 30).Draw(t, "nodes")
	for i := range n {
		f.Nodes = append(f.Nodes, FlowNode{ID: fmt.Sprint(i), Column: rapid.IntRange(-1, 6).Draw(t, "column"), Title: text.Draw(t, "title"), Detail: text.Draw(t, "detail"), Sure: rapid.Bool().Draw(t, "sure")})
	}
	for range rapid.IntRange(0, 40).Draw(t, "edges") {
		f.Edges = append(f.Edges, FlowEdge{From: fmt.Sprint(rapid.IntRange(0, n+1).Draw(t, "from")), To: fmt.Sprint(rapid.IntRange(0, n+1).Draw(t, "to")), Sure: rapid.Bool().Draw(t, "sure"),
			Weight: rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), 0})).Draw(t, "weight")})
	}
	return f
}

// TestPictureIsWellFormed reads pictures with a strict reader of XML.
func TestPictureIsWellFormed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b bytes.Buffer
		require.NoError(t, anyFlow(t).SVG(&b))
		dec := xml.NewDecoder(&b)
		for {
			token, err := dec.Token()
			if err == io.EOF {
				return
			}
			require.NoError(t, err)
			start, ok := token.(xml.StartElement)
			if !ok {
				continue
			}
			require.Contains(t, []string{"svg", "g", "title", "rect", "path", "circle", "text"}, start.Name.Local)
			for _, a := range start.Attr {
				switch a.Name.Local {
				case "x", "y", "width", "height", "cx", "cy", "stroke-width":
					v, err := strconv.ParseFloat(a.Value, 64)
					require.NoError(t, err)
					require.False(t, math.IsNaN(v) || math.IsInf(v, 0), a.Value)
				}
			}
		}
	})
}

// TestBoxesStandApart: whatever is drawn, boxes keep their column's order without touching, lie
// within the picture, and their bands meet them on their sides.
func TestBoxesStandApart(t *testing.T) {
	r := newRuler()
	rapid.Check(t, func(t *rapid.T) {
		f := anyFlow(t).cleaned()
		p := f.layOut(r)
		boxes := 0
		for _, column := range p.columns {
			for k, s := range column {
				require.GreaterOrEqual(t, s.y, headRoom-1e-6)
				require.LessOrEqual(t, s.y+s.h, p.height+1e-6)
				if k > 0 {
					require.GreaterOrEqual(t, s.y-column[k-1].y-column[k-1].h, passing-1e-6)
				}
				for _, l := range s.in {
					require.GreaterOrEqual(t, l.y2-l.width/2, s.y-1e-6)
					require.LessOrEqual(t, l.y2+l.width/2, s.y+s.h+1e-6)
				}
				if s.node == nil {
					continue
				}
				boxes++
				for _, w := range p.says(s) {
					end := w.x + r.Width(w.text, w.bold)*w.size
					require.LessOrEqual(t, end, p.left(s.column)+p.boxWide+1e-6, "%q runs out of its box", w.text)
				}
			}
		}
		require.Equal(t, len(f.Nodes), boxes)
	})
}

func TestBandsAreAsWideAsTheirWeight(t *testing.T) {
	f := Flow{Columns: []string{"a", "b"}, Nodes: []FlowNode{{ID: "1", Column: 0}, {ID: "2", Column: 1}, {ID: "3", Column: 1}, {ID: "4", Column: 1}},
		Edges: []FlowEdge{{From: "1", To: "2", Weight: 8}, {From: "1", To: "3", Weight: 2}, {From: "1", To: "4", Weight: math.NaN()}}}
	p := f.layOut(newRuler())
	require.InDelta(t, widest, p.routes[0].width, 1e-9)
	require.InDelta(t, widest/4, p.routes[1].width, 1e-9)
	require.InDelta(t, thinnest, p.routes[2].width, 1e-9)
}

// A ladder whose rungs are all crossed can be set without a crossing.
func TestUntangles(t *testing.T) {
	f := Flow{Columns: []string{"a", "b", "c"}}
	for i := range 12 {
		for c := range 3 {
			f.Nodes = append(f.Nodes, FlowNode{ID: fmt.Sprint(c, " ", i), Column: c})
		}
		f.Edges = append(f.Edges, FlowEdge{From: fmt.Sprint("0 ", i), To: fmt.Sprint("1 ", 11-i)}, FlowEdge{From: fmt.Sprint("1 ", 11-i), To: fmt.Sprint("2 ", (i*5)%12)})
	}
	p := f.layOut(newRuler())
	require.Zero(t, p.crossings())
}

// TestCrossingsAreCounted compares the count with looking at each pair of legs.
func TestCrossingsAreCounted(t *testing.T) {
	r := newRuler()
	rapid.Check(t, func(t *rapid.T) {
		p := anyFlow(t).layOut(r)
		rank := map[*spot]int{}
		var legs []*leg
		for _, column := range p.columns {
			for k, s := range column {
				rank[s] = k
				legs = append(legs, s.outs...)
			}
		}
		want := 0
		for i, a := range legs {
			for _, b := range legs[:i] {
				if a.from.column == b.from.column && (rank[a.from]-rank[b.from])*(rank[a.to]-rank[b.to]) < 0 {
					want++
				}
			}
		}
		require.Equal(t, want, p.crossings())
	})
}

// TestPiecesShowEachBoxWhole: a picture that is cut over pages shows each box whole on one.
func TestPiecesShowEachBoxWhole(t *testing.T) {
	r := newRuler()
	rapid.Check(t, func(t *rapid.T) {
		f := anyFlow(t)
		for i := range 60 {
			f.Nodes = append(f.Nodes, FlowNode{ID: fmt.Sprint("more ", i), Column: i % 2, Title: "x"})
		}
		p := f.layOut(r)
		room := rapid.Float64Range(2*tallest, 3*tallest).Draw(t, "room")
		whole := map[*spot]bool{}
		for from, n := headRoom-gap, 0; ; n++ {
			require.Less(t, n, 100, "goes on and on")
			to, next, last := p.pieceEnd(from, room)
			for _, column := range p.columns {
				for _, s := range column {
					whole[s] = whole[s] || s.y >= from-1e-6 && s.y+s.h <= to+1e-6
				}
			}
			if last {
				break
			}
			from = next
		}
		for _, column := range p.columns {
			for _, s := range column {
				require.True(t, s.node == nil || whole[s])
			}
		}
	})
}

// Whatever face the reader's browser has, every text of a picture is as wide as it was measured, so that a title and
// the quantity beside it cannot run into each other or out of their box.
func TestTextsKeepTheirWidth(t *testing.T) {
	f := Flow{Columns: []string{"From", "To"}, Nodes: []FlowNode{{ID: "a", Title: "L26-0142 WWWW", Detail: "1234 cases", Sure: true}, {ID: "b", Column: 1, Title: "38 runs of PALE-CAN", Detail: "207 pallets and 12 kegs", Sure: true}},
		Edges: []FlowEdge{{From: "a", To: "b", Weight: 1, Sure: true}}}
	var b bytes.Buffer
	require.NoError(t, f.SVG(&b))
	texts := regexp.MustCompile(`<text x="([\d.]+)" y="([\d.]+)"[^>]*?(?: textLength="([\d.]+)" lengthAdjust="spacingAndGlyphs")?>`).FindAllStringSubmatch(b.String(), -1)
	require.Len(t, texts, 6)
	ends := map[string]float64{} // by line, where its texts end
	for _, x := range texts {
		require.NotEmpty(t, x[3], x[0])
		from, err := strconv.ParseFloat(x[1], 64)
		require.NoError(t, err)
		wide, err := strconv.ParseFloat(x[3], 64)
		require.NoError(t, err)
		require.GreaterOrEqual(t, from, ends[x[2]], "texts of one line stand side by side")
		ends[x[2]] = from + wide
	}
}

// A picture that fits a page fits it with what is written below: no page holds the caption alone.
func TestCaptionStaysWithItsPicture(t *testing.T) {
	for boxes := 6; boxes <= 18; boxes++ {
		f := Flow{Caption: strings.Repeat("Bands are as wide as what went over them. ", 8)}
		for c := range 6 {
			f.Columns = append(f.Columns, "Column")
			for i := range boxes {
				f.Nodes = append(f.Nodes, FlowNode{ID: fmt.Sprintf("%d %d", c, i), Column: c, Title: "R26-0031", Detail: "120 pallets and 12 kegs", Sure: true})
			}
		}
		var b bytes.Buffer
		require.NoError(t, (&Document{Title: "Report", Parts: []Part{Heading{Level: 1, Text: "What went where"}, Picture{f}}}).PDF(&b))
		pages := bytes.Count(b.Bytes(), []byte("/Type /Page\n"))
		require.LessOrEqual(t, pages, 2, "%d boxes: the title, and the picture with its caption", boxes)
	}
}
