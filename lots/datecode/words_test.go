package datecode_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots/datecode"
)

// What people say around a code, as they say it; the ways that leave out less come first.
func TestAround(t *testing.T) {
	for text, want := range map[string]string{
		"MHD 10.03.2027": "date-code|10.03.2027|", "keg 417": "keg|417|", "Keg No. 417": "|No. 417| keg|417|", "pallet P26-0817": "pallet|P26-0817|", "PALLET: P26-0817.": "pallet|P26-0817|",
		"sscc (00)123": "sscc|(00)123|", "Best before: 10/03/27": "date-code|10/03/27|", "best-before 10/03/27": "date-code|10/03/27|", "bbe10 MAR 27": "date-code|10 MAR 27|", "code BB 2027-03-10": "|BB 2027-03-10| date-code|2027-03-10|",
		"use by 10 March": "date-code|10 March|", "lot number L26-0142": "lot|number L26-0142| lot|L26-0142|", "417 (keg)": "", "417 keg": "keg|417|", "line CANS": "line|CANS|", "line: 2": "line|2|",
		"BB 2027-03-10": "date-code|2027-03-10|", "date code K26068": "date-code|K26068|", "": "", "keg": "", "K0417": "", "lottery 4": "", "codex": "", "Bestbefore 10.3.": "date-code|10.3|",
		"run R26-0031": "run|R26-0031|", "GTIN 9521842001013": "gtin|9521842001013|",
	} {
		var got []string
		for _, s := range datecode.Around(text) {
			got = append(got, s.Kind+"|"+s.Text+"|"+s.Line)
		}
		if text == "Keg No. 417" {
			require.Equal(t, []string{"keg|No. 417|", "keg|417|"}, got)
			continue
		}
		require.Equal(t, want, strings.Join(got, " "), text)
	}
	ways := datecode.Around("best before 10/03/27 line 2")
	require.Contains(t, ways, datecode.Said{Text: "10/03/27", Kind: "date-code", Line: "2", Words: []string{"best before", "line"}})
	require.Contains(t, datecode.Around("line 2: BB 10 03"), datecode.Said{Text: "10 03", Kind: "date-code", Line: "2", Words: []string{"line", "bb"}})
}

// Whatever is typed, what is left of it was said, and something is left.
func FuzzAround(f *testing.F) {
	for _, text := range []string{"MHD 10.03.2027", "best before 10/03/27 line 2", "line", "line line", "keg keg 417 keg", "BB\u00a0\xff", "date code: line: 2."} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 400 {
			return
		}
		last := 0
		for _, s := range datecode.Around(text) {
			if !strings.Contains(text, s.Text) || !strings.Contains(text, s.Line) || datecode.Plain(s.Text) == "" || len(s.Words) == 0 || len(s.Words) < last {
				t.Fatalf("%q: %+v", text, s)
			}
			last = len(s.Words)
		}
	})
}
