package labels

import (
	"bytes"
	"encoding/binary"
	"encoding/xml"
	"flag"
	"image"
	"image/color"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write the golden files anew")

// scan finds and reads the QR code in a picture.
func scan(t require.TestingT, img image.Image) string {
	return decode(t, img, gozxing.DecodeHintType_TRY_HARDER)
}

func decode(t require.TestingT, img image.Image, how gozxing.DecodeHintType) string {
	bitmap, err := gozxing.NewBinaryBitmapFromImage(img)
	require.NoError(t, err)
	result, err := qrcode.NewQRCodeReader().Decode(bitmap, map[gozxing.DecodeHintType]any{how: true})
	require.NoError(t, err)
	return result.GetText()
}

func decodePNG(t require.TestingT, data []byte) image.Image {
	img, err := png.Decode(bytes.NewReader(data))
	require.NoError(t, err)
	return img
}

func TestPNGOfEachKindScans(t *testing.T) {
	for _, stock := range Stocks() {
		for _, tag := range testTags() {
			for _, dpi := range []int{203, 300} {
				for _, base := range []string{"", testBase} {
					t.Run(strings.Join([]string{stock.Name, tag.Code, strconv.Itoa(dpi), base}, " "), func(t *testing.T) {
						data, err := PNG(tag, ImageOptions{Base: base, Stock: stock, DPI: dpi})
						require.NoError(t, err)
						want, err := Payload(base, tag.Code)
						require.NoError(t, err)
						got := scan(t, decodePNG(t, data))
						require.Equal(t, want, got)
						require.Equal(t, tag.Code, ParsePayload(got))
					})
				}
			}
		}
	}
}

// codeArea is where a tag's QR code lies in its picture, with its quiet zone.
func codeArea(t require.TestingT, tag Tag, opts ImageOptions) image.Rectangle {
	pitch, err := pixel(opts.DPI)
	require.NoError(t, err)
	d, err := layOut(newFaces(), tag, opts.Base, opts.Stock, pitch)
	require.NoError(t, err)
	x, y := d.origin()
	module := pixels(d.symbol.module, pitch)
	side := len(d.symbol.bits) * module
	return image.Rect(0, 0, side, side).Add(image.Pt(pixels(x, pitch), pixels(y, pitch))).Inset(-4 * module)
}

// TestRandomPayloadsScan reads the code and its quiet zone as the clean picture that it is.
// Finding a code among letters is left to the decoder of the printed sheets: this one takes
// letters for a corner of the code on some tags, and on some clean pictures miscounts modules.
func TestRandomPayloadsScan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		opts := ImageOptions{
			Base:  bases().Draw(t, "base"),
			Stock: rapid.SampledFrom(Stocks()).Draw(t, "stock"),
			DPI:   rapid.SampledFrom([]int{203, 300}).Draw(t, "dpi"),
		}
		tag := tags().Draw(t, "tag")
		data, err := PNG(tag, opts)
		require.NoError(t, err)
		picture := decodePNG(t, data).(*image.Paletted).SubImage(codeArea(t, tag, opts))
		require.Equal(t, tag.Code, ParsePayload(decode(t, picture, gozxing.DecodeHintType_PURE_BARCODE)))
	})
}

func TestPNGSizeAndResolution(t *testing.T) {
	tests := []struct {
		stock                   string
		dpi                     int
		width, height, perMetre int
	}{
		{"50x30", 203, 400, 240, 8000}, // 8 dots/mm
		{"50x30", 300, 591, 354, 11811},
		{"100x150", 0, 1181, 1772, 11811},
	}
	for _, test := range tests {
		t.Run(test.stock+" "+strconv.Itoa(test.dpi), func(t *testing.T) {
			stock, err := StockByName(test.stock)
			require.NoError(t, err)
			data, err := PNG(testTags()[0], ImageOptions{Stock: stock, DPI: test.dpi})
			require.NoError(t, err)
			img := decodePNG(t, data) // checks every chunk's sum
			require.Equal(t, image.Pt(test.width, test.height), img.Bounds().Size())
			require.Equal(t, color.Palette{color.RGBA{255, 255, 255, 255}, color.RGBA{0, 0, 0, 255}}, img.ColorModel())
			at := bytes.Index(data, []byte("pHYs"))
			require.Positive(t, at)
			require.EqualValues(t, test.perMetre, binary.BigEndian.Uint32(data[at+4:]))
			require.EqualValues(t, test.perMetre, binary.BigEndian.Uint32(data[at+8:]))
			require.EqualValues(t, 1, data[at+12], "the unit is the metre")
		})
	}
}

