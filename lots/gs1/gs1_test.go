package gs1_test

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots/gs1"
)

// The check digits of the vectors, each with its source beside it: GS1's syntax dictionary and engine, the
// EPCIS examples, and a worked example.
func TestCheckDigits(t *testing.T) {
	text, err := os.ReadFile("testdata/gs1_check_digits.tsv")
	require.NoError(t, err)
	rows := strings.Split(strings.TrimSpace(string(text)), "\n")[1:]
	require.Len(t, rows, 20)
	for _, row := range rows {
		cells := strings.Split(row, "\t")
		require.Equal(t, cells[2] == "valid", gs1.Number{Digits: cells[1]}.Valid(), row)
		if n, ok := gs1.Read(cells[1]); cells[0] != "GLN" { // a GLN is as long as a GTIN-13
			require.True(t, ok, row)
			require.Equal(t, strings.HasPrefix(cells[0], "SSCC"), n.Kind == gs1.SSCC, row)
			require.Equal(t, cells[1], n.Digits, row)
		}
	}
	for _, bad := range []string{"", "5", "12a4", "-1"} {
		require.False(t, gs1.Number{Digits: bad}.Valid(), bad)
	}
}

func TestRead(t *testing.T) {
	for text, want := range map[string]gs1.Number{
		"(00)123456789012345675": {Kind: gs1.SSCC, Digits: "123456789012345675", Named: true}, "(00) 1234567 8901234567 5": {Kind: gs1.SSCC, Digits: "123456789012345675", Named: true},
		"00123456789012345675": {Kind: gs1.SSCC, Digits: "123456789012345675"}, "1 234567 89012345 675": {Kind: gs1.SSCC, Digits: "123456789012345675"},
		"(01)12345678901231": {Kind: gs1.GTIN, Digits: "12345678901231", Named: true}, "0112345678901231": {Kind: gs1.GTIN, Digits: "12345678901231"}, "(01)09520123456788(17)201225": {Kind: gs1.GTIN, Digits: "09520123456788", Named: true},
		"02345673": {Kind: gs1.GTIN, Digits: "02345673"}, "4160 0033 6108": {Kind: gs1.GTIN, Digits: "416000336108"}, "6291041-50021-3": {Kind: gs1.GTIN, Digits: "6291041500213"},
		"": {}, "(00)": {}, "(01)123": {}, "1234567": {}, "P26-0817": {}, "(10)12345678": {}, "(00)12345678901231": {}, "9912345678901231": {}, "٣٤٥٦٧٨٩٠": {},
	} {
		n, ok := gs1.Read(text)
		require.Equal(t, want, n, text)
		require.Equal(t, want.Kind != "", ok, text)
	}
	short, _ := gs1.Read("6291041500213")
	long, _ := gs1.Read("(01)06291041500213")
	require.Equal(t, short.Key(), long.Key())
	require.Equal(t, short.Item(), long.Item())
}

func FuzzRead(f *testing.F) {
	f.Add("(00)123456789012345675")
	f.Add("(01)(")
	f.Fuzz(func(t *testing.T, text string) {
		n, ok := gs1.Read(text)
		if !ok {
			return
		}
		if n.Valid() && strings.Trim(n.Digits, "0123456789") != "" {
			t.Fatalf("%q: %q is said to be valid", text, n.Digits)
		}
		again, ok := gs1.Read(n.Digits)
		if !ok && n.Kind == gs1.SSCC || ok && len(n.Key()) != 14 && n.Kind == gs1.GTIN || ok && again.Kind != n.Kind {
			t.Fatalf("%q: %v, then %v", text, n, again)
		}
	})
}
