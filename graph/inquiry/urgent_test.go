package inquiry

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What people write when somebody is hurt, and words that only look like it.
func TestUrgent(t *testing.T) {
	for note, want := range map[string][]string{
		"they are still ill": {"ill"}, "broken (glass) in it": {"glass"}, "smell;burst can": {"burst"}, "cans bulged": {"bulg"}, "a foreign body": {"foreign body"}, "the child began to choke": {"child", "chok"},
		"Over-carbonated, gushing": {"gush", "over carbonat"}, "flat, still, illegible code": {}, "cutlery": {}, "": {}, "ALLERGIC reaction, hospital": {"allerg", "hospital"},
	} {
		require.Equal(t, want, urgent(note), note)
	}
}
