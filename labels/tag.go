package labels

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// ErrTooLong is wrapped by every error that says a payload or a code is too
// long for the stock: the code would be too fine to scan or too small to read.
var ErrTooLong = errors.New("too long for this stock")

// Kind is what a tag hangs on.
type Kind string

// The kinds of tags.
const (
	KindLot    Kind = "lot"
	KindVessel Kind = "vessel"
	KindRun    Kind = "run"
	KindPallet Kind = "pallet"
	KindKeg    Kind = "keg"
)

// Kinds lists the kinds of tags.
func Kinds() []Kind {
	return []Kind{KindLot, KindVessel, KindRun, KindPallet, KindKeg}
}

// Word is the kind as it is printed on a tag, in capitals.
func (k Kind) Word() string { return strings.ToUpper(string(k)) }

// A Tag is what one tag says. Only Kind and Code are required. All texts are
// printed as given: the caller writes dates, quantities and units the way the
// site wants to read them. A text that is empty is left out.
type Tag struct {
	Kind Kind
	Code string // our own code; goes into the QR code and is always printed whole

	Title       string // the item of a lot, the beer in a vessel, the product of a run, pallet or keg
	SupplierLot string // as the supplier printed it; "-" says that the goods bear none
	Quantity    string // number and unit
	Received    string // date
	BestBy      string // date
	Status      string // in words ("accepted", "ON HOLD"): a tag has no colours
	Refused     bool   // it must never be used: the status is printed white on black
	SSCC        string // of a pallet or keg: as whole as the code, for whoever must type it

	Logistic *Logistic // of a pallet or keg with an SSCC, for logistic labels alone

	Link  string // an address in plain ASCII that the QR code holds instead of our own code, such as a GS1 Digital Link
	Extra []Row  // further lines, printed as far as they fit
}

// A Row is one captioned line of a tag.
type Row struct {
	Name string // the caption: "Run", "Filled"
	Text string
}

// number is the caption and the text of the number that others know it by: the supplier's lot, or the
// SSCC. A lot always has the line, so that "none" and "not written down" can be told apart.
func (t Tag) number() (Row, bool) {
	row := Row{Name: "Supplier’s lot", Text: tidy(t.SupplierLot)}
	switch {
	case row.Text == "-":
		row.Text = "none on the goods"
	case row.Text == "" && t.Kind == KindLot:
		row.Text = "not recorded"
	case row.Text == "" && tidy(t.SSCC) != "":
		return Row{Name: "SSCC", Text: tidy(t.SSCC)}, true
	case row.Text == "":
		return Row{}, false
	}
	return row, true
}

// facts are the captioned lines that every tag of a sheet or pallet label has
// room for, as far as they have a text.
func (t Tag) facts() []Row {
	return tidyRows([]Row{
		{"Quantity", t.Quantity},
		{"Best by", t.BestBy},
		{"Received", t.Received},
	})
}

// rows are all captioned lines but the number of others, most wanted first.
func (t Tag) rows() []Row { return append(t.facts(), tidyRows(t.Extra)...) }

// tidyRows leaves out rows without a text.
func tidyRows(rows []Row) []Row {
	var kept []Row
	for _, r := range rows {
		if r = (Row{tidy(r.Name), tidy(r.Text)}); r.Text != "" {
			kept = append(kept, r)
		}
	}
	return kept
}

// tidy makes one line of a text: line breaks and tabs become spaces, spaces
// at the ends go. A no-break space becomes a plain one: lines break where they must.
func tidy(s string) string {
	s = strings.NewReplacer("\r\n", " ", "\n", " ", "\r", " ", "\t", " ", "\u00a0", " ").Replace(s)
	return strings.TrimSpace(s)
}

// check refuses a tag that cannot be printed whatever the stock.
func (t Tag) check() error {
	if !slices.Contains(Kinds(), t.Kind) {
		return fmt.Errorf("tag %q: kind %q is none of %v", t.Code, string(t.Kind), Kinds())
	}
	return checkCode(t.Code)
}
