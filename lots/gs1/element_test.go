package gs1_test

import (
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"heeltap/lots/gs1"
)

// vectors reads a table of published examples; its last column names the source of each row.
func vectors(t testing.TB, name string, rows int) [][]string {
	t.Helper()
	text, err := os.ReadFile("testdata/" + name)
	require.NoError(t, err)
	var out [][]string
	for line := range strings.Lines(string(text)) {
		out = append(out, strings.Split(strings.TrimRight(line, "\n"), "\t"))
	}
	require.Len(t, out, rows+1)
	return out[1:]
}

// must reads a message in brackets.
func must(t testing.TB, bracketed string) gs1.Message {
	t.Helper()
	m, err := gs1.Scan(bracketed)
	require.NoError(t, err, bracketed)
	return m
}

func TestElementStrings(t *testing.T) {
	for _, row := range vectors(t, "gs1_element_strings.tsv", 12) {
		bracketed, raw := row[0], strings.ReplaceAll(row[1], "<GS>", "\x1d")
		for _, text := range []string{"]C1" + raw, "]d2" + raw, "]Q3" + raw, "]e0" + raw, "\x1d" + raw, bracketed, strings.ReplaceAll(raw, "\x1d", "␝"), "^" + strings.ReplaceAll(raw, "\x1d", "{GS}"), " ]C1" + raw + "\r\n"} {
			if text == raw && !strings.ContainsRune(raw, gs1.Separator) {
				continue // nothing marks it
			}
			m, err := gs1.Scan(text)
			if err == gs1.ErrNone && !strings.HasPrefix(text, "]") && !strings.ContainsAny(text, "\x1d␝(^") {
				continue // nothing marks it as a bar code
			}
			require.NoError(t, err, "%q", text)
			require.Equal(t, bracketed, m.String(), "%q", text)
			require.Empty(t, m.Doubt, "%q", text)
		}
		require.Equal(t, raw, must(t, bracketed).Raw())
	}
}

func TestElementStringsRefused(t *testing.T) {
	for _, row := range vectors(t, "gs1_element_strings_reject.tsv", 15) {
		var m gs1.Message
		var err error
		if row[1] == "raw" {
			m, err = gs1.Parse(row[0])
		} else {
			m, err = gs1.Scan(row[0])
		}
		if err == nil {
			err = m.Unpaired()
		}
		var wrong *gs1.Error
		require.True(t, errors.As(err, &wrong), "%v", row)
		t.Log(row[0], "->", err)
	}
}

// Every error names the character at fault.
func TestWhere(t *testing.T) {
	for text, want := range map[string]string{
		"]C101095201234567891733":        "bar code, character 6, in (01): the check digit of 09520123456789 is 8, not 9: a digit is wrong or two are swapped",
		"]C1010952012345678817261331":    "bar code, character 22, in (17): there is no month 13",
		"]C1010952012345678817260230":    "bar code, character 22, in (17): there is no day 30 in month 02 of that year",
		"]C10109520123456788172602":      "bar code, character 26, in (17): 2602 is too short: it has 6 characters",
		"]C1010952012345678810LOT 1":     "bar code, character 25, in (10): ' ' may not stand here: only letters A-Z a-z, digits and the signs of GS1's character set 82 may",
		"]C11012345678901234567890X":     "bar code, character 26, in (10): 12345678901234567890X is too long: it has 1 to 20 characters",
		"]C1101\x1d89X":                  "bar code, character 8: 89X… is no application identifier; perhaps a separator is missing before it",
		"]C1":                            "bar code, character 4: nothing stands in it",
		"(10)A (99)":                     "bar code, character 11, in (99): nothing stands behind it",
		"(10)A\x1d":                      `bar code, character 6, in (10): '\x1d' may not stand here: only letters A-Z a-z, digits and the signs of GS1's character set 82 may`,
		"]C1422999":                      "bar code, character 7, in (422): 999 is no country of ISO 3166",
		"]C170032611302460":              "bar code, character 14, in (7003): there is no hour 24",
		"]C17003261131":                  "bar code, character 8, in (7003): there is no day 31 in month 11 of that year",
		"]C18010ab":                      "bar code, character 8, in (8010): 'a' may not stand here: only capital letters, digits and # - / may",
		"https://id.gs1.org/01/9520123x": "bar code, character 23, in (01): 'x' may not stand here: only digits may",
	} {
		_, err := gs1.Scan(text)
		if assert.Error(t, err, text) {
			assert.Equal(t, want, err.Error(), text)
		}
	}
}

