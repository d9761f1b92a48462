package labels

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var logisticSSCC = Field{"00", "106141412345678908", true, "SSCC", "1061 4141 2345 6789 08"}

func pallet(content ...Field) Tag {
	return Tag{Kind: KindPallet, Code: "P26-0817", Title: "Harbour Stout 440 mL", SSCC: logisticSSCC.Value, Status: "", Link: "https://id.gs1.org/00/106141412345678908",
		Logistic: &Logistic{From: []string{"Quay Brewing", "4 Quay Street, Ostwithe"}, Content: content, SSCC: logisticSSCC}}
}

func wholePallet() Tag {
	return pallet(Field{"02", "09520000123451", true, "CONTENT", "09520000123451"}, Field{"37", "80", false, "COUNT", "80"},
		Field{"10", "R26-0031", false, "BATCH/LOT", "R26-0031"}, Field{"15", "270301", true, "BEST BEFORE", "2027-03-01"})
}

// TestLogisticMeasures measures the drawing: GS1 General Specifications 5.12.3.1, table 5 (X 0.495 to 1.016 mm, bars of 31.75 mm
// or more, quiet zones of 10 X), 5.4.1 (165.1 mm) and 6.6 (SSCC lowest, bars upright).
func TestLogisticMeasures(t *testing.T) {
	for _, s := range LogisticStocks() {
		for _, pitch := range []float64{dot, mmPerIn / 300} {
			for _, tag := range []Tag{wholePallet(), pallet()} {
				p := &pen{stock: s, pitch: pitch, drawing: &drawing{width: s.cellW, height: s.cellH}}
				d, err := layOut(newFaces(), tag, "", s, pitch)
				require.NoError(t, err)
				content, rest, err := p.contents(*tag.Logistic)
				require.NoError(t, err)
				if s.Name == "a5" {
					require.Empty(t, rest)
				}
				sscc, err := linears([]Field{logisticSSCC}, p.width, pitch)
				require.NoError(t, err)
				for _, l := range append(content, sscc...) {
					require.GreaterOrEqual(t, l.x, 0.495)
					require.LessOrEqual(t, l.x, 1.016)
					require.LessOrEqual(t, l.width(), min(s.Width, 165.1))
				}
				rows := map[float64][]area{}
				lowest := 0.0
				for _, b := range d.boxes {
					if b.h < 5 {
						continue // the line between text and bars
					}
					require.GreaterOrEqual(t, b.h, 31.75)
					rows[b.y] = append(rows[b.y], b)
					lowest = max(lowest, b.y)
				}
				require.Len(t, rows, len(content)+1)
				for y, bars := range rows {
					first, last := bars[0], bars[len(bars)-1]
					x := slices.MinFunc(bars, func(a, b area) int { return int(a.w*1e6) - int(b.w*1e6) }).w
					require.GreaterOrEqual(t, first.x, 10*x-1e-6, "quiet zone")
					require.LessOrEqual(t, last.x+last.w, s.Width-10*x+1e-6, "quiet zone")
					if y == lowest { // 11 modules each of start, FNC1, ten pairs and check, and 13 of stop
						require.InDelta(t, (13*11+13)*x, last.x+last.w-first.x, 1e-6)
					}
				}
			}
		}
	}
}

// TestLogisticReads draws labels as printers do and reads every code on them with zbarimg.
func TestLogisticReads(t *testing.T) {
	draw, read := tool(t, "pdftoppm", "poppler-utils"), tool(t, "zbarimg", "zbar-tools")
	for _, s := range LogisticStocks() {
		for name, tag := range map[string]Tag{"whole": wholePallet(), "mixed": pallet()} {
			want := []string{"CODE-128:00106141412345678908", "QR-Code:https://id.gs1.org/00/106141412345678908"}
			switch {
			case name == "mixed":
			case s.Name == "a5":
				want = append(want, "CODE-128:02095200001234513780|10R26-0031", "CODE-128:15270301")
			default:
				want = append(want, "CODE-128:02095200001234513780")
			}
			slices.Sort(want)
			dir := t.TempDir()
			pdf, img, svg := filepath.Join(dir, "l.pdf"), filepath.Join(dir, "l.png"), filepath.Join(dir, "l.svg")
			var b bytes.Buffer
			require.NoError(t, PDF(&b, []Tag{tag}, s, PrintOptions{}))
			require.NoError(t, os.WriteFile(pdf, b.Bytes(), 0o600))
			data, err := PNG(tag, ImageOptions{Stock: s})
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(img, data, 0o600))
			data, err = SVG(tag, ImageOptions{Stock: s})
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(svg, data, 0o600))
			require.NoError(t, exec.Command(draw, "-r", "203", "-png", pdf, filepath.Join(dir, "low")).Run())
			require.NoError(t, exec.Command(draw, "-r", "300", "-png", pdf, filepath.Join(dir, "high")).Run())
			pictures, err := filepath.Glob(filepath.Join(dir, "*.png"))
			require.NoError(t, err)
			require.Len(t, pictures, 3)
			for _, picture := range pictures {
				out, err := exec.Command(read, "-q", "-Sdisable", "-Scode128.enable", "-Sqrcode.enable", picture).Output()
				require.NoError(t, err, picture)
				var got []string
				for _, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
					got = append(got, strings.ReplaceAll(line, "\x1d", "|"))
				}
				slices.Sort(got)
				require.Equal(t, want, got, "%s %s %s", s.Name, name, filepath.Base(picture))
			}
			if folder := os.Getenv("HEELTAP_SHOTS"); folder != "" {
				data, err := os.ReadFile(img)
				require.NoError(t, err)
				require.NoError(t, os.WriteFile(filepath.Join(folder, "logistic-"+s.Name+"-"+name+".png"), data, 0o600))
			}
		}
	}
}

// TestLinearsRefuse says what cannot stand in a bar code, and breaks what is too long for one symbol into several.
func TestLinearsRefuse(t *testing.T) {
	_, err := linears([]Field{{AI: "10", Value: "Ω"}}, 100, dot)
	require.Error(t, err)
	_, err = linears([]Field{{AI: "10", Value: "ABCDEFGHIJKLMNOPQRST"}}, 60, dot)
	require.ErrorIs(t, err, ErrTooLong)
	out, err := linears(wholePallet().Logistic.Content, 105, dot)
	require.NoError(t, err)
	require.Equal(t, []string{"(02)09520000123451(37)80", "(15)270301(10)R26-0031"}, []string{out[0].human, out[1].human})
	_, err = LogisticStock("a7")
	require.ErrorContains(t, err, "a5 or a6")
	for _, s := range LogisticStocks() {
		_, err := layOut(newFaces(), Tag{Kind: KindPallet, Code: "P-1"}, "", s, dot)
		require.ErrorContains(t, err, "has no SSCC")
	}
}
