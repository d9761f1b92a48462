package labels

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
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

// printedTags are tags of every sort: usual ones, long codes, other scripts, long texts.
func printedTags() []Tag {
	tags := testTags()
	for i := range 6 {
		tags = append(tags, Tag{Kind: Kinds()[i%len(Kinds())], Code: strings.Repeat("LOT-", i+1) + strconv.Itoa(1000+i*37), Title: "hop pellets, " + strings.Repeat("very ", i) + "aromatic",
			SupplierLot: strings.Repeat("0O1Il", i+1), Quantity: "12.5 kg", Status: "accepted"})
	}
	return append(tags, Tag{Kind: KindKeg, Code: "Käg-7/Läuf-9", Title: "Тёмное", Quantity: "30 L"})
}

// TestPrintedSheetsRead draws every stock's PDF as printers do, at 203 and 300 dpi, with
// poppler's pdftoppm, and reads whole pages with zbarimg: each code must come back exactly.
func TestPrintedSheetsRead(t *testing.T) {
	draw, read := tool(t, "pdftoppm", "poppler-utils"), tool(t, "zbarimg", "zbar-tools")
	for _, stock := range Stocks() {
		for _, base := range []string{"", testBase} {
			var tags []Tag
			var want []string
			for _, tag := range printedTags() {
				if _, err := layOut(newFaces(), tag, base, stock, dot); err != nil {
					require.ErrorIs(t, err, ErrTooLong)
					continue // refused, as it must be, on small stock
				}
				payload, err := Payload(base, tag.Code)
				require.NoError(t, err)
				tags, want = append(tags, tag), append(want, payload)
			}
			require.GreaterOrEqual(t, len(tags), 8)
			slices.Sort(want)
			for _, dpi := range []string{"203", "300"} {
				t.Run(strings.Join([]string{stock.Name, dpi, base}, " "), func(t *testing.T) {
					dir := t.TempDir()
					sheet := filepath.Join(dir, "sheet.pdf")
					require.NoError(t, os.WriteFile(sheet, makePDF(t, tags, stock, PrintOptions{Base: base}), 0o600))
					out, err := exec.Command(draw, "-r", dpi, "-gray", sheet, filepath.Join(dir, "page")).CombinedOutput()
					require.NoError(t, err, string(out))
					pages, err := filepath.Glob(filepath.Join(dir, "page*.pgm"))
					require.NoError(t, err)
					args := append([]string{"--quiet", "--raw", "-Sdisable", "-Sqrcode.enable"}, pages...)
					got, err := exec.Command(read, args...).Output()
					require.NoError(t, err)
					lines := strings.Split(strings.TrimSpace(string(got)), "\n")
					slices.Sort(lines)
					require.Equal(t, want, lines)
				})
			}
		}
	}
}
