package labels

import (
	"bytes"
	"errors"
	"io"
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

// TestPDFIsTheSameEachTime makes each sheet again and again: the PDF library keeps
// characters and widths in maps, whose order is another each time they are walked.
func TestPDFIsTheSameEachTime(t *testing.T) {
	for _, stock := range Stocks() {
		t.Run(stock.Name, func(t *testing.T) {
			first := makePDF(t, testTags(), stock, PrintOptions{})
			for range 8 {
				require.True(t, bytes.Equal(first, makePDF(t, testTags(), stock, PrintOptions{})))
			}
		})
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
