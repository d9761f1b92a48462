package web

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Whatever alphabet a brewery writes its names in, they begin with a capital and stay whole.
func TestCapital(t *testing.T) {
	for text, want := range map[string]string{"": "", "can end": "Can end", "öl malz": "Öl malz", "4 kg": "4 kg", "éclair malt": "Éclair malt"} {
		require.Equal(t, want, capital(text))
	}
}

// What is said on a command line is said on a page without commands, and nothing else of it is lost.
func TestOnPage(t *testing.T) {
	for text, want := range map[string]string{
		"P-1 is on hold: nothing may be taken from it; release what is held, or go on with --override REASON":                         "P-1 is on hold: nothing may be taken from it; release what is held",
		"L-1 was rejected: send it back or destroy it (heeltap remove L-1), put its status right (heeltap amend L-1 status=accepted)": "L-1 was rejected: send it back or destroy it, put its status right",
		"Inspect it, then heeltap release P-1 --reason … or heeltap remove P-1":                                                       "Inspect it, then release P-1 or remove P-1",
		"there is no lot L-9; did you mean L-8?":                                                                                      "there is no lot L-9; did you mean L-8?",
	} {
		require.Equal(t, want, onPage(text))
	}
}
