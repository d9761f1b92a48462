package labels

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The PDF library reads the same files by its own code.
func TestFaceWidthsAgreeWithThePDFLibrary(t *testing.T) {
	doc := newDocument(Stocks()[0], time.Time{})
	for _, bold := range []bool{false, true} {
		f := newFaces().pick(bold)
		doc.SetFont(typeface, map[bool]string{true: "B"}[bold], 1000/72*25.4)
		doc.SetFontUnitSize(1000)
		for r := range f.glyphs {
			require.InDelta(t, doc.GetStringWidth(string(r))/1000, f.width(string(r)), 0.001, "%q (%U)", r, r)
		}
		require.Greater(t, len(f.glyphs), 600)
	}
	require.NoError(t, doc.Error())
}

// Every glyph can be traced, and none leaves the line it is set in by more than
// a fifth of the type size: only some doubly accented capitals come near that.
func TestFaceOutlinesStayInTheirLine(t *testing.T) {
	for _, bold := range []bool{false, true} {
		f := newFaces().pick(bold)
		inked := 0
		for r := range f.glyphs {
			var e extent
			f.trace(&e, 0, 0, 1, string(r))
			if e.points == 0 {
				continue
			}
			inked++
			require.LessOrEqual(t, -e.top, f.ascent+0.2, "%q above the line", r)
			require.LessOrEqual(t, e.bottom, f.descent+0.1, "%q below the line", r)
		}
		require.Greater(t, inked, 600)
	}
}

// extent is how far up and down outlines reach.
type extent struct {
	top, bottom float64
	points      int
}

func (e *extent) moveTo(_, y float64) {
	e.top, e.bottom, e.points = min(e.top, y), max(e.bottom, y), e.points+1
}
func (e *extent) lineTo(x, y float64)       { e.moveTo(x, y) }
func (e *extent) quadTo(_, _, x, y float64) { e.moveTo(x, y) }
func (e *extent) closePath()                {}

func TestFacePrintsTheLettersOfEurope(t *testing.T) {
	// Pangrams and words with the letters that are not in Latin-1; from memory.
	texts := map[string]string{
		"Polish":    "Zażółć gęślą jaźń",
		"Czech":     "Příliš žluťoučký kůň úpěl ďábelské ódy",
		"Hungarian": "Árvíztűrő tükörfúrógép",
		"Romanian":  "Muzicologă în bej vând whisky și tequila",
		"Turkish":   "Pijamalı hasta yağız şoföre çabucak güvendi",
		"Latvian":   "Glāžšķūņa rūķīši dzērumā čiepj",
		"Icelandic": "Kæmi ný öxi hér ykist þjófum nú",
		"Greek":     "Ξεσκεπάζω την ψυχοφθόρα βδελυγμία",
		"Russian":   "Съешь же ещё этих мягких французских булок",
		"Ukrainian": "Чуєш їх, доцю, га? Кумедна ж ти, прощайся без ґольфів",
		"marks":     "250 kg (10 × 25 kg) ± 2 °C, 4–6 µm, “A” … € £ ½ №",
	}
	for language, text := range texts {
		t.Run(language, func(t *testing.T) {
			for _, bold := range []bool{false, true} {
				require.Equal(t, text, newFaces().pick(bold).printable(text))
			}
		})
	}
}

func TestFaceMarksWhatItLacks(t *testing.T) {
	f := newFaces().bold
	require.Equal(t, "Malt \uFFFD\uFFFD 1", f.printable("Malt 麦😀 1"))
	require.Equal(t, "a\uFFFDb", f.printable("a\u200bb"), "not even an invisible character is dropped")
	var e extent
	f.trace(&e, 0, 0, 1, string(lacking))
	require.Greater(t, e.points, 3, "the mark is drawn")
	require.Greater(t, e.bottom-e.top, 0.5, "and large enough to be seen")
}
