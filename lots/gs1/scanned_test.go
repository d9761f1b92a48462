package gs1_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots/gs1"
)

func TestWholeScan(t *testing.T) {
	for text, want := range map[string]bool{"]C101095411015330001012AB": true, "]d20109541101533000": true, "]e0011234": true,
		"": false, "]": false, "]C1": false, "12AB": false, "]1C01": false, "]CC01": false, "09541101533000": false} {
		require.Equal(t, want, gs1.WholeScan(text), text)
	}
}
