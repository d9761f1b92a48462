package lots

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Kind is what a code names. The list is append-only; the text is stored.
type Kind string

// The kinds of thing a code can name.
const (
	KindLot      Kind = "lot"
	KindBrew     Kind = "brew"
	KindVessel   Kind = "vessel"
	KindLine     Kind = "line"
	KindProduct  Kind = "product"
	KindItem     Kind = "item"
	KindParty    Kind = "party"
	KindTransfer Kind = "transfer"
	KindRun      Kind = "run"
	KindUnit     Kind = "unit"
	KindShipment Kind = "shipment"
	KindReturn   Kind = "return"
)

const maxCode = 80

// CheckCode refuses what would make a code ambiguous in a question: | separates
// alternatives, ; separates lists, @ narrows to a time, / joins a keg to its run.
func CheckCode(code string, slashAllowed bool) error {
	switch {
	case code == "":
		return fmt.Errorf("a code is needed")
	case len(code) > maxCode:
		return fmt.Errorf("a code can have at most %d bytes: choose a shorter one", maxCode)
	case strings.TrimSpace(code) != code:
		return fmt.Errorf("%q has spaces at its ends: leave them out", code)
	case strings.ContainsAny(code, "|;@"):
		return fmt.Errorf("%q: a code cannot contain | ; or @, which mean something in questions", code)
	case !slashAllowed && strings.Contains(code, "/"):
		return fmt.Errorf("%q: a / belongs only in a keg filling, such as K0417/R2031", code)
	}
	for _, r := range code {
		if !unicode.IsPrint(r) || r == utf8.RuneError {
			return fmt.Errorf("%q contains a character that cannot be printed", code)
		}
	}
	return nil
}

// SplitFilling takes a keg filling's code apart: K0417/R2031 is keg K0417 filled in run R2031.
func SplitFilling(code string) (keg, run string, ok bool) {
	keg, run, ok = strings.Cut(code, "/")
	return keg, run, ok && keg != "" && run != ""
}

// Ref is what a row says something came from or happened to: one code, or one
// of several, unknown which. All codes are of one kind.
type Ref struct {
	Kind  Kind
	Codes []string
}

// OneOf reports whether the row names several, of which one is meant.
func (r Ref) OneOf() bool { return len(r.Codes) > 1 }

// Code is the only code of a Ref that names one thing.
func (r Ref) Code() string {
	if len(r.Codes) == 0 {
		return ""
	}
	return r.Codes[0]
}
