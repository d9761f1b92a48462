package labels

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func makePDF(t require.TestingT, tags []Tag, stock Stock, opts PrintOptions) []byte {
	var b bytes.Buffer
	require.NoError(t, PDF(&b, tags, stock, opts))
	require.True(t, bytes.HasPrefix(b.Bytes(), []byte("%PDF-")))
	return b.Bytes()
}

// sumsOf makes every stock's sheet and says in a line each what its bytes come to.
func sumsOf(t *testing.T, stocks []Stock) (lines []string) {
	for _, stock := range stocks {
		lines = append(lines, fmt.Sprintf("%s %x", stock.Name, sha256.Sum256(makePDF(t, testTags(), stock, PrintOptions{}))))
	}
	return lines
}

// anotherProcess is set where the test program was started by one of its own tests.
const anotherProcess = "HEELTAP_TEST_ANOTHER_PROCESS"

// TestPDFIsTheSameEachTime makes the same sheets again in this process, and in others that
// have printed something else before. The PDF library keeps fonts, characters and objects
// in maps, whose order is another each time they are walked; it would also note the time,
// and name fonts and objects by a count.
func TestPDFIsTheSameEachTime(t *testing.T) {
	if os.Getenv(anotherProcess) != "" {
		printSums(t)
		return
	}
	t.Parallel()
	want := sumsOf(t, Stocks())
	for range 4 {
		require.Equal(t, want, sumsOf(t, Stocks()))
	}
	slices.Sort(want)
	self, err := os.Executable()
	require.NoError(t, err)
	for range 2 {
		cmd := exec.Command(self, "-test.run=^TestPDFIsTheSameEachTime$", "-test.v")
		cmd.Env = append(os.Environ(), anotherProcess+"=1", "TZ=Pacific/Auckland")
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, string(out))
		var got []string
		for line := range strings.Lines(string(out)) {
			if sum, ok := strings.CutPrefix(line, "sum: "); ok {
				got = append(got, strings.TrimSpace(sum))
			}
		}
		slices.Sort(got)
		require.Equal(t, want, got)
	}
}

// printSums is the other process: it prints other tags, in other ways and another order,
// before those that are compared.
func printSums(t *testing.T) {
	stocks := Stocks()
	slices.Reverse(stocks)
	for _, stock := range stocks {
		makePDF(t, []Tag{{Kind: KindRun, Code: "Ж-1", Title: "Ωμέγα"}}, stock, PrintOptions{Base: testBase, Copies: 3, Date: time.Now()})
	}
	_, err := PNG(testTags()[1], ImageOptions{})
	require.NoError(t, err)
	for _, line := range sumsOf(t, stocks) {
		fmt.Println("sum: " + line)
	}
}

func TestPDFDate(t *testing.T) {
	stock := Stocks()[0]
	date := time.Date(2026, 3, 4, 23, 30, 0, 0, time.FixedZone("", -3600))
	dated := makePDF(t, testTags(), stock, PrintOptions{Date: date})
	require.Contains(t, string(dated), "20260305003000", "in UTC")
	require.Equal(t, dated, makePDF(t, testTags(), stock, PrintOptions{Date: date.UTC()}))
	require.Contains(t, string(makePDF(t, testTags(), stock, PrintOptions{})), "19700101000000")
}

func TestPDFPages(t *testing.T) {
	one := testTags()[:1]
	tests := []struct {
		name  string
		stock string
		tags  []Tag
		opts  PrintOptions
		pages int
	}{
		{"one tag", "a4", one, PrintOptions{}, 1},
		{"a full sheet", "a4", one, PrintOptions{Copies: 8}, 1},
		{"one more than a sheet", "letter", one, PrintOptions{Copies: 9}, 2},
		{"from the last cell", "a4", one, PrintOptions{Start: 8}, 1},
		{"from the last cell, two tags", "a4", testTags()[:2], PrintOptions{Start: 8}, 2},
		{"each kind thrice on labels", "100x150", testTags()[:5], PrintOptions{Copies: 3}, 15},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			stock, err := StockByName(test.stock)
			require.NoError(t, err)
			got := makePDF(t, test.tags, stock, test.opts)
			require.Equal(t, test.pages, bytes.Count(got, []byte("/Type /Page\n")))
		})
	}
}

func TestPDFRefusesAndWritesNothing(t *testing.T) {
	a4, sticker := Stocks()[0], Stocks()[3]
	good := testTags()[:1]
	bad := append(testTags(), Tag{Kind: KindLot, Code: strings.Repeat("x", 300)})
	tests := []struct {
		name  string
		tags  []Tag
		stock Stock
		opts  PrintOptions
		says  string
	}{
		{"no tags", nil, a4, PrintOptions{}, "no tags"},
		{"no stock", good, Stock{}, PrintOptions{}, "no stock"},
		{"a copy less than none", good, a4, PrintOptions{Copies: -1}, "-1 copies"},
		{"cell before the first", good, a4, PrintOptions{Start: -1}, "cells 1 to 8"},
		{"cell after the last", good, a4, PrintOptions{Start: 9}, "cells 1 to 8"},
		{"second cell of a label", good, sticker, PrintOptions{Start: 2}, "cells 1 to 1"},
		{"one bad tag behind good ones", bad, a4, PrintOptions{}, "too long"},
		{"bad base", good, a4, PrintOptions{Base: "nowhere"}, "server address"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			var b bytes.Buffer
			require.ErrorContains(t, PDF(&b, test.tags, test.stock, test.opts), test.says)
			require.Zero(t, b.Len())
		})
	}
}

func TestPDFReportsAFullDisk(t *testing.T) {
	full := errors.New("disk full")
	r, w := io.Pipe()
	r.CloseWithError(full)
	require.ErrorIs(t, PDF(w, testTags(), Stocks()[0], PrintOptions{}), full)
}
