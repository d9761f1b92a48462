package labels

import (
	"cmp"
	"image"
	"math"
	"slices"
)

const (
	// curveSteps is how many straight pieces a curve of a letter becomes.
	curveSteps = 8
	// sampleRows is how many lines per row of pixels are looked at.
	sampleRows = 4
)

// An edge is a straight piece of an outline, going down or up.
type edge struct {
	x0, y0, x1, y1 float64 // y0 < y1
	turn           int     // +1 where the outline runs downwards, else -1
}

// A raster collects the outlines of a text in pixels and fills them.
type raster struct {
	edges          []edge
	startX, startY float64
	x, y           float64
}

func (r *raster) moveTo(x, y float64) { r.startX, r.startY, r.x, r.y = x, y, x, y }

func (r *raster) lineTo(x, y float64) {
	if y > r.y {
		r.edges = append(r.edges, edge{r.x, r.y, x, y, 1})
	} else if y < r.y {
		r.edges = append(r.edges, edge{x, y, r.x, r.y, -1})
	}
	r.x, r.y = x, y
}

func (r *raster) quadTo(cx, cy, x, y float64) {
	x0, y0 := r.x, r.y
	for i := 1; i <= curveSteps; i++ {
		t := float64(i) / curveSteps
		u := 1 - t
		r.lineTo(u*u*x0+2*u*t*cx+t*t*x, u*u*y0+2*u*t*cy+t*t*y)
	}
}

func (r *raster) closePath() { r.lineTo(r.startX, r.startY) }

// fill gives every pixel of which at least half is covered the ink: print
// heads know no grey. Outlines that overlap are joined (nonzero winding).
func (r *raster) fill(img *image.Paletted, ink uint8) {
	if len(r.edges) == 0 {
		return
	}
	top, bottom := math.Inf(1), math.Inf(-1)
	for _, e := range r.edges {
		top, bottom = min(top, e.y0), max(bottom, e.y1)
	}
	cover := make([]float64, img.Rect.Dx())
	for y := max(0, int(top)); y < min(img.Rect.Dy(), int(bottom)+1); y++ {
		clear(cover)
		for s := range sampleRows {
			r.addSpans(cover, float64(y)+(float64(s)+0.5)/sampleRows)
		}
		for x, c := range cover {
			if c >= sampleRows/2.0 {
				img.SetColorIndex(x, y, ink)
			}
		}
	}
}

// addSpans adds to each pixel how much of the line at height y within it lies
// inside the outlines.
func (r *raster) addSpans(cover []float64, y float64) {
	type crossing struct {
		x    float64
		turn int
	}
	var crossings []crossing
	for _, e := range r.edges {
		if e.y0 <= y && y < e.y1 {
			x := e.x0 + (e.x1-e.x0)*(y-e.y0)/(e.y1-e.y0)
			crossings = append(crossings, crossing{x, e.turn})
		}
	}
	slices.SortFunc(crossings, func(a, b crossing) int { return cmp.Compare(a.x, b.x) })
	winding := 0
	for i, c := range crossings {
		if winding != 0 {
			from, to := max(0, crossings[i-1].x), min(float64(len(cover)), c.x)
			for x := int(from); float64(x) < to; x++ {
				cover[x] += min(to, float64(x+1)) - max(from, float64(x))
			}
		}
		winding += c.turn
	}
}