// What nobody marked as a bar code is not taken for one, unless its check digit and all else fit.
func TestNoBarCode(t *testing.T) {
	for _, text := range []string{"", "10123456", "WH 24/117", "8871", "1726010110A", "0109520123456789", "01095201234567", "(see note) 12", "A^12", "http://192.168.1.5:8417/t/LOT-123", "https://example.com/"} {
		_, err := gs1.Scan(text)
		require.ErrorIs(t, err, gs1.ErrNone, text)
	}
	m := must(t, "010952012345678817260101"+"10WH24/117")
	require.Equal(t, "(01)09520123456788(17)260101(10)WH24/117", m.String())
	require.Equal(t, "(01)09520123456788", must(t, "]E09520123456788").String())
}

// A scanner that sends no separator would let a lot swallow the date behind it: that is asked about.
func TestDoubt(t *testing.T) {
	require.Contains(t, must(t, "]C1010952012345678810WH2411717260101").Doubt, "end before what reads as (17)260101")
	require.Empty(t, must(t, "]C1010952012345678810WH24117\x1d17260101").Doubt)
	require.Empty(t, must(t, "]C1010952012345678810WH24117").Doubt)
	require.Empty(t, must(t, "(01)09520123456788(10)WH2411717260101").Doubt, "in brackets it says where it ends")
}

func TestDates(t *testing.T) {
	for _, row := range vectors(t, "gs1_dates_yymmd0.tsv", 23) {
		ai, source := "11", row[2]
		if strings.Contains(source, "lint_yymmdd") {
			ai = "7006"
		}
		_, err := gs1.Scan("(" + ai + ")" + row[0])
		require.Equal(t, row[1] == "ok", err == nil, "%v: %v", row, err)
	}
	in := time.Date(2026, 11, 29, 0, 0, 0, 0, time.UTC)
	for digits, want := range map[string]string{"761231": "2076-12-31", "770101": "1977-01-01", "270228": "2027-02-28", "240200": "2024-02", "000101": "2000-01-01"} {
		require.Equal(t, want, gs1.ReadDay(digits, in).String())
	}
	require.Equal(t, "2024-02-29", gs1.ReadDay("240200", in).Last().String())
	require.Equal(t, "2023-02-28", gs1.ReadDay("230200", in).Last().String())
	// In another century's last and first years: 99 to -50 leads on, 51 back.
	require.Equal(t, 2100, gs1.ReadDay("000101", time.Date(2060, 1, 1, 0, 0, 0, 0, time.UTC)).Year)
	require.Equal(t, 1999, gs1.ReadDay("990101", time.Date(2048, 1, 1, 0, 0, 0, 0, time.UTC)).Year)
	require.Equal(t, 2099, gs1.ReadDay("990101", time.Date(2049, 1, 1, 0, 0, 0, 0, time.UTC)).Year)
}

// The check characters of a model number: the example of the General Specifications.
func TestCheckPair(t *testing.T) {
	require.NoError(t, errOf(gs1.Scan("(8013)1987654Ad4X4bL5ttr2310c2K")))
	require.Error(t, errOf(gs1.Scan("(8013)1987654Ad4X4bL5ttr2310c2L")))
}

func errOf(_ gs1.Message, err error) error { return err }

func TestWeights(t *testing.T) {
	for text, want := range map[string]string{"(3103)000195": "0.195 kg", "(3102)012550": "125.5 kg", "(3200)000055": "55 lb", "(3151)000200": "20 L", "(3600)000004": "", "(3570)000012": "", "(3610)000004": "4 gal", "(30)12": "", "(37)12": ""} {
		m := must(t, text)
		number, unit, ok := m.Measure()
		require.Equal(t, want != "", ok, text)
		if ok {
			require.Equal(t, want, number+" "+unit, text)
		}
	}
}

func FuzzScan(f *testing.F) {
	for _, row := range vectors(f, "gs1_element_strings.tsv", 12) {
		f.Add("]C1" + strings.ReplaceAll(row[1], "<GS>", "\x1d"))
		f.Add(row[0])
	}
	f.Add("https://id.gs1.org/01/09520123456788/10/ABC1/21/12345?17=180426")
	f.Fuzz(func(t *testing.T, text string) {
		m, err := gs1.Scan(text)
		var wrong *gs1.Error
		if errors.As(err, &wrong) {
			require.Positive(t, wrong.At)
			require.LessOrEqual(t, wrong.At, len(text)+1)
		}
		if err != nil {
			return
		}
		again, err := gs1.Scan("]C1" + m.Raw())
		require.NoError(t, err)
		require.Equal(t, m.String(), again.String())
		again, err = gs1.Parse(m.Raw())
		require.NoError(t, err)
		require.Equal(t, m.String(), again.String())
	})
}
