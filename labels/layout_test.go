package labels

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const testBase = "http://192.168.1.5:8417"

// testTags is one tag of each kind, and a lot whose texts are long.
func testTags() []Tag {
	return []Tag{
		{
			Kind: KindLot, Code: "L-0417", Title: "Pale ale malt, crushed", SupplierLot: "4711-B22", Quantity: "1,000 kg",
			Received: "2026-03-04", BestBy: "2027-03-04", Status: "accepted", Extra: []Row{{"Place", "Store 2"}},
		},
		{
			Kind: KindVessel, Code: "FV2", Title: "Helles", Status: "ON HOLD",
			Extra: []Row{{"Since", "2026-03-04 10:00"}, {"Volume", "2,400 L"}},
		},
		{
			Kind: KindRun, Code: "R2031", Title: "Helles 24 × 330 mL can", Quantity: "103 cases", BestBy: "2026-12-01",
			Status: "released", Extra: []Row{{"Date code", "L26063 10:42"}},
		},
		{
			Kind: KindPallet, Code: "P-00071", Title: "Helles 24 × 330 mL can", Quantity: "80 cases", BestBy: "2026-12-01",
			Status: "ON HOLD: waiting for the laboratory", Extra: []Row{{"Run", "R2031"}},
		},
		{
			Kind: KindKeg, Code: "K0417/R2031", Title: "Шварцбир", Quantity: "50 L", BestBy: "2026-12-01",
			Extra: []Row{{"Filled", "2026-03-04"}},
		},
		{
			Kind: KindLot, Code: "LOT-2026-0123", Title: "Žatecký poloraný červeňák, T90 pellets, packed under vacuum in foils of 5 kg",
			SupplierLot: "HOP-2025-CZ-0098177-ZPČ-0042", Quantity: "250 kg (10 × 25 kg)", Received: "2026-03-04 14:05",
			BestBy: "2028-09-30", Status: "ON HOLD",
		},
	}
}

// printed is all that stands on a tag, lines joined.
func (d *drawing) printed() string {
	var lines []string
	for _, t := range d.texts {
		lines = append(lines, t.text)
	}
	return strings.Join(lines, " ")
}

// squeezed leaves out spaces, which go where a line is broken.
func squeezed(s string) string { return strings.ReplaceAll(s, " ", "") }

func TestEveryFactIsPrinted(t *testing.T) {
	for _, stock := range Stocks() {
		for _, tag := range testTags()[:5] {
			t.Run(stock.Name+" "+string(tag.Kind), func(t *testing.T) {
				d, err := layOut(newFaces(), tag, testBase, stock, dot)
				require.NoError(t, err)
				got := squeezed(d.printed())
				want := []string{tag.Kind.Word(), tag.Code, tag.Title, tag.SupplierLot, tag.Quantity, tag.Received, tag.BestBy}
				if stock.Name != "50x30" {
					want = append(want, tag.Status, testBase+"/t/"+tag.Code)
				}
				for _, s := range want {
					require.Contains(t, got, squeezed(s))
				}
			})
		}
	}
}

// Whoever has no scanner types the SSCC: on every stock it stands whole, in one line, large enough to be read.
func TestTheWholeSSCCIsPrinted(t *testing.T) {
	tag := testTags()[3]
	tag.SSCC, tag.Status, tag.Refused = "095201234567891234", "REJECTED", true
	for _, stock := range Stocks() {
		d, err := layOut(newFaces(), tag, testBase, stock, dot)
		require.NoError(t, err)
		i := slices.IndexFunc(d.texts, func(m textMark) bool { return m.text == tag.SSCC })
		require.GreaterOrEqual(t, i, 0, "%s: %s", stock.Name, d.printed())
		require.GreaterOrEqual(t, d.texts[i].size, 1.9, stock.Name) // 5 point and more
		require.Contains(t, d.printed(), "SSCC")
		require.Contains(t, squeezed(d.printed()), squeezed(tag.Title))
	}
}