func TestPNGKeepsTheQuietZone(t *testing.T) {
	for _, stock := range Stocks() {
		for _, tag := range testTags() {
			d, err := layOut(newFaces(), tag, testBase, stock, dot)
			require.NoError(t, err)
			data, err := PNG(tag, ImageOptions{Base: testBase, Stock: stock, DPI: 203})
			require.NoError(t, err)
			img := decodePNG(t, data)
			x, y := d.origin()
			module := pixels(d.symbol.module, dot)
			inner := image.Rect(0, 0, len(d.symbol.bits)*module, len(d.symbol.bits)*module).Add(image.Pt(pixels(x, dot), pixels(y, dot)))
			outer := inner.Inset(-4 * module)
			require.True(t, outer.In(img.Bounds()))
			for py := outer.Min.Y; py < outer.Max.Y; py++ {
				for px := outer.Min.X; px < outer.Max.X; px++ {
					if r, _, _, _ := img.At(px, py).RGBA(); r == 0 {
						require.True(t, image.Pt(px, py).In(inner), "%s on %s: ink in the quiet zone at %d,%d", tag.Code, stock.Name, px, py)
					}
				}
			}
		}
	}
}

func TestPNGRefuses(t *testing.T) {
	for _, dpi := range []int{-1, 1, 149, 1201} {
		_, err := PNG(testTags()[0], ImageOptions{DPI: dpi})
		require.ErrorContains(t, err, "choose from 150 to 1200")
	}
	_, err := PNG(Tag{Kind: KindLot}, ImageOptions{})
	require.ErrorContains(t, err, "needs a code")
}

func TestSVGGolden(t *testing.T) {
	for _, test := range []struct {
		stock string
		tag   Tag
	}{{"50x30", testTags()[0]}, {"a4", testTags()[4]}, {"100x150", testTags()[3]}} {
		t.Run(test.stock, func(t *testing.T) {
			stock, err := StockByName(test.stock)
			require.NoError(t, err)
			got, err := SVG(test.tag, ImageOptions{Base: testBase, Stock: stock})
			require.NoError(t, err)
			golden := filepath.Join("testdata", string(test.tag.Kind)+"-"+test.stock+".svg")
			if *update {
				require.NoError(t, os.WriteFile(golden, got, 0o644))
			}
			want, err := os.ReadFile(golden)
			require.NoError(t, err)
			require.Equal(t, string(want), string(got), "if the change is meant, look at the picture and run go test -update")
		})
	}
}

// svgRun is one run of dark modules, and svgPlace where the code lies.
var (
	svgPlace = regexp.MustCompile(`<path transform="translate\((\S+) (\S+)\) scale\((\S+)\)" shape-rendering="crispEdges" d="([^"]*)"/>`)
	svgRun   = regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1h-(\d+)z`)
)

func TestSVGIsWellFormedAndScans(t *testing.T) {
	for _, stock := range Stocks() {
		for _, tag := range testTags() {
			t.Run(stock.Name+" "+tag.Code, func(t *testing.T) {
				tag.Title += ` <&"'>`
				data, err := SVG(tag, ImageOptions{Stock: stock})
				require.NoError(t, err)
				require.Contains(t, svgText(t, data), tag.Code)
				require.Equal(t, tag.Code, ParsePayload(scan(t, drawSVGCode(t, data, stock))))
			})
		}
	}
}

// svgText is all character data of an SVG; it fails if that is not XML.
func svgText(t *testing.T, data []byte) string {
	var b strings.Builder
	for decoder := xml.NewDecoder(bytes.NewReader(data)); ; {
		token, err := decoder.Token()
		if err == io.EOF {
			return b.String()
		}
		require.NoError(t, err)
		if text, ok := token.(xml.CharData); ok {
			b.Write(text)
		}
	}
}

// drawSVGCode draws the QR code of an SVG, as its path says, at 16 dots/mm.
func drawSVGCode(t *testing.T, data []byte, stock Stock) image.Image {
	place := svgPlace.FindStringSubmatch(string(data))
	require.NotNil(t, place)
	var at [3]float64
	for i := range at {
		v, err := strconv.ParseFloat(place[i+1], 64)
		require.NoError(t, err)
		at[i] = v * 16
	}
	img := image.NewGray(image.Rect(0, 0, int(stock.cellW*16), int(stock.cellH*16)))
	for i := range img.Pix {
		img.Pix[i] = 255
	}
	for _, run := range svgRun.FindAllStringSubmatch(place[4], -1) {
		var v [4]int
		for i := range v {
			n, err := strconv.Atoi(run[i+1])
			require.NoError(t, err)
			v[i] = n
		}
		require.Equal(t, v[2], v[3], "the run closes")
		for y := int(at[1] + float64(v[1])*at[2]); y < int(at[1]+float64(v[1]+1)*at[2]); y++ {
			for x := int(at[0] + float64(v[0])*at[2]); x < int(at[0]+float64(v[0]+v[2])*at[2]); x++ {
				img.SetGray(x, y, color.Gray{})
			}
		}
	}
	return img
}
