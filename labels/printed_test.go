package labels

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// tool finds a program that a check needs. Without it the check is left out, but not
// where HEELTAP_CI is set.
func tool(t *testing.T, name, from string) string {
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("HEELTAP_CI") == "1" {
			t.Fatalf("%s is missing: install %s", name, from)
		}
		t.Skipf("needs %s of %s", name, from)
	}
	return path
}

// readCodes finds the QR codes in picture files with zbarimg: what they say, by file.
func readCodes(t require.TestingT, zbarimg string, files ...string) map[string][]string {
	args := append([]string{"--quiet", "--xml", "-Sdisable", "-Sqrcode.enable"}, files...)
	out, err := exec.Command(zbarimg, args...).Output()
	if exit := new(exec.ExitError); errors.As(err, &exit) {
		require.Equal(t, 4, exit.ExitCode(), "4 is: no code in a picture; %s", exit.Stderr)
	} else {
		require.NoError(t, err)
	}
	var found struct {
		Sources []struct {
			File  string   `xml:"href,attr"`
			Codes []string `xml:"index>symbol>data"`
		} `xml:"source"`
	}
	require.NoError(t, xml.NewDecoder(bytes.NewReader(out)).Decode(&found))
	codes := make(map[string][]string)
	for _, source := range found.Sources {
		codes[source.File] = append(codes[source.File], source.Codes...)
	}
	return codes
}

// longAddress is a server's address of about the length that a long host name and a path give.
const longAddress = "https://records.brewery-on-the-quay.example/cellar/tags"

// longest is the lot with a code so long that a stock refuses the next longer one.
func longest(t *testing.T, stock Stock, base string) Tag {
	lot := func(n int) Tag {
		return Tag{Kind: KindLot, Code: strings.Repeat("Q7w-", 100)[:n], Title: "malt", SupplierLot: "0O1Il"}
	}
	fs := newFaces()
	n, found := sort.Find(400, func(n int) int {
		_, err := layOut(fs, lot(n+1), base, stock, dot)
		if err != nil {
			require.ErrorIs(t, err, ErrTooLong)
			return 0
		}
		return 1
	})
	require.True(t, found && n > 0, "%s at %q takes codes of %d letters", stock.Name, base, n)
	return lot(n)
}

// printedTags are tags of every sort: usual ones, long codes, other scripts, long texts,
// next to nothing, and the longest that there is room for.
func printedTags(t *testing.T, stock Stock, base string) (tags []Tag, payloads []string) {
	all := append(testTags(), longest(t, stock, base),
		Tag{Kind: KindLot, Code: "1"},
		Tag{Kind: KindKeg, Code: "Käg-7/Läuf-9", Title: "Тёмное", Quantity: "30 L"},
		Tag{Kind: KindLot, Code: "ΖΥΘ-5", Title: "Βύνη", SupplierLot: "Παρτίδα 12/β"},
		Tag{Kind: KindPallet, Code: "50% & more?", Title: "###OOO###OOO###", Status: "█▀▄ □■□ 0O0O"},
		Tag{Kind: KindRun, Code: "LOT-LOT-LOT-LOT-1074", Title: strings.Repeat("very ", 30) + "aromatic hop pellets",
			SupplierLot: strings.Repeat("0O1Il", 8), Quantity: "12.5 kg", Status: strings.Repeat("waiting ", 20)})
	for _, tag := range all {
		if _, err := layOut(newFaces(), tag, base, stock, dot); err != nil {
			require.ErrorIs(t, err, ErrTooLong)
			continue // refused, as it must be, on small stock
		}
		payload, err := Payload(base, tag.Code)
		require.NoError(t, err)
		tags, payloads = append(tags, tag), append(payloads, payload)
	}
	require.GreaterOrEqual(t, len(tags), 11, "of %d on %s", len(all), stock.Name)
	return tags, payloads
}