// What is refused needs no colour: its word stands white in a black box, and every other status black in a frame.
func TestRefusedIsWhiteOnBlack(t *testing.T) {
	for _, stock := range Stocks() {
		for _, tag := range testTags() {
			for _, stop := range []bool{true, false} {
				tag.Status, tag.Refused = "REJECTED", stop
				d, err := layOut(newFaces(), tag, testBase, stock, dot)
				require.NoError(t, err)
				i := slices.IndexFunc(d.texts, func(m textMark) bool { return m.text == "REJECTED" })
				require.GreaterOrEqual(t, i, 0, "%s: %s", stock.Name, d.printed())
				mark := d.texts[i]
				require.Equal(t, stop, mark.white)
				require.Equal(t, stop, slices.ContainsFunc(d.boxes, func(a area) bool {
					return a.x < mark.x && a.y < mark.y-mark.size/2 && a.y+a.h > mark.y && a.x+a.w > mark.x+newFaces().bold.width(mark.text)*mark.size
				}))
			}
		}
	}
}

func TestStickerKeepsWhatMatters(t *testing.T) {
	stock, err := StockByName("50x30")
	require.NoError(t, err)
	tag := testTags()[5]
	d, err := layOut(newFaces(), tag, testBase, stock, dot)
	require.NoError(t, err)
	got := squeezed(d.printed())
	for _, s := range []string{"LOT-2026-0123", "Žatecký poloraný", "HOP-2025-CZ-0098177-ZPČ-0042", "ON HOLD"} {
		require.Contains(t, got, squeezed(s))
	}
	require.Contains(t, got, "…", "the title is cut short, and says so")
}

func TestLongTagOnASheetKeepsEveryFact(t *testing.T) {
	for _, name := range []string{"a4", "letter", "100x150"} {
		stock, err := StockByName(name)
		require.NoError(t, err)
		tag := testTags()[5]
		d, err := layOut(newFaces(), tag, testBase, stock, dot)
		require.NoError(t, err)
		for _, s := range []string{tag.Code, tag.SupplierLot, tag.Quantity, tag.Received, tag.BestBy, tag.Status} {
			require.Contains(t, squeezed(d.printed()), squeezed(s), name)
		}
	}
}

func TestSupplierLotIsNeverLeftOpen(t *testing.T) {
	tests := []struct {
		name string
		kind Kind
		lot  string
		want string
	}{
		{"printed by the supplier", KindLot, "A 7", "A 7"},
		{"none on the goods", KindLot, "-", "none on the goods"},
		{"not written down", KindLot, "", "not recorded"},
	}
	for _, test := range tests {
		for _, stock := range Stocks() {
			t.Run(test.name+" on "+stock.Name, func(t *testing.T) {
				d, err := layOut(newFaces(), Tag{Kind: test.kind, Code: "L1", SupplierLot: test.lot}, "", stock, dot)
				require.NoError(t, err)
				require.Contains(t, d.printed(), "Supplier’s lot "+test.want)
			})
		}
	}
	d, err := layOut(newFaces(), Tag{Kind: KindKeg, Code: "K1/R1"}, "", Stocks()[0], dot)
	require.NoError(t, err)
	require.NotContains(t, d.printed(), "Supplier", "a keg has no supplier's lot")
}

func TestLayOutRefuses(t *testing.T) {
	long := strings.Repeat("LONG-CODE-", 20)
	tests := []struct {
		name, base string
		tag        Tag
		stock      string
		says       string
	}{
		{"no kind", "", Tag{Code: "A"}, "a4", `kind "" is none of`},
		{"unknown kind", "", Tag{Kind: "crate", Code: "A"}, "a4", `kind "crate" is none of`},
		{"no code", "", Tag{Kind: KindLot}, "a4", "needs a code"},
		{"bad base", "brewery", Tag{Kind: KindLot, Code: "A"}, "a4", "server address"},
		{"code too long to read", "", Tag{Kind: KindLot, Code: long}, "50x30", "the code of 200 characters cannot be printed"},
		{"code too long to read on a sheet", "", Tag{Kind: KindLot, Code: long}, "a4", "the code of 200 characters cannot be printed"},
		{"code too long to scan", testBase + "/" + strings.Repeat("x", 200), Tag{Kind: KindLot, Code: "A"}, "50x30", "finer than 0.375 mm"},
		{"payload too long to read", testBase + "/" + strings.Repeat("x", 200), Tag{Kind: KindLot, Code: "A"}, "100x150", "the QR payload of 228 characters"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			stock, err := StockByName(test.stock)
			require.NoError(t, err)
			_, err = layOut(newFaces(), test.tag, test.base, stock, dot)
			require.ErrorContains(t, err, test.says)
			if strings.Contains(test.name, "too long") {
				require.ErrorIs(t, err, ErrTooLong)
				require.ErrorContains(t, err, "on "+test.stock)
			}
		})
	}
}

