package mailing

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// No two parties' letters get one file, also where upper and lower case are one to the file system, and every name can stand anywhere.
func TestFileNamesNeverMeet(t *testing.T) {
	require.Equal(t, []string{"consignee D-1", "supplier D-1", "consignee X%3a1", "consignee X%3f1", "consignee X%2f1", "consignee 100%25", "consignee Br%c3%a4u"},
		fileNames([]string{"consignee D-1", "supplier D-1", "consignee X:1", "consignee X?1", "consignee X/1", "consignee 100%", "consignee Bräu"}))
	require.Equal(t, []string{"consignee ab", "consignee %41b", "consignee C"}, fileNames([]string{"consignee ab", "consignee Ab", "consignee C"}))
	code := rapid.StringOf(rapid.SampledFrom([]rune("aAbBkK\u212AäÄa\u0308%3Ff:/\\?*\"<>| .1")))
	rapid.Check(t, func(t *rapid.T) {
		var names []string
		for _, c := range rapid.SliceOfNDistinct(code, 1, 12, rapid.ID[string]).Draw(t, "codes") {
			names = append(names, "consignee "+c)
		}
		seen := map[string]string{}
		for i, n := range fileNames(names) {
			require.NotContains(t, seen, strings.ToLower(n), "%q", names[i])
			seen[strings.ToLower(n)] = names[i]
			require.False(t, strings.ContainsAny(n, `:/\?*"<>|`))
			require.Equal(t, strings.ToValidUTF8(n, ""), n)
		}
	})
}
