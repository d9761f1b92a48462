package main

import (
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
)

// TestHelpBeginsWithWhatAVerbDoes holds every verb's long help to the verb of its short one:
// "Record a clean …", and not first what a clean is.
func TestHelpBeginsWithWhatAVerbDoes(t *testing.T) {
	verbs := 0
	var look func(c *cobra.Command)
	look = func(c *cobra.Command) {
		for _, sub := range c.Commands() {
			verbs++
			assert.NotEmpty(t, sub.Short, sub.CommandPath())
			if sub.Long != "" {
				assert.Equal(t, firstWord(sub.Short), firstWord(sub.Long), "%s: %s", sub.CommandPath(), sub.Long)
			}
			look(sub)
		}
	}
	look(newRoot(&env{}))
	assert.Greater(t, verbs, 70)
}

func firstWord(text string) string {
	word, _, _ := strings.Cut(text, " ")
	return word
}
