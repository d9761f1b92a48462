package labels

import (
	"encoding/binary"
	"strings"
	"unicode"

	"heeltap/labels/font"
)

// lacking is printed for a character that the typeface does not have: the
// replacement character, a question mark in a black diamond.
const lacking = '\uFFFD'

// A face reads one weight of the typeface: TrueType tables as laid down in the
// OpenType specification. Lengths are in ems (the type size).
type face struct {
	glyf, loca, hmtx []byte
	longLoca         bool
	advances         int // glyphs with an advance of their own in hmtx
	glyphs           map[rune]int
	unit             float64 // one font unit in ems
	ascent, descent  float64 // above and below the baseline, both positive
	capHeight        float64
}

// faces are the two weights a tag is set in.
type faces struct{ regular, bold *face }

func newFaces() faces { return faces{newFace(font.Regular), newFace(font.Bold)} }

func (fs faces) pick(bold bool) *face {
	if bold {
		return fs.bold
	}
	return fs.regular
}

// newFace reads a TrueType file that is part of the program; a broken one is a
// programming error and panics.
func newFace(ttf string) *face {
	data := []byte(ttf)
	tables := make(map[string][]byte)
	for i := range u16(data, 4) {
		record := data[12+16*i:]
		offset, length := u32(record, 8), u32(record, 12)
		tables[string(record[:4])] = data[offset : offset+length]
	}
	head, hhea := tables["head"], tables["hhea"]
	f := &face{
		glyf: tables["glyf"], loca: tables["loca"], hmtx: tables["hmtx"],
		longLoca: i16(head, 50) == 1,
		advances: u16(hhea, 34),
		glyphs:   readCmap(tables["cmap"]),
		unit:     1 / float64(u16(head, 18)),
	}
	f.ascent = float64(i16(hhea, 4)) * f.unit
	f.descent = -float64(i16(hhea, 6)) * f.unit
	f.capHeight = float64(i16(f.glyphData(f.glyphs['H']), 8)) * f.unit
	return f
}

// lineHeight is the distance from one baseline to the next.
func (f *face) lineHeight() float64 { return f.ascent + f.descent }

// width is the length of s set in one line.
func (f *face) width(s string) float64 {
	sum := 0
	for _, r := range s {
		sum += f.advance(f.glyphs[r])
	}
	return float64(sum) * f.unit
}

// advance is the width of a glyph in font units.
func (f *face) advance(glyph int) int {
	return u16(f.hmtx, 4*min(glyph, f.advances-1))
}

// printable replaces what the face cannot print by a visible mark.
func (f *face) printable(s string) string {
	return strings.Map(func(r rune) rune {
		if f.glyphs[r] == 0 {
			return lacking
		}
		return r
	}, s)
}

// glyphData is the outline of a glyph as stored; empty for a blank.
func (f *face) glyphData(glyph int) []byte {
	if f.longLoca {
		return f.glyf[u32(f.loca, 4*glyph):u32(f.loca, 4*glyph+4)]
	}
	return f.glyf[2*u16(f.loca, 2*glyph) : 2*u16(f.loca, 2*glyph+2)]
}

// readCmap reads the format 4 subtable: character to glyph. Control characters
// are left out, though the file has blanks for some.
func readCmap(cmap []byte) map[rune]int {
	glyphs := make(map[rune]int)
	for i := range u16(cmap, 2) {
		sub := cmap[u32(cmap, 4+8*i+4):]
		if u16(sub, 0) != 4 {
			continue
		}
		size := u16(sub, 6) // twice the number of segments
		for at := 0; at < size; at += 2 {
			end, start := u16(sub, 14+at), u16(sub, 16+size+at)
			delta, offset := u16(sub, 16+2*size+at), u16(sub, 16+3*size+at)
			for c := start; c <= end && c < 0xFFFF; c++ {
				glyph := c
				if offset != 0 {
					glyph = u16(sub, 16+3*size+at+offset+2*(c-start))
				}
				if glyph = (glyph + delta) & 0xFFFF; glyph != 0 && !unicode.IsControl(rune(c)) {
					glyphs[rune(c)] = glyph
				}
			}
		}
	}
	return glyphs
}

func u16(b []byte, at int) int { return int(binary.BigEndian.Uint16(b[at:])) }
func i16(b []byte, at int) int { return int(int16(binary.BigEndian.Uint16(b[at:]))) }
func u32(b []byte, at int) int { return int(binary.BigEndian.Uint32(b[at:])) }