// TestPrintedSheetsRead draws every stock's PDF at the resolutions of label printers, with
// poppler's pdftoppm, and reads each tag with zbarimg: it must give back exactly its code.
// Labels are whole pages, drawn as a print head does in black and white dots; sheets are
// drawn in grey and cut into their tags first, as people do: zbarimg alone of all steps minds eight
// codes in one picture, and overlooks one or two of them on some pages, though it reads each
// of those by itself. Every page's every code is read all the same.
func TestPrintedSheetsRead(t *testing.T) {
	draw, read := tool(t, "pdftoppm", "poppler-utils"), tool(t, "zbarimg", "zbar-tools")
	t.Parallel()
	for _, stock := range Stocks() {
		for _, base := range []string{"", longAddress} {
			t.Run(strings.TrimSpace(stock.Name+" "+base), func(t *testing.T) {
				t.Parallel()
				tags, payloads := printedTags(t, stock, base)
				dir := t.TempDir()
				sheet := filepath.Join(dir, "sheet.pdf")
				require.NoError(t, os.WriteFile(sheet, makePDF(t, tags, stock, PrintOptions{Base: base}), 0o600))
				ink := "-gray"
				if stock.Cells() == 1 {
					ink = "-mono"
				}
				for _, dpi := range []int{203, 300} {
					how := []string{"-r", strconv.Itoa(dpi), ink}
					pictures := drawPages(t, draw, sheet, how)
					require.Len(t, pictures, (len(payloads)+stock.Cells()-1)/stock.Cells(), "pages")
					if stock.Cells() > 1 {
						pictures = cutPages(t, pictures, stock, dpi)
					}
					got := readCodes(t, read, pictures...)
					for i, payload := range payloads {
						require.Equal(t, []string{payload}, got[pictures[i]], "tag %d, %v", i+1, how)
					}
					for _, blank := range pictures[len(payloads):] {
						require.Empty(t, got[blank], "a cell without a tag")
					}
				}
			})
		}
	}
}

// drawPages makes a picture of each page of a sheet.
func drawPages(t *testing.T, pdftoppm, sheet string, how []string) []string {
	out := filepath.Join(filepath.Dir(sheet), "page"+strings.Join(how, ""))
	said, err := exec.Command(pdftoppm, append(how, sheet, out)...).CombinedOutput()
	require.NoError(t, err, string(said))
	pages, err := filepath.Glob(out + "*.p?m")
	require.NoError(t, err)
	slices.Sort(pages) // pdftoppm numbers them with leading zeros
	return pages
}

// cutPages cuts pictures of pages into pictures of their cells.
func cutPages(t *testing.T, pages []string, stock Stock, dpi int) (cells []string) {
	for _, page := range pages {
		data, err := os.ReadFile(page)
		require.NoError(t, err)
		var width, height int // of a grey picture in the portable format: a heading, then a byte for each pixel
		_, err = fmt.Sscanf(string(data[:min(len(data), 40)]), "P5\n%d %d\n255\n", &width, &height)
		require.NoError(t, err)
		pixels := data[len(data)-width*height:]
		for n := range stock.Cells() {
			a, dots := stock.cell(n), float64(dpi)/mmPerIn
			x0, y0, x1, y1 := int(a.x*dots), int(a.y*dots), int((a.x+a.w)*dots), int((a.y+a.h)*dots)
			cut := fmt.Appendf(nil, "P5\n%d %d\n255\n", x1-x0, y1-y0)
			for y := y0; y < y1; y++ {
				cut = append(cut, pixels[y*width+x0:y*width+x1]...)
			}
			cells = append(cells, fmt.Sprintf("%s-%d.pgm", page, n+1))
			require.NoError(t, os.WriteFile(cells[len(cells)-1], cut, 0o600))
		}
	}
	return cells
}

// TestRandomPicturesRead reads whole pictures of any tag with zbarimg.
func TestRandomPicturesRead(t *testing.T) {
	read := tool(t, "zbarimg", "zbar-tools")
	t.Parallel()
	file := filepath.Join(t.TempDir(), "tag.png")
	rapid.Check(t, func(t *rapid.T) {
		tag, opts := tags().Draw(t, "tag"), images().Draw(t, "picture")
		want, err := Payload(opts.Base, tag.Code)
		require.NoError(t, err)
		data, err := PNG(tag, opts)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(file, data, 0o600))
		require.Equal(t, []string{want}, readCodes(t, read, file)[file])
	})
}
