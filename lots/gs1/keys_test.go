package gs1_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/lots/gs1"
)

// TestKeysAsPublished writes numbers that GS1 published: the check digit examples of GS1 Hong Kong (GTIN-13) and of the EPC Tag
// Data Standard (SSCC urn:epc:id:sscc:0614141.1234567890, GTIN urn:epc:idpat:sgtin:4012345.098765).
func TestKeysAsPublished(t *testing.T) {
	require.Equal(t, "6291041500213", gs1.Prefix("6291041").Key(gs1.GTIN, 50021))
	require.Equal(t, "106141412345678908", gs1.Prefix("0614141").Key(gs1.SSCC, 1234567890))
	require.Equal(t, "4012345987652", gs1.Prefix("4012345").Key(gs1.GTIN, 98765))
}

func TestPrefixes(t *testing.T) {
	for text, fault := range map[string]string{"": "digits alone", "952": "4 to 12", "9520000123456": "4 to 12", "95a2": "digits alone", "2123456": "within one company", "0212345": "within one company", "0000": "all zeros"} {
		_, err := gs1.ParsePrefix(text)
		require.ErrorContains(t, err, fault, text)
	}
	for prefix, all := range map[string][3]int64{"9520": {1e8, 1e8, 1e13}, "9520000": {1e5, 1e5, 1e10}, "952000012345": {1, 1, 1e5}} {
		p, err := gs1.ParsePrefix(prefix)
		require.NoError(t, err)
		for i, kind := range gs1.KeyKinds() {
			require.Equal(t, all[i], p.Capacity(kind), prefix)
		}
	}
}

// TestKeysCountBack reads every number as the one it was written for, and as no other prefix's.
func TestKeysCountBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := gs1.Prefix("952" + rapid.StringMatching(`[0-9]{1,9}`).Draw(t, "prefix"))
		kind := rapid.SampledFrom(gs1.KeyKinds()).Draw(t, "kind")
		n := rapid.Int64Range(0, p.Capacity(kind)-1).Draw(t, "n")
		key := p.Key(kind, n)
		require.NoError(t, gs1.CheckKey(kind, key))
		back, ok := p.Count(kind, key)
		require.True(t, ok, key)
		require.Equal(t, n, back)
		_, ok = gs1.Prefix("4"+string(p[1:])).Count(kind, key)
		require.False(t, ok)
		wrong := key[:len(key)-1] + string('0'+(key[len(key)-1]-'0'+1)%10)
		_, ok = p.Count(kind, wrong)
		require.False(t, ok)
	})
	n, ok := gs1.Prefix("6291041").Count(gs1.GTIN, "1"+"629104150021"+strings.Repeat("0", 1))
	require.True(t, ok, "a case of it is it")
	require.EqualValues(t, 50021, n)
}

// FuzzKeys has any text read as a prefix, and any number counted by it: no panic, and what counts is written back.
func FuzzKeys(f *testing.F) {
	f.Add("9520000", "095200000000000004")
	f.Add("952000012345", "9520000123451")
	f.Add(" 95-20 ", "(00)095200000000000004")
	f.Fuzz(func(t *testing.T, prefix, number string) {
		p, err := gs1.ParsePrefix(prefix)
		if err != nil {
			return
		}
		for _, kind := range gs1.KeyKinds() {
			if n, ok := p.Count(kind, number); ok {
				back, ok := p.Count(kind, p.Key(kind, n))
				require.True(t, ok)
				require.Equal(t, n, back)
			}
		}
	})
}
