package lots

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestCheckCode(t *testing.T) {
	for _, c := range []struct {
		code  string
		slash bool
		fault string
	}{
		{"M-1", false, ""}, {"FV 2", false, ""}, {"Straße#7", false, ""}, {"K0417/R2031", true, ""}, {strings.Repeat("x", 80), false, ""},
		{"", false, "a code is needed"},
		{strings.Repeat("x", 81), false, "a code can have at most 80 bytes: choose a shorter one"},
		{" M-1", false, `" M-1" has spaces at its ends: leave them out`}, {"M-1\u00a0", false, "\"M-1\\u00a0\" has spaces at its ends: leave them out"},
		{"A|B", false, `"A|B": a code cannot contain | ; or @, which mean something in questions`},
		{"A;B", false, `"A;B": a code cannot contain | ; or @, which mean something in questions`},
		{"A@B", true, `"A@B": a code cannot contain | ; or @, which mean something in questions`},
		{"K/R", false, `"K/R": a / belongs only in a keg filling, such as K0417/R2031`},
		{"A\nB", false, `"A\nB" contains a character that cannot be printed`},
		{"A\x00B", false, `"A\x00B" contains a character that cannot be printed`},
		{"A\u200bB", false, `"A\u200bB" contains a character that cannot be printed`},
		{"A\xffB", false, `"A\xffB" contains a character that cannot be printed`},
	} {
		t.Run(c.code, func(t *testing.T) {
			err := CheckCode(c.code, c.slash)
			if c.fault == "" {
				require.NoError(t, err)
			} else {
				require.EqualError(t, err, c.fault)
			}
		})
	}
}

func TestSplitFilling(t *testing.T) {
	for _, c := range []struct {
		code, keg, run string
		ok             bool
	}{
		{"K0417/R2031", "K0417", "R2031", true}, {"K/R/2", "K", "R/2", true}, {"K0417", "K0417", "", false}, {"/R1", "", "R1", false}, {"K/", "K", "", false}, {"", "", "", false},
	} {
		keg, run, ok := SplitFilling(c.code)
		require.Equal(t, []any{c.keg, c.run, c.ok}, []any{keg, run, ok}, c.code)
	}
}

func TestRefs(t *testing.T) {
	require.Empty(t, Ref{}.Code())
	require.False(t, Ref{Codes: []string{"A"}}.OneOf())
	require.True(t, Ref{Codes: []string{"A", "B"}}.OneOf())
	require.Equal(t, "A", Ref{Codes: []string{"A", "B"}}.Code())
}

func TestNearestOf(t *testing.T) {
	known := []string{"L0318", "L0319", "L1042", "FV1", "FV2", "BT-1", "M-2031", "M-2013"}
	for _, c := range []struct {
		name, code string
		want       []string
	}{
		{"O for zero", "LO318", []string{"L0318", "L0319"}},
		{"case and separators", "m 2031", []string{"M-2031", "M-2013"}},
		{"neighbours swapped", "M-2301", []string{"M-2031"}},
		{"B for eight", "L031B", []string{"L0318", "L0319"}},
		{"half of a code", "203", []string{"M-2031"}},
		{"nothing near", "SHIPMENT-77", []string{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Equal(t, c.want, NearestOf(c.code, known))
		})
	}
	many := make([]string, 20)
	for i := range many {
		many[i] = fmt.Sprintf("PAL-10%02d", i)
	}
	require.Equal(t, []string{"PAL-1007", "PAL-1000", "PAL-1001", "PAL-1002", "PAL-1003"}, NearestOf("pal1007", many), "at most five, best first")
}

func TestFoldIsDoneOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringMatching(`[A-Za-z0-9 ._-]{0,12}`).Draw(t, "code")
		require.Equal(t, Fold(s), Fold(Fold(s)))
	})
}

// The distance against its definition, written as a plain recursion.
func TestDistanceAgainstItsDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.StringMatching(`[abc]{0,6}`).Draw(t, "a"), rapid.StringMatching(`[abc]{0,6}`).Draw(t, "b")
		require.Equal(t, slowDistance(a, b), distance(a, b, 10))
		require.Equal(t, distance(a, b, 10), distance(b, a, 10))
	})
}

func slowDistance(a, b string) int {
	if a == "" || b == "" {
		return len(a) + len(b)
	}
	x, y := a[:len(a)-1], b[:len(b)-1]
	same := 1
	if a[len(a)-1] == b[len(b)-1] {
		same = 0
	}
	d := min(slowDistance(x, b)+1, slowDistance(a, y)+1, slowDistance(x, y)+same)
	if len(a) > 1 && len(b) > 1 && a[len(a)-1] == b[len(b)-2] && a[len(a)-2] == b[len(b)-1] {
		d = min(d, slowDistance(a[:len(a)-2], b[:len(b)-2])+1)
	}
	return d
}

func TestErrorsKeepTheirKindAndCause(t *testing.T) {
	err := fmt.Errorf("import: %w", Errorf(NotFound, "no file: %w", fs.ErrNotExist))
	require.Equal(t, NotFound, KindOf(err))
	require.Equal(t, Internal, KindOf(errors.New("other")))
	require.ErrorIs(t, err, fs.ErrNotExist)
	require.Equal(t, "receipts.csv:3: quantity: is needed\nodd", Faults{{File: "receipts.csv", Line: 3, Column: "quantity", Reason: "is needed"}, {Reason: "odd"}}.Error())
}
