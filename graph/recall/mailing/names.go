package mailing

import (
	"fmt"
	"strings"
)

// fileNames makes names of files out of names with codes: no two alike, also where a file system
// makes no difference of upper and lower case. Letters, digits and what is safe everywhere stay;
// every other byte is written as % with its number. Names that differ by case alone get their
// capitals written so, too.
func fileNames(names []string) []string {
	out, alike := make([]string, len(names)), map[string]int{}
	for i, n := range names {
		out[i] = escaped(n, false)
		alike[strings.ToLower(out[i])]++
	}
	for i, n := range names {
		if alike[strings.ToLower(out[i])] > 1 {
			out[i] = escaped(n, true)
		}
	}
	return out
}

// escaped writes a name so that it can be read back from it, and no other name gives the same.
func escaped(name string, capitals bool) string {
	var b strings.Builder
	for i := range len(name) {
		c := name[i]
		capital := c >= 'A' && c <= 'Z'
		if c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || capital && !capitals || strings.IndexByte(" -_.,()+=@#", c) >= 0 {
			b.WriteByte(c)
		} else {
			fmt.Fprintf(&b, "%%%02x", c)
		}
	}
	return b.String()
}