// texts draws what may stand in a line of a tag: nothing, a word, or far more
// than there is room for.
func texts() *rapid.Generator[string] {
	return rapid.OneOf(
		rapid.Just(""),
		rapid.StringMatching(`[A-Za-zäłč0-9]{1,9}( [a-z0-9×.,-]{1,9}){0,3}`),
		rapid.StringMatching(`[WM@0-9/-]{20,120}`),
		rapid.StringN(0, 80, -1),
	)
}

func tags() *rapid.Generator[Tag] {
	return rapid.Custom(func(t *rapid.T) Tag {
		row := rapid.Custom(func(t *rapid.T) Row { return Row{texts().Draw(t, "name"), texts().Draw(t, "text")} })
		return Tag{
			Kind: rapid.SampledFrom(Kinds()).Draw(t, "kind"), Code: codes().Draw(t, "code"),
			Title: texts().Draw(t, "title"), SupplierLot: texts().Draw(t, "supplier's lot"),
			Quantity: texts().Draw(t, "quantity"), Received: texts().Draw(t, "received"), BestBy: texts().Draw(t, "best by"),
			Status: texts().Draw(t, "status"), Refused: rapid.Bool().Draw(t, "stop"), SSCC: texts().Draw(t, "sscc"), Extra: rapid.SliceOfN(row, 0, 6).Draw(t, "extra"),
		}
	})
}

// place is the area that a line of type takes, measured anew.
func (t textMark) place(fs faces) area {
	f := fs.pick(t.bold)
	return area{t.x, t.y - f.ascent*t.size, f.width(t.text) * t.size, f.lineHeight() * t.size}
}

// Whatever the texts, nothing lies on the QR code or its quiet zone, on another
// text or beyond the cell, and our code is printed whole.
func TestNothingIsOverprinted(t *testing.T) {
	fs := newFaces()
	rapid.Check(t, func(t *rapid.T) {
		stock := rapid.SampledFrom(Stocks()).Draw(t, "stock")
		tag, base := tags().Draw(t, "tag"), bases().Draw(t, "base")
		d, err := layOut(fs, tag, base, stock, dot)
		require.NoError(t, err)

		cell := area{0, 0, d.width, d.height}
		marks := slices.Clone(d.boxes)
		for _, text := range d.texts {
			place := text.place(fs)
			require.NotEmpty(t, text.text)
			require.GreaterOrEqual(t, text.size, 1.2, "%q is too small to read", text.text)
			for _, box := range d.boxes {
				require.False(t, !text.white && overlap(place, box), "%q lies on a black box", text.text)
			}
			if !text.white { // white type stands on its own black box
				for _, mark := range marks[len(d.boxes):] {
					require.False(t, overlap(place, mark), "%q lies on another text", text.text)
				}
				marks = append(marks, place)
			}
		}
		for _, mark := range marks {
			require.False(t, overlap(mark, d.codeBox), "the QR code is overprinted at %v", mark)
			require.True(t, mark.x >= cell.x && mark.y >= cell.y && mark.x+mark.w <= cell.w+1e-9 && mark.y+mark.h <= cell.h+1e-9,
				"%v leaves the cell", mark)
		}
		require.Contains(t, squeezed(d.printed()), squeezed(fs.bold.printable(tag.Code)))
	})
}
