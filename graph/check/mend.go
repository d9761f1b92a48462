package check

import (
	"regexp"
	"strconv"
	"strings"

	"heeltap/lots"
)

// command matches the commands that a mend names: from the program's name to where the sentence goes on.
var command = regexp.MustCompile(`heeltap [^,;)]*`)

// Commands lists the commands that a mend names, the best first; none where it is advice only. What a person must give
// stands as … or in capitals.
func Commands(mend string) []string {
	out := []string{}
	for _, c := range command.FindAllString(mend, -1) {
		out = append(out, strings.TrimSpace(c))
	}
	return out
}

// MendText is a mend as a person reads it: one that names no command is marked as advice.
func MendText(mend string) string {
	if len(Commands(mend)) == 0 {
		return "(advice) " + mend
	}
	return mend
}

// placeholders are what stands in the mends of rules for the code that a hit is about.
var placeholders = map[lots.Kind]string{
	lots.KindRun: "RUN", lots.KindUnit: "UNIT", lots.KindLot: "LOT", lots.KindVessel: "VESSEL", lots.KindLine: "LINE", lots.KindBrew: "BREW", lots.KindTransfer: "TRANSFER",
	lots.KindShipment: "SHIPMENT", lots.KindReturn: "RETURN", lots.KindParty: "PARTY", lots.KindProduct: "PRODUCT",
}

// needsReason matches what the program takes only with a reason.
var needsReason = regexp.MustCompile(`^heeltap (amend|void) `)

// mendOf fills in a mend what the hit says: its code, its entry, and that a correction needs a reason.
func (b *book) mendOf(mend string, h Hit) string {
	code := h.Code
	if vessel, _, ok := strings.Cut(code, "@"); ok {
		code = vessel
	}
	_, kind, known := b.tx.Introduces(code)
	return command.ReplaceAllStringFunc(mend, func(text string) string {
		words := strings.Fields(text)
		for i, w := range words {
			switch {
			case w == "CODE":
				words[i] = h.Code
			case w == "LINE" && known && kind == lots.KindRun && b.run[code] != nil && b.run[code].Line != "":
				words[i] = b.run[code].Line
			case w == "ENTRY" && h.Entry != 0:
				words[i] = strconv.FormatInt(h.Entry, 10)
			case known && w == placeholders[kind], known && kind == lots.KindUnit && w == "KEG/RUN":
				words[i] = code
			}
		}
		if text = strings.Join(words, " "); needsReason.MatchString(text) && !strings.Contains(text, "--reason") {
			text += " --reason …"
		}
		return text
	})
}
