// Package graph is the vocabulary of lineage: nodes, the links between them, and why each link exists.
//
// It knows neither SQL nor how the links came about.
package graph

// Kind is what a node is. The list is append-only.
type Kind uint8

// The kinds of node.
const (
	Lot Kind = iota
	Brew
	Fill
	Segment
	Unit
	Stretch
)

var kindNames = [...]string{"lot", "brew", "fill", "segment", "unit", "stretch"}

func (k Kind) String() string { return kindNames[k] }

// Grade is how sure a link is.
type Grade uint8

// The grades.
const (
	Content Grade = iota
	Contact
)

// Cause is why a link exists. The list is append-only.
type Cause uint8

// The causes, content first.
const (
	Moved Cause = iota
	Carried
	Cropped
	Packed
	Part
	Unpacked
	Gas
	Heel
	Path
	Margin
	Overlap
	UncertainTime
	OneOf
	NothingThere
	BreakInDoubt
	UncertainClean
)
