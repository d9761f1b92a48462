package labels

// A Typeface measures text in the face that tags are set in, for documents that are set in
// it too.
type Typeface struct{ fs faces }

// NewTypeface reads the embedded face.
func NewTypeface() Typeface { return Typeface{newFaces()} }

// Width is the length of s set in one line, in ems (the type size).
func (t Typeface) Width(s string, bold bool) float64 { return t.fs.pick(bold).width(s) }

// Printable replaces each character that the face does not have by a visible mark, the
// replacement character.
func (t Typeface) Printable(s string) string { return t.fs.regular.printable(s) }

// A QR is a QR code for a document that is no tag.
type QR struct {
	Side   int     // modules on each side, without the quiet zone
	Quiet  int     // modules that must stay clear around it
	Module float64 // the side of a module, mm
	Bars   []Bar   // the dark modules
}

// A Bar is a run of N dark modules in one row; its left end is at (X, Y), counted in modules
// from the top left.
type Bar struct{ X, Y, N int }

// NewQR makes the code of payload for a square box (mm) that holds its quiet zone too. Its
// modules are as large as the box allows in whole dots of a usual print head, and no finer
// than those of a tag on paper; what does not fit so is [ErrTooLong].
func NewQR(payload string, box float64) (QR, error) {
	s, err := fitSymbol(payload, box, dot, Stocks()[0])
	if err != nil {
		return QR{}, err
	}
	q := QR{Side: len(s.bits), Quiet: quietModules, Module: s.module}
	for _, b := range s.bars() {
		q.Bars = append(q.Bars, Bar{b.x, b.y, b.n})
	}
	return q, nil
}
