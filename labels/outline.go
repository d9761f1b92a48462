package labels

// A point of a glyph's outline in font units, y upwards. A point that is not
// on the curve is the control point of a quadratic Bézier curve.
type point struct {
	x, y float64
	on   bool
}

// Flags of the glyf table (OpenType specification, "glyf").
const (
	onCurve  = 1 << 0
	xShort   = 1 << 1
	yShort   = 1 << 2
	repeated = 1 << 3
	xSame    = 1 << 4 // or: the short x is positive
	ySame    = 1 << 5

	wordArgs     = 1 << 0
	argsAreXY    = 1 << 1
	haveScale    = 1 << 3
	moreParts    = 1 << 5
	haveXYScale  = 1 << 6
	haveTwoByTwo = 1 << 7
)

// outline is the closed contours of a glyph.
func (f *face) outline(glyph int) [][]point {
	data := f.glyphData(glyph)
	if len(data) == 0 {
		return nil
	}
	if contours := i16(data, 0); contours >= 0 {
		return simpleOutline(data[10:], contours)
	}
	return f.compoundOutline(data[10:])
}

// simpleOutline reads a glyph that has points of its own.
func simpleOutline(data []byte, contours int) [][]point {
	if contours == 0 {
		return nil
	}
	count := u16(data, 2*contours-2) + 1
	rest := data[2*contours:]
	rest = rest[2+u16(rest, 0):] // hinting instructions
	flags := make([]byte, 0, count)
	for len(flags) < count {
		flag := rest[0]
		rest = rest[1:]
		flags = append(flags, flag)
		if flag&repeated != 0 {
			for range rest[0] {
				flags = append(flags, flag)
			}
			rest = rest[1:]
		}
	}
	xs, rest := coordinates(rest, flags, xShort, xSame)
	ys, _ := coordinates(rest, flags, yShort, ySame)
	outline, start := make([][]point, contours), 0
	for i := range outline {
		end := u16(data, 2*i) + 1
		for k := start; k < end; k++ {
			outline[i] = append(outline[i], point{xs[k], ys[k], flags[k]&onCurve != 0})
		}
		start = end
	}
	return outline
}

// coordinates reads one coordinate of all points, stored as differences.
func coordinates(data, flags []byte, short, same byte) (values []float64, rest []byte) {
	at := 0
	for _, flag := range flags {
		switch {
		case flag&short != 0:
			step := int(data[0])
			if flag&same == 0 {
				step = -step
			}
			at += step
			data = data[1:]
		case flag&same == 0:
			at += i16(data, 0)
			data = data[2:]
		}
		values = append(values, float64(at))
	}
	return values, data
}

// compoundOutline reads a glyph put together from others, as accented letters
// are. Parts are shifted; the typeface neither scales nor turns any, nor
// anchors them by points, and a test holds it to that.
func (f *face) compoundOutline(data []byte) [][]point {
	var outline [][]point
	for {
		flags, glyph := u16(data, 0), u16(data, 2)
		if flags&argsAreXY == 0 || flags&(haveScale|haveXYScale|haveTwoByTwo) != 0 {
			panic("labels: a glyph of the embedded typeface is built in a way that is not read")
		}
		dx, dy, size := int(int8(data[4])), int(int8(data[5])), 6
		if flags&wordArgs != 0 {
			dx, dy, size = i16(data, 4), i16(data, 6), 8
		}
		for _, contour := range f.outline(glyph) {
			for i := range contour {
				contour[i].x += float64(dx)
				contour[i].y += float64(dy)
			}
			outline = append(outline, contour)
		}
		if flags&moreParts == 0 {
			return outline
		}
		data = data[size:]
	}
}

// A tracer is told how the outlines of a text run, in the text's own units.
type tracer interface {
	moveTo(x, y float64)
	lineTo(x, y float64)
	quadTo(cx, cy, x, y float64)
	closePath()
}

// trace draws s from (x, y) on the baseline at the given size, y downwards.
func (f *face) trace(t tracer, x, y, size float64, s string) {
	scale := size * f.unit
	for _, r := range s {
		glyph := f.glyphs[r]
		for _, contour := range f.outline(glyph) {
			for i, p := range contour {
				contour[i].x, contour[i].y = x+p.x*scale, y-p.y*scale
			}
			traceContour(t, contour)
		}
		x += float64(f.advance(glyph)) * scale
	}
}

// traceContour walks one contour. Between two control points lies a point on
// the curve that the file leaves out: the middle.
func traceContour(t tracer, contour []point) {
	n := len(contour)
	start := contour[0]
	if !start.on {
		start = middle(contour[n-1], contour[0])
		if contour[n-1].on {
			start = contour[n-1]
		}
	}
	t.moveTo(start.x, start.y)
	for i, p := range contour {
		next := contour[(i+1)%n]
		switch before := contour[(i+n-1)%n]; {
		case p.on:
			if before.on && i > 0 { // else the pen is there already
				t.lineTo(p.x, p.y)
			}
		case next.on:
			t.quadTo(p.x, p.y, next.x, next.y)
		default:
			m := middle(p, next)
			t.quadTo(p.x, p.y, m.x, m.y)
		}
	}
	t.closePath()
}

func middle(a, b point) point { return point{(a.x + b.x) / 2, (a.y + b.y) / 2, true} }
