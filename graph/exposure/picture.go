package exposure

import (
	"bufio"
	"fmt"
	"html"
	"io"
	"math"
)

// SVG draws how many lots would put how much in scope: for each class of hectolitres the lots that
// reach so many. It needs nothing else, and is told apart without colour.
func (a *Answer) SVG(w io.Writer) error {
	const width, height, left, bottom, top = 720.0, 440.0, 64.0, 56.0, 76.0
	edges := []float64{0, 1, 5, 10, 25, 50, 100, 200, 400, 800, math.Inf(1)}
	in, may := make([]int, len(edges)-1), make([]int, len(edges)-1)
	most := 1
	for _, r := range a.Risks {
		if r.Kind != "lot" {
			continue
		}
		hl := (r.In.VolumeL + r.May.VolumeL) / 100
		for i := range in {
			if hl >= edges[i] && hl < edges[i+1] {
				if r.May.VolumeL > r.In.VolumeL {
					may[i]++
				} else {
					in[i]++
				}
				most = max(most, in[i]+may[i])
			}
		}
	}
	b := bufio.NewWriter(w)
	title := "How many lots would put how much beer in scope"
	fmt.Fprintf(b, "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %g %g\" font-family=\"sans-serif\" font-size=\"14\" role=\"img\"><title>%s</title>\n", width, height, html.EscapeString(title))
	fmt.Fprintf(b, "<defs><pattern id=\"may\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\"><rect width=\"6\" height=\"6\" fill=\"#fff\"/><line x1=\"0\" y1=\"0\" x2=\"0\" y2=\"6\" stroke=\"#333\" stroke-width=\"2\"/></pattern></defs>\n")
	fmt.Fprintf(b, "<text x=\"%g\" y=\"20\" font-weight=\"bold\" font-size=\"16\">%s</text>\n", left, html.EscapeString(title))
	step := (width - left - 16) / float64(len(in))
	scale := (height - top - bottom) / float64(most)
	base := height - bottom
	for i := range in {
		x := left + float64(i)*step
		bar := func(from, n int, fill string) {
			if n > 0 {
				fmt.Fprintf(b, "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" fill=\"%s\" stroke=\"#111\"/>\n", x+4, base-float64(from+n)*scale, step-8, float64(n)*scale, fill)
			}
		}
		bar(0, in[i], "#555")
		bar(in[i], may[i], "url(#may)")
		if n := in[i] + may[i]; n > 0 {
			fmt.Fprintf(b, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\">%d</text>\n", x+step/2, base-float64(n)*scale-5, n)
		}
		label := fmt.Sprintf("%g–%g", edges[i], edges[i+1])
		if math.IsInf(edges[i+1], 1) {
			label = fmt.Sprintf("%g +", edges[i])
		}
		fmt.Fprintf(b, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\" font-size=\"12\">%s</text>\n", x+step/2, base+18, label)
	}
	fmt.Fprintf(b, "<line x1=\"%g\" y1=\"%g\" x2=\"%g\" y2=\"%g\" stroke=\"#111\"/>\n", left, base, width-16, base)
	fmt.Fprintf(b, "<text x=\"%g\" y=\"%g\" text-anchor=\"middle\">hectolitres in scope if the lot failed today</text>\n", (left+width-16)/2, base+42)
	fmt.Fprintf(b, "<text x=\"18\" y=\"%g\" transform=\"rotate(-90 18 %g)\" text-anchor=\"middle\">lots</text>\n", (top+base)/2, (top+base)/2)
	fmt.Fprintf(b, "<rect x=\"%g\" y=\"32\" width=\"14\" height=\"12\" fill=\"#555\" stroke=\"#111\"/><text x=\"%g\" y=\"43\">mostly certain</text>\n", left, left+20)
	fmt.Fprintf(b, "<rect x=\"%g\" y=\"32\" width=\"14\" height=\"12\" fill=\"url(#may)\" stroke=\"#111\"/><text x=\"%g\" y=\"43\">mostly possible</text>\n</svg>\n", left+150, left+170)
	return b.Flush()
}
