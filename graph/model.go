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

var gradeNames = [...]string{"content", "contact"}

func (g Grade) String() string { return gradeNames[g] }

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
	CleanedWith
	Tipped
	MayBeJoined
)

var causes = [...]struct{ name, text string }{
	Moved:          {"moved", "moved or used"},
	Carried:        {"carried", "was still in the vessel"},
	Cropped:        {"cropped", "yeast cropped from it"},
	Packed:         {"packed", "packed from it"},
	Part:           {"part", "part of the package"},
	Unpacked:       {"unpacked", "emptied or repacked"},
	Gas:            {"gas", "gas used"},
	Heel:           {"heel", "vessel filled again without a clean between"},
	Path:           {"path", "passed through the same hose, line or machine"},
	Margin:         {"margin", "within the doubt of when it was packed"},
	Overlap:        {"overlap", "may still have been in the magazine, hopper or roll"},
	UncertainTime:  {"uncertain-time", "the order of the two is not known"},
	OneOf:          {"one-of", "one of several, unknown which"},
	NothingThere:   {"nothing-there", "drawn when the books show nothing in the vessel"},
	BreakInDoubt:   {"break-in-doubt", "more came out after the clean than went in"},
	UncertainClean: {"uncertain-clean", "the clean may not lie between the two"},
	CleanedWith:    {"clean", "used in the clean before this was filled"},
	Tipped:         {"tipped", "tipped back into the lot that was used"},
	MayBeJoined:    {"may-be-joined", "the two vessels were perhaps joined"},
}

// String is the cause's stable name.
func (c Cause) String() string { return causes[c].name }

// Text says the cause to a person.
func (c Cause) Text() string { return causes[c].text }
