package desk

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// A doubt asked before anything is recorded tells of no corrections and no code.
func TestAsQuestion(t *testing.T) {
	for doubt, want := range map[string]string{
		"WRONG VESSEL? MALT is malt, and YB1 is a brink: look where it went, and if it is not in there, heeltap amend L26-0001 into=…":                                                                                                                      "WRONG VESSEL? MALT is malt, and YB1 is a brink.",
		"ALREADY PAST ITS BEST-BY: best_by 2025-01-01 was over when it came in on 2026-03-01. Read the goods again: if it is mistyped, heeltap amend L26-0001 best_by=…; if it is not, heeltap hold L26-0001 until somebody":                                "ALREADY PAST ITS BEST-BY: best_by 2025-01-01 was over when it came in on 2026-03-01. Read the goods again.",
		"MORE THAN SILO HOLDS: it takes 20 kg, and with this delivery there would be 30 kg in it by the books. Was it all put in there? If not, heeltap amend L26-0001 into=… or quantity=…; if so, record what had left SILO before (heeltap remove SILO)": "MORE THAN SILO HOLDS: it takes 20 kg, and with this delivery there would be 30 kg in it by the books. Was it all put in there?",
		"L25-0003 is the same delivery to the letter (item, supplier's lot, quantity, day): if it came once, void one of the two":                                                                                                                           "L25-0003 is the same delivery to the letter (item, supplier's lot, quantity, day): if it came once, do not record it again.",
		"received_at 2027-03-01 has not come yet: is the year right, and are day and month?":                                                                                                                                                                "Received_at 2027-03-01 has not come yet: is the year right, and are day and month?",
		"L26-0001 is recorded as rejected and as put into FV1: if it is in there, so is whatever is drawn from FV1 (heeltap hold FV1); if not, correct where it went (heeltap amend L26-0001 into=)":                                                        "This lot is recorded as rejected and as put into FV1.",
		"S-1 is recorded as a consignee: is that the supplier?": "S-1 is recorded as a consignee: is that the supplier?",
	} {
		assert.Equal(t, want, asQuestion(doubt, "L26-0001"))
	}
}
