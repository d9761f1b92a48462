// Package font holds the face that tags and papers are set in: the Go fonts, which tell O
// from 0 and l from 1. Their licence stands beside them.
package font

import _ "embed" // for the faces

// Regular and Bold are TrueType files. They have Latin, Greek and Cyrillic.
var (
	//go:embed Go-Regular.ttf
	Regular string
	//go:embed Go-Bold.ttf
	Bold string
)
